"""Limits of weighted sums: inside the sums of the limits, on both sides their own, and right often enough."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.mover import weighted_sum_interval


def test_parts_without_spread_leave_the_other_its_distances_times_its_weight() -> None:
    low, high = weighted_sum_interval([10.0, 4.0], [9.0, 4.0], [12.0, 4.0], [0.25, 0.75])
    assert (low, high) == pytest.approx((5.5 - 0.25, 5.5 + 0.5))


def test_equal_parts_shrink_by_the_root_of_their_number() -> None:
    low, high = weighted_sum_interval([5.0] * 4, [4.0] * 4, [6.0] * 4, [0.25] * 4)
    assert (low, high) == pytest.approx((4.5, 5.5))


def test_a_negative_weight_takes_the_other_side() -> None:
    low, high = weighted_sum_interval([0.0, 3.0], [0.0, 2.0], [0.0, 7.0], [1.0, -1.0])
    assert (low, high) == pytest.approx((-7.0, -2.0))


def test_a_part_without_limits_leaves_the_sum_without() -> None:
    low, high = weighted_sum_interval([[1.0, 2.0], [3.0, 4.0]], [0.5, 1.5], [5.0, 5.0], [1.0, 1.0])
    assert np.isfinite(low).all()
    assert np.isfinite(high).all()
    low, high = weighted_sum_interval([1.0, 2.0], [0.5, math.nan], [1.5, math.nan], [1.0, 1.0])
    assert np.isnan([low, high]).all()


@pytest.mark.parametrize(("low", "high"), [([1.1, 2.0], [1.2, 2.0]), ([0.9, 2.0], [0.95, 2.0])])
def test_limits_on_one_side_of_their_estimate_are_refused(low: list[float], high: list[float]) -> None:
    with pytest.raises(ValueError, match="both sides"):
        weighted_sum_interval([1.0, 2.0], low, high, [1.0, 1.0])


@pytest.mark.parametrize(("n", "shares"), [((24, 24), (0.75, 0.25)), ((12, 24), (0.5, 0.5)), ((24, 12), (0.9, 0.1))])
def test_the_mean_of_two_blocks_lies_inside_its_limits_in_ninetythree_of_a_hundred(
    n: tuple[int, int], shares: tuple[float, float]
) -> None:
    """Skewed vines, CV about 0.4, means 1 and 2; the interval of each is t on the log scale."""
    rng = np.random.default_rng(20261125)
    sigma, draws = math.sqrt(math.log(1 + 0.4**2)), 6000
    means, lows, highs = [], [], []
    for size, centre in zip(n, (1.0, 2.0), strict=True):
        vines = centre * np.exp(rng.normal(-(sigma**2) / 2, sigma, (draws, size)))
        mean = vines.mean(axis=1)
        limits = log_t_interval(mean, vines.std(axis=1, ddof=1) / math.sqrt(size), size - 1)
        means.append(mean)
        lows.append(limits.low)
        highs.append(limits.high)
    value, below, above = (np.stack(side, axis=1) for side in (means, lows, highs))
    low, high = weighted_sum_interval(value, below, above, shares)
    truth = shares[0] * 1.0 + shares[1] * 2.0
    assert np.mean((low <= truth) & (truth <= high)) >= 0.93
