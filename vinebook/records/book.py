"""An open book: where it is, and how one reads and writes it."""

from __future__ import annotations

from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.errors import VinebookError
from vinebook.records import journal
from vinebook.records.engine import engine_for, in_plain_words, reading, shown
from vinebook.records.schema import require_current
from vinebook.records.step import refresh_statistics, whole_step
from vinebook.records.tables import BOOK
from vinebook.records.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection

MANY_ROWS, OF_THE_BOOK = 10_000, 10
"""A load renews the statistics with so many rows, or with one in so many of the book's."""


class Book:
    """A book that is there and of this program's schema.

    Attributes
    ----------
    where : its file or URL.
    name : the same without a password.
    """

    def __init__(self, where: str, waiting: Waiting | None = None) -> None:
        """Open a book.

        Parameters
        ----------
        where : its file or URL.
        waiting : how one waits for other writers; None as `Waiting` does by itself.

        Raises
        ------
        BookMissingError, BookVersionError, BookDamagedError, BookReadOnlyError, DatabaseError
        """
        self.where = where
        self.name = shown(where)
        self._waiting = waiting or Waiting()
        self._engine = engine_for(where)
        with self.reading():
            pass

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection on one snapshot that cannot write."""
        with in_plain_words(self.where), reading(self._engine) as connection:
            require_current(connection, self.where)
            yield connection

    @contextmanager
    def writing(self, *, by: str = "", doing: str = "") -> Iterator[Connection]:
        """Give a connection that holds the write lock; leaving it well stores the step, an error undoes all of it.

        Parameters
        ----------
        by, doing : for whom and what, told to others who wait meanwhile.

        Raises
        ------
        BookLockedError, ConnectionLostError, OutcomeUnknownError
        """

        def lock(connection: Connection) -> None:
            require_current(connection, self.where)
            journal.lock_counters(connection)

        with whole_step(self._engine, self.where, self._waiting, lock, by=by, doing=doing) as connection:
            yield connection

    def refresh_statistics(self, came_in: int | None = None) -> None:
        """Tell the database what its tables hold, so that it plans well after a large load; it may be left undone.

        Parameters
        ----------
        came_in : rows that a load brought; where they are few beside those of the book, its statistics stand. None
            takes them anew in any case.
        """
        if came_in is not None and came_in < MANY_ROWS:
            with suppress(VinebookError), self.reading() as connection:
                held = connection.scalar(select(BOOK.c.next_record)) or 0
                if came_in * OF_THE_BOOK < held:
                    return
        refresh_statistics(self._engine)
