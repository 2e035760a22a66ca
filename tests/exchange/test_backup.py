"""Copies are whole, verified and never written over; what is brought back keeps what stood there."""

from __future__ import annotations

import sqlite3
import subprocess
import threading
from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk, cluster_rows, places
from tests.postgresql import Server, server_programs
from vinebook.cli.copies import differences_of
from vinebook.errors import BookExistsError, BookLockedError, DisagreementError, VinebookError
from vinebook.exchange import backup as copies
from vinebook.exchange.backup import backup, restore
from vinebook.intake.amending import amend
from vinebook.records.book import Book
from vinebook.records.copying import settle

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def desk(sqlite_book: str, tmp_path: Path) -> Desk:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    desk.load_texts(clusters=cluster_rows([(1, vine, vine) for vine in range(1, 60)]))
    return desk


def seal_of(path: object) -> str:
    from vinebook.audit.verify import verify_book

    report = verify_book(Book(str(path)))
    assert report.differences == []
    return report.seal


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir() if not path.name.endswith(".csv")}


def test_a_copy_is_the_book(desk: Desk, tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    made = backup(
        desk.url, tmp_path / "copy.db", differences_of, progress=lambda left, total: seen.append((left, total))
    )
    assert seal_of(made) == desk.verify().seal
    assert seen[-1][0] == 0 < seen[-1][1]
    assert files(tmp_path) == {"book.db", "copy.db"}


def test_a_copy_taken_while_somebody_writes_is_a_state_of_the_book(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("vinebook.records.copying.COPIED_PAGES", 1)
    stop, trouble = threading.Event(), []

    def write() -> None:
        book, clusters = Book(desk.url), 100
        while not stop.is_set():
            clusters += 1
            try:
                amend(book, "cluster_tally", "#8", {"clusters": str(clusters)}, reason="typo", by="RM")
            except VinebookError as error:
                trouble.append(error)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        seals = [seal_of(backup(desk.url, tmp_path / f"copy-{at}.db", differences_of)) for at in range(5)]
    finally:
        stop.set()
        writer.join()
    assert trouble == []
    with desk.book.reading() as connection:
        chain = list(connection.exec_driver_sql("SELECT hash FROM entry ORDER BY number").scalars())
    found = [chain.index(seal) for seal in seals]
    assert found == sorted(set(found))


def test_nothing_is_written_over(desk: Desk, tmp_path: Path) -> None:
    target = desk.write("copy.db", "something else")
    with pytest.raises(BookExistsError, match="exists already"):
        backup(desk.url, target, differences_of)
    assert target.read_text() == "something else"


def test_a_file_that_comes_up_meanwhile_is_not_written_over(desk: Desk, tmp_path: Path) -> None:
    target = tmp_path / "copy.db"

    def check(draft: str) -> list[str]:
        target.write_text("something else")
        return differences_of(draft)

    with pytest.raises(BookExistsError):
        backup(desk.url, target, check)
    assert target.read_text() == "something else"
    assert files(tmp_path) == {"book.db", "copy.db"}


def test_a_book_that_does_not_verify_is_not_copied(desk: Desk, tmp_path: Path) -> None:
    desk.tamper("UPDATE block SET name = 'x'")
    with pytest.raises(DisagreementError) as caught:
        backup(desk.url, tmp_path / "copy.db", differences_of)
    assert "name is x in the table" in caught.value.differences[0]
    assert files(tmp_path) == {"book.db"}


@pytest.mark.parametrize("keep", [0, 50, 5000, 40_000])
def test_a_damaged_copy_is_refused_by_its_name(desk: Desk, tmp_path: Path, keep: int) -> None:
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    made.write_bytes(made.read_bytes()[:keep] + b"\x5a" * 20_000)
    for over in (False, True):
        place = tmp_path / "again.db" if not over else desk.url
        with pytest.raises(VinebookError) as caught:
            restore(made, str(place), differences_of, over=over)
        assert "copy.db" in caught.value.message or isinstance(caught.value, DisagreementError)
        assert ".part" not in caught.value.message
    assert files(tmp_path) == {"book.db", "copy.db"}
    assert desk.verify().differences == []


def test_a_copy_is_brought_back(desk: Desk, tmp_path: Path) -> None:
    seal = desk.verify().seal
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    # The log of a book that is gone must not be played into the one that takes its place.
    (tmp_path / "again.db-wal").write_bytes(b"\x37\x7f\x06\x82" + b"x" * 5000)
    assert restore(made, str(tmp_path / "again.db"), differences_of) == (tmp_path / "again.db", None)
    assert seal_of(tmp_path / "again.db") == seal
    assert files(tmp_path) == {"book.db", "copy.db", "again.db"}


def test_a_book_that_is_there_stays_unless_told(desk: Desk, tmp_path: Path) -> None:
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    with pytest.raises(BookExistsError, match="exists already"):
        restore(made, desk.url, differences_of)
    with pytest.raises(VinebookError, match="is the book itself"):
        restore(desk.url, desk.url, differences_of, over=True)


@pytest.mark.parametrize("links", [True, False])
def test_what_stood_there_is_kept(desk: Desk, tmp_path: Path, links: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not links:

        def refuse(old: object, new: object) -> None:
            raise PermissionError(old, new)

        monkeypatch.setattr("vinebook.exchange.backup.os.link", refuse)
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    old = seal_of(made)
    amend(desk.book, "cluster_tally", "#8", {"clusters": "99"}, reason="typo", by="RM")
    new = desk.verify().seal
    target, kept = restore(made, desk.url, differences_of, over=True)
    assert (str(target), kept) == (desk.url, tmp_path / "book.db.before-restore-1")
    assert (seal_of(desk.url), seal_of(kept)) == (old, new)
    assert kept is not None
    assert restore(kept, desk.url, differences_of, over=True)[1] == tmp_path / "book.db.before-restore-2"
    assert seal_of(desk.url) == new
    amend(Book(desk.url), "cluster_tally", "#8", {"clusters": "98"}, reason="typo", by="RM")
    assert files(tmp_path) == {"book.db", "copy.db", "book.db.before-restore-1", "book.db.before-restore-2"}


def test_a_damaged_book_is_replaced_and_its_bytes_kept(desk: Desk, tmp_path: Path) -> None:
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    book = tmp_path / "book.db"
    book.write_bytes(b"no book at all")
    _, kept = restore(made, desk.url, differences_of, over=True)
    assert kept is not None
    assert kept.read_bytes() == b"no book at all"
    assert seal_of(book) == seal_of(made)


def test_a_book_in_use_is_not_replaced(desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copies, "BUSY_SECONDS", 0)
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    with desk.book.reading(), pytest.raises(BookLockedError, match="is in use"):
        restore(made, desk.url, differences_of, over=True)
    assert not list(tmp_path.glob("*before-restore*"))
    with sqlite3.connect(desk.url) as held:
        assert held.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    held.close()
    assert desk.verify().differences == []


def test_a_failure_at_the_last_moment_leaves_the_book(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = backup(desk.url, tmp_path / "copy.db", differences_of)
    amend(desk.book, "cluster_tally", "#8", {"clusters": "99"}, reason="typo", by="RM")
    seal = desk.verify().seal

    def fail(draft: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(copies, "settle", fail)
    with pytest.raises(VinebookError, match="No space left"):
        restore(made, desk.url, differences_of, over=True)
    assert seal_of(desk.url) == seal
    with pytest.raises(VinebookError, match="No space left"):
        backup(desk.url, tmp_path / "other.db", differences_of)
    assert not (tmp_path / "other.db").exists()


@pytest.mark.parametrize(
    ("source", "target", "words"),
    [
        ("none.db", "copy.db", "there is no book at"),
        ("book.db", "nowhere/copy.db", "there is no folder"),
        ("empty.db", "copy.db", "empty.db holds no vinebook book"),
        ("words.txt", "copy.db", "words.txt is no vinebook book, or is damaged"),
    ],
)
def test_what_cannot_be_copied_is_told(desk: Desk, tmp_path: Path, source: str, target: str, words: str) -> None:
    (tmp_path / "empty.db").touch()
    (tmp_path / "words.txt").write_text("words " * 200)
    with pytest.raises(VinebookError) as caught:
        backup(str(tmp_path / source), tmp_path / target, differences_of)
    assert words in caught.value.message
    with pytest.raises(VinebookError):
        restore(tmp_path / source, str(tmp_path / target), differences_of)
    assert not (tmp_path / target).exists() or source == "book.db"


def test_a_half_written_draft_is_taken_away_by_the_next_run(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / ".copy.db.part").write_bytes(b"half")
    (tmp_path / ".copy.db.part-wal").write_bytes(b"half")
    backup(desk.url, tmp_path / "copy.db", differences_of)
    assert files(tmp_path) == {"book.db", "copy.db"}


def test_a_settled_file_has_no_log_of_another(tmp_path: Path) -> None:
    (tmp_path / "draft").write_bytes(b"new")
    (tmp_path / "book-wal").write_bytes(b"old")
    settle(tmp_path / "draft", tmp_path / "book")
    assert files(tmp_path) == {"book"}


@pytest.mark.postgresql
def test_the_servers_own_tools_copy_a_book(postgresql_book: str, postgresql_server: Server, tmp_path: Path) -> None:
    desk = Desk(postgresql_book, tmp_path)
    places(desk)
    desk.load_texts(clusters=cluster_rows([(1, 1, 10), (1, 2, 20)]))
    amend(desk.book, "cluster_tally", "#5", {"clusters": "12"}, reason="typo", by="RM")
    seal = desk.verify().seal
    programs, dump = server_programs(), tmp_path / "estate.dump"
    subprocess.run(
        [programs / "pg_dump", "--format=custom", f"--file={dump}", f"--dbname={postgresql_book}"], check=True
    )
    again = postgresql_server.create("estate_again")
    subprocess.run([programs / "pg_restore", f"--dbname={again}", "--exit-on-error", dump], check=True)
    try:
        assert seal_of(again) == seal
        amend(Book(again), "cluster_tally", "#5", {"clusters": "13"}, reason="typo", by="RM")
        assert seal_of(again) != seal
    finally:
        postgresql_server.drop("estate_again")
    for act in (lambda: backup(postgresql_book, dump, differences_of), lambda: restore(dump, again, differences_of)):
        with pytest.raises(VinebookError, match="pg_dump"):
            act()
