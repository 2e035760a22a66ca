"""The parts of a workbook, looked over before anything is read: limits, what is refused by name, and a clean copy.

The library that reads cells is given a copy that holds only parts which were unpacked here under limits and looked
over: what was looked at is what is read.
"""

from __future__ import annotations

import errno
import posixpath
import re
import stat
import zipfile
import zlib
from contextlib import closing
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from vinebook.intake.workbook_scan import (
    SAVE_ANEW,
    QuickLook,
    SheetScan,
    WorkbookRefusedError,
    careful_look,
    damaged,
    refuse_document_type,
)

if TYPE_CHECKING:
    from collections.abc import Generator
    from pathlib import Path
    from xml.etree.ElementTree import Element

MOST_PARTS = 2_000
UNPACKED_TIMES = 4
"""A workbook may unpack to this many times the largest size of a file."""
MOST_RATIO = 200
RATIO_FROM_BYTES = 1 << 20
"""Parts that unpack to less than this may be packed as tightly as they like."""
SMALL_PART_BYTES = 16 << 20
CHUNK_BYTES = 1 << 20
LONGEST_SHEET_NAME = 100
ZIP, OLE = b"PK", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_PASSWORD = "EncryptedPackage".encode("utf-16-le")
AS_XLSX = "an .xlsx workbook: open it in a spreadsheet program and save it as .xlsx (Excel 2007 or later)"
VALUES_ALONE = "a workbook of values alone: break the links and save it anew"
WITHOUT_MACROS = "an .xlsx workbook without macros: save it as .xlsx"
_WORKBOOK, _RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
_ROOT = "_rels/.rels"
_BESIDE = ("xl/sharedstrings.xml", "xl/styles.xml")
_PERCENT = (9, 10)
"""Numbers of the built-in formats 0% and 0.00% (ECMA-376 part 1, 18.8.30)."""


@dataclass(slots=True)
class SheetPart:
    """One sheet of a workbook.

    Attributes
    ----------
    name : as it stands on the sheet's tab.
    is_hidden : whether a spreadsheet program shows it.
    scan : what was seen in it.
    trouble : why the sheet alone is refused, or None.
    """

    name: str
    is_hidden: bool
    scan: SheetScan = field(default_factory=SheetScan)
    trouble: WorkbookRefusedError | None = None


@dataclass(slots=True)
class WorkbookParts:
    """A workbook that was looked over.

    Attributes
    ----------
    sheets : its sheets of cells, in order.
    is_1904 : whether its days count from 1904.
    """

    sheets: list[SheetPart]
    is_1904: bool


def is_workbook_like(head: bytes) -> bool:
    """Say whether the first bytes of a file are those of a workbook, or of an archive or document of that sort."""
    return head.startswith((ZIP, OLE))


def look_over(path: Path, clean: Path, *, max_bytes: int) -> WorkbookParts:
    """Look over a workbook and write a clean copy of what is to be read.

    Parameters
    ----------
    path : the workbook.
    clean : where the copy goes.
    max_bytes : largest size of a file; all parts together may unpack to four times that.

    Raises
    ------
    WorkbookRefusedError : what is wrong with it as a whole.
    """
    with path.open("rb") as raw:
        if raw.read(len(OLE)) == OLE:
            raise _old_or_locked(path)
    try:
        with zipfile.ZipFile(path) as archive, zipfile.ZipFile(clean, "w", zipfile.ZIP_STORED) as copy:
            return _Looking(archive, copy, UNPACKED_TIMES * max_bytes).run()
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        KeyError,
        IndexError,
        OverflowError,
    ) as trouble:
        raise damaged(f"its parts cannot be unpacked ({type(trouble).__name__})") from trouble
    except OSError as trouble:
        if trouble.errno != errno.EINVAL:
            raise
        # The directory of the archive names a place before the file's beginning.
        raise damaged("its parts cannot be unpacked (a part lies outside the file)") from trouble


def _old_or_locked(path: Path) -> WorkbookRefusedError:
    held = b""
    with path.open("rb") as raw:
        while data := raw.read(CHUNK_BYTES):
            if _PASSWORD in held + data:
                return WorkbookRefusedError("is protected by a password", "a workbook without one: save it anew")
            held = data[-len(_PASSWORD) :]
    return WorkbookRefusedError("is a document of an old format (.xls)", AS_XLSX)


