"""When things are done on a site: dates of a season that follow its hemisphere and its weather."""

from __future__ import annotations

import datetime as dt

from demo.blocks import SITES

NORTH = {
    "visit": (0, 1, 12),
    "census": (0, 2, 20),
    "shoots": (0, 5, 24),
    "bloom": (0, 6, 14),
    "clusters": (0, 6, 28),
    "thinned": (0, 7, 22),
    "lag_phase": (0, 8, 6),
    "harvest": (0, 9, 12),
    "frost": (0, 4, 27),
}
SOUTH = {
    "visit": (-1, 6, 22),
    "census": (-1, 8, 20),
    "shoots": (-1, 10, 26),
    "bloom": (-1, 11, 26),
    "clusters": (-1, 12, 8),
    "thinned": (0, 1, 4),
    "lag_phase": (0, 1, 18),
    "harvest": (0, 2, 18),
}
"""Years after the season's year, month, day of each stage in a usual season."""


def date_of(site: str, season: int, stage: str, days: int = 0) -> dt.date:
    """Give the date of a stage of a season on a site.

    Parameters
    ----------
    site : key of the site.
    season : harvest year.
    stage : visit, census, shoots, bloom, clusters, thinned, lag_phase, harvest or frost.
    days : days later than usual.
    """
    years, month, day = (NORTH if SITES[site].hemisphere == "north" else SOUTH)[stage]
    return dt.date(season + years, month, day) + dt.timedelta(days=days)
