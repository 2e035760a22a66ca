"""`draw` as a person types it: the table, the walk, JSON and CSV, what was visited, and refusals in words."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from typing import TYPE_CHECKING

import pytest
from openpyxl import load_workbook

from tests.cli.line import Line
from tests.desk import Desk

if TYPE_CHECKING:
    from pathlib import Path

DRAW = ("draw", "A1", "--season", "2023", "--for", "clusters_per_vine", "--on", "2022-11-20")
CLUSTERS = [20, 24, 30, 26, 18, 22, 25, 19, 28, 21]


@pytest.fixture
def line(sqlite_book: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Line:
    monkeypatch.setenv("COLUMNS", "80")
    desk = Desk(sqlite_book, tmp_path)
    past = "".join(f"A1,2021-12-05,random,KL,1,{at},{count}\n" for at, count in enumerate(CLUSTERS, start=1))
    desk.load_texts(
        vineyard="name,hemisphere,units\nLow Terrace,south,metric\n",
        block="vineyard,code,from_season\nLow Terrace,A1,2015\n",
        row="block,from_season,first_row,last_row,positions,numbered_from,vines_per_panel\nA1,2015,1,6,40,the lane,5\n",
        vine_census="block,date,bearing,young,missing\nA1,2022-06-01,216,0,24\n",
        past="block,date,chosen,counted_by,row,vine,clusters\n" + past,
    )
    return Line(desk)


def test_without_a_number_it_prints_what_vines_buy(line: Line) -> None:
    told = line.run(*DRAW).stdout
    assert told.splitlines() == [
        "A1 2023, clusters_per_vine: vines at random; nothing is drawn yet",
        "  drawn from 240 positions of 6 rows; 90 % bear by the census of 2022-06-01",
        "  spread between vines 17 %: 10 vines in one sample, 2022",
        "",
        "  vines  bearing  expected",
        "      5        4  ±27 %",
        "     10        9  ±13 %",
        "     20       18  ±8.1 %",
        "     30       27  ±6.3 %",
        "     50       45  ±4.6 %",
        "",
        "expected is the half width of a 95 % interval in percent of the mean; about four",
        "  samples in ten come out wider, as the spread of the next one is not known",
        "draw with --vines N or --within PERCENT",
    ]
    assert line.desk.listed("draw") == []


def test_a_draw_prints_its_walk_and_how_to_go_on(line: Line) -> None:
    told = line.run(*DRAW, "--vines", "12", "--seed", "7").stdout
    assert told.startswith("draw A1/2023/1: 12 vines for clusters_per_vine, at random, seed 7\n")
    assert "row  vines, in walking order; numbered from the lane" in told
    assert "about four samples in ten" in told
    assert "`vinebook form cluster_tally --draw A1/2023/1 -o cluster_tally.csv`" in told
    assert max(map(len, told.splitlines())) <= 80
    assert line.run("verify", "--quiet").exit_code == 0


def test_a_seed_of_chance_is_told_and_kept(line: Line) -> None:
    told = line.run(*DRAW, "--vines", "12").stdout
    kept = line.desk.listed("draw")[0]["seed"]
    assert f"seed {kept}" in " ".join(told.split())


def test_csv_and_json_hold_one_line_for_each_vine(line: Line) -> None:
    rows = list(csv.DictReader(io.StringIO(line.run(*DRAW, "--vines", "12", "--seed", "7", "--format", "csv").stdout)))
    assert [row["number"] for row in rows] == [str(number) for number in range(1, 13)]
    assert "seed 7" in line.run(*DRAW, "--vines", "12", "--seed", "7", "--format", "csv", "--dry-run").stderr
    told = json.loads(line.run(*DRAW, "--vines", "12", "--seed", "7", "--format", "json").stdout)
    assert told["format"] == 1
    assert told["key"] == "A1/2023/2"
    assert [(str(one["row"]), str(one["vine"])) for one in told["vines"]] == [(row["row"], row["vine"]) for row in rows]
    bought = line.run(*DRAW, "--format", "csv").stdout.splitlines()
    assert bought[0] == "vines,bearing,units,half_width_percent"
    assert len(bought) == 6


def test_a_step_says_itself_that_every_kth_is_drawn(line: Line) -> None:
    told = line.run(*DRAW, "--every", "13", "--seed", "3", "--dry-run").stdout
    assert "one in 13 from position" in " ".join(told.split())
    assert told.endswith("dry run: nothing was recorded\n")
    assert line.desk.listed("draw") == []


def test_parts_are_told_with_their_vines(line: Line) -> None:
    told = line.run(*DRAW, "--vines", "12", "--seed", "7", "--parts", "low=1-2 high=3-6").stdout
    assert "part low: 4 vines of 80 positions, rows 1 to 2" in told
    assert "part high: 8 vines of 160 positions, rows 3 to 6" in told
    assert "    1  low " in told


def fill_in(line: Line, leave: int) -> Path:
    """Write the form of draw 1, fill it in but for the last vines, and give its path."""
    path = line.desk.folder / "counts.csv"
    line.run("form", "cluster_tally", "--draw", "A1/2023/1", "-o", str(path))
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    with path.open("w", encoding="utf-8", newline="") as page:
        writer = csv.DictWriter(page, rows[0].keys())
        writer.writeheader()
        for row in rows[: len(rows) - leave]:
            writer.writerow({**row, "date": "2022-12-05", "counted_by": "KL", "clusters": "20"})
    return path


def test_load_tells_which_drawn_vines_were_not_visited_and_show_marks_them(line: Line) -> None:
    line.run(*DRAW, "--vines", "12", "--seed", "7")
    assert "no tally names it yet" in line.run("draw", "--show", "A1/2023/1").stdout
    path = fill_in(line, leave=2)
    told = line.run("load", str(path)).stderr
    assert "draw A1/2023/1, cluster_tally: 10 of 12 drawn vines were visited; not visited: " in told
    shown = line.run("draw", "--show", "A1/2023/1").stdout
    assert "cluster_tally: 10 of 12 drawn vines were visited" in shown
    assert shown.count("[") == 2
    rows = list(csv.DictReader(io.StringIO(line.run("draw", "--show", "A1/2023/1", "--format", "csv").stdout)))
    assert [row["cluster_tally"] for row in rows] == ["visited"] * 10 + ["not visited"] * 2
    told = json.loads(line.run("draw", "--show", "A1/2023/1", "--format", "json").stdout)
    assert told["visits"][0]["visited"] == 10
    assert len(told["visits"][0]["not_visited"]) == 2
    assert json.loads(line.run("load", str(path), "--dry-run", "--format", "json").stdout)["notes"] == []
    listed = line.run("draw", "--list").stdout
    assert "A1/2023/1" in listed
    assert "cluster_tally 10" in listed


def test_a_book_without_draws_says_so(line: Line) -> None:
    assert line.run("draw", "--list").stderr == "no draw is recorded\n"
    assert line.run("draw", "A1", "--list").stderr == "no draw is recorded there\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("draw", "A1"), "a draw needs --season and --for"),
        (("draw", "--season", "2023", "--for", "budbreak"), "a draw needs BLOCK"),
        (("draw", "--show", "A1/2023/9"), "there is no draw A1/2023/9"),
        (("draw", "A9", "--season", "2023", "--for", "budbreak"), "there is no block A9"),
        (("draw", "A1", "--season", "2023", "--for", "clusters"), "did you mean clusters_per_vine"),
        ((*DRAW, "--within", "0"), "a precision of 0 % cannot be wanted"),
        ((*DRAW, "--vines", "300"), "the rows of A1 have 240 positions"),
        ((*DRAW, "--every", "10"), "multiple of the 5 vines of a panel"),
        (("form", "bud_sample", "--draw", "A1/2023/1"), "there is no draw A1/2023/1"),
        (("form", "--draw", "A1/2023/1", "-o", "x"), "which form is wanted?"),
    ],
)
def test_what_is_off_is_told_without_a_traceback(line: Line, words: tuple[str, ...], told: str) -> None:
    done = line.run(*words, status=2)
    assert told in done.stderr
    assert "Traceback" not in done.output


def test_a_kind_that_is_not_counted_on_drawn_vines_has_no_form_of_a_draw(line: Line) -> None:
    line.run(*DRAW, "--vines", "12", "--seed", "7")
    told = line.run("form", "bud_sample", "--draw", "A1/2023/1", status=2).stderr
    assert "a bud_sample is not counted on drawn vines" in told
    assert "cluster_tally" in told
    lots = line.run("form", "cluster_lot", "--draw", "A1/2023/1", "--quiet").stdout
    assert len(lots.splitlines()) == 13


def test_the_vines_of_a_draw_stand_in_a_workbook_and_come_in_from_it(line: Line) -> None:
    line.run(*DRAW, "--vines", "40", "--seed", str(2**53 - 1))
    path = line.desk.folder / "counts.xlsx"
    done = line.run("form", "cluster_tally", "--draw", "A1/2023/1", "-o", str(path))
    assert done.stderr == f"wrote {path}: 1 sheet of forms, 40 rows of drawn vines, 1 block to choose from\n"
    book = load_workbook(path)
    sheet = book["cluster_tally"]
    assert sheet.print_area == "'cluster_tally'!$A$1:$N$47"
    column = {cell.value.strip(" *"): cell.column for cell in sheet[1]}
    for row in range(2, 42):
        for name, value in (("date", date(2022, 12, 5)), ("counted by", "KL"), ("clusters", 20)):
            sheet.cell(row, column[name], value)
    book.save(path)
    told = line.run("load", str(path)).stderr
    assert "draw A1/2023/1, cluster_tally: all 40 drawn vines were visited" in told
    assert line.desk.listed("sample")[-1]["seed"] == 2**53 - 1
