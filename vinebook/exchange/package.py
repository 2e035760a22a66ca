"""What a data package holds and how datapackage.json tells of it; all of it follows from the tables and the kinds.

A package is a folder: ``datapackage.json`` (Frictionless Data Package), one CSV file per table under ``data/``, the
bytes of every tally under ``kept/`` and its reading under ``readings/``.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import Float, Integer, LargeBinary, Text

from vinebook.kinds import KINDS
from vinebook.records import tables
from vinebook.records.types import IsoDate

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from sqlalchemy import Column, Table

    from vinebook.kinds.field import Field

FORMAT = 1
"""Number of the package's own format; raised when an older program could not read it rightly."""
DESCRIPTOR = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
FILES = {"tally_bytes": "kept", "reading_bytes": "readings"}
"""Tables whose rows are parts of files: the folder in which those files lie."""
NO_HASH = "0" * 64
_ENDING = re.compile(r"\.xlsx(?=:)|\.[a-z0-9]{1,8}\Z", re.IGNORECASE)
"""The end of a file's name; a sheet stands behind that of its workbook."""
_TITLES = {
    "book": "The book's one row: its counters of permanent numbers",
    "entry": "The journal: every step, each entry with the hash of the one before",
    "tally": "Every file that was loaded; its bytes lie in the folder kept",
    "reading": "What was read from each file; the reading itself lies in the folder readings",
}
DESCRIPTION = (
    "A book of vinebook, whole: every row live or struck, the journal, every tally file as it came and what was read "
    "from it. Empty cells are missing values. Numbers are exact, dates are ISO, times are UTC."
)
TEXT_CELLS = (
    "A text cell that begins with = + - @ ' a tab or a line break, or that holds no sign at all, has one apostrophe "
    "before it that is not part of the text: take one apostrophe off every text cell that begins with one."
)


@dataclass(frozen=True, slots=True)
class Written:
    """A file of a package.

    Attributes
    ----------
    name : of the resource.
    path : within the package.
    size : bytes.
    sha256 : in hexadecimal.
    """

    name: str
    path: str
    size: int
    sha256: str


def package_tables() -> list[Table]:
    """Give the tables that are CSV files, in an order in which what is named comes before what names it."""
    return [table for table in tables.METADATA.sorted_tables if table.name not in FILES]


def table_path(table: str) -> str:
    """Give where a table's rows lie."""
    return f"data/{table}.csv"


def file_path(table: str, tally: int, name: str = "") -> str:
    """Give where a kept file or a reading lies.

    Parameters
    ----------
    table : the table of its parts.
    tally : its number.
    name : name of the kept file, whose ending is kept where it is a plain one.
    """
    if table == "reading_bytes":
        return f"{FILES[table]}/{tally}.txt"
    ending = _ENDING.search(name)
    return f"{FILES[table]}/{tally}{ending[0].lower() if ending else ''}"


def file_name(table: str, tally: int) -> str:
    """Give the name of the resource that a kept file or a reading is."""
    return f"{FILES[table]}-{tally}"


def is_text(column: Column[Any]) -> bool:
    """Say whether a column holds text, and no date."""
    return isinstance(column.type, Text) and not isinstance(column.type, IsoDate)


def frictionless_type(column: Column[Any]) -> str:
    """Give the type of a column in the words of the standard."""
    match column.type:
        case IsoDate():
            return "date"
        case Integer():
            return "integer"
        case Float():
            return "number"
        case Text() | LargeBinary():
            return "string"
    msg = f"column {column} is of a type that a package does not know"
    raise TypeError(msg)


def free_text(table: Table) -> list[Column[Any]]:
    """Give the text columns that may hold any words, and no word of a list."""
    fields = _fields(table)
    return [
        column
        for column in table.columns
        if is_text(column) and not (column.name in fields and fields[column.name].choices)
    ]


def _fields(table: Table) -> dict[str, Field]:
    return {field.column: field for field in KINDS[table.name].fields} if table.name in KINDS else {}


