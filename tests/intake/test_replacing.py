"""A mended file takes the place of an earlier one in one step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk, cluster_rows
from vinebook.errors import VinebookError
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import replace_tally
from vinebook.records.listing import shown_record

if TYPE_CHECKING:
    from vinebook.intake.striking import Replaced

OTHER_DAY = "A1,2022-12-06,random,KL"


@pytest.fixture
def counted(desk: Desk) -> Desk:
    desk.load_texts(counts=cluster_rows([(1, 1, 10), (1, 2, 20), (1, 3, 30)]))
    return desk


def replaced(
    desk: Desk,
    content: str,
    old: str = "counts.csv",
    name: str = "mended.csv",
    also_amended: bool = False,
    dry_run: bool = False,
) -> Replaced:
    path = desk.write(name, content)
    return replace_tally(
        desk.book, path, old, reason="off by one", by="RM", also_amended=also_amended, dry_run=dry_run
    )[1]


def refused(desk: Desk, content: str, old: str = "counts.csv", dry_run: bool = False) -> str:
    before = desk.held()
    with pytest.raises(VinebookError) as caught:
        replaced(desk, content, old, dry_run=dry_run)
    assert desk.held() == before
    return f"{caught.value.message}; {caught.value.hint}"


@pytest.mark.parametrize("old", ["counts.csv", "folder/counts.csv", "#3", "3"])
def test_the_earlier_rows_go_and_the_new_ones_stand(counted: Desk, old: str) -> None:
    done = replaced(counted, cluster_rows([(1, 1, 11), (1, 2, 21)]), old)
    assert (done.tally, done.name, done.rows) == (3, "counts.csv", 3)
    assert [row["clusters"] for row in counted.listed("cluster_tally")] == [11, 21]
    with counted.book.reading() as connection:
        life = shown_record(connection, "cluster_tally", "#5", units="metric")
    assert "as its file was replaced; reason: off by one" in life["then 1"]
    assert counted.verify().differences == []


def test_a_sample_that_is_left_without_rows_goes_too(counted: Desk) -> None:
    done = replaced(counted, cluster_rows([(1, 1, 11)], OTHER_DAY))
    assert len(done.samples) == 1
    assert len(counted.listed("sample")) == 1
    with counted.book.reading() as connection:
        life = shown_record(connection, "sample", f"#{done.samples[0]}", units="metric")
    assert "as its file was replaced" in life["then 1"]
    assert counted.verify().differences == []


def test_a_sample_that_another_file_counts_on_stays(counted: Desk) -> None:
    counted.load_texts(more=cluster_rows([(9, 9, 9)]))
    assert replaced(counted, cluster_rows([(1, 1, 11)], OTHER_DAY)).samples == ()
    assert len(counted.listed("sample")) == 2
    assert counted.verify().differences == []


def test_rows_amended_since_are_named(counted: Desk) -> None:
    amend(counted.book, "cluster_tally", "#6", {"clusters": "22"}, reason="typo", by="RM")
    amend(counted.book, "cluster_tally", "#7", {"clusters": "33"}, reason="typo", by="RM")
    mended = cluster_rows([(1, 1, 11)])
    assert "2 rows of counts.csv amended since (lines 3, 4)" in refused(counted, mended)
    assert replaced(counted, mended, also_amended=True).rows == 3
    assert counted.verify().differences == []


def test_rows_struck_before_stay_as_they_were_struck(counted: Desk) -> None:
    done = strike(counted.book, "cluster_tally", "#6", reason="typo", by="RM")
    assert replaced(counted, cluster_rows([(1, 1, 11)])).rows == 2
    with counted.book.reading() as connection:
        life = shown_record(connection, "cluster_tally", "#6", units="metric")
    assert f"(entry {done.entry}); reason: typo" in life["then 1"]
    assert counted.verify().differences == []


def test_a_file_is_replaced_once_and_again_by_a_third(counted: Desk) -> None:
    replaced(counted, cluster_rows([(1, 1, 11)]))
    assert "has no live rows left" in refused(counted, cluster_rows([(1, 1, 12)]))
    replaced(counted, cluster_rows([(1, 1, 12)]), "mended.csv", "third.csv")
    assert [row["clusters"] for row in counted.listed("cluster_tally")] == [12]
    assert counted.verify().differences == []


@pytest.mark.parametrize("dry_run", [False, True])
def test_the_same_bytes_replace_nothing(counted: Desk, dry_run: bool) -> None:
    same = cluster_rows([(1, 1, 10), (1, 2, 20), (1, 3, 30)])
    assert "holds the same bytes" in refused(counted, same, dry_run=dry_run)


def test_a_dry_run_changes_nothing(counted: Desk) -> None:
    before = counted.held()
    assert replaced(counted, cluster_rows([(1, 1, 11)]), dry_run=True).rows == 3
    assert counted.held() == before


@pytest.mark.parametrize(
    ("content", "old", "words"),
    [
        (cluster_rows([(1, 1, "x")]), "counts.csv", "1 fault found; nothing was stored"),
        (cluster_rows([(1, 1, 1), (1, 1, 2)]), "counts.csv", "nothing was stored"),
        (cluster_rows([(1, 1, 11)]), "count.csv", "no file 'count.csv' was loaded into this book"),
        (
            "vineyard,code,from_season\nLow Terrace,A3,2015\n",
            "block.csv",
            "a row of block.csv is named by live records: 1 sample",
        ),
    ],
)
def test_what_cannot_be_replaced_is_refused(counted: Desk, content: str, old: str, words: str) -> None:
    assert words in refused(counted, content, old)


def test_several_files_of_one_name_are_told_apart_by_number(counted: Desk) -> None:
    counted.load(counted.write("counts.csv", cluster_rows([(2, 1, 1)])))
    assert "several files are called 'counts.csv': #3, #4" in refused(counted, cluster_rows([(1, 1, 11)]))
    assert replaced(counted, cluster_rows([(1, 1, 11)]), "#3").rows == 3
    assert counted.verify().differences == []


def test_a_replaced_file_can_come_back(counted: Desk) -> None:
    first = cluster_rows([(1, 1, 10), (1, 2, 20), (1, 3, 30)])
    replaced(counted, cluster_rows([(1, 1, 11)]))
    report, done = replace_tally(
        counted.book, counted.write("again.csv", first), "mended.csv", reason="it was right after all", by="RM"
    )
    assert done.rows == 1
    assert report.tallies[0].rows == 3
    assert report.tallies[0].again.startswith("as counts.csv on 20")
    assert "by KL, and their rows were struck on 20" in report.tallies[0].again
    with counted.book.reading() as connection:
        life = shown_record(connection, "cluster_tally", "#5", units="metric")
    assert report.tallies[0].again.partition("(entry ")[2].rstrip(")") in life["then 1"]
    assert [row["clusters"] for row in counted.listed("cluster_tally")] == [10, 20, 30]
    assert counted.load_texts(third=first).tallies[0].already
    assert counted.verify().differences == []


def test_a_file_of_which_a_row_is_live_does_not_come_back(counted: Desk) -> None:
    strike(counted.book, "cluster_tally", "#6", reason="typo", by="RM")
    same = cluster_rows([(1, 1, 10), (1, 2, 20), (1, 3, 30)])
    assert counted.load_texts(again=same).tallies[0].already
