"""The spread of past estimates, for an estimate whose own counts have none."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from vinebook.advice.crop_model import CropEstimate, Limits
from vinebook.advice.crop_notes import interval_note
from vinebook.formulas.quantiles import t_quantile

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from vinebook.seasons.crop_model import CropCounts, Stage

LEVELS = (80, 95)
LEAST_PAST = 2
"""From this many seasons on past estimates tell a spread."""


@dataclass(frozen=True, slots=True)
class PastError:
    """How far an estimate that the book could have made lay from what was picked, on the log scale."""

    block: str
    season: int
    stage: Stage
    log_error: float
    closed_on: dt.date


def by_past_errors(
    estimate: CropEstimate,
    counts: CropCounts,
    why: Sequence[str],
    errors: Iterable[PastError],
    notes: list[str],
) -> CropEstimate:
    """Give the estimate with the spread of past estimates ÷ what was picked: this block's, else the book's.

    Parameters
    ----------
    estimate, counts : without an interval; what it rests on.
    why : why its parts make none, in words.
    errors : past estimates; those of other stages, and those not judged by that day, are left out.
    notes : what else is to be known of it.
    """
    known = [one for one in errors if one.stage == estimate.stage and one.closed_on <= counts.on]
    known = [one for one in known if (one.block, one.season) != (counts.block, counts.season)]
    own = [one for one in known if one.block == counts.block]
    words = ", ".join(why)
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
