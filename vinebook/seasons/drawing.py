"""A draw of vines: what numbers of vines buy, how many are enough, and which ones, from rows and past samples."""

from __future__ import annotations

import datetime as dt
import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.errors import WordsError
from vinebook.formulas.drawing import random_start
from vinebook.formulas.sampling import systematic_positions
from vinebook.kinds import KINDS
from vinebook.records.keys import find_record, join_key
from vinebook.records.tables import TABLES
from vinebook.seasons.draw_checks import Asked, How, check_figure, check_numbers, check_season, panel_size_of
from vinebook.seasons.drawn_from import Buying, Buys, Drawn, DrawnFrom
from vinebook.seasons.layout import Part, census_of, parts_of_rows, rows_of_block, shown_rows
from vinebook.seasons.places import live
from vinebook.seasons.spread import DRAWN_FOR, Spread, spread_of
from vinebook.seasons.sufficing import EVEN_CV, LEAST, too_few

if TYPE_CHECKING:
    from sqlalchemy import Connection


OFFERED = (5, 10, 20, 30, 50)
"""Numbers of vines that are told when none is asked for."""
SEEDS = 1_000_000
NEARLY_ALL = 0.8
"""Above this share of the block a count of all is less work than a draw; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Draw:
    """A draw, or what one would buy where `vines` is empty.

    Attributes
    ----------
    block, season, figure, chosen : what was asked for; `name` is the draw's own.
    counted : kind of the tally that the figure is counted in.
    positions, panels, rows : what is drawn from; panels only where panels are drawn.
    bearing_percent, census_on : share of positions that bear by the census of that day; 100 and None without one.
    parts : parts with the number of vines drawn in each; none for the whole block.
    spread : how much the units differ, and where that is known from.
    table : what the offered numbers of vines buy.
    within_percent : the half width that was wanted, None where a number was named.
    bought : what this draw buys, None where nothing was drawn.
    vines : in walking order.
    step, start, panel_size, seed : of the draw, where they apply.
    walk_from : end of the first row from which the walk starts, in words or "".
    notes : what a person should know.
    key : of the recorded draw; "" where it was not recorded.
    """

    block: str
    season: int
    figure: str
    chosen: How
    counted: str
    positions: int
    panels: int | None
    rows: int
    bearing_percent: float
    census_on: dt.date | None
    parts: tuple[tuple[Part, int], ...]
    spread: Spread
    table: tuple[Buys, ...]
    name: str = ""
    drawn_on: dt.date | None = None
    within_percent: float | None = None
    bought: Buys | None = None
    vines: tuple[Drawn, ...] = ()
    step: int | None = None
    start: int | None = None
    panel_size: int | None = None
    seed: int | None = None
    walk_from: str = ""
    notes: tuple[str, ...] = ()
    key: str = ""


def planned_draw(connection: Connection, asked: Asked) -> Draw:
    """Work out a draw: what vines buy and, where a number or a precision is named, which vines.

    Parameters
    ----------
    connection : a reading connection.
    asked : what is asked.

    Raises
    ------
    WordsError : what is missing or cannot be, and what would cure it.
    """
    check_numbers(asked)
    check_figure(asked.figure)
    block = find_record(connection, KINDS["block"], asked.block)
    on = asked.on or dt.datetime.now().astimezone().date()
    check_season(connection, block, asked, on)
    rows = rows_of_block(connection, block, asked.season)
    if not rows:
        raise WordsError(
            f"no rows of {asked.block} are in the book for {asked.season}",
            "vines are drawn from rows: load a tally of kind row (`vinebook form row`)",
        )
    size = panel_size_of(asked, rows)
    census = census_of(connection, block, asked.season, on)
    parts = parts_of_rows(rows, asked.parts, census)
    spread = spread_of(
        connection,
        block,
        asked.season,
        asked.figure,
        panel_size=size,
        by_parts=bool(asked.parts),
        on=on,
        given=None if asked.cv_percent is None else asked.cv_percent / 100,
    )
    places = DrawnFrom(rows, parts, size)
    buying = Buying(spread.cv, places)
    notes = list(spread.notes)
    if asked.how == "every_kth" and not all(row.vines_per_panel for row in rows):
        notes.append("vines_per_panel of the rows is not recorded: the step may keep time with the posts")
    if census is None:
        notes.append("no vine census is in the book: every position is taken to bear")
    draw = Draw(
        block=asked.block,
        season=asked.season,
        figure=asked.figure,
        chosen=asked.how,
        counted=DRAWN_FOR[asked.figure].kind,
        positions=places.positions,
        panels=places.panels,
        rows=len(rows),
        bearing_percent=100 * places.bearing,
        census_on=None if census is None else census.date,
        parts=(),
        spread=spread,
        table=tuple(buying.of(vines) for vines in OFFERED if vines <= places.positions),
        panel_size=size,
        notes=tuple(notes),
    )
    if asked.vines is None and asked.within_percent is None and asked.step is None:
        return draw
    return _chosen(connection, block, asked, on, draw, places, buying)


def _chosen(
    connection: Connection, block: int, asked: Asked, on: dt.date, draw: Draw, places: DrawnFrom, buying: Buying
) -> Draw:
    """Choose the vines of a draw."""
    _check_name(connection, block, asked)
    seed = secrets.randbelow(SEEDS) if asked.seed is None else asked.seed
    wanted = _wanted(asked, places, buying)
    shares: list[int] = []
    step = start = None
    if asked.how == "every_kth":
        step = _step(asked, places, wanted)
        start = random_start(step, seed)
        at = systematic_positions(places.positions, step, start) - 1
    else:
        at, shares = places.drawn(wanted, seed)
    if len(at) < 2:
        raise WordsError(
            f"one vine of {places.positions:,} would be drawn, which tells no spread", "a smaller step or more vines"
        )
    vines = places.walk(at)
    first = next(row for row in places.rows if row.number == vines[0].row)
    bought = buying.of(len(vines), places.units_of(at))
    notes = draw.notes
    if too_few("mean", bought.units, draw.spread.cv):
        least = LEAST["mean"].uneven if draw.spread.cv > EVEN_CV else LEAST["mean"].even
        what = "panels" if places.panels is not None else "bearing vines"
        notes = (*notes, f"fewer than {least} {what}: the interval will be less sure than it says")
    return replace(
        draw,
        name=asked.name or next_name(connection, block, asked.season),
        drawn_on=on,
        within_percent=asked.within_percent,
        bought=bought,
        notes=notes,
        vines=vines,
        step=step,
        start=start,
        seed=seed,
        parts=tuple(zip(places.parts, shares, strict=True)) if asked.parts else (),
        walk_from=first.numbered_from,
    )


def _check_name(connection: Connection, block: int, asked: Asked) -> None:
    c = TABLES["draw"].c
    same = select(c.record).where(
        c.block == block, c.season == asked.season, c.name == asked.name, live(TABLES["draw"])
    )
    if asked.name and connection.scalar(same) is not None:
        key = join_key((asked.block, asked.season, asked.name))
        raise WordsError(f"draw {key} is in the book already", "another --name, or none for the next number")


def next_name(connection: Connection, block: int, season: int) -> str:
    """Give the next number that no draw of a block and season has, struck ones included."""
    c = TABLES["draw"].c
    names = set(connection.execute(select(c.name).where(c.block == block, c.season == season)).scalars())
    number = len(names) + 1
    while str(number) in names:
        number += 1
    return str(number)


def _wanted(asked: Asked, places: DrawnFrom, buying: Buying) -> int:
    """Give how many positions are to be drawn, 0 where a step is named."""
    if asked.vines is not None:
        if asked.vines > places.positions:
            raise WordsError(
                f"{asked.vines:,} vines cannot be drawn: the rows of {asked.block} have {places.positions:,} positions",
                f"{places.positions:,} at most; that is a count of all",
            )
        least = 2 * len(places.parts) * (places.size or 1)
        if asked.vines < least:
            raise WordsError(
                f"{asked.vines} vines are too few: {'parts need' if asked.parts else 'a draw needs'} "
                f"two {'panels' if places.size else 'vines'}{' each' if asked.parts else ''} to tell a spread",
                f"{least} vines or more",
            )
        return asked.vines
    if asked.within_percent is None:
        return 0
    wanted = buying.vines_for(asked.within_percent)
    if wanted > NEARLY_ALL * places.positions:
        best = max((one for one in OFFERED if one <= places.positions), default=places.positions)
        bought = buying.of(best).half_width_percent
        told = f"{best} vines buy ±{bought:.0f} %; " if bought is not None else ""
        raise WordsError(
            f"±{asked.within_percent:g} % of {asked.figure} is not reachable by drawing: {wanted:,} of the "
            f"{places.positions:,} positions would be needed",
            f"{told}count all vines, or ask for less",
        )
    return wanted


def _step(asked: Asked, places: DrawnFrom, wanted: int) -> int:
    """Give the step of a systematic draw: the one named, or the largest that gives the vines wanted."""
    if asked.step is not None:
        if not 1 <= asked.step <= places.positions // 2:
            raise WordsError(
                f"one in {asked.step} of {places.positions:,} positions cannot be drawn",
                f"a step from 1 to {places.positions // 2:,}",
            )
        if (why := places.why_not_every(asked.step)) is not None:
            near = [one for one in _steps_near(asked.step, places) if places.why_not_every(one) is None]
            raise WordsError(f"a step of {asked.step} {why}", f"{' or '.join(map(str, near[:2]))} would do")
        return asked.step
    step = max(places.positions // wanted, 1)
    while places.why_not_every(step) is not None:
        step -= 1
    return step


def _steps_near(step: int, places: DrawnFrom) -> list[int]:
    apart = sorted(range(1, places.positions // 2 + 1), key=lambda one: (abs(one - step), one))
    return apart[:50]


def draw_texts(draw: Draw, *, by: str, note: str = "") -> tuple[dict[str, str], list[dict[str, str]]]:
    """Give a draw and its vines as texts by field, as tallies hold them.

    Parameters
    ----------
    draw : with vines.
    by : who drew.
    note : anything else.
    """

    def text(value: object) -> str:
        return "" if value is None else f"{value:.4g}" if isinstance(value, float) else str(value)

    named = {"block": draw.block, "season": str(draw.season), "name": draw.name}
    row = {
        **named,
        "figure": draw.figure,
        "chosen": draw.chosen,
        "parts": "; ".join(f"{part.name}: {shown_rows(part.rows)}" for part, _ in draw.parts),
        "panel_size": text(draw.panel_size),
        "step": text(draw.step),
        "start": text(draw.start),
        "seed": text(draw.seed),
        "vines": str(len(draw.vines)),
        "positions": str(draw.positions),
        "within": text(draw.within_percent),
        "half_width": text(draw.bought.half_width_percent if draw.bought else None),
        "cv": text(100 * draw.spread.cv),
        "cv_from": draw.spread.source,
        "drawn_on": text(draw.drawn_on),
        "drawn_by": by,
        "note": note,
    }
    vines = [
        {
            **named,
            "number": str(vine.number),
            "row": str(vine.row),
            "vine": str(vine.vine),
            "part": vine.part,
            "panel": text(vine.panel),
        }
        for vine in draw.vines
    ]
    return row, vines
