"""Workbooks at `load`: files that LibreOffice saved, what programs do to cells, and the record kept of them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import pytest
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from tests.intake.sheets import COUNTS, FIRST_SHEET, KEPT, count, counts, patched, saved, workbook
from vinebook.audit.reread import reread
from vinebook.errors import CorrectionError, FindingsError
from vinebook.intake.load import load_tallies
from vinebook.intake.typed import replace_tally
from vinebook.kinds import KINDS
from vinebook.kinds.form import tally_fields
from vinebook.records.listing import shown_record
from vinebook.records.readings import kept_file

if TYPE_CHECKING:
    from collections.abc import Sequence

    from openpyxl.worksheet.worksheet import Worksheet

    from tests.desk import Desk

BLOCKS = [("vineyard", "code", "from season"), ("Low Terrace", "B1", 2015), ("Low Terrace", "B2", 2016.0)]


def refused(desk: Desk, data: bytes) -> list[str]:
    """Load a workbook that is refused and give the findings."""
    return desk.faults(desk.write("t.xlsx", data))


def clusters(desk: Desk) -> dict[int, int]:
    """Give the clusters of each live vine."""
    return {row["vine"]: row["clusters"] for row in desk.stored("cluster_tally") if row["struck_at"] is None}


# What LibreOffice saved


def test_a_form_that_libreoffice_saved_is_read_cell_by_cell(empty_desk: Desk) -> None:
    report = empty_desk.load(KEPT / "filled.xlsx")
    assert [(tally.kind, tally.rows) for tally in report.tallies] == [
        ("vineyard", 1),
        ("block", 2),
        ("vine_census", 1),
        ("cluster_tally", 6),
        ("event", 1),
    ]
    assert [row["code"] for row in empty_desk.stored("block")] == ["Ü1", "007"]
    assert clusters(empty_desk) == {1: 31, 2: 27, 3: 36, 4: 29, 5: 0, 7: 33}
    # A formula's value, a number as text and a typed percentage among them; the empty row is passed over.
    assert [row["line"] for row in empty_desk.stored("cluster_tally")] == [2, 3, 4, 5, 6, 8]
    assert {str(row["date"]) for row in empty_desk.stored("sample")} == {"2024-07-03"}
    (hail,) = empty_desk.stored("event")
    assert (hail["share_hit_percent"], hail["words"], str(hail["date"])) == (12.5, "kurz: „Hagel“ 🌨", "2024-06-18")
    assert [finding.what for finding in report.warnings] == [
        "has 1 hidden row (3), read like the others",
        "holds 1 formula (first in N5), read by the values kept",
    ]
    assert empty_desk.verify().differences == []


def test_every_wrong_cell_that_libreoffice_saved_is_named(empty_desk: Desk) -> None:
    with pytest.raises(FindingsError) as caught:
        empty_desk.load(KEPT / "wrong.xlsx")
    found = {str(finding).partition("!")[2].split(";")[0] for finding in caught.value.findings}
    date = "holds a date (2024-07-03), which a spreadsheet program may have made of other words"
    assert found == {
        "N2: holds the error #DIV/0!",
        "N3: holds the error #N/A",
        "N4: holds TRUE, a yes-or-no value",
        f"N5: {date}",
        "N6: holds a time of day (14:30) and no day",
        "N7: is formatted as a percentage (25 %)",
        "N8: '27.5' is not a whole number",
        "N9: '1,024' has a comma",
        "C10: '03.07.2024' is not a date written year-month-day",
        "C11: holds a time of day too (2024-07-03 14:30)",
        "C12: holds the number 45476 and no date",
        "N13: '-3' is negative",
        "14: has something to the right of the headings",
    }
    assert all(finding.file.endswith("wrong.xlsx:cluster_tally") for finding in caught.value.findings)
    assert empty_desk.held()["tally"] == 0


def test_a_form_moved_down_and_to_the_right_is_read_by_its_true_rows(empty_desk: Desk) -> None:
    empty_desk.load(KEPT / "moved.xlsx")
    assert [(row["line"], row["clusters"]) for row in empty_desk.stored("cluster_tally")] == [(4, 31), (5, 27)]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("merged.xlsx", "merged.xlsx:cluster_tally: has merged cells (A2:A3)"),
        ("titled.xlsx", "cluster_tally!1: holds 'My counts of July' above the headings, which stand in row 3"),
        ("hidden.xlsx", "hidden.xlsx:cluster_tally: is a hidden sheet with rows"),
        ("old.xls", "old.xls: is a document of an old format (.xls)"),
        ("open.ods", "open.ods: is an OpenDocument file (.ods)"),
    ],
)
def test_what_libreoffice_saved_otherwise_is_refused_by_name(empty_desk: Desk, name: str, words: str) -> None:
    (fault,) = empty_desk.faults(KEPT / name)
    assert words in fault


def test_what_is_wrong_with_a_whole_sheet_is_not_looked_for_on_lines(empty_desk: Desk) -> None:
    with pytest.raises(FindingsError) as caught:
        empty_desk.load(KEPT / "merged.xlsx")
    assert caught.value.hint == "mend what is named above and load the files again"


def test_days_that_count_from_1904_are_the_same_days(empty_desk: Desk) -> None:
    empty_desk.load(KEPT / "from_1904.xlsx")
    assert [str(row["date"]) for row in empty_desk.stored("sample")] == ["2024-07-03"]


# Cells


def test_a_day_of_either_system_is_read(desk: Desk) -> None:
    from openpyxl import Workbook

    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    book.active.append(COUNTS)
    book.active.append(count(1, 5, dt.date(2022, 12, 5)))
    desk.load(desk.write("t.xlsx", saved(book)), desk.write("u.xlsx", counts(count(2, 6, dt.date(2022, 12, 5)))))
    assert [str(row["date"]) for row in desk.stored("sample")] == ["2022-12-05"]


@pytest.mark.parametrize("form", ["yyyy-mm-dd", "dd.mm.yyyy", "m/d/yy", "[$-407]d. mmmm yyyy;@", "[$-F800]dddd"])
def test_a_day_is_a_day_however_it_is_shown(desk: Desk, form: str) -> None:
    def show(sheet: Worksheet) -> None:
        sheet["B2"].number_format = form

    desk.load(desk.write("t.xlsx", counts(count(1, 5, 44900), edit=show)))
    assert [str(row["date"]) for row in desk.stored("sample")] == ["2022-12-05"]


def test_whole_numbers_kept_with_a_point_are_counts(desk: Desk) -> None:
    desk.load(desk.write("t.xlsx", counts(count(1, 31.0), count(2, "27"), count(3, " 8 "))))
    assert clusters(desk) == {1: 31, 2: 27, 3: 8}


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        (2.5, "'2.5' is not a whole number"),
        (1e17, "'100000000000000000' is larger than can be kept exactly"),
        (1e300, "characters long"),
        (-1, "'-1' is negative"),
        (True, "holds TRUE, a yes-or-no value"),
        ("1,024", "'1,024' has a comma; expected a whole number"),
        (dt.time(14, 30), "holds a time of day (14:30) and no day"),
        (dt.timedelta(hours=30), "holds a length of time"),
        (dt.datetime(2024, 6, 12, tzinfo=dt.UTC).replace(tzinfo=None), "holds a date (2024-06-12)"),
        ("=1+1", "holds a formula whose value was never worked out"),
        ("#N/A", "holds the error #N/A"),
    ],
)
def test_what_is_no_count_is_refused_by_its_cell(desk: Desk, cell: object, words: str) -> None:
    found = refused(desk, counts(count(1, 5), count(2, cell)))
    assert len(found) == 1
    assert found[0].startswith("t.xlsx:Counts!G3: ")
    assert words in found[0]


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        (45476, "holds the number 45476 and no date"),
        (
            dt.datetime(2024, 6, 12, 14, 30, tzinfo=dt.UTC).replace(tzinfo=None),
            "holds a time of day too (2024-06-12 14:30)",
        ),
        ("12.6.2024", "'12.6.2024' is not a date written year-month-day"),
        (dt.date(1900, 2, 3), "holds 1900-02-03 as a number, of which spreadsheet programs disagree"),
        (False, "holds FALSE"),
    ],
)
def test_what_is_no_day_is_refused_by_its_cell(desk: Desk, cell: object, words: str) -> None:
    (found,) = refused(desk, counts(count(1, 5, cell)))
    assert found.startswith("t.xlsx:Counts!B2: ")
    assert words in found


def test_a_code_that_became_a_date_is_refused(desk: Desk) -> None:
    rows = [("vineyard", "code", "from_season"), ("Low Terrace", dt.date(2024, 3, 12), 2015)]
    (found,) = refused(desk, workbook({"block": rows}))
    assert found == (
        "t.xlsx:block!B2: holds a date (2024-03-12), which a spreadsheet program may have made of other words; "
        "expected text: format the cell as text and type it again"
    )


def test_numbers_with_many_digits_mean_what_is_shown(desk: Desk) -> None:
    rows = [
        ("issuer", "season", "number", "date", "basis", "net [kg]"),
        ("S", 2024, "7", dt.date(2024, 2, 3), "net_as_given", 0),
    ]
    data = patched(
        workbook({"load": rows}), FIRST_SHEET, lambda xml: xml.replace(b"<v>0</v>", b"<v>1234.5600000000001</v>")
    )
    desk.load(desk.write("t.xlsx", data))
    assert [row["net_milli"] for row in desk.stored("load")] == [1_234_560]


def test_a_percentage_is_a_share_and_nothing_else(desk: Desk) -> None:
    def percent(sheet: Worksheet) -> None:
        for at, form in enumerate(("0%", "0.0%", '0.0" %"', "General"), 2):
            sheet.cell(at, 4).number_format = form

    rows: list[tuple[object, ...]] = [("block", "date", "what", "share_hit")]
    shares = (0.12, 0.125, 7.5, 9)
    rows += [("A1", dt.date(2024, 1, day), "hail", share) for day, share in enumerate(shares, 1)]
    desk.load(desk.write("t.xlsx", workbook({"event": rows}, percent)))
    assert [row["share_hit_percent"] for row in desk.stored("event")] == [12.0, 12.5, 7.5, 9.0]

    def count_percent(sheet: Worksheet) -> None:
        sheet["G2"].number_format = "0%"

    assert (
        "G2: is formatted as a percentage (500 %); expected a plain number"
        in refused(desk, counts(count(9, 5), edit=count_percent))[0]
    )


def test_rich_text_and_signs_of_any_script_are_text(desk: Desk) -> None:
    words = CellRichText("grêle ", TextBlock(InlineFont(b=True), "au sud 南 🌨"))
    rows = [("block", "date", "what", "words"), ("A1", dt.date(2024, 1, 1), "hail", words)]
    desk.load(desk.write("t.xlsx", workbook({"event": rows})))
    assert [row["words"] for row in desk.stored("event")] == ["grêle au sud 南 🌨"]


def test_a_formula_is_read_by_its_value_and_told(desk: Desk) -> None:
    data = patched(
        counts(count(1, "=3+4"), count(2, 5)),
        FIRST_SHEET,
        lambda xml: xml.replace(b"<f>3+4</f><v />", b"<f>3+4</f><v>7</v>").replace(
            b"<f>3+4</f><v></v>", b"<f>3+4</f><v>7</v>"
        ),
    )
    report = desk.load(desk.write("t.xlsx", data))
    assert clusters(desk) == {1: 7, 2: 5}
    assert [desk.short(str(warning)) for warning in report.warnings] == [
        "t.xlsx:Counts: holds 1 formula (first in G2), read by the values kept"
    ]


def test_empty_rows_and_columns_behind_and_between_are_passed_over(desk: Desk) -> None:
    def spread(sheet: Worksheet) -> None:
        sheet["L40"].number_format = "0.00"
        sheet["G30"] = " "
        sheet["K2"] = "  "

    desk.load(desk.write("t.xlsx", counts(count(1, 5), (), count(2, 6), edit=spread)))
    assert [(row["line"], row["clusters"]) for row in desk.stored("cluster_tally")] == [(2, 5), (4, 6)]


def test_hidden_columns_and_filtered_rows_are_told_and_read(desk: Desk) -> None:
    def hide(sheet: Worksheet) -> None:
        sheet.auto_filter.ref = "A1:G3"
        sheet.row_dimensions[3].hidden = True
        sheet.column_dimensions["E"].hidden = True
        sheet.column_dimensions["Z"].hidden = True

    report = desk.load(desk.write("t.xlsx", counts(edit=hide)))
    assert clusters(desk) == {1: 31, 2: 27}
    assert [warning.what for warning in report.warnings] == [
        "has 1 hidden column (E), read like the others",
        "has 1 hidden row (3), read like the others",
    ]


# Sheets


def test_a_sheet_is_known_by_its_name_or_by_its_headings(desk: Desk) -> None:
    sheets: dict[str, Sequence[Sequence[object]]] = {
        "Cluster Tally 2": [COUNTS, count(1, 5)],
        "July": [COUNTS, count(2, 6)],
        "Read me": [("anything",), ("at all",)],
        "Lists": [("block",), ("A1",)],
        "event": [("block", "date", "what")],
        "training": [],
        "Costs": [("hours", "paid"), (3, 40)],
    }
    report = desk.load(desk.write("t.xlsx", workbook(sheets)))
    assert [(desk.short(tally.name), tally.rows) for tally in report.tallies] == [
        ("t.xlsx:Cluster Tally 2", 1),
        ("t.xlsx:July", 1),
    ]
    assert [desk.short(str(warning)) for warning in report.warnings] == [
        "t.xlsx:Costs: is no sheet of a kind and was not read"
    ]


def test_a_sheet_that_is_almost_a_tally_is_refused_rather_than_passed_over(desk: Desk) -> None:
    headings = ("block", "date", "chosen", "counted_by", "row", "vine", "bunches")
    found = refused(desk, workbook({"July": [headings, count(1, 5)]}))
    known = [field.name for field in tally_fields(KINDS["cluster_tally"])]
    assert found == [
        "t.xlsx:July!1: the heading 'clusters' is missing; expected the headings of `vinebook form cluster_tally`",
        f"t.xlsx:July!G1: is no heading of a cluster_tally tally; expected one of: {', '.join(known)}",
    ]


def test_a_workbook_without_rows_is_refused(desk: Desk) -> None:
    (found,) = refused(desk, workbook({"Read me": [("words",)], "event": [("block", "date", "what")]}))
    assert found.startswith("t.xlsx: holds no rows of any kind; expected a sheet with the headings of a form")


def test_blocks_and_what_names_them_come_in_one_workbook_and_beside_text(desk: Desk) -> None:
    rows = [COUNTS, ("B1", "2022-12-05", "random", "KL", 1, 1, 4)]
    text = "block,date,chosen,counted_by,row,vine,clusters\nB2,2022-12-05,random,KL,1,1,9\n"
    report = desk.load(desk.write("c.csv", text), desk.write("t.xlsx", workbook({"Counts": rows, "Blocks": BLOCKS})))
    assert [(desk.short(tally.name), tally.kind) for tally in report.tallies] == [
        ("t.xlsx:Blocks", "block"),
        ("c.csv", "cluster_tally"),
        ("t.xlsx:Counts", "cluster_tally"),
    ]


def test_a_dry_run_stores_nothing(desk: Desk) -> None:
    before = desk.held()
    report = desk.load(desk.write("t.xlsx", counts()), dry_run=True)
    assert [tally.rows for tally in report.tallies] == [2]
    assert desk.held() == before


# The record of it


def test_the_bytes_of_a_workbook_are_kept_once_and_serve_every_sheet(desk: Desk) -> None:
    data = workbook({"Blocks": BLOCKS, "Counts": [COUNTS, count(1, 5)]})
    report = desk.load(desk.write("t.xlsx", data))
    parts = desk.held()["tally_bytes"]
    with desk.book.reading() as connection:
        assert [b"".join(kept_file(connection, tally.number)) == data for tally in report.tallies] == [True, True]
    assert parts == 3  # two files of places, and one workbook
    assert desk.verify().differences == []
    assert reread(desk.book) == []


def test_a_row_knows_its_sheet(desk: Desk) -> None:
    desk.load(desk.write("t.xlsx", counts()))
    record = desk.stored("cluster_tally")[1]["record"]
    with desk.book.reading() as connection:
        told = shown_record(connection, "cluster_tally", f"#{record}", units="metric")
    assert told["from"].startswith("sheet Counts, row 3 of t.xlsx (tally 3, SHA-256 ")


def test_the_same_workbook_again_changes_nothing(desk: Desk) -> None:
    data = workbook({"Blocks": BLOCKS, "Counts": [COUNTS, count(1, 5)]})
    desk.load(desk.write("t.xlsx", data))
    before = desk.held()
    report = desk.load(desk.write("u.xlsx", data))
    assert [(tally.number, tally.rows, tally.already[:14]) for tally in report.tallies] == [
        (3, 0, "as t.xlsx:Bloc"),
        (4, 0, "as t.xlsx:Coun"),
    ]
    assert desk.held() == before


def test_the_same_keys_in_another_workbook_are_told_by_rows(desk: Desk) -> None:
    desk.load(desk.write("t.xlsx", counts()))
    found = desk.faults(desk.write("u.xlsx", counts(count(3, 4), count(1, 31), count(3, 5))))
    assert [words.split(", loaded")[0] for words in found] == [
        "u.xlsx:Counts!3: 1 row has a key (row 3) that came in with t.xlsx:Counts",
        "u.xlsx:Counts!4: has the same key as row 2 (sample, row, vine); expected each key once",
    ]


def test_a_workbook_is_replaced_as_a_whole_or_by_the_sheet(desk: Desk) -> None:
    blocks: dict[str, Sequence[Sequence[object]]] = {
        "Blocks": BLOCKS,
        "Counts": [COUNTS, ("B1", "2022-12-05", "random", "KL", 1, 1, 4)],
    }
    desk.load(desk.write("t.xlsx", workbook(blocks)))
    mended: dict[str, Sequence[Sequence[object]]] = {
        "Blocks": BLOCKS,
        "Counts": [COUNTS, ("B1", "2022-12-05", "random", "KL", 1, 1, 7)],
    }
    new = desk.write("mended.xlsx", workbook(mended))
    report, done = replace_tally(desk.book, new, "t.xlsx", reason="typo", by="KL")
    assert (done.name, done.rows, done.tallies) == ("t.xlsx", 3, (3, 4))
    assert [tally.rows for tally in report.tallies] == [2, 1]
    assert clusters(desk) == {1: 7}
    once_more = desk.write(
        "sheet.csv", "block,date,chosen,counted_by,row,vine,clusters\nB1,2022-12-05,random,KL,1,1,8\n"
    )
    _, done = replace_tally(desk.book, once_more, "mended.xlsx:Counts", reason="typo", by="KL")
    assert (done.name, done.rows, done.tallies) == ("mended.xlsx:Counts", 1, ())
    assert clusters(desk) == {1: 8}
    assert desk.verify().differences == []
    with pytest.raises(CorrectionError, match="named by live records"):
        replace_tally(desk.book, desk.write("x.xlsx", workbook(blocks)), "mended.xlsx", reason="typo", by="KL")


def test_a_workbook_whose_rows_were_struck_comes_in_again(desk: Desk) -> None:
    data = counts()
    desk.load(desk.write("t.xlsx", data))
    replace_tally(desk.book, desk.write("u.xlsx", counts(count(1, 4))), "t.xlsx", reason="typo", by="KL")
    replace_tally(desk.book, desk.write("t.xlsx", data), "u.xlsx", reason="it was right", by="KL")
    assert clusters(desk) == {1: 31, 2: 27}
    assert desk.verify().differences == []


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("DELETE FROM tally_bytes WHERE tally = 3", ["tally 3 ", "tally 4 "]),
        ("INSERT INTO tally_bytes SELECT 4, 0, bytes FROM tally_bytes WHERE tally = 3", ["tally 4 "]),
    ],
)
def test_bytes_of_a_workbook_that_go_or_come_are_named(desk: Desk, statement: str, words: list[str]) -> None:
    desk.load(desk.write("t.xlsx", workbook({"Blocks": BLOCKS, "Counts": [COUNTS, count(1, 5)]})))
    desk.tamper(statement)
    found = desk.verify().differences
    assert [word for word in words if any(one.startswith(word) for one in found)] == words


def test_rereading_tells_what_todays_reader_reads_otherwise_by_row(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from vinebook.intake import workbook_cells

    desk.load(desk.write("t.xlsx", counts(count(1, 5), count(2, 6))))
    monkeypatch.setattr(workbook_cells, "number_text", lambda number: str(int(number) + (number == 6)))
    assert reread(desk.book) == ["tally 3 (t.xlsx:Counts) row 3: clusters was read as 6, today as 7"]


def test_what_is_read_is_what_was_kept_though_the_file_changes(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from vinebook.intake import load as loading
    from vinebook.intake import workbook as workbooks

    first, second = counts(count(1, 5)), counts(count(1, 9))
    path = desk.write("t.xlsx", first)
    opened: Any = workbooks.open_tallies

    def changed(*given: object, **more: object) -> object:
        found = opened(*given, **more)
        path.write_bytes(second)
        return found

    monkeypatch.setattr(loading, "open_tallies", changed)
    report = load_tallies(desk.book, [path], by="KL")
    assert clusters(desk) == {1: 5}
    with desk.book.reading() as connection:
        assert b"".join(kept_file(connection, report.tallies[0].number)) == first
