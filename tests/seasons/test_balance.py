"""Fruit against wood: which winter belongs to which harvest, and what a ratio waits for."""

from __future__ import annotations

import math
from statistics import mean, stdev

import pytest
from scipy.stats import t as student

from tests.seasons.books import Book, day, interval_of, value_of

WOOD_KG = [0.8, 0.9, 1.1, 0.7, 1.0, 0.95, 0.85, 1.2, 0.9, 1.0, 1.1, 0.8]
RATIO = "yield_to_prunings"


def harvested(book: Book, block: int, season: int, kg: int = 9000) -> None:
    """Pick and close a season in the north."""
    book.load({block: None}, season, f"{season}-09-20", kg)
    book.close(block, season, f"{season}-09-25")


def test_a_ratio_takes_the_wood_weighed_after_its_harvest(book: Book) -> None:
    block = book.block()
    book.wood(block, 2019, [2.0] * 12, "2019-01-10")
    harvested(book, block, 2019)
    book.wood(block, 2020, WOOD_KG, "2020-01-10")
    figure = book.figure(block, 2019, RATIO)
    assert figure.value == pytest.approx(9.0 / mean(WOOD_KG))
    assert figure.status == "known"
    assert book.figure(block, 2019, "prunings_per_vine").value == pytest.approx(mean(WOOD_KG))
    book.close(block, 2018, "2018-09-25")
    assert book.figure(block, 2018, "prunings_per_vine").value == pytest.approx(2.0)


def test_a_ratio_waits_for_the_next_pruning(book: Book) -> None:
    block = book.block()
    book.wood(block, 2019, WOOD_KG, "2019-01-10")
    harvested(book, block, 2019)
    figure = book.figure(block, 2019, RATIO)
    assert figure.value is None
    assert figure.status == "pending"
    assert figure.note == "the wood of 2019 is weighed at the pruning that sets 2020"


def test_in_the_south_fruit_and_wood_of_one_calendar_year_pair(book: Book) -> None:
    south = book.add("vineyard", name="Long Gully", hemisphere="south", units="metric")
    block = book.block("S1", vineyard=south)
    book.load({block: None}, 2020, "2020-03-10", 9000)
    book.close(block, 2020, "2020-03-20")
    book.wood(block, 2021, WOOD_KG, "2020-07-05")
    assert book.figure(block, 2020, RATIO).value == pytest.approx(9.0 / mean(WOOD_KG))


