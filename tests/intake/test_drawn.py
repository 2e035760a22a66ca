"""Draws in the book: kept in one step, recognised in tallies, corrected and verified, on both databases."""

from __future__ import annotations

import csv
import datetime as dt
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk import Desk
from vinebook.api import draw_vines
from vinebook.errors import CorrectionError, FindingsError
from vinebook.exchange.forms import form_csv
from vinebook.intake.amending import amend
from vinebook.intake.drawn import add_draw
from vinebook.intake.striking import strike
from vinebook.intake.typed import replace_tally
from vinebook.kinds import KINDS
from vinebook.records.drawn import kept_draw, kept_draws, rows_to_fill, visits_of

if TYPE_CHECKING:
    from pathlib import Path

    from vinebook.seasons.drawing import Draw

ROWS = "block,from_season,first_row,last_row,positions,vines_per_panel\nA1,2015,1,6,40,5\n"
ON = dt.date(2022, 11, 20)


@pytest.fixture
def desk(book_url: str, tmp_path: Path) -> Desk:
    made = Desk(book_url, tmp_path)
    made.load_texts(
        vineyard="name,hemisphere,units\nLow Terrace,south,metric\n",
        block="vineyard,code,from_season\nLow Terrace,A1,2015\nLow Terrace,A2,2015\n",
        row=ROWS,
    )
    return made


def drawn(desk: Desk, **given: object) -> Draw:
    asked = {"vines": 10, "seed": 7, "on": ON, **given}
    return draw_vines(desk.book, "A1", season=2023, figure="clusters_per_vine", by="RM", **asked)  # type: ignore[arg-type]


def counted(
    made: Draw, leave: int = 0, more: tuple[tuple[int, int], ...] = (), draw: str = "1", seed: str = "7", **given: str
) -> str:
    """Give a cluster tally of the vines of a draw but the last few, and of others."""
    chosen, size, part = given.get("chosen", made.chosen), given.get("panel_size", ""), given.get("part")
    lines = ["block,date,chosen,panel_size,draw,seed,counted_by,part,row,vine,clusters"]
    places = [(one.row, one.vine, one.part) for one in made.vines[: len(made.vines) - leave]]
    places += [(row, vine, "all") for row, vine in more]
    lines += [
        f"A1,2022-12-05,{chosen},{size},{draw},{seed},KL,{part or where},{row},{vine},20" for row, vine, where in places
    ]
    return "\n".join(lines) + "\n"


def test_a_draw_and_its_vines_come_in_as_one_step_and_verify(desk: Desk) -> None:
    made = drawn(desk)
    assert made.key == "A1/2023/1"
    held = desk.held()
    assert (held["draw"], held["drawn_vine"], held["tally"]) == (1, 10, 5)
    kept = desk.listed("draw")[0]
    assert kept["block/season/name"] == "A1/2023/1"
    assert (kept["figure"], kept["chosen"], kept["seed"]) == ("clusters_per_vine", "random", 7)
    assert (kept["vines"], kept["positions"], kept["drawn_by"]) == (10, 240, "RM")
    report = desk.verify()
    assert report.differences == []
    with desk.book.reading() as connection:
        of_book = kept_draw(connection, "A1/2023/1")
    assert [(one.number, one.row, one.vine) for one in of_book.vines] == [
        (one.number, one.row, one.vine) for one in made.vines
    ]


def test_a_draw_that_cannot_be_kept_leaves_nothing(desk: Desk) -> None:
    before = desk.held()
    with pytest.raises(FindingsError) as caught:
        drawn(desk, name="=1")
    assert [str(one) for one in caught.value.findings] == [
        "draw:name: '=1' looks like a formula; expected a name that begins with a letter or digit"
    ]
    assert desk.held() == before


def test_what_is_drawn_dry_is_not_recorded(desk: Desk) -> None:
    before = desk.held()
    dry = draw_vines(
        desk.book, "A1", season=2023, figure="clusters_per_vine", by="RM", vines=10, seed=7, on=ON, dry_run=True
    )
    assert (len(dry.vines), dry.key) == (10, "")
    assert desk.held() == before


def test_the_kept_seed_draws_the_same_vines_again(desk: Desk) -> None:
    made = drawn(desk, seed=None)
    assert made.seed is not None
    again = drawn(desk, seed=made.seed)
    assert again.vines == made.vines
    assert again.key == "A1/2023/2"


