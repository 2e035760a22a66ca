"""Figures scale with their unit and do not care in which order the vines were counted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vinebook.formulas.fieller import fieller_paired_interval
from vinebook.formulas.intervals import cv_interval, log_t_interval, t_interval
from vinebook.formulas.moments import mean_of_sums, variance_of_sums
from vinebook.formulas.products import log_product_interval
from vinebook.formulas.ratios import log_ratio_interval, panel_mean
from vinebook.formulas.sampling import coefficient_of_variation, standard_error_of_mean
from vinebook.formulas.shares import share_interval

if TYPE_CHECKING:
    import random

GRAMS = st.lists(st.integers(100, 20_000), min_size=3, max_size=30)
FACTORS = st.sampled_from([0.45359237, 1000.0, 2.2046226218487757, 1e-6])


def moments_of(values: np.ndarray) -> tuple[float, float]:
    """Give mean and standard error of values."""
    n = len(values)
    mean = mean_of_sums(n, values.sum())
    return float(mean), float(standard_error_of_mean(variance_of_sums(n, values.sum(), (values**2).sum()), n))


def sums_of(x: np.ndarray, y: np.ndarray) -> tuple[int, float, float, float, float, float]:
    """Give the sums that a paired ratio needs."""
    return len(x), x.sum(), y.sum(), (x * x).sum(), (y * y).sum(), (x * y).sum()


@given(GRAMS, FACTORS)
def test_intervals_scale_with_the_unit(grams: list[int], factor: float) -> None:
    values = np.array(grams, dtype=np.float64)
    (mean, error), (mean_other, error_other) = moments_of(values), moments_of(values * factor)
    df = len(values) - 1
    for interval in (t_interval, log_t_interval):
        plain = np.array(interval(mean, error, df))
        assert np.array(interval(mean_other, error_other, df)) == pytest.approx(plain * factor, rel=1e-6, nan_ok=True)


@given(GRAMS, FACTORS)
def test_a_coefficient_of_variation_has_no_unit(grams: list[int], factor: float) -> None:
    values = np.array(grams, dtype=np.float64)
    n = len(values)
    cvs = [
        coefficient_of_variation(mean_of_sums(n, v.sum()), variance_of_sums(n, v.sum(), (v**2).sum()))
        for v in (values, values * factor)
    ]
    assert cvs[1] == pytest.approx(cvs[0], rel=1e-6, abs=1e-7)
    low, high = cv_interval(cvs[0], n)
    assert np.isnan(low) or low < cvs[0]
    assert np.isnan(high) or high > cvs[0]


@given(GRAMS, FACTORS)
def test_a_ratio_in_one_unit_has_no_unit(grams: list[int], factor: float) -> None:
    x = np.array(grams, dtype=np.float64)
    y = x[::-1] * 3 + np.arange(len(x))
    plain, other = (fieller_paired_interval(*sums_of(x * f, y * f)) for f in (1.0, factor))
    assert other.ratio == pytest.approx(plain.ratio)
    assert other.g == pytest.approx(plain.g, rel=1e-6, abs=1e-9)
    if abs(plain.g - 1) > 0.01:
        assert bool(other.is_bounded) == bool(plain.is_bounded)
    if plain.g < 0.9:
        assert (other.low, other.high) == pytest.approx((plain.low, plain.high), rel=1e-4, abs=1e-6)


@given(GRAMS, FACTORS)
def test_a_log_ratio_scales_with_its_numerator(grams: list[int], factor: float) -> None:
    mean, error = moments_of(np.array(grams, dtype=np.float64))
    df = len(grams) - 1
    plain = log_ratio_interval(mean, error, df, 3.0, 0.2, 9)
    other = log_ratio_interval(mean * factor, error * factor, df, 3.0, 0.2, 9)
    expected = (plain.low * factor, plain.ratio * factor, plain.high * factor)
    assert (other.low, other.ratio, other.high) == pytest.approx(expected)
    product = log_product_interval([mean, 3.0], [error, 0.2], [df, 9], powers=[1, -1])
    assert (product.low, product.high, product.df) == pytest.approx((plain.low, plain.high, plain.df))


@given(GRAMS, st.randoms(use_true_random=False))
def test_the_order_of_vines_does_not_matter(grams: list[int], shuffler: random.Random) -> None:
    pairs = [(1 + gram % 5, gram) for gram in grams]
    shuffled = list(pairs)
    shuffler.shuffle(shuffled)
    first, second = (
        panel_mean(n, x, y, xx, yy, xy)
        for n, x, y, xx, yy, xy in (sums_of(*np.array(rows, dtype=np.int64).T) for rows in (pairs, shuffled))
    )
    assert first == second


@given(st.lists(st.tuples(st.integers(1, 60), st.floats(0, 1)), min_size=2, max_size=20))
def test_a_share_lies_inside_its_interval(counted: list[tuple[int, float]]) -> None:
    nodes = np.array([count for count, _ in counted])
    shoots = np.array([int(count * part) for count, part in counted])
    n, x, y, xx, yy, xy = sums_of(nodes, shoots)
    result = share_interval(n, x, y, xx, yy, xy)
    assert 0 <= result.low <= result.share <= result.high <= 1
