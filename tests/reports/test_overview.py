"""An overview sets the blocks of a season side by side, and those clearly outside a band come first."""

from __future__ import annotations

import dataclasses
import io
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import page as validator
import pikepdf
import pytest

from tests.desk import SOUTH, Desk
from tests.reports.test_history_page import compare
from vinebook.errors import ReportError
from vinebook.printing import make_report
from vinebook.reports.block_rows import BlockRow, Column, Mark, draw_rows
from vinebook.reports.fonts import width_em
from vinebook.reports.overview import HEADS, LISTED, overview_page
from vinebook.reports.paper import FORMATS
from vinebook.reports.render import print_page
from vinebook.reports.wanted import Wanted
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.model import Band, Figure, Reading
from vinebook.seasons.overview import Overview, OverviewBlock

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units
    from vinebook.reports.paper import Paper

HEADING_PT, LEFT_OF_CELL_PT, SEMIBOLD = 8, 2, 1.05
GOLDEN = Path(__file__).parent / "golden"
BAND = Band(4.0, 10.0, "an author, a year, a page", "Author 2001")


def figure(block: str, name: str, unit: str, value: float | None, reading: Reading, **more: object) -> Figure:
    """Give a figure of season 2022."""
    spread = None if value is None else 0.1 * value
    return Figure(
        block,
        2022,
        name,
        value,
        unit,
        low=None if value is None or spread is None else value - spread,
        high=None if value is None or spread is None else value + spread,
        n=None if value is None else 20,
        band=None if reading == "not judged" else BAND,
        reading=reading,
        **more,  # type: ignore[arg-type]
    )


def block(code: str, ratio: float | None, reading: Reading, *, more: tuple[Figure, ...] = ()) -> OverviewBlock:
    """Give a block with a ratio, and a crop of two tonnes."""
    waits = (
        {}
        if ratio is not None
        else {"status": "pending", "note": "the wood of 2022 is weighed at the pruning that sets 2023"}
    )
    return OverviewBlock(
        code,
        f"Field {code}",
        "Low Terrace",
        "metric",
        "Syrah",
        (
            figure(code, "crop", "t", 2.0, "not judged"),
            figure(code, "yield_to_prunings", "kg/kg", ratio, reading, **waits),
            *more,
        ),
    )


def overview(*blocks: OverviewBlock) -> Overview:
    """Give an overview of blocks."""
    return Overview(2022, blocks, "0123456789abcdef" * 4, 7, "2022-09-01T10:00:00Z")


MIXED = overview(
    block("A", 6.0, "within"),
    block("B", 4.2, "not clear"),
    block("C", None, "not judged"),
    block("D", 12.0, "above"),
    block("E", 7.0, "within", more=(figure("E", "prunings_per_m", "kg/m", 0.1, "below"),)),
    block("F", 2.0, "below"),
)


def order_of(html: str) -> list[str]:
    """Codes of the blocks in the table that sets them side by side."""
    table = html[html.index("Side by side") :]
    return re.findall(r'<th scope="row">(\w) Field', table)


def test_blocks_clearly_outside_a_band_come_first_and_those_whose_ratio_is_before_others() -> None:
    assert order_of(overview_page(MIXED).html) == ["D", "F", "E", "B", "A", "C"]


def test_what_is_outside_is_told_with_its_interval_n_and_band() -> None:
    html = overview_page(MIXED).html
    outside = html[html.index("Clearly outside a band</h2>") : html.index("Not clear: ")]
    assert all(words in outside for words in ("D Field D", "12", "10.8–13.2", "Above", "4–10, Author 2001", "20"))
    assert "B Field B" not in outside
    assert (
        "3 clearly outside a band, 1 not clear, 1 within every band that was judged and 1 not judged yet"
        in html.replace("\u00a0", " ")
    )


def test_what_waits_is_said_with_its_reason() -> None:
    html = overview_page(MIXED).html
    waiting = html[html.index("Pending and unknown") :]
    assert "the wood of 2022 is weighed at the pruning that sets 2023" in waiting
    assert "<td>C</td>" in waiting


@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_the_page_is_as_it_was_kept(units: Units, paper: Paper) -> None:
    compare(
        GOLDEN / f"overview-{units}.html", overview_page(MIXED, units=units, paper=paper, program="vinebook 0").html
    )


