"""Fruit against wood: the wood of a season is weighed at the pruning that sets the next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Select, and_, case, cast, exists, func, select

from vinebook.formulas.fieller import fieller_interval
from vinebook.formulas.products import log_product_interval
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.ratios import log_ratio_interval
from vinebook.records.tables import TABLES
from vinebook.records.types import Whole
from vinebook.seasons.columns import KNOWN, NO_N, PARTIAL, PENDING, UNKNOWN, FigureColumn, new_column, resting_where
from vinebook.seasons.counting import KG_OF_MG
from vinebook.seasons.estimates import all_cells, bounded_covariance, own_cv, per_metre_column, shifted
from vinebook.seasons.measures import N
from vinebook.seasons.notes import Note, Remark
from vinebook.seasons.places import live, population_correction
from vinebook.seasons.samples import HAND_PICKED, Moments, fill_moments, no_moments
from vinebook.seasons.sufficing import too_few

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.counting import BothCounts, Wood
    from vinebook.seasons.cropping import Yields
    from vinebook.seasons.gathered import Gathered

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Pairs = tuple[Ints, Ints]

PAIRED_SHARE = 0.5
"""Fruit and wood are paired by vine where at least this share of the smaller sample is in both."""

MANY_DF = 1e9
"""Degrees of freedom of a standard error that was taken back from an interval at the normal quantile."""


def wood_columns(gathered: Gathered, wood: Wood) -> list[FigureColumn]:
    """Make the columns of the wood grown in each season, weighed at the next visit, on this season's canopy."""
    per_vine, cane = shifted(wood.prunings_per_vine), shifted(wood.cane_weight)
    status, notes = wood_status(gathered, wood)
    for column in (per_vine, cane):
        missing = ~np.isfinite(column.value) | (status != KNOWN)
        replaced = missing & (status != KNOWN)
        for numbers in (column.value, column.low, column.high, column.spread):
            numbers[missing] = np.nan
        column.n[missing] = NO_N
        column.status[replaced] = status[replaced]
        column.notes[replaced] = notes[replaced]
    per_m = per_metre_column(per_vine, "prunings_per_m", gathered, "prunings ÷ canopy of the season the wood grew in")
    for column in (per_vine, per_m, cane):
        column.remark(gathered.cells.is_before, Remark.BEFORE_RECORD)
    return [per_vine, per_m, cane]


def wood_status(gathered: Gathered, wood: Wood) -> tuple[NDArray[np.int8], Ints]:
    """Give of each cell whether its wood is known, and if not what it waits for."""
    cells, size = gathered.cells, len(gathered.cells)

    def next_of(values: NDArray[np.generic]) -> NDArray[np.generic]:
        return values[np.minimum(np.arange(size) + 1, max(size - 1, 0))]

    next_planting_from = np.asarray(next_of(gathered.planting_from))
    replanted = (next_planting_from == cells.season + 1) & np.asarray(next_of(gathered.is_new_vines))
    # A planting that follows with the same vines (measured anew, grafted over) does not end the wait.
    no_successor = np.asarray(next_of(gathered.planting)) < 0
    has_wood = np.asarray(next_of(wood.prunings.n)) > 0
    visited = np.asarray(next_of(gathered.visits.has))
    counted = np.asarray(next_of(wood.choice.has))
    says_weighed = np.asarray(next_of(gathered.visits.says_weighed))
    later_closed = gathered.last_close[cells.block] > cells.season
    ends = gathered.blocks.to_season[cells.block] <= cells.season
    # The first that holds decides.
    cases: Sequence[tuple[Bools, int, Note]] = (
        # Only bearing vines are weighed, and new vines do not bear: the wood is of the vines that were grubbed.
        (has_wood, KNOWN, Note(0)),
        (np.asarray(next_of(wood.incomplete)) > 0, UNKNOWN, Note.WOOD_INCOMPLETE),
        (visited & says_weighed & ~later_closed, PENDING, Note.WEIGHTS_AWAITED),
        # Nodes that were checked while the crew was in the block say nothing yet of whether wood is weighed.
        (counted & ~visited & ~later_closed, PENDING, Note.WEIGHTS_AWAITED),
        (visited | counted, UNKNOWN, Note.WOOD_NOT_WEIGHED),
        (ends, UNKNOWN, Note.BLOCK_ENDED),
        (replanted | (gathered.is_last_of_planting & no_successor), UNKNOWN, Note.PLANTING_ENDED),
        (later_closed, UNKNOWN, Note.WOOD_PASSED),
        (np.ones(size, dtype=np.bool_), PENDING, Note.WOOD_AWAITED),
    )
    status = np.select([mask for mask, _, _ in cases], [code for _, code, _ in cases]).astype(np.int8)
    notes = np.select([mask for mask, _, _ in cases], [int(note) for _, _, note in cases]).astype(np.int64)
    return status, notes


