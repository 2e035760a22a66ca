"""Ratios of sums, panels as units, and the ratio of two independent means."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import (
    as_given,
    divided,
    exact_sums,
    fraction,
    not_negative,
    numbers,
    quotient,
    sample_size,
    spread_of_sums,
    whole,
)
from vinebook.formulas._logscale import limits_on_log_scale, log_half_width
from vinebook.formulas.sampling import finite_correction

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


class Mean(NamedTuple):
    """A mean with its standard error.

    Parameters
    ----------
    mean, standard_error : ndarray
        Estimate and its standard error, in the unit of the estimate.
    df : ndarray
        Degrees of freedom [1].
    """

    mean: FloatArray
    standard_error: FloatArray
    df: FloatArray


class RatioInterval(NamedTuple):
    """A ratio with its limits.

    Parameters
    ----------
    ratio, low, high : ndarray
        Estimate and limits, in the unit of the ratio; limits NaN where there is no interval.
    df : ndarray
        Degrees of freedom that the limits rest on [1].
    """

    ratio: FloatArray
    low: FloatArray
    high: FloatArray
    df: FloatArray


def ratio_of_sums(sum_y: ArrayLike, sum_x: ArrayLike) -> FloatArray:
    """Give the ratio of two sums over the same vines, panels or lots.

    It is not the mean of the ratios of the single vines.

    Parameters
    ----------
    sum_y : array_like
        Sum of the numerator [unit of y], any shape.
    sum_x : array_like
        Sum of the denominator [unit of x].

    Returns
    -------
    ndarray
        Ratio [unit of y ÷ unit of x], broadcast shape; NaN where `sum_x` is 0.

    Raises
    ------
    ValueError
        If a sum is infinite.

    References
    ----------
    Scheaffer, Mendenhall and Ott, Elementary Survey Sampling, chapter 6.

    Examples
    --------
    >>> print(f"{ratio_of_sums(142, 6.7):.6f}")
    21.194030
    """
    return quotient(numbers("sum_y", sum_y), numbers("sum_x", sum_x))


def residual_variance(
    n: ArrayLike, sum_x: ArrayLike, sum_y: ArrayLike, sum_xx: ArrayLike, sum_yy: ArrayLike, sum_xy: ArrayLike
) -> FloatArray:
    """Give the variance of y about the line through zero, Σ(y - r x)² / (n - 1) with r = Σy / Σx.

    Sums of whole numbers are worked out exactly and divided once.

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

    Returns
    -------
    ndarray
        Residual variance [unit of y squared], broadcast shape; NaN where `n` is below 2 or `sum_x` is 0.

    Raises
    ------
    ValueError
        If `n` is negative or fractional, a sum is infinite or no number, or the sums cannot belong together.

    References
    ----------
    Scheaffer, Mendenhall and Ott, Elementary Survey Sampling, chapter 6.

    Examples
    --------
    >>> print(f"{residual_variance(12, 6.7, 142, 4.25, 1976, 91.2):.4f}")
    1.7503
    """
    shape, (size, x, y, xx, yy, xy) = exact_sums(
        n=n, sum_x=sum_x, sum_y=sum_y, sum_xx=sum_xx, sum_yy=sum_yy, sum_xy=sum_xy
    )
    whole("n", size)
    spread = spread_of_sums(yy * x * x - 2 * x * y * xy + y * y * xx, yy * x * x + y * y * xx)
    return divided(spread, x * x * (size - 1), shape)


def ratio_variance(
    residual_variance: ArrayLike, n: ArrayLike, mean_x: ArrayLike, correction: ArrayLike = 1.0
) -> FloatArray:
    """Give the variance of a ratio of sums, first order: c s_r² / (n m²).

    It is slightly too small below about 10 units, and leaves out the bias of the ratio, which is of order 1 / n.

    Parameters
    ----------
    residual_variance : array_like
        Variance about the line through zero [unit of y squared], any shape.
    n : array_like
        Vines, panels or lots [1].
    mean_x : array_like
        Mean of x [unit of x], of the sample or, where that is known, of the whole block. The two forms differ.
    correction : array_like, default 1.0
        Finite population correction 1 - n / N [1].

    Returns
    -------
    ndarray
        Variance of the ratio [(unit of y ÷ unit of x)²], broadcast shape; NaN where `n` or `mean_x` is 0.

    Raises
    ------
    ValueError
        If `residual_variance` or `mean_x` is negative, `n` negative or fractional, or `correction` not between 0 and 1.

    References
    ----------
    Scheaffer, Mendenhall and Ott, Elementary Survey Sampling, chapter 6.

    Examples
    --------
    >>> print(f"{75**2 * ratio_variance(1.750298709978, 12, 0.3, 1 - 12 / 250):.4f}")
    8678.5644
    """
    part = fraction("correction", correction) * not_negative("residual_variance", residual_variance)
    return quotient(part, sample_size("n", n) * not_negative("mean_x", mean_x) ** 2)


def ratio_total_variance(residual_variance: ArrayLike, n: ArrayLike, population: ArrayLike) -> FloatArray:
    """Give the variance of a total estimated by a ratio, N form: N² (1 - n / N) s_r² / n.

    It agrees with the form that has the block's mean of x in it, total of x squared times `ratio_variance`.

    Parameters
    ----------
    residual_variance : array_like
        Variance about the line through zero [unit of y squared], any shape.
    n : array_like
        Vines, panels or lots drawn [1].
    population : array_like
        Vines, panels or lots in all, N [1].

    Returns
    -------
    ndarray
        Variance of the total [unit of y squared], broadcast shape; NaN where `n` is 0.

    Raises
    ------
    ValueError
        If `residual_variance` is negative, or `n` negative, fractional or above `population`.

    References
    ----------
    Scheaffer, Mendenhall and Ott, Elementary Survey Sampling, chapter 6.

    Examples
    --------
    >>> print(f"{ratio_total_variance(1.750298709978, 12, 250):.4f}")
    8678.5644
    """
    size = numbers("population", population)
    part = finite_correction(n, size) * not_negative("residual_variance", residual_variance)
    return as_given(size**2 * quotient(part, sample_size("n", n)))


def panel_mean(
    panels: ArrayLike,
    sum_vines: ArrayLike,
    sum_y: ArrayLike,
    sum_vines_sq: ArrayLike,
    sum_y_sq: ArrayLike,
    sum_vines_y: ArrayLike,
    correction: ArrayLike = 1.0,
) -> Mean:
    """Give the mean per vine where panels were drawn: panel totals to panel vine counts.

    The panel is the unit, so the variance is that between panels, however many vines each holds.

    Parameters
    ----------
    panels : array_like
        Panels drawn [1], any shape.
    sum_vines, sum_y : array_like
        Sums over panels of the vines counted on them and of the panel totals [1, unit].
    sum_vines_sq, sum_y_sq : array_like
        Sums over panels of their squares [1, unit²].
    sum_vines_y : array_like
        Sum over panels of vines times panel total [unit].
    correction : array_like, default 1.0
        Finite population correction, 1 - panels drawn ÷ panels of the block [1].

    Returns
    -------
    Mean
        Mean per vine, standard error [unit] and panels less one [1], broadcast shape; NaN where not defined.

    Raises
    ------
    ValueError
        If `panels` is negative or fractional, the sums cannot belong together, or `correction` is not from 0 to 1.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 9A.1, ratio-to-size estimate (from memory).

    Examples
    --------
    >>> mean, standard_error, df = panel_mean(4, 12, 120, 36, 3656, 360)
    >>> print(f"{mean:.2f} {standard_error:.4f} {df:.0f}")
    10.00 0.7201 3
    """
    n = sample_size("panels", panels)
    residual = residual_variance(panels, sum_vines, sum_y, sum_vines_sq, sum_y_sq, sum_vines_y)
    variance = ratio_variance(residual, n, quotient(sum_vines, n), correction)
    return Mean(ratio_of_sums(sum_y, sum_vines), as_given(np.sqrt(variance)), as_given(n - 1))


def log_ratio_interval(
    numerator: ArrayLike,
    numerator_se: ArrayLike,
    numerator_df: ArrayLike,
    denominator: ArrayLike,
    denominator_se: ArrayLike,
    denominator_df: ArrayLike,
    level_percent: float = 95.0,
) -> RatioInterval:
    """Give the ratio of two independent estimates with its interval on the log scale.

    The squared CVs of the two are summed, and their degrees of freedom joined after Satterthwaite. With the standard
    errors of two sample means this is the interval of Bonett and Price. It has no covariance: not for the same vines.

    Parameters
    ----------
    numerator, numerator_se, numerator_df : array_like
        Estimate, standard error and degrees of freedom above the line [unit of y, unit of y, 1], any shapes that
        broadcast. A full count has standard error 0, and its degrees of freedom are not looked at.
    denominator, denominator_se, denominator_df : array_like
        The same below the line [unit of x, unit of x, 1].
    level_percent : float, default 95.0
        Coverage [%].

    Returns
    -------
    RatioInterval
        Ratio and limits [unit of y ÷ unit of x], degrees of freedom [1], broadcast shape. All NaN where the
        denominator is 0; limits NaN where the numerator is 0 or either has no standard error.

    Raises
    ------
    ValueError
        If an estimate or standard error is negative or infinite, or `level_percent` not between 0 and 100.

    References
    ----------
    Bonett and Price, 2020, Journal of Educational and Behavioral Statistics 45: 750-770.

    Examples
    --------
    >>> result = log_ratio_interval(41.5, 2.0398829, 9, 36.3846154, 1.8692377, 12)
    >>> print(f"{result.ratio:.4f} {result.low:.4f} {result.high:.4f} {result.df:.2f}")
    1.1406 0.9837 1.3225 20.79
    """
    top = not_negative("numerator", numerator)
    bottom = not_negative("denominator", denominator)
    squared_cvs = np.broadcast_arrays(
        quotient(not_negative("numerator_se", numerator_se), top) ** 2,
        quotient(not_negative("denominator_se", denominator_se), bottom) ** 2,
    )
    half, df = log_half_width(
        np.stack(squared_cvs, axis=-1),
        np.stack(np.broadcast_arrays(numerator_df, denominator_df, squared_cvs[0])[:2], axis=-1),
        level_percent,
    )
    ratio = quotient(top, bottom)
    return RatioInterval(ratio, *limits_on_log_scale(ratio, half), df)


def full_count_ratio_interval(
    numerator: ArrayLike,
    denominator: ArrayLike,
    denominator_se: ArrayLike,
    denominator_df: ArrayLike,
    level_percent: float = 95.0,
) -> RatioInterval:
    """Give the ratio of a full count to a sampled mean: it takes the interval of its denominator.

    Parameters
    ----------
    numerator : array_like
        What was counted or weighed in full, such as the crop per bearing vine [unit of y], any shape.
    denominator : array_like
        Sampled mean [unit of x].
    denominator_se : array_like
        Its standard error [unit of x].
    denominator_df : array_like
        Its degrees of freedom [1].
    level_percent : float, default 95.0
        Coverage [%].

    Returns
    -------
    RatioInterval
        Ratio and limits [unit of y ÷ unit of x] and degrees of freedom [1], broadcast shape; NaN where not defined.

    Raises
    ------
    ValueError
        If an estimate or standard error is negative or infinite, or `level_percent` not between 0 and 100.

    References
    ----------
    Bonett and Price, 2020, Journal of Educational and Behavioral Statistics 45: 750-770, with one variance zero.

    Examples
    --------
    >>> result = full_count_ratio_interval(4.2, 0.7, 0.035, 29)
    >>> print(f"{result.ratio:.2f} {result.low:.2f} {result.high:.2f}")
    6.00 5.42 6.65
    """
    return log_ratio_interval(numerator, 0.0, np.nan, denominator, denominator_se, denominator_df, level_percent)
