"""What a sheet holds that the reader of workbooks does not tell: formulas, errors, formats, what is hidden or merged.

Every sheet is looked over as bytes while it is unpacked, which is quick. Where that meets a sign of anything out of the
ordinary, or XML that is written in an unusual way, the sheet is read once more tag by tag.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from operator import ge
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_CELLS = 10_000_000
"""Cells of the rectangle that a sheet's cells span; the reader holds them all, at about 40 bytes each."""
MOST_ODD_CELLS = 1_000_000
LONGEST_TAG = 1 << 20
FARTHEST_ROW, FARTHEST_COLUMN = 1 << 20, 1 << 14
QUICK_COLUMNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
COLUMNS_OF_A_STEP = 3
# Nothing here is possessive: Python before 3.11.5 takes a possessive group that it should have refused.
_ROW = (
    rb'<row r="([1-9][0-9]{0,6})"'
    rb"(?: (?:spans|s|customFormat|ht|customHeight|outlineLevel|collapsed|thickTop|thickBot|ph|x14ac:dyDescent)"
    rb'="[^"<>]*"| hidden="(?:0|false)")*'
)
# What is met most often is tried first.
_VALUE = rb'(?:><v>[^<]*</v></c>|/>|><is><t(?: xml:space="preserve")?>[^<]*</t></is></c>|></c>)'
_TYPE = rb'(?: t="(?:n|s|b|str|inlineStr)")?'
_UNUSUAL = re.compile(
    rb"<(?:[^\s<>/]*:)?(?:c|row|mergeCell)[\s/>]"
    rb"|hidden\s*=\s*(?!\"(?:0|false)\"|'(?:0|false)')"
    rb"|<!"
)
"""Beside plain rows: cells, rows that are written otherwise, merged cells, what is hidden, comments."""
_ROW_END = b"</row>"
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


class WorkbookRefusedError(Exception):
    """A workbook, or one sheet of it, is refused as a whole.

    Attributes
    ----------
    what, expected : as in a finding.
    """

    def __init__(self, what: str, expected: str) -> None:
        super().__init__(what)
        self.what = what
        self.expected = expected


def letters_of(column: int) -> str:
    """Give the letters of a column that is counted from 0: A, B, …, Z, AA."""
    letters, rest = "", column + 1
    while rest:
        rest, letter = divmod(rest - 1, 26)
        letters = chr(65 + letter) + letters
    return letters


