"""The journal's hash is the one that the page says, and the chain only grows."""

from __future__ import annotations

import hashlib
import threading
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from tests.desk import Desk
from vinebook.errors import VinebookError, WordsError
from vinebook.records import journal
from vinebook.records.book import Book
from vinebook.records.tables import ENTRY

if TYPE_CHECKING:
    from pathlib import Path


def test_sha_256_is_the_one_of_the_standard() -> None:
    # FIPS 180-4, example "abc" of the secure hash standard's example values.
    assert hashlib.sha256(b"abc").hexdigest() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_an_entry_has_the_hash_of_its_lines() -> None:
    body = '{"rows":6,"words":"Côte"}'
    lines = (
        "vinebook entry 1\n7\n2024-06-12T08:00:00.000000Z\nKL\nsqlite\nload\ntally 3 counts.csv\n"
        + hashlib.sha256(body.encode("utf-8")).hexdigest()
        + "\n"
        + "a" * 64
        + "\n"
    )
    worked_out = journal.entry_hash(
        7, "2024-06-12T08:00:00.000000Z", "KL", "sqlite", "load", "tally 3 counts.csv", body, "a" * 64
    )
    assert worked_out == hashlib.sha256(lines.encode("utf-8")).hexdigest()
    # Worked out once with another program (sha256sum) and kept here.
    assert worked_out == KNOWN_ANSWER


KNOWN_ANSWER = "c4ab1c94992cb8d3419a52b26e219ef7a601fbcb3acc864db08ba6375734be9f"


@pytest.mark.parametrize("at", [0, 1, 2, 3, 4, 6])
@pytest.mark.parametrize("sign", ["\n", "\r"])
def test_no_field_may_hold_a_line_break(at: int, sign: str) -> None:
    fields = ["at", "KL", "user", "load", "subject", "{}", "a" * 64]
    fields[at] = f"x{sign}y"
    with pytest.raises(ValueError, match="line break"):
        journal.entry_hash(7, *fields)


@pytest.mark.parametrize("name", ["", "  ", "K\nL", "K\x1bL", "\udcff", "K\u202eL"])
def test_who_acts_has_a_name_in_one_line(name: str) -> None:
    with pytest.raises(WordsError, match="who acts"):
        journal.actor(name)


def test_a_book_begins_with_an_entry_that_follows_nothing(book_url: str) -> None:
    with Book(book_url).reading() as connection:
        entry = journal.newest(connection)
    assert entry is not None
    assert (entry.number, entry.action, entry.previous_hash) == (1, "new", "0" * 64)
    assert entry.hash == entry.worked_out_hash()
    assert entry.db_user == ("vinebook_owner" if book_url.startswith("postgresql") else "sqlite")


STATEMENTS = [
    "UPDATE entry SET \"by\" = 'Somebody'",
    "DELETE FROM entry",
    "UPDATE tally SET name = 'x'",
    "DELETE FROM tally",
    "UPDATE reading SET rows = 1",
    "DELETE FROM reading",
    "UPDATE tally_bytes SET part = 9",
    "DELETE FROM tally_bytes",
    "UPDATE reading_bytes SET part = 9",
    "DELETE FROM reading_bytes",
    "DELETE FROM block",
    "UPDATE block SET record = 99",
    "UPDATE block SET tally = 1",
    "UPDATE block SET line = 9",
]


def refused(desk_url: str, statement: str) -> str:
    """Run a statement that a guard must refuse and give the guard's words."""
    book = Book(desk_url)
    with book.reading() as connection:
        before = connection.execute(text("SELECT count(*), max(hash) FROM entry")).one()
    engine = book._engine
    with (
        engine.connect() as connection,
        pytest.raises(DBAPIError) as caught,
        connection.execution_options(writes=True).begin(),
    ):
        connection.exec_driver_sql(statement)
    with book.reading() as connection:
        assert connection.execute(text("SELECT count(*), max(hash) FROM entry")).one() == before
    return str(caught.value.orig)


@pytest.fixture
def filled(book_url: str, tmp_path: Path) -> str:
    from tests.desk import places

    places(Desk(book_url, tmp_path))
    return book_url


@pytest.mark.parametrize("statement", STATEMENTS)
def test_what_only_grows_refuses_to_change(filled: str, statement: str) -> None:
    assert any(words in refused(filled, statement) for words in ("only grow", "never deleted", "keeps its permanent"))


