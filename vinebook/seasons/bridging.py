"""The last season of a block that ended, whose wood its successor weighed.

The visit that sets the first season of a block weighs the wood of the season before, which the block took over. A
renamed or merged block has all the vines of that season, so crop and wood make its ratio; a part of a block has only
its own wood.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.records.tables import TABLES
from vinebook.seasons.catalogue import BEARING_VINE, FIGURES
from vinebook.seasons.columns import LEVEL_PERCENT
from vinebook.seasons.merging import CROP, RATIO, WOOD, Line, Taken, estimate_of, key_of, metres_of, over
from vinebook.seasons.notes import REMARKS, Remark
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection

    from vinebook.seasons.model import Figure

PER_METRE = "prunings_per_m"
OF_THE_CROP = frozenset({"crop", "delivered", CROP, "yield_per_ha", "yield_per_m", "yield_per_m_planted", RATIO})
"""Figures that a change of picking moves."""


def bridged(
    taken: Sequence[Taken], own: Sequence[Figure], *, before: int, has_all_vines: bool
) -> tuple[list[Taken], dict[int, Figure]]:
    """Give what the wood weighed at a block's first visit and the figures taken over make together.

    Parameters
    ----------
    taken : figures that the block takes over.
    own : its own figures.
    before : its first season.
    has_all_vines : whether every vine of the blocks before it is one of its own.

    Returns
    -------
    tuple
        Figures to take over as well, and own figures by their place in `own` that are known now.
    """
    season = before - 1
    line = Line(0, "", {key_of(one.figure): one for one in taken}, {})
    at = {figure.figure: number for number, figure in enumerate(own) if figure.season == season}
    if WOOD not in at or (wood := estimate_of(own[at[WOOD]])) is None:
        return [], {}
    weighed = own[at[WOOD]]
    changed: dict[int, Figure] = {}
    metres = metres_of(line, season)
    per_metre = own[at[PER_METRE]] if PER_METRE in at else None
    if metres is not None and per_metre is not None and per_metre.value is None:
        limits = [None if limit is None else limit / metres.value for limit in (weighed.low, weighed.high)]
        taken_over = next(one for one in taken if one.figure.season == season and one.figure.unit.endswith("/m"))
        changed[at[PER_METRE]] = replace(
            weighed,
            figure=PER_METRE,
            unit=FIGURES[PER_METRE].unit,
            per=taken_over.figure.per,
            value=wood.value / metres.value,
            low=limits[0],
            high=limits[1],
            basis=f"{weighed.basis}; {taken_over.figure.per} as carried over from {taken_over.origin}",
        )
    crop = line.taken.get((season, CROP, None, None, None, None))
    if not has_all_vines or crop is None or crop.figure.status != "known" or not crop.figure.value or not wood.value:
        return [], changed
    fruit = estimate_of(crop.figure)
    has_interval = weighed.low is not None and "no interval" not in crop.figure.note
    if fruit is None:
        return [], changed
    limits_ = over(fruit, wood)
    ratio = replace(
        weighed,
        figure=RATIO,
        unit=FIGURES[RATIO].unit,
        per=BEARING_VINE,
        value=limits_.value,
        low=limits_.low if has_interval else None,
        high=limits_.high if has_interval else None,
        level=LEVEL_PERCENT if has_interval else None,
        basis="crop of the blocks before it ÷ prunings weighed in this one, per bearing vine",
        note=crop.figure.note,
    )
    return [Taken(ratio, crop.origin, 0)], changed


def picked_otherwise(
    connection: Connection, number: int, predecessors: Iterable[int], own: Sequence[Figure], before: int
) -> tuple[Figure, ...]:
    """Mark a block's first season where the blocks before it were picked in another way the season before.

    Parameters
    ----------
    connection : an open connection.
    number, predecessors : permanent numbers of the block and of those before it.
    own : the block's own figures.
    before : its first season.
    """
    now, then = _ways(connection, [number], before), _ways(connection, list(predecessors), before - 1)
    if not now or not then or ("machine" in now) == ("machine" in then):
        return tuple(own)
    words = REMARKS[Remark.NOW_BY_MACHINE if "machine" in now else Remark.NOW_BY_HAND]
    return tuple(
        replace(figure, note="; ".join(filter(None, (figure.note, words))))
        if figure.season == before and figure.figure in OF_THE_CROP and figure.value is not None
        else figure
        for figure in own
    )


def _ways(connection: Connection, blocks: list[int], season: int) -> set[str]:
    """Give how fruit of blocks was picked in a season: by hand, by machine, both or not at all."""
    part, load = TABLES["load_part"], TABLES["load"]
    statement = (
        select(part.c.picked)
        .join(load, load.c.record == part.c.load)
        .where(live(part), live(load), part.c.block.in_(blocks), load.c.season == season)
    )
    return set(connection.scalars(statement.distinct()))
