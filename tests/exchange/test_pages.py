"""The guide's pages of the kinds are what the definitions say, and their examples load."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from vinebook.api import load, open_book, verify
from vinebook.exchange.pages import kind_pages
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.examples import EXAMPLES
from vinebook.resources import guide_folder

if TYPE_CHECKING:
    from pathlib import Path

RENEW = "run `python -m tests.exchange.test_pages` to write the pages anew"


@pytest.mark.parametrize("name", list(kind_pages()))
def test_the_page_of_a_kind_is_current(name: str) -> None:
    assert (guide_folder() / name).read_text(encoding="utf-8") == kind_pages()[name], RENEW


def test_no_page_is_left_of_a_kind_that_is_gone() -> None:
    assert {path.name for path in guide_folder().glob("kind-*.md")} == set(kind_pages())


def test_the_examples_of_all_kinds_load_together(tmp_path: Path, sqlite_book: str) -> None:
    files = []
    for name in reversed(LOADED_KINDS):
        path = tmp_path / f"{name}.csv"
        path.write_text(EXAMPLES[name], encoding="utf-8")
        files.append(path)
    book = open_book(sqlite_book)
    report = load(book, files, by="test")
    assert {tally.kind for tally in report.tallies} == set(LOADED_KINDS)
    assert report.warnings == []
    assert verify(book).differences == []


if __name__ == "__main__":
    for page, text in kind_pages().items():
        (guide_folder() / page).write_text(text, encoding="utf-8")
