"""Which schema a book has, and how a book is made and brought up to date."""

from __future__ import annotations

import os
import re
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import inspect, select, table, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.sql import column

from vinebook.errors import (
    BookExistsError,
    BookMissingError,
    BookReadOnlyError,
    BookVersionError,
    DatabaseError,
)
from vinebook.records import journal
from vinebook.records.engine import cause_of, engine_for, in_plain_words, reading, shown, sqlite_path
from vinebook.records.step import again_when_crossed, close_gate, enter_gate, lock_making, whole_step
from vinebook.records.tables import BOOK
from vinebook.records.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from sqlalchemy import Connection

HEAD = "0004"
"""The newest migration; a test keeps it true."""
EARLIER: tuple[str, ...] = ("0001", "0002", "0003")
"""Schemas that `upgrade` brings to HEAD."""
_NUMBERED = re.compile(r"[0-9]{4}")
"""How our schemas are named; another program's database may hold others."""
_VERSION = table("alembic_version", column("version_num"))


def schema_of(connection: Connection) -> str | None:
    """Give the schema of a book, or None where the database holds none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.scalar(select(_VERSION.c.version_num))
    return None if found is None else str(found)


def require_current(connection: Connection, book: str) -> None:
    """Check that the book is of this program's schema.

    Raises
    ------
    BookMissingError : the database holds no book.
    BookVersionError : the book is older or newer.
    """
    none = BookMissingError(f"{shown(book)} holds no vinebook book", "make one with `vinebook new`")
    try:
        enter_gate(connection)
        found = connection.scalar(select(_VERSION.c.version_num))
    except DBAPIError as trouble:
        if any(words in cause_of(trouble) for words in ("no such table", "does not exist")):
            raise none from trouble
        raise
    if found == HEAD:
        return
    if found is None or not _NUMBERED.fullmatch(found):
        raise none
    if found in EARLIER:
        raise BookVersionError(
            f"{shown(book)} is of schema {found}, this program works with {HEAD}", "run `vinebook upgrade` on it"
        )
    raise _newer(book, found)


def _newer(book: str, found: str) -> BookVersionError:
    return BookVersionError(
        f"{shown(book)} is of schema {found}, newer than this program knows ({HEAD})", "install a newer vinebook"
    )


def make_book(book: str, *, by: str) -> str:
    """Make an empty book and give its first seal.

    Raises
    ------
    BookExistsError : a file or a book stands there already.
    BookMissingError, BookReadOnlyError : the folder is missing or cannot be written.
    """
    by = journal.actor(by)
    path = sqlite_path(book)
    if path is not None:
        _claim(path)
    engine = engine_for(book, making=True)
    try:
        step = whole_step(engine, book, Waiting(), lock_making, by=by, doing="new", migrates=True)
        with step as connection:
            lay_schema(connection, book)
            at = journal.now()
            connection.execute(BOOK.insert().values(one=1, made_at=at, next_record=1, next_tally=1))
            entry = journal.append(connection, by=by, action="new", subject="book", body={"schema": HEAD}, at=at)
    except BaseException:
        if path is not None:
            for leftover in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
                leftover.unlink(missing_ok=True)
        raise
    finally:
        engine.dispose()
    return entry.hash


def lay_schema(connection: Connection, book: str) -> None:
    """Make the tables and guards of a book that has no rows yet.

    Raises
    ------
    BookExistsError : a book is there.
    """
    if schema_of(connection) is not None:
        raise BookExistsError(f"{shown(book)} holds a book already", "name another database")
    _migrate(connection)


def _claim(path: Path) -> None:
    """Make the empty file, so that of two who make the same book one is refused before it can undo the other's."""
    if not path.resolve().parent.is_dir():
        raise BookMissingError(f"there is no folder {path.resolve().parent}", "make the folder first")
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666))
    except FileExistsError as trouble:
        raise BookExistsError(
            f"{path} exists already", "choose another name; a book is never written over"
        ) from trouble
    except OSError as trouble:
        raise BookReadOnlyError(
            f"{path} cannot be made: {trouble.strerror}", "check the rights of its folder, or choose another name"
        ) from trouble


