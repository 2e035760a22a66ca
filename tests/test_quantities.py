"""Exact factors against printed ones and against Pint; seasons in both hemispheres."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import pint
import pytest

from vinebook import quantities as q

PRINTED = {
    "international acre, m² (NIST Handbook 44, appendix C)": (q.ACRE_M2, "4046.8564224", 0.0),
    "US survey acre, m² (calc from 62,726,400,000 / 15,499,969)": (q.US_SURVEY_ACRE_M2, "4046.872609874252", 1e-12),
    "pound, kg (agreement of 1959, from memory)": (q.POUND_KG, "0.45359237", 0.0),
    "short ton, kg": (q.SHORT_TON_KG, "907.18474", 0.0),
    "long ton, t (Canadian table of weights and measures)": (q.LONG_TON_KG / 1000, "1.016", 5e-4),
    "ton per acre, t/ha (calc)": (q.TON_PER_ACRE_T_PER_HA, "2.241702312388912", 1e-15),
    "pound per acre, kg/ha (calc)": (q.LB_PER_ACRE_KG_PER_HA, "1.120851156194456", 1e-15),
    "pound per acre, kg/ha (NDSU metric card)": (q.LB_PER_ACRE_KG_PER_HA, "1.1209", 5e-5),
    "hundredweight per acre, kg/ha (calc; NDSU cuts it to 112.08)": (
        100 * q.LB_PER_ACRE_KG_PER_HA,
        "112.0851156",
        5e-8,
    ),
    "acres in a hectare (calc)": (10_000 / q.ACRE_M2, "2.4710538146716536", 1e-15),
}


@pytest.mark.parametrize(("factor", "printed", "within"), PRINTED.values(), ids=PRINTED)
def test_a_factor_is_what_was_printed(factor: Fraction, printed: str, within: float) -> None:
    assert abs(factor - Fraction(printed)) <= within


def test_ndsu_prints_the_ton_per_acre_a_little_high() -> None:
    """2.2418 is 4.4e-5 above the exact factor: half a unit of its last digit would be too tight by a little less."""
    assert float(Fraction("2.2418") / q.TON_PER_ACRE_T_PER_HA - 1) == pytest.approx(4.4e-5, abs=5e-7)


def test_the_survey_acre_is_four_millionths_larger() -> None:
    assert Fraction(62_726_400_000, 15_499_969) == q.US_SURVEY_ACRE_M2
    assert float((q.US_SURVEY_ACRE_M2 / q.ACRE_M2 - 1) * 1_000_000) == pytest.approx(4.000012, abs=5e-7)
    assert float(q.US_SURVEY_ACRE_M2 / q.FOOT_M**2) == pytest.approx(43_560.1742, abs=5e-5)


@pytest.mark.parametrize(
    ("misprint", "right"), [("0.4356", q.POUND_KG), ("970", q.SHORT_TON_KG), ("4046.8564334", q.ACRE_M2)]
)
def test_known_misprints_are_not_our_factors(misprint: str, right: Fraction) -> None:
    assert Fraction(misprint) != right


PINT: pint.UnitRegistry[float] = pint.UnitRegistry()
PINT_NAMES = {"t": "metric_ton", "ton": "short_ton", "ha": "hectare", "m2": "meter**2", "ft2": "foot**2", "in": "inch"}
BASE_OF = {"mass": "kilogram", "length": "meter", "area": "hectare"}


@pytest.mark.parametrize(
    ("dimension", "unit"), [(dimension, unit) for dimension in BASE_OF for unit in q.UNITS_OF_DIMENSION[dimension]]
)
def test_every_unit_agrees_with_pint(dimension: str, unit: str) -> None:
    name = "international_acre" if unit == "acre" and "international_acre" in PINT else PINT_NAMES.get(unit, unit)
    expected = PINT.Quantity(1, name).to(BASE_OF[dimension]).magnitude
    # Pint's acre is the survey acre, four millionths larger.
    tolerance = 5e-6 if name == "acre" else 1e-12
    assert float(q.UNITS_OF_DIMENSION[dimension][unit]) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("kg", "pound"),
        ("m", "foot"),
        ("cm", "inch"),
        ("t", "short_ton"),
        ("kg/m", "pound/foot"),
        ("m²/kg", "foot**2/pound"),
    ],
)
def test_what_us_readers_see_agrees_with_pint(metric: str, us: str) -> None:
    expression = {"t": "metric_ton"}.get(metric, metric.replace("²", "**2"))
    assert q.US_OF_METRIC[metric].factor == pytest.approx(PINT.Quantity(1, expression).to(us).magnitude, rel=1e-12)


def test_fifteen_shoots_per_metre_are_four_and_a_half_per_foot() -> None:
    """Smart, trade article: 15 shoots/m printed as about four per foot; exact 4.57."""
    per_foot = [value * q.US_OF_METRIC["shoots/m"].factor for value in (15, 10, 12, 18, 30)]
    assert per_foot == pytest.approx([4.57, 3.05, 3.66, 5.49, 9.14], abs=0.005)


@pytest.mark.parametrize(
    ("date", "hemisphere", "part", "season"),
    [
        # The pairing of case C15: fruit of 2019, its wood weighed in January 2020, which sets 2020.
        (dt.date(2019, 9, 20), "north", "growing", 2019),
        (dt.date(2020, 1, 28), "north", "dormant", 2020),
        (dt.date(2019, 8, 1), "north", "dormant", 2020),
        (dt.date(2019, 12, 31), "north", "dormant", 2020),
        (dt.date(2020, 7, 31), "north", "dormant", 2020),
        (dt.date(2019, 12, 31), "north", "growing", 2019),
        (dt.date(2020, 1, 1), "north", "growing", 2020),
        # South: fruit of March 2020, its wood weighed in July 2020, which sets 2021.
        (dt.date(2020, 3, 15), "south", "growing", 2020),
        (dt.date(2020, 7, 10), "south", "dormant", 2021),
        (dt.date(2020, 4, 30), "south", "dormant", 2020),
        (dt.date(2020, 5, 1), "south", "dormant", 2021),
        (dt.date(2020, 5, 31), "south", "growing", 2020),
        (dt.date(2020, 6, 1), "south", "growing", 2021),
        (dt.date(2019, 9, 15), "south", "growing", 2020),
    ],
)
def test_a_date_has_its_season(date: dt.date, hemisphere: str, part: str, season: int) -> None:
    assert q.season_of(date, hemisphere, part) == season


@pytest.mark.parametrize(
    ("harvested", "weighed", "hemisphere"),
    [(dt.date(2019, 9, 20), dt.date(2020, 1, 28), "north"), (dt.date(2020, 3, 15), dt.date(2020, 7, 10), "south")],
)
def test_the_wood_of_a_season_is_weighed_at_the_visit_that_sets_the_next(
    harvested: dt.date, weighed: dt.date, hemisphere: str
) -> None:
    assert q.season_of(weighed, hemisphere, "dormant") - 1 == q.season_of(harvested, hemisphere, "growing")


@pytest.mark.parametrize(
    ("date", "hemisphere", "months"),
    [
        (dt.date(2019, 8, 1), "north", 0),
        (dt.date(2019, 7, 31), "north", 1),
        (dt.date(2020, 12, 31), "north", 0),
        (dt.date(2021, 1, 1), "north", 1),
        (dt.date(2019, 5, 1), "south", 0),
        (dt.date(2019, 4, 30), "south", 1),
        (dt.date(2020, 5, 31), "south", 0),
        (dt.date(2020, 6, 1), "south", 1),
        (dt.date(2021, 6, 1), "south", 13),
    ],
)
def test_months_outside_a_season_are_counted_from_its_span(date: dt.date, hemisphere: str, months: int) -> None:
    assert q.months_outside(date, 2020, hemisphere) == months


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("kg", "kg"),
        (" LBS ", "lb"),
        ("Tons", "ton"),
        ("tonnes", "t"),
        ("Acres", "acre"),
        ("M", "m"),
        ("stone", None),
        ("", None),
    ],
)
def test_a_unit_is_known_by_its_spellings(text: str, unit: str | None) -> None:
    assert q.unit_named(text) == unit
