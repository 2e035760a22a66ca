"""Whatever people correct, the book verifies; whatever is changed behind the journal's back is named."""

from __future__ import annotations

import json
import random
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from tests.audit.corrections import Corrector, fill
from tests.desk import Desk, cluster_rows
from vinebook.audit import replay
from vinebook.audit.reread import reread
from vinebook.audit.verify import verify_book
from vinebook.errors import WordsError
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import add_record, replace_tally
from vinebook.kinds import KINDS
from vinebook.records import journal
from vinebook.records.tables import METADATA, TABLES

if TYPE_CHECKING:
    from pathlib import Path

    from vinebook.records.journal import Entry

COVERED = {
    **dict.fromkeys(KINDS, "each row is compared with its reading and what the journal says happened since"),
    "entry": "each hash is worked out anew, and each holds the one before",
    "tally": "each fact is compared with the entry that brought it",
    "reading": "each fact is compared with the entry that brought it",
    "tally_bytes": "their SHA-256 is worked out anew and compared with the entry",
    "reading_bytes": "their SHA-256 is worked out anew and compared with the entry",
    "book": "made_at is compared with entry 1, the counters with the numbers in use",
}
"""Every table and how `verify` covers it; alembic_version is none of ours: a book is opened by what it says."""


def test_every_table_is_covered() -> None:
    assert set(METADATA.tables) == set(COVERED)


def test_tables_that_the_database_keeps_beside_ours_are_known(book_url: str) -> None:
    from sqlalchemy import inspect

    from vinebook.records.book import Book

    with Book(book_url).reading() as connection:
        assert set(inspect(connection).get_table_names()) - set(COVERED) == {"alembic_version"}


@pytest.mark.parametrize("seed", range(2))
def test_any_corrections_verify(book_url: str, tmp_path: Path, seed: int) -> None:
    desk = Desk(book_url, tmp_path)
    fill(desk)
    corrector = Corrector(desk, random.Random(seed))  # noqa: S311 - seeded corrections
    for _ in range(4):
        for _ in range(12):
            corrector.step()
        assert desk.verify().differences == []
    assert len(corrector.done) >= 5


@pytest.fixture
def corrected(empty_desk: Desk) -> Desk:
    """Give a book with one correction of each kind: entries 9 to 14."""
    fill(empty_desk)
    book = empty_desk.book
    amend(book, "event", "A1/2022-11-01/frost", {"share_hit": "20"}, reason="typo", by="RM")
    strike(book, "cluster_tally", "#17", reason="typo", by="RM")
    strike(book, "load", "Scale/2023/1", reason="typo", by="RM", with_rows=True)
    values = {"date": "2023-03-01", "issuer": "Scale", "number": "9", "basis": "net_as_given", "net": "900"}
    add_record(book, "load", values, by="RM", supersedes="Scale/2023/2", reason="typo")
    path = empty_desk.write("mended.csv", cluster_rows([(7, 7, 7)]))
    replace_tally(book, path, "clusters.csv", reason="typo", by="RM")
    assert empty_desk.verify().differences == []
    return empty_desk


