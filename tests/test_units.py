"""Every measure of every kind goes in and comes out in metric and US units, as Pint converts them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pint
import pytest

from vinebook.intake.cells import CellReader, DecimalSigns, Fault
from vinebook.kinds import LOADED_KINDS
from vinebook.quantities import DIMENSION_OF_UNIT, UNIT_SPELLINGS, UNITS_OF_DIMENSION, US_OF_METRIC
from vinebook.records.shown import shown_value, unit_of
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.kinds.field import Field

PINT: pint.UnitRegistry[float] = pint.UnitRegistry()
PINT.define("international_foot_acre = 43560 * foot**2")
NAMES = {
    "t": "metric_ton",
    "ton": "short_ton",
    "ha": "hectare",
    "m2": "meter**2",
    "ft2": "foot**2",
    "in": "inch",
    # Pint's own acre is the survey acre; ours is 43,560 square feet of the international foot.
    "acre": "international_foot_acre",
    "lb": "pound",
    "oz": "ounce",
    "ft": "foot",
    "nodes": "1",
    "shoots": "1",
    "m²": "meter**2",
    "ft²": "foot**2",
    "m": "meter",
}
MEASURES = [
    pytest.param(field, unit, id=f"{kind.name}-{field.name}-{unit}")
    for kind in LOADED_KINDS.values()
    for field in kind.fields
    if field.type == "measure" and field.dimension in ("mass", "length", "area")
    for unit in UNITS_OF_DIMENSION[field.dimension]
]
KEPT_IN_US = {
    "",
    "%",
    "°Brix",
    "g/L",
    "g",
    "vines",
    "nodes",
    "spurs",
    "canes",
    "shoots",
    "clusters",
    "berries",
    "layers",
}
"""Counts, shares and must figures have no other unit; clusters, berries and canes weigh grams everywhere."""


def pints(unit: str) -> str:
    """Give a unit as Pint reads it."""
    return "/".join(NAMES.get(part, part) for part in unit.split("/"))


@pytest.mark.parametrize(("field", "unit"), MEASURES)
def test_a_measure_written_in_any_unit_is_shown_in_both_as_pint_converts_it(field: Field, unit: str) -> None:
    # A number inside the bounds of the possible: the field's usual range, else a half of its own unit.
    usual = field.usual or (0.5, 0.5)
    stored_unit = {"mg": "mg", "m2": "m2"}.get(field.stored, field.stored)
    middle = (
        PINT.Quantity((usual[0] + usual[1]) / 2, pints(stored_unit))
        if field.usual
        else PINT.Quantity(0.5, pints(field.metric))
    )
    number = round(float(middle.to(pints(unit)).magnitude), 15)
    written = f"{number:.15f} {unit}"
    stored = CellReader(field, DecimalSigns(","))[written]
    assert not isinstance(stored, Fault), stored
    for units in ("metric", "us"):
        exact = PINT.Quantity(number, pints(unit)).to(pints(unit_of(field, units))).magnitude
        assert shown_value(field, stored, units) == pytest.approx(exact, rel=1e-6, abs=2e-6)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_bare_number_is_in_the_units_of_its_vineyard_and_comes_out_as_it_was_written(units: str) -> None:
    fields = [field for kind in LOADED_KINDS.values() for field in kind.fields if field.type == "measure"]
    assert len(fields) >= 20
    for field in fields:
        number = 7.25 if field.high is None or field.high > 1e5 else min(7.25, field.high / 2)
        if field.usual is not None:
            number = float(f"{shown_value(field, (field.usual[0] + field.usual[1]) / 2, units):.4g}")
        stored = CellReader(field, DecimalSigns(","))[f"{number:f} {unit_of(field, units)}"]
        assert not isinstance(stored, Fault), (field.name, stored)
        assert shown_value(field, stored, units) == pytest.approx(number, rel=1e-6), field.name


@pytest.mark.parametrize("metric", sorted({kind.unit for kind in FIGURES.values()} - KEPT_IN_US - {"kg/kg"}))
def test_every_figure_with_a_unit_is_shown_in_us_units_as_pint_converts_it(metric: str) -> None:
    shown = US_OF_METRIC[metric]
    assert shown.factor == pytest.approx(PINT.Quantity(1, pints(metric)).to(pints(shown.unit)).magnitude, rel=1e-12)


def test_what_is_shown_alike_in_both_has_no_length_or_mass_of_a_block_in_it() -> None:
    alike = {kind.unit for kind in FIGURES.values()} - US_OF_METRIC.keys()
    assert alike == KEPT_IN_US | {"kg/kg"}


def test_every_spelling_names_a_unit() -> None:
    assert set(UNIT_SPELLINGS.values()) <= DIMENSION_OF_UNIT.keys()
