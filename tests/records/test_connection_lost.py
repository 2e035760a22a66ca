"""A connection that is lost in the middle of a step: it was stored whole or not at all, and a person is told which."""

from __future__ import annotations

import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import psycopg
import pytest
from click.testing import CliRunner
from sqlalchemy.engine.default import DefaultDialect

from tests.desk import Desk, cluster_rows, places
from tests.wire import laid_wire
from vinebook.audit.deciding import Choice, decide
from vinebook.audit.verify import verify_book
from vinebook.cli import vinebook
from vinebook.errors import ConnectionLostError, CrossedError, OutcomeUnknownError, VinebookError
from vinebook.exchange.package_reading import import_package
from vinebook.exchange.package_writing import export_package
from vinebook.intake import amending
from vinebook.intake.afterwards import check_afterwards
from vinebook.intake.amending import amend
from vinebook.intake.load import load_tallies
from vinebook.intake.striking import strike
from vinebook.intake.typed import add_record
from vinebook.records import journal, step
from vinebook.records.book import Book
from vinebook.records.schema import make_book
from vinebook.records.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from sqlalchemy import Connection

    from tests.postgresql import Server
    from tests.wire import When, Wire
    from vinebook.intake.faults import Faults

EVENT = {"block": "A1", "date": "2022-11-01", "what": "hail"}
ROWS = [(row, vine, 10) for row in range(1, 41) for vine in range(1, 101)]


@pytest.fixture
def wire(postgresql_server: Server) -> Iterator[Wire]:
    with laid_wire(postgresql_server) as one:
        yield one


@pytest.fixture
def desk(postgresql_book: str, tmp_path: Path) -> Desk:
    desk = Desk(postgresql_book, tmp_path)
    places(desk)
    desk.load_texts(clusters=cluster_rows([(1, 1, 12), (1, 2, 14)]))
    desk.write("more.csv", cluster_rows(ROWS, "A2,2022-12-05,random,KL"))
    return desk


def far_book(desk: Desk, wire: Wire, told: list[str]) -> Book:
    """Give the desk's book as somebody has it who works through the wire."""
    return Book(wire.url(desk.url), Waiting(5, told.append))


def load_more(book: Book, folder: Path) -> object:
    return load_tallies(book, [folder / "more.csv"], by="RM")


STEPS: dict[str, Callable[[Book, Path], object]] = {
    "load": load_more,
    "add": lambda book, _: add_record(book, "event", EVENT, by="RM"),
    "amend": lambda book, _: amend(book, "cluster_tally", "#5", {"clusters": "13"}, reason="typo", by="RM"),
    "strike": lambda book, _: strike(book, "cluster_tally", "#5", reason="typo", by="RM"),
    "decide": lambda book, _: decide(
        book, "A1", 2023, Choice("nodes_to_keep", "20 nodes", "few", "20", decided_on="2022-12-20"), by="RM"
    ),
}


@pytest.mark.postgresql
@pytest.mark.parametrize("name", STEPS)
@pytest.mark.parametrize("when", ["bytes", "before commit", "deaf"])
def test_what_the_server_never_heard_was_not_stored_and_is_said_not_to_be(
    desk: Desk, wire: Wire, when: When, name: str
) -> None:
    told: list[str] = []
    book, before = far_book(desk, wire, told), desk.held()
    wire.arm(when, after_bytes=2500)
    with pytest.raises(ConnectionLostError, match=r"the connection was lost \(.+\); nothing was stored$") as caught:
        STEPS[name](book, desk.folder)
    assert wire.cuts == 1
    assert caught.value.hint == "try again once the server answers"
    assert desk.held() == before
    STEPS[name](book, desk.folder)
    assert desk.verify().differences == []


@pytest.mark.postgresql
@pytest.mark.parametrize("name", STEPS)
@pytest.mark.parametrize("when", ["after commit", "late commit"])
def test_what_the_server_stored_before_or_after_the_line_was_cut_is_done_and_said_to_be(
    desk: Desk, wire: Wire, when: When, name: str
) -> None:
    told: list[str] = []
    book = far_book(desk, wire, told)
    wire.arm(when)
    STEPS[name](book, desk.folder)
    assert wire.cuts == 1
    with desk.book.reading() as connection:
        newest = journal.newest(connection)
    assert newest is not None
    assert newest.by == "RM"
    assert told[0].endswith("the connection was lost as the step was being stored; asking what became of it")
    assert told[1].endswith(f", but the step was stored whole; its last entry is {newest.number}")
    assert len(told) == 2
    assert desk.verify().differences == []


@pytest.mark.postgresql
def test_who_wants_quiet_is_told_of_what_was_stored_after_all(desk: Desk, wire: Wire) -> None:
    wire.arm("after commit")
    words = ["--book", wire.url(desk.url), "--by", "RM", "--quiet", "amend", "cluster_tally", "#5", "clusters=13"]
    done = CliRunner().invoke(vinebook, [*words, "--reason", "typo"], prog_name="vinebook")
    assert done.exit_code == 0
    assert wire.cuts == 1
    said = " ".join(done.stderr.split())
    assert "but the step was stored whole" in said
    assert "asking what became of it" not in said


