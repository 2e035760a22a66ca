"""Amending keeps before and after in the journal, and refuses what the record could not have held."""

from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING

import pytest

from tests.desk import cluster_rows
from vinebook.errors import CorrectionError, VinebookError, WordsError
from vinebook.intake.amending import Amended, amend
from vinebook.records import journal
from vinebook.records.book import Book
from vinebook.records.listing import shown_record

if TYPE_CHECKING:
    from tests.desk import Desk

KEY = "A1/2023/cluster_tally/2022-12-05/before/all/random/KL/1/1"
TICKETS = (
    "date,issuer,number,basis,gross,tare,net\n2023-03-01,Scale,7,gross_and_tare,1000,200,800\n"
    "2023-03-02,Scale,8,net_as_given,,,900\n"
)


@pytest.fixture
def counted(desk: Desk) -> Desk:
    desk.load_texts(
        clusters=cluster_rows([(1, 1, 10), (1, 2, 20)]),
        event="block,date,what,share_hit\nA1,2022-11-02,frost,12.5\n",
        load=TICKETS,
        part="issuer,season,number,block,pick,mass,split,picked\nScale,2023,7,A1,1,300,weighed,hand\n",
        other_part="issuer,season,number,block,pick,mass,split,picked\nScale,2023,7,A2,1,500,weighed,hand\n",
        first_row="block,from_season,first_row,last_row,positions\nA1,2015,1,5,40\n",
        second_row="block,from_season,first_row,last_row,positions\nA1,2015,6,9,40\n",
        census="block,date,bearing,young,missing\nA1,2020-06-01,90,5,5\n",
    )
    return desk


def changed(desk: Desk, kind: str, key: str, was: dict[str, str] | None = None, **changes: str) -> Amended:
    return amend(desk.book, kind, key, changes, reason="typo", by="RM", was=was)


def refused(desk: Desk, kind: str, key: str, was: dict[str, str] | None = None, **changes: str) -> str:
    """Amend, check that nothing was stored, and give the refusal."""
    before = desk.held()
    with pytest.raises(VinebookError) as caught:
        changed(desk, kind, key, was, **changes)
    assert desk.held() == before
    return f"{caught.value.message}; {caught.value.hint}"


def test_an_amendment_is_stored_and_told(counted: Desk) -> None:
    done = changed(counted, "cluster_tally", KEY, clusters="12")
    assert (done.before, done.after) == ({"clusters": "10"}, {"clusters": "12"})
    assert [row["clusters"] for row in counted.listed("cluster_tally")] == [12, 20]
    with counted.book.reading() as connection:
        entry = journal.newest(connection)
        life = shown_record(connection, "cluster_tally", KEY, units="metric")
    assert entry is not None
    assert (entry.number, entry.action, entry.by) == (done.entry, "amend", "RM")
    assert json.loads(entry.body) == {
        "kind": "cluster_tally",
        "record": done.record,
        "key": KEY,
        "before": {"clusters": "10"},
        "after": {"clusters": "12"},
        "reason": "typo",
    }
    row = next(row for row in counted.stored("cluster_tally") if row["record"] == done.record)
    assert row["amended_at"] == entry.at
    assert life["then 1"] == f"amended {entry.at} by RM (entry {entry.number}): clusters 10 → 12; reason: typo"
    assert counted.verify().differences == []


@pytest.mark.parametrize(
    ("kind", "key", "changes", "column", "stored"),
    [
        ("event", "A1/2022-11-02/frost", {"share_hit": "15 %"}, "share_hit_percent", 15.0),
        ("event", "A1/2022-11-02/frost", {"share_hit": ""}, "share_hit_percent", None),
        ("event", "A1/2022-11-02/frost", {"words": "low ground"}, "words", "low ground"),
        ("row", "A1/2015/6", {"last_row": "8"}, "last_row", 8),
        ("load_part", "Scale/2023/7/A1/1", {"mass": "250.5"}, "mass_milli", 250_500),
        ("block", "A2", {"surveyed_area": "2.5"}, "surveyed_area_ha", 2.5),
        ("sample", "A1/2023/cluster_tally/2022-12-05/before/all/random/KL", {"seed": "7"}, "seed", 7),
        ("vine_census", "A1/2020-06-01/all/0", {"bearing": "91", "positions": "101"}, "bearing", 91),
    ],
)
def test_every_type_of_field_is_amended_and_verifies(
    counted: Desk, kind: str, key: str, changes: dict[str, str], column: str, stored: object
) -> None:
    done = changed(counted, kind, key, None, **changes)
    row = next(row for row in counted.stored(kind) if row["record"] == done.record)
    assert row[column] == stored
    assert counted.verify().differences == []


