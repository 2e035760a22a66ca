"""Clusters per node over several node positions, the vine being the unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, numbers, quotient
from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.moments import mean_of_sums, variance_of_sums

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray


class VineRates(NamedTuple):
    """Rates by position, and what each vine adds to them.

    Parameters
    ----------
    rate : ndarray
        Clusters per node at each position [1], shape (..., positions); NaN where no node was counted.
    pull : ndarray
        How much each vine moves each rate [1], shape (..., vines, positions); those of a position sum to 0.
    """

    rate: FloatArray
    pull: FloatArray


class WeightedRate(NamedTuple):
    """A weighted sum of rates.

    Parameters
    ----------
    value, standard_error : ndarray
        Sum and its standard error [unit of the weights × clusters per node].
    pull : ndarray
        How much each vine moves the sum [same unit], shape (..., vines).
    """

    value: FloatArray
    standard_error: FloatArray
    pull: FloatArray


class OverSeasons(NamedTuple):
    """A mean over seasons.

    Parameters
    ----------
    mean, low, high : ndarray
        Mean and limits [unit]; limits NaN below the least number of seasons.
    seasons : ndarray
        Seasons with a number [1].
    """

    mean: FloatArray
    low: FloatArray
    high: FloatArray
    seasons: FloatArray


def vine_rates(clusters: ArrayLike, nodes: ArrayLike) -> VineRates:
    """Give clusters per node at each position, and how much each vine moves them.

    The rate is the sum of clusters ÷ the sum of nodes over vines. A vine moves it by (y - r x) ÷ Σx, first order.

    Parameters
    ----------
    clusters : array_like
        Clusters on the nodes of each vine and position [1], shape (..., vines, positions).
    nodes : array_like
        Nodes counted there, blind ones too [1], same shape.

    Returns
    -------
    VineRates
        Rates [clusters per node] and pulls.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Scheaffer, Mendenhall and Ott, Elementary Survey Sampling, chapter 6.

    Examples
    --------
    >>> found = vine_rates([[2, 4], [4, 4], [0, 5]], [[2, 2], [2, 2], [2, 3]])
    >>> print(found.rate.round(3), found.pull[:, 0].round(3))
    [1.    1.857] [ 0.     0.333 -0.333]
    """
    y, x = np.broadcast_arrays(not_negative("clusters", clusters), not_negative("nodes", nodes))
    total = x.sum(axis=-2, keepdims=True)
    rate = quotient(y.sum(axis=-2, keepdims=True), total)
    pull = quotient(y - rate * x, np.broadcast_to(total, x.shape))
    return VineRates(as_given(rate[..., 0, :]), as_given(pull))


def weighted_rate(rates: VineRates, weights: ArrayLike) -> WeightedRate:
    """Give a weighted sum of the rates of several positions, with its standard error between vines.

    Nodes of one vine are alike, so the positions are not independent: each vine's pulls are added up before they are
    squared. With weights that are nodes laid at each position it is the clusters of a vine.

    Parameters
    ----------
    rates : VineRates
        Rates and pulls of `vine_rates` [clusters per node].
    weights : array_like
        Weight of each position [any], positions on the last axis; a position of weight 0 need not be known.

    Returns
    -------
    WeightedRate
        Sum, standard error with vines - 1, and pulls of the vines; NaN where a position with weight is not known, the
        standard error NaN for one vine.

    Raises
    ------
    ValueError
        If a weight is infinite.

    References
    ----------
    Woodruff, 1971, Journal of the American Statistical Association 66: 411-414 (from memory): the linear terms are
    summed over each unit drawn.

    Examples
    --------
    >>> found = vine_rates([[2, 4], [4, 4], [0, 5]], [[2, 2], [2, 2], [2, 3]])
    >>> total = weighted_rate(found, [8, 8])
    >>> print(f"{total.value:.2f} {total.standard_error:.3f}")
    22.86 5.489
    """
    weight = numbers("weights", weights)
    used = weight != 0
    value = np.where(used, weight * rates.rate, 0.0).sum(axis=-1)
    pull = np.where(used, weight * rates.pull, 0.0).sum(axis=-1)
    vines = pull.shape[-1]
    variance = quotient((pull**2).sum(axis=-1) * vines, vines - 1)
    return WeightedRate(as_given(value), as_given(np.sqrt(variance)), as_given(pull))


def season_mean(values: ArrayLike, least_seasons: int = 3, level_percent: float = 95.0) -> OverSeasons:
    """Give the mean over seasons, the season being the unit: t on the log scale, seasons less one.

    Vines of one season are alike in what the weather made of them, so more vines do not stand for more seasons.

    Parameters
    ----------
    values : array_like
        Number of each season [unit], seasons on the last axis; NaN where a season has none.
    least_seasons : int, default 3
        Seasons below which there is no interval [1].
    level_percent : float, default 95.0
        Coverage [%].

    Returns
    -------
    OverSeasons
        Mean, limits and seasons, shape without the last axis.

    Raises
    ------
    ValueError
        If a value is negative or infinite, or `level_percent` does not lie between 0 and 100.

    References
    ----------
    Hartung and Knapp, 2001, Statistics in Medicine 20: 1771-1782 (from memory), with equal weights, on the log scale.

    Examples
    --------
    >>> found = season_mean([1.4, 1.7, 1.1, 1.5])
    >>> print(f"{found.mean:.3f} {found.low:.2f} {found.high:.2f} {found.seasons:.0f}")
    1.425 1.08 1.88 4
    """
    each = not_negative("values", values)
    known = np.isfinite(each)
    count = known.sum(axis=-1)
    filled = np.where(known, each, 0.0)
    total = filled.sum(axis=-1)
    mean = mean_of_sums(count, total)
    variance = variance_of_sums(count, total, (filled**2).sum(axis=-1))
    error = np.sqrt(quotient(variance, count))
    limits = log_t_interval(mean, error, np.where(count >= least_seasons, count - 1, np.nan), level_percent)
    return OverSeasons(mean, limits.low, limits.high, as_given(count))
