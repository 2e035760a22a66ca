"""Connections to a book on SQLite or PostgreSQL, and the database's refusals in plain words."""

from __future__ import annotations

import os
import sqlite3
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import NullPool

from vinebook.errors import (
    BookDamagedError,
    BookLockedError,
    BookMissingError,
    BookReadOnlyError,
    DatabaseError,
    VinebookError,
    WordsError,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection

BUSY_SECONDS = 10
"""How long one waits for another writer, or for a server to answer."""


def is_url(book: str) -> bool:
    """Say whether a book is named by a database URL rather than by a file."""
    return "://" in book


def sqlite_path(book: str) -> Path | None:
    """Give the file of a SQLite book, or None for a book on a server.

    Raises
    ------
    WordsError : the URL cannot be read, or names a database that vinebook does not speak.
    """
    if not is_url(book):
        return Path(book)
    try:
        url = make_url(book)
    except (ArgumentError, ValueError) as trouble:
        raise WordsError(
            "the book's database URL cannot be read", "expected postgresql://user@host/database"
        ) from trouble
    if url.get_backend_name() == "sqlite":
        return Path(url.database or "")
    if url.get_backend_name() != "postgresql":
        raise WordsError(
            f"vinebook keeps no book on {url.get_backend_name()}", "use a file (SQLite) or a postgresql:// URL"
        )
    return None


def shown(book: str) -> str:
    """Give a book's name without its password."""
    if not is_url(book):
        return book
    try:
        return make_url(book).render_as_string(hide_password=True)
    except (ArgumentError, ValueError):
        return "the book"


def engine_for(book: str, *, making: bool = False) -> Engine:
    """Give an engine for a book; no connection is made yet.

    Parameters
    ----------
    book : a file, or a database URL.
    making : True where the SQLite file may be created.
    """
    path = sqlite_path(book)
    return _server_engine(book) if path is None else _file_engine(path, making=making)


def _server_engine(book: str) -> Engine:
    url = make_url(book).set(drivername="postgresql+psycopg")
    if "connect_timeout" not in url.query:
        url = url.update_query_dict({"connect_timeout": str(BUSY_SECONDS)})
    try:
        engine = create_engine(url, poolclass=NullPool)
    except ModuleNotFoundError as trouble:
        raise DatabaseError(
            "a book on PostgreSQL needs the package psycopg", "install it with: pip install 'vinebook[postgresql]'"
        ) from trouble

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get("writes"):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{BUSY_SECONDS}s'")
        else:
            # The sums of figures are hundreds of short expressions: compiling them takes longer than they run.
            connection.exec_driver_sql("SET LOCAL jit = off")

    return engine


def _file_engine(path: Path, *, making: bool) -> Engine:
    def connect() -> sqlite3.Connection:
        if not making and not path.exists():
            raise BookMissingError(
                f"there is no book at {path}", "make one with `vinebook new`, or name another with --book"
            )
        if path.is_dir():
            raise BookMissingError(f"{path} is a folder, not a book", "name the book's file with --book")
        mode = "rwc" if making else "rw"
        if not making and not is_writable(path):
            wal = path.with_name(path.name + "-wal")
            mode = "ro" if wal.exists() and wal.stat().st_size else "ro&immutable=1"
        raw = sqlite3.connect(
            f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
        )
        if making:
            raw.execute("PRAGMA journal_mode = WAL")
        raw.execute("PRAGMA foreign_keys = ON")
        raw.execute("PRAGMA recursive_triggers = ON")
        raw.execute("PRAGMA trusted_schema = OFF")
        return raw

    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if options.get("writes"):
            if not making and not is_writable(path):
                raise BookReadOnlyError(f"{path} cannot be written", "check the rights of the file and of its folder")
            connection.exec_driver_sql("PRAGMA synchronous = FULL")
            if options.get("migrates"):
                connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        else:
            connection.exec_driver_sql("PRAGMA query_only = ON")
            connection.exec_driver_sql("BEGIN")

    return engine


def is_writable(path: Path) -> bool:
    """Say whether a file can be written, and its folder, where SQLite keeps its log."""
    return os.access(path, os.W_OK) and os.access(path.resolve().parent, os.W_OK)


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection on one snapshot of the book that cannot write."""
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            connection = connection.execution_options(  # noqa: PLW2901 - the same connection with its options
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine, *, migrates: bool = False) -> Iterator[Connection]:
    """Give a connection that holds the write lock; leaving it well commits, an error rolls all back."""
    with engine.connect() as connection:
        connection = connection.execution_options(writes=True, migrates=migrates)  # noqa: PLW2901
        with connection.begin():
            yield connection


@contextmanager
def in_plain_words(book: str) -> Iterator[None]:
    """Turn what the database refuses into an error of ours that names the book.

    Raises
    ------
    BookLockedError, BookDamagedError, BookMissingError, BookReadOnlyError, DatabaseError
    """
    try:
        yield
    except (DBAPIError, sqlite3.Error) as trouble:
        raise _translated(trouble, shown(book)) from trouble
    except Exception as trouble:
        if type(trouble).__module__.startswith("psycopg"):
            raise _translated(trouble, shown(book)) from trouble
        raise


def cause_of(trouble: BaseException) -> str:
    """Give the database's own words, without the statement that SQLAlchemy puts behind them."""
    words = str(getattr(trouble, "orig", None) or trouble).strip()
    return words.split("\n")[0]


def _translated(trouble: BaseException, book: str) -> VinebookError:
    cause = cause_of(trouble)
    lower = cause.lower()

    def said(*words: str) -> bool:
        return any(word in lower for word in words)

    rights = "check the rights of the file and of its folder"
    if said("locked", "lock timeout"):
        waited = f"{book} is being written by somebody else (waited {BUSY_SECONDS} seconds)"
        return BookLockedError(waited, "try again when they are done")
    if said("not a database", "malformed", "corrupt"):
        damaged = f"{book} is no vinebook book, or is damaged: {cause}"
        return BookDamagedError(damaged, "go back to your newest copy of the book")
    if said("readonly", "read-only", "unable to open"):
        return BookReadOnlyError(f"{book} cannot be opened for this: {cause}", rights)
    if said("permission denied"):
        return BookReadOnlyError(f"{book} cannot be opened for this: {cause}", "ask the database's owner for the right")
    if said("is full", "no space left"):
        return DatabaseError(f"there is no room left for {book}; nothing was stored", "make room and try again")
    if said("disk i/o"):
        refused = f"{book}: the disk is full or failing ({cause}); nothing was stored"
        return DatabaseError(refused, "make room, look at the disk, and try again")
    if said("connection") and said("does not exist"):
        return BookMissingError(f"{book} cannot be reached: {cause}", "make the database first, or name another")
    if said("connection"):
        return DatabaseError(f"{book} cannot be reached: {cause}", "check host, port, user and that the server runs")
    return DatabaseError(f"{book}: the database refused: {cause}", "check the book with `vinebook verify`")
