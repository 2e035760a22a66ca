"""Waiting for another writer: how long, what is said meanwhile, and who holds the book where the server knows."""

from __future__ import annotations

import random
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType
    from typing import Self

    from sqlalchemy import Connection, Engine

WAIT_SECONDS = 60
"""How long one waits for another writer unless told otherwise."""
SAID_AFTER_S = 2.0
"""A wait that is over sooner is not worth a line."""
ASKED_EVERY_S = 5.0
"""Who is in front may change while one waits; the server is asked again as often as this."""
PROGRAM = "vinebook"
LONGEST_NAME = 63
"""Bytes that the server keeps of a session's name."""
_POLLS_S = (0.002, 0.03)
"""Between two tries for the lock of a file. They vary, so that of many who wait none is always late."""
_IN_FRONT = text(
    "WITH RECURSIVE front (pid) AS (SELECT unnest(pg_blocking_pids(:pid)) "
    "UNION SELECT unnest(pg_blocking_pids(front.pid)) FROM front) "
    "SELECT a.application_name, a.usename, to_char(a.xact_start AT TIME ZONE 'UTC', 'HH24:MI:SS') "
    "FROM front JOIN pg_stat_activity a USING (pid) WHERE cardinality(pg_blocking_pids(pid)) = 0 LIMIT 1"
)


@dataclass(frozen=True, slots=True)
class Waiting:
    """How one waits for another writer.

    Attributes
    ----------
    seconds : how long at most; 0 does not wait.
    tell : called with a line for a person; None tells nobody.
    warn : called with a line that must reach a person who wants quiet too; None leaves it to `tell`.
    """

    seconds: int = WAIT_SECONDS
    tell: Callable[[str], None] | None = None
    warn: Callable[[str], None] | None = None

    @property
    def in_words(self) -> str:
        """The seconds, in words."""
        return f"{self.seconds} second{'' if self.seconds == 1 else 's'}"

    def say(self, words: str) -> None:
        """Tell a person, if there is one."""
        if self.tell is not None:
            self.tell(words)

    def must_say(self, words: str) -> None:
        """Tell a person what came out otherwise than it looked."""
        if self.warn is not None:
            self.warn(words)
        else:
            self.say(words)


def session_name(by: str, doing: str) -> str:
    """Give the name under which a writer's session stands on the server: what it does, and for whom."""
    words = f"{PROGRAM} {doing or 'writing'}" + (f" by {by}" if by else "")
    return words.encode()[:LONGEST_NAME].decode(errors="ignore")


def told_holder(name: str, role: str | None, since: str | None) -> str:
    """Give who holds a book in words, from the name of a session, its role and the time at which it began.

    >>> told_holder("vinebook load by KL", "crew", "16:04:31")
    'KL (load, since 16:04:31 UTC)'
    >>> told_holder("psql", "crew", None)
    'role crew (psql)'
    """
    when = f", since {since} UTC" if since else ""
    program, _, rest = name.partition(" ")
    doing, by, who = rest.partition(" by ")
    if program == PROGRAM and by:
        return f"{who} ({doing}{when})"
    return f"role {role} ({name or 'a program without a name'}{when})"


class Watch:
    """Looks on while one waits: says so once, and keeps who was in front.

    Attributes
    ----------
    holder : who held the book when the server was last asked; "" where nobody can know.
    """

    def __init__(self, engine: Engine, book: str, waiting: Waiting) -> None:
        self._engine = engine
        self._book = book
        self._waiting = waiting
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._pid = 0
        self.holder = ""

    def __enter__(self) -> Self:
        """Begin to look on."""
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, trouble: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End, whether the book was had or not."""
        self._over.set()
        self._thread.join(SAID_AFTER_S)

    def of(self, connection: Connection) -> None:
        """Name the connection that waits, so that the server can be asked what it waits for."""
        if connection.dialect.name == "postgresql":
            driver = connection.connection.driver_connection
            self._pid = 0 if driver is None else int(driver.info.backend_pid)

    def _look(self) -> None:
        is_said = False
        while not self._over.wait(ASKED_EVERY_S if is_said else SAID_AFTER_S):
            if self._pid:
                with suppress(DBAPIError):
                    self.holder = self._in_front()
            if not is_said and not self._over.is_set():
                self._waiting.say(
                    f"waiting for another writer of {self._book}{f': {self.holder}' if self.holder else ''}; "
                    f"for up to {self._waiting.in_words}"
                )
                is_said = True

    def _in_front(self) -> str:
        with self._engine.connect() as connection:
            row = connection.execute(_IN_FRONT, {"pid": self._pid}).first()
        return self.holder if row is None else told_holder(row[0] or "", row[1], row[2])


def begin_immediately(connection: Connection, seconds: int) -> None:
    """Take the write lock of a SQLite book, trying until the time is over; Ctrl-C ends it at once.

    Raises
    ------
    OperationalError : somebody else held it all the time.
    """
    until = time.monotonic() + seconds
    (usual,) = connection.exec_driver_sql("PRAGMA busy_timeout").one()
    # The database's own way sleeps ever longer and cannot be stopped: who comes late to a busy book would starve.
    connection.exec_driver_sql("PRAGMA busy_timeout = 0")
    while True:
        try:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        except DBAPIError as trouble:
            if "locked" not in str(trouble.orig) or time.monotonic() >= until:
                raise
            time.sleep(random.uniform(*_POLLS_S))  # noqa: S311 - no cryptography
        else:
            break
    connection.exec_driver_sql(f"PRAGMA busy_timeout = {usual}")
