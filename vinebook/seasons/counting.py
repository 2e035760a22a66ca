"""Figures counted or weighed on sampled vines: nodes, shoots, clusters, node positions, lots, wood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.intervals import log_t_interval
from vinebook.seasons.columns import ENTRIES, NO_N, UNKNOWN, FigureColumn, new_column, resting_where
from vinebook.seasons.estimates import (
    mean_column,
    per_metre_column,
    ratio_column,
    share_column,
)
from vinebook.seasons.measures import (
    BEARERS,
    STAGES,
    Aggregates,
    N,
    cluster_tally_measures,
    node_shoot_measures,
    node_tally_measures,
    pruned_vine_counts,
    pruned_vine_measures,
    shoot_tally_measures,
    sum_lots,
    sum_nodes,
    sum_rows,
    vine_harvest_measures,
)
from vinebook.seasons.notes import Note
from vinebook.seasons.samples import (
    SAME_COUNT_DAYS,
    WHOLE_SEASON_DAYS,
    Choice,
    Moments,
    choose,
    giving,
    lines_of,
    moments_of,
)
from vinebook.seasons.sufficing import too_few

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.gathered import Gathered

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

KG_OF_MG = 1e-6
G_OF_MG = 1e-3
HARVEST = STAGES.index("harvest")
INCOMPLETE, BY_SAMPLER = range(2)
"""What `pruned_vine_counts` counts, in its order."""
NODE_POSITION_FIRST = 1
"""Added to a node position in its code, so that old wood (-1) is 0."""


@dataclass(slots=True)
class Counted:
    """The samples of one kind and thinning, and their sums."""

    gathered: Gathered
    candidates: Ints
    aggregates: Aggregates
    days: int = SAME_COUNT_DAYS

    def choice(self, name: str, lines: Ints | None = None) -> Choice:
        """Choose the samples that make the count of a measure in each cell."""
        samples, cells = self.gathered.samples, len(self.gathered.cells)
        lines = np.arange(len(self.aggregates.sample)) if lines is None else lines
        found, used = lines_of(samples.record[self.candidates], self.aggregates.sample, lines)
        counts = self.aggregates.sums[name][used, N]
        return choose(samples, giving(samples, self.candidates, found, counts, cells), cells, self.days)

    def of(self, name: str, lines: Ints | None = None, positions: Floats | None = None) -> tuple[Choice, Moments]:
        """Give the count of a measure and its means, with the census of the count's date for its parts.

        Parameters
        ----------
        name, lines : measure, and the lines of the sums to use; None for all.
        positions : vine positions for the finite population correction; None for those planted.
        """
        gathered = self.gathered
        choice = self.choice(name, lines)
        census, _ = gathered.census_on(choice.day)
        places = gathered.positions if positions is None else positions
        return choice, moments_of(
            gathered.samples, choice, self.aggregates, name, places, gathered.censuses, census, lines
        )


def counted(gathered: Gathered, kind: str, aggregates: Aggregates, *, after: bool | None = None) -> Counted:
    """Choose the samples of a kind.

    Parameters
    ----------
    gathered, kind, aggregates : what was read, kind of record, its sums.
    after : only samples after (True) or before (False) thinning; None takes both.
    """
    candidates = gathered.samples.of(kind)
    if after is not None:
        candidates = candidates[gathered.samples.is_after[candidates] == after]
    return Counted(gathered, candidates, aggregates, WHOLE_SEASON_DAYS if kind == "pruned_vine" else SAME_COUNT_DAYS)


@dataclass(slots=True)
class Wood:
    """What the pruning visit of each cell gives, before it is read as the wood of the season before."""

    columns: list[FigureColumn]
    prunings: Moments
    choice: Choice
    prunings_per_vine: FigureColumn
    cane_weight: FigureColumn
    incomplete: Ints


def wood_and_nodes(connection: Connection, gathered: Gathered) -> Wood:
    """Make the columns of nodes kept, and of the wood that the visit weighed."""
    aggregates = sum_rows(connection, "pruned_vine", pruned_vine_measures(), gathered.samples, pruned_vine_counts())
    count = counted(gathered, "pruned_vine", aggregates)
    columns: list[FigureColumn] = []
    bearers: tuple[tuple[str, str | None], ...] = (
        ("nodes", None),
        ("nodes_on_spurs", "spur"),
        ("nodes_on_canes", "cane"),
        ("nodes_on_renewal_spurs", "renewal_spur"),
    )
    crew = "vines pruned by the crew"
    for measure, bearer in bearers:
        choice, moments = count.of(measure)
        per_vine = mean_column("nodes_per_vine", choice, moments, 1.0, crew)
        _say_crew(per_vine, _extra(count, choice, BY_SAMPLER))
        per_m = per_metre_column(per_vine, "nodes_per_m", gathered, crew)
        for column in (per_vine, per_m):
            column.bearer = bearer
            columns.append(column if bearer is None else column.kept(_says_something(column)))
    for measure, name, none_kept, pruned, reason in (
        ("spurs", "spurs_per_vine", Note.NO_SPURS, "cane", Note.CANE_PRUNED),
        ("canes", "canes_per_vine", Note.NO_CANES, "spur", Note.SPUR_PRUNED),
    ):
        choice, moments = count.of(measure)
        column = mean_column(name, choice, moments, 1.0, crew)
        column.notes[(column.notes & Note.NO_BEARING) > 0] = int(none_kept)
        _say_crew(column, _extra(count, choice, BY_SAMPLER))
        column.notes[(column.status == UNKNOWN) & (gathered.pruned == pruned)] = int(reason)
        columns.append(column)
    choice, prunings = count.of("prunings")
    incomplete = _extra(count, choice, INCOMPLETE)
    per_vine = mean_column("prunings_per_vine", choice, prunings, KG_OF_MG, "pruned vines with complete wood")
    cane = ratio_column("cane_weight", *count.of("cane"), G_OF_MG, "prunings and canes of the same vines")
    for column in (per_vine, cane):
        column.note((incomplete > 0) & np.isfinite(column.value), Note.WOOD_PARTLY)
    return Wood(columns, prunings, choice, per_vine, cane, incomplete)


def _extra(count: Counted, choice: Choice, which: int) -> Ints:
    """Give, of each cell, the vines weighed with incomplete wood, or those pruned by the sampler."""
    samples, aggregates = count.gathered.samples, count.aggregates
    result = np.zeros(len(count.gathered.cells), dtype=np.int64)
    found, used = lines_of(samples.record[choice.sample], aggregates.sample, np.arange(len(aggregates.sample)))
    np.add.at(result, samples.cell[choice.sample[found]], aggregates.extra[used, which])
    return result


def _say_crew(column: FigureColumn, by_sampler: Ints) -> None:
    nothing = (column.status == UNKNOWN) & (by_sampler > 0)
    column.notes[nothing] = int(Note.NOT_BY_CREW)


def _says_something(column: FigureColumn) -> Bools:
    return np.asarray(column.value > 0, dtype=np.bool_)


@dataclass(slots=True)
class BothCounts:
    """One figure counted before and after thinning."""

    before: FigureColumn
    after: FigureColumn

    @property
    def latest(self) -> FigureColumn:
        """The count after thinning where there is one, else that before."""
        return latest_of(self.before, self.after)


def shoot_columns(connection: Connection, gathered: Gathered) -> tuple[list[FigureColumn], BothCounts]:
    """Make the columns of the shoot tally: before thinning, and shoots per metre by the latest count."""
    aggregates = sum_rows(connection, "shoot_tally", shoot_tally_measures(), gathered.samples)
    before = counted(gathered, "shoot_tally", aggregates, after=False)
    after = counted(gathered, "shoot_tally", aggregates, after=True)
    basis = "shoot tally before thinning"
    columns = [
        share_column("budbreak", *before.of("budbreak"), basis),
        ratio_column("shoots_per_node", *before.of("shoots_per_node"), 1.0, basis),
        mean_column("shoots_per_vine", *before.of("shoots"), 1.0, basis),
        share_column("noncount_shoot_share", *before.of("noncount"), basis),
    ]
    thinned, counted_before = after.choice("shoots").has, before.choice("shoots").has
    for column in columns:
        only_after = (column.status == UNKNOWN) & thinned & ~counted_before
        column.notes[only_after] = int(Note.NOT_BEFORE_THINNING)
    both = BothCounts(columns[2], mean_column("shoots_per_vine", *after.of("shoots"), 1.0))
    columns.append(per_metre_column(both.latest, "shoots_per_m", gathered, "latest shoot tally"))
    return columns, both


def latest_of(before: FigureColumn, after: FigureColumn) -> FigureColumn:
    """Give the entries after thinning where there are any, else those before."""
    merged = before.kept(np.ones(len(before), dtype=np.bool_))
    takes = np.isfinite(after.value)
    for name in ENTRIES:
        getattr(merged, name)[takes] = getattr(after, name)[takes]
    merged.on_samples = (*resting_where(before, ~takes), *resting_where(after, takes))
    return merged


def cluster_counts(connection: Connection, gathered: Gathered) -> BothCounts:
    """Make the columns of clusters per vine before and after thinning."""
    aggregates = sum_rows(connection, "cluster_tally", cluster_tally_measures(), gathered.samples)
    both = [counted(gathered, "cluster_tally", aggregates, after=after) for after in (False, True)]
    return BothCounts(
        *(mean_column("clusters_per_vine", *count.of("clusters"), 1.0, "latest cluster tally") for count in both)
    )


def node_columns(connection: Connection, gathered: Gathered) -> tuple[list[FigureColumn], BothCounts]:
    """Make the columns of the node tally: clusters per shoot, and by bearer and node position."""
    per_shoot = sum_nodes(connection, node_shoot_measures(), gathered.samples, by_node=False)
    by_node = sum_nodes(connection, node_tally_measures(), gathered.samples, by_node=True)
    both = _both(gathered, per_shoot, "clusters_per_shoot", "per_shoot", None)
    columns = [_before_or_after(both)]
    codes = sorted(set(by_node.extra.ravel().tolist()))
    for code in codes:
        lines = np.flatnonzero(by_node.extra[:, 0] == code)
        for name, measure in (("clusters_per_node_at_k", "clusters"), ("fruitful_share_at_k", "fruitful")):
            column = _before_or_after(_both(gathered, by_node, name, measure, lines))
            column.bearer = BEARERS[int(code) // 100]
            column.position = int(code) % 100 - NODE_POSITION_FIRST
            columns.append(column.kept(np.isfinite(column.value)))
    return columns, both


def _both(gathered: Gathered, aggregates: Aggregates, name: str, measure: str, lines: Ints | None) -> BothCounts:
    """Give a figure of the node tally before and after thinning."""
    make = share_column if name == "fruitful_share_at_k" else ratio_column
    made = []
    for is_after in (False, True):
        count = counted(gathered, "node_tally", aggregates, after=is_after)
        column = make(name, *count.of(measure, lines))
        column.basis = "node tally"
        made.append(column)
    return BothCounts(*made)


def _before_or_after(both: BothCounts) -> FigureColumn:
    """Give a figure of the node tally before thinning, else after it and says so."""
    column = latest_of(both.after, both.before)
    column.note(np.isfinite(both.after.value) & ~np.isfinite(both.before.value), Note.ONLY_AFTER_THINNING)
    return column


@dataclass(slots=True)
class Fruit:
    """What lots and vines picked alone give."""

    columns: list[FigureColumn]
    cluster_weight: FigureColumn
    per_vine: FigureColumn
    moments: Moments
    choice: Choice


def fruit_columns(connection: Connection, gathered: Gathered) -> Fruit:
    """Make the columns of cluster and berry weight, and of the fruit of vines picked alone."""
    harvest = counted(
        gathered, "vine_harvest", sum_rows(connection, "vine_harvest", vine_harvest_measures(), gathered.samples)
    )
    choice, moments = harvest.of("fruit")
    per_vine = mean_column("yield_per_vine", choice, moments, KG_OF_MG, "vines picked alone")
    aggregates, fifteen = sum_lots(connection, gathered.samples)
    columns: list[FigureColumn] = []
    weight = new_column("cluster_weight", np.zeros(0, dtype=np.int64))
    for code, stage in enumerate(STAGES):
        lines = np.flatnonzero(aggregates.extra[:, 0] == code)
        made = _lot_columns(gathered, aggregates, fifteen, lines)
        if code == HARVEST:
            alone = ratio_column("cluster_weight", *harvest.of("cluster"), G_OF_MG)
            alone.note(np.isfinite(alone.value), Note.FROM_PICKED_VINES)
            made[0] = latest_of(alone, made[0])
            made[0].basis = "weighed lots, or vines picked alone"
            weight = made[0]
        for column in made:
            column.stage = stage
            columns.append(column if code == HARVEST else column.kept(np.isfinite(column.value)))
    return Fruit(columns, weight, per_vine, moments, choice)


def _lot_columns(gathered: Gathered, aggregates: Aggregates, fifteen: Ints, lines: Ints) -> list[FigureColumn]:
    """Make cluster weight, berry weight and berries per cluster of the lots on the given lines (one stage)."""
    samples = gathered.samples
    candidates = np.flatnonzero(np.isin(samples.record, aggregates.sample[lines]))
    # Lots of a block are not counted: no finite population correction.
    endless = np.full(len(gathered.cells), np.nan)
    counted_lots = Counted(gathered, candidates, aggregates).of("cluster", lines, endless)
    weight = ratio_column("cluster_weight", *counted_lots, G_OF_MG, "weighed lots")
    for of_vines, of_lots in ((Note.ONE_UNIT, Note.ONE_LOT), (Note.FEW, Note.FEW_LOTS)):
        has = (weight.notes & of_vines) > 0
        weight.notes[has] += int(of_lots) - int(of_vines)
    berries = _berry_columns(gathered, candidates, aggregates, fifteen, lines)
    return [weight, *berries]


def _berry_columns(
    gathered: Gathered, candidates: Ints, aggregates: Aggregates, fifteen: Ints, lines: Ints
) -> list[FigureColumn]:
    """Make berry weight (Σ mass ÷ Σ berries over lots) and berries per cluster (a ratio of two such ratios)."""
    samples = gathered.samples
    cells = len(gathered.cells)
    total = np.zeros((cells, 15))
    found, used = lines_of(samples.record[candidates], aggregates.sample, lines)
    choice = choose(samples, giving(samples, candidates, found, fifteen[used, 0], cells), cells)
    found, used = lines_of(samples.record[choice.sample], aggregates.sample, lines)
    np.add.at(total, samples.cell[choice.sample[found]], fifteen[used].astype(np.float64))
    lots, sums, products = total[:, 0], total[:, 1:5], _symmetric(total[:, 5:])
    with np.errstate(divide="ignore", invalid="ignore"):
        mass, clusters, berry_mass, berries = (np.where(lots > 0, sums[:, column], np.nan) for column in range(4))
        berry_g = berry_mass / berries * G_OF_MG
        per_cluster = (mass / clusters) / (berry_mass / berries)
        zero = np.zeros_like(lots)
        made = []
        for name, value, slope in (
            ("berry_weight", berry_g, np.stack([zero, zero, 1 / berry_mass, -1 / berries], axis=1)),
            (
                "berries_per_cluster",
                per_cluster,
                np.stack([1 / mass, -1 / clusters, -1 / berry_mass, 1 / berries], axis=1),
            ),
        ):
            # First order on the log scale: each lot's pull on the logarithm of the figure; their sum is zero.
            pull = np.einsum("ci,cij,cj->c", slope, products, slope)
            se = value * np.sqrt(np.maximum(pull, 0.0) * lots / (lots - 1))
            made.append(_lot_column(name, choice, value, np.where(lots > 1, se, np.nan), lots))
    return [made[1], made[0]]


def _symmetric(ten: Floats) -> Floats:
    """Give the 4 × 4 matrices of which the ten numbers are the upper triangles, row by row."""
    matrix = np.zeros((len(ten), 4, 4))
    upper = np.triu_indices(4)
    matrix[:, upper[0], upper[1]] = ten
    matrix[:, upper[1], upper[0]] = ten
    return matrix


def _lot_column(name: str, choice: Choice, value: Floats, se: Floats, lots: Floats) -> FigureColumn:
    column = new_column(name, np.arange(len(value)), "weighed lots whose berries were counted")
    column.value = value
    interval = log_t_interval(value, se, np.where(lots > 1, lots - 1, np.nan))
    has = np.isfinite(value)
    column.low, column.high = interval.low, interval.high
    column.n = np.where(has, lots, NO_N).astype(np.int64)
    column.chosen = np.where(has, choice.chosen, 0).astype(np.int16)
    column.dated_on = choice.day.copy()
    column.on_samples = ((choice.cell, choice.sample),)
    column.note(has & (lots == 1), Note.ONE_LOT)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = se * np.sqrt(lots) / value
    column.note(has & (lots > 1) & too_few("mean", lots, own) & ~choice.is_hand, Note.FEW_LOTS)
    column.drop_interval(has & choice.is_hand, Note.HAND_PICKED)
    column.mark(~has, UNKNOWN, Note.NO_COUNT)
    return column
