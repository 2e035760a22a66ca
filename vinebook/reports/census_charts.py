"""Three small charts of the vine census over the years: bearing, young and missing vines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports import charts
from vinebook.reports.figure_charts import LEAST_SEASONS_DRAWN, SHARE_OF_THREE, Chart
from vinebook.reports.svg import INK

if TYPE_CHECKING:
    from vinebook.seasons.model import BlockHistory

HEIGHT_PT = 76.0


def draw_census(history: BlockHistory, width_pt: float) -> list[Chart]:
    """Draw bearing, young and missing vines by the year of their census; none below two years.

    Parameters
    ----------
    history : the block's history.
    width_pt : width of the text column.
    """
    latest = {census.date.year: census for census in sorted(history.censuses, key=lambda c: c.date)}
    if len(latest) < LEAST_SEASONS_DRAWN:
        return []
    years = range(min(latest), max(latest) + 1)
    axis = charts.Axis(tuple(map(str, years)), width_pt * SHARE_OF_THREE, HEIGHT_PT, edge_pt=8.0)
    drawn = []
    for name, title in (("bearing", "Bearing vines"), ("young", "Young vines"), ("missing", "Missing vines")):
        values = {year: getattr(census, name) for year, census in latest.items()}
        if not any(values.values()):
            continue
        points = tuple(
            charts.Point(float(values[year]), label=str(values[year])) if year in values else charts.Point()
            for year in years
        )
        panel = charts.Panel(points, INK, is_joined=False)
        said = ", ".join(f"{year} {value}" for year, value in values.items())
        drawn.append(
            Chart(
                f"census-{name}.svg",
                title,
                "vines",
                f"{title} by census: {said}.",
                charts.draw_panel(panel, axis, is_first=True, is_last=True),
                f"of {latest[max(latest)].positions} places",
            )
        )
    return drawn