def test_every_vine_visited_is_said(desk: Desk) -> None:
    report = desk.load_texts(counts=counted(drawn(desk)))
    assert report.notes == ["draw A1/2023/1, cluster_tally: all 10 drawn vines were visited"]
    assert [one for one in report.warnings if "drawn" in one.what] == []


def test_vines_that_were_missed_and_vines_that_were_not_drawn_are_told(desk: Desk) -> None:
    made = drawn(desk)
    others = [(row, 40) for row in (1, 2) if (row, 40) not in {(one.row, one.vine) for one in made.vines}]
    report = desk.load_texts(counts=counted(made, leave=2, more=tuple(others)))
    missed = ", ".join(f"{one.row}/{one.vine}" for one in made.vines[-2:])
    assert report.notes == [f"draw A1/2023/1, cluster_tally: 8 of 10 drawn vines were visited; not visited: {missed}"]
    told = [one.what for one in report.warnings]
    assert told == ["2 vines were not drawn (1/40, 2/40), and count as drawn"]
    with desk.book.reading() as connection:
        visits = visits_of(connection, kept_draw(connection, "A1/2023/1").record)
    assert [(one.kind, len(one.visited), len(one.missed)) for one in visits] == [("cluster_tally", 8, 2)]


def test_the_rest_of_a_draw_may_come_in_another_tally(desk: Desk) -> None:
    made = drawn(desk)
    desk.load_texts(first=counted(made, leave=3))
    rest = counted(made).splitlines()
    report = desk.load_texts(second="\n".join([rest[0], *rest[-3:]]) + "\n")
    assert report.notes == ["draw A1/2023/1, cluster_tally: all 10 drawn vines were visited"]


@pytest.mark.parametrize(
    ("given", "column", "what"),
    [
        ({"draw": "9"}, "draw", "no draw '9' of A1 in 2023 is in the book"),
        ({"seed": "8"}, "seed", "is 8, and 7 in draw 1"),
        ({"chosen": "hand_picked"}, "chosen", "is hand_picked, and random in draw 1"),
        ({"chosen": "panels", "panel_size": "5"}, "panel_size", "is 5, and empty in draw 1"),
    ],
)
def test_a_tally_that_disagrees_with_its_draw_is_refused(
    desk: Desk, given: dict[str, Any], column: str, what: str
) -> None:
    made = drawn(desk)
    before = desk.held()
    with pytest.raises(FindingsError) as caught:
        desk.load_texts(counts=counted(made, **given))
    found = [one for one in caught.value.findings if one.column == column]
    assert [(one.line, one.what) for one in found] == [(2, what)]
    assert desk.held() == before


def test_a_tally_that_names_a_draw_of_another_season_is_refused(desk: Desk) -> None:
    made = drawn(desk)
    with pytest.raises(FindingsError, match="nothing was stored") as caught:
        desk.load_texts(counts=counted(made).replace("2022-12-05", "2021-12-05"))
    assert caught.value.findings[0].what == "no draw '1' of A1 in 2022 is in the book"
    assert caught.value.findings[0].expected.startswith("an empty cell where no draw was recorded")


def test_an_empty_seed_is_no_disagreement(desk: Desk) -> None:
    assert desk.load_texts(counts=counted(drawn(desk), seed="")).tallies[0].rows == 10


def test_a_draw_and_a_tally_that_names_it_may_come_in_one_call(desk: Desk) -> None:
    desk.load_texts(
        counts="block,date,chosen,draw,counted_by,row,vine,clusters\nA1,2022-12-05,random,mine,KL,1,3,20\n",
        drawn_vine="block,season,name,number,row,vine\nA1,2023,mine,1,1,3\nA1,2023,mine,2,2,9\n",
        draw="block,season,name,figure,chosen,seed,vines,positions,drawn_on,drawn_by\n"
        "A1,2023,mine,clusters_per_vine,random,7,2,240,2022-11-20,RM\n",
    )
    with desk.book.reading() as connection:
        assert [one.key for one in kept_draws(connection, "A1", 2023)] == ["A1/2023/mine"]
        assert kept_draws(connection, "A2", None) == []


