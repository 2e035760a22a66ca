"""What is summed of probes, bearers, buds and leaves: the transect, the vine and the cane are the units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Select, and_, case, func, literal_column, select

from vinebook.formulas.canopy import probe_counts
from vinebook.formulas.spurs import gaps_between
from vinebook.records.tables import TABLES
from vinebook.seasons.measures import Aggregates, wanted
from vinebook.seasons.places import columns_of, floats, live

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.places import Blocks
    from vinebook.seasons.samples import Samples

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

STEPS_PER_M = 10_000
"""Distances along an arm are summed as whole tenths of a millimetre, so that sums are exact."""
CM2_PER_M2 = 10_000
COMMON_GAP_M = (0.10, 0.15)
"""Between spur positions of one arm; common practice, no source."""
SPUR, END_OF_ARM, OTHER = range(3)
_BEARER = f"CASE bearer WHEN 'spur' THEN {SPUR} WHEN 'end_of_arm' THEN {END_OF_ARM} ELSE {OTHER} END"
_SHOOTS = "count_shoots + double_shoots + noncount_shoots"


def sums_of_units(sample: Ints, drawn: Ints, measures: dict[str, tuple[Ints, Ints]]) -> Aggregates:
    """Sum measures over the units of each sample.

    Parameters
    ----------
    sample, drawn : sample of each unit, and the vine positions that the unit stands for.
    measures : by name (x, y) of each unit; a unit whose x is 0 does not enter.
    """
    records, at = np.unique(sample, return_inverse=True)
    positions = np.zeros(len(records), dtype=np.int64)
    np.add.at(positions, at, drawn)
    sums = {}
    for name, (x, y) in measures.items():
        rows = np.stack([np.ones_like(x), x, y, x * x, y * y, x * y], axis=1) * (x > 0)[:, None]
        sums[name] = np.zeros((len(records), 6), dtype=np.int64)
        np.add.at(sums[name], at, rows)
    return Aggregates(records, np.zeros((len(records), 0), dtype=np.int64), positions, sums)


def _rows(connection: Connection, statement: Select[Any], kind: str, samples: Samples) -> list[tuple[Any, ...]]:
    """Give the columns of the rows of the samples in question; none is read where no sample is of the kind."""
    width = len(statement.selected_columns)
    if not samples.has(kind):
        return columns_of([], width)
    within = wanted(kind, samples)
    statement = statement if within is None else statement.where(statement.selected_columns[0].in_(within))
    known = set(samples.record.tolist())
    return columns_of([row for row in connection.execute(statement).fetchall() if row[0] in known], width)


def _whole(values: tuple[Any, ...]) -> Ints:
    return np.array(values, dtype=np.int64)


def sum_probes(connection: Connection, samples: Samples) -> Aggregates:
    """Sum the probes of each transect: leaves and gaps by probe, interior contacts by contact."""
    c = TABLES["canopy_probe"].c
    statement = select(c.sample, c.transect, c.contacts, func.count()).where(live(TABLES["canopy_probe"]))
    read = _rows(connection, statement.group_by(c.sample, c.transect, c.contacts), "canopy_probe", samples)
    sample, transect, probes = _whole(read[0]), _whole(read[1]), _whole(read[3])
    counts = probe_counts([word or "" for word in read[2]])
    keys, unit = np.unique(np.stack([sample, transect], axis=1), axis=0, return_inverse=True)

    def total(values: Ints) -> Ints:
        sums = np.zeros(len(keys), dtype=np.int64)
        np.add.at(sums, unit.reshape(-1), values)
        return sums

    all_probes = total(probes)
    leaves, clusters = total(probes * counts.leaves), total(probes * counts.clusters)
    return sums_of_units(
        keys[:, 0],
        np.zeros(len(keys), dtype=np.int64),
        {
            "layers": (all_probes, leaves),
            "gaps": (all_probes, total(probes * counts.gaps)),
            "interior_leaves": (leaves, total(probes * counts.interior_leaves)),
            "interior_clusters": (clusters, total(probes * counts.interior_clusters)),
        },
    )


def sum_buds(connection: Connection, samples: Samples) -> Aggregates:
    """Sum the buds of each cane."""
    c = TABLES["bud_sample"].c
    statement = select(c.sample, c.buds, c.primaries_dead).where(live(TABLES["bud_sample"]))
    sample, buds, dead = (_whole(column) for column in _rows(connection, statement, "bud_sample", samples))
    return sums_of_units(sample, np.zeros_like(sample), {"dead": (buds, dead)})


def gap_bands(connection: Connection, blocks: Blocks) -> list[tuple[Any, ...]]:
    """Give the own bands of spur spacing of blocks, the one in force last.

    The band of the block itself wins over its vineyard's, and of each the latest.

    Returns
    -------
    Whether it is the block's own, first season, low and high in cm, permanent number of the block, and of the band.
    """
    band, block = TABLES["target_band"], TABLES["block"]
    statement = (
        select(band.c.vineyard.is_(None), band.c.from_season, band.c.low, band.c.high, block.c.record, band.c.record)
        .join(block, (block.c.record == band.c.block) | (block.c.vineyard == band.c.vineyard))
        .where(live(band), live(block), band.c.figure == "spur_spacing")
    )
    rows = connection.execute(blocks.only(statement, block.c.record)).fetchall()
    return [tuple(row) for row in sorted(rows, key=lambda row: (bool(row[0]), row[1]))]


def gap_limits(connection: Connection, samples: Samples, cells: int) -> tuple[Floats, Floats]:
    """Give the least and the most gap of each cell in metres: own band of block or vineyard, else 10–15 cm.

    Parameters
    ----------
    connection, samples : an open connection and the samples; bands are read only where bearers were measured.
    cells : number of cells.
    """
    low, high = np.full(cells, COMMON_GAP_M[0]), np.full(cells, COMMON_GAP_M[1])
    if not samples.has("bearer"):
        return low, high
    for _, season, least, most, record, _ in gap_bands(connection, samples.blocks):
        mine = (samples.block == samples.blocks.index_of.get(record, -1)) & (samples.season >= season)
        low[samples.cell[mine]] = -np.inf if least is None else least / 100
        high[samples.cell[mine]] = np.inf if most is None else most / 100
    return low, high


def sum_bearers(connection: Connection, samples: Samples, cells: int) -> Aggregates:
    """Sum the gaps between spur positions, the longest bare stretch and the shoots of spurs of each vine or panel."""
    c = TABLES["bearer"].c
    columns = (c.sample, c.row, c.vine, func.coalesce(c.arm, 0), c.distance_m)
    statement = select(*columns, literal_column(_BEARER), literal_column(_SHOOTS)).where(live(TABLES["bearer"]))
    read = _rows(connection, statement, "bearer", samples)
    sample, row, vine, arm, what = (_whole(read[index]) for index in (0, 1, 2, 3, 5))
    distance, shoots = np.rint(floats(read[4]) * STEPS_PER_M), floats(read[6])
    order = np.lexsort((distance, arm, vine, row, sample))
    sample, row, vine, arm, what = (values[order] for values in (sample, row, vine, arm, what))
    distance, shoots = distance[order], shoots[order]
    at = np.searchsorted(samples.record, sample)
    size = samples.panel_size[at]
    _, vine_of = np.unique(np.stack([sample, row, vine], axis=1), axis=0, return_inverse=True)
    keys, unit_of = np.unique(np.stack([sample, row, (vine - 1) // size], axis=1), axis=0, return_inverse=True)
    vine_of, unit_of = vine_of.reshape(-1), unit_of.reshape(-1)
    on_arm = np.flatnonzero((arm > 0) & np.isfinite(distance) & (what != OTHER))
    arms, arm_of = np.unique(np.stack([vine_of[on_arm], arm[on_arm]], axis=1), axis=0, return_inverse=True)
    arm_of = arm_of.reshape(-1)
    gap = np.full(len(sample), np.nan)
    gap[on_arm] = gaps_between(distance[on_arm], arm_of)
    # Of an arm without a spur all is bare, from the head to its end.
    alone = np.bincount(arm_of, minlength=len(arms))[arm_of] == 1
    lone_end = on_arm[alone & (what[on_arm] == END_OF_ARM)]
    bare: Floats = np.where(np.isfinite(gap), gap, 0.0)
    bare[lone_end] = distance[lone_end]

    def total(of: Ints, values: NDArray[Any], units: int) -> Ints:
        return np.bincount(of, weights=values, minlength=units).astype(np.int64)

    units = len(keys)
    is_gap = np.isfinite(gap) & (what == SPUR)
    low, high = gap_limits(connection, samples, cells)
    cell = samples.cell[at]
    metres = gap / STEPS_PER_M
    within = is_gap & (metres >= low[cell] - 1e-9) & (metres <= high[cell] + 1e-9)
    has_end = np.zeros(len(arms), dtype=np.bool_)
    has_end[arm_of[what[on_arm] == END_OF_ARM]] = True
    # Where the end of an arm was not measured its bare stretch is not known, so its vine does not enter.
    vines = int(vine_of.max(initial=-1)) + 1
    longest: Floats = np.zeros(vines, dtype=np.float64)
    ended = np.zeros(vines, dtype=np.bool_)
    np.maximum.at(longest, vine_of, bare)
    ended[arms[:, 0]] = True
    ended[arms[~has_end, 0]] = False
    unit_of_vine = np.zeros(vines, dtype=np.int64)
    unit_of_vine[vine_of] = unit_of
    counted = (what == SPUR) & np.isfinite(shoots)
    return sums_of_units(
        keys[:, 0],
        samples.panel_size[np.searchsorted(samples.record, keys[:, 0])],
        {
            "spacing": (total(unit_of, is_gap * 1.0, units), total(unit_of, np.where(is_gap, gap, 0.0), units)),
            "within": (total(unit_of, is_gap * 1.0, units), total(unit_of, within * 1.0, units)),
            "bare": (
                total(unit_of_vine, ended * 1.0, units),
                total(unit_of_vine, np.where(ended, longest, 0.0), units),
            ),
            "shoots": (total(unit_of, counted * 1.0, units), total(unit_of, np.where(counted, shoots, 0.0), units)),
        },
    )


def read_leaf_and_fruit(connection: Connection, samples: Samples) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Give the vines (or panels) whose leaf area and fruit were both measured in one season.

    Returns sample of the leaves, sample of the fruit, vines, fruit in mg (x) and leaf area in cm² (y) of each unit.
    """
    leaf, fruit, sample = TABLES["leaf_area"], TABLES["vine_harvest"], TABLES["sample"]
    of_leaf, of_fruit = sample.alias("of_leaf"), sample.alias("of_fruit")
    in_panels = and_(of_leaf.c.chosen == "panels", of_fruit.c.chosen == "panels")
    place = case((in_panels, (leaf.c.vine - 1) // of_leaf.c.panel_size), else_=leaf.c.vine)
    statement = (
        select(leaf.c.sample, fruit.c.sample, func.count(), func.sum(fruit.c.mass_mg), func.sum(leaf.c.leaf_area_m2))
        .select_from(leaf)
        .join(of_leaf, and_(of_leaf.c.record == leaf.c.sample, live(of_leaf)))
        .join(
            of_fruit,
            and_(
                of_fruit.c.block == of_leaf.c.block,
                of_fruit.c.season == of_leaf.c.season,
                of_fruit.c.counts == "vine_harvest",
                live(of_fruit),
            ),
        )
        .join(
            fruit,
            and_(
                fruit.c.sample == of_fruit.c.record, fruit.c.row == leaf.c.row, fruit.c.vine == leaf.c.vine, live(fruit)
            ),
        )
        .where(live(leaf), leaf.c.state == "bearing", fruit.c.state == "bearing")
        .where(leaf.c.leaf_area_m2.is_not(None), fruit.c.mass_mg.is_not(None))
        .group_by(leaf.c.sample, fruit.c.sample, leaf.c.row, place)
    )
    read = _rows(connection, statement, "leaf_area", samples)
    areas = np.rint(floats(read[4]) * CM2_PER_M2).astype(np.int64)
    return _whole(read[0]), _whole(read[1]), _whole(read[2]), _whole(read[3]), areas
