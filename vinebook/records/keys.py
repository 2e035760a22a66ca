"""The key of a row as people write it: its parts joined by "/", a "/" within a part doubled, an empty part "-"."""

from __future__ import annotations

import datetime as dt
import json
import re
from functools import cache
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.errors import WordsError
from vinebook.kinds import KINDS
from vinebook.records.tables import TABLES, key_columns
from vinebook.records.types import IsoDate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection, Select

    from vinebook.kinds.field import Kind

_PARTS = re.compile(r"(?:[^/]|//)+")
EMPTY = "-"
KEYS_AT_ONCE = 500
NAMED = ("vineyard", "block", "consignee")
"""Kinds that are few and go by a name, so that a near one can be offered."""


def join_key(parts: Sequence[object]) -> str:
    """Give the words of a key."""
    return "/".join(EMPTY if part in (None, "") else str(part).replace("/", "//") for part in parts)


def split_key(words: str) -> list[str]:
    """Give the parts of a key."""
    return [part.replace("//", "/") for part in _PARTS.findall(words)]


def _refers(kind: Kind, name: str) -> Kind | None:
    if name == "sample":
        return KINDS["sample"]
    for field in kind.fields:
        if field.name == name and field.type == "ref":
            return KINDS[field.refers]
    return None


def key_labels(kind: Kind) -> list[str]:
    """Give the names of a key's parts, the key of what it names written out."""
    labels: list[str] = []
    for name in kind.key:
        parent = _refers(kind, name)
        labels.extend([name] if parent is None or len(parent.key) == 1 else key_labels(parent))
    return labels


def keyed_select(kind: Kind) -> tuple[Select[Any], list[Any]]:
    """Give a select over a kind's table joined to what its key names, and the columns of the whole key."""
    query, columns = _keyed_select(kind.name)
    return query, list(columns)


@cache
def _keyed_select(kind_name: str) -> tuple[Select[Any], tuple[Any, ...]]:
    kind = KINDS[kind_name]
    table = TABLES[kind.name]
    joined: Any = table
    columns: list[Any] = []

    def walk(kind: Kind, table: Any) -> None:  # noqa: ANN401 - a table or its alias
        nonlocal joined
        for name, column in zip(kind.key, key_columns(kind), strict=True):
            parent = _refers(kind, name)
            if parent is None:
                columns.append(table.c[column])
                continue
            other = TABLES[parent.name].alias()
            joined = joined.outerjoin(other, table.c[column] == other.c.record)
            walk(parent, other)

    walk(kind, table)
    return select(*columns).select_from(joined), tuple(columns)


def key_of(connection: Connection, kind: Kind, record: int) -> str:
    """Give the key of a row by its permanent number."""
    query, _ = keyed_select(kind)
    row = connection.execute(query.where(TABLES[kind.name].c.record == record)).first()
    return EMPTY if row is None else join_key(row)


def keys_of(connection: Connection, kind: Kind, records: Sequence[int]) -> dict[int, str]:
    """Give the keys of rows by their permanent numbers."""
    if not records:
        return {}
    query, _ = keyed_select(kind)
    record = TABLES[kind.name].c.record
    found: dict[int, str] = {}
    for start in range(0, len(records), KEYS_AT_ONCE):
        rows = connection.execute(query.add_columns(record).where(record.in_(records[start : start + KEYS_AT_ONCE])))
        found |= {number: join_key(parts) for *parts, number in rows}
    return found


