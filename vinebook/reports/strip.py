"""Which charts a history carries: the strip from nodes to wood, and fruitfulness by node position."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from vinebook.reports import charts, svg
from vinebook.reports.figure_charts import Chart, draw_figure, points_of
from vinebook.reports.numbers import Units, shown
from vinebook.reports.words import write_seasons

if TYPE_CHECKING:
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
    return [
        draw_figure(
            name,
            [figures.one(name, season) for season in history.seasons],
            units,
            axis,
            ink,
            is_first=number == 0,
            is_last=number == len(chosen) - 1,
        )
        for number, (name, ink) in enumerate(chosen)
    ]


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
            points_of([found.get(position) for position in positions], units),
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
