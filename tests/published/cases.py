"""The published cases: read from the TOML files beside this one, run, and compared with what was printed."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import tomllib
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import vinebook.formulas

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FOLDER = Path(__file__).parent
MARKS = {"VERIFIED", "DERIVED", "CONSTRUCTED", "FROM MEMORY"}
FROM_OUTSIDE = MARKS - {"CONSTRUCTED"}
ASKED_KEYS = {"id", "source", "page", "inputs", "printed", "formula", "mark"}
ALLOWED_KEYS = ASKED_KEYS | {"tolerance", "tolerance_reason", "note", "times", "power", "rounding"}
NEITHER_CASES = {"without.toml", "vine_grid_1932.toml"}

Case = dict[str, Any]


def read_cases() -> list[Case]:
    """Give every case of every file, in the order of the files."""
    files = sorted(path for path in FOLDER.glob("*.toml") if path.name not in NEITHER_CASES)
    return [case for path in files for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]]


def read_without() -> dict[str, str]:
    """Give the formulas that have no case from outside, and why."""
    return tomllib.loads((FOLDER / "without.toml").read_text(encoding="utf-8"))


def public_formulas() -> dict[str, Callable[..., Any]]:
    """Give every public function and record of the formulas, by module and name."""
    return dict(_public_formulas())


def _public_formulas() -> Iterator[tuple[str, Callable[..., Any]]]:
    for module_info in pkgutil.iter_modules(vinebook.formulas.__path__):
        if module_info.name.startswith("_"):
            continue
        module = importlib.import_module(f"vinebook.formulas.{module_info.name}")
        for name, value in vars(module).items():
            if callable(value) and not name.startswith("_") and getattr(value, "__module__", "") == module.__name__:
                yield f"{module_info.name}.{name}", value


def faults_of(case: Case) -> list[str]:
    """Give what is wrong with how a case is written."""
    faults = [f"asks for {key}" for key in sorted(ASKED_KEYS - case.keys())]
    faults += [f"does not know {key}" for key in sorted(case.keys() - ALLOWED_KEYS)]
    if case.get("mark") not in MARKS:
        faults.append("mark is none of the known ones")
    if ("tolerance" in case) != ("tolerance_reason" in case):
        faults.append("a tolerance and its reason go together")
    return faults


def uncovered(formulas: set[str], cases: list[Case], without: dict[str, str]) -> set[str]:
    """Give the formulas that have neither a case from outside nor a reason to go without."""
    return formulas - covered(cases) - without.keys()


def covered(cases: list[Case]) -> set[str]:
    """Give the formulas that have a case from outside."""
    return {case["formula"] for case in cases if case["mark"] in FROM_OUTSIDE}


def disagreements(case: Case) -> list[str]:
    """Run a case; give each printed value that the formula does not meet."""
    formula = public_formulas()[case["formula"]]
    result = formula(**arguments(formula, case["inputs"]))
    printed = case["printed"]
    if isinstance(printed, dict):
        pairs = [(name, text, getattr(result, name)) for name, text in printed.items()]
    else:
        pairs = [("result", printed, result)]
    return [fault for name, text, value in pairs for fault in _compare(case, name, text, value)]


def arguments(formula: Callable[..., Any], inputs: dict[str, Any]) -> dict[str, Any]:
    """Give what a formula is called with: the inputs, and sums or moments of the samples among them."""
    known: dict[str, Any] = {name: _number(value) for name, value in inputs.items()}
    known |= _sums(inputs)
    return {name: known[name] for name in inspect.signature(formula).parameters if name in known}


def half_a_unit(text: str) -> float:
    """Give half a unit of the last digit of a printed number."""
    exponent = Decimal(text).as_tuple().exponent
    assert isinstance(exponent, int)
    return 0.5 * 10.0**exponent


def _compare(case: Case, name: str, printed: str | list[str], value: object) -> Iterator[str]:
    texts = printed if isinstance(printed, list) else [printed]
    values = np.atleast_1d(np.asarray(value, dtype=np.float64))
    if len(values) != len(texts):
        yield f"{name}: {len(texts)} printed, {len(values)} worked out"
        return
    values = values ** case.get("power", 1) * case.get("times", 1)
    if case.get("rounding") == "up":
        values = np.ceil(values)
    for text, number in zip(texts, values, strict=True):
        if text in {"true", "false"}:
            agrees = number == (text == "true")
        elif text == "none":
            agrees = bool(np.isnan(number))
        else:
            tolerance = case.get("tolerance", half_a_unit(text))
            agrees = abs(number - float(text)) <= tolerance + 1e-12 * abs(number)
        if not agrees:
            yield f"{name}: printed {text}, worked out {number!r}"


def _number(value: object) -> object:
    if isinstance(value, list):
        return [_number(item) for item in value]
    if isinstance(value, str) and value[:1].isdigit():
        top, _, bottom = value.partition("/")
        return float(Fraction(top) / Fraction(bottom or "1"))
    return value


def _sums(inputs: dict[str, Any]) -> dict[str, Any]:
    known: dict[str, Any] = {}
    if "values" in inputs:
        values = inputs["values"]
        known |= {"n": len(values), "total": sum(values), "total_of_squares": sum(value**2 for value in values)}
    if "x" in inputs and isinstance(inputs["x"], list):
        x, y = inputs["x"], inputs["y"]
        known |= {"n": len(x), "sum_x": sum(x), "sum_y": sum(y)}
        known |= {"sum_xx": sum(a * a for a in x), "sum_yy": sum(b * b for b in y)}
        known["sum_xy"] = sum(a * b for a, b in zip(x, y, strict=True))
    for name, role in (("first", "numerator"), ("second", "denominator")):
        if name in inputs:
            sample = np.array(inputs[name], dtype=np.float64)
            variance = float(sample.var(ddof=1))
            of_means = "covariance" in inputs
            known[role] = float(sample.mean())
            known[f"{role}_n"] = len(sample)
            known[f"{role}_df"] = len(sample) - 1
            known[f"{role}_se"] = float(np.sqrt(variance / len(sample)))
            known[f"{role}_variance"] = variance / len(sample) if of_means else variance
    return known
