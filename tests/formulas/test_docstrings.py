"""Docstrings of the formulas: their examples run, and numpydoc finds nothing missing."""

from __future__ import annotations

import doctest
import importlib
import tomllib
from pathlib import Path

import pytest
from numpydoc.validate import validate  # type: ignore[import-untyped]

from tests.published.cases import public_formulas

MODULES = sorted({name.partition(".")[0] for name in public_formulas()})
FUNCTIONS = [name for name, value in public_formulas().items() if not isinstance(value, type)]
PYPROJECT = Path(__file__).parents[2] / "pyproject.toml"
LEFT_OUT = set(tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["tool"]["numpydoc_validation"]["checks"])


def faults_of(name: str) -> list[str]:
    """Give what numpydoc finds in the docstring of a name."""
    return [f"{code} {text}" for code, text in validate(name)["errors"] if code not in LEFT_OUT]


@pytest.mark.parametrize("module", MODULES)
def test_the_examples_give_what_they_show(module: str) -> None:
    result = doctest.testmod(importlib.import_module(f"vinebook.formulas.{module}"))
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.parametrize("name", sorted(public_formulas()))
def test_a_docstring_leaves_nothing_out(name: str) -> None:
    assert faults_of(f"vinebook.formulas.{name}") == []


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_formula_names_its_errors_reference_and_example(name: str) -> None:
    text = public_formulas()[name].__doc__ or ""
    for section in ("Parameters", "Returns", "Raises", "References", "Examples"):
        assert f"\n    {section}\n    {'-' * len(section)}\n" in text, section
    parameters = text.partition("Parameters\n")[2].partition("Returns\n")[0]
    entries = [line for line in parameters.splitlines() if " : " in line]
    assert parameters.count("[") >= len(entries) - parameters.count(" : int"), "a unit in brackets for each parameter"


def test_a_missing_section_would_be_found() -> None:
    assert any(fault.startswith("PR01") for fault in faults_of("vinebook.formulas._inputs.quotient"))
