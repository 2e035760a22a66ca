"""The samples of blocks and seasons: which of them make one count, and their means with variances."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from sqlalchemy import select

from vinebook.formulas.moments import covariance_of_sums, mean_of_sums, variance_of_sums
from vinebook.formulas.sampling import stratified_df, stratified_mean, stratified_variance
from vinebook.records.tables import TABLES
from vinebook.seasons.columns import NO_CENSUS, NO_DATE
from vinebook.seasons.measures import SUM_X, SUM_XX, SUM_XY, SUM_Y, SUM_YY, N
from vinebook.seasons.places import columns_of, days_of, live, population_correction

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.measures import Aggregates
    from vinebook.seasons.places import Blocks, Censuses

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

CHOSEN = {"random": 1, "every_kth": 2, "panels": 4, "hand_picked": 8}
"""How vines were chosen, as bits: a count of several days may hold several ways."""
HAND_PICKED = CHOSEN["hand_picked"]
SAME_COUNT_DAYS = 7
"""Samples of one kind within this many days before the latest are one count; common practice, no source."""
WHOLE_SEASON_DAYS = 1_000
"""Wood and nodes do not change between leaf fall and bud break: all samples of a visit are one count."""
SAMPLED_KINDS = (
    *("pruned_vine", "shoot_tally", "node_tally", "cluster_tally", "cluster_lot", "vine_harvest"),
    *("bearer", "bud_sample", "canopy_probe", "leaf_area"),
)


@dataclass(slots=True)
class Samples:
    """The live samples in question, sorted by their permanent numbers.

    Attributes
    ----------
    blocks, seasons : whose samples; seasons as first and last, or None for all.
    kind : index in SAMPLED_KINDS.
    cell : index of block and season; set once the cells are known.
    """

    blocks: Blocks
    seasons: tuple[int, int] | None
    record: Ints
    block: Ints
    season: Ints
    kind: Ints
    day: Ints
    part: NDArray[np.str_]
    is_after: Bools
    chosen: Ints
    panel_size: Ints
    cell: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def has(self, kind: str) -> bool:
        """Say whether there is a sample of that kind."""
        return bool((self.kind == SAMPLED_KINDS.index(kind)).any())

    def has_panels(self, kind: str) -> bool:
        """Say whether panels were drawn in a sample of that kind."""
        return bool(((self.kind == SAMPLED_KINDS.index(kind)) & (self.chosen == CHOSEN["panels"])).any())

    def of(self, kind: str) -> Ints:
        """Give the indices of the samples of a kind."""
        return np.flatnonzero(self.kind == SAMPLED_KINDS.index(kind))


def read_samples(connection: Connection, blocks: Blocks, seasons: tuple[int, int] | None) -> Samples:
    """Read the live samples of blocks and seasons (first to last, or all)."""
    table = TABLES["sample"]
    c = table.c
    statement = select(c.record, c.block, c.season, c.counts, c.date, c.part, c.thinning, c.chosen, c.panel_size).where(
        live(table)
    )
    if seasons is not None:
        statement = statement.where(c.season.between(*seasons))
    rows = connection.execute(blocks.only(statement, c.block)).fetchall()
    read = columns_of(rows, 9)
    record = np.array(read[0], dtype=np.int64)
    code = {name: index for index, name in enumerate(SAMPLED_KINDS)}
    block = blocks.indices(read[1])
    known = np.array([name in code for name in read[3]], dtype=np.bool_) & (block >= 0)
    order = np.argsort(record, kind="stable")
    order = order[known[order]]
    return Samples(
        blocks,
        seasons,
        record[order],
        block[order],
        np.array(read[2], dtype=np.int64)[order],
        np.array([code.get(name, -1) for name in read[3]], dtype=np.int64)[order],
        days_of(read[4])[order],
        np.array(read[5], dtype=np.str_)[order],
        np.array([word == "after" for word in read[6]], dtype=np.bool_)[order],
        np.array([CHOSEN.get(word, HAND_PICKED) for word in read[7]], dtype=np.int64)[order],
        np.array([size or 1 for size in read[8]], dtype=np.int64)[order],
    )


@dataclass(slots=True)
class Choice:
    """The samples that make the count of each cell.

    Attributes
    ----------
    sample, cell : indices of the samples used, and the cell of each.
    has, day, chosen : of each cell: whether there is a count, its latest date, how its vines were chosen (bits).
    hand_left_out : cells where hand-picked vines were left out beside drawn ones.
    earlier : indices of the samples of earlier counts that the latest one replaces.
    """

    sample: Ints
    cell: Ints
    has: Bools
    day: Ints
    chosen: Ints
    hand_left_out: Bools
    earlier: Ints

    @property
    def is_hand(self) -> Bools:
        """Cells whose vines were picked by hand."""
        return (self.chosen & HAND_PICKED) > 0


def giving(samples: Samples, candidates: Ints, found: Ints, counts: Ints, cells: int) -> Ints:
    """Leave out the samples that do not give a measure, in the cells where others give it.

    Wood weighed in December and nodes counted in February are two samples of one kind; neither hides the other.

    Parameters
    ----------
    samples, candidates : all samples, and indices of those of one kind and thinning.
    found, counts : positions among the candidates, and how many units of each give the measure.
    cells : number of cells.
    """
    gives = np.zeros(len(candidates), dtype=np.bool_)
    gives[found] = counts > 0
    cell = samples.cell[candidates]
    has = np.zeros(cells, dtype=np.bool_)
    has[cell[gives]] = True
    return candidates[gives | ~has[cell]]


def choose(samples: Samples, candidates: Ints, cells: int, days: int = SAME_COUNT_DAYS) -> Choice:
    """Choose which samples make the count of each cell.

    Drawn vines stand before hand-picked ones and are never mixed with them. Of what remains, the samples within a
    week before the latest are one count done over several days. Where parts of a block are counted, each has its own
    latest count.

    Parameters
    ----------
    samples : all samples.
    candidates : indices of those of one kind and thinning.
    cells : number of cells.
    days : how long before the latest a sample still belongs to the count.
    """
    cell = samples.cell[candidates]
    hand = samples.chosen[candidates] == HAND_PICKED
    drawn = np.zeros(cells, dtype=np.bool_)
    drawn[cell[~hand]] = True
    left_out = np.zeros(cells, dtype=np.bool_)
    left_out[cell[hand]] = True
    left_out &= drawn
    kept = candidates[~(hand & drawn[cell])]
    cell = samples.cell[kept]
    latest = np.full(cells, NO_DATE, dtype=np.int64)
    np.maximum.at(latest, cell, samples.day[kept])
    belongs = _belongs(samples, kept, latest, days)
    kept, earlier = kept[belongs], kept[~belongs]
    cell = samples.cell[kept]
    chosen = np.zeros(cells, dtype=np.int64)
    np.bitwise_or.at(chosen, cell, samples.chosen[kept])
    return Choice(kept, cell, chosen > 0, latest, chosen, left_out, earlier)


def _belongs(samples: Samples, candidates: Ints, latest: Ints, days: int) -> Bools:
    """Say which samples belong to the latest count of their cell, or of their part where parts are counted."""
    cell, day, part = samples.cell[candidates], samples.day[candidates], samples.part[candidates]
    recent = day >= latest[cell] - days
    in_part = part != "all"
    if not in_part.any():
        return np.asarray(recent, dtype=np.bool_)
    by_parts = np.zeros(len(latest), dtype=np.bool_)
    by_parts[cell[recent & in_part]] = True
    names = np.array(sorted(set(part.tolist())))
    key = cell * len(names) + np.searchsorted(names, part)
    newest = np.full(len(latest) * len(names), NO_DATE, dtype=np.int64)
    np.maximum.at(newest, key, day)
    return np.asarray(recent | (in_part & by_parts[cell] & (day >= newest[key] - days)), dtype=np.bool_)


@dataclass(slots=True)
class Moments:
    """Means of two measures over the units of each cell, their variances, and what they rest on.

    Attributes
    ----------
    n, df : units (vines, panels or lots) and degrees of freedom.
    x, y, var_x, var_y, cov : means of denominator and numerator, variances and covariance of the means.
    sum_x : total of the denominator.
    correction : finite population correction that the variances hold.
    is_full : cells where every position was drawn.
    is_pooled : cells whose parts were pooled for want of a census by the same parts.
    set_aside : units of earlier counts that the latest one replaces.
    weighed_by : index of the census by whose parts the parts were weighed, or -1.
    """

    n: Ints
    df: Floats
    x: Floats
    y: Floats
    var_x: Floats
    var_y: Floats
    cov: Floats
    sum_x: Floats
    correction: Floats
    is_full: Bools
    is_pooled: Bools
    set_aside: Ints
    weighed_by: Ints

    @property
    def ratio(self) -> Floats:
        """Ratio of sums, y to x; NaN where nothing was counted."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.x > 0, self.y / self.x, np.nan)

    @property
    def ratio_se(self) -> Floats:
        """Standard error of the ratio, first order."""
        ratio = self.ratio
        variance = self.var_y - 2 * ratio * self.cov + ratio**2 * self.var_x
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.sqrt(np.maximum(variance, 0.0)) / self.x


