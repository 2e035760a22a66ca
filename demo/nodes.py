"""The node tally of a vine: each node of its bearers with shoots and clusters, more of them away from the base."""

from __future__ import annotations

from typing import TYPE_CHECKING

from demo.seasons import Weather, frost_share
from demo.vine import VineYear, budbreak, fruitfulness

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np

    from demo.blocks import Parcel
    from demo.tallies import Cell

SPUR_PROFILE = (0.93, 1.07, 1.12, 1.12)
CANE_PROFILE = (0.62, 0.8, 0.95, 1.05, 1.12, 1.16, 1.16, 1.12, 1.08, 1.05, 1.0, 1.0)
"""Clusters per shoot at positions 1, 2, … relative to the mean of the bearer; the shape is a guess without a source."""
BASAL_BREAK = 0.11
BASAL_FRUIT = 0.35
MOST_ON_SHOOT = 3
MOST_ON_OLD_WOOD = 4


def tally_vine(
    rng: np.random.Generator, vines: VineYear, i: int, parcel: Parcel, season: int, weather: Weather
) -> Iterator[dict[str, Cell]]:
    """Yield the rows of one vine: basal bud and count nodes of every bearer, and the old wood where it shot.

    Parameters
    ----------
    rng : source of chance.
    vines, i : the vines of the block and the position.
    parcel, season, weather : where and when.
    """
    per_shoot = fruitfulness(parcel, season, weather)
    breaks = budbreak(parcel, season, weather)
    basal_break = min(BASAL_BREAK * (1 + 3 * frost_share(parcel, season)), 0.6)
    bearers = (
        ("spur", int(vines.spurs[i]), int(vines.nodes_on_spurs[i]), SPUR_PROFILE),
        ("cane", int(vines.canes[i]), int(vines.nodes_on_canes[i]), CANE_PROFILE),
        ("renewal_spur", int(vines.renewal_spurs[i]), int(vines.nodes_on_renewal_spurs[i]), SPUR_PROFILE),
    )
    for bearer, bearers_kept, nodes, profile in bearers:
        for number, nodes_here in enumerate(shares(nodes, bearers_kept), 1):
            for position in range(nodes_here + 1):
                relative = BASAL_FRUIT if position == 0 else profile[min(position, len(profile)) - 1]
                chance = basal_break if position == 0 else breaks
                shoots = int(rng.random() < chance)
                if shoots and position and rng.random() < 0.06:
                    shoots = 2
                yield {
                    "bearer": bearer,
                    "bearer_number": number,
                    "position": position,
                    "shoots": shoots,
                    "clusters": clusters_on(rng, shoots, per_shoot * relative),
                }
    old_wood = min(int(rng.poisson(1.0 + 3 * frost_share(parcel, season))), MOST_ON_OLD_WOOD)
    if old_wood:
        yield {
            "bearer": "head_spur",
            "bearer_number": 1,
            "position": "old wood",
            "shoots": old_wood,
            "clusters": clusters_on(rng, old_wood, per_shoot * 0.12),
        }


def shares(nodes: int, bearers: int) -> list[int]:
    """Lay nodes on bearers as evenly as they go."""
    if not bearers:
        return []
    each, over = divmod(nodes, bearers)
    return [each + (number < over) for number in range(bearers)]


def clusters_on(rng: np.random.Generator, shoots: int, mean: float) -> str:
    """Draw clusters on each shoot of a node, joined by +; empty where it is blind."""
    chance = min(mean / MOST_ON_SHOOT, 1.0)
    return "+".join(
        str(int(rng.binomial(MOST_ON_SHOOT, chance if number == 0 else chance / 2))) for number in range(shoots)
    )
