"""Nodes kept at pruning, and what grew from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


def nodes_kept(bearers: ArrayLike, nodes_per_bearer: ArrayLike) -> FloatArray:
    """Give the count nodes kept on a vine from what was left on it.

    Spurs, canes and renewal spurs each have their number and their clear nodes; the basal bud never counts.

    Parameters
    ----------
    bearers : array_like
        Spurs, canes, renewal spurs kept [1], kinds on the last axis.
    nodes_per_bearer : array_like
        Clear nodes on each [1], kinds on the last axis.

    Returns
    -------
    ndarray
        Count nodes [1], broadcast shape without the last axis.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Rosner and Cook, 1983, American Journal of Enology and Viticulture 34: 243; Ulmer and Skinkis, 2020, Catalyst 4:
    10-20.

    Examples
    --------
    >>> print(nodes_kept([1, 1], [10, 2]))
    12.0
    """
    kept = not_negative("bearers", bearers) * not_negative("nodes_per_bearer", nodes_per_bearer)
    return as_given(np.sum(kept, axis=-1))


def count_nodes(count_shoots: ArrayLike, blind_nodes: ArrayLike) -> FloatArray:
    """Give the count nodes from the shoot tally: count shoots plus blind nodes.

    A count shoot is a count node with at least one shoot. Blind nodes are counted, never taken as nodes less shoots.

    Parameters
    ----------
    count_shoots : array_like
        Count nodes with at least one shoot [1], any shape.
    blind_nodes : array_like
        Count nodes without a shoot [1].

    Returns
    -------
    ndarray
        Count nodes [1], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Epee et al., 2022, OENO One 56 (4), article 5530: classes of shoots and nodes.

    Examples
    --------
    >>> print(f"{count_nodes(42.4, 7.6):.1f}")
    50.0
    """
    return as_given(not_negative("count_shoots", count_shoots) + not_negative("blind_nodes", blind_nodes))


def all_shoots(count_shoots: ArrayLike, double_shoots: ArrayLike, noncount_shoots: ArrayLike) -> FloatArray:
    """Give all shoots of a vine: count, double and non-count shoots.

    Parameters
    ----------
    count_shoots : array_like
        Count nodes with at least one shoot [1], any shape.
    double_shoots : array_like
        Shoots beyond the first from a count node [1].
    noncount_shoots : array_like
        Shoots from basal buds and old wood [1].

    Returns
    -------
    ndarray
        Shoots [1], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Epee et al., 2022, OENO One 56 (4), article 5530: classes of shoots and nodes.

    Examples
    --------
    >>> print(f"{all_shoots(42.4, 4.8, 2.8):.1f}")
    50.0
    """
    first = not_negative("count_shoots", count_shoots) + not_negative("double_shoots", double_shoots)
    return as_given(first + not_negative("noncount_shoots", noncount_shoots))


def budbreak_percent(count_shoots: ArrayLike, blind_nodes: ArrayLike) -> FloatArray:
    """Give the share of count nodes with a shoot: count ÷ (count + blind).

    It cannot exceed 100 %. Shoots over nodes can: see `shoots_per_node`.

    Parameters
    ----------
    count_shoots : array_like
        Count nodes with at least one shoot, on the same vines before thinning [1], any shape.
    blind_nodes : array_like
        Count nodes without a shoot [1].

    Returns
    -------
    ndarray
        Budbreak [%], broadcast shape; NaN without nodes.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Epee et al., 2022, OENO One 56 (4), article 5530 (classes; the wording of the ratio from memory).

    Examples
    --------
    >>> print(f"{budbreak_percent(42.4, 7.6):.1f}")
    84.8
    """
    return as_given(100 * quotient(not_negative("count_shoots", count_shoots), count_nodes(count_shoots, blind_nodes)))


def shoots_per_node(
    count_shoots: ArrayLike, double_shoots: ArrayLike, noncount_shoots: ArrayLike, blind_nodes: ArrayLike
) -> FloatArray:
    """Give all shoots ÷ count nodes, before thinning. It may exceed 1 and is never capped.

    Parameters
    ----------
    count_shoots : array_like
        Count nodes with at least one shoot [1], any shape.
    double_shoots : array_like
        Shoots beyond the first from a count node [1].
    noncount_shoots : array_like
        Shoots from basal buds and old wood [1].
    blind_nodes : array_like
        Count nodes without a shoot [1].

    Returns
    -------
    ndarray
        Shoots per count node [1], broadcast shape; NaN without nodes.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Epee et al., 2022, OENO One 56 (4), article 5530: budburst of 100 % with 7.6 blind nodes of 50.

    Examples
    --------
    >>> print(f"{shoots_per_node(42.4, 4.8, 2.8, 7.6):.2f}")
    1.00
    """
    return quotient(all_shoots(count_shoots, double_shoots, noncount_shoots), count_nodes(count_shoots, blind_nodes))


def noncount_shoot_percent(count_shoots: ArrayLike, double_shoots: ArrayLike, noncount_shoots: ArrayLike) -> FloatArray:
    """Give non-count shoots as a share of all shoots.

    Parameters
    ----------
    count_shoots : array_like
        Count nodes with at least one shoot [1], any shape.
    double_shoots : array_like
        Shoots beyond the first from a count node [1].
    noncount_shoots : array_like
        Shoots from basal buds and old wood [1].

    Returns
    -------
    ndarray
        Non-count shoots [% of all shoots], broadcast shape; NaN without shoots.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Kurtural et al., 2013, HortScience 48: 576 (percent count shoots, its complement).

    Examples
    --------
    >>> print(noncount_shoot_percent(12, 0, 8))
    40.0
    """
    shoots = all_shoots(count_shoots, double_shoots, noncount_shoots)
    return as_given(100 * quotient(not_negative("noncount_shoots", noncount_shoots), shoots))


def clusters_per_shoot(clusters: ArrayLike, shoots: ArrayLike) -> FloatArray:
    """Give clusters ÷ shoots, from totals over the same vines.

    Parameters
    ----------
    clusters : array_like
        Clusters counted [1], any shape.
    shoots : array_like
        Shoots counted on the same vines [1].

    Returns
    -------
    ndarray
        Clusters per shoot [1], broadcast shape; NaN without shoots.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Oakville trial of spur, hedge and minimal pruning, 1988-1991, four-year means (item of the Sonoma County Library).

    Examples
    --------
    >>> print(f"{clusters_per_shoot(121, 72):.2f}")
    1.68
    """
    return quotient(not_negative("clusters", clusters), not_negative("shoots", shoots))
