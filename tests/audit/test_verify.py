"""`verify` finds whatever was changed behind the journal's back, and says which and what."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk, cluster_rows
from vinebook.records import journal
from vinebook.records.schema import HEAD

if TYPE_CHECKING:
    from vinebook.audit.verify import VerifyReport

NODES = (
    "block,date,chosen,counted_by,row,vine,bearer,bearer_number,position,shoots,clusters\n"
    "A1,2022-12-05,random,KL,1,1,spur,1,1,2,1+1\nA1,2022-12-05,random,KL,1,1,spur,1,old wood,0,\n"
)
TICKETS = (
    "date,issuer,number,basis,gross,tare,net,ph\n"
    "2023-03-01,Scale,7,gross_and_tare,1000.5,200,800.5,3.41\n2023-03-02,Scale,8,net_as_given,,,900,\n"
)


@pytest.fixture
def told(desk: Desk) -> Desk:
    """Give a book with rows of several kinds: samples, tickets, dates, fractions, empty cells."""
    desk.load_texts(
        clusters=cluster_rows([(1, vine, vine) for vine in range(1, 8)]),
        nodes=NODES,
        loads=TICKETS,
        parts="issuer,season,number,block,picked\nScale,2023,7,A1,hand\n",
        planting="block,from_season,cultivar,row_spacing,vine_spacing,positions\nA1,2015,Syrah,2.5,1.8,400\n",
        event="block,date,what,share_hit,words\nA1,2022-11-02,frost,12.5,low ground\n",
    )
    return desk


def test_an_honest_book_verifies(told: Desk) -> None:
    report = told.verify()
    assert report.differences == []
    assert (report.entries, report.tallies) == (9, 8)
    # Rows of vineyard and blocks, clusters, nodes, loads, part, planting, event, and two samples.
    assert report.rows == 1 + 2 + 7 + 2 + 2 + 1 + 1 + 1 + 2
    with told.book.reading() as connection:
        newest = journal.newest(connection)
    assert newest is not None
    assert report.seal == newest.hash


def test_taking_the_guards_away_and_back_is_no_difference(told: Desk) -> None:
    told.tamper()
    assert told.verify().differences == []


EDITS = [
    (
        "UPDATE cluster_tally SET clusters = 70 WHERE vine = 3",
        ["cluster_tally #", "line 4 of tally", "clusters is 70 in the table, 3 in the reading"],
    ),
    ("UPDATE cluster_tally SET clusters = NULL WHERE vine = 3", ["clusters is empty in the table, 3 in the reading"]),
    ("UPDATE event SET words = '' WHERE what = 'frost'", ['words is "" in the table, low ground in the reading']),
    ("UPDATE load SET note = '' WHERE number = '8'", ['note is "" in the table, empty in the reading']),
    ("UPDATE load SET ph = 3.4100000001 WHERE number = '7'", ["ph is 3.4100000001 in the table, 3.41 in the reading"]),
    (
        "UPDATE load SET net_milli = 800501 WHERE number = '7'",
        ["net is 800.501 kg in the table, 800.5 kg in the reading"],
    ),
    ("UPDATE load SET mass_unit = 'lb' WHERE number = '7'", ["mass_unit is lb in the table, kg in the reading"]),
    ("UPDATE event SET date = '2022-11-03'", ["date is 2022-11-03 in the table, 2022-11-02 in the reading"]),
    ("UPDATE node_tally SET clusters_each = '2+0' WHERE shoots = 2", ["clusters is 2+0 in the table, 1+1"]),
    ("UPDATE node_tally SET position = 0 WHERE position = -1", ["position is 0 in the table, old wood in the reading"]),
    ("UPDATE planting SET row_spacing_m = 2.4", ["row_spacing is 2.4 m in the table, 2.5 m in the reading"]),
    (
        "UPDATE sample SET chosen = 'hand_picked' WHERE counts = 'cluster_tally'",
        ["sample #", "chosen is hand_picked in the table, random"],
    ),
    ("UPDATE vineyard SET units = 'us'", ["vineyard #1", "units is us in the table, metric in the reading"]),
    ("UPDATE block SET line = 7 WHERE code = 'A1'", ["block #2", "line is 7 in the table, 2 in the reading"]),
    ("UPDATE block SET tally = 1 WHERE code = 'A1'", ["block #2", "tally is 1 in the table, 2 in the reading"]),
    (
        "UPDATE cluster_tally SET struck_at = '2024-01-01T00:00:00Z' WHERE vine = 3",
        ["struck_at is 2024-01-01T00:00:00Z in the table, empty in the journal"],
    ),
    ("DELETE FROM cluster_tally WHERE vine = 3", ["(line 4 of tally", "is missing from its table"]),
    ("DELETE FROM cluster_tally", ["line 2 of", "line 8 of", "is missing from its table"]),
    (
        "UPDATE cluster_tally SET record = 900 WHERE vine = 3",
        ["is missing from its table", "table cluster_tally holds 1 rows that no reading brought"],
    ),
    (
        "UPDATE event SET record = 901",
        ["table event holds 1 rows that no reading brought"],
    ),
    (
        "INSERT INTO consignee (record, name, tally, line) VALUES (902, 'X', 1, 2)",
        ["table consignee holds 1 rows that no reading brought"],
    ),
    ("UPDATE tally SET name = 'other.csv' WHERE number = 1", ["name is 'other.csv', entry 2 says 'vineyard.csv'"]),
    ("UPDATE tally SET kind = 'block' WHERE number = 1", ["kind is 'block', entry 2 says 'vineyard'"]),
    ("UPDATE tally SET kind = 'nothing' WHERE number = 1", ["kind is 'nothing', entry 2 says 'vineyard'"]),
    ("UPDATE tally SET sha256 = 'x' WHERE number = 1", ["sha256 is 'x', entry 2 says"]),
    ("UPDATE reading SET rows = 2 WHERE tally = 1", ["rows is 2, entry 2 says 1"]),
    (
        "UPDATE reading SET last_record = 900 WHERE tally = 1",
        ["last_record is 900, entry 2 says 1", "counts permanent numbers below"],
    ),
    ("DELETE FROM reading WHERE tally = 1", ["first_record is None, entry 2 says 1"]),
    ("UPDATE book SET next_record = 1", ["table book counts permanent numbers below those in use"]),
    ("DELETE FROM book", ["table book has lost its one row"]),
    ("DELETE FROM tally_bytes WHERE tally = 1", ["the bytes of the kept file changed"]),
    (
        "DELETE FROM reading_bytes WHERE tally = 1",
        ["the bytes of the reading changed", "the reading cannot be read beyond row 0"],
    ),
    (
        "UPDATE entry SET \"by\" = 'Somebody' WHERE number = 3",
        ["entry 3 (load, ", "was rewritten: its hash does not fit its words"],
    ),
    ("UPDATE entry SET body = '[]' WHERE number = 3", ["entry 3 (load, ", "was rewritten"]),
    ("UPDATE entry SET body = 'no json' WHERE number = 3", ["entry 3 is a load whose words cannot be read"]),
    (
        "UPDATE entry SET subject = 'tally' WHERE number = 3",
        ["entry 3 is a load whose words cannot be read", "tally 2 (block.csv) has no entry"],
    ),
    (
        "DELETE FROM entry WHERE number = 3",
        [
            "entry 3 is missing: entry 4 follows entry 2",
            "entry 4 does not hold the hash",
            "tally 2 (block.csv) has no entry in the journal",
        ],
    ),
    ("DELETE FROM entry WHERE number = 9", ["has no entry in the journal"]),
    ("DELETE FROM entry", ["the journal is empty: entry 1 is missing"]),
]


@pytest.mark.parametrize(("statement", "words"), EDITS, ids=[statement[:60] for statement, _ in EDITS])
def test_an_edit_is_found(told: Desk, statement: str, words: list[str]) -> None:
    told.tamper(statement)
    found = "\n".join(told.verify().differences)
    for word in words:
        assert word in found


def replaced(table: str, desk: Desk, old: bytes, new: bytes) -> str:
    """Give the statement that changes kept bytes of tally 1."""
    with desk.book.reading() as connection:
        held = bytes(connection.exec_driver_sql(f"SELECT bytes FROM {table} WHERE tally = 1").scalar_one())
    assert old in held
    changed = held.replace(old, new).hex()
    literal = f"x'{changed}'" if connection.dialect.name == "sqlite" else f"'\\x{changed}'"
    return f"UPDATE {table} SET bytes = {literal} WHERE tally = 1"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b"metric", b"us", "units is metric in the table, us in the reading"),
        (b"r,1,2", b"r,x,2", "the reading cannot be read beyond row 0"),
        (b"r,1,2", b"q,1,2", "the reading cannot be read beyond row 0"),
        (b"\nr,", b"\n\nr,", "the reading cannot be read beyond row 0"),
        (b"south", b"south,more", "the reading cannot be read beyond row 0"),
        (b'"columns"', b'"Columns"', "the reading cannot be read beyond row 0"),
        (b'"hemisphere", "place"', b'"hemispheres", "place"', "the reading cannot be read beyond row 0"),
        (b"south", b"\xff\xfe", "the reading cannot be read beyond row 0"),
        (b"{", b"[", "the reading cannot be read beyond row 0"),
    ],
)
def test_a_changed_reading_is_found_and_stops_nothing(told: Desk, old: bytes, new: bytes, words: str) -> None:
    told.tamper(replaced("reading_bytes", told, old, new))
    found = told.verify().differences
    assert "tally 1 (vineyard.csv): the bytes of the reading changed" in found
    assert words in "\n".join(found)


def test_a_changed_file_is_found(told: Desk) -> None:
    told.tamper(replaced("tally_bytes", told, b"south", b"north"))
    assert told.verify().differences == ["tally 1 (vineyard.csv): the bytes of the kept file changed"]


def test_a_date_that_is_none_is_a_difference_and_no_crash(sqlite_book: str, tmp_path: object) -> None:
    from pathlib import Path

    from tests.desk import places

    assert isinstance(tmp_path, Path)
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    desk.load_texts(event="block,date,what\nA1,2022-11-02,frost\n")
    desk.tamper("UPDATE event SET date = 'someday'")
    assert "date is someday in the table, 2022-11-02 in the reading" in desk.verify().differences[0]


def rewritten(desk: Desk) -> VerifyReport:
    """Rewrite the body of the newest entry with a hash that fits, as a forger would, and verify."""
    with desk.book.reading() as connection:
        entry = journal.newest(connection)
    assert entry is not None
    body = json.dumps({**json.loads(entry.body), "rows": 99})
    made = journal.entry_hash(
        entry.number, entry.at, entry.by, entry.db_user, entry.action, entry.subject, body, entry.previous_hash
    )
    quoted = body.replace("'", "''")
    desk.tamper(f"UPDATE entry SET body = '{quoted}', hash = '{made}' WHERE number = {entry.number}".replace("%", "%%"))
    return desk.verify()


def test_a_rewritten_entry_no_longer_fits_its_tally(told: Desk) -> None:
    report = rewritten(told)
    assert len(report.differences) == 1
    assert "rows is 1, entry 9 says 99" in report.differences[0]


def test_a_seal_kept_elsewhere_shows_a_rewritten_journal(told: Desk) -> None:
    seal = told.verify().seal
    assert rewritten(told).seal != seal


def test_a_missing_guard_is_named(told: Desk) -> None:
    with told.book.writing() as connection:
        on = " ON entry" if connection.dialect.name == "postgresql" else ""
        connection.exec_driver_sql(f"DROP TRIGGER entry_follows{on}")
    found = told.verify().differences
    assert len(found) == 1
    assert found[0].startswith("trigger entry_follows is missing")


def test_guards_that_are_all_gone_are_one_difference_beside_what_was_done_behind_them(told: Desk) -> None:
    with told.book.writing() as connection:
        names = {
            "sqlite": "SELECT name, '' FROM sqlite_master WHERE type = 'trigger'",
            "postgresql": "SELECT tgname, ' ON ' || tgrelid::regclass FROM pg_trigger WHERE NOT tgisinternal",
        }[connection.dialect.name]
        for name, on in connection.exec_driver_sql(names).all():
            connection.exec_driver_sql(f"DROP TRIGGER {name}{on}")
        connection.exec_driver_sql("UPDATE cluster_tally SET clusters = 60 WHERE vine = 3")
    found = told.verify().differences
    gone = [words for words in found if "triggers of" in words]
    assert len(gone) == 1
    assert "are missing: " in gone[0]
    assert not [words for words in found if words.startswith("trigger ")]
    assert any("cluster_tally" in words or "clusters" in words for words in found)


def test_differences_beyond_what_is_told_are_counted(desk: Desk) -> None:
    desk.load_texts(clusters=cluster_rows([(1, vine, 5) for vine in range(1, 301)]))
    desk.tamper("UPDATE cluster_tally SET clusters = 6")
    report = desk.verify()
    assert (len(report.differences), report.beyond) == (100, 200)


def test_a_clock_that_stood_back_is_a_note(desk: Desk) -> None:
    with desk.book.writing() as connection:
        body = {"from": HEAD, "to": HEAD}
        journal.append(
            connection, by="KL", action="upgrade", subject="book", body=body, at="2001-01-01T00:00:00.000000Z"
        )
    report = desk.verify()
    assert report.differences == []
    assert any("the clock stood back at entry 4" in note for note in report.notes)
