"""What past seasons say of a number that is not counted yet: growth factor, cluster weight, clusters, share picked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.growth import (
    LAG_PHASE_PRIORS,
    LogPrediction,
    SpreadPriors,
    predict_log,
    prediction_interval,
    prediction_variance,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from vinebook.seasons.crop_model import CropCounts, Measured, PastSeason

FACTOR_PRIORS = {
    "lag_phase": LAG_PHASE_PRIORS,
    # Clusters at veraison are past the halt of lag phase; the centre of 1.5 is common practice, no source.
    "veraison": LAG_PHASE_PRIORS._replace(centre=math.log(1.5)),
}
WEIGHT_PRIORS = SpreadPriors(math.log(130.0), 1.0, 0.30, 0.30, 0.20)
"""Cluster weight at harvest, g: a wide centre; mean bunch weight differs between years by 15 to 50 % (IFV)."""
CLUSTERS_PRIORS = SpreadPriors(math.log(30.0), 1.5, 0.30, 0.30, 0.20)
"""Clusters of a vine where none were counted: a wide centre; spreads as for the weight; no source."""
PER_NODE_PRIORS = SpreadPriors(math.log(1.5), 1.0, 0.30, 0.30, 0.20)
"""Clusters ÷ nodes kept: a wide centre; spreads as for the weight; no source."""
LATE_DAYS = 7
"""A lot weighed this many days off the past ones has another factor; common practice, no source."""
MOST_SEASONS = 30
"""Older seasons are left out: they cost time and tell little."""


@dataclass(frozen=True, slots=True)
class Past:
    """What past seasons say of a number.

    Attributes
    ----------
    prediction : of its logarithm.
    value, variance : median, and variance of the logarithm.
    n, seasons, blocks : values, seasons and blocks that it rests on.
    own_seasons : seasons of the block itself among them.
    cultivars : other cultivars that it was taken from; empty where it is the block's own.
    days : days after bloom of the weights in it, least and most.
    """

    prediction: LogPrediction
    value: float
    variance: float
    n: int
    seasons: int
    blocks: int
    own_seasons: int
    cultivars: tuple[str, ...] = ()
    days: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class _Value:
    block: str
    season: int
    region: str
    cultivar: str
    log: float
    variance: float
    days: int | None = None


def known_by(past: Iterable[PastSeason], counts: CropCounts) -> list[PastSeason]:
    """Give the seasons that are no part of an estimate's own season and block, of seasons up to its own."""
    own = (counts.block, counts.season)
    return [one for one in past if one.season <= counts.season and (one.block, one.season) != own]


def past_factor(past: Sequence[PastSeason], counts: CropCounts, stage: str) -> Past:
    """Give what is known of the growth factor from a stage on: the cultivar's, else that of others, else the prior.

    Hand-cut clusters of drawn vines teach it; hand-picked vines and single lots do not.

    Parameters
    ----------
    past : seasons of the book.
    counts : block, season and day.
    stage : lag_phase or veraison.
    """

    def value(one: PastSeason) -> _Value | None:
        harvest, early = one.harvest_weight, one.weights.get(stage)
        if harvest is None or early is None or harvest.on > counts.on or not harvest.has_spread or not early.has_spread:
            return None
        log = math.log(harvest.value / early.value)
        days = one.days_after_bloom.get(stage)
        return _Value(one.block, one.season, one.region, one.cultivar, log, _cv2(harvest) + _cv2(early), days)

    return _predicted(past, counts, value, FACTOR_PRIORS[stage], others=True)


def past_weight(past: Sequence[PastSeason], counts: CropCounts) -> Past | None:
    """Give what past harvests say of the weight of a cluster at harvest, g; None where the cultivar has none."""

    def value(one: PastSeason) -> _Value | None:
        harvest = one.harvest_weight
        if harvest is None or harvest.on > counts.on or not harvest.has_spread:
            return None
        return _Value(one.block, one.season, one.region, one.cultivar, math.log(harvest.value), _cv2(harvest))

    found = _predicted(past, counts, value, WEIGHT_PRIORS, others=False)
    return found if found.n else None


def past_clusters(past: Sequence[PastSeason], counts: CropCounts, *, per_node: bool) -> Past | None:
    """Give what past seasons of the block say of clusters per vine, or of clusters per node kept; None without any."""

    def value(one: PastSeason) -> _Value | None:
        clusters, nodes = one.clusters, one.nodes
        if one.block != counts.block or one.season >= counts.season or clusters is None:
            return None
        if clusters.value <= 0 or (per_node and (nodes is None or nodes.value <= 0)):
            return None
        over = nodes.value if per_node and nodes is not None else 1.0
        variance = _cv2(clusters) + (_cv2(nodes) if per_node and nodes is not None else 0.0)
        return _Value(one.block, one.season, one.region, one.cultivar, math.log(clusters.value / over), variance)

    priors = PER_NODE_PRIORS if per_node else CLUSTERS_PRIORS
    found = _predicted(past, counts, value, priors, others=False)
    return found if found.n else None


def past_share(past: Sequence[PastSeason], counts: CropCounts) -> tuple[float, float, int]:
    """Give the share of this block's past crops that was picked, the variance of its logarithm, and the seasons.

    Parameters
    ----------
    past : seasons of the book.
    counts : block, season and day.
    """
    shares = [
        one.picked_t / one.crop_t
        for one in known_by(past, counts)
        if one.block == counts.block
        and one.closed_on is not None
        and one.closed_on <= counts.on
        and one.crop_t
        and one.picked_t
    ]
    if not shares:
        return 1.0, 0.0, 0
    logs = np.log(shares)
    n = len(logs)
    variance = float(logs.var(ddof=1)) * (1 + 1 / n) if n > 1 else 0.0
    return float(np.exp(logs.mean())), variance, n


def _cv2(measured: Measured) -> float:
    return 0.0 if measured.se is None else (measured.se / measured.value) ** 2


def _predicted(
    past: Sequence[PastSeason],
    counts: CropCounts,
    value: Callable[[PastSeason], _Value | None],
    priors: SpreadPriors,
    *,
    others: bool,
) -> Past:
    """Give the prediction from the values of the cultivar, else, where asked, from those of all others."""
    known = [found for one in known_by(past, counts) if (found := value(one)) is not None]
    known = [one for one in known if one.season > counts.season - MOST_SEASONS]
    same = [one for one in known if one.cultivar.casefold() == counts.cultivar.casefold()]
    used = same or (known if others else [])
    seasons = sorted({(one.region, one.season) for one in used} | {(counts.region, counts.season)})
    blocks = sorted({one.block for one in used} | {counts.block})
    logs = np.full((len(seasons), len(blocks)), np.nan)
    variances = np.zeros_like(logs)
    for one in used:
        at = seasons.index((one.region, one.season)), blocks.index(one.block)
        logs[at], variances[at] = one.log, one.variance
    here = seasons.index((counts.region, counts.season)), blocks.index(counts.block)
    prediction = predict_log(logs, variances, season=here[0], block=here[1], priors=priors)
    days = [one.days for one in used if one.days is not None]
    return Past(
        prediction,
        math.exp(float(prediction_interval(prediction).middle)),
        float(prediction_variance(prediction)),
        len(used),
        len({(one.region, one.season) for one in used}),
        len({one.block for one in used}),
        len({one.season for one in used if one.block == counts.block}),
        () if same else tuple(sorted({one.cultivar for one in used})),
        (min(days), max(days)) if days else None,
    )
