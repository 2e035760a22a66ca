"""The same nodes laid as spurs or as canes, and what stood on basal and old wood: the vine is the unit."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from vinebook.advice.fruit_model import Laid, NoncountShare, SeasonRate, SideBySide
from vinebook.advice.fruit_seasons import pooled_rates
from vinebook.formulas.fruitfulness import vine_rates, weighted_rate
from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.ratios import log_ratio_interval
from vinebook.formulas.shares import share_interval
from vinebook.seasons.sufficing import too_few

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from vinebook.advice.fruit_model import Form, Pooled
    from vinebook.formulas.fruitfulness import WeightedRate
    from vinebook.seasons.node_facts import BearerCounts, NodeSeason

SPUR_BEARERS = ("spur", "head_spur")
"""Bearers that are the spurs of a spur-pruned vine: on the cordon, or on the head of a bush vine."""
FORMS: tuple[Form, ...] = ("spur", "cane")
LEAST_VINES = 2
FEW = "fewer vines than shown to suffice"


def laid_both(
    code: str,
    tallies: Sequence[NodeSeason],
    peers: Mapping[str, Sequence[NodeSeason]],
    frost: frozenset[int],
    nodes: float | None,
) -> tuple[Laid, ...]:
    """Give what the same nodes bear laid either way; a form that was never counted here is a guess.

    A guess rests on the other blocks of the cultivar in this book. Without them the nodes at the base of this block's
    own canes stand in for spurs, though position 1 on a cane is not position 1 on a spur; nothing stands in for canes.

    Parameters
    ----------
    code : the block.
    tallies : its node tallies.
    peers : those of other blocks of its cultivar, by code.
    frost : seasons that frost struck.
    nodes : count nodes of a vine, None where not known.
    """
    found: dict[Form, Laid] = {}
    for form in FORMS:
        one = _laid(form, tallies, frost, nodes, f"nodes counted in {code}")
        for peer, of in peers.items():
            if one is None:
                guess = _laid(form, of, frost, nodes, f"{peer}, same cultivar; not tried in {code}")
                one = None if guess is None else _guessed(guess)
        if one is not None:
            found[form] = one
    if "spur" not in found and "cane" in found:
        base = _laid(
            "spur",
            tallies,
            frost,
            nodes,
            f"nodes 1 and 2 of canes in {code}, which are not nodes of spurs; not tried",
            bearers=("cane",),
            length=2,
        )
        if base is not None:
            found["spur"] = _guessed(base)
    return tuple(found[form] for form in FORMS if form in found)


def _guessed(laid: Laid) -> Laid:
    """Give a guess: the interval of vines counted elsewhere would say more than is known."""
    return Laid(
        laid.form, laid.bearer, laid.nodes_per_bearer, laid.per_node, laid.pooled, laid.frost, laid.nodes,
        laid.clusters, None, None, is_guess=True, from_words=laid.from_words,
    )  # fmt: skip


def counts_of(tally: NodeSeason, form: Form, bearers: Sequence[str] = ()) -> BearerCounts | None:
    """Give the counts of a form in a season: of the bearer with count nodes, None where there is none."""
    for bearer in bearers or (SPUR_BEARERS if form == "spur" else ("cane",)):
        found = tally.of(bearer)
        if found is not None and found.length:
            return found
    return None


def _laid(
    form: Form,
    tallies: Sequence[NodeSeason],
    frost: frozenset[int],
    nodes: float | None,
    words: str,
    *,
    bearers: Sequence[str] = (),
    length: int | None = None,
) -> Laid | None:
    counts = [(tally, kind) for tally in tallies if (kind := counts_of(tally, form, bearers)) is not None]
    if not counts:
        return None
    if length is None:
        length = Counter(kind.length for _, kind in counts).most_common(1)[0][0]
    rates = []
    for tally, kind in counts:
        of = per_count_node(kind, length)
        if of is not None:
            rates.append(season_rate(tally, of, len(kind.units), frost))
    if not rates:
        return None
    pooled, struck = (pooled_rates(rates, frost=is_frost) for is_frost in (False, True))
    clusters, low, high = _of_vine(pooled, nodes)
    return Laid(
        form, counts[-1][1].bearer, length, tuple(rates), pooled, struck, nodes, clusters, low, high,
        is_guess=False, from_words=words,
    )  # fmt: skip


def _of_vine(pooled: Pooled | None, nodes: float | None) -> tuple[float | None, float | None, float | None]:
    """Give the clusters of a vine; one season's own interval is not one of the seasons to come."""
    if nodes is None or pooled is None:
        return None, None, None
    low, high = (None if limit is None else nodes * limit for limit in (pooled.low, pooled.high))
    return nodes * pooled.mean, low, high


def per_count_node(kind: BearerCounts, length: int) -> WeightedRate | None:
    """Give clusters per count node of bearers of a length, positions 1 to that; None where one was not counted.

    Parameters
    ----------
    kind : the counts.
    length : count nodes on a bearer.
    """
    wanted = [position for position in range(1, length + 1) if position in kind.positions]
    if len(wanted) < length:
        return None
    columns = [kind.positions.index(position) for position in wanted]
    rates = vine_rates(kind.clusters[:, columns], kind.nodes[:, columns])
    return weighted_rate(rates, np.full(length, 1 / length))


