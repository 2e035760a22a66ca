"""The demo's tallies go into a book in one call, in any order."""

from __future__ import annotations

from typing import TYPE_CHECKING

import vinebook
from demo.generate import generate

if TYPE_CHECKING:
    from pathlib import Path


def test_the_tallies_load_in_one_call_with_one_true_warning_and_the_book_verifies(
    sqlite_book: str, tmp_path: Path
) -> None:
    paths = generate(tmp_path / "tallies")
    book = vinebook.open_book(sqlite_book)
    loaded = vinebook.load(book, list(reversed(paths)), by="demo")
    # Dry Ford was replanted: two young seasons close without a load, which is true and worth a word.
    assert [warning.what for warning in loaded.warnings] == [
        "2 harvests close with no load of theirs (V5/2019, V5/2020): by the book nothing was picked there"
    ]
    assert len(loaded.tallies) == len(paths)
    assert all(tally.rows > 0 and not tally.already for tally in loaded.tallies)
    assert vinebook.verify(book).differences == []
    again = vinebook.load(book, paths, by="demo")
    assert all(tally.already for tally in again.tallies)
    assert again.seal in ("", loaded.seal)
