"""Workbooks that were made to harm, and damaged ones: refused by name, nothing stored, little memory."""

from __future__ import annotations

import io
import random
import stat
import tracemalloc
import zipfile
import zlib
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.intake.sheets import FIRST_SHEET, KEPT, count, counts, patched
from tests.long.damaging import damage
from vinebook.errors import Finding, FindingsError
from vinebook.intake.workbook_parts import look_over
from vinebook.intake.workbook_scan import (
    QuickLook,
    WorkbookRefusedError,
    careful_look,
    column_of,
    letters_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.desk import Desk

STRINGS = "xl/sharedStrings.xml"
LAUGHS = b"""<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;"><!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;&c;&c;">]>"""
NO_END = random.Random(1).randbytes(3 << 20).replace(b">", b"")  # noqa: S311 - what cannot be packed, no secret
FETCH = b'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a SYSTEM "file:///etc/hostname">]>'


def with_type(words: bytes) -> Callable[[bytes], bytes]:
    """Give what puts a document type before a part, and an entity into it."""

    def change(part: bytes) -> bytes:
        bare = part.partition(b"?>")[2] if part.startswith(b"<?xml") else part
        return words + bare.replace(b"<v>31</v>", b"<v>&a;</v>")

    return change


def refused(desk: Desk, data: bytes) -> str:
    """Load a workbook that is refused with one finding, and give it."""
    (fault,) = desk.faults(desk.write("t.xlsx", data))
    return fault


@pytest.mark.parametrize("words", [LAUGHS, FETCH], ids=["entities that grow", "an entity from elsewhere"])
@pytest.mark.parametrize(
    "part", ["xl/worksheets/sheet2.xml", "xl/workbook.xml", "xl/styles.xml", STRINGS, "_rels/.rels"]
)
def test_document_types_are_refused(desk: Desk, words: bytes, part: str) -> None:
    whole = (KEPT / "filled.xlsx").read_bytes()
    faults = desk.faults(desk.write("t.xlsx", patched(whole, part, with_type(words))))
    assert "holds a document type or entities" in faults[0]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"xl/vbaProject.bin": b"x"}, "holds macros; expected an .xlsx workbook without macros"),
        ({"xl/macrosheets/sheet1.xml": b"<x/>"}, "holds macros"),
        ({"xl/externalLinks/externalLink1.xml": b"<x/>"}, "is linked to other files"),
        ({"xl/connections.xml": b"<x/>"}, "is connected to data elsewhere"),
        ({"xl/workbook.bin": b"x"}, "is a binary workbook (.xlsb)"),
        ({"../up.xml": b"x"}, "holds a part whose path climbs out of it"),
        ({"/etc/x": b"x"}, "holds a part whose path climbs out of it"),
        ({"xl/STYLES.xml": b"x"}, "stands twice"),
        ({"xl/media/zeros": bytes(3_000_000)}, "unpacks to 3,000,000 bytes, over 200 times its size"),
    ],
)
def test_parts_that_do_not_belong_are_refused_by_name(desk: Desk, more: dict[str, bytes], words: str) -> None:
    assert words in refused(desk, patched(counts(), "", lambda part: part, **more))


def test_a_type_for_macros_is_refused(desk: Desk) -> None:
    def macros(part: bytes) -> bytes:
        return part.replace(b"spreadsheetml.sheet.main+xml", b"x").replace(
            b"application/vnd.openxmlformats-officedocument.x", b"application/vnd.ms-excel.sheet.macroEnabled.main+xml"
        )

    assert "is a workbook for macros (.xlsm)" in refused(desk, patched(counts(), "[Content_Types].xml", macros))


def test_a_link_in_place_of_a_part_is_refused(desk: Desk) -> None:
    page = io.BytesIO(counts())
    with zipfile.ZipFile(page, "a") as archive:
        link = zipfile.ZipInfo("xl/linked.xml")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/hostname")
    assert "holds a link in place of a part" in refused(desk, page.getvalue())


def test_a_sheet_from_elsewhere_is_refused(desk: Desk) -> None:
    def elsewhere(part: bytes) -> bytes:
        return part.replace(b'Target="/xl/worksheets/sheet1.xml"', b'Target="file:///x" TargetMode="External"')

    fault = refused(desk, patched(counts(), "xl/_rels/workbook.xml.rels", elsewhere))
    assert "takes sheet 'Counts' from elsewhere" in fault


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "is a document of an old format (.xls)"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600) + "EncryptedPackage".encode("utf-16-le"),
            "is protected by a password",
        ),
        (b"PK\x05\x06" + bytes(18), "is a packed file and no workbook"),
        (b"PK\x03\x04 and nothing more", "is a damaged workbook"),
    ],
    ids=["old", "locked", "empty", "nothing"],
)
def test_what_is_no_workbook_of_ours_is_refused_by_name(desk: Desk, data: bytes, words: str) -> None:
    assert words in refused(desk, data)


