"""What is left of the page on which the sections of a history end, piece by piece as its template has them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vinebook.reports.figure_charts import SHARE_OF_THREE
from vinebook.reports.flow import (
    BLOCK_PT,
    H2_PT,
    NOTE_PT,
    SECTION_PT,
    Flow,
    grid_rows,
    row_height,
    strip_height,
    table_height,
)
from vinebook.reports.packing import lines_of
from vinebook.reports.strip import LABEL_COLUMN_PT

if TYPE_CHECKING:
    from vinebook.reports.history import Together
    from vinebook.reports.tables import Table

CAUTION_PT = 13 + 1.6 + 9
CAUTION_LINE_PT = 11.5
CAUTION_SIGNS = 372
"""Length of the longer of the two cautions."""
SAID_PT = 10 + 5 + 13 + 6 + 0.6
"""White, rules and heading of what figures say together."""
STRIP_SLACK_PT = 14.0
MERGED_PT = 5.0
"""White under a heading that is part of the white over a strip which follows it."""
SCALES = (0.995, 1.0, 1.005)
MOST_KEPT_ROWS = 30
POSITION_SHARE = 0.48


def left_of_last_page(values: dict[str, Any], head_pt: float, width_pt: float, page_pt: float) -> float:
    """Give what is left under the last section before the appendix, estimated in points: the least of three estimates.

    A page a little higher or lower shows whether a section stands so near to a foot that nobody can tell.

    Parameters
    ----------
    values : what the template of the history is filled with.
    head_pt : height of what stands over the strip of the first page.
    width_pt, page_pt : width and height of a page's text.
    """
    return min(_left(values, head_pt, width_pt, page_pt, scale) for scale in SCALES)


def _left(values: dict[str, Any], head_pt: float, width_pt: float, page_pt: float, scale: float) -> float:
    pages = _Pages(values, width_pt, page_pt * scale)
    pages.flow.used_pt = head_pt
    if values["charts"]:
        height = strip_height(values["charts"], how=True) - 14
        # The strip is drawn to fill the first page: it is on it but for rounding, however high a page is taken to be.
        if head_pt + height < page_pt + STRIP_SLACK_PT:
            height = min(height, page_pt * scale - head_pt)
        pages.flow.keep(height)
    if values["events"]:
        pages.flow.keep(H2_PT + pages.height(values["events"], is_titled=False), SECTION_PT)
    pages.seasons()
    pages.crop()
    pages.positions()
    pages.wood_and_canopy()
    pages.given()
    pages.standing()
    return pages.flow.left_pt


def said_height(together: Together, width_pt: float) -> float:
    """Give the height of what figures say together, estimated in points.

    Parameters
    ----------
    together : the sentences with their sources.
    width_pt : width of a page's text.
    """
    sources = NOTE_PT * lines_of("; ".join(together.sources), width_pt, 7.5) + 2 if together.sources else 0
    return SAID_PT + sum(2 + CAUTION_LINE_PT * lines_of(one, width_pt, 8.5) for one in together.sentences) + sources


class _Pages:
    """The sections of a history as they fill pages."""

    def __init__(self, values: dict[str, Any], width_pt: float, page_pt: float) -> None:
        self.values = values
        self.width_pt = width_pt
        self.flow = Flow(page_pt)
        words = "x" * 8
        lines = lines_of(" ".join([words] * (CAUTION_SIGNS // 9)), width_pt - 20, 8.5)
        self.caution_pt = CAUTION_PT + CAUTION_LINE_PT * lines

    def height(self, table: Table, *, is_titled: bool = True) -> float:
        return table_height(table, self.width_pt, is_titled=is_titled)

    def block(self, table: Table | None) -> None:
        if table:
            place = self.flow.keep if len(table.rows) <= MOST_KEPT_ROWS else self.flow.pour
            place(BLOCK_PT + self.height(table))

    def seasons(self) -> None:
        tables = self.values["season_tables"]
        if tables:
            self.flow.keep(H2_PT + self.caution_pt + 2 + self.height(tables[0]), SECTION_PT)
            for table in tables[1:]:
                self.block(table)

    def crop(self) -> None:
        values = self.values
        if values["balance"] or values["together"]:
            height = strip_height([values["balance"]]) - MERGED_PT if values["balance"] else 0.0
            if values["balance"] and values["readings"]:
                height += 2 + NOTE_PT * lines_of(values["readings"], self.width_pt - LABEL_COLUMN_PT, 7.5)
            if values["together"]:
                height += said_height(values["together"], self.width_pt)
            self.flow.keep(H2_PT + height, SECTION_PT)
        for name in ("components", "ripening"):
            if values[name]:
                self.flow.keep(H2_PT + NOTE_PT + strip_height(values[name]), SECTION_PT)
        if values["estimated"]:
            self.flow.keep(H2_PT + strip_height([values["estimated"]]) - MERGED_PT, SECTION_PT)
            self.block(values["estimates"])
        elif values["estimates"]:
            self.flow.keep(H2_PT + self.height(values["estimates"]), SECTION_PT)

    def positions(self) -> None:
        tables, charts = self.values["position_tables"], self.values["positions"]
        if not tables:
            return
        rows = [charts[i : i + 2] for i in range(0, len(charts), 2)]
        each = self.width_pt * POSITION_SHARE
        first = row_height(rows[0], each, 6, with_unit=False) if rows else 0.0
        self.flow.keep(H2_PT + NOTE_PT + first, SECTION_PT)
        for row in rows[1:]:
            self.flow.keep(row_height(row, each, 6, with_unit=False))
        for table in tables:
            if not table.is_narrow:
                self.block(table)
        narrow = [table for table in tables if table.is_narrow]
        for i in range(0, len(narrow), 3):
            heights = (table_height(one, self.width_pt * SHARE_OF_THREE, across=3) for one in narrow[i : i + 3])
            self.flow.keep(BLOCK_PT + max(heights))

    def wood_and_canopy(self) -> None:
        spurs, canopy = self.values["spurs"], self.values["canopy"]
        if spurs:
            self.flow.keep(H2_PT + (self.height(spurs.table, is_titled=False) if spurs.table else 0), SECTION_PT)
            if spurs.cordon:
                note = NOTE_PT * lines_of(spurs.cordon.note, self.width_pt, 7.5)
                self.flow.keep(BLOCK_PT + 13 + note + 7 + strip_height([spurs.cordon]) - 14 + 2 * NOTE_PT)
            for height in grid_rows(spurs.charts, self.width_pt):
                self.flow.keep(height)
        if canopy:
            if canopy.table:
                self.flow.keep(H2_PT + self.height(canopy.table, is_titled=False), SECTION_PT)
                for height in grid_rows(canopy.charts, self.width_pt):
                    self.flow.keep(height)
            if canopy.work:
                place = self.flow.keep if len(canopy.work.rows) <= MOST_KEPT_ROWS else self.flow.pour
                # No white stands between a heading and the table under it.
                head, over = (BLOCK_PT, 0.0) if canopy.table else (H2_PT, SECTION_PT)
                place(head + self.height(canopy.work), over)

    def given(self) -> None:
        decisions, visits = self.values["decisions"], self.values["visits"]
        if decisions:
            place = self.flow.keep if len(decisions.rows) <= 12 else self.flow.pour
            place(H2_PT + self.height(decisions, is_titled=False), SECTION_PT)
        if visits:
            self.flow.keep(H2_PT + self.caution_pt + 2 + self.height(visits, is_titled=False), SECTION_PT)

    def standing(self) -> None:
        values = self.values
        tables = [values[name] for name in ("planting", "training", "certification") if values[name]]
        if not tables and not values["census"]:
            return
        head, over = H2_PT, SECTION_PT
        for table in tables:
            self.flow.keep(head + self.height(table), over)
            head, over = BLOCK_PT, 0.0
        if values["census"]:
            charts = values["census_charts"]
            height = self.height(values["census"])
            if charts:
                height += row_height(charts, self.width_pt * SHARE_OF_THREE, BLOCK_PT)
            self.flow.keep(head + height, over)
