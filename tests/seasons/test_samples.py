"""Which samples make one count, and what panels, parts and hand-picking do to it."""

from __future__ import annotations

import math
from statistics import mean, stdev
from typing import TYPE_CHECKING

import pytest
from scipy.stats import t as student

from tests.seasons.books import Book, day, interval_of, value_of

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure

CLUSTERS = [30, 42, 35, 28, 50, 41, 38, 33, 45, 37, 29, 40]


def tally(
    book: Book, block: int, date: str, counts: list[int], chosen: str = "random", row: int = 1, **more: object
) -> int:
    """Count the clusters of a row of vines."""
    sample = book.sample(block, 2019, "cluster_tally", date, chosen, **more)
    book.vines("cluster_tally", sample, [{"clusters": count} for count in counts], row=row)
    return sample


def is_inside(figure: Figure) -> bool:
    """Say whether a value lies strictly inside its interval."""
    low, high = interval_of(figure)
    return low < value_of(figure) < high


def test_a_mean_takes_the_log_interval_with_finite_correction(book: Book) -> None:
    block = book.block(positions=100)
    tally(book, block, "2019-07-01", CLUSTERS)
    figure = book.figure(block, 2019, "clusters_per_vine")
    n = len(CLUSTERS)
    half = student.ppf(0.975, n - 1) * stdev(CLUSTERS) * math.sqrt((1 - n / 100) / n) / mean(CLUSTERS)
    assert figure.value == pytest.approx(mean(CLUSTERS))
    assert figure.low == pytest.approx(mean(CLUSTERS) * math.exp(-half))
    assert figure.high == pytest.approx(mean(CLUSTERS) * math.exp(half))
    assert (figure.n, figure.note) == (12, "")


def test_missing_and_young_vines_are_no_bearing_vines(book: Book) -> None:
    block = book.block(positions=100)
    sample = tally(book, block, "2019-07-01", CLUSTERS)
    book.add("cluster_tally", sample=sample, row=2, vine=1, state="missing")
    book.add("cluster_tally", sample=sample, row=2, vine=2, state="young", clusters=2)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx(mean(CLUSTERS))
    assert figure.n == 12


