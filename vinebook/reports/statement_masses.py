"""Masses and must figures in a statement: exactly as weighed, means by mass."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vinebook.formulas.tickets import mass_weighted_mean
from vinebook.reports.numbers import EN_DASH, Units, unit_shown, with_unit, write_number
from vinebook.reports.tables import Cell, Column

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.seasons.statement_model import LoadShare

KG_OF_T = 1000.0


def write_mass(kg: float, units: Units) -> str:
    """Write a mass to a thousandth of a ton, as exactly as it was weighed."""
    name, factor = unit_shown("t", units)
    return with_unit(write_number(kg / KG_OF_T * factor, 3), name)


def tonnes_of(kg: float, units: Units) -> Cell:
    """Give the cell of a mass, to a thousandth of a ton."""
    _, factor = unit_shown("t", units)
    return Cell(write_number(kg / KG_OF_T * factor, 3))


def name_of_tonne(units: Units) -> str:
    """Name the ton of some units."""
    return unit_shown("t", units)[0]


def must_of(loads: Iterable[LoadShare]) -> tuple[Cell, Cell, Cell]:
    """Give the must figures of loads: solids and acidity weighted by mass, pH the mean of its readings."""
    loads = list(loads)

    def weighted(values: Sequence[float | None], decimals: int) -> Cell:
        known = [(value, load.picked_kg) for value, load in zip(values, loads, strict=True) if value is not None]
        mean = float(mass_weighted_mean([v for v, _ in known], [m for _, m in known])) if known else math.nan
        return Cell(write_number(mean, decimals))

    acidities = [load.ph for load in loads if load.ph is not None]
    return (
        weighted([load.soluble_solids_brix for load in loads], 1),
        Cell(write_number(sum(acidities) / len(acidities), 2) if acidities else EN_DASH),
        weighted([load.titratable_acidity_g_per_l for load in loads], 1),
    )


MUST = (
    Column("Solids", "°Brix", 0.8, is_number=True),
    Column("pH", "", 0.6, is_number=True),
    Column("Acidity", "g/L", 0.8, is_number=True),
)


def mass_columns(loads: Sequence[LoadShare], tonne: str, width: float) -> tuple[Column, ...]:
    """Give the columns of what was weighed; refused and deducted stand only where something was."""
    heads = ("Net", "Refused", "Deducted", "Accepted") if is_reduced(loads) else ("Net",)
    return tuple(Column(head, tonne, width, is_number=True) for head in heads)


def is_reduced(loads: Sequence[LoadShare]) -> bool:
    """Say whether anything of some loads was refused or deducted."""
    return any(load.refused_kg or load.deducted_kg for load in loads)


def sums_of(loads: Sequence[LoadShare], units: Units, among: Sequence[LoadShare]) -> tuple[Cell, ...]:
    """Give number of tickets, masses and must figures of loads, in the columns that `among` them all need."""
    masses = [sum(load.picked_kg for load in loads)]
    if is_reduced(among):
        masses += [
            sum(load.refused_kg for load in loads),
            sum(load.deducted_kg for load in loads),
            sum(load.accepted_kg for load in loads),
        ]
    tickets = len({(load.issuer, load.number) for load in loads})
    return (Cell(str(tickets)), *(tonnes_of(kg, units) for kg in masses), *must_of(loads))
