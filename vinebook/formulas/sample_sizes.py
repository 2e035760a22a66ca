"""How many vines to count."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, fraction, not_negative, positive, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


def size_for_relative_error(
    cv: ArrayLike, error: ArrayLike, quantile: ArrayLike, population: ArrayLike = np.inf
) -> FloatArray:
    """Give the vines to draw for an interval of plus and minus a share of the mean.

    First n0 = (t CV / E)², then n = n0 / (1 + n0 / N). The CV is taken as known: a sample of this size comes out
    wider about four times in ten.

    Parameters
    ----------
    cv : array_like
        Coefficient of variation between vines [1, fraction], any shape.
    error : array_like
        Half width wanted, as a share of the mean [1, fraction].
    quantile : array_like
        Quantile t or z of the level wanted [1].
    population : array_like, default inf
        Positions of the block, N [1].

    Returns
    -------
    ndarray
        Vines to draw, not rounded [1], broadcast shape.

    Raises
    ------
    ValueError
        If `cv` is negative, or `error`, `quantile` or `population` not above zero.

    References
    ----------
    USDA Forest Service, Handbook 2409.12, worked sheet for n = 1 / (1 / N + (A / (t CV))²).

    Examples
    --------
    >>> print(f"{size_for_relative_error(0.485, 0.10, 2, 1000):.4f}")
    85.9984
    """
    unlimited = (positive("quantile", quantile) * not_negative("cv", cv) / positive("error", error)) ** 2
    return _limited(unlimited, population)


def size_for_absolute_error(
    standard_deviation: ArrayLike, error: ArrayLike, quantile: ArrayLike, population: ArrayLike = np.inf
) -> FloatArray:
    """Give the vines to draw for an interval of plus and minus a fixed amount.

    First n0 = (t s / d)², then n = n0 / (1 + n0 / N).

    Parameters
    ----------
    standard_deviation : array_like
        Standard deviation between vines [unit], any shape.
    error : array_like
        Half width wanted [unit].
    quantile : array_like
        Quantile t or z of the level wanted [1].
    population : array_like, default inf
        Positions of the block, N [1].

    Returns
    -------
    ndarray
        Vines to draw, not rounded [1], broadcast shape.

    Raises
    ------
    ValueError
        If `standard_deviation` is negative, or `error`, `quantile` or `population` not above zero.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 4.6 (from memory); University of Missouri, NR3110.

    Examples
    --------
    >>> print(f"{size_for_absolute_error(85.6**0.5, 1.9, 2):.2f}")
    94.85
    """
    deviation = not_negative("standard_deviation", standard_deviation)
    unlimited = (positive("quantile", quantile) * deviation / positive("error", error)) ** 2
    return _limited(unlimited, population)


def size_for_interval_width(variance: ArrayLike, width: ArrayLike, quantile: ArrayLike) -> FloatArray:
    """Give the vines to draw for an interval of a full width.

    n = 4 s² (z / w)² + z² / 2; the last term makes up for the use of t at the end.

    Parameters
    ----------
    variance : array_like
        Variance between vines [unit²], any shape.
    width : array_like
        Full width wanted, from low to high [unit].
    quantile : array_like
        Normal quantile of the level wanted [1].

    Returns
    -------
    ndarray
        Vines to draw, not rounded [1], broadcast shape.

    Raises
    ------
    ValueError
        If `variance` is negative, or `width` or `quantile` not above zero.

    References
    ----------
    Bonett, size.ci.mean of the R package statpsych, documentation.

    Examples
    --------
    >>> print(f"{size_for_interval_width(6.0, 1.5, 1.959964):.2f}")
    42.90
    """
    z = positive("quantile", quantile)
    spread = not_negative("variance", variance)
    return as_given(4 * spread * (z / positive("width", width)) ** 2 + z**2 / 2)


def size_for_proportion(
    population: ArrayLike, proportion: ArrayLike = 0.5, error: ArrayLike = 0.05, chi_square: ArrayLike = 3.841
) -> FloatArray:
    """Give the vines to look at for a share of vines.

    n = χ² N p q / (d² (N - 1) + χ² p q). It is for a yes or no on each vine, not for a mean.

    Parameters
    ----------
    population : array_like
        Vines of the block, N [1], any shape.
    proportion : array_like, default 0.5
        Share expected [1, fraction]; 0.5 asks for the most vines.
    error : array_like, default 0.05
        Half width wanted [1, fraction].
    chi_square : array_like, default 3.841
        Squared normal quantile [1]; 3.841 is that of 95 %.

    Returns
    -------
    ndarray
        Vines to look at, not rounded [1], broadcast shape.

    Raises
    ------
    ValueError
        If `population`, `error` or `chi_square` is not above zero, or `proportion` not between 0 and 1.

    References
    ----------
    Krejcie and Morgan, 1970, Educational and Psychological Measurement 30: 607-610 (formula from memory).

    Examples
    --------
    >>> print(f"{size_for_proportion(800):.2f}")
    259.72
    """
    size = positive("population", population)
    share = fraction("proportion", proportion)
    spread = positive("chi_square", chi_square) * share * (1 - share)
    return quotient(spread * size, positive("error", error) ** 2 * (size - 1) + spread)


def weighted_cv(shares: ArrayLike, cvs: ArrayLike) -> FloatArray:
    """Give the coefficient of variation over strata, weighted by their share of the area.

    Parameters
    ----------
    shares : array_like
        Area or vines of each stratum [any one unit], strata on the last axis.
    cvs : array_like
        Coefficient of variation within each stratum [1 or %].

    Returns
    -------
    ndarray
        Weighted coefficient of variation [as given], broadcast shape without its last axis.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    USDA Forest Service, Handbook 2409.12, worked sheet.

    Examples
    --------
    >>> print(weighted_cv([30, 10, 20, 40], [40, 65, 80, 35]))
    48.5
    """
    weights = not_negative("shares", shares)
    return quotient(np.sum(weights * not_negative("cvs", cvs), axis=-1), np.sum(weights, axis=-1))


def allocated_sizes(n: ArrayLike, shares: ArrayLike, cvs: ArrayLike) -> FloatArray:
    """Give how the vines to draw are spread over strata: share of the area times CV.

    Parameters
    ----------
    n : array_like
        Vines to draw in all [1], any shape.
    shares : array_like
        Area or vines of each stratum [any one unit], strata on the last axis.
    cvs : array_like
        Coefficient of variation within each stratum [1 or %].

    Returns
    -------
    ndarray
        Vines to draw in each stratum, not rounded [1], shape of `n` with the strata as last axis.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    USDA Forest Service, Handbook 2409.12, worked sheet; the optimum of Neyman, 1934, where the means are alike.

    Examples
    --------
    >>> print([f"{size:.2f}" for size in allocated_sizes(86, [30, 10, 20, 40], [40, 65, 80, 35])])
    ['21.28', '11.53', '28.37', '24.82']
    """
    parts = not_negative("shares", shares) * not_negative("cvs", cvs)
    total = np.asarray(not_negative("n", n))[..., np.newaxis]
    return as_given(total * quotient(parts, np.sum(parts, axis=-1, keepdims=True)))


def _limited(unlimited: FloatArray, population: ArrayLike) -> FloatArray:
    size = np.asarray(population, dtype=np.float64)
    if (size <= 0).any():
        raise ValueError("population must be above zero")
    return as_given(unlimited / (1 + unlimited / size))
