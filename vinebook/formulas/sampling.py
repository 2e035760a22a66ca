"""Finite populations, strata, systematic draws and the coefficient of variation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, fraction, not_negative, numbers, population_size, quotient, sample_size

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from vinebook.formulas._inputs import FloatArray


def finite_correction(drawn: ArrayLike, population: ArrayLike) -> FloatArray:
    """Give the finite population correction that goes with s², the variance with divisor n - 1.

    It is 1 - n / N and multiplies the variance of a mean, not its standard error. The other convention is
    `finite_correction_of_population_variance`; the two are not mixed.

    Parameters
    ----------
    drawn : array_like
        Vines or panels drawn, n [1], any shape.
    population : array_like
        Positions or panels of the block, N [1]; infinity gives 1.

    Returns
    -------
    ndarray
        Factor on the variance [1], broadcast shape.

    Raises
    ------
    ValueError
        If `drawn` is negative, fractional or exceeds `population`, or `population` is not above zero.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 2.6 (from memory); used with s² by Freese, 1967, USDA
    Agriculture Handbook 317.

    Examples
    --------
    >>> print(finite_correction(20, 100))
    0.8
    """
    n = sample_size("drawn", drawn)
    return as_given(1 - n / population_size(n, population))


def finite_correction_of_population_variance(drawn: ArrayLike, population: ArrayLike) -> FloatArray:
    """Give the finite population correction that goes with σ², the variance with divisor N.

    It is (N - n) / (N - 1) and multiplies the variance of a mean. With s² it is off by N / (N - 1).

    Parameters
    ----------
    drawn : array_like
        Vines or panels drawn, n [1], any shape.
    population : array_like
        Positions or panels of the block, N [1]; infinity gives 1.

    Returns
    -------
    ndarray
        Factor on the variance [1], broadcast shape; NaN where the population is one.

    Raises
    ------
    ValueError
        If `drawn` is negative, fractional or exceeds `population`, or `population` is not above zero.

    References
    ----------
    AWF-Wiki, University of Goettingen, Stratified sampling examples.

    Examples
    --------
    >>> print(f"{finite_correction_of_population_variance(4, 14):.9f}")
    0.769230769
    """
    n = sample_size("drawn", drawn)
    size = population_size(n, population)
    endless = np.isinf(size)
    counted = np.where(endless, n + 2, size)
    return as_given(np.where(endless, 1.0, quotient(counted - n, counted - 1)))


def standard_error_of_mean(variance: ArrayLike, n: ArrayLike, correction: ArrayLike = 1.0) -> FloatArray:
    """Give the standard error of a sample mean.

    Parameters
    ----------
    variance : array_like
        Variance between vines or panels [unit²], any shape.
    n : array_like
        Vines or panels in the sample [1].
    correction : array_like, default 1.0
        Finite population correction [1], of the convention that `variance` has.

    Returns
    -------
    ndarray
        Standard error [unit], broadcast shape; NaN where `n` is 0.

    Raises
    ------
    ValueError
        If `variance` is negative, `n` negative or fractional, or `correction` not between 0 and 1.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317.

    Examples
    --------
    >>> print(f"{standard_error_of_mean(13.484210526315788, 20, finite_correction(20, 100)):.9f}")
    0.734417062
    """
    factor = fraction("correction", correction)
    return as_given(np.sqrt(factor * quotient(not_negative("variance", variance), sample_size("n", n))))


def stratified_mean(weights: ArrayLike, means: ArrayLike) -> FloatArray:
    """Give the mean over strata, weighted.

    Parameters
    ----------
    weights : array_like
        Bearing vines, positions or area of each stratum [any one unit], strata on the last axis.
    means : array_like
        Mean of each stratum [unit], shape that broadcasts with `weights`.

    Returns
    -------
    ndarray
        Weighted mean [unit], broadcast shape without its last axis; NaN where the weights sum to 0.

    Raises
    ------
    ValueError
        If a weight is negative or an input infinite.

    References
    ----------
    AWF-Wiki, University of Goettingen, Stratified sampling examples.

    Examples
    --------
    >>> print(f"{stratified_mean([14, 8, 8], [88 / 14, 81 / 8, 43 / 8]):.4f}")
    7.0667
    """
    shares = _shares_of(weights)
    return as_given(np.sum(shares * numbers("means", means), axis=-1))


def stratified_variance(weights: ArrayLike, variances_of_means: ArrayLike) -> FloatArray:
    """Give the variance of a weighted mean over strata.

    Parameters
    ----------
    weights : array_like
        Bearing vines, positions or area of each stratum [any one unit], strata on the last axis; taken as known.
    variances_of_means : array_like
        Variance of each stratum's mean, finite population correction included [unit²].

    Returns
    -------
    ndarray
        Variance of the weighted mean [unit²], broadcast shape without its last axis; NaN where one stratum has none.

    Raises
    ------
    ValueError
        If a weight or variance is negative or infinite.

    References
    ----------
    AWF-Wiki, University of Goettingen, Stratified sampling examples.

    Examples
    --------
    >>> print(f"{stratified_variance([14, 8, 8], [0.67111461, 1.15699405, 0.59151786]):.6f}")
    0.270492
    """
    shares = _shares_of(weights)
    return as_given(np.sum(shares**2 * not_negative("variances_of_means", variances_of_means), axis=-1))


def stratified_df(weights: ArrayLike, variances_of_means: ArrayLike, n: ArrayLike) -> FloatArray:
    """Give the degrees of freedom of a stratified mean after Satterthwaite.

    Parameters
    ----------
    weights : array_like
        Bearing vines, positions or area of each stratum [any one unit], strata on the last axis.
    variances_of_means : array_like
        Variance of each stratum's mean [unit²].
    n : array_like
        Vines or panels drawn in each stratum [1].

    Returns
    -------
    ndarray
        Degrees of freedom [1], broadcast shape without its last axis; NaN where a stratum has fewer than two vines or
        no stratum varies.

    Raises
    ------
    ValueError
        If a weight or variance is negative or infinite, or `n` negative or fractional.

    References
    ----------
    Satterthwaite, 1946, Biometrics Bulletin 2: 110-114; Cochran, 1977, Sampling Techniques, 3rd ed., equation 5.16
    (from memory).

    Examples
    --------
    >>> print(f"{stratified_df([1, 1], [2.0, 2.0], [11, 11]):.1f}")
    20.0
    """
    parts = _shares_of(weights) ** 2 * not_negative("variances_of_means", variances_of_means)
    df = sample_size("n", n) - 1
    df = np.where(df > 0, df, np.nan)
    return quotient(np.sum(parts, axis=-1) ** 2, np.sum(parts**2 / df, axis=-1))


def coefficient_of_variation(mean: ArrayLike, variance: ArrayLike) -> FloatArray:
    """Give the standard deviation as a fraction of the mean.

    Parameters
    ----------
    mean : array_like
        Mean [unit], any shape.
    variance : array_like
        Variance s² [unit²].

    Returns
    -------
    ndarray
        Coefficient of variation as a fraction [1], broadcast shape; NaN where the mean is 0.

    Raises
    ------
    ValueError
        If `mean` or `variance` is negative or infinite.

    References
    ----------
    Strickland, 1932, A vine uniformity trial, Journal of Agriculture, Victoria 30: 584-593.

    Examples
    --------
    >>> print(f"{coefficient_of_variation(5.944, 6.682322580645161):.6f}")
    0.434896
    """
    return quotient(np.sqrt(not_negative("variance", variance)), not_negative("mean", mean))


def systematic_positions(positions: int, step: int, start: int) -> NDArray[np.int64]:
    """Give every k-th position from a start.

    Parameters
    ----------
    positions : int
        Positions to draw from, numbered from 1 [1].
    step : int
        Positions from one drawn to the next, k [1].
    start : int
        First position drawn, from 1 to `step` [1]; a random one makes the sample a random one.

    Returns
    -------
    ndarray of int64
        Positions drawn [1], shape (drawn,).

    Raises
    ------
    ValueError
        If `positions` is negative, `step` below 1, or `start` not from 1 to `step`.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 8.1 (from memory).

    Examples
    --------
    >>> print(systematic_positions(23, 5, 3))
    [ 3  8 13 18 23]
    """
    if positions < 0:
        raise ValueError("positions must not be negative")
    if step < 1:
        raise ValueError("step must be at least 1")
    if not 1 <= start <= step:
        raise ValueError("start must be from 1 to step")
    return np.arange(start, positions + 1, step, dtype=np.int64)


def is_step_aligned(step: int, period: int) -> bool:
    """Say whether a systematic step falls on the same place of every panel or row.

    Parameters
    ----------
    step : int
        Positions from one drawn to the next [1].
    period : int
        Vines per panel or per row [1].

    Returns
    -------
    bool
        True where `step` is a multiple of `period`: such a draw is refused.

    Raises
    ------
    ValueError
        If `step` or `period` is below 1.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 8.7, populations with periodic variation (from memory).

    Examples
    --------
    >>> is_step_aligned(10, 5), is_step_aligned(7, 5)
    (True, False)
    """
    if step < 1 or period < 1:
        raise ValueError("step and period must be at least 1")
    return step % period == 0


def _shares_of(weights: ArrayLike) -> FloatArray:
    known = not_negative("weights", weights)
    return quotient(known, np.sum(known, axis=-1, keepdims=True))
