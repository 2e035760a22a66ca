"""What a choice of nodes rests on beside the figures: wood vine by vine, orders, thinning, close, buds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.seasons.books import day
from vinebook.seasons.pruning_facts import PruningFacts, pruning_facts

if TYPE_CHECKING:
    from tests.seasons.books import Book


def facts(book: Book, block: int, season: int = 2020) -> PruningFacts:
    return pruning_facts(book.connection, block, "A1", season)


def test_the_wood_of_the_visit_is_read_vine_by_vine(book: Book) -> None:
    block = book.block(positions=1000)
    book.wood(block, 2019, [9.0], "2019-01-10")
    book.wood(block, 2020, [0.8, 1.1], "2020-01-10")
    book.wood(block, 2020, [0.9], "2020-01-12")
    wood = facts(book, block).wood
    assert [vine.prunings_kg for vine in wood.vines] == pytest.approx([0.8, 1.1, 0.9])
    assert len({vine.unit for vine in wood.vines}) == 3
    assert (wood.by_hand, wood.in_panels, wood.positions, wood.last_on) == (False, False, 1000, day("2020-01-12"))


def test_young_missing_struck_and_unweighed_vines_are_no_wood(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines("pruned_vine", sample, [{"prunings_mg": 900_000, "state": "young"}, {"state": "missing"}, {}])
    book.vines("pruned_vine", sample, [{"prunings_mg": 900_000, "struck_at": "2020-02-01T00:00:00.000000Z"}], row=2)
    assert facts(book, block).wood.vines == ()


def test_wood_after_mechanical_pre_pruning_is_counted_apart(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "pruned_vine", "2020-01-10")
    book.vines("pruned_vine", sample, [{"prunings_mg": 400_000, "wood": "incomplete"}, {"prunings_mg": 900_000}])
    wood = facts(book, block).wood
    assert (len(wood.vines), wood.incomplete) == (1, 1)


def test_vines_picked_by_hand_stand_back_behind_drawn_ones(book: Book) -> None:
    block = book.block()
    book.wood(block, 2020, [0.8, 1.1], "2020-01-10", "hand_picked")
    assert facts(book, block).wood.by_hand
    book.wood(block, 2020, [0.9], "2020-01-12")
    wood = facts(book, block).wood
    assert not wood.by_hand
    assert [vine.prunings_kg for vine in wood.vines] == pytest.approx([0.9])


def test_vines_of_one_panel_are_one_unit(book: Book) -> None:
    block = book.block()
    book.wood(block, 2020, [0.8] * 6, "2020-01-10", "panels", panel_size=3)
    wood = facts(book, block).wood
    assert wood.in_panels
    assert len({vine.unit for vine in wood.vines}) == 2


def test_parts_take_the_latest_census_by_the_same_day(book: Book) -> None:
    block = book.block(census=None)
    for date, upper in (("2019-06-01", 300), ("2019-12-01", 250), ("2021-06-01", 100)):
        for part, bearing in (("upper", upper), ("lower", 400)):
            book.add("vine_census", block=block, date=day(date), part=part, bearing=bearing, young=0, missing=0)
    book.wood(block, 2020, [0.8], "2020-01-10", part="upper")
    assert facts(book, block).wood.bearing_of_part == (("lower", 400), ("upper", 250))


def test_the_order_of_this_visit_stands_else_that_of_the_one_before(book: Book) -> None:
    block = book.block()
    visit = {"block": block, "pruned": "cane"}
    book.add("pruning_visit", season=2018, started_on=day("2018-01-10"), canes_per_vine=2.0, **visit)
    assert facts(book, block).ordered is not None
    book.add("pruning_visit", season=2020, started_on=day("2020-01-10"), canes_per_vine=4.0, **visit)
    book.add("pruning_visit", season=2021, started_on=day("2021-01-10"), canes_per_vine=6.0, **visit)
    ordered = facts(book, block).ordered
    assert ordered is not None
    assert (ordered.season, ordered.canes_per_vine, ordered.renewal_spurs) == (2020, 4.0, None)


def test_a_closed_harvest_the_last_close_and_thinning_are_told(book: Book) -> None:
    block = book.block()
    assert facts(book, block) == PruningFacts("A1", 2020, facts(book, block).wood)
    book.close(block, 2020, "2020-09-20")
    book.close(block, 2021, "2021-09-20")
    for season in (2018, 2020):
        book.add("canopy_work", block=block, season=season, work="shoot_thinning", started_on=day(f"{season}-05-20"))
    told = facts(book, block)
    assert (told.closed_on, told.last_closed, told.thinned_in) == (day("2020-09-20"), 2021, (2018,))
    assert facts(book, block, 2022).closed_on is None


def test_buds_cut_before_the_pruning_are_added_up(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2020, "bud_sample", "2020-01-05")
    for cane, dead in ((1, 3), (2, 4)):
        book.add("bud_sample", sample=sample, cane=cane, buds=10, primaries_dead=dead)
    told = facts(book, block)
    assert (told.buds_cut, told.primaries_dead, told.buds_cut_on) == (20, 7, day("2020-01-05"))
    assert facts(book, block, 2021).buds_cut == 0