@again_when_crossed
def upgrade_book(book: str, *, by: str, waiting: Waiting | None = None, keeps_copy: bool = True) -> tuple[str, str]:
    """Bring a book to this program's schema; give the schema before and after.

    A SQLite book is copied beside itself first, as NAME.before-SCHEMA. An upgrade that fails leaves the book as it
    was, and takes that copy away; one that was killed leaves it, and the next takes it for its own. On a server it
    waits until everybody who reads or writes is done, and others wait for it; the rights of the book's roles are
    granted anew in the same transaction, where it has roles.

    Parameters
    ----------
    book : its file or URL.
    by : who upgrades.
    waiting : how one waits for the others.
    keeps_copy : False where the book is a copy itself.

    Raises
    ------
    BookMissingError, BookVersionError, DatabaseError
    """
    from vinebook.records.roles import act_as_owner, renew_roles, require_owner

    by = journal.actor(by)
    engine = engine_for(book)
    with in_plain_words(book):
        with reading(engine) as connection:
            before = schema_of(connection)
            if before in EARLIER:
                require_owner(connection, shown(book), "upgraded")
        if before is None:
            raise BookMissingError(f"{shown(book)} holds no vinebook book", "make one with `vinebook new`")
        if before == HEAD:
            return before, HEAD
        if before not in EARLIER:
            raise _newer(book, before)
    step = whole_step(engine, book, waiting or Waiting(), close_gate, by=by, doing="upgrade", migrates=True)
    copy = copy_before(book, before) if keeps_copy else None
    with _made_with(copy) as make_copy, step as connection:
        if schema_of(connection) != before:
            # Somebody else did it while this one waited.
            require_current(connection, book)
            return HEAD, HEAD
        # Nobody else can write meanwhile, so that the copy is the book as it was.
        make_copy(book)
        act_as_owner(connection)
        _migrate(connection)
        renew_roles(connection)
        if connection.dialect.name == "sqlite" and connection.execute(text("PRAGMA foreign_key_check")).first():
            raise DatabaseError("the upgrade would leave rows without what they name; nothing was changed")
        journal.append(connection, by=by, action="upgrade", subject="book", body={"from": before, "to": HEAD})
    return before, HEAD


def earlier_schema(book: str) -> str:
    """Give the schema of a book where it is earlier than this program's, else ""."""
    with in_plain_words(book), reading(engine_for(book)) as connection:
        found = schema_of(connection)
    return found if found in EARLIER else ""


def copy_before(book: str, before: str) -> Path | None:
    """Give where `upgrade` keeps a book in a file as it was, or None for a book on a server."""
    path = sqlite_path(book)
    return None if path is None else path.with_name(f"{path.name}.before-{before}")


@contextmanager
def _made_with(copy: Path | None) -> Iterator[Callable[[str], None]]:
    """Give what copies the book; where the upgrade fails the copy goes: the book is still what it was."""
    from filecmp import cmp

    from vinebook.records.copying import copy_file, draft_of, remove, settle

    made: list[Path] = []

    def make(book: str) -> None:
        path = sqlite_path(book)
        if copy is None or path is None:
            return
        draft = draft_of(copy)
        copy_file(path, draft)
        if copy.exists():
            # An upgrade that was killed behind its copy left the book as it was, and that copy is this one.
            is_same = cmp(draft, copy, shallow=False)
            remove(draft)
            if not is_same:
                raise BookExistsError(
                    f"the copy {copy} exists already, and is not the book as it stands now",
                    "move it away and run the upgrade again",
                )
        else:
            settle(draft, copy)
        made.append(copy)

    try:
        yield make
    except BaseException:
        for one in made:
            remove(one)
        raise


def _migrate(connection: Connection) -> None:
    """Run every migration that the book lacks on this connection, in its transaction."""
    from alembic import command
    from alembic.config import Config

    from vinebook.resources import migrations_folder

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
