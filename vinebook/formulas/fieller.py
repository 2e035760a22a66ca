"""Fieller's interval of a ratio of two means."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from vinebook.formulas._inputs import (
    as_given,
    fraction,
    not_negative,
    numbers,
    possible_covariance,
    quotient,
    sample_size,
)
from vinebook.formulas.moments import covariance_of_sums, mean_of_sums, variance_of_sums
from vinebook.formulas.quantiles import t_quantile

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from vinebook.formulas._inputs import FloatArray


class FiellerInterval(NamedTuple):
    """A ratio with Fieller's limits.

    Parameters
    ----------
    ratio, low, high : ndarray
        Estimate and limits, in the unit of the ratio; limits NaN where there is no finite interval.
    g : ndarray
        Squared t times the squared CV of the denominator [1]; NaN where that is not known.
    is_bounded : ndarray of bool
        True where `g` is below 1; False where the denominator is not clearly away from zero, or not known.
    """

    ratio: FloatArray
    low: FloatArray
    high: FloatArray
    g: FloatArray
    is_bounded: NDArray[np.bool_]


def fieller_interval(
    numerator: ArrayLike,
    numerator_variance: ArrayLike,
    denominator: ArrayLike,
    denominator_variance: ArrayLike,
    covariance: ArrayLike,
    quantile: ArrayLike,
) -> FiellerInterval:
    """Give the ratio of two means with the interval of Fieller.

    The limits are the roots q of (y - q x)² = t² (v_y - 2 q c + q² v_x). Where g = t² v_x / x² reaches 1 the set of
    ratios has no two finite ends: no limits are given.

    Parameters
    ----------
    numerator, numerator_variance : array_like
        The mean y and its variance, not that of the single vines [unit of y, unit of y squared], any shapes that
        broadcast.
    denominator, denominator_variance : array_like
        The mean x and its variance, not that of the single vines [unit of x, unit of x squared].
    covariance : array_like
        Covariance of the two means [unit of y × unit of x]; 0 for independent samples.
    quantile : array_like
        Quantile t or z [1].

    Returns
    -------
    FiellerInterval
        Ratio, limits [unit of y ÷ unit of x], g [1] and whether there is a finite interval, broadcast shape.

    Raises
    ------
    ValueError
        If a variance is negative, an input is infinite, or the covariance is larger than the variances allow.

    References
    ----------
    Fieller, 1954, Journal of the Royal Statistical Society B 16: 175-185.

    Examples
    --------
    >>> result = fieller_interval(5, 1, 1, 1, 0, 2)
    >>> print(result.low, result.g, result.is_bounded)
    nan 4.0 False
    """
    y, v_y, x, v_x, c, t = np.broadcast_arrays(
        numbers("numerator", numerator),
        not_negative("numerator_variance", numerator_variance),
        numbers("denominator", denominator),
        not_negative("denominator_variance", denominator_variance),
        numbers("covariance", covariance),
        not_negative("quantile", quantile),
    )
    possible_covariance(c, x, v_x, y, v_y)
    g = quotient(t**2 * v_x, x**2)
    bounded = g < 1
    a = np.where(bounded, x**2 - t**2 * v_x, np.nan)
    b = x * y - t**2 * c
    root = np.sqrt(np.maximum(b**2 - a * (y**2 - t**2 * v_y), 0))
    flag: NDArray[Any] = bounded[()]
    return FiellerInterval(quotient(y, x), quotient(b - root, a), quotient(b + root, a), as_given(g), flag)


def fieller_paired_interval(
    n: ArrayLike,
    sum_x: ArrayLike,
    sum_y: ArrayLike,
    sum_xx: ArrayLike,
    sum_yy: ArrayLike,
    sum_xy: ArrayLike,
    level_percent: float = 95.0,
    correction: ArrayLike = 1.0,
) -> FiellerInterval:
    """Give the ratio of sums on the same vines, y to x, with Fieller's interval.

    Parameters
    ----------
    n : array_like
        Vines, panels or lots [1], any shape.
    sum_x, sum_y : array_like
        Sums of denominator and numerator [unit of x, unit of y].
    sum_xx, sum_yy : array_like
        Sums of their squares [unit of x squared, unit of y squared].
    sum_xy : array_like
        Sum of their products [unit of x × unit of y].
    level_percent : float, default 95.0
        Coverage [%]; t on n - 1.
    correction : array_like, default 1.0
        Finite population correction 1 - n / N [1].

    Returns
    -------
    FiellerInterval
        Ratio, limits [unit of y ÷ unit of x], g [1] and whether there is a finite interval, broadcast shape.

    Raises
    ------
    ValueError
        If `n` is negative or fractional, the sums cannot belong together, or `correction` is not from 0 to 1.

    References
    ----------
    Fieller, 1954, Journal of the Royal Statistical Society B 16: 175-185.

    Examples
    --------
    >>> result = fieller_paired_interval(12, 6.7, 142, 4.25, 1976, 91.2)
    >>> print(f"{result.ratio:.4f} {result.low:.4f} {result.high:.4f}")
    21.1940 19.4939 22.6123
    """
    factor = quotient(fraction("correction", correction), sample_size("n", n))
    return fieller_interval(
        mean_of_sums(n, sum_y),
        factor * variance_of_sums(n, sum_y, sum_yy),
        mean_of_sums(n, sum_x),
        factor * variance_of_sums(n, sum_x, sum_xx),
        factor * covariance_of_sums(n, sum_x, sum_y, sum_xy),
        t_quantile(sample_size("n", n) - 1, level_percent),
    )


def fieller_pooled_interval(
    numerator: ArrayLike,
    numerator_variance: ArrayLike,
    numerator_n: ArrayLike,
    denominator: ArrayLike,
    denominator_variance: ArrayLike,
    denominator_n: ArrayLike,
    level_percent: float = 95.0,
) -> FiellerInterval:
    """Give the ratio of two independent sample means with Fieller's interval and one pooled variance.

    It takes the two samples to vary alike, in the same unit. Where they do not, use `log_ratio_interval`.

    Parameters
    ----------
    numerator, numerator_variance, numerator_n : array_like
        Mean, variance s² between vines and vines of the sample above the line [unit, unit², 1], any shapes that
        broadcast.
    denominator, denominator_variance, denominator_n : array_like
        The same of the sample below the line [unit, unit², 1].
    level_percent : float, default 95.0
        Coverage [%]; t on the vines of both less two.

    Returns
    -------
    FiellerInterval
        Ratio and limits [1], g [1] and whether there is a finite interval, broadcast shape.

    Raises
    ------
    ValueError
        If a variance is negative, a sample size negative or fractional, or an input infinite.

    References
    ----------
    Fieller, 1954, Journal of the Royal Statistical Society B 16: 175-185.

    Examples
    --------
    >>> result = fieller_pooled_interval(41.5, 41.6111111, 10, 36.3846154, 45.4230769, 13)
    >>> print(f"{result.low:.4f} {result.high:.4f}")
    0.9827 1.3239
    """
    n_y, n_x = sample_size("numerator_n", numerator_n), sample_size("denominator_n", denominator_n)
    df = n_y + n_x - 2
    spread = (n_y - 1) * not_negative("numerator_variance", numerator_variance)
    spread = spread + (n_x - 1) * not_negative("denominator_variance", denominator_variance)
    pooled = quotient(spread, np.where(df > 0, df, np.nan))
    return fieller_interval(
        numerator, quotient(pooled, n_y), denominator, quotient(pooled, n_x), 0.0, t_quantile(df, level_percent)
    )
