"""All that is read of the book for season figures: cells of block and season, and the facts in force in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Select, func, select

from vinebook.formulas.area import canopy_m_per_vine, planted_area_ha, row_m_per_ha
from vinebook.quantities import DORMANT, FIRST_MONTH_OF_NEXT_SEASON, GROWING, NORTH, SOUTH
from vinebook.records.tables import TABLES
from vinebook.seasons.columns import NO_DATE
from vinebook.seasons.harvest import Crops, Picks, crops_of, open_tickets, read_closes, read_picks
from vinebook.seasons.places import (
    DAYS_MIDDLE,
    Blocks,
    Censuses,
    Spans,
    columns_of,
    live,
    read_blocks,
    read_censuses,
    read_spans,
)
from vinebook.seasons.samples import Samples, read_samples
from vinebook.seasons.vines import NO_SEASON, PLANTING_FIELDS, FirstCrops, first_crops, is_new_vines, same_vines

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Words = NDArray[np.str_]

ON_CANOPY, ON_ROW, WITHOUT_CANOPY, WITHOUT_SPACING = range(4)
"""What per-metre figures of a cell are counted on."""


@dataclass(slots=True)
class Cells:
    """Every block and season from the first with a record to the last, gaps included, and one season beyond.

    The season beyond holds no figures; it lets each cell look at the next season as its neighbour. Where the first
    record is a pruning, the wood that it weighed gives its season, the one before, a cell too (`is_before`).

    Attributes
    ----------
    first, last : first and last season with a cell of each block, the one beyond left out.
    start : index of each block's first cell.
    block, season : of each cell.
    is_before : cells of the season before the first record.
    """

    first: Ints
    last: Ints
    start: Ints
    block: Ints
    season: Ints
    is_before: Bools

    def __len__(self) -> int:
        return len(self.block)

    def at(self, block: Ints, season: Ints) -> Ints:
        """Give the index of each block and season, -1 where there is none."""
        inside = (block >= 0) & (season >= self.first[block]) & (season <= self.last[block] + 1)
        return np.where(inside, self.start[block] + season - self.first[block], -1)

    @property
    def is_beyond(self) -> Bools:
        """The cells of the season beyond the last."""
        return self.season > self.last[self.block]


def cells_of(first: Ints, last: Ints, has_before: Bools, span: tuple[int, int] | None) -> Cells:
    """Lay out the cells of blocks.

    Parameters
    ----------
    first, last : first and last season with a record of each block; NO_SEASON and 0 for a block without one.
    has_before : blocks whose first season begins with a pruning that counted vines.
    span : first and last season to lay out, or None for all.
    """
    first_record, first = first, first - has_before
    if span is not None:
        first, last = np.maximum(first, span[0]), np.minimum(last, span[1])
    # A block without a cell: its last season lies two before its first.
    last = np.where(first > last, first - 2, last)
    size = last - first + 2
    start = np.cumsum(size) - size
    of_block = np.repeat(np.arange(len(first)), size)
    season = np.arange(len(of_block)) - start[of_block] + first[of_block]
    return Cells(first, last, start, of_block, season, (season < first_record[of_block]) & has_before[of_block])


@dataclass(slots=True)
class Visits:
    """The pruning visit of each cell: whether and which, whether wood was to be weighed, how it was cut or ""."""

    has: Bools
    says_weighed: Bools
    pruned: Words
    record: Ints


@dataclass(slots=True)
class Gathered:
    """What was read, and the facts in force in each cell (NaN where not known).

    `vines_from` and `vines_to` are the seasons between which the same vines stand, over all plantings that measured
    them anew; 0 and NO_SEASON where they are open. `pruned` is how wood was cut, by the visit of the season, else by
    the training in force; "" where not known. `planting_record` and `training_record` are the permanent numbers of the
    facts in force, 0 where there is none. `open_tickets` names, by cell, the tickets for want of whose parts a
    closed harvest has no fruit.
    """

    blocks: Blocks
    cells: Cells
    samples: Samples
    censuses: Censuses
    picks: Picks
    pick_cell: Ints
    crops: Crops
    visits: Visits
    pruned: Words
    last_close: Ints
    planting: Ints
    planting_from: Ints
    is_new_vines: Bools
    vines_from: Ints
    vines_to: Ints
    is_last_of_planting: Bools
    positions: Floats
    row_spacing_m: Floats
    vine_spacing_m: Floats
    curtains: Floats
    canopy_m: Floats
    canopy_kind: Ints
    planted_area_ha: Floats
    row_m_per_ha: Floats
    planting_record: Ints
    training_record: Ints
    open_tickets: dict[int, str]
    first_crops: FirstCrops

    def census_on(self, day: Ints) -> tuple[Ints, Bools]:
        """Give the census in force in each cell on a day, and whether it was taken later.

        Parameters
        ----------
        day : days since 1970, one a cell; NO_DATE takes the end of the season.
        """
        start = np.where(self.vines_from > 0, _days(self.vines_from - 1, self._month(DORMANT)), -DAYS_MIDDLE)
        end = np.where(self.vines_to < NO_SEASON, self._season_ends(self.vines_to), DAYS_MIDDLE)
        ends = self._season_ends(self.cells.season)
        return self.censuses.in_force(self.cells.block, np.where(day == NO_DATE, ends, day), start, end)

    def _season_ends(self, season: Ints) -> Ints:
        """Give the last day of a season in each cell's hemisphere, days since 1970."""
        month = self._month(GROWING)
        return _days(season + (month > 12), (month - 1) % 12 + 1) - 1

    def _month(self, part: str) -> Ints:
        south = self.blocks.is_south[self.cells.block]
        months = FIRST_MONTH_OF_NEXT_SEASON
        return np.where(south, months[SOUTH, part], months[NORTH, part])


