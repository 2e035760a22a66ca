"""The five ways: each with its inputs and interval, or with what is missing and what would cure it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from tests.advice.past import SEASON, answer, context, cordon, figure, history, season, way_of, whole_season, wood
from vinebook.errors import AdviceError
from vinebook.seasons.context import Target
from vinebook.seasons.model import BlockHistory, PlantingFacts, RelatedBlock, TrainingFacts

YEARS = range(2018, 2026)


def full(level: float = 16.0, **more: Any) -> BlockHistory:  # noqa: ANN401 - fields of a history
    """Give a block with eight seasons of everything counted, and the wood of the last."""
    figures = [one for year in YEARS for one in whole_season(year, level)]
    figures.append(figure(2025, "prunings_per_vine", 0.56, low=0.50, high=0.62, n=20, chosen="random"))
    return history(*figures, **more)


def test_all_five_ways_stand_side_by_side() -> None:
    told = answer(full(), weighed=wood(0.5, 0.6, 0.55), yield_t_per_ha=12.0)
    assert [way.way for way in told.ways] == [
        "balanced_pruning", "shoots_wanted", "yield_wanted", "ideal_canes", "own_record",
    ]  # fmt: skip
    assert all(way.nodes is not None for way in told.ways)
    assert told.wood_rows == (100, 101, 102)


def test_shoots_wanted_less_those_kept_from_old_wood_over_what_a_node_brings() -> None:
    way = way_of(answer(full(), shoots_per_m=15.0, noncount_kept=2.0), "shoots_wanted")
    assert way.nodes == pytest.approx((15 * 1.2 - 2) / (1.1 * 0.9))
    assert way.interval_of == "seasons"
    assert [one.name for one in way.inputs] == [
        "shoots wanted", "canopy of a vine", "non-count shoots kept on a vine", "count and double shoots of a node",
    ]  # fmt: skip
    assert way.inputs[-1].n == len(YEARS)


def test_non_count_shoots_stay_unless_shoots_were_thinned_of_late() -> None:
    stay = way_of(answer(full()), "shoots_wanted").inputs[2]
    assert stay.value == pytest.approx(1.1 * 16 * 0.10)
    assert "no thinning is recorded" in stay.source
    thinned = way_of(answer(full(), facts={"thinned_in": (2025,)}), "shoots_wanted").inputs[2]
    assert (thinned.value, thinned.source) == (0.0, "shoots were thinned in 2025: taken as thinned again")
    long_ago = way_of(answer(full(), facts={"thinned_in": (2019,)}), "shoots_wanted").inputs[2]
    assert long_ago.value > 0


def test_shoots_wanted_come_from_the_person_then_the_target_then_the_set_then_wineskills() -> None:
    target = Target("shoots_per_m", 12.0, 16.0, 2000, "the grower", is_of_block=True)
    by_set = context(cultivar="Riesling", band_set="Fiola")

    def wanted(**more: Any) -> float:  # noqa: ANN401 - of answer
        return way_of(answer(full(), **more), "shoots_wanted").inputs[0].value

    assert wanted(shoots_per_m=20.0, judged_by=context(target)) == 20.0
    assert wanted(judged_by=context(target)) == 14.0
    assert wanted(judged_by=by_set) == pytest.approx((9.8 + 16.4) / 2)
    assert wanted() == 15.0


def test_yield_wanted_over_fruit_of_a_node() -> None:
    per_vine = way_of(answer(full(), yield_kg_per_vine=3.0), "yield_wanted")
    assert per_vine.nodes == pytest.approx(15.0)
    per_ha = way_of(answer(full(), yield_t_per_ha=12.0), "yield_wanted")
    bearing_per_ha = 900 / (1000 * 2.0 * 1.2 / 10_000)
    assert per_ha.nodes == pytest.approx(12_000 / bearing_per_ha / 0.2)


def test_a_target_of_yield_is_wanted_and_a_ceiling_is_said() -> None:
    target = Target("yield_per_ha", None, 12.0, 2000, "the house", is_of_block=True)
    way = way_of(answer(full(), judged_by=context(target)), "yield_wanted")
    assert "the target is a ceiling: this is the most" in way.words
    assert way.inputs[0].source == "own target: the house"


def test_prunings_over_the_weight_of_an_ideal_cane() -> None:
    way = way_of(answer(full(), shoots_per_m=20.0), "ideal_canes")
    assert way.nodes == pytest.approx(560 / 35)
    assert way.low == pytest.approx(560 / 40)
    assert way.high == pytest.approx(560 / 30)
    target = Target("cane_weight", 50.0, 70.0, 2000, "the grower", is_of_block=True)
    own = way_of(answer(full(), judged_by=context(target)), "ideal_canes")
    assert own.nodes == pytest.approx(560 / 60)


def test_ways_are_capped_at_the_shoots_that_the_canopy_has_room_for() -> None:
    told = answer(full(), weighed=wood(0.9, 1.0, 1.1), shoots_per_m=15.0)
    assert told.cap is not None
    assert told.cap.nodes == pytest.approx(18.0)
    by_wood = way_of(told, "balanced_pruning")
    assert by_wood.nodes == pytest.approx(18.0)
    assert "the cap holds back 3 of 3 vines" in by_wood.words
    wide = way_of(answer(full(), yield_kg_per_vine=3.9), "yield_wanted")
    assert wide.nodes == pytest.approx(18.0)
    assert wide.before_cap == pytest.approx(19.5)


def test_the_upper_end_of_a_way_is_capped_too() -> None:
    way = way_of(answer(full(), shoots_per_m=15.0), "ideal_canes")
    assert way.nodes == pytest.approx(560 / 35)
    assert (way.low, way.high) == pytest.approx((560 / 40, 18.0))  # 560 ÷ 30 would be 18.7
    assert way.before_cap is None


def test_the_way_by_shoots_is_not_capped_since_blind_nodes_need_more() -> None:
    blind = [one for year in YEARS for one in season(
        year, shoots_per_node=0.8, noncount_shoot_share=0.0, shoots_per_vine=12.8)]  # fmt: skip
    way = way_of(answer(history(*blind), shoots_per_m=13.0), "shoots_wanted")
    assert way.nodes == pytest.approx(13 * 1.2 / 0.8)
    assert way.before_cap is None


@pytest.mark.parametrize(("wanted", "has_number"), [(2.5, True), (3.9, True), (2.3, False), (4.1, False)])
def test_what_rests_on_the_record_is_given_within_25_percent_of_levels_it_had(wanted: float, has_number: bool) -> None:
    way = way_of(answer(full(), yield_kg_per_vine=wanted), "yield_wanted")
    assert (way.nodes is not None) == has_number
    assert any("outside what this block has shown" in words for words in way.words) != has_number


def test_an_expected_outcome_is_the_mean_and_the_ends_of_past_seasons() -> None:
    figures = [one for year in (2023, 2024) for one in whole_season(year)]
    figures += [figure(2025, "nodes_per_vine", 16.0), figure(2025, "yield_per_vine", 4.8)]
    way = way_of(answer(history(*figures), yield_kg_per_vine=3.6), "yield_wanted")
    per_vine = next(one for one in way.expected if one.figure == "yield_per_vine")
    assert per_vine.seasons == 3
    # Nodes bore 0.2, 0.2 and 0.3 kg: 3.6 kg are 15.4 nodes of the mean, and 15 can be kept.
    assert way.nodes == pytest.approx(3.6 / (0.7 / 3))
    assert per_vine.value == pytest.approx(15 * 0.7 / 3)
    assert per_vine.low == pytest.approx(15 * 0.2)
    assert per_vine.high == pytest.approx(15 * 0.3)


def test_two_seasons_give_no_interval() -> None:
    figures = [one for year in (2024, 2025) for one in whole_season(year)]
    way = way_of(answer(history(*figures)), "shoots_wanted")
    assert (way.nodes is not None, way.low) == (True, None)
    assert "2 seasons: no interval below 3" in way.words


def test_a_block_without_prunings_says_what_to_weigh() -> None:
    told = answer(history(*season(2025)))
    for name in ("balanced_pruning", "ideal_canes"):
        way = way_of(told, name)
        assert way.nodes is None
        assert "no wood was weighed at the pruning that sets 2026" in way.words[0]
        assert "pruned_vine, column prunings" in way.words[0]


def test_wood_after_mechanical_pre_pruning_is_named() -> None:
    told = answer(full(), weighed=wood(incomplete=12))
    assert "incomplete after mechanical pre-pruning" in way_of(told, "balanced_pruning").words[0]


def test_a_block_without_history_says_what_to_count() -> None:
    told = answer(history(), yield_t_per_ha=9.0)
    assert "no shoots were counted by class before 2026" in way_of(told, "shoots_wanted").words[0]
    assert "no season before 2026 has both nodes counted and a closed harvest" in way_of(told, "yield_wanted").words[0]
    assert told.agreed.verdict == "too short"
    assert told.plan is None
    assert "--keep N" in told.plan_missing


def test_a_yield_that_nobody_wants_gives_no_number() -> None:
    assert "--yield says how much" in way_of(answer(full()), "yield_wanted").words[0]


def test_a_block_without_training_has_no_canopy_and_says_so() -> None:
    told = answer(full(trainings=()))
    assert told.cap is None
    assert "load a training" in way_of(told, "shoots_wanted").words[0]
    assert any("no training is recorded" in note for note in told.notes)


def test_vines_without_a_row_canopy_have_no_cap_and_no_shoots_per_metre() -> None:
    bush = TrainingFacts(2000, "head", "spur", 4, 1, "free", None, 0.5, "low head, no wires")
    told = answer(full(trainings=(bush,)), weighed=wood(0.9, 1.0, 1.1))
    assert told.cap is None
    assert "no canopy along the row" in way_of(told, "shoots_wanted").words[0]
    assert any("no canopy along the row" in note for note in told.notes)
    by_wood = way_of(told, "balanced_pruning")
    assert by_wood.nodes is not None
    assert by_wood.nodes > 40
    expected = {one.figure for one in way_of(told, "own_record").expected}
    assert expected
    assert "shoots_per_m" not in expected


def test_vines_below_the_first_unit_are_for_the_leader_to_judge() -> None:
    none = way_of(answer(full(), weighed=wood(0.3, 0.2)), "balanced_pruning")
    assert none.nodes is None
    assert none.words[0] == (
        "none of 2 vines reaches the first lb: weak vines, ask the leader; no source gives a rule below it"
    )
    some = way_of(answer(full(), weighed=wood(0.3, 0.6, 0.7)), "balanced_pruning")
    assert some.words[0].startswith("1 of 3 vines does not reach the first lb and is left out: a weak vine")


def test_one_weighed_vine_has_no_interval_and_says_so() -> None:
    way = way_of(answer(full(), weighed=wood(0.6), shoots_per_m=40.0), "balanced_pruning")
    assert (way.low, way.interval_of) == (None, "")
    assert "one vine, hence no interval" in way.words


def test_a_cultivar_of_no_known_formula_shows_one_for_each_type_of_vine_and_no_table() -> None:
    planted = (PlantingFacts(2000, None, "Grey Hen", "", "", 2000, None, 2.0, 1.2, 1000),)
    told = answer(full(plantings=planted), weighed=wood(0.6, 0.7))
    variants = [way.variant for way in told.ways if way.way == "balanced_pruning"]
    assert [words.split(" (")[0] for words in variants] == ["20+20/lb", "20+10/lb", "30+10/lb"]
    assert told.crew_table is None
    named = answer(full(plantings=planted), weighed=wood(0.6, 0.7), formula="33+11/500g")
    assert named.crew_table is not None


def test_a_season_that_is_over_is_refused_and_the_next_one_named() -> None:
    with pytest.raises(AdviceError, match="season 2026 of A1 is over: its harvest was closed on 2026-09-20") as caught:
        answer(full(), facts={"closed_on": dt.date(2026, 9, 20), "last_closed": 2028})
    assert "--season 2029" in caught.value.hint


def test_a_season_before_one_that_was_closed_is_over_too() -> None:
    with pytest.raises(AdviceError, match="season 2026 of A1 is over: the harvest of 2027 was closed"):
        answer(full(), facts={"last_closed": 2027})
    assert answer(full(), facts={"last_closed": 2025}).season == SEASON


def test_a_block_that_ended_names_what_it_became() -> None:
    became = (RelatedBlock("A1A", "", "split"), RelatedBlock("A1B", "", "split"))
    with pytest.raises(AdviceError, match="block A1 ended with 2024") as caught:
        answer(full(to_season=2024, successors=became))
    assert "A1A, A1B" in caught.value.hint


def test_a_block_without_a_planting_is_refused() -> None:
    with pytest.raises(AdviceError, match="nothing is planted in A1 in 2026"):
        answer(full(plantings=()))


def test_a_block_already_pruned_tells_what_was_counted() -> None:
    told = answer(history(figure(SEASON, "nodes_per_vine", 17.2, n=8, chosen="panels")))
    assert told.kept is not None
    assert (told.kept.value, told.kept.n, told.kept.n_of) == (17.2, 8, "panels")


def test_a_plan_is_laid_out_only_for_what_the_record_or_the_person_says() -> None:
    record = answer(full())
    assert record.plan is not None
    assert (record.plan.nodes, record.plan.chosen_by) == (16, "the mean of the seasons that agree")
    asked = answer(full(), keep=20)
    assert asked.plan is not None
    assert (asked.plan.nodes, asked.plan.chosen_by) == (20, "asked for")
    assert answer(history(), weighed=wood(0.6, 0.7)).plan is None


@pytest.mark.parametrize(("rule", "nodes"), [("Cornell 2014", 21.6), ("full compensation", 16 / 0.65)])
def test_dead_buds_are_made_up_for_by_the_rule_that_was_named(rule: str, nodes: float) -> None:
    buds = figure(SEASON, "bud_mortality", 35.0, low=30.0, high=40.0)
    told = answer(_with(full(), buds), bud_injury_rule=rule, facts={"buds_cut": 100})
    own = way_of(told, "own_record")
    assert own.nodes == pytest.approx(16.0)
    assert own.corrected is not None
    assert own.corrected.nodes == pytest.approx(nodes)
    assert own.corrected.low is not None
    assert own.corrected.low < nodes
    assert told.plan is not None
    assert told.plan.nodes == round(nodes)


def test_a_rule_whose_classes_meet_gives_no_number_and_no_plan() -> None:
    buds = figure(SEASON, "bud_mortality", 30.0, low=26.0, high=34.0)
    told = answer(_with(full(), buds), bud_injury_rule="Purdue", facts={"buds_cut": 100})
    own = way_of(told, "own_record")
    assert own.corrected is not None
    assert own.corrected.nodes is None
    assert told.plan is None
    assert "2 classes of the rule meet at 30 %" in told.plan_missing
    kept = answer(_with(full(), buds), bud_injury_rule="Purdue", facts={"buds_cut": 100}, keep=20)
    assert kept.plan is not None


def test_a_rule_without_buds_cut_says_what_to_load() -> None:
    with pytest.raises(AdviceError, match="no buds were cut before the pruning that sets 2026") as caught:
        answer(full(), bud_injury_rule="Purdue")
    assert "bud_sample" in caught.value.hint


def test_dead_buds_without_a_rule_are_noted_and_correct_nothing() -> None:
    told = answer(_with(full(), figure(SEASON, "bud_mortality", 35.0)), facts={"buds_cut": 100})
    assert way_of(told, "own_record").corrected is None
    assert any("35 % of 100 buds cut were dead" in note for note in told.notes)


def test_the_cordon_of_the_training_in_force_gives_the_spacing() -> None:
    told = answer(full(trainings=(cordon(1.2),)))
    assert told.plan is not None
    assert told.plan.spacing_cm == pytest.approx(15.0)


def _with(told: BlockHistory, *figures: Any) -> BlockHistory:  # noqa: ANN401 - figures
    given = {name: getattr(told, name) for name in BlockHistory.__slots__}
    return BlockHistory(**(given | {"figures": (*told.figures, *figures)}))
