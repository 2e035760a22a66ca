"""Which schema a book has, and how a book is made and brought up to date."""

from __future__ import annotations

import os
import re
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
from vinebook.records.engine import cause_of, engine_for, in_plain_words, reading, shown, sqlite_path, writing
from vinebook.records.tables import BOOK

if TYPE_CHECKING:
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
    raise BookVersionError(
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
        with in_plain_words(book), writing(engine, migrates=True) as connection:
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


def upgrade_book(book: str, *, by: str) -> tuple[str, str]:
    """Bring a book to this program's schema; give the schema before and after.

    A SQLite book is copied beside itself first, as NAME.before-SCHEMA. On PostgreSQL the rights of the book's roles
    are granted anew in the same transaction, where it has roles.

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
            raise BookVersionError(
                f"{shown(book)} is of schema {before}, newer than this program knows", "install a newer vinebook"
            )
        _copy_first(book, before)
        with writing(engine, migrates=True) as connection:
            act_as_owner(connection)
            _migrate(connection)
            renew_roles(connection)
            if connection.dialect.name == "sqlite" and connection.execute(text("PRAGMA foreign_key_check")).first():
                raise DatabaseError("the upgrade would leave rows without what they name; nothing was changed")
            journal.append(connection, by=by, action="upgrade", subject="book", body={"from": before, "to": HEAD})
    return before, HEAD


def _copy_first(book: str, before: str) -> None:
    path = sqlite_path(book)
    if path is None:
        return
    from vinebook.records.copying import copy_file, draft_of, settle

    copy = path.with_name(f"{path.name}.before-{before}")
    if copy.exists():
        raise BookExistsError(f"the copy {copy} exists already", "move it away and run the upgrade again")
    draft = draft_of(copy)
    copy_file(path, draft)
    settle(draft, copy)


def _migrate(connection: Connection) -> None:
    """Run every migration that the book lacks on this connection, in its transaction."""
    from alembic import command
    from alembic.config import Config

    from vinebook.resources import migrations_folder

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
