"""A trail on paper: what was decided on what, what came, what was corrected since, and where each number stands."""

from __future__ import annotations

import dataclasses
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import page as validator
import pytest
from click.testing import CliRunner

from tests.desk import Desk
from tests.reports.test_history_page import Outline, compare
from tests.reports.test_statement import inside, text_of
from tests.reports.trail_pages import UNTOLD, page_of_story, story_of, tell_a_story
from vinebook.cli import vinebook
from vinebook.printing import make_report
from vinebook.reports.trail import trail_page
from vinebook.reports.trail_words import came_of, expected_words
from vinebook.reports.wanted import Wanted
from vinebook.seasons.model import Figure
from vinebook.seasons.trail_model import OutcomeTold

if TYPE_CHECKING:
    from vinebook.seasons.trail_model import Trail, Verdict

GOLDEN = Path(__file__).parent / "golden"


@pytest.fixture(scope="module")
def desk(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Give the book of the story; tests only read it."""
    folder = tmp_path_factory.mktemp("story")
    return tell_a_story(Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder))


@pytest.fixture(scope="module")
def told(desk: Desk) -> Trail:
    """Give the trail of A1, its times made still."""
    return story_of(desk)


@pytest.fixture(scope="module")
def pdf(desk: Desk) -> bytes:
    """Give the PDF of A1's trail."""
    return make_report(desk.book, Wanted("trail", ("A1",))).pdf


def words_of(html: str) -> str:
    """Text of a page with plain spaces, cells apart."""
    return " ".join(Outline(html.replace("<", " <")).text.replace("\u00a0", " ").split())


def section(html: str, title: str) -> str:
    """Text of one decision's section."""
    start = html.index(f"<h2>{title}")
    return words_of(html[start : html.index("</section>", start)])


@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_the_page_is_as_it_was_kept(desk: Desk, units: str, paper: str) -> None:
    page = page_of_story(desk, units, paper)
    assert page.warnings == ()
    compare(GOLDEN / f"trail-{units}.html", page.html)


def test_a_decision_that_was_met_stands_with_evidence_work_and_outcome(desk: Desk) -> None:
    text = section(page_of_story(desk).html, "2024, decision 1")
    for words in (
        "nodes to keep, 20 in force",
        "2024-01-10 by HM",
        "Yield to prunings 4–8 kg/kg",
        "on 2025-02-01",
        "Pruned to spur; ordered 20 nodes ± 2".lower(),
        "Met: within what was expected",
        "20.0 (19.4–20.6) nodes, n 10",
    ):
        assert words in text, words


def test_a_decision_that_was_missed_says_to_which_side(desk: Desk) -> None:
    text = section(page_of_story(desk).html, "2024, decision 2")
    assert "Prunings per vine 0.4–0.5 kg" in text
    assert "Missed: above what was expected" in text
    assert "Unknown: no pass of cluster thinning is recorded for 2024" in text


def test_a_decision_that_waits_says_for_what(desk: Desk) -> None:
    text = section(page_of_story(desk).html, "2025, decision 3")
    assert "Yield to prunings 5–8 kg/kg" in text
    assert "Pending: " in text


def test_a_decision_that_was_superseded_names_the_other_and_tells_no_outcome(desk: Desk) -> None:
    html = page_of_story(desk).html
    old, new = section(html, "2025, decision 1"), section(html, "2025, decision 2")
    assert "superseded by A1/2025/2" in old
    assert "What came" not in old
    assert "evidence.csv inside this PDF has it" in old
    assert "from A1/2025/1" in new
    assert "18 nodes" in new


def test_a_unit_that_the_title_says_is_not_said_twice() -> None:
    assert expected_words("clusters_per_vine", (24, 34), "metric") == "Clusters 24–34"
    assert expected_words("nodes_per_vine", (None, 20), "us") == "Nodes kept 20 or less"
    assert expected_words("yield_to_prunings", (4, 8), "metric") == "Yield to prunings 4–8 kg/kg"


def test_a_column_of_readings_is_wide_only_where_something_is_read(told: Trail) -> None:
    def read_share(trail: Trail) -> float:
        html = trail_page(trail, "", "Low Terrace").html
        table = html[html.index("<h2>2024, decision 1") :]
        return float(re.findall(r"width:([\d.]+)%", table[table.index("What came") :])[3])

    bare = tuple(
        dataclasses.replace(one, outcome=tuple(dataclasses.replace(came, verdict=None, why="") for came in one.outcome))
        for one in told.decisions
    )
    assert read_share(dataclasses.replace(told, decisions=bare)) < read_share(told) / 2


@pytest.mark.parametrize(
    ("value", "verdict", "words"),
    [
        (3.96, "missed", "3.96 (3.06–4.86) kg/kg"),
        (3.5, "missed", "3.5 (2.6–4.4) kg/kg"),
        (8.02, "missed", "8.02 (7.12–8.92) kg/kg"),
        (4.04, "met", "4.0 (3.1–4.9) kg/kg"),
        (3.96, None, "4.0 (3.1–4.9) kg/kg"),
    ],
)
def test_rounding_never_contradicts_a_reading(value: float, verdict: Verdict | None, words: str) -> None:
    now = Figure("A1", 2024, "yield_to_prunings", value, "kg/kg", low=value - 0.9, high=value + 0.9, n=10)
    assert came_of(OutcomeTold("yield_to_prunings", "kg/kg", 4, 8, now, verdict, ""), "metric") == words


def test_corrected_evidence_stands_then_and_now_with_the_entry_and_the_reason(told: Trail, desk: Desk) -> None:
    [step] = [step for step in told.decisions[0].corrections if step.action == "amended"]
    text = section(page_of_story(desk).html, "2024, decision 1")
    assert f"Amended {step.kind} {step.key} (#{step.record}): {step.what}" in text
    assert "The scale stood wrong" in text
    [moved] = [
        one
        for one in told.decisions[0].evidence
        if (one.then.season, one.then.figure) == (2023, "prunings_per_vine") and one.is_changed
    ]
    assert moved.now is not None
    assert moved.now.value != moved.then.value
    assert re.search(rf"Prunings per vine 0\.7\d \([^)]*\) kg 10 0\.\d+ \([^)]*\) kg entry {step.entry}", text)


def numbers_in(words: str) -> set[int]:
    """Whole numbers of ranges as a page prints them: "#3–7, #9"."""
    found = (part.strip(" #").split("–") for part in words.split(","))
    return {number for ends in found for number in range(int(ends[0]), int(ends[-1]) + 1)}


def test_every_number_of_the_evidence_leads_to_permanent_numbers_file_and_lines(told: Trail, desk: Desk) -> None:
    html = page_of_story(desk).html
    html = html[: html.index("<h2>2024, decision 2")]
    table = html[html.index("The rows behind them") :]
    printed = {
        (kind, file, numbers): (mark, numbers_in(lines))
        for mark, kind, numbers, file, lines in re.findall(
            r'<th scope="row">(\w+)</th><td>([^<]*)</td><td>([^<]*)</td><td>([^<]*)</td><td>([^<]*)</td>', table
        )
    }
    [ratio] = [
        one for one in told.decisions[0].evidence if (one.then.season, one.then.figure) == (2022, "yield_to_prunings")
    ]
    [marks] = re.findall(
        r"<td>Yield to prunings</td><td>[^<]*</td><td[^>]*>[^<]*</td><td[^>]*>[^<]*</td><td></td><td>([^<]*)</td></tr>",
        html[html.index('<th scope="row">2022</th>') : html.index('<th scope="row">2021</th>')],
    )
    assert len(ratio.rows) > 5
    found = set()
    for rows in ratio.rows:
        [(mark, lines)] = [
            at
            for (kind, file, numbers), at in printed.items()
            if (kind, file) == (rows.kind.replace("_", " "), f"{rows.file} (tally {rows.tally})")
            and {number for first, last in rows.numbers for number in range(first, last + 1)} <= numbers_in(numbers)
        ]
        assert {number for first, last in rows.lines for number in range(first, last + 1)} <= lines
        found.add(mark)
    assert set(marks.split(", ")) == found


def test_the_words_it_prints_print_the_rows(desk: Desk) -> None:
    text = words_of(page_of_story(desk).html)
    assert "vinebook trail A1 --rows" in text
    number = re.search(r"pruned vine (#\d+)", text)
    assert number
    for words in (["show", number[1]], ["trail", "A1", "--rows"]):
        done = CliRunner(env={"COLUMNS": "80"}).invoke(vinebook, ["--book", desk.url, "--by", "KL", *words])
        assert done.exit_code == 0, done.output
        assert "wood2024.csv" in done.output or "wood2023.csv" in done.output


def test_the_mass_balance_of_each_season_stands_there(desk: Desk) -> None:
    html = page_of_story(desk).html
    table = html[html.index("Mass balance") :]
    row = re.search(r'<th scope="row">2022</th>(.*?)</tr>', table)
    assert row
    cells = re.findall(r"<td[^>]*>([^<]*)", row[1])
    assert cells[:2] == ["2", "2000"]
    assert float(cells[1]) == pytest.approx(sum(float(cell) for cell in cells[2:5]), abs=1)


def test_it_is_archival_and_accessible(pdf: bytes) -> None:
    for profile in (validator.ValidationProfile.PDF_A_3A, validator.ValidationProfile.PDF_UA_1):
        assert not validator.validate_pdf_bytes(pdf, profile=profile).failures


def test_nothing_of_another_block_is_on_it_or_inside_it(pdf: bytes) -> None:
    files = inside(pdf)
    assert {"figures.json", "evidence.csv", "decision.csv", "pruned_vine.csv", "load.csv"} <= set(files)
    everything = text_of(pdf) + "".join(f"{name} {text}" for name, text in files.items())
    assert "Long Bank" in everything
    for secret in ("A2", "Hollow", "Red Wing", UNTOLD):
        assert secret not in everything


def test_one_season_alone_can_be_told(desk: Desk) -> None:
    text = text_of(make_report(desk.book, Wanted("trail", ("A1",), season=2025)).pdf)
    assert "2025, decision 3" in text
    assert "2024, decision" not in text


def test_a_block_without_decisions_says_so(told: Trail) -> None:
    empty = dataclasses.replace(told, decisions=(), balances=(), corrections=(), seasons=())
    html = trail_page(empty, "", "Low Terrace").html
    assert "No decision is recorded in these seasons." in html
    assert "No row of this block was corrected." in html


def test_names_without_a_glyph_are_named(told: Trail) -> None:
    page = trail_page(told, '<b>北</b> & "坡"', "Ters <i>{{7*7}}</i>")
    assert any("U+5317" in warning for warning in page.warnings)
    assert any("U+5761" in warning for warning in page.warnings)
    assert "<b>□" not in page.html
    assert "{{7*7}}" in page.html
