"""Which charts a history carries: the strip from nodes to wood, and fruitfulness by node position."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from vinebook.reports import charts, svg
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
    from vinebook.seasons.model import BlockHistory, Figure

LABEL_COLUMN_PT = 88.0
TALLEST_PANEL_PT = 116.0
LOWEST_PANEL_PT = 62.0
USUAL_PANEL_PT = 92.0
POSITION_HEIGHT_PT = 118.0
LEAST_POSITIONS_DRAWN = 2
"""A single position is told by its table alone."""
STRIP = (
    (("nodes_per_vine", "nodes_per_m"), svg.INK),
    (("yield_per_ha", "yield_per_vine"), svg.CROP),
    (("prunings_per_m", "prunings_per_vine"), svg.WOOD),
    (("yield_to_prunings",), svg.INK),
)
"""Figures of each panel, the first that the block has, and the ink; the strip runs from nodes to wood."""

TO_WORDS = {"spur": "to spurs", "cane": "to canes", "mixed": "to mixed", "minimal": "to minimal"}


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


def draw_strip(
    history: BlockHistory, figures: SeasonFigures, units: Units, width_pt: float, room_pt: float
) -> list[Chart]:
    """Draw the strip of charts that share the season axis; none without any value.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    width_pt : width of the text column of the page.
    room_pt : height that is left on the first page; panels grow and shrink with it, within reason.
    """
    chosen: list[tuple[str, str]] = []
    for names, ink in STRIP:
        name = next((n for n in names if figures.has_value(n, history.seasons)), None)
        if name is not None:
            chosen.append((name, ink))
    axis = charts.Axis(
        tuple(str(season) for season in history.seasons),
        width_pt - LABEL_COLUMN_PT - 1,
        USUAL_PANEL_PT,
        flags=season_flags(history),
    )
    each_pt = math.floor((room_pt - charts.extra_height(axis)) / max(len(chosen), 1))
    if each_pt >= LOWEST_PANEL_PT:
        axis = replace(axis, height_pt=min(each_pt, TALLEST_PANEL_PT))
    drawn = []
    for number, (name, ink) in enumerate(chosen):
        rows = [figures.one(name, season) for season in history.seasons]
        banded = next((f for f in reversed(rows) if f and f.band), None)
        panel = charts.Panel(
            _points(rows, units),
            ink,
            banded.band.name if banded and banded.band else "",
        )
        kind = FIGURES[name]
        unit = unit_shown(kind.unit, units)[0]
        per = per_shown(kind.per, units)
        drawn.append(
            Chart(
                f"{name}.svg",
                in_words_of(kind.title, units),
                unit_per(unit, per),
                _alt(in_words_of(kind.title, units), unit, rows, units),
                charts.draw_panel(panel, axis, is_first=number == 0, is_last=number == len(chosen) - 1),
                _band_note(rows, units),
            )
        )
    return drawn


def season_flags(history: BlockHistory) -> tuple[tuple[int, str], ...]:
    """Give the words that stand over a season: what happened, a replanting, a change of pruning.

    Parameters
    ----------
    history : the block's history.
    """
    words: dict[int, list[str]] = {}
    for event in sorted(history.events, key=lambda e: e.date):
        words.setdefault(event.season, []).append(event.what)
    for before, after in zip(history.trainings, history.trainings[1:], strict=False):
        if before.pruned != after.pruned:
            words.setdefault(after.from_season, []).append(TO_WORDS.get(after.pruned, after.pruned))
    for planting in history.plantings[1:]:
        words.setdefault(planting.from_season, []).append("replanted")
    place = {season: number for number, season in enumerate(history.seasons)}
    return tuple(
        (place[season], ", ".join(dict.fromkeys(what))) for season, what in sorted(words.items()) if season in place
    )


def draw_positions(history: BlockHistory, units: Units, width_pt: float) -> list[Chart]:
    """Draw clusters per node by position, one chart a kind of bearer: the latest season, earlier ones as strokes.

    Parameters
    ----------
    history : the block's history.
    units : "metric" or "us".
    width_pt : width of one chart.
    """
    drawn: list[Chart] = []
    for bearer, rows in by_bearer(history.figures, "clusters_per_node_at_k").items():
        known = [f for f in rows if f.value is not None]
        if not known:
            continue
        latest = max(f.season for f in known)
        positions = sorted({f.position or "" for f in known}, key=position_order)
        if len(positions) < LEAST_POSITIONS_DRAWN:
            continue
        found = {f.position or "": f for f in known if f.season == latest}
        earlier = tuple(
            tuple(f.value or 0.0 for f in known if f.season != latest and f.position == position)
            for position in positions
        )
        panel = charts.Panel(
            _points([found.get(position) for position in positions], units),
            svg.CROP,
            backdrop=earlier,
            is_joined=False,
        )
        axis = charts.Axis(tuple(map(position_shown, positions)), width_pt, POSITION_HEIGHT_PT, edge_pt=8)
        seasons = sorted({f.season for f in known} - {latest})
        note = f"{latest}, with intervals" + (f"; {write_seasons(seasons)} as grey strokes" if seasons else "")
        said = ", ".join(
            f"{position_shown(p)} {shown(f, units).text}"
            for p, f in sorted(found.items(), key=lambda x: position_order(x[0]))
        )
        drawn.append(
            Chart(
                f"positions-{len(drawn)}.svg",
                f"Clusters per node, {bearer}",
                "clusters per node, by position from the base",
                f"Clusters per node of the {bearer} by position in {latest}: {said}.",
                charts.draw_panel(panel, axis, is_first=True, is_last=True),
                note,
            )
        )
    return drawn


def by_bearer(figures: tuple[Figure, ...], name: str) -> dict[str, list[Figure]]:
    """Give the figures by node position, by bearer in the order of their names.

    Parameters
    ----------
    figures : all figures of a block.
    name : name of the figure.
    """
    found: dict[str, list[Figure]] = {}
    for figure in figures:
        if figure.figure == name and figure.position is not None:
            found.setdefault((figure.bearer or "bearer").replace("_", " "), []).append(figure)
    return dict(sorted(found.items()))


def position_shown(position: str) -> str:
    """Give a node position as it is written: position 0 is the basal bud.

    Parameters
    ----------
    position : "old wood", "basal" or a number.
    """
    return "basal" if position == "0" else position.replace("_", " ")


def position_order(position: str) -> tuple[int, int, str]:
    """Give the order of a node position: old wood, basal, then from the base outwards.

    Parameters
    ----------
    position : "old wood", "basal" or a number.
    """
    if position.isdigit() and position != "0":
        return (2, int(position), "")
    return ({"old wood": 0, "old_wood": 0, "basal": 1, "0": 1}.get(position, 3), 0, position)


def _points(rows: Sequence[Figure | None], units: Units) -> tuple[charts.Point, ...]:
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


def _band_note(rows: list[Figure | None], units: Units) -> str:
    """Give the bands of a chart in words: the last one's limits, and where others stood before it."""
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


def _alt(title: str, unit: str, rows: list[Figure | None], units: Units) -> str:
    """Say what the chart shows, in words: span, first and last value, highest, lowest."""
    known = [f for f in rows if f is not None and f.value is not None]
    if not known:
        return f"{title}: no value."
    highest, lowest = max(known, key=lambda f: f.value or 0), min(known, key=lambda f: f.value or 0)
    said = ", ".join(
        f"{name} {shown(f, units).text} in {f.season}"
        for name, f in (("first", known[0]), ("last", known[-1]), ("highest", highest), ("lowest", lowest))
    )
    open_seasons = write_seasons(f.season for f in rows if f is not None and f.status == "pending")
    return f"{title} by season in {unit}: {said}." + (f" Pending: {open_seasons}." if open_seasons else "")