def test_a_workbook_locked_with_a_password_is_refused(desk: Desk) -> None:
    assert "t.xlsx: is protected by a password" in refused(desk, (KEPT / "locked.xlsx").read_bytes())


def test_a_part_larger_than_it_says_is_refused(desk: Desk) -> None:
    # The directory says that the sheet is short, while more is packed: a reader that goes on would take it all.
    data = bytearray(counts(*(count(vine, 5) for vine in range(1, 400))))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        part = archive.getinfo(FIRST_SHEET)
        short = archive.read(FIRST_SHEET)[:500]
    at = data.rfind(FIRST_SHEET.encode()) - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    data[at + 16 : at + 20] = zlib.crc32(short).to_bytes(4, "little")
    data[at + 24 : at + 28] = len(short).to_bytes(4, "little")
    assert part.file_size > 500
    assert "is a damaged workbook" in refused(desk, bytes(data))


def test_a_workbook_that_unpacks_to_too_much_is_refused(desk: Desk) -> None:
    path = desk.write("t.xlsx", counts(*(count(vine, 5) for vine in range(1, 2000))))
    (fault,) = desk.faults(path, max_bytes=path.stat().st_size + 100)
    assert "t.xlsx: unpacks to" in fault
    (fault,) = desk.faults(path, max_bytes=100)
    assert fault.endswith("at most 100 (raise it with --max-size)")


@pytest.mark.parametrize("place", [b"XFD1048576", b"Z900000", b"XFD2"])
def test_a_cell_far_away_costs_no_memory(desk: Desk, place: bytes) -> None:
    def far(part: bytes) -> bytes:
        row = place.lstrip(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        cell = b'<row r="%s"><c r="%s"><v>1</v></c></row></sheetData>' % (row, place)
        if row == b"2":
            return part.replace(b"</row></sheetData>", b'<c r="XFD3"><v>1</v></c></row></sheetData>')
        return part.replace(b"</sheetData>", cell)

    tracemalloc.start()
    fault = refused(desk, patched(counts(), FIRST_SHEET, far))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 50 << 20
    assert "spans" in fault or "has something to the right of the headings" in fault


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda part: part[: len(part) // 2], "is a damaged workbook"),
        (lambda part: part.replace(b'r="G3"', b'r="G2"'), "stands twice or out of order"),
        (lambda part: part.replace(b'r="G3"', b'r="33"'), "is a damaged workbook"),
        (lambda part: part.replace(b"<v>31</v>", b"<v>zz</v>"), "is a damaged workbook"),
        (lambda part: part.replace(b"<v>31</v>", b"<v>nan</v>"), "holds what is no number"),
        (lambda part: part.decode().encode("utf-16"), "is not UTF-8 text"),
        (lambda part: part + NO_END, "has no end"),
        (lambda _: None, "has no part"),
    ],
)
def test_a_damaged_sheet_is_refused(desk: Desk, change: Callable[[bytes], bytes | None], words: str) -> None:
    assert words in refused(desk, patched(counts(), FIRST_SHEET, change))


def test_the_clean_copy_holds_only_what_was_looked_at(tmp_path: Path) -> None:
    path, clean = tmp_path / "t.xlsx", tmp_path / "clean.xlsx"
    more = {"xl/drawings/d.xml": b"<x/>", "xl/embeddings/o.bin": b"x", "docProps/custom.xml": b"<x/>"}
    path.write_bytes(patched(counts(), "", lambda part: part, **more))
    look_over(path, clean, max_bytes=1 << 20)
    with zipfile.ZipFile(clean) as archive:
        assert set(archive.namelist()) == {
            "_rels/.rels",
            "xl/workbook.xml",
            "xl/_rels/workbook.xml.rels",
            "xl/styles.xml",
            FIRST_SHEET,
        }


@pytest.mark.parametrize(
    "sheet",
    [
        b'<worksheet><sheetData><row r="1"><c r="A1" t=\'e\'><v>#N/A</v></c></row></sheetData></worksheet>',
        b'<x:worksheet xmlns:x="u"><x:sheetData><x:c r="A1" t="e"><x:v>#N/A</x:v></x:c></x:sheetData></x:worksheet>',
        b'<worksheet><sheetData><row r="1"><c t="e" r="A1"><v>#N/A</v></c></row></sheetData></worksheet>',
        b'<worksheet><sheetData><row><c t="e"><v>#N/A</v></c></row></sheetData></worksheet>',
    ],
)
def test_the_quick_look_leaves_unusual_writing_to_the_careful_one(sheet: bytes) -> None:
    for cut in range(1, len(sheet)):
        look = QuickLook(frozenset())
        look.take(sheet[:cut])
        look.take(sheet[cut:])
        look.close()
        assert look.needs_care
    assert careful_look([sheet], frozenset()).odd == {1: {0: "error #N/A"}}


PLAIN_ROWS = (
    b'<worksheet><sheetData><row r="1" spans="1:3" hidden="false"><c r="A1" t="s"><v>0</v></c><c r="C1" s="2"/></row>'
    b'<row r="3"/><row r="4"><c r="B4" t="inlineStr"><is><t>a&lt;b</t></is></c><c r="Z4"><v>7</v></c></row>'
    b"</sheetData></worksheet>"
)


