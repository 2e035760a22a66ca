"""What is asked for: an estimate of a season to come, one as it would have been on a day, or none of a closed one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.advice.crop import crop_to_come, stage_of
from vinebook.advice.crop_backtest import past_errors
from vinebook.advice.crop_model import CropEstimate, CropWishes
from vinebook.errors import AdviceError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vinebook.seasons.crop_model import CropCounts, CropFacts, Moment

    Moments = Callable[[Sequence[str]], tuple[list[Moment], list[CropCounts]]]


def crop_asked(
    facts: CropFacts, wishes: CropWishes | None, moments: Moments, *, is_day_named: bool, is_given: bool
) -> CropEstimate | None:
    """Give the estimate that is asked for; None of a closed harvest for which no day is named.

    Parameters
    ----------
    facts : of the block and season.
    wishes : what a person asks for.
    moments : gives the days on which estimates could have been made before; called only where counts lack a spread.
    is_day_named : whether a person named the day.
    is_given : whether it is to be given to somebody.

    Raises
    ------
    AdviceError : the season is over, or the counts do not make an estimate.
    """
    counts = facts.counts
    closed = counts.closed_on
    of = f"the harvest of {counts.block} in {counts.season}"
    if closed is not None:
        if is_given:
            raise AdviceError(
                f"{of} was closed on {closed}: what is given afterwards is no estimate",
                "one that was given at the time goes in with `vinebook add crop_estimate` or a tally of that kind",
            )
        if not is_day_named:
            return None
        if counts.on >= closed:
            raise AdviceError(
                f"{of} was closed on {closed}: there is nothing to estimate on {counts.on}",
                "name an earlier day with --on, or leave --on away to see what was given and what came",
            )
    elif facts.closed_later is not None and not is_day_named:
        raise AdviceError(
            f"{of} was never closed, and that of {facts.closed_later} is: the season is over",
            "load its harvest_close, or name a day with --on to see what could have been said then",
        )
    asked = wishes or CropWishes()
    estimate = crop_to_come(counts, facts.past, asked)
    if estimate.limits or not estimate.estimate_t:
        return estimate
    before, stood = moments(())
    errors = past_errors(before, stood, facts.past, asked.stage or stage_of(counts))
    return crop_to_come(counts, facts.past, asked, errors)
