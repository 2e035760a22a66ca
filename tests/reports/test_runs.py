"""Rows that share a heading: none begins a page without it, and more than a page of them is still printed whole."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace

import pytest

from tests.reports import histories
from vinebook.reports.frame import make_frame, record_at
from vinebook.reports.history import history_html
from vinebook.reports.render import NO_TIME, Page, fill_template, print_page
from vinebook.reports.story import open_rows
from vinebook.reports.tables import Cell, Column, Table


def pages_with(table: Table) -> list[list[str]]:
    """Print a page that holds little but a table; give the lines of each page that are rows of it."""
    frame = make_frame(title="T", foot="T", description="T", author="", paper="a4", record=record_at(NO_TIME))
    values = {
        "frame": frame,
        "code": "A1",
        "command": "",
        "name": "",
        "subtitle": "",
        "told": [],
        "decisions": [],
        "balance": None,
        "corrections": table,
    }
    pdf = print_page(Page(fill_template("trail.html", values), {}, ())).pdf
    text = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, check=True, capture_output=True
    ).stdout.decode()
    return [
        rows for page in text.split("\f") if (rows := [row for row in page.splitlines() if re.search(r"\brow \d", row)])
    ]


def runs(*lengths: int, has_runs: bool = True) -> Table:
    columns = (Column("Season"), Column("What"))
    rows = tuple(
        (Cell(str(2000 + run) if at == 0 else ""), Cell(f"row {at}"))
        for run, length in enumerate(lengths)
        for at in range(length)
    )
    return Table("Runs", columns, rows, has_runs=has_runs)


def test_no_page_begins_with_rows_whose_heading_stands_on_the_page_before() -> None:
    pages = pages_with(runs(17, 17, 17, 17, 17))
    assert len(pages) > 1
    assert all(re.match(r" *20\d\d ", page[0]) for page in pages)
    parted = pages_with(runs(17, 17, 17, 17, 17, has_runs=False))
    assert not all(re.match(r" *20\d\d ", page[0]) for page in parted)


@pytest.mark.parametrize("length", [60, 130])
def test_a_run_longer_than_a_page_loses_no_row(length: int) -> None:
    rows = [row for page in pages_with(runs(5, length)) for row in page]
    assert [int(row.split()[-1]) for row in rows] == [*range(5), *range(length)]


def test_reasons_of_what_is_open_are_such_runs() -> None:
    twelve = histories.twelve_seasons()
    one, other = (next(f for f in twelve.figures if f.figure == name) for name in ("crop", "budbreak"))
    missing = [
        replace(figure, season=season, value=None, low=None, high=None, status="unknown", note=note)
        for figure, season, note in ((one, 2015, "never weighed"), (one, 2016, "lost"), (other, 2017, "lost"))
    ]
    twelve = replace(twelve, figures=tuple(f for f in twelve.figures if f.status == "known") + tuple(missing))
    assert [status for status, *_ in open_rows(twelve.figures, "metric")] == ["unknown", "", "unknown"]
    (table,) = re.findall(r'<table class="data whole-rows runs">.*?</table>', history_html(twelve), re.DOTALL)
    bodies = re.findall(r"<tbody>(.*?)</tbody>", table, re.DOTALL)
    assert [body.count("<tr") for body in bodies] == [2, 1]
