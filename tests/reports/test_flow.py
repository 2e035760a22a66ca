"""What is left of a page: pieces that do not fit go on to the next, and white at its top falls away."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from tests.reports import histories
from tests.reports.rough import FOOT_PT, SIZES, words_of
from vinebook.reports import facts, history, history_flow
from vinebook.reports.bound import bind_pages
from vinebook.reports.flow import Flow, picture_height, table_height
from vinebook.reports.history import history_page
from vinebook.reports.render import LaidPage, print_page
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


@pytest.mark.parametrize("scale", history_flow.SCALES)
def test_the_strip_of_the_first_page_stays_there_however_high_a_page_is_taken_to_be(
    monkeypatch: pytest.MonkeyPatch, scale: float
) -> None:
    left: list[float] = []
    keep = Flow.keep

    def noted(flow: Flow, height_pt: float, over_pt: float = 0.0) -> None:
        keep(flow, height_pt, over_pt)
        left.append(flow.left_pt)

    monkeypatch.setattr(Flow, "keep", noted)
    monkeypatch.setattr(history_flow, "SCALES", (scale,))
    history_page(histories.twelve_seasons())
    assert left[0] == pytest.approx(0, abs=5)


@pytest.mark.parametrize("over_pt", range(540, 640, 12))
def test_the_appendix_stands_once_wherever_the_section_before_it_ends(
    monkeypatch: pytest.MonkeyPatch, over_pt: int
) -> None:
    monkeypatch.setattr(history, "left_of_last_page", lambda *_: 470.0)
    page = history_page(histories.five_seasons())
    begun = '<section>\n<div class="together">\n<h2>Appendix'
    head, body = page.html.split("<body>\n", 1)
    appendix = begun + body.split(begun)[1].split("</section>")[0]
    filled = f'{head}<body><div style="height: {over_pt}pt"></div>{appendix}</section></body></html>'
    titles = [
        id(box.element)
        for laid in LaidPage(replace(page, html=filled)).pages
        for box in laid._page_box.descendants()
        if box.element_tag in ("h2", "h3") and box.is_in_normal_flow() and type(box).__name__ == "BlockBox"
    ]
    assert len(titles) == len(set(titles)) == appendix.count("</h2>") + appendix.count("</h3>")


def test_a_report_in_a_bound_book_is_set_as_it_is_alone() -> None:
    told = [histories.five_seasons(), histories.twelve_seasons()]
    pages = [history_page(one) for one in told]
    alone = [_body(print_page(page).pdf) for page in pages]
    bound = _body(print_page(bind_pages(pages, [one.code for one in told], "Histories", "a4")).pdf)
    assert bound[1:] == [*alone[0], *alone[1]]


def _body(pdf: bytes) -> list[list[tuple[str, int, int]]]:
    """Give the words of each page over its foot, with where they stand to the point."""
    foot_pt = SIZES["a4"][1] - FOOT_PT
    words = sorted((word.page, round(word.top), round(word.left), word.text) for word in words_of(pdf))
    number = words[-1][0]
    return [
        [(text, left, top) for page, top, left, text in words if page == at and top < foot_pt]
        for at in range(1, number + 1)
    ]


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
