"""Dead buds, and what rules make of them at pruning."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

FULL_COMPENSATION = "full compensation"
EQUAL_PERCENT = -1.0
"""In a class: as many percent more nodes as there are percent of dead primaries."""


class _Class(NamedTuple):
    """A class of dead primaries in percent, both ends in it unless `high_is_out`, and the nodes to add in percent."""

    low: float
    high: float
    added: float
    high_is_out: bool = False


INJURY_RULES: dict[str, tuple[_Class, ...]] = {
    "Cornell 2014": (_Class(0, 20, 0, high_is_out=True), _Class(20, 80, EQUAL_PERCENT)),
    "Purdue": (_Class(0, 15, 0), _Class(15, 35, 35), _Class(25, 50, 50)),
    FULL_COMPENSATION: (),
}
"""Rules by name, as printed. Cornell (NNY grape update, 28 February 2014): no change below 20 %, as many percent more
up to 80 %. Purdue (Facts for Fancy Fruit): none to 15 %, 35 % more at 15-35 %, 50 % more at 25-50 %; these overlap.
Full compensation, nodes ÷ live share, is from memory."""


def bud_mortality_percent(primaries_dead: ArrayLike, buds: ArrayLike) -> FloatArray:
    """Give the share of buds whose primary is dead.

    Parameters
    ----------
    primaries_dead : array_like
        Buds with a dead primary [1], any shape.
    buds : array_like
        Buds cut [1].

    Returns
    -------
    ndarray
        Dead primaries [%], broadcast shape; NaN without a bud.

    Raises
    ------
    ValueError
        If an input is negative or infinite, or more primaries are dead than buds were cut.

    References
    ----------
    Cornell, Evaluating grapevine buds for winter injury: injury is dead ÷ sampled.

    Examples
    --------
    >>> print(bud_mortality_percent(35, 100))
    35.0
    """
    dead, cut = not_negative("primaries_dead", primaries_dead), not_negative("buds", buds)
    if (dead > cut).any():
        raise ValueError("primaries_dead must not exceed buds")
    return as_given(100.0 * quotient(dead, cut))


def nodes_for_dead_buds(nodes: ArrayLike, mortality_percent: ArrayLike, rule: str) -> FloatArray:
    """Give the nodes to keep for dead buds by a named rule; the rules are not equivalent.

    Parameters
    ----------
    nodes : array_like
        Nodes that would be kept on sound wood [1], any shape.
    mortality_percent : array_like
        Dead primaries [%].
    rule : str
        A name of `INJURY_RULES` [1].

    Returns
    -------
    ndarray
        Nodes to keep [1], broadcast shape; NaN where the rule's classes overlap or end.

    Raises
    ------
    ValueError
        If `nodes` is negative, `mortality_percent` outside 0 to 100, or the rule is not known.

    References
    ----------
    Cornell, NNY grape update, 28 February 2014; Purdue, Facts for Fancy Fruit.

    Examples
    --------
    >>> print(nodes_for_dead_buds(40, [10, 35, 85], "Cornell 2014"))
    [40. 54. nan]
    """
    kept, dead = np.broadcast_arrays(not_negative("nodes", nodes), not_negative("mortality_percent", mortality_percent))
    if (dead > 100).any():
        raise ValueError("mortality_percent must not exceed 100")
    if rule not in INJURY_RULES:
        raise ValueError(f"rule must be one of {', '.join(INJURY_RULES)}")
    if rule == FULL_COMPENSATION:
        return as_given(quotient(100.0 * kept, 100.0 - dead))
    added, classes = np.full(dead.shape, np.nan), np.zeros(dead.shape, dtype=np.int64)
    for one in INJURY_RULES[rule]:
        inside = (dead >= one.low) & ((dead < one.high) if one.high_is_out else (dead <= one.high))
        added = np.where(inside, dead if one.added == EQUAL_PERCENT else one.added, added)
        classes += inside
    # Two classes that meet say two things of the value between them.
    return as_given(np.where(classes == 1, kept * (100.0 + added) / 100.0, np.nan))


def buds_allowed_per_vine(vines_per_ha: ArrayLike, most_per_vine: ArrayLike, most_per_ha: ArrayLike) -> FloatArray:
    """Give the buds that two limits at once allow on a vine: the lower of them binds.

    Parameters
    ----------
    vines_per_ha : array_like
        Vines [1/ha], any shape.
    most_per_vine : array_like
        Limit of buds per vine [1].
    most_per_ha : array_like
        Limit of buds per hectare [1/ha].

    Returns
    -------
    ndarray
        Buds per vine [1], broadcast shape; NaN without a vine.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    French decree amending that of 5 January 1944: at most 14 buds per vine and 100,000 per hectare.

    Examples
    --------
    >>> print(buds_allowed_per_vine([5500, 10000], 14, 100_000))
    [14. 10.]
    """
    by_area = quotient(not_negative("most_per_ha", most_per_ha), not_negative("vines_per_ha", vines_per_ha))
    return as_given(np.minimum(not_negative("most_per_vine", most_per_vine), by_area))


def is_above_missing_threshold(missing: ArrayLike, positions: ArrayLike, threshold_percent: float) -> FloatArray:
    """Tell whether missing vines pass a threshold; a share equal to it does not.

    Parameters
    ----------
    missing : array_like
        Missing or dead places [1], any shape.
    positions : array_like
        All places [1].
    threshold_percent : float
        Threshold [%].

    Returns
    -------
    ndarray
        1 above the threshold, 0 at or below it [1], broadcast shape; NaN without a place.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    AOC Languedoc, declarations: vineyards listed above 20 % of missing vines (art. D.645-4).

    Examples
    --------
    >>> print(is_above_missing_threshold([800, 801], 4000, 20))
    [0. 1.]
    """
    gone, places = np.broadcast_arrays(not_negative("missing", missing), not_negative("positions", positions))
    # Products of whole numbers, so that 800 of 4,000 is exactly 20 %.
    above = 100.0 * gone > not_negative("threshold_percent", threshold_percent) * places
    return as_given(np.where(places > 0, above, np.nan))