def test_pending_becomes_unknown_when_the_visit_weighs_nothing(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    book.add("pruning_visit", block=block, season=2020, started_on=day("2020-01-10"), pruned="spur", wood_weighed="no")
    figure = book.figure(block, 2019, RATIO)
    assert (figure.status, figure.note) == ("unknown", "no wood was weighed at the pruning that sets 2020")


def test_a_visit_that_promises_weights_is_waited_for(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    book.add("pruning_visit", block=block, season=2020, started_on=day("2020-01-10"), pruned="spur", wood_weighed="yes")
    assert book.figure(block, 2019, RATIO).status == "pending"
    harvested(book, block, 2020)
    assert book.figure(block, 2019, RATIO).status == "unknown"


def test_pending_becomes_unknown_when_the_next_harvest_closes(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    harvested(book, block, 2020)
    figure = book.figure(block, 2019, RATIO)
    assert figure.status == "unknown"
    assert "before a later harvest closed" in figure.note
    assert book.figure(block, 2020, RATIO).status == "pending"


def test_pending_becomes_unknown_when_the_planting_ends(book: Book) -> None:
    block = book.add("block", vineyard=book.vineyard, code="R1", from_season=2000)
    plant = {"block": block, "row_spacing_m": 3.0, "vine_spacing_m": 2.0, "positions": 1000}
    book.add("planting", from_season=2000, to_season=2019, cultivar="Grey Hen", **plant)
    book.add("planting", from_season=2020, cultivar="White Hen", year_planted=2020, **plant)
    book.add("vine_census", block=block, date=day("2015-06-01"), bearing=1000, young=0, missing=0)
    harvested(book, block, 2019)
    figure = book.figure(block, 2019, RATIO)
    assert figure.status == "unknown"
    assert "the planting ended" in figure.note
    book.add("vine_census", block=block, date=day("2022-06-01"), bearing=600, young=400, missing=0)
    harvested(book, block, 2022)
    bearing = book.figure(block, 2022, "vines_bearing")
    assert bearing.value == 600
    replanted = book.figure(block, 2020, "vines_bearing")
    assert replanted.value == 600, "a census of the old vines does not count the new ones"
    assert "later" in replanted.note


def test_incomplete_wood_gives_no_ratio(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines("pruned_vine", sample, [{"prunings_mg": 400_000, "wood": "incomplete"} for _ in range(10)])
    figure = book.figure(block, 2019, RATIO)
    assert figure.value is None
    assert (figure.status, figure.note) == ("unknown", "the wood was incomplete after mechanical pre-pruning")


def test_an_open_harvest_is_partial_and_has_no_ratio(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.wood(block, 2020, WOOD_KG, "2020-01-10")
    assert book.figure(block, 2019, "crop").status == "partial"
    figure = book.figure(block, 2019, RATIO)
    assert (figure.value, figure.status, figure.note) == (None, "partial", "the harvest of 2019 is not closed")


def test_a_full_count_leaves_the_ratio_the_interval_of_its_wood(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    book.wood(block, 2020, WOOD_KG, "2020-01-10")
    figure = book.figure(block, 2019, RATIO)
    n = len(WOOD_KG)
    spread = stdev(WOOD_KG) * math.sqrt((1 - n / 1000) / n) / mean(WOOD_KG)
    half = student.ppf(0.975, n - 1) * spread
    assert figure.low == pytest.approx(value_of(figure) * math.exp(-half))
    assert figure.high == pytest.approx(value_of(figure) * math.exp(half))
    assert (figure.n, figure.level, figure.chosen) == (n, 95.0, "random")


def test_wood_belongs_to_the_canopy_of_its_season_even_if_the_visit_changes_it(book: Book) -> None:
    block = book.block(curtains=1)
    book.add("training", block=block, from_season=2020, trained="cordon", curtains=2, pruned="spur")
    harvested(book, block, 2019)
    book.wood(block, 2020, [1.0, 1.2, 0.8], "2020-01-10")
    book.wood(block, 2021, [1.0, 1.2, 0.8], "2021-01-10")
    assert book.figure(block, 2019, "prunings_per_m").value == pytest.approx(1.0 / 2.0)
    divided = book.figure(block, 2020, "prunings_per_m")
    assert divided.value == pytest.approx(1.0 / 4.0)
    assert divided.per == "m of canopy"
    assert "2 m × 2" in divided.basis


def test_fruit_and_wood_of_the_same_vines_are_paired(book: Book) -> None:
    block = book.block()
    fruit = [4.0, 5.0, 6.5, 3.5, 5.5, 6.0, 4.5, 5.2, 4.8, 5.9, 6.2, 4.1]
    book.fruit(block, 2019, fruit, "2019-09-10")
    book.wood(block, 2020, WOOD_KG, "2020-01-10")
    figure = book.figure(block, 2019, RATIO)
    assert figure.value == pytest.approx(sum(fruit) / sum(WOOD_KG))
    assert "same vines" in figure.note
    assert figure.low is not None
    n, y, x = len(fruit), mean(fruit), mean(WOOD_KG)
    c = (1 - n / 1000) / n
    vy, vx = c * stdev(fruit) ** 2, c * stdev(WOOD_KG) ** 2
    cov = c * sum((a - y) * (b - x) for a, b in zip(fruit, WOOD_KG, strict=True)) / (n - 1)
    t = student.ppf(0.975, n - 1)
    for limit in interval_of(figure):
        assert (y - limit * x) ** 2 == pytest.approx(t**2 * (vy - 2 * limit * cov + limit**2 * vx), rel=1e-6)


def test_fruit_and_wood_of_other_vines_take_the_log_ratio(book: Book) -> None:
    block = book.block()
    fruit = [4.0, 5.0, 6.5, 3.5, 5.5, 6.0, 4.5, 5.2, 4.8, 5.9, 6.2, 4.1]
    book.fruit(block, 2019, fruit, "2019-09-10")
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines("pruned_vine", sample, [{"prunings_mg": round(kg * 1e6)} for kg in WOOD_KG], row=7)
    figure = book.figure(block, 2019, RATIO)
    assert figure.value == pytest.approx(mean(fruit) / mean(WOOD_KG))
    assert "same vines" not in figure.note
    assert math.sqrt(math.prod(interval_of(figure))) == pytest.approx(figure.value)


def test_a_denominator_near_zero_gives_no_finite_interval(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    book.wood(block, 2020, [0.05, 3.0], "2020-01-10")
    figure = book.figure(block, 2019, RATIO)
    assert figure.value is not None
    assert (figure.low, figure.high, figure.level) == (None, None, None)
    assert "not clearly away from zero" in figure.note


def test_a_hand_picked_sample_gives_no_interval_to_what_rests_on_it(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    book.wood(block, 2020, WOOD_KG, "2020-01-10", "hand_picked")
    wood = book.figure(block, 2019, "prunings_per_vine")
    assert (wood.low, wood.n, wood.chosen) == (None, 12, "hand_picked")
    assert f"standard deviation between vines {stdev(WOOD_KG):.3g} kg" in wood.note
    ratio = book.figure(block, 2019, RATIO)
    assert ratio.value is not None
    assert ratio.low is None
    assert "picked by hand" in ratio.note


def test_a_true_zero_crop_has_a_ratio_of_zero(book: Book) -> None:
    block = book.block()
    book.close(block, 2019, "2019-09-25")
    book.wood(block, 2020, WOOD_KG, "2020-01-10")
    crop = book.figure(block, 2019, "crop")
    assert (crop.value, crop.status, crop.note) == (0.0, "known", "the harvest was closed without fruit")
    assert book.figure(block, 2019, "yield_per_ha").value == 0.0
    ratio = book.figure(block, 2019, RATIO)
    assert (ratio.value, ratio.low) == (0.0, None)


def test_only_vines_the_crew_pruned_show_what_the_crew_did(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    by_crew: dict[str, object] = {"nodes_on_spurs": 20, "nodes_on_canes": 10, "spurs": 10}
    rows: list[dict[str, object]] = [
        *[by_crew] * 3,
        {"nodes_on_spurs": 60, "pruned_by": "sampler"},
        {"state": "young", "nodes_on_spurs": 4},
        {"state": "missing"},
    ]
    book.vines("pruned_vine", sample, rows)
    figure = book.figure(block, 2020, "nodes_per_vine")
    assert (figure.value, figure.n) == (30.0, 3)
    assert book.figure(block, 2020, "nodes_per_vine", bearer="cane").value == 10.0
    assert book.figure(block, 2020, "nodes_per_m").value == 15.0
    assert book.figure(block, 2020, "spurs_per_vine").value == 10.0


def test_cane_weight_is_prunings_by_canes_of_the_same_vines(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines(
        "pruned_vine",
        sample,
        [
            {"prunings_mg": 1_300_000, "canes_weighed": 36},
            {"prunings_mg": 900_000, "canes_weighed": 30},
            {"prunings_mg": 5},
        ],
    )
    harvested(book, block, 2019)
    assert book.figure(block, 2019, "cane_weight").value == pytest.approx(2200 / 66)


def test_panels_stay_the_unit_where_fruit_and_wood_are_paired(book: Book) -> None:
    block = book.block(positions=600)
    fruit = [[4.0, 5.0], [6.5, 3.5], [5.5, 6.0], [4.5, 5.2]]
    wood = [[0.8, 0.9], [1.1, 0.7], [1.0, 0.95], [0.85, 1.2]]
    picked = book.sample(block, 2019, "vine_harvest", "2019-09-10", "panels", panel_size=2)
    pruned = book.sample(block, 2020, "pruned_vine", "2020-01-10", "panels", panel_size=2)
    for panel in range(4):
        for place in range(2):
            vine = {"row": 1, "vine": panel * 2 + place + 1}
            book.add("vine_harvest", sample=picked, mass_mg=round(fruit[panel][place] * 1e6), **vine)
            book.add("pruned_vine", sample=pruned, prunings_mg=round(wood[panel][place] * 1e6), **vine)
    figure = book.figure(block, 2019, RATIO)
    y, x = [sum(pair) for pair in fruit], [sum(pair) for pair in wood]
    assert figure.value == pytest.approx(sum(y) / sum(x))
    assert (figure.n, figure.chosen) == (4, "panels")
    c = (1 - 8 / 600) / 4
    cov = c * sum((a - mean(y)) * (b - mean(x)) for a, b in zip(y, x, strict=True)) / 3
    vy, vx, t = c * stdev(y) ** 2, c * stdev(x) ** 2, student.ppf(0.975, 3)
    for limit in interval_of(figure):
        squared = t**2 * (vy - 2 * limit * cov + limit**2 * vx)
        assert (mean(y) - limit * mean(x)) ** 2 == pytest.approx(squared, rel=1e-6)


def test_hand_picked_vines_are_never_paired_with_an_interval(book: Book) -> None:
    block = book.block()
    book.fruit(block, 2019, [4.0, 5.0, 6.0, 5.5], "2019-09-10", "hand_picked")
    book.wood(block, 2020, [0.8, 0.9, 1.1, 1.0], "2020-01-10")
    figure = book.figure(block, 2019, RATIO)
    assert figure.value == pytest.approx(20.5 / 3.8)
    assert figure.low is None
    assert "picked by hand" in figure.note


def test_a_planting_measured_anew_does_not_end_the_wait(book: Book) -> None:
    block = book.add("block", vineyard=book.vineyard, code="M1", from_season=2000)
    plant = {"block": block, "row_spacing_m": 3.0, "vine_spacing_m": 2.0, "year_planted": 2000, "cultivar": "Grey Hen"}
    book.add("planting", from_season=2000, positions=1000, **plant)
    book.add("planting", from_season=2020, positions=1010, **plant)
    book.add("vine_census", block=block, date=day("2015-06-01"), bearing=1000, young=0, missing=0)
    harvested(book, block, 2019)
    harvested(book, block, 2020)
    assert book.figure(block, 2019, "prunings_per_vine").note.endswith("before a later harvest closed")
    assert book.figure(block, 2020, "yield_per_vine").value == pytest.approx(9.0), "the census counted the same vines"


@pytest.mark.parametrize(("fruit", "wood", "printed"), [(9.8, 1.30, 7.5), (20.2, 1.53, 13.2), (15.9, 0.29, 54.8)])
def test_the_single_canopy_trial_gives_its_printed_ratios(
    book: Book, fruit: float, wood: float, printed: float
) -> None:
    """Kliewer and Dokoozlian 2005, AJEV 56: 170-181, table 4: spur, hedged and minimally pruned, kg a vine."""
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", round(1000 * fruit))
    book.close(block, 2019, "2019-09-25")
    book.wood(block, 2020, [wood, wood], "2020-01-10")
    figure = book.figure(block, 2019, RATIO)
    assert figure.value == pytest.approx(printed, abs=0.06)
    assert figure.low is None
    assert "all counts are equal" in figure.note


def test_spur_and_node_counts_of_the_sampler_say_nothing_of_the_crew(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines("pruned_vine", sample, [{"nodes_on_spurs": 60, "pruned_by": "sampler"}] * 3)
    figure = book.figure(block, 2020, "nodes_per_vine")
    assert (figure.value, figure.note) == (None, "no vine of the sample was pruned by the crew")


def test_nodes_counted_after_the_wood_was_weighed_do_not_hide_it(book: Book) -> None:
    """The sampler prunes and weighs in December; the crew's work is counted on other vines in February."""
    block = book.block()
    harvested(book, block, 2019)
    sample = book.sample(block, 2020, "pruned_vine", "2019-12-10")
    weighed = [{"prunings_mg": round(kg * 1e6), "pruned_by": "sampler"} for kg in WOOD_KG]
    book.vines("pruned_vine", sample, weighed)
    later = book.sample(block, 2020, "pruned_vine", "2020-02-20")
    book.vines("pruned_vine", later, [{"nodes_on_spurs": 20, "spurs": 10}] * 3, row=5)
    assert book.figure(block, 2019, "prunings_per_vine").value == pytest.approx(mean(WOOD_KG))
    assert book.figure(block, 2019, RATIO).value == pytest.approx(9.0 / mean(WOOD_KG))
    assert book.figure(block, 2020, "nodes_per_vine").value == 20.0


def test_wood_weighed_over_the_weeks_of_a_visit_is_one_count(book: Book) -> None:
    block = book.block()
    book.wood(block, 2020, [1.0, 1.2], "2019-12-10")
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-28")
    book.vines("pruned_vine", sample, [{"prunings_mg": 600_000}, {"prunings_mg": 800_000}], row=7)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "prunings_per_vine")
    assert figure.value == pytest.approx(0.9)
    assert figure.n == 4


def test_weights_that_a_visit_promises_are_awaited_though_its_nodes_are_counted(book: Book) -> None:
    block = book.block()
    harvested(book, block, 2019)
    book.add("pruning_visit", block=block, season=2020, started_on=day("2020-01-10"), pruned="spur", wood_weighed="yes")
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-12")
    book.vines("pruned_vine", sample, [{"nodes_on_spurs": 20}] * 3)
    assert book.figure(block, 2019, RATIO).status == "pending"


def test_the_bearers_of_a_vine_add_up_to_its_nodes(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines("pruned_vine", sample, [{"nodes_on_spurs": 20}, {"nodes_on_spurs": 10, "nodes_on_canes": 10}])
    parts = [book.figure(block, 2020, "nodes_per_vine", bearer=bearer).value for bearer in ("spur", "cane")]
    assert parts == [15.0, 5.0]
    assert book.figure(block, 2020, "nodes_per_vine").value == 20.0


@pytest.mark.parametrize(
    ("pruned", "name", "note"),
    [
        ("spur", "canes_per_vine", "spur-pruned: no canes"),
        ("cane", "spurs_per_vine", "cane-pruned: no spurs"),
        ("mixed", "canes_per_vine", "no canes were counted"),
    ],
)
def test_a_bearer_that_the_pruning_does_not_leave_is_no_gap_in_the_record(
    book: Book, pruned: str, name: str, note: str
) -> None:
    block = book.block()
    book.add("pruning_visit", block=block, season=2020, started_on=day("2020-01-10"), pruned=pruned)
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-12")
    counted = {"nodes_on_canes": 20, "canes": 2} if pruned == "cane" else {"nodes_on_spurs": 20, "spurs": 10}
    book.vines("pruned_vine", sample, [counted] * 3)
    assert book.figure(block, 2020, name).note == note


def test_without_a_visit_the_training_says_how_wood_is_cut(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-12")
    book.vines("pruned_vine", sample, [{"nodes_on_spurs": 20, "spurs": 10}] * 3)
    assert book.figure(block, 2020, "canes_per_vine").note == "spur-pruned: no canes"
    book.vines("pruned_vine", sample, [{"nodes_on_canes": 20, "canes": 2}] * 3, row=2)
    assert book.figure(block, 2020, "canes_per_vine").value == 2.0, "what was counted stands"
