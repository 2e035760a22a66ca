"""Figures of what stands in a block: vines, areas, canopy."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.intervals import log_t_interval
from vinebook.seasons.columns import NO_DATE, UNKNOWN, FigureColumn, new_column
from vinebook.seasons.estimates import all_cells
from vinebook.seasons.gathered import ON_CANOPY, ON_ROW, WITHOUT_CANOPY, Gathered
from vinebook.seasons.notes import Note
from vinebook.seasons.places import Stand, stand_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

FULL_COUNT = -1
"""Mark in `chosen` of a figure that rests on a full count."""


def stand_on(gathered: Gathered, day: Ints) -> tuple[Stand, Ints, Bools]:
    """Give the stand of vines on a day of each cell, its census, and whether that was taken later."""
    census, is_later = gathered.census_on(day)
    return stand_of(gathered.censuses, census, gathered.positions), census, is_later


def say_census(column: FigureColumn, stand: Stand, census: Ints, is_later: Bools) -> None:
    """Set the census that a column rests on, with what has to be said of it."""
    column.census = census.copy()
    column.note(is_later & (column.status != UNKNOWN), Note.CENSUS_LATER)
    column.note(stand.is_sampled & (column.status != UNKNOWN), Note.CENSUS_SAMPLED)


def day_of_season(gathered: Gathered) -> Ints:
    """Give the day that the vines of a season are counted on: first load or close, else last sample, else its end."""
    day = gathered.crops.first_day.copy()
    samples = gathered.samples
    last = np.full(len(gathered.cells), NO_DATE, dtype=np.int64)
    growing = samples.kind > 0
    np.maximum.at(last, samples.cell[growing], samples.day[growing])
    return np.where(day == NO_DATE, last, day)


def standing_columns(gathered: Gathered) -> list[FigureColumn]:
    """Make the columns of vines, areas and canopy."""
    cells = all_cells(gathered)
    stand, census, is_later = stand_on(gathered, day_of_season(gathered))
    bearing = new_column("vines_bearing", cells)
    bearing.value = stand.bearing.copy()
    interval = log_t_interval(stand.bearing, stand.bearing_se, stand.bearing_df)
    bearing.low = np.where(stand.is_sampled, interval.low, np.nan)
    bearing.high = np.where(stand.is_sampled, interval.high, np.nan)
    missing = new_column("vines_missing_share", cells)
    missing.value = stand.missing_percent.copy()
    missing.low = np.where(stand.is_sampled, stand.missing_low, np.nan)
    missing.high = np.where(stand.is_sampled, stand.missing_high, np.nan)
    for column in (bearing, missing):
        column.n = np.where(stand.is_sampled & (stand.rows > 0), stand.rows, column.n)
        column.chosen[:] = np.where(stand.is_sampled, 0, FULL_COUNT)
        column.mark(np.isnan(column.value), UNKNOWN, Note.NO_CENSUS)
        say_census(column, stand, census, is_later)
    return [bearing, missing, *_area_columns(gathered, cells)]


def _area_columns(gathered: Gathered, cells: Ints) -> list[FigureColumn]:
    planted = new_column("planted_area", cells, "positions × row spacing × vine spacing of the planting")
    planted.value = gathered.planted_area_ha.copy()
    surveyed = new_column("surveyed_area", cells, "survey")
    surveyed.value = gathered.blocks.surveyed_area_ha[gathered.cells.block]
    canopy = new_column("canopy_m_per_vine", cells, "vine spacing × curtains")
    canopy.value = np.where(gathered.canopy_kind == ON_CANOPY, gathered.canopy_m, np.nan)
    row = new_column("row_m_per_ha", cells, "row spacing of the planting")
    row.value = gathered.row_m_per_ha.copy()
    for column, reason in (
        (planted, Note.NO_PLANTING),
        (surveyed, Note.NO_SURVEY),
        (row, Note.NO_PLANTING),
    ):
        column.mark(np.isnan(column.value), UNKNOWN, reason)
    kind = gathered.canopy_kind
    canopy.mark(kind == WITHOUT_CANOPY, UNKNOWN, Note.NO_ROW_CANOPY)
    canopy.mark(kind == ON_ROW, UNKNOWN, Note.NO_TRAINING)
    canopy.mark(np.isnan(canopy.value) & (canopy.status != UNKNOWN), UNKNOWN, Note.NO_SPACING)
    return [planted, surveyed, canopy, row]
