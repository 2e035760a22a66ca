"""The PDF of a history: its text, pages, faces and bytes, and what it was not allowed to fetch."""

from __future__ import annotations

import gc
import hashlib
import io
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pikepdf
import pytest

from tests.reports import histories
from vinebook.errors import OutputError, ReportError, SystemLibraryError
from vinebook.reports import render
from vinebook.reports.history import history_page, render_history
from vinebook.reports.render import Page, Printed, print_page, standalone_html, write_file

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units
    from vinebook.reports.paper import Paper

ROOT = Path(__file__).parents[2]
FACES = {"Source-Sans-Pro", "Source-Sans-Pro-Light", "Source-Sans-Pro-Semi-Bold"}
PAGES = {"none": 1, "one": 4, "five": 7, "pending": 2, "twelve": 13, "hostile": 9, "twentyfive": 20}
SIZES = {"a4": (595, 842), "letter": (612, 792)}


@cache
def printed(name: str, units: Units = "metric", paper: Paper = "a4") -> Printed:
    """A history's PDF, set once for all tests that read it."""
    return print_page(history_page(histories.ALL[name](), units=units, paper=paper))


def faces_of(pdf: pikepdf.Pdf) -> dict[str, bool]:
    """Name of each face without its subset's prefix, and whether it is embedded."""
    found = {}
    for page in pdf.pages:
        for face in page.resources.get("/Font", {}).values():
            inner = face.DescendantFonts[0]
            found[str(face.BaseFont)[1:].partition("+")[2]] = "/FontFile2" in inner.FontDescriptor
    return found


@pytest.mark.parametrize("name", list(histories.ALL))
@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_every_history_prints_without_a_complaint(name: str, units: Units, paper: Paper) -> None:
    assert printed(name, units, paper).complaints == ()
    with pikepdf.open(io.BytesIO(printed(name, units, paper).pdf)) as pdf:
        if paper == "a4":
            assert len(pdf.pages) == PAGES[name]
        assert {tuple(round(float(x)) for x in page.mediabox[2:]) for page in pdf.pages} == {SIZES[paper]}
        faces = faces_of(pdf)
        assert faces
        assert set(faces) <= FACES
        assert all(faces.values())


def test_the_file_says_what_it_is() -> None:
    with pikepdf.open(io.BytesIO(render_history(histories.twelve_seasons(), program="vinebook 0"))) as pdf:
        info = pdf.docinfo
        assert str(info["/Title"]) == "B7 Long Bench: history of a block"
        assert str(info["/Author"]) == "The Hollow Lane Growers"
        assert str(info["/Creator"]) == "vinebook 0"
        assert str(info["/CreationDate"]) == "D:20250203162000Z"
        assert str(pdf.Root.Lang) == "en"


def text_of(pdf: bytes, tmp_path: Path) -> list[str]:
    """Text of each page."""
    path = tmp_path / "page.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-layout", str(path), "-"], check=True, capture_output=True, text=True)
    return done.stdout.split("\f")[:-1]


def test_the_pages_hold_what_they_should(tmp_path: Path) -> None:
    pages = text_of(printed("twelve").pdf, tmp_path)
    assert "B7 Long Bench" in pages[0]
    assert "Pinot noir on 101-14" in pages[0]
    assert "In 2023, the last complete season" in pages[0]
    assert all(title in pages[0] for title in ("Nodes kept", "Yield", "Prunings per metre", "Yield to prunings"))
    assert "pending" in pages[0]
    for number, page in enumerate(pages, 1):
        foot = page.strip().splitlines()[-1]
        assert foot.split("  ")[0] == "B7 Long Bench"
        assert foot.endswith(f"page {number} of {len(pages)}")
    assert histories.SEAL in "".join(pages[-1].split())


def test_names_that_carry_markup_are_printed_as_they_are(tmp_path: Path) -> None:
    text = "\n".join(text_of(printed("hostile").pdf, tmp_path))
    assert "<b>Bench</b> &" in text
    assert "{{7*7}}" in text
    assert "49" not in "".join(text.split("\n")[:12])
    assert "no glyph for U+6F22" in text


