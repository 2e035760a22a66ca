"""`decide`, `trail` and `figures --rows` as they are typed and read."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from tests.audit.trails import harvest, settle, visit, wood
from tests.desk import Desk
from vinebook.cli import vinebook
from vinebook.cli.figure_rows import HEADINGS as ROW_HEADINGS
from vinebook.cli.trail import HEADINGS

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

DECIDE = (
    *("decide", "A1", "--season", "2024", "--decides", "nodes_to_keep", "--value", "20"),
    *("--words", "20 nodes on spurs of two", "--reason", "ratio within its band", "--decided-on", "2024-01-10"),
    *("--expect", "yield_to_prunings", "4", "8", "--review-on", "2025-02-01"),
)


class Line:
    """A command line with a book."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def run(self, *words: str, status: int = 0) -> Result:
        """Run a command in this process."""
        done = CliRunner(env={"COLUMNS": "80"}).invoke(
            vinebook, ["--book", self.desk.url, "--by", "RQ", *words], prog_name="vinebook"
        )
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == status, done.output
        return done

    def told(self, *words: str) -> dict[str, Any]:
        """Run a command and give its JSON."""
        found: dict[str, Any] = json.loads(self.run("--format", "json", *words).stdout)
        return found

    def rows(self, *words: str) -> list[dict[str, str]]:
        """Run a command and give the rows of its CSV."""
        return list(csv.DictReader(io.StringIO(self.run("--format", "csv", *words).stdout)))


@pytest.fixture
def line(sqlite_book: str, tmp_path: Path) -> Line:
    """Give a book whose decision for 2024 was followed by harvest, prunings and a correction."""
    made = Line(settle(Desk(sqlite_book, tmp_path)))
    made.run(*DECIDE)
    last = made.desk.stored("pruned_vine")[-1]["record"]
    made.run("amend", "pruned_vine", f"#{last}", "prunings=0.3 kg", "--reason", "the scale stood wrong")
    made.desk.load_texts(**harvest(2024, 1800), wood25=wood("2025-01-12"), visit25=visit(2025, "2025-01-11"))
    return made


def test_decide_says_what_it_recorded_and_froze(line: Line) -> None:
    on = ("--decided-on", "2025-01-13")
    said = line.run("decide", "A1", "--season", "2025", *DECIDE[4:], *on).stderr
    assert said.startswith("decided A1/2025/1 (#")
    assert "figures of 2022 to 2025 frozen as its evidence" in said
    later = line.run("decide", "--supersedes", "A1/2025/1", "--value", "18", "--reason", "buds are dead", *on).stderr
    assert "decided A1/2025/2 (#" in later
    assert "which supersedes A1/2025/1" in later


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    "words",
    [
        ("trail",),
        ("trail", "--rows"),
        ("trail", "A1", "--season", "2024"),
        ("trail", "A2", "--from", "2022", "--to", "2023"),
        ("trail", "Bridge/2023/2023-2"),
        ("trail", "2023-2", "--duties"),
        ("figures", "A1", "--season", "2023", "--rows"),
    ],
)
def test_what_is_printed_fits_eighty_columns(line: Line, words: tuple[str, ...], units: str) -> None:
    lines = line.run("--units", units, *words).stdout.splitlines()
    assert lines
    # A key or a seal is one word, which is not broken.
    assert [one for one in lines if len(one) > 80 and len(one.split()) > 1] == []


def test_the_trail_tells_evidence_correction_work_and_outcome(line: Line) -> None:
    told = line.run("trail", "A1", "--season", "2024").stdout
    for words in (
        "A1 2024 · decision 1: nodes to keep 20",
        "decided     2024-01-10 by RQ: 20 nodes on spurs of two",
        "because     ratio within its band",
        "expected    yield_to_prunings 4–8 kg/kg; to be looked at on 2025-02-01",
        "prunings 0.8 → 0.3 kg",
        "reason: the scale",
        "the crew kept 20.0",
        "KEPT",
        "MET: yield_to_prunings",
        "picked = accepted + refused + deducted; crop = picked + left",
    ):
        assert words in told, words


def test_in_us_units_the_trail_tells_pounds(line: Line) -> None:
    told = line.run("--units", "us", "trail", "A1", "--season", "2024").stdout
    assert "mass balance, lb" in told
    assert "yield_per_vine [lb]" in told


def test_the_json_of_a_trail_holds_then_and_now_with_rows(line: Line) -> None:
    found = line.told("trail", "A1", "--season", "2024")
    assert found["format"] == 1
    [decision] = found["trail"]["decisions"]
    one = next(
        one
        for one in decision["evidence"]
        if (one["then"]["figure"], one["then"]["season"]) == ("prunings_per_vine", 2023)
    )
    assert one["is_changed"]
    assert one["now"]["value"] == pytest.approx(one["then"]["value"] - 0.05)
    assert {"kind", "key", "numbers", "count", "tally", "file", "lines"} <= set(one["rows"][0])
    assert [step["action"] for step in decision["corrections"]] == ["amended"]
    assert {one["figure"]: one["verdict"] for one in decision["outcome"]}["yield_to_prunings"] == "met"
    assert found["trail"]["balances"][0]["picked_kg"] == 1800
    assert len(found["trail"]["seal"]) == 64


