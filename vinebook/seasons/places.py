"""Long-lived facts as arrays, and which of them is in force in a block and season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import FromClause, Select, cast, func, select
from sqlalchemy.sql.expression import case

from vinebook.formulas.sampling import finite_correction
from vinebook.formulas.shares import share_interval
from vinebook.records.tables import TABLES
from vinebook.records.types import Whole
from vinebook.seasons.columns import NO_CENSUS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

SEASONS_SPAN = 10_000
"""A block's index × this + season makes one sortable number."""
DAYS_SPAN = 10_000_000
DAYS_MIDDLE = 5_000_000
"""A block's index × DAYS_SPAN + days since 1970 + DAYS_MIDDLE makes another, also for dates before 1970."""


def live(table: FromClause) -> Any:  # noqa: ANN401 - a SQL condition
    """Give the condition that a row has not been struck."""
    return table.c.struck_at.is_(None)


def days_of(dates: Sequence[object]) -> Ints:
    """Give dates as days since 1970.

    Parameters
    ----------
    dates : dates, none empty.
    """
    return np.array(dates, dtype="datetime64[D]").astype(np.int64)


def columns_of(rows: Sequence[Any], width: int) -> list[tuple[Any, ...]]:
    """Turn rows into columns, as many as are asked for even where there is no row."""
    return list(zip(*rows, strict=True)) if rows else [()] * width


def floats(values: Sequence[float | None]) -> Floats:
    """Give numbers as an array, NaN where empty."""
    return np.array(values, dtype=np.float64)


