"""Shares of nodes, buds or shoots, counted on vines: the vine is what was drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, fraction, not_negative, quotient, sample_size
from vinebook.formulas.intervals import Interval
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.ratios import ratio_of_sums, ratio_variance, residual_variance

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


class ShareInterval(NamedTuple):
    """A share with its limits.

    Parameters
    ----------
    share, low, high : ndarray
        Estimate and limits as fractions [1]; limits NaN where there is no interval.
    design_effect : ndarray
        Variance between vines against that of as many units drawn one by one [1]; NaN for a share of 0 or 1.
    """

    share: FloatArray
    low: FloatArray
    high: FloatArray
    design_effect: FloatArray


def wilson_interval(share: ArrayLike, n: ArrayLike, quantile: ArrayLike) -> Interval:
    """Give the score interval of a share after Wilson.

    Parameters
    ----------
    share : array_like
        Share observed, as a fraction [1], any shape.
    n : array_like
        Units it rests on [1]; fractions allowed, so that a sample can be cut to its effective size, and infinity.
    quantile : array_like
        Quantile z or t [1].

    Returns
    -------
    Interval
        Limits as fractions [1], broadcast shape; NaN where `n` is 0.

    Raises
    ------
    ValueError
        If `share` does not lie between 0 and 1, or `n` or `quantile` is negative.

    References
    ----------
    Wilson, 1927, Journal of the American Statistical Association 22: 209-212.

    Examples
    --------
    >>> low, high = wilson_interval(0.9, 50, 1.959964)
    >>> print(f"{low:.4f} {high:.4f}")
    0.7864 0.9565
    """
    p = fraction("share", share)
    size = np.asarray(n, dtype=np.float64)
    if (size < 0).any():
        raise ValueError("n must not be negative")
    squared = quotient(not_negative("quantile", quantile) ** 2, size)
    centre = (p + squared / 2) / (1 + squared)
    half = np.sqrt(squared * (p * (1 - p) + squared / 4)) / (1 + squared)
    low = np.where(p == 0, np.where(np.isnan(half), np.nan, 0.0), np.clip(centre - half, 0, 1))
    high = np.where(p == 1, np.where(np.isnan(half), np.nan, 1.0), np.clip(centre + half, 0, 1))
    return Interval(as_given(low), as_given(high))


def design_effect(share: ArrayLike, share_variance: ArrayLike, units: ArrayLike) -> FloatArray:
    """Give how many times the variance of a share exceeds that of units drawn one by one: v m / (p (1 - p)).

    Parameters
    ----------
    share : array_like
        Share observed, as a fraction [1], any shape.
    share_variance : array_like
        Variance of the share with vines as units [1], without finite population correction.
    units : array_like
        Nodes, buds or shoots counted in all, m [1].

    Returns
    -------
    ndarray
        Design effect [1], broadcast shape; NaN where the share is 0 or 1.

    Raises
    ------
    ValueError
        If `share` does not lie between 0 and 1, or `share_variance` or `units` is negative or infinite.

    References
    ----------
    Kish, 1965, Survey Sampling, section 8.2 (from memory).

    Examples
    --------
    >>> print(f"{design_effect(0.8, 0.0016, 200):.2f}")
    2.00
    """
    p = fraction("share", share)
    spread = not_negative("share_variance", share_variance) * not_negative("units", units)
    return quotient(spread, p * (1 - p))


def share_interval(
    vines: ArrayLike,
    sum_units: ArrayLike,
    sum_hits: ArrayLike,
    sum_units_sq: ArrayLike,
    sum_hits_sq: ArrayLike,
    sum_units_hits: ArrayLike,
    level_percent: float = 95.0,
    correction: ArrayLike = 1.0,
) -> ShareInterval:
    """Give a share of nodes, buds or shoots with an interval that knows they were counted on vines.

    The share is a ratio of sums, its variance that between vines. Wilson's interval is taken at the units counted,
    divided by the design effect where that exceeds 1, with t on vines - 1. Hits may not exceed units.

    Parameters
    ----------
    vines : array_like
        Vines or panels drawn [1], any shape.
    sum_units, sum_hits : array_like
        Sums over vines of the units counted and of those with the property [1]: nodes, and nodes with a shoot.
    sum_units_sq, sum_hits_sq : array_like
        Sums over vines of their squares [1].
    sum_units_hits : array_like
        Sum over vines of their products [1].
    level_percent : float, default 95.0
        Coverage [%].
    correction : array_like, default 1.0
        Finite population correction 1 - n / N [1].

    Returns
    -------
    ShareInterval
        Share and limits as fractions, design effect [1], broadcast shape; limits NaN for one vine, all NaN without
        units.

    Raises
    ------
    ValueError
        If `vines` is negative or fractional, hits exceed units, the sums cannot belong together, or `correction` is
        not from 0 to 1.

    References
    ----------
    Wilson, 1927, Journal of the American Statistical Association 22: 209-212; effective size after Korn and Graubard,
    1998, Survey Methodology 24: 193-201 (from memory).

    Examples
    --------
    >>> result = share_interval(4, 40, 36, 400, 326, 360)
    >>> print(f"{result.share:.2f} {result.low:.3f} {result.high:.3f} {result.design_effect:.2f}")
    0.90 0.662 0.976 0.74
    """
    n = sample_size("vines", vines)
    units = not_negative("sum_units", sum_units)
    share = ratio_of_sums(_hits_within(sum_hits, units), units)
    residual = residual_variance(vines, sum_units, sum_hits, sum_units_sq, sum_hits_sq, sum_units_hits)
    effect = design_effect(share, ratio_variance(residual, n, quotient(units, n)), units)
    cut = np.where(effect > 1, effect, 1.0) * fraction("correction", correction)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.divide(units, cut)
    limits = wilson_interval(share, effective, t_quantile(n - 1, level_percent))
    return ShareInterval(share, *limits, effect)


def _hits_within(sum_hits: ArrayLike, units: FloatArray) -> FloatArray:
    """Refuse more hits than units."""
    hits = not_negative("sum_hits", sum_hits)
    if (hits > units).any():
        raise ValueError("sum_hits must not exceed sum_units")
    return hits
