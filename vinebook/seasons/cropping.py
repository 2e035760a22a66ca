"""Figures of the harvest: crop, delivered fruit, yields and must."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.products import log_product_interval
from vinebook.formulas.ratios import log_ratio_interval
from vinebook.seasons.columns import (
    KNOWN,
    NO_DATE,
    NO_N,
    PARTIAL,
    PENDING,
    UNKNOWN,
    FigureColumn,
    new_column,
    resting_where,
)
from vinebook.seasons.counting import KG_OF_MG
from vinebook.seasons.estimates import all_cells, copied, per_metre_column
from vinebook.seasons.notes import Note, Remark
from vinebook.seasons.standing import FULL_COUNT, stand_on

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vinebook.seasons.counting import Fruit
    from vinebook.seasons.gathered import Gathered
    from vinebook.seasons.places import Stand

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

YOUNG_SHARE_SAID = 0.05
"""Above this share of young vines a yield says that their fruit is in it."""
NO_FIRST_DAY = np.iinfo(np.int64).max


@dataclass(slots=True)
class Yields:
    """The columns of the harvest, and what the ratio and the component check need of them.

    Attributes
    ----------
    per_vine : yield per bearing vine.
    per_vine_se, per_vine_df : its standard error (0 for a full count) and degrees of freedom.
    from_vines : cells whose yield comes from vines picked alone.
    """

    columns: list[FigureColumn]
    crop: FigureColumn
    per_vine: FigureColumn
    per_vine_se: Floats
    per_vine_df: Floats
    from_vines: Bools


def crop_columns(gathered: Gathered) -> tuple[FigureColumn, FigureColumn]:
    """Make the columns of crop and delivered fruit, in tonnes."""
    crops = gathered.crops
    crop = new_column("crop", all_cells(gathered), "loads and fruit left on the vine")
    crop.value = crops.crop_kg / 1000
    crop.on_harvest = np.ones(len(crop), dtype=np.bool_)
    crop.dated_on = np.where(crops.first_day == NO_FIRST_DAY, NO_DATE, crops.first_day)
    crop.chosen[:] = FULL_COUNT
    has_record = (crops.loads > 0) | crops.is_closed
    crop.mark(has_record & crops.is_unsplit, PARTIAL, Note.UNSPLIT)
    crop.mark(crops.is_open, PARTIAL, Note.OPEN_TICKET)
    crop.mark(has_record & ~crops.is_closed, PARTIAL, Note.NOT_CLOSED)
    is_past = gathered.last_close[gathered.cells.block] > gathered.cells.season
    crop.mark(~has_record & is_past, UNKNOWN, Note.NO_HARVEST)
    crop.mark(~has_record & ~is_past, PENDING, Note.HARVEST_AWAITED)
    crop.note(crops.is_whole & (crops.crop_kg == 0), Note.TRUE_ZERO)
    to_machine, to_hand = _picked_otherwise(gathered)
    vines = gathered.first_crops
    for where, remark in (
        (to_machine, Remark.NOW_BY_MACHINE),
        (to_hand, Remark.NOW_BY_HAND),
        (vines.is_first & ~vines.is_grafted, Remark.FIRST_CROP),
        (vines.is_first & vines.is_grafted, Remark.FIRST_AFTER_GRAFTING),
    ):
        crop.remark(where, remark)
    delivered = copied(crop, "delivered")
    delivered.basis = "net of the loads less refused and deducted mass"
    delivered.value = np.where(has_record, crops.accepted_kg / 1000, np.nan)
    return crop, delivered


def _picked_otherwise(gathered: Gathered) -> tuple[Bools, Bools]:
    """Say where fruit was picked by machine and by hand the season before, and where the other way round."""
    crops, cells = gathered.crops, gathered.cells
    machine, has = crops.by_machine > 0, crops.loads > 0
    changed = np.zeros(len(cells), dtype=np.bool_)
    same = cells.block[1:] == cells.block[:-1]
    changed[1:] = same & has[1:] & has[:-1] & (machine[1:] != machine[:-1])
    return changed & machine, changed & ~machine


def yield_columns(gathered: Gathered, fruit: Fruit) -> Yields:
    """Make the columns of crop and yields.

    Where no crop is recorded at all, yields come from vines picked alone. A crop that is not whole gives partial
    yields: what is known so far.
    """
    crop, delivered = crop_columns(gathered)
    from_vines = (crop.status != KNOWN) & (crop.status != PARTIAL) & np.isfinite(fruit.per_vine.value)
    day = np.where(from_vines, fruit.choice.day, crop.dated_on)
    stand, census, is_later = stand_on(gathered, day)
    young = ((crop.status == KNOWN) | (crop.status == PARTIAL)) & (crop.value > 0)
    for column in (crop, delivered):
        column.note(young & (stand.young_share > YOUNG_SHARE_SAID), Note.YOUNG)
        column.census = np.where((column.notes & Note.YOUNG) > 0, census, column.census)
    per_vine, se, df = _yield_per_vine(gathered, crop, fruit, from_vines, stand)
    _say_stand(per_vine, crop, stand, census, is_later, where=~from_vines)
    per_ha = _yield_on(gathered, crop, per_vine, stand, from_vines, (se, df), "yield_per_ha")
    per_row = _yield_on(gathered, crop, per_vine, stand, from_vines, (se, df), "yield_per_m_planted")
    for column in (per_ha, per_row):
        _say_stand(column, crop, stand, census, is_later, where=from_vines)
    per_m = per_metre_column(per_vine, "yield_per_m", gathered, "yield per bearing vine ÷ its canopy")
    return Yields([crop, delivered, per_vine, per_ha, per_m, per_row], crop, per_vine, se, df, from_vines)


def _say_stand(
    column: FigureColumn, crop: FigureColumn, stand: Stand, census: Ints, is_later: Bools, *, where: Bools
) -> None:
    """Say of a yield which census it rests on, where it rests on one, and that young vines' fruit is in it."""
    used = where & np.isfinite(column.value)
    column.census = np.where(used, census, column.census)
    column.note(used & is_later, Note.CENSUS_LATER)
    column.note(used & stand.is_sampled, Note.CENSUS_SAMPLED)
    is_young = (crop.notes & Note.YOUNG) > 0
    column.note(is_young & np.isfinite(column.value), Note.YOUNG)
    column.census = np.where(is_young, census, column.census)


