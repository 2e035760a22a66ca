"""Sums of whole numbers are exact; what is undefined is NaN; what is impossible is refused."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vinebook.formulas.fieller import fieller_interval, fieller_paired_interval
from vinebook.formulas.harvest import component_check_percent
from vinebook.formulas.intervals import cv_interval, log_t_interval, t_interval
from vinebook.formulas.moments import covariance_of_sums, mean_of_sums, variance_of_sums
from vinebook.formulas.products import (
    linear_function_variance,
    log_product_interval,
    product_variance_first_order,
    product_variance_unbiased,
)
from vinebook.formulas.quantiles import normal_quantile, t_quantile
from vinebook.formulas.ratios import log_ratio_interval, panel_mean, ratio_of_sums, residual_variance
from vinebook.formulas.sample_sizes import size_for_proportion, size_for_relative_error
from vinebook.formulas.sampling import (
    finite_correction,
    finite_correction_of_population_variance,
    is_step_aligned,
    standard_error_of_mean,
    stratified_df,
    stratified_mean,
    systematic_positions,
)
from vinebook.formulas.shares import share_interval, wilson_interval
from vinebook.formulas.tickets import mass_weighted_mean, rounded_to_scale, ticket_net

MASSES_MG = st.lists(st.integers(0, 60_000_000), min_size=2, max_size=40)


@given(MASSES_MG)
def test_variance_of_milligrams_is_the_exact_one_rounded(masses_mg: list[int]) -> None:
    n, total, squares = len(masses_mg), sum(masses_mg), sum(mass**2 for mass in masses_mg)
    exact = Fraction(n * squares - total**2, n * (n - 1))
    assert variance_of_sums(n, total, squares) == float(exact)


@given(MASSES_MG)
def test_residual_variance_of_milligrams_is_the_exact_one_rounded(masses_mg: list[int]) -> None:
    vines = [1 + mass % 7 for mass in masses_mg]
    n, x, y = len(vines), sum(vines), sum(masses_mg)
    ratio = Fraction(y, x)
    exact = sum((mass - ratio * count) ** 2 for mass, count in zip(masses_mg, vines, strict=True)) / (n - 1)
    xx, yy = sum(count**2 for count in vines), sum(mass**2 for mass in masses_mg)
    xy = sum(mass * count for mass, count in zip(masses_mg, vines, strict=True))
    assert residual_variance(n, x, y, xx, yy, xy) == pytest.approx(float(exact), rel=1e-15)


def test_sums_that_overflow_64_bits_in_between_stay_exact() -> None:
    n = np.array([160_000, 160_000])
    mass_mg = 7_500_000
    total = n * mass_mg + np.array([0, 1])
    squares = n * mass_mg**2 + np.array([0, 2 * mass_mg + 1])
    assert squares.max() < 2**63 - 1
    assert float(n[0]) * float(squares[0]) > 2.0**63
    exact = [
        Fraction(int(a) * int(c) - int(b) ** 2, int(a) * int(a - 1)) for a, b, c in zip(n, total, squares, strict=True)
    ]
    assert variance_of_sums(n, total, squares).tolist() == [float(value) for value in exact]
    naive = (squares[1] - total[1].astype(float) ** 2 / n[1]) / (n[1] - 1)
    assert naive != float(exact[1])


def test_sums_of_a_database_come_as_decimals_too() -> None:
    sums = [np.array([Decimal(value)], dtype=object) for value in (20, 214, 2546)]
    assert variance_of_sums(*sums).tolist() == pytest.approx([13.484210526315788])


def test_twenty_thousand_block_seasons_come_out_at_once() -> None:
    n = np.full(20_000, 100)
    total = np.arange(20_000) + 700_000_000
    squares = total**2 // 100 + 1000
    assert variance_of_sums(n, total, squares).shape == (20_000,)
    mean = mean_of_sums(n, total)
    interval = log_t_interval(mean, np.full(20_000, 50_000.0), n - 1)
    assert (interval.low < mean).all()
    assert (mean < interval.high).all()


def test_one_vine_has_a_value_and_no_interval() -> None:
    assert mean_of_sums(1, 8) == 8
    assert np.isnan(variance_of_sums(1, 8, 64))
    assert np.isnan(covariance_of_sums(1, 8, 8, 64))
    assert np.isnan(t_quantile(0))
    assert np.isnan(t_interval(8, 1, 0).low)
    assert np.isnan(log_t_interval(8, 1, 0).high)
    share = share_interval(1, 20, 18, 400, 324, 360)
    assert share.share == 0.9
    assert np.isnan(share.low)


def test_no_vines_have_no_mean() -> None:
    assert np.isnan(mean_of_sums(0, 0))
    assert np.isnan(ratio_of_sums(0, 0))
    assert np.isnan(panel_mean(0, 0, 0, 0, 0, 0).mean)
    assert np.isnan(stratified_mean([0, 0], [1, 2]))
    assert np.isnan(mass_weighted_mean([np.nan], [5]))
    assert np.isnan(component_check_percent(3, 0))


def test_a_full_count_has_no_width() -> None:
    result = log_ratio_interval(6, 0, np.nan, 2, 0, np.nan)
    assert [float(limit) for limit in (result.low, result.ratio, result.high)] == [3, 3, 3]
    product = log_product_interval([2, 3], [0, 0], [np.nan, np.nan])
    assert [float(limit) for limit in (product.low, product.product, product.high)] == [6, 6, 6]
    share = share_interval(4, 40, 36, 400, 326, 360, correction=0)
    assert (share.low, share.high) == pytest.approx((0.9, 0.9))


def test_a_zero_crop_has_a_ratio_of_zero_and_no_interval() -> None:
    result = log_ratio_interval(0, 0, np.nan, 2, 0.1, 9)
    assert result.ratio == 0
    assert np.isnan(result.low)
    product = log_product_interval([0, 3], [0, 0.1], [np.nan, 9])
    assert product.product == 0
    assert np.isnan(product.high)


def test_no_prunings_leave_the_ratio_undefined() -> None:
    result = log_ratio_interval(6, 0.5, 9, 0, 0, 9)
    assert all(np.isnan(value) for value in (result.ratio, result.low, result.high))
    assert np.isnan(log_product_interval([6, 0], [0, 0], [np.nan, np.nan], powers=[1, -1]).product)


def test_an_endless_width_is_not_infinite() -> None:
    assert np.isnan(log_t_interval(1e-3, 1.0, 1).high)
    assert np.isnan(cv_interval(5.0, 3).high)
    assert cv_interval(5.0, 3).low > 0
    assert np.isnan(product_variance_unbiased(0, 4, 0, 4))


def test_a_share_of_nothing_or_all_keeps_inside_zero_and_one() -> None:
    none, every = share_interval(4, 40, 0, 400, 0, 0), share_interval(4, 40, 40, 400, 400, 400)
    assert none.low == 0
    assert 0 < none.high < 1
    assert every.high == 1
    assert 0 < every.low < 1
    assert np.isnan(every.design_effect)


def test_fieller_is_unbounded_from_g_of_one_on() -> None:
    below, at, above = (fieller_interval(5, 1, 1, variance, 0, 2) for variance in (0.2499, 0.25, 0.2501))
    assert (bool(below.is_bounded), bool(at.is_bounded), bool(above.is_bounded)) == (True, False, False)
    assert below.low < below.ratio < below.high
    assert np.isnan(at.low)
    assert np.isnan(above.high)
    many = fieller_interval([5, 5], 1, [10, 1], 1, 0, 2)
    assert many.is_bounded.tolist() == [True, False]
    assert np.isnan(fieller_paired_interval(1, 2, 4, 4, 16, 8).low)


def test_vines_that_are_alike_in_fractions_of_a_unit_are_no_impossible_sums() -> None:
    x = np.full(3, 100 * 2.2046226218487757)
    y = 3 * x + np.arange(3) * 2.2046226218487757
    result = fieller_paired_interval(3, x.sum(), y.sum(), (x * x).sum(), (y * y).sum(), (x * y).sum())
    assert result.ratio == pytest.approx(3.01)
    assert bool(result.is_bounded)


def test_tickets_stay_whole_numbers() -> None:
    assert ticket_net(np.array([45_006]), np.array([20_004]), 10).dtype.kind == "i"
    assert rounded_to_scale([4, 5, 14, 15], 10).tolist() == [0, 10, 10, 20]
    assert rounded_to_scale(45_006.0, 10.0) == 45_010


@pytest.mark.parametrize("start", [1, 2, 3])
def test_a_systematic_draw_reaches_the_end_and_no_further(start: int) -> None:
    drawn = systematic_positions(10, 3, start)
    assert drawn[0] == start
    assert 10 - 3 < drawn[-1] <= 10
    assert set(np.diff(drawn)) == {3}


REFUSED = {
    "negative n": lambda: mean_of_sums(-1, 5),
    "fractional n": lambda: mean_of_sums(1.5, 5.0),
    "negative mass": lambda: rounded_to_scale(-5, 10),
    "no interval": lambda: rounded_to_scale(5, 0),
    "tare above gross": lambda: ticket_net(10, 20, 10),
    "sums of no sample": lambda: variance_of_sums(10, 100, 10),
    "sums of no sample with fractions": lambda: variance_of_sums(10, 100.5, 10.5),
    "sums of no panels": lambda: residual_variance(3, 9, 90, 27, 1, 900),
    "infinite sum": lambda: mean_of_sums(2, np.inf),
    "text": lambda: mean_of_sums(2, "eight"),
    "sample above population": lambda: finite_correction(11, 10),
    "no population": lambda: finite_correction_of_population_variance(0, 0),
    "negative standard error": lambda: t_interval(5, -1, 4),
    "negative mean": lambda: log_t_interval(-5, 1, 4),
    "level of 100": lambda: t_quantile(5, 100),
    "level of 0": lambda: normal_quantile(0),
    "negative variance": lambda: standard_error_of_mean(-1, 5),
    "correction above 1": lambda: standard_error_of_mean(1, 5, 1.1),
    "negative weight": lambda: stratified_df([-1, 2], [1, 1], [5, 5]),
    "start beyond step": lambda: systematic_positions(10, 3, 4),
    "step of 0": lambda: systematic_positions(10, 0, 1),
    "negative positions": lambda: systematic_positions(-1, 1, 1),
    "period of 0": lambda: is_step_aligned(5, 0),
    "no error": lambda: size_for_relative_error(0.4, 0, 2),
    "population of 0": lambda: size_for_relative_error(0.4, 0.1, 2, 0),
    "proportion above 1": lambda: size_for_proportion(800, 1.5),
    "covariance beyond the variances": lambda: fieller_interval(5, 1, 5, 1, 2, 2),
    "covariance beyond the variances of a product": lambda: product_variance_first_order(5, 1, 5, 1, 2),
    "matrix not symmetric": lambda: linear_function_variance([1, 1], [[1, 0.5], [0.2, 1]]),
    "matrix of no variances": lambda: linear_function_variance([1, -1], [[1, 5], [5, 1]]),
    "share above 1": lambda: wilson_interval(1.1, 10, 2),
    "negative effective size": lambda: wilson_interval(0.5, -1, 2),
    "more hits than units": lambda: share_interval(2, 10, 11, 50, 61, 55),
}


@pytest.mark.parametrize("impossible", REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(impossible: object) -> None:
    assert callable(impossible)
    with pytest.raises(ValueError, match=r"\w"):
        impossible()
