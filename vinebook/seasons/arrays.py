"""All figures of blocks and seasons at once, as arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.seasons.balance import component_check, ratio_to_prunings, wood_columns
from vinebook.seasons.canopy import canopy_columns
from vinebook.seasons.catalogue import FIGURES, WOOD_FIGURES
from vinebook.seasons.columns import KNOWN, NO_N
from vinebook.seasons.counting import cluster_counts, fruit_columns, node_columns, shoot_columns, wood_and_nodes
from vinebook.seasons.cropping import must_columns, yield_columns
from vinebook.seasons.gathered import Gathered, gather
from vinebook.seasons.measures import BEARERS, STAGES
from vinebook.seasons.standing import standing_columns

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.columns import FigureColumn

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


@dataclass(slots=True)
class SeasonArrays:
    """Figures of blocks and seasons as arrays.

    Attributes
    ----------
    gathered : cells, blocks and facts that the columns refer to.
    columns : one for each figure (and bearer, position, stage), in the order of the catalogue.
    wanted : cells that were asked for; the season before the first record only where its wood was weighed.
    """

    gathered: Gathered
    columns: list[FigureColumn]
    wanted: Bools

    def column(self, name: str, **where: object) -> FigureColumn:
        """Give the column of a figure, or raise KeyError.

        Parameters
        ----------
        name : figure.
        where : bearer, position or stage, if several columns have that name.
        """
        for column in self.columns:
            if column.name == name and all(getattr(column, key) == value for key, value in where.items()):
                return column
        raise KeyError(name)

    def order(self) -> tuple[Ints, Ints]:
        """Give column and entry of every figure that was asked for, by block, season and catalogue."""
        rank = {name: index for index, name in enumerate(FIGURES)}
        keys: list[Ints] = []
        for number, column in enumerate(self.columns):
            wanted = self.wanted[column.cell]
            if column.name not in WOOD_FIGURES:
                wanted &= ~self.gathered.cells.is_before[column.cell]
            entries = np.flatnonzero(wanted)
            size = len(entries)
            pick = np.zeros(size, dtype=np.int64) if column.pick is None else column.pick[entries]
            fixed = (
                rank[column.name],
                -1 if column.bearer is None else BEARERS.index(column.bearer),
                -2 if column.position is None else column.position,
                -1 if column.stage is None else STAGES.index(column.stage),
                number,
            )
            keys.append(np.stack([column.cell[entries], *(np.full(size, key) for key in fixed), pick, entries], axis=0))
        table = np.concatenate(keys, axis=1)
        order = np.lexsort(table[[6, 4, 3, 2, 1, 0]])
        return table[5, order], table[7, order]


def season_arrays(connection: Connection, blocks: list[int] | None, seasons: list[int] | None) -> SeasonArrays:
    """Work out every figure of blocks and seasons, with intervals, as arrays.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    blocks : permanent numbers of blocks, or None for all.
    seasons : harvest years, or None for all from a block's first record to its last.
    """
    gathered = gather(connection, blocks, seasons)
    with np.errstate(invalid="ignore", divide="ignore"):
        columns = _columns(connection, gathered)
    wanted = ~gathered.cells.is_beyond
    if seasons is not None:
        wanted &= np.isin(gathered.cells.season, seasons)
    wood = next(column for column in columns if column.name == "prunings_per_vine")
    wanted &= ~gathered.cells.is_before | np.isfinite(wood.value)
    rank = {name: index for index, name in enumerate(FIGURES)}
    columns.sort(key=lambda column: rank[column.name])
    for column in columns:
        nothing = np.isnan(column.value) & (column.status == KNOWN)
        if nothing.any():
            raise AssertionError(f"{column.name} is known without a value")
        column.n[np.isnan(column.value)] = NO_N
    return SeasonArrays(gathered, columns, wanted)


def _columns(connection: Connection, gathered: Gathered) -> list[FigureColumn]:
    wood = wood_and_nodes(connection, gathered)
    shoots, shoot_counts = shoot_columns(connection, gathered)
    clusters = cluster_counts(connection, gathered)
    nodes, per_shoot = node_columns(connection, gathered)
    fruit = fruit_columns(connection, gathered)
    yields = yield_columns(gathered, fruit)
    grown = wood_columns(gathered, wood)
    return [
        *standing_columns(gathered),
        *wood.columns,
        *shoots,
        clusters.latest,
        *nodes,
        *fruit.columns,
        *yields.columns,
        *canopy_columns(connection, gathered, yields, fruit),
        *must_columns(gathered),
        *grown,
        ratio_to_prunings(connection, gathered, yields, wood, grown[0]),
        component_check(gathered, yields, shoot_counts, per_shoot, clusters, fruit.cluster_weight),
    ]
