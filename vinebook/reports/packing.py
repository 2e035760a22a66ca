"""Sheets of the appendix packed into pages of two columns; heights are worked out from the style sheet's sizes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from vinebook.reports import fonts

if TYPE_CHECKING:
    from vinebook.reports.appendix import Sheet

ROW_PT = 10.2
TYPE_PT = 7.5
COLUMN_SHARE = 0.484
CELL_SHARES = (0.18, 0.12, 0.20, 0.09, 0.41)
"""Widths of the columns of a sheet, as the template sets them."""
CELL_GAP_PT = 7.0
HEAD_PT = 13.0
NOTE_PT = 10.0
TAIL_PT = 12.0 + 2.4
SPARE_PT = 14.0
LEAST_ROWS_CUT = 8


@dataclass(slots=True)
class Spread:
    """One page of the appendix: two columns of sheets."""

    left: list[Sheet] = field(default_factory=list)
    right: list[Sheet] = field(default_factory=list)


def pack_sheets(sheets: list[Sheet], width_pt: float, page_pt: float, first_pt: float) -> list[Spread]:
    """Fill pages column by column; a long sheet goes on in the next column, the last page is balanced.

    Parameters
    ----------
    sheets : the sheets in order.
    width_pt : width of the text column of the page.
    page_pt : height of a page's text.
    first_pt : height that is left on the first page.
    """
    spreads: list[Spread] = []
    rest = list(sheets)
    while rest:
        room_pt = (page_pt if spreads else first_pt) - SPARE_PT
        spread, after = _fill(rest, width_pt, room_pt)
        if not after:
            spread = _balance(rest, width_pt, room_pt)
        spreads.append(spread)
        rest = after
    return spreads


def sheet_height(sheet: Sheet, width_pt: float) -> float:
    """Give the height of a sheet in points.

    Parameters
    ----------
    sheet : the sheet.
    width_pt : width of the text column of the page.
    """
    column_pt = width_pt * COLUMN_SHARE
    return _top(sheet, column_pt) + sum(_row(row, column_pt) for row in _texts(sheet)) + _tail(sheet, column_pt)


def _fill(sheets: list[Sheet], width_pt: float, room_pt: float) -> tuple[Spread, list[Sheet]]:
    rest = list(sheets)
    spread = Spread()
    for column in (spread.left, spread.right):
        left_pt = room_pt
        while rest:
            height = sheet_height(rest[0], width_pt)
            if height <= left_pt:
                column.append(rest.pop(0))
                left_pt -= height
                continue
            parts = _cut(rest[0], width_pt, left_pt, must=not column)
            if parts is not None:
                column.append(parts[0])
                rest[0] = parts[1]
            break
    return spread, rest


def _balance(sheets: list[Sheet], width_pt: float, room_pt: float) -> Spread:
    """Find the lowest room in which both columns hold all sheets."""
    heights = [sheet_height(sheet, width_pt) for sheet in sheets]
    splits = [
        (max(sum(heights[:k]), sum(heights[k:])), k) for k in range(1, len(sheets) + 1) if sum(heights[:k]) <= room_pt
    ]
    whole = [(height, k) for height, k in splits if height <= room_pt]
    if not whole:
        return _fill(sheets, width_pt, room_pt)[0]
    cut = min(whole)[1]
    return Spread(sheets[:cut], sheets[cut:])


def _cut(sheet: Sheet, width_pt: float, room_pt: float, *, must: bool) -> tuple[Sheet, Sheet] | None:
    """Cut a sheet in two, the first part filling the room; None where too little would stand on either side."""
    column_pt = width_pt * COLUMN_SHARE
    used = _top(sheet, column_pt) + _tail(sheet, column_pt)
    count = 0
    for row in _texts(sheet):
        used += _row(row, column_pt)
        if used > room_pt:
            break
        count += 1
    least = 1 if must else LEAST_ROWS_CUT
    if count < least or (len(sheet.rows) - count < least and not must):
        return None
    count -= count % 5 if count > 2 * LEAST_ROWS_CUT else 0
    title = sheet.title if sheet.title.endswith(", continued") else f"{sheet.title}, continued"
    return replace(sheet, rows=sheet.rows[:count]), replace(sheet, title=title, rows=sheet.rows[count:])


def _texts(sheet: Sheet) -> list[tuple[str, ...]]:
    return [tuple(f"{cell.text} {cell.mark}".rstrip() for cell in row) for row in sheet.rows]


def _tail(sheet: Sheet, column_pt: float) -> float:
    notes = " ".join(f"{letter} {text}.   " for letter, text in sheet.notes)
    return TAIL_PT + (NOTE_PT * lines_of(notes, column_pt - 8, TYPE_PT) + 3 if notes else 0.0)


def _top(sheet: Sheet, column_pt: float) -> float:
    about = f"{sheet.is_}. Chosen: {sheet.chosen}. Basis: {sheet.basis}. Band: {sheet.band}."
    title_lines = lines_of(f"{sheet.title} {sheet.unit}", column_pt, 9.5 * 1.06)
    return HEAD_PT * title_lines + 10.0 * lines_of(about, column_pt, TYPE_PT) + 2 + ROW_PT + 3.5


def _row(row: tuple[str, ...], column_pt: float) -> float:
    most = max(
        lines_of(text, share * column_pt - CELL_GAP_PT, TYPE_PT) for text, share in zip(row, CELL_SHARES, strict=True)
    )
    return ROW_PT * most + 0.1


def lines_of(text: str, width_pt: float, type_pt: float) -> int:
    """Give the lines that a text takes, broken between words, a word longer than a line inside it.

    Parameters
    ----------
    text : one paragraph.
    width_pt : width of a line.
    type_pt : size of the type.
    """
    lines, used = 1, 0.0
    for word in text.split(" "):
        word_pt = fonts.width_em(word) * type_pt
        if used and used + word_pt > width_pt:
            lines, used = lines + 1, 0.0
        over = math.ceil(word_pt / width_pt) - 1 if word_pt > width_pt else 0
        lines, used = lines + over, used + word_pt - over * width_pt + fonts.width_em(" ") * type_pt
    return lines
