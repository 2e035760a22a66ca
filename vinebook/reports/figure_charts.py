"""Charts of figures by season: their points, their bands in words, what they say to who cannot see them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports import charts
from vinebook.reports.numbers import (
    Shown,
    Units,
    in_words_of,
    per_shown,
    settle,
    shown,
    unit_per,
    unit_shown,
    write_band,
)
from vinebook.reports.words import write_seasons
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.reports.tables import SeasonFigures
    from vinebook.seasons.model import Figure

LEAST_SEASONS_DRAWN = 2
"""A single season is told by its table alone."""
GAP_OF_PAIR_PT = 20.0
SHARE_OF_THREE = 0.3143
"""Width of one of three side by side, as in the style sheet."""
MOST_YEARS_OF_THREE = 9
"""Charts of no more years than this stand three in a row, of more in pairs."""
SMALL_HEIGHT_PT = 84.0
SMALL_EDGE_PT = 8.0


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart on the page.

    Attributes
    ----------
    name : name of its image.
    title, unit : what it shows, and the unit in grey.
    alt : what it says, for who cannot see it.
    svg : the image.
    note : one short line under the title, or "".
    """

    name: str
    title: str
    unit: str
    alt: str
    svg: str
    note: str = ""


def width_of_pair(width_pt: float) -> float:
    """Give the width of one of two charts side by side.

    Parameters
    ----------
    width_pt : width of the text column.
    """
    return (width_pt - GAP_OF_PAIR_PT) / 2


def seasons_with(names: Sequence[str], figures: SeasonFigures, seasons: Sequence[int]) -> tuple[int, ...]:
    """Give the seasons in which any of the figures has a value.

    Parameters
    ----------
    names : names of figures.
    figures : the block's figures.
    seasons : harvest years.
    """
    return tuple(season for season in seasons if any(figures.has_value(name, (season,)) for name in names))


@dataclass(frozen=True, slots=True)
class Grid:
    """Small charts on one season axis, in rows of two or three; the author of a band stands under the title."""

    charts: tuple[Chart, ...] = ()
    across: int = 2

    @property
    def rows(self) -> list[tuple[Chart, ...]]:
        """The charts row by row."""
        return [self.charts[i : i + self.across] for i in range(0, len(self.charts), self.across)]


def season_grid(
    wanted: Sequence[tuple[str, str]], figures: SeasonFigures, seasons: Sequence[int], units: Units, width_pt: float
) -> Grid:
    """Draw small charts that share one season axis, of each figure that has a value in two seasons.

    Parameters
    ----------
    wanted : name of each figure, and its ink.
    figures : the block's figures.
    seasons : the block's seasons; the axis runs from the first to the last with a value of any.
    units : "metric" or "us".
    width_pt : width of the text column.
    """
    kept = [(name, ink) for name, ink in wanted if len(seasons_with([name], figures, seasons)) >= LEAST_SEASONS_DRAWN]
    if not kept:
        return Grid()
    found = seasons_with([name for name, _ in kept], figures, seasons)
    years = range(found[0], found[-1] + 1)
    across = 3 if len(years) <= MOST_YEARS_OF_THREE else 2
    each_pt = width_pt * SHARE_OF_THREE if across > 2 else width_of_pair(width_pt)
    axis = charts.Axis(tuple(map(str, years)), each_pt, SMALL_HEIGHT_PT, edge_pt=SMALL_EDGE_PT)
    drawn = []
    for name, ink in kept:
        rows = [figures.one(name, year) for year in years]
        drawn.append(draw_figure(name, rows, units, axis, ink, is_first=True, is_last=True, names_band=False))
    return Grid(tuple(drawn), across)


