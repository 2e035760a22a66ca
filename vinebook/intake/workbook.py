"""A tally in a workbook: each sheet of a kind is a tally of its own, read like a file of text."""

from __future__ import annotations

import hashlib
import re
import tempfile
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from vinebook.errors import FileRefusedError
from vinebook.intake.headings import bare_heading, columns_of, fitting_kinds, nearest_kind
from vinebook.intake.tally_file import (
    READ_BYTES,
    PageColumns,
    TallyFile,
    UnreadableError,
    open_tally,
    regular_file,
    told_name,
)
from vinebook.intake.workbook_cells import ColumnTexts
from vinebook.intake.workbook_parts import is_workbook_like, look_over
from vinebook.intake.workbook_scan import SAVE_ANEW, WorkbookRefusedError, letters_of
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.form import LISTS_SHEET, READ_ME_SHEET, tally_fields

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from contextlib import ExitStack

    from python_calamine import CalamineSheet, CalamineWorkbook

    from vinebook.intake.faults import Faults
    from vinebook.intake.workbook_parts import SheetPart
    from vinebook.kinds.field import Kind

T = TypeVar("T")
HEADINGS_WITHIN = 20
"""Rows from the top in which headings are looked for, to say where they stand."""
OURS = (READ_ME_SHEET, LISTS_SHEET)
RANGES_TOLD = 5


@dataclass(slots=True)
class _Held:
    """A workbook under way: a private copy of its bytes, and the reader of its clean copy."""

    copy: Path
    reader: CalamineWorkbook
    is_1904: bool


@dataclass(slots=True)
class SheetTally(TallyFile):
    """A sheet of a workbook that can be read as a tally.

    Attributes
    ----------
    heading_row : row of the headings, as a spreadsheet program counts.
    part : what was seen of the sheet.
    """

    heading_row: int = 1
    part: SheetPart | None = None
    held: _Held | None = None
    first: list[CalamineSheet] = field(default_factory=list)

    def pages(
        self, rows: int, keep: Callable[[bytes], None]
    ) -> Iterator[tuple[int, list[list[str]] | PageColumns, bool]]:
        """Give pages of rows, each with the number of its first row; every row counts as one line.

        The bytes of the workbook go to `keep` before the first row.

        Raises
        ------
        UnreadableError : the sheet cannot be read to its end.
        """
        assert self.held is not None  # noqa: S101 - set where the sheet is opened
        assert self.part is not None  # noqa: S101 - as above
        for data in self.kept_bytes():
            keep(data)
        # The sheet that was read for its headings serves once; a second reading takes it anew.
        try:
            sheet = self.first.pop() if self.first else _sheet(self.held.reader, self.sheet)
        except WorkbookRefusedError as trouble:
            raise UnreadableError(self.heading_row, trouble.what, trouble.expected) from trouble
        texts = [ColumnTexts(column.field, is_1904=self.held.is_1904) for column in self.columns]
        odd = self.part.scan.odd
        left = sheet.start[1] if sheet.start else 0
        rest = islice(sheet.iter_rows(), self.heading_row, None)
        line = self.heading_row + 1
        while page := guarded(lambda: list(islice(rest, rows))):
            columns: list[Sequence[Any]] = list(zip(*page, strict=True))
            read = [of.of(cells) for of, cells in zip(texts, columns, strict=False)]
            if odd:
                read = [list(cells) for cells in read]
                for row in odd.keys() & set(range(line, line + len(page))):
                    for column, what in odd[row].items():
                        if 0 <= column - left < len(texts):
                            at = column - left
                            read[at][row - line] = texts[at].odd(columns[at][row - line], what)  # type: ignore[index]
            beyond = columns[len(texts) :]
            if any(cell != "" for cells in beyond for cell in cells):
                told = [list(map(str, cells)) for cells in beyond]
                yield line, [list(row) for row in zip(*read, *told, strict=True)], True
            else:
                yield line, PageColumns(read, len(page)), True
            line += len(page)

    def kept_bytes(self) -> Iterator[bytes]:
        """Give the bytes of the workbook as it came."""
        assert self.held is not None  # noqa: S101 - as above
        with self.held.copy.open("rb") as raw:
            while data := raw.read(READ_BYTES):
                yield data


