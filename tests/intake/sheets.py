"""Workbooks for tests: made by openpyxl, and patched below the level that it writes."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from openpyxl.worksheet.worksheet import Worksheet

KEPT = Path(__file__).parent / "workbooks"
COUNTS = ("block", "date", "chosen", "counted_by", "row", "vine", "clusters")
FIRST_SHEET = "xl/worksheets/sheet1.xml"


def count(vine: int, clusters: object, date: object = "2022-12-05") -> tuple[object, ...]:
    """Give a row of a cluster tally."""
    return ("A1", date, "random", "KL", 1, vine, clusters)


def saved(book: Workbook) -> bytes:
    """Give the bytes of a workbook."""
    page = io.BytesIO()
    book.save(page)
    return page.getvalue()


def workbook(sheets: Mapping[str, Sequence[Sequence[object]]], edit: Callable[[Worksheet], Any] | None = None) -> bytes:
    """Give a workbook of sheets by name, the last of them edited."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
        if edit is not None and name == list(sheets)[-1]:
            edit(sheet)
    return saved(book)


def counts(*rows: Sequence[object], edit: Callable[[Worksheet], Any] | None = None, sheet: str = "Counts") -> bytes:
    """Give a workbook with one cluster tally."""
    return workbook({sheet: [COUNTS, *(rows or (count(1, 31), count(2, 27)))]}, edit)


def patched(data: bytes, part: str, change: Callable[[bytes], bytes | None], **more: bytes) -> bytes:
    """Give a workbook with one part changed, or left out where the change gives None, and more parts beside it."""
    page = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as whole, zipfile.ZipFile(page, "w", zipfile.ZIP_DEFLATED) as made:
        for name in whole.namelist():
            content: bytes | None = whole.read(name)
            if name == part and content is not None:
                content = change(content)
            if content is not None:
                made.writestr(name, content)
        for name, content in more.items():
            made.writestr(name, content)
    return page.getvalue()
