"""What is asked for: a season to come, one on a past day, or one that is closed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from tests.advice.crops import counts, measured, past, six_seasons
from vinebook.advice.crop_asked import crop_asked
from vinebook.advice.crop_given import crop_answer, estimate_texts
from vinebook.advice.crop_model import CropEstimate, CropWishes
from vinebook.errors import AdviceError
from vinebook.seasons.crop_model import CropCounts, CropFacts, Moment
from vinebook.seasons.model import EstimateFacts


def no_moments(codes: object) -> tuple[list[Moment], list[CropCounts]]:
    """Give no day on which an estimate could have been made."""
    assert codes == ()
    return [], []


def asked(facts: CropFacts, wishes: CropWishes | None = None, **more: Any) -> CropEstimate | None:  # noqa: ANN401
    given: dict[str, Any] = {"is_day_named": False, "is_given": False}
    return crop_asked(facts, wishes, no_moments, **given | more)


def given(to: str, **more: Any) -> EstimateFacts:  # noqa: ANN401 - fields of an estimate
    """Give an estimate of 3 t, 2.5 to 3.5, of 10 August."""
    plain: dict[str, Any] = {"low_t": 2.5, "high_t": 3.5, "level": 80.0}
    return EstimateFacts(2026, dt.date(2026, 8, 10), to, "lag_phase", "rule", 3.0, **plain | more)


CLOSED = dt.date(2026, 9, 25)


def test_a_closed_harvest_has_no_estimate_unless_a_day_is_named() -> None:
    facts = CropFacts(counts(closed_on=CLOSED), tuple(six_seasons()))
    assert asked(facts) is None
    assert asked(facts, is_day_named=True) is not None
    with pytest.raises(AdviceError, match="what is given afterwards is no estimate"):
        asked(facts, is_given=True, is_day_named=True)
    late = CropFacts(counts("2026-09-25", closed_on=CLOSED), tuple(six_seasons()))
    with pytest.raises(AdviceError, match="nothing to estimate"):
        asked(late, is_day_named=True)


def test_a_season_that_was_never_closed_is_over_when_a_later_one_is() -> None:
    facts = CropFacts(counts(), tuple(six_seasons()), closed_later=2027)
    with pytest.raises(AdviceError, match="was never closed, and that of 2027 is"):
        asked(facts)
    assert asked(facts, is_day_named=True) is not None


def test_a_factor_that_rests_on_little_names_the_narrower_way() -> None:
    seasons = [replace(one, weights={}) for one in six_seasons()]
    wide = asked(CropFacts(counts(), tuple(seasons)))
    assert wide is not None
    assert "by past weights at harvest (--stage set)" in wide.notes[-1]
    known = asked(CropFacts(counts(), tuple(six_seasons())))
    assert known is not None
    assert not any("--stage set" in note for note in known.notes)
    chosen = asked(CropFacts(counts(), tuple(seasons)), CropWishes(stage="lag_phase"))
    assert chosen is not None
    assert not any("--stage set" in note for note in chosen.notes)


def test_past_days_are_looked_at_only_where_the_counts_have_no_spread() -> None:
    by_hand = CropFacts(counts(clusters=measured(25.0, None)), tuple(six_seasons()))
    found = asked(by_hand)
    assert found is not None
    assert found.limits == ()


def test_what_was_given_stands_beside_what_was_picked() -> None:
    facts = CropFacts(
        counts(closed_on=CLOSED),
        (),
        (given("X"), given("Y", low_t=None, high_t=None, level=None)),
        past(2026, picked_t=2.4, crop_t=2.5),
    )
    told = crop_answer(facts, None)
    assert [round(one.error_percent or 0) for one in told.given] == [25, 25]
    assert [one.within for one in told.given] == [False, None]
    assert (told.picked_t, told.crop_t) == (2.4, 2.5)


def test_an_estimate_is_written_down_with_its_interval_and_inputs() -> None:
    facts = CropFacts(counts(), tuple(six_seasons()), (given("X"),))
    estimate = asked(facts)
    assert estimate is not None
    texts = estimate_texts(facts, estimate, 95, " Bell Lane Cellar ")
    limits = estimate.at(95)
    assert limits is not None
    assert texts["given_to"] == "Bell Lane Cellar"
    assert (texts["low"], texts["level"]) == (f"{limits.low_t:.3f} t", "95")
    assert "growth factor" in texts["inputs"]
    with pytest.raises(AdviceError, match="nobody is named"):
        estimate_texts(facts, estimate, 95, "  ")
    with pytest.raises(AdviceError, match="was given to X on 2026-08-10 already"):
        estimate_texts(facts, estimate, 95, "x")
