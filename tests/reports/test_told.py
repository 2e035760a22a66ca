"""What a history tells beside its figures: canopy work, estimates, decisions, ripeness, components, certification."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from tests.reports import histories
from vinebook.reports import given
from vinebook.reports.balance_chart import draw_balance, tell_readings
from vinebook.reports.canopy import canopy_section, work_table
from vinebook.reports.census_charts import draw_census
from vinebook.reports.components import component_values, draw_components, from_mean
from vinebook.reports.figure_charts import season_grid
from vinebook.reports.ripening import draw_ripening
from vinebook.reports.svg import INK
from vinebook.reports.tables import SeasonFigures
from vinebook.seasons.model import CensusFacts, Figure, PassFacts, StageFacts

TWELVE = histories.twelve_seasons()
FIGURES = SeasonFigures(TWELVE.figures)
WIDTH_PT = 493.0


def texts(row: tuple[object, ...]) -> list[str]:
    return [cell.text.replace("\u00a0", " ") for cell in row]  # type: ignore[attr-defined]


def test_the_day_of_a_stage_is_the_first_on_which_half_of_the_vines_were_there() -> None:
    day = dt.date(2024, 6, 8)
    read = (
        StageFacts(2024, day, "BBCH", "65", 30.0),
        StageFacts(2024, day.replace(day=11), "BBCH", "65", 60.0),
        StageFacts(2024, day.replace(day=15), "BBCH", "65", 90.0),
        StageFacts(2025, day.replace(year=2025), "BBCH", "65", 20.0),
        StageFacts(2026, day.replace(year=2026), "BBCH", "65", None),
    )
    table = work_table(read, ())
    assert table is not None
    assert [texts(row) for row in table.rows] == [["2024", "11 June"], ["2025", "8 June (20 %)"], ["2026", "8 June"]]
    assert (table.columns[1].head, table.columns[1].unit) == ("Full bloom", "BBCH 65")


def test_passes_of_a_season_stand_in_one_row_and_codes_of_other_scales_stay_as_they_are() -> None:
    day = dt.date(2024, 6, 26)
    passes = (
        PassFacts(2024, "hedging", day, None, "", "", "machine"),
        PassFacts(2024, "cluster_thinning", day, day.replace(day=28), "both", "one cluster a shoot", ""),
    )
    table = work_table((StageFacts(2023, day.replace(year=2023), "E-L", "4", 50.0),), passes)
    assert table is not None
    assert [texts(row) for row in table.rows] == [
        ["2023", "26 June", ""],
        ["2024", "–", "Hedged 26 June: machine; clusters thinned 26–28 June: both, one cluster a shoot"],
    ]
    assert table.columns[1].unit == "E-L 4"


def test_stages_beyond_the_usual_five_share_a_column() -> None:
    codes = ("09", "53", "65", "71", "77", "81")
    read = [
        StageFacts(season, dt.date(season, 6, 1), "BBCH", code, 50.0)
        for season in (2023, 2024)
        for code in codes
        if (season, code) != (2023, "53")
    ]
    table = work_table(tuple(read), ())
    assert table is not None
    assert [column.head for column in table.columns][-1] == "Other stages"
    assert texts(table.rows[1])[-1] == "BBCH 53 1 June"


def test_an_estimate_stands_as_it_was_given_beside_the_harvest() -> None:
    table = given.estimate_table(TWELVE, FIGURES, "metric")
    assert table is not None
    crop = FIGURES.one("crop", 2020)
    assert crop is not None
    assert crop.value is not None
    row = texts(table.rows[0])
    assert row[:2] == ["2020", "9 August, Orvasket Cellars"]
    assert row[4:6] == ["21.5", "17.0–26.5, 80 %"]
    percent = round(100 * (21.5 / crop.value - 1))
    assert row[7] == (f"+{percent}" if percent > 0 else f"−{-percent}")


def test_an_estimate_without_a_finished_harvest_has_nothing_beside_it() -> None:
    table = given.estimate_table(TWELVE, FIGURES, "metric")
    assert table is not None
    assert texts(table.rows[-1])[0] == "2024"
    assert texts(table.rows[-1])[6:] == ["–", "–"]


def test_estimates_are_drawn_from_two_harvests_on() -> None:
    chart = given.draw_estimates(TWELVE, FIGURES, "metric", 400.0)
    assert chart is not None
    assert chart.alt.startswith("Crop estimates given and the harvest that came, in t: 2020 estimate 21.5, harvest ")
    one = replace(TWELVE, estimates=TWELVE.estimates[:1])
    assert given.draw_estimates(one, FIGURES, "metric", 400.0) is None


def test_a_decision_stands_with_its_reason_and_what_came() -> None:
    decided = replace(TWELVE.decisions[0], season=2023)
    table = given.decision_table(replace(TWELVE, decisions=(decided,)), FIGURES, "metric")
    assert table is not None
    assert texts(table.rows[0]) == [
        "2023",
        "8 January 2024, HM",
        "Nodes to keep: 24",
        "24 nodes on twelve spurs",
        "small wood after two heavy crops",
        "Yield to prunings 5–8 kg/kg; to be looked at on 1 February 2025; 2023 came to 7.5",
    ]
    waiting = given.decision_table(TWELVE, FIGURES, "metric")
    assert waiting is not None
    assert texts(waiting.rows[0])[-1].endswith("not known yet")


def test_an_expectation_stands_in_the_units_of_the_page() -> None:
    decided = replace(TWELVE.decisions[0], expected_figure="prunings_per_m", expected_low=0.6, expected_high=None)
    table = given.decision_table(replace(TWELVE, decisions=(decided,)), FIGURES, "us")
    assert table is not None
    assert texts(table.rows[0])[-1].startswith("Prunings per foot from 0.4 lb/ft")


def test_certification_stands_by_date() -> None:
    table = given.certification_table(TWELVE)
    assert table is not None
    assert [texts(row) for row in table.rows] == [
        ["1 March 2019", "28 February 2022", "Careful Ground", "In conversion", "CG-4"],
        ["1 March 2022", "in force", "Careful Ground", "Certified", "CG-4-1"],
    ]


def test_components_are_told_from_their_own_mean() -> None:
    assert from_mean([2.0, None, 4.0]) == pytest.approx([-100 / 3, None, 100 / 3])
    assert from_mean([None]) == [None]
    assert from_mean([0.0, 0.0]) == [None, None]
    found = component_values(FIGURES, TWELVE.seasons)
    shoots, clusters = FIGURES.one("shoots_per_vine", 2016), FIGURES.one("clusters_per_vine", 2016)
    assert shoots is not None
    assert clusters is not None
    assert found["clusters"][3] == pytest.approx((clusters.value or 0) / (shoots.value or 1))
    assert found["yield"][TWELVE.seasons.index(2024)] is None


def test_components_need_a_yield_and_three_seasons() -> None:
    assert len(draw_components(FIGURES, TWELVE.seasons, 400.0)) == 4
    assert draw_components(FIGURES, (2013, 2014), 400.0) == []
    without = SeasonFigures(f for f in TWELVE.figures if f.figure != "yield_per_vine")
    assert draw_components(without, TWELVE.seasons, 400.0) == []


def must(season: int, pick: int | None, value: float) -> Figure:
    return Figure("B1", season, "soluble_solids", value, "°Brix", pick=pick)


def test_picks_of_a_season_are_told_apart_on_the_axis() -> None:
    history = replace(
        histories.no_seasons(), figures=(must(2023, 1, 21.0), must(2023, 2, 24.0), must(2024, 1, 22.0)), ripening=()
    )
    (chart,) = draw_ripening(history, "metric", 400.0)
    assert chart.alt == "Soluble solids of the must by season and pick: 2023/1 21.0, 2023/2 24.0, 2024 22.0."
    assert ">2023/2<" in chart.svg


def test_field_samples_stand_behind_the_first_pick() -> None:
    drawn = draw_ripening(TWELVE, "metric", 400.0)
    assert [chart.title for chart in drawn] == ["Soluble solids", "pH", "Titratable acidity"]
    assert all(chart.alt.endswith("Grey strokes are field samples before the first pick.") for chart in drawn)
    assert drawn[0].svg.count('stroke-width="0.8"') == 8


def test_the_scale_of_ph_says_where_it_begins() -> None:
    (_, chart, _) = draw_ripening(TWELVE, "metric", 400.0)
    assert "not from zero" in chart.unit
    assert ">0<" not in chart.svg


def test_a_census_of_one_year_is_not_drawn_and_no_chart_is_all_zero() -> None:
    def census(year: int, young: int) -> CensusFacts:
        return CensusFacts(dt.date(year, 2, 20), 700 - young, young, 20, 720, "full")

    assert draw_census(replace(TWELVE, censuses=(census(2020, 3),)), WIDTH_PT) == []
    drawn = draw_census(replace(TWELVE, censuses=(census(2020, 0), census(2024, 0))), WIDTH_PT)
    assert [chart.title for chart in drawn] == ["Bearing vines", "Missing vines"]
    assert drawn[0].alt == "Bearing vines by census: 2020 700, 2024 700."


def test_readings_of_the_ratio_are_told_in_a_sentence() -> None:
    told = tell_readings(TWELVE, FIGURES)
    assert told.startswith("Within its band in ")
    assert told.endswith(".")
    assert tell_readings(histories.all_pending(), SeasonFigures(histories.all_pending().figures)) == ""


def test_the_large_chart_labels_every_season() -> None:
    chart = draw_balance(TWELVE, FIGURES, "metric", 400.0)
    assert chart is not None
    known = [f for s in TWELVE.seasons if (f := FIGURES.one("yield_to_prunings", s)) and f.value is not None]
    assert chart.svg.count('fill="#1d1b19" text-anchor="middle"') == len(known)
    one = histories.one_season()
    assert draw_balance(one, SeasonFigures(one.figures), "metric", 400.0) is None


def test_small_charts_share_the_axis_of_the_seasons_that_any_of_them_has() -> None:
    grid = season_grid(
        (("spur_spacing", INK), ("bud_mortality", INK), ("nodes_per_vine", INK)),
        SeasonFigures(f for f in TWELVE.figures if f.figure != "nodes_per_vine"),
        TWELVE.seasons,
        "metric",
        WIDTH_PT,
    )
    assert [chart.title for chart in grid.charts] == ["Spur spacing", "Dead buds"]
    assert grid.across == 3
    assert all([y for y in range(2013, 2025) if f">{y}<" in c.svg] == [2020, 2021, 2022, 2023] for c in grid.charts)


def test_a_section_appears_only_where_there_are_rows() -> None:
    five = histories.five_seasons()
    assert canopy_section(five, SeasonFigures(five.figures), "metric", WIDTH_PT) is None
    assert given.decision_table(five, SeasonFigures(five.figures), "metric") is None
    assert given.estimate_table(five, SeasonFigures(five.figures), "metric") is None
    assert given.certification_table(five) is None
    assert draw_ripening(histories.no_seasons(), "metric", 400.0) == []
