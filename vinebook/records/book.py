"""An open book: where it is, and how one reads and writes it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import text

from vinebook.records.engine import engine_for, in_plain_words, reading, shown, writing
from vinebook.records.schema import require_current

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection


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

    def refresh_statistics(self) -> None:
        """Tell the database what its tables hold, so that it plans well after a large load."""
        with in_plain_words(self.where), writing(self._engine) as connection:
            connection.execute(text("ANALYZE"))
