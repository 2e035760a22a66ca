"""Means over seasons, the season being the unit; frost seasons never among the others."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.advice.fruit_model import Pooled
from vinebook.formulas.fruitfulness import season_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.advice.fruit_model import SeasonRate


def pooled_rates(rates: Sequence[SeasonRate], *, frost: bool) -> Pooled | None:
    """Give the mean over the seasons with or without frost, None where there is no such season.

    Parameters
    ----------
    rates : numbers of seasons.
    frost : whether to take the seasons with frost, or those without.
    """
    taken = [rate for rate in rates if rate.is_frost == frost]
    if not taken:
        return None
    found = season_mean([rate.value for rate in taken])
    low, high = (None if limit != limit else float(limit) for limit in (found.low, found.high))  # noqa: PLR0124 - NaN
    if low is None or high is None or low == high:
        low = high = None
    return Pooled(float(found.mean), low, high, tuple(sorted(rate.season for rate in taken)))
