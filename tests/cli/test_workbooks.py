"""Forms and loads of workbooks as a person types them."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.desk import Desk, places
from vinebook.cli import vinebook
from vinebook.kinds import LOADED_KINDS

KEPT = Path(__file__).parents[1] / "intake" / "workbooks"


@pytest.fixture
def desk(sqlite_book: str, tmp_path: Path) -> Desk:
    """Give a book with two blocks."""
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    return desk


def run(book: str, *words: str | Path) -> Result:
    """Run a command."""
    return CliRunner().invoke(vinebook, ["--book", book, "--by", "KL", *map(str, words)], prog_name="vinebook")


def test_a_workbook_of_forms_is_written_once_and_never_over_a_tally(desk: Desk) -> None:
    path = desk.folder / "forms.xlsx"
    done = run(desk.url, "form", "cluster_tally", "event", "cluster_tally", "-o", path)
    assert done.stderr == f"wrote {path}: 2 sheets of forms, 2 blocks to choose from\n"
    again = run(desk.url, "form", "-o", path)
    assert (again.exit_code, again.stderr.splitlines()[0]) == (1, f"vinebook: {path} exists already")


def test_all_forms_need_no_book(tmp_path: Path) -> None:
    path = tmp_path / "FORMS.XLSX"
    done = run(str(tmp_path / "none.db"), "form", "-o", path)
    assert done.stderr == f"wrote {path}: {len(LOADED_KINDS)} sheets of forms\n"
    assert "there is no folder" in run("none.db", "form", "-o", tmp_path / "no" / "forms.xlsx").stderr


def test_a_workbook_comes_in_and_every_row_of_it_can_be_followed(desk: Desk) -> None:
    done = run(desk.url, "load", KEPT / "filled.xlsx")
    assert "filled.xlsx:cluster_tally: cluster_tally, 6 rows, 2 new samples" in done.stderr
    assert "filled.xlsx:cluster_tally: has 1 hidden row (3), read like the others" in done.stderr
    shown = run(desk.url, "show", "event", "Ü1/2024-06-18/hail").stdout
    assert "sheet event, row 2 of filled.xlsx (tally 7, SHA-256 " in shown
    again = run(desk.url, "load", KEPT / "filled.xlsx")
    assert again.stderr.count("the same bytes came in as filled.xlsx:") == 5
    assert run(desk.url, "verify", "--reread").exit_code == 0


def test_a_replaced_workbook_is_told_with_its_tallies(desk: Desk) -> None:
    run(desk.url, "load", KEPT / "from_1904.xlsx")
    words = ("load", KEPT / "filled.xlsx", "--replaces", "from_1904.xlsx", "--reason", "wrong year")
    assert "struck 4 rows of from_1904.xlsx (tallies 3, 4, 5)" in run(desk.url, *words).stderr
    assert run(desk.url, "verify").exit_code == 0


def test_a_key_that_came_twice_is_told_by_rows(desk: Desk) -> None:
    run(desk.url, "load", KEPT / "filled.xlsx")
    shown = run(desk.url, "load", KEPT / "from_1904.xlsx").stderr
    assert "rows have keys (rows 2 to " in shown
    assert " line" not in shown


def test_a_link_to_a_workbook_is_followed(desk: Desk) -> None:
    link = desk.folder / "linked.xlsx"
    link.symlink_to(KEPT / "filled.xlsx")
    assert "linked.xlsx:cluster_tally: cluster_tally, 6 rows" in run(desk.url, "load", link).stderr