@pytest.mark.postgresql
@pytest.mark.parametrize("table", ["entry", "tally_bytes", "reading_bytes", "event", "tally CASCADE"])
def test_what_only_grows_refuses_to_be_emptied(postgresql_book: str, table: str) -> None:
    words = refused(postgresql_book, f"TRUNCATE {table}")
    assert "only grow" in words or "never deleted" in words


@pytest.mark.postgresql
def test_guards_stand_when_triggers_of_replicas_are_off_but_for_that_of_names(postgresql_book: str) -> None:
    engine = Book(postgresql_book)._engine
    with engine.connect() as connection:
        modes = connection.exec_driver_sql(
            "SELECT tgname, tgenabled::text FROM pg_trigger WHERE NOT tgisinternal"
        ).all()
    # A replica that is fed row by row copies entries that others signed.
    assert {name for name, mode in modes if mode != "A"} == {"entry_is_signed"}


VALUES = "'2024-01-01T00:00:00.000000Z', 'KL', 'x', 'load', 's', '{{}}', '{previous}', '{hash}')"
INSERT = 'INSERT INTO entry (number, at, "by", db_user, action, subject, body, previous_hash, hash) VALUES ({number}, '


@pytest.mark.parametrize(
    ("number", "previous"), [(1, "0" * 64), (3, None), (5, None), (0, "0" * 64), (4, "f" * 64)], ids=str
)
def test_an_entry_must_follow_the_newest(filled: str, number: int, previous: str | None) -> None:
    with Book(filled).reading() as connection:
        newest = journal.newest(connection)
    assert newest is not None
    assert newest.number == 3
    values = {"number": number, "previous": previous or newest.hash, "hash": "e" * 64}
    assert "follows the newest" in refused(filled, INSERT.format(**values) + VALUES.format(**values))


@pytest.mark.parametrize("word", ["INSERT OR REPLACE", "REPLACE"])
def test_replacing_an_entry_is_refused(sqlite_book: str, word: str) -> None:
    values = {"number": 1, "previous": "0" * 64, "hash": "e" * 64}
    statement = (INSERT.format(**values) + VALUES.format(**values)).replace("INSERT", word, 1)
    assert "follows the newest" in refused(sqlite_book, statement)


def test_replacing_a_kept_file_is_refused(tmp_path: Path, sqlite_book: str) -> None:
    from tests.desk import places

    places(Desk(sqlite_book, tmp_path))
    for statement in (
        "REPLACE INTO tally SELECT * FROM tally",
        "REPLACE INTO tally_bytes SELECT tally, part, x'00' FROM tally_bytes",
        "REPLACE INTO reading SELECT * FROM reading",
        "REPLACE INTO reading_bytes SELECT tally, part, x'00' FROM reading_bytes",
    ):
        assert "only grow" in refused(sqlite_book, statement)
    assert "never deleted" in refused(sqlite_book, "REPLACE INTO block SELECT * FROM block")


def test_two_writers_lose_nothing(book_url: str) -> None:
    trouble: list[Exception] = []

    def write() -> None:
        book = Book(book_url)
        try:
            for _ in range(200):
                with book.writing() as connection:
                    counters = journal.lock_counters(connection)
                    counters.take_records(1)
                    journal.store_counters(connection, counters)
                    journal.append(connection, by="KL", action="test", subject="x", body={})
        except VinebookError as error:
            trouble.append(error)

    writers = [threading.Thread(target=write) for _ in range(2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert trouble == []
    with Book(book_url).reading() as connection:
        assert connection.execute(text("SELECT next_record FROM book")).scalar_one() == 401
        entries = list(journal.entries(connection))
    assert [entry.number for entry in entries] == list(range(1, 402))
    assert all(entry.hash == entry.worked_out_hash() for entry in entries)
    assert [entry.previous_hash for entry in entries[1:]] == [entry.hash for entry in entries[:-1]]


def test_entries_hold_what_was_written(book_url: str) -> None:
    with Book(book_url).writing() as connection:
        journal.append(connection, by="KL", action="test", subject="a\nb  c", body={"ü": "1.5", "a": [1]})
    with Book(book_url).reading() as connection:
        entry = journal.newest(connection)
        assert entry is not None
        assert (entry.subject, entry.body) == ("a b c", '{"a":[1],"ü":"1.5"}')
        assert (
            connection.scalar(ENTRY.select().where(ENTRY.c.number == 2).with_only_columns(ENTRY.c.hash)) == entry.hash
        )
