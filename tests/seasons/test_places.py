"""Planting, spacing and training by season, first crops, young vines, and the wood weighed before the first season."""

from __future__ import annotations

import pytest

from tests.seasons.books import Book, day, value_of
from vinebook.seasons.history import block_history
from vinebook.seasons.notes import NOTES, REMARKS, Note, Remark, words_of

ACRE_HA = 0.40468564224
YIELDS = ("crop", "delivered", "yield_per_vine", "yield_per_ha", "yield_per_m", "yield_per_m_planted")
WOOD_KG = (0.8, 1.0, 1.2, 0.9, 1.1, 1.3, 0.7, 1.0, 1.15, 0.85)


def picked(book: Book, block: int, season: int, kg: int = 9000, picked: str = "hand") -> None:
    """Close a harvest."""
    book.load({block: None}, season, f"{season}-09-20", kg, picked=picked)
    book.close(block, season, f"{season}-09-25")


def replanted(book: Book, **second: object) -> int:
    """Make a block that is planted anew for 2018, closer, and counted."""
    block = book.add("block", vineyard=book.vineyard, code="A1", from_season=2000)
    wide = {"row_spacing_m": 3.0, "vine_spacing_m": 2.0, "positions": 1000}
    book.add("planting", block=block, from_season=2000, to_season=2017, cultivar="Grey Hen", year_planted=2000, **wide)
    close = {"row_spacing_m": 2.0, "vine_spacing_m": 1.0, "positions": 3000, "year_planted": 2018, **second}
    book.add("planting", block=block, from_season=2018, cultivar="White Hen", **close)
    book.add("training", block=block, from_season=2000, trained="cordon", curtains=2, pruned="spur")
    book.add("training", block=block, from_season=2018, trained="head", curtains=1, pruned="cane")
    book.add("vine_census", block=block, date=day("2015-06-01"), bearing=1000, young=0, missing=0)
    book.add("vine_census", block=block, date=day("2020-06-01"), bearing=2900, young=100, missing=0)
    return block


def test_each_season_has_the_spacing_and_the_curtains_that_stood_in_it(book: Book) -> None:
    block = replanted(book)
    for season, kg in ((2016, 12000), (2020, 8700)):
        picked(book, block, season, kg)
        book.wood(block, season + 1, WOOD_KG, f"{season + 1}-01-10")
    old = {figure.figure: figure for figure in book.figures(block, 2016)}
    new = {figure.figure: figure for figure in book.figures(block, 2020)}
    assert [value_of(figures["planted_area"]) for figures in (old, new)] == pytest.approx([0.6, 0.6])
    assert [value_of(figures["row_m_per_ha"]) for figures in (old, new)] == pytest.approx([10000 / 3, 5000])
    assert [value_of(figures["canopy_m_per_vine"]) for figures in (old, new)] == pytest.approx([4.0, 1.0])
    assert [value_of(figures["yield_per_m"]) for figures in (old, new)] == pytest.approx([12 / 4.0, 3.0])
    assert [value_of(figures["yield_per_m_planted"]) for figures in (old, new)] == pytest.approx([6.0, 2.9])
    assert [value_of(figures["prunings_per_m"]) for figures in (old, new)] == pytest.approx([0.25, 1.0])


def test_vines_retrained_in_the_middle_of_a_record_have_their_canopy_by_season(book: Book) -> None:
    block = book.block(curtains=2, vine_m=2.0)
    book.add("training", block=block, from_season=2018, trained="cordon", curtains=1, pruned="spur")
    for season in (2016, 2017, 2018):
        picked(book, block, season)
        book.wood(block, season + 1, [1.0, 1.0, 1.0, 1.2], f"{season + 1}-01-10")
    metres = [value_of(book.figure(block, season, "canopy_m_per_vine")) for season in (2016, 2017, 2018)]
    assert metres == [4.0, 4.0, 2.0]
    # The visit that sets 2018 cut one curtain away, and weighs wood that grew on two.
    wood = [value_of(book.figure(block, season, "prunings_per_m")) for season in (2016, 2017, 2018)]
    assert wood == pytest.approx([1.05 / 4, 1.05 / 4, 1.05 / 2])


@pytest.mark.parametrize("name", YIELDS)
def test_the_first_crop_of_a_replant_is_marked_in_every_figure_of_it(book: Book, name: str) -> None:
    block = replanted(book)
    for season in (2016, 2020, 2021):
        picked(book, block, season)
    assert "first crop of the vines planted in 2018" in book.figure(block, 2020, name).note
    for season in (2016, 2021):
        assert "first crop" not in book.figure(block, season, name).note


def test_a_season_closed_without_fruit_is_no_first_crop(book: Book) -> None:
    block = replanted(book)
    book.close(block, 2019, "2019-09-25")
    picked(book, block, 2020)
    book.wood(block, 2021, WOOD_KG, "2021-01-10")
    assert "first crop" not in book.figure(block, 2019, "crop").note
    assert "first crop" in book.figure(block, 2020, "crop").note
    assert "first crop" in book.figure(block, 2020, "yield_to_prunings").note


def test_the_first_crop_after_grafting_over_is_marked_as_such(book: Book) -> None:
    block = replanted(book, year_planted=2000, grafted_over_in=2018)
    for season in (2016, 2019):
        picked(book, block, season)
    assert "first crop after grafting over in 2018" in book.figure(block, 2019, "crop").note


