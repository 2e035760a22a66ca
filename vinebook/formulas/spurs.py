"""Spur positions along a cordon."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from vinebook.formulas._inputs import FloatArray


def nodes_per_m_of_cordon(nodes_per_position: ArrayLike, spacing_cm: ArrayLike) -> FloatArray:
    """Give nodes per metre of cordon of spur positions at a regular distance.

    Parameters
    ----------
    nodes_per_position : array_like
        Count nodes at each spur position [1], any shape.
    spacing_cm : array_like
        Distance between spur positions [cm].

    Returns
    -------
    ndarray
        Nodes per metre [1/m], broadcast shape.

    Raises
    ------
    ValueError
        If `nodes_per_position` is negative, `spacing_cm` not above zero, or an input infinite.

    References
    ----------
    Spacings of long-spur pruning in Marlborough, Bragato Research Institute.

    Examples
    --------
    >>> print(nodes_per_m_of_cordon(2, 10))
    20.0
    """
    return as_given(100.0 * not_negative("nodes_per_position", nodes_per_position) / positive("spacing_cm", spacing_cm))


def gaps_between(distance: ArrayLike, arm: ArrayLike) -> NDArray[np.float64]:
    """Give the gap from each place on an arm to the one before it; the first of an arm has none.

    Two bearers at one distance are one position: their gap of 0 is none, so it is NaN as well.

    Parameters
    ----------
    distance : array_like
        Distance from the head [any length], one-dimensional, sorted along each arm.
    arm : array_like
        Which arm each stands on [1], as whole numbers that differ between vines; all of one arm in a row.

    Returns
    -------
    ndarray
        Gaps in the unit of `distance`, same length; NaN at the first place of an arm and where the gap is 0.

    Raises
    ------
    ValueError
        If `distance` is negative, infinite or not sorted along an arm.

    References
    ----------
    A definition, no source.

    Examples
    --------
    >>> print(gaps_between([10, 22, 32, 8, 20], [1, 1, 1, 2, 2]))
    [nan 12. 10. nan 12.]
    """
    places, arms = not_negative("distance", distance), np.asarray(arm, dtype=np.int64)
    gaps = np.full(len(places), np.nan)
    gaps[1:] = np.where(arms[1:] == arms[:-1], np.diff(places), np.nan)
    if (gaps < 0).any():
        raise ValueError("distance must be sorted along each arm")
    return np.where(gaps == 0, np.nan, gaps)