def open_tallies(
    path: str | Path, faults: Faults, held: ExitStack, *, kind: str | None = None, max_bytes: int, sheet: str = ""
) -> list[TallyFile]:
    """Look at a file, be it text or a workbook, and give the tallies that it holds; findings say what is wrong.

    Parameters
    ----------
    path : the file.
    faults : where findings go.
    held : closes what is needed until the last tally was read.
    kind : name of the kind, where the headings fit more than one.
    max_bytes : largest size.
    sheet : name of the one sheet to read, or "" for all.

    Raises
    ------
    FileRefusedError, WordsError : as for `open_tally`.
    """
    path = Path(path)
    name = told_name(path)
    try:
        regular_file(path, name)
        with path.open("rb") as raw:
            head = raw.read(16)
    except OSError as trouble:
        raise FileRefusedError(
            f"{name} cannot be opened: {trouble.strerror or trouble}", "check its name and rights"
        ) from trouble
    if not is_workbook_like(head):
        tally = open_tally(path, faults, kind=kind, max_bytes=max_bytes)
        return [] if tally is None else [tally]
    size = path.stat().st_size
    if size > max_bytes:
        faults.add(name, 0, "", f"is {size:,} bytes", f"at most {max_bytes:,} (raise it with --max-size)")
        return []
    opening = _Opening(path, name, faults, kind, sheet)
    try:
        return opening.run(held, max_bytes)
    except WorkbookRefusedError as trouble:
        faults.add(name, 0, "", trouble.what, trouble.expected)
        return []


class _Opening:
    """The opening of one workbook."""

    def __init__(self, path: Path, name: str, faults: Faults, kind: str | None, only: str) -> None:
        self._path = path
        self._name = name
        self._faults = faults
        self._kind = kind
        self._only = only

    def run(self, held: ExitStack, max_bytes: int) -> list[TallyFile]:
        """Give the tallies of the workbook.

        Raises
        ------
        WorkbookRefusedError : it is refused as a whole.
        """
        folder = Path(held.enter_context(tempfile.TemporaryDirectory(prefix="vinebook-")))
        copy, clean = folder / "as-it-came", folder / "clean.xlsx"
        digest = hashlib.sha256()
        size = 0
        with self._path.open("rb") as raw, copy.open("wb") as out:
            while data := raw.read(READ_BYTES):
                digest.update(data)
                size += len(data)
                out.write(data)
        parts = look_over(copy, clean, max_bytes=max_bytes)
        reader = guarded(lambda: _reader(clean))
        held.callback(reader.close)
        workbook = _Held(copy, reader, parts.is_1904)
        tallies: list[TallyFile] = []
        was_faulty = bool(self._faults)
        for part in parts.sheets:
            if part.name not in OURS and self._only in ("", part.name):
                tally = self._tally(part, workbook, size, digest.hexdigest())
                if tally is not None:
                    tallies.append(tally)
        if not tallies and bool(self._faults) == was_faulty:
            words = "a sheet with the headings of a form and rows below them"
            self._faults.add(self._name, 0, "", "holds no rows of any kind", words)
        return tallies

    def _tally(self, part: SheetPart, workbook: _Held, size: int, sha256: str) -> TallyFile | None:
        name = f"{self._name}:{part.name}"
        self._faults.name_cells(name, {})
        try:
            if part.trouble is not None:
                raise part.trouble
            sheet = _sheet(workbook.reader, part.name)
            rows = guarded(lambda: _first_rows(sheet))
        except WorkbookRefusedError as trouble:
            self._faults.add(name, 0, "", trouble.what, trouble.expected)
            # What names its records is not faulted for that once more.
            named = _kind_by_name(part.name)
            self._faults.unread.update(LOADED_KINDS if named is None else [named.name])
            return None
        filled = [at for at, row in enumerate(rows) if any(row)]
        if not filled:
            return None
        kind = self._kind_of(part.name, [rows[at] for at in filled], name)
        if kind is None:
            return None
        known = {field.name for field in tally_fields(kind)}
        likeness = {at: len(known & {bare_heading(cell) for cell in rows[at] if cell}) for at in filled}
        at = max(likeness, key=lambda row: (likeness[row], -row))
        if at == filled[-1] and not _has_rows(sheet, at):
            # A form that was left empty is no tally.
            return None
        if part.is_hidden:
            self._faults.add(name, 0, "", "is a hidden sheet with rows", "a sheet that is shown, or none")
            self._faults.unread.add(kind.name)
            return None
        if at != filled[0]:
            first = next(cell for cell in rows[filled[0]] if cell)
            words = f"holds {first[:60]!r} above the headings, which stand in row {at + 1}"
            self._faults.add(name, filled[0] + 1, "", words, "the headings in the first row that is filled")
            self._faults.unread.add(kind.name)
            return None
        return self._opened(part, workbook, sheet, kind, rows[at], at + 1, (name, size, sha256))

    def _opened(
        self,
        part: SheetPart,
        workbook: _Held,
        sheet: CalamineSheet,
        kind: Kind,
        row: list[str],
        heading_row: int,
        file: tuple[str, int, str],
    ) -> TallyFile | None:
        name, size, sha256 = file
        headings = list(row)
        width = len(headings)
        while not headings[-1].strip():
            headings.pop()
        left = sheet.start[1] if sheet.start else 0
        letters = [letters_of(left + at) for at in range(width)]
        self._faults.name_cells(name, dict(zip(headings, letters, strict=False)))
        columns = columns_of(name, kind, headings, self._faults, line=heading_row, letters=letters)
        merged = part.scan.merged
        if merged:
            told = ", ".join(merged[:RANGES_TOLD]) + (" …" if len(merged) > RANGES_TOLD else "")
            self._faults.add(name, 0, "", f"has merged cells ({told})", "one value in each cell: unmerge them")
        if columns is None or merged:
            self._faults.unread.add(kind.name)
            return None
        self._faults.name_cells(name, {column.field.name: letters[at] for at, column in enumerate(columns)})
        self._tell_unseen(part, name, heading_row)
        return SheetTally(
            path=self._path,
            name=name,
            size=size,
            sha256=sha256,
            delimiter="",
            kind=kind,
            columns=columns,
            blank_columns=width - len(headings),
            sheet=part.name,
            heading_row=heading_row,
            part=part,
            held=workbook,
            first=[sheet],
        )

    def _tell_unseen(self, part: SheetPart, name: str, heading_row: int) -> None:
        """Warn of what is read and cannot be seen on the sheet."""
        scan = part.scan
        if scan.formulas:
            count = f"{scan.formulas:,} {'formula' if scan.formulas == 1 else 'formulas'}"
            self._faults.warn(name, 0, "", f"holds {count} (first in {scan.first_formula}), read by the values kept")
        rows = [str(row) for row in scan.hidden_rows if row > heading_row]
        columns = [letters_of(column) for column in scan.hidden_columns]
        for what, unseen in (("row", rows), ("column", columns)):
            if unseen:
                told = ", ".join(unseen[:RANGES_TOLD]) + (" …" if len(unseen) > RANGES_TOLD else "")
                words = f"has {len(unseen):,} hidden {what}{'' if len(unseen) == 1 else 's'} ({told})"
                self._faults.warn(name, 0, "", f"{words}, read like the others")

    def _kind_of(self, sheet: str, rows: list[list[str]], name: str) -> Kind | None:
        """Give the kind of a sheet by its name, else by its headings; None where it is no tally."""
        if self._only and self._kind:
            return LOADED_KINDS[self._kind]
        by_name = _kind_by_name(sheet)
        if by_name is not None:
            return by_name
        if self._kind is not None:
            return LOADED_KINDS[self._kind]
        for row in rows:
            fitting = fitting_kinds(row)
            if len(fitting) == 1:
                return fitting[0]
            if fitting:
                kinds = ", ".join(kind.name for kind in fitting)
                self._faults.add(name, 0, "", f"the headings fit more than one kind ({kinds})", "a sheet named so")
                return None
        for row in rows:
            words = {bare_heading(cell) for cell in row if cell}
            nearest = nearest_kind(row)
            if nearest is not None and 2 * len(words & {field.name for field in tally_fields(nearest)}) >= len(words):
                return nearest
        self._faults.warn(name, 0, "", "is no sheet of a kind and was not read")
        return None


