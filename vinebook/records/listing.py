"""Records as `list` and `show` give them: keys written out, masses and lengths in a person's units."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.errors import WordsError
from vinebook.kinds import KINDS
from vinebook.quantities import plain_mass
from vinebook.records.keys import find_record, join_key, key_labels, key_of, keyed_select, split_key
from vinebook.records.life import told_life
from vinebook.records.nearest import one_of
from vinebook.records.readings import reading_head
from vinebook.records.shown import shown_value, unit_of
from vinebook.records.tables import READING, TABLES, TALLY

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy import Connection

    from vinebook.kinds.field import Field, Kind

STREAMED = 2000
OWNERS = ("sample", "load", "draw", "decision")
"""Kinds whose block and season are those of the rows that name them."""


def kind_named(name: str) -> Kind:
    """Give a kind by name.

    Raises
    ------
    WordsError : there is none.
    """
    if name not in KINDS:
        raise WordsError(f"{name!r} is not a kind of record", one_of(name, [*KINDS, "tally"]))
    return KINDS[name]


def _heading(field: Field, units: str) -> str:
    return f"{field.name} [{unit_of(field, units)}]" if field.type == "measure" else field.name


def listed_rows(
    connection: Connection, kind: str, *, block: str | None, season: int | None, struck: bool, units: str
) -> tuple[list[str], Iterator[Sequence[Any]]]:
    """Give headings and rows of a kind, in the order of their permanent numbers, streamed.

    Parameters
    ----------
    connection : a reading connection.
    kind : name of the kind.
    block, season : only these, where given.
    struck : struck rows too.
    units : "metric" or "us".

    Raises
    ------
    WordsError : no such kind or block, or a kind that has no block or season.
    """
    if kind == "tally":
        return _listed_tallies(connection)
    of = kind_named(kind)
    table = TABLES[kind]
    query, keys = keyed_select(of)
    others = [field for field in of.fields if field.name not in of.key]
    columns = [table.c[f"{field.name}_each" if field.type == "counts" else field.column] for field in others]
    unit = [table.c.mass_unit] if of.has_tickets else []
    query = query.add_columns(*columns, *unit, table.c.record, *([table.c.struck_at] if struck else [])).order_by(
        table.c.record
    )
    if not struck:
        query = query.where(table.c.struck_at.is_(None))
    query = _only(connection, query, of, block, season, struck=struck)
    refs = {field.name: KINDS[field.refers] for field in others if field.type == "ref"}
    named: dict[tuple[str, int], str] = {}

    def name_of(field: Field, value: Any) -> Any:  # noqa: ANN401
        if field.name not in refs or value is None:
            return shown_value(field, value, units)
        at = field.name, value
        if at not in named:
            named[at] = key_of(connection, refs[field.name], value)
        return named[at]

    def rows() -> Iterator[Sequence[Any]]:
        width = len(keys)
        for row in connection.execute(query, execution_options={"yield_per": STREAMED}):
            mine = [join_key(row[:width]), *map(name_of, others, row[width : width + len(others)])]
            rest = row[width + len(others) :]
            yield [*mine[:at_unit], rest[0], *mine[at_unit:], *rest[1:]] if unit else [*mine, *rest]

    headings = ["/".join(key_labels(of)), *(_heading(field, units) for field in others)]
    # A ticket's unit stands beside its net mass, not behind what else the ticket says.
    at_unit = 1 + max((at for at, field in enumerate(others, 1) if field.name in ("net", "mass")), default=len(others))
    headings[at_unit:at_unit] = ["mass_unit"] if unit else []
    return [*headings, "record", *(["struck_at"] if struck else [])], rows()


def _listed_tallies(connection: Connection) -> tuple[list[str], Iterator[Sequence[Any]]]:
    columns = (
        TALLY.c.number,
        TALLY.c.name,
        TALLY.c.kind,
        READING.c.rows,
        TALLY.c.at,
        TALLY.c.by,
        TALLY.c.source,
        TALLY.c.sha256,
    )
    query = select(*columns).join(READING, READING.c.tally == TALLY.c.number).order_by(TALLY.c.number)
    return [column.name for column in columns], (
        list(row) for row in connection.execution_options(yield_per=STREAMED).execute(query)
    )


def _only(
    connection: Connection,
    query: Any,  # noqa: ANN401
    of: Kind,
    block: str | None,
    season: int | None,
    *,
    struck: bool,
) -> Any:  # noqa: ANN401
    """Restrict a query to a block and a season, be it by the rows themselves or by what they belong to."""
    table = TABLES[of.name]
    if block is not None:
        record = find_record(connection, KINDS["block"], block)
        if of.name == "block":
            query = query.where(table.c.record == record)
        elif of.name == "load":
            part = TABLES["load_part"]
            parts = select(part.c.load).where(part.c.block == record, part.c.struck_at.is_(None))
            query = query.where(table.c.record.in_(parts))
        else:
            query = query.where(_belongs(of, "block", record, "leave --block out", struck=struck))
    if season is not None:
        query = query.where(_belongs(of, "season", season, "leave --season out", struck=struck))
    return query


def _belongs(of: Kind, column: str, value: int, hint: str, *, struck: bool) -> Any:  # noqa: ANN401
    """Give the condition that a row, or what it belongs to, has a block or season.

    A live row belongs to a live one, and the indexes by block hold live rows alone.
    """
    table = TABLES[of.name]
    if column in table.c:
        return table.c[column] == value
    for name in OWNERS:
        parent = TABLES[name]
        if name in table.c and column in parent.c:
            owners = select(parent.c.record).where(parent.c[column] == value)
            return table.c[name].in_(owners if struck else owners.where(parent.c.struck_at.is_(None)))
    raise WordsError(f"{of.a_name} has no {column}", hint)


def units_of_book(connection: Connection) -> str:
    """Give the units that a book's vineyards agree on: "us", else "metric"."""
    vineyard = TABLES["vineyard"]
    found = connection.execute(select(vineyard.c.units).where(vineyard.c.struck_at.is_(None)).distinct()).scalars()
    return "us" if found.all() == ["us"] else "metric"


