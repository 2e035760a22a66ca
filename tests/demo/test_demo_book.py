"""The demo's tallies go into a book in one call, in any order."""

from __future__ import annotations

from typing import TYPE_CHECKING

import vinebook
from demo.generate import generate
from vinebook.api import draw_vines
from vinebook.records.drawn import kept_draws

if TYPE_CHECKING:
    from pathlib import Path

    from vinebook.records.book import Book


def assert_draws_can_be_drawn_again(book: Book) -> None:
    """Check that the command draws the kept vines from the kept seeds."""
    with book.reading() as connection:
        draws = kept_draws(connection, None, None)
    assert [draw.key for draw in draws] == ["V1/2026/1", "V1/2027/1", "V2/2027/1"]
    for kept in draws:
        drawn = draw_vines(
            book,
            kept.block,
            season=kept.season,
            figure=kept.figure,
            by="demo",
            how="panels" if kept.panel_size else "random",
            vines=len(kept.vines),
            seed=kept.seed,
            on=kept.drawn_on,
            dry_run=True,
        )
        assert [(one.number, one.row, one.vine, one.panel) for one in drawn.vines] == [
            (one.number, one.row, one.vine, one.panel) for one in kept.vines
        ]


def test_the_tallies_load_in_one_call_with_one_true_warning_and_the_book_verifies(
    sqlite_book: str, tmp_path: Path
) -> None:
    paths = generate(tmp_path / "tallies")
    book = vinebook.open_book(sqlite_book)
    loaded = vinebook.load(book, list(reversed(paths)), by="demo")
    # Dry Ford was replanted: two young seasons close without a load, which is true and worth a word.
    assert [warning.what for warning in loaded.warnings] == [
        "2 blocks close with no load of theirs (V5, V5): by the book nothing was picked there"
    ]
    assert len(loaded.tallies) == len(paths)
    assert all(tally.rows > 0 and not tally.already for tally in loaded.tallies)
    assert vinebook.verify(book).differences == []
    assert loaded.notes == ["draw V1/2026/1, cluster_tally: 23 of 24 drawn vines were visited; not visited: 17/26"]
    assert_draws_can_be_drawn_again(book)
    again = vinebook.load(book, paths, by="demo")
    assert all(tally.already for tally in again.tallies)
    assert again.seal in ("", loaded.seal)
