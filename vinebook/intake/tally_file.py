"""A tally as a file: its bytes, its encoding, its delimiter, its headings and the kind they belong to."""

from __future__ import annotations

import csv
import difflib
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
from vinebook.intake.cells import SAVE_AS_UTF8, with_article
from vinebook.kinds import LOADED_KINDS, MADE_KINDS
from vinebook.kinds.field import Field, Kind, Needs
from vinebook.kinds.form import tally_fields
from vinebook.quantities import DIMENSION_OF_UNIT, UNITS_OF_DIMENSION, unit_named

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from vinebook.intake.faults import Faults

MAX_BYTES = 256 * 1024 * 1024
READ_BYTES = 1 << 20
LONGEST_HEADING = 200
LIKE_A_HEADING = 0.8
"""From this likeness on a heading is taken for another misspelt."""
_HEADING = re.compile(r"\s*([^\[\]*]*?)\s*(?:\[\s*([^\[\]]*?)\s*\])?\s*\*?\s*")
"""A name, a unit in brackets, and the star by which a form marks what must be filled."""


_HAVE_UNITS = {field.name for kind in LOADED_KINDS.values() for field in kind.fields if field.dimension}


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
class TallyColumn:
    """One column of a tally: its field, and the unit that its heading gives, or ""."""

    field: Field
    heading: str
    unit: str


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
    recognised = _recognised(name, headings, faults, kind)
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


def _split(heading: str) -> tuple[str, str] | None:
    parts = None if len(heading) > LONGEST_HEADING else _HEADING.fullmatch(heading)
    return None if parts is None else ("_".join(parts[1].lower().split()), parts[2] or "")


def fitting_kinds(headings: Sequence[str]) -> list[Kind]:
    """Give the kinds whose tally may have just these headings."""
    names = {split[0] for heading in headings if (split := _split(heading)) and split[0]}
    fitting = []
    for candidate in LOADED_KINDS.values():
        known = {field.name for field in tally_fields(candidate)}
        if names <= known and needed_headings(candidate) <= names:
            fitting.append(candidate)
    return fitting


def nearest_kind(headings: Sequence[str]) -> Kind | None:
    """Give the kind that knows most of the headings; None where none knows any."""
    names = {bare_heading(heading) for heading in headings}
    nearest = max(LOADED_KINDS.values(), key=lambda candidate: _likeness(names, candidate))
    return nearest if any(_likeness(names, nearest)) else None


def _recognised(name: str, headings: list[str], faults: Faults, kind: str | None) -> Kind | None:
    if kind is not None:
        return LOADED_KINDS.get(kind) or MADE_KINDS[kind]
    fitting = fitting_kinds(headings)
    if len(fitting) > 1:
        named = [candidate for candidate in fitting if Path(name).name.lower().startswith(candidate.name)]
        fitting = named if len(named) == 1 else fitting
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        kinds = ", ".join(candidate.name for candidate in fitting)
        faults.add(name, 1, "", f"the headings fit more than one kind ({kinds})", "the kind named with --kind")
        return None
    nearest = nearest_kind(headings)
    if nearest is None:
        faults.add(name, 1, "", "no heading is one that vinebook knows", "the headings of a form: `vinebook form KIND`")
    return nearest


def needed_headings(kind: Kind) -> set[str]:
    """Give the names of the headings that a tally of a kind cannot do without."""
    needed = {field.name for field in tally_fields(kind) if field.required}
    for rule in kind.rules:
        if isinstance(rule, Needs) and kind.field(rule.when).default in rule.values:
            needed.add(rule.field)
    return needed


def _likeness(names: set[str], kind: Kind) -> tuple[int, float]:
    """Give how many of the names a kind knows, and how much of all its names that is."""
    own = {field.name for field in tally_fields(kind)}
    return len(names & own), len(names & own) / len(names | own)


def columns_of(
    name: str, kind: Kind, headings: list[str], faults: Faults, *, line: int = 1, letters: Sequence[str] = ()
) -> tuple[TallyColumn, ...] | None:
    """Give the column that each heading stands for; None where findings say what is wrong with them.

    Parameters
    ----------
    name : of the file, as findings give it.
    kind : the kind of its rows.
    headings : in the order of the file.
    faults : where findings go.
    line : on which the headings stand.
    letters : by which a spreadsheet program calls the columns.
    """
    fields = {field.name: field for field in tally_fields(kind)}
    columns: list[TallyColumn] = []
    seen: set[str] = set()
    well = True

    def fault(heading: str, what: str, expected: str) -> None:
        nonlocal well
        well = False
        printable = "".join(sign if sign.isprintable() else "\ufffd" for sign in heading.strip()[:LONGEST_HEADING])
        faults.add(name, line, printable, what, expected)

    for number, heading in enumerate(headings, 1):
        split = _split(heading)
        if split is None or split[0] not in fields:
            which = (
                "is" if heading.strip() else f"column {letters[number - 1] if letters else number} is empty, which is"
            )
            meant = _meant(heading, fields)
            what = f"{which} no heading of {with_article(kind.name)} tally"
            if meant is None:
                fault(heading, what, f"one of: {', '.join(fields)}")
            else:
                seen.add(meant.name)
                fault(heading, f"{what}: did you mean {_as_heading(meant, heading)}?", "")
            continue
        field = fields[split[0]]
        if field.name in seen:
            fault(heading, "stands twice", "each heading once")
        seen.add(field.name)
        unit = _heading_unit(field, split[1])
        if isinstance(unit, tuple):
            fault(heading, *unit)
        else:
            columns.append(TallyColumn(field, heading.strip(), unit))
    for missing in sorted(needed_headings(kind) - seen):
        fault("", f"the heading {missing!r} is missing", f"the headings of `vinebook form {kind.name}`")
    return tuple(columns) if well else None


def bare_heading(heading: str) -> str:
    """Give the name in a heading, without a unit in brackets of any shape or behind an underscore."""
    bare = "_".join(re.split(r"[(\[{<*]", heading[:LONGEST_HEADING], maxsplit=1)[0].lower().split())
    stem, _, tail = bare.rpartition("_")
    return stem if stem in _HAVE_UNITS and unit_named(tail) else bare


def _meant(heading: str, fields: dict[str, Field]) -> Field | None:
    """Give the field that a heading is likely to mean, or None."""
    bare = bare_heading(heading)
    if bare not in fields:
        bare = next(iter(difflib.get_close_matches(bare, fields, n=1, cutoff=LIKE_A_HEADING)), "")
    return fields.get(bare)


def _as_heading(field: Field, written: str) -> str:
    """Give a field's heading as it should be written, with the unit that stands in what was written."""
    words = re.split(r"[(\[{<_ ]", written.strip().rstrip(")]}> "))[-1]
    unit = unit_named(words) if field.dimension and words.strip().lower() != field.name else None
    return f"{field.name} [{unit}]" if unit and DIMENSION_OF_UNIT[unit] == field.dimension else field.name


def _heading_unit(field: Field, text: str) -> str | tuple[str, str]:
    if not text:
        return ""
    if not field.dimension:
        return f"[{text}] stands behind a heading that has no unit", field.name
    accepted = ", ".join(UNITS_OF_DIMENSION[field.dimension])
    unit = unit_named(text)
    if unit is None:
        return f"[{text}] is not a unit that vinebook knows", f"one of: {accepted}"
    if DIMENSION_OF_UNIT[unit] != field.dimension:
        return f"[{text}] is a unit of {DIMENSION_OF_UNIT[unit]}", f"a unit of {field.dimension}: {accepted}"
    return unit