def moments_of(
    samples: Samples,
    choice: Choice,
    aggregates: Aggregates,
    name: str,
    positions: Floats,
    censuses: Censuses,
    census: Ints,
    lines: Ints | None = None,
) -> Moments:
    """Work out the means of a measure in each cell.

    Parameters
    ----------
    samples, choice : the samples and which of them make each cell's count.
    aggregates : sums by sample.
    name : name of the measure.
    positions : vine positions of each cell, NaN where not known; infinite for no finite population correction.
    censuses, census : the vine censuses, and the index of the one in force in each cell: weights of its parts.
    lines : lines of the aggregates to use, one a sample at most; None for all.
    """
    cells = len(positions)
    lines = np.arange(len(aggregates.sample)) if lines is None else lines
    found, used = lines_of(samples.record[choice.sample], aggregates.sample, lines)
    sample = choice.sample[found]
    sums, drawn = aggregates.sums[name][used], aggregates.drawn[used]
    cell = samples.cell[sample]
    total, drawn_in = np.zeros((cells, 6), dtype=np.int64), np.zeros(cells, dtype=np.int64)
    np.add.at(total, cell, sums)
    np.add.at(drawn_in, cell, drawn)
    is_drawn = ~choice.is_hand
    correction = np.where(is_drawn, population_correction(drawn_in.astype(np.float64), positions), 1.0)
    moments = no_moments(cells)
    found, used = lines_of(samples.record[choice.earlier], aggregates.sample, lines)
    np.add.at(moments.set_aside, samples.cell[choice.earlier[found]], aggregates.sums[name][used, N])
    where = np.flatnonzero(total[:, N] > 0)
    fill_moments(moments, where, total[where], correction[where])
    moments.is_full[:] = (correction == 0) & (moments.n > 0)
    in_parts = samples.part[sample] != "all"
    # A plain set: numpy's imports masked arrays, which costs as much as a block's queries.
    for number in sorted(set(cell[in_parts].tolist())):
        mine = cell == number
        _weigh_parts(moments, number, samples.part[sample[mine]], sums[mine], drawn[mine], censuses, census)
    moments.is_full &= is_drawn
    return moments