def keys_of_kind(connection: Connection, kind: str) -> list[str]:
    """Give the keys of the live records of a kind whose key is one field, sorted."""
    table = TABLES[kind]
    column = table.c[KINDS[kind].key[0]]
    return list(connection.execute(select(column).where(table.c.struck_at.is_(None)).order_by(column)).scalars())


def kind_of_record(connection: Connection, words: str) -> str:
    """Give the kind of the record numbered ``#N``.

    Raises
    ------
    WordsError : there is no such record.
    """
    if re.fullmatch(r"#[0-9]{1,18}", words):
        for name in KINDS:
            table = TABLES[name]
            if connection.scalar(select(table.c.record).where(table.c.record == int(words[1:]))) is not None:
                return name
        raise WordsError(f"there is no record {words}", "`vinebook list KIND` prints the numbers")
    raise WordsError(f"{words!r} alone names no record", "name kind and key, or the permanent number as '#123'")


def shown_record(connection: Connection, kind: str, key: str, *, units: str) -> dict[str, Any]:
    """Give everything of one record: fields, permanent number, file and line.

    Raises
    ------
    WordsError : no such kind or record.
    """
    of = kind_named(kind)
    table = TABLES[kind]
    record = find_record(connection, of, key)
    row = connection.execute(select(table).where(table.c.record == record)).mappings().one()
    told: dict[str, Any] = {"key": key_of(connection, of, record), "record": f"#{record}"}
    for field in of.fields:
        value = row[field.column]
        if field.type == "ref" and value is not None:
            value = key_of(connection, KINDS[field.refers], value)
        elif field.type == "counts" and value is not None:
            value = row[f"{field.name}_each"]
        else:
            value = shown_value(field, value, units)
        told[_heading(field, units)] = value
    if of.has_tickets:
        told["mass_unit"] = row["mass_unit"]
    tally = (
        connection.execute(
            select(TALLY, READING.c.reader)
            .join(READING, READING.c.tally == TALLY.c.number)
            .where(TALLY.c.number == row["tally"])
        )
        .mappings()
        .one()
    )
    where = f"line {row['line']} of {tally['name']}"
    sheet = reading_head(connection, tally["number"]).get("sheet")
    if sheet:
        where = f"sheet {sheet}, row {row['line']} of {tally['name'].removesuffix(f':{sheet}')}"
    told["from"] = f"{where} (tally {tally['number']}, SHA-256 {tally['sha256']})"
    told["entered"] = f"{tally['at']} by {tally['by']}, reader {tally['reader']}"
    parent = row["sample"] if of.sampled else row.get("load") or (row["draw"] if kind == "drawn_vine" else None)
    for at, line in enumerate(told_life(connection, record, row["tally"], parent, row["struck_at"]), start=1):
        told[f"then {at}"] = line
    return told


OFFERED = (
    *("vineyard", "block", "season", "from_season", "date", "chosen", "panel_size", "thinning", "counted_by"),
    *("issuer", "basis", "consignee", "scale", "decided_by", "given_to"),
)
"""Fields that often repeat from one record to the next; nothing counted, weighed or numbered is among them."""


def last_values(connection: Connection, kind: str) -> dict[str, str]:
    """Give what may be offered when another record is typed: what repeats in the newest live one, by field."""
    of = kind_named(kind)
    table = TABLES[kind]
    row = (
        connection.execute(select(table).where(table.c.struck_at.is_(None)).order_by(table.c.record.desc()).limit(1))
        .mappings()
        .first()
    )
    if row is None:
        return {}
    values = record_texts(connection, KINDS["sample"], row["sample"]) if of.sampled else {}
    values |= record_texts(connection, of, row["record"])
    return {name: value for name, value in values.items() if name in OFFERED}


def record_texts(connection: Connection, of: Kind, record: int) -> dict[str, str]:
    """Give what a record says as texts by field, as in a tally; empty fields are left out.

    Parameters
    ----------
    connection : a reading connection.
    of : the record's kind.
    record : its permanent number.
    """
    table = TABLES[of.name]
    row = connection.execute(select(table).where(table.c.record == record)).mappings().one()
    texts: dict[str, str] = {}
    for field in of.fields:
        value = row[field.column]
        if value is None:
            continue
        if field.type == "ref":
            parent = KINDS[field.refers]
            names = [field.name] if len(parent.key) == 1 else list(parent.key)
            texts |= dict(zip(names, split_key(key_of(connection, parent, value)), strict=True))
        elif field.type == "counts":
            texts[field.name] = str(row[f"{field.name}_each"])
        elif field.type == "ticket":
            texts[field.name] = f"{plain_mass(value / 1000)} {row['mass_unit']}"
        elif field.type == "measure":
            texts[field.name] = f"{shown_value(field, value, 'metric')} {field.metric}"
        else:
            texts[field.name] = "old wood" if field.type == "position" and value == -1 else str(value)
    return texts


def key_of_tally(connection: Connection, kind: str, tally: int) -> tuple[int, str]:
    """Give permanent number and key of the one row that a typed entry brought."""
    table = TABLES[kind]
    record = int(connection.scalar(select(table.c.record).where(table.c.tally == tally)) or 0)
    return record, key_of(connection, KINDS[kind], record)
