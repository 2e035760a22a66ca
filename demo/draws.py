"""Draws that the crews keep in the book: one that was counted this summer, two for the pruning to come."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo.blocks import PARCELS, Block
from vinebook.seasons.drawn_from import Drawn, DrawnFrom
from vinebook.seasons.layout import Part, RowFacts

if TYPE_CHECKING:
    from demo.drawing import BlockYear
    from demo.tallies import Tallies
    from demo.vine import Counts


@dataclass(frozen=True, slots=True)
class KeptDraw:
    """A draw as `vinebook draw` keeps it; the same seed gives the same vines there."""

    block: str
    season: int
    figure: str
    seed: int
    vines: int
    drawn_on: str
    drawn_by: str
    panels: bool = False


COUNTED = KeptDraw("V1", 2026, "clusters_per_vine", 260_615, 24, "2026-06-15", "AK")
"""Its last vine is not visited: `load` says so."""
DRAWS = (
    COUNTED,
    KeptDraw("V1", 2027, "prunings_per_vine", 4711, 30, "2026-11-20", "AK"),
    KeptDraw("V2", 2027, "prunings_per_vine", 31, 40, "2026-11-20", "AK", panels=True),
)
NAME = "1"


def places_of(block: Block, draw: KeptDraw) -> DrawnFrom:
    """Give the rows of a block as the book holds them."""
    rows = [
        RowFacts(number, parcel.positions, "the track", parcel.vines_per_panel)
        for parcel in (PARCELS[name] for name in block.parcel_names(draw.season))
        for number in range(parcel.first_row, parcel.last_row + 1)
    ]
    whole = Part("all", tuple(row.number for row in rows), sum(row.positions for row in rows), 1.0)
    return DrawnFrom(rows, [whole], rows[0].vines_per_panel if draw.panels else None)


def drawn_vines(block: Block, draw: KeptDraw) -> tuple[Drawn, ...]:
    """Give the vines of a draw in walking order."""
    places = places_of(block, draw)
    at, _ = places.drawn(draw.vines, draw.seed)
    return places.walk(at)


def visited(block: Block, year: BlockYear) -> tuple[Counts, dict[str, str | int]]:
    """Give the positions of the counted draw that were visited, and the cells of its sample."""
    vines = drawn_vines(block, COUNTED)[:-1]
    index = {(row, vine): at for at, (row, vine) in enumerate(zip(year.row.tolist(), year.vine.tolist(), strict=True))}
    positions = np.array([index[one.row, one.vine] for one in vines], dtype=np.int64)
    return positions, {"chosen": "random", "draw": NAME, "seed": COUNTED.seed}


def write_draws(tallies: Tallies, blocks: tuple[Block, ...]) -> None:
    """Add every draw and its vines."""
    by_code = {block.code: block for block in blocks}
    for draw in DRAWS:
        block = by_code[draw.block]
        places, vines = places_of(block, draw), drawn_vines(block, draw)
        named = {"block": draw.block, "name": NAME}
        tallies.add_seasonal(
            "draw",
            block.site,
            draw.season,
            **named,
            figure=draw.figure,
            chosen="panels" if draw.panels else "random",
            panel_size=places.size,
            seed=draw.seed,
            vines=len(vines),
            positions=places.positions,
            drawn_on=draw.drawn_on,
            drawn_by=draw.drawn_by,
        )
        for one in vines:
            cells = {"number": one.number, "row": one.row, "vine": one.vine, "panel": one.panel}
            tallies.add_seasonal("drawn_vine", block.site, draw.season, **named, **cells)
