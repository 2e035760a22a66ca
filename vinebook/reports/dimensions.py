"""Words and dimensions in a drawing: a length between two ticks, words on a white ground, strokes turned and sized."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports import svg
from vinebook.reports.drawing import (
    length_words,
)
from vinebook.reports.svg import INK, number

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units


TYPE_PT = 9.5


def words_at(x: float, y: float, words: str, ink: str = INK, anchor: str = "start", size: float = TYPE_PT) -> str:
    """Set words in one line at a size; see `svg.text`."""
    return f'<g font-size="{size}">{svg.text(x, y, words, ink, anchor)}</g>'


def turned(x: float, y: float, degrees: float, strokes: list[str], size: float) -> str:
    """Give strokes drawn around 0, 0 at a place, turned clockwise and larger than they were drawn."""
    where = f"translate({number(x)} {number(y)}) rotate({number(degrees)}) scale({size:.4g})"
    return f'<g transform="{where}">{"".join(strokes)}</g>'


def sized(x: float, y: float, strokes: list[str], size: float) -> str:
    """Give strokes drawn around 0, 0 at a place, larger than they were drawn."""
    return f'<g transform="translate({number(x)} {number(y)}) scale({size})">{"".join(strokes)}</g>'


def length_with_unit(length_m: float, units: Units) -> str:
    """Write a length with its unit."""
    return f"{length_words(length_m, units)}\u00a0{'cm' if units == 'metric' else 'in'}"


def tick(x: float, y: float) -> str:
    """Draw the short stroke at the end of a dimension."""
    return svg.line(x - 2.2, y + 2.2, x + 2.2, y - 2.2, INK, 0.8)


def measure(left: float, right: float, y: float, words: str) -> list[str]:
    """Draw a dimension under what it measures, its words on a white ground."""
    half = wide(words) / 2
    middle = (left + right) / 2
    return [
        svg.line(left, y, right, y, INK, 0.4),
        tick(left, y),
        tick(right, y),
        svg.rect(middle - half - 2, y - 6, 2 * half + 4, 12, svg.PAPER),
        words_at(middle, y + 3.3, words, INK, "middle"),
    ]


def wide(words: str, size: float = TYPE_PT) -> float:
    """Give the width of words at a size, in points."""
    return svg.width_of(words) * size / svg.TYPE_PT


def words_over(x: float, y: float, words: str, anchor: str, size: float) -> str:
    """Set words on a white ground, over lines that run behind them."""
    room = wide(words, size)
    left = x - {"start": 0.0, "middle": room / 2, "end": room}[anchor]
    return svg.rect(left - 1.5, y - size, room + 3, size + 3, svg.PAPER) + words_at(x, y, words, INK, anchor, size)
