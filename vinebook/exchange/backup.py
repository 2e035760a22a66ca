"""Copies of a book: made while it is in use, verified before they are called good, never written over another."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.errors import BookExistsError, BookMissingError, DatabaseError, DisagreementError, OutputError, WordsError
from vinebook.records.engine import in_plain_words, sqlite_path

if TYPE_CHECKING:
    from collections.abc import Callable

COPIED_PAGES = 4096
ON_A_SERVER = "a book on PostgreSQL is copied with pg_dump and brought back with pg_restore"


def copy_file(source: Path, target: Path, progress: Callable[[int, int], None] | None = None) -> None:
    """Copy a SQLite book page by page, while others may read and write it.

    Parameters
    ----------
    source : the book.
    target : a file that does not exist yet.
    progress : called with pages left and pages in all.

    Raises
    ------
    sqlite3.Error : of the copy; the target is taken away again.
    """
    one = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)
    try:
        other = sqlite3.connect(target)
        try:
            one.backup(other, pages=COPIED_PAGES, progress=(lambda _, left, total: progress(left, total)) if progress else None)
        finally:
            other.close()
    except BaseException:
        target.unlink(missing_ok=True)
        raise
    finally:
        one.close()


def _settle(draft: Path, target: Path) -> None:
    """Put a finished draft in its place, on the disk before its name is."""
    with draft.open("rb") as whole:
        os.fsync(whole.fileno())
    draft.replace(target)
    folder = os.open(target.resolve().parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def file_of(book: str, what: str) -> Path:
    """Give the file of a book on SQLite.

    Raises
    ------
    WordsError : the book is on a server.
    """
    path = sqlite_path(book)
    if path is None:
        raise WordsError(f"{what} is for a book in a file: {ON_A_SERVER}", "see `vinebook guide copies`")
    return path


def backup(book: str, target: str | Path, check: Callable[[str], list[str]], *, progress: Callable[[int, int], None] | None = None) -> Path:
    """Copy a book in use to a file, and verify the copy before it is called good.

    Parameters
    ----------
    book : the book's file.
    target : a file that does not exist yet.
    check : gives the differences that verify finds in a book.
    progress : called with pages left and pages in all.

    Raises
    ------
    BookMissingError, BookExistsError, OutputError, DisagreementError, DatabaseError
    """
    source, target = file_of(book, "backup"), Path(target)
    if not source.exists():
        raise BookMissingError(f"there is no book at {source}", "name another with --book")
    return _copied(source, target, check, progress)


def restore(copy: str | Path, book: str, check: Callable[[str], list[str]], *, over: bool = False) -> tuple[Path, Path | None]:
    """Bring a copy back as the book; give the book's file, and where the book that stood there went.

    Parameters
    ----------
    copy : the copy.
    book : the file that becomes the book.
    check : gives the differences that verify finds in a book.
    over : put the copy in the place of a book that is there; that one is kept beside it.

    Raises
    ------
    BookMissingError, BookExistsError, OutputError, DisagreementError, DatabaseError
    """
    copy, target = Path(copy), file_of(book, "restore")
    if not copy.is_file():
        raise BookMissingError(f"there is no copy at {copy}", "name the file that `vinebook backup` wrote")
    if target.exists() and copy.resolve() == target.resolve():
        raise WordsError(f"{copy} is the book itself", "name the copy to bring back")
    if not target.exists():
        return _copied(copy, target, check, None), None
    if not over:
        raise BookExistsError(f"{target} exists already", "restore to another --book, or add --over (the book there is kept beside it)")
    kept = _free_name(target)
    draft = target.with_name(f".{target.name}.restored")
    draft.unlink(missing_ok=True)
    _copied(copy, draft, check, None)
    copy_file(target, kept)
    for leftover in (target.with_name(target.name + "-wal"), target.with_name(target.name + "-shm")):
        leftover.unlink(missing_ok=True)
    _settle(draft, target)
    return target, kept


def _free_name(target: Path) -> Path:
    number = 1
    while (kept := target.with_name(f"{target.name}.before-restore-{number}")).exists():
        number += 1
    return kept


def _copied(source: Path, target: Path, check: Callable[[str], list[str]], progress: Callable[[int, int], None] | None) -> Path:
    if not target.resolve().parent.is_dir():
        raise OutputError(f"there is no folder {target.resolve().parent}", "make it, or name another place")
    if target.exists():
        raise BookExistsError(f"{target} exists already", "name another file; a copy is never written over")
    draft = target.with_name(f".{target.name}.part")
    draft.unlink(missing_ok=True)
    try:
        with in_plain_words(str(target)):
            copy_file(source, draft, progress)
        differences = check(str(draft))
        if differences:
            raise DisagreementError(differences)
        _settle(draft, target)
    except OSError as trouble:
        raise DatabaseError(f"{target} cannot be written: {trouble.strerror}", "check the folder's rights and room") from trouble
    finally:
        for leftover in (draft, draft.with_name(draft.name + "-wal"), draft.with_name(draft.name + "-shm")):
            leftover.unlink(missing_ok=True)
    return target
