"""What a named rule makes of dead buds: a number, or why there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from vinebook.advice.dead_buds import SOURCES, corrected, dead_buds
from vinebook.formulas.buds import INJURY_RULES
from vinebook.seasons.model import Figure

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import DeadBuds


def dead(percent: float, rule: str, *ends: float) -> DeadBuds:
    low, high = ends or (None, None)
    told = dead_buds(Figure("A1", 2026, "bud_mortality", percent, "%", low=low, high=high), 100, rule)
    assert told is not None
    return told


@pytest.mark.parametrize(
    ("percent", "rule", "words"),
    [
        (10.0, "Cornell 2014", "no change"),
        (35.0, "Cornell 2014", "35 % more nodes"),
        (85.0, "Cornell 2014", "no number: the rule ends at 80 % dead buds; ask for local advice"),
        (20.0, "Purdue", "35 % more nodes"),
        (45.0, "Purdue", "50 % more nodes"),
        (30.0, "Purdue", "no number: 2 classes of the rule meet at 30 % and say different things"),
        (60.0, "Purdue", "no number: the rule ends at 50 % dead buds; above it the source prunes minimally"),
        (50.0, "full compensation", "100 % more nodes"),
        (100.0, "full compensation", "no live primary was found: no number of nodes makes up for that"),
    ],
)
def test_a_rule_is_told_in_words(percent: float, rule: str, words: str) -> None:
    assert dead(percent, rule).words == words


@pytest.mark.parametrize(
    ("percent", "rule", "nodes"),
    [(10.0, "Cornell 2014", 40.0), (35.0, "Cornell 2014", 54.0), (85.0, "Cornell 2014", None),
     (20.0, "Purdue", 54.0), (45.0, "Purdue", 60.0), (30.0, "Purdue", None), (60.0, "Purdue", None)],
)  # fmt: skip
def test_forty_nodes_are_corrected_as_printed(percent: float, rule: str, nodes: float | None) -> None:
    assert corrected(40.0, dead(percent, rule)).nodes == (None if nodes is None else pytest.approx(nodes))


def test_an_interval_that_reaches_into_another_class_is_told() -> None:
    told = dead(18.0, "Cornell 2014", 12.0, 26.0)
    assert told.words == "no change; its interval, 12–26 %, reaches into another class of the rule"
    assert corrected(40.0, told).high == pytest.approx(40 * 1.26)
    assert "another class" not in dead(35.0, "Cornell 2014", 30.0, 40.0).words
    beyond = corrected(40.0, dead(75.0, "Cornell 2014", 65.0, 83.0))
    assert beyond.nodes == pytest.approx(70.0)
    assert (beyond.low, beyond.high) == (None, None)


def test_no_buds_cut_is_no_share() -> None:
    assert dead_buds(None, 0, "Purdue") is None


def test_every_rule_has_a_source() -> None:
    assert SOURCES.keys() == INJURY_RULES.keys()