@pytest.mark.parametrize(
    ("kind", "key", "changes", "words"),
    [
        ("cluster_tally", KEY, {"clusters": "x"}, "clusters: "),
        ("cluster_tally", KEY, {"clusters": "-1"}, "clusters: "),
        ("cluster_tally", KEY, {"clusters": ""}, "clusters: is empty where state is bearing"),
        ("cluster_tally", KEY, {"state": "missing"}, "is filled where state is missing"),
        ("cluster_tally", KEY, {"clusters": "10"}, "says that already"),
        ("cluster_tally", KEY, {"vine": "3"}, "part of the key"),
        ("cluster_tally", KEY, {"vines": "3"}, "no field 'vines'"),
        ("cluster_tally", KEY, {}, "nothing to amend was named"),
        ("cluster_tally", "#99999", {"clusters": "1"}, "there is no cluster_tally #99999"),
        ("clusters", KEY, {"clusters": "1"}, "not a kind of record"),
        ("load", "Scale/2023/7", {"net": "810"}, "superseded, not amended; use `vinebook add load --supersedes"),
        ("load_part", "Scale/2023/7/A1/1", {"mass": "301"}, "above its net of 800 kg"),
        ("load_part", "Scale/2023/7/A1/1", {"mass": "100 lb"}, "one unit in one record"),
        ("row", "A1/2015/1", {"last_row": "7"}, "overlaps rows"),
        ("vine_census", "A1/2020-06-01/all/0", {"positions": "99"}, "make 100, not 99"),
        ("vineyard", "Low Terrace", {"hemisphere": "north"}, "hemisphere is fixed"),
    ],
)
def test_what_cannot_be_is_refused(counted: Desk, kind: str, key: str, changes: dict[str, str], words: str) -> None:
    assert words in refused(counted, kind, key, None, **changes)


def test_a_block_moves_to_another_hemisphere_only_before_it_has_a_season(desk: Desk) -> None:
    desk.load_texts(more="name,hemisphere,units\nHigh Terrace,north,metric\nFar Terrace,south,metric\n")
    changed(desk, "block", "A1", vineyard="High Terrace")
    desk.load_texts(event="block,date,what\nA2,2022-11-02,frost\n")
    assert "hemisphere is fixed" in refused(desk, "block", "A2", vineyard="High Terrace")
    changed(desk, "block", "A2", vineyard="Far Terrace")
    assert desk.verify().differences == []


@pytest.mark.parametrize("reason", ["", "  ", "\n"])
def test_a_reason_is_needed(counted: Desk, reason: str) -> None:
    with pytest.raises(WordsError, match="a correction needs a reason"):
        amend(counted.book, "cluster_tally", KEY, {"clusters": "12"}, reason=reason, by="RM")


def test_who_came_first_is_named(counted: Desk) -> None:
    first = changed(counted, "cluster_tally", KEY, {"clusters": "10"}, clusters="12")
    words = refused(counted, "cluster_tally", KEY, {"clusters": "10"}, clusters="13")
    assert "clusters is 12, not 10; RM came first, at " in words
    assert f"(entry {first.entry})" in words
    assert "no field 'x'" in refused(counted, "cluster_tally", KEY, {"x": "10"}, clusters="13")


def test_a_struck_record_is_not_amended(counted: Desk) -> None:
    from vinebook.intake.striking import strike

    done = strike(counted.book, "cluster_tally", KEY, reason="typo", by="RM")
    assert "was struck at" in refused(counted, "cluster_tally", f"#{done.record}", clusters="13")


def test_of_two_who_amend_at_once_one_is_told(counted: Desk) -> None:
    told: list[object] = []
    ready = threading.Barrier(2)

    def work(to: str) -> None:
        book = Book(counted.url)
        ready.wait()
        try:
            told.append(
                amend(book, "cluster_tally", KEY, {"clusters": to}, reason="typo", by=to, was={"clusters": "10"})
            )
        except CorrectionError as trouble:
            told.append(trouble)

    workers = [threading.Thread(target=work, args=(to,)) for to in ("11", "12")]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    done = [one for one in told if isinstance(one, Amended)]
    late = [one for one in told if isinstance(one, CorrectionError)]
    assert (len(done), len(late)) == (1, 1)
    assert f"{done[0].after['clusters']} came first" in late[0].message
    assert counted.verify().differences == []
