"""The book's tables, made from the kinds; the one definition that readers and writers share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    CheckConstraint,
    Column,
    ColumnElement,
    ForeignKey,
    Index,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    event,
    func,
    text,
)

from vinebook.kinds import KINDS
from vinebook.records.types import Bytes, IsoDate, Real, Small, Whole, Words

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from vinebook.kinds.field import Field, Kind

_METADATA = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
    }
)
TICKET_UNITS = ("kg", "t", "lb", "ton")
LIVE = "struck_at IS NULL"
LIFE_COLUMNS = ("record", "tally", "line", "amended_at", "struck_at")
"""Columns that tell a row's life rather than what was recorded."""


def _table(name: str, *parts: Any) -> Table:  # noqa: ANN401 - columns, constraints and indexes alike
    return Table(name, _METADATA, *parts, sqlite_strict=True)


BOOK = _table(
    "book",
    Column("one", Small, primary_key=True, autoincrement=False, comment="always 1: a book is one"),
    Column("made_at", Words, nullable=False, comment="UTC time at which the book was made"),
    Column("next_record", Whole, nullable=False, comment="the next book-wide permanent number"),
    Column("next_tally", Whole, nullable=False, comment="the next number of a kept file"),
    CheckConstraint("one = 1", "is_one"),
    CheckConstraint("next_record > 0 AND next_tally > 0", "counts_on"),
)
"""One row: the counters of permanent numbers. Writers lock it first, so that they follow one another."""

ENTRY = _table(
    "entry",
    Column("number", Whole, primary_key=True, autoincrement=False, comment="1, 2, 3, … without a gap"),
    Column("at", Words, nullable=False, comment="UTC time by this machine's clock"),
    Column("by", Words, nullable=False, comment="who acted, as they named themselves"),
    Column("db_user", Words, nullable=False, comment="the database's own word for who wrote"),
    Column("action", Words, nullable=False, comment="new, load, upgrade, …"),
    Column("subject", Words, nullable=False, comment="what was acted on: permanent number and key"),
    Column("body", Words, nullable=False, comment="JSON, hashed as stored"),
    Column("previous_hash", Words, nullable=False, comment="hash of the entry before, zeros for the first"),
    Column("hash", Words, nullable=False, comment="SHA-256 over the lines of this entry"),
    CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", "hash_is_sha256"),
)
"""The journal: it only grows, and each entry holds the hash of the one before."""

TALLY = _table(
    "tally",
    Column("number", Whole, primary_key=True, autoincrement=False, comment="number of the kept file"),
    Column("name", Words, nullable=False, comment="name of the file as it was given"),
    Column("kind", Words, nullable=False, comment="kind of record it holds"),
    Column("source", Words, nullable=False, comment="file, or typed for a record entered by hand"),
    Column("size", Whole, nullable=False, comment="bytes"),
    Column("sha256", Words, nullable=False, comment="SHA-256 of the bytes"),
    Column("at", Words, nullable=False, comment="UTC time at which it was loaded"),
    Column("by", Words, nullable=False, comment="who entered it"),
    CheckConstraint("source IN ('file', 'typed')", "source_is_known"),
)
"""Every file that was loaded, kept as it came."""

