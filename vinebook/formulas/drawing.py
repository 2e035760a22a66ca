"""Choosing vines: seeded draws at random, shares of parts, steps that keep clear of panels and rows, walking order.

Chance comes as whole numbers straight from numpy's PCG64, whose stream is kept the same from version to version, so a
recorded seed draws the same vines again.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import not_negative

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Ints = NDArray[np.int64]


def drawn_at_random(population: int, drawn: int, seed: int, stream: int = 0) -> Ints:
    """Draw without replacement, each set of the same size alike likely.

    Every position gets a random whole number, and those with the least ones are drawn. A larger draw by the same seed
    holds the smaller one.

    Parameters
    ----------
    population : int
        Positions or panels to draw from [1].
    drawn : int
        How many to draw [1].
    seed : int
        Seed of the draw [1], 0 or more.
    stream : int, default 0
        Number of the part [1]: parts drawn by one seed do not share their chance.

    Returns
    -------
    ndarray of int64
        Positions drawn, from 1, ascending [1], shape (drawn,).

    Raises
    ------
    ValueError
        If `drawn` is negative or exceeds `population`, or `seed` or `stream` is negative.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 2.1 (from memory); O'Neill, 2014, PCG (HMC-CS-2014-0905).

    Examples
    --------
    >>> print(drawn_at_random(100, 5, seed=7))
    [ 7 33 38 97 99]
    """
    if not 0 <= drawn <= population:
        raise ValueError("drawn must be from 0 to the population")
    return np.sort(np.argsort(_chance(population, seed, stream), kind="stable")[:drawn]).astype(np.int64) + 1


def random_start(step: int, seed: int) -> int:
    """Give the random start of a systematic draw.

    Parameters
    ----------
    step : int
        Positions from one drawn to the next, k [1].
    seed : int
        Seed of the draw [1], 0 or more.

    Returns
    -------
    int
        First position drawn, from 1 to `step` [1].

    Raises
    ------
    ValueError
        If `step` is below 1 or `seed` negative.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 8.1 (from memory).

    Examples
    --------
    >>> random_start(23, seed=7)
    7
    """
    if step < 1:
        raise ValueError("step must be at least 1")
    return int(drawn_at_random(step, 1, seed)[0])


def places_met(step: int, period: int) -> int:
    """Give how many of the places of a panel or row a systematic draw ever falls on.

    Parameters
    ----------
    step : int
        Positions from one drawn to the next, k [1].
    period : int
        Vines per panel or per row [1].

    Returns
    -------
    int
        Places met of `period` [1]: all where the two have no common factor, one where `step` is a multiple.

    Raises
    ------
    ValueError
        If `step` or `period` is below 1.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 8.7, populations with periodic variation (from memory).

    Examples
    --------
    >>> places_met(10, 5), places_met(6, 4), places_met(7, 5)
    (1, 2, 5)
    """
    if step < 1 or period < 1:
        raise ValueError("step and period must be at least 1")
    return period // math.gcd(step, period)


def shared_out(drawn: int, weights: ArrayLike, least: int = 2) -> Ints:
    """Share the vines to draw among parts by weight, each part at least a few.

    Shares are cut to whole vines and those left go to the largest remainders, so that they add up. What a part needs
    for its least is taken off the largest shares.

    Parameters
    ----------
    drawn : int
        Vines or panels to draw in all [1].
    weights : array_like
        Bearing vines, positions or area of each part [any one unit], shape (parts,).
    least : int, default 2
        Least of each part [1]; two, as one vine has no variance.

    Returns
    -------
    ndarray of int64
        Vines or panels of each part [1], shape (parts,).

    Raises
    ------
    ValueError
        If a weight is negative, all are zero, or `drawn` is below `least` times the parts.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 5.5, proportional allocation (from memory).

    Examples
    --------
    >>> print(shared_out(20, [600, 500, 20]))
    [9 9 2]
    """
    sizes = not_negative("weights", weights)
    if drawn < least * len(sizes):
        raise ValueError("drawn is below the least of all parts together")
    if not sizes.sum() > 0:
        raise ValueError("weights must not all be zero")
    exact = drawn * sizes / sizes.sum()
    shares: Ints = np.floor(exact).astype(np.int64)
    rest = np.argsort(-(exact - shares), kind="stable")[: drawn - int(shares.sum())]
    shares[rest] += 1
    while (short := shares < least).any():
        shares[np.argmax(shares)] -= 1
        shares[np.argmax(short)] += 1
    return shares


def walking_order(row: ArrayLike, vine: ArrayLike, is_other_end: Sequence[bool] | ArrayLike = False) -> Ints:
    """Give the order in which drawn vines are walked: up one row and down the next that holds one.

    Parameters
    ----------
    row : array_like
        Number of the row of each vine [1], shape (vines,).
    vine : array_like
        Position of each vine from the numbered end of its row [1], shape (vines,).
    is_other_end : array_like of bool, default False
        Whether the row of the vine is numbered from the other end than the first row [1].

    Returns
    -------
    ndarray of int64
        Indices of the vines in walking order [1], shape (vines,).

    Raises
    ------
    ValueError
        If `row` and `vine` differ in shape.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> print(walking_order([4, 2, 2, 4], [3, 9, 30, 51]))
    [1 2 3 0]
    """
    rows, vines = np.asarray(row, dtype=np.int64), np.asarray(vine, dtype=np.int64)
    if rows.shape != vines.shape:
        raise ValueError("row and vine must have the same shape")
    _, at = np.unique(rows, return_inverse=True)
    is_down = (at % 2 == 1) ^ np.asarray(is_other_end, dtype=np.bool_)
    order: Ints = np.lexsort((np.where(is_down, -vines, vines), rows))
    return order


def _chance(size: int, seed: int, stream: int) -> NDArray[np.uint64]:
    if seed < 0 or stream < 0:
        raise ValueError("seed and stream must not be negative")
    return np.asarray(np.random.PCG64([seed, stream]).random_raw(size), dtype=np.uint64)
