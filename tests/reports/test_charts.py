"""Charts: joined only across neighbours, zero at the foot, labels that touch nothing."""

from __future__ import annotations

import re
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reports import histories
from vinebook.reports import charts
from vinebook.reports.charts import Axis, Panel, Point
from vinebook.reports.history import history_page
from vinebook.reports.labels import Box, Segment, Wanted, place, wrap
from vinebook.reports.scales import nice_top
from vinebook.reports.strip import season_flags
from vinebook.reports.svg import CROP, GREY, INK, TYPE_PT, WOOD

AXIS = Axis(tuple(str(season) for season in range(2018, 2025)), 400.0, 96.0)


def panel(values: list[float | None], **more: object) -> Panel:
    return Panel(tuple(Point(v, label="" if v is None else f"{v:g}") for v in values), INK, **more)  # type: ignore[arg-type]


def test_points_are_joined_only_across_neighbouring_seasons() -> None:
    points = panel([1, 2, None, 4, 5, None, 7]).points
    assert charts.joined_pairs(points) == [(0, 1), (3, 4)]
    svg = charts.draw_panel(panel([1, 2, None, 4, 5, None, 7]), AXIS, is_first=True, is_last=True)
    assert svg.count('stroke-width="1.0"') == 2
    assert svg.count("<circle") == 5


def test_a_gap_leaves_its_season_on_the_axis() -> None:
    svg = charts.draw_panel(panel([1, None, 2, 3, 4, 5, 6]), AXIS, is_first=True, is_last=True)
    assert [year for year in AXIS.names if f">{year}</text>" in svg] == list(AXIS.names)


def test_quantities_start_at_zero() -> None:
    svg = charts.draw_panel(panel([21, 22, 23, 24, 25, 24, 23]), AXIS, is_first=True, is_last=True)
    scale = re.findall(r'text-anchor="end">([^<]+)<', svg)
    assert scale == ["0", "15", "30"]
    foot = float(re.findall(r'<path d="M25 ([\d.]+)L', svg)[0])
    dots = [float(y) for y in re.findall(r'<circle cx="[\d.]+" cy="([\d.]+)"', svg)]
    top = float(re.findall(r'<path d="M25 ([\d.]+)L', svg)[2])
    assert dots[0] == pytest.approx(foot - 21 / 30 * (foot - top), abs=0.01)


@pytest.mark.parametrize(("largest", "top"), [(21.0, 30), (0.78, 0.8), (5.6, 6), (10, 10), (1234, 1600), (0, 1)])
def test_the_scale_ends_on_a_round_number(largest: float, top: float) -> None:
    assert nice_top(largest) == pytest.approx(top)


def test_a_pending_season_is_an_open_point_below_the_scale() -> None:
    points = (*panel([5, 6, 7, 6, 5, 6]).points, Point(is_open=True))
    svg = charts.draw_panel(Panel(points, WOOD), AXIS, is_first=True, is_last=True)
    assert svg.count('fill="#fff"') == 1
    assert ">pending<" in svg
    open_y = float(re.findall(r'cy="([\d.]+)" r="2.1" fill="#fff"', svg)[0])
    foot = float(re.findall(r'<path d="M25 ([\d.]+)L', svg)[0])
    assert open_y > foot


def test_an_interval_that_runs_off_the_scale_has_an_arrowhead() -> None:
    points = (Point(5.0, 4.0, 60.0, "5"), Point(6.0, 5.0, 7.0, "6"))
    svg = charts.draw_panel(Panel(points, INK), Axis(("1", "2"), 300, 96), is_first=True, is_last=True)
    assert svg.count('fill="none"') == 1


@pytest.mark.parametrize(("low", "high", "arrows"), [(4, 8, 0), (4, 40, 1), (4, None, 1), (30, 40, 1), (None, 8, 0)])
def test_a_band_that_goes_on_beyond_the_scale_has_an_arrowhead(
    low: float | None, high: float | None, arrows: int
) -> None:
    points = (Point(5.0, label="5", has_band=True, band_low=low, band_high=high), Point(6.0, label="6"))
    svg = charts.draw_panel(Panel(points, INK), Axis(("1", "2"), 300, 96), is_first=True, is_last=True)
    assert svg.count('fill="none"') == arrows


def test_what_was_said_before_stands_beside_its_point() -> None:
    beside = ((Point(5.5, 4.0, 8.0),), (), (Point(6.0), Point(7.0)))
    drawn = Panel(panel([5, 6, 7]).points, CROP, beside=beside, is_joined=False)
    svg = charts.draw_panel(drawn, Axis(tuple("abc"), 300, 96), is_first=True, is_last=True)
    assert svg.count('stroke-width="1.2"') == 3
    assert svg.count(f'stroke="{GREY}" stroke-width="0.55"') == 1