def _unit(table: Table, field: Field) -> str:
    if field.type == "ticket":
        return "thousandths of the unit in mass_unit" if "mass_unit" in table.columns else ""
    return field.stored if field.type == "measure" else ""


def _field(table: Table, column: Column[Any]) -> dict[str, Any]:
    field = _fields(table).get(column.name)
    told: dict[str, Any] = {"name": column.name, "type": frictionless_type(column)}
    if isinstance(column.type, LargeBinary):
        told["format"] = "binary"
    if column.comment:
        told["description"] = column.comment
    if field is not None and (unit := _unit(table, field)):
        told["unit"] = unit
    limits: dict[str, Any] = {}
    if not column.nullable:
        limits["required"] = True
    if field is not None and field.choices:
        limits["enum"] = list(field.choices)
    low = -1 if field is not None and field.type == "position" else None if field is None else field.low
    if low is not None:
        limits["minimum"] = low
    if field is not None and field.high is not None:
        limits["maximum"] = field.high
    if limits:
        told["constraints"] = limits
    return told


def _schema(table: Table) -> dict[str, Any]:
    told: dict[str, Any] = {
        "fields": [_field(table, column) for column in table.columns],
        "missingValues": [""],
        "primaryKey": [column.name for column in table.primary_key.columns],
    }
    keys = [
        {
            "fields": [element.parent.name for element in constraint.elements],
            "reference": {
                "resource": constraint.referred_table.name,
                "fields": [element.column.name for element in constraint.elements],
            },
        }
        for constraint in sorted(table.foreign_key_constraints, key=lambda one: tuple(one.column_keys))
    ]
    return {**told, "foreignKeys": keys} if keys else told


def table_resource(table: Table, size: int, sha256: str) -> dict[str, Any]:
    """Give what datapackage.json says of a table."""
    told: dict[str, Any] = {"name": table.name, "type": "table", "path": table_path(table.name)}
    if table.name in KINDS:
        kind = KINDS[table.name]
        told["description"] = f"One row is {kind.one_row}."
        told["key"] = list(tables.key_columns(kind))
    elif table.name in _TITLES:
        told["description"] = f"{_TITLES[table.name]}."
    return told | {
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": size,
        "hash": f"sha256:{sha256}",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "doubleQuote": True, "header": True},
        "schema": _schema(table),
    }


def file_resource(written: Written) -> dict[str, Any]:
    """Give what datapackage.json says of a kept file or a reading."""
    return {
        "name": written.name,
        "path": written.path,
        "format": "bytes",
        "mediatype": "application/octet-stream",
        "bytes": written.size,
        "hash": f"sha256:{written.sha256}",
    }


def descriptor(resources: Iterable[Mapping[str, Any]], *, schema: str, seal: str, entries: int) -> bytes:
    """Give datapackage.json.

    Parameters
    ----------
    resources : what it says of each file.
    schema : number of the book's schema.
    seal : newest hash of the journal.
    entries : how many entries it has.
    """
    told = {
        "$schema": PROFILE,
        "name": "vinebook",
        "title": "A book of vinebook",
        "description": f"{DESCRIPTION} {TEXT_CELLS}",
        "vinebook": {
            "format": FORMAT,
            "schema": schema,
            "seal": seal,
            "entries": entries,
            "text_cells": TEXT_CELLS,
            "sha256": NO_HASH,
        },
        "resources": list(resources),
    }
    words = f"{json.dumps(told, ensure_ascii=False, indent=1)}\n"
    return words.replace(f'"sha256": "{NO_HASH}"', f'"sha256": "{own_hash(words.encode(), NO_HASH)}"', 1).encode()


def own_hash(data: bytes, said: str) -> str:
    """Give the SHA-256 that datapackage.json has while zeros stand for its own.

    Parameters
    ----------
    data : its bytes.
    said : the SHA-256 that it gives for itself.
    """
    return hashlib.sha256(
        data.replace(f'"sha256": "{said}"'.encode(), f'"sha256": "{NO_HASH}"'.encode(), 1)
    ).hexdigest()
