"""A block's history: facts, figures, what carries over, and the seal."""

from __future__ import annotations

import pytest
from sqlalchemy import insert

from tests.seasons.books import Book, day
from vinebook.errors import WordsError
from vinebook.records.tables import ENTRY
from vinebook.seasons.history import block_history, judging_context


def cropped(book: Book, block: int, season: int, kg: int) -> None:
    """Close a harvest and weigh the wood after it."""
    book.load({block: None}, season, f"{season}-09-20", kg)
    book.close(block, season, f"{season}-09-25")
    book.wood(block, season + 1, [1.0, 1.1, 0.9], f"{season + 1}-01-10")


def test_a_history_runs_from_the_first_record_to_the_last_with_gaps(book: Book) -> None:
    block = book.block()
    cropped(book, block, 2016, 9000)
    cropped(book, block, 2019, 9000)
    book.add("event", block=block, season=2019, date=day("2019-04-20"), what="frost", share_hit_percent=30.0)
    book.add("pruning_visit", block=block, season=2020, started_on=day("2020-01-10"), pruned="spur", nodes_to_keep=24)
    history = block_history(book.connection, "A1")
    assert history.seasons == (2016, 2017, 2018, 2019, 2020)
    assert {figure.season for figure in history.figures} == set(history.seasons)
    assert history.events[0].share_hit_percent == 30.0
    assert history.visits[0].nodes_to_keep == 24
    assert (history.plantings[0].positions, history.trainings[0].curtains, history.censuses[0].bearing) == (
        1000,
        1,
        1000,
    )
    assert (history.vineyard.name, history.vineyard.hemisphere) == ("Stony Ridge", "north")


def test_a_history_carries_the_newest_seal(book: Book) -> None:
    book.block()
    for number, letter in ((1, "a"), (2, "b")):
        book.connection.execute(
            insert(ENTRY).values(
                number=number,
                at=f"2020-01-0{number}T00:00:00Z",
                by="KL",
                db_user="",
                action="load",
                subject="",
                body="{}",
                previous_hash="0" * 64,
                hash=letter * 64,
            )
        )
    history = block_history(book.connection, "A1")
    assert (history.seal, history.entries, history.as_of) == ("b" * 64, 2, "2020-01-02T00:00:00Z")
    assert history.seasons == ()


def test_an_unknown_block_is_refused_by_name(book: Book) -> None:
    with pytest.raises(WordsError, match="no block Z9"):
        block_history(book.connection, "Z9")


def test_per_vine_figures_carry_over_from_a_split_block_and_tonnes_do_not(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    new = book.block("A2", from_season=2018, positions=400)
    book.add("predecessor", block=new, predecessor=old, how="split")
    cropped(book, new, 2018, 4000)
    history = block_history(book.connection, "A2")
    carried = {figure.figure: figure for figure in history.figures if figure.season == 2016}
    assert carried["yield_per_vine"].value == pytest.approx(9.0)
    assert carried["yield_per_vine"].note.startswith("carried over from block A1")
    assert carried["yield_to_prunings"].value == pytest.approx(9.0)
    assert not {"crop", "delivered", "vines_bearing", "planted_area", "yield_per_ha"} & set(carried)
    assert history.predecessors[0].code == "A1"
    assert block_history(book.connection, "A1").successors[0].code == "A2"


def test_a_merger_weights_its_predecessors_by_bearing_vines(book: Book) -> None:
    one, two = book.block("A1", bearing=900), book.block("B1", positions=400, bearing=300)
    cropped(book, one, 2016, 9000)
    cropped(book, two, 2016, 1500)
    new = book.block("C1", from_season=2018)
    for old in (one, two):
        book.add("predecessor", block=new, predecessor=old, how="merger")
    cropped(book, new, 2018, 9000)
    carried = {
        figure.figure: figure for figure in block_history(book.connection, "C1").figures if figure.season == 2016
    }
    assert carried["yield_per_vine"].value == pytest.approx((900 * 10.0 + 300 * 5.0) / 1200)
    assert carried["yield_per_vine"].low is None


def test_nothing_per_vine_carries_over_a_replant(book: Book) -> None:
    old = book.block("A1")
    cropped(book, old, 2016, 9000)
    new = book.block("A2", from_season=2018)
    book.add("predecessor", block=new, predecessor=old, how="replant")
    cropped(book, new, 2018, 4000)
    assert min(block_history(book.connection, "A2").seasons) == 2018


def test_the_context_holds_the_bands_of_block_and_vineyard(book: Book) -> None:
    block = book.block()
    book.add("target_band", block=block, figure="yield_to_prunings", low=6.0, high=9.0, from_season=2015, source="ours")
    book.add(
        "target_band", vineyard=book.vineyard, figure="yield_to_prunings", low=5.0, from_season=2018, source="house"
    )
    context = judging_context(book.connection, [block]).of("A1")
    target = context.target_in(2019, "yield_to_prunings")
    assert target is not None
    assert target.source == "ours"
    assert context.target_in(2014, "yield_to_prunings") is None
    assert (context.cultivar_in(2019), context.curtains_in(2019), context.curtains_in(2005)) == ("Grey Hen", 1, None)


def test_the_censuses_of_a_history_are_those_that_its_figures_rest_on(book: Book) -> None:
    block = book.block(census=None)
    given = {"block": block, "date": day("2019-05-01"), "young": 1, "missing": 2}
    book.add("vine_census", part="low", bearing=500, **given)
    book.add("vine_census", part="low", row=3, bearing=50, **given)
    book.add("vine_census", part="high", row=1, bearing=100, **given)
    book.add("vine_census", part="high", row=2, bearing=150, **given)
    book.close(block, 2019, "2019-09-25")
    (census,) = block_history(book.connection, "A1").censuses
    assert (census.bearing, census.young, census.missing, census.positions) == (750, 3, 6, 759)
    assert (census.date, census.counted) == (day("2019-05-01"), "full")
    assert book.figure(block, 2019, "vines_bearing").value == 750
