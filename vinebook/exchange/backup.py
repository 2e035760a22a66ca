"""Copies of a book: made while it is in use, verified before they are called good, never written over another."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.errors import (
    BookExistsError,
    BookLockedError,
    BookMissingError,
    DisagreementError,
    OutputError,
    VinebookError,
    WordsError,
)
from vinebook.records.copying import beside, copy_file, draft_of, remove, settle, sync_folder
from vinebook.records.engine import BUSY_SECONDS, in_plain_words, sqlite_path
from vinebook.records.schema import earlier_schema, upgrade_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ON_A_SERVER = "a book on PostgreSQL is copied with pg_dump and brought back with pg_restore"


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


def backup(
    book: str,
    target: str | Path,
    check: Callable[[str], list[str]],
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
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
    if not source.is_file():
        raise BookMissingError(f"there is no book at {source}", "name another with --book")
    refuse_taken(target)
    with _verified_draft(source, target, check, progress, for_use=False) as draft:
        refuse_taken(target)
        settle(draft, target)
    return target


def restore(
    copy: str | Path, book: str, check: Callable[[str], list[str]], *, over: bool = False, by: str = ""
) -> tuple[Path, Path | None]:
    """Bring a copy back as the book; give the book's file, and where the book that stood there went.

    A copy of an earlier schema is brought to this program's on the way, as `upgrade` does; the copy itself stays.

    Parameters
    ----------
    copy : the copy.
    book : the file that becomes the book.
    check : gives the differences that verify finds in a book.
    over : put the copy in the place of a book that is there; that one is kept beside it.
    by : who restores; only a copy of an earlier schema asks for it.

    Raises
    ------
    BookMissingError, BookExistsError, BookLockedError, OutputError, DisagreementError, DatabaseError
    """
    copy, target = Path(copy), file_of(book, "restore")
    if not copy.is_file():
        raise BookMissingError(f"there is no copy at {copy}", "name the file that `vinebook backup` wrote")
    if target.exists() and copy.resolve() == target.resolve():
        raise WordsError(f"{copy} is the book itself", "name the copy to bring back")
    if target.exists() and not over:
        raise BookExistsError(
            f"{target} exists already", "restore to another --book, or add --over (the book there is kept beside it)"
        )
    # A link is followed, so that the book it names is the one that is kept and replaced.
    place = target.resolve()
    with _verified_draft(copy, place, check, None, for_use=True, by=by) as draft:
        if not place.exists():
            settle(draft, place)
            return target, None
        with in_plain_words(str(place)), _to_itself(place):
            kept = _kept_beside(place)
            settle(draft, place)
    return target, kept


def refuse_taken(target: Path) -> None:
    """Refuse a place where a copy cannot go.

    Raises
    ------
    OutputError : there is no such folder.
    BookExistsError : something stands there.
    """
    if not target.resolve().parent.is_dir():
        raise OutputError(f"there is no folder {target.resolve().parent}", "make it, or name another place")
    if target.exists():
        raise BookExistsError(f"{target} exists already", "name another file; a copy is never written over")


@contextmanager
def _verified_draft(
    source: Path,
    target: Path,
    check: Callable[[str], list[str]],
    progress: Callable[[int, int], None] | None,
    *,
    for_use: bool,
    by: str = "",
) -> Iterator[Path]:
    """Give a draft beside the target that holds what the source holds and verifies; it is taken away at the end."""
    if not target.resolve().parent.is_dir():
        raise OutputError(f"there is no folder {target.resolve().parent}", "make it, or name another place")
    draft = target
    try:
        draft = draft_of(target)
        copy_file(source, draft, progress, for_use=for_use)
        if for_use and earlier_schema(str(draft)):
            upgrade_book(str(draft), by=by, keeps_copy=False)
        differences = check(str(draft))
        if differences:
            raise DisagreementError(differences)
        yield draft
    except DisagreementError:
        raise
    except VinebookError as trouble:
        # A person knows the file that was copied and the place it goes to, not the draft between them.
        known = target if isinstance(trouble, OutputError) or "room" in trouble.message else source
        raise type(trouble)(trouble.message.replace(str(draft), str(known)), trouble.hint) from trouble
    except OSError as trouble:
        raise OutputError(
            f"{target} cannot be written: {trouble.strerror}", "check the folder's rights and room"
        ) from trouble
    finally:
        if draft is not target:
            remove(draft)


@contextmanager
def _to_itself(book: Path) -> Iterator[None]:
    """Have a book to itself, all of it in its one file."""
    held = sqlite3.connect(book, timeout=BUSY_SECONDS, isolation_level=None)
    try:
        try:
            # Leaving the write-ahead log moves all of it into the file, and is refused while anybody has it open.
            held.execute("PRAGMA journal_mode = DELETE").fetchone()
            held.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as trouble:
            if "locked" not in str(trouble):
                raise
            raise BookLockedError(
                f"{book} is in use (waited {BUSY_SECONDS} seconds)",
                "close what has it open, other programs too, and try again",
            ) from trouble
        except sqlite3.DatabaseError:
            # A damaged book has nobody who could use it.
            pass
        yield
    except BaseException:
        with suppress(sqlite3.Error):
            held.rollback()
            held.execute("PRAGMA journal_mode = WAL")
        raise
    finally:
        held.close()


def _kept_beside(book: Path) -> Path:
    """Keep a book under another name beside itself and give that; nothing is ever kept by halves."""
    number = 1
    while (kept := book.with_name(f"{book.name}.before-restore-{number}")).exists():
        number += 1
    for old, new in zip((book, beside(book)[0]), (kept, beside(kept)[0]), strict=True):
        if not old.exists():
            continue
        try:
            os.link(old, new)
        except OSError:
            # Not every file system knows a file by two names.
            draft = draft_of(new)
            shutil.copyfile(old, draft)
            settle(draft, new)
    sync_folder(book)
    return kept
