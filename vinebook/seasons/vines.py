"""Which vines stand in a block over its plantings, and when they bear for the first time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from sqlalchemy import select

from vinebook.records.tables import TABLES
from vinebook.seasons.places import SEASONS_SPAN, live

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.gathered import Cells
    from vinebook.seasons.places import Blocks, Spans

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

NO_SEASON = 9_999
MOST_NAMED = 500
PLANTING_FIELDS = ("row_spacing_m", "vine_spacing_m", "positions", "year_planted", "grafted_over_in")
"""What is read of a planting."""


@dataclass(slots=True)
class FirstCrops:
    """The cells of the first crop of vines that were planted, or grafted over, within the record.

    Attributes
    ----------
    is_first, is_grafted : cells of a first crop; vines that were grafted over, not planted.
    since : year planted or grafted over; 0 in all other cells.
    """

    is_first: Bools
    is_grafted: Bools
    since: Ints


def is_new_vines(plantings: Spans) -> Bools:
    """Say which plantings put new vines where others stood.

    One that follows another does, unless it was grafted over or its year of planting lies before: then the same vines
    were measured anew.
    """
    first = plantings.key % SEASONS_SPAN
    follows = np.zeros(len(first), dtype=np.bool_)
    follows[1:] = plantings.key[1:] // SEASONS_SPAN == plantings.key[:-1] // SEASONS_SPAN
    was_there = plantings.fields["year_planted"] < first - 1
    return np.asarray(follows & ~_is_grafted(plantings) & ~was_there, dtype=np.bool_)


def _is_grafted(plantings: Spans) -> Bools:
    """Say which plantings begin with vines that were grafted over."""
    first = plantings.key % SEASONS_SPAN
    return np.asarray(plantings.fields["grafted_over_in"] >= first - 1, dtype=np.bool_)


def same_vines(plantings: Spans, is_new: Bools, planting: Ints) -> tuple[Ints, Ints]:
    """Give of each cell the seasons between which its vines stand; 0 and NO_SEASON where open.

    Parameters
    ----------
    plantings : the plantings.
    is_new : which of them put new vines in the ground.
    planting : the planting in force in each cell, -1 for none.
    """
    if not len(is_new):
        return np.zeros(len(planting), dtype=np.int64), np.full(len(planting), NO_SEASON, dtype=np.int64)
    block, season = np.divmod(plantings.key, SEASONS_SPAN)
    is_first = np.ones(len(is_new), dtype=np.bool_)
    is_first[1:] = block[1:] != block[:-1]
    # The plantings that put vines in the ground, and the number of the one that each planting measures.
    starts = np.flatnonzero(is_new | is_first)
    group = np.cumsum(is_new | is_first) - 1
    opens = np.where(is_first[starts], 0, season[starts])
    closes = np.full(len(starts), NO_SEASON, dtype=np.int64)
    closes[:-1] = np.where(is_first[starts[1:]], NO_SEASON, season[starts[1:]] - 1)
    at = np.clip(planting, 0, None)
    return np.where(planting >= 0, opens[group[at]], 0), np.where(planting >= 0, closes[group[at]], NO_SEASON)


def first_crops(
    connection: Connection, blocks: Blocks, plantings: Spans, first_record: Ints, cells: Cells
) -> FirstCrops:
    """Mark the first crop of vines whose every crop the record can hold.

    Vines do not bear in the year in which they are planted or grafted over, so the record has to begin in the year
    after it at the latest; of older vines it is not known.

    Parameters
    ----------
    connection : an open connection.
    blocks : whose vines.
    plantings : with `PLANTING_FIELDS`.
    first_record : first season with a record of each block.
    cells : blocks and seasons that are marked.
    """
    size = len(cells)
    found = FirstCrops(np.zeros(size, dtype=np.bool_), np.zeros(size, dtype=np.bool_), np.zeros(size, dtype=np.int64))
    groups = list(_groups(plantings, first_record))
    if not groups:
        return found
    cropped = _cropped_seasons(connection, blocks, sorted({group.block for group in groups}))
    firsts = [
        (group, min(crops))
        for group in groups
        if (crops := [year for year in cropped.get(group.block, ()) if group.begins <= year <= group.ends])
    ]
    at = cells.at(
        np.array([group.block for group, _ in firsts], dtype=np.int64),
        np.array([season for _, season in firsts], dtype=np.int64),
    )
    for (group, _), cell in zip(firsts, at.tolist(), strict=True):
        if cell >= 0:
            found.is_first[cell], found.is_grafted[cell], found.since[cell] = True, group.is_grafted, group.since
    return found


class _Group(NamedTuple):
    """Vines that began within the record: their block's index, the seasons they stand in, and since which year."""

    block: int
    begins: int
    ends: int
    since: int
    is_grafted: bool


def _groups(plantings: Spans, first_record: Ints) -> Iterator[_Group]:
    """Give the vines that began within the record."""
    if not len(plantings.key):
        return
    block, season = np.divmod(plantings.key, SEASONS_SPAN)
    is_grafted, is_first = _is_grafted(plantings), np.ones(len(block), dtype=np.bool_)
    is_first[1:] = block[1:] != block[:-1]
    starts = np.flatnonzero(is_new_vines(plantings) | is_grafted | is_first)
    for number, start in enumerate(starts.tolist()):
        named = plantings.fields["grafted_over_in" if is_grafted[start] else "year_planted"][start]
        if np.isnan(named) and is_first[start]:
            continue
        since = int(season[start] if np.isnan(named) else named)
        follows = number + 1 < len(starts) and block[starts[number + 1]] == block[start]
        ends = int(season[starts[number + 1]]) - 1 if follows else NO_SEASON
        if first_record[block[start]] <= since + 1:
            begins = max(int(season[start]), since)
            yield _Group(int(block[start]), begins, ends, since, bool(is_grafted[start]))


def _cropped_seasons(connection: Connection, blocks: Blocks, wanted: Sequence[int]) -> dict[int, set[int]]:
    """Give the seasons with fruit picked or left of blocks by their index, whichever seasons were asked for."""
    records = blocks.record[list(wanted)].tolist()
    part, load, close = TABLES["load_part"], TABLES["load"], TABLES["harvest_close"]
    found: dict[int, set[int]] = {}
    for statement in (
        select(part.c.block, load.c.season).join(load, load.c.record == part.c.load).where(live(part), live(load)),
        select(close.c.block, close.c.season).where(live(close), close.c.fruit_left_milli > 0),
    ):
        column = statement.selected_columns[0]
        # A list of very many blocks would be longer than a statement may be.
        few = statement.where(column.in_(records)) if len(records) <= MOST_NAMED else blocks.only(statement, column)
        for record, season in connection.execute(few.distinct()):
            found.setdefault(blocks.index_of.get(record, -1), set()).add(season)
    return found
