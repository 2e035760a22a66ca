"""Sheets of the appendix packed into pages of three columns; heights are worked out from the style sheet's sizes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from vinebook.reports import fonts
from vinebook.reports.appendix import CELL_GAP_PT, MARKED_GAP_PT, SEASON_GAP_PT

if TYPE_CHECKING:
    from vinebook.reports.appendix import Sheet
    from vinebook.reports.tables import Cell

ROW_PT = 10.2
TYPE_PT = 7.5
COLUMNS = 3
COLUMN_SHARE = 0.3143
THEAD_PT = ROW_PT + 2.5
TITLE_PT = 8.5
HEAD_PT = 11.5
NOTE_PT = 10.0
TAIL_PT = 10.0 + 5.0
SPARE_PT = 14.0
LEAST_ROWS_CUT, LEAST_ROWS_BALANCED = 5, 3
BALANCE_STEP_PT = 10.0
SHARE_LEFT = 0.75
SHORT_SHARE = 0.35
"""What follows the sheets and is no higher than this share of a page does not stand on a page alone."""
LEAST_BALANCED_PT = 170.0
"""Columns of the last page are not cut shorter than this."""


@dataclass(slots=True)
class Spread:
    """One page of the appendix: columns of sheets, left to right."""

    columns: list[list[Sheet]] = field(default_factory=lambda: [[] for _ in range(COLUMNS)])


def pack_sheets(
    sheets: list[Sheet], width_pt: float, page_pt: float, first_pt: float, after_pt: float = 0.0
) -> list[Spread]:
    """Fill pages column by column; a long sheet goes on in the next column, the last page is balanced.

    Where what follows does not fit under the last page it has a page of its own; where that page would be nearly
    empty, some sheets go on to it.

    Parameters
    ----------
    sheets : the sheets in order.
    width_pt : width of the text column of the page.
    page_pt : height of a page's text.
    first_pt : height that is left on the first page.
    after_pt : height of what follows the sheets.
    """
    spreads: list[Spread] = []
    rest = list(sheets)
    while rest:
        room_pt = (page_pt if spreads else first_pt) - SPARE_PT
        spread, after = _fill(rest, width_pt, room_pt)
        if not after:
            spread = _balance(rest, width_pt, room_pt)
            height_pt = max(sum(sheet_height(sheet, width_pt) for sheet in column) for column in spread.columns)
            if room_pt - after_pt < height_pt and after_pt < page_pt * SHORT_SHARE:
                spread, after = _fill(rest, width_pt, height_pt * SHARE_LEFT)
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
    return (
        _top(sheet, column_pt)
        + sum(_row(row, sheet.shares, column_pt, _gap(sheet)) for row in _texts(sheet))
        + _tail(sheet, column_pt)
    )


def _fill(sheets: list[Sheet], width_pt: float, room_pt: float) -> tuple[Spread, list[Sheet]]:
    rest = list(sheets)
    spread = Spread()
    for column in spread.columns:
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
    """Find the lowest room in which the columns hold all sheets, none cut into a lone row or two."""
    low_pt = max(sum(sheet_height(sheet, width_pt) for sheet in sheets) / COLUMNS, LEAST_BALANCED_PT)
    for step in range(math.ceil(max(room_pt - low_pt, 0.0) / BALANCE_STEP_PT)):
        spread, rest = _fill(sheets, width_pt, low_pt + step * BALANCE_STEP_PT)
        pieces = (one for column in spread.columns for one in column if not any(one is whole for whole in sheets))
        if not rest and all(len(piece.rows) >= LEAST_ROWS_BALANCED for piece in pieces):
            return spread
    return _fill(sheets, width_pt, room_pt)[0]


def _cut(sheet: Sheet, width_pt: float, room_pt: float, *, must: bool) -> tuple[Sheet, Sheet] | None:
    """Cut a sheet in two, the first part filling the room; None where too little would stand on either side."""
    column_pt = width_pt * COLUMN_SHARE
    used = _top(sheet, column_pt) + _tail(sheet, column_pt)
    count = 0
    for row in _texts(sheet):
        used += _row(row, sheet.shares, column_pt, _gap(sheet))
        if used > room_pt:
            break
        count += 1
    least = 1 if must else LEAST_ROWS_CUT
    if not must:
        count = min(count, len(sheet.rows) - least)
    if count < least:
        return None
    count -= count % 5 if count > 2 * LEAST_ROWS_CUT else 0
    title = sheet.title if sheet.title.endswith(", continued") else f"{sheet.title}, continued"
    first, rest = sheet.rows[:count], sheet.rows[count:]
    return (
        replace(sheet, rows=first, notes=_used(sheet, first)),
        replace(sheet, title=title, about="", rows=rest, notes=_used(sheet, rest)),
    )


def _used(sheet: Sheet, rows: tuple[tuple[Cell, ...], ...]) -> tuple[tuple[str, str], ...]:
    """Give the notes whose letters stand in some of a sheet's rows."""
    letters = {letter for row in rows for letter in row[-1].mark.split(",")}
    return tuple(note for note in sheet.notes if note[0] in letters)


def _texts(sheet: Sheet) -> list[tuple[str, ...]]:
    return [tuple(f"{cell.text}{' ' if len(cell.mark) > 1 else ''}{cell.mark}" for cell in row) for row in sheet.rows]


def _tail(sheet: Sheet, column_pt: float) -> float:
    notes = " ".join(f"{letter} {text}.   " for letter, text in sheet.notes)
    return TAIL_PT + (NOTE_PT * lines_of(notes, column_pt - 8, TYPE_PT) + 3 if notes else 0.0)


def _top(sheet: Sheet, column_pt: float) -> float:
    about = NOTE_PT * lines_of(sheet.about, column_pt - 3, TYPE_PT) + 2 if sheet.about else 0.0
    title_lines = lines_of(f"{sheet.title} {sheet.unit}", column_pt, TITLE_PT * 1.06)
    return HEAD_PT * title_lines + about + (THEAD_PT if sheet.has_head else 0.0)


def _gap(sheet: Sheet) -> float:
    return MARKED_GAP_PT if sheet.is_marked else CELL_GAP_PT


def _row(row: tuple[str, ...], shares: tuple[float, ...], column_pt: float, gap_pt: float) -> float:
    """Give the height of a row; one without a value has its words over the columns from the third on."""
    shares = shares if len(row) == len(shares) else (*shares[:2], sum(shares[2:]))
    most = max(
        lines_of(text, share * column_pt - (gap_pt if number == len(row) - 1 else SEASON_GAP_PT), TYPE_PT)
        for number, (text, share) in enumerate(zip(row, shares, strict=True))
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
