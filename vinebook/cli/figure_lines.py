"""Figures as lines for a screen: a heading for each block and season, a line for each figure, its notes below."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Literal

from vinebook.cli.tables import width_of_screen
from vinebook.reports.numbers import per_shown, shown, write_band

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from vinebook.seasons.model import Figure

NAME_WIDTH, VALUE_WIDTH, INTERVAL_WIDTH, UNIT_WIDTH = 24, 8, 15, 10
INDENT = 6
MOST_WORDS = 100
CHOSEN = {
    "panels": "vines of panels drawn at random",
    "every_kth": "every k-th vine",
    "hand_picked": "vines picked by hand",
}
"""How the vines of a sample were chosen, in words."""


def figure_lines(
    figures: Iterable[Figure],
    units: Literal["metric", "us"],
    together: Callable[[Sequence[Figure]], Iterable[str]] | None = None,
) -> Iterator[str]:
    """Give the lines of figures, streamed.

    Parameters
    ----------
    figures : in the order of block and season.
    units : "metric" or "us".
    together : gives sentences on what the figures of a block and season mean together, told below them.
    """
    last: tuple[str, int] | None = None
    width = max(width_of_screen(), 60)
    of_season: list[Figure] = []
    for figure in figures:
        at = figure.block, figure.season
        if at != last:
            if last is not None:
                yield from _together(of_season, together, width)
                yield ""
            of_season = []
            yield (
                f"{figure.block} {figure.season}".ljust(NAME_WIDTH)
                + " "
                + "  ".join(
                    (
                        "value".rjust(VALUE_WIDTH),
                        "95 % interval".center(INTERVAL_WIDTH),
                        "unit".ljust(UNIT_WIDTH),
                        "n    reading",
                    )
                )
            )
            last = at
        of_season.append(figure)
        yield from _lines(figure, units, width)
    yield from _together(of_season, together, width)


def _together(
    figures: Sequence[Figure], together: Callable[[Sequence[Figure]], Iterable[str]] | None, width: int
) -> Iterator[str]:
    """Give what the figures of a block and season mean together, set off by a blank line."""
    for number, words in enumerate([] if together is None else together(figures)):
        if not number:
            yield ""
        yield from textwrap.wrap(words, min(width, MOST_WORDS), subsequent_indent="  ", break_on_hyphens=False)


def _name(figure: Figure) -> str:
    parts = [figure.bearer, figure.position, figure.stage if figure.stage != "harvest" else None]
    parts.append(f"pick {figure.pick}" if figure.pick is not None else None)
    told = ", ".join(part.replace("_", " ") for part in parts if part)
    name = figure.figure.removesuffix("_at_k") if told and figure.position else figure.figure
    return f"{name} ({told})" if told else name


def _lines(figure: Figure, units: Literal["metric", "us"], width: int) -> Iterator[str]:
    number = shown(figure, units)
    name = _name(figure)
    if len(name) > NAME_WIDTH:
        yield name
        name = ""
    if figure.value is None:
        words = (
            f"{figure.status}: {figure.note}"
            if figure.note and not figure.note.startswith(figure.status)
            else figure.note or figure.status
        )
        yield from textwrap.wrap(
            words,
            width,
            initial_indent=f"{name:<{NAME_WIDTH}} {'–':>{VALUE_WIDTH}}  ",
            subsequent_indent=" " * (NAME_WIDTH + VALUE_WIDTH + 3),
        )
        return
    interval = "" if figure.low is None else number.interval
    count = "all" if figure.n is None else str(figure.n)
    reading = figure.reading if figure.band is not None else ""
    cells = (number.text.rjust(VALUE_WIDTH), interval.center(INTERVAL_WIDTH), number.unit.ljust(UNIT_WIDTH))
    yield f"{name:<{NAME_WIDTH}} {'  '.join(cells)}  {count:<4} {reading}".rstrip()
    notes = (
        [f"per {per_shown(figure.per, units)}"]
        if figure.per and figure.per not in ("", "bearing vine") and "/" in figure.unit
        else []
    )
    if figure.band is not None:
        notes.append(f"band {write_band(figure.band, figure.unit, units)}, {figure.band.name}")
    if figure.chosen and figure.chosen not in ("all", "random"):
        notes.append(CHOSEN.get(figure.chosen, f"vines {figure.chosen.replace('_', ' ')}"))
    if figure.status != "known":
        notes.append(figure.status)
    if figure.note:
        notes.append(figure.note)
    if notes:
        yield from textwrap.wrap("; ".join(notes), width, initial_indent=" " * INDENT, subsequent_indent=" " * INDENT)