def test_vines_measured_anew_have_no_first_crop(book: Book) -> None:
    block = replanted(book, year_planted=2000)
    for season in (2016, 2019):
        picked(book, block, season)
    assert "first crop" not in book.figure(block, 2019, "crop").note


def test_of_vines_older_than_the_record_the_first_crop_is_not_known(book: Book) -> None:
    block = replanted(book)
    picked(book, block, 2001)
    assert "first crop" in book.figure(block, 2001, "crop").note, "planted a year before the record begins"
    other = book.block("B1", from_season=2005)
    book.connection.exec_driver_sql(f"UPDATE planting SET year_planted = 2005 WHERE block = {other}")
    picked(book, other, 2016)
    assert "first crop" not in book.figure(other, 2016, "crop").note


def test_a_first_crop_does_not_depend_on_the_seasons_asked_for(book: Book) -> None:
    block = replanted(book)
    for season in (2016, 2020, 2021, 2022):
        picked(book, block, season)
    for season in (2020, 2021, 2022):
        whole = [figure for figure in book.figures(block) if figure.season == season]
        assert book.figures(block, season) == whole


def test_fruit_of_young_vines_is_in_the_crop_and_they_are_not_among_the_vines_it_is_divided_by(book: Book) -> None:
    block = book.block(census=None)
    book.add("vine_census", block=block, date=day("2016-06-01"), bearing=800, young=150, missing=50)
    picked(book, block, 2016, 8000)
    for name in YIELDS:
        assert "the fruit of young vines, 15 % of the vines, is in the crop" in book.figure(block, 2016, name).note
    assert book.figure(block, 2016, "yield_per_vine").value == pytest.approx(10.0)
    assert book.figure(block, 2016, "vines_bearing").value == 800


@pytest.mark.parametrize(
    ("ways", "words"),
    [
        (("hand", "machine"), "picked by machine after a season by hand: the rachis stays on the vine, about 5 %"),
        (("machine", "hand"), "picked by hand after a season by machine: the rachis is weighed again, about 5 %"),
    ],
)
def test_a_change_of_picking_is_marked_with_what_stays_on_the_vine(
    book: Book, ways: tuple[str, str], words: str
) -> None:
    block = book.block()
    for season, way in zip((2016, 2017, 2018), (*ways, ways[1]), strict=True):
        picked(book, block, season, picked=way)
    for name in YIELDS:
        note = book.figure(block, 2017, name).note
        assert words in note
        assert "Iowa State University, Wine Growers News 178, 2011" in note
    for season in (2016, 2018):
        assert "rachis" not in book.figure(block, season, "crop").note


def test_the_wood_weighed_at_the_first_visit_is_a_season_of_its_own_and_marked(book: Book) -> None:
    block = book.block()
    book.wood(block, 2016, WOOD_KG, "2016-01-10")
    picked(book, block, 2016)
    before = {figure.figure: figure for figure in book.figures(block) if figure.season == 2015}
    assert set(before) == {"prunings_per_vine", "prunings_per_m", "cane_weight"}
    assert before["prunings_per_vine"].value == pytest.approx(1.0)
    assert before["prunings_per_m"].value == pytest.approx(0.5)
    assert before["prunings_per_vine"].note == "before the record's first season: weighed at the visit that sets 2016"
    assert {figure.figure for figure in book.figures(block, 2015)} == set(before)
    assert block_history(book.connection, "A1").seasons == (2015, 2016)


def test_a_first_visit_that_weighs_nothing_makes_no_season_before_it(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2016, "pruned_vine", "2016-01-10")
    book.vines("pruned_vine", sample, [{"nodes_on_spurs": 20, "spurs": 10}, {"nodes_on_spurs": 22, "spurs": 11}])
    picked(book, block, 2016)
    assert {figure.season for figure in book.figures(block)} == {2016}


def test_a_later_first_visit_makes_no_season_of_its_own(book: Book) -> None:
    block = book.block()
    picked(book, block, 2015)
    book.wood(block, 2016, WOOD_KG, "2016-01-10")
    assert {figure.season for figure in book.figures(block)} == {2015, 2016}
    assert "before the record" not in book.figure(block, 2015, "prunings_per_vine").note


def test_399_vines_stand_where_spacing_gives_396_and_both_are_kept(book: Book) -> None:
    """One square acre, 11 by 10 ft, rows of 210 ft: University of New Hampshire, kiwiberry enterprise analysis."""
    block = book.block(positions=399, row_m=11 * 0.3048, vine_m=10 * 0.3048)
    book.connection.exec_driver_sql(f"UPDATE block SET surveyed_area_ha = {ACRE_HA} WHERE record = {block}")
    picked(book, block, 2016, 3990)
    assert book.figure(block, 2016, "vines_bearing").value == 399
    assert value_of(book.figure(block, 2016, "planted_area")) / ACRE_HA == pytest.approx(399 / 396)
    assert book.figure(block, 2016, "surveyed_area").value == pytest.approx(ACRE_HA)
    assert book.figure(block, 2016, "yield_per_ha").basis.startswith("crop ÷ planted area")


def test_notes_and_remarks_have_room_and_words() -> None:
    assert set(NOTES) == set(Note)
    assert set(REMARKS) == set(Remark)
    assert max(len(Note), len(Remark)) <= 60, "63 bits are all there are"
    told = words_of(int(Note.NO_CENSUS), {"since": 2018}, int(Remark.FIRST_CROP))
    assert told == "no vine census is in the book; first crop of the vines planted in 2018"
