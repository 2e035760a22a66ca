"""What a number of vines or panels buys, how many a precision asks for, and the spread both rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import (
    as_given,
    fraction,
    not_negative,
    population_size,
    positive,
    quotient,
    sample_size,
)
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.sample_sizes import size_for_relative_error

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


def expected_half_width(
    cv: ArrayLike, drawn: ArrayLike, population: ArrayLike = np.inf, level_percent: float = 95.0, parts: int = 1
) -> FloatArray:
    """Give the half width that the interval of a mean may be expected to have, as a share of the mean.

    t CV √(1 - n / N) / √n, with t on n less the parts. Where parts of a block share the vines by their size the CV is
    that within parts. The CV is taken as known: about four samples in ten come out wider.

    Parameters
    ----------
    cv : array_like
        Coefficient of variation between vines or panels [1, fraction], any shape.
    drawn : array_like
        Vines or panels drawn, n [1].
    population : array_like, default inf
        Positions or panels of the block, N [1].
    level_percent : float, default 95.0
        Coverage of the interval [%].
    parts : int, default 1
        Parts that are drawn for themselves [1].

    Returns
    -------
    ndarray
        Half width as a share of the mean [1, fraction], broadcast shape; NaN where no more than the parts are drawn.

    Raises
    ------
    ValueError
        If `cv` is negative, `drawn` negative, fractional or above `population`, or `level_percent` not between 0 and
        100.

    References
    ----------
    Freese, 1967, Elementary Statistical Methods for Foresters, USDA Agriculture Handbook 317.

    Examples
    --------
    >>> print(f"{expected_half_width(3.672085310 / 10.7, 20, 100):.6f}")
    0.143659
    """
    n = sample_size("drawn", drawn)
    correction = 1 - n / population_size(n, population)
    spread = not_negative("cv", cv) * np.sqrt(correction)
    return as_given(t_quantile(n - parts, level_percent) * quotient(spread, np.sqrt(n)))


def least_size(cv: float, error: float, population: int, level_percent: float = 95.0, parts: int = 1) -> int:
    """Give the fewest vines or panels whose expected interval is as narrow as wanted.

    It is `size_for_relative_error` with t on n less the parts, found by halving, as t itself depends on n.

    Parameters
    ----------
    cv : float
        Coefficient of variation between vines or panels [1, fraction].
    error : float
        Half width wanted, as a share of the mean [1, fraction].
    population : int
        Positions or panels of the block, N [1].
    level_percent : float, default 95.0
        Coverage of the interval [%].
    parts : int, default 1
        Parts that are drawn for themselves [1].

    Returns
    -------
    int
        Vines or panels to draw [1]: at least two of each part, at most `population`.

    Raises
    ------
    ValueError
        If `cv` is negative, `error` not above zero, or `population` below two for each part.

    References
    ----------
    USDA Forest Service, Handbook 2409.12, worked sheet for n = 1 / (1 / N + (A / (t CV))²).

    Examples
    --------
    >>> least_size(0.434896, 0.20, 125)
    19
    """
    if population < 2 * parts:
        raise ValueError("population must be at least 2 for each part")
    low, high = 2 * parts, population
    while low < high:
        middle = (low + high) // 2
        needed = size_for_relative_error(cv, error, t_quantile(middle - parts, level_percent), population)
        low, high = (low, middle) if needed <= middle else (middle + 1, high)
    return low


def pooled_cv(cvs: ArrayLike, df: ArrayLike) -> float:
    """Give the coefficient of variation over several samples: the root of the mean square, by degrees of freedom.

    Parameters
    ----------
    cvs : array_like
        Coefficient of variation of each sample [1 or %], samples on the only axis.
    df : array_like
        Degrees of freedom of each sample, vines - 1 [1].

    Returns
    -------
    float
        Pooled coefficient of variation [as given]; NaN where no sample has a degree of freedom.

    Raises
    ------
    ValueError
        If a coefficient is negative, or a number of degrees of freedom negative or fractional.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 4.7, variances from earlier samples (from memory).

    Examples
    --------
    >>> print(f"{pooled_cv([30, 40], [10, 10]):.3f}")
    35.355
    """
    weights = sample_size("df", df)
    return float(np.sqrt(quotient(np.sum(weights * not_negative("cvs", cvs) ** 2), np.sum(weights))))


def panel_cv(cv: ArrayLike, panel_size: ArrayLike, likeness: ArrayLike) -> FloatArray:
    """Give the coefficient of variation between panels from that between vines.

    CV √((1 + (m - 1) ρ) / m): with ρ = 0 a panel of m vines is worth m vines, with ρ = 1 it is worth one.

    Parameters
    ----------
    cv : array_like
        Coefficient of variation between vines [1 or %], any shape.
    panel_size : array_like
        Vine positions in a panel, m [1].
    likeness : array_like
        How alike the vines of a panel are, the intraclass correlation ρ [1, fraction].

    Returns
    -------
    ndarray
        Coefficient of variation between panels [as given], broadcast shape.

    Raises
    ------
    ValueError
        If `cv` is negative, `panel_size` not above zero, or `likeness` not between 0 and 1.

    References
    ----------
    Kish, 1965, Survey Sampling, section 5.4, the design effect 1 + (m - 1) ρ (from memory).

    Examples
    --------
    >>> print(f"{panel_cv(40, 5, 0.0):.2f} {panel_cv(40, 5, 1.0):.2f}")
    17.89 40.00
    """
    m = positive("panel_size", panel_size)
    return as_given(not_negative("cv", cv) * np.sqrt((1 + (m - 1) * fraction("likeness", likeness)) / m))
