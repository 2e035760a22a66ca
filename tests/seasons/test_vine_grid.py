"""The vine grid of 1930 through the figures.

A. G. Strickland 1932, A vine uniformity trial, Journal of Agriculture, Victoria 30: 584-593. Yield of each vine in lb,
vines 8 ft apart in rows 10 ft apart; - is a missing vine. Numbers as in the R package agridat 1.26 (MIT licence),
strickland.grape.uniformity.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.seasons.books import value_of

if TYPE_CHECKING:
    from tests.seasons.books import Book

ROWS = """
5.5 5.5 2.5 5.5 2.5 3.5 4.5 4.5 2.5 4.5 3.5 5.5 3.5 - 3 5 4.5 3.5 1.5 4.5 - - - 3.5 3 5.5 - - 5.5 3.5 1.5
4.5 6.5 5 5.5 3.5 7.5 6.5 3.5 8.5 4.5 5.5 3.5 8.5 - 5.5 5.5 4 3.5 2 6.5 - - - 3.5 9.5 6.5 - - 7.5 5.5 6.5
5.5 4.5 6 2.5 5.5 8.5 4 4.5 5 7.5 2.5 6 9.5 - 4.5 4.5 4.5 2.5 6.5 2.5 - - - 6.5 6.5 7 - - 7.5 1.5 5.5
7 7.5 5.5 5.5 6 7.5 5.5 6 10.5 4.5 7.5 5.5 4.5 - 4 5.5 7.5 5.5 6.5 5.5 - - - 6.5 5.5 6.5 - - 5.5 6.5 8
6.5 4 4 7.5 4.5 16.5 11.5 10 9.5 8.5 8.5 11.5 3 - 7 11 9 6.5 12.5 6.5 - - - 11.5 13.5 10 - - 9.5 7.5 9
""".strip().splitlines()
LB_MG = 453_592.37
ACRE_M2 = 4046.8564224
FOOT_M = 0.3048


def grid(book: Book) -> int:
    """Put the grid into a book as vines picked alone."""
    south = book.add("vineyard", name="Rutherglen trial", hemisphere="south", units="us")
    block = book.block(
        "G1",
        vineyard=south,
        positions=155,
        bearing=125,
        vine_m=8 * FOOT_M,
        row_m=10 * FOOT_M,
        census="1930-02-01",
        from_season=1920,
    )
    sample = book.sample(block, 1930, "vine_harvest", "1930-03-01")
    for row, line in enumerate(ROWS, start=1):
        for vine, pounds in enumerate(line.split(), start=1):
            given = {"state": "missing"} if pounds == "-" else {"mass_mg": round(float(pounds) * LB_MG)}
            book.add("vine_harvest", sample=sample, row=row, vine=vine, **given)
    return block


def test_the_vine_grid_gives_the_published_yield_per_bearing_vine(book: Book) -> None:
    block = grid(book)
    figure = book.figure(block, 1930, "yield_per_vine")
    assert figure.n == 125
    assert figure.value == pytest.approx(5.944 * 0.45359237, rel=1e-6)
    assert figure.low == figure.high == figure.value, "every position was picked"
    vines_per_acre = ACRE_M2 / (8 * FOOT_M * 10 * FOOT_M)
    assert value_of(figure) / 907.18474 * vines_per_acre == pytest.approx(1.618254, abs=1e-6)


def test_the_vine_grid_gives_the_yield_of_the_planted_area_with_its_missing_vines(book: Book) -> None:
    block = grid(book)
    figure = book.figure(block, 1930, "yield_per_ha")
    assert value_of(figure) / 2.241702312388912 == pytest.approx(1.305044, abs=1e-6)
    assert "vines picked alone" in figure.note
    assert book.figure(block, 1930, "vines_missing_share").value == pytest.approx(100 * 30 / 155)
