"""The next value of a number that differs by season and block, on the log scale: seasons are the repeats."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, numbers, quotient
from vinebook.formulas.quantiles import normal_quantile, t_quantile

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

GRIDS = ((6, 5, 5), (5, 4, 4), (10, 6, 6))
"""Points on which the spreads of seasons, blocks and the rest are summed; all but the last grid look where they lie."""
REACH = 3.0
"""Spreads are looked for up to this many times the scale of their prior."""
TAIL = 0.002
"""The share of each spread that a look may leave outside on either side; it is widened by a step then."""
BISECTIONS = 50
REACH_SD = 8.0
"""A quantile of a mixture is looked for within this many standard deviations of its widest part."""
# Abramowitz and Stegun 1964, 7.1.26: the error function within 1.5e-7.
ERF_P = 0.3275911
ERF_A = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)


class SpreadPriors(NamedTuple):
    """What is believed of a logarithm before the book speaks: centre and spreads, all on the log scale.

    Parameters
    ----------
    centre, centre_sd : float
        Mean and standard deviation of the normal prior of the centre [log unit].
    season_sd, block_sd, rest_sd : float
        Scales of the half-normal priors of the standard deviation between seasons, between blocks, and of what is left
        of a block in a season [log unit].
    """

    centre: float
    centre_sd: float
    season_sd: float
    block_sd: float
    rest_sd: float


LAG_PHASE_PRIORS = SpreadPriors(float(np.log(2.0)), 0.35, 0.20, 0.15, 0.15)
"""Centre 2, as Price's rule doubles; with 95 % the centre lies between 1.0 and 4.0. The spreads allow for growers' own
factors of 1.5 to 2.5 (from memory) and more: half of the prior lies above 14, 10 and 10 percent."""


class LogPrediction(NamedTuple):
    """What a logarithm may turn out to be: a mixture of normal distributions on the last axis.

    Parameters
    ----------
    weight : ndarray
        Share of each, adding up to 1 [1].
    mean, variance : ndarray
        Mean and variance of each [log unit, log unit squared].
    """

    weight: FloatArray
    mean: FloatArray
    variance: FloatArray


class LogInterval(NamedTuple):
    """Median and limits of a logarithm.

    Parameters
    ----------
    middle, low, high : ndarray
        Median, lower and upper limit [log unit].
    """

    middle: FloatArray
    low: FloatArray
    high: FloatArray


def sampling_variance(
    estimate: ArrayLike, standard_error: ArrayLike, df: ArrayLike, level_percent: float = 95.0
) -> FloatArray:
    """Give the variance of the logarithm of an estimate, widened so that normal limits have the width of Student's t.

    Parameters
    ----------
    estimate, standard_error : array_like
        Estimate and its standard error [same unit], any shapes that broadcast.
    df : array_like
        Degrees of freedom [1]; not looked at where the standard error is 0.
    level_percent : float, default 95.0
        Coverage of the limits that it will be used for [%].

    Returns
    -------
    ndarray
        Squared coefficient of variation × (t ÷ z)² [log unit squared]; NaN where the estimate is 0 or has no error.

    Raises
    ------
    ValueError
        If an estimate or standard error is negative or infinite, or `level_percent` not between 0 and 100.

    References
    ----------
    Cochran, 1977, Sampling Techniques, 3rd ed., section 2.8 (t for z in small samples; from memory).

    Examples
    --------
    >>> print(f"{sampling_variance(30, 3, 19):.4f}")
    0.0114
    """
    error = not_negative("standard_error", standard_error)
    cv = quotient(error, not_negative("estimate", estimate))
    widened = (cv * np.asarray(t_quantile(df, level_percent)) / normal_quantile(level_percent)) ** 2
    return as_given(np.where(error == 0, 0.0, widened))


def predict_log(
    values: ArrayLike,
    variances: ArrayLike = 0.0,
    *,
    season: int | None = None,
    block: int | None = None,
    priors: SpreadPriors = LAG_PHASE_PRIORS,
) -> LogPrediction:
    """Give what a logarithm may be in a season and block without one, from those of other seasons and blocks.

    log y = centre + season + block + rest + sampling error, all normal. Seasons are the repeats: a wet finish moves all
    blocks together, so forty blocks of one season are one season. For given spreads the posterior is exact (seasons and
    centre are solved for, blocks eliminated); over the spreads it is summed on a grid, each weighed by its prior and by
    how well it explains the values. Two coarser grids find where the spreads lie, and the last is laid there: many
    blocks tell them more closely than a grid over the whole prior could follow. No sampling is done and the same input
    gives the same output.

    Parameters
    ----------
    values : array_like
        Logarithms, seasons on the second last axis, blocks on the last, NaN where there is none [log unit]; axes before
        these are histories that are worked out side by side.
    variances : array_like, default 0.0
        Sampling variance of each value [log unit squared].
    season : int, optional
        Index of the season to predict [1]; a new one where None.
    block : int, optional
        Index of the block to predict [1]; a new one where None.
    priors : SpreadPriors
        What is believed before [log unit]; that of a growth factor at lag phase unless given.

    Returns
    -------
    LogPrediction
        Mixture, its parts on the last axis, the axes of the histories before it.

    Raises
    ------
    ValueError
        If values are infinite, a variance is negative, there are not two axes, or the cell to predict has a value.

    References
    ----------
    Gelman, Carlin, Stern, Dunson, Vehtari and Rubin, 2013, Bayesian Data Analysis, 3rd ed., sections 5.4 and 5.6-5.7
    (from memory): normal hierarchical model, its spreads on a grid.

    Examples
    --------
    >>> history = np.log([[1.9, 2.0], [2.2, 2.3], [2.0, np.nan]])
    >>> middle, low, high = np.exp(prediction_interval(predict_log(history, block=1), 80))
    >>> print(f"{middle:.2f} {low:.2f} {high:.2f}")
    2.11 1.74 2.55
    """
    y, v, season, block = _laid_out(values, variances, season, block)
    low, high = np.zeros((*y.shape[:-2], 3)), np.full((*y.shape[:-2], 3), REACH)
    for nodes in GRIDS[:-1]:
        look = _on_grid(y, v, (season, block), priors, _grid(low, high, nodes))
        low, high = _where_it_lies(look.weight, low, high, nodes)
    return _on_grid(y, v, (season, block), priors, _grid(low, high, GRIDS[-1]))


def prediction_interval(
    prediction: LogPrediction, level_percent: float = 95.0, other_variance: ArrayLike = 0.0
) -> LogInterval:
    """Give median and limits of a predicted logarithm, with the variance of independent normal terms added to it.

    Parameters
    ----------
    prediction : LogPrediction
        Mixture [log unit].
    level_percent : float, default 95.0
        Coverage; as much lies below the lower limit as above the upper one [%].
    other_variance : array_like, default 0.0
        Variance of what is added to the logarithm [log unit squared], shape of the histories.

    Returns
    -------
    LogInterval
        Median and limits [log unit], shape of the histories.

    Raises
    ------
    ValueError
        If a variance is negative or infinite, or `level_percent` not between 0 and 100.

    References
    ----------
    Gelman et al., 2013, Bayesian Data Analysis, 3rd ed., section 2.5 (from memory): limits of a posterior.

    Examples
    --------
    >>> one = LogPrediction(np.ones(1), np.zeros(1), np.ones(1))
    >>> print(f"{prediction_interval(one, 95).high:.3f}")
    1.960
    """
    normal_quantile(level_percent)
    variance = prediction.variance + not_negative("other_variance", other_variance)[..., None]
    sd = np.sqrt(variance)
    tail = (100 - level_percent) / 200
    asked = np.array([0.5, tail, 1 - tail])
    reach = REACH_SD * sd.max(axis=-1)
    low = np.repeat((prediction.mean.min(axis=-1) - reach)[..., None], 3, axis=-1)
    high = np.repeat((prediction.mean.max(axis=-1) + reach)[..., None], 3, axis=-1)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        z = (middle[..., None] - prediction.mean[..., None, :]) / sd[..., None, :]
        is_below = (prediction.weight[..., None, :] * _normal_cdf(z)).sum(-1) < asked
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    found = (low + high) / 2
    return LogInterval(as_given(found[..., 0]), as_given(found[..., 1]), as_given(found[..., 2]))


def prediction_variance(prediction: LogPrediction) -> FloatArray:
    """Give the variance of a predicted logarithm: within the parts of the mixture, and between them.

    Parameters
    ----------
    prediction : LogPrediction
        Mixture [log unit].

    Returns
    -------
    ndarray
        Variance [log unit squared], shape of the histories.

    Raises
    ------
    ValueError
        If the parts do not match in shape.

    References
    ----------
    Gelman et al., 2013, Bayesian Data Analysis, 3rd ed., section 1.8 (from memory): law of total variance.

    Examples
    --------
    >>> print(prediction_variance(LogPrediction(np.array([0.5, 0.5]), np.array([-1.0, 1.0]), np.array([1.0, 1.0]))))
    2.0
    """
    weight, mean, variance = np.broadcast_arrays(*prediction)
    centre = (weight * mean).sum(-1, keepdims=True)
    return as_given((weight * (variance + (mean - centre) ** 2)).sum(-1))


def _on_grid(
    y: FloatArray, v: FloatArray, here: tuple[int, int], priors: SpreadPriors, grid: FloatArray
) -> LogPrediction:
    """Give the prediction of one cell with the spreads summed on a grid, in units of the scales of their priors."""
    season, block = here
    season_var, block_var, rest_var = np.moveaxis((grid * np.array(priors[2:])) ** 2, -1, 0)
    observed = np.isfinite(y)
    # Axes: histories, spreads of the grid, seasons, blocks.
    weight = np.where(observed[..., None, :, :], 1 / (rest_var[..., None, None] + v[..., None, :, :]), 0.0)
    centred = np.where(observed, y - priors.centre, 0.0)[..., None, :, :]
    wy = weight * centred
    of_block, r = weight.sum(-2), wy.sum(-2)
    p = of_block + 1 / block_var[..., None]
    pull = weight / p[..., None, :]
    seasons = y.shape[-2]
    shape = (*weight.shape[:-2], seasons + 1, seasons + 1)
    q, b = np.empty(shape), np.empty(shape[:-1])
    q[..., 0, 0] = of_block.sum(-1) - (of_block**2 / p).sum(-1) + 1 / priors.centre_sd**2
    q[..., 1:, 0] = q[..., 0, 1:] = weight.sum(-1) - (pull * of_block[..., None, :]).sum(-1)
    q[..., 1:, 1:] = -pull @ np.swapaxes(weight, -1, -2)
    at = np.arange(seasons)
    q[..., 1 + at, 1 + at] += weight.sum(-1) + 1 / season_var[..., None]
    b[..., 0] = r.sum(-1) - (of_block * r / p).sum(-1)
    b[..., 1:] = wy.sum(-1) - (pull * r[..., None, :]).sum(-1)
    # What the value asked for is made of: the centre, its season, and its block as far as the others do not tell it.
    a = np.zeros_like(b)
    a[..., 0] = 1 - of_block[..., block] / p[..., block]
    a[..., 1:] = -pull[..., block]
    a[..., 1 + season] += 1
    solved = np.linalg.solve(q, np.stack([b, a], axis=-1))
    mean = priors.centre + (a * solved[..., 0]).sum(-1) + r[..., block] / p[..., block]
    variance = (a * solved[..., 1]).sum(-1) + 1 / p[..., block] + rest_var
    left = (wy * centred).sum((-1, -2)) - (r**2 / p).sum(-1) - (b * solved[..., 0]).sum(-1)
    log_likelihood = -0.5 * (
        left
        - np.log(np.where(weight > 0, weight, 1.0)).sum((-1, -2))
        + np.log(p * block_var[..., None]).sum(-1)
        + np.linalg.slogdet(q)[1]
        + seasons * np.log(season_var)
    )
    log_weight = log_likelihood - 0.5 * (grid**2).sum(axis=-1)
    share = np.exp(log_weight - log_weight.max(axis=-1, keepdims=True))
    return LogPrediction(share / share.sum(axis=-1, keepdims=True), mean, variance)


def _laid_out(
    values: ArrayLike, variances: ArrayLike, season: int | None, block: int | None
) -> tuple[FloatArray, FloatArray, int, int]:
    """Give values and variances with a row or column for what is new, and the cell to predict."""
    y = numbers("values", values)
    if y.ndim < 2:
        raise ValueError("values must have seasons and blocks on their last two axes")
    v = np.broadcast_to(not_negative("variances", variances), y.shape)
    v = np.where(np.isfinite(y), v, 0.0)
    more = [(0, 0)] * (y.ndim - 2) + [(0, int(season is None)), (0, int(block is None))]
    y, v = np.pad(y, more, constant_values=np.nan), np.pad(v, more)
    if np.isnan(v).any():
        raise ValueError("a value without a variance")
    at = (y.shape[-2] - 1 if season is None else season, y.shape[-1] - 1 if block is None else block)
    if np.isfinite(y[..., at[0], at[1]]).any():
        raise ValueError("the cell to predict has a value")
    return y, v, *at


def _grid(low: FloatArray, high: FloatArray, nodes: tuple[int, int, int]) -> FloatArray:
    """Give the points of a grid over each history's ranges of the three spreads, three numbers a point."""
    axes = [low[..., at, None] + (np.arange(n) + 0.5) * (high - low)[..., at, None] / n for at, n in enumerate(nodes)]
    ways = [axis[(..., *(slice(None) if at == of else None for of in range(3)))] for at, axis in enumerate(axes)]
    points = np.stack(np.broadcast_arrays(*ways), axis=-1)
    return points.reshape(*low.shape[:-1], -1, 3)


