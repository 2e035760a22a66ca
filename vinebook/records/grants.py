"""What each duty may do to each table of a book on PostgreSQL, from the definitions of the tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.kinds import KINDS
from vinebook.records.guards import GROWING
from vinebook.records.tables import KEEPING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vinebook.kinds.field import Kind

DUTIES = ("recorder", "reader")
"""Who has a role; the owner needs none."""
EVERYBODY = "PUBLIC"
"""PostgreSQL's word for whoever may log in."""
BOOK_TABLES = (*KEEPING, *KINDS, "alembic_version")
"""Every table of a book."""
COUNTERS = ("next_record", "next_tally")
_LINKS = {"load_part": ("load",)}
"""Key columns that a correction of another record changes: shares of a ticket follow the one that supersedes it."""


@dataclass(frozen=True, slots=True, order=True)
class Grant:
    """One right of one role.

    Attributes
    ----------
    on : "table", "schema", "database" or "function".
    name : of the table or function; "" of the one database and schema.
    verb : as PostgreSQL calls it, SELECT say.
    column : a right to one column only; "" to all of them.
    to : name of the role.
    """

    on: str
    name: str
    verb: str
    column: str
    to: str


def corrected_columns(kind: Kind) -> tuple[str, ...]:
    """Give the columns of a kind's table that corrections change: never a permanent number, file or line."""
    own: list[str] = list(_LINKS.get(kind.name, ()))
    if not (kind.made or kind.superseded):
        for field in kind.fields:
            if field.name not in kind.key:
                own += [field.column, f"{field.name}_each"] if field.type == "counts" else [field.column]
        own.append("amended_at")
    return (*own, "struck_at")


def table_rights(table: str, duty: str) -> dict[str, tuple[str, ...]]:
    """Give what a duty may do to a table: the columns by verb, none of them where it is all.

    >>> table_rights("entry", "recorder")
    {'SELECT': (), 'INSERT': ()}
    >>> table_rights("book", "reader")
    {'SELECT': ()}
    """
    rights: dict[str, tuple[str, ...]] = {"SELECT": ()}
    if duty == "recorder":
        if table in GROWING or table in KINDS:
            rights["INSERT"] = ()
        if table == "book":
            rights["UPDATE"] = COUNTERS
        elif table in KINDS:
            rights["UPDATE"] = corrected_columns(KINDS[table])
    return rights


def grants_to(duty: str, role: str) -> Iterable[Grant]:
    """Give every right of a duty's role; whoever has it needs no other."""
    yield Grant("database", "", "CONNECT", "", role)
    if duty == "recorder":
        # A load with repeated keys sets its rows aside in a table of its own session.
        yield Grant("database", "", "TEMPORARY", "", role)
    yield Grant("schema", "", "USAGE", "", role)
    for table in BOOK_TABLES:
        for verb, columns in table_rights(table, duty).items():
            for column in columns or ("",):
                yield Grant("table", table, verb, column, role)


def quoted(name: str) -> str:
    """Give a name as SQL writes it, whatever signs it has.

    >>> quoted('R "Q" Quill')
    '"R ""Q"" Quill"'
    """
    return '"' + name.replace('"', '""') + '"'


def literal(words: str) -> str:
    """Give a text as SQL writes it.

    >>> literal("O'Hara")
    "'O''Hara'"
    """
    plain = words.replace("'", "''")
    # A backslash means the same whatever standard_conforming_strings says.
    return f"'{plain}'" if "\\" not in plain else "E'" + plain.replace("\\", "\\\\") + "'"
