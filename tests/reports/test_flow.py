"""What is left of a page: pieces that do not fit go on to the next, and white at its top falls away."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.reports import histories
from vinebook.reports import facts, history
from vinebook.reports.flow import Flow, picture_height, table_height
from vinebook.reports.history import history_page
from vinebook.reports.strip import draw_positions


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
