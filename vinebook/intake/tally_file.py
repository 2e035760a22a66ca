"""A tally as a file: its bytes, its encoding, its delimiter, its headings and the kind they belong to."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
import stat
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.errors import FileRefusedError, WordsError
from vinebook.intake.cells import SAVE_AS_UTF8
from vinebook.intake.headings import TallyColumn, columns_of, recognised_kind
from vinebook.kinds import LOADED_KINDS, MADE_KINDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from vinebook.intake.faults import Faults
    from vinebook.kinds.field import Kind

MAX_BYTES = 256 * 1024 * 1024
READ_BYTES = 1 << 20


class UnreadableError(Exception):
    """A file cannot be read beyond a line.

    Attributes
    ----------
    line, what, expected : as in a finding.
    """

    def __init__(self, line: int, what: str, expected: str) -> None:
        super().__init__(what)
        self.line = line
        self.what = what
        self.expected = expected


@dataclass(frozen=True, slots=True)
class PageColumns:
    """A page of rows as its columns, none of them cells beyond the headings.

    Attributes
    ----------
    columns : one for each column of the file.
    rows : how many rows there are.
    """

    columns: list[Sequence[str]]
    rows: int


@dataclass(slots=True)
class TallyFile:
    """A tally that can be read.

    Attributes
    ----------
    path, name : where it is, and its name as findings give it.
    size, sha256 : of its bytes.
    delimiter : comma or semicolon.
    kind : the kind of its rows.
    columns : one for each column of the file.
    blank_columns : columns behind them that have neither heading nor cells.
    sheet : name of the sheet of a workbook, or "".
    """

    path: Path
    name: str
    size: int
    sha256: str
    delimiter: str
    kind: Kind
    columns: tuple[TallyColumn, ...]
    blank_columns: int = 0
    sheet: str = ""

    def pages(
        self, rows: int, keep: Callable[[bytes], None]
    ) -> Iterator[tuple[int, list[list[str]] | PageColumns, bool]]:
        """Give pages of rows, each with the line of its first row and whether every row is one line.

        Every byte read goes to `keep`; one that is no UTF-8 stands escaped in its cell.

        Raises
        ------
        FileRefusedError : the bytes are no longer those that were hashed.
        UnreadableError : from some line on the file is no CSV; the rows before it were given.
        """
        with self.path.open("rb") as raw:
            tee = _Tee(raw, keep)
            held = io.BufferedReader(tee, READ_BYTES)
            text = io.TextIOWrapper(held, encoding="utf-8-sig", errors="surrogateescape", newline="")
            reader = csv.reader(text, delimiter=self.delimiter, strict=True)
            next(reader, None)
            line, trouble = reader.line_num + 1, None
            while trouble is None:
                page: list[list[str]] = []
                try:
                    page.extend(islice(reader, rows))
                except csv.Error as found:
                    # What was read before the trouble stands in the page.
                    trouble = found
                if page:
                    yield line, page, trouble is None and reader.line_num - line + 1 == len(page)
                elif trouble is None:
                    break
                line = reader.line_num + 1 if trouble is None else line + sum(map(lines_of, page))
            if trouble is not None:
                what = f"from here on the text is no CSV: {trouble}"
                raise UnreadableError(line, what, "cells parted by commas or semicolons, each quote closed")
            if tee.hash.hexdigest() != self.sha256:
                raise FileRefusedError(
                    f"{self.name} changed while it was read", "load it again when nobody writes to it"
                )


def lines_of(row: list[str]) -> int:
    """Give how many lines of the file a row takes."""
    return 1 + sum(cell.count("\n") or cell.count("\r") for cell in row)


class _Tee(io.RawIOBase):
    """Hands every byte that is read to a keeper, and hashes it."""

    def __init__(self, raw: io.BufferedReader, keep: Callable[[bytes], None]) -> None:
        super().__init__()
        self._raw = raw
        self._keep = keep
        self.hash = hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        data = self._raw.read(len(buffer))
        buffer[: len(data)] = data
        self.hash.update(data)
        if data:
            self._keep(data)
        return len(data)


def open_tally(
    path: str | Path, faults: Faults, *, kind: str | None = None, max_bytes: int = MAX_BYTES
) -> TallyFile | None:
    """Look at a file's bytes and headings; give None where findings say why it cannot be read.

    Parameters
    ----------
    path : the file.
    faults : where findings go.
    kind : name of the kind, where the headings fit more than one.
    max_bytes : largest size.

    Raises
    ------
    FileRefusedError : there is no such file, or it cannot be opened.
    WordsError : there is no such kind.
    """
    path = Path(path)
    name = told_name(path)
    if kind is not None and kind not in LOADED_KINDS and kind not in MADE_KINDS:
        raise WordsError(f"{kind!r} is not a kind of tally", f"one of: {', '.join(LOADED_KINDS)}")
    try:
        found = regular_file(path, name)
        if found.st_size > max_bytes:
            faults.add(name, 0, "", f"is {found.st_size:,} bytes", f"at most {max_bytes:,} (raise it with --max-size)")
            return None
        with path.open("rb") as raw:
            digest = hashlib.file_digest(raw, "sha256").hexdigest()
            raw.seek(0)
            head = raw.read(READ_BYTES)
    except OSError as trouble:
        raise FileRefusedError(
            f"{name} cannot be opened: {trouble.strerror or trouble}", "check its name and rights"
        ) from trouble
    line = _heading_line(name, head, faults)
    if line is None:
        return None
    delimiter = ";" if line.count(";") > line.count(",") else ","
    headings = _headings(name, line, delimiter, faults)
    if headings is None:
        return None
    in_file = len(headings)
    while not headings[-1].strip():
        headings.pop()
    recognised = recognised_kind(name, headings, faults, kind)
    if recognised is None:
        return None
    columns = columns_of(name, recognised, headings, faults)
    if columns is None:
        faults.unread.add(recognised.name)
        return None
    return TallyFile(path, name, found.st_size, digest, delimiter, recognised, columns, in_file - len(headings))


def regular_file(path: Path, name: str) -> os.stat_result:
    """Give what the system says of a file.

    Raises
    ------
    FileRefusedError : it is a folder, a pipe or a device.
    OSError : there is no such file.
    """
    found = path.stat()
    if not stat.S_ISREG(found.st_mode):
        raise FileRefusedError(f"{name} is not a file", "name the tally files one by one")
    return found


def told_name(path: Path) -> str:
    """Give a file's name as it can be kept and printed: what is no UTF-8 or does not print becomes a mark."""
    name = os.fsencode(path).decode("utf-8", "replace")
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in name)


