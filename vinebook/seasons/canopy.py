"""Figures of spur positions, buds, canopy probes and leaves; only for the seasons in which they were counted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.fieller import fieller_interval
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.ratios import log_ratio_interval
from vinebook.seasons.balance import PAIRED_SHARE
from vinebook.seasons.canopy_sums import (
    CM2_PER_M2,
    STEPS_PER_M,
    read_leaf_and_fruit,
    sum_bearers,
    sum_buds,
    sum_probes,
    sums_of_units,
)
from vinebook.seasons.columns import KNOWN, UNKNOWN, FigureColumn, new_column, resting_where
from vinebook.seasons.counting import KG_OF_MG, counted
from vinebook.seasons.estimates import (
    all_cells,
    bounded_covariance,
    mean_column,
    own_cv,
    ratio_column,
    share_column,
)
from vinebook.seasons.measures import BEARING, Measure, N, sum_rows
from vinebook.seasons.notes import Note, Remark
from vinebook.seasons.places import population_correction
from vinebook.seasons.samples import HAND_PICKED, Moments, fill_moments, no_moments
from vinebook.seasons.sufficing import too_few

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.counting import Counted, Fruit
    from vinebook.seasons.cropping import Yields
    from vinebook.seasons.gathered import Gathered

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]

CM_OF_STEP = 100 / STEPS_PER_M
M2_OF_CM2 = 1 / CM2_PER_M2
PER_TRANSECT = "canopy probes by transect"
LEAF_MEASURE = (Measure("leaf", f"CASE WHEN {BEARING} THEN CAST(ROUND(leaf_area_m2 * {CM2_PER_M2}) AS BIGINT) END"),)


def canopy_columns(connection: Connection, gathered: Gathered, yields: Yields, fruit: Fruit) -> list[FigureColumn]:
    """Make the columns of spurs, buds, probes and leaves.

    Parameters
    ----------
    connection, gathered : an open connection, and what was read.
    yields, fruit : yield per bearing vine, and the vines picked alone: what leaf area is divided by.
    """
    return [
        *_spurs(connection, gathered),
        *_buds(connection, gathered),
        *_probes(connection, gathered),
        *_leaf_to_fruit(connection, gathered, yields, fruit),
    ]


def _counted_only(columns: list[FigureColumn], count: Counted, measure: str) -> list[FigureColumn]:
    has = count.choice(measure).has
    return [column.kept(has) for column in columns]


def _spurs(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    if not gathered.samples.has("bearer"):
        return []
    aggregates = sum_bearers(connection, gathered.samples, len(gathered.cells))
    count = counted(gathered, "bearer", aggregates)
    before = counted(gathered, "bearer", aggregates, after=False)
    on_arm = "spur positions along each arm"
    within = "gaps within 10–15 cm (common practice, no source) or within the own band of spur_spacing"
    columns = [
        ratio_column("spur_spacing", *count.of("spacing"), CM_OF_STEP, on_arm),
        share_column("spur_spacing_within_share", *count.of("within"), within),
        mean_column(
            "longest_bare_cordon", *count.of("bare"), CM_OF_STEP, "to the end of the arm, where it was measured"
        ),
        ratio_column("shoots_per_spur", *before.of("shoots"), 1.0, "spurs before thinning"),
    ]
    for column in columns:
        column.mark(gathered.pruned == "cane", UNKNOWN, 0)
        column.notes[gathered.pruned == "cane"] = int(Note.CANE_PRUNED)
    return [
        *_counted_only(columns[:3], count, "spacing"),
        *_counted_only(columns[3:], before, "shoots"),
    ]


def _buds(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    if not gathered.samples.has("bud_sample"):
        return []
    count = counted(gathered, "bud_sample", sum_buds(connection, gathered.samples))
    column = share_column("bud_mortality", *count.of("dead"), "buds cut open, by cane")
    _say_probed(column)
    return _counted_only([column], count, "dead")


def _probes(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    if not gathered.samples.has("canopy_probe"):
        return []
    count = counted(gathered, "canopy_probe", sum_probes(connection, gathered.samples))
    columns = [
        ratio_column("leaf_layer_number", *count.of("layers"), 1.0, PER_TRANSECT),
        share_column("gap_share", *count.of("gaps"), PER_TRANSECT),
        share_column("interior_leaf_share", *count.of("interior_leaves"), PER_TRANSECT),
        share_column("interior_cluster_share", *count.of("interior_clusters"), PER_TRANSECT),
    ]
    for column in columns:
        nothing = (column.notes & Note.NO_BEARING) > 0
        column.notes[nothing] = int(Note.NO_CONTACT)
        _say_probed(column)
    return _counted_only(columns, count, "layers")


def _say_probed(column: FigureColumn) -> None:
    """Say transect or cane where the notes say vine or panel."""
    for of_vines, of_probed in ((Note.ONE_UNIT, Note.ONE_PROBED), (Note.FEW, Note.FEW_PROBED)):
        has = (column.notes & of_vines) > 0
        column.notes[has] += int(of_probed) - int(of_vines)


def _leaf_to_fruit(connection: Connection, gathered: Gathered, yields: Yields, fruit: Fruit) -> list[FigureColumn]:
    """Make the column of leaf area to fruit: of the same vines, else of two samples."""
    if not gathered.samples.has("leaf_area"):
        return []
    count = counted(gathered, "leaf_area", sum_rows(connection, "leaf_area", LEAF_MEASURE, gathered.samples))
    choice, moments = count.of("leaf")
    leaf = mean_column("leaf_area_to_fruit", choice, moments, M2_OF_CM2)
    column = new_column("leaf_area_to_fruit", all_cells(gathered), "leaf area ÷ crop, per bearing vine")
    per_vine = yields.per_vine
    known = np.isfinite(leaf.value) & (per_vine.status == KNOWN) & (per_vine.value > 0)
    ratio = log_ratio_interval(
        np.where(known, leaf.value, np.nan),
        np.where(np.isfinite(leaf.low), moments.ratio_se * M2_OF_CM2, np.nan),
        moments.df,
        np.where(known, per_vine.value, np.nan),
        yields.per_vine_se,
        yields.per_vine_df,
    )
    column.value, column.low, column.high = ratio.ratio.copy(), ratio.low.copy(), ratio.high.copy()
    column.n, column.chosen, column.dated_on = leaf.n.copy(), leaf.chosen.copy(), leaf.dated_on.copy()
    column.census, column.weighed_by = per_vine.census.copy(), leaf.weighed_by.copy()
    column.on_samples = (*leaf.on_samples, *per_vine.on_samples)
    column.on_harvest = per_vine.on_harvest
    of_fruit = int(Note.YOUNG | Note.CENSUS_LATER | Note.CENSUS_SAMPLED | Note.FROM_VINES | Note.NO_VARIATION)
    column.notes = np.where(known, leaf.notes | per_vine.notes & of_fruit, 0)
    column.drop_interval(known & ((per_vine.notes & Note.HAND_PICKED) > 0), Note.HAND_PICKED)
    column.drop_interval(known & ((per_vine.notes & Note.BY_EYE) > 0), Note.BY_EYE)
    paired, chosen, pairs = _same_vines(connection, gathered)
    smaller = np.minimum(moments.n, fruit.moments.n)
    same = (paired.n > 0) & (paired.n >= PAIRED_SHARE * smaller) & (paired.x > 0)
    _take_same_vines(column, same, paired, chosen)
    if column.on_harvest is not None:
        column.on_harvest = column.on_harvest & ~same
    column.on_samples = (
        *resting_where(column, ~same),
        *((cell[same[cell]], sample[same[cell]]) for cell, sample in pairs),
    )
    missing = ~known & ~same
    column.mark(missing, UNKNOWN, 0)
    waits = missing & np.isfinite(leaf.value) & (per_vine.status != KNOWN)
    column.status[waits] = per_vine.status[waits]
    column.notes[missing] = np.where(np.isfinite(leaf.value), per_vine.notes, leaf.notes)[missing]
    no_crop = missing & np.isfinite(leaf.value) & (per_vine.status == KNOWN)
    column.notes[no_crop] = int(Note.UNBOUNDED)
    return _counted_only([column], count, "leaf")


def _same_vines(connection: Connection, gathered: Gathered) -> tuple[Moments, Ints, tuple[tuple[Ints, Ints], ...]]:
    """Give fruit (x, mg) and leaf area (y, cm²) of the same vines in each cell, drawn ones before hand-picked."""
    samples, cells = gathered.samples, len(gathered.cells)
    moments, chosen = no_moments(cells), np.zeros(cells, dtype=np.int64)
    leaf_sample, fruit_sample, vines, mass, area = read_leaf_and_fruit(connection, samples)
    if not len(leaf_sample):
        return moments, chosen, ()
    sums = sums_of_units(np.arange(len(vines)), vines, {"both": (mass, area)})
    leaf_at, fruit_at = (np.searchsorted(samples.record, sample) for sample in (leaf_sample, fruit_sample))
    cell = samples.cell[leaf_at]
    both = samples.chosen[leaf_at] | samples.chosen[fruit_at]
    is_drawn = (both & HAND_PICKED) == 0
    has_drawn = np.zeros(cells, dtype=np.bool_)
    has_drawn[cell[is_drawn]] = True
    used = is_drawn | ~has_drawn[cell]
    total, drawn = np.zeros((cells, 6), dtype=np.int64), np.zeros(cells, dtype=np.int64)
    np.add.at(total, cell[used], sums.sums["both"][used])
    np.add.at(drawn, cell[used], vines[used])
    np.bitwise_or.at(chosen, cell[used], both[used])
    where = np.flatnonzero(total[:, N] > 0)
    correction = population_correction(drawn.astype(np.float64), gathered.positions)
    fill_moments(moments, where, total[where], np.where((chosen & HAND_PICKED) > 0, 1.0, correction)[where])
    moments.is_full[:] = (correction == 0) & (moments.n > 0) & ((chosen & HAND_PICKED) == 0)
    return moments, chosen, ((cell[used], leaf_at[used]), (cell[used], fruit_at[used]))


def _take_same_vines(column: FigureColumn, where: Bools, paired: Moments, chosen: Ints) -> None:
    scale = M2_OF_CM2 / KG_OF_MG
    fieller = fieller_interval(
        paired.y, paired.var_y, paired.x, paired.var_x, bounded_covariance(paired), t_quantile(paired.df)
    )
    numbers = (
        ("value", paired.ratio * scale),
        ("low", np.where(paired.is_full, paired.ratio, np.maximum(fieller.low, 0.0)) * scale),
        ("high", np.where(paired.is_full, paired.ratio, fieller.high) * scale),
        ("n", paired.n),
        ("chosen", chosen.astype(np.int16)),
    )
    for name, values in numbers:
        getattr(column, name)[where] = values[where]
    column.notes[where] = 0
    column.remark(where, Remark.LEAF_SAME_VINES)
    by_hand = (chosen & HAND_PICKED) > 0
    column.drop_interval(where & by_hand, Note.HAND_PICKED)
    drawn = where & ~by_hand & ~paired.is_full
    column.note(drawn & (paired.n == 1), Note.ONE_UNIT)
    column.note(drawn & (fieller.g >= 1), Note.UNBOUNDED)
    column.note(drawn & (paired.n > 1) & too_few("ratio", paired.n, own_cv(paired)) & np.isfinite(column.low), Note.FEW)
