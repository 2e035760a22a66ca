"""Drawings of vines: to scale, every spur where it was measured, shoots as they were counted."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import pytest

from tests.reports import beside, histories
from tests.reports.test_charts import boxes_of
from vinebook.reports import drawing
from vinebook.reports.drawing import Arm, Bearer, Shoots, draw_bearer, draw_cordons, pick_scale
from vinebook.reports.elevation import Plan, draw_vine
from vinebook.reports.labels import Box
from vinebook.reports.spurs import arms_of, spurs_section
from vinebook.reports.tables import SeasonFigures

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units

WIDTH_PT = 493.0


def arm(name: str, places: list[float], end_m: float | None) -> Arm:
    return Arm(name, end_m, tuple(Bearer(at, 2, Shoots(2, 0, 0)) for at in places))


def spurs_at(svg: str) -> list[float]:
    """Where the heavy upright strokes of spurs stand."""
    return [
        float(x) for x in re.findall(r'<path d="M([\d.]+) [\d.]+L\1 [\d.]+" stroke="#1d1b19" stroke-width="2.2"', svg)
    ]


def test_spurs_stand_where_they_were_measured() -> None:
    svg = draw_cordons((arm("arm 1", [0.08, 0.2], 0.9), arm("arm 2", [0.1, 0.4], 0.9)), WIDTH_PT, "metric")
    scale = int(re.findall(r"scale 1 : (\d+)", svg)[0])
    first, second, third, fourth = spurs_at(svg)
    head = first + 0.08 * drawing.PT_OF_M / scale
    assert head - second == pytest.approx(0.2 * drawing.PT_OF_M / scale, abs=0.02)
    assert third - head == pytest.approx(0.1 * drawing.PT_OF_M / scale, abs=0.02)
    assert fourth - head == pytest.approx(0.4 * drawing.PT_OF_M / scale, abs=0.02)


def test_the_scale_is_the_largest_usual_one_that_fits() -> None:
    assert pick_scale(1.8, 430) == 12
    assert pick_scale(1.8, 424) == 15
    assert pick_scale(100.0, 400) == 100


@pytest.mark.parametrize(("units", "bar"), [("metric", "50 cm"), ("us", "20 in")])
def test_the_scale_bar_is_as_long_as_it_says(units: str, bar: str) -> None:
    svg = draw_cordons((arm("arm 1", [0.1], 0.9), arm("arm 2", [0.1], 0.9)), WIDTH_PT, units)  # type: ignore[arg-type]
    scale = int(re.findall(r"scale 1 : (\d+)", svg)[0])
    left, right = re.findall(r'd="M([\d.]+) [\d.]+H([\d.]+)v2.6', svg)[0]
    length_m = (float(right) - float(left)) / drawing.PT_OF_M * scale
    assert f">{bar}<" in svg
    number, unit = bar.split()
    assert length_m == pytest.approx(int(number) * (0.01 if unit == "cm" else 0.0254), rel=1e-3)


def test_every_gap_carries_its_length_to_the_end_of_the_arm() -> None:
    svg = draw_cordons((arm("arm 1", [0.1, 0.23], 0.5),), WIDTH_PT, "metric")
    dimensions = re.findall(r'fill="#[0-9a-f]+" text-anchor="middle">(\d+)<', svg)
    assert dimensions[:3] == ["10", "13", "27"]


def test_the_longest_bare_stretch_runs_from_spur_to_spur_or_to_the_end() -> None:
    assert arm("a", [0.3, 0.42, 0.55], 0.6).longest_bare_m == (0.42, 0.55)
    assert arm("a", [0.1, 0.2], 0.6).longest_bare_m == (0.2, 0.6)
    assert arm("a", [], 0.6).longest_bare_m == (0.0, 0.6)
    assert arm("a", [0.1], None).longest_bare_m is None


def test_shoots_are_drawn_by_their_class() -> None:
    drawn = "".join(draw_bearer(100, 100, Bearer(0.1, 3, Shoots(2, 1, 2, 1))))
    assert drawn.count("stroke-dasharray") == 2
    assert drawn.count("<circle") == 1
    assert drawn.count("l3 3m0 -3l-3 3") == 1
    assert drawn.count("q") == 2 + 1 + 2
    uncounted = "".join(draw_bearer(100, 100, Bearer(0.1, 3)))
    assert uncounted.count("<circle") == 3
    assert "q" not in uncounted


@pytest.mark.parametrize("is_hanging", [False, True])
@pytest.mark.parametrize(("arms", "spurs", "step_cm"), [(1, 6, 12), (2, 9, 11), (3, 5, 14), (4, 14, 6.5), (8, 24, 4)])
def test_no_words_of_a_drawing_overlap_or_leave_it(arms: int, spurs: int, step_cm: float, is_hanging: bool) -> None:
    for units in ("metric", "us"):
        vine = arms_of(beside.cordon(2024, arms, spurs, step_cm))
        svg = draw_cordons(vine, WIDTH_PT, units, is_hanging=is_hanging)
        boxes = boxes_of(svg)
        assert not [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])]
        width, height = (float(x) for x in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
        assert all(box.is_within(Box(0, 0, width, height)) for box in boxes)


def test_the_drawing_says_what_vine_it_shows() -> None:
    history = histories.twelve_seasons()
    section = spurs_section(history, SeasonFigures(history.figures), "metric", WIDTH_PT)
    assert section is not None
    assert section.cordon is not None
    note = section.cordon.note.replace("\u00a0", " ")
    assert note == (
        "Row 12, vine 50, 26 May 2024: the median of 8 measured vines by its spur spacing. "
        "11 spurs with 20 count, 2 double and 2 non-count shoots; the longest bare stretch, shaded, is 24 cm on arm 2."
    )
    assert "arm 1, bearers at 8, 20, 32, 44, 56, 68, its end at 74" in section.cordon.alt


def test_shoots_hang_where_the_training_of_the_season_lets_them() -> None:
    history = histories.twelve_seasons()
    down = replace(history, trainings=(replace(history.trainings[-1], shoot_position="down"),))
    figures = SeasonFigures(history.figures)
    up_svg, down_svg = (
        section.cordon.svg
        for facts in (history, down)
        if (section := spurs_section(facts, figures, "metric", WIDTH_PT)) and section.cordon
    )
    assert spurs_at(up_svg) == spurs_at(down_svg)
    assert up_svg != down_svg


def test_a_block_without_bearers_has_no_section() -> None:
    history = histories.five_seasons()
    assert spurs_section(history, SeasonFigures(history.figures), "metric", WIDTH_PT) is None


def test_a_vine_stands_to_scale_between_its_wires() -> None:
    plan = Plan(1.2, 0.8, (0.8, 1.1, 1.5), head=(Bearer(0, 8, is_cane=True), Bearer(0, 8, is_cane=True), Bearer(0, 2)))
    svg = draw_vine(plan, 300.0, 260.0, "metric")
    pt_of_m = drawing.PT_OF_M / int(re.findall(r"scale 1 : (\d+)", svg)[0])
    (trunk,) = re.findall(r'd="M150 ([\d.]+)V([\d.]+)"', svg)
    ground, head = map(float, trunk)
    assert ground - head == pytest.approx(0.8 * pt_of_m, abs=0.02)
    wires = sorted(float(y) for y in re.findall(r'd="M[\d.]+ ([\d.]+)L[\d.]+ \1" stroke="#b7b2ab"', svg))
    assert [ground - y for y in wires] == pytest.approx([x * pt_of_m for x in (1.5, 1.1, 0.8)], abs=0.02)
    assert [words for words in ("1.50 m", "1.10 m", "0.80 m") if words in svg] == ["1.50 m", "1.10 m", "0.80 m"]
    assert float(re.findall(r'viewBox="0 0 [\d.]+ ([\d.]+)"', svg)[0]) <= 260.0


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_second_curtain_is_set_off_and_nothing_leaves_the_picture(units: Units) -> None:
    arms = tuple(arm(f"arm {n}", [0.1, 0.22, 0.34], 0.6) for n in range(1, 5))
    svg = draw_vine(Plan(1.2, 1.5, (1.5,), arms=arms), 240.0, 300.0, units)
    assert len(spurs_at(svg)) == 12
    width, height = (float(x) for x in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
    assert all(box.is_within(Box(0, 0, width, height)) for box in boxes_of(svg))
    assert all(0 < x < width for x in spurs_at(svg))
