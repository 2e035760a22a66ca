"""The scale at the left of a chart: from zero to a round number whose half is round as well."""

from __future__ import annotations

import math

_STEPS = (1.0, 1.2, 1.6, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def nice_top(largest: float) -> float:
    """Give the top of a scale from zero: a round number whose half is round as well.

    Parameters
    ----------
    largest : the largest value to be shown.
    """
    if not math.isfinite(largest) or largest <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(largest))
    return next((step * power for step in _STEPS if step * power >= largest * (1 - 1e-12)), 10 * power)


def scale_text(value: float, top: float) -> str:
    """Write a value of the scale, with no more digits than its top needs.

    Parameters
    ----------
    value : zero, half or top of the scale.
    top : the top of the scale.
    """
    if top >= 100_000 or top < 0.001:
        return f"{value:.2g}"
    decimals = max(0, 1 - math.floor(math.log10(top)))
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals and value else f"{value:.0f}"
