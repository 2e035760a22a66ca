"""A plan adds up to its level; the crew's table follows the formula."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.advice.past import cordon, wood
from vinebook.advice.dead_buds import dead_buds
from vinebook.advice.nodes_model import Wishes
from vinebook.advice.pruning_formulas import FORMULAS
from vinebook.advice.pruning_plan import MOST_LINES, crew_table, laid_out, lay_of
from vinebook.seasons.context import Target
from vinebook.seasons.model import Figure, TrainingFacts
from vinebook.seasons.pruning_facts import OrderedPruning

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import Lay, PruningPlan


def plan(
    nodes: int,
    lay: Lay,
    wishes: Wishes | None = None,
    training: TrainingFacts | None = None,
    ordered: OrderedPruning | None = None,
    spacing: Target | None = None,
) -> PruningPlan:
    return laid_out(nodes, "asked for", lay, wishes or Wishes(), training, ordered, spacing)


def bearers(told: PruningPlan) -> list[tuple[int, str, int]]:
    return [(one.count, one.bearer, one.nodes_each) for one in told.bearers]


@given(
    st.integers(1, 200),
    st.sampled_from(["spurs", "canes"]),
    st.integers(1, 6) | st.none(),
    st.integers(1, 8) | st.none(),
    st.integers(0, 6) | st.none(),
    st.integers(1, 6) | st.none(),
)
def test_the_nodes_of_a_plan_add_up_to_its_level(
    nodes: int, lay: Lay, each: int | None, canes: int | None, renewal: int | None, arms: int | None
) -> None:
    told = plan(nodes, lay, Wishes(nodes_per_spur=each, canes=canes, renewal_spurs=renewal), cordon(arms=arms))
    assert sum(one.count * one.nodes_each for one in told.bearers) == nodes
    assert all(one.count > 0 and one.nodes_each > 0 for one in told.bearers)
    main = sum(one.count for one in told.bearers if one.bearer != "renewal spur")
    if arms:
        assert (told.per_arm[0] * arms if len(told.per_arm) == 1 else sum(told.per_arm)) == main


def test_fifty_nodes_are_ten_spurs_of_five_or_five_canes_of_ten() -> None:
    """West Virginia Department of Agriculture, Growing Grapes in West Virginia, p. 14."""
    assert bearers(plan(50, "spurs", Wishes(nodes_per_spur=5))) == [(10, "spur", 5)]
    assert bearers(plan(50, "canes", Wishes(canes=5, renewal_spurs=0))) == [(5, "cane", 10)]


def test_an_odd_level_gives_one_spur_a_node_more() -> None:
    told = plan(23, "spurs", training=cordon(1.5))
    assert bearers(told) == [(10, "spur", 2), (1, "spur", 3)]
    assert told.per_arm == (6, 5)
    assert told.spacing_cm == pytest.approx(150 / 11)


def test_canes_share_what_the_renewal_spurs_leave() -> None:
    assert bearers(plan(16, "canes", training=cordon(None))) == [(2, "cane", 6), (2, "renewal spur", 2)]
    assert bearers(plan(17, "canes", Wishes(canes=2, renewal_spurs=2))) == [
        (1, "cane", 7), (1, "cane", 6), (2, "renewal spur", 2),
    ]  # fmt: skip


def test_the_order_of_the_last_visit_of_the_same_form_is_followed() -> None:
    cane = OrderedPruning(2025, "cane", canes_per_vine=4.0, renewal_spurs=2.0)
    assert bearers(plan(52, "canes", ordered=cane)) == [(4, "cane", 12), (2, "renewal spur", 2)]
    assert bearers(plan(24, "spurs", ordered=cane)) == [(12, "spur", 2)]
    spur = OrderedPruning(2025, "spur", nodes_per_spur=3.0)
    assert bearers(plan(24, "spurs", ordered=spur)) == [(8, "spur", 3)]


@pytest.mark.parametrize(("cordon_m", "side"), [(1.0, "below"), (1.5, "within"), (2.0, "above")])
def test_a_spacing_outside_common_practice_is_told(cordon_m: float, side: str) -> None:
    told = plan(24, "spurs", training=cordon(cordon_m))
    assert told.spacing_side == side
    assert told.spacing_band is not None
    assert told.spacing_band.name == "common practice"


def test_the_blocks_own_band_judges_the_spacing() -> None:
    own = Target("spur_spacing", 16.0, 20.0, 2000, "the grower", is_of_block=True)
    told = plan(24, "spurs", training=cordon(2.0), spacing=own)
    assert (told.spacing_side, told.spacing_band and told.spacing_band.name) == ("within", "own target")


def test_a_cordon_of_unknown_length_has_no_spacing_and_says_why() -> None:
    told = plan(24, "spurs", training=cordon(None))
    assert told.spacing_cm is None
    assert "cordon_length" in told.warnings[0]


def test_canes_and_spurs_longer_than_published_ones_are_told() -> None:
    assert "published canes have 5 to 20" in plan(60, "canes", Wishes(canes=2)).warnings[0]
    assert "published spurs have 1 to 3" in plan(20, "spurs", Wishes(nodes_per_spur=5), cordon()).warnings[0]


def test_too_few_nodes_for_renewal_spurs_are_laid_without_them() -> None:
    told = plan(4, "canes", Wishes(canes=2, renewal_spurs=2))
    assert bearers(told) == [(2, "cane", 2)]
    assert "laid without them" in told.warnings[0]


@pytest.mark.parametrize(("pruned", "lay"), [("spur", "spurs"), ("cane", "canes"), ("mixed", None), ("minimal", None)])
def test_the_training_says_how_nodes_are_laid(pruned: str, lay: str | None) -> None:
    told, missing = lay_of(Wishes(), cordon(pruned=pruned), None)
    assert told == lay
    assert bool(missing) == (lay is None)
    assert lay_of(Wishes(lay="canes"), cordon(pruned=pruned), None) == ("canes", "")


def test_without_a_training_the_last_order_says_it_and_without_both_it_is_asked_for() -> None:
    assert lay_of(Wishes(), None, OrderedPruning(2025, "cane"))[0] == "canes"
    lay, missing = lay_of(Wishes(), None, None)
    assert lay is None
    assert "load one" in missing


def test_the_table_is_in_the_unit_of_the_formula() -> None:
    pounds = crew_table(FORMULAS["30+10/lb"], wood(1.0, 1.4), None, None)
    assert (pounds.unit, pounds.below) == ("lb", 1.0)
    assert [(line.prunings, line.nodes) for line in pounds.lines][::4] == [(1.0, 30), (2.0, 40), (3.0, 50), (4.0, 60)]
    grams = crew_table(FORMULAS["33+11/500g"], wood(1.0), None, None)
    assert (grams.unit, grams.below) == ("g", 500.0)
    assert {line.prunings: line.nodes for line in grams.lines}[1500.0] == 55
    kilos = crew_table(FORMULAS["15/kg"], wood(2.0), None, None)
    assert (kilos.unit, kilos.below) == ("kg", None)
    assert {line.prunings: line.nodes for line in kilos.lines}[2.0] == 30


def test_a_formula_of_two_units_changes_its_step_after_the_first() -> None:
    table = crew_table(FORMULAS["55/500g+22/kg"], wood(2.0), None, None)
    found = {line.prunings: line.nodes for line in table.lines}
    assert (found[500.0], found[1000.0], found[1500.0]) == (55, 66, 77)


def test_the_table_ends_where_the_cap_holds() -> None:
    table = crew_table(FORMULAS["20+20/lb"], wood(2.0), 27.4, None)
    assert [(line.prunings, line.nodes, line.is_capped) for line in table.lines] == [
        (1.0, 20, False), (1.25, 25, False), (1.5, 27, True),
    ]  # fmt: skip


@given(st.floats(0.1, 9.0), st.sampled_from(sorted(FORMULAS)))
def test_a_table_reaches_the_heaviest_vine_in_few_lines_that_rise(heaviest: float, name: str) -> None:
    table = crew_table(FORMULAS[name], wood(heaviest), None, None)
    assert len(table.lines) <= MOST_LINES
    assert table.lines[-1].prunings_kg >= heaviest - 1e-9
    nodes = [line.nodes for line in table.lines]
    assert nodes == sorted(nodes)


def test_the_table_is_corrected_for_dead_buds_where_the_rule_gives_a_number() -> None:
    def table(percent: float, rule: str) -> tuple[int, str]:
        dead = dead_buds(Figure("A1", 2026, "bud_mortality", percent, "%"), 100, rule)
        made = crew_table(FORMULAS["30+10/lb"], wood(1.0), None, dead)
        return made.lines[4].nodes, made.correction

    assert table(35.0, "Cornell 2014") == (54, "35 % dead buds, Cornell 2014")
    assert table(10.0, "Cornell 2014")[0] == 40
    assert table(85.0, "Cornell 2014") == (40, "")
