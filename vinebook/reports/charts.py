"""Charts as SVG of our own: small multiples that share the season axis, intervals as thin lines.

Lengths are PostScript points. Quantities start at zero. Points are joined only across neighbouring places
of the axis, so a gap stays a gap. Text is set in the faces of `fonts`, never smaller than 7.5 points.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from vinebook.reports import svg
from vinebook.reports.chart_bands import band_arrows, draw_bands
from vinebook.reports.labels import Box, Segment, Wanted, place
from vinebook.reports.scales import nice_top, scale_text
from vinebook.reports.svg import DOT_PT, FINE, GREY, INK, LINE_PT, PALE, TYPE_PT

HEAD_PT = 11.0
FOOT_PT = 12.0
SCALE_PT = 25.0
BESIDE_PT = 6.5
MOST_OVER_VALUES = 1.7
MOST_UNDER_BAND = 3.0
"""How far a scale goes beyond its values: for intervals and bands, and for the foot of a band over all values."""
_Scale = Callable[[float], float]
"""From a value to its height on the page."""


@dataclass(frozen=True, slots=True)
class Point:
    """One place of the axis.

    Attributes
    ----------
    value, low, high : numbers in the unit of the page; None where there is none.
    label : the value as it is written.
    is_open : drawn as an open point: pending or partial.
    band_low, band_high : the band at this place, None where that side is open or there is no band.
    has_band : whether a band applies here.
    """

    value: float | None = None
    low: float | None = None
    high: float | None = None
    label: str = ""
    is_open: bool = False
    band_low: float | None = None
    band_high: float | None = None
    has_band: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """One chart of a strip.

    Attributes
    ----------
    points : one for each place of the axis, in order.
    ink : colour of lines and points.
    band_name : short name of the band's source, for the right edge.
    backdrop : for each place, values of other years drawn as short grey strokes.
    is_joined : whether neighbours are joined by a line.
    beside : for each place, points drawn in grey just left of it: what was said of it before.
    labels_all : whether every point carries a label, where there is room, not only the telling ones.
    foot, top : ends of the scale where it is not from zero to a round number above the values.
    """

    points: tuple[Point, ...]
    ink: str
    band_name: str = ""
    backdrop: tuple[tuple[float, ...], ...] = ()
    is_joined: bool = True
    beside: tuple[tuple[Point, ...], ...] = ()
    labels_all: bool = False
    foot: float = 0.0
    top: float | None = None


@dataclass(frozen=True, slots=True)
class Axis:
    """The axis that the panels of a strip share.

    Attributes
    ----------
    names : what each place is called.
    width_pt, height_pt : size of one panel.
    edge_pt : room at the right for the names of bands.
    flags : words at the head of the strip, by place; a fine line runs down from each.
    """

    names: tuple[str, ...]
    width_pt: float
    height_pt: float
    edge_pt: float = 62.0
    flags: tuple[tuple[int, str], ...] = ()

    def x(self, place_number: int) -> float:
        """Give the middle of a place."""
        slot = (self.right - self.left) / max(len(self.names), 1)
        return self.left + (place_number + 0.5) * slot

    @property
    def left(self) -> float:
        """Left edge of the plot."""
        return SCALE_PT

    @property
    def right(self) -> float:
        """Right edge of the plot."""
        return self.width_pt - self.edge_pt


def scale_top(panel: Panel) -> float:
    """Give the top of a panel's scale; very long intervals and far bands run off it.

    Parameters
    ----------
    panel : the panel.
    """
    if panel.top is not None:
        return panel.top
    points = [*panel.points, *(p for row in panel.beside for p in row)]
    values = [p.value for p in points if p.value is not None] + [v for row in panel.backdrop for v in row]
    largest = max(values, default=0.0)
    reach = [x for p in points for x in (p.high, p.band_high, p.band_low) if x is not None]
    lows = [p.band_low for p in points if p.band_low is not None and p.band_low <= largest * MOST_UNDER_BAND]
    wanted = max([largest, *lows, *(x for x in reach if x <= largest * MOST_OVER_VALUES)], default=0.0)
    if any(x > largest * MOST_OVER_VALUES for x in reach) and largest > 0:
        wanted = max(wanted, largest * MOST_OVER_VALUES * 0.9)
    return nice_top(wanted or max(reach, default=1.0))


def draw_panel(panel: Panel, axis: Axis, *, is_first: bool, is_last: bool) -> str:
    """Draw one panel of a strip as SVG text.

    Parameters
    ----------
    panel : what to draw.
    axis : the axis it shares.
    is_first : the words of the flags stand over the first panel.
    is_last : the names of the places stand under the last panel.
    """
    head = HEAD_PT + (LINE_PT * _flag_rows(axis) if is_first else 0)
    foot = FOOT_PT + (LINE_PT if is_last else 0)
    height = axis.height_pt + (LINE_PT * _flag_rows(axis) if is_first else 0) + (LINE_PT if is_last else 0)
    frame = Box(axis.left, head, axis.right, height - foot)
    top = scale_top(panel)

    def y(value: float) -> float:
        share = (max(panel.foot, min(value, top)) - panel.foot) / (top - panel.foot)
        return frame.bottom - share * (frame.bottom - frame.top)

    parts = [svg.open_svg(axis.width_pt, height)]
    parts += draw_bands(panel, axis, frame, y)
    arrow_ends, arrows = band_arrows(panel, axis, frame, top)
    marks, boxes = _draw_marks(panel, axis, y, frame, top, arrow_ends)
    for value in (panel.foot, (panel.foot + top) / 2, top):
        level = y(value)
        parts += _scale_line(axis, level, boxes)
        parts.append(svg.text(axis.left - 4, level + 2.5, scale_text(value, top), GREY, "end"))
    parts += _draw_flags(axis, frame.bottom if is_last else height, boxes, is_first=is_first)
    parts += [*arrows, *marks]
    if is_last:
        parts += draw_names(axis, height)
    parts.append("</svg>")
    return "\n".join(parts)


def _scale_line(axis: Axis, level: float, boxes: list[Box]) -> list[str]:
    """Draw a pale line of the scale, broken where a label stands."""
    parts: list[str] = []
    start = axis.left
    for box in sorted((b for b in boxes if b.top < level < b.bottom), key=lambda b: b.left):
        if box.left > start:
            parts.append(svg.line(start, level, box.left, level, PALE, 0.5))
        start = max(start, box.right)
    return [*parts, svg.line(start, level, axis.right, level, PALE, 0.5)] if start < axis.right else parts


def extra_height(axis: Axis) -> float:
    """Give what a strip is higher than its panels: the words of the flags and the names of the places.

    Parameters
    ----------
    axis : the axis of the strip.
    """
    return LINE_PT * (_flag_rows(axis) + 1)


def joined_pairs(points: tuple[Point, ...]) -> list[tuple[int, int]]:
    """Give the neighbours that a line joins: both have values and nothing lies between.

    Parameters
    ----------
    points : one for each place of the axis.
    """
    return [
        (i, i + 1) for i in range(len(points) - 1) if points[i].value is not None and points[i + 1].value is not None
    ]


def labelled_places(points: tuple[Point, ...]) -> list[int]:
    """Give the places that carry a label, the most important first: last, highest, lowest, first.

    Parameters
    ----------
    points : one for each place of the axis.
    """
    known = [(p.value, i) for i, p in enumerate(points) if p.value is not None]
    if not known:
        return []
    highest = max(known, key=lambda pair: (pair[0], -pair[1]))[1]
    lowest = min(known)[1]
    return list(dict.fromkeys((known[-1][1], highest, lowest, known[0][1])))


def _draw_marks(
    panel: Panel, axis: Axis, y: _Scale, frame: Box, top: float, taken: list[Segment]
) -> tuple[list[str], list[Box]]:
    """Strokes of other years, intervals, the line, points and labels, in this order; and where the labels stand."""
    parts: list[str] = []
    segments: list[Segment] = [*taken]
    for i, row in enumerate(panel.beside):
        for number, point in enumerate(row):
            x = axis.x(i) - BESIDE_PT * (len(row) - number)
            segments += _lines_beside(point, x, y)
    parts += [svg.line(s.x1, s.y1, s.x2, s.y2, GREY, 1.2 if s.y1 == s.y2 else 0.55) for s in segments[len(taken) :]]
    for i, values in enumerate(panel.backdrop):
        strokes = [Segment(axis.x(i) - 4, y(value), axis.x(i) + 4, y(value)) for value in values]
        parts += [svg.line(s.x1, s.y1, s.x2, s.y2, FINE, 0.8) for s in strokes]
        segments += strokes
    drawn, lines = _draw_intervals(panel, axis, y, frame, top)
    parts += drawn
    segments += lines
    if panel.is_joined:
        for i, j in joined_pairs(panel.points):
            a, b = panel.points[i].value or 0.0, panel.points[j].value or 0.0
            segments.append(Segment(axis.x(i), y(a), axis.x(j), y(b)))
            parts.append(svg.line(axis.x(i), y(a), axis.x(j), y(b), panel.ink, 1.0))
    for i, point in enumerate(panel.points):
        if point.value is not None:
            dot = Box(axis.x(i) - 2, y(point.value) - 2, axis.x(i) + 2, y(point.value) + 2)
            segments.append(Segment(dot.left, y(point.value), dot.right, y(point.value)))
            parts.append(svg.dot(axis.x(i), y(point.value), panel.ink, is_open=point.is_open))
        elif point.is_open:
            parts.append(svg.dot(axis.x(i), frame.bottom + 6, panel.ink, is_open=True))
    room = Box(axis.left - 6, frame.top - HEAD_PT + 1, axis.right + 6, frame.bottom + FOOT_PT - 2)
    segments += [Segment(axis.left, frame.bottom, axis.right, frame.bottom)]
    first = labelled_places(panel.points)
    rest = [i for i, p in enumerate(panel.points) if p.value is not None and i not in first] if panel.labels_all else []
    labels = [_wanted(panel.points[i], axis.x(i), y, top) for i in [*first, *rest]]
    pale = [Segment(axis.left, level, axis.right, level) for level in (frame.top, (frame.top + frame.bottom) / 2)]
    placed = place(labels, segments, room, pale)
    parts += [svg.text(p.x, p.baseline, p.text, INK, "middle") for p in placed]
    parts += [
        svg.text(
            axis.x(i) + (5 if i + 1 < len(panel.points) else -5),
            frame.bottom + 8.5,
            "pending",
            GREY,
            "start" if i + 1 < len(panel.points) else "end",
        )
        for i, point in enumerate(panel.points)
        if point.is_open and point.value is None and i == _last_open(panel.points)
    ]
    return parts, [p.box for p in placed]


def _draw_intervals(panel: Panel, axis: Axis, y: _Scale, frame: Box, top: float) -> tuple[list[str], list[Segment]]:
    """Draw thin upright lines, with an arrowhead where one runs off the scale."""
    parts: list[str] = []
    segments: list[Segment] = []
    for i, point in enumerate(panel.points):
        if point.value is not None and point.low is not None and point.high is not None:
            segments.append(Segment(axis.x(i), y(point.high), axis.x(i), y(point.low)))
            parts.append(svg.line(axis.x(i), y(point.high), axis.x(i), y(point.low), panel.ink, 0.55))
            if point.high > top:
                parts.append(svg.arrow(axis.x(i), frame.top, panel.ink))
    return parts, segments


def _lines_beside(point: Point, x: float, y: _Scale) -> list[Segment]:
    """Give the stroke and the interval of what stands beside a point, such as an estimate beside what came."""
    if point.value is None:
        return []
    level = y(point.value)
    lines = [Segment(x - BESIDE_PT / 2, level, x + BESIDE_PT / 2, level)]
    if point.low is not None and point.high is not None:
        lines.append(Segment(x, y(point.high), x, y(point.low)))
    return lines


def _last_open(points: tuple[Point, ...]) -> int:
    return max((i for i, p in enumerate(points) if p.is_open and p.value is None), default=-1)


def _wanted(point: Point, x: float, y: _Scale, scale_end: float) -> Wanted:
    """Give the label of a point; beside the point where its interval runs off the scale."""
    value = point.value or 0.0
    top, bottom = y(value) - DOT_PT, y(value) + DOT_PT
    if point.low is not None and point.high is not None and point.high <= scale_end:
        top, bottom = min(y(point.high), top), max(y(point.low), bottom)
    return Wanted(point.label, x, y(value), top, bottom, svg.width_of(point.label), TYPE_PT)


def _flag_rows(axis: Axis) -> int:
    return max((row for _, _, row in _flag_places(axis)), default=-1) + 1


def _flag_places(axis: Axis) -> list[tuple[int, str, int]]:
    """Place, words and row of each flag; a flag that finds no room in two rows loses its words, not its line."""
    ends = [-math.inf, -math.inf]
    placed: list[tuple[int, str, int]] = []
    for number, words in axis.flags:
        half = svg.width_of(words) / 2
        middle = min(max(axis.x(number), half), axis.width_pt - half)
        row = next((r for r in (0, 1) if middle - half > ends[r] + 3), None)
        if row is None:
            placed.append((number, "", 0))
            continue
        ends[row] = middle + half
        placed.append((number, words, row))
    return placed


def _draw_flags(axis: Axis, bottom: float, boxes: list[Box], *, is_first: bool) -> list[str]:
    """Draw a fine line down from each flag, broken where a label stands, and the words over the first panel."""
    parts: list[str] = []
    rows = _flag_rows(axis)
    for number, words, row in _flag_places(axis):
        x = axis.x(number)
        start = LINE_PT * (rows - row) + 1 if is_first else 0.0
        for box in sorted((b for b in boxes if b.left < x < b.right), key=lambda b: b.top):
            parts.append(svg.dashed(x, start, x, max(start, box.top)))
            start = box.bottom
        parts.append(svg.dashed(x, start, x, max(start, bottom)))
        if is_first and words:
            half = svg.width_of(words) / 2
            middle = min(max(x, half), axis.width_pt - half)
            parts.append(svg.text(middle, LINE_PT * (rows - row) - 2, words, GREY, "middle"))
    return parts


def draw_names(axis: Axis, height: float) -> list[str]:
    """Set the names under the axis; every second, fifth or tenth where they would touch, the last always.

    Parameters
    ----------
    axis : the axis.
    height : height of the picture; the names stand at its foot.
    """
    step = next((step for step in (1, 2, 5, 10, 20) if _has_room(axis, step)), 50)
    last = len(axis.names) - 1
    return [
        svg.text(axis.x(i), height - 3, name, GREY, "middle")
        for i, name in enumerate(axis.names)
        if (last - i) % step == 0
    ]


def _has_room(axis: Axis, step: int) -> bool:
    """Whether every step-th name, counted from the last, stands clear of the next."""
    halves = [svg.width_of(name) / 2 for name in axis.names[::-1][::step]]
    slot = (axis.right - axis.left) / max(len(axis.names), 1)
    return all(a + b + 2.5 <= slot * step for a, b in pairwise(halves))