def test_a_drawn_vine_of_a_draw_that_is_not_there_is_refused(desk: Desk) -> None:
    with pytest.raises(FindingsError) as caught:
        desk.load_texts(drawn_vine="block,season,name,number,row,vine\nA1,2023,4,1,1,3\nA9,2023,4,1,1,3\n")
    told = [(one.line, one.column, one.what) for one in caught.value.findings]
    assert told == [
        (2, "draw", "no draw 'A1/2023/4' is in the book"),
        (3, "draw", "no block 'A9' is in the book"),
    ]


def test_a_vine_counted_under_another_part_than_drawn_is_told(desk: Desk) -> None:
    made = drawn(desk, parts=("low=1-3", "high=4-6"))
    report = desk.load_texts(counts=counted(made, part="low"))
    assert any("was drawn in part high" in one.what for one in report.warnings)
    assert desk.load_texts(again=counted(made).replace("12-05", "12-15")).warnings == []


def test_the_form_of_a_draw_loads_once_it_is_filled_in(desk: Desk) -> None:
    made = drawn(desk, how="panels", parts=("low=1-3", "high=4-6"), vines=20)
    with desk.book.reading() as connection:
        rows = rows_to_fill(kept_draw(connection, made.key), KINDS["cluster_tally"])
    page = form_csv(KINDS["cluster_tally"], rows=rows).splitlines()
    table = list(csv.DictReader(page))
    for row in table:
        row |= {"date": "2022-12-05", "counted_by": "KL", "clusters": "21"}
    text = "\n".join([page[0], *(",".join(row.values()) for row in table)]) + "\n"
    report = desk.load_texts(counts=text)
    assert report.warnings == []
    assert report.notes == [f"draw A1/2023/1, cluster_tally: all {len(made.vines)} drawn vines were visited"]


def test_a_draw_is_struck_with_its_vines_unless_a_sample_names_it(desk: Desk) -> None:
    made = drawn(desk)
    with pytest.raises(CorrectionError, match="named by live records: 10 drawn_vine"):
        strike(desk.book, "draw", made.key, reason="typo", by="RM")
    desk.load_texts(counts=counted(made))
    with pytest.raises(CorrectionError, match="is named by 1 live sample"):
        strike(desk.book, "draw", made.key, reason="typo", by="RM", with_rows=True)
    sample = desk.listed("sample")[0]["record"]
    strike(desk.book, "sample", f"#{sample}", reason="typo", by="RM", with_rows=True)
    done = strike(desk.book, "draw", made.key, reason="typo", by="RM", with_rows=True)
    assert done.rows == 10
    assert desk.verify().differences == []
    assert drawn(desk).key == "A1/2023/2"


def test_an_amended_sample_must_agree_with_its_draw(desk: Desk) -> None:
    desk.load_texts(counts=counted(drawn(desk)))
    sample = f"#{desk.listed('sample')[0]['record']}"
    with pytest.raises(CorrectionError, match="is 9, and 7 in draw 1"):
        amend(desk.book, "sample", sample, {"seed": "9"}, reason="typo", by="RM")
    with pytest.raises(CorrectionError, match="no draw '5' of A1 in 2023"):
        amend(desk.book, "sample", sample, {"draw": "5"}, reason="typo", by="RM")
    amend(desk.book, "sample", sample, {"draw": "", "seed": ""}, reason="drawn otherwise", by="RM")
    assert desk.verify().differences == []


def test_a_count_of_a_draw_can_be_replaced(desk: Desk) -> None:
    made = drawn(desk)
    desk.load_texts(counts=counted(made, leave=2))
    mended = desk.write("mended.csv", counted(made))
    report, _ = replace_tally(desk.book, mended, "counts.csv", reason="two more vines", by="RM")
    assert report.notes == ["draw A1/2023/1, cluster_tally: all 10 drawn vines were visited"]
    assert desk.verify().differences == []


def test_a_draw_typed_twice_is_refused_as_one_fault(desk: Desk) -> None:
    row = {"block": "A1", "season": "2023", "name": "x", "figure": "budbreak", "chosen": "random", "seed": "1"}
    row |= {"vines": "1", "positions": "9", "drawn_on": "2022-11-20", "drawn_by": "RM"}
    vine = {"block": "A1", "season": "2023", "name": "x", "number": "1", "row": "1", "vine": "2"}
    add_draw(desk.book, row, [vine], by="RM")
    with pytest.raises(FindingsError) as caught:
        add_draw(desk.book, {**row, "seed": "2"}, [{**vine, "vine": "3"}], by="RM")
    assert [one.file for one in caught.value.findings] == ["draw"]