def _yield_per_vine(
    gathered: Gathered, crop: FigureColumn, fruit: Fruit, from_vines: Bools, stand: Stand
) -> tuple[FigureColumn, Floats, Floats]:
    """Give crop ÷ bearing vines, or the mean of vines picked alone; standard error and degrees of freedom."""
    column = copied(crop, "yield_per_vine")
    column.basis = "crop ÷ bearing vines"
    has = np.isfinite(crop.value)
    bearing = np.where(stand.bearing > 0, stand.bearing, np.nan)
    ratio = log_ratio_interval(
        1000 * crop.value, np.zeros(len(has)), np.nan, bearing, stand.bearing_se, stand.bearing_df
    )
    column.value = ratio.ratio.copy()
    counted_rows = stand.is_sampled & (crop.status == KNOWN)
    column.low = np.where(counted_rows, ratio.low, np.nan)
    column.high = np.where(counted_rows, ratio.high, np.nan)
    column.n = np.where(counted_rows, stand.rows, NO_N)
    by_eye = gathered.crops.is_by_eye & has
    column.drop_interval(by_eye, Note.BY_EYE)
    column.mark(has & np.isnan(stand.bearing), UNKNOWN, Note.NO_CENSUS)
    column.mark(has & (stand.bearing == 0), UNKNOWN, Note.NO_BEARING_VINES)
    with np.errstate(divide="ignore", invalid="ignore"):
        se = column.value * stand.bearing_se / bearing
    for name in ("value", "low", "high", "n", "chosen", "dated_on", "census", "spread"):
        getattr(column, name)[from_vines] = getattr(fruit.per_vine, name)[from_vines]
    column.on_samples, column.on_harvest = resting_where(fruit.per_vine, from_vines), ~from_vines
    column.weighed_by[from_vines] = fruit.per_vine.weighed_by[from_vines]
    column.status[from_vines] = KNOWN
    column.notes[from_vines] = fruit.per_vine.notes[from_vines] | int(Note.FROM_VINES)
    has_interval = np.isfinite(fruit.per_vine.low)
    alone_se = np.where(has_interval, fruit.moments.ratio_se * KG_OF_MG, np.nan)
    df = np.where(from_vines, fruit.moments.df, stand.bearing_df)
    return column, np.where(from_vines, alone_se, se), df