def _days(year: Ints, month: Ints) -> Ints:
    """Give the first day of months as days since 1970."""
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    return months.astype("datetime64[D]").astype(np.int64)


def gather(connection: Connection, asked: list[int] | None, seasons: list[int] | None) -> Gathered:
    """Read what the figures of blocks and seasons need.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    asked : permanent numbers of blocks, or None for all.
    seasons : harvest years, or None for all.
    """
    blocks = read_blocks(connection, asked)
    # The season before tells of a change, the season after weighs the wood.
    span = None if seasons is None else (min(seasons) - 1, max(seasons) + 1) if seasons else (NO_SEASON, NO_SEASON)
    samples = read_samples(connection, blocks, span)
    picks = read_picks(connection, blocks, span)
    closes = read_closes(connection, blocks, span)
    visit_rows = _visit_rows(connection, blocks, span)
    visit_block = blocks.indices(visit_rows[0])
    visit_season = np.array(visit_rows[1], dtype=np.int64)
    first, last, first_pruned = _extents(connection, blocks)
    cells = cells_of(first, last, first_pruned == first, span)
    samples.cell = cells.at(samples.block, samples.season)
    pick_cell = cells.at(picks.block, picks.season)
    crops = crops_of(picks, pick_cell, closes, cells.at(closes.block, closes.season), len(cells))
    tickets = _say_open(connection, blocks, cells, crops)
    return _with_facts(
        connection,
        blocks,
        cells,
        samples,
        picks,
        pick_cell,
        crops,
        _visits(cells, visit_block, visit_season, visit_rows[2], visit_rows[3], visit_rows[4]),
        tickets,
        first,
    )


def _say_open(connection: Connection, blocks: Blocks, cells: Cells, crops: Crops) -> dict[int, str]:
    """Mark the closed harvests without fruit while tickets of their vineyard lack a block; give these by cell."""
    empty = np.flatnonzero(crops.is_closed & (crops.crop_kg == 0))
    if not len(empty):
        return {}
    tickets = open_tickets(connection, sorted(set(cells.season[empty].tolist())))
    if not tickets:
        return {}
    block = TABLES["block"]
    query = blocks.only(select(block.c.record, block.c.vineyard), block.c.record)
    vineyard = {blocks.index_of.get(record, -1): of for record, of in connection.execute(query)}
    told: dict[int, str] = {}
    for cell in empty.tolist():
        season = int(cells.season[cell])
        found = [tickets.get((of, season), "") for of in (vineyard[int(cells.block[cell])], 0)]
        if any(found):
            told[cell] = ", ".join(filter(None, found))
            crops.is_open[cell] = True
    return told


def _extents(connection: Connection, blocks: Blocks) -> tuple[Ints, Ints, Ints]:
    """Give first and last season with a record of each block, and the first in which pruned vines were counted.

    They do not depend on the seasons asked for.
    """
    first_pruned = np.full(len(blocks.code), -1, dtype=np.int64)
    first = np.full(len(blocks.code), NO_SEASON, dtype=np.int64)
    last = np.zeros(len(blocks.code), dtype=np.int64)
    part, load = TABLES["load_part"], TABLES["load"]
    statements = [
        select(table.c.block, func.min(table.c.season), func.max(table.c.season)).where(live(table))
        for table in (TABLES[kind] for kind in ("sample", "pruning_visit", "harvest_close", "event"))
    ]
    statements.append(
        select(part.c.block, func.min(load.c.season), func.max(load.c.season))
        .join(load, load.c.record == part.c.load)
        .where(live(part), live(load))
    )
    for statement in statements:
        column = statement.selected_columns[0]
        for block, earliest, latest in connection.execute(blocks.only(statement, column).group_by(column)):
            index = blocks.index_of.get(block)
            if index is not None:
                first[index], last[index] = min(first[index], earliest), max(last[index], latest)
    sample = TABLES["sample"].c
    pruned: Select[Any] = select(sample.block, func.min(sample.season)).group_by(sample.block)
    pruned = pruned.where(live(TABLES["sample"]), sample.counts == "pruned_vine")
    for block, earliest in connection.execute(blocks.only(pruned, sample.block)):
        if block in blocks.index_of:
            first_pruned[blocks.index_of[block]] = earliest
    return first, last, first_pruned


