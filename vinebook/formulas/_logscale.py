"""Intervals of products and quotients of independent estimates, on the log scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, quotient
from vinebook.formulas.quantiles import t_quantile

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


def log_half_width(squared_cvs: FloatArray, dfs: ArrayLike, level_percent: float) -> tuple[FloatArray, FloatArray]:
    """Give the half width on the log scale and the degrees of freedom; factors on the last axis.

    A factor without variance is known exactly and its degrees of freedom are not looked at.
    """
    freedom = np.where(np.asarray(dfs, np.float64) > 0, dfs, np.nan)
    parts = np.where(squared_cvs == 0, 0.0, quotient(squared_cvs**2, freedom))
    variance = np.sum(squared_cvs, axis=-1)
    df = quotient(variance**2, np.sum(parts, axis=-1))
    half = np.where(variance == 0, 0.0, t_quantile(df, level_percent) * np.sqrt(variance))
    return as_given(half), df


def limits_on_log_scale(estimate: FloatArray, half: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give estimate ÷ and × exp(half), NaN where the estimate is zero or a limit leaves the numbers."""
    defined = np.where(np.asarray(estimate) > 0, estimate, np.nan)
    with np.errstate(over="ignore"):
        high = defined * np.exp(half)
    return as_given(defined * np.exp(-half)), as_given(np.where(np.isinf(high), np.nan, high))
