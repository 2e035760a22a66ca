"""Connections to a book on SQLite or PostgreSQL, and the database's refusals in plain words."""

from __future__ import annotations

import os
import re
import sqlite3
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote_plus

from sqlalchemy import URL, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import NullPool

from vinebook.errors import (
    BookDamagedError,
    BookLockedError,
    BookMissingError,
    BookReadOnlyError,
    CrossedError,
    DatabaseError,
    VinebookError,
    WordsError,
)
from vinebook.records.waiting import PROGRAM, WAIT_SECONDS, begin_immediately

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection

_SECRET = re.compile(r"\bpassword\s*=")
"""What the words hold that libpq takes in place of a URL; no file is named so."""
_HIDDEN = "***"
BUSY_SECONDS = 10
"""How long one waits for a server to answer, and a reader for a book that somebody holds as a whole."""
IDLE_SECONDS = 300
"""A writer that stands still for longer, say a stopped program, is sent away by the server: others want the book."""
GONE_SECONDS = (30, 10, 3)
"""When a line that says nothing is tried, how often again, and how many times until it counts as cut."""
BUSY_STATE = "55P03"
CROSSED_STATES = ("40001", "40P01")
READ_ONLY_STATE = "25006"
"""SQLSTATE of a lock that was not had in time · of steps that crossed: serialisation failure, deadlock · of writing
where nothing is written, on a replica say."""


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
        if _SECRET.search(book):
            raise WordsError("a book on a server is named by a URL", "expected postgresql://user@host/database")
        return Path(book)
    url = _url_of(book)
    if url.get_backend_name() == "sqlite":
        return Path(url.database or "")
    if url.get_backend_name() != "postgresql":
        raise WordsError(
            f"vinebook keeps no book on {url.get_backend_name()}", "use a file (SQLite) or a postgresql:// URL"
        )
    return None


def _url_of(book: str) -> URL:
    """Read a database URL. What cannot be read is not repeated, as a password may stand anywhere in it.

    Raises
    ------
    WordsError : it cannot be read.
    """
    try:
        url = make_url(book)
    except (ArgumentError, ValueError):
        raise WordsError("the book's database URL cannot be read", "expected postgresql://user@host/database") from None
    if "@" in (url.host or ""):
        raise WordsError(
            "the book's database URL holds an @ too many",
            "write an @ of a password as %40, or better keep passwords in ~/.pgpass",
        )
    return url


def shown(book: str) -> str:
    """Give a book's name without its password."""
    if not is_url(book):
        return "the book" if _SECRET.search(book) else book
    try:
        url = _url_of(book)
    except WordsError:
        return "the book"
    hidden = {name: _HIDDEN for name in url.query if "password" in name.lower()}
    words = url.update_query_dict(hidden).render_as_string(hide_password=True)
    return words.replace(quote_plus(_HIDDEN), _HIDDEN)


def engine_for(book: str, *, making: bool = False, drafting: bool = False) -> Engine:
    """Give an engine for a book; no connection is made yet.

    Parameters
    ----------
    book : a file, or a database URL.
    making : True where the SQLite file may be created.
    drafting : True where it is made and thrown away unless all goes well, so that a power cut may spoil it: what would
        undo a step stays in memory, and the file is no book in use yet (`copying.make_ready`).
    """
    path = sqlite_path(book)
    if path is None:
        return _server_engine(book)
    return _file_engine(path, making=making or drafting, journal="MEMORY" if drafting else "WAL")


def _server_engine(book: str) -> Engine:
    url = _url_of(book).set(drivername="postgresql+psycopg")
    idle, every, times = map(str, GONE_SECONDS)
    usual = {
        "connect_timeout": str(BUSY_SECONDS),
        "application_name": PROGRAM,
        "keepalives_idle": idle,
        "keepalives_interval": every,
        "keepalives_count": times,
    }
    url = url.update_query_dict({name: value for name, value in usual.items() if name not in url.query})
    try:
        engine = create_engine(url, poolclass=NullPool)
    except ModuleNotFoundError as trouble:
        raise DatabaseError(
            "a book on PostgreSQL needs the package psycopg", "install it with: pip install 'vinebook[postgresql]'"
        ) from trouble

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if not options.get("writes"):
            # No SELECT: it would take the snapshot before the lock that an upgrade holds is had.
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{BUSY_SECONDS}s'")
            # The sums of figures are hundreds of short expressions: compiling them takes longer than they run.
            connection.exec_driver_sql("SET LOCAL jit = off")
            return
        # A lock timeout of 0 would wait for ever.
        wait_ms = max(1, 1000 * options.get("wait_s", WAIT_SECONDS))
        connection.exec_driver_sql(
            _SETTINGS, (f"{wait_ms}ms", f"{IDLE_SECONDS}s", idle, every, times, options.get("session", PROGRAM))
        )

    return engine


_SETTINGS = (
    "SELECT set_config('lock_timeout', %s, true), set_config('idle_in_transaction_session_timeout', %s, true), "
    "set_config('tcp_keepalives_idle', %s, true), set_config('tcp_keepalives_interval', %s, true), "
    "set_config('tcp_keepalives_count', %s, true), set_config('application_name', %s, true), "
    # What a person was told is stored must be on the disk, as on SQLite.
    "set_config('synchronous_commit', CASE current_setting('synchronous_commit') WHEN 'off' THEN 'on' "
    "ELSE current_setting('synchronous_commit') END, true)"
)
"""Of a writing transaction alone: the server forgets them with it."""


