"""Corrections as a trail tells them: read once from the journal, found by the record or file that they changed."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.kinds import KINDS
from vinebook.records.journal import FOLDED, Entry
from vinebook.records.shown import told_change
from vinebook.records.tables import ENTRY, READING, TABLES, TALLY
from vinebook.seasons.trail_model import Correction, Source

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy import Connection

AT_ONCE = 500


@dataclass(slots=True)
class Corrections:
    """Every correction of a book.

    Attributes
    ----------
    all : oldest first.
    of_record, of_tally : their places in `all`, by permanent number and by number of a file.
    superseded : by permanent number: key of what took its place.
    supersedes : by permanent number: key of what it took the place of.
    """

    all: list[Correction] = field(default_factory=list)
    of_record: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    of_tally: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    superseded: dict[int, str] = field(default_factory=dict)
    supersedes: dict[int, str] = field(default_factory=dict)

    def after(self, entry: int, records: Iterable[int], tallies: Iterable[int] = ()) -> tuple[Correction, ...]:
        """Give the corrections of records or whole files that came after an entry."""
        places = {place for record in records for place in self.of_record.get(record, ())}
        places |= {place for tally in tallies for place in self.of_tally.get(tally, ())}
        return tuple(self.all[place] for place in sorted(places) if self.all[place].entry > entry)


def read_corrections(connection: Connection) -> Corrections:
    """Read every correction that the journal holds."""
    found = Corrections()
    query = select(ENTRY).where(ENTRY.c.action.in_(FOLDED)).order_by(ENTRY.c.number)
    for row in connection.execute(query):
        entry = Entry(*row)
        body: dict[str, Any] = json.loads(entry.body)
        place = len(found.all)
        found.all.append(_told(entry, body))
        if entry.action == "replace":
            found.of_tally[int(body["tally"])].append(place)
        else:
            found.of_record[int(body["record"])].append(place)
        if entry.action == "supersede":
            found.of_record[int(body["new_record"])].append(place)
            found.superseded[int(body["record"])] = body["new_key"]
            found.supersedes[int(body["new_record"])] = body["key"]
    return found


def _told(entry: Entry, body: dict[str, Any]) -> Correction:
    given: dict[str, Any] = {
        "entry": entry.number,
        "at": entry.at,
        "by": entry.by,
        "reason": str(body.get("reason", "")),
    }
    if entry.action == "replace":
        name = entry.subject.split(" ", 2)[2]
        words = f"{body['rows']:,} rows struck, as the file was loaded anew"
        return Correction(**given, action="replaced", kind="tally", key=name, record=int(body["tally"]), what=words)
    of = KINDS[body["kind"]]
    named: dict[str, Any] = {"kind": of.name, "key": body["key"], "record": int(body["record"])}
    match entry.action:
        case "amend":
            changes = (
                told_change(of, column, body["before"][column], after) for column, after in body["after"].items()
            )
            return Correction(**given, **named, action="amended", what=", ".join(changes))
        case "supersede":
            return Correction(
                **given, **named, action="superseded", what=f"by {body['new_key']} (#{body['new_record']})"
            )
        case _:
            went = ", ".join(f"{count:,} {name}" for name, count in body.get("rows", {}).items())
            return Correction(**given, **named, action="struck", what=f"with {went}" if went else "")


def sources_of(connection: Connection, kind: str, keys: dict[int, str]) -> dict[int, Source]:
    """Give where and when records of a kind came in, by permanent number.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    kind : of the records.
    keys : their keys by permanent number.
    """
    table = TABLES[kind]
    numbers = sorted(keys)
    found: dict[int, Source] = {}
    for start in range(0, len(numbers), AT_ONCE):
        query = (
            select(table.c.record, TALLY.c.number, TALLY.c.name, table.c.line, TALLY.c.at, TALLY.c.by)
            .join(TALLY, TALLY.c.number == table.c.tally)
            .where(table.c.record.in_(numbers[start : start + AT_ONCE]))
        )
        for record, tally, file, line, at, by in connection.execute(query):
            found[record] = Source(kind, keys[record], record, tally, file, line, at, by)
    return found


def entry_of_tally(connection: Connection, tally: int) -> int:
    """Give the number of the entry that brought a file; 0 where the journal has none."""
    query = select(ENTRY.c.number).where(ENTRY.c.action == "load", ENTRY.c.subject.like(f"tally {tally} %"))
    return int(connection.scalar(query) or 0)


def touching(
    connection: Connection, corrections: Corrections, block: int, seasons: Iterable[int]
) -> tuple[Correction, ...]:
    """Give the corrections of a block's records in some seasons, oldest first.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    corrections : all of the book.
    block : permanent number of the block.
    seasons : harvest years; what has no season is of all.
    """
    wanted = frozenset(seasons)
    found = []
    for correction in corrections.all:
        if correction.action == "replaced":
            places = _places_of_tally(connection, correction.record)
        else:
            places = _places_of(connection, correction.kind, correction.record)
        if any(of == block and (season is None or season in wanted) for of, season in places):
            found.append(correction)
    return tuple(found)


Places = set[tuple[int, int | None]]


def _places_of(connection: Connection, kind: str, record: int) -> Places:
    """Give the blocks and seasons that a record belongs to."""
    table, sample, load, part = (TABLES[name] for name in (kind, "sample", "load", "load_part"))
    if kind == "block":
        return {(record, None)}
    if kind == "load":
        query = select(part.c.block, load.c.season).join(load, load.c.record == part.c.load)
        return {(row[0], row[1]) for row in connection.execute(query.where(part.c.load == record))}
    if kind == "load_part":
        query = select(part.c.block, load.c.season).join(load, load.c.record == part.c.load)
        return {(row[0], row[1]) for row in connection.execute(query.where(part.c.record == record))}
    if "sample" in table.c:
        query = select(sample.c.block, sample.c.season).join(table, table.c.sample == sample.c.record)
        return {(row[0], row[1]) for row in connection.execute(query.where(table.c.record == record))}
    if "block" not in table.c:
        return set()
    season = table.c.season if "season" in table.c else None
    columns = [table.c.block, *([] if season is None else [season])]
    return {
        (row[0], None if season is None else row[1])
        for row in connection.execute(select(*columns).where(table.c.record == record))
    }


def _places_of_tally(connection: Connection, tally: int) -> Places:
    """Give the blocks and seasons that the rows of a file belong to."""
    row = connection.execute(
        select(TALLY.c.kind, READING.c.first_record, READING.c.last_record)
        .join(READING, READING.c.tally == TALLY.c.number)
        .where(TALLY.c.number == tally)
    ).first()
    if row is None:
        return set()
    kind, first, last = row
    table, sample = TABLES[kind], TABLES["sample"]
    if "sample" in table.c:
        query = select(sample.c.block, sample.c.season).join(table, table.c.sample == sample.c.record).distinct()
        return {(each[0], each[1]) for each in connection.execute(query.where(table.c.record.between(first, last)))}
    numbers = connection.execute(select(table.c.record).where(table.c.record.between(first, last))).scalars()
    return {place for number in numbers for place in _places_of(connection, kind, number)}