def test_a_scale_can_begin_above_zero() -> None:
    drawn = Panel(panel([3.2, 3.3]).points, CROP, foot=3.0, top=3.4)
    svg = charts.draw_panel(drawn, Axis(tuple("ab"), 300, 96), is_first=True, is_last=True)
    assert re.findall(r'text-anchor="end">([^<]+)<', svg) == ["3", "3.2", "3.4"]


def test_a_band_reaches_from_its_first_season_to_the_next_band() -> None:
    points = (
        Point(5.0, label="5"),
        Point(5.0, label="5", has_band=True, band_low=4, band_high=10),
        Point(),
        Point(5.0, label="5", has_band=True, band_low=9, band_high=12),
    )
    svg = charts.draw_panel(Panel(points, INK, "own target"), Axis(tuple("abcd"), 400, 96), is_first=True, is_last=True)
    widths = [float(w) for w in re.findall(r'<rect x="[\d.]+" y="[\d.]+" width="([\d.]+)"', svg)]
    slot = (400 - 62 - 25) / 4
    assert widths == pytest.approx([2 * slot, slot], abs=0.02)
    assert "own target" in svg


def test_first_last_highest_and_lowest_are_labelled() -> None:
    assert charts.labelled_places(panel([3, 9, None, 1, 4]).points) == [4, 1, 3, 0]
    assert charts.labelled_places(panel([None, None]).points) == []


def test_flags_say_what_a_season_did_and_when_pruning_changed() -> None:
    flags = dict(season_flags(histories.twelve_seasons()))
    assert flags == {4: "frost", 5: "to spurs", 7: "heat", 9: "hail"}


def boxes_of(svg: str) -> list[Box]:
    from vinebook.reports.fonts import width_em

    boxes = []
    for x, y, anchor, text in re.findall(r'<text x="([\d.-]+)" y="([\d.-]+)"[^>]*anchor="(\w+)">([^<]*)<', svg):
        width = width_em(text.replace("&amp;", "&")) * TYPE_PT
        left = float(x) - {"start": 0, "middle": width / 2, "end": width}[anchor]
        boxes.append(Box(left, float(y) - TYPE_PT * 0.66, left + width, float(y)))
    return boxes


@pytest.mark.parametrize("name", ["one", "five", "twelve", "twentyfive", "hostile"])
@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_no_text_of_a_chart_overlaps_another_or_leaves_it(name: str, units: str, paper: str) -> None:
    for svg in history_page(histories.ALL[name](), units=units, paper=paper).images.values():  # type: ignore[arg-type]
        boxes = boxes_of(svg)
        assert boxes
        assert not [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])]
        width, height = (float(x) for x in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
        assert all(box.is_within(Box(-0.5, -0.5, width + 0.5, height + 0.5)) for box in boxes)


@given(st.lists(st.tuples(st.floats(20, 380), st.floats(20, 80)), min_size=2, max_size=6))
def test_placed_labels_never_overlap(places: list[tuple[float, float]]) -> None:
    wanted = [Wanted("12.3", x, y, y - 4, y + 4, 15, 7) for x, y in places]
    line = [Segment(a[0], a[1], b[0], b[1]) for a, b in pairwise(places)]
    placed = place(wanted, line, Box(0, 0, 400, 100), [])
    assert not [pair for pair in combinations(placed, 2) if pair[0].box.overlaps(pair[1].box)]
    assert not [label for label in placed if any(segment.crosses(label.box) for segment in line)]


def test_the_overlap_guard_can_fail() -> None:
    assert Box(0, 0, 10, 10).overlaps(Box(9, 9, 20, 20))
    assert not Box(0, 0, 10, 10).overlaps(Box(10, 0, 20, 10))
    assert Segment(-5, 5, 15, 5).crosses(Box(0, 0, 10, 10))
    assert not Segment(-5, 15, 15, 15).crosses(Box(0, 0, 10, 10))


def test_a_long_name_is_broken_and_cut() -> None:
    assert wrap("Kliewer & Dokoozlian 2005", 45, 7.5, 3) == ["Kliewer &", "Dokoozlian", "2005"]
    lines = wrap("W" * 80 + " and more words than there is room for on this edge", 55, 7.5, 3)
    assert len(lines) == 3
    assert lines[0].endswith("…")
    assert lines[-1].endswith("…")


def test_the_inks_differ_in_lightness_and_read_on_white() -> None:
    def luminance(ink: str) -> float:
        parts = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    crop, wood = luminance(CROP), luminance(WOOD)
    assert (wood + 0.05) / (crop + 0.05) > 2.5
    assert 1.05 / (wood + 0.05) >= 4.5
