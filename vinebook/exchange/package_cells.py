"""Cells of a package's tables: texts that a spreadsheet would calculate get an apostrophe, values are read strictly.

The guard is one to one: every text that begins with an apostrophe, or is empty, gets one too, so that taking one
apostrophe off each cell that begins with one gives every text back, and an empty cell is always a missing value.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import TYPE_CHECKING, Any

from vinebook.exchange.package import free_text, frictionless_type, is_text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy import Column, Table

GUARD = "'"
GUARDED = ("=", "+", "-", "@", "\t", "\r", "\n", GUARD)
"""How a text begins that gets an apostrophe before it."""
_CODES = ", ".join(str(ord(sign)) for sign in GUARDED)
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
SHOWN = 60
"""Characters of a cell that a message shows."""


class CellError(ValueError):
    """A cell that cannot be a value of its column.

    Attributes
    ----------
    what, expected : as in a finding.
    """

    def __init__(self, cell: str, expected: str) -> None:
        shown = repr(cell) if len(cell) <= SHOWN else f"{cell[:SHOWN]!r}…"
        super().__init__(shown)
        self.what = f"{shown} cannot stand here"
        self.expected = expected


def guarded(text: str) -> str:
    """Give a text as a cell.

    >>> guarded("=1+1"), guarded("'s"), guarded(""), guarded("hail")
    ("'=1+1", "''s", "'", 'hail')
    """
    return GUARD + text if not text or text.startswith(GUARDED) else text


def unguarded(cell: str) -> str | None:
    """Give the text that a cell holds; an empty cell is a missing value.

    >>> unguarded("'=1+1"), unguarded("'"), unguarded("")
    ('=1+1', '', None)
    """
    if not cell:
        return None
    return cell[1:] if cell[0] == GUARD else cell


def selected(table: Table, dialect: str) -> str:
    """Give the SQL that reads a table as cells, in the order of its primary key.

    The database guards the texts: it is the faster of the two.

    Parameters
    ----------
    table : of the book.
    dialect : "sqlite" or "postgresql".
    """
    free = {column.name for column in free_text(table)}
    code = "unicode" if dialect == "sqlite" else "ascii"

    def cell(column: Column[Any]) -> str:
        name = f'"{column.name}"'
        if column.name not in free:
            return name
        return f"CASE WHEN {name} = '' OR {code}({name}) IN ({_CODES}) THEN '{GUARD}{GUARD}' || {name} ELSE {name} END"

    key = ", ".join(f'"{column.name}"' for column in table.primary_key.columns)
    return f'SELECT {", ".join(cell(column) for column in table.columns)} FROM "{table.name}" ORDER BY {key}'


def reader_of(column: Column[Any]) -> Callable[[Sequence[str]], list[Any]]:
    """Give what reads the cells of a column of one page.

    The reader raises `ValueError` where a cell cannot be a value; `read_cell` says what is wrong with one.
    """
    match frictionless_type(column):
        case "integer":
            return _integers(column)
        case "number":
            return _floats
        case "date":
            return _dates
        case _:
            return _texts if is_text(column) else _bytes


def read_cell(column: Column[Any], cell: str) -> object:
    """Read one cell of a column.

    Raises
    ------
    CellError : it cannot be a value.
    """
    expected = {
        "integer": "a whole number, its digits alone",
        "number": "a number with a point, as this program writes it",
        "date": "a date written year-month-day",
        "string": "text" if is_text(column) else "bytes in base64",
    }[frictionless_type(column)]
    try:
        value = reader_of(column)([cell])[0]
    except (ValueError, OverflowError) as trouble:
        raise CellError(cell, expected) from trouble
    if value is None and not column.nullable:
        raise CellError(cell, f"{expected}; this column is never empty")
    return value


def _integers(column: Column[Any]) -> Callable[[Sequence[str]], list[int | None]]:
    bits = 63 if "BIG" in str(column.type).upper() else 31
    low, high = -(2**bits), 2**bits - 1

    def each(cells: Sequence[str]) -> list[int]:
        values = list(map(int, cells))
        if list(map(str, values)) != cells or (values and (min(values) < low or max(values) > high)):
            msg = "a whole number is written otherwise"
            raise ValueError(msg)
        return values

    return lambda cells: _each_once(cells, each)


def _floats(cells: Sequence[str]) -> list[float | None]:
    def each(cells: Sequence[str]) -> list[float]:
        values = list(map(float, cells))
        if list(map(repr, values)) != cells or not all(map(math.isfinite, values)):
            msg = "a number is written otherwise"
            raise ValueError(msg)
        return values

    return _each_once(cells, each)


def _each_once(cells: Sequence[str], read: Callable[[Sequence[str]], list[Any]]) -> list[Any]:
    """Read each different cell once, an empty one as a missing value; where all differ that would only cost time."""
    different = set(cells)
    if 2 * len(different) > len(cells) and "" not in different:
        return read(list(cells))
    different.discard("")
    known: dict[str, Any] = dict(zip(different, read(list(different)), strict=True))
    known[""] = None
    return list(map(known.__getitem__, cells))


def _dates(cells: Sequence[str]) -> list[str | None]:
    for cell in set(cells):
        if cell:
            if not _DATE.fullmatch(cell):
                msg = "a date is written otherwise"
                raise ValueError(msg)
            dt.date.fromisoformat(cell)
    return [cell or None for cell in cells]


def _texts(cells: Sequence[str]) -> list[str | None]:
    if not any(cells):
        return [None] * len(cells)
    return [None if not cell else cell[1:] if cell[0] == GUARD else cell for cell in cells]


def _bytes(cells: Sequence[str]) -> list[bytes | None]:
    import base64

    return [base64.b64decode(cell, validate=True) if cell else None for cell in cells]
