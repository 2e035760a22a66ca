"""A chart of blocks: a row a block, a column a figure, each point with its interval and its band.

Lengths are PostScript points. Each column has its own scale from zero. A band is a pale fill in the row that it belongs
to, as blocks have bands of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from vinebook.reports.figure_charts import Chart
from vinebook.reports.labels import shorten
from vinebook.reports.scales import nice_top, scale_text
from vinebook.reports.svg import BAND, FINE, GREY, INK, PALE, TYPE_PT, arrow, dot, line, open_svg, rect, text, width_of
from vinebook.reports.words import join_words

if TYPE_CHECKING:
    from collections.abc import Sequence

ROW_PT = 14.0
HEAD_PT = 25.0
GROUP_PT = 17.0
FOOT_PT = 12.0
NAMES_PT = 118.0
GAP_PT = 14.0
VALUE_PT = 34.0
MOST_OVER_VALUES = 1.6


@dataclass(frozen=True, slots=True)
class Mark:
    """A figure in a row: numbers in the unit of the page, and the words that stand where there is no number.

    Attributes
    ----------
    value, low, high : None where there is none.
    label : the value as it is written, or why there is none.
    is_open : drawn as an open point: partial.
    band_low, band_high : None where that side is open.
    has_band : whether it is read against a band.
    is_clear : whether it lies clearly outside.
    """

    value: float | None = None
    low: float | None = None
    high: float | None = None
    label: str = ""
    is_open: bool = False
    band_low: float | None = None
    band_high: float | None = None
    has_band: bool = False
    is_clear: bool = False


@dataclass(frozen=True, slots=True)
class Column:
    """A figure: title, unit and ink."""

    title: str
    unit: str
    ink: str


@dataclass(frozen=True, slots=True)
class BlockRow:
    """A block: the group that it stands in, its code and name, and a mark for each column."""

    group: str
    code: str
    name: str
    marks: tuple[Mark, ...]


def draw_rows(name: str, columns: Sequence[Column], rows: Sequence[BlockRow], shown: range, width_pt: float) -> Chart:
    """Draw some rows of a chart of blocks; the scales are those of all rows, so that charts of one overview compare.

    Parameters
    ----------
    name : of the image.
    columns : the figures.
    rows : all blocks, in their order.
    shown : which of them this chart has.
    width_pt : width of the chart.
    """
    wide = (width_pt - NAMES_PT - GAP_PT * len(columns)) / len(columns)
    lefts = [NAMES_PT + GAP_PT + at * (wide + GAP_PT) for at in range(len(columns))]
    tops = [_top([row.marks[at] for row in rows]) for at in range(len(columns))]
    heights: list[float] = []
    y = HEAD_PT
    before = None
    groups: list[tuple[float, str]] = []
    for at in shown:
        if rows[at].group != before:
            y += GROUP_PT
            groups.append((y - 5, rows[at].group))
            before = rows[at].group
        heights.append(y + ROW_PT / 2)
        y += ROW_PT
    height = y + FOOT_PT
    parts = [open_svg(width_pt, height)]
    for left, column, top in zip(lefts, columns, tops, strict=True):
        parts.append(text(left, 7.5, column.title, column.ink, "start"))
        parts.append(text(left, 16.5, column.unit, GREY, "start"))
        plot = wide - VALUE_PT
        for share in (0.0, 0.5, 1.0):
            x = left + share * plot
            parts.append(line(x, HEAD_PT, x, y, PALE, 0.4))
            parts.append(text(x, y + 9.5, scale_text(share * top, top), GREY, "middle" if share else "start"))
    for at_y, words in groups:
        parts.append(text(0, at_y, words, INK, "start"))
        parts.append(line(0, at_y + 3.5, width_pt, at_y + 3.5, FINE, 0.4))
    for at, middle in zip(shown, heights, strict=True):
        parts.extend(_row(rows[at], columns, lefts, tops, wide - VALUE_PT, middle))
    return Chart(
        name=name,
        title="Blocks",
        unit="",
        alt=_told(columns, [rows[at] for at in shown]),
        svg="".join(parts) + "</svg>",
    )


def _row(
    row: BlockRow, columns: Sequence[Column], lefts: Sequence[float], tops: Sequence[float], plot: float, middle: float
) -> list[str]:
    base = middle + TYPE_PT * 0.34
    code = shorten(row.code, NAMES_PT, TYPE_PT)
    code_width = width_of(code)
    parts = [text(0, base, code, INK, "start")]
    room = NAMES_PT - code_width - 6
    if row.name and room > 20:
        parts.append(text(code_width + 4, base, shorten(row.name, room, TYPE_PT), GREY, "start"))
    for mark, column, left, top in zip(row.marks, columns, lefts, tops, strict=True):
        parts.extend(_mark(mark, column.ink, left, top, plot, middle, base))
    return parts


def _mark(mark: Mark, ink: str, left: float, top: float, plot: float, middle: float, base: float) -> list[str]:
    parts: list[str] = []

    def x(value: float) -> float:
        return left + plot * min(max(value, 0.0), top) / top

    if mark.has_band:
        first, last = x(mark.band_low or 0.0), left + plot if mark.band_high is None else x(mark.band_high)
        if last > first:
            parts.append(rect(first, middle - ROW_PT * 0.36, last - first, ROW_PT * 0.72, BAND))
    if mark.value is None:
        parts.append(text(left + plot + 5, base, mark.label or "–", GREY, "start"))
        return parts
    if mark.low is not None and mark.high is not None:
        parts.append(line(x(mark.low), middle, x(mark.high), middle, ink, 0.8))
        if mark.high > top:
            parts.append(_beyond(left + plot, middle, ink))
    if mark.value > top:
        parts.append(_beyond(left + plot, middle, ink))
    else:
        parts.append(dot(x(mark.value), middle, ink, is_open=mark.is_open))
    parts.append(text(left + plot + 5, base, mark.label, INK if mark.is_clear else GREY, "start"))
    if mark.is_clear:
        parts.append(
            arrow(left + plot + VALUE_PT - 5, middle - 2.2, INK)
            if mark.band_high is not None and mark.value > mark.band_high
            else arrow(left + plot + VALUE_PT - 5, middle + 2.2, INK, up=False)
        )
    return parts


def _beyond(x: float, y: float, ink: str) -> str:
    """Draw the arrowhead of what runs off the scale to the right."""
    ends = ((x - 3, y - 2), (x, y), (x - 3, y + 2))
    return "".join(line(*a, *b, ink, 0.55) for a, b in pairwise(ends))


def _top(marks: Sequence[Mark]) -> float:
    largest = max((mark.value for mark in marks if mark.value is not None), default=0.0)
    reach = [
        limit
        for mark in marks
        for limit in (mark.high, mark.band_high)
        if limit is not None and limit <= largest * MOST_OVER_VALUES
    ]
    return nice_top(max([largest, *reach]) or 1.0)


def _told(columns: Sequence[Column], rows: Sequence[BlockRow]) -> str:
    """Give in words what the chart shows, for who cannot see it."""
    told = [
        f"{row.code}: "
        + join_words(
            [
                f"{column.title[:1].lower()}{column.title[1:]} {mark.label or 'not known'} {column.unit}".strip()
                for column, mark in zip(columns, row.marks, strict=True)
            ]
        )
        for row in rows
    ]
    return f"A row a block, {rows[0].group[:1].lower()}{rows[0].group[1:]} first. " + "; ".join(told) + "."