@pytest.mark.parametrize("name", ["one", "twentyfive", "hostile"])
@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_nothing_is_cut_at_the_edge_of_a_page(name: str, units: Units, paper: Paper, tmp_path: Path) -> None:
    path = tmp_path / "page.pdf"
    path.write_bytes(printed(name, units, paper).pdf)
    done = subprocess.run(["pdftotext", "-bbox", str(path), "-"], check=True, capture_output=True, text=True)
    width, height = SIZES[paper]
    side, top, foot = (mm * 72 / 25.4 for mm in (18, 16, 20))
    words = 0
    for line in done.stdout.splitlines():
        if "<word" in line:
            box = {
                key: float(value)
                for key, value in (part.split("=") for part in line.replace('"', "").split(">")[0].split()[1:])
            }
            words += 1
            is_footer = box["yMin"] > height - foot
            assert box["xMin"] >= side - 1, line
            assert box["xMax"] <= width - side + 2, line
            assert box["yMin"] >= top - 3, line
            assert is_footer or box["yMax"] <= height - foot + 3, line
    assert words > 100


def test_the_same_history_gives_the_same_bytes_in_another_process() -> None:
    here = hashlib.sha256(printed("twelve").pdf).hexdigest()
    code = (
        "import hashlib\nfrom tests.reports import histories\nfrom vinebook.reports.history import render_history\n"
        "print(hashlib.sha256(render_history(histories.twelve_seasons())).hexdigest())"
    )
    env = os.environ | {"PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland"}
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT, env=env)
    assert done.stdout.strip() == here


@pytest.mark.parametrize(
    "asked",
    [
        '<img src="file:///etc/hostname" alt="x">',
        '<img src="http://127.0.0.1:9/x.png" alt="x">',
        '<img src="vb:unknown.svg" alt="x">',
        '<img src="data:image/svg+xml,%3Csvg/%3E" alt="x">',
        '<link rel="attachment" href="file:///etc/hostname">',
        '<p style="background: url(file:///etc/hostname)">x</p>',
    ],
)
def test_a_page_that_asks_for_anything_else_is_refused(asked: str) -> None:
    with pytest.raises(ReportError) as caught:
        print_page(Page(f'<html lang="en"><head><title>x</title></head><body>{asked}</body></html>'))
    assert "outside the package" in caught.value.message


def test_a_complaint_of_the_typesetter_is_kept() -> None:
    done = print_page(Page('<html lang="en"><title>x</title><body style="no-such-property: 1">x</body></html>'))
    assert len(done.complaints) == 1


def test_garbage_is_collected_again_after_a_page_even_a_refused_one() -> None:
    assert gc.isenabled()
    print_page(Page('<html lang="en"><title>x</title><body>x</body></html>'))
    assert gc.isenabled()
    with pytest.raises(ReportError):
        print_page(Page('<html lang="en"><title>x</title><body><img src="file:///x" alt="x"></body></html>'))
    assert gc.isenabled()


def test_a_missing_system_library_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)

    class Finder:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "weasyprint":
                raise OSError("cannot load library 'libpango-1.0-0'\nmore")

    monkeypatch.delitem(sys.modules, "weasyprint")
    monkeypatch.setattr(sys, "meta_path", [Finder(), *sys.meta_path])
    with pytest.raises(SystemLibraryError) as caught:
        print_page(Page("<p>x</p>"))
    assert "libpango-1.0-0" in caught.value.message
    assert "apt-get install" in caught.value.hint


def test_a_report_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    write_file(tmp_path / "a.pdf", b"one")
    write_file(tmp_path / "a.pdf", b"two")
    assert (tmp_path / "a.pdf").read_bytes() == b"two"
    assert [path.name for path in tmp_path.iterdir()] == ["a.pdf"]
    with pytest.raises(OutputError) as caught:
        write_file(tmp_path / "no" / "a.pdf", b"x")
    assert "there is no folder" in caught.value.message
    with pytest.raises(OutputError):
        write_file(tmp_path, b"x")


def test_a_standalone_page_carries_its_charts() -> None:
    page = history_page(histories.one_season())
    html = standalone_html(page)
    assert f'"{render.SCHEME}' not in html
    assert html.count("data:image/svg+xml;base64,") == len(page.images) == 2
