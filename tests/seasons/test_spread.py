"""How much vines differ: a block's own samples first, then its cultivar's, then a published default; each says so."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from tests.seasons.books import day
from vinebook.seasons.spread import DEFAULT_CV, DRAWN_FOR, LIKENESS, Spread, spread_of

if TYPE_CHECKING:
    from tests.seasons.books import Book

COUNTS = [20, 24, 30, 26, 18, 22]


def cv_of(values: list[int]) -> float:
    return float(np.std(values, ddof=1) / np.mean(values))


def clusters(book: Book, block: int, season: int, counts: list[int], chosen: str = "random", **more: object) -> int:
    """Add a cluster tally."""
    sample = book.sample(block, season, "cluster_tally", f"{season}-07-01", chosen, **more)
    book.vines("cluster_tally", sample, [{"clusters": count} for count in counts])
    return sample


def spread(book: Book, block: int, season: int = 2024, figure: str = "clusters_per_vine", **more: object) -> Spread:
    given = {"panel_size": None, "by_parts": False, "on": day(f"{season}-12-31"), **more}
    return spread_of(book.connection, block, season, figure, **given)  # type: ignore[arg-type]


def test_one_sample_of_the_block_tells_its_spread(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, COUNTS)
    found = spread(book, block)
    assert found.cv == pytest.approx(cv_of(COUNTS))
    assert (found.rests_on, found.units, found.samples, found.notes) == ("own", 6, 1, ())
    assert found.source == "6 vines in one sample, 2023"


def test_several_samples_are_pooled_by_their_degrees_of_freedom(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2022, COUNTS)
    clusters(book, block, 2023, [10, 14, 12])
    found = spread(book, block)
    assert found.cv == pytest.approx(np.sqrt((5 * cv_of(COUNTS) ** 2 + 2 * cv_of([10, 14, 12]) ** 2) / 7))
    assert found.source == "9 vines in 2 samples, 2022 to 2023"


def test_what_was_counted_later_than_the_season_is_not_looked_at(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2022, COUNTS)
    clusters(book, block, 2025, [1, 50, 1, 50, 1, 50])
    assert spread(book, block, 2024).cv == pytest.approx(cv_of(COUNTS))


def test_what_was_counted_after_the_day_of_the_draw_is_not_looked_at(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, COUNTS)
    clusters(book, block, 2024, [1, 50, 1, 50, 1, 50])
    assert spread(book, block, 2024, on=day("2024-06-30")).cv == pytest.approx(cv_of(COUNTS))
    assert spread(book, block, 2024, on=day("2024-07-01")).samples == 2


def test_a_ratio_spreads_by_its_residuals(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2023, "shoot_tally", "2023-05-10")
    rows = [(12, 2), (10, 5), (15, 1), (9, 3), (14, 0)]
    book.vines("shoot_tally", sample, [{"count_shoots": shoots, "blind_nodes": blind} for shoots, blind in rows])
    y, x = np.array([row[0] for row in rows]), np.array([sum(row) for row in rows])
    residual = ((y - y.sum() / x.sum() * x) ** 2).sum() / 4
    assert spread(book, block, figure="budbreak").cv == pytest.approx(np.sqrt(residual) / y.mean())


def test_hand_picked_vines_stand_behind_drawn_ones(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2022, [30, 31, 30, 31, 30, 31], "hand_picked")
    alone = spread(book, block)
    assert alone.rests_on == "own"
    assert alone.notes == ("picked by hand: drawn vines may differ more",)
    clusters(book, block, 2023, COUNTS)
    assert spread(book, block).cv == pytest.approx(cv_of(COUNTS))
    assert spread(book, block).notes == ()


def test_one_vine_tells_no_spread_and_the_default_is_named(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, [25])
    found = spread(book, block)
    assert (found.cv, found.rests_on) == (DEFAULT_CV, "default")
    assert found.source == "125 single-vine yields, Strickland 1932"
    assert found.notes[0] == "one vine alone was counted for clusters_per_vine: it tells no spread"
    assert "name one with --cv" in found.notes[1]


def test_a_few_vines_are_too_few(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, [25, 27])
    clusters(book, block, 2022, [25])
    told = "3 vines in 2 samples are too few to tell how much the vines differ in clusters_per_vine"
    assert spread(book, block).notes[0] == told


def test_a_block_without_history_takes_that_of_its_cultivar(book: Book) -> None:
    block, other = book.block(), book.block("B7")
    clusters(book, other, 2023, COUNTS)
    found = spread(book, block)
    assert found.rests_on == "cultivar"
    assert found.source == "other blocks of Grey Hen: 6 vines in one sample, 2023"
    assert found.notes == ("no sample of the block tells how much its vines differ in clusters_per_vine",)


def test_vines_of_an_earlier_planting_stand_behind_those_that_grow_now(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2015, [5, 40, 5, 40, 5, 40])
    book.add(
        "planting",
        block=block,
        from_season=2020,
        cultivar="Red Wren",
        row_spacing_m=3.0,
        vine_spacing_m=2.0,
        positions=1000,
    )
    old = spread(book, block)
    assert old.notes == ("vines before the planting of 2020 are among them",)
    clusters(book, block, 2023, COUNTS)
    assert spread(book, block).cv == pytest.approx(cv_of(COUNTS))


def test_where_panels_are_drawn_the_panel_is_the_unit(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2023, "cluster_tally", "2023-07-01", "panels", panel_size=2)
    book.vines("cluster_tally", sample, [{"clusters": count} for count in [20, 24, 30, 26, 18, 22, 25, 25, 19, 28]])
    totals = [44, 56, 40, 50, 47]
    found = spread(book, block, panel_size=2)
    assert found.cv == pytest.approx(cv_of(totals))
    assert found.source == "5 panels in one sample, 2023"
    # Vine by vine the same sample tells the spread between vines.
    assert spread(book, block).cv == pytest.approx(cv_of([20, 24, 30, 26, 18, 22, 25, 25, 19, 28]))


def test_panels_without_a_past_are_worked_out_from_vines_and_say_so(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, COUNTS)
    found = spread(book, block, panel_size=5)
    assert found.cv == pytest.approx(cv_of(COUNTS) * np.sqrt((1 + 4 * LIKENESS) / 5))
    assert "worked out from 19 % between vines" in found.notes[-1]


def test_a_count_within_parts_says_that_the_whole_may_differ_more(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, [20, 21, 22], part="low")
    clusters(book, block, 2023, [40, 41, 42], part="high")
    assert spread(book, block).notes == ("counted within parts: the whole block may differ more",)
    assert spread(book, block, by_parts=True).notes == ()


def test_a_spread_that_a_person_names_stands_above_all(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2023, COUNTS)
    assert spread(book, block, given=0.6) == Spread(0.6, "given", "named by --cv")


@pytest.mark.parametrize("figure", DRAWN_FOR)
def test_every_figure_that_vines_are_drawn_for_can_be_looked_up(book: Book, figure: str) -> None:
    assert spread(book, book.block(), figure=figure).rests_on == "default"


def test_leaf_area_and_lots_have_a_spread_of_their_own(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2023, "leaf_area", "2023-08-01")
    book.vines("leaf_area", sample, [{"leaf_area_m2": area} for area in (3.0, 4.0, 5.0, 4.5, 3.5)])
    assert spread(book, block, figure="leaf_area_to_fruit").cv == pytest.approx(cv_of([30, 40, 50, 45, 35]))
    sample = book.sample(block, 2023, "cluster_lot", "2023-09-20")
    for lot, (count, mass) in enumerate([(20, 2.0), (25, 2.6), (18, 1.7), (22, 2.4), (21, 2.1)], start=1):
        book.add("cluster_lot", sample=sample, stage="harvest", lot=lot, clusters=count, mass_mg=round(mass * 1e6))
    assert 0 < spread(book, block, figure="cluster_weight").cv < 0.1