def draw_figure(
    name: str,
    rows: list[Figure | None],
    units: Units,
    axis: charts.Axis,
    ink: str,
    *,
    is_first: bool,
    is_last: bool,
    labels_all: bool = False,
    names_band: bool = True,
    prefix: str = "",
) -> Chart:
    """Draw one figure over the places of an axis.

    Parameters
    ----------
    name : name of the figure.
    rows : the figure at each place, None where there is none.
    units : "metric" or "us".
    axis : the axis.
    ink : of line and points.
    is_first, is_last : whether flags stand over it, and names of the places under it.
    labels_all : whether every point carries a label.
    names_band : whether the author of the band stands at the right edge, else with the limits.
    prefix : of the image's name, where one figure is drawn twice.
    """
    banded = next((f for f in reversed(rows) if f and f.band), None)
    author = banded.band.name if banded and banded.band else ""
    panel = charts.Panel(points_of(rows, units), ink, author if names_band else "", labels_all=labels_all)
    limits = band_note(rows, units)
    kind = FIGURES[name]
    title = in_words_of(kind.title, units)
    unit = unit_shown(kind.unit, units)[0]
    return Chart(
        f"{prefix}{name}.svg",
        title,
        unit_per(unit, per_shown(kind.per, units)),
        alt_of(title, unit, rows, units),
        charts.draw_panel(panel, axis, is_first=is_first, is_last=is_last),
        limits if names_band or not limits else f"{limits}, {author}",
    )


def points_of(rows: Sequence[Figure | None], units: Units) -> tuple[charts.Point, ...]:
    """Give the points of a chart, their labels with digits that suit each other.

    Parameters
    ----------
    rows : the figure at each place, None where there is none.
    units : "metric" or "us".
    """
    numbers = settle([shown(figure, units) if figure else None for figure in rows])
    return tuple(_point(figure, number, units) for figure, number in zip(rows, numbers, strict=True))


def _point(figure: Figure | None, number: Shown | None, units: Units) -> charts.Point:
    if figure is None or number is None:
        return charts.Point()
    _, factor = unit_shown(figure.unit, units)
    band = figure.band
    return charts.Point(
        number.value,
        number.low,
        number.high,
        number.text,
        is_open=figure.status in {"pending", "partial"},
        band_low=band.low * factor if band and band.low is not None else None,
        band_high=band.high * factor if band and band.high is not None else None,
        has_band=band is not None,
    )


def band_note(rows: list[Figure | None], units: Units) -> str:
    """Give the bands of a chart in words: the last one's limits, and where others stood before it.

    Parameters
    ----------
    rows : the figure at each place, None where there is none.
    units : "metric" or "us".
    """
    runs: list[tuple[str, str, int]] = []
    for figure in rows:
        if figure is not None and figure.band is not None:
            limits = write_band(figure.band, figure.unit, units)
            if not runs or runs[-1][:2] != (limits, figure.band.name):
                runs.append((limits, figure.band.name, figure.season))
    if not runs:
        return ""
    limits, _, since = runs[-1]
    before = "".join(f"; {earlier} ({name}) from {first}" for earlier, name, first in runs[:-1])
    return f"band {limits}" + (f" from {since}{before}" if before else "")


def alt_of(title: str, unit: str, rows: list[Figure | None], units: Units) -> str:
    """Say what the chart shows, in words: span, first and last value, highest, lowest.

    Parameters
    ----------
    title, unit : of the chart.
    rows : the figure at each place, None where there is none.
    units : "metric" or "us".
    """
    known = [f for f in rows if f is not None and f.value is not None]
    if not known:
        return f"{title}: no value."
    highest, lowest = max(known, key=lambda f: f.value or 0), min(known, key=lambda f: f.value or 0)
    said = ", ".join(
        f"{name} {shown(f, units).text} in {f.season}"
        for name, f in (("first", known[0]), ("last", known[-1]), ("highest", highest), ("lowest", lowest))
    )
    open_seasons = write_seasons(f.season for f in rows if f is not None and f.status == "pending")
    in_unit = f" in {unit}" if unit else ""
    return f"{title} by season{in_unit}: {said}." + (f" Pending: {open_seasons}." if open_seasons else "")