def lines_of(records: Ints, sorted_samples: Ints, lines: Ints) -> tuple[Ints, Ints]:
    """Give which records have a line, and its index."""
    keys = sorted_samples[lines]
    at = np.searchsorted(keys, records)
    inside = np.clip(at, 0, max(len(keys) - 1, 0))
    has = (keys[inside] == records) if len(keys) else np.zeros(len(records), dtype=np.bool_)
    return np.flatnonzero(has), lines[inside[has]] if len(keys) else np.zeros(0, dtype=np.int64)


def no_moments(cells: int) -> Moments:
    """Give moments of cells in which nothing was counted."""

    def blank() -> Floats:
        return np.full(cells, np.nan)

    no = np.zeros(cells, dtype=np.bool_)
    return Moments(
        n=np.zeros(cells, dtype=np.int64),
        df=blank(),
        x=blank(),
        y=blank(),
        var_x=blank(),
        var_y=blank(),
        cov=blank(),
        sum_x=blank(),
        correction=blank(),
        is_full=no,
        is_pooled=no.copy(),
        set_aside=np.zeros(cells, dtype=np.int64),
        weighed_by=np.full(cells, NO_CENSUS, dtype=np.int64),
    )


def fill_moments(moments: Moments, where: Ints, sums: Ints, correction: Floats) -> None:
    """Fill in the means and their variances at cells from sums of units."""
    n = sums[:, N]
    factor = correction / np.maximum(n, 1)
    moments.n[where] = n
    moments.df[where] = n - 1
    moments.x[where] = mean_of_sums(n, sums[:, SUM_X])
    moments.y[where] = mean_of_sums(n, sums[:, SUM_Y])
    moments.var_y[where] = factor * variance_of_sums(n, sums[:, SUM_Y], sums[:, SUM_YY])
    # Where the unit is the vine the denominator is 1 and does not vary.
    varies = (sums[:, SUM_X] != n) | (sums[:, SUM_XX] != n)
    var_x = np.where(n > 1, 0.0, np.nan)
    cov = var_x.copy()
    rows = sums[varies]
    if len(rows):
        var_x[varies] = factor[varies] * variance_of_sums(rows[:, N], rows[:, SUM_X], rows[:, SUM_XX])
        cov[varies] = factor[varies] * covariance_of_sums(rows[:, N], rows[:, SUM_X], rows[:, SUM_Y], rows[:, SUM_XY])
    moments.var_x[where] = var_x
    moments.cov[where] = cov
    moments.sum_x[where] = sums[:, SUM_X]
    moments.correction[where] = correction


