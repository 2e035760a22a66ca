"""A struck row leaves the live record, frees its key, and stays in the book."""

from __future__ import annotations

import json

import pytest

from tests.desk import Desk, cluster_rows
from vinebook.errors import VinebookError, WordsError
from vinebook.intake.striking import Struck, strike
from vinebook.records import journal
from vinebook.records.listing import shown_record

SAMPLE_KEY = "A1/2023/cluster_tally/2022-12-05/before/all/random/KL"
KEY = f"{SAMPLE_KEY}/1/1"


@pytest.fixture
def counted(desk: Desk) -> Desk:
    desk.load_texts(
        clusters=cluster_rows([(1, 1, 10), (1, 2, 20)]),
        more=cluster_rows([(2, 1, 30)]),
        load="date,issuer,number,basis,net\n2023-03-01,Scale,7,net_as_given,800\n",
        part="issuer,season,number,block,picked\nScale,2023,7,A1,hand\n",
    )
    return desk


def struck(desk: Desk, kind: str, key: str, *, with_rows: bool = False) -> Struck:
    return strike(desk.book, kind, key, reason="wrong block", by="RM", with_rows=with_rows)


def refused(desk: Desk, kind: str, key: str, *, with_rows: bool = False) -> str:
    before = desk.held()
    with pytest.raises(VinebookError) as caught:
        struck(desk, kind, key, with_rows=with_rows)
    assert desk.held() == before
    return f"{caught.value.message}; {caught.value.hint}"


def test_a_strike_is_stored_and_told(counted: Desk) -> None:
    done = struck(counted, "cluster_tally", KEY)
    assert [row["clusters"] for row in counted.listed("cluster_tally")] == [20, 30]
    assert len(counted.stored("cluster_tally")) == 3
    with counted.book.reading() as connection:
        entry = journal.newest(connection)
        life = shown_record(connection, "cluster_tally", f"#{done.record}", units="metric")
    assert entry is not None
    assert (entry.action, entry.subject) == ("strike", f"#{done.record} cluster_tally {KEY}")
    assert json.loads(entry.body)["reason"] == "wrong block"
    assert life["then 1"] == f"struck {entry.at} by RM (entry {entry.number}); reason: wrong block"
    assert counted.verify().differences == []


def test_a_struck_key_is_free_again(counted: Desk) -> None:
    struck(counted, "cluster_tally", KEY)
    counted.load_texts(again=cluster_rows([(1, 1, 11)]))
    assert sorted(row["clusters"] for row in counted.listed("cluster_tally")) == [11, 20, 30]
    struck(counted, "cluster_tally", KEY)
    counted.load_texts(third=cluster_rows([(1, 1, 12)]))
    assert counted.verify().differences == []


def test_a_sample_goes_with_its_rows_of_every_file(counted: Desk) -> None:
    struck(counted, "cluster_tally", KEY)
    assert "2 cluster_tally" in refused(counted, "sample", SAMPLE_KEY)
    done = struck(counted, "sample", SAMPLE_KEY, with_rows=True)
    assert done.rows == 2
    assert counted.listed("cluster_tally") == []
    with counted.book.reading() as connection:
        life = shown_record(connection, "cluster_tally", "#7", units="metric")
    assert life["then 1"].endswith("(with what it belongs to)")
    counted.load_texts(again=cluster_rows([(1, 1, 11)]))
    assert len(counted.listed("sample")) == 1
    assert counted.verify().differences == []


def test_a_load_goes_with_its_parts(counted: Desk) -> None:
    assert struck(counted, "load", "Scale/2023/7", with_rows=True).rows == 1
    assert (counted.listed("load"), counted.listed("load_part")) == ([], [])
    assert counted.verify().differences == []


@pytest.mark.parametrize(
    ("kind", "key", "with_rows", "words"),
    [
        ("block", "A1", False, "named by live records: 1 sample, 1 load_part; strike those first"),
        ("vineyard", "Low Terrace", False, "2 block"),
        ("load", "Scale/2023/7", False, "1 load_part; strike them first, or all together with --with-rows"),
        ("block", "A1", True, "has no rows of its own"),
        ("block", "A9", False, "there is no block A9"),
        ("bloc", "A1", False, "not a kind of record"),
    ],
)
def test_what_cannot_be_struck_is_refused(counted: Desk, kind: str, key: str, with_rows: bool, words: str) -> None:
    assert words in refused(counted, kind, key, with_rows=with_rows)


def test_a_record_is_struck_once(counted: Desk) -> None:
    done = struck(counted, "cluster_tally", KEY)
    assert "was struck already, at " in refused(counted, "cluster_tally", f"#{done.record}")
    assert "there is no cluster_tally" in refused(counted, "cluster_tally", KEY)


def test_a_strike_needs_a_reason(counted: Desk) -> None:
    with pytest.raises(WordsError, match="needs a reason"):
        strike(counted.book, "cluster_tally", KEY, reason="", by="RM")


def test_a_struck_row_is_no_part_of_a_figure(counted: Desk) -> None:
    from vinebook.api import figures

    def clusters() -> list[object]:
        return [figure.value for figure in figures(counted.book, ["A1"]) if figure.figure == "clusters_per_vine"]

    before = clusters()
    struck(counted, "cluster_tally", f"{SAMPLE_KEY}/2/1")
    assert (before, clusters()) == ([20.0], [15.0])
