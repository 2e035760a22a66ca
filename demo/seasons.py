"""What the seasons of the demo did: weather, frost, unweighed wood, fruit left, thinning, shared loads."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from demo.blocks import FIRST_SEASON, LAST_HARVEST, Parcel

FROST_SEASON = 2017
UNWEIGHED_SITE_VISIT = ("zennavar", 2021)
COUNTED_NOT_WEIGHED_VISIT = ("V3", 2022)
EARLY_VISIT = ("V4", 2027)

EVENTS = (
    ("Z1", "2019-01-24", "heat", 30, "Five days above 43 degrees; west faces of the rows burnt."),
    ("Z2", "2019-01-24", "heat", 20, "Berries on the west side shrivelled."),
    ("Z4", "2019-01-24", "heat", 10, ""),
    ("Z1", "2024-02-05", "drought", 100, "Bore down for three weeks."),
    ("V1", "2021-09-20", "disease", 15, "Bunch rot after rain."),
    ("V3", "2023-07-12", "hail", 10, "Edge of a cell; leaves torn, few berries hit."),
    ("Z5", "2022-02-10", "birds", 5, "Nets late on the four rows at the channel."),
)
"""Block, date, what, share hit in percent, words; the frost is made from the exposure of each parcel."""

HIT_FRUIT = {
    ("Z1", 2019): (0.8, 0.95),
    ("Z2", 2019): (0.88, 0.97),
    ("Z4", 2019): (0.95, 1.0),
    ("Z1", 2024): (0.78, 0.75),
    ("V3", 2023): (0.93, 0.95),
}
"""Parcel and season of an event: factors on cluster weight and on wood."""

OWN_SPREAD = 0.06
"""Spread of a parcel's own fruitfulness, cluster weight and vigour about the site's, on the log scale."""

FRUIT_LEFT = {
    ("V1", 2021): (0.09, "weighed", "Rot; sorted out in the row."),
    ("Z2", 2020): (0.18, "by_eye", "No buyer for the last rows."),
    ("V4", 2024): (0.03, "by_eye", "Late rain; tips not ripe."),
}
"""Share of the crop left on the vine, how it is known, and why."""

CLUSTERS_THINNED = {
    ("V3", 2016): 0.25,
    ("V3", 2018): 0.2,
    ("V3", 2022): 0.25,
    ("V4", 2020): 0.2,
    ("Z1", 2018): 0.2,
    ("Z1", 2023): 0.15,
    ("V5", 2023): 0.3,
}
"""Share of the clusters cut off at thinning."""

SHARED_LOADS = {
    ("V6A", "V6B"): ("weighed", frozenset({2020, 2021, 2023, 2024, 2025, 2026})),
    ("V2", "V3"): ("bins", frozenset({2016, 2019})),
}
"""Blocks whose last part loads went on one trailer: how the load was split, and in which seasons."""


@dataclass(frozen=True, slots=True)
class Weather:
    """What a season did to every block of a site, each a factor around 1 except the last three.

    Attributes
    ----------
    fruitfulness, cluster, vigour : factors on clusters per shoot, cluster weight and wood.
    budbreak : added to the share of buds that break.
    days : days by which the season is late.
    brix : added to soluble solids.
    """

    fruitfulness: float
    cluster: float
    vigour: float
    budbreak: float
    days: int
    brix: float


def weather_of(site: str, seed: int) -> dict[int, Weather]:
    """Draw the weather of each season of a site.

    Parameters
    ----------
    site : key of the site.
    seed : seed of the demo.
    """
    rng = np.random.default_rng([seed, *site.encode()])
    weather = {}
    for season in range(FIRST_SEASON - 1, LAST_HARVEST + 2):
        draw = rng.normal(size=6)
        weather[season] = Weather(
            fruitfulness=float(np.exp(0.09 * draw[0])),
            cluster=float(np.exp(0.10 * draw[1])),
            vigour=float(np.exp(0.10 * draw[2])),
            budbreak=float(0.015 * draw[3]),
            days=round(4 * float(draw[4])),
            brix=round(float(0.6 * draw[5]), 1),
        )
    return weather


def weather_on(name: str, site_weather: dict[int, Weather], seed: int) -> dict[int, Weather]:
    """Give the weather as a parcel had it: the site's, with its own ups and downs and what hit it alone.

    Parameters
    ----------
    name : of the parcel.
    site_weather : of its site.
    seed : seed of the demo.
    """
    rng = np.random.default_rng([seed, *name.encode(), *b"weather"])
    weather = {}
    for season, common in site_weather.items():
        fruitfulness, cluster, vigour = np.exp(rng.normal(0, OWN_SPREAD, 3))
        hit = HIT_FRUIT.get((name, season), (1.0, 1.0))
        weather[season] = replace(
            common,
            fruitfulness=common.fruitfulness * float(fruitfulness),
            cluster=common.cluster * float(cluster) * hit[0],
            vigour=common.vigour * float(vigour) * hit[1],
        )
    return weather


def frost_share(parcel: Parcel, season: int) -> float:
    """Give the share of a parcel's green shoots that frost killed in a season."""
    return parcel.frost_exposure if parcel.site == "vellowick" and season == FROST_SEASON else 0.0