def paired_moments(connection: Connection, gathered: Gathered) -> tuple[Moments, Ints, Bools, tuple[Pairs, ...]]:
    """Give fruit (y) and wood (x) in mg of the vines that were both picked alone and pruned.

    Only for seasons without any load or close; panels are the units where panels were drawn. With them go how the vines
    were chosen, the cells that were picked by hand, and the samples of each cell.
    """
    size = len(gathered.cells)
    moments, chosen = no_moments(size), np.zeros(size, dtype=np.int64)
    samples = gathered.samples
    if not (samples.has("vine_harvest") and samples.has("pruned_vine")):
        return moments, chosen, chosen > 0, ()
    rows = np.array([tuple(row) for row in connection.execute(_paired_statement(gathered))], dtype=np.int64).reshape(
        -1, 9
    )
    total, drawn = np.zeros((size, 6), dtype=np.int64), np.zeros(size, dtype=np.int64)
    if len(rows):
        rows = rows[np.isin(rows[:, 0], samples.record) & np.isin(rows[:, 1], samples.record)]
    fruit_at = np.searchsorted(samples.record, rows[:, 0])
    wood_at = np.searchsorted(samples.record, rows[:, 1])
    hand_cell = np.zeros(size, dtype=np.bool_)
    both = samples.chosen[fruit_at] | samples.chosen[wood_at]
    cell = samples.cell[fruit_at]
    is_drawn = (both & HAND_PICKED) == 0
    has_drawn = np.zeros(size, dtype=np.bool_)
    has_drawn[cell[is_drawn]] = True
    used = is_drawn | ~has_drawn[cell]
    np.add.at(total, cell[used], rows[used, 3:])
    np.add.at(drawn, cell[used], rows[used, 2])
    np.bitwise_or.at(chosen, cell[used], both[used])
    hand_cell[cell[used & ~is_drawn]] = True
    where = np.flatnonzero(total[:, N] > 0)
    correction = np.where(hand_cell, 1.0, population_correction(drawn.astype(np.float64), gathered.positions))
    fill_moments(moments, where, total[where], correction[where])
    moments.is_full[:] = (correction == 0) & (moments.n > 0)
    pairs = ((cell[used], fruit_at[used]), (cell[used], wood_at[used]))
    return moments, chosen, hand_cell, pairs


