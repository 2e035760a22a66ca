"""The backtest: each estimate sees only what had happened, and what struck afterwards is no error of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from tests.advice.crops import counts, measured, past, struck
from vinebook.advice.crop_backtest import backtest, past_errors
from vinebook.advice.crop_published import ACCURACIES
from vinebook.seasons.crop_model import Moment

if TYPE_CHECKING:
    from vinebook.seasons.crop_model import CropCounts, PastSeason

FACTORS = {2019: 2.0, 2020: 1.9, 2021: 2.15, 2022: 2.05, 2023: 1.85, 2024: 2.1}


def stood(season: int) -> CropCounts:
    """Give the counts of a season at lag phase."""
    on = dt.date(season, 8, 10)
    of = counts(weights={"lag_phase": measured(60.0, 0.04, 8, "lot", f"{season}-08-05")})
    return replace(of, season=season, on=on, clusters=measured(25.0, on=f"{season}-07-01"))


def book() -> tuple[list[Moment], list[CropCounts], list[PastSeason]]:
    """Give six seasons: the day at lag phase of each, what stood then, and what came."""
    moments = [Moment("A1", season, dt.date(season, 8, 10), "lag_phase") for season in FACTORS]
    return moments, [stood(season) for season in FACTORS], [past(season, factor) for season, factor in FACTORS.items()]


def test_the_first_season_knows_no_factor_of_its_own() -> None:
    tried = backtest(*book()).tried
    assert tried[0].season == 2019
    assert tried[0].estimate_t == pytest.approx(3.0)
    assert tried[0].error_percent == pytest.approx(0.0, abs=1e-6)
    # 1.9 came after a season of 2.0: expected is about 2.0.
    assert tried[1].error_percent == pytest.approx(100 * (2.0 / 1.9 - 1), abs=0.5)


def test_later_seasons_change_nothing_of_an_estimate() -> None:
    moments, stands, seasons = book()
    changed = [
        replace(one, harvest_weight=measured(999.0, on="2024-09-18")) if one.season == 2024 else one for one in seasons
    ]
    before, after = backtest(moments, stands, seasons).tried, backtest(moments, stands, changed).tried
    assert [one.estimate_t for one in before] == [one.estimate_t for one in after]


def test_errors_and_coverage_are_told_by_stage_and_method() -> None:
    told = backtest(*book())
    (only,) = told.stages
    assert (only.stage, only.n, only.blocks, only.seasons, only.left_out) == ("lag_phase", 6, 1, 6, 0)
    assert (only.within_80, only.within_95, only.with_interval) == (6, 6, 6)
    errors = [one.error_percent for one in told.tried if one.error_percent is not None]
    assert only.mean_percent == pytest.approx(sum(errors) / 6)
    assert only.rms_percent == pytest.approx((sum(error**2 for error in errors) / 6) ** 0.5)


@pytest.mark.parametrize("what", ["cluster_thinning", "hail", "frost"])
def test_thinning_hail_or_frost_after_the_count_takes_an_estimate_out_of_the_error(what: str) -> None:
    moments, stands, seasons = book()
    stands[3] = replace(stands[3], disturbances=struck(what, "2022-08-20", 30.0))
    told = backtest(moments, stands, seasons)
    assert (told.stages[0].n, told.stages[0].left_out) == (5, 1)
    assert "after the count" in told.tried[3].left_out


def test_a_disease_is_a_season_like_others_and_stays_in_the_error() -> None:
    moments, stands, seasons = book()
    stands[3] = replace(stands[3], disturbances=struck("disease", "2022-09-01", 15.0))
    assert backtest(moments, stands, seasons).stages[0].n == 6


def test_a_day_with_too_little_is_counted_as_such() -> None:
    moments, stands, seasons = book()
    stands[0] = replace(stands[0], vines=None)
    told = backtest(moments, stands, seasons)
    assert told.tried[0].estimate_t is None
    assert "no census" in told.tried[0].left_out
    assert sum(one.impossible for one in told.stages) == 1


def test_hand_picked_counts_take_the_spread_of_the_estimates_before_them() -> None:
    moments, stands, seasons = book()
    stands[1] = replace(stands[1], clusters=measured(25.0, None, on="2020-07-01"))
    stands[5] = replace(stands[5], clusters=measured(25.0, None, on="2024-07-01"))
    told = backtest(moments, stands, seasons)
    assert told.tried[1].within_80 is None
    assert told.tried[5].within_80 is not None


def test_past_errors_are_of_one_stage() -> None:
    found = past_errors(*book(), "lag_phase")
    assert [one.season for one in found] == list(FACTORS)
    assert past_errors(*book(), "set") == []


def test_the_literature_is_there_for_every_stage_and_has_its_source() -> None:
    stages = {stage for one in ACCURACIES for stage in one.stages}
    assert stages == {"bud_break", "set", "lag_phase", "veraison", "near_harvest"}
    assert all(one.source for one in ACCURACIES)
    words = " ".join(one.words for one in ACCURACIES)
    assert all(f"±{percent} %" in words for percent in (20, 15, 5))