READING = _table(
    "reading",
    Column("tally", Whole, ForeignKey("tally.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False),
    Column("reader", Small, nullable=False, comment="number of the reader that read the file"),
    Column("sha256", Words, nullable=False, comment="SHA-256 of the reading"),
    Column("rows", Whole, nullable=False, comment="rows of the tally, its samples not counted"),
    Column("samples", Whole, nullable=False, comment="samples that came with it"),
    Column("first_record", Whole, nullable=False, comment="first permanent number of its records"),
    Column("last_record", Whole, nullable=False, comment="last permanent number of its records"),
)
"""What a reader made of each kept file."""


def _chunks(name: str, what: str) -> Table:
    return _table(
        name,
        Column("tally", Whole, ForeignKey("tally.number", ondelete="RESTRICT"), nullable=False),
        Column("part", Small, nullable=False, comment="0, 1, 2, … in order"),
        Column("bytes", Bytes, nullable=False, comment=what),
        PrimaryKeyConstraint("tally", "part"),
    )


TALLY_BYTES = _chunks("tally_bytes", "bytes of the file, as they came")
READING_BYTES = _chunks("reading_bytes", "bytes of the reading")


def _bounds(field: Field) -> str:
    column = f'"{field.column}"'
    bounds = []
    if field.low is not None:
        low = 0 if field.low == 0 else field.low
        bounds.append(f"{column} >= {low:.15g}")
    if field.high is not None:
        bounds.append(f"{column} <= {field.high:.15g}")
    if field.type == "position":
        bounds.append(f"{column} >= -1")
    return " AND ".join(bounds)


def _type(field: Field) -> Any:  # noqa: ANN401 - a SQLAlchemy type
    match field.type:
        case "count" | "ref" | "ticket":
            return Whole
        case "season" | "position" | "counts":
            return Small
        case "measure":
            return Whole if field.stored == "mg" else Real
        case "number":
            return Real
        case "date":
            return IsoDate()
        case _:
            return Words


def _columns(kind: Kind) -> list[Any]:
    parts: list[Any] = []
    for field in kind.fields:
        must = field.required or field.default is not None or field.name == "season"
        fk = [ForeignKey(f"{field.refers}.record", ondelete="RESTRICT")] if field.type == "ref" else []
        parts.append(Column(field.column, _type(field), *fk, nullable=not must, comment=field.help))
        if field.type == "counts":
            parts.append(Column(f"{field.name}_each", Words, nullable=True, comment=f"{field.help} As written."))
    if kind.has_tickets:
        parts.append(Column("mass_unit", Words, nullable=False, comment="unit in which the ticket is printed"))
    return parts


def _checks(kind: Kind) -> Iterator[CheckConstraint]:
    for field in kind.fields:
        if field.choices:
            words = ", ".join(f"'{word}'" for word in field.choices)
            yield CheckConstraint(f'"{field.column}" IN ({words})', f"{field.column}_is_known")
        if bounds := _bounds(field):
            yield CheckConstraint(bounds, f"{field.column}_is_possible")
    if kind.has_tickets:
        units = ", ".join(f"'{unit}'" for unit in TICKET_UNITS)
        yield CheckConstraint(f"mass_unit IN ({units})", "mass_unit_is_known")


def key_columns(kind: Kind) -> tuple[str, ...]:
    """Give the stored columns of a kind's key."""
    own = {field.name: field.column for field in kind.fields}
    return tuple(own.get(name, name) for name in kind.key)


def _key_parts(kind: Kind, table: Table) -> list[ColumnElement[Any]]:
    """Give the key's columns, empty refs read as 0 so that an empty one is a value like another."""
    return [
        func.coalesce(table.c[column], 0) if table.c[column].nullable else table.c[column]
        for column in key_columns(kind)
    ]


def table_of(kind: Kind) -> Table:
    """Make the table of a kind with its columns, all that a reader of it needs."""
    own = [
        Column("record", Whole, primary_key=True, autoincrement=False, comment="book-wide permanent number"),
        *(
            [
                Column(
                    "sample",
                    Whole,
                    ForeignKey("sample.record", ondelete="RESTRICT"),
                    nullable=False,
                    comment="sample that the row belongs to",
                )
            ]
            if kind.sampled
            else []
        ),
        *(
            [Column("counts", Words, nullable=False, comment="kind of record that its rows are")]
            if kind.name == "sample"
            else []
        ),
        *_columns(kind),
        Column("tally", Whole, ForeignKey("tally.number", ondelete="RESTRICT"), nullable=False, comment="kept file"),
        Column("line", Whole, nullable=False, comment="line in that file"),
        Column(
            "amended_at", Words, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        Column(
            "struck_at", Words, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
    ]
    return _table(kind.name, *own)


def _guard(kind: Kind, table: Table) -> None:
    """Give a table its checks, its key and its covering index on live rows."""
    for check in _checks(kind):
        table.append_constraint(check)
    live: dict[str, Any] = {"sqlite_where": text(LIVE)}
    Index(f"uq_{kind.name}_key", *_key_parts(kind, table), unique=True, **live)
    for field in kind.fields:
        if field.type == "ref" and field.name != kind.key[0]:
            Index(f"ix_{kind.name}_{field.column}", table.c[field.column], **live)
    if kind.aggregates:
        fields = [kind.field(name) for name in kind.aggregates]
        carried = [table.c[column] for column in key_columns(kind)] + [table.c[field.column] for field in fields]
        # SQLite reads the index alone only if the column of its own condition is in it.
        Index(f"ix_{kind.name}_figures", *carried, table.c.struck_at, **live)


@event.listens_for(_METADATA, "before_create")
def _only_live_rows(metadata: MetaData, connection: Connection, **_: Any) -> None:  # noqa: ANN401 - SQLAlchemy's
    """Give the indexes their condition on PostgreSQL; named above, it would have every reader import that dialect."""
    if connection.dialect.name == "postgresql":
        for table in metadata.tables.values():
            for index in table.indexes:
                index.dialect_options["postgresql"]["where"] = text(LIVE)


class _Tables(Mapping[str, Table]):
    """The table of each kind by its name, made when it is first asked for: a command needs a few of them."""

    def __getitem__(self, name: str) -> Table:
        made = _METADATA.tables.get(name) if name in KINDS else None
        return table_of(KINDS[name]) if made is None else made

    def __iter__(self) -> Iterator[str]:
        return iter(KINDS)

    def __len__(self) -> int:
        return len(KINDS)


TABLES = _Tables()
"""The table of each kind by its name."""
CAME_WITH = {"draw": "0002", "drawn_vine": "0002", "evidence": "0003"}
"""Tables that books of earlier schemas lack: the schema that each came with."""
KEEPING = {
    "book": BOOK,
    "entry": ENTRY,
    "tally": TALLY,
    "reading": READING,
    "tally_bytes": TALLY_BYTES,
    "reading_bytes": READING_BYTES,
}
"""The tables that keep the evidence."""


def stored_columns(kind: Kind) -> tuple[str, ...]:
    """Give the columns of a kind's table that a reading holds: all but the number and what came after."""
    return tuple(column.name for column in TABLES[kind.name].columns if column.name not in LIFE_COLUMNS)


if TYPE_CHECKING:
    METADATA: MetaData
else:

    def __getattr__(name: str) -> MetaData:
        """Give METADATA with every table made and guarded: whoever asks for it wants to lay them all."""
        if name != "METADATA":
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        for kind in KINDS.values():
            table = TABLES[kind.name]
            if not table.indexes:
                _guard(kind, table)
        return _METADATA
