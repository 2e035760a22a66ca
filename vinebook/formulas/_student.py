"""The upper quantile of Student's t by numpy alone: SciPy takes longer to import than a block's figures take.

The upper tail is half the incomplete beta function I_x(df/2, 1/2) at x = df/(df + t²), by its continued fraction
(NIST Digital Library of Mathematical Functions, 8.17.22, from memory). The logarithm of the tail falls ever more
steeply over log t, so that Newton's steps in log t reach the quantile from any start. Tests hold it to SciPy.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from vinebook.formulas._inputs import FloatArray

SERIES_FROM_DF = 2000.0
"""From so many degrees of freedom on the series around the normal quantile is exact to the last digits."""
GAMMA_SERIES_FROM = 20.0
MOST_STEPS = 60
MOST_TERMS = 400
LAST_STEP = 1e-8
"""Newton's steps square the error: after one as short as this nothing is left of it."""
LAST_CHANGE = 1e-15
LEAST = 1e-300


def upper_t(df: FloatArray, normal: float, upper: float) -> FloatArray:
    """Give the t that is passed with probability `upper`.

    Parameters
    ----------
    df : finite degrees of freedom above zero, or NaN; any shape.
    normal : the normal deviate passed with the same probability.
    upper : that probability, below a half.
    """
    found, at = np.unique(df, return_inverse=True)
    result = _by_series(found, normal)
    few = found < SERIES_FROM_DF
    if few.any() and normal > 0:
        result[few] = _remembered(found[few].tobytes(), normal, upper)
    return np.asarray(result[at].reshape(np.shape(df)), dtype=np.float64)


@functools.lru_cache(maxsize=16)
def _remembered(df: bytes, normal: float, upper: float) -> FloatArray:
    """Give the quantiles of few degrees of freedom; one figure after another asks for the same ones."""
    return _by_newton(np.frombuffer(df, dtype=np.float64), normal, upper)


def _by_series(df: FloatArray, z: float) -> FloatArray:
    """Give the expansion in 1/df; Abramowitz and Stegun, 1964, 26.7.5 (from memory)."""
    square = z * z
    terms = (
        (square + 1) / 4,
        ((5 * square + 16) * square + 3) / 96,
        (((3 * square + 19) * square + 17) * square - 15) / 384,
        ((((79 * square + 776) * square + 1482) * square - 1920) * square - 945) / 92160,
    )
    total = np.zeros_like(df)
    for term in reversed(terms):
        total = (total + term) / df
    return np.asarray(z * (1 + total), dtype=np.float64)


def _by_newton(df: FloatArray, normal: float, upper: float) -> FloatArray:
    constant = _log_constant(df / 2)
    wanted = math.log(upper)
    log_t = np.log(np.maximum(_by_series(df, normal), normal))
    is_far = np.ones(df.shape, dtype=np.bool_)
    for _ in range(MOST_STEPS):
        # log(1 + t²/df), without an overflow where t is beyond all floats.
        log_sum = np.logaddexp(0.0, 2 * log_t - np.log(df))
        log_tail = _log_tail(df, log_sum, constant)
        log_density = constant - 0.5 * np.log(df) - (df + 1) / 2 * log_sum
        step = (log_tail - wanted) * np.exp(log_tail - log_density - log_t)
        # What has arrived stays, so that no number depends on those it was asked with.
        log_t = np.where(is_far, log_t + step, log_t)
        is_far &= np.abs(step) > LAST_STEP
        if not is_far.any():
            break
    with np.errstate(over="ignore"):
        return np.asarray(np.exp(log_t), dtype=np.float64)


def _log_constant(a: FloatArray) -> FloatArray:
    """Give log Γ(a + 1/2) − log Γ(a) − log √π, which loses no digits where a is large."""
    b = np.maximum(a, GAMMA_SERIES_FROM)
    inverse = 1 / (b * b)
    series = 0.5 * np.log(b) + (-1 / 8 + inverse * (1 / 192 + inverse * (-1 / 640 + inverse * 17 / 14336))) / b
    exact = [math.lgamma(one + 0.5) - math.lgamma(one) for one in np.minimum(a, GAMMA_SERIES_FROM).tolist()]
    return np.asarray(np.where(a >= GAMMA_SERIES_FROM, series, exact) - 0.5 * math.log(math.pi), dtype=np.float64)


def _log_tail(df: FloatArray, log_sum: FloatArray, constant: FloatArray) -> FloatArray:
    """Give the logarithm of the upper tail at log(1 + t²/df)."""
    x, rest = np.exp(-log_sum), -np.expm1(-log_sum)
    a = df / 2
    log_front = constant - a * log_sum + 0.5 * np.log(rest)
    # The fraction converges fast below this x; above it the other end of the same function is taken.
    direct = x < (a + 1) / (a + 2.5)
    p, q = np.where(direct, a, 0.5), np.where(direct, 0.5, a)
    log_share = log_front + np.log(_fraction(p, q, np.where(direct, x, rest)) / p)
    log_both = np.where(direct, log_share, np.log1p(-np.exp(np.where(direct, -1.0, log_share))))
    return np.asarray(log_both - math.log(2), dtype=np.float64)


def _fraction(a: FloatArray, b: FloatArray, x: FloatArray) -> FloatArray:
    """Give the continued fraction of the incomplete beta function, by Lentz's method."""
    upper = np.ones_like(x)
    lower = 1 / _not_zero(1 - (a + b) * x / (a + 1))
    total = lower.copy()
    is_far = np.ones(x.shape, dtype=np.bool_)
    for m in range(1, MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        lower, upper = 1 / _not_zero(1 + even * lower), _not_zero(1 + even / upper)
        total = np.where(is_far, total * lower * upper, total)
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        lower, upper = 1 / _not_zero(1 + odd * lower), _not_zero(1 + odd / upper)
        change = lower * upper
        total = np.where(is_far, total * change, total)
        is_far &= np.abs(change - 1) > LAST_CHANGE
        if not is_far.any():
            break
    return np.asarray(total, dtype=np.float64)


def _not_zero(values: FloatArray) -> FloatArray:
    return np.asarray(np.where(np.abs(values) < LEAST, LEAST, values), dtype=np.float64)
