"""Components of yield: how far shoots, clusters and cluster weight stood from the block's mean each season."""

from __future__ import annotations

from statistics import fmean
from typing import TYPE_CHECKING

from vinebook.reports import charts, svg
from vinebook.reports.figure_charts import Chart
from vinebook.reports.labels import Box
from vinebook.reports.numbers import MINUS
from vinebook.reports.scales import nice_top
from vinebook.reports.svg import CROP, FINE, GREY, INK, LINE_PT, PALE
from vinebook.reports.words import write_seasons

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.reports.tables import SeasonFigures

LEAST_SEASONS = 3
ROW_PT = 54.0
WIDEST_BAR_PT = 9.0
ROWS = (
    ("shoots", "Shoots", "per bearing vine", INK),
    ("clusters", "Clusters per shoot", "clusters ÷ shoots of a vine", INK),
    ("weight", "Cluster weight", "at harvest", CROP),
    ("yield", "Yield", "per bearing vine", CROP),
)
Values = list[float | None]


def component_values(figures: SeasonFigures, seasons: Sequence[int]) -> dict[str, Values]:
    """Give each component by season, None where it is not known.

    Parameters
    ----------
    figures : the block's figures.
    seasons : harvest years.
    """

    def value(name: str, season: int) -> float | None:
        figure = figures.one(name, season)
        return figure.value if figure is not None and figure.status == "known" else None

    shoots = [value("shoots_per_vine", season) for season in seasons]
    clusters = [value("clusters_per_vine", season) for season in seasons]
    return {
        "shoots": shoots,
        "clusters": [c / s if c is not None and s else None for c, s in zip(clusters, shoots, strict=True)],
        "weight": [value("cluster_weight", season) for season in seasons],
        "yield": [value("yield_per_vine", season) for season in seasons],
    }


def from_mean(values: Values) -> Values:
    """Give how far each value lies from the mean of all, in percent of that mean.

    Parameters
    ----------
    values : by season.
    """
    known = [value for value in values if value is not None]
    mean = fmean(known) if known else 0.0
    return [None if value is None or not mean else 100 * (value / mean - 1) for value in values]


def draw_components(figures: SeasonFigures, seasons: Sequence[int], width_pt: float) -> list[Chart]:
    """Draw a strip of bars from the mean; none without yield and one of its components in three seasons.

    Parameters
    ----------
    figures : the block's figures.
    seasons : harvest years.
    width_pt : width of one panel.
    """
    found = component_values(figures, seasons)
    kept = [row for row in ROWS if sum(value is not None for value in found[row[0]]) >= LEAST_SEASONS]
    if len(kept) < 2 or kept[-1][0] != "yield":
        return []
    away = {row[0]: from_mean(found[row[0]]) for row in kept}
    limit = nice_top(max([abs(value) for values in away.values() for value in values if value is not None] or [1.0]))
    axis = charts.Axis(tuple(map(str, seasons)), width_pt, ROW_PT, edge_pt=8.0)
    drawn = []
    for number, (name, title, unit, ink) in enumerate(kept):
        is_last = number == len(kept) - 1
        drawn.append(
            Chart(
                f"component-{name}.svg",
                title,
                unit,
                _alt(title, seasons, away[name]),
                _draw_row(away[name], axis, limit, ink, is_last=is_last),
            )
        )
    return drawn


def _draw_row(values: Values, axis: charts.Axis, limit: float, ink: str, *, is_last: bool) -> str:
    height = axis.height_pt + (LINE_PT if is_last else 0.0)
    frame = Box(axis.left, 10.0, axis.right, axis.height_pt - 10.0)
    middle, half = (frame.top + frame.bottom) / 2, (frame.bottom - frame.top) / 2
    slot = (axis.right - axis.left) / max(len(axis.names), 1)
    bar = min(WIDEST_BAR_PT, slot * 0.55)
    parts = [svg.open_svg(axis.width_pt, height)]
    known = [(value, place) for place, value in enumerate(values) if value is not None]
    told = {max(known)[1], min(known)[1]} if known else set()
    parts += [svg.line(axis.left, y, axis.right, y, PALE, 0.5) for y in (frame.top, frame.bottom)]
    for value, place in known:
        x, length = axis.x(place), value / limit * half
        parts.append(svg.rect(x - bar / 2, middle - max(length, 0.0), bar, max(abs(length), 0.3), ink))
        if place in told:
            base = middle - length + (-2.0 if value >= 0 else 7.5)
            words = _signed(value)
            inner = svg.width_of(words) / 2 + 1
            left, right = x - inner, x + inner
            parts.append(svg.rect(left, base - 6.0, right - left, 7.0, svg.PAPER))
            parts.append(svg.text(x, base, words, INK, "middle"))
    parts.append(svg.line(axis.left, middle, axis.right, middle, FINE, 0.7))
    for level, words in ((frame.top, f"+{limit:g}"), (middle, "mean"), (frame.bottom, f"{MINUS}{limit:g}")):
        parts.append(svg.text(axis.left - 4, level + 2.5, words, GREY, "end"))
    if is_last:
        parts += charts.draw_names(axis, height)
    parts.append("</svg>")
    return "\n".join(parts)


def _signed(value: float) -> str:
    rounded = round(value)
    return f"+{rounded}" if rounded > 0 else f"{MINUS}{-rounded}" if rounded < 0 else "0"


def _alt(title: str, seasons: Sequence[int], values: Values) -> str:
    known = [(value, season) for value, season in zip(values, seasons, strict=True) if value is not None]
    high, low = max(known), min(known)
    return (
        f"{title} by season, in percent from its mean over {write_seasons(season for _, season in known)}: "
        f"highest {_signed(high[0])} in {high[1]}, lowest {_signed(low[0])} in {low[1]}, "
        f"last {_signed(known[-1][0])} in {known[-1][1]}."
    )
