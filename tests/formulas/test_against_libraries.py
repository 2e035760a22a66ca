"""Formulas against SciPy and statsmodels, and against numpy on the single vines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from vinebook.formulas.fieller import fieller_paired_interval
from vinebook.formulas.intervals import log_t_interval, t_interval
from vinebook.formulas.moments import covariance_of_sums, mean_of_sums, variance_of_sums
from vinebook.formulas.nodes import noncount_shoot_percent
from vinebook.formulas.products import log_product_interval
from vinebook.formulas.quantiles import normal_quantile, t_quantile
from vinebook.formulas.ratios import full_count_ratio_interval, log_ratio_interval, panel_mean
from vinebook.formulas.sampling import (
    is_step_aligned,
    standard_error_of_mean,
    stratified_df,
    stratified_mean,
    stratified_variance,
)
from vinebook.formulas.shares import design_effect, share_interval, wilson_interval
from vinebook.formulas.tickets import mass_weighted_mean

RNG = np.random.default_rng(1932)
PRUNINGS = RNG.gamma(6, 0.15, 24)
CROPS = PRUNINGS * 5 + RNG.gamma(9, 0.2, 24)
FREEDOMS = np.array([1, 2, 5, 19, 20.79, 120, np.inf])


@pytest.mark.parametrize("level", [80, 90, 95, 99])
def test_quantiles_are_scipys(level: float) -> None:
    assert t_quantile(FREEDOMS, level) == pytest.approx(stats.t.ppf(0.5 + level / 200, FREEDOMS))
    assert normal_quantile(level) == pytest.approx(stats.norm.ppf(0.5 + level / 200))


def test_the_t_interval_is_scipys() -> None:
    mean = mean_of_sums(24, CROPS.sum())
    error = standard_error_of_mean(variance_of_sums(24, CROPS.sum(), (CROPS**2).sum()), 24)
    interval = stats.ttest_1samp(CROPS, 0).confidence_interval(0.95)
    assert t_interval(mean, error, 23) == pytest.approx((interval.low, interval.high))


def test_moments_are_numpys() -> None:
    products = (PRUNINGS * CROPS).sum()
    covariance = covariance_of_sums(24, PRUNINGS.sum(), CROPS.sum(), products)
    assert covariance == pytest.approx(np.cov(PRUNINGS, CROPS)[0, 1])
    assert variance_of_sums(24, CROPS.sum(), (CROPS**2).sum()) == pytest.approx(CROPS.var(ddof=1))


def test_the_log_interval_is_that_of_a_ratio_to_a_known_mean() -> None:
    low, high = log_t_interval(5.0, 0.4, 11)
    ratio = log_ratio_interval(5.0, 0.4, 11, 1.0, 0.0, np.nan)
    assert (low, high) == pytest.approx((ratio.low, ratio.high))
    half = stats.t.ppf(0.975, 11) * 0.4 / 5
    assert (low, high) == pytest.approx((5 / np.exp(half), 5 * np.exp(half)))


def test_a_full_count_over_a_sample_has_the_interval_of_the_sample() -> None:
    result = full_count_ratio_interval(12.0, 1.5, 0.1, 14)
    low, high = log_t_interval(1.5, 0.1, 14)
    assert (result.low, result.high, result.df) == pytest.approx((12 / high, 12 / low, 14))


def test_two_strata_of_one_weight_have_the_freedom_of_welch() -> None:
    first, second = CROPS[:9], PRUNINGS[:15]
    of_means = np.array([first.var(ddof=1) / 9, second.var(ddof=1) / 15])
    welch = stats.ttest_ind(first, second, equal_var=False)
    assert stratified_df([1, 1], of_means, [9, 15]) == pytest.approx(welch.df)
    difference = (first.mean() - second.mean()) / (2 * np.sqrt(stratified_variance([1, 1], of_means)))
    assert difference == pytest.approx(welch.statistic)


def test_weighted_means_are_statsmodels() -> None:
    weights = np.array([120.0, 340, 90])
    weighed = DescrStatsW(np.array([22.1, 23.4, 24.9]), weights=weights)
    assert stratified_mean(weights, [22.1, 23.4, 24.9]) == pytest.approx(weighed.mean)
    assert mass_weighted_mean([22.1, np.nan, 23.4, 24.9], [120, 999, 340, 90]) == pytest.approx(weighed.mean)


@pytest.mark.parametrize(("hits", "units"), [(0, 12), (1, 30), (45, 50), (200, 210), (50, 50)])
def test_wilson_is_statsmodels(hits: int, units: int) -> None:
    expected = proportion_confint(hits, units, alpha=0.05, method="wilson")
    assert wilson_interval(hits / units, units, normal_quantile(95)) == pytest.approx(expected, abs=1e-12)


def test_the_variance_of_panels_is_that_of_their_residuals() -> None:
    vines = np.array([3, 4, 3, 2, 4, 3])
    totals = np.array([31.0, 44.5, 27.0, 22.0, 38.0, 30.5])
    result = panel_mean(6, vines.sum(), totals.sum(), (vines**2).sum(), (totals**2).sum(), (vines * totals).sum(), 0.9)
    ratio = totals.sum() / vines.sum()
    variance = 0.9 * ((totals - ratio * vines) ** 2).sum() / 5 / 6 / vines.mean() ** 2
    assert result == pytest.approx((ratio, np.sqrt(variance), 5))


def test_panels_of_one_size_give_the_mean_of_panel_means() -> None:
    means = np.array([9.0, 11.0, 10.5, 8.0])
    totals = 3 * means
    result = panel_mean(4, 12, totals.sum(), 36, (totals**2).sum(), 3 * totals.sum())
    assert result.mean == pytest.approx(means.mean())
    assert result.standard_error == pytest.approx(stats.sem(means))


def test_a_share_of_clusters_takes_wilson_at_the_effective_size() -> None:
    nodes, shoots = np.array([20, 22, 18, 24, 20]), np.array([20, 12, 18, 13, 19])
    result = share_interval(5, nodes.sum(), shoots.sum(), nodes @ nodes, shoots @ shoots, nodes @ shoots)
    share = shoots.sum() / nodes.sum()
    variance = ((shoots - share * nodes) ** 2).sum() / 4 / 5 / nodes.mean() ** 2
    effect = variance * nodes.sum() / (share * (1 - share))
    assert effect > 1
    assert result.design_effect == pytest.approx(effect)
    assert design_effect(share, variance, nodes.sum()) == pytest.approx(effect)
    size = nodes.sum() / effect
    alpha = 2 * stats.norm.sf(stats.t.ppf(0.975, 4))
    assert (result.low, result.high) == pytest.approx(proportion_confint(share * size, size, alpha, method="wilson"))


def test_vines_that_are_alike_do_not_make_the_interval_narrower_than_drawn_nodes() -> None:
    result = share_interval(5, 100, 90, 2000, 1620, 1800)
    assert result.design_effect == pytest.approx(0)
    alpha = 2 * stats.norm.sf(stats.t.ppf(0.975, 4))
    assert (result.low, result.high) == pytest.approx(proportion_confint(90, 100, alpha, method="wilson"))


def test_the_paired_ratio_lies_near_its_bootstrap() -> None:
    sums = (PRUNINGS.sum(), CROPS.sum(), (PRUNINGS**2).sum(), (CROPS**2).sum(), (PRUNINGS * CROPS).sum())
    fieller = fieller_paired_interval(24, *sums)
    drawn = stats.bootstrap(
        (CROPS, PRUNINGS),
        lambda y, x, axis: y.sum(axis) / x.sum(axis),
        paired=True,
        n_resamples=4000,
        rng=RNG,
    ).confidence_interval
    assert (fieller.low, fieller.high) == pytest.approx((drawn.low, drawn.high), rel=0.04)


def test_the_product_of_two_samples_covers_it_in_simulation() -> None:
    draws, n = 4000, 15
    clusters = RNG.gamma(16, 30 / 16, (draws, n))
    masses = RNG.gamma(25, 0.1 / 25, (draws, n))
    means = np.stack([clusters.mean(1), masses.mean(1)], axis=-1)
    errors = np.stack([clusters.std(1, ddof=1), masses.std(1, ddof=1)], axis=-1) / np.sqrt(n)
    result = log_product_interval(means, errors, n - 1)
    covered = np.mean((result.low < 3.0) & (result.high > 3.0))
    assert 0.93 < covered < 0.97


def test_noncount_shoots_are_a_share_of_all_shoots() -> None:
    assert noncount_shoot_percent(12, 0, 8) == 40
    assert noncount_shoot_percent(10, 2, 8) == 40
    assert np.isnan(noncount_shoot_percent(0, 0, 0))


@pytest.mark.parametrize(("step", "period", "aligned"), [(5, 5, True), (10, 5, True), (7, 5, False), (5, 10, False)])
def test_a_step_that_keeps_to_one_place_of_the_panel_is_found(step: int, period: int, aligned: object) -> None:
    assert is_step_aligned(step, period) is aligned