def _file_engine(path: Path, *, making: bool, journal: str) -> Engine:
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
            raw.execute(f"PRAGMA journal_mode = {journal}")
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
            begin_immediately(connection, options.get("wait_s", WAIT_SECONDS))
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
def writing(
    engine: Engine, *, migrates: bool = False, wait_s: int = WAIT_SECONDS, session: str = PROGRAM
) -> Iterator[Connection]:
    """Give a connection that writes; leaving it well commits, an error rolls all back.

    Parameters
    ----------
    engine : of the book.
    migrates : True where foreign keys must not stand in the way.
    wait_s : seconds that one waits for a lock.
    session : name under which the server shows this transaction to others.
    """
    with engine.connect() as connection:
        options = {"writes": True, "migrates": migrates, "wait_s": wait_s, "session": session}
        connection = connection.execution_options(**options)  # noqa: PLW2901
        if connection.dialect.name == "postgresql":
            # A server's own default may be another; each statement must see what was stored before it had its lock.
            connection = connection.execution_options(isolation_level="READ COMMITTED")  # noqa: PLW2901
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
        raise _refusal(trouble, shown(book)) from trouble
    except Exception as trouble:
        if type(trouble).__module__.startswith("psycopg"):
            raise _refusal(trouble, shown(book)) from trouble
        raise


def cause_of(trouble: BaseException) -> str:
    """Give the database's own words, without the statement that SQLAlchemy puts behind them."""
    words = str(getattr(trouble, "orig", None) or trouble).strip()
    return words.split("\n")[0]


_WHO_MAY = "a recorder writes, a reader reads, the owner does the rest: ask the book's owner (`vinebook guide roles`)"
_SAFELY = "check sslmode, sslrootcert and the name of the host against the server's certificate"
_PASSWORD = "give the password in ~/.pgpass, a service file or PGPASSWORD, and check the login's name"  # noqa: S105 - none


def _barred(trouble: BaseException, book: str, cause: str) -> VinebookError | None:
    """Give what keeps a login out: its rights, its password, or a certificate; None where it is something else."""
    lower = cause.lower()
    # The server's own words may be in any language.
    if state_of(trouble) == "42501" or "permission denied" in lower:
        return BookReadOnlyError(f"{book}: this login may not do that: {cause}", _WHO_MAY)
    if any(words in lower for words in ("certificate", "ssl ", "sslmode")):
        return DatabaseError(f"{book} cannot be reached safely: {cause}", _SAFELY)
    if any(words in lower for words in ("password authentication failed", "no password supplied")):
        return DatabaseError(f"{book} cannot be reached: {cause}", _PASSWORD)
    return None


def state_of(trouble: BaseException) -> str:
    """Give the SQLSTATE of what a server refused, or "": its words may be in any language."""
    return str(getattr(getattr(trouble, "orig", None) or trouble, "sqlstate", None) or "")


def is_busy(trouble: BaseException) -> bool:
    """Say whether a lock was not had in time."""
    return state_of(trouble) == BUSY_STATE or "is locked" in cause_of(trouble)


def _refusal(trouble: BaseException, book: str) -> VinebookError:
    if state_of(trouble) in CROSSED_STATES:
        return CrossedError(f"{book}: this step and somebody else's got in each other's way", "try again")
    if state_of(trouble) == READ_ONLY_STATE:
        return BookReadOnlyError(
            f"{book} is only read there: {cause_of(trouble)}",
            "a replica takes no writing: write to the server that it follows",
        )
    return _translated(trouble, book)


def _translated(trouble: BaseException, book: str) -> VinebookError:
    cause = cause_of(trouble)
    lower = cause.lower()

    def said(*words: str) -> bool:
        return any(word in lower for word in words)

    rights = "check the rights of the file and of its folder"
    if is_busy(trouble) or said("locked"):
        waited = f"{book} is being written by somebody else (waited {BUSY_SECONDS} seconds)"
        return BookLockedError(waited, "try again when they are done")
    if said("not a database", "malformed", "corrupt"):
        damaged = f"{book} is no vinebook book, or is damaged: {cause}"
        return BookDamagedError(damaged, "go back to your newest copy of the book")
    if said("readonly", "read-only", "unable to open"):
        return BookReadOnlyError(f"{book} cannot be opened for this: {cause}", rights)
    if (barred := _barred(trouble, book, cause)) is not None:
        return barred
    if said("is full", "no space left"):
        return DatabaseError(f"there is no room left for {book}; nothing was stored", "make room and try again")
    if said("disk i/o"):
        refused = f"{book}: the disk is full or failing ({cause}); nothing was stored"
        return DatabaseError(refused, "make room, look at the disk, and try again")
    if said("connection") and said("does not exist"):
        return BookMissingError(f"{book} cannot be reached: {cause}", "make the database first, or name another")
    if said("connection", "resolve host"):
        return DatabaseError(f"{book} cannot be reached: {cause}", "check host, port, user and that the server runs")
    return DatabaseError(f"{book}: the database refused: {cause}", "check the book with `vinebook verify`")
