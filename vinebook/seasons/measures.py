"""What is summed over the vines, panels and lots of a sample, and the SQL that sums it.

A measure is a numerator y and, unless one is counted per vine, a denominator x. The database gives, for each sample,
the number of units and the sums of x, y, their squares and their product; all else follows from these.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Select, literal_column, select

from vinebook.records.tables import TABLES
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.samples import Samples

    Sql = Any
    Ints = NDArray[np.int64]

N, SUM_X, SUM_Y, SUM_XX, SUM_YY, SUM_XY = range(6)
BEARERS = ("spur", "cane", "renewal_spur", "head_spur")
STAGES = ("lag_phase", "veraison", "harvest")


@dataclass(frozen=True)
class Measure:
    """One measure on a vine as SQL; y and x are empty (NULL) where the row does not count.

    Attributes
    ----------
    name : short name.
    y : what is summed.
    x : what it is divided by, row by row; None where it is the vine itself.
    """

    name: str
    y: str
    x: str | None = None


@dataclass(slots=True)
class Aggregates:
    """Sums by sample: for each measure an array of rows and six columns (n, Σx, Σy, Σx², Σy², Σxy)."""

    sample: Ints
    extra: Ints
    drawn: Ints
    sums: dict[str, Ints]


def _when(condition: str, value: str) -> str:
    return f"CASE WHEN {condition} THEN {value} END"


BEARING = "state = 'bearing'"
CREW = f"{BEARING} AND pruned_by = 'crew'"
WHOLE_WOOD = f"{BEARING} AND wood = 'complete'"


def pruned_vine_measures() -> tuple[Measure, ...]:
    """Give the measures of the pruning visit: what the crew left, and the wood that was complete."""
    kinds = ("nodes_on_spurs", "nodes_on_canes", "nodes_on_renewal_spurs")
    nodes = " + ".join(f"COALESCE({kind}, 0)" for kind in kinds)
    # All three empty: the nodes of this vine were not counted.
    counted = f"{CREW} AND COALESCE({', '.join(kinds)}) IS NOT NULL"
    return (
        Measure("nodes", _when(counted, nodes)),
        # A vine with nodes on spurs alone has none on canes: the bearers add up to the whole.
        *(Measure(kind, _when(counted, f"COALESCE({kind}, 0)")) for kind in kinds),
        Measure("spurs", _when(CREW, "spurs")),
        Measure("canes", _when(CREW, "canes")),
        Measure("prunings", _when(WHOLE_WOOD, "prunings_mg")),
        Measure(
            "cane",
            _when(f"{WHOLE_WOOD} AND canes_weighed > 0", "prunings_mg"),
            _when(f"{WHOLE_WOOD} AND canes_weighed > 0 AND prunings_mg IS NOT NULL", "canes_weighed"),
        ),
    )


def pruned_vine_counts() -> tuple[str, ...]:
    """Give what else is counted on pruned vines: weighed with incomplete wood, and bearing but not by the crew."""
    incomplete = _when(f"{BEARING} AND wood = 'incomplete'", "prunings_mg")
    by_sampler = _when(f"{BEARING} AND pruned_by = 'sampler'", "1")
    return incomplete, by_sampler


def shoot_tally_measures() -> tuple[Measure, ...]:
    """Give the measures of the shoot tally; where a class was not counted the vine does not enter."""
    nodes = "count_shoots + blind_nodes"
    shoots = "count_shoots + double_shoots + noncount_shoots"
    nodes_known = f"{BEARING} AND blind_nodes IS NOT NULL"
    shoots_known = f"{BEARING} AND double_shoots IS NOT NULL"
    return (
        Measure("budbreak", _when(nodes_known, "count_shoots"), _when(BEARING, nodes)),
        Measure(
            "shoots_per_node",
            _when(nodes_known, shoots),
            _when(f"{shoots_known} AND noncount_shoots IS NOT NULL", nodes),
        ),
        Measure("shoots", _when(BEARING, shoots)),
        Measure(
            "noncount",
            _when(f"{shoots_known} AND count_shoots IS NOT NULL", "noncount_shoots"),
            _when(BEARING, shoots),
        ),
    )


def cluster_tally_measures() -> tuple[Measure, ...]:
    """Give the measures of the cluster tally."""
    return (Measure("clusters", _when(BEARING, "clusters")),)


def vine_harvest_measures() -> tuple[Measure, ...]:
    """Give the measures of vines picked alone."""
    return (
        Measure("fruit", _when(BEARING, "mass_mg")),
        Measure(
            "cluster",
            _when(f"{BEARING} AND clusters IS NOT NULL", "mass_mg"),
            _when(f"{BEARING} AND mass_mg IS NOT NULL", "clusters"),
        ),
    )


def node_tally_measures() -> tuple[Measure, ...]:
    """Give the measures of one node position of a vine; a blind node counts and has no cluster."""
    counted = "clusters IS NOT NULL OR shoots = 0"
    return (
        Measure("clusters", _when(counted, "COALESCE(clusters, 0)"), _when(counted, "1")),
        Measure("fruitful", _when(counted, "CASE WHEN clusters > 0 THEN 1 ELSE 0 END"), _when(counted, "1")),
    )


def node_shoot_measures() -> tuple[Measure, ...]:
    """Give the measures of all nodes of a vine together."""
    return (Measure("per_shoot", "clusters", _when("clusters IS NOT NULL", "shoots")),)


def _whole(expression: str) -> str:
    """Give a sum as a whole number on both databases; an empty sum is 0."""
    return f"CAST(COALESCE(SUM({expression}), 0) AS BIGINT)"


def _six(y: str, x: str) -> list[str]:
    return [f"COUNT({y})", *(_whole(sums) for sums in (x, y, f"({x}) * ({x})", f"({y}) * ({y})", f"({x}) * ({y})"))]


def _columns(expressions: Iterable[str]) -> list[Sql]:
    """Give SQL texts as columns; a tree of expressions for each would take longer to compile than to run."""
    return [literal_column(expression) for expression in expressions]


def wanted(kind: str, samples: Samples, *, panels: bool = False) -> Sql | None:
    """Give the query for the samples whose rows are read, or None where all are."""
    sample = TABLES["sample"]
    if samples.blocks.asked is None and samples.seasons is None and not panels:
        return None
    query = select(sample.c.record).where(live(sample), sample.c.counts == kind)
    if samples.blocks.asked is not None:
        query = query.where(sample.c.block.in_(samples.blocks.asked))
    if samples.seasons is not None:
        query = query.where(sample.c.season.between(*samples.seasons))
    return query.where(sample.c.chosen == "panels") if panels else query


def row_statement(
    kind: str, measures: tuple[Measure, ...], samples: Samples, more: tuple[str, ...] = ()
) -> Select[Any]:
    """Give the query that sums measures over the vines of each sample, from the covering index alone."""
    table = TABLES[kind]
    values: list[Sql] = []
    sums: list[str] = ["COUNT(*)"]
    for index, one in enumerate(more):
        values.append(literal_column(one).label(f"more{index}"))
        sums.append(f"COUNT(more{index})")
    for index, measure in enumerate(measures):
        y, x = f"y{index}", f"x{index}"
        values.append(literal_column(measure.y).label(y))
        if measure.x is None:
            sums += [f"COUNT({y})", _whole(y), _whole(f"{y} * {y}")]
        else:
            values.append(literal_column(measure.x).label(x))
            sums += _six(y, x)
    rows = select(table.c.sample, *values).where(live(table))
    within = wanted(kind, samples)
    rows = rows if within is None else rows.where(table.c.sample.in_(within))
    # The offset keeps the database from working out each value anew in every sum of it: four times as fast.
    unit = rows.offset(0).subquery("unit")
    return select(unit.c.sample, *_columns(sums)).select_from(unit).group_by(unit.c.sample)


def unit_statement(
    kind: str, measures: tuple[Measure, ...], samples: Samples, *, panels: bool, by_node: bool = False
) -> Select[Any]:
    """Give the query that sums measures over units made of several rows: panels of vines, or vines of nodes.

    Parameters
    ----------
    kind : kind of record.
    measures : what to sum.
    samples : whose rows.
    panels : True for the samples whose units are panels, False for those whose units are vines.
    by_node : True where bearer and position are kept apart.
    """
    table, sample = TABLES[kind], TABLES["sample"]
    place = (table.c.vine - 1) // sample.c.panel_size if panels else table.c.vine
    extra = (table.c.bearer, table.c.position) if by_node else ()
    keys = (table.c.sample, *extra, table.c.row, place)
    totals: list[Sql] = [
        literal_column(sums).label(f"{letter}{index}")
        for index, measure in enumerate(measures)
        for letter, sums in (
            ("y", f"SUM({measure.y})"),
            ("x", f"COUNT({measure.y})" if measure.x is None else f"SUM({measure.x})"),
        )
    ]
    inner = select(table.c.sample, *extra, place.label("place"), table.c.row, *totals).where(live(table))
    if panels:
        inner = inner.join(sample, sample.c.record == table.c.sample)
    within = wanted(kind, samples, panels=panels)
    if within is not None:
        inner = inner.where(table.c.sample.in_(within))
    unit = inner.group_by(*keys).subquery("unit")
    shown = ["COUNT(*)"]
    if by_node:
        cases = " ".join(f"WHEN '{word}' THEN {code}" for code, word in enumerate(BEARERS))
        shown.append(f"CASE bearer {cases} END * 100 + position + 1")
    for index in range(len(measures)):
        # Sums of the inner query are numeric on PostgreSQL: whole numbers again before they are squared.
        y, x = (_when(f"x{index} > 0", f"CAST({letter}{index} AS BIGINT)") for letter in "yx")
        shown += _six(y, x)
    grouped = [unit.c.sample, *(unit.c[column.name] for column in extra)]
    return select(unit.c.sample, *_columns(shown)).select_from(unit).group_by(*grouped)


def _table_of_numbers(connection: Connection, statement: Select[Any]) -> Ints:
    width = len(statement.selected_columns)
    rows = connection.execute(statement)
    return np.fromiter(chain.from_iterable(rows), dtype=np.int64).reshape(-1, width)


def _read(numbers: Ints, measures: tuple[Measure, ...], extra: int, *, all_six: bool) -> Aggregates:
    numbers = numbers[np.argsort(numbers[:, 0], kind="stable")] if len(numbers) else numbers
    sums: dict[str, Ints] = {}
    at = 2 + extra
    for measure in measures:
        if measure.x is None and not all_six:
            n, sum_y, sum_yy = numbers[:, at : at + 3].T
            sums[measure.name] = np.stack([n, n, sum_y, n, sum_yy, sum_y], axis=1)
            at += 3
        else:
            sums[measure.name] = numbers[:, at : at + 6]
            at += 6
    return Aggregates(numbers[:, 0], numbers[:, 2 : 2 + extra], numbers[:, 1], sums)


def sum_rows(
    connection: Connection, kind: str, measures: tuple[Measure, ...], samples: Samples, more: tuple[str, ...] = ()
) -> Aggregates:
    """Sum measures for each sample of a kind, with panels as units where panels were drawn.

    Parameters
    ----------
    connection : an open connection.
    kind : kind of record, one row a vine.
    measures : what to sum.
    samples : the samples of the blocks and seasons in question.
    more : further whole numbers to read, given as `extra`.
    """
    if not samples.has(kind):
        return _read(
            np.zeros((0, 2 + len(more) + 6 * len(measures)), dtype=np.int64), measures, len(more), all_six=True
        )
    by_row = _read(
        _table_of_numbers(connection, row_statement(kind, measures, samples, more)), measures, len(more), all_six=False
    )
    if samples.has_panels(kind):
        numbers = _table_of_numbers(connection, unit_statement(kind, measures, samples, panels=True))
        by_panel = _read(numbers[np.isin(numbers[:, 0], samples.record)], measures, 0, all_six=True)
        at = np.searchsorted(by_row.sample, by_panel.sample)
        size = samples.panel_size[np.searchsorted(samples.record, by_panel.sample)]
        by_row.drawn[at] = by_panel.drawn * size
        for name, sums in by_panel.sums.items():
            by_row.sums[name][at] = sums
    return by_row


def sum_nodes(connection: Connection, measures: tuple[Measure, ...], samples: Samples, *, by_node: bool) -> Aggregates:
    """Sum measures of node tallies for each sample, vines (or panels) being the units.

    Parameters
    ----------
    connection : an open connection.
    measures : what to sum.
    samples : the samples of the blocks and seasons in question.
    by_node : True where bearer and position are kept apart; `extra` is then bearer × 100 + position + 1.
    """
    width, extra = 2 + by_node + 6 * len(measures), int(by_node)
    if not samples.has("node_tally"):
        return _read(np.zeros((0, width), dtype=np.int64), measures, extra, all_six=True)
    numbers = _table_of_numbers(
        connection, unit_statement("node_tally", measures, samples, panels=False, by_node=by_node)
    )
    if samples.has_panels("node_tally"):
        panels = _table_of_numbers(
            connection, unit_statement("node_tally", measures, samples, panels=True, by_node=by_node)
        )
        panels = panels[np.isin(panels[:, 0], samples.record)]
        panels[:, 1] *= samples.panel_size[np.searchsorted(samples.record, panels[:, 0])]
        numbers = np.concatenate([numbers[~np.isin(numbers[:, 0], panels[:, 0])], panels])
    return _read(numbers, measures, extra, all_six=True)


def lot_statement(samples: Samples) -> Select[Any]:
    """Give the query that sums the weighed lots of each sample and stage, with all products of their four numbers."""
    lot = TABLES["cluster_lot"]
    cases = " ".join(f"WHEN '{word}' THEN {code}" for code, word in enumerate(STAGES))
    with_berries = "berries > 0 AND berry_mass_mg IS NOT NULL"
    four = [_when(with_berries, name) for name in ("mass_mg", "clusters", "berry_mass_mg", "berries")]
    products = [f"({a}) * ({b})" for index, a in enumerate(four) for b in four[index:]]
    shown = ["COUNT(*)", f"CASE stage {cases} END", *_six("mass_mg", "clusters"), f"COUNT({four[0]})"]
    shown += [_whole(number) for number in (*four, *products)]
    statement = select(lot.c.sample, *_columns(shown)).where(live(lot)).group_by(lot.c.sample, lot.c.stage)
    within = wanted("cluster_lot", samples)
    return statement if within is None else statement.where(lot.c.sample.in_(within))


def sum_lots(connection: Connection, samples: Samples) -> tuple[Aggregates, Ints]:
    """Sum the weighed lots: (mass per cluster as `cluster`, extra = stage; fifteen numbers of lots with berries).

    The fifteen are lots, then the sums of mass, clusters, berry mass and berries, then their ten products.
    """
    if not samples.has("cluster_lot"):
        return _read(
            np.zeros((0, 9), dtype=np.int64), (Measure("cluster", "mass_mg", "clusters"),), 1, all_six=True
        ), np.zeros((0, 15), dtype=np.int64)
    numbers = _table_of_numbers(connection, lot_statement(samples))
    numbers = numbers[np.argsort(numbers[:, 0], kind="stable")]
    return _read(numbers[:, :9], (Measure("cluster", "mass_mg", "clusters"),), 1, all_six=True), numbers[:, 9:]
