"""The range on which a block's own record agrees, and when it has none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.advice.past import SEASON, answer, context, figure, frost, history, season
from vinebook.advice.ways import why_no_range
from vinebook.seasons.context import Target
from vinebook.seasons.model import PlantingFacts, TrainingFacts

if TYPE_CHECKING:
    from vinebook.advice.own_record import AgreedRange
    from vinebook.seasons.model import Figure


def agreed(*figures: list[Figure], **more: object) -> AgreedRange:
    return answer(history(*(one for of in figures for one in of), **more)).agreed


def test_the_range_runs_from_the_lowest_to_the_highest_level_that_agreed() -> None:
    told = agreed(season(2021, 15.2), season(2022, 17.4), season(2023, 16.0), season(2024, 22.0, 12.0))
    assert (told.verdict, told.low, told.high) == ("agrees", 15, 17)
    assert told.level == pytest.approx((15.2 + 17.4 + 16.0) / 3)
    assert (told.agreeing, told.at_these_levels, told.judged) == (3, 3, 4)


def test_every_outcome_that_was_counted_must_lie_within() -> None:
    told = agreed(
        season(2021, cane_weight=35.0, budbreak=92.0),
        season(2022, cane_weight=45.0),
        season(2023, budbreak=70.0),
        season(2024),
    )
    assert [one.agrees for one in told.seasons] == [True, False, False, True]
    assert told.figures_used == ("yield_to_prunings", "cane_weight", "budbreak")


def test_a_figure_across_a_limit_counts_by_its_value_and_is_marked() -> None:
    unclear = [figure(2021, "nodes_per_vine", 16.0), figure(2021, "yield_to_prunings", 4.2, low=3.7, high=4.8)]
    outcome = agreed(unclear).seasons[0].outcomes[0]
    assert (outcome.side, outcome.is_clear) == ("within", False)


def test_two_seasons_are_too_short_and_the_cure_is_said() -> None:
    told = agreed(season(2023), season(2024), season(2025, nodes=None))
    assert (told.verdict, told.low, told.judged) == ("too short", None, 2)
    words = why_no_range(told)
    assert "2 seasons have nodes counted and yield to prunings known" in words
    assert "a closed harvest and the wood weighed after it" in words


def test_a_block_without_history_is_too_short() -> None:
    told = agreed()
    assert told.verdict == "too short"
    assert "no seasons have nodes counted" in why_no_range(told)


def test_levels_at_which_most_seasons_went_wrong_do_not_agree() -> None:
    good = [season(year, level) for year, level in ((2017, 15.0), (2018, 17.0), (2019, 16.0))]
    bad = [season(year, 16.0, 12.0) for year in (2020, 2021, 2022)]
    told = agreed(*good, *bad)
    assert (told.verdict, told.agreeing, told.at_these_levels) == ("does not agree", 3, 6)
    assert "of 6 seasons at these levels 3 read within the bands, more than half are needed" in why_no_range(told)
    assert agreed(*good, *bad[:2]).verdict == "agrees"


def test_bad_seasons_at_other_levels_do_not_speak_against_the_range() -> None:
    good = [season(year, 16.0) for year in (2017, 2018, 2019)]
    bad = [season(year, 24.0, 12.0) for year in (2020, 2021, 2022, 2023)]
    assert agreed(*good, *bad).verdict == "agrees"


def test_fewer_than_three_good_seasons_do_not_agree() -> None:
    told = agreed(season(2021), season(2022, ratio=12.0), season(2023, ratio=12.5))
    assert told.verdict == "does not agree"
    assert "of 3 seasons 1 reads within the bands, 3 are needed" in why_no_range(told)


def test_seasons_before_the_vines_were_trained_anew_do_not_count() -> None:
    trained = (
        TrainingFacts(2000, "cordon", "spur", 2, 1, "up", 1.4, 0.9, ""),
        TrainingFacts(2022, "head", "cane", 2, 1, "up", None, 0.8, ""),
    )
    told = agreed(*(season(year) for year in range(2018, 2025)), trainings=trained)
    assert (told.since, told.since_what, told.judged) == (2022, "trained anew", 3)
    assert [one.season for one in told.seasons] == [2022, 2023, 2024]


def test_seasons_of_the_vines_before_a_replanting_do_not_count() -> None:
    planted = (
        PlantingFacts(2000, 2022, "Merlot", "", "", 2000, None, 2.0, 1.2, 1000),
        PlantingFacts(2023, None, "Riesling", "", "", 2023, None, 2.0, 1.2, 1000),
    )
    told = agreed(*(season(year) for year in range(2018, 2026)), plantings=planted)
    assert (told.since, told.since_what) == (2023, "planted")


def test_the_season_that_is_chosen_for_and_later_ones_do_not_count() -> None:
    told = agreed(season(2024), season(2025), season(SEASON), season(SEASON + 1))
    assert [one.season for one in told.seasons] == [2024, 2025]


def test_the_blocks_own_target_judges_before_any_published_band() -> None:
    target = Target("cane_weight", 40.0, 60.0, 2000, "the grower", is_of_block=True)
    figures = [one for year in (2021, 2022, 2023) for one in season(year, cane_weight=50.0)]
    assert answer(history(*figures)).agreed.verdict == "does not agree"
    told = answer(history(*figures), judged_by=context(target)).agreed
    assert told.verdict == "agrees"
    assert told.seasons[0].outcomes[1].band.name == "own target"


def test_frost_and_hail_stand_beside_their_season() -> None:
    told = answer(history(*season(2023), *season(2024), *season(2025), events=(frost(2024),)))
    assert [one.events for one in told.agreed.seasons] == [(), ("frost 30 %",), ()]
    assert any("frost or hail struck in 2024" in note for note in told.notes)


def test_a_pending_or_partial_ratio_is_not_judged() -> None:
    open_ones = [figure(2024, "nodes_per_vine", 16.0), figure(2024, "yield_to_prunings", None, status="pending")]
    partly = [figure(2025, "nodes_per_vine", 16.0), figure(2025, "yield_to_prunings", 6.0, status="partial")]
    assert [one.agrees for one in agreed(open_ones, partly).seasons] == [None, None]


def test_seasons_taken_over_from_an_earlier_block_count_and_are_marked() -> None:
    note = "carried over from block A0; census of 2019-06-01"
    older = [figure(2018, "nodes_per_vine", 16.0, note=note), figure(2018, "yield_to_prunings", 6.0, note=note)]
    trained = (TrainingFacts(2020, "head", "cane", 2, 1, "up", None, 0.8, ""),)
    planted = (PlantingFacts(2020, None, "Riesling", "", "", 2003, None, 2.0, 1.2, 1000),)
    told = agreed(older, season(2020), season(2021), from_season=2020, trainings=trained, plantings=planted)
    assert (told.since, told.since_what, told.judged) == (2018, "recorded", 3)
    assert [one.carried for one in told.seasons] == ["carried over from block A0", "", ""]
