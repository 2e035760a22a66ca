"""The rows of a package's tables, page by page, every cell read strictly; a fault is told by file, line and column."""

from __future__ import annotations

import csv
import io
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import repeat
from typing import TYPE_CHECKING, Any

from vinebook.exchange.package_cells import CellError, read_cell, reader_of

if TYPE_CHECKING:
    import hashlib
    from collections.abc import Iterator
    from typing import BinaryIO

    from sqlalchemy import Table

    from vinebook.exchange.package_folder import Disagreements

PAGE_BYTES = 1 << 18
LONGEST_ROW_BYTES = 64 << 20
"""A row that is longer is none; it bounds what a hostile file can cost."""


class UnreadableError(Exception):
    """The rest of a file cannot be read; what is wrong has been told."""


@dataclass(slots=True)
class Page:
    """Some rows of a table, whole.

    Attributes
    ----------
    line : of the first line of the text in the file.
    text : as it stands there.
    has_headings : whether the text begins with the headings.
    columns : values by column, once they are read.
    """

    line: int
    text: str
    has_headings: bool
    columns: list[list[Any]]

    def lines(self) -> list[int]:
        """Give the line at which each row begins."""
        reader = csv.reader(io.StringIO(self.text, newline=""), strict=True)
        lines, at = [], 0
        for _ in reader:
            lines.append(self.line + at)
            at = reader.line_num
        return lines[1:] if self.has_headings else lines


@contextmanager
def long_cells() -> Iterator[None]:
    """Let cells be as long as a row may be: what an entry of the journal says may be long."""
    before = csv.field_size_limit(LONGEST_ROW_BYTES)
    try:
        yield
    finally:
        csv.field_size_limit(before)


def pages_of(stream: BinaryIO, digest: hashlib._Hash, table: Table, place: str, wrong: Disagreements) -> Iterator[Page]:
    """Give the rows of a table's file.

    Parameters
    ----------
    stream : the file, at its beginning.
    digest : takes every byte of the file.
    table : that it holds.
    place : how a finding names the file.
    wrong : takes what is wrong; rows with a fault are left out with their page.

    Raises
    ------
    UnreadableError : the rest of the file cannot be read; what is wrong has been told.
    """
    headings = [column.name for column in table.columns]
    readers = [reader_of(column) for column in table.columns]
    must = [not column.nullable for column in table.columns]
    is_first = True
    for line, data in _cut(stream, digest, place, wrong):
        text = _decoded(data, line, place, wrong)
        page = Page(line, text, is_first, [])
        cells = _plain_columns(text, len(headings)) or _columns(_parsed(page, place, wrong), len(headings))
        if is_first:
            is_first = False
            _check_headings(page, headings, place, wrong)
            cells = [column[1:] for column in cells]
        if cells and not cells[0]:
            continue
        if cells and "\0" not in text:
            try:
                page.columns = [read(column) for read, column in zip(readers, cells, strict=True)]
                if not any(needed and None in column for needed, column in zip(must, page.columns, strict=True)):
                    yield page
                    continue
            except (ValueError, OverflowError):
                pass
        _tell(page, table, place, wrong)
    if is_first:
        wrong.add(place, 1, "", "the file is empty", ",".join(headings))


def _cut(stream: BinaryIO, digest: hashlib._Hash, place: str, wrong: Disagreements) -> Iterator[tuple[int, bytes]]:
    """Give pieces of the file that end where a row ends: an even number of quotes stands in them."""
    held, line = b"", 1
    while True:
        some = stream.read(PAGE_BYTES)
        digest.update(some)
        held += some
        cut = held.rfind(b"\n") + 1 if some else len(held)
        if some and (not cut or held.count(b'"', 0, cut) % 2):
            if len(held) > LONGEST_ROW_BYTES:
                wrong.add(
                    place, line, "", "a row or a quoted cell does not end", f"at most {LONGEST_ROW_BYTES:,} bytes"
                )
                raise UnreadableError
            continue
        if cut:
            yield line, held[:cut]
        line += held.count(b"\n", 0, cut)
        held = held[cut:]
        if not some:
            return


def _decoded(data: bytes, line: int, place: str, wrong: Disagreements) -> str:
    try:
        return data.decode()
    except UnicodeDecodeError as trouble:
        at = line + data.count(b"\n", 0, trouble.start)
        wrong.add(place, at, "", f"byte {data[trouble.start]:#04x} is not UTF-8", "UTF-8 text")
        raise UnreadableError from trouble


def _check_headings(page: Page, headings: list[str], place: str, wrong: Disagreements) -> None:
    if page.text.startswith(",".join(headings) + "\r\n"):
        return
    rows = _parsed(page, place, wrong)
    if rows[:1] != [headings]:
        found = ",".join(rows[0]) if rows else ""
        wrong.add(place, 1, "", f"the headings are {found[:200]!r}", ",".join(headings))
        raise UnreadableError


def _plain_columns(text: str, width: int) -> list[list[str]]:
    """Give the cells by column where each line is a row without quotes, as nearly all are; none where that is not so.

    What `csv` would give, without a list for every row.
    """
    plain = text.replace("\r\n", "\n")
    if any(odd in plain for odd in '"\r\0') or not plain.endswith("\n"):
        return []
    if set(map(str.count, plain[:-1].split("\n"), repeat(","))) != {width - 1}:
        return []
    cells = plain[:-1].replace("\n", ",").split(",")
    return [cells[at::width] for at in range(width)]


def _columns(rows: list[list[str]], width: int) -> list[list[str]]:
    """Give the cells of parsed rows by column; none where a row has too few or too many."""
    return list(map(list, zip(*rows, strict=True))) if set(map(len, rows)) == {width} else []


def _parsed(page: Page, place: str, wrong: Disagreements) -> list[list[str]]:
    reader = csv.reader(io.StringIO(page.text, newline=""), strict=True)
    try:
        return list(reader)
    except csv.Error as trouble:
        at = page.line + reader.line_num - 1
        wrong.add(place, at, "", f"cannot be read as CSV: {trouble}", "commas and double quotes")
        raise UnreadableError from trouble


def _tell(page: Page, table: Table, place: str, wrong: Disagreements) -> None:
    """Tell every fault of a page that has one."""
    rows = _parsed(page, place, wrong)[1 if page.has_headings else 0 :]
    columns = list(table.columns)
    for line, row in zip(page.lines(), rows, strict=True):
        if len(row) != len(columns):
            wrong.add(place, line, "", f"has {len(row)} cell{'' if len(row) == 1 else 's'}", f"{len(columns)} cells")
            continue
        for column, cell in zip(columns, row, strict=True):
            if "\0" in cell:
                wrong.add(place, line, column.name, "holds a NUL", "text without one")
                continue
            try:
                read_cell(column, cell)
            except CellError as trouble:
                wrong.add(place, line, column.name, trouble.what, trouble.expected)