def test_the_csv_of_a_trail_tells_the_steps_in_their_order(line: Line) -> None:
    rows = line.rows("trail", "A1", "--season", "2024")
    assert list(rows[0]) == list(HEADINGS)
    steps = list(dict.fromkeys(row["step"] for row in rows))
    assert steps == ["evidence", "decision", "correction", "done", "outcome", "balance"]
    decision = next(row for row in rows if row["step"] == "decision")
    assert (decision["happened_on"], decision["by"], decision["then"]) == ("2024-01-10", "RQ", "20.0")
    ratio = next(row for row in rows if row["step"] == "outcome" and row["what"] == "yield_to_prunings")
    assert (ratio["verdict"], ratio["then"]) == ("met", "4.0–8.0")
    assert "wood25.csv" in ratio["files"]
    assert "pruned_vine" in ratio["records"]


def test_the_csv_and_json_of_a_ticket(line: Line) -> None:
    rows = line.rows("trail", "2023-2")
    assert [row["step"] for row in rows] == ["ticket", "part", "certification", "part", "balance", "balance"]
    assert rows[0]["files"] == "load2023.csv 3"
    found = line.told("trail", "2023-2")["ticket"]
    assert [part["cultivar"] for part in found["parts"]] == ["Grey Hen", "Red Wing"]
    duties = line.rows("trail", "2023-2", "--duties")
    assert {row["state"] for row in duties} == {"shown", "kept elsewhere"}


REFUSED = [
    (("trail", "A7"), 2, "neither a block nor a ticket A7"),
    (("trail", "Bridge/2023/9"), 2, "there is no load Bridge/2023/9"),
    (("trail", "A1", "--season", "2024", "--from", "2022"), 2, "--season names one season"),
    (("trail", "--from", "2024", "--to", "2022"), 2, "run from 2024 back to 2022"),
    (("trail", "A1", "--duties"), 2, "--duties is for a weigh ticket"),
    (("trail", "--duties"), 2, "--duties is for a weigh ticket"),
    (("trail", "2023-2", "--season", "2023"), 2, "a ticket has its own season"),
    (("decide", "A1", "--season", "2024"), 1, "the season 2024 of A1 is over"),
    (("decide", "A9", "--season", "2026"), 2, "there is no block A9"),
    (("decide", "A1"), 2, "a decision is for a block and a season"),
    (("decide", "A1", "--season", "2026", "--decided-on", "2025-11-01"), 1, "--words"),
    (("decide", "A1", "--season", "2026", "--decided-on", "2025-11-01", "--expect", "yeld", "1", "2"), 2, "'yeld'"),
    (("figures", "A1", "--season", "2023", "--figure", "crup", "--rows"), 2, "'crup' is not a figure"),
]


@pytest.mark.parametrize(("words", "status", "told"), REFUSED)
def test_what_cannot_be_done_is_said_on_stderr(line: Line, words: tuple[str, ...], status: int, told: str) -> None:
    done = line.run(*words, status=status)
    assert done.stdout == ""
    assert told in done.stderr
    assert "Traceback" not in done.stderr


def test_a_block_without_a_decision_says_so_and_has_its_balance(line: Line) -> None:
    told = line.run("trail", "A2").stdout
    assert "no decision is recorded for A2" in told
    assert "A2 2023" in told


def test_an_empty_book_has_an_empty_trail(sqlite_book: str, tmp_path: Path) -> None:
    told = Line(Desk(sqlite_book, tmp_path)).run("trail").stdout
    assert "no decision is recorded for any block" in told


def test_rows_behind_a_figure_are_printed_with_numbers_files_and_lines(line: Line) -> None:
    told = line.run("figures", "A1", "--season", "2022", "--figure", "prunings_per_vine", "--rows").stdout
    assert "pruned_vine" in told
    assert "wood2023.csv lines 2–11" in told
    assert "10 rows of that sample" in told
    rows = line.rows("figures", "A1", "--season", "2022", "--figure", "crop", "--rows")
    assert list(rows[0]) == list(ROW_HEADINGS)
    assert [(row["kind"], row["file"], row["lines"]) for row in rows] == [
        ("load", "load2022.csv", "2"),
        ("load", "load2022.csv", "3"),
        ("load_part", "part2022.csv", "2"),
        ("load_part", "part2022.csv", "3"),
        ("harvest_close", "close2022.csv", "2"),
    ]
    found = line.told("figures", "A1", "--season", "2022", "--figure", "crop", "--rows")["figures"]
    assert [rows["kind"] for rows in found[0]["rows"]] == ["load", "load", "load_part", "load_part", "harvest_close"]
    assert found[0]["value"] == pytest.approx(2.04)


def test_a_number_that_was_printed_is_followed_to_its_row(line: Line) -> None:
    rows = line.rows("figures", "A1", "--season", "2022", "--figure", "crop", "--rows")
    shown = line.run("show", rows[0]["kind"], f"#{rows[0]['numbers']}").stdout
    assert f"line {rows[0]['lines']} of {rows[0]['file']}" in shown


def test_no_figure_has_no_rows(line: Line) -> None:
    done = line.run("figures", "A1", "--season", "2016", "--rows")
    assert done.stdout == ""
    assert "nothing of A1 is recorded for 2016" in done.stderr
