"""What loads and is unlikely beside the rest of the book is told as a warning, once."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pytest

from tests.desk import CLUSTERS, SAMPLE, Desk, cluster_rows
from vinebook.intake.typed import add_record
from vinebook.seasons.figures import figures_of

if TYPE_CHECKING:
    from vinebook.intake.load import LoadReport

ROWS = "block,from_season,first_row,last_row,positions\n"
PLANTED = "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"
CENSUS = "block,date,row,bearing,young,missing\n"
LOADS = "date,issuer,number,basis,net\n"
PARTS = "issuer,season,number,block,picked\n"
CLOSES = "block,finished_on\n"


def warned(desk: Desk, report: LoadReport) -> list[str]:
    return [desk.short(str(warning)) for warning in report.warnings]


def test_a_close_without_a_load_is_told(desk: Desk) -> None:
    close = CLOSES + "A1,2023-03-10\nA2,2023-03-11\n"
    assert warned(desk, desk.load_texts(close=close)) == [
        (
            "close.csv:2: 2 harvests close with no load of theirs (A1/2023, A2/2023): by the book nothing was "
            "picked there; expected a load_part for each block that was picked"
        )
    ]


def test_a_close_with_its_load_in_the_same_call_is_not_told(desk: Desk) -> None:
    report = desk.load_texts(
        close=CLOSES + "A1,2023-03-10\nA2,2023-03-11\n",
        load=LOADS + "2023-03-01,Scale,7,net_as_given,800\n",
        part=PARTS + "Scale,2023,7,A1,hand\n",
    )
    assert warned(desk, report) == [
        (
            "close.csv:3: 1 harvest closes with no load of its own (A2/2023): by the book nothing was picked there; "
            "expected a load_part for each block that was picked"
        )
    ]


def test_a_ticket_without_a_block_is_told(desk: Desk) -> None:
    load = LOADS + "".join(f"2023-03-01,Scale,{number},net_as_given,800\n" for number in (7, 8, 9, 10, 11))
    report = desk.load_texts(load=load, part=PARTS + "Scale,2023,8,A1,hand\n")
    assert warned(desk, report) == [
        "load.csv:2: 4 tickets name no block yet (7, 9, 10, …): in no crop so far; expected a load_part for each"
    ]


def test_a_superseding_ticket_takes_the_parts_over_and_is_not_told(desk: Desk) -> None:
    desk.load_texts(load=LOADS + "2023-03-01,Scale,7,net_as_given,800\n", part=PARTS + "Scale,2023,7,A1,hand\n")
    given = {"date": "2023-03-01", "issuer": "Scale", "number": "7", "basis": "net_as_given", "net": "790"}
    report = add_record(desk.book, "load", given, by="RM", supersedes="Scale/2023/7", reason="misread")
    assert report.warnings == []


@pytest.fixture
def laid_out(desk: Desk) -> Desk:
    desk.load_texts(rows=ROWS + "A1,2015,1,15,40\nA1,2015,16,20,40\n", planted=PLANTED + "A1,2015,Syrah,2,1,800\n")
    return desk


def test_vines_off_the_rows_of_a_block_are_told(laid_out: Desk) -> None:
    other = SAMPLE.replace("A1", "A2")
    counts = cluster_rows([(20, 40, 5), (99, 1, 5), (99, 2, 5), (3, 41, 5), (3, 400, 5)]) + f"{other},99,400,5\n"
    assert warned(laid_out, laid_out.load_texts(counts=counts)) == [
        "counts.csv:3:row: row 99 is no row of its block; expected rows 1 to 15, 16 to 20",
        "counts.csv:6:vine: vine 400 lies beyond the end of row 3; expected 1 to 40",
    ]


def test_an_earlier_file_is_not_told_again(laid_out: Desk) -> None:
    laid_out.load_texts(counts=cluster_rows([(99, 1, 5)]))
    assert warned(laid_out, laid_out.load_texts(more=cluster_rows([(1, 1, 5)]))) == []


def test_a_row_is_held_against_the_layout_of_its_season(laid_out: Desk) -> None:
    laid_out.load_texts(more=ROWS + "A1,2024,1,25,50\n", planted2=PLANTED + "A1,2024,Syrah,2,1,1250\n")
    assert len(laid_out.load_texts(counts=cluster_rows([(22, 50, 5)])).warnings) == 1
    later = cluster_rows([(22, 50, 5)], SAMPLE.replace("2022-12", "2023-12"))
    assert laid_out.load_texts(later=later).warnings == []


def test_a_census_is_held_against_planting_and_rows(laid_out: Desk) -> None:
    census = (
        CENSUS + "A1,2022-06-01,,38,12,8\nA1,2022-06-02,,780,12,8\nA1,2022-06-02,3,4,0,0\nA1,2022-06-02,21,40,0,0\n"
    )
    assert warned(laid_out, laid_out.load_texts(census=census)) == [
        "census.csv:2: counts 58 places; expected 800, as in the planting",
        "census.csv:4: counts 4 places in row 3; expected 40, as the row was recorded",
        "census.csv:5:row: row 21 is no row of its block; expected rows 1 to 15, 16 to 20",
    ]


def test_a_planting_is_held_against_its_rows(desk: Desk) -> None:
    report = desk.load_texts(rows=ROWS + "A1,2015,1,15,40\n", planted=PLANTED + "A1,2015,Syrah,2,1,6000\n")
    assert warned(desk, report) == [
        (
            "planted.csv:2:positions: 6000 positions are planted from 2015 on where the rows of the block give 600; "
            "expected the same number"
        )
    ]


def test_the_same_vines_under_two_spellings_are_told(desk: Desk) -> None:
    desk.load_texts(first=cluster_rows([(1, 1, 5), (1, 2, 5), (1, 3, 5)]))
    again = cluster_rows([(1, 2, 5), (1, 3, 6), (1, 4, 7)], SAMPLE.replace("KL", "K.L."))
    assert warned(desk, desk.load_texts(again=again)) == [
        (
            "again.csv:2:counted_by: 2 vines were counted on 2022-12-05 by 'K.L.' and by 'KL'; both counts are used; "
            "expected each vine once, one spelling of who counted"
        )
    ]


def test_two_who_count_other_vines_are_not_told(desk: Desk) -> None:
    both = cluster_rows([(1, 1, 5)]) + cluster_rows([(1, 2, 5)], SAMPLE.replace("KL", "RM")).removeprefix(CLUSTERS)
    assert desk.load_texts(both=both).warnings == []


def test_a_day_still_to_come_is_told(desk: Desk) -> None:
    ahead = (dt.datetime.now(dt.UTC).date() + dt.timedelta(days=3)).isoformat()
    report = desk.load_texts(
        counts=cluster_rows([(1, 1, 5), (1, 2, 5)], SAMPLE.replace("2022-12-05", ahead)),
        events=f"block,date,what\nA1,{ahead},frost\n",
        standing=f"block,scheme,status,valid_from,valid_to\nA1,Organic,certified,2022-01-01,{ahead}\n",
    )
    assert warned(desk, report) == [
        f"counts.csv:2:date: '{ahead}' lies in the future; expected a day that has come",
        f"events.csv:2:date: '{ahead}' lies in the future; expected a day that has come",
    ]


def test_a_dry_run_warns_as_well(desk: Desk) -> None:
    path = desk.write("close.csv", CLOSES + "A1,2023-03-10\n")
    assert len(desk.load(path, dry_run=True).warnings) == 1


def test_a_harvest_closed_before_its_ticket_is_split_is_not_zero(desk: Desk) -> None:
    desk.load_texts(close=CLOSES + "A1,2023-03-10\n", load=LOADS + "2023-03-01,Scale,7,net_as_given,800\n")
    with desk.book.reading() as connection:
        crop = next(figure for figure in figures_of(connection, None, [2023]) if figure.figure == "crop")
    assert (crop.status, crop.note) == ("partial", "fruit of 2023 is weighed and not yet given to blocks: Scale 7")