def _weigh_parts(
    moments: Moments,
    cell: int,
    part: NDArray[np.str_],
    sums: Ints,
    drawn: Ints,
    censuses: Censuses,
    census: Ints,
) -> None:
    """Weight the parts of one cell by their bearing vines, or mark it as pooled."""
    names = sorted(set(part.tolist()))
    vines = censuses.parts.get(int(census[cell]), {}) if census[cell] >= 0 else {}
    totals = np.array([sums[part == name].sum(axis=0) for name in names])
    if set(names) != set(vines) or (totals[:, N] == 0).any() or not sum(vines[name][0] for name in names):
        moments.is_pooled[cell] = True
        return
    moments.weighed_by[cell] = census[cell]
    weights = np.array([vines[name][0] for name in names], dtype=np.float64)
    places = np.array([vines[name][1] for name in names], dtype=np.float64)
    drawn_in = np.array([drawn[part == name].sum() for name in names], dtype=np.float64)
    strata = no_moments(len(names))
    fill_moments(strata, np.arange(len(names)), totals, population_correction(drawn_in, places))
    shares = weights / weights.sum()
    moments.x[cell] = stratified_mean(weights, strata.x)
    moments.y[cell] = stratified_mean(weights, strata.y)
    moments.var_x[cell] = stratified_variance(weights, strata.var_x)
    moments.var_y[cell] = stratified_variance(weights, strata.var_y)
    moments.cov[cell] = float(np.sum(shares**2 * strata.cov))
    ratio = moments.y[cell] / moments.x[cell]
    spread = np.maximum(strata.var_y - 2 * ratio * strata.cov + ratio**2 * strata.var_x, 0.0)
    moments.df[cell] = stratified_df(weights, spread, strata.n)
    moments.sum_x[cell] = totals[:, SUM_X].sum()
    moments.correction[cell] = 1.0 - min(drawn_in.sum() / places.sum(), 1.0)
    moments.is_full[cell] = bool((drawn_in >= places).all())
