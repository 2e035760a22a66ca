"""Striking records: they leave the live record with a reason, free their keys, and stay in the book."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, or_, select

from vinebook.errors import CorrectionError, WordsError
from vinebook.intake.amending import reason_given, refuse_made
from vinebook.kinds import KINDS
from vinebook.records import journal
from vinebook.records.keys import find_record, key_of
from vinebook.records.listing import kind_named
from vinebook.records.step import again_when_crossed
from vinebook.records.tables import READING, TABLES, TALLY

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from vinebook.kinds.field import Kind
    from vinebook.records.book import Book

WITH_ROWS = ("sample", "load", "draw")
"""Kinds whose rows may be struck with them in one step: a sample's vines, a load's parts, a draw's vines."""


@dataclass(frozen=True, slots=True)
class Struck:
    """A record that was struck.

    Attributes
    ----------
    record, key : which one.
    rows : how many rows went with it.
    entry : number of the journal's entry.
    """

    record: int
    key: str
    rows: int
    entry: int


@again_when_crossed
def strike(book: Book, kind: str, key: str, *, reason: str, by: str, with_rows: bool = False) -> Struck:
    """Strike one record.

    Parameters
    ----------
    book : an open book.
    kind, key : which record.
    reason : why; `typo` will do.
    by : who strikes.
    with_rows : strike the rows of a sample, the parts of a load or the vines of a draw with it.

    Raises
    ------
    WordsError : no such kind or record; no reason.
    CorrectionError : it was struck already, or live rows name it.
    """
    by, reason = journal.actor(by), reason_given(reason)
    of = kind_named(kind)
    refuse_made(of)
    if with_rows and kind not in WITH_ROWS:
        raise WordsError(f"{KINDS[kind].a_name} has no rows of its own", f"--with-rows is for: {', '.join(WITH_ROWS)}")
    with book.writing(by=by, doing="strike") as connection:
        record = find_record(connection, of, key)
        words = key_of(connection, of, record)
        table = TABLES[kind]
        struck_at = connection.scalar(select(table.c.struck_at).where(table.c.record == record))
        if struck_at is not None:
            raise CorrectionError(f"{kind} {words} was struck already, at {struck_at}", "nothing needs doing")
        at = journal.now()
        gone = _strike_rows_of(connection, of, record, at, made_only=not with_rows)
        refuse_where_named(connection, of, [record], f"{kind} {words}")
        connection.execute(table.update().where(table.c.record == record).values(struck_at=at))
        entry = journal.append(
            connection,
            by=by,
            action="strike",
            subject=f"#{record} {kind} {words}",
            body={"kind": kind, "record": record, "key": words, "reason": reason, "rows": gone},
            at=at,
        )
    return Struck(record, words, sum(gone.values()), entry.number)


def children_of(of: Kind) -> list[tuple[str, str]]:
    """Give table and column of every ref to a kind."""
    found = [
        (kind.name, field.column)
        for kind in KINDS.values()
        for field in kind.fields
        if field.type == "ref" and field.refers == of.name
    ]
    if of.name == "sample":
        found += [(kind.name, "sample") for kind in KINDS.values() if kind.sampled]
    return found


def _strike_rows_of(connection: Connection, of: Kind, record: int, at: str, *, made_only: bool) -> dict[str, int]:
    """Strike the rows that go with a record: what the program made beside it always does."""
    gone = {}
    for name, column in children_of(of):
        if made_only and not KINDS[name].made:
            continue
        table = TABLES[name]
        done = connection.execute(
            table.update().where(table.c[column] == record, table.c.struck_at.is_(None)).values(struck_at=at)
        )
        if done.rowcount:
            gone[name] = done.rowcount
    return gone


def refuse_where_named(connection: Connection, of: Kind, records: list[int], what: str) -> None:
    """Refuse to strike records that live rows name.

    Raises
    ------
    CorrectionError : with how many rows of which kind.
    """
    if of.name == "draw":
        _refuse_where_counted(connection, records, what)
    counts = []
    for name, column in children_of(of):
        table = TABLES[name]
        count = connection.scalar(
            select(func.count()).select_from(table).where(table.c[column].in_(records), table.c.struck_at.is_(None))
        )
        if count:
            counts.append(f"{count:,} {name}")
    if counts:
        hint = (
            "strike them first, or all together with --with-rows"
            if of.name in WITH_ROWS
            else "strike those first, or amend this record instead"
        )
        raise CorrectionError(f"{what} is named by live records: {', '.join(counts)}", hint)


def _refuse_where_counted(connection: Connection, draws: list[int], what: str) -> None:
    """Refuse to strike a draw that live samples name in their column draw."""
    draw, sample = TABLES["draw"], TABLES["sample"]
    count = connection.scalar(
        select(func.count())
        .select_from(sample)
        .join(
            draw,
            and_(draw.c.block == sample.c.block, draw.c.season == sample.c.season, draw.c.name == sample.c.draw),
        )
        .where(draw.c.record.in_(draws), sample.c.struck_at.is_(None))
    )
    if count:
        counted = f"{count} live sample{'s' if count > 1 else ''}"
        raise CorrectionError(
            f"{what} is named by {counted}",
            "strike those first, or amend their draw (`vinebook amend sample KEY draw=`)",
        )


@dataclass(frozen=True, slots=True)
class Replaced:
    """An earlier file whose rows were struck to make room for a new one.

    Attributes
    ----------
    tally, name : of the earlier file; of a workbook the first of its sheets.
    rows : how many were struck.
    samples : permanent numbers of the samples that were left without rows and struck as well.
    """

    tally: int
    name: str
    rows: int
    samples: tuple[int, ...]
    tallies: tuple[int, ...] = ()
    """Numbers of the sheets, where the file is a workbook."""


