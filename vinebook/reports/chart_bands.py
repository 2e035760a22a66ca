"""Bands of a chart: pale fills with the author at the right edge, an arrowhead where one leaves the scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports import svg
from vinebook.reports.labels import Box, Segment, wrap
from vinebook.reports.svg import BAND, GREY, LINE_PT, TYPE_PT

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.reports.charts import Axis, Panel, Point


def draw_bands(panel: Panel, axis: Axis, frame: Box, y: Callable[[float], float]) -> list[str]:
    """Draw pale fills from where a band begins to the next or the end, the last one's author at the right edge.

    Parameters
    ----------
    panel, axis : the panel, and the axis it shares.
    frame : the plot.
    y : from a value to its height.
    """
    parts: list[str] = []
    slot = (axis.right - axis.left) / max(len(axis.names), 1)
    runs = _band_runs(panel)
    for first, last, point in runs:
        upper = frame.top if point.band_high is None else y(point.band_high)
        lower = frame.bottom if point.band_low is None else y(point.band_low)
        left, right = axis.x(first) - slot / 2, axis.x(last) + slot / 2
        parts.append(svg.rect(left, upper, right - left, max(lower - upper, 0.8), BAND))
        if (first, last) == runs[-1][:2] and panel.band_name:
            lines = wrap(panel.band_name, axis.edge_pt - 8, TYPE_PT, 3)
            middle = (upper + lower) / 2
            start = min(max(middle - LINE_PT * len(lines) / 2, frame.top - 4), frame.bottom - LINE_PT * len(lines))
            parts += [
                svg.text(axis.right + 5, start + LINE_PT * (k + 0.75), line, GREY, "start")
                for k, line in enumerate(lines)
            ]
    return parts


def _band_runs(panel: Panel) -> list[tuple[int, int, Point]]:
    """Give first and last place of each band with a point that carries it."""
    runs: list[tuple[int, int, Point]] = []
    end = len(panel.points) - 1
    for i, point in enumerate(panel.points):
        if not point.has_band or (runs and _same_band(runs[-1][2], point)):
            continue
        if runs:
            runs[-1] = (runs[-1][0], i - 1, runs[-1][2])
        runs.append((i, end, point))
    return runs


def band_arrows(panel: Panel, axis: Axis, frame: Box, top: float) -> tuple[list[Segment], list[str]]:
    """Draw an arrowhead over the right end of each band that goes on beyond the scale.

    Returns where the arrowheads stand, so that no label covers them, and the marks.

    Parameters
    ----------
    panel, axis : the panel, and the axis it shares.
    frame : the plot.
    top : top of the scale.
    """
    slot = (axis.right - axis.left) / max(len(axis.names), 1)
    segments: list[Segment] = []
    parts: list[str] = []
    for _, last, point in _band_runs(panel):
        if point.band_high is None or max(point.band_high, point.band_low or 0.0) > top * (1 + 1e-9):
            x = axis.x(last) + slot / 2 - 3
            parts.append(svg.arrow(x, frame.top - 4, GREY))
            segments.append(Segment(x - 2, frame.top - 2, x + 2, frame.top - 2))
    return segments, parts


def _same_band(one: Point, other: Point) -> bool:
    return (one.band_low, one.band_high) == (other.band_low, other.band_high)