def _where_it_lies(
    weight: FloatArray, low: FloatArray, high: FloatArray, nodes: tuple[int, int, int]
) -> tuple[FloatArray, FloatArray]:
    """Give the ranges that hold all but the tails of each spread by the weights of a grid, a step wider."""
    cube = weight.reshape(*weight.shape[:-1], *nodes)
    step = (high - low) / nodes
    narrow = []
    for at, n in enumerate(nodes):
        others = tuple(axis - 3 for axis in range(3) if axis != at)
        below = np.cumsum(cube.sum(axis=others), axis=-1)
        first = np.minimum((below < TAIL).sum(axis=-1), n - 1)
        last = np.minimum((below < 1 - TAIL).sum(axis=-1), n - 1)
        narrow.append((low[..., at] + (first - 0.5) * step[..., at], low[..., at] + (last + 1.5) * step[..., at]))
    lows, highs = (np.stack(ends, axis=-1) for ends in zip(*narrow, strict=True))
    return np.maximum(lows, 0.0), np.minimum(highs, REACH)


def _normal_cdf(z: FloatArray) -> FloatArray:
    """Give the share of a normal distribution below z, within 1e-7."""
    x = np.abs(z) / np.sqrt(2.0)
    t = 1 / (1 + ERF_P * x)
    rest = t * (ERF_A[0] + t * (ERF_A[1] + t * (ERF_A[2] + t * (ERF_A[3] + t * ERF_A[4])))) * np.exp(-(x**2))
    upper = 0.5 * rest
    return np.asarray(np.where(z > 0, 1 - upper, upper), dtype=np.float64)
