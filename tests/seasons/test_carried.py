"""What a block takes over from the blocks before it, and what it does not."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from tests.seasons.books import Book, day, interval_of, value_of
from vinebook.seasons.carried import figures_with_carried
from vinebook.seasons.catalogue import CARRIED, FIGURES
from vinebook.seasons.history import block_history, judging_context

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.seasons.model import Figure

WOOD_KG = (0.8, 1.0, 1.2, 0.9, 1.1, 1.3, 0.7, 1.0, 1.15, 0.85, 0.95, 1.05)


def cropped(book: Book, block: int, season: int, kg: int, wood: Sequence[float] = WOOD_KG) -> None:
    """Close a harvest and weigh the wood after it."""
    book.load({block: None}, season, f"{season}-09-20", kg)
    book.close(block, season, f"{season}-09-25")
    book.wood(block, season + 1, wood, f"{season + 1}-01-10")


def shoots(book: Book, block: int, season: int, count: int, blind: int, vines: int = 12) -> None:
    """Count shoots before thinning; vines differ a little."""
    sample = book.sample(block, season, "shoot_tally", f"{season}-05-20", thinning="before")
    rows = [
        {"count_shoots": count + i % 3, "blind_nodes": blind + i % 2, "double_shoots": 1, "noncount_shoots": 2}
        for i in range(vines)
    ]
    book.vines("shoot_tally", sample, rows)


def became(book: Book, code: str, season: int, how: str, *before: int, **more: int) -> int:
    """Make a block out of earlier ones from a season on."""
    block = book.block(code, from_season=season, census=f"{season}-05-01", **more)
    for earlier in before:
        book.add("predecessor", block=block, predecessor=earlier, how=how)
    return block


def all_of(book: Book, block: int, season: int | None = None) -> dict[tuple[str, int], Figure]:
    """Give the figures of a block with those that it takes over, by name and season."""
    seasons = None if season is None else [season]
    return {(f.figure, f.season): f for f in figures_with_carried(book.connection, [block], seasons)}


def test_what_is_of_a_vine_or_a_metre_carries_over_and_what_is_of_the_ground_does_not() -> None:
    ground = {"crop", "delivered", "vines_bearing", "vines_missing_share", "planted_area", "surveyed_area"}
    ground |= {"yield_per_ha", "row_m_per_ha", "canopy_m_per_vine", "soluble_solids", "ph", "titratable_acidity"}
    assert not CARRIED & ground
    assert set(FIGURES) - CARRIED == ground | {"component_check"}


def test_a_split_block_gives_its_figures_to_each_part(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    parts = [became(book, code, 2018, "split", old, positions=size) for code, size in (("A2", 400), ("A3", 600))]
    for part in parts:
        found = all_of(book, part)
        assert found["yield_per_vine", 2016].value == pytest.approx(9.0)
        assert found["yield_per_vine", 2016].note == "carried over from block A1, of which this was a part"
        assert found["yield_to_prunings", 2016].low == book.figure(old, 2016, "yield_to_prunings").low
        assert ("crop", 2016) not in found


def test_a_renamed_block_keeps_its_figures_under_its_new_name(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    new = became(book, "B1", 2018, "renaming", old)
    found = all_of(book, new)["prunings_per_m", 2016]
    assert (found.block, found.note) == ("B1", "carried over from block A1, its earlier name")
    assert found.value == book.figure(old, 2016, "prunings_per_m").value


def test_figures_pass_through_a_renaming_of_a_split(book: Book) -> None:
    whole = book.block("A1", census="2013-06-01")
    cropped(book, whole, 2014, 8000)
    part = became(book, "A2", 2016, "split", whole, positions=400)
    cropped(book, part, 2016, 4000)
    renamed = became(book, "N1", 2018, "renaming", part, positions=400)
    found = all_of(book, renamed)
    assert found["yield_per_vine", 2014].value == pytest.approx(8.0)
    assert found["yield_per_vine", 2014].note == "carried over from block A1, of which this was a part, by way of A2"
    assert found["yield_per_vine", 2016].note == "carried over from block A2, its earlier name"
    assert found["yield_per_vine", 2016].value == pytest.approx(10.0)
    assert [season for name, season in found if name == "yield_per_vine"] == [2014, 2016]


def test_a_part_of_a_merger_takes_over_the_mean_of_the_merger(book: Book) -> None:
    one, two = book.block("A1", bearing=900), book.block("B1", positions=400, bearing=300)
    cropped(book, one, 2014, 9000)
    cropped(book, two, 2014, 1500)
    merged = became(book, "C1", 2016, "merger", one, two, positions=1400, bearing=1200)
    part = became(book, "C2", 2018, "split", merged, positions=700)
    found = all_of(book, part)["yield_per_vine", 2014]
    assert found.value == pytest.approx(10500 / 1200)
    later = "; the only census was taken later, on 2015-06-01"
    assert found.note == f"carried over from blocks A1 and B1, by way of C1{later}"


def test_a_part_merged_again_weighs_by_its_own_first_census(book: Book) -> None:
    whole, other = book.block("A1"), book.block("B1", positions=500)
    cropped(book, whole, 2014, 8000)
    cropped(book, other, 2014, 2000)
    part = became(book, "A2", 2016, "split", whole, positions=250)
    cropped(book, part, 2016, 2000)
    merged = became(book, "C1", 2018, "merger", part, other, positions=750)
    found = all_of(book, merged)["yield_per_vine", 2014]
    assert found.value == pytest.approx((250 * 8.0 + 500 * 4.0) / 750)
    assert "blocks A2 (from block A1, of which this was a part) and B1" in found.note


def test_both_halves_of_a_block_put_together_again_have_its_figures_and_interval(book: Book) -> None:
    whole = book.block("A1")
    cropped(book, whole, 2014, 8000)
    halves = [became(book, code, 2016, "split", whole, positions=500) for code in ("A2", "A3")]
    again = became(book, "A4", 2018, "merger", *halves)
    found = all_of(book, again)["prunings_per_vine", 2014]
    once = book.figure(whole, 2014, "prunings_per_vine")
    assert (found.value, found.low, found.high, found.n) == (once.value, once.low, once.high, once.n)


def test_a_merger_has_all_its_crop_over_all_its_vines_metres_and_prunings(book: Book) -> None:
    one = book.block("A1", positions=900, vine_m=1.0)
    two = book.block("B1", positions=300, vine_m=2.0, curtains=2)
    cropped(book, one, 2016, 9000, [wood * 0.5 for wood in WOOD_KG])
    cropped(book, two, 2016, 6000, [wood * 2.0 for wood in WOOD_KG])
    found = all_of(book, became(book, "C1", 2018, "merger", one, two, positions=1200))
    wood = 900 * 0.5 + 300 * 2.0
    assert found["yield_per_vine", 2016].value == pytest.approx(15000 / 1200)
    assert found["yield_per_m", 2016].value == pytest.approx(15000 / (900 * 1.0 + 300 * 4.0))
    assert found["yield_per_m_planted", 2016].value == pytest.approx(15000 / (900 * 1.0 + 300 * 2.0))
    assert found["yield_to_prunings", 2016].value == pytest.approx(15000 / wood, rel=1e-9)
    assert found["yield_to_prunings", 2016].basis == (
        "mean of the blocks before it, weighted by prunings: 43 % A1 and 57 % B1"
    )
    assert found["prunings_per_vine", 2016].basis.endswith("weighted by bearing vines: 75 % A1 and 25 % B1")


def test_the_ratio_of_a_merger_is_not_the_mean_of_the_ratios_by_vines(book: Book) -> None:
    one, two = book.block("A1", positions=500), book.block("B1", positions=500)
    cropped(book, one, 2016, 5000, [wood * 0.5 for wood in WOOD_KG])
    cropped(book, two, 2016, 1000, [wood * 2.0 for wood in WOOD_KG])
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))["yield_to_prunings", 2016]
    assert found.value == pytest.approx(6000 / 1250)
    assert value_of(found) < (20 + 1) / 2


def test_a_merger_of_full_counts_and_samples_has_their_interval(book: Book) -> None:
    one, two = book.block("A1", positions=600), book.block("B1", positions=400)
    cropped(book, one, 2016, 6000)
    cropped(book, two, 2016, 2000, [wood * 1.5 for wood in WOOD_KG])
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))
    assert (found["yield_per_vine", 2016].low, found["yield_per_vine", 2016].chosen) == (None, "all")
    assert "no interval" not in found["yield_per_vine", 2016].note
    wood = found["prunings_per_vine", 2016]
    parts = [book.figure(block, 2016, "prunings_per_vine") for block in (one, two)]
    for side in ("low", "high"):
        distances = [
            share * (getattr(part, side) - value_of(part)) for share, part in zip((0.6, 0.4), parts, strict=True)
        ]
        assert abs(getattr(wood, side) - value_of(wood)) == pytest.approx(math.hypot(*distances))
    assert (wood.n, wood.level, wood.chosen) == (24, 95.0, "random")
    ratio, crop = found["yield_to_prunings", 2016], value_of(found["yield_per_vine", 2016])
    assert ratio.value == pytest.approx(crop / value_of(wood))
    assert interval_of(ratio) == pytest.approx((crop / interval_of(wood)[1], crop / interval_of(wood)[0]))


def test_budbreak_of_a_merger_counts_every_node_once(book: Book) -> None:
    one, two = book.block("A1", positions=500), book.block("B1", positions=500)
    for block, kept, count, blind in ((one, 20, 18, 2), (two, 60, 30, 30)):
        sample = book.sample(block, 2016, "pruned_vine", "2016-01-10")
        rows = [{"nodes_on_spurs": kept + i % 3 - 1, "spurs": kept // 2} for i in range(12)]
        book.vines("pruned_vine", sample, rows)
        shoots(book, block, 2016, count, blind)
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))["budbreak", 2016]
    broken = [value_of(book.figure(block, 2016, "budbreak")) for block in (one, two)]
    nodes = [value_of(book.figure(block, 2016, "nodes_per_vine")) for block in (one, two)]
    assert found.value == pytest.approx(sum(b * n for b, n in zip(broken, nodes, strict=True)) / sum(nodes))
    assert "weighted by count nodes: 25 % A1 and 75 % B1" in found.basis
    low, high = interval_of(found)
    assert low < value_of(found) < high <= 100


def test_bearing_vines_weight_where_nodes_were_not_counted_and_it_is_said(book: Book) -> None:
    one, two = book.block("A1", positions=600), book.block("B1", positions=400)
    shoots(book, one, 2016, 18, 2)
    shoots(book, two, 2016, 30, 30)
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))["budbreak", 2016]
    assert "weighted by bearing vines, as count nodes are not known of A1 and B1: 60 % A1" in found.basis


def test_what_one_block_of_a_merger_lacks_is_named(book: Book) -> None:
    one, two = book.block("A1"), book.block("B1")
    cropped(book, one, 2014, 9000)
    cropped(book, one, 2016, 9000)
    cropped(book, two, 2016, 9000)
    shoots(book, one, 2016, 18, 2)
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))
    shoot = found["shoots_per_vine", 2016]
    assert (shoot.value, shoot.status) == (None, "unknown")
    assert shoot.note == "not carried over from blocks A1 and B1; block B1 has none: not counted in 2016"
    assert found["yield_per_vine", 2014].note.endswith("block B1 has no record of 2014")
    assert found["yield_per_vine", 2016].value == pytest.approx(9.0)
    assert ("clusters_per_vine", 2016) not in found


def test_a_merger_without_a_census_of_one_block_has_no_mean(book: Book) -> None:
    one, two = book.block("A1"), book.block("B1", census=None)
    for block in (one, two):
        book.wood(block, 2017, WOOD_KG, "2017-01-10")
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))["prunings_per_vine", 2016]
    assert found.value is None
    assert found.note.endswith("no bearing vines are known of block B1 to weight by")


def test_a_merger_with_a_hand_picked_sample_has_no_interval(book: Book) -> None:
    one, two = book.block("A1"), book.block("B1")
    for block, chosen in ((one, "random"), (two, "hand_picked")):
        book.wood(block, 2017, WOOD_KG, "2017-01-10", chosen)
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))["prunings_per_vine", 2016]
    assert (found.low, found.chosen) == (None, "hand_picked, random")
    assert found.note.endswith("no interval, as block B1 has none")


def test_a_block_made_of_parts_of_others_has_no_mean_and_says_why(book: Book) -> None:
    one, two = book.block("A1"), book.block("B1")
    cropped(book, one, 2016, 9000)
    cropped(book, two, 2016, 5000)
    new = became(book, "C1", 2018, "split", one, two)
    found = all_of(book, new)["yield_per_vine", 2016]
    assert found.value is None
    assert "how much of it is not recorded" in found.note


def test_nothing_per_vine_crosses_a_replant(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    new = became(book, "A2", 2018, "replant", old)
    cropped(book, new, 2018, 4000)
    assert min(season for _, season in all_of(book, new)) == 2018


def test_blocks_that_came_out_of_each_other_end_the_line(book: Book) -> None:
    one = book.block("A1", from_season=2018)
    two = became(book, "B1", 2019, "renaming", one)
    book.add("predecessor", block=one, predecessor=two, how="renaming")
    cropped(book, one, 2018, 9000)
    assert all_of(book, two)["yield_per_vine", 2018].value == pytest.approx(9.0)


def test_a_season_has_what_it_has_whether_asked_for_alone_or_not(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    new = became(book, "B1", 2018, "renaming", old)
    cropped(book, new, 2018, 8000)
    alone = all_of(book, new, 2016)
    assert alone
    assert alone == {key: figure for key, figure in all_of(book, new).items() if key[1] == 2016}


def test_all_blocks_come_in_the_order_of_block_season_and_catalogue(book: Book) -> None:
    old = book.block("M1")
    cropped(book, old, 2016, 9000)
    for code in ("A1", "Z1"):
        became(book, code, 2018, "split", old, positions=500)
    cropped(book, book.block("P1"), 2016, 9000)
    rank = {name: number for number, name in enumerate(FIGURES)}
    found = list(figures_with_carried(book.connection, None, None))
    places = [(figure.block, figure.season, rank[figure.figure]) for figure in found]
    assert all(one <= two for one, two in pairwise(places))
    assert {figure.block for figure in found} == {"A1", "M1", "P1", "Z1"}
    alone = [f for code in ("A1", "Z1") for f in block_history(book.connection, code).figures]
    assert [figure for figure in found if figure.block in "A1 Z1"] == alone


def test_the_wood_that_a_part_weighed_first_is_of_the_season_before_it(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    book.load({old: None}, 2017, "2017-09-20", 8000)
    book.close(old, 2017, "2017-09-25")
    new = became(book, "A2", 2018, "split", old, positions=400)
    book.wood(new, 2018, [2.0, 2.2, 1.9, 2.1], "2018-01-10")
    found = all_of(book, new)
    assert found["prunings_per_vine", 2017].value == pytest.approx(2.05)
    assert (
        "before the record's first season: weighed at the visit that sets 2018" in found["prunings_per_vine", 2017].note
    )
    assert found["yield_per_vine", 2017].value == pytest.approx(8.0)
    assert found["prunings_per_vine", 2016].note.startswith("carried over")


def test_figures_that_were_taken_over_are_judged_by_the_vines_they_are_of(book: Book) -> None:
    old = book.block("A1", curtains=2)
    new = became(book, "B1", 2018, "renaming", old)
    context = judging_context(book.connection, [new]).of("B1")
    assert [context.curtains_in(season) for season in (2012, 2018)] == [2, 1]
    assert (context.cultivar_in(2012), context.cultivar_in(2005)) == ("Grey Hen", "")


def test_a_census_before_the_merger_does_not_count_the_merged_vines(book: Book) -> None:
    one, two = book.block("A1"), book.block("B1")
    new = became(book, "C1", 2018, "merger", one, two, positions=2000)
    cropped(book, new, 2018, 9000)
    assert book.figure(new, 2018, "vines_bearing").value == 2000
    assert day("2018-05-01").isoformat() in book.figure(new, 2018, "vines_bearing").basis


def test_a_renamed_block_weighs_the_wood_of_its_last_season_under_its_old_name(book: Book) -> None:
    old = book.block("A1", vine_m=1.5)
    cropped(book, old, 2016, 9000)
    book.load({old: None}, 2017, "2017-09-20", 8000)
    book.close(old, 2017, "2017-09-25")
    shoots(book, old, 2017, 18, 2)
    new = became(book, "B1", 2018, "renaming", old)
    book.wood(new, 2018, WOOD_KG, "2018-01-10")
    found = all_of(book, new)
    wood, ratio = found["prunings_per_vine", 2017], found["yield_to_prunings", 2017]
    assert ratio.value == pytest.approx(8.0 / value_of(wood))
    assert interval_of(ratio) == pytest.approx((8.0 / interval_of(wood)[1], 8.0 / interval_of(wood)[0]))
    assert (ratio.n, ratio.per) == (12, "bearing vine")
    assert found["prunings_per_m", 2017].value == pytest.approx(value_of(wood) / 1.5)
    assert "as carried over from block A1" in found["prunings_per_m", 2017].basis


def test_a_part_of_a_block_has_no_ratio_of_the_whole_crop_to_its_own_wood(book: Book) -> None:
    old = book.block("A1", vine_m=1.5)
    book.load({old: None}, 2017, "2017-09-20", 8000)
    book.close(old, 2017, "2017-09-25")
    new = became(book, "B1", 2018, "split", old, positions=400)
    book.wood(new, 2018, WOOD_KG, "2018-01-10")
    found = all_of(book, new)
    assert ("yield_to_prunings", 2017) not in found
    assert found["prunings_per_m", 2017].value == pytest.approx(value_of(found["prunings_per_vine", 2017]) / 1.5)


def test_a_change_of_picking_at_a_renaming_is_marked(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2017, 9000)
    new = became(book, "B1", 2018, "renaming", old)
    book.load({new: None}, 2018, "2018-09-20", 8000, picked="machine")
    book.close(new, 2018, "2018-09-25")
    found = all_of(book, new)
    for name in ("crop", "yield_per_vine", "yield_per_ha"):
        assert "picked by machine after a season by hand" in found[name, 2018].note
    assert "picked by machine" not in found["vines_bearing", 2018].note
    assert "picked by machine" not in found["yield_per_vine", 2017].note


def test_a_harvest_closed_without_fruit_counts_as_none_in_a_merger(book: Book) -> None:
    one, two = book.block("A1", positions=600, vine_m=1.0), book.block("B1", positions=400, vine_m=2.0)
    cropped(book, one, 2016, 6000)
    book.close(two, 2016, "2016-09-25")
    found = all_of(book, became(book, "C1", 2018, "merger", one, two))
    assert found["yield_per_vine", 2016].value == pytest.approx(6.0)
    assert found["yield_per_m_planted", 2016].value == pytest.approx(6000 / (600 + 800))
    assert found["yield_per_vine", 2016].note.endswith("B1: the harvest was closed without fruit")
