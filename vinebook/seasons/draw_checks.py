"""What is asked of a draw, and what of it cannot be: each refusal says what is missing and what would cure it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from sqlalchemy import select

from vinebook.errors import WordsError
from vinebook.quantities import GROWING, months_outside, season_of
from vinebook.records.nearest import near_names
from vinebook.records.tables import TABLES
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.places import live
from vinebook.seasons.spread import DRAWN_FOR, NOT_DRAWN, WOOD

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from sqlalchemy import Connection

    from vinebook.seasons.layout import RowFacts

How = Literal["random", "every_kth", "panels"]
FARTHEST_MONTHS = 12


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a draw; see `draw_vines` of the api."""

    block: str
    season: int
    figure: str
    how: How = "random"
    vines: int | None = None
    within_percent: float | None = None
    parts: tuple[str, ...] = ()
    panel_size: int | None = None
    step: int | None = None
    seed: int | None = None
    cv_percent: float | None = None
    name: str = ""
    on: dt.date | None = None


def check_figure(figure: str) -> None:
    """Check that vines are drawn for a figure.

    Raises
    ------
    WordsError : there is no such figure, or it does not rest on drawn vines.
    """
    if figure in DRAWN_FOR:
        return
    if figure in FIGURES:
        why = NOT_DRAWN.get(figure, "it comes from places, census, tickets or samples of fruit, not from drawn vines")
        raise WordsError(f"no vines are drawn for {figure}: {why}", f"one of: {', '.join(DRAWN_FOR)}")
    near = near_names(figure, DRAWN_FOR) or near_names(figure, FIGURES)
    hint = f"did you mean {' or '.join(near)}?" if near else f"one of: {', '.join(DRAWN_FOR)}"
    raise WordsError(f"there is no figure {figure!r}", hint)


def check_numbers(asked: Asked) -> None:
    """Refuse numbers that cannot be, or that do not go together.

    Raises
    ------
    WordsError : which, and what would do.
    """
    if asked.vines is not None and asked.within_percent is not None:
        raise WordsError("a number of vines and a precision cannot both be wanted", "name --vines or --within")
    if asked.within_percent is not None and not 0 < asked.within_percent < 100:
        raise WordsError(
            f"a precision of {asked.within_percent:g} % cannot be wanted",
            "--within is the half width of the interval in percent of the mean, above 0 and below 100; "
            "exactly right is a count of every vine",
        )
    if asked.cv_percent is not None and not 0 < asked.cv_percent <= 1000:
        raise WordsError(f"a spread of {asked.cv_percent:g} % cannot be", "--cv is in percent of the mean, above 0")
    if asked.vines is not None and asked.vines < 2:
        told = "one vine tells" if asked.vines == 1 else f"{asked.vines} vines tell"
        raise WordsError(f"{told} no spread, hence no interval", "two vines or more; ten are better")
    if asked.step is not None and (asked.how != "every_kth" or asked.vines or asked.within_percent):
        raise WordsError("a step is for --how every_kth, and says itself how many vines", "leave the others out")
    if asked.seed is not None and asked.seed < 0:
        raise WordsError(f"{asked.seed} is not a seed", "a whole number, 0 or more")
    if asked.how == "every_kth" and asked.parts:
        raise WordsError(
            "every k-th vine is spread over all rows already", "draw parts at random or in panels, or leave --parts out"
        )


def check_season(connection: Connection, block: int, asked: Asked, on: dt.date) -> None:
    """Refuse a season that is over on a day, or that is far from it.

    Parameters
    ----------
    connection : a reading connection.
    block : permanent number of the block.
    asked : what is asked.
    on : day of the draw.

    Raises
    ------
    WordsError : why, and which season would do.
    """
    vineyard, blocks, close = TABLES["vineyard"], TABLES["block"], TABLES["harvest_close"]
    hemisphere = str(
        connection.scalar(
            select(vineyard.c.hemisphere)
            .join(blocks, blocks.c.vineyard == vineyard.c.record)
            .where(blocks.c.record == block)
        )
    )
    first, last = connection.execute(
        select(blocks.c.from_season, blocks.c.to_season).where(blocks.c.record == block)
    ).one()
    if asked.season < first or (last is not None and asked.season > last):
        stands = f"from {first}" + (f" to {last}" if last is not None else "")
        raise WordsError(f"{asked.block} has no season {asked.season}", f"the block stands {stands}")
    ended = connection.scalar(
        select(close.c.finished_on).where(close.c.block == block, close.c.season == asked.season, live(close))
    )
    is_closed = ended is not None and ended <= on
    if is_closed or season_of(on, hemisphere, GROWING) > asked.season:
        why = f"its harvest ended on {ended}" if is_closed else f"it is {on}"
        wood = f"the wood grown in {asked.season} is weighed at the pruning that sets {asked.season + 1}; "
        raise WordsError(
            f"the season {asked.season} of {asked.block} is over: {why}",
            f"{wood if asked.figure in WOOD else ''}draw for --season {asked.season + 1}, "
            "or say with --on when the vines were drawn",
        )
    if months_outside(on, asked.season, hemisphere) > FARTHEST_MONTHS:
        raise WordsError(f"season {asked.season} is far from {on}", "vines are drawn at most a year ahead")


def panel_size_of(asked: Asked, rows: Sequence[RowFacts]) -> int | None:
    """Give the vine positions of a panel where panels are drawn, else None.

    Raises
    ------
    WordsError : the size is not known, or rows differ in it.
    """
    if asked.how != "panels":
        if asked.panel_size is not None:
            raise WordsError("a panel size is for panels alone", "--how panels, or leave --panel-size out")
        return None
    if asked.panel_size is not None:
        if asked.panel_size < 1:
            raise WordsError(f"a panel of {asked.panel_size} vines cannot be", "1 or more")
        return asked.panel_size
    sizes = sorted({row.vines_per_panel for row in rows if row.vines_per_panel})
    if len(sizes) == 1 and all(row.vines_per_panel for row in rows):
        return sizes[0]
    if not sizes:
        raise WordsError(
            f"how many vines stand in a panel of {asked.block} is not recorded",
            "name it with --panel-size, or record vines_per_panel of its rows",
        )
    told = " and ".join(map(str, sizes))
    lacks = "" if all(row.vines_per_panel for row in rows) else ", or none recorded"
    raise WordsError(f"the rows of {asked.block} have {told} vines in a panel{lacks}", "name one with --panel-size")
