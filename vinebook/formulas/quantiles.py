"""Quantiles of Student's t and of the normal distribution."""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given
from vinebook.formulas._student import upper_t

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


def t_quantile(df: ArrayLike, level_percent: float = 95.0) -> FloatArray:
    """Give how many standard errors lie to either side for a two-sided interval.

    Parameters
    ----------
    df : array_like
        Degrees of freedom [1], fractions and infinity allowed, any shape.
    level_percent : float, default 95.0
        Coverage of the interval [%].

    Returns
    -------
    ndarray
        Quantile of t [1], shape of `df`; NaN where `df` is not above zero: one vine gives no interval.

    Raises
    ------
    ValueError
        If `level_percent` does not lie between 0 and 100.

    References
    ----------
    Student, 1908, The probable error of a mean, Biometrika 6: 1-25.

    Examples
    --------
    >>> print(f"{t_quantile(19):.6f}")
    2.093024
    """
    normal = normal_quantile(level_percent)
    freedom = np.asarray(df, dtype=np.float64)
    defined = np.where(freedom > 0, freedom, np.nan)
    finite = np.where(np.isinf(defined), 1.0, defined)
    return as_given(np.where(np.isinf(defined), normal, upper_t(finite, normal, (100 - level_percent) / 200)))


def normal_quantile(level_percent: float = 95.0) -> float:
    """Give the quantile of the normal distribution for a two-sided interval.

    Parameters
    ----------
    level_percent : float, default 95.0
        Coverage of the interval [%].

    Returns
    -------
    float
        Quantile [1].

    Raises
    ------
    ValueError
        If `level_percent` does not lie between 0 and 100.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 2.8 (from memory).

    Examples
    --------
    >>> print(f"{normal_quantile(95):.6f}")
    1.959964
    """
    if not 0 < level_percent < 100:
        raise ValueError("level_percent must lie between 0 and 100")
    return -NormalDist().inv_cdf((100 - level_percent) / 200)
