"""The prediction of the next season: the same as worked out densely, and seasons are its repeats."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from vinebook.formulas import prediction as formula
from vinebook.formulas.growth import days_off_lag_phase
from vinebook.formulas.prediction import (
    LAG_PHASE_PRIORS,
    LogPrediction,
    SpreadPriors,
    predict_log,
    prediction_interval,
    prediction_variance,
    sampling_variance,
)

Floats = np.ndarray


def history(seed: int, seasons: int, blocks: int, season_sd: float = 0.15) -> Floats:
    """Give logarithms of factors around 2, some missing, the last of the last season among these."""
    rng = np.random.default_rng(seed)
    y = np.log(2) + rng.normal(0, season_sd, (seasons, 1)) + rng.normal(0, 0.1, (1, blocks))
    y = y + rng.normal(0, 0.08, (seasons, blocks))
    y[rng.random(y.shape) < 0.25] = np.nan
    y[-1, -1] = np.nan
    return y


def dense(
    y: Floats, variance: float, here: tuple[int, int], priors: SpreadPriors, nodes: tuple[int, int, int]
) -> LogPrediction:
    """Give the prediction by the joint normal of all values, over a grid of the whole prior, written out here."""
    at = np.argwhere(np.isfinite(y))
    known = np.array([y[i, j] for i, j in at]) - priors.centre
    both = np.vstack([at, [here]])
    same = both[:, None, :] == both[None, :, :]
    ways = np.meshgrid(*[(np.arange(n) + 0.5) * 3 / n for n in nodes], indexing="ij")
    grid = np.stack([way.ravel() for way in ways], axis=-1)
    shares, means, variances = [], [], []
    for point in grid:
        season, block, rest = (point * np.array(priors[2:])) ** 2
        cov = priors.centre_sd**2 + season * same[..., 0] + block * same[..., 1] + rest * np.eye(len(both))
        inner = cov[:-1, :-1] + variance * np.eye(len(known))
        gain = np.linalg.solve(inner, np.stack([cov[-1, :-1], known], axis=-1))
        means.append(priors.centre + gain[:, 0] @ known)
        variances.append(cov[-1, -1] - gain[:, 0] @ cov[-1, :-1])
        shares.append(-0.5 * (known @ gain[:, 1] + np.linalg.slogdet(inner)[1] + point @ point))
    share = np.exp(np.array(shares) - max(shares))
    return LogPrediction(share / share.sum(), np.array(means), np.array(variances))


@pytest.mark.parametrize("seed", [1, 2])
def test_on_one_grid_the_prediction_is_that_of_the_dense_normal_model(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(formula, "GRIDS", ((10, 6, 6),))
    y = history(seed, 4, 3)
    found = predict_log(y, 0.002, season=3, block=2)
    for one, other in zip(found, dense(y, 0.002, (3, 2), LAG_PHASE_PRIORS, (10, 6, 6)), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-7, atol=1e-12)


@pytest.mark.parametrize("blocks", [1, 4, 8])
@pytest.mark.parametrize("are_picked", [False, True])
def test_the_last_grid_lies_where_the_spreads_are(blocks: int, are_picked: bool) -> None:
    y = history(8, 6, blocks)
    if not are_picked:
        y[-1] = np.nan
    found = np.array(prediction_interval(predict_log(y, 0.002, season=5, block=blocks - 1), 95))
    fine = dense(y, 0.002, (5, blocks - 1), LAG_PHASE_PRIORS, (20, 14, 16))
    # The guide's page `crop` says that limits lie within 1 % of those of a fine grid.
    np.testing.assert_allclose(found, prediction_interval(fine, 95), atol=0.01)


def test_a_new_season_and_block_are_an_empty_row_and_column() -> None:
    y = history(3, 3, 2)
    new = predict_log(y)
    padded = np.pad(y, ((0, 1), (0, 1)), constant_values=np.nan)
    for one, other in zip(new, predict_log(padded, season=3, block=2), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-12)


def test_histories_side_by_side_are_each_their_own() -> None:
    both = np.stack([history(4, 3, 2), history(5, 3, 2)])
    limits = prediction_interval(predict_log(both), 80)
    for at in range(2):
        alone = prediction_interval(predict_log(both[at]), 80)
        np.testing.assert_allclose([end[at] for end in limits], alone, rtol=1e-10)


def test_without_a_history_the_centre_is_two_and_wide() -> None:
    middle, low, high = np.exp(prediction_interval(predict_log(np.full((1, 1), np.nan), season=0, block=0), 95))
    assert middle == pytest.approx(2.0)
    assert low < 1.1
    assert high > 3.6


def test_forty_blocks_of_one_season_tell_less_than_one_block_of_eight() -> None:
    rng = np.random.default_rng(6)
    one_season = np.log(2) + rng.normal(0, 0.05, (1, 40))
    one_block = np.log(2) + rng.normal(0, 0.05, (8, 1))
    wide = prediction_variance(predict_log(one_season, block=0))
    narrow = prediction_variance(predict_log(one_block, block=0))
    assert wide > 1.5 * narrow


def test_blocks_of_the_same_season_that_are_picked_already_narrow_it() -> None:
    y = history(7, 4, 5)
    y[-1] = np.nan
    before = prediction_variance(predict_log(y, season=3, block=4))
    y[-1, :4] = np.log(2.2)
    assert prediction_variance(predict_log(y, season=3, block=4)) < before


def test_a_block_of_its_own_kind_is_known_by_its_past() -> None:
    y = np.log([[2.0, 2.0, 2.6], [1.9, 1.9, 2.5], [2.1, 2.1, 2.7], [2.0, 2.0, 2.6]])
    known = prediction_interval(predict_log(y, block=2))
    assert np.exp(known.middle) > 2.4
    assert np.exp(prediction_interval(predict_log(y)).middle) < 2.35


def test_sampling_error_of_the_past_widens_the_prediction_of_the_next() -> None:
    y = history(8, 5, 1)
    y[:, 0] = np.log([2.0, 2.3, 1.8, 2.1, 2.2])
    exact = prediction_variance(predict_log(y, 0.0, block=0))
    noisy = prediction_variance(predict_log(y, 0.02, block=0))
    centre_only = predict_log(y, 1e6, block=0)
    assert noisy != exact
    assert float((centre_only.weight * centre_only.mean).sum()) == pytest.approx(np.log(2.0), abs=1e-3)


@pytest.mark.parametrize("level", [80.0, 95.0, 99.0])
def test_limits_of_a_single_normal_are_those_of_scipy(level: float) -> None:
    one = LogPrediction(np.ones(1), np.array([0.7]), np.array([0.03]))
    found = prediction_interval(one, level, 0.01)
    low, high = stats.norm(0.7, 0.2).interval(level / 100)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-6)
    assert found.middle == pytest.approx(0.7, abs=1e-6)


def test_limits_of_a_mixture_are_quantiles_of_its_draws() -> None:
    rng = np.random.default_rng(9)
    weight, mean, variance = np.array([0.3, 0.7]), np.array([0.0, 0.5]), np.array([0.04, 0.25])
    part = rng.choice(2, 400_000, p=weight)
    draws = rng.normal(mean[part], np.sqrt(variance[part]))
    found = prediction_interval(LogPrediction(weight, mean, variance), 80)
    np.testing.assert_allclose(found, np.quantile(draws, [0.5, 0.1, 0.9]), atol=0.005)


def test_a_sampled_mean_takes_the_width_of_students_t() -> None:
    variance = sampling_variance(30, 3, 9, 95)
    assert np.sqrt(variance) * stats.norm.ppf(0.975) == pytest.approx(0.1 * stats.t(9).ppf(0.975))
    assert sampling_variance(1200, 0, np.nan) == 0
    assert np.isnan(sampling_variance(30, 3, 0))


def test_what_cannot_be_predicted_is_refused() -> None:
    with pytest.raises(ValueError, match="two axes"):
        predict_log([0.7, 0.8])
    with pytest.raises(ValueError, match="has a value"):
        predict_log(np.log([[2.0]]), season=0, block=0)
    with pytest.raises(ValueError, match="not be negative"):
        predict_log(np.log([[2.0]]), -1.0)
    with pytest.raises(ValueError, match="between 0 and 100"):
        prediction_interval(predict_log(np.log([[2.0]])), 100)


def test_a_weighing_is_early_within_or_late() -> None:
    np.testing.assert_array_equal(days_off_lag_phase([44, 52, 61]), [-6, 0, 6])
