"""The model of the vine: nodes → shoots → clusters → fruit → wood → the size that the vine has next season.

Every position of a parcel is followed over the seasons. A vine has a lasting size of its own; what it grew last season
moves its size this season; a crew keeps more nodes on a vine with more wood. More nodes for its size give fewer shoots
a node and lighter clusters, and a heavy crop takes from the wood. The sizes of these effects are chosen so that the
figures look like a vineyard's; they have no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo.blocks import FIRST_SEASON, LAST_HARVEST, Parcel, System
from demo.seasons import Weather, frost_share

MISSING, YOUNG, BEARING = 0, 1, 2
STATE_WORDS = ("missing", "young", "bearing")
SEASONS_TO_BEAR = 2
YOUNG_SIZE = {0: 0.1, 1: 0.2, 2: 0.32, 3: 0.55, 4: 0.8}
SPUR_BUDBREAK, CANE_BUDBREAK = 0.94, 0.91
MEMORY = 0.35

Counts = NDArray[np.int64]
Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class VineYear:
    """Every position of a parcel in a season; arrays run over positions, row by row.

    Attributes
    ----------
    state : MISSING, YOUNG or BEARING.
    spurs, canes, renewal_spurs : bearers kept at the visit that sets the season.
    nodes_on_spurs, nodes_on_canes, nodes_on_renewal_spurs : count nodes kept on them.
    count_shoots, double_shoots, noncount_shoots, blind_nodes : shoots by class before thinning.
    clusters : clusters before thinning.
    cluster_g : mean cluster weight of the vine at harvest.
    crop_kg : fruit at harvest had nothing been thinned.
    prunings_kg : one-year-old wood grown in the season.
    canes_grown : canes that are cut at the next visit.
    """

    state: Counts
    spurs: Counts
    canes: Counts
    renewal_spurs: Counts
    nodes_on_spurs: Counts
    nodes_on_canes: Counts
    nodes_on_renewal_spurs: Counts
    count_shoots: Counts
    double_shoots: Counts
    noncount_shoots: Counts
    blind_nodes: Counts
    clusters: Counts
    cluster_g: Numbers
    crop_kg: Numbers
    prunings_kg: Numbers
    canes_grown: Counts


def fruitfulness(parcel: Parcel, season: int, weather: Weather) -> float:
    """Give clusters per count shoot of a parcel in a season."""
    spur = parcel.spur_fruitfulness if parcel.system(season).pruned == "spur" else 1.0
    return parcel.clusters_per_shoot * spur * weather.fruitfulness * (1 - 0.55 * frost_share(parcel, season))


def budbreak(parcel: Parcel, season: int, weather: Weather) -> float:
    """Give the share of count nodes that give a shoot at the usual load."""
    usual = SPUR_BUDBREAK if parcel.system(season).pruned == "spur" else CANE_BUDBREAK
    return (usual + weather.budbreak) * (1 - 0.35 * frost_share(parcel, season))


def follow(parcel: Parcel, name: str, weather: dict[int, Weather], seed: int) -> dict[int, VineYear]:
    """Follow every vine of a parcel from the season before the record to its last.

    Parameters
    ----------
    parcel : the parcel.
    name : its name, which with the seed fixes the draws.
    weather : of its site.
    seed : seed of the demo.
    """
    rng = np.random.default_rng([seed, *name.encode()])
    vines = parcel.rows * parcel.positions
    along_row = np.tile(np.linspace(-1, 1, parcel.positions), parcel.rows)
    own_size = rng.normal(0, 0.27, vines) + 0.08 * along_row
    first = max(FIRST_SEASON - 1, parcel.year_planted)
    last = parcel.to_season or LAST_HARVEST + 1
    age = np.full(vines, first - parcel.year_planted)
    is_alive = rng.random(vines) > (0.015 if parcel.year_planted < first else 0)
    size_memory = np.zeros(vines)
    years = {}
    for season in range(first, last + 1):
        dies = rng.random(vines) < min(parcel.deaths * parcel.deaths_growth ** (season - first), 0.08)
        is_replanted = rng.random(vines) < 0.7
        if season > first:
            if parcel.replant_every and season % parcel.replant_every == 0:
                age = np.where(is_replanted & ~is_alive, 0, age)
                is_alive = is_alive | is_replanted
            is_alive = is_alive & ~dies
        state = np.where(~is_alive, MISSING, np.where(age < SEASONS_TO_BEAR, YOUNG, BEARING))
        grown = np.ones(vines)
        for years_old, share in YOUNG_SIZE.items():
            grown[age == years_old] = share
        size = np.exp(own_size + size_memory) * grown
        years[season] = grow(rng, parcel, season, weather[season], state, size)
        wood = np.maximum(years[season].prunings_kg, 0.01) / (parcel.prunings_kg_per_m * parcel.canopy_m(season))
        size_memory = np.where(age >= 4, MEMORY * np.clip(np.log(wood) - own_size, -0.8, 0.8), 0.0)
        age = age + 1
    return years


def grow(
    rng: np.random.Generator, parcel: Parcel, season: int, weather: Weather, state: Counts, size: Numbers
) -> VineYear:
    """Grow one season: prune, break, flower, ripen and lignify.

    Parameters
    ----------
    rng : source of chance.
    parcel, season, weather : where and when.
    state : of each position.
    size : of each vine; 1 is the usual grown vine of the parcel.
    """
    system = parcel.system(season)
    kept = prune(rng, system, state, size)
    nodes = kept["nodes_on_spurs"] + kept["nodes_on_canes"] + kept["nodes_on_renewal_spurs"]
    load = nodes / system.nodes_to_keep / np.clip(size, 0.2, None)
    frost = frost_share(parcel, season)
    breaks = np.clip(budbreak(parcel, season, weather) - 0.06 * (load - 1), 0.3, 0.99)
    count = rng.binomial(nodes, breaks)
    double = rng.binomial(count, np.clip(0.06 / np.clip(load, 0.4, 3), 0.01, 0.2))
    usual_noncount = 0.10 if system.pruned == "cane" else 0.17
    noncount = rng.poisson(usual_noncount * (1 + 3 * frost) * nodes / np.clip(load, 0.4, 3) ** 0.7)
    per_shoot = fruitfulness(parcel, season, weather)
    wanted = (count * per_shoot + double * 0.6 * per_shoot + noncount * 0.15 * per_shoot) * np.exp(
        rng.normal(0, 0.16, len(size))
    )
    clusters = np.maximum(np.rint(wanted + rng.normal(size=len(size)) * np.sqrt(0.45 * wanted)), 0).astype(np.int64)
    clusters = np.where(state == BEARING, clusters, np.where(state == YOUNG, clusters // 4, 0))
    usual_clusters = system.nodes_to_keep * budbreak(parcel, season, weather) * per_shoot * 1.05
    relative_load = np.clip(clusters / usual_clusters / np.clip(size, 0.2, None), 0.3, 3)
    cluster_g = parcel.cluster_g * weather.cluster * relative_load**-0.22 * np.exp(rng.normal(0, 0.15, len(size)))
    crop_kg = clusters * cluster_g / 1000
    usual_kg = parcel.prunings_kg_per_m * parcel.canopy_m(season)
    prunings_kg = usual_kg * size**0.9 * weather.vigour * relative_load**-0.12 * np.exp(rng.normal(0, 0.17, len(size)))
    prunings_kg = np.where(state == MISSING, 0.0, prunings_kg)
    grown = np.rint((count + double + 0.6 * noncount) * 0.93).astype(np.int64)
    return VineYear(
        state=state,
        count_shoots=count,
        double_shoots=double,
        noncount_shoots=np.where(state == MISSING, 0, noncount),
        blind_nodes=nodes - count,
        clusters=clusters,
        cluster_g=cluster_g,
        crop_kg=crop_kg,
        prunings_kg=prunings_kg,
        canes_grown=np.maximum(grown, 1),
        **kept,
    )


def prune(rng: np.random.Generator, system: System, state: Counts, size: Numbers) -> dict[str, Counts]:
    """Keep nodes as a crew does: the order, more on a strong vine, less on a weak one, and not exactly.

    Parameters
    ----------
    rng : source of chance.
    system : the order.
    state : of each position; missing vines keep nothing.
    size : of each vine.
    """
    vines = len(size)
    none = np.zeros(vines, dtype=np.int64)
    wanted = system.nodes_to_keep * np.clip(size**0.5, 0.3, 1.35) * np.exp(rng.normal(0, 0.06, vines))
    is_there = state != MISSING
    slip = rng.integers(-1, 2, vines)
    if system.pruned == "spur":
        spurs = np.maximum(np.rint(wanted / system.nodes_per_spur), 1).astype(np.int64)
        nodes = np.maximum(spurs * system.nodes_per_spur + slip, 1)
        return {
            "spurs": np.where(is_there, spurs, 0),
            "nodes_on_spurs": np.where(is_there, nodes, 0),
            "canes": none,
            "nodes_on_canes": none,
            "renewal_spurs": none,
            "nodes_on_renewal_spurs": none,
        }
    canes = np.where(size < 0.5, max(system.canes_per_vine // 2, 1), system.canes_per_vine)
    renewal = np.clip(system.renewal_spurs - (rng.random(vines) < 0.12), 1, None)
    on_renewal = renewal * 2 - (rng.random(vines) < 0.1)
    on_canes = np.maximum(np.rint(wanted - on_renewal).astype(np.int64) + slip, canes * 2)
    on_canes = np.where(
        canes < system.canes_per_vine, np.minimum(on_canes, canes * (system.nodes_per_cane + 3)), on_canes
    )
    return {
        "spurs": none,
        "nodes_on_spurs": none,
        "canes": np.where(is_there, canes, 0),
        "nodes_on_canes": np.where(is_there, on_canes, 0),
        "renewal_spurs": np.where(is_there, renewal, 0),
        "nodes_on_renewal_spurs": np.where(is_there, on_renewal, 0),
    }
