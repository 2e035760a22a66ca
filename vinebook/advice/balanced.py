"""A block's level by balanced pruning: each weighed vine through a published formula, then their mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.pruning import balanced_pruning_nodes
from vinebook.formulas.ratios import panel_mean
from vinebook.formulas.sampling import finite_correction, stratified_df, stratified_mean, stratified_variance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vinebook.advice.pruning_formulas import PruningFormula
    from vinebook.seasons.pruning_facts import WeighedVine, WoodWeighed

    Floats = NDArray[np.float64]

LEVEL_PERCENT = 95.0


@dataclass(frozen=True, slots=True)
class BlockLevel:
    """The mean of what a formula gives for each weighed vine.

    Attributes
    ----------
    nodes, low, high : nodes per vine with its 95 % interval; None where there is none.
    n : vines, or panels where panels were drawn, that the mean rests on.
    weak : weighed vines that do not reach the formula's first unit; they are left out of the mean.
    weighed : vines weighed in all.
    capped : vines that the cap holds back.
    parts_pooled : whether parts of the block were pooled for want of a census by the same parts.
    """

    nodes: float | None
    low: float | None
    high: float | None
    n: int
    weak: int
    weighed: int
    capped: int
    parts_pooled: bool


def nodes_of_vine(prunings_kg: float | Floats, formula: PruningFormula) -> Floats:
    """Give the nodes of a vine by a formula, NaN below its first unit; not capped.

    Parameters
    ----------
    prunings_kg : prunings of a vine [kg], any shape.
    formula : a published formula.
    """
    return balanced_pruning_nodes(
        prunings_kg, formula.first_nodes, formula.first_unit_kg, formula.later_nodes, formula.later_unit_kg
    )


def block_level(wood: WoodWeighed, formula: PruningFormula, most_nodes: float | None) -> BlockLevel:
    """Give a block's level by balanced pruning: the mean of the per-vine results.

    Vines below the first unit have no result and are left out. Panels are the units where panels were drawn; parts are
    weighted by their bearing vines. Vines picked by hand give no interval.

    Parameters
    ----------
    wood : wood weighed at the visit.
    formula : a published formula.
    most_nodes : cap on the nodes of a vine, None without one.
    """
    raw = nodes_of_vine(np.array([vine.prunings_kg for vine in wood.vines], dtype=np.float64), formula)
    nodes = raw if most_nodes is None else np.minimum(raw, most_nodes)
    reaches = np.isfinite(raw)
    vines = [vine for vine, is_reached in zip(wood.vines, reaches.tolist(), strict=True) if is_reached]
    kept = nodes[reaches]
    parts = sorted({vine.part for vine in vines})
    bearing = dict(wood.bearing_of_part)
    is_weighted = len(parts) > 1 and set(parts) == set(bearing) and sum(bearing.values()) > 0
    groups = parts if is_weighted else [None]
    # Positions by part are not known here, so a part is never taken for drawn in good measure.
    left = 1.0 if is_weighted else _share_left(wood)
    strata = [_mean(*_of_part(vines, kept, part), left) for part in groups]
    mean, variance, df, n = _joined(strata, [float(bearing[part]) for part in parts] if is_weighted else [1.0])
    low: float | None = None
    high: float | None = None
    # Where the cap holds every vine back nothing varies, and nothing is known of how it would.
    if not wood.by_hand and variance > 0 and df > 0 and mean > 0:
        ends = log_t_interval(mean, np.sqrt(variance), df, LEVEL_PERCENT)
        low, high = float(ends.low), float(ends.high)
    return BlockLevel(
        float(mean) if np.isfinite(mean) else None,
        low,
        high,
        n,
        int((~reaches).sum()),
        len(wood.vines),
        0 if most_nodes is None else int((raw[reaches] > most_nodes).sum()),
        len(parts) > 1 and not is_weighted,
    )


def _of_part(vines: Sequence[WeighedVine], nodes: Floats, part: str | None) -> tuple[list[WeighedVine], Floats]:
    mine = [part is None or vine.part == part for vine in vines]
    return [vine for vine, is_mine in zip(vines, mine, strict=True) if is_mine], nodes[np.array(mine, dtype=np.bool_)]


def _share_left(wood: WoodWeighed) -> float:
    """Give the finite population correction of the vines weighed; 1 for vines picked by hand."""
    if wood.by_hand or not wood.positions:
        return 1.0
    return float(finite_correction(min(len(wood.vines), wood.positions), wood.positions))


def _mean(vines: list[WeighedVine], nodes: Floats, share_left: float) -> tuple[float, float, float, int]:
    """Give mean, variance of the mean, degrees of freedom and units of vines drawn together."""
    units = sorted({vine.unit for vine in vines})
    at = {unit: index for index, unit in enumerate(units)}
    count, total = np.zeros(len(units)), np.zeros(len(units))
    for vine, number in zip(vines, nodes.tolist(), strict=True):
        count[at[vine.unit]] += 1
        total[at[vine.unit]] += number
    told = panel_mean(
        len(units), count.sum(), total.sum(), (count**2).sum(), (total**2).sum(), (count * total).sum(), share_left
    )
    return float(told.mean), float(told.standard_error) ** 2, float(told.df), len(units)


def _joined(strata: list[tuple[float, float, float, int]], weights: list[float]) -> tuple[float, float, float, int]:
    if len(strata) == 1:
        return strata[0]
    means, variances, _, n = (np.array(numbers, dtype=np.float64) for numbers in zip(*strata, strict=True))
    return (
        float(stratified_mean(weights, means)),
        float(stratified_variance(weights, variances)),
        float(stratified_df(weights, variances, n)),
        int(n.sum()),
    )
