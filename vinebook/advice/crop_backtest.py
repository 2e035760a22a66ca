"""How the book's estimates would have done, each made with only what the book held on its day."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from vinebook.advice.crop import PastError, crop_to_come
from vinebook.advice.crop_model import Backtest, CropWishes, StageErrors, Tried
from vinebook.advice.crop_notes import in_words
from vinebook.errors import AdviceError
from vinebook.formulas.growth import estimate_error_percent
from vinebook.seasons.crop_model import STAGES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vinebook.advice.crop_model import CropEstimate
    from vinebook.seasons.crop_model import CropCounts, Moment, PastSeason

TAKES_OUT = ("cluster_thinning", "shoot_thinning", "frost", "hail")
"""What takes an estimate out of the error when it comes after the count; disease, birds and drought stay in it."""


def backtest(
    moments: Sequence[Moment],
    counts: Sequence[CropCounts],
    past: Sequence[PastSeason],
    progress: Callable[[int, int], None] | None = None,
) -> Backtest:
    """Make each estimate with only what the book held on its day, and set it beside what was picked.

    Parameters
    ----------
    moments, counts : days on which an estimate could have been made, and the counts as they stood.
    past : seasons of the book; of these each estimate sees what was known on its day.
    progress : told how many of how many are done.
    """
    came = {(one.block, one.season): one for one in past if one.picked_t}
    pairs = [
        (moment, each)
        for moment, each in zip(moments, counts, strict=True)
        if (moment.block, moment.season) in came and came[moment.block, moment.season].closed_on is not None
    ]
    # In the order of the days: an estimate without a spread of its own takes that of the ones before it.
    pairs.sort(key=lambda pair: (pair[0].on, pair[0].block, pair[0].stage))
    errors: list[PastError] = []
    tried: list[Tried] = []
    for done, (moment, each) in enumerate(pairs):
        season = came[moment.block, moment.season]
        result, error = try_once(moment, each, season, past, errors)
        tried.append(result)
        if error is not None:
            errors.append(error)
        if progress is not None:
            progress(done + 1, len(pairs))
    tried.sort(key=lambda one: (one.block, one.season, STAGES.index(one.stage)))
    return Backtest(tuple(_summed(tried)), tuple(tried))


def past_errors(
    moments: Sequence[Moment], counts: Sequence[CropCounts], past: Sequence[PastSeason], stage: str
) -> list[PastError]:
    """Give how far past estimates of a stage lay from what was picked; those thinned or struck afterwards left out."""
    came = {(one.block, one.season): one for one in past if one.picked_t and one.closed_on is not None}
    found = []
    for moment, each in zip(moments, counts, strict=True):
        season = came.get((moment.block, moment.season))
        if moment.stage == stage and season is not None:
            _, error = try_once(moment, each, season, past, ())
            if error is not None:
                found.append(error)
    return found


def try_once(
    moment: Moment,
    counts: CropCounts,
    season: PastSeason,
    past: Sequence[PastSeason],
    errors: Sequence[PastError],
) -> tuple[Tried, PastError | None]:
    """Make one estimate and set it beside what was picked.

    Parameters
    ----------
    moment, counts : the day, and what stood then.
    season : what came of it.
    past, errors : seasons of the book, and estimates before this one.
    """
    picked_t = season.picked_t or 0.0
    tried = Tried(moment.block, moment.season, moment.on, moment.stage, "", None, picked_t)
    # What picks of later blocks, and thinning after that day, would tell was not known.
    then = replace(counts, disturbances=tuple(one for one in counts.disturbances if one.on <= moment.on))
    try:
        estimate = crop_to_come(then, past, CropWishes(stage=moment.stage), errors)
    except AdviceError as why:
        return replace(tried, left_out=why.message), None
    tried = replace(
        tried,
        method=estimate.method,
        estimate_t=estimate.estimate_t,
        error_percent=float(estimate_error_percent(estimate.estimate_t, picked_t)),
        within_80=_is_within(estimate, 80, picked_t),
        within_95=_is_within(estimate, 95, picked_t),
    )
    counted = moment.on if counts.clusters is None else min(moment.on, counts.clusters.on)
    changed = [one for one in counts.disturbances if one.on > counted and one.what in TAKES_OUT]
    if changed:
        return replace(tried, left_out=f"{in_words(changed[0])}, after the count"), None
    if season.closed_on is None or not estimate.estimate_t > 0:
        return tried, None
    log_error = math.log(estimate.estimate_t / picked_t)
    return tried, PastError(moment.block, moment.season, moment.stage, log_error, season.closed_on)


def _is_within(estimate: CropEstimate, level: int, picked_t: float) -> bool | None:
    limits = estimate.at(level)
    return None if limits is None else limits.low_t <= picked_t <= limits.high_t


def _summed(tried: Sequence[Tried]) -> list[StageErrors]:
    groups: dict[tuple[int, str], list[Tried]] = {}
    for one in tried:
        groups.setdefault((STAGES.index(one.stage), one.method), []).append(one)
    return [_errors(found) for _, found in sorted(groups.items())]


def _errors(group: Sequence[Tried]) -> StageErrors:
    counted = [one for one in group if not one.left_out and one.error_percent is not None]
    errors = sorted(one.error_percent for one in counted if one.error_percent is not None)
    size = sorted(abs(error) for error in errors)
    n = len(errors)
    return StageErrors(
        group[0].stage,
        group[0].method,
        n,
        len({one.block for one in counted}),
        len({one.season for one in counted}),
        sum(errors) / n if n else None,
        (size[(n - 1) // 2] + size[n // 2]) / 2 if n else None,
        math.sqrt(sum(error**2 for error in errors) / n) if n else None,
        sum(one.within_80 is True for one in counted),
        sum(one.within_95 is True for one in counted),
        sum(one.within_80 is not None for one in counted),
        sum(bool(one.left_out) and one.estimate_t is not None for one in group),
        sum(one.estimate_t is None for one in group),
    )