def column_of(letters: str) -> int:
    """Give the column, counted from 0, of its letters."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


@dataclass(slots=True)
class SheetScan:
    """What was seen in a sheet. Rows count from 1 as a spreadsheet program shows them, columns from 0.

    Attributes
    ----------
    needs_care : True once the quick look met anything that it cannot tell of.
    formulas, first_formula : how many there are, and the cell of the first.
    odd : by row and column: "percent", "uncached" (a formula without a value), or "error" and its name.
    hidden_rows, hidden_columns : those that hold something.
    merged : ranges of merged cells.
    """

    needs_care: bool = False
    formulas: int = 0
    first_formula: str = ""
    odd: dict[int, dict[int, str]] = field(default_factory=dict)
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[int] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)


class QuickLook:
    """Looks over the bytes of a sheet as they are unpacked.

    Rows of plain cells, written as spreadsheet programs write them, are passed over; what is left must hold none.

    Attributes
    ----------
    needs_care : True once it met anything that it cannot tell of.
    """

    def __init__(self, percent_styles: frozenset[str]) -> None:
        self._rows = _plain_rows(percent_styles)
        self._rest = b""
        self._last_row = 0
        self.needs_care = False

    def take(self, data: bytes) -> None:
        """Look over some more bytes.

        Raises
        ------
        WorkbookRefusedError : a tag without an end, or a document type.
        """
        data = self._rest + data
        end = data.rfind(b">") + 1
        if len(data) - end > LONGEST_TAG:
            raise damaged("a tag or text has no end")
        # A row is looked at whole.
        end = data.rfind(_ROW_END, 0, end) + len(_ROW_END) if _ROW_END in data else end
        self._rest = data[end:]
        self._look(data[:end])

    def close(self) -> None:
        """Look over what is left.

        Raises
        ------
        WorkbookRefusedError : a document type.
        """
        self._look(self._rest)
        self._rest = b""

    def _look(self, data: bytes) -> None:
        if self.needs_care:
            refuse_document_type(data)
            return
        parts = self._rows.split(data)
        rows = list(map(int, parts[1::2]))
        beside = b" ".join(filter(None, parts[::2]))
        refuse_document_type(beside)
        if _UNUSUAL.search(beside):
            self.needs_care = True
        elif rows:
            # A row that stands twice would be read in another's place.
            if rows[0] <= self._last_row or any(map(ge, rows, rows[1:])):
                self.needs_care = True
            self._last_row = rows[-1]
            if self._last_row * len(QUICK_COLUMNS) > MOST_CELLS:
                self.needs_care = True


def _plain_rows(percent_styles: frozenset[str]) -> re.Pattern[bytes]:
    """Give what matches a row of plain cells, each in its row and in the order of their columns."""
    percent = "|".join(sorted(percent_styles)).encode() or rb"-"
    look = rb'(?: s="(?!(?:' + percent + rb')")(?:0|[1-9][0-9]{0,4})")?' + _TYPE + _VALUE
    cells = [rb'(?:<c r="' + letter.encode() + rb'\1"' + look + rb")?" for letter in QUICK_COLUMNS]
    rest = _ROW_END
    for at in reversed(range(0, len(cells), COLUMNS_OF_A_STEP)):
        # Most rows end long before the last letter.
        rest = b"".join(cells[at : at + COLUMNS_OF_A_STEP]) + rb"(?:" + _ROW_END + rb"|" + rest + rb")"
    return re.compile(_ROW + rb"(?:>" + rest + rb"|/>)")


def refuse_document_type(data: bytes) -> None:
    """Refuse XML that declares a document type or entities.

    Raises
    ------
    WorkbookRefusedError : it does.
    """
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise WorkbookRefusedError("holds a document type or entities, which no spreadsheet program writes", SAVE_ANEW)


SAVE_ANEW = "an .xlsx workbook: open it in a spreadsheet program and save it anew"


def damaged(why: str) -> WorkbookRefusedError:
    """Give the refusal of a damaged workbook."""
    return WorkbookRefusedError(f"is a damaged workbook: {why}", SAVE_ANEW)


class _CarefulLook:
    """Takes a sheet's tags one by one."""

    def __init__(self, percent_styles: frozenset[str]) -> None:
        self.scan = SheetScan(needs_care=True)
        self._percent = percent_styles
        self._row, self._column = 0, -1
        self._is_row_hidden = False
        self._hidden_columns: list[tuple[int, int]] = []
        self._met_hidden: set[int] = set()
        self._type = self._style = self._inside = ""
        self._text: list[str] = []
        self._has_formula = False
        self._box: list[int] = []
        self._last = (0, -1)
        self._odd = 0

    def start(self, tag: str, given: dict[str, str]) -> None:
        """Take the beginning of an element."""
        match tag.rpartition("}")[2]:
            case "row":
                self._row = _number(given.get("r"), self._row + 1, FARTHEST_ROW)
                self._column = -1
                self._is_row_hidden = _is_true(given.get("hidden"))
            case "c":
                self._begin_cell(given)
            case "f":
                self._has_formula = True
                self._inside = ""
            case "v" | "t":
                self._inside = "v"
            case "rPh":
                self._inside = ""
            case "col":
                if _is_true(given.get("hidden")):
                    first = _number(given.get("min"), 1, FARTHEST_COLUMN)
                    self._hidden_columns.append((first - 1, _number(given.get("max"), first, FARTHEST_COLUMN) - 1))
            case "mergeCell":
                self.scan.merged.append(given.get("ref", "")[:20])

    def _begin_cell(self, given: dict[str, str]) -> None:
        place = given.get("r")
        if place is None:
            self._row, self._column = max(self._row, 1), self._column + 1
        else:
            parts = _REFERENCE.fullmatch(place)
            if parts is None:
                raise damaged(f"a cell is called {place[:20]!r}")
            self._row = _number(parts[2], 0, FARTHEST_ROW)
            self._column = column_of(parts[1])
        if (self._row, self._column) <= self._last or self._column >= FARTHEST_COLUMN:
            raise damaged(f"cell {letters_of(self._column)}{self._row} stands twice or out of order")
        self._last = self._row, self._column
        self._type, self._style = given.get("t", ""), given.get("s", "")
        self._has_formula = False
        self._text = []

    def data(self, text: str) -> None:
        """Take text."""
        if self._inside:
            self._text.append(text)

    def end(self, tag: str) -> None:
        """Take the end of an element."""
        local = tag.rpartition("}")[2]
        if local in ("v", "t", "f"):
            self._inside = ""
        elif local == "c":
            self._end_cell("".join(self._text))

    def _end_cell(self, text: str) -> None:
        if not text and not self._has_formula:
            return
        row, column = self._row, self._column
        if self._has_formula:
            self.scan.formulas += 1
            self.scan.first_formula = self.scan.first_formula or f"{letters_of(column)}{row}"
        if self._type == "e":
            self._mark(row, column, f"error {text.strip()[:20]}")
        elif self._has_formula and not text and self._type != "str":
            self._mark(row, column, "uncached")
        elif self._style in self._percent and self._type in ("", "n"):
            self._mark(row, column, "percent")
        if self._is_row_hidden and (not self.scan.hidden_rows or self.scan.hidden_rows[-1] != row):
            self.scan.hidden_rows.append(row)
        if self._hidden_columns and any(first <= column <= last for first, last in self._hidden_columns):
            self._met_hidden.add(column)
        box = self._box or [row, row, column, column]
        self._box = [min(box[0], row), max(box[1], row), min(box[2], column), max(box[3], column)]

    def _mark(self, row: int, column: int, what: str) -> None:
        self._odd += 1
        if self._odd > MOST_ODD_CELLS:
            words = f"has more than {MOST_ODD_CELLS:,} cells that are errors, percentages or formulas without a value"
            raise WorkbookRefusedError(words, "plain numbers")
        self.scan.odd.setdefault(row, {})[column] = what

    def close(self) -> SheetScan:
        """Give what was seen."""
        self.scan.hidden_columns = sorted(self._met_hidden)
        if self._box:
            first, last, left, right = self._box
            # The reader of workbooks counts rows from the first of the sheet.
            cells = last * (right - left + 1)
            if cells > MOST_CELLS:
                raise WorkbookRefusedError(
                    f"spans {cells:,} cells, from {letters_of(left)}{first} to {letters_of(right)}{last}",
                    f"at most {MOST_CELLS:,}: delete what stands far from the rows, or save the sheet as CSV",
                )
        return self.scan


def _number(text: str | None, otherwise: int, most: int) -> int:
    if text is None:
        return otherwise
    if not re.fullmatch(r"[0-9]{1,7}", text) or not 1 <= int(text) <= most:
        raise damaged(f"a row or column is called {text[:20]!r}")
    return int(text)


def _is_true(text: str | None) -> bool:
    return text in ("1", "true")


def careful_look(parts: Iterable[bytes], percent_styles: frozenset[str]) -> SheetScan:
    """Read a sheet tag by tag; memory holds what is odd, never the sheet.

    Parameters
    ----------
    parts : its bytes.
    percent_styles : numbers of the cell formats that show percentages.

    Raises
    ------
    WorkbookRefusedError : the sheet is damaged, spans too much or is no XML.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import XMLParser

    parser = XMLParser(target=_CarefulLook(percent_styles), forbid_dtd=True)
    try:
        for part in parts:
            parser.feed(part)
        scan: SheetScan = parser.close()
    except (ParseError, DefusedXmlException, ValueError) as trouble:
        raise damaged(f"a sheet is no XML ({trouble})") from trouble
    return scan
