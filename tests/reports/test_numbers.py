"""How numbers stand on paper."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vinebook.reports.numbers import (
    EN_DASH,
    MINUS,
    decimals_of,
    in_words_of,
    per_shown,
    quantity,
    settle,
    shown,
    unit_per,
    with_words_of,
    write_band,
    write_number,
    write_range,
)
from vinebook.reports.tables import SeasonFigures
from vinebook.seasons.model import Band, Figure, Reading


def figure(value: float | None, low: float | None = None, high: float | None = None, unit: str = "t/ha") -> Figure:
    return Figure("B1", 2024, "yield_per_ha", value, unit, low=low, high=high)


@pytest.mark.parametrize(
    ("value", "half", "printed"),
    [
        (8.437, 1.1, "8.4"),
        (8.437, 0.35, "8.4"),
        (8.437, 0.11, "8.44"),
        (8.437, 0.0012, "8.4370"),
        (24.31, 3.2, "24"),
        (24.31, 1.4, "24.3"),
        (86.2, 32.0, "86"),
        (12437.0, 1100.0, "12400"),
        (0.031, 0.5, "0.03"),
        (0.6612, 0.05, "0.66"),
    ],
)
def test_digits_follow_the_error(value: float, half: float, printed: str) -> None:
    assert shown(figure(value, value - half, value + half), "metric").text == printed


@pytest.mark.parametrize(
    ("value", "unit", "printed"),
    [
        (91.26, "%", "91.3"),
        (4.567, "%", "4.6"),
        (1.0752, "ha", "1.08"),
        (4310.0, "vines", "4310"),
        (3.4188, "", "3.42"),
        (128.44, "g", "128"),
        (0.0, "t", "0.0"),
        (61234567.0, "t", "6.1·10⁷"),
        (-3.04, "%", f"{MINUS}3.0"),
        (0.0000001, "kg", "<0.0001"),
        (-0.0000001, "kg", ">−0.0001"),
    ],
)
def test_without_an_interval_three_digits_stand(value: float, unit: str, printed: str) -> None:
    assert shown(figure(value, unit=unit), "metric").text == printed


def test_a_difference_about_zero_may_be_zero() -> None:
    check = shown(figure(-0.06, -15.86, 18.99, "%"), "metric")
    assert (check.text, check.interval) == ("0", "−16 to 19")


def test_a_missing_value_is_an_en_dash_and_never_zero() -> None:
    missing = shown(figure(None), "metric")
    assert missing.text == EN_DASH
    assert missing.interval == EN_DASH
    assert write_number(float("inf"), 1) == EN_DASH


def test_ranges_are_plain_and_signed_ones_say_to() -> None:
    assert write_range(7.3, 9.54, 1) == "7.3–9.5"
    assert write_range(-12.0, 5.0, 0) == "−12 to 5"
    assert write_range(4.0, None, 0) == "from 4"
    assert write_range(None, 10.0, 0) == "up to 10"
    assert write_range(None, None, 0) == EN_DASH


def test_us_units_use_the_exact_factors() -> None:
    in_us = shown(figure(10.0), "us")
    assert in_us.unit == "ton/acre"
    assert in_us.text == "4.46"
    assert shown(figure(6.8, unit="kg/kg"), "us").with_unit == "6.80\u00a0lb/lb"
    assert quantity(1.8288, "m", "us") == "6.0\u00a0ft"
    assert per_shown("m of canopy", "us") == "ft of canopy"
    assert in_words_of("Prunings per metre", "us") == "Prunings per foot"
    assert in_words_of("Prunings per metre", "metric") == "Prunings per metre"


def test_a_unit_says_what_one_is_counted_on() -> None:
    assert unit_per("nodes", "bearing vine") == "nodes per bearing vine"
    assert unit_per("t/ha", "ha planted") == "t per ha planted"
    assert unit_per("kg/kg", "bearing vine") == "kg/kg"
    assert unit_per("%", "shoot") == "% of shoots"
    assert unit_per("t", "") == "t"


def test_a_band_keeps_the_digits_it_was_set_with() -> None:
    assert write_band(Band(4.0, 10.0, "", ""), "kg/kg", "metric") == "4–10"
    assert write_band(Band(0.5, 1.0, "", ""), "kg/m", "metric") == "0.5–1.0"
    assert write_band(Band(0.5, 1.0, "", ""), "kg/m", "us") == "0.336–0.672"
    assert write_band(Band(None, 12.0, "", ""), "kg/kg", "metric") == "up to 12"


@pytest.mark.parametrize(
    ("value", "low", "high", "reading", "printed"),
    [
        (3.37, 2.75, 3.98, "below", ("3.37", "2.75–3.98")),
        (3.37, 2.75, 4.02, "not clear", ("3.4", "2.8–4.0")),
        (3.37, 2.75, 3.80, "below", ("3.4", "2.8–3.8")),
        (11.2, 10.03, 12.6, "above", ("11.20", "10.03–12.60")),
        (6.0, 4.0, 9.97, "within", ("6", "4–10")),
        (3.996, None, None, "below", ("3.996", EN_DASH)),
        (3.9999999, None, None, "below", ("4.00", EN_DASH)),
    ],
)
def test_a_number_on_paper_stands_where_its_reading_says(
    value: float, low: float | None, high: float | None, reading: Reading, printed: tuple[str, str]
) -> None:
    band = Band(4.0, 10.0, "", "")
    told = shown(Figure("B1", 2024, "x", value, "kg/kg", low=low, high=high, band=band, reading=reading), "metric")
    assert (told.text, told.interval) == printed


def test_neighbours_take_no_digit_that_a_reading_needs() -> None:
    band = Band(4.0, 10.0, "", "")
    low = Figure("B1", 2024, "x", 3.996, "kg/kg", band=band, reading="below")
    column = settle([shown(low, "metric"), shown(figure(5.0, 4.2, 6.1), "metric"), shown(figure(5.512), "metric")])
    assert [number.text for number in column if number] == ["3.996", "5.0", "5.5"]


def test_a_value_of_unknown_error_never_looks_the_more_exact() -> None:
    column = settle(
        [
            shown(figure(24.31, 21.0, 27.5), "metric"),
            shown(figure(24.44), "metric"),
            None,
            shown(figure(None), "metric"),
        ]
    )
    assert [number.text if number else None for number in column] == ["24", "24", None, EN_DASH]


def test_a_column_without_intervals_takes_the_digits_of_its_middle() -> None:
    column = settle([shown(figure(value), "metric") for value in (8.697, 18.44, 22.01)])
    assert [number.text for number in column if number] == ["8.7", "18.4", "22.0"]


@given(st.floats(-1e9, 1e9), st.floats(1e-6, 1e6), st.sampled_from(["", "%", "t", "vines", "kg/m"]))
def test_no_value_but_zero_is_written_as_zero(value: float, half: float, unit: str) -> None:
    text = write_number(value, decimals_of(value, value - half, value + half, unit))
    assert "-" not in text
    is_about_zero = unit == "%" and value - half < 0 < value + half
    if abs(value) >= 1e-4 and not is_about_zero:
        assert any(digit in text for digit in "123456789")


def test_basis_and_note_speak_in_the_units_of_the_page() -> None:
    basis = "vines pruned by the crew; 2022-01-19; canopy of a vine 1.8288 m × 1"
    one = Figure("B1", 2022, "nodes_per_m", 12.0, "nodes/m", basis=basis, note="no figure per metre")
    assert with_words_of(one, "us").basis.endswith("canopy of a vine 6.0\u00a0ft × 1")
    assert with_words_of(one, "us").note == "no figure per foot"
    assert with_words_of(one, "metric").basis.endswith("canopy of a vine 1.83\u00a0m × 1")
    assert with_words_of(figure(1.0), "us") == figure(1.0)


def test_a_number_told_in_a_sentence_has_the_digits_of_its_table() -> None:
    found = [
        Figure("B1", 2022, "yield_per_ha", 9.127, "t/ha", low=8.3, high=9.9),
        Figure("B1", 2023, "yield_per_ha", 8.417, "t/ha"),
        Figure("B1", 2024, "yield_per_ha", 7.913, "t/ha", low=7.1, high=8.7),
    ]
    figures, seasons = SeasonFigures(found), (2021, 2022, 2023, 2024)
    told = [figures.number_in_table("yield_per_ha", year, seasons, "metric") for year in (*seasons, 2025)]
    assert [number and number.text for number in told] == [None, "9.1", "8.4", "7.9", None]
    alone = SeasonFigures(found[1:2]).number_in_table("yield_per_ha", 2023, (), "metric")
    assert alone is not None
    assert alone.text == "8.42"
