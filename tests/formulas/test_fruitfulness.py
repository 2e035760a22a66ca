"""Clusters per node: held to meta-analysis, bootstrap and jackknife of libraries or by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap
from statsmodels.stats.meta_analysis import combine_effects

from vinebook.formulas.fruitfulness import season_mean, vine_rates, weighted_rate
from vinebook.formulas.intervals import t_interval


def counts(seed: int, vines: int, positions: int) -> tuple[np.ndarray, np.ndarray]:
    """Give clusters and nodes of vines that differ."""
    rng = np.random.default_rng(seed)
    nodes = rng.integers(2, 8, (vines, positions))
    clusters = rng.binomial(3 * nodes, np.clip(rng.normal(0.45, 0.15, (vines, 1)), 0.05, 0.95))
    return clusters.astype(float), nodes.astype(float)


@pytest.mark.parametrize("method", ["dl", "pm"])
def test_seasons_that_were_counted_alike_well_are_pooled_as_a_meta_analysis_pools_them(method: str) -> None:
    logs = np.log([1.42, 1.71, 1.15, 1.53, 1.28])
    meta = combine_effects(logs, np.full(5, 0.01), method_re="iterated" if method == "pm" else "dl", use_t=True)
    # With equal variances every weight is equal: DerSimonian-Laird and Paule-Mandel give the plain mean.
    assert meta.mean_effect_re == pytest.approx(logs.mean())
    # Hartung and Knapp's scale on it is the plain t over seasons.
    low, high = meta.conf_int(use_t=True)[3]
    plain = t_interval(logs.mean(), logs.std(ddof=1) / np.sqrt(5), 4)
    assert (low, high) == pytest.approx((float(plain.low), float(plain.high)), rel=1e-6)


@pytest.mark.parametrize("method", ["dl", "iterated"])
def test_the_mean_over_seasons_is_near_that_of_a_meta_analysis_of_seasons_counted_unlike_well(method: str) -> None:
    values = np.array([1.42, 1.71, 1.15, 1.53, 1.28, 1.6])
    errors = np.array([0.08, 0.12, 0.06, 0.1, 0.09, 0.15])
    meta = combine_effects(values, errors**2, method_re=method, use_t=True)
    found = season_mean(values)
    assert found.mean == pytest.approx(meta.mean_effect_re, rel=0.03)
    assert found.low < meta.mean_effect_re < found.high
    low, high = meta.conf_int(use_t=True)[3]
    assert (found.high - found.low) == pytest.approx(high - low, rel=0.25)


def test_two_seasons_have_a_mean_and_no_interval() -> None:
    found = season_mean([1.2, 1.6])
    assert found.mean == pytest.approx(1.4)
    assert np.isnan(found.low)
    assert np.isnan(found.high)
    assert found.seasons == 2


def test_a_season_without_a_number_does_not_count() -> None:
    found = season_mean([[1.2, np.nan, 1.6, 1.5], [np.nan] * 4])
    assert found.seasons.tolist() == [3, 0]
    assert found.mean[0] == pytest.approx(4.3 / 3)
    assert np.isnan(found.mean[1])


def test_the_error_of_a_weighted_rate_is_that_of_a_bootstrap_over_vines() -> None:
    clusters, nodes = counts(7, 60, 4)
    weights = np.array([8.0, 8.0, 4.0, 4.0])
    found = weighted_rate(vine_rates(clusters, nodes), weights)

    def total(picked: np.ndarray) -> float:
        return float(weights @ (clusters[picked].sum(axis=0) / nodes[picked].sum(axis=0)))

    boot = bootstrap((np.arange(60),), total, n_resamples=2000, vectorized=False, method="percentile", rng=1)
    assert found.value == pytest.approx(total(np.arange(60)))
    assert found.standard_error == pytest.approx(boot.standard_error, rel=0.08)


def test_the_error_of_a_weighted_rate_is_that_of_leaving_out_one_vine_at_a_time() -> None:
    clusters, nodes = counts(3, 40, 6)
    found = weighted_rate(vine_rates(clusters, nodes), np.full(6, 1 / 6))
    every = np.arange(40)
    left = [(clusters[every != i].sum(axis=0) / nodes[every != i].sum(axis=0)).mean() for i in every]
    jackknife = np.sqrt(39 / 40 * np.sum((np.array(left) - np.mean(left)) ** 2))
    assert found.standard_error == pytest.approx(jackknife, rel=0.05)


def test_alike_nodes_of_a_vine_make_the_error_larger_than_nodes_that_stand_alone() -> None:
    clusters, nodes = np.tile([[6.0], [0.0]], (10, 4)), np.full((20, 4), 3.0)
    found = weighted_rate(vine_rates(clusters, nodes), np.full(4, 0.25))
    alone = np.sqrt(np.tile([2.0, 0.0], 120).var(ddof=1) / 240)
    assert found.standard_error > 3 * alone


def test_one_vine_has_a_rate_and_no_error() -> None:
    found = weighted_rate(vine_rates([[3.0, 4.0]], [[2.0, 2.0]]), [1.0, 1.0])
    assert found.value == pytest.approx(3.5)
    assert np.isnan(found.standard_error)


def test_a_position_without_nodes_leaves_the_sum_unknown_unless_it_has_no_weight() -> None:
    rates = vine_rates([[3.0, 0.0], [2.0, 0.0]], [[2.0, 0.0], [2.0, 0.0]])
    assert np.isnan(weighted_rate(rates, [1.0, 1.0]).value)
    assert weighted_rate(rates, [1.0, 0.0]).value == pytest.approx(1.25)


def test_counts_below_zero_are_refused() -> None:
    with pytest.raises(ValueError, match="clusters must not be negative"):
        vine_rates([[-1.0]], [[2.0]])
