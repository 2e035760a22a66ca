"""An estimate that is given to somebody: how it is recorded, and how it is set beside the harvest afterwards."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.advice.crop_model import CropAnswer, CropEstimate, Given
from vinebook.advice.crop_notes import in_words
from vinebook.errors import AdviceError
from vinebook.formulas.growth import estimate_error_percent

if TYPE_CHECKING:
    from vinebook.seasons.crop_model import CropFacts
    from vinebook.seasons.model import EstimateFacts


def crop_answer(facts: CropFacts, estimate: CropEstimate | None) -> CropAnswer:
    """Give an estimate with those given before, each beside the harvest where that is closed.

    Parameters
    ----------
    facts : of the block and season.
    estimate : None where none was asked for.
    """
    counts, came = facts.counts, facts.outcome
    picked_t = None if came is None else came.picked_t
    return CropAnswer(
        counts.block,
        counts.season,
        estimate,
        tuple(_beside(one, picked_t) for one in facts.given),
        picked_t,
        None if came is None else came.crop_t,
        counts.closed_on,
        tuple(in_words(one) for one in counts.disturbances),
    )


def estimate_texts(facts: CropFacts, estimate: CropEstimate, level: int, given_to: str) -> dict[str, str]:
    """Give an estimate as the texts of a crop_estimate, to be taken in like a tally of one row.

    Parameters
    ----------
    facts : of the block and season, with the estimates given before.
    estimate : the estimate.
    level : coverage of the interval that is given with it, in percent.
    given_to : to whom.

    Raises
    ------
    AdviceError : nobody is named, or one was given to the same on that day already.
    """
    if not given_to.strip():
        raise AdviceError("nobody is named to whom it is given", "name the consignee, or whoever asked")
    for one in facts.given:
        if one.date == estimate.on and one.given_to.casefold() == given_to.strip().casefold():
            key = f"{estimate.block}/{estimate.season}/{one.date}/{one.given_to}"
            raise AdviceError(
                f"an estimate of {estimate.block} {estimate.season} was given to {one.given_to} on {one.date} already",
                f"a wrong one is corrected by `vinebook add crop_estimate … --supersedes '{key}' --reason WORDS`",
            )
    values = {
        "block": estimate.block,
        "season": str(estimate.season),
        "date": estimate.on.isoformat(),
        "given_to": given_to.strip(),
        "stage": estimate.stage,
        "method": estimate.method,
        "estimate": _tonnes(estimate.estimate_t),
        "inputs": "; ".join(
            f"{part.name} {part.value:.4g}{' ' + part.unit if part.unit else ''} ({part.rests_on})"
            for part in estimate.parts
        ),
    }
    limits = estimate.at(level)
    if limits is not None:
        values |= {"low": _tonnes(limits.low_t), "high": _tonnes(limits.high_t), "level": str(level)}
    return values


def _tonnes(tonnes: float) -> str:
    return f"{tonnes:.3f} t"


def _beside(estimate: EstimateFacts, picked_t: float | None) -> Given:
    if not picked_t:
        return Given(estimate)
    low, high = estimate.low_t, estimate.high_t
    within = None if low is None or high is None else low <= picked_t <= high
    return Given(estimate, float(estimate_error_percent(estimate.estimate_t, picked_t)), within)
