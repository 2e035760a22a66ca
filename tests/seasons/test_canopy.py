"""Figures of spur positions, buds, probes and leaves."""

from __future__ import annotations

from statistics import mean
from typing import TYPE_CHECKING

import numpy as np
import pytest

from tests.seasons.books import interval_of, value_of
from vinebook.formulas.fieller import fieller_paired_interval

if TYPE_CHECKING:
    from tests.seasons.books import Book

TEN = ["LL", "LCL", "G", "L", "LLCL", "C", "LLL", "G", "LC", "CLL"]


def probed(book: Book, block: int, transects: list[list[str]], **more: str) -> None:
    """Add probes of transects."""
    sample = book.sample(block, 2020, "canopy_probe", "2020-08-01", **more)
    for transect, probes in enumerate(transects, start=1):
        for probe, contacts in enumerate(probes, start=1):
            book.add("canopy_probe", sample=sample, transect=transect, probe=probe, contacts=contacts)


def arm(book: Book, sample: int, vine: int, spurs_cm: list[float], end_cm: float | None, number: int = 1) -> None:
    """Add the spurs of one arm, each with three shoots, and its end."""
    for place, distance in enumerate(spurs_cm, start=1):
        book.add(
            "bearer",
            sample=sample,
            row=1,
            vine=vine,
            bearer_number=10 * number + place,
            bearer="spur",
            arm=number,
            distance_m=distance / 100,
            nodes=2,
            count_shoots=2,
            double_shoots=0,
            noncount_shoots=1,
        )
    if end_cm is not None:
        book.add(
            "bearer",
            sample=sample,
            row=1,
            vine=vine,
            bearer_number=10 * number + 9,
            bearer="end_of_arm",
            arm=number,
            distance_m=end_cm / 100,
        )


def test_one_transect_gives_the_published_indices_without_an_interval(book: Book) -> None:
    block = book.block()
    probed(book, block, [TEN])
    printed = {"gap_share": 20, "leaf_layer_number": 1.4, "interior_leaf_share": 21.43, "interior_cluster_share": 40}
    for name, value in printed.items():
        figure = book.figure(block, 2020, name)
        assert figure.value == pytest.approx(value, abs=0.005)
        assert (figure.low, figure.n) == (None, 1)
        assert figure.note == "a single transect or cane has no spread, hence no interval"


def test_transects_are_the_units_of_the_interval(book: Book) -> None:
    block = book.block()
    probed(book, block, [TEN, TEN[:5] * 2, ["LL"] * 10])
    figure = book.figure(block, 2020, "leaf_layer_number")
    leaves = [14, 16, 20]
    assert figure.value == pytest.approx(sum(leaves) / 30)
    assert figure.n == 3
    assert figure.low is not None
    assert figure.high is not None
    low, high = interval_of(figure)
    assert low < value_of(figure) < high
    gaps = book.figure(block, 2020, "gap_share")
    assert gaps.value == pytest.approx(100 * 4 / 30)
    assert gaps.low is not None


def test_without_a_leaf_there_is_no_share_of_interior_leaves(book: Book) -> None:
    block = book.block()
    probed(book, block, [["C", "G", "SS"], ["C", "C", "G"]])
    figure = book.figure(block, 2020, "interior_leaf_share")
    assert (figure.value, figure.status, figure.note) == (None, "unknown", "the rod met none")
    assert book.figure(block, 2020, "gap_share").value == pytest.approx(50)
    assert book.figure(block, 2020, "leaf_layer_number").value == 0


def test_what_was_not_counted_has_no_row(book: Book) -> None:
    block = book.block()
    probed(book, block, [TEN])
    names = {figure.figure for figure in book.figures(block)}
    assert "gap_share" in names
    assert not names & {"spur_spacing", "bud_mortality", "leaf_area_to_fruit"}


def test_spurs_are_measured_along_each_arm_to_its_end(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "bearer", "2020-05-10")
    arm(book, sample, 1, [10, 22, 32], 80)
    arm(book, sample, 1, [12, 32], 35, number=2)
    arm(book, sample, 2, [10, 20, 36], 40)
    spacing = book.figure(block, 2020, "spur_spacing")
    assert spacing.value == pytest.approx(mean([12, 10, 20, 10, 16]))
    assert spacing.n == 2
    assert book.figure(block, 2020, "spur_spacing_within_share").value == pytest.approx(60)
    assert book.figure(block, 2020, "longest_bare_cordon").value == pytest.approx(mean([48, 16]))
    assert book.figure(block, 2020, "shoots_per_spur").value == pytest.approx(3)