@dataclass(frozen=True, slots=True)
class EarlierTally:
    """An earlier file, or one sheet of an earlier workbook.

    Attributes
    ----------
    number, name, kind : of the tally.
    first, last : permanent numbers of its records.
    at : UTC time of its load.
    """

    number: int
    name: str
    kind: str
    first: int
    last: int
    at: str


def find_tallies(connection: Connection, words: str) -> list[EarlierTally]:
    """Give an earlier file, by number, name or SHA-256; of a workbook every sheet, unless the words name one.

    Raises
    ------
    WordsError : no such file, or several of that name.
    """
    number = int(words.lstrip("#")) if words.lstrip("#").isdecimal() and len(words) < 18 else -1
    name = words.replace("\\", "/").rsplit("/", 1)[-1]
    rows = connection.execute(
        select(
            TALLY.c.number,
            TALLY.c.name,
            TALLY.c.kind,
            READING.c.first_record,
            READING.c.last_record,
            TALLY.c.at,
            TALLY.c.sha256,
        )
        .join(READING, READING.c.tally == TALLY.c.number)
        .where(
            or_(
                TALLY.c.number == number,
                TALLY.c.name == name,
                TALLY.c.name.startswith(f"{name}:", autoescape=True),
                TALLY.c.sha256 == words.lower(),
            )
        )
        .order_by(TALLY.c.number)
    ).all()
    if not rows:
        raise WordsError(f"no file {words!r} was loaded into this book", "`vinebook list tally` lists them")
    # The sheets of a workbook came in at one time with the same bytes.
    is_one_workbook = len({(row.at, row.sha256) for row in rows}) == 1 and all(":" in row.name for row in rows)
    if len(rows) > 1 and not is_one_workbook:
        numbers = ", ".join(f"#{row.number}" for row in rows)
        raise WordsError(f"several files are called {words!r}: {numbers}", "name the one by its number")
    return [EarlierTally(*row[:6]) for row in rows]


def strike_tallies(connection: Connection, words: str, *, at: str, also_amended: bool) -> list[Replaced]:
    """Strike the live rows of an earlier file, or of every sheet of a workbook, what names others first.

    Parameters
    ----------
    connection : a writing connection that holds the lock.
    words : the file, by number, name or SHA-256; a sheet as ``counts.xlsx:Counts``.
    at : UTC time of the step.
    also_amended : strike rows that were amended since as well.

    Raises
    ------
    WordsError, CorrectionError : as for one file; sheets without live rows are passed over where another has some.
    """
    found = find_tallies(connection, words)
    live = [tally for tally in found if _has_live_rows(connection, tally)] or found[:1]
    struck = [_strike_tally(connection, tally, at=at, also_amended=also_amended) for tally in reversed(live)]
    return struck[::-1]


def _has_live_rows(connection: Connection, tally: EarlierTally) -> bool:
    table = TABLES[tally.kind]
    mine = and_(table.c.record >= tally.first, table.c.record <= tally.last, table.c.struck_at.is_(None))
    return connection.scalar(select(table.c.record).where(mine).limit(1)) is not None


def _strike_tally(connection: Connection, tally: EarlierTally, *, at: str, also_amended: bool) -> Replaced:
    """Strike the live rows of an earlier file, and its samples that are left without rows.

    Parameters
    ----------
    connection : a writing connection that holds the lock.
    tally : the file.
    at : UTC time of the step.
    also_amended : strike rows that were amended since as well.

    Raises
    ------
    CorrectionError : rows were amended since, or live rows name one of its rows.
    """
    number, name, first, last = tally.number, tally.name, tally.first, tally.last
    of = KINDS[tally.kind]
    refuse_made(of)
    table = TABLES[tally.kind]
    mine = and_(table.c.record >= first, table.c.record <= last, table.c.struck_at.is_(None))
    if not _has_live_rows(connection, tally):
        raise CorrectionError(
            f"{name} has no live rows left: they were struck or replaced", "load the new file as it is"
        )
    amended = (
        connection.execute(select(table.c.line).where(mine, table.c.amended_at.is_not(None)).order_by(table.c.line))
        .scalars()
        .all()
    )
    if amended and not also_amended:
        lines = ", ".join(map(str, amended[:10])) + (" …" if len(amended) > 10 else "")
        raise CorrectionError(
            f"{len(amended)} {'row' if len(amended) == 1 else 'rows'} of {name} amended since (lines {lines})",
            "mend the new file accordingly and add --also-amended",
        )
    records = connection.execute(select(table.c.record).where(mine)).scalars().all() if children_of(of) else []
    for start in range(0, len(records), 500):
        refuse_where_named(connection, of, list(records[start : start + 500]), f"a row of {name}")
    rows = connection.execute(table.update().where(mine).values(struck_at=at)).rowcount
    samples = _strike_empty_samples(connection, of, first, last, at) if of.sampled else ()
    return Replaced(number, name, rows, samples)


def _strike_empty_samples(connection: Connection, of: Kind, first: int, last: int, at: str) -> tuple[int, ...]:
    sample, table = TABLES["sample"], TABLES[of.name]
    live_rows = select(table.c.record).where(table.c.sample == sample.c.record, table.c.struck_at.is_(None)).exists()
    empty = (
        connection.execute(
            select(sample.c.record)
            .where(sample.c.record >= first, sample.c.record <= last, sample.c.struck_at.is_(None), ~live_rows)
            .order_by(sample.c.record)
        )
        .scalars()
        .all()
    )
    for start in range(0, len(empty), 500):
        connection.execute(sample.update().where(sample.c.record.in_(empty[start : start + 500])).values(struck_at=at))
    return tuple(empty)
