"""Products of estimates and linear functions of them, with their variances."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, numbers, possible_covariance, quotient
from vinebook.formulas._logscale import limits_on_log_scale, log_half_width

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


class ProductInterval(NamedTuple):
    """A product with its limits.

    Parameters
    ----------
    product, low, high : ndarray
        Estimate and limits, in the unit of the product; limits NaN where there is no interval.
    df : ndarray
        Degrees of freedom that the limits rest on [1].
    """

    product: FloatArray
    low: FloatArray
    high: FloatArray
    df: FloatArray


def product_variance_first_order(
    x: ArrayLike, x_variance: ArrayLike, y: ArrayLike, y_variance: ArrayLike, covariance: ArrayLike = 0.0
) -> FloatArray:
    """Give the variance of a product, first order: y² v(x) + x² v(y) + 2 x y cov.

    It leaves out the product of the two variances.

    Parameters
    ----------
    x, x_variance : array_like
        First estimate and its variance [unit of x, unit of x squared], any shapes that broadcast.
    y, y_variance : array_like
        Second estimate and its variance [unit of y, unit of y squared].
    covariance : array_like, default 0.0
        Covariance of the two estimates [unit of x × unit of y]; leave it out unless it is well known.

    Returns
    -------
    ndarray
        Variance of the product [(unit of x × unit of y)²], broadcast shape.

    Raises
    ------
    ValueError
        If a variance is negative, an input infinite, or the covariance larger than the variances allow.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 2.5.5.2.

    Examples
    --------
    >>> print(f"{product_variance_first_order(30, 4, 0.25, 0.0004):.4f}")
    0.6100
    """
    x_, v_x, y_, v_y = _factors(x, x_variance, y, y_variance)
    c = numbers("covariance", covariance)
    possible_covariance(c, x_, v_x, y_, v_y)
    return as_given(np.maximum(y_**2 * v_x + x_**2 * v_y + 2 * x_ * y_ * c, 0))


def product_variance_known_means(
    x: ArrayLike, x_variance: ArrayLike, y: ArrayLike, y_variance: ArrayLike
) -> FloatArray:
    """Give the exact variance of a product of independent variables whose means are known.

    y² v(x) + x² v(y) + v(x) v(y), with plus. Means estimated from a sample take `product_variance_unbiased`.

    Parameters
    ----------
    x, x_variance : array_like
        First known mean and the variance [unit of x, unit of x squared], any shapes that broadcast.
    y, y_variance : array_like
        Second known mean and the variance [unit of y, unit of y squared].

    Returns
    -------
    ndarray
        Variance of the product [(unit of x × unit of y)²], broadcast shape.

    Raises
    ------
    ValueError
        If a variance is negative or an input infinite.

    References
    ----------
    Goodman, 1960, Journal of the American Statistical Association 55: 708-713.

    Examples
    --------
    >>> print(f"{product_variance_known_means(30, 4, 0.25, 0.0004):.4f}")
    0.6116
    """
    x_, v_x, y_, v_y = _factors(x, x_variance, y, y_variance)
    return as_given(y_**2 * v_x + x_**2 * v_y + v_x * v_y)


def product_variance_unbiased(x: ArrayLike, x_variance: ArrayLike, y: ArrayLike, y_variance: ArrayLike) -> FloatArray:
    """Give the unbiased estimate of the variance of a product of independent estimates.

    y² v(x) + x² v(y) - v(x) v(y), with minus. It can come out negative for two estimates that are mostly noise, and is
    NaN there.

    Parameters
    ----------
    x, x_variance : array_like
        First estimate and its estimated variance [unit of x, unit of x squared], any shapes that broadcast.
    y, y_variance : array_like
        Second estimate and its estimated variance [unit of y, unit of y squared].

    Returns
    -------
    ndarray
        Variance of the product [(unit of x × unit of y)²], broadcast shape; NaN where the formula gives a negative one.

    Raises
    ------
    ValueError
        If a variance is negative or an input infinite.

    References
    ----------
    Goodman, 1960, Journal of the American Statistical Association 55: 708-713.

    Examples
    --------
    >>> print(f"{product_variance_unbiased(30, 4, 0.25, 0.0004):.4f}")
    0.6084
    """
    x_, v_x, y_, v_y = _factors(x, x_variance, y, y_variance)
    variance = y_**2 * v_x + x_**2 * v_y - v_x * v_y
    return as_given(np.where(variance < 0, np.nan, variance))


def log_product_interval(
    estimates: ArrayLike,
    standard_errors: ArrayLike,
    dfs: ArrayLike,
    level_percent: float = 95.0,
    powers: ArrayLike = 1.0,
) -> ProductInterval:
    """Give the product of independent estimates with its interval on the log scale.

    The squared CVs of the factors are summed, each times its power squared, and the degrees of freedom joined after
    Satterthwaite: first order on the log scale, no covariance.

    Parameters
    ----------
    estimates : array_like
        The factors [each its unit], factors on the last axis.
    standard_errors : array_like
        Their standard errors [same units]; 0 for a factor that is known.
    dfs : array_like
        Their degrees of freedom [1]; not looked at where the standard error is 0.
    level_percent : float, default 95.0
        Coverage [%].
    powers : array_like, default 1.0
        Power of each factor [1]; -1 divides by it.

    Returns
    -------
    ProductInterval
        Product, limits and degrees of freedom, shape without the last axis; limits NaN where the product is 0 or a
        factor has no standard error.

    Raises
    ------
    ValueError
        If an estimate or standard error is negative or infinite, or `level_percent` not between 0 and 100.

    References
    ----------
    Bonett and Price, 2020, Journal of Educational and Behavioral Statistics 45: 750-770, for two factors and powers
    1 and -1; more factors by the same first order.

    Examples
    --------
    >>> result = log_product_interval([1000, 30, 0.125], [0, 2, 0.01], [0, 29, 9])
    >>> print(f"{result.product:.0f} {result.low:.0f} {result.high:.0f} {result.df:.1f}")
    3750 3022 4653 22.5
    """
    factors, errors, powers_, freedom = np.broadcast_arrays(
        not_negative("estimates", estimates),
        not_negative("standard_errors", standard_errors),
        numbers("powers", powers),
        np.asarray(dfs, dtype=np.float64),
    )
    cvs = np.where(errors == 0, 0.0, quotient(errors, factors))
    undefined = (factors == 0) & (powers_ < 0)
    base = np.where(undefined, np.nan, factors)
    product = as_given(np.prod(base**powers_, axis=-1))
    half, df = log_half_width((powers_ * cvs) ** 2, freedom, level_percent)
    return ProductInterval(product, *limits_on_log_scale(product, half), df)


def linear_function(coefficients: ArrayLike, values: ArrayLike) -> FloatArray:
    """Give a linear function of estimates: the sum of coefficient times value.

    Parameters
    ----------
    coefficients : array_like
        Coefficients [each its unit], terms on the last axis.
    values : array_like
        Estimates [each its unit], terms on the last axis.

    Returns
    -------
    ndarray
        Sum [unit], broadcast shape without the last axis.

    Raises
    ------
    ValueError
        If an input is infinite.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317; example 7.6 of Spellman,
    Mathematics and Statistics for the Environment.

    Examples
    --------
    >>> print(linear_function([10, -4], [122, 225]))
    320.0
    """
    return as_given(np.sum(numbers("coefficients", coefficients) * numbers("values", values), axis=-1))


def linear_function_variance(coefficients: ArrayLike, covariances: ArrayLike) -> FloatArray:
    """Give the variance of a linear function of estimates, covariances included.

    Parameters
    ----------
    coefficients : array_like
        Coefficients [each its unit], shape (..., k).
    covariances : array_like
        Covariance matrix of the estimates, variances on its diagonal [units of the terms], shape (..., k, k).

    Returns
    -------
    ndarray
        Variance [unit²], shape (...).

    Raises
    ------
    ValueError
        If an input is infinite, the matrix not symmetric, or the variance comes out negative.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317; example 7.6 of Spellman,
    Mathematics and Statistics for the Environment.

    Examples
    --------
    >>> print(f"{linear_function_variance([10, -4], [[152.1, 106.475], [106.475, 207.025]]):.1f}")
    10004.4
    """
    matrix = numbers("covariances", covariances)
    if not np.allclose(matrix, np.swapaxes(matrix, -1, -2), equal_nan=True):
        raise ValueError("covariances must be symmetric")
    terms = numbers("coefficients", coefficients)
    variance = np.einsum("...i,...ij,...j->...", terms, matrix, terms)
    if (variance < -1e-9 * np.abs(np.einsum("...i,...ii->...", terms**2, matrix))).any():
        raise ValueError("covariances give a negative variance")
    return as_given(np.where(variance < 0, 0.0, variance))


def _factors(x: ArrayLike, x_variance: ArrayLike, y: ArrayLike, y_variance: ArrayLike) -> tuple[FloatArray, ...]:
    return (
        numbers("x", x),
        not_negative("x_variance", x_variance),
        numbers("y", y),
        not_negative("y_variance", y_variance),
    )