@dataclass(slots=True)
class Spans:
    """Facts of blocks that hold from a season on, sorted by block and first season."""

    key: Ints
    to_season: Ints
    record: Ints
    fields: dict[str, NDArray[Any]]

    def in_force(self, block: Ints, season: Ints) -> Ints:
        """Give the index of the fact in force in each block and season, -1 where there is none."""
        if not len(self.key):
            return np.full(len(block), -1, dtype=np.int64)
        at = np.searchsorted(self.key, block * SEASONS_SPAN + season, side="right") - 1
        found = np.clip(at, 0, None)
        holds = (at >= 0) & (self.key[found] // SEASONS_SPAN == block) & (self.to_season[found] >= season)
        return np.where(holds, at, -1)

    def take(self, field: str, index: Ints) -> Floats:
        """Give a number of the facts at the indices, NaN where the index is -1."""
        if not len(self.key):
            return np.full(len(index), np.nan)
        return np.where(index >= 0, self.fields[field][np.clip(index, 0, None)], np.nan)

    def words(self, field: str, index: Ints) -> NDArray[np.str_]:
        """Give a word of the facts at the indices, "" where the index is -1."""
        if not len(self.key):
            return np.zeros(len(index), dtype=np.str_)
        return np.where(index >= 0, self.fields[field][np.clip(index, 0, None)], "")

    def records(self, index: Ints) -> Ints:
        """Give the permanent numbers of the facts at the indices, 0 where the index is -1."""
        if not len(self.key):
            return np.zeros(len(index), dtype=np.int64)
        return np.where(index >= 0, self.record[np.clip(index, 0, None)], 0)

    def first_season(self, index: Ints) -> Ints:
        """Give the first season of the facts at the indices, 0 where the index is -1."""
        if not len(self.key):
            return np.zeros(len(index), dtype=np.int64)
        return np.where(index >= 0, self.key[np.clip(index, 0, None)] % SEASONS_SPAN, 0)


@dataclass(slots=True)
class Blocks:
    """The blocks that were asked for, in the order of their codes."""

    record: Ints
    code: list[str]
    is_south: Bools
    surveyed_area_ha: Floats
    to_season: Ints
    index_of: dict[int, int]
    asked: list[int] | None

    def indices(self, records: Sequence[int]) -> Ints:
        """Give the index of each block's record, -1 for a block that was not asked for."""
        return np.array([self.index_of.get(record, -1) for record in records], dtype=np.int64)

    def only(self, statement: Select[Any], column: Any) -> Select[Any]:  # noqa: ANN401 - a column of a table
        """Restrict a query to the blocks that were asked for."""
        return statement if self.asked is None else statement.where(column.in_(self.asked))


def read_blocks(connection: Connection, asked: list[int] | None) -> Blocks:
    """Read the blocks by their permanent numbers, or all live ones."""
    block, vineyard = TABLES["block"], TABLES["vineyard"]
    statement = (
        select(block.c.record, block.c.code, vineyard.c.hemisphere, block.c.surveyed_area_ha, block.c.to_season)
        .join(vineyard, vineyard.c.record == block.c.vineyard)
        .where(live(block))
    )
    if asked is not None:
        statement = statement.where(block.c.record.in_(asked))
    rows = sorted(connection.execute(statement), key=lambda row: str(row[1]))
    record, code, hemisphere, area, to_season = columns_of(rows, 5)
    return Blocks(
        np.array(record, dtype=np.int64),
        list(code),
        np.array([word == "south" for word in hemisphere], dtype=np.bool_),
        floats(area),
        np.array([SEASONS_SPAN if last is None else last for last in to_season], dtype=np.int64),
        {number: index for index, number in enumerate(record)},
        asked,
    )


def read_spans(connection: Connection, blocks: Blocks, kind: str, fields: tuple[str, ...]) -> Spans:
    """Read a kind of fact that holds from a season on.

    Parameters
    ----------
    connection : an open connection.
    blocks : whose facts.
    kind : planting or training.
    fields : stored columns to read.
    """
    table = TABLES[kind]
    last = table.c.to_season if "to_season" in table.c else None
    columns = [
        table.c.block,
        table.c.from_season,
        *([] if last is None else [last]),
        *(table.c[name] for name in fields),
        table.c.record,
    ]
    rows = connection.execute(blocks.only(select(*columns).where(live(table)), table.c.block)).fetchall()
    read = columns_of(rows, len(columns))
    index = blocks.indices(read[0])
    kept = np.flatnonzero(index >= 0)
    key = index * SEASONS_SPAN + np.array(read[1], dtype=np.int64)
    order = kept[np.argsort(key[kept], kind="stable")]
    ends = [SEASONS_SPAN] * len(rows) if last is None else [SEASONS_SPAN if end is None else end for end in read[2]]
    values = read[2 if last is None else 3 : -1]
    return Spans(
        key[order],
        np.array(ends, dtype=np.int64)[order],
        np.array(read[-1], dtype=np.int64)[order],
        {name: _array_of(column, table.c[name])[order] for name, column in zip(fields, values, strict=True)},
    )


def _array_of(values: Sequence[Any], column: Any) -> NDArray[Any]:  # noqa: ANN401 - a column of a table
    """Give a stored column as an array: numbers with NaN for empty, words with "" for empty."""
    if column.type.python_type is str:
        return np.array([value or "" for value in values], dtype=np.str_)
    return floats(values)


@dataclass(slots=True)
class Censuses:
    """Vine censuses, each of one block and date, sorted by both."""

    key: Ints
    day: Ints
    bearing: Floats
    young: Floats
    missing: Floats
    positions: Floats
    rows: Ints
    is_sampled: Bools
    squares: Floats
    parts: dict[int, dict[str, tuple[int, int]]]

    def in_force(self, block: Ints, day: Ints, first_day: Ints, last_day: Ints) -> tuple[Ints, Bools]:
        """Give the census in force for each block and day, and whether it was taken later.

        Parameters
        ----------
        block : index of the block.
        day : date of the sample or first load, days since 1970.
        first_day : day from which the vines stand; an older census counted other vines.
        last_day : day until which they stand; a census taken later still counted other vines.
        """
        if not len(self.key):
            none = np.full(len(block), NO_CENSUS, dtype=np.int64)
            return none, np.zeros(len(block), dtype=np.bool_)
        base = block * DAYS_SPAN + DAYS_MIDDLE
        first = np.searchsorted(self.key, base + first_day, side="left")
        latest = np.searchsorted(self.key, base + day, side="right") - 1
        has_one = latest >= first
        later = np.where(has_one, latest, first)
        found = np.clip(later, 0, len(self.key) - 1)
        is_ours = (later < len(self.key)) & (self.key[found] // DAYS_SPAN == block)
        is_ours &= has_one | (self.key[found] <= base + last_day)
        return np.where(is_ours, later, NO_CENSUS), is_ours & ~has_one


def read_censuses(connection: Connection, blocks: Blocks) -> Censuses:
    """Read the vine censuses; several counted rows of one date and part are one census."""
    table = TABLES["vine_census"]
    positions = table.c.bearing + table.c.young + table.c.missing
    by_row = case((table.c.row > 0, 1), else_=0)
    sampled = func.max(case((table.c.counted == "sampled_rows", 1), else_=0))
    pairs = ((table.c.bearing, positions), (table.c.missing, positions))
    whole = (table.c.bearing, table.c.young, table.c.missing, positions, by_row)
    squares = [a * b for y, x in pairs for a, b in ((y, y), (y, x))] + [positions * positions]
    statement = (
        select(
            table.c.block,
            table.c.date,
            table.c.part,
            by_row,
            sampled,
            *(cast(func.sum(number), Whole) for number in (*whole, *squares)),
        )
        .where(live(table))
        .group_by(table.c.block, table.c.date, table.c.part, by_row)
    )
    rows = connection.execute(blocks.only(statement, table.c.block)).fetchall()
    read = columns_of(rows, 15)
    block, day = blocks.indices(read[0]), days_of(read[1])
    part = np.array(read[2], dtype=np.str_)
    is_row, is_sampled = np.array(read[3], dtype=np.bool_), np.array(read[4], dtype=np.bool_)
    sums = np.array(read[5:], dtype=np.int64).reshape(10, -1)
    key = block * DAYS_SPAN + day + DAYS_MIDDLE
    sets, at = np.unique(key, return_inverse=True)
    used, under_line = lines_used(at, part, is_row)
    total = np.zeros((10, len(sets)), dtype=np.int64)
    for each, number in zip(total, sums, strict=True):
        np.add.at(each, at[used], number[used])
    any_sampled = np.zeros(len(sets), dtype=np.bool_)
    any_sampled[at[used & is_sampled]] = True
    parts: dict[int, dict[str, tuple[int, int]]] = {}
    for one in np.flatnonzero((part != "all") & ~under_line):
        mine = parts.setdefault(int(at[one]), {})
        bearing, places = mine.get(str(part[one]), (0, 0))
        mine[str(part[one])] = (bearing + int(sums[0, one]), places + int(sums[3, one]))
    return Censuses(
        sets,
        sets % DAYS_SPAN - DAYS_MIDDLE,
        bearing=total[0].astype(np.float64),
        young=total[1].astype(np.float64),
        missing=total[2].astype(np.float64),
        positions=total[3].astype(np.float64),
        rows=total[4],
        is_sampled=any_sampled,
        squares=total[5:].astype(np.float64),
        parts=parts,
    )


def lines_used(census: Ints, part: NDArray[np.str_], is_row: Bools) -> tuple[Bools, Bools]:
    """Say which lines make each census, and which are rows under a line of their own part.

    Lines for the whole block stand above those of its parts, and a line for the whole or a part above its rows.

    Parameters
    ----------
    census, part, is_row : of each line: index of its census, its part, and whether it is a counted row.
    """
    is_all = part == "all"
    sets = int(census.max(initial=-1)) + 1
    has_all = np.zeros(sets, dtype=np.bool_)
    has_all[census[is_all]] = True
    names, of_part = np.unique(part, return_inverse=True)
    line = census * len(names) + of_part
    has_line = np.zeros(sets * len(names), dtype=np.bool_)
    has_line[line[~is_row]] = True
    under_line = np.asarray(is_row & has_line[line], dtype=np.bool_)
    return np.asarray((is_all == has_all[census]) & ~under_line, dtype=np.bool_), under_line


@dataclass(slots=True)
class Stand:
    """The vines of blocks by a census: numbers, and the standard error of the bearing ones."""

    bearing: Floats
    bearing_se: Floats
    bearing_df: Floats
    missing_percent: Floats
    missing_low: Floats
    missing_high: Floats
    young_share: Floats
    rows: Ints
    is_sampled: Bools


def stand_of(censuses: Censuses, index: Ints, positions: Floats) -> Stand:
    """Work out the stand of vines at the indices of censuses (-1 for none).

    Parameters
    ----------
    censuses : the censuses.
    index : census in force of each block and season.
    positions : vine positions planted, NaN where not known; sampled rows are expanded to them.
    """
    if not len(censuses.key):
        empty = np.full(len(index), np.nan)
        none = np.zeros(len(index), dtype=np.int64)
        return Stand(empty, empty, empty, empty, empty, empty, empty, none, none.astype(np.bool_))
    at = np.clip(index, 0, None)
    has = index >= 0

    def given(numbers: Floats) -> Floats:
        return np.where(has, numbers[at], np.nan)

    bearing, young, missing, counted = (
        given(censuses.bearing),
        given(censuses.young),
        given(censuses.missing),
        given(censuses.positions),
    )
    counted = np.where(counted > 0, counted, np.nan)
    sampled = has & censuses.is_sampled[at]
    rows = np.where(has, censuses.rows[at], 0)
    squares = censuses.squares[:, at]
    drawn_share = np.minimum(counted / positions, 1.0)
    correction = np.where(np.isfinite(drawn_share), 1.0 - drawn_share, 1.0)
    missing_percent = 100 * missing / counted
    low, high = missing_percent.copy(), missing_percent.copy()
    se, df = np.zeros(len(index)), np.full(len(index), np.nan)
    lines = np.flatnonzero(sampled)
    if len(lines):
        share, expanded_se = _bearing_of_rows(bearing, counted, rows, squares, correction, positions, lines)
        bearing = bearing.copy()
        bearing[lines] = share * positions[lines]
        se[lines] = expanded_se
        df[lines] = rows[lines] - 1
        interval = share_interval(
            rows[lines],
            counted[lines],
            missing[lines],
            squares[4][lines],
            squares[2][lines],
            squares[3][lines],
            correction=correction[lines],
        )
        low[lines], high[lines] = 100 * interval.low, 100 * interval.high
    return Stand(bearing, se, df, missing_percent, low, high, young / counted, rows, sampled)


def _bearing_of_rows(
    bearing: Floats,
    counted: Floats,
    rows: Ints,
    squares: Floats,
    correction: Floats,
    positions: Floats,
    lines: Ints,
) -> tuple[Floats, Floats]:
    """Give the bearing share and the standard error of the bearing vines, rows being the units (ratio estimate)."""
    n = rows[lines].astype(np.float64)
    share = bearing[lines] / counted[lines]
    bb, bc, cc = squares[0][lines], squares[1][lines], squares[4][lines]
    residual = np.maximum(bb - 2 * share * bc + share**2 * cc, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = np.where(n > 1, residual / (n - 1), np.nan)
        mean = counted[lines] / n
        se = np.sqrt(correction[lines] * variance / n) / mean * positions[lines]
    return share, se


def population_correction(drawn: Floats, population: Floats) -> Floats:
    """Give 1 − drawn ÷ population, 1 where the population is not known, never below 0."""
    known = np.isfinite(population) & (population > 0)
    share = np.where(known, np.minimum(drawn, np.where(known, population, 1.0)), 0.0)
    return np.asarray(finite_correction(share, np.where(known, population, 1.0)), dtype=np.float64)
