"""Limits of a weighted sum from the limits of its parts, so that each part keeps the scale of its own interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, numbers
from vinebook.formulas.intervals import Interval

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def weighted_sum_interval(estimates: ArrayLike, low: ArrayLike, high: ArrayLike, weights: ArrayLike) -> Interval:
    """Give the limits of a weighted sum of independent estimates from the limits of each.

    Each side's distances from the estimate are squared and added, times the squared weights; a negative weight takes
    the other side (the method of variance estimates recovery). Limits of the parts that differ on the two sides stay
    so, and a sum with weights of one sign stays inside the sums of the limits.

    Parameters
    ----------
    estimates : array_like
        Estimates [unit]; parts along the last axis.
    low, high : array_like
        Their limits at one level of coverage [unit]; equal to the estimate where it is a full count.
    weights : array_like
        Weight of each part [1].

    Returns
    -------
    Interval
        Limits of the sum [unit × unit of the weights], shape without the last axis; NaN where a part has no limits.

    Raises
    ------
    ValueError
        If an input is infinite, or limits do not lie on both sides of their estimate.

    References
    ----------
    Zou and Donner, 2008, Statistics in Medicine 27: 1693-1702 (from memory); for a difference of two shares it is
    method 10 of Newcombe, 1998, Statistics in Medicine 17: 873-890.

    Examples
    --------
    >>> limits = weighted_sum_interval([2.0, 4.0], [1.7, 3.6], [2.4, 4.5], [0.5, 0.5])
    >>> print(f"{limits.low:.2f} {limits.high:.2f}")
    2.75 3.32
    """
    estimate, below, above, weight = np.broadcast_arrays(
        numbers("estimates", estimates), numbers("low", low), numbers("high", high), numbers("weights", weights)
    )
    if ((below > estimate) | (above < estimate)).any():
        raise ValueError("limits must lie on both sides of their estimate")
    to_low, to_high = weight * (estimate - below), weight * (above - estimate)
    down = np.where(weight < 0, to_high, to_low)
    up = np.where(weight < 0, to_low, to_high)
    total = (weight * estimate).sum(axis=-1)
    return Interval(as_given(total - np.sqrt((down**2).sum(axis=-1))), as_given(total + np.sqrt((up**2).sum(axis=-1))))
