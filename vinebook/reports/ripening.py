"""Must figures of every pick, with the field samples that went before: one small chart for each."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vinebook.reports import charts
from vinebook.reports.figure_charts import LEAST_SEASONS_DRAWN, Chart, points_of
from vinebook.reports.numbers import EN_DASH, shown, unit_shown
from vinebook.reports.svg import CROP
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units
    from vinebook.seasons.model import BlockHistory, Figure, RipeningFacts

PANEL_PT = 66.0
MUST = ("soluble_solids", "ph", "titratable_acidity")
Place = tuple[int, int]
"""Season and pick."""


def draw_ripening(history: BlockHistory, units: Units, width_pt: float) -> list[Chart]:
    """Draw must figures over the picks; none below two places with a value or a field sample.

    Parameters
    ----------
    history : the block's history.
    units : "metric" or "us".
    width_pt : width of one panel.
    """
    found = {name: _by_pick(history.figures, name) for name in MUST}
    places = sorted({place for by_pick in found.values() for place in by_pick})
    with_pick = {season for season, _ in places}
    places = sorted([*places, *((r.season, 1) for r in _first_of_seasons(history) if r.season not in with_pick)])
    if len(places) < LEAST_SEASONS_DRAWN:
        return []
    several = {season for season, pick in places if pick > 1}
    names = tuple(f"{season}/{pick}" if season in several else str(season) for season, pick in places)
    axis = charts.Axis(names, width_pt, PANEL_PT, edge_pt=8.0)
    kept = [name for name in MUST if found[name] or any(_sampled(r, name) is not None for r in history.ripening)]
    drawn = []
    for number, name in enumerate(kept):
        rows = [found[name].get(place) for place in places]
        before = tuple(
            tuple(
                value
                for r in history.ripening
                if r.season == season and pick == 1 and (value := _sampled(r, name)) is not None
            )
            for season, pick in places
        )
        foot, top = _scale_of_ph(rows, before) if name == "ph" else (0.0, None)
        panel = charts.Panel(points_of(rows, units), CROP, backdrop=before, foot=foot, top=top)
        kind = FIGURES[name]
        unit = unit_shown(kind.unit, units)[0] or "no unit; scale not from zero"
        drawn.append(
            Chart(
                f"must-{name}.svg",
                kind.title,
                unit,
                _alt(kind.title, names, rows, units, has_samples=any(before)),
                charts.draw_panel(panel, axis, is_first=number == 0, is_last=number == len(kept) - 1),
            )
        )
    return drawn


def _by_pick(figures: tuple[Figure, ...], name: str) -> dict[Place, Figure]:
    """Give a figure by season and pick; the season's own where no pick is told apart."""
    rows = [f for f in figures if f.figure == name and f.value is not None]
    by_pick = {(f.season, f.pick): f for f in rows if f.pick is not None}
    seasons = {season for season, _ in by_pick}
    return by_pick | {(f.season, 1): f for f in rows if f.pick is None and f.season not in seasons}


def _first_of_seasons(history: BlockHistory) -> list[RipeningFacts]:
    return list({r.season: r for r in reversed(history.ripening)}.values())


def _sampled(sample: RipeningFacts, name: str) -> float | None:
    return {
        "soluble_solids": sample.soluble_solids_brix,
        "ph": sample.ph,
        "titratable_acidity": sample.titratable_acidity_g_per_l,
    }[name]


def _scale_of_ph(rows: list[Figure | None], before: tuple[tuple[float, ...], ...]) -> tuple[float, float | None]:
    """Give the ends of the scale of pH to the next fifth below and above: it is no quantity that begins at zero."""
    values = [f.value for f in rows if f is not None and f.value is not None] + [v for row in before for v in row]
    if not values:
        return 0.0, None
    foot, top = math.floor(min(values) * 5) / 5, math.ceil(max(values) * 5) / 5
    return foot, top if top > foot else foot + 0.2


def _alt(title: str, names: tuple[str, ...], rows: list[Figure | None], units: Units, *, has_samples: bool) -> str:
    said = ", ".join(
        f"{name} {shown(figure, units).text if figure is not None else EN_DASH}"
        for name, figure in zip(names, rows, strict=True)
    )
    return f"{title} of the must by season and pick: {said}." + (
        " Grey strokes are field samples before the first pick." if has_samples else ""
    )
