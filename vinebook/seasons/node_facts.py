"""Nodes and clusters vine by vine: what a block's node tallies say of each kind of bearer and position."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from vinebook.records.tables import TABLES
from vinebook.seasons.counting import counted
from vinebook.seasons.gathered import gather
from vinebook.seasons.history import block_history, block_number, judging_context
from vinebook.seasons.measures import BEARERS, node_tally_measures, sum_nodes
from vinebook.seasons.places import live
from vinebook.seasons.samples import CHOSEN, HAND_PICKED

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.context import JudgingContext
    from vinebook.seasons.gathered import Gathered
    from vinebook.seasons.model import BlockHistory

    Floats = NDArray[np.float64]
    Unit = tuple[int, int, int]

OLD_WOOD = -1
BASAL = 0
FIRST = 1


@dataclass(frozen=True, slots=True, eq=False)
class BearerCounts:
    """What was counted on one kind of bearer in a season; arrays are vines (or panels) by positions.

    Attributes
    ----------
    bearer : "spur", "cane", "renewal_spur" or "head_spur".
    positions : node positions counted, -1 for old wood, 0 basal, then 1, 2, … from the base.
    units : what was drawn: sample, row, and vine or panel.
    nodes, clusters : counted there; a blind node is a node without clusters.
    bearers : spurs or canes that were counted.
    length : count nodes on one of them, the median; 0 where none has one.
    """

    bearer: str
    positions: tuple[int, ...]
    units: tuple[Unit, ...]
    nodes: Floats
    clusters: Floats
    bearers: int
    length: int


@dataclass(frozen=True, slots=True)
class NodeSeason:
    """The node tally of a season: drawn vines before hand-picked ones, before thinning where there is such a count."""

    season: int
    is_after_thinning: bool
    is_by_hand: bool
    in_panels: bool
    kinds: tuple[BearerCounts, ...]

    def of(self, bearer: str) -> BearerCounts | None:
        """Give the counts of a kind of bearer, None where none was counted."""
        return next((kind for kind in self.kinds if kind.bearer == bearer), None)


def node_facts(connection: Connection, block: int, seasons: Sequence[int] = ()) -> tuple[NodeSeason, ...]:
    """Gather the node tallies of a block.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : permanent number of the block.
    seasons : harvest years; none takes all.
    """
    gathered = gather(connection, [block], list(seasons) or None)
    sums = sum_nodes(connection, node_tally_measures(), gathered.samples, by_node=True)
    found: dict[int, NodeSeason] = {}
    for is_after in (True, False):
        choice = counted(gathered, "node_tally", sums, after=is_after).choice("clusters")
        of_season: dict[int, list[int]] = {}
        for sample in choice.sample.tolist():
            of_season.setdefault(int(gathered.samples.season[sample]), []).append(sample)
        found |= {
            season: _season(connection, gathered, season, samples, is_after)
            for season, samples in of_season.items()
            if not seasons or season in seasons
        }
    return tuple(found[season] for season in sorted(found))


def _season(
    connection: Connection,
    gathered: Gathered,
    season: int,
    samples: list[int],
    is_after: bool,
) -> NodeSeason:
    table = TABLES["node_tally"]
    chosen = {int(gathered.samples.record[one]): int(gathered.samples.chosen[one]) for one in samples}
    size = {int(gathered.samples.record[one]): int(gathered.samples.panel_size[one]) for one in samples}
    columns = ("sample", "row", "vine", "bearer", "bearer_number", "position", "shoots", "clusters")
    statement = select(*(table.c[name] for name in columns)).where(live(table), table.c.sample.in_(list(chosen)))
    # A node with shoots whose clusters were not counted says nothing.
    rows = [row for row in connection.execute(statement) if row.clusters is not None or row.shoots == 0]
    kinds = [
        _kind(bearer, [row for row in rows if row.bearer == bearer], chosen, size)
        for bearer in BEARERS
        if any(row.bearer == bearer for row in rows)
    ]
    return NodeSeason(
        season,
        is_after,
        any(how == HAND_PICKED for how in chosen.values()),
        any(how == CHOSEN["panels"] for how in chosen.values()),
        tuple(kinds),
    )


def _kind(bearer: str, rows: Iterable[Any], chosen: dict[int, int], size: dict[int, int]) -> BearerCounts:
    counts: dict[tuple[Unit, int], list[int]] = {}
    longest: dict[tuple[int, int, int, int], int] = {}
    for sample, row, vine, _, number, position, _, clusters in rows:
        place = (vine - 1) // size[sample] if chosen[sample] == CHOSEN["panels"] else vine
        cell = counts.setdefault(((sample, row, place), position), [0, 0])
        cell[0] += 1
        cell[1] += clusters or 0
        one = (sample, row, vine, number)
        longest[one] = max(longest.get(one, 0), position)
    units = tuple(sorted({unit for unit, _ in counts}))
    positions = tuple(sorted({position for _, position in counts}))
    both = np.zeros((2, len(units), len(positions)))
    for (unit, position), cell in counts.items():
        both[:, units.index(unit), positions.index(position)] = cell
    lengths = sorted(length for length in longest.values() if length >= FIRST)
    return BearerCounts(
        bearer, positions, units, both[0], both[1], len(lengths), lengths[len(lengths) // 2] if lengths else 0
    )


def blocks_of_cultivar(connection: Connection, cultivar: str, but: int) -> list[tuple[int, str]]:
    """Give number and code of the other blocks that are planted to a cultivar at any time.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    cultivar : its name as the plantings have it.
    but : permanent number of the block to leave out.
    """
    planting, block = TABLES["planting"], TABLES["block"]
    statement = (
        select(block.c.record, block.c.code)
        .join(planting, planting.c.block == block.c.record)
        .where(live(planting), live(block), planting.c.cultivar == cultivar, block.c.record != but)
        .distinct()
        .order_by(block.c.code)
    )
    return [(int(number), code) for number, code in connection.execute(statement)]


@dataclass(frozen=True, slots=True)
class FruitFacts:
    """What an answer on fruitfulness rests on.

    Attributes
    ----------
    history : the block's history, its figures not judged yet.
    context : what they are judged by.
    tallies : its node tallies.
    peers : those of the other blocks of its cultivar, by code.
    """

    history: BlockHistory
    context: JudgingContext
    tallies: tuple[NodeSeason, ...]
    peers: dict[str, tuple[NodeSeason, ...]]


def fruit_facts(connection: Connection, code: str, seasons: Sequence[int] = ()) -> FruitFacts:
    """Gather what an answer on fruitfulness rests on.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    code : the block's code.
    seasons : harvest years; none takes all.

    Raises
    ------
    WordsError : no live block has that code.
    """
    number = block_number(connection, code)
    told = block_history(connection, code)
    tallies = node_facts(connection, number, seasons)
    peers = {}
    if tallies and told.plantings:
        cultivar = max(told.plantings, key=lambda planting: planting.from_season).cultivar
        peers = {
            peer: node_facts(connection, record, seasons)
            for record, peer in blocks_of_cultivar(connection, cultivar, number)
        }
    return FruitFacts(told, judging_context(connection, [number]), tallies, peers)
