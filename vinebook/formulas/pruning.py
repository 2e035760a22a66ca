"""How many nodes to keep: the ways to work it out from wood, shoots, fruit and canes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, positive, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

G_PER_KG = 1000.0
NODES_ABOVE_SHOOT_NUMBER = 5.0
"""Nodes to keep beyond the effective shoot number: Wines & Vines, June 2017, p. 58, research in New Zealand."""
BLIND_UNDER, MANY_NONCOUNT_OVER = 0.90, 1.10
"""Shoots ÷ count nodes: below, blind budding; above, many non-count shoots (Wines & Vines, June 2017, p. 58)."""


def balanced_pruning_nodes(
    prunings_kg: ArrayLike,
    first_nodes: ArrayLike,
    first_unit_kg: ArrayLike,
    later_nodes: ArrayLike,
    later_unit_kg: ArrayLike,
) -> FloatArray:
    """Give the nodes to keep by balanced pruning: A for the first unit of prunings, B for each unit after it.

    Nodes = A + B × (prunings - first unit) ÷ later unit, in proportion within a unit (the sources say "for each
    additional pound"; that a part of one counts in proportion is from memory). The two units are given each by itself:
    published formulas mix 500 g and 1 kg. Below the first unit no source gives a rule, so there is no number.

    Parameters
    ----------
    prunings_kg : array_like
        One-year-old canes cut from a vine [kg], any shape.
    first_nodes : array_like
        Nodes for the first unit [1]; 0 with a first unit of 0 for a formula that is linear from nothing.
    first_unit_kg : array_like
        Mass of the first unit [kg].
    later_nodes : array_like
        Nodes for each later unit [1].
    later_unit_kg : array_like
        Mass of a later unit [kg].

    Returns
    -------
    ndarray
        Nodes to keep on the vine [1], broadcast shape; NaN where the prunings do not reach the first unit.

    Raises
    ------
    ValueError
        If an input is negative or infinite, or `later_unit_kg` is not above zero.

    References
    ----------
    West Virginia Department of Agriculture, Growing Grapes in West Virginia, p. 14 (30+10 per pound); Bates et al.,
    2021, American Journal of Enology and Viticulture 72(1), from p. 1 (33+11 per 500 g); Wines & Vines, June 2017,
    p. 58 (55 for 500 g, 22 for each further kg).

    Examples
    --------
    >>> print(balanced_pruning_nodes([0.4, 0.5, 1.0, 1.5], 33, 0.5, 11, 0.5))
    [nan 33. 44. 55.]
    """
    wood, first_unit = not_negative("prunings_kg", prunings_kg), not_negative("first_unit_kg", first_unit_kg)
    # Three pounds weighed in milligrams are a hair below three pounds: a billionth of a unit is no weak vine.
    beyond = wood - first_unit
    reaches = beyond >= -1e-9 * np.maximum(first_unit, 1.0)
    later = (
        not_negative("later_nodes", later_nodes) * np.maximum(beyond, 0.0) / positive("later_unit_kg", later_unit_kg)
    )
    return as_given(np.where(reaches, not_negative("first_nodes", first_nodes) + later, np.nan))


def effective_shoot_number(
    over_15_mm: ArrayLike, from_10_to_15_mm: ArrayLike, from_7_to_10_mm: ArrayLike, under_7_mm: ArrayLike
) -> FloatArray:
    """Give the effective shoot number of a dormant vine from its canes by diameter.

    A cane over 15 mm counts as two, one of 10 to 15 mm as one, one of 7 to 10 mm as a half, a thinner one as none.

    Parameters
    ----------
    over_15_mm : array_like
        Canes thicker than 15 mm [1], any shape.
    from_10_to_15_mm : array_like
        Canes of 10 to 15 mm [1].
    from_7_to_10_mm : array_like
        Canes of 7 to 10 mm [1].
    under_7_mm : array_like
        Canes thinner than 7 mm [1].

    Returns
    -------
    ndarray
        Effective shoots of the vine [1], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Wines & Vines, June 2017, p. 58, research in New Zealand.

    Examples
    --------
    >>> print(effective_shoot_number(4, 24, 6, 3))
    35.0
    """
    strong = 2.0 * not_negative("over_15_mm", over_15_mm) + not_negative("from_10_to_15_mm", from_10_to_15_mm)
    weak = 0.5 * not_negative("from_7_to_10_mm", from_7_to_10_mm) + 0.0 * not_negative("under_7_mm", under_7_mm)
    return as_given(strong + weak)


def nodes_by_effective_shoots(effective_shoots: ArrayLike) -> FloatArray:
    """Give the nodes to keep by the effective shoot number: that number and five.

    Parameters
    ----------
    effective_shoots : array_like
        Effective shoot number of the vine [1], any shape.

    Returns
    -------
    ndarray
        Nodes to keep [1], same shape.

    Raises
    ------
    ValueError
        If `effective_shoots` is negative or infinite.

    References
    ----------
    Wines & Vines, June 2017, p. 58, research on Sauvignon blanc in New Zealand.

    Examples
    --------
    >>> print(nodes_by_effective_shoots(35))
    40.0
    """
    return as_given(not_negative("effective_shoots", effective_shoots) + NODES_ABOVE_SHOOT_NUMBER)


def shoots_to_nodes_class(shoots: ArrayLike, count_nodes: ArrayLike) -> FloatArray:
    """Tell what shoots ÷ count nodes of a past season say: blind budding, as wanted, or many non-count shoots.

    The ratio may exceed 1 and is never capped.

    Parameters
    ----------
    shoots : array_like
        Effective shoots of the vine, or all its shoots [1], any shape.
    count_nodes : array_like
        Count nodes that had been kept [1].

    Returns
    -------
    ndarray
        -1 below 0.90, 0 from 0.90 to 1.10, 1 above [1], broadcast shape; NaN without nodes.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Wines & Vines, June 2017, p. 58, research in New Zealand.

    Examples
    --------
    >>> print(shoots_to_nodes_class([35, 40, 45], 40))
    [-1.  0.  1.]
    """
    ratio = quotient(not_negative("shoots", shoots), not_negative("count_nodes", count_nodes))
    told = np.where(ratio < BLIND_UNDER, -1.0, np.where(ratio > MANY_NONCOUNT_OVER, 1.0, 0.0))
    return as_given(np.where(np.isnan(ratio), np.nan, told))


def nodes_for_shoots(
    shoots_per_m: ArrayLike, canopy_m: ArrayLike, noncount_shoots_kept: ArrayLike, shoots_from_node: ArrayLike
) -> FloatArray:
    """Give the nodes that bring the shoots wanted: what count nodes must bring ÷ what one brings.

    Parameters
    ----------
    shoots_per_m : array_like
        Shoots wanted on a metre of canopy [1/m], any shape.
    canopy_m : array_like
        Canopy of a vine, all curtains [m].
    noncount_shoots_kept : array_like
        Shoots from basal buds and old wood that will be kept on a vine [1].
    shoots_from_node : array_like
        Count and double shoots that a count node brings [1].

    Returns
    -------
    ndarray
        Nodes to keep [1], broadcast shape; 0 where the non-count shoots suffice, NaN where a node brings none.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    A definition; with one shoot from a node it is the rule "4 to 6 buds per foot of vine spacing" of Smith, Ohio State
    University, 2023 Grape Pruning Primer.

    Examples
    --------
    >>> print(nodes_for_shoots(15, 1.2, 2, 1.0))
    16.0
    """
    wanted = not_negative("shoots_per_m", shoots_per_m) * not_negative("canopy_m", canopy_m)
    from_nodes = np.maximum(wanted - not_negative("noncount_shoots_kept", noncount_shoots_kept), 0.0)
    return quotient(from_nodes, not_negative("shoots_from_node", shoots_from_node))


def nodes_for_yield(yield_kg_per_vine: ArrayLike, fruit_kg_per_node: ArrayLike) -> FloatArray:
    """Give the nodes that bring the yield wanted, at the fruit that a node has brought.

    Vines make up for nodes: fruit per node falls as nodes rise, so it holds near levels that were counted only.

    Parameters
    ----------
    yield_kg_per_vine : array_like
        Yield wanted of a bearing vine [kg], any shape.
    fruit_kg_per_node : array_like
        Fruit that a count node has brought [kg].

    Returns
    -------
    ndarray
        Nodes to keep [1], broadcast shape; NaN where a node brings no fruit.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    A definition; Greven et al., 2014, Australian Journal of Grape and Wine Research: why it does not reach far.

    Examples
    --------
    >>> print(nodes_for_yield(3.2, 0.2))
    16.0
    """
    wanted = not_negative("yield_kg_per_vine", yield_kg_per_vine)
    return quotient(wanted, not_negative("fruit_kg_per_node", fruit_kg_per_node))


def ideal_cane_charge(prunings_kg: ArrayLike, ideal_cane_g: ArrayLike) -> FloatArray:
    """Give the nodes that a vine's wood would make into canes of the ideal weight: prunings ÷ that weight.

    Parameters
    ----------
    prunings_kg : array_like
        One-year-old canes cut from a vine [kg], any shape.
    ideal_cane_g : array_like
        Weight of an ideal cane [g].

    Returns
    -------
    ndarray
        Nodes to keep [1], broadcast shape.

    Raises
    ------
    ValueError
        If `prunings_kg` is negative, `ideal_cane_g` not above zero, or an input infinite.

    References
    ----------
    WineSkills, Plumpton College, Factors to be taken into account when pruning (30 to 40 g, cool climate).

    Examples
    --------
    >>> print(ideal_cane_charge(0.9, [30, 40]))
    [30.  22.5]
    """
    wood = G_PER_KG * not_negative("prunings_kg", prunings_kg)
    return as_given(wood / positive("ideal_cane_g", ideal_cane_g))


def within_reach(
    nodes: ArrayLike, least_had: ArrayLike, most_had: ArrayLike, reach_percent: float = 25.0
) -> FloatArray:
    """Give nodes only where they lie within a reach of the levels that a block has had.

    Parameters
    ----------
    nodes : array_like
        Nodes per vine worked out [1], any shape.
    least_had : array_like
        Lowest level that the block has had [1].
    most_had : array_like
        Highest level that the block has had [1].
    reach_percent : float, default 25.0
        How far beyond them a record may be stretched [%].

    Returns
    -------
    ndarray
        The nodes [1], broadcast shape; NaN where they lie outside what the block has shown.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    A choice of this book, no source.

    Examples
    --------
    >>> print(within_reach([12, 16, 24], 16, 18))
    [12. 16. nan]
    """
    share = not_negative("reach_percent", reach_percent) / 100.0
    level = not_negative("nodes", nodes)
    low = not_negative("least_had", least_had) * (1.0 - share)
    high = not_negative("most_had", most_had) * (1.0 + share)
    return as_given(np.where((level >= low) & (level <= high), level, np.nan))


def spur_spacing_cm(cordon_m: ArrayLike, spurs: ArrayLike) -> FloatArray:
    """Give the distance between spurs set evenly along a cordon: its length ÷ their number.

    Parameters
    ----------
    cordon_m : array_like
        Cordon of a vine, all arms together [m], any shape.
    spurs : array_like
        Spurs on it [1].

    Returns
    -------
    ndarray
        Distance between neighbours [cm], broadcast shape; NaN without a spur.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Smart and Atucha, 2019, The Scott Henry training system: 2.5 spurs per foot.

    Examples
    --------
    >>> print(spur_spacing_cm(1.5, 12))
    12.5
    """
    return as_given(100.0 * quotient(not_negative("cordon_m", cordon_m), not_negative("spurs", spurs)))
