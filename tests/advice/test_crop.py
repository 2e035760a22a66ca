"""How much crop is coming: the product of the counts, an honest interval, and what each trouble does to it."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest

from tests.advice.crops import counts, measured, past, six_seasons, struck
from vinebook.advice.crop import PastError, crop_to_come, stage_of
from vinebook.advice.crop_model import CropEstimate, CropWishes
from vinebook.errors import AdviceError


def half_width(estimate: CropEstimate) -> float:
    assert estimate.half_width_percent is not None
    return estimate.half_width_percent


def ends(estimate: CropEstimate, level: int = 80) -> tuple[float, float]:
    limits = estimate.at(level)
    assert limits is not None
    return limits.low_t, limits.high_t


def test_at_lag_phase_the_weight_grows_by_the_books_factor() -> None:
    found = crop_to_come(counts(), six_seasons())
    values = {part.name: part.value for part in found.parts}
    assert values["growth factor"] == pytest.approx(2.0, abs=0.03)
    assert found.estimate_t == pytest.approx(math.prod(values.values()) / 1e6)
    assert found.estimate_t == pytest.approx(3.0, abs=0.05)
    assert found.stage == "lag_phase"
    assert found.kg_per_vine == pytest.approx(found.estimate_t)
    assert found.t_per_ha == pytest.approx(found.estimate_t / 0.5)
    assert found.notes == ()


def test_the_interval_holds_the_estimate_and_the_wider_level_the_narrower() -> None:
    found = crop_to_come(counts(), six_seasons())
    (low, high), (lower, higher) = ends(found, 80), ends(found, 95)
    assert lower < low < found.estimate_t < high < higher


def test_the_parts_of_the_variance_add_up_and_a_full_census_adds_none() -> None:
    found = crop_to_come(counts(), six_seasons())
    shares = {part.name: part.share_of_variance_percent for part in found.parts}
    assert sum(share or 0.0 for share in shares.values()) == pytest.approx(100)
    assert shares["bearing vines"] == 0


def test_an_hour_helps_most_where_the_spread_is() -> None:
    few_vines = crop_to_come(counts(clusters=measured(25.0, 0.2, 6)), six_seasons())
    few_lots = crop_to_come(counts(weights={"lag_phase": measured(60.0, 0.2, 3, "lot", "2026-08-05")}), six_seasons())
    assert few_vines.helps[0].what == "20 more vines counted"
    assert few_lots.helps[0].what == "6 more lots weighed"
    assert few_vines.helps[0].half_width_percent < half_width(few_vines)


def test_before_lag_phase_the_weight_is_that_of_past_harvests() -> None:
    found = crop_to_come(counts("2026-07-05", weights={}), six_seasons())
    assert found.stage == "set"
    assert found.method == "vines × clusters × past harvest weight"
    assert found.estimate_t == pytest.approx(1000 * 25 * 120 / 1e6, rel=0.05)
    assert half_width(found) > 0


def test_near_harvest_no_factor_is_used() -> None:
    found = crop_to_come(counts("2026-09-18", weights={"harvest": measured(118.0, 0.03, 10, "lot", "2026-09-17")}), [])
    assert found.stage == "near_harvest"
    assert found.estimate_t == pytest.approx(2.95)
    assert [part.name for part in found.parts] == [
        "bearing vines", "clusters per vine", "cluster weight", "share picked",
    ]  # fmt: skip
    with pytest.raises(AdviceError, match="no factor is used"):
        crop_to_come(counts("2026-09-18", weights={"harvest": measured(118.0)}), [], CropWishes(factor=2.0))


def test_what_happened_after_the_day_is_not_looked_at() -> None:
    later = past(2025, 3.0)
    on = counts("2025-08-10", weights={"lag_phase": measured(60.0, 0.04, 8, "lot", "2025-08-05")})
    of_2025 = type(on)("A1", 2025, on.on, "Grey Hen", "north", on.vines, on.clusters, weights=on.weights)
    known = [one for one in six_seasons() if one.season < 2024]
    assert crop_to_come(of_2025, [*known, later, past(2026, 3.0)]).estimate_t == pytest.approx(
        crop_to_come(of_2025, known).estimate_t
    )


def test_blocks_already_picked_this_season_tell_of_it() -> None:
    early = past(2026, 2.6, block="A2", harvest_weight=measured(156.0, 0.03, 10, "lot", "2026-08-09"))
    wet = crop_to_come(counts(), [*six_seasons(), *six_seasons(block="A2"), early])
    assert wet.estimate_t > 1.05 * crop_to_come(counts(), [*six_seasons(), *six_seasons(block="A2")]).estimate_t


def test_without_any_season_the_factor_is_two_and_the_interval_wide() -> None:
    found = crop_to_come(counts(), [])
    assert found.estimate_t == pytest.approx(3.0)
    assert half_width(found) > 35
    assert any("no season of the book has weights at lag phase" in note for note in found.notes)


def test_at_veraison_without_history_the_rule_is_another() -> None:
    found = crop_to_come(
        counts("2026-08-25", weights={"veraison": measured(80.0, 0.04, 8, "lot", "2026-08-24")}), six_seasons()
    )
    assert found.estimate_t == pytest.approx(1000 * 25 * 80 * 1.5 / 1e6)
    assert any("1.5, common practice, no source" in note for note in found.notes)


def test_a_factor_of_another_cultivar_is_named_as_such() -> None:
    others = six_seasons(block="B1", cultivar="Riesling")
    found = crop_to_come(counts(), others)
    assert any("that of another cultivar (Riesling)" in note for note in found.notes)
    own = crop_to_come(counts(), [*others, past(2025, 1.7)])
    assert not any("another cultivar" in note for note in own.notes)


def test_a_factor_of_other_blocks_of_the_cultivar_says_so_and_is_less_sure() -> None:
    other = crop_to_come(counts(), six_seasons(block="A2"))
    assert any("that of other blocks of Grey Hen" in note for note in other.notes)
    assert half_width(other) > half_width(crop_to_come(counts(), six_seasons()))


def test_hand_picked_vines_take_the_spread_of_past_estimates_of_the_block_else_the_book() -> None:
    by_hand = counts(clusters=measured(25.0, None))
    alone = crop_to_come(by_hand, six_seasons())
    assert (alone.limits, alone.interval_from) == ((), "")
    assert any("clusters per vine rests on vines picked by hand: no interval" in note for note in alone.notes)

    def error(block: str, season: int, log: float) -> PastError:
        return PastError(block, season, "lag_phase", log, dt.date(season, 9, 25))

    book = [error("B1", 2022, 0.2), error("B2", 2022, -0.2), error("B1", 2023, 0.2)]
    of_book = crop_to_come(by_hand, six_seasons(), errors=book)
    assert of_book.interval_from == "past estimates of the book"
    low, high = ends(of_book)
    assert math.log(high / low) / 2 == pytest.approx(0.2 * 1.885618, rel=1e-5)
    own = crop_to_come(by_hand, six_seasons(), errors=[*book, error("A1", 2022, 0.1), error("A1", 2023, 0.1)])
    assert own.interval_from == "past estimates of this block"
    assert ends(own)[1] < high


def test_a_single_lot_does_so_too() -> None:
    one = counts(weights={"lag_phase": measured(60.0, None, 1, "lot", "2026-08-05")})
    found = crop_to_come(
        one,
        six_seasons(),
        errors=[PastError("A1", year, "lag_phase", 0.1, dt.date(year, 9, 25)) for year in (2023, 2024)],
    )
    assert found.interval_from == "past estimates of this block"


def test_past_estimates_of_other_stages_or_not_yet_judged_tell_nothing() -> None:
    by_hand = counts(clusters=measured(25.0, None))
    wrong_stage = [PastError("A1", year, "set", 0.1, dt.date(year, 9, 25)) for year in (2023, 2024)]
    too_late = [PastError("A1", year, "lag_phase", 0.1, dt.date(2026, 9, 25)) for year in (2023, 2024)]
    assert crop_to_come(by_hand, six_seasons(), errors=[*wrong_stage, *too_late]).limits == ()


def test_thinning_after_the_count_makes_it_too_high_and_says_count_again() -> None:
    found = crop_to_come(counts(disturbances=struck("cluster_thinning", "2026-07-20")), six_seasons())
    assert found.notes[0].startswith("clusters were thinned on 2026-07-20, after the count of 2026-07-01")
    assert "too high by what was cut" in found.notes[0]
    before = counts(disturbances=struck("cluster_thinning", "2026-06-20"))
    assert crop_to_come(before, six_seasons()).notes == ()


def test_hail_after_the_count_is_not_in_the_estimate() -> None:
    found = crop_to_come(counts(disturbances=struck("hail", "2026-07-20", 20.0)), six_seasons())
    assert found.notes[0].startswith("hail struck 20 % of the block on 2026-07-20, after the count")
    assert "0.6 t less" in found.notes[0]


def test_a_lot_weighed_late_for_its_factors_says_which_way_it_errs() -> None:
    late = crop_to_come(counts(days_after_bloom={"lag_phase": 62}), six_seasons())
    early = crop_to_come(counts(days_after_bloom={"lag_phase": 40}), six_seasons())
    assert "likely too high" in late.notes[0]
    assert "likely too low" in early.notes[0]


def test_without_a_count_past_clusters_a_node_stand_in() -> None:
    found = crop_to_come(
        counts("2026-05-20", clusters=None, weights={}, nodes=measured(10.0, 0.02, 20, "vine", "2026-01-10")),
        six_seasons(),
    )
    assert found.stage == "bud_break"
    assert found.parts[1].value == pytest.approx(20.0, rel=0.03)
    assert "no clusters were counted by 2026-05-20" in found.notes[0]
    assert found.helps == ()
    plain = crop_to_come(counts("2026-05-20", clusters=None, weights={}), six_seasons())
    assert plain.parts[1].value == pytest.approx(25.0, rel=0.03)
    assert plain.method == "vines × past clusters × past harvest weight"


def test_what_is_missing_is_named() -> None:
    with pytest.raises(AdviceError, match="no census of A1"):
        crop_to_come(counts(vines=None), six_seasons())
    with pytest.raises(AdviceError, match="no clusters of A1 were counted by 2026-08-10, nor in a season before"):
        crop_to_come(counts(clusters=None), [])
    with pytest.raises(AdviceError, match="weighed at veraison"):
        crop_to_come(counts(), six_seasons(), CropWishes(stage="veraison"))
    with pytest.raises(AdviceError, match="no cluster weight at harvest of Grey Hen"):
        crop_to_come(counts("2026-07-05", weights={}), [])


def test_a_stage_asked_for_stands_above_the_latest() -> None:
    found = crop_to_come(counts(), six_seasons(), CropWishes(stage="set"))
    assert (found.stage, found.method) == ("set", "vines × clusters × past harvest weight")


def test_a_factor_and_a_share_that_a_person_names_win() -> None:
    usual = crop_to_come(counts(), six_seasons())
    found = crop_to_come(counts(), six_seasons(), CropWishes(factor=2.4, share_percent=50))
    assert found.estimate_t == pytest.approx(1000 * 25 * 60 * 2.4 * 0.5 / 1e6)
    assert half_width(found) == pytest.approx(half_width(usual), rel=1e-6)


def test_what_was_left_on_the_vine_before_is_expected_again() -> None:
    seasons = [past(2019 + at, 2.0, picked_t=share * 3.0) for at, share in enumerate((0.9, 0.8, 1.0, 0.9))]
    found = crop_to_come(counts(), seasons)
    share = found.parts[-1]
    assert share.value == pytest.approx(0.897, abs=0.002)
    assert share.share_of_variance_percent is not None
    assert share.share_of_variance_percent > 5


def test_sampled_rows_of_the_census_widen_it() -> None:
    rows = counts(vines=measured(1000.0, 0.1, 6, "row", "2026-02-01"))
    found = crop_to_come(rows, six_seasons())
    assert half_width(found) > half_width(crop_to_come(counts(), six_seasons()))
    assert any(one.what == "8 more rows of the census" for one in found.helps)


def test_vines_without_one_cluster_give_nothing_and_no_interval() -> None:
    found = crop_to_come(counts(clusters=measured(0.0, None)), six_seasons())
    assert (found.estimate_t, found.limits) == (0.0, ())
    assert "not one cluster" in found.notes[0]


def test_the_stage_follows_from_what_was_read_else_from_the_day() -> None:
    plain: dict[str, Any] = {"weights": {}, "bloom_on": None}
    assert stage_of(counts("2026-06-19", **plain)) == "bud_break"
    assert stage_of(counts("2026-06-20", **plain)) == "set"
    assert stage_of(counts("2026-06-05", **plain, set_on=dt.date(2026, 6, 1))) == "set"
    assert stage_of(counts("2026-06-20", weights={}, bloom_on=dt.date(2026, 6, 14))) == "bud_break"