@pytest.mark.parametrize("count", [1, 13, 130])
def test_an_overview_of_many_blocks_prints_archival_and_accessible(count: int) -> None:
    blocks = [block(f"B{at}", 3.0 + at % 9, "above" if at % 9 == 8 else "within") for at in range(count)]
    printed = print_page(overview_page(overview(*blocks)))
    assert printed.complaints == ()
    for profile in (validator.ValidationProfile.PDF_A_3A, validator.ValidationProfile.PDF_UA_1):
        assert not validator.validate_pdf_bytes(printed.pdf, profile=profile).failures


def test_the_chart_gives_a_number_the_digits_of_the_table() -> None:
    exact = dataclasses.replace(figure("B", "yield_per_ha", "t/ha", 5.4321, "not judged"), low=None, high=None)
    wide = figure("A", "yield_per_ha", "t/ha", 9.0, "not judged")
    page = overview_page(overview(block("A", 6.0, "within", more=(wide,)), block("B", 6.0, "within", more=(exact,))))
    svg = page.images["blocks-0"]
    assert ">5.4<" in svg
    assert "5.43" not in svg + page.html


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_word_of_a_heading_fills_its_column(paper: Paper) -> None:
    every = tuple(figure("A", name, FIGURES[name].unit, 2.0, "not judged") for name in LISTED)
    html = overview_page(overview(dataclasses.replace(block("A", None, "not judged"), figures=every)), paper=paper).html
    table = html[html.index("Side by side") :]
    shares = [float(share) for share in re.findall(r'<col style="width:([\d.]+)%', table)][2 : 2 + len(LISTED)]
    for name, share in zip(LISTED, shares, strict=True):
        room = FORMATS[paper].text_width_pt * share / 100 - LEFT_OF_CELL_PT
        assert max(map(width_em, HEADS[name].split())) * HEADING_PT * SEMIBOLD < room, name


def test_names_that_carry_markup_stay_words() -> None:
    hostile = dataclasses.replace(MIXED.blocks[3], name="<script>alert(1)</script>")
    page = overview_page(overview(hostile))
    assert "<script>" not in page.html
    assert all("<script>" not in svg for svg in page.images.values())


def test_a_chart_says_in_words_what_it_shows() -> None:
    rows = [BlockRow("Not clear", "A", "Field", (Mark(5.0, 4.0, 6.0, "5.0"), Mark(label="pending")))]
    chart = draw_rows("x", [Column("Yield", "t/ha", "#000"), Column("Ratio", "kg/kg", "#000")], rows, range(1), 500)
    assert chart.alt == "A row a block, not clear first. A: yield 5.0 t/ha and ratio pending kg/kg."


def test_points_and_bands_stand_on_one_scale() -> None:
    marks = [Mark(10.0, 9.0, 11.0, "10", has_band=True, band_low=5.0, band_high=15.0), Mark(5.0, label="5")]
    rows = [BlockRow("Within its bands", code, "", (mark,)) for code, mark in zip("AB", marks, strict=True)]
    svg = draw_rows("x", [Column("Yield", "t/ha", "#000")], rows, range(2), 500).svg
    xs = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)]
    first, wide = (float(x) for x in re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', svg)[0])
    # The band runs from where 5 stands to 15, and 10 stands in its middle.
    assert xs[1] == pytest.approx(first, abs=0.02)
    assert xs[0] == pytest.approx(first + wide / 2, abs=0.02)


def test_an_overview_from_the_book_carries_its_figures(book_url: str, tmp_path: Path) -> None:
    desk = Desk(book_url, tmp_path)
    desk.load_texts(
        vineyard=SOUTH,
        block="vineyard,code,from_season,to_season\nLow Terrace,A1,2015,\nLow Terrace,A2,2015,2019\n",
        harvest_close="block,finished_on,fruit_left,fruit_left_by\nA1,2022-03-01,0,weighed\n",
    )
    pdf = make_report(desk.book, Wanted("overview")).pdf
    with pikepdf.open(io.BytesIO(pdf)) as file:
        told = json.loads(file.attachments["figures.json"].get_file().read_bytes())
    assert {(one["block"], one["season"]) for one in told["figures"]} == {("A1", 2022)}
    with pytest.raises(ReportError, match="A2 does not stand in 2022"):
        make_report(desk.book, Wanted("overview", ("A2",)))
    with pytest.raises(ReportError, match="no block stands in 2001"):
        make_report(desk.book, Wanted("overview", season=2001))


def test_a_book_without_a_closed_harvest_says_so(sqlite_book: str, tmp_path: Path) -> None:
    with pytest.raises(ReportError, match="no harvest is closed"):
        make_report(Desk(sqlite_book, tmp_path).book, Wanted("overview"))