def _heading_line(name: str, head: bytes, faults: Faults) -> str | None:
    if not head.strip():
        faults.add(name, 0, "", "is empty", "a row of headings and rows below it")
        return None
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.add(name, 0, "", "is UTF-16 text", SAVE_AS_UTF8)
        return None
    if b"\x00" in head:
        faults.add(name, 0, "", "is not text", "a CSV file of UTF-8 text")
        return None
    first = re.split(rb"\r\n|\n|\r", head, maxsplit=1)[0]
    try:
        line = first.decode("utf-8-sig")
    except UnicodeDecodeError:
        faults.add(name, 1, "", "is not UTF-8 text", SAVE_AS_UTF8)
        return None
    if not line.strip():
        faults.add(name, 1, "", "the first row is empty", "a row of headings")
        return None
    return line


def _headings(name: str, line: str, delimiter: str, faults: Faults) -> list[str] | None:
    if "\t" in line and delimiter not in line:
        faults.add(name, 1, "", "the headings are parted by tabs", "commas or semicolons: save it as CSV")
        return None
    try:
        headings = next(csv.reader([line], delimiter=delimiter, strict=True), [])
    except csv.Error as trouble:
        faults.add(name, 1, "", f"the headings cannot be read: {trouble}", "one line of headings")
        return None
    if not any(heading.strip() for heading in headings):
        faults.add(name, 1, "", "the first row holds no headings", "a row of headings")
        return None
    return headings