EDITS = [
    (
        "UPDATE event SET share_hit_percent = 12.5 WHERE amended_at IS NOT NULL",
        "share_hit is 12.5 % in the table, 20.0 % in the journal",
    ),
    (
        "UPDATE event SET amended_at = NULL",
        "amended_at is empty in the table, 20",
    ),
    (
        "UPDATE event SET amended_at = '2030-01-01T00:00:00.000000Z' WHERE amended_at IS NULL",
        "amended_at is 2030-01-01T00:00:00.000000Z in the table, empty in the journal",
    ),
    (
        "UPDATE cluster_tally SET struck_at = NULL WHERE record = 17",
        "cluster_tally #17",
    ),
    (
        "UPDATE cluster_tally SET struck_at = '2030-01-01T00:00:00.000000Z' WHERE record = 18",
        "cluster_tally #18",
    ),
    (
        "UPDATE load_part SET struck_at = NULL",
        "struck_at is empty in the table, 20",
    ),
    (
        "UPDATE sample SET struck_at = '2030-01-01T00:00:00.000000Z' WHERE struck_at IS NOT NULL",
        "struck_at is 2030-01-01T00:00:00.000000Z in the table, 20",
    ),
    (
        "UPDATE load SET struck_at = NULL WHERE number = '2'",
        "struck_at is empty in the table, 20",
    ),
    (
        "UPDATE load_part SET load = (SELECT record FROM load WHERE number = '2') WHERE amended_at IS NOT NULL",
        "load is ",
    ),
    (
        "UPDATE tally SET at = '2020-01-01T00:00:00.000000Z' WHERE number = 1",
        "at is '2020-01-01T00:00:00.000000Z', entry 2 says '20",
    ),
    (
        "UPDATE tally SET \"by\" = 'X' WHERE number = 1",
        "by is 'X', entry 2 says 'KL'",
    ),
    (
        "UPDATE book SET made_at = 'long ago'",
        "made_at is long ago, entry 1 says 20",
    ),
    (
        "UPDATE book SET next_record = next_record + 1",
        "next_record is ",
    ),
    (
        "UPDATE book SET next_tally = next_tally + 1",
        "next_tally is ",
    ),
    (
        "UPDATE book SET next_tally = 1",
        "next_tally is 1, ",
    ),
    (
        (
            "INSERT INTO event (record, block, season, date, what, tally, line) SELECT 901, block, "
            "season, date, 'hail', tally, line FROM event WHERE record = (SELECT min(record) FROM "
            "event)"
        ),
        "rows that no reading brought: #901",
    ),
    (
        "INSERT INTO tally_bytes (tally, part, bytes) SELECT tally, 7, bytes FROM tally_bytes WHERE tally = 1",
        "tally_bytes holds parts of tally 1 that are not numbered 0 to 1",
    ),
    (
        "INSERT INTO reading_bytes (tally, part, bytes) SELECT tally, -1, bytes FROM reading_bytes WHERE tally = 1",
        "reading_bytes holds parts of tally 1",
    ),
]


@pytest.mark.parametrize(("statement", "words"), EDITS, ids=[statement[:50] for statement, _ in EDITS])
def test_an_edit_of_a_corrected_book_is_found(corrected: Desk, statement: str, words: str) -> None:
    corrected.tamper(statement.replace("%", "%%"))
    found = corrected.verify().differences
    assert words in "\n".join(found)