def _visit_rows(connection: Connection, blocks: Blocks, span: tuple[int, int] | None) -> list[tuple[Any, ...]]:
    c = TABLES["pruning_visit"].c
    statement = select(c.block, c.season, c.wood_weighed, c.pruned, c.record).where(live(TABLES["pruning_visit"]))
    if span is not None:
        statement = statement.where(c.season.between(*span))
    return columns_of(connection.execute(blocks.only(statement, c.block)).fetchall(), 5)


def _visits(
    cells: Cells, block: Ints, season: Ints, weighed: tuple[Any, ...], pruned: tuple[Any, ...], records: tuple[Any, ...]
) -> Visits:
    has, says = np.zeros(len(cells), dtype=np.bool_), np.zeros(len(cells), dtype=np.bool_)
    how = np.zeros(len(cells), dtype="<U16")
    at = cells.at(block, season)
    has[at[at >= 0]] = True
    says[at[(at >= 0) & np.array([word == "yes" for word in weighed], dtype=np.bool_)]] = True
    how[at[at >= 0]] = np.array(pruned, dtype=np.str_)[at >= 0]
    record = np.zeros(len(cells), dtype=np.int64)
    record[at[at >= 0]] = np.array(records, dtype=np.int64)[at >= 0]
    return Visits(has, says, how, record)


def _last_close(connection: Connection, blocks: Blocks) -> Ints:
    table = TABLES["harvest_close"]
    statement = select(table.c.block, func.max(table.c.season)).where(live(table)).group_by(table.c.block)
    last = np.zeros(len(blocks.code), dtype=np.int64)
    for block, season in connection.execute(blocks.only(statement, table.c.block)):
        if block in blocks.index_of:
            last[blocks.index_of[block]] = season
    return last


def _with_facts(
    connection: Connection,
    blocks: Blocks,
    cells: Cells,
    samples: Samples,
    picks: Picks,
    pick_cell: Ints,
    crops: Crops,
    visits: Visits,
    tickets: dict[int, str],
    first_record: Ints,
) -> Gathered:
    plantings = read_spans(connection, blocks, "planting", PLANTING_FIELDS)
    trainings = read_spans(connection, blocks, "training", ("curtains", "trained", "shoot_position", "pruned"))
    planting = plantings.in_force(cells.block, cells.season)
    training = trainings.in_force(cells.block, cells.season)
    row_m = plantings.take("row_spacing_m", planting)
    vine_m = plantings.take("vine_spacing_m", planting)
    positions = plantings.take("positions", planting)
    curtains = trainings.take("curtains", training)
    kind = np.where(training >= 0, ON_CANOPY, ON_ROW)
    kind[_is_free_head(trainings, training)] = WITHOUT_CANOPY
    kind[np.isnan(vine_m) & (kind != WITHOUT_CANOPY)] = WITHOUT_SPACING
    canopy = canopy_m_per_vine(vine_m, np.where(np.isnan(curtains), 1.0, curtains))
    canopy = np.where(kind == WITHOUT_CANOPY, np.nan, canopy)
    following = plantings.in_force(cells.block, cells.season + 1)
    is_new = is_new_vines(plantings)
    vines_from, vines_to = same_vines(plantings, is_new, planting)
    return Gathered(
        blocks,
        cells,
        samples,
        read_censuses(connection, blocks),
        picks,
        pick_cell,
        crops,
        visits,
        np.where(visits.pruned == "", trainings.words("pruned", training), visits.pruned),
        _last_close(connection, blocks),
        planting,
        plantings.first_season(planting),
        is_new[planting] & (planting >= 0) if len(is_new) else planting >= 0,
        vines_from,
        vines_to,
        (planting >= 0) & (following != planting),
        positions,
        row_m,
        vine_m,
        curtains,
        canopy,
        kind,
        np.asarray(planted_area_ha(positions, row_m, vine_m)),
        np.asarray(row_m_per_ha(row_m)),
        plantings.records(planting),
        trainings.records(training),
        tickets,
        first_crops(connection, blocks, plantings, first_record, cells),
    )


def _is_free_head(trainings: Spans, training: Ints) -> Bools:
    """Say which cells hold vines without a row canopy: head-trained, shoots left free."""
    if not len(trainings.key):
        return np.zeros(len(training), dtype=np.bool_)
    at = np.clip(training, 0, None)
    free = (trainings.fields["trained"] == "head") & (trainings.fields["shoot_position"] == "free")
    return np.asarray((training >= 0) & free[at], dtype=np.bool_)
