"""Whatever a book holds, the answer is told: numbers that are numbers, words that fit, JSON that is JSON."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.advice.past import SEASON, answer, cordon, figure, history, wood
from vinebook.advice.pruning_formulas import FORMULAS
from vinebook.cli.nodes import as_json
from vinebook.cli.nodes_lines import nodes_lines
from vinebook.formulas.buds import INJURY_RULES

NAMES = (
    "nodes_per_vine", "yield_to_prunings", "cane_weight", "budbreak", "shoots_per_node", "shoots_per_vine",
    "noncount_shoot_share", "yield_per_vine", "vines_bearing", "prunings_per_vine",
)  # fmt: skip
SHARES = {"budbreak", "noncount_shoot_share"}
# A mean of counts is 0 or at least one on a thousand vines.
values = st.floats(0.001, 200) | st.just(0.0) | st.none()


@st.composite
def figures(draw: st.DrawFn) -> list[Any]:
    found = []
    for year in draw(st.lists(st.integers(2010, SEASON), max_size=9, unique=True)):
        for name in NAMES:
            value = draw(values)
            if value is None:
                continue
            value = min(value, 100.0) if name in SHARES else value
            ends = {"low": value * 0.8, "high": value * 1.2} if draw(st.booleans()) else {}
            found.append(figure(year, name, value, n=draw(st.integers(1, 40)), **ends))
    return found


@pytest.fixture(autouse=True)
def _narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


@settings(max_examples=100, deadline=None)
@given(
    figures(),
    st.lists(st.floats(0, 9), max_size=8),
    st.fixed_dictionaries(
        {},
        optional={
            "shoots_per_m": st.floats(0.1, 60),
            "noncount_kept": st.floats(0, 80),
            "yield_t_per_ha": st.floats(0.01, 60),
            "formula": st.sampled_from(sorted(FORMULAS)),
            "keep": st.integers(1, 300),
            "lay": st.sampled_from(["spurs", "canes"]),
            "nodes_per_spur": st.integers(1, 10),
        },
    ),
    st.none() | st.tuples(st.integers(0, 100).map(float), st.sampled_from(sorted(INJURY_RULES))),
    st.sampled_from([None, cordon(1.2), cordon(None), cordon(1.2, pruned="mixed"), cordon(0.0, arms=0)]),
)
def test_any_record_is_answered(
    found: list[Any],
    kg: list[float],
    wished: dict[str, Any],
    buds: tuple[float, str] | None,
    training: Any,  # noqa: ANN401 - a training or none
) -> None:
    if buds is not None:
        found = [*found, figure(SEASON, "bud_mortality", buds[0])]
        wished = {**wished, "bud_injury_rule": buds[1]}
    told = answer(
        history(*found, trainings=() if training is None else (training,)),
        weighed=wood(*kg),
        facts={"buds_cut": 100},
        **wished,
    )
    for units in ("metric", "us"):
        lines = list(nodes_lines(told, units, shows_all=True, shows_table=True))
        assert max(map(len, lines)) <= 80
        words = " ".join(lines).split()
        assert not {"nan", "inf", "-inf", "None"} & set(words)
        json.loads(json.dumps(as_json(told, units), allow_nan=False))
    for way in told.ways:
        assert way.words or way.nodes is not None
        assert way.low is None or way.high is None or way.low <= way.high + 1e-9