def test_the_quick_look_passes_over_plain_rows_in_whatever_parts_they_come() -> None:
    first = PLAIN_ROWS.index(b"</row>") + len(b"</row>")
    for cut in range(first, len(PLAIN_ROWS)):
        look = QuickLook(frozenset({"9"}))
        look.take(PLAIN_ROWS[:cut])
        look.take(PLAIN_ROWS[cut:])
        look.close()
        assert not look.needs_care


@pytest.mark.parametrize(
    ("plain", "other"),
    [
        (b'<c r="C1" s="2"/>', b'<c r="A1"><v>1</v></c>'),
        (b'<c r="C1" s="2"/>', b'<c r="C3"><v>1</v></c>'),
        (b'<c r="C1" s="2"/>', b'<c r="C1" s="9"><v>1</v></c>'),
        (b'<c r="C1" s="2"/>', b'<c r="C1" s="09"><v>1</v></c>'),
        (b'<c r="C1" s="2"/>', b'<c r="C1" t="&#101;"><v>1</v></c>'),
        (b'<c r="C1" s="2"/>', b'<c r="C1"><f>A1</f><v>1</v></c>'),
        (b'<c r="C1" s="2"/>', b'<c r="AA1"><v>1</v></c>'),
        (b'r="3"', b'r="4"'),
        (b'r="4"', b'r="400000"'),
        (b'hidden="false"', b'hidden="1"'),
        (b"</sheetData>", b'</sheetData><mergeCells><mergeCell ref="A1:B1"/></mergeCells>'),
        (b"<sheetData>", b'<cols><col min="1" max="1" hidden="&#49;"/></cols><sheetData>'),
        (b"a&lt;b", b"a<!-- b -->"),
    ],
)
def test_one_odd_cell_among_plain_rows_asks_for_the_careful_look(plain: bytes, other: bytes) -> None:
    look = QuickLook(frozenset({"9"}))
    look.take(PLAIN_ROWS.replace(plain, other, 1))
    look.close()
    assert look.needs_care


def test_a_cell_that_stands_twice_in_its_row_is_refused(desk: Desk) -> None:
    def twice(part: bytes) -> bytes:
        return part.replace(b'<c r="D2"', b'<c r="C2"', 1)

    assert "cell C2 stands twice or out of order" in refused(desk, patched(counts(count(1, 5)), FIRST_SHEET, twice))


def test_columns_have_letters() -> None:
    assert [letters_of(at) for at in (0, 25, 26, 701, 702, 16383)] == ["A", "Z", "AA", "ZZ", "AAA", "XFD"]
    assert all(column_of(letters_of(at)) == at for at in range(0, 16384, 37))


def told(look: Callable[[bytes], object], data: bytes) -> WorkbookRefusedError | None:
    """Look over bytes and give the refusal, if there is one."""
    try:
        look(data)
    except WorkbookRefusedError as refusal:
        return refusal
    return None


@given(st.binary(max_size=300))
def test_any_bytes_are_looked_over_or_refused(data: bytes) -> None:
    for look in (QuickLook(frozenset({"1"})).take, lambda part: careful_look([part], frozenset({"1"}))):
        refusal = told(look, data)
        assert refusal is None or (refusal.what and refusal.expected)


CELLS = st.one_of(
    st.integers(-10, 10**9),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.dates(),
    st.text(st.characters(exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff"), max_size=12),
    st.none(),
)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.tuples(*[CELLS] * 7), min_size=1, max_size=4))
def test_any_cells_are_read_or_refused_by_sheet_and_cell(desk: Desk, rows: list[tuple[object, ...]]) -> None:
    from openpyxl.utils.exceptions import IllegalCharacterError

    try:
        data = counts(count(1, 5), *rows)
    except IllegalCharacterError:
        return
    before = desk.held()
    findings: list[Finding] = []
    try:
        desk.load(desk.write("t.xlsx", data), dry_run=True)
    except FindingsError as refusal:
        findings = refusal.findings
    assert all(str(finding).startswith(f"{desk.folder}/t.xlsx") for finding in findings)
    assert all(finding.line == 0 or finding.cell for finding in findings)
    assert desk.held() == before


def test_damaged_files_are_refused_at_a_place_or_read_whole(tmp_path: Path) -> None:
    done = damage(tmp_path, 60, seed=3)
    assert done.wrong == []
    assert sum(done.came.values()) == 60


def test_an_archive_that_points_outside_itself_is_refused(desk: Desk) -> None:
    data = bytearray(counts())
    # Where the directory begins, as the end of the archive tells it: far behind the end.
    end = data.rfind(b"PK\x05\x06")
    data[end + 16 : end + 20] = (len(data) * 3).to_bytes(4, "little")
    assert "is a damaged workbook: its parts cannot be unpacked" in refused(desk, bytes(data))
