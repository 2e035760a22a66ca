"""Reports last and are read by everybody: PDF/A-3a and PDF/UA-1 together, with rows and figures inside."""

from __future__ import annotations

import csv
import io
import json
import re
import zlib
from typing import TYPE_CHECKING

import page as validator
import pikepdf
import pydyf
import pytest

from tests.reports import histories
from vinebook.reports import archive
from vinebook.reports.archive import Enclosure, enclosures_of
from vinebook.reports.history import history_page
from vinebook.reports.render import Page, print_page

if TYPE_CHECKING:
    from collections.abc import Callable

ARCHIVAL = validator.ValidationProfile.PDF_A_3A
ACCESSIBLE = validator.ValidationProfile.PDF_UA_1
ROWS = [("load", 'key,net\n"V/2021/7",1012.5\n')]


def failures(pdf: bytes) -> set[str]:
    """Give what a validator of PDF/A-3a (ISO 19005-3) and PDF/UA-1 (ISO 14289-1) has against a file."""
    return {
        f"{failure.rule_id}: {failure.message}"
        for profile in (ARCHIVAL, ACCESSIBLE)
        for failure in validator.validate_pdf_bytes(pdf, profile=profile).failures
    }


def with_enclosures(page: Page, figures: tuple = ()) -> Page:
    """Give a page that carries figures and rows inside it."""
    return Page(page.html, page.images, page.warnings, enclosures_of(figures, ROWS), page.made_at)


@pytest.mark.parametrize("name", list(histories.ALL))
def test_every_history_is_archival_and_accessible(name: str) -> None:
    history = histories.ALL[name]()
    page = with_enclosures(history_page(history), history.figures)
    assert failures(print_page(page).pdf) == set()


def test_the_validator_finds_fault_with_a_file_that_is_neither() -> None:
    pdf = pydyf.PDF()
    pdf.add_page(
        pydyf.Dictionary({"Type": "/Page", "Parent": pdf.pages.reference, "MediaBox": pydyf.Array([0, 0, 9, 9])})
    )
    plain = io.BytesIO()
    pdf.write(plain)
    assert len(failures(plain.getvalue())) > 2


def test_the_figures_and_the_rows_are_inside() -> None:
    history = histories.twelve_seasons()
    pdf = print_page(with_enclosures(history_page(history), history.figures)).pdf
    with pikepdf.open(io.BytesIO(pdf)) as file:
        inside = {name: found.get_file().read_bytes() for name, found in file.attachments.items()}
        assert set(inside) == {"figures.json", "load.csv"}
        told = json.loads(inside["figures.json"])
        assert told["format"] == 1
        assert len(told["figures"]) == len(history.figures)
        first = next(figure for figure in history.figures if figure.value is not None)
        same = next(one for one in told["figures"] if one["value"] is not None)
        assert same["value"] == pytest.approx(first.value, rel=1e-11)
        assert next(csv.DictReader(io.StringIO(inside["load.csv"].decode())))["net"] == "1012.5"
        relations = {str(one.UF): str(one.AFRelationship) for one in file.Root.AF}
        assert relations == {"figures.json": "/Data", "load.csv": "/Source"}


def test_tables_say_in_which_direction_their_headers_speak() -> None:
    with pikepdf.open(io.BytesIO(print_page(history_page(histories.twelve_seasons())).pdf)) as file:
        scopes = [
            str(one.A.Scope)
            for one in file.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/S") == pikepdf.Name.TH and "/A" in one
        ]
    assert {"/Column", "/Row"} == set(scopes)


def test_every_figure_of_a_page_says_what_it_shows() -> None:
    with pikepdf.open(io.BytesIO(print_page(history_page(histories.twelve_seasons())).pdf)) as file:
        told = [
            str(one.Alt)
            for one in file.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/S") == pikepdf.Name.Figure
        ]
    assert told
    assert all(len(words) > 20 for words in told)


def content_ending_in_cr(start: str) -> str:
    """Give text whose compressed form ends in CR: the last byte of its Adler-32 sum is 13."""
    for at in range(10_000):
        text = f"{start}{at * at * 7919}"
        if zlib.adler32(text.encode()) & 0xFF == 13:
            return text
    raise AssertionError


def test_no_stream_ends_in_a_sign_that_reads_as_a_line_end() -> None:
    page = Page(
        '<html lang="en"><title>A page</title><h1>A page</h1></html>',
        enclosures=(Enclosure("rows.csv", "Rows", content_ending_in_cr("rows ").encode()),),
    )
    pdf = print_page(page).pdf
    assert archive.AMBIGUOUS_END not in pdf
    assert failures(pdf) == set()


@pytest.mark.parametrize("objects", range(40))
def test_the_file_s_own_tables_do_not_end_so_either(objects: int) -> None:
    def filled() -> pydyf.PDF:
        pdf = pydyf.PDF()
        for at in range(objects):
            pdf.add_object(pydyf.Dictionary({"Filler": at}))
        return pdf

    def written(write: Callable[..., None] | None = None) -> bytes:
        pdf, output = filled(), io.BytesIO()
        options = (b"1.7", b"0" * 32, True)
        if write is None:
            pdf.write(output, *options)
        else:
            archive._write_plainly(pdf, pdf.write, output, options)
        return output.getvalue()

    plain, ours = written(), written(archive._write_plainly)
    assert archive.AMBIGUOUS_END not in ours
    if archive.AMBIGUOUS_END not in plain:
        assert ours == plain
    with pikepdf.open(io.BytesIO(ours)) as file:
        assert len(re.findall("Filler", str(list(file.objects)))) == objects
