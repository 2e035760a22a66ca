"""Intervals of a mean and of a coefficient of variation."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, numbers, quotient, sample_size
from vinebook.formulas.quantiles import normal_quantile, t_quantile

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


class Interval(NamedTuple):
    """Two limits of an interval.

    Parameters
    ----------
    low, high : ndarray
        Limits in the unit of the estimate; NaN where there is no interval.
    """

    low: FloatArray
    high: FloatArray


def t_interval(mean: ArrayLike, standard_error: ArrayLike, df: ArrayLike, level_percent: float = 95.0) -> Interval:
    """Give the plain t interval: mean plus and minus t times the standard error.

    Its lower limit may be negative. Figures that cannot be negative take `log_t_interval`.

    Parameters
    ----------
    mean : array_like
        Estimate [unit], any shape.
    standard_error : array_like
        Its standard error, finite population correction included where it applies [unit].
    df : array_like
        Degrees of freedom [1]: vines or panels less one.
    level_percent : float, default 95.0
        Coverage [%].

    Returns
    -------
    Interval
        Limits [unit], broadcast shape; NaN where `df` is not above zero.

    Raises
    ------
    ValueError
        If `standard_error` is negative, an input is infinite, or `level_percent` does not lie between 0 and 100.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317.

    Examples
    --------
    >>> low, high = t_interval(10.7, 0.7344170620653, 19)
    >>> print(f"{low:.4f} {high:.4f}")
    9.1628 12.2372
    """
    centre = numbers("mean", mean)
    half = t_quantile(df, level_percent) * not_negative("standard_error", standard_error)
    return Interval(as_given(centre - half), as_given(centre + half))


def log_t_interval(mean: ArrayLike, standard_error: ArrayLike, df: ArrayLike, level_percent: float = 95.0) -> Interval:
    """Give the t interval on the log scale, for figures that cannot be negative.

    The limits are m exp(-t e / m) and m exp(+t e / m), e the standard error of the mean m: first order on the log
    scale. It leaves out the correction for skew of a lognormal mean.

    Parameters
    ----------
    mean : array_like
        Estimate [unit], any shape.
    standard_error : array_like
        Its standard error, finite population correction included where it applies [unit].
    df : array_like
        Degrees of freedom [1]: vines or panels less one.
    level_percent : float, default 95.0
        Coverage [%].

    Returns
    -------
    Interval
        Limits [unit], broadcast shape; NaN where `df` is not above zero or the mean is 0.

    Raises
    ------
    ValueError
        If `mean` or `standard_error` is negative or infinite, or `level_percent` does not lie between 0 and 100.

    References
    ----------
    Bonett and Price, 2020, Journal of Educational and Behavioral Statistics 45: 750-770; here with one mean.

    Examples
    --------
    >>> low, high = log_t_interval(10.7, 0.8211032373068, 19)
    >>> print(f"{low:.4f} {high:.4f}")
    9.1123 12.5643
    """
    centre = not_negative("mean", mean)
    share = t_quantile(df, level_percent) * quotient(not_negative("standard_error", standard_error), centre)
    with np.errstate(over="ignore"):
        high = centre * np.exp(share)
    return Interval(as_given(centre * np.exp(-share)), as_given(np.where(np.isinf(high), np.nan, high)))


def cv_interval(cv: ArrayLike, n: ArrayLike, level_percent: float = 95.0) -> Interval:
    """Give the interval of a coefficient of variation.

    It is the reciprocal of the interval of the standardised mean, d = 1 / CV with variance d² / (2 (n - 1)) +
    1 / (n - 1), and takes the measurements to be near normal.

    Parameters
    ----------
    cv : array_like
        Coefficient of variation as a fraction [1], any shape.
    n : array_like
        Vines or panels it rests on [1].
    level_percent : float, default 95.0
        Coverage [%].

    Returns
    -------
    Interval
        Limits as fractions [1], broadcast shape; NaN where `n` is below 2 or `cv` is 0, and the upper one NaN where
        the sample does not bound it.

    Raises
    ------
    ValueError
        If `cv` is negative or infinite, `n` negative or fractional, or `level_percent` not between 0 and 100.

    References
    ----------
    Bonett, 2008, Psychological Methods 13: 99-109 (standardised mean), as documented for ci.cv of the R package
    statpsych.

    Examples
    --------
    >>> low, high = cv_interval(3.65 / 24.5, 40)
    >>> print(f"{low:.7f} {high:.7f}")
    0.1214381 0.1926778
    """
    df = sample_size("n", n) - 1
    df = np.where(df > 0, df, np.nan)
    standardised = quotient(1.0, not_negative("cv", cv))
    half = normal_quantile(level_percent) * np.sqrt(standardised**2 / (2 * df) + 1 / df)
    lowest = standardised - half
    bounded = np.where(lowest > 0, lowest, np.nan)
    return Interval(quotient(1.0, standardised + half), quotient(1.0, bounded))