def test_an_arm_without_a_spur_is_bare_and_one_without_its_end_does_not_enter(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "bearer", "2020-05-10")
    arm(book, sample, 1, [10, 20], 25)
    arm(book, sample, 1, [], 70, number=2)
    arm(book, sample, 2, [10, 60], None)
    bare = book.figure(block, 2020, "longest_bare_cordon")
    assert value_of(bare) == pytest.approx(70)
    assert bare.n == 1


def test_the_own_band_of_a_block_wins_over_that_of_its_vineyard(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "bearer", "2020-05-10")
    arm(book, sample, 1, [0, 10, 25, 45], 50)
    name = "spur_spacing_within_share"
    assert book.figure(block, 2020, name).value == pytest.approx(100 * 2 / 3)
    band = {"figure": "spur_spacing", "source": "our own trial"}
    book.add("target_band", vineyard=book.vineyard, from_season=2015, low=18, high=22, **band)
    assert book.figure(block, 2020, name).value == pytest.approx(100 / 3)
    book.add("target_band", block=block, from_season=2015, high=22, **band)
    assert book.figure(block, 2020, name).value == pytest.approx(100)
    book.add("target_band", block=block, from_season=2021, low=1, high=2, **band)
    assert book.figure(block, 2020, name).value == pytest.approx(100)


def test_cane_pruned_vines_have_no_spur_positions(book: Book) -> None:
    block = book.block(curtains=None)
    book.add("training", block=block, from_season=2010, trained="head", curtains=1, pruned="cane")
    sample = book.sample(block, 2020, "bearer", "2020-05-10")
    arm(book, sample, 1, [10, 20], 25)
    figure = book.figure(block, 2020, "spur_spacing")
    assert (figure.value, figure.note) == (None, "cane-pruned: no spurs")


def test_the_cane_is_the_unit_of_dead_buds(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "bud_sample", "2020-02-01")
    dead = [0, 1, 5, 2, 0, 6, 1, 3, 0, 2]
    for cane, count in enumerate(dead, start=1):
        book.add("bud_sample", sample=sample, cane=cane, buds=8, primaries_dead=count)
    figure = book.figure(block, 2020, "bud_mortality")
    assert figure.value == pytest.approx(25)
    assert figure.n == 10
    assert figure.low is not None
    assert figure.high is not None
    # Canes differ more than 80 single buds would: wider than the plain Wilson interval at t(9), 15.7 to 37.4.
    assert figure.low < 15.7
    assert figure.high > 37.4


def leaves(book: Book, block: int, areas_m2: list[float]) -> None:
    """Add vines with leaf area."""
    sample = book.sample(block, 2020, "leaf_area", "2020-08-10")
    book.vines("leaf_area", sample, ({"leaf_area_m2": area} for area in areas_m2))


def test_leaf_area_and_fruit_of_the_same_vines_are_paired(book: Book) -> None:
    block = book.block()
    areas, fruit = [3.0, 3.6, 2.8, 4.1], [2.5, 3.1, 2.2, 3.2]
    leaves(book, block, areas)
    book.fruit(block, 2020, fruit, "2020-09-20")
    figure = book.figure(block, 2020, "leaf_area_to_fruit")
    assert figure.value == pytest.approx(sum(areas) / sum(fruit))
    assert "leaves and fruit are of the same vines" in figure.note
    x, y = np.array(fruit), np.array(areas)
    plain = fieller_paired_interval(len(x), x.sum(), y.sum(), (x * x).sum(), (y * y).sum(), (x * y).sum())
    assert figure.low is not None
    assert figure.high is not None
    # Four of a thousand vines were drawn: the correction narrows the interval by less than a part in a hundred.
    assert (figure.low, figure.high) == pytest.approx((float(plain.low), float(plain.high)), rel=0.01)


def test_leaf_area_without_such_vines_is_divided_by_the_yield_per_vine(book: Book) -> None:
    block = book.block()
    leaves(book, block, [3.0, 3.6, 2.8, 4.1])
    waiting = book.figure(block, 2020, "leaf_area_to_fruit")
    assert (waiting.value, waiting.status) == (None, "pending")
    book.load({block: None}, 2020, "2020-09-20", 3000)
    book.close(block, 2020, "2020-09-25")
    figure = book.figure(block, 2020, "leaf_area_to_fruit")
    assert figure.value == pytest.approx(mean([3.0, 3.6, 2.8, 4.1]) / 3.0)
    assert figure.low is not None
    assert "same vines" not in figure.note


def test_a_struck_probe_does_not_count(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "canopy_probe", "2020-08-01")
    book.add("canopy_probe", sample=sample, transect=1, probe=1, contacts="LL")
    book.add("canopy_probe", sample=sample, transect=1, probe=2, contacts="G", struck_at="2020-08-02T00:00:00Z")
    assert book.figure(block, 2020, "gap_share").value == 0
