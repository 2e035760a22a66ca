"""Whole copies of a SQLite book: taken from one snapshot while it is in use, named only once they are whole."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

from vinebook.records.engine import BUSY_SECONDS, in_plain_words, is_writable

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

COPIED_PAGES = 4096


def beside(path: Path) -> tuple[Path, Path]:
    """Give the two files that SQLite keeps beside a book in use."""
    return path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")


def remove(path: Path) -> None:
    """Take a file away with what SQLite keeps beside it."""
    for leftover in (path, *beside(path)):
        leftover.unlink(missing_ok=True)


def draft_of(target: Path) -> Path:
    """Give where a copy lies until it is whole; what an earlier run left there is taken away."""
    draft = target.with_name(f".{target.name}.part")
    remove(draft)
    return draft


def copy_file(
    source: Path, draft: Path, progress: Callable[[int, int], None] | None = None, *, for_use: bool = False
) -> None:
    """Copy a SQLite book page by page as it stands now, while others may read and write it.

    Parameters
    ----------
    source : the book.
    draft : a file that does not exist yet.
    progress : called with pages left and pages in all.
    for_use : make the copy a book that is read while it is written; else it keeps nothing beside its one file.

    Raises
    ------
    BookLockedError, BookDamagedError, BookReadOnlyError, DatabaseError
    """
    # Where nothing can be written, SQLite must be told that nobody else writes either.
    mode = "rw" if is_writable(source) else "ro" if beside(source)[0].exists() else "ro&immutable=1"
    with in_plain_words(str(source)):
        one = sqlite3.connect(
            f"{source.resolve().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
        )
    try:
        with in_plain_words(str(source)):
            # One snapshot: without it the copy would begin anew at each commit of somebody else.
            one.execute("PRAGMA query_only = ON")
            one.execute("BEGIN")
            one.execute("SELECT count(*) FROM sqlite_master").fetchone()
        with in_plain_words(str(draft)):
            other = sqlite3.connect(draft)
            try:
                tell = None if progress is None else lambda _, left, total: progress(left, total)
                one.backup(other, pages=COPIED_PAGES, progress=tell)
                other.execute(f"PRAGMA journal_mode = {'WAL' if for_use else 'DELETE'}").fetchone()
            finally:
                other.close()
    finally:
        one.close()


def make_ready(draft: Path) -> None:
    """Make a draft that was written as one a book that is read while it is written.

    Raises
    ------
    DatabaseError
    """
    with in_plain_words(str(draft)), closing(sqlite3.connect(draft)) as raw:
        raw.execute("PRAGMA journal_mode = WAL").fetchone()


def settle(draft: Path, target: Path) -> None:
    """Give a whole copy its name; it is on the disk before its name is."""
    with draft.open("rb") as whole:
        os.fsync(whole.fileno())
    for leftover in beside(target):
        # The log of another book would be played into this one.
        leftover.unlink(missing_ok=True)
    draft.replace(target)
    sync_folder(target)


def sync_folder(path: Path) -> None:
    """Wait until the names in the folder of a file are on the disk."""
    folder = os.open(path.resolve().parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