def season_rate(tally: NodeSeason, of: WeightedRate, units: int, frost: frozenset[int]) -> SeasonRate:
    """Give a season's number with its interval, the vine being the unit."""
    note, low, high = "", None, None
    unit = "panel" if tally.in_panels else "vine"
    if tally.is_by_hand:
        note = "picked by hand, hence no interval"
    elif units < LEAST_VINES:
        note = f"one {unit} has no spread, hence no interval"
    elif of.standard_error > 0 and of.value > 0:
        ends = log_t_interval(of.value, of.standard_error, units - 1)
        low, high = float(ends.low), float(ends.high)
        if too_few("mean", units, of.standard_error * np.sqrt(units) / of.value):
            note = FEW
    return SeasonRate(tally.season, float(of.value), low, high, units, tally.season in frost, note)


def noncount_shares(tallies: Sequence[NodeSeason], frost: frozenset[int]) -> tuple[NoncountShare, ...]:
    """Give the share of clusters on basal and old-wood shoots in the seasons of each form.

    Parameters
    ----------
    tallies : node tallies.
    frost : seasons that frost struck.
    """
    found = []
    for form in FORMS:
        rates = []
        for tally in tallies:
            other: Form = "cane" if form == "spur" else "spur"
            if counts_of(tally, form) is None or counts_of(tally, other) is not None:
                continue
            rate = _noncount(tally, frost)
            if rate is not None:
                rates.append(rate)
        if rates:
            found.append(NoncountShare(form, tuple(rates), pooled_rates(rates, frost=False)))
    return tuple(found)


def _noncount(tally: NodeSeason, frost: frozenset[int]) -> SeasonRate | None:
    units = sorted({unit for kind in tally.kinds for unit in kind.units})
    every, low_ones = np.zeros(len(units)), np.zeros(len(units))
    for kind in tally.kinds:
        at = [units.index(unit) for unit in kind.units]
        is_noncount = np.array([position < 1 for position in kind.positions])
        every[at] += kind.clusters.sum(axis=1)
        low_ones[at] += kind.clusters[:, is_noncount].sum(axis=1)
    if not every.sum():
        return None
    n = len(units)
    found = share_interval(
        n, every.sum(), low_ones.sum(), (every**2).sum(), (low_ones**2).sum(), (every * low_ones).sum()
    )
    has = n >= LEAST_VINES and not tally.is_by_hand and np.isfinite(found.low)
    low, high = (100 * float(limit) if has else None for limit in (found.low, found.high))
    return SeasonRate(tally.season, 100 * float(found.share), low, high, n, tally.season in frost)


def side_by_side(tallies: Sequence[NodeSeason], frost: frozenset[int]) -> SideBySide | None:
    """Give canes against spurs in seasons in which both were counted, None where there is no such season.

    Vines that bear both are alike: the two share what the vine is like. Vines of their own are two samples.

    Parameters
    ----------
    tallies : node tallies.
    frost : seasons that frost struck.
    """
    rates, shares_vines = [], False
    for tally in tallies:
        spur, cane = (counts_of(tally, form) for form in FORMS)
        if spur is None or cane is None:
            continue
        below, above = per_count_node(spur, spur.length), per_count_node(cane, cane.length)
        if below is None or above is None or not below.value or not above.value:
            continue
        common = set(spur.units) & set(cane.units)
        shares_vines |= bool(common)
        low, high = _ratio_ends(spur, cane, below, above, common) if not tally.is_by_hand else (None, None)
        count = len(set(spur.units) | set(cane.units))
        rates.append(
            SeasonRate(tally.season, float(above.value / below.value), low, high, count, tally.season in frost)
        )
    return SideBySide(tuple(rates), pooled_rates(rates, frost=False), shares_vines) if rates else None


def _ratio_ends(
    spur: BearerCounts, cane: BearerCounts, below: WeightedRate, above: WeightedRate, common: set[tuple[int, int, int]]
) -> tuple[float | None, float | None]:
    if min(len(spur.units), len(cane.units)) < LEAST_VINES:
        return None, None
    if not common:
        found = log_ratio_interval(
            above.value, above.standard_error, len(cane.units) - 1, below.value, below.standard_error,
            len(spur.units) - 1,
        )  # fmt: skip
        ends = float(found.low), float(found.high)
    else:
        pulls = dict(zip(cane.units, above.pull / above.value, strict=True))
        for unit, pull in zip(spur.units, below.pull / below.value, strict=True):
            pulls[unit] = pulls.get(unit, 0.0) - pull
        each = np.array(list(pulls.values()))
        n = len(each)
        error = np.sqrt((each**2).sum() * n / (n - 1))
        ratio = above.value / below.value
        limits = log_t_interval(ratio, ratio * error, min(len(spur.units), len(cane.units)) - 1)
        ends = float(limits.low), float(limits.high)
    return ends if np.isfinite(ends).all() else (None, None)
