"""What is left of a page: pieces that do not fit go on to the next, and white at its top falls away."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from tests.reports import histories
from vinebook.reports import facts, history, history_flow
from vinebook.reports.flow import Flow, picture_height, table_height
from vinebook.reports.history import history_page
from vinebook.reports.render import LaidPage
from vinebook.reports.strip import draw_positions
from vinebook.resources import templates_folder

if TYPE_CHECKING:
    from vinebook.reports.paper import Paper


def test_a_piece_that_does_not_fit_begins_the_next_page_without_the_white_over_it() -> None:
    flow = Flow(100.0)
    flow.keep(60.0, 20.0)
    assert flow.left_pt == 40.0
    flow.keep(30.0, 20.0)
    assert flow.left_pt == 70.0
    flow.pour(95.0)
    assert flow.left_pt == 75.0


def test_a_table_is_higher_by_each_row_and_by_its_notes() -> None:
    twelve = histories.twelve_seasons()
    table = facts.census_table(twelve)
    assert table is not None
    bare = table_height(table, 493.0)
    assert table_height(replace(table, rows=table.rows[:-1]), 493.0) == pytest.approx(bare - 12.4)
    assert table_height(table, 493.0, is_titled=False) == bare - 16
    assert table_height(replace(table, notes=(("a", "word " * 60),)), 493.0) > bare + 13


def test_a_picture_says_how_high_it_is() -> None:
    (first, *_) = draw_positions(histories.twelve_seasons(), "metric", 236.0)
    assert picture_height(first) == 118.0 + 9.0


def test_the_appendix_begins_under_the_last_section_only_where_there_is_room(monkeypatch: pytest.MonkeyPatch) -> None:
    apart = '<section class="appendix">'
    told = histories.five_seasons()
    monkeypatch.setattr(history, "left_of_last_page", lambda *_: 600.0)
    assert apart not in history_page(told).html
    monkeypatch.setattr(history, "left_of_last_page", lambda *_: 200.0)
    assert apart in history_page(told).html


def test_the_height_of_a_caution_is_that_of_the_longest() -> None:
    text = (templates_folder() / "history.html").read_text(encoding="utf-8")
    cautions = re.findall(r"call caution\(\) %}(.*?){% endcall", text)
    assert len(cautions) == 2
    assert max(len(re.sub("<.*?>", "", one)) for one in cautions) == history_flow.CAUTION_SIGNS


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", ["five", "twelve"])
def test_what_is_left_of_a_page_is_what_the_page_leaves_once_it_is_laid_out(
    monkeypatch: pytest.MonkeyPatch, name: str, paper: Paper
) -> None:
    estimates: list[float] = []

    def apart(values: dict[str, Any], *points: float) -> float:
        estimates.append(history_flow.left_of_last_page(values, *points))
        return 0.0

    monkeypatch.setattr(history, "left_of_last_page", apart)
    monkeypatch.setattr(history_flow, "SCALES", (1.0,))
    pages = LaidPage(history_page(histories.ALL[name](), paper=paper)).pages
    number = next(number for number, page in enumerate(pages) if "appendix" in _classes(page))
    assert estimates == [pytest.approx(_left_pt(pages[number - 1]), abs=3)]


def _classes(page: Any) -> set[str]:  # noqa: ANN401 - the library ships no types
    return {box.element.get("class", "") for box in page._page_box.descendants() if box.element is not None}


def _left_pt(page: Any) -> float:  # noqa: ANN401 - the library ships no types
    """Give what is left under the lowest box of a page, in points."""
    box = page._page_box
    [html] = [child for child in box.children if child.element_tag == "html"]
    reach = [
        each.position_y + each.margin_height()
        for each in html.descendants()
        if each.element_tag not in ("html", "body") and each.is_in_normal_flow()
    ]
    return float(0.75 * (box.content_box_y() + box.height - max(reach)))