def test_the_length_of_a_page_changes_nothing(corrected: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    told = corrected.verify()
    assert told.rows > 3
    for statement in ("", *(statement for statement, _ in EDITS[:10])):
        if statement:
            corrected.tamper(statement.replace("%", "%%"))
        found = []
        for rows in (1, 2, 3, 5000):
            monkeypatch.setattr(replay, "FETCHED", rows)
            report = corrected.verify()
            assert report.rows == told.rows
            found.append(report.differences)
        assert found[:-1] == [found[-1]] * 3
        assert bool(found[0]) == bool(statement)


def test_only_the_pages_that_a_correction_touches_are_looked_at_row_by_row(
    corrected: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked_at: list[int] = []
    compare = replay.Replay._compare

    def counted(self: replay.Replay, mark: str, wanted: list[str], record: int) -> None:
        looked_at.append(record)
        compare(self, mark, wanted, record)

    monkeypatch.setattr(replay.Replay, "_compare", counted)
    monkeypatch.setattr(replay, "FETCHED", 1)
    assert corrected.verify().differences == []
    with corrected.book.reading() as connection:
        of_kinds = (
            connection.execute(select(TABLES[kind].c.record, TABLES[kind].c.amended_at, TABLES[kind].c.struck_at))
            for kind in KINDS
        )
        touched = {record for rows in of_kinds for record, amended, struck in rows if amended or struck}
    assert touched
    assert touched <= set(looked_at)
    assert len(looked_at) < corrected.verify().rows


def entries(desk: Desk) -> list[Entry]:
    with desk.book.reading() as connection:
        return list(journal.entries(connection))


def forge(desk: Desk, changed: dict[int, dict[str, str]]) -> None:
    """Rewrite bodies of entries and every hash from there on, as one would who knows how."""
    previous = journal.NO_HASH
    statements = []
    for entry in entries(desk):
        body = (
            json.dumps({**json.loads(entry.body), **changed.get(entry.number, {})})
            if entry.number in changed
            else entry.body
        )
        fields = (entry.number, entry.at, entry.by, entry.db_user, entry.action, entry.subject, body, previous)
        made = journal.entry_hash(*fields)
        quoted = body.replace("'", "''").replace("%", "%%")
        now = f"body = '{quoted}', previous_hash = '{previous}', hash = '{made}'"
        statements.append(f"UPDATE entry SET {now} WHERE number = {entry.number}")
        previous = made
    desk.tamper(*statements)


def test_what_an_amendment_says_of_before_must_be_what_was_read(corrected: Desk) -> None:
    number = next(entry.number for entry in entries(corrected) if entry.action == "amend")
    forge(corrected, {number: {"before": {"share_hit_percent": "11.0"}}})  # type: ignore[dict-item]
    found = corrected.verify().differences
    assert len(found) == 1
    assert f"share_hit was read as 12.5 %, entry {number} says it was 11.0 %" in found[0]


def test_a_journal_written_anew_shows_only_against_a_seal(corrected: Desk) -> None:
    seal = corrected.verify().seal
    number = next(entry.number for entry in entries(corrected) if entry.action == "amend")
    forge(corrected, {number: {"reason": "another"}})
    report = corrected.verify()
    assert report.differences == []
    assert "shows only against a seal kept elsewhere" in "\n".join(report.notes)
    found = verify_book(corrected.book, seal=seal)
    assert found.differences == [
        f"no entry of this book has the seal {seal}: the book that printed it is not where this one began"
    ]


def test_a_journal_cut_at_its_end_shows_only_against_a_seal(desk: Desk) -> None:
    strike(desk.book, "block", "A2", reason="typo", by="RM")
    seal = desk.verify().seal
    desk.tamper("UPDATE block SET struck_at = NULL", "DELETE FROM entry WHERE number = 4")
    assert desk.verify().differences == []
    assert len(verify_book(desk.book, seal=seal).differences) == 1


def test_a_seal_is_where_this_book_began(corrected: Desk) -> None:
    chain = entries(corrected)
    first, last = chain[0], chain[-1]
    printed = " ".join(first.hash[at : at + 8] for at in range(0, 64, 8)).upper()
    report = verify_book(corrected.book, seal=printed)
    assert report.differences == []
    assert (
        f"the seal is entry 1 of this book, {first.at}; {len(chain) - 1} entries came after it (1 amend, "
        in report.sealed
    )
    assert "nothing came after it" in verify_book(corrected.book, seal=last.hash).sealed


@pytest.mark.parametrize("seal", ["", "abc", "g" * 64, "0" * 63, "0" * 65])
def test_what_is_no_seal_is_refused(desk: Desk, seal: str) -> None:
    with pytest.raises(WordsError, match="is not a seal"):
        verify_book(desk.book, seal=seal)


@pytest.mark.parametrize(
    "column", ["number", "at", "by", "db_user", "action", "subject", "body", "previous_hash", "hash"]
)
def test_every_column_of_an_entry_is_sealed(corrected: Desk, column: str) -> None:
    value = "99" if column == "number" else f"'{'e' * 64}'" if column.endswith("hash") else "'x'"
    seal = corrected.verify().seal
    corrected.tamper(f'UPDATE entry SET "{column}" = {value} WHERE number = 11')
    assert "entry 11" in "\n".join(corrected.verify().differences) or "entry 99" in "\n".join(
        corrected.verify().differences
    )
    assert verify_book(corrected.book, seal=seal).differences


def test_entries_that_change_places_are_found(corrected: Desk) -> None:
    corrected.tamper(
        "UPDATE entry SET number = 0 WHERE number = 10",
        "UPDATE entry SET number = 10 WHERE number = 11",
        "UPDATE entry SET number = 11 WHERE number = 0",
    )
    found = "\n".join(corrected.verify().differences)
    assert "entry 10 does not hold the hash" in found
    assert "entry 11 " in found


def test_a_load_told_twice_is_found(desk: Desk) -> None:
    told = entries(desk)[1]
    with desk.book.writing() as connection:
        journal.append(connection, by="KL", action="load", subject=told.subject, body=json.loads(told.body), at=told.at)
    assert "entry 4 brings tally 1, which entry 2 brought" in "\n".join(desk.verify().differences)


def test_rows_that_change_places_are_found(desk: Desk) -> None:
    desk.tamper(
        "UPDATE block SET record = 900 WHERE code = 'A1'",
        "UPDATE block SET record = 2 WHERE code = 'A2'",
        "UPDATE block SET record = 3 WHERE code = 'A1'",
    )
    found = "\n".join(desk.verify().differences)
    assert "block #2 (line 2 of tally 2 (block.csv)): code is A2 in the table, A1 in the reading" in found
    assert "block #3" in found


@pytest.mark.parametrize("words", ["AFTER INSERT ON event", "BEFORE DELETE ON block"])
def test_a_trigger_that_is_none_of_ours_is_named(desk: Desk, words: str) -> None:
    with desk.book.writing() as connection:
        runs = "FOR EACH ROW EXECUTE FUNCTION vinebook_refuse('x')"
        body = runs if connection.dialect.name == "postgresql" else "BEGIN SELECT 1; END"
        connection.exec_driver_sql(f"CREATE TRIGGER another {words} {body}")
    assert desk.verify().differences == ["trigger another is none of the book's"]


@pytest.mark.postgresql
@pytest.mark.parametrize(
    "statement",
    [
        "ALTER TABLE entry DISABLE TRIGGER entry_keeps",
        "ALTER TABLE entry ENABLE REPLICA TRIGGER entry_keeps",
        "CREATE OR REPLACE FUNCTION vinebook_refuse() RETURNS trigger LANGUAGE plpgsql AS $$BEGIN RETURN NEW; END$$",
    ],
)
def test_a_guard_that_no_longer_guards_is_named(postgresql_book: str, tmp_path: Path, statement: str) -> None:
    desk = Desk(postgresql_book, tmp_path)
    with desk.book.writing() as connection:
        connection.exec_driver_sql(statement)
    assert "trigger entry_keeps was changed or switched off" in desk.verify().differences


def test_an_index_that_no_longer_fits_is_found(sqlite_book: str, tmp_path: Path) -> None:
    desk = Desk(sqlite_book, tmp_path)
    fill(desk)
    with desk.book.writing() as connection:
        connection.exec_driver_sql("PRAGMA writable_schema = ON")
        connection.exec_driver_sql(
            "UPDATE sqlite_master SET sql = replace(sql, 'struck_at IS NULL', 'struck_at IS NOT NULL')"
            " WHERE name = 'uq_event_key'"
        )
        connection.exec_driver_sql("PRAGMA writable_schema = OFF")
    assert "the book's file is damaged: " in "\n".join(desk.verify().differences)


def test_today_reads_as_was_read_then(corrected: Desk) -> None:
    assert reread(corrected.book) == []


def test_what_today_reads_otherwise_is_news(corrected: Desk) -> None:
    reading = "UPDATE reading_bytes SET bytes = {} WHERE tally = 5"
    with corrected.book.reading() as connection:
        held = bytes(connection.exec_driver_sql("SELECT bytes FROM reading_bytes WHERE tally = 5").scalar_one())
        lite = connection.dialect.name == "sqlite"
    changed = held.replace(b",bearing,2\n", b",bearing,22\n")
    assert changed != held
    corrected.tamper(reading.format(f"x'{changed.hex()}'" if lite else f"'\\x{changed.hex()}'"))
    assert reread(corrected.book) == ["tally 5 (clusters.csv) line 3: clusters was read as 22, today as 2"]