@pytest.mark.postgresql
@pytest.mark.parametrize(("when", "is_there"), [("after commit", True), ("before commit", False)])
def test_where_nobody_answers_the_hint_says_how_to_find_out(
    desk: Desk, wire: Wire, when: When, monkeypatch: pytest.MonkeyPatch, *, is_there: bool
) -> None:
    monkeypatch.setattr(step, "ASK_SECONDS", 1)
    book = far_book(desk, wire, [])
    wire.arm(when, is_dead=True)
    with pytest.raises(OutcomeUnknownError, match="stored whole or not at all, but which of the two is not known") as t:
        STEPS["add"](book, desk.folder)
    seal = t.value.hint.partition("--seal ")[2].split("`")[0]
    wire.is_dead = False
    report = verify_book(desk.book, seal=seal)
    assert (report.differences == []) == is_there


@pytest.mark.postgresql
def test_a_session_that_the_server_ends_is_said_to_be_lost(desk: Desk, postgresql_server: Server) -> None:
    book = Book(desk.url)
    before = desk.held()

    def lose() -> None:
        with book.writing(by="RM", doing="test") as connection:
            postgresql_server.run(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'vinebook test by RM'"
            )
            journal.append(connection, by="RM", action="test", subject="x", body={})

    with pytest.raises(ConnectionLostError, match="nothing was stored"):
        lose()
    assert desk.held() == before


@pytest.mark.postgresql
def test_an_import_or_a_new_book_that_lost_its_line_is_there_or_not(
    desk: Desk, wire: Wire, postgresql_server: Server
) -> None:
    export_package(desk.book, desk.folder / "package")
    makers: dict[str, Callable[[str], object]] = {
        "imported": lambda url: import_package(desk.folder / "package", url, lambda _: []),
        "made": lambda url: make_book(url, by="RM"),
    }
    for name, make in makers.items():
        url = postgresql_server.create(name)
        try:
            wire.arm("before commit")
            with pytest.raises(ConnectionLostError, match="nothing was stored"):
                make(wire.url(url))
            with pytest.raises(VinebookError, match="holds no vinebook book"):
                Book(url)
            wire.arm("after commit")
            make(wire.url(url))
            assert Desk(url, desk.folder).verify().differences == []
        finally:
            postgresql_server.drop(name)
    assert wire.cuts == 4


@pytest.mark.parametrize("is_late", [True, False])
def test_who_stops_a_step_as_it_is_being_stored_is_told_the_truth(
    book_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, is_late: bool
) -> None:
    told: list[str] = []
    book = Book(book_url, Waiting(5, told.append))
    desk = Desk(book_url, tmp_path)
    places(desk)
    before = desk.held()
    do_commit = DefaultDialect.do_commit

    def stopped(self: DefaultDialect, connection: Any) -> None:  # noqa: ANN401 - the driver's
        monkeypatch.undo()
        if is_late:
            do_commit(self, connection)  # type: ignore[no-untyped-call]
        raise KeyboardInterrupt

    def add() -> None:
        with book.writing(by="RM", doing="test") as connection:
            journal.append(connection, by="RM", action="test", subject="x", body={})
            monkeypatch.setattr(DefaultDialect, "do_commit", stopped)

    if is_late:
        add()
        assert desk.held()["seal"] != before["seal"]
        assert told[0].endswith("stopped too late, but the step was stored whole; its last entry is 4")
    else:
        with pytest.raises(KeyboardInterrupt):
            add()
        assert desk.held() == before
        assert told == []


@pytest.mark.postgresql
def test_steps_that_cross_are_done_again_and_give_up_in_words(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, postgresql_server: Server
) -> None:
    """The deadlock is a real one, with a program that takes locks in its own order."""
    tried: list[int] = []

    def wait(other: psycopg.Connection) -> None:
        # It has the row once ours is ended, or is told to stop before.
        with suppress(psycopg.errors.QueryCanceled):
            other.execute("SELECT * FROM book FOR UPDATE")

    def cross(connection: Connection, faults: Faults, numbers: dict[int, str]) -> None:
        tried.append(1)
        if len(tried) > crossings:
            check_afterwards(connection, faults, numbers)
            return
        with psycopg.connect(host=str(postgresql_server.folder), user="postgres", dbname=of) as other:
            other.execute("SET deadlock_timeout = '1h'")
            other.execute("LOCK TABLE event IN ACCESS EXCLUSIVE MODE")
            # It waits for ours, and ours for it; ours is the one that the server ends.
            waits = threading.Thread(target=wait, args=(other,))
            waits.start()
            try:
                while other.info.transaction_status != psycopg.pq.TransactionStatus.ACTIVE:
                    pass
                connection.exec_driver_sql("SELECT count(*) FROM event")
            finally:
                other.cancel()
                waits.join()

    of = desk.url.split("/")[3].split("?")[0]
    monkeypatch.setattr(amending, "check_afterwards", cross)
    crossings = 1
    done = amend(desk.book, "cluster_tally", "#5", {"clusters": "13"}, reason="typo", by="RM")
    assert done.after == {"clusters": "13"}
    assert len(tried) == 2
    tried.clear()
    crossings = 99
    before = desk.held()
    with pytest.raises(CrossedError, match=r"got in each other's way 4 times; nothing was stored$"):
        amend(desk.book, "cluster_tally", "#5", {"clusters": "15"}, reason="typo", by="RM")
    assert len(tried) == step.TRIES
    assert desk.held() == before