def _kind_by_name(sheet: str) -> Kind | None:
    """Give the kind that a sheet is called by, be it with more words behind: "cluster_tally", "Cluster tally 2"."""
    word = "_".join(sheet.lower().split())
    named = [kind for kind in LOADED_KINDS.values() if re.fullmatch(rf"{kind.name}([^a-z].*)?", word)]
    return max(named, key=lambda kind: len(kind.name), default=None)


def _reader(clean: Path) -> CalamineWorkbook:
    from python_calamine import CalamineWorkbook

    return CalamineWorkbook.from_path(clean)


def _sheet(reader: CalamineWorkbook, name: str) -> CalamineSheet:
    return guarded(lambda: reader.get_sheet_by_name(name))


def _first_rows(sheet: CalamineSheet) -> list[list[str]]:
    return [
        [" ".join(cell.split()) if isinstance(cell, str) else str(cell) for cell in row]
        for row in islice(sheet.iter_rows(), HEADINGS_WITHIN)
    ]


def _has_rows(sheet: CalamineSheet, heading_at: int) -> bool:
    rest = islice(sheet.iter_rows(), heading_at + 1, None)
    return guarded(lambda: any(str(cell).strip() for row in rest for cell in row))


def guarded(read: Callable[[], T]) -> T:
    """Give what the library reads; whatever it stumbles over is a damaged workbook.

    Raises
    ------
    WorkbookRefusedError : it stumbled.
    """
    try:
        return read()
    except (KeyboardInterrupt, SystemExit, GeneratorExit, MemoryError, OSError):
        raise
    except BaseException as trouble:
        words = " ".join(str(trouble).split())[:100] or type(trouble).__name__
        raise WorkbookRefusedError(f"is a damaged workbook: {words}", SAVE_ANEW) from trouble