def _yield_on(
    gathered: Gathered,
    crop: FigureColumn,
    per_vine: FigureColumn,
    stand: Stand,
    from_vines: Bools,
    spread: tuple[Floats, Floats],
    name: str,
) -> FigureColumn:
    """Give the crop on an area (t/ha) or on all row planted (kg/m); bearing vines × yield where none is recorded."""
    column = copied(crop, name)
    area = gathered.planted_area_ha
    if name == "yield_per_ha":
        surveyed = gathered.blocks.surveyed_area_ha[gathered.cells.block]
        divisor = np.where(np.isnan(area), surveyed, area) * 1000
        column.basis = "crop ÷ planted area"
    else:
        divisor = gathered.positions * gathered.vine_spacing_m
        column.basis = "crop ÷ positions × vine spacing"
    known = np.isfinite(crop.value)
    column.value = 1000 * crop.value / divisor
    product = log_product_interval(
        np.stack([np.where(from_vines, per_vine.value, np.nan), stand.bearing], axis=1),
        np.stack([spread[0], stand.bearing_se], axis=1),
        np.stack([spread[1], stand.bearing_df], axis=1),
    )
    for target, numbers in (("value", product.product), ("low", product.low), ("high", product.high)):
        getattr(column, target)[from_vines] = (numbers / divisor)[from_vines]
    for target in ("n", "chosen", "dated_on", "spread"):
        getattr(column, target)[from_vines] = getattr(per_vine, target)[from_vines]
    column.spread[from_vines] = np.nan
    column.on_samples, column.on_harvest = per_vine.on_samples, per_vine.on_harvest
    column.weighed_by = per_vine.weighed_by.copy()
    column.status[from_vines] = KNOWN
    column.notes[from_vines] = per_vine.notes[from_vines] & ~int(Note.YOUNG)
    no_interval = from_vines & np.isnan(per_vine.low)
    column.low[no_interval] = np.nan
    column.high[no_interval] = np.nan
    concerned = known | from_vines
    column.mark(from_vines & np.isnan(stand.bearing), UNKNOWN, Note.NO_CENSUS)
    column.mark(concerned & np.isnan(divisor), UNKNOWN, Note.NO_PLANTING)
    if name == "yield_per_ha":
        column.note(np.isfinite(column.value) & np.isnan(area), Note.SURVEYED)
    return column


def must_columns(gathered: Gathered) -> list[FigureColumn]:
    """Make the columns of must figures: per pick, and of the season within one purpose."""
    picks = gathered.picks
    columns: list[FigureColumn] = []
    figures = (
        ("soluble_solids", picks.solids, picks.solids_kg, picks.solids_loads, "mean of the tickets, weighted by mass"),
        ("ph", picks.ph, picks.ph_loads.astype(np.float64), picks.ph_loads, "mean of the readings"),
        (
            "titratable_acidity",
            picks.acidity,
            picks.acidity_kg,
            picks.acidity_loads,
            "mean of the tickets, weighted by mass",
        ),
    )
    ours = np.flatnonzero(gathered.pick_cell >= 0)
    key = gathered.pick_cell[ours] * 100 + picks.pick[ours]
    keys, at = np.unique(key, return_inverse=True)
    of_pick = np.zeros(len(keys), dtype=np.int64)
    np.bitwise_or.at(of_pick, at, 1 << picks.purpose[ours])
    for name, values, weights, loads, basis in figures:
        per_pick = new_column(name, keys // 100, basis)
        per_pick.pick = keys % 100
        season = new_column(name, all_cells(gathered), basis)
        season.on_harvest = per_pick.on_harvest = np.ones(len(season), dtype=np.bool_)
        for column, where in ((season, gathered.pick_cell[ours]), (per_pick, at)):
            _fill_must(column, where, values[ours], weights[ours], loads[ours])
        purposes = gathered.crops.purposes
        several = (purposes & (purposes - 1)) > 0
        season.mark(several & np.isfinite(season.value), UNKNOWN, Note.PURPOSES)
        season.mark(np.isnan(season.value) & ~several, UNKNOWN, Note.NO_MUST)
        season.mark(np.isnan(season.value) & several & (season.status == KNOWN), UNKNOWN, Note.NO_MUST)
        not_closed = np.isfinite(season.value) & ~gathered.crops.is_closed
        season.mark(not_closed, PARTIAL, Note.NOT_CLOSED)
        known = np.isfinite(per_pick.value)
        per_pick.mark(known & ((of_pick & (of_pick - 1)) > 0), UNKNOWN, Note.PURPOSES)
        columns += [season, per_pick.kept(known)]
    return columns


def _fill_must(column: FigureColumn, where: Ints, values: Floats, weights: Floats, loads: Ints) -> None:
    total, weight = np.zeros(len(column)), np.zeros(len(column))
    count = np.zeros(len(column), dtype=np.int64)
    np.add.at(total, where, values)
    np.add.at(weight, where, weights)
    np.add.at(count, where, loads)
    with np.errstate(divide="ignore", invalid="ignore"):
        column.value = np.where(weight > 0, total / weight, np.nan)
    column.n = np.where(count > 0, count, NO_N)
