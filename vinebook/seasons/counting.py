"""Figures counted or weighed on sampled vines: nodes, shoots, clusters, node positions, lots, wood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.intervals import log_t_interval
from vinebook.seasons.columns import ENTRIES, NO_N, UNKNOWN, FigureColumn, new_column
from vinebook.seasons.estimates import (
    LEAST_UNITS,
    mean_column,
    per_metre_column,
    ratio_column,
    share_column,
)
from vinebook.seasons.measures import (
    BEARERS,
    STAGES,
    Aggregates,
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
from vinebook.seasons.samples import Choice, Moments, choose, moments_of

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
NODE_POSITION_FIRST = 1
"""Added to a node position in its code, so that old wood (-1) is 0."""


@dataclass(slots=True)
class Counted:
    """The counts of one kind and thinning: which samples, and the means of its measures."""

    gathered: Gathered
    choice: Choice
    aggregates: Aggregates

    def moments(self, name: str, lines: Ints | None = None) -> Moments:
        """Give the means of a measure, with the census of the count's date for its parts."""
        gathered = self.gathered
        census, _ = gathered.census_on(self.choice.day)
        return moments_of(
            gathered.samples, self.choice, self.aggregates, name, gathered.positions, gathered.censuses, census, lines
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
    return Counted(gathered, choose(gathered.samples, candidates, len(gathered.cells)), aggregates)


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
    incomplete, by_sampler = _extras(gathered, count)
    for measure, bearer in bearers:
        per_vine = mean_column("nodes_per_vine", count.choice, count.moments(measure), 1.0, "vines pruned by the crew")
        _say_crew(per_vine, by_sampler)
        per_m = per_metre_column(per_vine, "nodes_per_m", gathered, "vines pruned by the crew")
        for column in (per_vine, per_m):
            column.bearer = bearer
            columns.append(column if bearer is None else column.kept(_says_something(column)))
    for measure, name in (("spurs", "spurs_per_vine"), ("canes", "canes_per_vine")):
        column = mean_column(name, count.choice, count.moments(measure), 1.0, "vines pruned by the crew")
        _say_crew(column, by_sampler)
        columns.append(column)
    prunings = count.moments("prunings")
    per_vine = mean_column("prunings_per_vine", count.choice, prunings, KG_OF_MG, "pruned vines with complete wood")
    cane = ratio_column(
        "cane_weight", count.choice, count.moments("cane"), G_OF_MG, "prunings and canes of the same vines"
    )
    for column in (per_vine, cane):
        column.note((incomplete > 0) & np.isfinite(column.value), Note.WOOD_PARTLY)
    return Wood(columns, prunings, count.choice, per_vine, cane, incomplete)


def _extras(gathered: Gathered, count: Counted) -> tuple[Ints, Ints]:
    """Give, of each cell, the vines weighed with incomplete wood and those pruned by the sampler."""
    samples, aggregates = gathered.samples, count.aggregates
    result = np.zeros((2, len(gathered.cells)), dtype=np.int64)
    records = samples.record[count.choice.sample]
    if len(aggregates.sample):
        at = np.clip(np.searchsorted(aggregates.sample, records), 0, len(aggregates.sample) - 1)
        has = aggregates.sample[at] == records
        cell = samples.cell[count.choice.sample[has]]
        for row in range(2):
            np.add.at(result[row], cell, aggregates.extra[at[has], row])
    return result[0], result[1]


def _say_crew(column: FigureColumn, by_sampler: Ints) -> None:
    nothing = (column.status == UNKNOWN) & (by_sampler > 0)
    column.notes[nothing] = int(Note.NOT_BY_CREW)


def _says_something(column: FigureColumn) -> Bools:
    return np.asarray(column.value > 0, dtype=np.bool_)


def shoot_columns(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    """Make the columns of the shoot tally: before thinning, and shoots per metre by the latest count."""
    aggregates = sum_rows(connection, "shoot_tally", shoot_tally_measures(), gathered.samples)
    before = counted(gathered, "shoot_tally", aggregates, after=False)
    after = counted(gathered, "shoot_tally", aggregates, after=True)
    basis = "shoot tally before thinning"
    columns = [
        share_column("budbreak", before.choice, before.moments("budbreak"), basis),
        ratio_column("shoots_per_node", before.choice, before.moments("shoots_per_node"), 1.0, basis),
        mean_column("shoots_per_vine", before.choice, before.moments("shoots"), 1.0, basis),
        share_column("noncount_shoot_share", before.choice, before.moments("noncount"), basis),
    ]
    for column in columns:
        only_after = (column.status == UNKNOWN) & after.choice.has & ~before.choice.has
        column.notes[only_after] = int(Note.NOT_BEFORE_THINNING)
    latest = latest_of(columns[2], mean_column("shoots_per_vine", after.choice, after.moments("shoots"), 1.0))
    columns.append(per_metre_column(latest, "shoots_per_m", gathered, "latest shoot tally"))
    return columns


def latest_of(before: FigureColumn, after: FigureColumn) -> FigureColumn:
    """Give the entries after thinning where there are any, else those before."""
    merged = before.kept(np.ones(len(before), dtype=np.bool_))
    takes = np.isfinite(after.value)
    for name in ENTRIES:
        getattr(merged, name)[takes] = getattr(after, name)[takes]
    return merged


def cluster_columns(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    """Make the column of clusters per vine by the latest count."""
    aggregates = sum_rows(connection, "cluster_tally", cluster_tally_measures(), gathered.samples)
    both = [counted(gathered, "cluster_tally", aggregates, after=after) for after in (False, True)]
    before, after = (
        mean_column("clusters_per_vine", count.choice, count.moments("clusters"), 1.0, "latest cluster tally")
        for count in both
    )
    return [latest_of(before, after)]


def node_columns(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    """Make the columns of the node tally: clusters per shoot, and by bearer and node position."""
    per_shoot = sum_nodes(connection, node_shoot_measures(), gathered.samples, by_node=False)
    by_node = sum_nodes(connection, node_tally_measures(), gathered.samples, by_node=True)
    columns = [_before_or_after(gathered, per_shoot, "clusters_per_shoot", "per_shoot", None)]
    codes = np.unique(by_node.extra)
    for code in codes:
        lines = np.flatnonzero(by_node.extra[:, 0] == code)
        for name, measure in (("clusters_per_node_at_k", "clusters"), ("fruitful_share_at_k", "fruitful")):
            column = _before_or_after(gathered, by_node, name, measure, lines)
            column.bearer = BEARERS[int(code) // 100]
            column.position = int(code) % 100 - NODE_POSITION_FIRST
            columns.append(column.kept(np.isfinite(column.value)))
    return columns


def _before_or_after(
    gathered: Gathered, aggregates: Aggregates, name: str, measure: str, lines: Ints | None
) -> FigureColumn:
    """Give a figure of the node tally before thinning, else after it and says so."""
    make = share_column if name == "fruitful_share_at_k" else ratio_column
    made = []
    for is_after in (True, False):
        count = counted(gathered, "node_tally", aggregates, after=is_after)
        column = make(name, count.choice, count.moments(measure, lines))
        column.basis = "node tally"
        made.append(column)
    after, before = made
    after.note(np.isfinite(after.value), Note.ONLY_AFTER_THINNING)
    return latest_of(after, before)


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
    moments = harvest.moments("fruit")
    per_vine = mean_column("yield_per_vine", harvest.choice, moments, KG_OF_MG, "vines picked alone")
    aggregates, fifteen = sum_lots(connection, gathered.samples)
    columns: list[FigureColumn] = []
    weight = new_column("cluster_weight", np.zeros(0, dtype=np.int64))
    for code, stage in enumerate(STAGES):
        lines = np.flatnonzero(aggregates.extra[:, 0] == code)
        made = _lot_columns(gathered, aggregates, fifteen, lines)
        if code == HARVEST:
            alone = ratio_column("cluster_weight", harvest.choice, harvest.moments("cluster"), G_OF_MG)
            alone.note(np.isfinite(alone.value), Note.FROM_PICKED_VINES)
            made[0] = latest_of(alone, made[0])
            made[0].basis = "weighed lots, or vines picked alone"
            weight = made[0]
        for column in made:
            column.stage = stage
            columns.append(column if code == HARVEST else column.kept(np.isfinite(column.value)))
    return Fruit(columns, weight, per_vine, moments, harvest.choice)


def _lot_columns(gathered: Gathered, aggregates: Aggregates, fifteen: Ints, lines: Ints) -> list[FigureColumn]:
    """Make cluster weight, berry weight and berries per cluster of the lots on the given lines (one stage)."""
    samples = gathered.samples
    candidates = np.flatnonzero(np.isin(samples.record, aggregates.sample[lines]))
    choice = choose(samples, candidates, len(gathered.cells))
    count = Counted(gathered, choice, aggregates)
    weight = ratio_column("cluster_weight", choice, _endless(count, lines), G_OF_MG, "weighed lots")
    for of_vines, of_lots in ((Note.ONE_UNIT, Note.ONE_LOT), (Note.FEW, Note.FEW_LOTS)):
        has = (weight.notes & of_vines) > 0
        weight.notes[has] += int(of_lots) - int(of_vines)
    berries = _berry_columns(gathered, choice, aggregates, fifteen, lines)
    return [weight, *berries]


def _endless(count: Counted, lines: Ints) -> Moments:
    """Give the means of lots without finite population correction: lots of a block are not counted."""
    gathered = count.gathered
    none = np.full(len(gathered.cells), np.nan)
    census, _ = gathered.census_on(count.choice.day)
    return moments_of(
        gathered.samples, count.choice, count.aggregates, "cluster", none, gathered.censuses, census, lines
    )


def _berry_columns(
    gathered: Gathered, choice: Choice, aggregates: Aggregates, fifteen: Ints, lines: Ints
) -> list[FigureColumn]:
    """Make berry weight (Σ mass ÷ Σ berries over lots) and berries per cluster (a ratio of two such ratios)."""
    samples = gathered.samples
    cells = len(gathered.cells)
    total = np.zeros((cells, 15))
    records = samples.record[choice.sample]
    keys = aggregates.sample[lines]
    if len(keys):
        at = np.clip(np.searchsorted(keys, records), 0, len(keys) - 1)
        has = keys[at] == records
        np.add.at(total, samples.cell[choice.sample[has]], fifteen[lines[at[has]]].astype(np.float64))
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
    column.note(has & (lots == 1), Note.ONE_LOT)
    column.note(has & (lots > 1) & (lots < LEAST_UNITS) & ~choice.is_hand, Note.FEW_LOTS)
    column.drop_interval(has & choice.is_hand, Note.HAND_PICKED)
    column.mark(~has, UNKNOWN, Note.NO_COUNT)
    return column