def _paired_statement(gathered: Gathered) -> Select[Any]:
    fruit, wood, sample = TABLES["vine_harvest"], TABLES["pruned_vine"], TABLES["sample"]
    fruit_sample, wood_sample = sample.alias("fruit_sample"), sample.alias("wood_sample")
    close, part, load = TABLES["harvest_close"], TABLES["load_part"], TABLES["load"]
    in_panels = and_(fruit_sample.c.chosen == "panels", wood_sample.c.chosen == "panels")
    place = case((in_panels, (fruit.c.vine - 1) // fruit_sample.c.panel_size), else_=fruit.c.vine)
    inner = (
        select(
            fruit.c.sample.label("fruit_sample"),
            wood.c.sample.label("wood_sample"),
            func.count().label("vines"),
            cast(func.sum(fruit.c.mass_mg), Whole).label("y"),
            cast(func.sum(wood.c.prunings_mg), Whole).label("x"),
        )
        .select_from(fruit_sample)
        .join(
            wood_sample,
            and_(
                wood_sample.c.block == fruit_sample.c.block,
                wood_sample.c.season == fruit_sample.c.season + 1,
                wood_sample.c.counts == "pruned_vine",
                live(wood_sample),
            ),
        )
        .join(fruit, and_(fruit.c.sample == fruit_sample.c.record, live(fruit)))
        .join(
            wood,
            and_(
                wood.c.sample == wood_sample.c.record,
                wood.c.row == fruit.c.row,
                wood.c.vine == fruit.c.vine,
                live(wood),
            ),
        )
        .where(
            live(fruit_sample),
            fruit_sample.c.counts == "vine_harvest",
            fruit.c.state == "bearing",
            fruit.c.mass_mg.is_not(None),
            wood.c.state == "bearing",
            wood.c.wood == "complete",
            wood.c.prunings_mg.is_not(None),
            ~exists().where(
                close.c.block == fruit_sample.c.block, close.c.season == fruit_sample.c.season, live(close)
            ),
            ~exists().where(
                part.c.block == fruit_sample.c.block,
                load.c.record == part.c.load,
                load.c.season == fruit_sample.c.season,
                live(part),
                live(load),
            ),
        )
        .group_by(fruit.c.sample, wood.c.sample, fruit.c.row, place)
    )
    blocks = gathered.blocks
    if blocks.asked is not None:
        inner = inner.where(fruit_sample.c.block.in_(blocks.asked))
    if gathered.samples.seasons is not None:
        inner = inner.where(fruit_sample.c.season.between(*gathered.samples.seasons))
    unit = inner.subquery("unit").c
    products = (unit.x, unit.y, unit.x * unit.x, unit.y * unit.y, unit.x * unit.y)
    return select(
        unit.fruit_sample,
        unit.wood_sample,
        cast(func.sum(unit.vines), Whole),
        func.count(),
        *(cast(func.sum(number), Whole) for number in products),
    ).group_by(unit.fruit_sample, unit.wood_sample)


def ratio_to_prunings(
    connection: Connection, gathered: Gathered, yields: Yields, wood: Wood, prunings: FigureColumn
) -> FigureColumn:
    """Make the column of yield to prunings.

    The crop of a closed harvest is a full count: the interval is that of the wood (and of a sampled census). Fruit
    and wood of the same vines: paired Fieller. Two samples: the log-ratio.
    """
    column = new_column("yield_to_prunings", all_cells(gathered), "crop ÷ prunings, per bearing vine")
    per_vine = yields.per_vine
    wood_se, wood_df = _next_spread(wood)
    wood_se = np.where(np.isfinite(prunings.low), wood_se, np.nan)
    known = (per_vine.status == KNOWN) & (prunings.status == KNOWN) & (prunings.value > 0)
    fruit = np.where(known, per_vine.value, np.nan)
    base = np.where(known, prunings.value, np.nan)
    ratio = log_ratio_interval(fruit, yields.per_vine_se, yields.per_vine_df, base, wood_se, wood_df)
    column.value, column.low, column.high = ratio.ratio.copy(), ratio.low.copy(), ratio.high.copy()
    column.n, column.chosen = prunings.n.copy(), prunings.chosen.copy()
    column.dated_on, column.census = prunings.dated_on.copy(), per_vine.census.copy()
    column.on_samples = (*per_vine.on_samples, *prunings.on_samples)
    column.on_harvest, column.weighed_by = per_vine.on_harvest, prunings.weighed_by.copy()
    passed_on = int(
        Note.NO_VARIATION | Note.YOUNG | Note.CENSUS_LATER | Note.CENSUS_SAMPLED | Note.FROM_VINES | Note.TRUE_ZERO
    )
    wood_notes = int(
        Note.WOOD_PARTLY | Note.HAND_LEFT_OUT | Note.POOLED_PARTS | Note.ONE_UNIT | Note.FEW | Note.NO_VARIATION
    )
    column.notes = np.where(known, per_vine.notes & passed_on | prunings.notes & wood_notes, 0)
    column.remarks = np.where(known, per_vine.remarks, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        g = (t_quantile(wood_df) * wood_se / base) ** 2
    column.drop_interval(known & (g >= 1), Note.UNBOUNDED)
    by_hand = ((prunings.notes | per_vine.notes) & Note.HAND_PICKED) > 0
    column.drop_interval(known & by_hand, Note.HAND_PICKED)
    column.drop_interval(known & ((per_vine.notes & Note.BY_EYE) > 0), Note.BY_EYE)
    column.note(known & (column.value == 0), Note.ZERO_CROP_RATIO)
    _pair(column, known & yields.from_vines, paired_moments(connection, gathered), per_vine)
    _say_why(column, known, yields, prunings)
    return column


def _next_spread(wood: Wood) -> tuple[Floats, Floats]:
    """Give standard error in kg and degrees of freedom of the wood, moved to the season that it grew in."""
    size = len(wood.prunings.n)
    order = np.minimum(np.arange(size) + 1, max(size - 1, 0))
    return (wood.prunings.ratio_se * KG_OF_MG)[order], wood.prunings.df[order]


def _pair(
    column: FigureColumn,
    where: Bools,
    paired: tuple[Moments, Ints, Bools, tuple[Pairs, ...]],
    per_vine: FigureColumn,
) -> None:
    """Take the ratio of the same vines where enough of them were both picked alone and pruned."""
    moments, chosen, by_hand, pairs = paired
    smaller = np.minimum(column.n, per_vine.n)
    where = where & (moments.n > 0) & (moments.n >= PAIRED_SHARE * smaller) & (moments.x > 0)
    fieller = fieller_interval(
        moments.y, moments.var_y, moments.x, moments.var_x, bounded_covariance(moments), t_quantile(moments.df)
    )
    numbers = (
        ("value", moments.ratio),
        ("low", np.where(moments.is_full, moments.ratio, np.maximum(fieller.low, 0.0))),
        ("high", np.where(moments.is_full, moments.ratio, fieller.high)),
        ("n", moments.n),
        ("chosen", chosen.astype(np.int16)),
    )
    for name, values in numbers:
        getattr(column, name)[where] = values[where]
    same = tuple((cell[where[cell]], sample[where[cell]]) for cell, sample in pairs)
    column.on_samples = (*resting_where(column, ~where), *same)
    column.notes[where] &= ~int(Note.UNBOUNDED | Note.FEW | Note.ONE_UNIT | Note.HAND_PICKED | Note.NO_VARIATION)
    column.note(where, Note.SAME_VINES)
    column.drop_interval(where & by_hand, Note.HAND_PICKED)
    drawn = where & ~by_hand & ~moments.is_full
    column.note(drawn & (moments.n == 1), Note.ONE_UNIT)
    column.note(drawn & (fieller.g >= 1), Note.UNBOUNDED)
    column.note(
        drawn & (moments.n > 1) & too_few("ratio", moments.n, own_cv(moments)) & np.isfinite(column.low), Note.FEW
    )


def _say_why(column: FigureColumn, known: Bools, yields: Yields, prunings: FigureColumn) -> None:
    """Give the status of a ratio that cannot be worked out: lost for good, partial, or waiting."""
    per_vine = yields.per_vine
    neither = ~known
    reasons = np.where(per_vine.status != KNOWN, per_vine.notes & ~int(Note.YOUNG), 0)
    reasons |= np.where(prunings.status != KNOWN, prunings.notes, 0)
    zero_wood = neither & (per_vine.status == KNOWN) & (prunings.status == KNOWN)
    status = np.select(
        [
            (per_vine.status == UNKNOWN) | (prunings.status == UNKNOWN) | zero_wood,
            per_vine.status == PARTIAL,
        ],
        [UNKNOWN, PARTIAL],
        PENDING,
    )
    column.mark(neither, UNKNOWN, 0)
    column.status[neither] = status[neither]
    column.notes[neither] = np.where(zero_wood, int(Note.UNBOUNDED), reasons)[neither]


def component_check(
    gathered: Gathered,
    yields: Yields,
    shoot_counts: BothCounts,
    per_shoot_counts: BothCounts,
    cluster_counts: BothCounts,
    weight: FigureColumn,
) -> FigureColumn:
    """Make the column of the component check: crop by components less the crop, in % of the crop.

    Shoots × clusters per shoot × cluster weight, by the latest counts; where these are not all known, or only the
    clusters on the vine were counted after thinning, clusters × cluster weight. A crop is picked after thinning: what
    rests on a count before it says so.
    """
    shoots, per_shoot, clusters = (both.latest for both in (shoot_counts, per_shoot_counts, cluster_counts))
    shoots_after = np.isfinite(shoot_counts.after.value) & np.isfinite(per_shoot_counts.after.value)
    clusters_after = np.isfinite(cluster_counts.after.value)
    column = new_column("component_check", all_cells(gathered), "shoots × clusters per shoot × cluster weight ÷ crop")
    crop = yields.per_vine
    known = (crop.status == KNOWN) & ~yields.from_vines & (crop.value > 0)
    by_clusters = np.isfinite(clusters.value) & np.isfinite(weight.value)
    by_shoots = np.isfinite(shoots.value) & np.isfinite(per_shoot.value) & np.isfinite(weight.value)
    by_shoots &= ~(by_clusters & clusters_after & ~shoots_after)
    by_clusters &= ~by_shoots
    factors = np.stack(
        [
            np.where(by_shoots, shoots.value, clusters.value),
            np.where(by_shoots, per_shoot.value, 1.0),
            weight.value / 1000,
            np.where(known, crop.value, np.nan),
        ],
        axis=1,
    )
    spread = np.stack(
        [
            np.where(by_shoots, _log_spread(shoots), _log_spread(clusters)),
            np.where(by_shoots, _log_spread(per_shoot), 0.0),
            _log_spread(weight) / 1000,
            yields.per_vine_se,
        ],
        axis=1,
    )
    product = log_product_interval(factors, spread, np.full(4, MANY_DF), powers=np.array([1.0, 1.0, 1.0, -1.0]))
    for name, values in (("value", product.product), ("low", product.low), ("high", product.high)):
        setattr(column, name, 100 * (values - 1))
    column.note(known & by_clusters, Note.FROM_CLUSTERS)
    is_after = np.where(by_shoots, shoots_after, clusters_after)
    checked = known & (by_shoots | by_clusters)
    column.remark(checked & _thinned(gathered) & ~is_after, Remark.COUNTED_BEFORE)
    column.remark(checked & (gathered.crops.by_machine > 0), Remark.WITHOUT_RACHIS)
    column.notes |= np.where(checked, crop.notes & int(Note.YOUNG | Note.CENSUS_LATER | Note.CENSUS_SAMPLED), 0)
    rests_on = np.where(by_shoots, shoots.notes | per_shoot.notes, clusters.notes) | weight.notes
    column.drop_interval(known & ((rests_on & Note.HAND_PICKED) > 0), Note.HAND_PICKED)
    column.drop_interval(known & ((crop.notes & Note.BY_EYE) > 0), Note.BY_EYE)
    why = int(Note.ONE_UNIT | Note.ONE_LOT | Note.UNBOUNDED | Note.NO_VARIATION)
    column.notes |= np.where(known & np.isfinite(column.value) & np.isnan(column.low), rests_on & why, 0)
    column.census = np.where(known, crop.census, column.census)
    column.on_harvest = crop.on_harvest
    column.on_samples = (
        *resting_where(shoots, by_shoots),
        *resting_where(per_shoot, by_shoots),
        *resting_where(clusters, by_clusters),
        *resting_where(weight, by_shoots | by_clusters),
    )
    waiting = ~known
    column.mark(known & ~(by_shoots | by_clusters), UNKNOWN, Note.NEEDS_OTHERS)
    column.mark(waiting, UNKNOWN, 0)
    column.status[waiting] = np.where(crop.status[waiting] == KNOWN, UNKNOWN, crop.status[waiting])
    column.notes[waiting] = np.where(crop.status == KNOWN, int(Note.NO_HARVEST), crop.notes & ~int(Note.YOUNG))[waiting]
    return column


def _thinned(gathered: Gathered) -> Bools:
    """Tell of each cell whether something was counted after thinning: then there was one."""
    samples = gathered.samples
    result = np.zeros(len(gathered.cells), dtype=np.bool_)
    for kind in ("shoot_tally", "node_tally", "cluster_tally"):
        counts = samples.of(kind)
        result[samples.cell[counts[samples.is_after[counts]]]] = True
    return result


def _log_spread(column: FigureColumn) -> Floats:
    """Give the standard error that belongs to a column's interval at the normal quantile; NaN without an interval.

    Taken on the log scale, or as half the width where the interval reaches down to zero.
    """
    reaches_zero = column.low <= 0
    with np.errstate(divide="ignore", invalid="ignore"):
        half = column.value * np.log(column.high / np.where(reaches_zero, np.nan, column.low)) / 2
    half = np.where(reaches_zero, (column.high - column.low) / 2, half)
    return np.asarray(half / t_quantile(np.inf), dtype=np.float64)
