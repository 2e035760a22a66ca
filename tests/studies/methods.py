"""The ways to an interval, each tried on many samples at once: it gives low, high and what they should hold."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

import numpy as np

from tests.studies.populations import Population
from vinebook.formulas.fieller import fieller_interval
from vinebook.formulas.fruitfulness import vine_rates, weighted_rate
from vinebook.formulas.intervals import log_t_interval, t_interval
from vinebook.formulas.products import log_product_interval
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.ratios import log_ratio_interval, panel_mean
from vinebook.formulas.sampling import (
    finite_correction,
    standard_error_of_mean,
    stratified_df,
    stratified_mean,
    stratified_variance,
)
from vinebook.formulas.shares import share_interval

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Ends = tuple[ArrayLike, ArrayLike, ArrayLike]
    OfPopulation = Callable[[np.random.Generator, int, int, Population], Ends]

PANEL_SIZE = 5
MISSING_SHARE = 0.08
PANEL_LIKENESS = 0.3
PART_WEIGHTS = np.array([0.5, 0.3, 0.2])
PART_MEANS = np.array([0.8, 1.0, 1.5])
POSITIONS = 60
FRUIT_CV = 0.3
SEASON_CV = 0.25
"""Clusters per bud vary by about 25 % from year to year: Martinson, Lakso and Bates 2012, Cornell, Grapes 101."""
VINES_A_SEASON = 10
NODES_ON_A_VINE = (12, 21)
CLUSTERS_OF_A_NODE = 1.3


def _moments(values: Floats) -> tuple[Floats, Floats]:
    return np.asarray(values.mean(axis=-1)), np.asarray(values.var(axis=-1, ddof=1))


def plain_t(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Mean ± t times its standard error."""
    mean, variance = _moments(vines.drawn(rng, (draws, n)))
    return *t_interval(mean, standard_error_of_mean(variance, n), n - 1), 1.0


