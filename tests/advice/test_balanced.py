"""A block's level by balanced pruning is the mean of its vines, not the formula of their mean."""

from __future__ import annotations

from statistics import mean, stdev

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student

from tests.advice.past import wood
from vinebook.advice.balanced import block_level, nodes_of_vine
from vinebook.advice.pruning_formulas import BY_TYPE, FORMULAS, TYPES, UNIT_KG, formula_for
from vinebook.quantities import POUND_KG
from vinebook.seasons.pruning_facts import WeighedVine, WoodWeighed

LB = float(POUND_KG)
VINIFERA = FORMULAS["20+20/lb"]
CONCORD = FORMULAS["33+11/500g"]


def test_three_pounds_under_30_and_10_are_fifty_nodes() -> None:
    assert float(nodes_of_vine(3 * LB, FORMULAS["30+10/lb"])) == pytest.approx(50)


def test_a_formula_of_two_units_keeps_both() -> None:
    both = FORMULAS["55/500g+22/kg"]
    assert nodes_of_vine(np.array([0.5, 1.0, 1.5, 2.5]), both).tolist() == pytest.approx([55, 66, 77, 99])


def test_each_vine_goes_through_the_formula_before_the_mean() -> None:
    masses = [1.2, 2.0, 2.8]
    level = block_level(wood(*(mass * LB for mass in masses)), VINIFERA, 45.0)
    nodes = [24.0, 40.0, 45.0]
    assert level.nodes == pytest.approx(mean(nodes))
    assert (level.capped, level.n, level.weak) == (1, 3, 0)
    half = student.ppf(0.975, 2) * stdev(nodes) / 3**0.5
    assert level.low == pytest.approx(mean(nodes) * np.exp(-half / mean(nodes)))


def test_weak_vines_are_left_out_and_counted() -> None:
    level = block_level(wood(0.3, 0.5, 1.0), CONCORD, None)
    assert (level.nodes, level.weak, level.weighed, level.n) == (38.5, 1, 3, 2)


def test_no_vine_that_reaches_the_first_unit_gives_no_number() -> None:
    level = block_level(wood(0.3, 0.2), CONCORD, None)
    assert (level.nodes, level.weak) == (None, 2)


def test_a_formula_that_is_linear_from_nothing_knows_no_weak_vine() -> None:
    level = block_level(wood(4.0, 0.2), FORMULAS["15/kg"], None)
    assert level.nodes == pytest.approx((60 + 3) / 2)
    assert level.weak == 0


def test_one_vine_and_vines_picked_by_hand_have_no_interval() -> None:
    assert block_level(wood(1.0), CONCORD, None).low is None
    assert block_level(wood(1.0, 1.5, 2.0, by_hand=True), CONCORD, None).low is None


def test_vines_that_the_cap_holds_back_all_alike_have_no_interval() -> None:
    level = block_level(wood(2.0, 2.5, 3.0), CONCORD, 40.0)
    assert (level.nodes, level.low, level.capped) == (40.0, None, 3)


def test_the_share_of_the_block_that_was_drawn_narrows_the_interval() -> None:
    masses = (1.0, 1.5, 2.0, 1.2)
    wide, narrow = (block_level(wood(*masses, positions=places), CONCORD, None) for places in (None, 8))
    assert wide.low is not None
    assert narrow.low is not None
    assert narrow.nodes == wide.nodes
    assert narrow.low > wide.low


def test_panels_are_the_units_where_panels_were_drawn() -> None:
    masses = {0: (1.0, 1.5), 1: (2.0,), 2: (1.2, 0.8, 1.0)}
    vines = tuple(
        WeighedVine(at, 1, at, (1, 1, panel), "all", mass)
        for at, (panel, mass) in enumerate((panel, mass) for panel, of in masses.items() for mass in of)
    )
    level = block_level(WoodWeighed(vines, in_panels=True), CONCORD, None)
    assert level.n == 3
    assert level.nodes == pytest.approx(float(nodes_of_vine(np.array([1.0, 1.5, 2.0, 1.2, 0.8, 1.0]), CONCORD).mean()))


def parts(**kg: tuple[float, ...]) -> tuple[WeighedVine, ...]:
    pairs = [(part, mass) for part, of in kg.items() for mass in of]
    return tuple(WeighedVine(at, 1, at, (1, 1, at), part, mass) for at, (part, mass) in enumerate(pairs))


def test_parts_are_weighted_by_their_bearing_vines() -> None:
    vines = parts(upper=(1.0, 1.0, 1.5), lower=(2.0, 2.5))
    census = (("lower", 300), ("upper", 100))
    level = block_level(WoodWeighed(vines, bearing_of_part=census), CONCORD, None)
    upper, lower = (33 + 11 * mass / 0.5 - 11 for mass in (3.5 / 3, 2.25))
    assert level.nodes == pytest.approx((100 * upper + 300 * lower) / 400)
    assert not level.parts_pooled


def test_parts_without_a_census_by_the_same_parts_are_pooled_and_said() -> None:
    vines = parts(upper=(1.0, 1.5), lower=(2.0,))
    assert block_level(WoodWeighed(vines, bearing_of_part=(("upper", 100),)), CONCORD, None).parts_pooled


@given(st.lists(st.floats(0.01, 8.0), min_size=1, max_size=30), st.sampled_from(sorted(FORMULAS)))
def test_a_level_lies_between_its_least_and_its_largest_vine(masses: list[float], name: str) -> None:
    formula = FORMULAS[name]
    level = block_level(wood(*masses), formula, None)
    nodes = [each for each in nodes_of_vine(np.array(masses), formula).tolist() if np.isfinite(each)]
    assert level.weak == len(masses) - len(nodes)
    if nodes:
        assert level.nodes is not None
        assert min(nodes) - 1e-9 <= level.nodes <= max(nodes) + 1e-9
    else:
        assert level.nodes is None


def test_a_formula_keeps_the_unit_that_it_was_printed_with() -> None:
    assert UNIT_KG == {"lb": LB, "500 g": 0.5, "kg": 1.0}
    for name, formula in FORMULAS.items():
        assert name == formula.name
        assert formula.later_unit in UNIT_KG
        assert formula.source
        assert (formula.first_unit == "") == (formula.first_nodes == 0)


def test_types_of_vine_and_cultivars_name_formulas_that_exist() -> None:
    assert set(BY_TYPE) | set(TYPES.values()) <= set(FORMULAS)
    names = {name: None if (found := formula_for(name)) is None else found.name for name in
             ("Riesling", " concord ", "Norton", "Seyval blanc", "Grey Hen")}  # fmt: skip
    assert names == {
        "Riesling": "20+20/lb",
        " concord ": "30+10/lb",
        "Norton": "60+10/lb",
        "Seyval blanc": "20+10/lb",
        "Grey Hen": None,
    }
