"""Many reports at once: side by side in a folder, or bound into one; what fails is named."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import page as validator
import pikepdf
import pytest
from click.testing import CliRunner

from tests.desk import SOUTH, Desk
from vinebook.cli import vinebook
from vinebook.cli.printing import every_block, file_names
from vinebook.errors import ReportError, VinebookError, WordsError
from vinebook.printing import ReportMade, make_bound, make_report, make_reports
from vinebook.reports.wanted import Wanted

BLOCKS = (
    'vineyard,code,name,from_season\nLow Terrace,A1,Upper Field,2015\nLow Terrace,A2,"<b>Lower</b> & ""Quoted""",2015\n'
)
LOADS = "issuer,number,date,basis,net\nScale,1,2022-03-01,net_as_given,900\nScale,2,2022-03-01,net_as_given,700\n"
PARTS = "issuer,season,number,block,picked\nScale,2022,1,A1,hand\nScale,2022,2,A2,hand\n"
BOTH = [Wanted("history", ("A1",)), Wanted("history", ("A2",))]


@pytest.fixture
def desk(sqlite_book: str, tmp_path: Path) -> Desk:
    desk = Desk(sqlite_book, tmp_path)
    desk.load_texts(vineyard=SOUTH, block=BLOCKS, load=LOADS, load_part=PARTS)
    return desk


def test_reports_made_side_by_side_are_those_made_one_by_one(desk: Desk) -> None:
    together = {
        wanted.name: made.pdf if isinstance(made, ReportMade) else made
        for wanted, made in make_reports(desk.url, BOTH, workers=2)
    }
    assert together == {wanted.name: make_report(desk.book, wanted).pdf for wanted in BOTH}


@pytest.mark.parametrize("workers", [1, 2])
def test_a_report_that_cannot_be_made_is_named_and_the_others_come(desk: Desk, workers: int) -> None:
    wanted = [Wanted("history", ("A1",)), Wanted("history", ("A9",)), Wanted("history", ("A2",))]
    made = {one.name: done for one, done in make_reports(desk.url, wanted, workers=workers)}
    assert isinstance(made["A1"], ReportMade)
    assert isinstance(made["A2"], ReportMade)
    trouble = made["A9"]
    assert isinstance(trouble, WordsError)
    assert "A9" in trouble.message
    assert trouble.hint


def test_a_program_without_a_guard_can_print_side_by_side(desk: Desk) -> None:
    program = """
import sys
from vinebook.printing import make_reports
from vinebook.reports.wanted import Wanted
both = [Wanted("history", (code,)) for code in ("A1", "A2")]
for wanted, made in make_reports(sys.argv[1], both, workers=2):
    print(wanted.name, type(made).__name__)
"""
    (path := desk.folder / "program.py").write_text(program, encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parents[1])}
    done = subprocess.run([sys.executable, path, desk.url], capture_output=True, text=True, env=environment, check=True)
    assert sorted(done.stdout.splitlines()) == ["A1 ReportMade", "A2 ReportMade"]


def test_a_block_with_a_slash_in_its_code_is_printed_as_any_other(desk: Desk, tmp_path: Path) -> None:
    desk.load_texts(block="vineyard,code,from_season\nLow Terrace,12/3,2020\n")
    assert every_block(desk.book) == ("12//3", "A1", "A2")
    names = [f"--book={desk.url}", "report"]
    for words, made in (
        (("history", "--all", "-o", f"{tmp_path}/all/"), "all/12_3.pdf"),
        (("history", "12//3", "A1", "--bound", "-o", f"{tmp_path}/bound.pdf"), "bound.pdf"),
        (("trail", "12//3", "-o", f"{tmp_path}/trail.pdf"), "trail.pdf"),
        (("overview", "12//3", "--season", "2024", "-o", f"{tmp_path}/over.pdf"), "over.pdf"),
    ):
        done = CliRunner().invoke(vinebook, [*names, *words], prog_name="vinebook")
        assert done.exit_code == 0, done.output
        assert (tmp_path / made).exists()
    # The code as it is serves as well, where no other key reads so.
    done = CliRunner().invoke(vinebook, [*names, "history", "12/3", "-o", f"{tmp_path}/x.pdf"], prog_name="vinebook")
    assert (done.exit_code, (tmp_path / "x.pdf").exists()) == (0, True)


def test_a_block_named_twice_is_printed_once(desk: Desk, tmp_path: Path) -> None:
    words = [f"--book={desk.url}", "report", "history", "A1", "A1", "-o", f"{tmp_path}/a1.pdf"]
    done = CliRunner().invoke(vinebook, words, prog_name="vinebook")
    assert (done.exit_code, done.stderr) == (0, f"wrote {tmp_path}/a1.pdf\n")


def test_a_book_that_is_gone_is_told_for_each_report(tmp_path: Path) -> None:
    made = dict(make_reports(str(tmp_path / "gone.db"), BOTH, workers=2))
    assert len(made) == 2
    assert all(isinstance(trouble, VinebookError) and "no book" in trouble.message for trouble in made.values())


def test_a_bound_book_has_contents_bookmarks_and_pages_of_each_report(desk: Desk) -> None:
    made = make_bound(desk.book, BOTH, "Both")
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        with pdf.open_outline() as outline:
            titles = [item.title for item in outline.root]
            assert titles == ["Both", "A1 Upper Field", 'A2 <b>Lower</b> & "Quoted"']
            assert all(item.children for item in outline.root[1:])
        assert "A1-figures.json" in pdf.attachments
        assert "A2-load_part.csv" in pdf.attachments
    for profile in (validator.ValidationProfile.PDF_A_3A, validator.ValidationProfile.PDF_UA_1):
        assert not validator.validate_pdf_bytes(made.pdf, profile=profile).failures


def test_a_report_of_a_block_holds_no_rows_of_another(desk: Desk) -> None:
    with pikepdf.open(io.BytesIO(make_report(desk.book, BOTH[0]).pdf)) as pdf:
        inside = {name: found.get_file().read_bytes().decode() for name, found in pdf.attachments.items()}
    assert "Scale/2022/1" in inside["load.csv"]
    assert all("A2" not in text and "Scale/2022/2" not in text for text in inside.values())


def test_nothing_cannot_be_bound(desk: Desk) -> None:
    from vinebook.reports.bound import bind_pages

    with pytest.raises(ReportError):
        bind_pages([], [], "Nothing", "a4")


def test_file_names_are_plain_and_each_block_has_its_own() -> None:
    names = file_names(["A1", "a1", "../x", "N/S", "北", "..."])
    assert names == {"A1": "A1", "a1": "a1-2", "../x": "x", "N/S": "N_S", "北": "北", "...": "block"}
