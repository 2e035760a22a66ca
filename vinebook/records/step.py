"""A writing step: it waits for others, is stored whole or not at all, and what stops it says which."""

from __future__ import annotations

import functools
import random
import sqlite3
import time
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, ParamSpec, TypeVar

from sqlalchemy import inspect, select
from sqlalchemy.exc import DBAPIError

from vinebook.errors import BookLockedError, ConnectionLostError, CrossedError, OutcomeUnknownError, VinebookError
from vinebook.records import journal
from vinebook.records.engine import cause_of, in_plain_words, is_busy, reading, shown, state_of, writing
from vinebook.records.tables import BOOK, ENTRY
from vinebook.records.waiting import Watch, session_name

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy import Connection, Engine

    from vinebook.records.waiting import Waiting

P = ParamSpec("P")
T = TypeVar("T")
TRIES = 4
"""How often a step that crossed another is tried in all."""
ASK_SECONDS = 90
"""How long a server is asked what became of a step; longer than it takes it to see that a line was cut."""
_ASK_AGAIN_S = 0.5
_STATISTICS_WAIT_S = 2
_GATE = "alembic_version"
"""The table that each transaction locks first: readers and writers together, an upgrade alone."""
_MAKING = 7_643_208
"""Number of the advisory lock of who makes a book in an empty database; any that others hardly use will do."""


def enter_gate(connection: Connection) -> None:
    """Wait until no upgrade is under way, and hold off any until the end of the transaction.

    The first statement of a transaction: by a SELECT a reader would have its snapshot before the wait was over.
    """
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"LOCK TABLE {_GATE} IN ACCESS SHARE MODE")


def close_gate(connection: Connection) -> None:
    """Wait until everybody has left the book, and keep them out until the end of the transaction."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"LOCK TABLE {_GATE} IN ACCESS EXCLUSIVE MODE")


def lock_making(connection: Connection) -> None:
    """Let those who make a book in one database follow one another: there is no table yet to lock."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MAKING})")


@contextmanager
def whole_step(
    engine: Engine,
    book: str,
    waiting: Waiting,
    lock: Callable[[Connection], object],
    *,
    by: str = "",
    doing: str = "",
    migrates: bool = False,
) -> Iterator[Connection]:
    """Give a connection that holds the book; leaving it well stores the step, an error undoes all of it.

    Where the connection is lost after the server was told to store the step, the server is asked what became of it:
    a step that was stored is told as a warning, and is done.

    Parameters
    ----------
    engine, book : the book.
    waiting : for how long, and who is told.
    lock : takes the locks of the step; it may wait.
    by, doing : for whom and what, told to others who wait meanwhile.
    migrates : True where foreign keys must not stand in the way.

    Raises
    ------
    BookLockedError : somebody else held the book for longer than we wait; it says who, where that is known.
    ConnectionLostError : nothing was stored.
    OutcomeUnknownError : nobody answers; how to find out stands in its hint.
    """
    name = shown(book)
    is_reached = False
    last: journal.Entry | None = None
    watch = Watch(engine, name, waiting)
    with in_plain_words(book):
        try:
            with ExitStack() as held:
                with watch:
                    entered = writing(
                        engine, migrates=migrates, wait_s=waiting.seconds, session=session_name(by, doing)
                    )
                    connection = held.enter_context(entered)
                    is_reached = True
                    watch.of(connection)
                    lock(connection)
                yield connection
                last = journal.newest(connection)
        except BaseException as trouble:
            if last is not None:
                _settle(engine, name, waiting, last, trouble)
                return
            if isinstance(trouble, (DBAPIError, sqlite3.Error)) and is_busy(trouble):
                raise BookLockedError(
                    f"{name} is being written by {watch.holder or 'somebody else'} "
                    f"(waited {waiting.in_words}); nothing was stored",
                    "try again when they are done, or wait longer with --wait SECONDS",
                ) from trouble
            if is_reached and _is_lost(trouble):
                raise _lost(name, trouble) from trouble
            raise


