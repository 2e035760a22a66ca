"""Forms as one workbook: a sheet for each kind, with help, choices and checks, ready to fill in or to print.

The same kinds, units and book give the same bytes.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from typing import TYPE_CHECKING, Any

from vinebook.exchange.forms import accepted, must_be_filled
from vinebook.kinds.form import LISTS_SHEET, READ_ME_SHEET, heading, tally_fields
from vinebook.quantities import STORED_PER_BASE, UNITS_OF_DIMENSION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.worksheet.datavalidation import DataValidation
    from openpyxl.worksheet.worksheet import Worksheet

    from vinebook.kinds.field import Field, Kind

LISTED = ("vineyard", "block", "consignee")
"""Kinds whose records a form offers to choose from, where a book is open."""
CHECKED_ROWS = 5_000
"""Rows below the headings that check what is typed."""
RULED_ROWS = 24
"""Rows that are ruled, so that an empty form can be printed and filled in by hand."""
SPARE_ROWS = 6
"""Ruled rows below those that are filled in already."""
WIDTH_OF_PAPER = 140
"""Signs of a line on a sheet of paper that is printed without being made smaller."""
LONGEST_INLINE_LIST = 250
"""Signs of a list of choices that stands in its check; a longer one goes to the sheet of lists."""
FIXED = "2000-01-01T00:00:00Z"
_ZIP_DAY = (2000, 1, 1, 0, 0, 0)
_DARK, _PALE, _LINE = "FF404040", "FFE8E8E8", "FFB0B0B0"
_PLAIN_NUMBER = re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,6})?")
_TEXT_TYPES = ("code", "text", "ref", "counts", "contacts", "choice", "position")
_FORMATS = {"date": "yyyy-mm-dd", "count": "0", "season": "0"}
_WIDTHS = {"date": 12, "text": 28, "ref": 12, "code": 12, "choice": 14}
_READ_ME = (
    ("#", "Forms of vinebook"),
    ("", "Each sheet behind this one is a form for one kind of record. One row is one of what the table below says."),
    ("", "Fill in the sheets that you need, leave the others empty, save, and load the file:"),
    ("", "        vinebook load FILE.xlsx"),
    ("#", "What goes into the cells"),
    ("", "White on dark headings with a star must be filled; the pale ones may stay empty."),
    ("", "Rest the mouse on a heading: a note says what goes below it."),
    ("", "Units stand in brackets in the heading, such as [kg]. A single cell may carry its own: 2.4 lb."),
    ("", "You may change the unit of a whole column in its heading, to [lb] say."),
    ("", "Dates are dates of the spreadsheet program, or text written year-month-day: 2024-06-12."),
    ("", "A season is the calendar year of its harvest, in both hemispheres. Left empty it follows from the date."),
    (
        "",
        "Cells that offer a list take only what is on it. A block that is not on its list is taken, after a question,",
    ),
    ("", "if it stands on the sheet of blocks or is in the book."),
    ("", "Vines or lots that were counted together make one sample: give them the same block, date, how they were"),
    ("", "chosen and who counted. Missing and young vines that were drawn are written down, with their state."),
    ("#", "What not to do"),
    ("", "Do not merge cells, put titles or sums above, below or beside the rows, or hide what is filled in."),
    ("", "Do not rename headings. Columns may stand in any order, and those without a star may be deleted."),
    (
        "",
        "Do not type thousands separators or percent signs. Leave empty what was not counted; 0 is a count.",
    ),
    ("", "Formulas are read by the values that they show. Copy values over them if you can."),
    ("", "Do not save as .xls or .ods, with macros or with a password: those are refused by name."),
    ("", "Whoever works in the rows keeps to the law and to the label of what was sprayed: no one enters a treated"),
    ("", "block before the re-entry interval has passed. The forms hold no sprays and cannot say when that is."),
)


def form_workbook(
    kinds: Sequence[Kind],
    units: str = "metric",
    lists: Mapping[str, Sequence[str]] | None = None,
    rows: Mapping[str, Sequence[Mapping[str, str]]] | None = None,
) -> bytes:
    """Give the forms of kinds as one XLSX workbook: headings, and what of their rows is known already.

    Parameters
    ----------
    kinds : kinds that have a tally, in the order of their sheets.
    units : "metric" or "us".
    lists : keys to choose from, by kind of record (`LISTED`).
    rows : by kind the texts by field of rows that are to be filled in, such as the vines of a draw.
    """
    from openpyxl import Workbook

    book = Workbook()
    first = book.active
    first.title = READ_ME_SHEET
    _explain(first, kinds, units)
    given = _Lists(lists or {})
    for kind in kinds:
        _Sheet(book.create_sheet(kind.name), kind, units, given, (rows or {}).get(kind.name, ())).write()
    given.write(book)
    book.properties.creator = book.properties.lastModifiedBy = "vinebook"
    page = io.BytesIO()
    book.save(page)
    return _with_fixed_times(page.getvalue())


def _with_fixed_times(data: bytes) -> bytes:
    """Give a workbook whose parts and properties carry one fixed day, so that equal forms are equal bytes."""
    page = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as made, zipfile.ZipFile(page, "w", zipfile.ZIP_DEFLATED) as fixed:
        for name in made.namelist():
            part = made.read(name)
            if name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", FIXED.encode(), part)
            entry = zipfile.ZipInfo(name, _ZIP_DAY)
            entry.compress_type = zipfile.ZIP_DEFLATED
            fixed.writestr(entry, part)
    return page.getvalue()


def _explain(sheet: Worksheet, kinds: Sequence[Kind], units: str) -> None:
    from openpyxl.styles import Alignment

    sheet.sheet_view.showGridLines = False
    sheet.column_dimensions["A"].width = 24
    sheet.column_dimensions["B"].width = 92
    at = 1
    for mark, words in _READ_ME:
        cell = sheet.cell(at, 1, words)
        if mark:
            cell.font = _font(bold=True, size=14 if at == 1 else 12)
            sheet.row_dimensions[at].height = 26
            cell.alignment = Alignment(vertical="bottom")
        at += 1
    sheet.cell(at, 1, "The sheets").font = _font(bold=True, size=12)
    sheet.row_dimensions[at].height = 26
    for kind in kinds:
        at += 1
        name = sheet.cell(at, 1, kind.name)
        name.hyperlink = f"#'{kind.name}'!A2"
        name.font = _font(underline="single")
        name.alignment = Alignment(vertical="top")
        words = sheet.cell(at, 2, f"One row is {kind.one_row}.")
        words.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.row_dimensions[at].height = 15 * (1 + len(words.value) // 95)
    _to_print(sheet, units, landscape=False)


def _font(*, size: int = 11, **given: Any) -> Font:  # noqa: ANN401 - openpyxl's own
    from openpyxl.styles import Font

    return Font(name="Calibri", size=size, **given)


def _to_print(sheet: Worksheet, units: str, *, landscape: bool) -> None:
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_LETTER if units == "us" else sheet.PAPERSIZE_A4
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    for side in ("left", "right"):
        setattr(sheet.page_margins, side, 0.4)
    sheet.page_margins.top, sheet.page_margins.bottom = 0.8, 0.7
    sheet.page_margins.header, sheet.page_margins.footer = 0.4, 0.35
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "page &P of &N"


class _Lists:
    """The sheet of lists that cells offer."""

    def __init__(self, keys: Mapping[str, Sequence[str]]) -> None:
        self._columns: dict[str, list[str]] = {}
        self._keys = keys

    def of_records(self, kind: str) -> str:
        """Give where the keys of a kind stand, or "" where there are none."""
        keys = [key for key in self._keys.get(kind, ()) if key]
        return self._place(kind, keys) if keys else ""

    def of_choices(self, field: Field) -> str:
        """Give the choices of a field: the words themselves, or where they stand."""
        words = ",".join(field.choices)
        if len(words) <= LONGEST_INLINE_LIST:
            return f'"{words}"'
        return self._place(field.name, list(field.choices))

    def _place(self, name: str, words: list[str]) -> str:
        from openpyxl.utils import get_column_letter

        if self._columns.setdefault(name, words) != words:
            name = f"{name} {len(self._columns)}"
            self._columns[name] = words
        letter = get_column_letter(list(self._columns).index(name) + 1)
        return f"{LISTS_SHEET}!${letter}$2:${letter}${len(words) + 1}"

    def write(self, book: Workbook) -> None:
        """Write the sheet, if there is anything to list; it is hidden, as nothing is filled in there."""
        if not self._columns:
            return
        sheet = book.create_sheet(LISTS_SHEET)
        for at, (name, words) in enumerate(self._columns.items(), 1):
            for row, word in enumerate((name, *words), 1):
                cell = sheet.cell(row, at, word)
                cell.number_format = "@"
                cell.data_type = "s"
        sheet.sheet_state = "hidden"


class _Sheet:
    """The form of one kind."""

    def __init__(
        self, sheet: Worksheet, kind: Kind, units: str, lists: _Lists, rows: Sequence[Mapping[str, str]]
    ) -> None:
        self._sheet = sheet
        self._rows = rows
        # A few rows are left for what was not foreseen.
        self._last_ruled = 1 + (len(rows) + SPARE_ROWS if rows else RULED_ROWS)
        self._kind = kind
        self._units = units
        self._lists = lists

    def write(self) -> None:
        """Write headings, notes, checks and rules."""
        from openpyxl.styles import Border, Side
        from openpyxl.utils import get_column_letter

        sheet = self._sheet
        thin = Side(style="thin", color=_LINE)
        self._ruled = Border(left=thin, right=thin, top=thin, bottom=thin)
        needed = must_be_filled(self._kind)
        fields = tally_fields(self._kind)
        lines = 1
        for at, field in enumerate(fields, 1):
            lines = max(lines, self._write_heading(at, field, must=field.name in needed))
            letter = get_column_letter(at)
            self._format(letter, at, field)
            check = self._check(field, f"{letter}2:{letter}{CHECKED_ROWS + 1}")
            if check is not None:
                sheet.add_data_validation(check)
        sheet.row_dimensions[1].height = 15 * lines + 4
        last = get_column_letter(len(fields))
        sheet.freeze_panes = "A2"
        _to_print(sheet, self._units, landscape=True)
        sheet.print_title_rows = "1:1"
        sheet.print_area = f"A1:{last}{self._last_ruled}"
        sheet.print_options.gridLines = True
        sheet.oddHeader.left.text = f"{self._kind.name}: one row is {self._kind.one_row}".replace("&", "&&")
        # A wide sheet is printed smaller, so its rows are made higher.
        wide = sum(map(self._width, fields)) / WIDTH_OF_PAPER
        for row in range(2, self._last_ruled + 1):
            sheet.row_dimensions[row].height = 18 * max(1.0, wide)

    def _write_heading(self, at: int, field: Field, *, must: bool) -> int:
        """Write a heading and its note, and give how many lines it takes."""
        from openpyxl.comments import Comment
        from openpyxl.styles import Alignment, PatternFill

        words = heading(field, self._units).replace("_", " ") + (" *" if must else "")
        cell = self._sheet.cell(1, at, words)
        cell.font = _font(bold=True, color="FFFFFFFF" if must else "FF000000")
        cell.fill = PatternFill("solid", fgColor=_DARK if must else _PALE)
        cell.alignment = Alignment(wrap_text=True, vertical="center", horizontal="center")
        cell.border = self._ruled
        note = self._note(field, must=must)
        cell.comment = Comment(note, "vinebook", width=320, height=24 + 18 * (1 + len(note) // 42 + note.count("\n")))
        return _lines(words, self._width(field))

    def _note(self, field: Field, *, must: bool) -> str:
        default = f"Empty: {field.default}." if field.default not in (None, "0", "all") else ""
        parts = (field.help, f"Goes in: {accepted(field)}.", default, "Must be filled." if must else "")
        return "\n".join(part for part in parts if part)

    def _width(self, field: Field) -> int:
        words = heading(field, self._units).replace("_", " ").split()
        return max(_WIDTHS.get(field.type, 8), max(map(len, words)) + 2)

    def _format(self, letter: str, at: int, field: Field) -> None:
        style = _FORMATS.get(field.type, "@" if field.type in _TEXT_TYPES else "General")
        column = self._sheet.column_dimensions[letter]
        column.width = self._width(field)
        column.number_format = style
        for row in range(2, self._last_ruled + 1):
            cell = self._sheet.cell(row, at)
            cell.border = self._ruled
            if row - 2 < len(self._rows) and (text := self._rows[row - 2].get(field.name, "")):
                cell.value = _cell_value(field, text)
                if isinstance(cell.value, str):
                    # A name that begins with = is a name.
                    cell.data_type = "s"
            cell.number_format = style

    def _check(self, field: Field, cells: str) -> DataValidation | None:
        """Give what a spreadsheet program checks below a heading."""
        from openpyxl.worksheet.datavalidation import DataValidation

        given: dict[str, Any] = {}
        match field.type:
            case "choice":
                given = {"type": "list", "formula1": self._lists.of_choices(field)}
            case "ref" if field.refers in LISTED and (place := self._lists.of_records(field.refers)):
                # One that is not on the list may stand on another sheet.
                given = {"type": "list", "formula1": place, "errorStyle": "warning"}
            case "date":
                given = {
                    "type": "date",
                    "operator": "between",
                    "formula1": "DATE(1950,1,1)",
                    "formula2": "DATE(2199,12,31)",
                }
            case "season":
                given = {"type": "whole", "operator": "between", "formula1": "1800", "formula2": "2200"}
            case "count" | "number" | "measure" | "ticket":
                given = self._bounds(field)
        if not given:
            return None
        check = DataValidation(allow_blank=True, showErrorMessage=True, **given)
        check.errorTitle = field.name
        check.error = f"{accepted(field)}. {field.help}"[:250]
        if given.get("errorStyle") == "warning":
            check.error = f"The book holds no {field.refers} of that name. Is it on the sheet {field.refers}?"
        check.add(cells)
        return check

    def _bounds(self, field: Field) -> dict[str, Any]:
        low, high = (self._shown(field, bound) for bound in (field.low, field.high))
        kind = "whole" if field.type == "count" else "decimal"
        if low is not None and high is not None:
            return {"type": kind, "operator": "between", "formula1": low, "formula2": high}
        if low is not None:
            return {"type": kind, "operator": "greaterThanOrEqual", "formula1": low}
        if high is not None:
            return {"type": kind, "operator": "lessThanOrEqual", "formula1": high}
        return {"type": kind, "operator": "between", "formula1": "-1000000000", "formula2": "1000000000"}

    def _shown(self, field: Field, bound: float | None) -> str | None:
        """Give a bound in the unit of the heading."""
        if bound is None:
            return None
        if field.type == "measure":
            unit = field.us if self._units == "us" else field.metric
            stored = STORED_PER_BASE.get(field.stored, 1)
            bound = bound / float(stored) / float(UNITS_OF_DIMENSION[field.dimension][unit])
        return f"{bound:.10g}"


def _cell_value(field: Field, text: str) -> str | float | dt.date:
    """Give the text of a row to be filled in as a spreadsheet program keeps it."""
    if field.type in ("number", "measure") and _PLAIN_NUMBER.fullmatch(text):
        return float(text)
    if field.type in ("count", "season"):
        # Spreadsheet programs keep 15 digits of a number.
        return int(text) if len(text) <= 15 else text
    return dt.date.fromisoformat(text) if field.type == "date" else text


def _lines(words: str, width: int) -> int:
    """Give how many lines words take in a column of a width."""
    lines, room = 1, width
    for word in words.split():
        if len(word) > room and room < width:
            lines, room = lines + 1, width
        room -= len(word) + 1
    return lines
