"""Which columns the tally of a kind has: its own, its sample's, and the key of a parent that several columns name."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from vinebook.kinds import KINDS, SAMPLE

if TYPE_CHECKING:
    from vinebook.kinds.field import Field, Kind

READ_ME_SHEET = "Read me"
LISTS_SHEET = "Lists"
"""Sheets of a workbook of forms that hold no rows."""


def parent_columns(field: Field) -> tuple[Field, ...]:
    """Give the columns that name the record a ref field refers to.

    One column where the parent's key is one field; else a column for each field of the parent's key.

    Parameters
    ----------
    field : a field of type ref.
    """
    parent = KINDS[field.refers]
    if len(parent.key) == 1:
        return (field,)
    of_parent = {"season": f"Harvest year of the {parent.name}."}
    return tuple(
        replace(parent.field(name), required=True, help=of_parent.get(name, parent.field(name).help))
        for name in parent.key
    )


def sample_fields(kind: Kind) -> tuple[Field, ...]:
    """Give the columns that describe the sample in a tally of a sampled kind."""
    return tuple(field for field in SAMPLE.fields if not (kind.part == "dormant" and field.name == "thinning"))


def own_fields(kind: Kind) -> tuple[Field, ...]:
    """Give the columns of a tally that are stored in the kind's own table, or name its parents."""
    columns: list[Field] = []
    for field in kind.fields:
        columns.extend(parent_columns(field) if field.type == "ref" else (field,))
    return tuple(columns)


def tally_fields(kind: Kind) -> tuple[Field, ...]:
    """Give every column of a kind's tally in the order of its form."""
    return (*sample_fields(kind), *own_fields(kind)) if kind.sampled else own_fields(kind)


def heading(field: Field, units: str = "metric") -> str:
    """Give a field's heading, with its unit in brackets where it has one.

    Parameters
    ----------
    field : the field.
    units : "metric" or "us".
    """
    unit = field.us if units == "us" else field.metric
    return f"{field.name} [{unit}]" if unit else field.name
