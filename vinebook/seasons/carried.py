"""What a block takes over from the blocks before it.

Figures per vine and per metre carry over, labelled; tonnes, vines and areas never do. A merger weights its
predecessors by their bearing vines.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.kinds import KINDS
from vinebook.records.keys import find_record
from vinebook.records.tables import TABLES
from vinebook.seasons.figures import figures_of
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from vinebook.seasons.model import Figure

CARRIED = frozenset(
    {
        "nodes_per_vine",
        "nodes_per_m",
        "spurs_per_vine",
        "canes_per_vine",
        "budbreak",
        "shoots_per_node",
        "shoots_per_vine",
        "noncount_shoot_share",
        "shoots_per_m",
        "clusters_per_vine",
        "clusters_per_shoot",
        "clusters_per_node_at_k",
        "fruitful_share_at_k",
        "cluster_weight",
        "berries_per_cluster",
        "berry_weight",
        "yield_per_vine",
        "yield_per_m",
        "yield_per_m_planted",
        "prunings_per_vine",
        "prunings_per_m",
        "cane_weight",
        "yield_to_prunings",
    }
)
"""Figures per vine, per metre or of a part of the vine. Tonnes, vines and areas do not carry over."""


def carried_figures(connection: Connection, number: int, own: tuple[Figure, ...]) -> tuple[Figure, ...]:
    """Give the figures that a block takes over for the seasons before its own first.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    number : permanent number of the block.
    own : the block's own figures; a season that it has figures for takes nothing over.
    """
    return _carried(connection, number, min((figure.season for figure in own), default=None), frozenset())


def with_carried(connection: Connection, codes: list[str], seasons: list[int]) -> list[Figure]:
    """Give the figures of blocks and seasons, those that a block takes over included.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    codes : block codes; none takes all.
    seasons : harvest years; none takes all.

    Raises
    ------
    WordsError : no such block.
    """
    if not codes:
        block = TABLES["block"]
        codes = sorted(connection.execute(select(block.c.code).where(live(block))).scalars())
    found: list[Figure] = []
    for code in codes:
        number = find_record(connection, KINDS["block"], code)
        if parents_of(connection, number):
            own = tuple(figures_of(connection, [number], None))
            both = (*carried_figures(connection, number, own), *own)
            found += [figure for figure in both if not seasons or figure.season in seasons]
        else:
            found += figures_of(connection, [number], seasons or None)
    return found


def _carried(connection: Connection, number: int, before: int | None, seen: frozenset[int]) -> tuple[Figure, ...]:
    block = TABLES["block"]
    code, first = connection.execute(select(block.c.code, block.c.from_season).where(block.c.record == number)).one()
    limit = first if before is None else min(first, before)
    parents = [parent for parent in parents_of(connection, number) if parent not in seen]
    if not parents:
        return ()
    families = []
    for parent in parents:
        theirs = tuple(figures_of(connection, [parent], None))
        earliest = min((figure.season for figure in theirs), default=limit)
        older = _carried(connection, parent, earliest, seen | {number})
        families.append([figure for figure in (*older, *theirs) if figure.season < limit])
    return _labelled(families[0], code) if len(families) == 1 else _merged(families, code)


def parents_of(connection: Connection, number: int) -> list[int]:
    """Give the blocks that a block takes figures over from.

    A replant is other vines on the same ground: nothing per vine carries over.
    """
    table = TABLES["predecessor"]
    statement = select(table.c.predecessor).where(live(table), table.c.block == number, table.c.how != "replant")
    return [int(parent) for parent in connection.execute(statement).scalars()]


def _key(figure: Figure) -> tuple[object, ...]:
    return (figure.season, figure.figure, figure.bearer, figure.position, figure.stage, figure.pick)


def _labelled(figures: list[Figure], code: str) -> tuple[Figure, ...]:
    return tuple(
        replace(figure, block=code, note=_with(f"carried over from block {figure.block}", figure.note))
        for figure in figures
        if figure.figure in CARRIED and figure.value is not None
    )


def _merged(families: list[list[Figure]], code: str) -> tuple[Figure, ...]:
    """Weight the figures of several predecessors by their bearing vines, where all of them have one."""
    by_key = [{_key(figure): figure for figure in family} for family in families]
    merged: list[Figure] = []
    for key, first in by_key[0].items():
        if first.figure not in CARRIED:
            continue
        same = [figures.get(key) for figures in by_key]
        stands = [figures.get((first.season, "vines_bearing", None, None, None, None)) for figures in by_key]
        values = [figure.value for figure in same if figure is not None and figure.value is not None]
        vines = [figure.value for figure in stands if figure is not None and figure.value]
        if len(values) != len(families) or len(vines) != len(families):
            continue
        value = sum(value * vine for value, vine in zip(values, vines, strict=True)) / sum(vines)
        codes = ", ".join(sorted({family[0].block for family in families}))
        merged.append(
            replace(
                first,
                block=code,
                value=value,
                low=None,
                high=None,
                level=None,
                n=None,
                chosen="",
                basis="mean of the predecessors, weighted by bearing vines",
                note=f"carried over from blocks {codes}, hence no interval",
            )
        )
    return tuple(merged)


def _with(label: str, note: str) -> str:
    return f"{label}; {note}" if note else label
