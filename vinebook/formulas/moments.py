"""Mean, variance and covariance from sums, exact where the sums are whole numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.formulas._inputs import divided, exact_sums, spread_of_sums, whole

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


def mean_of_sums(n: ArrayLike, total: ArrayLike) -> FloatArray:
    """Give the mean of a sample from its size and sum.

    Parameters
    ----------
    n : array_like
        Vines, panels or lots in the sample [1], any shape.
    total : array_like
        Sum of what was measured on them [unit], shape that broadcasts with `n`.

    Returns
    -------
    ndarray
        Mean [unit], broadcast shape; NaN where `n` is 0.

    Raises
    ------
    ValueError
        If `n` is negative or fractional, or a sum is infinite or no number.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317.

    Examples
    --------
    >>> print(mean_of_sums(20, 214))
    10.7
    """
    shape, (size, sum_) = exact_sums(n=n, total=total)
    return divided(sum_, whole("n", size), shape)


def variance_of_sums(n: ArrayLike, total: ArrayLike, total_of_squares: ArrayLike) -> FloatArray:
    """Give the variance of a sample from its size, sum and sum of squares.

    The divisor is n - 1. Sums of whole numbers (masses in milligrams, counts) are worked out with Python integers
    and divided once, so that the result is the exact one, rounded. Sums with fractions lose the digits that mean and
    spread have between them: keep masses as whole milligrams.

    Parameters
    ----------
    n : array_like
        Vines, panels or lots in the sample [1], any shape.
    total : array_like
        Sum of what was measured on them [unit], shape that broadcasts with `n`.
    total_of_squares : array_like
        Sum of its squares [unit²], shape that broadcasts with `n`.

    Returns
    -------
    ndarray
        Variance s² [unit²], broadcast shape; NaN where `n` is below 2.

    Raises
    ------
    ValueError
        If `n` is negative or fractional, a sum is infinite or no number, or the sums cannot belong together.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317.

    Examples
    --------
    >>> print(f"{variance_of_sums(20, 214, 2546):.9f}")
    13.484210526
    """
    shape, (size, sum_, squares) = exact_sums(n=n, total=total, total_of_squares=total_of_squares)
    whole("n", size)
    spread = spread_of_sums(size * squares - sum_ * sum_, size * squares)
    return divided(spread, size * (size - 1), shape)


def covariance_of_sums(n: ArrayLike, sum_x: ArrayLike, sum_y: ArrayLike, sum_xy: ArrayLike) -> FloatArray:
    """Give the covariance of two measurements on the same vines from sums.

    Parameters
    ----------
    n : array_like
        Vines, panels or lots in the sample [1], any shape.
    sum_x, sum_y : array_like
        Sums of the two measurements [unit of x, unit of y], shapes that broadcast with `n`.
    sum_xy : array_like
        Sum of their products [unit of x × unit of y], shape that broadcasts with `n`.

    Returns
    -------
    ndarray
        Covariance with divisor n - 1 [unit of x × unit of y], broadcast shape; NaN where `n` is below 2.

    Raises
    ------
    ValueError
        If `n` is negative or fractional, or a sum is infinite or no number.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 2.11 (from memory).

    Examples
    --------
    >>> print(covariance_of_sums(3, 6, 12, 28))
    2.0
    """
    shape, (size, first, second, products) = exact_sums(n=n, sum_x=sum_x, sum_y=sum_y, sum_xy=sum_xy)
    return divided(size * products - first * second, whole("n", size) * (size - 1), shape)