def test_one_vine_has_a_value_and_no_interval(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", [40])
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert (figure.value, figure.low, figure.level) == (40.0, None, None)
    assert "no spread" in figure.note


def test_few_vines_are_marked(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", [40, 30])
    assert book.figure(block, 2019, "clusters_per_vine").note == "fewer vines than shown to suffice"
    other = book.block(code="A2")
    tally(book, other, "2019-07-01", [40, 30, 35])
    assert book.figure(other, 2019, "clusters_per_vine").note == ""


def test_uneven_vines_need_more_of_them(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", [40, 5, 3, 60, 12, 9] * 10)
    assert book.figure(block, 2019, "clusters_per_vine").note == ""
    other = book.block(code="A2")
    tally(book, other, "2019-07-01", [40, 5, 3, 60, 12, 9, 31, 2, 4, 70, 8, 15])
    assert book.figure(other, 2019, "clusters_per_vine").note == "fewer vines than shown to suffice"


def test_every_vine_counted_is_a_full_count(book: Book) -> None:
    block = book.block(positions=12)
    tally(book, block, "2019-07-01", CLUSTERS)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.low == figure.value == figure.high
    assert figure.note == "every vine was counted"


def test_a_panel_is_the_unit_where_panels_were_drawn(book: Book) -> None:
    block = book.block(positions=300)
    panels: dict[int, list[int | None]] = {1: [30, 42, 35], 2: [28, 50, None], 3: [41, 38, 33], 4: [45, 37, 29]}
    sample = book.sample(block, 2019, "cluster_tally", "2019-07-01", "panels", panel_size=3)
    for number, counts in panels.items():
        for place, count in enumerate(counts):
            vine = (number - 1) * 3 + place + 1
            if count is None:
                book.add("cluster_tally", sample=sample, row=1, vine=vine, state="missing")
            else:
                book.add("cluster_tally", sample=sample, row=1, vine=vine, clusters=count)
    totals = [
        (sum(count or 0 for count in counts), sum(count is not None for count in counts)) for counts in panels.values()
    ]
    ratio = sum(y for y, _ in totals) / sum(x for _, x in totals)
    residual = sum((y - ratio * x) ** 2 for y, x in totals) / 3
    se = math.sqrt((1 - 4 / 100) * residual / 4) / (sum(x for _, x in totals) / 4)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx(ratio)
    assert (figure.n, figure.chosen) == (4, "panels")
    assert figure.high == pytest.approx(ratio * math.exp(student.ppf(0.975, 3) * se / ratio))


def test_samples_of_one_week_are_one_count(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-06-01", [5] * 6, row=1)
    tally(book, block, "2019-07-01", [40] * 6, row=2)
    tally(book, block, "2019-07-08", [20] * 6, row=3)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert (figure.value, figure.n) == (30.0, 12)


def test_hand_picked_vines_are_left_out_beside_drawn_ones(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", CLUSTERS, row=1)
    tally(book, block, "2019-07-02", [90] * 5, "hand_picked", row=2)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx(mean(CLUSTERS))
    assert figure.n == 12
    assert "left out" in figure.note


def test_a_hand_picked_sample_has_value_spread_and_n_and_no_interval(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", CLUSTERS, "hand_picked")
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx(mean(CLUSTERS))
    assert (figure.n, figure.low, figure.level) == (12, None, None)
    assert f"{stdev(CLUSTERS):.3g} clusters" in figure.note


def test_parts_are_weighted_by_their_bearing_vines(book: Book) -> None:
    block = book.block(census=None, positions=1000)
    for part, bearing in (("low", 600), ("high", 300)):
        book.add("vine_census", block=block, date=day("2019-05-01"), part=part, bearing=bearing, young=0, missing=50)
    low, high = [40, 44, 42, 38], [20, 24, 22, 18, 21]
    tally(book, block, "2019-07-01", low, part="low", row=1)
    tally(book, block, "2019-07-01", high, part="high", row=9)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx((600 * mean(low) + 300 * mean(high)) / 900)
    variances = [
        (share / 900) ** 2 * stdev(counts) ** 2 * (1 - len(counts) / places) / len(counts)
        for share, counts, places in ((600, low, 650), (300, high, 350))
    ]
    df = sum(variances) ** 2 / sum(v**2 / (len(c) - 1) for v, c in zip(variances, (low, high), strict=True))
    half = student.ppf(0.975, df) * math.sqrt(sum(variances)) / value_of(figure)
    assert figure.high == pytest.approx(value_of(figure) * math.exp(half))
    assert "pooled" not in figure.note


def test_parts_that_the_census_does_not_know_are_pooled_and_said(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", [40, 44, 42, 38], part="low", row=1)
    tally(book, block, "2019-07-01", [20, 24], part="high", row=9)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx(mean([40, 44, 42, 38, 20, 24]))
    assert "pooled as one" in figure.note


def test_parts_counted_weeks_apart_are_still_the_whole_block(book: Book) -> None:
    block = book.block(census=None, positions=1000)
    for part, bearing in (("low", 600), ("high", 300)):
        book.add("vine_census", block=block, date=day("2019-05-01"), part=part, bearing=bearing, young=0, missing=50)
    tally(book, block, "2019-06-20", [9, 9], part="high", row=8)
    tally(book, block, "2019-07-01", [40, 44, 42, 38], part="low", row=1)
    tally(book, block, "2019-07-15", [20, 24, 22, 18, 21], part="high", row=9)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx((600 * 41 + 300 * 21) / 900)
    assert "pooled" not in figure.note


def test_a_count_of_the_whole_block_stands_above_an_older_one_of_a_part(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-06-01", [5] * 6, part="low", row=1)
    tally(book, block, "2019-07-01", CLUSTERS, row=2)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert figure.value == pytest.approx(mean(CLUSTERS))
    assert figure.n == 12


def test_hand_picked_lots_with_berries_stand_where_the_drawn_ones_have_none(book: Book) -> None:
    block = book.block()
    drawn = book.sample(block, 2019, "cluster_lot", "2019-09-10")
    for lot, clusters in ((1, 38), (2, 40), (3, 43)):
        book.add("cluster_lot", sample=drawn, stage="harvest", lot=lot, clusters=clusters, mass_mg=5_000_000)
    by_hand = book.sample(block, 2019, "cluster_lot", "2019-09-10", "hand_picked")
    berries = {"clusters": 1, "mass_mg": 120_000, "berries": 100, "berry_mass_mg": 130_000}
    book.add("cluster_lot", sample=by_hand, stage="harvest", lot=1, **berries)
    assert book.figure(block, 2019, "cluster_weight").value == pytest.approx(15000 / 121)
    weight = book.figure(block, 2019, "berry_weight")
    assert weight.value == pytest.approx(1.3)
    assert weight.chosen == "hand_picked"


def test_the_latest_count_is_the_one_after_thinning(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", [40] * 5, row=1)
    tally(book, block, "2019-07-20", [20] * 5, thinning="after", row=2)
    assert book.figure(block, 2019, "clusters_per_vine").value == 20.0


def test_budbreak_is_of_count_nodes_on_the_same_vines_before_thinning(book: Book) -> None:
    block = book.block()
    before = book.sample(block, 2019, "shoot_tally", "2019-05-01")
    counted = {"count_shoots": 36, "double_shoots": 8, "noncount_shoots": 6, "blind_nodes": 4}
    book.vines("shoot_tally", before, [counted] * 10)
    after = book.sample(block, 2019, "shoot_tally", "2019-06-01", thinning="after")
    thinned = {"count_shoots": 30, "double_shoots": 0, "noncount_shoots": 0, "blind_nodes": 4}
    book.vines("shoot_tally", after, [thinned] * 10)
    assert book.figure(block, 2019, "budbreak").value == pytest.approx(90.0)
    assert book.figure(block, 2019, "shoots_per_node").value == pytest.approx(1.25), "it may exceed 1"
    assert book.figure(block, 2019, "shoots_per_vine").value == 50.0
    assert book.figure(block, 2019, "noncount_shoot_share").value == pytest.approx(12.0)
    assert book.figure(block, 2019, "shoots_per_m").value == 15.0, "after thinning"


def test_budbreak_is_unknown_where_shoots_were_counted_after_thinning_only(book: Book) -> None:
    block = book.block()
    after = book.sample(block, 2019, "shoot_tally", "2019-06-01", thinning="after")
    book.vines(
        "shoot_tally", after, [{"count_shoots": 30, "double_shoots": 0, "noncount_shoots": 0, "blind_nodes": 4}] * 3
    )
    figure = book.figure(block, 2019, "budbreak")
    assert (figure.status, figure.note) == ("unknown", "not counted before thinning")


def test_a_class_of_shoots_that_was_not_counted_is_not_zero(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2019, "shoot_tally", "2019-05-01")
    book.vines("shoot_tally", sample, [{"count_shoots": 36, "blind_nodes": 4}] * 3)
    assert book.figure(block, 2019, "budbreak").value == pytest.approx(90.0)
    assert book.figure(block, 2019, "shoots_per_node").value is None


def test_fruitfulness_keeps_bearers_and_positions_apart(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2019, "node_tally", "2019-05-20")
    for vine in range(1, 7):
        nodes = [
            ("spur", 0, 1, 0),
            ("spur", 1, 1, 1 + vine % 2),
            ("cane", 1, 1, 2),
            ("spur", -1, 1, 0),
            ("cane", 2, 0, None),
        ]
        for bearer, position, shoots, clusters in nodes:
            book.add(
                "node_tally",
                sample=sample,
                row=1,
                vine=vine,
                bearer=bearer,
                bearer_number=1,
                position=position,
                shoots=shoots,
                clusters=clusters,
            )
    first = book.figure(block, 2019, "clusters_per_node_at_k", bearer="spur", position="1")
    assert (first.value, first.n) == (1.5, 6)
    assert book.figure(block, 2019, "clusters_per_node_at_k", bearer="cane", position="1").value == 2.0
    assert book.figure(block, 2019, "clusters_per_node_at_k", bearer="cane", position="2").value == 0.0, "a blind node"
    assert book.figure(block, 2019, "fruitful_share_at_k", bearer="spur", position="old wood").value == 0.0
    share = book.figure(block, 2019, "fruitful_share_at_k", bearer="spur", position="1")
    assert share.value == 100.0
    assert 0 < interval_of(share)[0] < 100
    assert book.figure(block, 2019, "clusters_per_shoot").value == pytest.approx((1.5 + 2.0) / 4)


def test_cluster_weight_is_mass_by_clusters_of_the_lots_at_harvest(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2019, "cluster_lot", "2019-09-10")
    early = book.sample(block, 2019, "cluster_lot", "2019-07-20")
    for number, (mass, clusters) in enumerate([(5.0, 40), (4.4, 38), (6.1, 45)], start=1):
        given = {"lot": number, "clusters": clusters, "berries": 100, "berry_mass_mg": 130_000 + number}
        book.add("cluster_lot", sample=sample, stage="harvest", mass_mg=round(mass * 1e6), **given)
    book.add("cluster_lot", sample=early, stage="lag_phase", lot=1, clusters=40, mass_mg=2_400_000)
    weight = book.figure(block, 2019, "cluster_weight")
    assert weight.value == pytest.approx(15500 / 123)
    assert weight.n == 3
    assert is_inside(weight)
    lag = book.figure(block, 2019, "cluster_weight", stage="lag_phase")
    assert (lag.value, lag.low) == (60.0, None)
    assert "single lot" in lag.note
    assert book.figure(block, 2019, "berry_weight").value == pytest.approx(1.30002)
    berries = book.figure(block, 2019, "berries_per_cluster")
    assert berries.value == pytest.approx(15500 / 123 / 1.30002)
    assert is_inside(berries)


def test_the_component_check_sets_counts_against_the_crop(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", CLUSTERS)
    sample = book.sample(block, 2019, "cluster_lot", "2019-09-10")
    for number, mass in enumerate([5.0, 5.2, 4.8], start=1):
        book.add("cluster_lot", sample=sample, stage="harvest", lot=number, clusters=20, mass_mg=round(mass * 1e6))
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "component_check")
    assert figure.value == pytest.approx(100 * (mean(CLUSTERS) * 0.25 / 9 - 1))
    assert is_inside(figure)
    assert "from clusters counted on the vine" in figure.note


def weighed_and_picked(book: Book, block: int, picked: str = "hand") -> None:
    """Weigh lots of 250 g clusters, and pick 5 kg a vine."""
    sample = book.sample(block, 2019, "cluster_lot", "2019-09-10")
    for number, mass in enumerate([5.0, 5.2, 4.8], start=1):
        book.add("cluster_lot", sample=sample, stage="harvest", lot=number, clusters=20, mass_mg=round(mass * 1e6))
    book.load({block: None}, 2019, "2019-09-20", 5000, picked=picked)
    book.close(block, 2019, "2019-09-25")


def shoots_and_nodes(book: Book, block: int, date: str, shoots: int, thinning: str = "before") -> None:
    """Count the shoots of vines, and two clusters on a shoot of each."""
    row = 1 if thinning == "before" else 2
    sample = book.sample(block, 2019, "shoot_tally", date, thinning=thinning)
    given = {"double_shoots": 0, "noncount_shoots": 0, "blind_nodes": 2}
    book.vines("shoot_tally", sample, [{"count_shoots": shoots + step, **given} for step in (-1, 0, 1)], row=row)
    sample = book.sample(block, 2019, "node_tally", date, thinning=thinning)
    node = {"bearer": "spur", "bearer_number": 1, "position": 1, "shoots": 1, "clusters": 2}
    book.vines("node_tally", sample, [node] * 3, row=row)


BEFORE = "counted at least in part before thinning, while the crop was picked after it"


def test_the_component_check_takes_the_clusters_left_by_thinning(book: Book) -> None:
    block = book.block()
    shoots_and_nodes(book, block, "2019-05-10", 20)
    tally(book, block, "2019-08-01", [18, 20, 22], row=3, thinning="after")
    weighed_and_picked(book, block)
    figure = book.figure(block, 2019, "component_check")
    assert figure.value == pytest.approx(100 * (20 * 0.25 / 5 - 1))
    assert "from clusters counted on the vine" in figure.note
    assert BEFORE not in figure.note


def test_the_component_check_takes_the_shoots_left_by_thinning(book: Book) -> None:
    block = book.block()
    shoots_and_nodes(book, block, "2019-05-10", 20)
    shoots_and_nodes(book, block, "2019-06-01", 12, "after")
    weighed_and_picked(book, block)
    figure = book.figure(block, 2019, "component_check")
    assert figure.value == pytest.approx(100 * (12 * 2 * 0.25 / 5 - 1))
    assert BEFORE not in figure.note
    assert book.figure(block, 2019, "shoots_per_vine").value == 20.0, "the figure itself stays before thinning"


def test_the_component_check_says_where_a_count_was_before_thinning(book: Book) -> None:
    block = book.block()
    shoots_and_nodes(book, block, "2019-05-10", 20)
    weighed_and_picked(book, block)
    assert BEFORE not in book.figure(block, 2019, "component_check").note, "nothing tells of thinning"
    sample = book.sample(block, 2019, "shoot_tally", "2019-06-01", thinning="after")
    given = {"double_shoots": 0, "noncount_shoots": 0, "blind_nodes": 2}
    book.vines("shoot_tally", sample, [{"count_shoots": 12 + step, **given} for step in (-1, 0, 1)], row=5)
    figure = book.figure(block, 2019, "component_check")
    assert figure.value == pytest.approx(100 * (12 * 2 * 0.25 / 5 - 1))
    assert BEFORE in figure.note


def test_the_component_check_says_that_machine_picked_fruit_lacks_the_rachis(book: Book) -> None:
    block = book.block(census=None)
    book.add("vine_census", block=block, date=day("2019-05-01"), bearing=900, young=60, missing=40)
    shoots_and_nodes(book, block, "2019-05-10", 20)
    weighed_and_picked(book, block, "machine")
    note = book.figure(block, 2019, "component_check").note
    assert "lacks the rachis" in note
    assert "the fruit of young vines" in note


def test_vines_that_are_all_equal_are_no_sign_of_certainty(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", [40] * 12)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert (figure.value, figure.n, figure.low) == (40.0, 12, None)
    assert figure.note == "all counts are equal or zero, hence no interval"


def test_a_later_count_says_what_it_sets_aside(book: Book) -> None:
    block = book.block()
    tally(book, block, "2019-07-01", CLUSTERS)
    assert "set aside" not in book.figure(block, 2019, "clusters_per_vine").note
    tally(book, block, "2019-07-20", [31], row=2)
    figure = book.figure(block, 2019, "clusters_per_vine")
    assert (figure.value, figure.n) == (31, 1)
    assert "an earlier sample (n = 12) is set aside" in figure.note
