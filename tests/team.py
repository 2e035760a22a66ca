"""A team for tests: a book on PostgreSQL with its roles, and logins that have one, or none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import psycopg

from tests.desk import Desk
from tests.postgresql import OWNER
from vinebook.records.book import Book
from vinebook.records.roles import People, apply_roles

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Self

    from tests.postgresql import Server
    from vinebook.records.role_catalogue import Held

RECORDER, READER, OUTSIDER = "rquill", "auditor", "outsider"
LOGINS = {"owner": OWNER, "recorder": RECORDER, "reader": READER, "outsider": OUTSIDER}
"""The login of each who tries."""


def make_logins(server: Server) -> None:
    """Make the logins of the team where they are not there yet."""
    for name in (RECORDER, READER, OUTSIDER):
        server.run(
            f"DO $$BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{name}') "
            f"THEN CREATE ROLE {name} LOGIN; END IF; END$$"
        )


def give(url: str, people: People | None = None) -> Held:
    """Give the roles of a book as its owner."""
    return apply_roles(Book(url), people or People((RECORDER,), (READER,)))


class Team:
    """A book with its roles.

    Attributes
    ----------
    database : its name.
    """

    def __init__(self, server: Server, database: str, folder: Path) -> None:
        self.server = server
        self.database = database
        self.folder = folder

    def begin(self) -> Self:
        """Make the logins and the roles."""
        make_logins(self.server)
        give(self.url("owner"))
        return self

    def url(self, who: str) -> str:
        """Give the address of the book for the owner, the recorder, the reader or the outsider."""
        return self.server.url(self.database, LOGINS.get(who, who))

    def desk(self, who: str) -> Desk:
        """Give the book as one of them opens it."""
        return Desk(self.url(who), self.folder)

    def connect(self, who: str) -> psycopg.Connection:
        """Log in with psycopg, as psql would."""
        return psycopg.connect(self.url(who))

    def run(self, who: str, *statements: str) -> None:
        """Run statements of plain SQL in one transaction as one of them."""
        with self.connect(who) as connection:
            for statement in statements:
                connection.execute(statement.encode())

    def end(self) -> None:
        """Drop the book, then the roles that were its own."""
        self.server.drop(self.database)
        for duty in ("recorder", "reader"):
            self.server.run(f'DROP ROLE IF EXISTS "{self.database}_{duty}"')