def log_t(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Mean with t on the log scale."""
    mean, variance = _moments(vines.drawn(rng, (draws, n)))
    return *log_t_interval(mean, standard_error_of_mean(variance, n), n - 1), 1.0


def finite(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Mean with t on the log scale and the finite population correction, n of 60 positions drawn."""
    block = vines.drawn(rng, (draws, POSITIONS))
    mean, variance = _moments(block[:, :n])
    error = standard_error_of_mean(variance, n, finite_correction(n, POSITIONS))
    return *log_t_interval(mean, error, n - 1), block.mean(axis=-1)


def panels(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Ratio of panel totals to panel vine counts, t on the log scale; n panels."""
    shared, own = vines.times(PANEL_LIKENESS), vines.times(1 - PANEL_LIKENESS)
    each = shared.drawn(rng, (draws, n, 1)) * own.drawn(rng, (draws, n, PANEL_SIZE))
    bears = rng.random(each.shape) >= MISSING_SHARE
    count, total = bears.sum(axis=-1).astype(np.float64), (each * bears).sum(axis=-1)
    sums = (count, total, count**2, total**2, count * total)
    found = panel_mean(n, *(part.sum(axis=-1) for part in sums))
    return *log_t_interval(*found), 1.0


def parts(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Mean over three parts weighted by their vines, t on the log scale; n vines in all, shared by size."""
    sizes = np.maximum(np.rint(PART_WEIGHTS * n).astype(int), 2)
    found = [_moments(level * vines.drawn(rng, (draws, size))) for level, size in zip(PART_MEANS, sizes, strict=True)]
    means = np.stack([mean for mean, _ in found], axis=-1)
    variances = np.stack([variance / size for (_, variance), size in zip(found, sizes, strict=True)], axis=-1)
    error = np.sqrt(stratified_variance(PART_WEIGHTS, variances))
    df = stratified_df(PART_WEIGHTS, variances, sizes)
    truth = float(PART_WEIGHTS @ PART_MEANS)
    return *log_t_interval(stratified_mean(PART_WEIGHTS, means), error, df), truth


def fieller(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Ratio of sums on the same vines, paired Fieller interval: mass and clusters, say."""
    clusters = Population("gamma", FRUIT_CV).drawn(rng, (draws, n))
    mass = clusters * vines.drawn(rng, (draws, n))
    low, high = _fieller(clusters, mass)
    return low, high, 1.0


def _fieller(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    n = x.shape[-1]
    (mean_x, var_x), (mean_y, var_y) = _moments(x), _moments(y)
    covariance = ((x - mean_x[:, None]) * (y - mean_y[:, None])).sum(axis=-1) / (n - 1)
    limit = np.sqrt(var_x * var_y)
    covariance = np.clip(covariance, -limit, limit)
    found = fieller_interval(mean_y, var_y / n, mean_x, var_x / n, covariance / n, t_quantile(n - 1))
    return np.maximum(found.low, 0.0), np.asarray(found.high)


def log_ratio(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Ratio of two means from samples of their own, n vines each."""
    (above, v_above), (below, v_below) = (_moments(vines.drawn(rng, (draws, n))) for _ in range(2))
    found = log_ratio_interval(
        above, standard_error_of_mean(v_above, n), n - 1, below, standard_error_of_mean(v_below, n), n - 1
    )
    return found.low, found.high, 1.0


def product(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Product of three means from samples of their own, n vines each."""
    mean, variance = _moments(vines.drawn(rng, (draws, 3, n)))
    found = log_product_interval(mean, standard_error_of_mean(variance, n), n - 1)
    return found.low, found.high, 1.0


def share(rng: np.random.Generator, draws: int, n: int, of_nodes: float, likeness: float) -> Ends:
    """Share of nodes, Wilson at the nodes ÷ the design effect; 12 to 20 nodes a vine, those of a vine alike."""
    nodes = rng.integers(*NODES_ON_A_VINE, (draws, n)).astype(np.float64)
    strength = 1 / likeness - 1
    of_vine = rng.beta(of_nodes * strength, (1 - of_nodes) * strength, (draws, n))
    hits = rng.binomial(nodes.astype(int), of_vine).astype(np.float64)
    sums = (nodes, hits, nodes**2, hits**2, nodes * hits)
    found = share_interval(n, *(part.sum(axis=-1) for part in sums))
    return found.low, found.high, of_nodes


def _node_counts(
    rng: np.random.Generator, draws: int, n: int, vines: Population, positions: int
) -> tuple[Floats, Floats]:
    """Give nodes and clusters by vine and position; nodes of a vine share what the vine is like."""
    of_vine = vines.drawn(rng, (draws, n, 1))
    nodes = rng.integers(3, 8, (draws, n, positions)).astype(np.float64)
    clusters = rng.binomial((3 * nodes).astype(int), np.minimum(CLUSTERS_OF_A_NODE / 3 * of_vine, 1.0))
    return nodes, clusters.astype(np.float64)


@functools.cache
def _true_clusters(vines: Population) -> float:
    """Give clusters per node of very many vines: a node bears three at most."""
    rng = np.random.default_rng(1)
    return float(3 * np.minimum(CLUSTERS_OF_A_NODE / 3 * vines.drawn(rng, (2_000_000,)), 1.0).mean())


def alike_fieller(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Clusters per node at one position, the vine as the unit: the interval that `figures` prints."""
    nodes, clusters = _node_counts(rng, draws, n, vines, 1)
    return *_fieller(nodes[..., 0], clusters[..., 0]), _true_clusters(vines)


def alike_positions(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Clusters per node over six positions, the vine as the unit: the interval that `fruitfulness` prints."""
    nodes, clusters = _node_counts(rng, draws, n, vines, 6)
    rates = vine_rates(clusters, nodes)
    found = weighted_rate(rates, np.full(6, 1 / 6))
    return *log_t_interval(found.value, found.standard_error, n - 1), _true_clusters(vines)


def shoots_as_units(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Clusters per node with each node as the unit, as if nodes of a vine were not alike: what is not done here."""
    of_vine = vines.drawn(rng, (draws, n, 1))
    clusters = rng.binomial(3, np.minimum(CLUSTERS_OF_A_NODE / 3 * of_vine, 1.0), (draws, n, 30)).reshape(draws, -1)
    mean, variance = _moments(clusters.astype(np.float64))
    return *log_t_interval(mean, standard_error_of_mean(variance, 30 * n), 30 * n - 1), _true_clusters(vines)


def _of_seasons(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Floats:
    season = Population("lognormal", SEASON_CV).drawn(rng, (draws, n, 1))
    return np.asarray(season * vines.drawn(rng, (draws, n, VINES_A_SEASON)))


def seasons_as_units(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Mean over n seasons of ten vines each, the season as the unit, t on the log scale."""
    mean, variance = _moments(_of_seasons(rng, draws, n, vines).mean(axis=-1))
    return *log_t_interval(mean, standard_error_of_mean(variance, n), n - 1), 1.0


def vines_as_units(rng: np.random.Generator, draws: int, n: int, vines: Population) -> Ends:
    """Mean over n seasons with each vine as the unit, as if seasons were alike: what is not done here."""
    mean, variance = _moments(_of_seasons(rng, draws, n, vines).reshape(draws, -1))
    count = n * VINES_A_SEASON
    return *log_t_interval(mean, standard_error_of_mean(variance, count), count - 1), 1.0