class _Looking:
    """One look over one workbook."""

    def __init__(self, archive: zipfile.ZipFile, copy: zipfile.ZipFile, most_bytes: int) -> None:
        self._archive = archive
        self._copy = copy
        self._most_bytes = most_bytes
        self._parts: dict[str, zipfile.ZipInfo] = {}

    def run(self) -> WorkbookParts:
        """Look over every part and copy those that are to be read."""
        self._list_parts()
        self._refuse_by_name()
        percent = self._percent_styles()
        # What is read by its name alone is read as bytes that were looked over here.
        for name in _BESIDE:
            if name in self._parts:
                self._copy_part(name, None)
        self._copy_root()
        workbook = self._xml(_WORKBOOK)
        self._copy_part(_WORKBOOK, None)
        relations = {
            relation.get("Id", ""): relation for relation in self._xml(_RELATIONS) if _local(relation) == "Relationship"
        }
        self._copy_part(_RELATIONS, None)
        properties = next((one for one in workbook if _local(one) == "workbookPr"), None)
        is_1904 = properties is not None and properties.get("date1904") in ("1", "true")
        sheets: list[SheetPart] = []
        for element in (one for group in workbook if _local(group) == "sheets" for one in group):
            sheet = self._sheet(element, relations, percent)
            if sheet is not None:
                if sheet.name in {other.name for other in sheets}:
                    raise damaged(f"two sheets are called {sheet.name!r}")
                sheets.append(sheet)
        return WorkbookParts(sheets, is_1904)

    def _copy_root(self) -> None:
        """Copy what names the workbook's own part, which must be the one that is looked over here."""
        targets = [
            relation.get("Target", "").lstrip("/")
            for relation in self._xml(_ROOT)
            if relation.get("Type", "").endswith("/officeDocument")
        ]
        if targets != [_WORKBOOK]:
            raise damaged("it does not name its workbook")
        self._copy_part(_ROOT, None)

    def _list_parts(self) -> None:
        found = self._archive.infolist()
        if len(found) > MOST_PARTS:
            raise WorkbookRefusedError(f"holds {len(found):,} parts", f"at most {MOST_PARTS:,}")
        total = 0
        for part in found:
            name = part.filename
            if name.startswith("/") or "\\" in name or ":" in name or ".." in name.split("/"):
                raise WorkbookRefusedError(f"holds a part whose path climbs out of it ({name[:60]!r})", SAVE_ANEW)
            if stat.S_ISLNK(part.external_attr >> 16):
                raise WorkbookRefusedError(f"holds a link in place of a part ({name[:60]!r})", SAVE_ANEW)
            if part.flag_bits & 1:
                raise WorkbookRefusedError("is protected by a password", "a workbook without one: save it anew")
            if name.lower() in self._parts:
                raise damaged(f"the part {name[:60]!r} stands twice")
            total += part.file_size
            if part.file_size > max(RATIO_FROM_BYTES, MOST_RATIO * part.compress_size):
                raise WorkbookRefusedError(
                    f"holds a part that unpacks to {part.file_size:,} bytes, over {MOST_RATIO} times its size",
                    "a workbook of rows alone, or the sheet saved as CSV",
                )
            self._parts[name.lower()] = part
        if total > self._most_bytes:
            raise WorkbookRefusedError(
                f"unpacks to {total:,} bytes", f"at most {self._most_bytes:,} (raise it with --max-size)"
            )

    def _refuse_by_name(self) -> None:
        names = self._parts
        if "content.xml" in names and _WORKBOOK not in names:
            raise WorkbookRefusedError("is an OpenDocument file (.ods)", AS_XLSX)
        if "xl/workbook.bin" in names:
            raise WorkbookRefusedError("is a binary workbook (.xlsb)", AS_XLSX)
        if any(name.endswith("vbaproject.bin") or name.startswith("xl/macrosheets/") for name in names):
            raise WorkbookRefusedError("holds macros", WITHOUT_MACROS)
        types = "[content_types].xml"
        if types in names and b"macroenabled" in self._small(types).lower():
            raise WorkbookRefusedError("is a workbook for macros (.xlsm)", WITHOUT_MACROS)
        if any(name.startswith("xl/externallinks/") for name in names):
            raise WorkbookRefusedError("is linked to other files", VALUES_ALONE)
        if "xl/connections.xml" in names:
            raise WorkbookRefusedError("is connected to data elsewhere", VALUES_ALONE)
        if not {_ROOT, _WORKBOOK, _RELATIONS} <= names.keys():
            raise WorkbookRefusedError("is a packed file and no workbook", "CSV files or an .xlsx workbook")

    def _percent_styles(self) -> frozenset[str]:
        """Give the numbers of the cell formats that show percentages."""
        if "xl/styles.xml" not in self._parts:
            return frozenset()
        root = self._xml("xl/styles.xml")
        codes = {
            one.get("numFmtId", ""): one.get("formatCode", "")
            for group in root
            if _local(group) == "numFmts"
            for one in group
        }
        percent = {str(number) for number in _PERCENT}
        percent |= {number for number, code in codes.items() if "%" in re.sub(r'"[^"]*"|\\.', "", code)}
        formats = (one for group in root if _local(group) == "cellXfs" for one in group)
        return frozenset(str(at) for at, one in enumerate(formats) if one.get("numFmtId", "0") in percent)

    def _sheet(self, element: Element, relations: dict[str, Element], percent: frozenset[str]) -> SheetPart | None:
        name = element.get("name", "")
        if not name or len(name) > LONGEST_SHEET_NAME or not name.isprintable() or re.search(r"[\\/?*\[\]:]", name):
            raise damaged(f"a sheet is called {name[:LONGEST_SHEET_NAME]!r}")
        link = next((value for key, value in element.attrib.items() if key.rpartition("}")[2] == "id"), "")
        relation = relations.get(link)
        if relation is None:
            raise damaged(f"sheet {name!r} has no part")
        if not relation.get("Type", "").endswith("/worksheet"):
            # A sheet of a chart holds no cells.
            return None
        if relation.get("TargetMode", "Internal") != "Internal":
            raise WorkbookRefusedError(f"takes sheet {name!r} from elsewhere", VALUES_ALONE)
        target = relation.get("Target", "")
        path = posixpath.normpath(target.lstrip("/") if target.startswith("/") else f"xl/{target}")
        if path.lower() not in self._parts:
            raise damaged(f"sheet {name!r} has no part")
        sheet = SheetPart(name, element.get("state", "visible") != "visible")
        try:
            look = QuickLook(percent)
            self._copy_part(path.lower(), look, path)
            look.close()
            if look.needs_care:
                with closing(self._bytes(path.lower())) as data:
                    sheet.scan = careful_look(data, percent)
        except WorkbookRefusedError as trouble:
            sheet.trouble = trouble
        return sheet

    def _copy_part(self, name: str, look: QuickLook | None, as_name: str = "") -> None:
        """Unpack a part into the clean copy, and look over it on the way."""
        held = b""
        whole = zipfile.ZipInfo(as_name or self._parts[name].filename)
        with self._copy.open(whole, "w") as out, closing(self._bytes(name)) as parts:
            for at, data in enumerate(parts):
                if not at:
                    _refuse_other_encodings(name, data)
                if look is not None:
                    look.take(data)
                else:
                    refuse_document_type(held + data)
                    held = data[-16:]
                out.write(data)

    def _bytes(self, name: str) -> Generator[bytes]:
        with self._archive.open(self._parts[name]) as part:
            while data := part.read(CHUNK_BYTES):
                yield data

    def _small(self, name: str) -> bytes:
        if self._parts[name].file_size > SMALL_PART_BYTES:
            raise damaged(f"the part {name} is {self._parts[name].file_size:,} bytes")
        return self._archive.read(self._parts[name])

    def _xml(self, name: str) -> Element:
        from xml.etree.ElementTree import ParseError

        from defusedxml.common import DefusedXmlException
        from defusedxml.ElementTree import fromstring

        data = self._small(name)
        refuse_document_type(data)
        try:
            root: Element = fromstring(data, forbid_dtd=True)
        except (ParseError, DefusedXmlException, LookupError) as trouble:
            raise damaged(f"the part {name} is no XML") from trouble
        return root


def _refuse_other_encodings(name: str, head: bytes) -> None:
    declared = re.match(rb"""\s*<\?xml[^>]*encoding\s*=\s*["']([^"']*)["']""", head.removeprefix(b"\xef\xbb\xbf"))
    if b"\x00" in head[:64] or head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise damaged(f"the part {name} is not UTF-8 text")
    if declared and declared[1].lower() not in (b"utf-8", b"utf8", b"us-ascii"):
        raise damaged(f"the part {name} is not UTF-8 text")


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]