def find_record(connection: Connection, kind: Kind, words: str) -> int:
    """Give the permanent number of the live row with this key, or of the row numbered ``#N``.

    Raises
    ------
    WordsError : no such row, or the key has too few or too many parts.
    """
    table = TABLES[kind.name]
    labels = key_labels(kind)
    if len(labels) > 1 and re.fullmatch(r"[0-9]{1,18}", words):
        # No key of several parts is a bare number: it is the permanent one.
        words = f"#{words}"
    if re.fullmatch(r"#[0-9]{1,18}", words):
        found = connection.scalar(select(table.c.record).where(table.c.record == int(words[1:])))
        if found is None:
            raise WordsError(f"there is no {kind.name} {words}", f"`vinebook list {kind.name}` prints the keys")
        return int(found)
    parts = split_key(words)
    if not words.strip():
        raise WordsError(f"the key of {kind.a_name} is empty", f"`vinebook list {kind.name}` prints the keys")
    if len(parts) != len(labels):
        if len(labels) == 1 and (named := _named_so(connection, kind, words)) is not None:
            return named
        raise WordsError(
            f"{words!r} is not the key of {kind.a_name}",
            f"expected {len(labels)} part{'' if len(labels) == 1 else 's'}: {'/'.join(labels)}"
            + ("; a / that is part of a name is written //" if len(parts) > len(labels) else ""),
        )
    query, columns = keyed_select(kind)
    query = query.with_only_columns(table.c.record)
    for column, part in zip(columns, parts, strict=True):
        value = _typed(column, part, kind, labels)
        query = query.where(column.is_(None) if value is None else column == value)
    found = connection.scalar(query.where(table.c.struck_at.is_(None)))
    if found is None and len(labels) == 1:
        found = _named_so(connection, kind, words)
    if found is None:
        raise _missing(connection, kind, words, connection.scalar(query.order_by(table.c.record.desc()).limit(1)))
    return int(found)


def code_of_block(connection: Connection, key: str) -> str:
    """Give the code of a block by its key, in which a stroke of the code may stand twice, or by ``#N``.

    Raises
    ------
    WordsError : no such block.
    """
    block = TABLES["block"]
    record = find_record(connection, KINDS["block"], key)
    return str(connection.scalar(select(block.c.code).where(block.c.record == record)))


def _named_so(connection: Connection, kind: Kind, words: str) -> int | None:
    """Give the live row whose one name is these very words: typed by hand, a stroke in a name stands once."""
    query, [column] = keyed_select(kind)
    if column.type.python_type is not str:
        return None
    table = TABLES[kind.name]
    found = connection.scalar(
        query.with_only_columns(table.c.record).where(column == words, table.c.struck_at.is_(None))
    )
    return None if found is None else int(found)


def _missing(connection: Connection, kind: Kind, words: str, struck: int | None) -> WordsError:
    """Give what to say of a key that no live row has: what became of the row that had it, else the near keys."""
    if struck is not None:
        from vinebook.records.life import last_touched

        went, touched = "was struck", last_touched(connection, struck)
        if touched is not None and touched.action == "supersede":
            body = json.loads(touched.body)
            went = f"was superseded by {body['new_key']} (#{body['new_record']})"
        return WordsError(
            f"there is no {kind.name} {words} in force: it {went}",
            f"`vinebook show {kind.name} '#{struck}'` tells when and why",
        )
    hint = f"`vinebook list {kind.name}` prints the keys"
    if len(kind.key) == 1 and kind.name in NAMED:
        from vinebook.records.nearest import near_names

        table = TABLES[kind.name]
        codes = connection.execute(select(table.c[kind.key[0]]).where(table.c.struck_at.is_(None))).scalars().all()
        if near := near_names(words, codes):
            hint = f"did you mean {' or '.join(near)}? {hint}"
    return WordsError(f"there is no {kind.name} {words}", hint)


def _typed(column: Any, part: str, kind: Kind, labels: list[str]) -> Any:  # noqa: ANN401
    # No code is "-": a cell that begins so is refused as a formula.
    if part == EMPTY:
        return None
    if column.type.python_type is int:
        if not re.fullmatch(r"-?[0-9]{1,18}", part):
            raise WordsError(
                f"{part!r} is not a whole number in the key of {kind.a_name}", f"expected {'/'.join(labels)}"
            )
        return int(part)
    if isinstance(column.type, IsoDate):
        try:
            return dt.date.fromisoformat(part)
        except ValueError as trouble:
            raise WordsError(
                f"{part!r} is not a date in the key of {kind.a_name}", f"expected {'/'.join(labels)}"
            ) from trouble
    return part