def _settle(engine: Engine, name: str, waiting: Waiting, last: journal.Entry, trouble: BaseException) -> None:
    """Find out what became of a step that went wrong while it was being stored; give back where it was stored.

    Raises
    ------
    ConnectionLostError, OutcomeUnknownError, or the trouble itself where nothing was stored.
    """
    is_lost = _is_lost(trouble)
    if is_lost:
        waiting.say(f"{name}: the connection was lost as the step was being stored; asking what became of it")
    try:
        found = _was_stored(engine, last)
    except KeyboardInterrupt:
        found = None
    if found:
        what = f"the connection was lost ({cause_of(trouble)})" if is_lost else "stopped too late"
        waiting.must_say(f"{name}: {what}, but the step was stored whole; its last entry is {last.number}")
    elif found is None:
        raise OutcomeUnknownError(
            f"{name}: the connection was lost as the step was being stored ({cause_of(trouble)}), and nobody answers: "
            "it was stored whole or not at all, but which of the two is not known",
            f"when the book answers again, `vinebook verify --seal {last.hash}` finds no fault if it was stored, and "
            "does not know the seal if it was not",
        ) from trouble
    elif is_lost:
        raise _lost(name, trouble) from trouble
    else:
        raise trouble


def _was_stored(engine: Engine, last: journal.Entry) -> bool | None:
    """Say whether the journal holds an entry once the lost session is over; None where nobody answers."""
    until = time.monotonic() + ASK_SECONDS
    while True:
        left_s = max(1, int(until - time.monotonic()))
        try:
            if engine.dialect.name == "sqlite":
                with reading(engine) as connection:
                    return _holds(connection, last)
            with writing(engine, wait_s=left_s) as connection:
                # The locks of the lost step are free only once the server has ended it, one way or the other.
                lock_making(connection)
                if not inspect(connection).has_table(BOOK.name):
                    return False
                enter_gate(connection)
                journal.lock_counters(connection)
                return _holds(connection, last)
        except (DBAPIError, VinebookError):
            if time.monotonic() >= until:
                return None
        time.sleep(_ASK_AGAIN_S)


def _holds(connection: Connection, entry: journal.Entry) -> bool:
    return connection.scalar(select(ENTRY.c.hash).where(ENTRY.c.number == entry.number)) == entry.hash


def _is_lost(trouble: BaseException) -> bool:
    """Say whether it was the connection that failed: the server ended it, or nothing came back at all."""
    cause = getattr(trouble, "orig", None) or trouble
    if not type(cause).__module__.startswith("psycopg"):
        return False
    state = state_of(trouble)
    names = {of.__name__ for of in type(cause).__mro__}
    return state.startswith(("08", "57P", "25P03")) or (
        not state and not names.isdisjoint(("OperationalError", "InterfaceError"))
    )


def _lost(name: str, trouble: BaseException) -> ConnectionLostError:
    # Undoing what was begun fails too, and says less than what came before it.
    first = trouble
    while first.__context__ is not None and _is_lost(first.__context__):
        first = first.__context__
    return ConnectionLostError(
        f"{name}: the connection was lost ({cause_of(first)}); nothing was stored",
        "try again once the server answers",
    )


def again_when_crossed(function: Callable[P, T]) -> Callable[P, T]:
    """Do a step again, all of it and from what then stands, where it and another got in each other's way.

    By itself vinebook takes its locks in one order, and no two of its steps cross; other programs may.
    """

    @functools.wraps(function)
    def run(*given: P.args, **named: P.kwargs) -> T:
        for tried in range(1, TRIES):
            try:
                return function(*given, **named)
            except CrossedError:
                time.sleep(random.uniform(0, 0.1 * 2**tried))  # noqa: S311 - no cryptography
        try:
            return function(*given, **named)
        except CrossedError as trouble:
            raise CrossedError(f"{trouble.message} {TRIES} times; nothing was stored", trouble.hint) from trouble

    return run


def refresh_statistics(engine: Engine) -> None:
    """Tell the database what its tables hold, so that it plans well after a large load.

    The rows are in: where somebody holds the book, or a person stops it, plans stay as they were.
    """
    with (
        suppress(DBAPIError, VinebookError, KeyboardInterrupt),
        writing(engine, wait_s=_STATISTICS_WAIT_S) as connection,
    ):
        enter_gate(connection)
        is_file = connection.dialect.name == "sqlite"
        # Two who do so at once on a server would wait for each other's tables.
        connection.exec_driver_sql("ANALYZE" if is_file else "ANALYZE (SKIP_LOCKED)")
