"""Every published case, and that every public formula has one."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING

import pytest

from tests.published.cases import (
    MARKS,
    covered,
    disagreements,
    faults_of,
    half_a_unit,
    public_formulas,
    read_cases,
    read_without,
    uncovered,
)

if TYPE_CHECKING:
    from tests.published.cases import Case

CASES = read_cases()


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_a_formula_meets_what_was_printed(case: Case) -> None:
    assert faults_of(case) == []
    assert disagreements(case) == []


def test_ids_are_unique() -> None:
    ids = [case["id"] for case in CASES]
    assert len(set(ids)) == len(ids)


def test_every_public_formula_has_a_case_from_outside_or_a_reason() -> None:
    assert uncovered(set(public_formulas()), CASES, read_without()) == set()


def test_a_formula_that_goes_without_exists_has_a_reason_and_no_case() -> None:
    without = read_without()
    assert without.keys() - public_formulas().keys() == set()
    assert without.keys() & covered(CASES) == set()
    assert all(len(reason) > 10 for reason in without.values())


def test_a_new_formula_without_a_case_is_found() -> None:
    formulas = {*public_formulas(), "area.vines_per_morgen"}
    assert uncovered(formulas, CASES, read_without()) == {"area.vines_per_morgen"}


def test_a_formula_that_loses_its_case_is_found() -> None:
    left = [case for case in CASES if case["formula"] != "balance.yield_to_prunings"]
    assert uncovered(set(public_formulas()), left, read_without()) == {"balance.yield_to_prunings"}


def test_a_constructed_case_is_no_case_from_outside() -> None:
    cases = [{**case, "mark": "CONSTRUCTED"} for case in CASES]
    assert covered(cases) == set()
    assert "fieller.fieller_interval" in covered(CASES)


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_a_case_can_fail(case: Case) -> None:
    wrong = copy.deepcopy(case)
    wrong["times"] = case.get("times", 1) * 1.5 + 0.5
    assert disagreements(wrong)


def test_a_case_without_its_keys_is_found() -> None:
    assert faults_of({"id": "x", "tolerance": 1, "colour": "red"}) == [
        "asks for formula",
        "asks for inputs",
        "asks for mark",
        "asks for page",
        "asks for printed",
        "asks for source",
        "does not know colour",
        "mark is none of the known ones",
        "a tolerance and its reason go together",
    ]


def test_the_tolerance_is_half_a_unit_of_the_last_digit() -> None:
    assert half_a_unit("0.734") == pytest.approx(0.0005)
    assert half_a_unit("2074") == 0.5
    assert half_a_unit("7.0") == pytest.approx(0.05)


def test_every_mark_is_in_use() -> None:
    assert {case["mark"] for case in CASES} == MARKS
