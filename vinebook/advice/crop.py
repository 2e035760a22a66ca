"""How much crop is coming: an estimate from the counts that are there, its interval, and what would help most."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vinebook.advice.crop_history import LATE_DAYS, Past, past_clusters, past_factor, past_share, past_weight
from vinebook.advice.crop_model import CropEstimate, CropWishes, Help, Limits, Part
from vinebook.advice.crop_notes import disturbance_notes, factor_notes, interval_note, plural
from vinebook.errors import AdviceError
from vinebook.formulas.growth import LogPrediction, crop_to_come_t, prediction_interval, sampling_variance
from vinebook.formulas.quantiles import t_quantile
from vinebook.seasons.crop_model import LOTS_OF, STAGES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.seasons.crop_model import CropCounts, Measured, PastSeason, Stage

LEVELS = (80, 95)
SET_AFTER_DAYS = 14
"""Fruit set is taken to be over this many days after full bloom where no stage was read; common practice, no source."""
SET_FROM = {"north": (0, 6, 20), "south": (-1, 12, 20)}
"""Where bloom was not read either, from this day on: years from the season, month, day; common practice, no source."""
AN_HOUR = {"vine": 20, "panel": 5, "lot": 6, "row": 8}
"""Vines or panels whose clusters are counted, lots cut and weighed, rows walked in an hour; no source, a guess."""
LEAST_PAST = 2
"""From this many seasons on past estimates tell a spread."""
STAGE_WORDS = {
    "bud_break": "at bud break",
    "set": "after set",
    "lag_phase": "at lag phase",
    "veraison": "at veraison",
    "near_harvest": "near harvest",
}


@dataclass(frozen=True, slots=True)
class PastError:
    """How far an estimate that the book could have made lay from what was picked, on the log scale."""

    block: str
    season: int
    stage: Stage
    log_error: float
    closed_on: dt.date


@dataclass(frozen=True, slots=True)
class _Term:
    """One factor: its number, what it rests on, and its error: counted, predicted, or a variance of the logarithm."""

    name: str
    value: float
    unit: str
    rests_on: str
    measured: Measured | None = None
    past: Past | None = None
    variance: float = 0.0

    @property
    def has_spread(self) -> bool:
        return self.measured is None or self.measured.has_spread

    def log_variance(self, level: int | None = None) -> float:
        """Give the variance of the logarithm, widened for the counted ones where a level is named."""
        if self.past is not None:
            return self.past.variance
        if self.measured is None:
            return self.variance
        if self.measured.se is None:
            return math.nan
        if level is None or self.measured.df is None:
            return (self.measured.se / self.measured.value) ** 2
        return float(sampling_variance(self.measured.value, self.measured.se, self.measured.df, level))


def crop_to_come(
    counts: CropCounts,
    past: Sequence[PastSeason],
    wishes: CropWishes | None = None,
    errors: Iterable[PastError] = (),
) -> CropEstimate:
    """Give the crop to come by what was counted up to a day.

    Parameters
    ----------
    counts : of the block and season on that day.
    past : seasons of the book; those that were not known on that day are left out.
    wishes : stage, factor and share that a person asks for.
    errors : past estimates beside what was picked; asked for where the counts have no spread of their own.

    Raises
    ------
    AdviceError : there is no census, no count at the stage asked for, or nothing to put in its place.
    """
    asked = wishes or CropWishes()
    stage = asked.stage or stage_of(counts)
    if counts.clusters is not None and counts.clusters.value <= 0:
        return _nothing(counts, stage)
    notes: list[str] = []
    terms = [
        _vines(counts),
        _clusters(counts, past, notes),
        *_weight(counts, past, stage, asked.factor, notes),
        _share(counts, past, asked.share_percent),
    ]
    estimate = CropEstimate(
        counts.block,
        counts.season,
        counts.on,
        stage,
        _method(counts, stage, terms),
        float(crop_to_come_t(*_product(terms))),
        (),
        "",
        _parts(terms),
    )
    vines = terms[0].value
    estimate = replace(
        estimate,
        kg_per_vine=1000 * estimate.estimate_t / vines if vines else None,
        t_per_ha=estimate.estimate_t / counts.planted_area_ha if counts.planted_area_ha else None,
    )
    notes[:0] = disturbance_notes(counts, terms[1].measured, estimate.estimate_t)
    if counts.picking_on is not None and counts.picking_on <= counts.on:
        notes.append(f"picking began on {counts.picking_on}: this is the whole crop, what is picked already is in it")
    bare = [term for term in terms if not term.has_spread]
    if bare:
        return _by_past_errors(estimate, counts, bare, errors, notes)
    return _by_parts(estimate, terms, notes)


def _nothing(counts: CropCounts, stage: Stage) -> CropEstimate:
    """Give the estimate of a block on whose counted vines there was not one cluster."""
    terms = [_vines(counts), _clusters(counts, (), [])]
    parts = tuple(Part(term.name, term.value, term.unit, term.rests_on, None) for term in terms)
    note = f"not one cluster on {terms[1].rests_on}: nothing to weigh, and no interval"
    return CropEstimate(
        counts.block, counts.season, counts.on, stage, "vines × clusters", 0.0, (), "", parts, (), (note,)
    )


def stage_of(counts: CropCounts) -> Stage:
    """Give the latest stage whose counts are there; without lots set or bud break, by stages read, else by the date."""
    for stage in reversed(STAGES):
        if stage in LOTS_OF and LOTS_OF[stage] in counts.weights:
            return stage
    if counts.set_on is not None:
        return "set"
    if counts.bloom_on is not None:
        return "set" if (counts.on - counts.bloom_on).days >= SET_AFTER_DAYS else "bud_break"
    years, month, day = SET_FROM[counts.region]
    return "set" if counts.on >= dt.date(counts.season + years, month, day) else "bud_break"


def _vines(counts: CropCounts) -> _Term:
    vines = counts.vines
    if vines is None or vines.value <= 0:
        raise AdviceError(
            f"no census of {counts.block} by {counts.on} tells of bearing vines",
            "count bearing, young and missing vines and load a vine_census",
        )
    rows = "in full" if not vines.unit else f"from {plural(vines.n, 'sampled row')}"
    return _Term("bearing vines", vines.value, "vines", f"census of {vines.on}, counted {rows}", vines)


def _clusters(counts: CropCounts, past: Sequence[PastSeason], notes: list[str]) -> _Term:
    clusters = counts.clusters
    if clusters is not None:
        thinned = " after thinning" if counts.clusters_after_thinning else ""
        chosen = " picked by hand" if clusters.by_hand else ""
        words = f"{plural(clusters.n, clusters.unit)}{chosen} counted on {clusters.on}{thinned}"
        if clusters.note:
            notes.append(f"clusters per vine: {clusters.note}")
        return _Term("clusters per vine", clusters.value, "clusters", words, clusters)
    notes.insert(0, f"no clusters were counted by {counts.on}: past seasons stand in for them; a count would help most")
    per_node = past_clusters(past, counts, per_node=True) if counts.nodes is not None else None
    if per_node is not None and counts.nodes is not None and counts.nodes.has_spread:
        words = f"{counts.nodes.value:.3g} nodes kept × past clusters a node, {plural(per_node.seasons, 'season')}"
        nodes = (counts.nodes.se or 0.0) / counts.nodes.value
        moved = _shifted(per_node, math.log(counts.nodes.value), nodes**2)
        return _Term("clusters per vine", moved.value, "clusters", words, past=moved)
    found = past_clusters(past, counts, per_node=False)
    if found is None:
        raise AdviceError(
            f"no clusters of {counts.block} were counted by {counts.on}, nor in a season before",
            f"draw vines with `vinebook draw {counts.block} --season {counts.season} --for clusters_per_vine`, count "
            "them and load a cluster_tally",
        )
    words = f"past counts of this block, {plural(found.seasons, 'season')}"
    return _Term("clusters per vine", found.value, "clusters", words, past=found)


def _weight(
    counts: CropCounts, past: Sequence[PastSeason], stage: Stage, given: float | None, notes: list[str]
) -> list[_Term]:
    if stage not in LOTS_OF:
        return [_past_weight(counts, past, given, notes)]
    lots = LOTS_OF[stage]
    now = counts.weights.get(lots)
    if now is None:
        there = ", ".join(name for name in STAGES if LOTS_OF.get(name) in counts.weights) or "none"
        raise AdviceError(
            f"no clusters of {counts.block} were weighed {STAGE_WORDS[stage]} by {counts.on}",
            f"load a cluster_lot of stage {lots}; stages with lots: {there}; bud_break and set need none",
        )
    days = counts.days_after_bloom.get(lots)
    after = "" if days is None or stage == "near_harvest" else f", {days} days after bloom"
    chosen = " picked by hand" if now.by_hand else ""
    weight = _Term(
        "cluster weight", now.value, "g", f"{plural(now.n, now.unit)}{chosen} weighed on {now.on}{after}", now
    )
    if stage == "near_harvest":
        if given is not None:
            raise AdviceError(
                "clusters weighed near harvest do not grow on: no factor is used",
                "leave --factor away, or name an earlier stage with --stage",
            )
        return [weight]
    factor = past_factor(past, counts, stage)
    notes += factor_notes(factor, counts, stage, days, given=given, late=LATE_DAYS)
    words = _factor_words(factor)
    if given is not None:
        if given <= 0:
            raise AdviceError("a growth factor is above zero", "leave --factor away to take the book's")
        factor = _shifted(factor, math.log(given / factor.value), 0.0)
        words = f"given; its spread by {words}"
    return [weight, _Term("growth factor", factor.value, "", words, past=factor)]


def _factor_words(factor: Past) -> str:
    if not factor.n:
        return "no season of the book: the rule of thumb, and wide"
    of = f"{plural(factor.seasons, 'season')}, {plural(factor.blocks, 'block')}"
    days = "" if factor.days is None else f", {_range(*factor.days)} days after bloom"
    own = f", {factor.own_seasons} of this block" if factor.own_seasons else ", none of this block"
    return f"{of}{own}{days}"


def _range(low: int, high: int) -> str:
    return str(low) if low == high else f"{low}–{high}"


def _past_weight(counts: CropCounts, past: Sequence[PastSeason], given: float | None, notes: list[str]) -> _Term:
    if given is not None:
        raise AdviceError(
            "no factor is used before lag phase: the weight is that of past harvests", "leave --factor away"
        )
    found = past_weight(past, counts)
    if found is None:
        raise AdviceError(
            f"no cluster weight at harvest of {counts.cultivar or 'this cultivar'} is in the book by {counts.on}",
            "weigh lots of hand-cut clusters at harvest, or at lag phase or veraison now, and load a cluster_lot",
        )
    if not found.own_seasons:
        notes.append(
            f"the weight is that of other blocks of {counts.cultivar}: none of this block was weighed at harvest"
        )
    of = f"{plural(found.seasons, 'season')}, {plural(found.blocks, 'block')} of {counts.cultivar}"
    return _Term(
        "cluster weight", found.value, "g", f"past harvests, {of}, {found.own_seasons} of this block", past=found
    )


def _share(counts: CropCounts, past: Sequence[PastSeason], given: float | None) -> _Term:
    if given is not None:
        return _Term("share picked", given / 100, "", "given")
    share, variance, seasons = past_share(past, counts)
    words = f"past picks of this block, {plural(seasons, 'season')}" if seasons else "no closed harvest: all is picked"
    return _Term("share picked", share, "", words, variance=variance)


def _shifted(past: Past, by: float, more_variance: float) -> Past:
    """Give a prediction with something known added to its logarithm."""
    old = past.prediction
    moved = LogPrediction(old.weight, old.mean + by, old.variance + more_variance)
    return replace(past, prediction=moved, value=past.value * math.exp(by), variance=past.variance + more_variance)


def _product(terms: Sequence[_Term]) -> tuple[float, ...]:
    """Give vines, clusters, weight, factor (1 without one) and share."""
    values = {term.name: term.value for term in terms}
    names = ("bearing vines", "clusters per vine", "cluster weight", "growth factor", "share picked")
    return tuple(values.get(name, 1.0) for name in names)


def _method(counts: CropCounts, stage: Stage, terms: Sequence[_Term]) -> str:
    """Give the method as it is recorded: without numbers, so that estimates of one method can be told together."""
    clusters = "clusters" if counts.clusters is not None else "past clusters a node"
    if counts.clusters is None and "a node" not in terms[1].rests_on:
        clusters = "past clusters"
    weights = {
        "lag_phase": "lag-phase weight × growth factor",
        "veraison": "veraison weight × growth factor",
        "near_harvest": "weight near harvest",
    }
    return f"vines × {clusters} × {weights.get(stage, 'past harvest weight')}"


def _parts(terms: Sequence[_Term]) -> tuple[Part, ...]:
    variances = [term.log_variance() for term in terms]
    total = sum(variances)
    return tuple(
        Part(
            term.name,
            term.value,
            term.unit,
            term.rests_on,
            None if math.isnan(variance) else 100 * math.sqrt(variance),
            100 * variance / total if total > 0 and not math.isnan(total) else None,
        )
        for term, variance in zip(terms, variances, strict=True)
    )


def _by_parts(estimate: CropEstimate, terms: Sequence[_Term], notes: list[str]) -> CropEstimate:
    """Give the estimate with the interval that its parts make."""
    if sum(term.log_variance() for term in terms) <= 0:
        notes.append("nothing in it is an estimate: no interval")
        return replace(estimate, notes=tuple(notes))
    limits = tuple(Limits(level, *_limits(estimate.estimate_t, terms, level)) for level in LEVELS)
    half = _half_width(terms, 80)
    helps = sorted(_helps(terms), key=lambda one: one.half_width_percent)
    return replace(
        estimate,
        limits=limits,
        interval_from="parts",
        helps=tuple(helps),
        notes=tuple(notes),
        half_width_percent=half,
    )


def _limits(estimate_t: float, terms: Sequence[_Term], level: int) -> tuple[float, float]:
    low, high = _log_limits(terms, level)
    return estimate_t * math.exp(low), estimate_t * math.exp(high)


def _log_limits(terms: Sequence[_Term], level: int) -> tuple[float, float]:
    """Give the log limits about the estimate: the widest prediction as it is, the others by their variance."""
    predicted = [term for term in terms if term.past is not None]
    main = max(predicted, key=lambda term: term.log_variance(), default=None)
    others = sum(term.log_variance(level) for term in terms if term is not main)
    if main is None or main.past is None:
        point = LogPrediction(np.ones(1), np.zeros(1), np.zeros(1))
        found = prediction_interval(point, level, others)
        return float(found.low), float(found.high)
    found = prediction_interval(main.past.prediction, level, others)
    return float(found.low) - math.log(main.value), float(found.high) - math.log(main.value)


def _half_width(terms: Sequence[_Term], level: int) -> float:
    low, high = _log_limits(terms, level)
    return 50 * (math.exp(high) - math.exp(low))


def _helps(terms: Sequence[_Term]) -> list[Help]:
    """Give what one more hour spent on each count would bring."""
    found = []
    for at, term in enumerate(terms):
        counted = term.measured
        if counted is None or counted.df is None or not counted.se or not counted.n:
            continue
        more = AN_HOUR[counted.unit]
        se = counted.se * math.sqrt(counted.n / (counted.n + more))
        better = replace(term, measured=replace(counted, se=se, df=counted.df + more, n=counted.n + more))
        done = [*terms[:at], better, *terms[at + 1 :]]
        what = {"lot": "lots weighed", "row": "rows of the census"}.get(counted.unit, f"{counted.unit}s counted")
        found.append(Help(f"{more} more {what}", _half_width(done, 80)))
    return found


def _by_past_errors(
    estimate: CropEstimate,
    counts: CropCounts,
    bare: Sequence[_Term],
    errors: Iterable[PastError],
    notes: list[str],
) -> CropEstimate:
    """Give the estimate with the spread of past estimates ÷ what was picked: this block's, else the book's."""
    known = [one for one in errors if one.stage == estimate.stage and one.closed_on <= counts.on]
    known = [one for one in known if (one.block, one.season) != (counts.block, counts.season)]
    own = [one for one in known if one.block == counts.block]
    words = ", ".join(_why_bare(term) for term in bare)
    for used, whose in ((own, "past estimates of this block"), (known, "past estimates of the book")):
        by_season: dict[int, list[float]] = {}
        for one in used:
            by_season.setdefault(one.season, []).append(one.log_error**2)
        if len(by_season) < LEAST_PAST:
            continue
        # Seasons are the repeats: each enters with the mean of its squares.
        squares = [sum(each) / len(each) for each in by_season.values()]
        sd = math.sqrt(sum(squares) / len(squares))
        limits = []
        for level in LEVELS:
            reach = float(t_quantile(len(squares), level)) * sd
            limits.append(Limits(level, estimate.estimate_t * math.exp(-reach), estimate.estimate_t * math.exp(reach)))
        notes.insert(0, interval_note(words, whose, len(squares)))
        half = 50 * (limits[0].high_t - limits[0].low_t) / estimate.estimate_t
        return replace(estimate, limits=tuple(limits), interval_from=whose, notes=tuple(notes), half_width_percent=half)
    notes.insert(
        0, f"{words}: no interval, as fewer than {LEAST_PAST} past seasons tell how far such estimates lie off"
    )
    return replace(estimate, notes=tuple(notes))


def _why_bare(term: _Term) -> str:
    counted = term.measured
    if counted is None or counted.by_hand:
        return f"{term.name} rests on {'lots' if counted and counted.unit == 'lot' else 'vines'} picked by hand"
    if counted.n == 1:
        return f"{term.name} rests on a single {counted.unit}"
    return f"{term.name} shows no spread"
