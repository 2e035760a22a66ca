"""What a count node has brought in a block's past seasons, and what a level would bring by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.advice.nodes_model import Expected
from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.pruning import within_reach

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vinebook.seasons.model import Figure

LEAST_SEASONS = 3
"""Below three seasons there is no pooled interval."""


@dataclass(frozen=True, slots=True)
class OverSeasons:
    """A number over past seasons, the season being the unit: mean, 95 % interval, least and most."""

    mean: float
    low: float | None
    high: float | None
    least: float
    most: float
    seasons: int


@dataclass(frozen=True, slots=True)
class PastYields:
    """What nodes have brought in the past seasons of a block; None where no season tells.

    Attributes
    ----------
    levels : nodes per vine counted, by season.
    shoots_from_node : count and double shoots that a count node brought, before thinning.
    noncount_shoots : non-count shoots of a vine, before thinning.
    fruit_kg_per_node : crop of a bearing vine ÷ its nodes.
    """

    levels: tuple[float, ...]
    shoots_from_node: OverSeasons | None
    noncount_shoots: OverSeasons | None
    fruit_kg_per_node: OverSeasons | None

    def is_within_reach(self, nodes: float) -> bool:
        """Say whether a level lies within 25 % of levels that the block has had."""
        return bool(self.levels) and bool(np.isfinite(within_reach(nodes, min(self.levels), max(self.levels))))


def past_yields(figures: Mapping[int, Mapping[str, Figure]]) -> PastYields:
    """Work out what nodes have brought.

    Parameters
    ----------
    figures : figures of whole vines by season and name; seasons before the one that nodes are chosen for.
    """
    levels, from_node, noncount, fruit = [], [], [], []
    for season in sorted(figures):
        known = {
            name: figure.value
            for name, figure in figures[season].items()
            if figure.value is not None and figure.status == "known"
        }
        nodes, share = known.get("nodes_per_vine"), known.get("noncount_shoot_share")
        if nodes is not None:
            levels.append(nodes)
        if share is not None and "shoots_per_node" in known:
            from_node.append(known["shoots_per_node"] * (1 - share / 100))
        if share is not None and "shoots_per_vine" in known:
            noncount.append(known["shoots_per_vine"] * share / 100)
        if nodes and "yield_per_vine" in known:
            fruit.append(known["yield_per_vine"] / nodes)
    return PastYields(tuple(levels), _over(from_node), _over(noncount), _over(fruit))


def _over(values: list[float]) -> OverSeasons | None:
    if not values:
        return None
    numbers = np.array(values)
    low = high = None
    if len(values) >= LEAST_SEASONS and numbers.mean() > 0:
        error = numbers.std(ddof=1) / np.sqrt(len(values))
        ends = log_t_interval(numbers.mean(), error, len(values) - 1)
        low, high = float(ends.low), float(ends.high)
    return OverSeasons(float(numbers.mean()), low, high, float(numbers.min()), float(numbers.max()), len(values))


@dataclass(frozen=True, slots=True)
class Ground:
    """What a level per vine stands on.

    Attributes
    ----------
    canopy_m, bearing_per_ha : canopy of a vine, bearing vines of a planted hectare; None where not known.
    why_no_canopy : why there is no canopy to reckon with, "" where there is one.
    """

    canopy_m: float | None
    bearing_per_ha: float | None
    why_no_canopy: str = ""


def expected_at(nodes: float, past: PastYields, noncount_kept: float, ground: Ground) -> tuple[Expected, ...]:
    """Give what a level would bring by the block's own past seasons, none where they do not reach that far.

    Parameters
    ----------
    nodes : nodes per vine.
    past : what nodes have brought.
    noncount_kept : non-count shoots of a vine that will be kept.
    ground : canopy and bearing vines.
    """
    if not past.is_within_reach(nodes):
        return ()
    found = []
    shoots, fruit = past.shoots_from_node, past.fruit_kg_per_node
    if shoots is not None and ground.canopy_m:
        ends = [(nodes * each + noncount_kept) / ground.canopy_m for each in (shoots.mean, shoots.least, shoots.most)]
        found.append(Expected("shoots_per_m", ends[0], ends[1], ends[2], "shoots/m", shoots.seasons))
    if fruit is not None:
        ends = [nodes * each for each in (fruit.mean, fruit.least, fruit.most)]
        found.append(Expected("yield_per_vine", ends[0], ends[1], ends[2], "kg", fruit.seasons))
        if ground.bearing_per_ha:
            ends = [each * ground.bearing_per_ha / 1000 for each in ends]
            found.append(Expected("yield_per_ha", ends[0], ends[1], ends[2], "t/ha", fruit.seasons))
    return tuple(found)
