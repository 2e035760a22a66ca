"""Draws as the book holds them: their vines in walking order, and which of these were visited."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.errors import WordsError
from vinebook.kinds import KINDS, SAMPLE
from vinebook.records.keys import find_record, key_of
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from sqlalchemy import Connection

    from vinebook.kinds.field import Kind

NAMED = 6
"""Vines that one message names."""
Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class DrawnVine:
    """A drawn vine as it is kept: its place in the walk, row, position, part and panel."""

    number: int
    row: int
    vine: int
    part: str
    panel: int | None


@dataclass(frozen=True, slots=True)
class KeptDraw:
    """A draw as it is kept, with its vines in walking order; the fields are those of the kind."""

    record: int
    key: str
    block: str
    season: int
    name: str
    figure: str
    chosen: str
    parts: str | None
    panel_size: int | None
    step: int | None
    start: int | None
    seed: int
    positions: int
    within_percent: float | None
    half_width_percent: float | None
    cv_percent: float | None
    cv_from: str | None
    drawn_on: dt.date
    drawn_by: str
    note: str | None
    vines: tuple[DrawnVine, ...]


def kept_draw(connection: Connection, words: str) -> KeptDraw:
    """Give a draw by its key or permanent number.

    Raises
    ------
    WordsError : there is no such draw.
    """
    record = find_record(connection, KINDS["draw"], words)
    draw, block, vine = TABLES["draw"], TABLES["block"].c, TABLES["drawn_vine"].c
    row = (
        connection.execute(
            select(draw, block.code).join(TABLES["block"], block.record == draw.c.block).where(draw.c.record == record)
        )
        .mappings()
        .one()
    )
    vines = connection.execute(
        select(vine.number, vine.row, vine.vine, vine.part, vine.panel)
        .where(vine.draw == record, vine.struck_at.is_(None))
        .order_by(vine.number, vine.record)
    )
    own = {name: row[name] for name in KeptDraw.__dataclass_fields__ if name in row and name not in ("block", "vines")}
    return KeptDraw(
        key=key_of(connection, KINDS["draw"], record),
        block=row["code"],
        vines=tuple(DrawnVine(*one) for one in vines),
        **own,
    )


def is_draw_key(words: str) -> bool:
    """Whether words are meant as the key or number of a draw, rather than as the code of a block.

    Parameters
    ----------
    words : as a person typed them.
    """
    return "/" in words or words.startswith("#")


def kept_draws(connection: Connection, block: str | None, season: int | None) -> list[KeptDraw]:
    """Give the live draws of a block and season, or of all, in the order in which they were kept.

    Raises
    ------
    WordsError : there is no such block.
    """
    c = TABLES["draw"].c
    query = select(c.record).where(c.struck_at.is_(None)).order_by(c.record)
    if block is not None:
        query = query.where(c.block == find_record(connection, KINDS["block"], block))
    if season is not None:
        query = query.where(c.season == season)
    return [kept_draw(connection, f"#{record}") for record in connection.execute(query).scalars().all()]


@dataclass(frozen=True, slots=True)
class Visits:
    """What was counted on the vines of a draw.

    Attributes
    ----------
    draw : permanent number of the draw.
    kind, thinning : what was counted, and whether before or after thinning.
    visited : drawn vines that have a row, as row and vine.
    missed : drawn vines that have none, in walking order.
    """

    draw: int
    kind: str
    thinning: str
    visited: frozenset[Place]
    missed: tuple[Place, ...]

    def __str__(self) -> str:
        count = len(self.visited) + len(self.missed)
        what = self.kind + (" after thinning" if self.thinning == "after" else "")
        if not self.missed:
            return f"{what}: all {count} drawn vines were visited"
        return (
            f"{what}: {len(self.visited)} of {count} drawn vines were visited; not visited: {told_places(self.missed)}"
        )


def rows_to_fill(draw: KeptDraw, kind: Kind) -> list[dict[str, str]]:
    """Give the rows of a tally that the vines of a draw ask for: texts by field, in walking order.

    Parameters
    ----------
    draw : a kept draw.
    kind : a kind of the vines of a sample, or of their lots, one a vine.

    Raises
    ------
    WordsError : the rows of the kind are not told by row and vine.
    """
    names = {field.name for field in kind.fields}
    if not kind.sampled or not ({"row", "vine"} <= names or "lot" in names):
        able = ", ".join([*kinds_with_vines(), "cluster_lot"])
        raise WordsError(f"a {kind.name} is not counted on drawn vines", f"one of: {able}")
    of_draw = {
        "block": draw.block,
        "season": str(draw.season),
        "chosen": draw.chosen,
        "panel_size": str(draw.panel_size or ""),
        "draw": draw.name,
        "seed": str(draw.seed),
    }
    return [
        {
            **of_draw,
            "part": "" if vine.part == "all" else vine.part,
            "row": str(vine.row),
            "vine": str(vine.vine),
            "lot": str(vine.number),
        }
        for vine in draw.vines
    ]


def told_places(places: Sequence[Place], most: int = NAMED) -> str:
    """Give vines in words, row and vine joined by a slash."""
    words = ", ".join(f"{row}/{vine}" for row, vine in places[:most])
    return words + (f" and {len(places) - most} more" if len(places) > most else "")


def kinds_with_vines() -> list[str]:
    """Give the sampled kinds whose rows say row and vine."""
    names = [kind for kind in KINDS.values() if kind.sampled]
    return [kind.name for kind in names if {"row", "vine"} <= {field.name for field in kind.fields}]


def drawn_places(connection: Connection, draw: int) -> dict[Place, str]:
    """Give row and vine of each drawn vine in walking order, with its part."""
    c = TABLES["drawn_vine"].c
    rows = connection.execute(
        select(c.row, c.vine, c.part).where(c.draw == draw, c.struck_at.is_(None)).order_by(c.number, c.record)
    )
    return {(row, vine): part for row, vine, part in rows}


def visits_of(connection: Connection, draw: int) -> list[Visits]:
    """Give what was counted on a draw's vines, kind by kind in the order of loading."""
    places = drawn_places(connection, draw)
    of, sample = TABLES["draw"], TABLES["sample"]
    counted = connection.execute(
        select(sample.c.record, sample.c.counts, sample.c.thinning)
        .join(of, (of.c.block == sample.c.block) & (of.c.season == sample.c.season) & (of.c.name == sample.c.draw))
        .where(of.c.record == draw, sample.c.struck_at.is_(None))
    ).all()
    visits = []
    for kind in kinds_with_vines():
        for thinning in SAMPLE.field("thinning").choices:
            records = [record for record, counts, when in counted if counts == kind and when == thinning]
            if records:
                c = TABLES[kind].c
                rows = connection.execute(
                    select(c.row, c.vine).where(c.sample.in_(records), c.struck_at.is_(None)).distinct()
                )
                met = frozenset((row, vine) for row, vine in rows) & places.keys()
                visits.append(Visits(draw, kind, thinning, met, tuple(one for one in places if one not in met)))
    return visits
