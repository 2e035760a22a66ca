"""Exact unit factors, and what a season is.

Factors are fractions, so that a conversion is exact until its last step. Foot and pound are the
international ones (1959); the acre is 43,560 square feet of that foot, the ton 2,000 pounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

POUND_KG = Fraction(45359237, 100_000_000)
FOOT_M = Fraction(3048, 10_000)
ACRE_M2 = 43_560 * FOOT_M**2
US_SURVEY_FOOT_M = Fraction(1200, 3937)
US_SURVEY_ACRE_M2 = 43_560 * US_SURVEY_FOOT_M**2
SHORT_TON_KG = 2000 * POUND_KG
LONG_TON_KG = 2240 * POUND_KG
TON_PER_ACRE_T_PER_HA = SHORT_TON_KG / 1000 / (ACRE_M2 / 10_000)
LB_PER_ACRE_KG_PER_HA = POUND_KG / (ACRE_M2 / 10_000)
LB_PER_FT_KG_PER_M = POUND_KG / FOOT_M

UNITS_OF_DIMENSION: dict[str, dict[str, Fraction]] = {
    "mass": {
        "kg": Fraction(1),
        "g": Fraction(1, 1000),
        "mg": Fraction(1, 1_000_000),
        "t": Fraction(1000),
        "lb": POUND_KG,
        "oz": POUND_KG / 16,
        "ton": SHORT_TON_KG,
    },
    "length": {
        "m": Fraction(1),
        "cm": Fraction(1, 100),
        "mm": Fraction(1, 1000),
        "ft": FOOT_M,
        "in": FOOT_M / 12,
    },
    "area": {
        "ha": Fraction(1),
        "m2": Fraction(1, 10_000),
        "acre": ACRE_M2 / 10_000,
        "ft2": FOOT_M**2 / 10_000,
    },
    "share": {"%": Fraction(1)},
    "sugar": {"°Brix": Fraction(1)},
    "acidity": {"g/L": Fraction(1)},
    "angle": {"°": Fraction(1)},
}
"""Factor from each accepted unit to the base unit of its dimension (kg, m, ha, %, °Brix, g/L, °)."""

STORED_PER_BASE = {"mg": Fraction(1_000_000), "m2": Fraction(10_000)}
"""How many of a stored unit make one base unit of its dimension; 1 where it is not named."""

DIMENSION_OF_UNIT = {unit: dimension for dimension, units in UNITS_OF_DIMENSION.items() for unit in units}
UNIT_SPELLINGS = {
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "kilogram": "kg",
    "kilograms": "kg",
    "gram": "g",
    "grams": "g",
    "tonne": "t",
    "tonnes": "t",
    "tons": "ton",
    "feet": "ft",
    "foot": "ft",
    "inch": "in",
    "inches": "in",
    "metre": "m",
    "meter": "m",
    "metres": "m",
    "meters": "m",
    "acres": "acre",
    "ac": "acre",
    "hectare": "ha",
    "hectares": "ha",
    "m²": "m2",
    "ft²": "ft2",
    "brix": "°Brix",
    "°brix": "°Brix",
    "g/l": "g/L",
    "deg": "°",
    "percent": "%",
}
"""Other spellings that people write, lower case, and the unit each stands for."""

NORTH = "north"
SOUTH = "south"
DORMANT = "dormant"
GROWING = "growing"
FIRST_MONTH_OF_NEXT_SEASON = {
    (NORTH, DORMANT): 8,
    (SOUTH, DORMANT): 5,
    (NORTH, GROWING): 13,
    (SOUTH, GROWING): 6,
}
"""From this month on, a date belongs to the season named by the next calendar year."""


@dataclass(frozen=True, slots=True)
class ShownUnit:
    """A unit that figures are shown in, with its factor from the metric unit.

    Attributes
    ----------
    unit : the unit's text.
    factor : shown value = metric value × factor.
    """

    unit: str
    factor: float


US_OF_METRIC: dict[str, ShownUnit] = {
    "t": ShownUnit("ton", float(1000 / SHORT_TON_KG)),
    "kg": ShownUnit("lb", float(1 / POUND_KG)),
    "ha": ShownUnit("acre", float(10_000 / ACRE_M2)),
    "m": ShownUnit("ft", float(1 / FOOT_M)),
    "cm": ShownUnit("in", float(Fraction(1, 100) / (FOOT_M / 12))),
    "t/ha": ShownUnit("ton/acre", float(1 / TON_PER_ACRE_T_PER_HA)),
    "kg/m": ShownUnit("lb/ft", float(1 / LB_PER_FT_KG_PER_M)),
    "m/ha": ShownUnit("ft/acre", float((1 / FOOT_M) / (10_000 / ACRE_M2))),
    "nodes/m": ShownUnit("nodes/ft", float(FOOT_M)),
    "shoots/m": ShownUnit("shoots/ft", float(FOOT_M)),
    "m²/kg": ShownUnit("ft²/lb", float(POUND_KG / FOOT_M**2)),
}
"""How each metric unit of a figure is shown in US units; units not named here are shown as they are."""


def plain_mass(value: float) -> str:
    """Write a mass in any unit to the thousandth that the book keeps, without an exponent.

    Parameters
    ----------
    value : the mass.

    Examples
    --------
    >>> plain_mass(12345.678), plain_mass(2345678.5), plain_mass(1200.0)
    ('12345.678', '2345678.5', '1200')
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def unit_named(text: str) -> str | None:
    """Give the unit that a text stands for, or None.

    Parameters
    ----------
    text : a unit as a person wrote it, in any case.
    """
    text = text.strip()
    if text in DIMENSION_OF_UNIT:
        return text
    lower = text.lower()
    if lower in UNIT_SPELLINGS:
        return UNIT_SPELLINGS[lower]
    return lower if lower in DIMENSION_OF_UNIT else None


def season_of(date: dt.date, hemisphere: str, part: str) -> int:
    """Give the season that a date belongs to.

    A season is named by the calendar year of its harvest. Dormant kinds: north, August to December
    belong to the next year; south, May to December. Growing kinds: north, the calendar year; south,
    June to December belong to the next year.

    Parameters
    ----------
    date : the date of the row.
    hemisphere : "north" or "south".
    part : "dormant" for prunings, visits and bud samples, "growing" for all else.
    """
    return date.year + (date.month >= FIRST_MONTH_OF_NEXT_SEASON[hemisphere, part])


def months_outside(date: dt.date, season: int, hemisphere: str) -> int:
    """Give how many whole months a date lies outside the span of a season, 0 within it.

    The span runs from the first month in which a dormant visit may set the season to the last month
    of its growing kinds: north, August before to December; south, May before to May.

    Parameters
    ----------
    date : the date of the row.
    season : harvest year.
    hemisphere : "north" or "south".
    """
    first = (season - 1) * 12 + FIRST_MONTH_OF_NEXT_SEASON[hemisphere, DORMANT] - 1
    last = season * 12 + (11 if hemisphere == NORTH else 4)
    month = date.year * 12 + date.month - 1
    return max(first - month, month - last, 0)
