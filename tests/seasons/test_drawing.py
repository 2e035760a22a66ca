"""A draw: what it is drawn from, what it buys, which vines, and what it refuses with a cure."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from tests.seasons.books import Book, day
from tests.seasons.test_spread import COUNTS, clusters
from vinebook.errors import WordsError
from vinebook.seasons.draw_checks import Asked
from vinebook.seasons.drawing import Draw, planned_draw

ON = dt.date(2024, 3, 1)
PLANTED: dict[str, Any] = {"cultivar": "Grey Hen", "row_spacing_m": 3.0, "vine_spacing_m": 2.0}


def block_with_rows(book: Book, rows: int = 10, positions: int = 50, panel: int | None = 5, **more: Any) -> int:  # noqa: ANN401
    """Add block A1 with equal rows and a past cluster tally."""
    block = book.block(positions=rows * positions, **more)
    book.add(
        "row",
        block=block,
        from_season=2010,
        first_row=1,
        last_row=rows,
        positions=positions,
        numbered_from="gate end",
        vines_per_panel=panel,
    )
    clusters(book, block, 2023, COUNTS)
    return block


def draw(book: Book, **given: Any) -> Draw:  # noqa: ANN401 - what is asked
    asked = {"block": "A1", "season": 2024, "figure": "clusters_per_vine", "seed": 7, "on": ON, **given}
    return planned_draw(book.connection, Asked(**asked))


def refused(book: Book, **given: Any) -> tuple[str, str]:  # noqa: ANN401
    with pytest.raises(WordsError) as caught:
        draw(book, **given)
    return caught.value.message, caught.value.hint


def test_without_a_number_it_tells_what_vines_buy_and_draws_nothing(book: Book) -> None:
    block_with_rows(book)
    found = draw(book)
    assert [one.vines for one in found.table] == [5, 10, 20, 30, 50]
    widths = [one.half_width_percent for one in found.table]
    assert None not in widths
    assert widths == sorted(widths, key=lambda width: -(width or 0))
    assert (found.vines, found.bought, found.key, found.seed) == ((), None, "", None)
    assert (found.positions, found.rows) == (500, 10)


def test_a_number_of_vines_is_drawn_from_the_rows_each_once(book: Book) -> None:
    block_with_rows(book)
    found = draw(book, vines=30)
    places = {(one.row, one.vine) for one in found.vines}
    assert len(places) == 30
    assert all(1 <= row <= 10 and 1 <= vine <= 50 for row, vine in places)
    assert [one.number for one in found.vines] == list(range(1, 31))
    assert draw(book, vines=30).vines == found.vines
    assert draw(book, vines=30, seed=8).vines != found.vines


def test_a_few_vines_are_marked(book: Book) -> None:
    block_with_rows(book)
    assert draw(book, vines=4).notes == ()
    told = "fewer than 3 bearing vines: the interval will be less sure than it says"
    assert draw(book, vines=2).notes == (told,)
    assert draw(book, vines=50, cv_percent=70).notes == ()
    assert draw(book, vines=40, cv_percent=70).notes == (told.replace("3", "50"),)


def test_the_walk_turns_at_the_end_of_each_row(book: Book) -> None:
    block_with_rows(book)
    found = draw(book, vines=60)
    rows = sorted({one.row for one in found.vines})
    assert [one.row for one in found.vines] == sorted(one.row for one in found.vines)
    for at, row in enumerate(rows):
        walked = [one.vine for one in found.vines if one.row == row]
        assert walked == sorted(walked, reverse=at % 2 == 1)
    assert found.walk_from == "gate end"


def test_a_precision_is_met_by_the_fewest_vines(book: Book) -> None:
    block_with_rows(book)
    found = draw(book, within_percent=8)
    assert found.bought is not None
    assert found.bought.half_width_percent is not None
    assert found.bought.half_width_percent <= 8
    fewer = draw(book, vines=len(found.vines) - 1).bought
    assert fewer is not None
    assert fewer.half_width_percent is not None
    assert fewer.half_width_percent > 8


def test_the_numbers_are_those_of_the_formulas_by_hand(book: Book) -> None:
    block_with_rows(book)
    found = draw(book, vines=20)
    cv = np.std(COUNTS, ddof=1) / np.mean(COUNTS)
    # t on 19 degrees of freedom, as printed in the tables.
    by_hand = 100 * 2.093024054 * cv / np.sqrt(20) * np.sqrt(1 - 20 / 500)
    assert found.bought is not None
    assert found.bought.half_width_percent == pytest.approx(by_hand, rel=1e-8)


def test_places_that_do_not_bear_are_made_up_for(book: Book) -> None:
    block_with_rows(book, bearing=250)
    found = draw(book, within_percent=8)
    assert found.bearing_percent == 50
    assert found.bought is not None
    assert len(found.vines) >= 2 * found.bought.bearing - 1


def test_panels_are_drawn_whole_and_23_panels_of_3_are_69_vines(book: Book) -> None:
    # Taylor and Bates, 2012, AJEV 63: 559-563: 23 samples of 3 neighbouring vines between posts.
    block_with_rows(book, rows=23, positions=60, panel=3)
    found = draw(book, how="panels", vines=69)
    panels = {(one.row, one.panel) for one in found.vines}
    assert (len(found.vines), len(panels)) == (69, 23)
    assert found.bought is not None
    assert found.bought.units == 23
    for row, panel in panels:
        vines = sorted(one.vine for one in found.vines if (one.row, one.panel) == (row, panel))
        assert [(vine - 1) // 3 + 1 for vine in vines] == [panel] * 3


def test_a_last_panel_may_be_short(book: Book) -> None:
    block_with_rows(book, rows=2, positions=7, panel=3)
    found = draw(book, how="panels", vines=14)
    assert (found.panels, len(found.vines)) == (6, 14)


def test_every_kth_vine_keeps_clear_of_panels_and_rows(book: Book) -> None:
    block_with_rows(book)
    found = draw(book, how="every_kth", vines=20)
    # 25 divides the row, 24 does not and has no factor in common with panels of 5.
    assert found.step == 24
    assert len(found.vines) >= 20
    at = [50 * (one.row - 1) + (one.vine if one.row % 2 else 51 - one.vine) for one in found.vines]
    assert sorted(at) == list(range(found.start or 0, 501, 24))


@pytest.mark.parametrize(
    ("step", "why"),
    [
        (10, "is a multiple of the 5 vines of a panel: it would meet one place of every panel"),
        (100, "is a multiple of the 5 vines of a panel: it would meet one place of every panel"),
    ],
)
def test_a_step_that_falls_on_the_same_place_is_refused(book: Book, step: int, why: str) -> None:
    block_with_rows(book)
    message, hint = refused(book, how="every_kth", step=step)
    assert message == f"a step of {step} {why}"
    assert hint.endswith("would do")


def test_a_step_in_time_with_the_rows_is_refused(book: Book) -> None:
    block_with_rows(book, panel=None)
    assert "multiple of the 50 vines of a row" in refused(book, how="every_kth", step=100)[0]
    assert "divides the 50 vines of a row" in refused(book, how="every_kth", step=25)[0]
    assert "may keep time with the posts" in draw(book, how="every_kth", step=24).notes[-1]


def test_a_step_with_a_factor_in_common_is_refused(book: Book) -> None:
    block_with_rows(book, panel=6)
    assert "it would meet 3 of 6 places" in refused(book, how="every_kth", step=22)[0]


def test_parts_share_the_vines_by_their_bearing_ones(book: Book) -> None:
    block = block_with_rows(book)
    for part, bearing, missing in (("low", 100, 100), ("high", 300, 0)):
        book.add(
            "vine_census", block=block, date=day("2023-06-01"), part=part, bearing=bearing, young=0, missing=missing
        )
    found = draw(book, vines=20, parts=("low=1-4", "high=5-10"))
    assert [(part.name, vines) for part, vines in found.parts] == [("low", 5), ("high", 15)]
    assert {one.part for one in found.vines if one.row <= 4} == {"low"}
    assert sum(one.part == "high" for one in found.vines) == 15


def test_each_row_can_be_a_part(book: Book) -> None:
    block_with_rows(book)
    found = draw(book, vines=20, parts=("rows",))
    assert [vines for _, vines in found.parts] == [2] * 10


def test_a_later_layout_of_the_rows_is_not_drawn_from(book: Book) -> None:
    block = block_with_rows(book)
    book.add("row", block=block, from_season=2025, first_row=11, last_row=20, positions=50)
    book.add("planting", block=block, from_season=2025, positions=1000, **PLANTED)
    assert draw(book).positions == 500
    assert draw(book, season=2025, on=dt.date(2025, 1, 5)).positions == 1000


def test_a_layout_that_replaces_another_leaves_none_of_its_rows(book: Book) -> None:
    block = block_with_rows(book)
    book.add("row", block=block, from_season=2020, first_row=1, last_row=8, positions=60)
    assert draw(book).positions == 580
    book.add("planting", block=block, from_season=2020, positions=480, **PLANTED)
    assert (draw(book).positions, draw(book).rows) == (480, 8)


def test_draws_are_numbered_within_block_and_season(book: Book) -> None:
    block = block_with_rows(book)
    assert draw(book, vines=5).name == "1"
    kept = {"figure": "budbreak", "chosen": "random", "seed": 1, "vines": 5, "positions": 500, "drawn_by": "AB"}
    book.add("draw", block=block, season=2024, name="1", drawn_on=ON, **kept)
    assert draw(book, vines=5).name == "2"
    assert refused(book, vines=5, name="1")[0] == "draw A1/2024/1 is in the book already"


def test_a_block_without_rows_says_what_to_load(book: Book) -> None:
    book.block()
    message, hint = refused(book)
    assert message == "no rows of A1 are in the book for 2024"
    assert "vinebook form row" in hint


def test_a_season_that_is_over_names_the_next(book: Book) -> None:
    block = block_with_rows(book)
    assert refused(book, on=dt.date(2025, 1, 2))[0] == "the season 2024 of A1 is over: it is 2025-01-02"
    book.close(block, 2024, "2024-09-20")
    message, hint = refused(book, figure="prunings_per_vine", on=dt.date(2024, 10, 1))
    assert message == "the season 2024 of A1 is over: its harvest ended on 2024-09-20"
    assert hint.startswith("the wood grown in 2024 is weighed at the pruning that sets 2025; draw for --season 2025")
    assert draw(book, season=2025, on=dt.date(2024, 10, 1)).season == 2025


def test_a_season_far_ahead_or_outside_the_block_is_refused(book: Book) -> None:
    block_with_rows(book)
    assert "is far from 2024-03-01" in refused(book, season=2030)[0]
    assert refused(book, season=2009)[0] == "A1 has no season 2009"


@pytest.mark.parametrize("within", [0, -5, 100])
def test_a_precision_that_cannot_be_is_refused(book: Book, within: float) -> None:
    block_with_rows(book)
    message, hint = refused(book, within_percent=within)
    assert message == f"a precision of {within:g} % cannot be wanted"
    assert "above 0 and below 100" in hint


def test_a_precision_out_of_reach_says_what_is_in_reach(book: Book) -> None:
    block_with_rows(book)
    message, hint = refused(book, within_percent=0.5)
    assert "is not reachable by drawing" in message
    assert hint.startswith("50 vines buy ±")


def test_more_vines_than_the_block_has_and_one_vine_are_refused(book: Book) -> None:
    block_with_rows(book)
    assert refused(book, vines=501)[0] == "501 vines cannot be drawn: the rows of A1 have 500 positions"
    assert refused(book, vines=1)[0] == "one vine tells no spread, hence no interval"
    assert refused(book, vines=9, how="panels") == (
        "9 vines are too few: a draw needs two panels to tell a spread",
        "10 vines or more",
    )
    assert refused(book, vines=19, parts=("rows",))[1] == "20 vines or more"


@pytest.mark.parametrize(
    ("figure", "message", "hint"),
    [
        ("clusters", "there is no figure 'clusters'", "did you mean clusters_per_vine"),
        ("crop", "no vines are drawn for crop: it comes from places", "one of: nodes_per_vine"),
        ("gap_share", "its unit is the transect of probes", "one of: nodes_per_vine"),
    ],
)
def test_a_figure_that_is_not_counted_on_vines_says_why(book: Book, figure: str, message: str, hint: str) -> None:
    block_with_rows(book)
    told, cure = refused(book, figure=figure)
    assert message in told
    assert cure.startswith(hint)


def test_panels_of_unknown_size_are_refused(book: Book) -> None:
    block = block_with_rows(book, panel=None)
    assert "is not recorded" in refused(book, how="panels")[0]
    assert draw(book, how="panels", panel_size=5).panels == 100
    book.add("row", block=block, from_season=2011, first_row=11, positions=50, vines_per_panel=4)
    assert "4 vines in a panel, or none recorded" in refused(book, how="panels")[0]


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        (("low",), "'low' names no part"),
        (("low=1-4",), "rows 5 to 10 would never be drawn: no part holds them"),
        (("low=1-5 high=5-10",), "row 5 is in part low and in part high"),
        (("low=1-11",), "row 11 of part low is no row of the block"),
        (("low=1-5", "low=6-10"), "the name 'low' cannot stand for one part alone"),
    ],
)
def test_parts_that_do_not_hold_each_row_once_are_refused(book: Book, parts: tuple[str, ...], message: str) -> None:
    block_with_rows(book)
    assert refused(book, vines=20, parts=parts)[0] == message


def test_a_block_without_a_census_says_that_all_are_taken_to_bear(book: Book) -> None:
    block_with_rows(book, census=None)
    assert draw(book).notes == ("no vine census is in the book: every position is taken to bear",)
