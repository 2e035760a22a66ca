"""Stored values in a person's units and words."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from vinebook.quantities import STORED_PER_BASE, UNITS_OF_DIMENSION

if TYPE_CHECKING:
    from vinebook.kinds.field import Field, Kind

MG_OF_KG = 1_000_000


def unit_of(field: Field, units: str) -> str:
    """Give the unit of a field where the units are "metric" or "us"."""
    return field.us if units == "us" else field.metric


def shown_value(field: Field, value: Any, units: str) -> Any:  # noqa: ANN401 - values are of several types
    """Give a stored value as a person reads it: a measure in the units, a ticket in its own unit, as printed."""
    if value is None:
        return None
    if field.type == "position":
        return "old wood" if value == -1 else value
    if field.type == "ticket":
        return value // 1000 if value % 1000 == 0 else value / 1000
    if field.type != "measure":
        return value
    per_unit = float(UNITS_OF_DIMENSION[field.dimension][unit_of(field, units)])
    base = value / float(STORED_PER_BASE.get(field.stored, 1))
    return float(f"{base / per_unit:.10g}")


def told_change(of: Kind, column: str, before: str, after: str) -> str:
    """Give in words how a stored column changed, from the texts that the journal keeps of it.

    Parameters
    ----------
    of : the kind of the record.
    column : name of the stored column.
    before, after : stored values as text; "" is empty.
    """
    field = field_of(of, column)
    if field is None:
        return f"{column} {before or 'empty'} → {after or 'empty'}"
    unit = f" {field.metric}" if field.type == "measure" and field.metric else ""
    return f"{field.name} {_told(field, before)} → {_told(field, after)}{unit}"


def field_of(of: Kind, column: str) -> Field | None:
    """Give the field that a stored column belongs to, or None for those that every table has."""
    return next((field for field in of.fields if column in (field.column, f"{field.name}_each")), None)


def told_exactly(field: Field | None, text: str, mass_unit: str = "") -> str:
    """Give a stored text with its unit and every digit, whatever stands there: a table may hold what no reader brings.

    Parameters
    ----------
    field : the field, or None for columns that every table has.
    text : the stored value as text; "" is empty.
    mass_unit : unit of the row's printed masses.
    """
    if not text or field is None:
        return text or "empty"
    per_unit, unit = 1, field.stored.replace("m2", "m²")
    if field.type == "ticket":
        per_unit, unit = 1000, mass_unit
    elif field.stored == "mg":
        per_unit, unit = MG_OF_KG, "kg"
    try:
        number = text if per_unit == 1 else f"{(Decimal(text) / per_unit).normalize():f}"
    except InvalidOperation:
        return text
    if field.type == "position" and text == "-1":
        return "old wood"
    return f"#{text}" if field.type == "ref" else f"{number} {unit}".strip()


def _told(field: Field, text: str) -> str:
    if not text:
        return "empty"
    if field.type == "ref":
        return f"#{text}"
    if field.type == "measure":
        return f"{shown_value(field, float(text), 'metric'):g}"
    if field.type in ("ticket", "position"):
        return f"{shown_value(field, int(text), 'metric')}"
    return text
