"""What figures do not depend on: the order of rows, the unit of mass, the other blocks, the seasons asked for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.seasons.books import Book, interval_of, new_book, value_of

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure

MASSES = st.lists(st.integers(100_000, 3_000_000), min_size=2, max_size=12)
IN_MASS = {"prunings_per_vine", "prunings_per_m", "cane_weight"}


def wood_book(book: Book, milligrams: list[int], order: list[int] | None = None) -> int:
    """Make a block whose wood of 2019 was weighed."""
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    rows = [
        {"vine": vine, "prunings_mg": mass, "canes_weighed": 20 + vine} for vine, mass in enumerate(milligrams, start=1)
    ]
    book.vines("pruned_vine", sample, rows if order is None else [rows[at] for at in order])
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    return block


def numbers(figures: list[Figure]) -> dict[tuple[object, ...], tuple[float | None, ...]]:
    return {(f.block, f.season, f.figure, f.bearer, f.stage): (f.value, f.low, f.high, f.n) for f in figures}


@given(milligrams=MASSES, factor=st.integers(2, 9))
def test_masses_scaled_scale_their_figures(milligrams: list[int], factor: int) -> None:
    with new_book() as one, new_book() as other:
        small = numbers(one.figures(wood_book(one, milligrams), 2019))
        large = numbers(other.figures(wood_book(other, [factor * mass for mass in milligrams]), 2019))
    for key, (value, low, high, n) in small.items():
        scale = factor if key[2] in IN_MASS else 1 / factor if key[2] == "yield_to_prunings" else 1
        for before, after in zip((value, low, high), large[key], strict=False):
            assert (before is None) == (after is None)
            if before is not None:
                assert after == pytest.approx(scale * before, rel=1e-9)
        assert n == large[key][3]


@given(data=st.data(), milligrams=MASSES)
def test_the_order_of_rows_does_not_matter(data: st.DataObject, milligrams: list[int]) -> None:
    order = data.draw(st.permutations(range(len(milligrams))))
    with new_book() as one, new_book() as other:
        first = numbers(one.figures(wood_book(one, milligrams)))
        second = numbers(other.figures(wood_book(other, milligrams, order)))
    assert first == second


@given(milligrams=MASSES)
def test_every_number_is_finite_and_inside_its_interval(milligrams: list[int]) -> None:
    with new_book() as book:
        figures = book.figures(wood_book(book, milligrams))
    for figure in figures:
        assert figure.status in ("known", "partial") or figure.value is None
        assert figure.value is None or math.isfinite(figure.value)
        if figure.value is None:
            assert figure.note, f"{figure.figure} says why"
        if figure.low is not None:
            low, high = interval_of(figure)
            assert low <= value_of(figure) * (1 + 1e-12)
            assert value_of(figure) <= high * (1 + 1e-12)


def test_figures_do_not_depend_on_the_seasons_or_blocks_asked_for(book: Book) -> None:
    blocks = [book.block("A1"), book.block("B1", curtains=2)]
    for block in blocks:
        for season in (2016, 2017, 2019):
            book.load({block: None}, season, f"{season}-09-20", 9000)
            book.close(block, season, f"{season}-09-25")
            book.wood(block, season + 1, [1.0, 1.1, 0.9, season % 7 + 0.5], f"{season + 1}-01-10")
    whole = book.figures()
    assert [f.block for f in whole] == sorted(f.block for f in whole)
    for number, code in zip(blocks, ("A1", "B1"), strict=True):
        for season in range(2016, 2021):
            alone = book.figures(number, season)
            assert alone == [f for f in whole if f.block == code and f.season == season]
            assert alone


def test_masses_far_from_zero_keep_their_spread(book: Book) -> None:
    block = wood_book(book, [75_000_000 + step for step in (0, 1, 2, 3)])
    low, high = interval_of(book.figure(block, 2019, "prunings_per_vine"))
    assert high > low, "a spread of milligrams on 75 kg is not lost"
