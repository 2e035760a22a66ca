"""An open book: where it is, and how one reads and writes it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import select, text

from vinebook.records.engine import engine_for, in_plain_words, reading, shown, writing
from vinebook.records.schema import require_current
from vinebook.records.tables import BOOK

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

    def __init__(self, where: str) -> None:
        """Open a book.

        Raises
        ------
        BookMissingError, BookVersionError, BookDamagedError, BookReadOnlyError, DatabaseError
        """
        self.where = where
        self.name = shown(where)
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
    def writing(self) -> Iterator[Connection]:
        """Give a connection that holds the write lock; leaving it well commits."""
        with in_plain_words(self.where), writing(self._engine) as connection:
            require_current(connection, self.where)
            yield connection

    def refresh_statistics(self, came_in: int | None = None) -> None:
        """Tell the database what its tables hold, so that it plans well after a large load.

        Parameters
        ----------
        came_in : rows that a load brought; where they are few beside those of the book, its statistics stand. None
            takes them anew in any case.
        """
        with in_plain_words(self.where), writing(self._engine) as connection:
            if came_in is not None and came_in < MANY_ROWS:
                held = connection.scalar(select(BOOK.c.next_record)) or 0
                if came_in * OF_THE_BOOK < held:
                    return
            connection.execute(text("ANALYZE"))
