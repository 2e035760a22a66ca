"""How far the sections before the appendix reach, estimated from the style sheet's sizes.

The appendix is packed before the page is set, so it must know what is left of the page on which it begins. An estimate
that is too low costs a little white; one that is too high sends the appendix to a page of its own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports.packing import lines_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.reports.figure_charts import Chart, Grid
    from vinebook.reports.tables import Table

TABLE_ROW_PT = 11.4
CELL_PADDING_PT = 1.0
HEAD_LINE_PT = 10.5
NOTE_PT = 10.0
BETWEEN_NOTES = " " * 6
"""As wide as the white between two notes."""
SECTION_PT = 20.0
"""White over a section."""
H2_PT = 20.0
BLOCK_PT = 12.0
_HEIGHT = re.compile(r'viewBox="0 0 [\d.]+ ([\d.]+)"')


@dataclass(slots=True)
class Flow:
    """Where the next piece would stand; pieces that do not fit begin the next page.

    Attributes
    ----------
    page_pt : height of a page's text.
    used_pt : what is used of the page.
    """

    page_pt: float
    used_pt: float = 0.0

    def keep(self, height_pt: float, over_pt: float = 0.0) -> None:
        """Place a piece that is not broken.

        Parameters
        ----------
        height_pt : its height.
        over_pt : white over it, which falls away at the top of a page.
        """
        if self.used_pt and self.used_pt + over_pt + height_pt > self.page_pt:
            self.used_pt = 0.0
        self.used_pt += (over_pt if self.used_pt else 0.0) + height_pt
        while self.used_pt > self.page_pt:
            self.used_pt -= self.page_pt

    def pour(self, height_pt: float, over_pt: float = 0.0) -> None:
        """Place a piece that may be broken anywhere.

        Parameters
        ----------
        height_pt : its height.
        over_pt : white over it.
        """
        self.used_pt += over_pt + height_pt
        while self.used_pt > self.page_pt:
            self.used_pt -= self.page_pt

    @property
    def left_pt(self) -> float:
        """What is left of the page."""
        return self.page_pt - self.used_pt


def table_height(table: Table, width_pt: float, *, is_titled: bool = True, across: int = 1) -> float:
    """Give the height of a table with its notes.

    Parameters
    ----------
    table : the table.
    width_pt : width of the text column.
    is_titled : whether its title stands over it.
    across : how many such tables stand side by side, each in a column of this width.
    """
    width = width_pt * min(across * table.width_percent, 100) / 100
    total = sum(column.width for column in table.columns)
    rooms = [width * column.width / total - (2 if column.is_number else 5) for column in table.columns]
    head = max(
        _lines_of_words(column.head, room, 8.4) + (1 if column.unit else 0)
        for column, room in zip(table.columns, rooms, strict=True)
    )
    rows = sum(
        TABLE_ROW_PT
        * max(lines_of(f"{cell.text}{cell.mark}", room, 8.5) for cell, room in zip(row, rooms, strict=True))
        + CELL_PADDING_PT
        for row in table.rows
    )
    notes = BETWEEN_NOTES.join(f"{mark} {text}." for mark, text in table.notes)
    never = f"Never counted or weighed here: {', '.join(table.never)}." if table.never else ""
    return (
        (16.0 if is_titled else 0.0)
        + (13.5 if table.groups else 0.0)
        + head * HEAD_LINE_PT
        + 7.0
        + rows
        + 3.5
        + sum(3 + NOTE_PT * lines_of(text, width_pt, 7.5) for text in (notes, never) if text)
    )


def _lines_of_words(text: str, room_pt: float, type_pt: float) -> int:
    """Give the lines of a heading, whose words are not broken."""
    return lines_of(text, max(room_pt, 1.0), type_pt) if " " in text else 1


def strip_height(charts: Iterable[Chart], how: bool = False) -> float:
    """Give the height of a strip of charts, with the white over it.

    Parameters
    ----------
    charts : its panels.
    how : whether a line under it says how to read it.
    """
    return 14 + sum(picture_height(chart) for chart in charts) + (14 if how else 0)


def row_height(charts: Sequence[Chart], width_pt: float, over_pt: float, *, with_unit: bool = True) -> float:
    """Give the height of charts side by side, each under its title and a line on unit and band.

    Parameters
    ----------
    charts : the charts of one row.
    width_pt : width of one.
    over_pt : white over the row.
    with_unit : whether the unit stands in the line under the title.
    """
    return over_pt + max(
        13
        + NOTE_PT * lines_of("; ".join(filter(None, (chart.unit if with_unit else "", chart.note))), width_pt, 7.5)
        + picture_height(chart)
        for chart in charts
    )


def grid_rows(grid: Grid, width_pt: float) -> list[float]:
    """Give the heights of the rows of a grid.

    Parameters
    ----------
    grid : small charts.
    width_pt : width of the text column.
    """
    across = grid.across
    each = width_pt * (0.3143 if across > 2 else 0.48)
    return [row_height(row, each, BLOCK_PT if across > 2 else 6) for row in grid.rows]


def picture_height(chart: Chart) -> float:
    """Give the height of a picture as it says itself.

    Parameters
    ----------
    chart : the chart.
    """
    found = _HEIGHT.search(chart.svg)
    return float(found[1]) if found else 0.0
