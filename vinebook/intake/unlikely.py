"""What came in and is unlikely beside the rest of the book: told as warnings once every file of a call is in.

Each check is a query or two for a tally, over samples, rows and blocks rather than over vines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, select

from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from sqlalchemy import ColumnElement, Connection

    from vinebook.intake.faults import Faults
    from vinebook.kinds.field import Kind

ASKED_AT_ONCE = 500
"""Records that one query names."""
NAMED = 3
"""Records that one warning names."""
PLACES_APART = 0.02
"""Share by which two counts of the same places may differ without a word; common practice, no source."""
ALL = "all"


@dataclass(frozen=True, slots=True)
class Arrived:
    """What came in with one file.

    Attributes
    ----------
    number, name, kind : of its tally.
    first, last : permanent numbers of its records.
    blocks : block of each sample that it holds rows of.
    """

    number: int
    name: str
    kind: Kind
    first: int
    last: int
    blocks: dict[int, int]


@dataclass(frozen=True, slots=True)
class RowRange:
    """A range of equal rows of a block, from a season on."""

    from_season: int
    first: int
    last: int
    positions: int


def warn_afterwards(connection: Connection, faults: Faults, arrived: Sequence[Arrived]) -> None:
    """Add a warning for what came in and is unlikely beside the rest of the book.

    Parameters
    ----------
    connection : of the call.
    faults : where warnings go.
    arrived : the files of the call.
    """
    for tally in arrived:
        columns = TABLES[tally.kind.name].c
        if tally.kind.sampled and "vine" in columns and "row" in columns:
            _vines_off_their_rows(connection, faults, tally)
            _vines_counted_twice(connection, faults, tally)
        elif tally.kind.name in SINGLE_CHECKS:
            SINGLE_CHECKS[tally.kind.name](connection, faults, tally)
    _plantings_beside_rows(connection, faults, [tally for tally in arrived if tally.kind.name in ("planting", "row")])


def _mine(tally: Arrived) -> ColumnElement[bool]:
    """Say which live records of a kind came with a tally."""
    table = TABLES[tally.kind.name]
    return and_(table.c.record.between(tally.first, tally.last), table.c.struck_at.is_(None))


def _chunks(records: Iterable[int]) -> Iterator[list[int]]:
    listed = sorted(set(records))
    for start in range(0, len(listed), ASKED_AT_ONCE):
        yield listed[start : start + ASKED_AT_ONCE]


def _layouts(connection: Connection, blocks: Iterable[int]) -> dict[int, list[RowRange]]:
    """Give the rows of blocks, newest first."""
    row = TABLES["row"]
    found: dict[int, list[RowRange]] = {}
    for chunk in _chunks(blocks):
        query = (
            select(row.c.block, row.c.from_season, row.c.first_row, row.c.last_row, row.c.positions)
            .where(row.c.block.in_(chunk), row.c.struck_at.is_(None))
            .order_by(row.c.from_season.desc(), row.c.first_row)
        )
        for block, season, first, last, positions in connection.execute(query):
            found.setdefault(block, []).append(RowRange(season, first, last or first, positions))
    return found


def _in_force(layout: list[RowRange], season: int, row: int) -> RowRange | str:
    """Give the newest range that holds a row in a season, or in words which rows there are."""
    known = [one for one in layout if one.from_season <= season] or layout
    for one in known:
        if one.first <= row <= one.last:
            return one
    ranges = dict.fromkeys((one.first, one.last) for one in sorted(known, key=lambda one: one.first))
    words = [f"{first} to {last}" if last > first else f"{first}" for first, last in ranges]
    return f"rows {', '.join(words[:NAMED])}{', …' if len(words) > NAMED else ''}"


def _vines_off_their_rows(connection: Connection, faults: Faults, tally: Arrived) -> None:
    layouts = _layouts(connection, tally.blocks.values())
    table, sample = TABLES[tally.kind.name], TABLES["sample"]
    for chunk in _chunks(record for record, block in tally.blocks.items() if block in layouts):
        query = select(sample.c.record, sample.c.season).where(sample.c.record.in_(chunk))
        seasons: dict[int, int] = {row[0]: row[1] for row in connection.execute(query)}
        rows = (
            select(table.c.sample, table.c.row, func.max(table.c.vine))
            .where(table.c.sample.in_(chunk), table.c.struck_at.is_(None))
            .group_by(table.c.sample, table.c.row)
        )
        for record, row, vine in connection.execute(rows).fetchall():
            held = _in_force(layouts[tally.blocks[record]], seasons[record], row)
            if isinstance(held, str):
                line = _line_of(connection, tally, record, row, None)
                if line is not None:
                    faults.warn(tally.name, line, "row", f"row {row} is no row of its block", held)
            elif vine > held.positions:
                line = _line_of(connection, tally, record, row, vine)
                if line is not None:
                    what = f"vine {vine} lies beyond the end of row {row}"
                    faults.warn(tally.name, line, "vine", what, f"1 to {held.positions}")


def _line_of(connection: Connection, tally: Arrived, sample: int, row: int, vine: int | None) -> int | None:
    """Give the first line of a tally that holds a row or vine of a sample, or None."""
    table = TABLES[tally.kind.name]
    query = select(func.min(table.c.line)).where(table.c.sample == sample, table.c.row == row, _mine(tally))
    found = connection.scalar(query if vine is None else query.where(table.c.vine == vine))
    return None if found is None else int(found)


def _vines_counted_twice(connection: Connection, faults: Faults, tally: Arrived) -> None:
    """Tell vines that two samples of one day hold, which differ only in who counted."""
    mine, other = TABLES["sample"].alias("mine"), TABLES["sample"].alias("other")
    same = ("block", "season", "counts", "date", "thinning", "part", "chosen")
    for chunk in _chunks(tally.blocks):
        pairs = connection.execute(
            select(mine.c.record, mine.c.counted_by, mine.c.date, other.c.record, other.c.counted_by)
            .join(other, and_(*(other.c[name] == mine.c[name] for name in same), other.c.record != mine.c.record))
            .where(mine.c.record.in_(chunk), mine.c.struck_at.is_(None), other.c.struck_at.is_(None))
            .order_by(mine.c.record, other.c.record)
        ).fetchall()
        for record, by, day, twin, twin_by in pairs:
            # Of two samples of one tally the later one is told.
            if twin in tally.blocks and twin > record:
                continue
            _tell_twice(connection, faults, tally, (record, by), (twin, twin_by), str(day))


def _tell_twice(
    connection: Connection, faults: Faults, tally: Arrived, mine: tuple[int, str], twin: tuple[int, str], day: str
) -> None:
    table = TABLES[tally.kind.name]
    other = table.alias("other")
    vines = (
        select(table.c.row, table.c.vine, func.min(table.c.line).label("line"))
        .join(other, and_(other.c.row == table.c.row, other.c.vine == table.c.vine))
        .where(table.c.sample == mine[0], other.c.sample == twin[0], _mine(tally), other.c.struck_at.is_(None))
        .group_by(table.c.row, table.c.vine)
        .subquery()
    )
    count, line = connection.execute(select(func.count(), func.min(vines.c.line))).one()
    if count:
        counted = f"{count} {'vine was' if count == 1 else 'vines were'} counted on {day}"
        what = f"{counted} by {mine[1]!r} and by {twin[1]!r}; both counts are used"
        faults.warn(tally.name, line, "counted_by", what, "each vine once, one spelling of who counted")


def _named(words: Sequence[str]) -> str:
    return f"{', '.join(words[:NAMED])}{', …' if len(words) > NAMED else ''}"


def _closes_without_load(connection: Connection, faults: Faults, tally: Arrived) -> None:
    close, block = TABLES["harvest_close"], TABLES["block"]
    part, load = TABLES["load_part"], TABLES["load"]
    has_load = (
        select(part.c.record)
        .join(load, load.c.record == part.c.load)
        .where(part.c.block == close.c.block, load.c.season == close.c.season)
        .where(part.c.struck_at.is_(None), load.c.struck_at.is_(None))
        .exists()
    )
    rows = connection.execute(
        select(close.c.line, block.c.code, close.c.season)
        .join(block, block.c.record == close.c.block)
        .where(_mine(tally), close.c.fruit_left_milli == 0, ~has_load)
        .order_by(close.c.line)
    ).fetchall()
    if rows:
        closing = "1 harvest closes with no load of its own"
        if len(rows) > 1:
            closing = f"{len(rows)} harvests close with no load of theirs"
        keys = [f"{code}/{season}" for _, code, season in rows]
        what = f"{closing} ({_named(keys)}): by the book nothing was picked there"
        faults.warn(tally.name, rows[0][0], "", what, "a load_part for each block that was picked")


def _tickets_without_block(connection: Connection, faults: Faults, tally: Arrived) -> None:
    load, part = TABLES["load"], TABLES["load_part"]
    has_part = select(part.c.record).where(part.c.load == load.c.record, part.c.struck_at.is_(None)).exists()
    rows = connection.execute(
        select(load.c.line, load.c.number).where(_mine(tally), ~has_part).order_by(load.c.line)
    ).fetchall()
    if rows:
        tickets = f"{len(rows)} {'tickets name' if len(rows) > 1 else 'ticket names'} no block yet"
        what = f"{tickets} ({_named([number for _, number in rows])}): in no crop so far"
        faults.warn(tally.name, rows[0][0], "", what, "a load_part for each")


def _are_apart(one: int, other: int) -> bool:
    return abs(one - other) > PLACES_APART * max(one, other)


def _censuses_beside_plantings(connection: Connection, faults: Faults, tally: Arrived) -> None:
    census = TABLES["vine_census"]
    c = census.c
    places = func.coalesce(c.positions, c.bearing + c.young + c.missing)
    rows = connection.execute(
        select(c.line, c.block, c.date, c.part, c.row, c.counted, places).where(_mine(tally)).order_by(c.line)
    ).fetchall()
    blocks = {row.block for row in rows}
    layouts, plantings = _layouts(connection, blocks), _plantings(connection, blocks)
    for line, block, day, part, row, counted, counted_places in rows:
        year = int(str(day)[:4])
        if row and block in layouts:
            # A census late in the year may belong to the next season.
            held = _in_force(layouts[block], year + 1, row)
            if isinstance(held, str):
                faults.warn(tally.name, line, "row", f"row {row} is no row of its block", held)
            elif _are_apart(counted_places, held.positions):
                what = f"counts {counted_places} places in row {row}"
                faults.warn(tally.name, line, "", what, f"{held.positions}, as the row was recorded")
        elif not row and part == ALL and counted == "full":
            planted = [positions for season, positions, _, _ in plantings.get(block, ()) if season <= year + 1]
            if planted and all(_are_apart(counted_places, positions) for positions in planted[:2]):
                what = f"counts {counted_places} places"
                faults.warn(tally.name, line, "", what, f"{planted[0]}, as in the planting")


def _plantings(connection: Connection, blocks: Iterable[int]) -> dict[int, list[tuple[int, int, int, int]]]:
    """Give first season, positions, tally and line of the plantings of blocks, newest first."""
    c = TABLES["planting"].c
    found: dict[int, list[tuple[int, int, int, int]]] = {}
    for chunk in _chunks(blocks):
        query = (
            select(c.block, c.from_season, c.positions, c.tally, c.line)
            .where(c.block.in_(chunk), c.struck_at.is_(None))
            .order_by(c.from_season.desc())
        )
        for block, season, positions, number, line in connection.execute(query):
            found.setdefault(block, []).append((season, positions, number, line))
    return found


def _plantings_beside_rows(connection: Connection, faults: Faults, arrived: Sequence[Arrived]) -> None:
    """Tell plantings whose positions are not those of the rows, for the blocks of these tallies."""
    told: dict[int, tuple[str, int]] = {}
    for tally in sorted(arrived, key=lambda one: one.kind.name):
        table = TABLES[tally.kind.name]
        query = select(table.c.block, func.min(table.c.line)).where(_mine(tally)).group_by(table.c.block)
        for block, line in connection.execute(query):
            told.setdefault(block, (tally.name, line))
    layouts = _layouts(connection, told)
    plantings = _plantings(connection, layouts)
    names = {tally.number: tally.name for tally in arrived}
    for block in sorted(plantings):
        season, positions, number, line = plantings[block][0]
        newest = layouts[block][0].from_season
        sums = [
            sum(one.positions * (one.last - one.first + 1) for one in layouts[block] if one.from_season >= since)
            for since in (newest, 0)
        ]
        if all(_are_apart(positions, total) for total in sums):
            file, at = (names[number], line) if number in names else told[block]
            what = f"{positions} positions are planted from {season} on where the rows of the block give {sums[0]}"
            faults.warn(file, at, "positions", what, "the same number")


SINGLE_CHECKS = {
    "harvest_close": _closes_without_load,
    "load": _tickets_without_block,
    "vine_census": _censuses_beside_plantings,
}
"""The check of each kind that has one of its own."""
