"""The workbook of forms: what a person finds in it, that it is the same bytes each time, and that it comes back in."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import pytest
from openpyxl import load_workbook

from tests.desk import Desk, places
from vinebook.exchange.workbooks import form_workbook
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.form import LISTS_SHEET, READ_ME_SHEET, tally_fields

if TYPE_CHECKING:
    from pathlib import Path

    from openpyxl import Workbook

ALL = list(LOADED_KINDS.values())
BLOCKS = {"block": ["A1", "A2"], "vineyard": ["Low Terrace"], "consignee": []}


def opened(data: bytes) -> Workbook:
    """Open the bytes of a workbook."""
    return load_workbook(io.BytesIO(data))


@pytest.fixture(scope="module")
def forms() -> Workbook:
    """Give the workbook of every form, with blocks to choose from."""
    return opened(form_workbook(ALL, "metric", BLOCKS))


def checks_of(forms: Workbook, kind: str, field: str) -> Any:  # noqa: ANN401 - openpyxl's own
    """Give what is checked below a heading."""
    at = [one.name for one in tally_fields(LOADED_KINDS[kind])].index(field) + 1
    place = forms[kind].cell(2, at).coordinate
    return next((check for check in forms[kind].data_validations.dataValidation if place in check.sqref), None)


def test_the_first_sheet_explains_and_every_kind_has_one(forms: Workbook) -> None:
    assert forms.sheetnames == [READ_ME_SHEET, *LOADED_KINDS, LISTS_SHEET]
    words = " ".join(str(cell.value) for row in forms[READ_ME_SHEET] for cell in row if cell.value)
    for kind in ALL:
        assert f"One row is {kind.one_row}." in words
    for word in ("vinebook load FILE.xlsx", "[kg]", "year-month-day", "must be filled", "Do not merge", "re-entry"):
        assert word in words


def test_headings_tell_unit_and_what_must_be_filled(forms: Workbook) -> None:
    headings = [cell.value for cell in forms["pruned_vine"][1]]
    assert headings[:5] == ["block *", "season", "date *", "part", "chosen *"]
    assert "prunings [kg]" in headings
    in_us = opened(form_workbook([LOADED_KINDS["pruned_vine"]], "us"))
    assert "prunings [lb]" in [cell.value for cell in in_us["pruned_vine"][1]]


def test_every_heading_has_a_note_with_its_help(forms: Workbook) -> None:
    for kind in ALL:
        for field, cell in zip(tally_fields(kind), forms[kind.name][1], strict=True):
            assert field.help in cell.comment.text


def test_cells_are_checked_as_their_fields_want(forms: Workbook) -> None:
    chosen = checks_of(forms, "cluster_tally", "chosen")
    assert (chosen.type, chosen.formula1) == ("list", '"random,every_kth,panels,hand_picked"')
    date = checks_of(forms, "cluster_tally", "date")
    assert (date.type, date.formula1) == ("date", "DATE(1950,1,1)")
    clusters = checks_of(forms, "cluster_tally", "clusters")
    assert (clusters.type, clusters.operator, clusters.formula1) == ("whole", "greaterThanOrEqual", "0")
    share = checks_of(forms, "event", "share_hit")
    assert (share.type, share.formula1, share.formula2) == ("decimal", "0", "100")
    prunings = checks_of(forms, "pruned_vine", "prunings")
    assert (prunings.type, prunings.formula2) == ("decimal", "1000")
    assert checks_of(forms, "event", "words") is None


def test_blocks_of_the_book_are_offered_and_others_asked_about(forms: Workbook) -> None:
    block = checks_of(forms, "cluster_tally", "block")
    assert (block.type, block.errorStyle) == ("list", "warning")
    sheet, _, cells = block.formula1.partition("!")
    assert sheet == LISTS_SHEET
    assert [cell[0].value for cell in forms[LISTS_SHEET][cells.replace("$", "")]] == ["A1", "A2"]
    assert checks_of(forms, "load", "consignee") is None
    bare = opened(form_workbook([LOADED_KINDS["cluster_tally"]]))
    assert checks_of(bare, "cluster_tally", "block") is None


def test_long_lists_of_choices_stand_on_the_sheet_of_lists(forms: Workbook) -> None:
    longest = max(
        (field for kind in ALL for field in tally_fields(kind)), key=lambda field: len(",".join(field.choices))
    )
    assert len(",".join(longest.choices)) > 255
    listed = {tuple(cell.value for cell in column if cell.value)[1:] for column in forms[LISTS_SHEET].columns}
    assert longest.choices in listed


def test_no_inline_list_is_longer_than_spreadsheet_programs_take(forms: Workbook) -> None:
    inline = [
        check.formula1
        for kind in ALL
        for check in forms[kind.name].data_validations.dataValidation
        if check.type == "list" and check.formula1.startswith('"')
    ]
    assert inline
    assert max(map(len, inline)) <= 257


def test_codes_are_text_and_days_are_days_before_anything_is_typed(forms: Workbook) -> None:
    sheet = forms["cluster_tally"]
    fields = tally_fields(LOADED_KINDS["cluster_tally"])
    formats = {field.name: sheet.cell(2, at).number_format for at, field in enumerate(fields, 1)}
    assert (formats["block"], formats["counted_by"], formats["date"]) == ("@", "@", "yyyy-mm-dd")


def test_sheets_are_ready_to_print(forms: Workbook) -> None:
    for kind in ALL:
        sheet = forms[kind.name]
        assert (sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (
            "landscape",
            1,
            0,
        )
        assert (sheet.print_title_rows, sheet.freeze_panes, sheet.print_options.gridLines) == ("$1:$1", "A2", True)
        assert sheet.cell(20, 1).border.bottom.style == "thin"


def test_the_same_forms_are_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    first = form_workbook(ALL[:3], "metric", BLOCKS)
    monkeypatch.setattr("time.time", lambda: 1.7e9)
    assert form_workbook(ALL[:3], "metric", BLOCKS) == first
    assert b"2026-" not in first


def test_a_form_that_was_filled_in_comes_in_and_an_empty_one_does_not(sqlite_book: str, tmp_path: Path) -> None:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    data = form_workbook(ALL, "us", BLOCKS)
    assert "holds no rows of any kind" in desk.faults(desk.write("empty.xlsx", data))[0]
    forms = opened(data)
    fields = [field.name for field in tally_fields(LOADED_KINDS["pruned_vine"])]
    row = {"block": "A1", "date": "2022-07-05", "chosen": "random", "counted_by": "KL", "row": 1, "vine": 2}
    for name, value in (row | {"spurs": 10, "nodes_on_spurs": 20, "prunings": 2}).items():
        forms["pruned_vine"].cell(2, fields.index(name) + 1, value)
    page = io.BytesIO()
    forms.save(page)
    report = desk.load(desk.write("filled.xlsx", page.getvalue()))
    assert [(tally.kind, tally.rows) for tally in report.tallies] == [("pruned_vine", 1)]
    assert [row["prunings_mg"] for row in desk.stored("pruned_vine")] == [907_185]
