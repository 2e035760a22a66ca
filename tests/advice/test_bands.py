"""Bands by author and canopy, and how a figure is read against one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from vinebook.advice.bands import band_sets, default_set, judge, judged
from vinebook.errors import WordsError
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.context import BlockContext, JudgingContext, Target
from vinebook.seasons.model import Figure

if TYPE_CHECKING:
    from vinebook.seasons.model import Band

LATER = {"leaf_area_to_fruit", "leaf_layer_number", "gap_share"}
"""Figures of kinds that the book does not hold yet."""


def ratio(value: float | None, low: float | None = None, high: float | None = None, **more: Any) -> Figure:  # noqa: ANN401 - fields of a figure
    given: dict[str, Any] = {"figure": "yield_to_prunings", "unit": "kg/kg", **more}
    return Figure(block="A1", season=2019, value=value, low=low, high=high, **given)


def band_of(figure: Figure) -> Band:
    """Give the band of a figure that has one."""
    assert figure.band is not None, figure
    return figure.band


def context(cultivar: str = "Grey Hen", curtains: int | None = 1, band_set: str = "", *targets: Target) -> BlockContext:
    trained = () if curtains is None else ((2000, curtains),)
    return BlockContext(((2000, None, cultivar),), trained, targets, band_set)


@pytest.mark.parametrize(("value", "reading"), [(7.8, "below"), (6.0, "below"), (8.1, "within")])
def test_five_year_means_of_three_trainings_read_as_their_authors_read_them(value: float, reading: str) -> None:
    """Bordelon, Skinkis and Howard 2008, AJEV 59: 39-46, against their accepted range of 8 to 12."""
    assert judged(ratio(value), context("Traminette", band_set="Bordelon et al. 2008")).reading == reading


@pytest.mark.parametrize(
    ("band_set", "cultivar", "reading"),
    [
        ("", "Grey Hen", "above"),
        ("Bravdo et al. 1985", "Cabernet Sauvignon", "above"),
        ("Bravdo et al. 1984", "Carignane", "within"),
        ("Bordelon et al. 2008", "Traminette", "within"),
        ("Bates et al. 2021", "Concord", "below"),
    ],
)
def test_a_ratio_of_eleven_reads_by_source_and_cultivar(band_set: str, cultivar: str, reading: str) -> None:
    assert judged(ratio(11.0), context(cultivar, band_set=band_set)).reading == reading


def test_a_band_of_one_cultivar_does_not_judge_another() -> None:
    figure = judged(ratio(4.5), context("White Hen", band_set="Mawdsley et al. 2018"))
    assert band_of(figure).name == default_set().name == "Kliewer & Dokoozlian 2005"
    assert band_of(judged(ratio(4.5), context("pinot noir", band_set="Mawdsley et al. 2018"))).high == 6.0


@pytest.mark.parametrize(
    ("value", "reading"),
    [(0.4, "below"), (0.6, "not judged"), (1.0, "within"), (1.5, "not judged"), (2.5, "above")],
)
def test_holes_between_published_classes_are_not_judged(value: float, reading: str) -> None:
    """4, 6, 10, 15 and 25 cm² of leaf per g of fruit against WineSkills' low, moderate and high."""
    figure = ratio(value, figure="leaf_area_to_fruit", unit="m²/kg")
    assert judged(figure, context(band_set="WineSkills")).reading == reading


def test_a_divided_canopy_has_its_own_band() -> None:
    assert judged(ratio(4.5), context(curtains=1)).reading == "within"
    assert judged(ratio(4.5), context(curtains=2)).reading == "below"
    assert judged(ratio(4.5), context(curtains=None)).reading == "not judged", "the canopy is not known"


def test_an_interval_that_crosses_a_limit_is_not_clear() -> None:
    assert judged(ratio(9.0, 8.0, 9.9), context()).reading == "within"
    assert judged(ratio(9.0, 8.0, 10.1), context()).reading == "not clear"
    assert judged(ratio(9.0, 3.0, 20.0), context()).reading == "not clear"
    assert judged(ratio(12.0, 10.5, 14.0), context()).reading == "above"
    assert judged(ratio(2.0, 1.0, 3.9), context()).reading == "below"


def test_the_blocks_own_target_wins_then_its_vineyards() -> None:
    house = Target("yield_to_prunings", 5.0, 7.0, 2010, "house style", is_of_block=False)
    own = Target("yield_to_prunings", 10.0, None, 2018, "our own trial", is_of_block=True)
    figure = judged(ratio(9.0), context("Grey Hen", 1, "", house, own))
    assert (band_of(figure).low, band_of(figure).high, figure.reading) == (10.0, None, "below")
    assert band_of(figure).source == "target of the block from 2018: our own trial"
    assert judged(ratio(9.0), context("Grey Hen", 1, "", house)).reading == "above"


def test_a_figure_without_a_value_or_still_partial_is_not_judged() -> None:
    waiting = judged(ratio(None, status="pending"), context())
    assert waiting.reading == "not judged"
    assert waiting.band is not None, "the band is shown while the figure is awaited"
    assert judged(ratio(50.0, status="partial"), context()).reading == "not judged"


def test_a_figure_per_metre_of_row_is_not_judged_by_a_band_per_metre_of_canopy() -> None:
    wood: dict[str, Any] = {"figure": "prunings_per_m", "unit": "kg/m"}
    assert judged(ratio(0.7, per="m of canopy", **wood), context()).reading == "within"
    assert judged(ratio(0.7, per="m of row", **wood), context()).reading == "not judged"


def test_a_ratio_of_fifty_five_is_read_and_never_refused() -> None:
    assert judged(ratio(54.8), context()).reading == "above"


def test_an_unknown_set_of_bands_is_refused_by_name() -> None:
    with pytest.raises(WordsError, match="no set of bands is called Nobody 1900"):
        judged(ratio(5.0), context(band_set="Nobody 1900"))


def test_figures_are_judged_by_their_own_block() -> None:
    figures = judge([ratio(4.5)], JudgingContext({"A1": context(curtains=2)}))
    assert [figure.reading for figure in figures] == ["below"]


def test_every_published_band_says_where_it_was_printed() -> None:
    assert len(band_sets()) >= 10
    for group in band_sets().values():
        for band in group.bands:
            assert band.mark in ("VERIFIED", "SECOND HAND", "FROM MEMORY")
            assert band.source
            assert band.figure in FIGURES or band.figure in LATER
            assert band.low is not None or band.high is not None
            assert band.low is None or band.high is None or band.low < band.high
            assert band.canopy in ("any", "single", "divided")


def test_what_was_not_read_again_says_so() -> None:
    figure = judged(ratio(8.0), context(band_set="Smart & Robinson 1991"))
    assert band_of(figure).source.endswith("(from memory)")
