"""Several people on one book: they follow one another, nobody's work is lost or doubled, and who waits is told."""

from __future__ import annotations

import datetime as dt
import os
import re
import signal
import subprocess
import sys
import threading
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from tests.desk import Desk, cluster_rows, places
from tests.people import look_over, prepare, work_together
from tests.postgresql import OWNER
from tests.team import RECORDER, give
from vinebook.api import decide, draw_vines
from vinebook.audit import deciding
from vinebook.audit.deciding import Choice
from vinebook.errors import BookLockedError, BookVersionError, CorrectionError, VinebookError
from vinebook.intake import drawn
from vinebook.intake.amending import amend
from vinebook.intake.load import load_tallies
from vinebook.intake.typed import add_record
from vinebook.records import schema, waiting
from vinebook.records.book import Book
from vinebook.records.journal import entries
from vinebook.records.roles import People
from vinebook.records.schema import upgrade_book
from vinebook.records.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy import Connection

    from tests.team import Team
    from vinebook.intake.load import LoadReport

TOP = Path(__file__).parents[2]
CHOICE = Choice("nodes_to_keep", "20 nodes", "few", "20", decided_on="2022-12-20")
SOON_S = 0.3
SECOND = "rsecond"
"""The login of a second recorder."""


@pytest.fixture
def desk(book_url: str, tmp_path: Path) -> Desk:
    desk = Desk(book_url, tmp_path)
    places(desk)
    desk.load_texts(clusters=cluster_rows([(1, 1, 12), (1, 2, 14)]))
    return desk


def together(*steps: Callable[[], object]) -> list[BaseException]:
    """Take steps at once, each in a thread, and give what went wrong."""
    wrong: list[BaseException] = []
    gate = threading.Barrier(len(steps))

    def take(step: Callable[[], object]) -> None:
        gate.wait()
        try:
            step()
        except VinebookError as trouble:
            wrong.append(trouble)

    threads = [threading.Thread(target=take, args=(step,)) for step in steps]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return wrong


def actions(desk: Desk) -> list[str]:
    with desk.book.reading() as connection:
        return [entry.action for entry in entries(connection)]


@pytest.mark.slow
def test_four_who_write_and_one_who_reads_find_all_as_they_were_told(book_url: str, tmp_path: Path) -> None:
    prepare(book_url, tmp_path)
    found = work_together(book_url, tmp_path, people=4, readers=1, steps=10, seconds=300)
    look_over(book_url, found)
    assert found.wrong == []
    counts = found.counts()
    assert sum(counts.values()) >= 4 * 10
    assert {"load: done", "amend: done", "add: done", "read by export: done"} <= counts.keys()
    assert not [one for one in found.told if "being written by" in one.words]


@pytest.mark.slow
def test_on_a_file_four_programs_wait_for_each_other_and_none_is_refused(sqlite_book: str, tmp_path: Path) -> None:
    places(Desk(sqlite_book, tmp_path))
    steps = 15
    program = (
        "import sys\n"
        "from vinebook.api import load\n"
        "from vinebook.intake.typed import add_record\n"
        "from vinebook.records.book import Book\n"
        "book, who, folder = Book(sys.argv[1]), sys.argv[2], sys.argv[3]\n"
        f"for at in range({steps}):\n"
        "    add_record(book, 'consignee', {'name': who + str(at)}, by=who)\n"
        "    path = f'{folder}/{who}-{at}.csv'\n"
        "    with open(path, 'w') as page:\n"
        "        page.write('block,date,chosen,counted_by,row,vine,clusters\\n')\n"
        "        page.writelines(f'A1,2022-12-05,random,{who}{at},{row},1,9\\n' for row in range(1, 40))\n"
        "    load(book, [path], by=who)\n"
    )
    words = [sys.executable, "-c", program, sqlite_book]
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    programs = [
        subprocess.Popen([*words, f"P{at}", str(tmp_path)], env=environment, stderr=subprocess.PIPE, text=True)
        for at in range(4)
    ]
    told = [one.communicate()[1] for one in programs]
    assert told == [""] * 4
    desk = Desk(sqlite_book, tmp_path)
    assert len(desk.stored("consignee")) == 4 * steps
    assert len(desk.stored("cluster_tally")) == 4 * steps * 39
    assert desk.verify().differences == []


def test_two_who_amend_one_record_keep_what_the_other_did_not_name(desk: Desk) -> None:
    add_record(desk.book, "event", {"block": "A1", "date": "2022-11-01", "what": "hail", "share_hit": "5"}, by="KL")
    key = "A1/2022-11-01/hail"
    wrong = together(
        lambda: amend(Book(desk.url), "event", key, {"share_hit": "9"}, reason="walked again", by="KL"),
        lambda: amend(Book(desk.url), "event", key, {"words": "leaves torn"}, reason="seen", by="RM"),
    )
    assert wrong == []
    (row,) = desk.listed("event")
    assert (row["share_hit [%]"], row["words"]) == (9, "leaves torn")
    assert actions(desk)[-2:] == ["amend", "amend"]


def test_of_two_who_amend_one_field_the_journal_keeps_both_and_was_refuses_the_second(desk: Desk) -> None:
    amend(Book(desk.url), "cluster_tally", "#5", {"clusters": "13"}, reason="typo", by="KL", was={"clusters": "12"})
    with pytest.raises(CorrectionError, match=r"clusters is 13, not 12; KL came first, at .* \(entry 5\)"):
        amend(Book(desk.url), "cluster_tally", "#5", {"clusters": "20"}, reason="typo", by="RM", was={"clusters": "12"})
    done = amend(Book(desk.url), "cluster_tally", "#5", {"clusters": "20"}, reason="typo", by="RM")
    assert (done.before, done.after) == ({"clusters": "13"}, {"clusters": "20"})
    assert desk.verify().differences == []


def test_of_two_who_load_one_file_the_second_is_told_who_was_first(desk: Desk) -> None:
    path = desk.write("more.csv", cluster_rows([(2, vine, 9) for vine in range(1, 200)]))
    told: list[LoadReport] = []

    def load(who: str) -> None:
        told.append(load_tallies(Book(desk.url), [path], by=who))

    assert together(partial(load, "KL"), partial(load, "RM")) == []
    first, second = sorted((report.tallies[0] for report in told), key=lambda tally: tally.already)
    assert (first.rows, first.already) == (199, "")
    assert second.already.startswith("as more.csv on 2")
    assert second.already.rpartition(" by ")[2] in ("KL", "RM")
    assert len(desk.stored("cluster_tally")) == 201


def test_of_two_who_load_the_same_keys_the_second_is_told_the_others_file(desk: Desk) -> None:
    names = ("left", "right")
    paths = [
        desk.write(f"{name}.csv", cluster_rows([(2, vine, at) for vine in range(1, 50)]))
        for at, name in enumerate(names)
    ]
    wrong = together(*(partial(load_tallies, Book(desk.url), [path], by="RM") for path in paths))
    assert len(wrong) == 1
    words = str(getattr(wrong[0], "findings", [""])[0])
    mine, others = names if "left.csv" in words.split(":", maxsplit=1)[0] else names[::-1]
    assert f"{others}.csv" in words.replace(f"{mine}.csv", "", 1)
    assert len(desk.stored("cluster_tally")) == 2 + 49


def test_two_who_decide_at_once_have_two_numbers(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    add = add_record

    def late(*given: object, **named: object) -> object:
        monkeypatch.setattr(deciding, "add_record", add)
        decide(Book(desk.url), "A1", 2023, CHOICE, by="KL", evidence=["none"])
        return add(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(deciding, "add_record", late)
    done = decide(desk.book, "A1", 2023, CHOICE, by="RM", evidence=["none"])
    assert done.key == "A1/2023/2"
    wrong = together(*[lambda: decide(Book(desk.url), "A1", 2023, CHOICE, by="RM")] * 4)
    assert wrong == []
    assert sorted(row["number"] for row in desk.stored("decision")) == [1, 2, 3, 4, 5, 6]


def test_two_who_draw_at_once_have_two_draws(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.load_texts(row="block,from_season,first_row,last_row,positions\nA1,2015,1,10,60\n")
    add = drawn.add_draw

    came_between: list[str] = []

    def late(*given: object, **named: object) -> object:
        monkeypatch.setattr(drawn, "add_draw", add)
        if not came_between:
            came_between.append(draw())
        return add(*given, **named)  # type: ignore[arg-type]

    def draw(name: str = "") -> str:
        for_what = {"season": 2023, "figure": "clusters_per_vine", "on": dt.date(2022, 12, 1)}
        return draw_vines(Book(desk.url), "A1", by="KL", vines=5, seed=4, name=name, **for_what).key  # type: ignore[arg-type]

    monkeypatch.setattr(drawn, "add_draw", late)
    assert draw() == "A1/2023/2"
    assert len(desk.stored("draw")) == 2
    assert len(desk.stored("drawn_vine")) == 10
    with pytest.raises(VinebookError, match="draw A1/2023/2 is in the book already"):
        draw("2")


def held_by_another(url: str, seconds: float) -> threading.Thread:
    """Hold the book for a while, as KL who loads, and come back once it is held."""
    held = threading.Event()

    def hold() -> None:
        with Book(url).writing(by="KL", doing="load"):
            held.set()
            time.sleep(seconds)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait(10)
    return thread


def test_who_waits_is_told_so_once(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "SAID_AFTER_S", SOON_S)
    monkeypatch.setattr(waiting, "ASKED_EVERY_S", SOON_S)
    told: list[str] = []
    other = held_by_another(desk.url, 6 * SOON_S)
    amend(Book(desk.url, Waiting(30, told.append)), "cluster_tally", "#5", {"clusters": "13"}, reason="typo", by="RM")
    other.join()
    (line,) = told
    assert line.startswith("waiting for another writer of ")
    assert line.endswith("; for up to 30 seconds")
    if "postgresql" in desk.url:
        assert ": KL (load, since " in line
    quick = Book(desk.url, Waiting(30, told.append))
    amend(quick, "cluster_tally", "#5", {"clusters": "14"}, reason="typo", by="RM")
    assert len(told) == 1


def test_who_waited_in_vain_is_told_for_whom(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "SAID_AFTER_S", SOON_S)
    other = held_by_another(desk.url, 2)
    with pytest.raises(BookLockedError, match="nothing was stored") as caught:
        amend(Book(desk.url, Waiting(1)), "cluster_tally", "#5", {"clusters": "13"}, reason="typo", by="RM")
    other.join()
    who = r"KL (load, since " if "postgresql" in desk.url else "somebody else (waited 1 second)"
    assert f"is being written by {who}" in caught.value.message


@pytest.mark.postgresql
@pytest.mark.parametrize(
    ("who", "since"),
    [
        pytest.param(RECORDER, r", since \d\d:\d\d:\d\d UTC", id="the same login"),
        pytest.param(SECOND, "", id="another recorder"),
        pytest.param(OWNER, "", id="the owner, no superuser"),
        pytest.param("postgres", r", since \d\d:\d\d:\d\d UTC", id="a superuser"),
    ],
)
def test_who_waits_knows_the_holder_whatever_login_each_has(
    team: Team, who: str, since: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server shows a session's name to everybody, since when it works only to those who may watch it."""
    monkeypatch.setattr(waiting, "SAID_AFTER_S", SOON_S)
    places(team.desk("recorder"))
    team.server.run(
        f"DO $$BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{SECOND}') "
        f"THEN CREATE ROLE {SECOND} LOGIN; END IF; END$$"
    )
    give(team.url("owner"), People(recorders=(SECOND,)))
    other = held_by_another(team.url("recorder"), 2)
    told: list[str] = []
    with pytest.raises(BookLockedError) as caught:
        add_record(Book(team.url(who), Waiting(1, told.append)), "consignee", {"name": "Nobody"}, by="RM")
    other.join()
    assert re.search(rf"is being written by KL \(load{since}\) \(waited 1 second\)", caught.value.message)
    (line,) = told
    assert re.search(rf"waiting for another writer of .*: KL \(load{since}\); for up to 1 second$", line)


@pytest.mark.postgresql
def test_who_waits_for_another_program_is_told_its_login(team: Team, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "SAID_AFTER_S", SOON_S)
    with team.connect("owner") as other:
        other.execute("SET application_name = 'psql'")
        other.execute("SELECT * FROM book FOR UPDATE")
        with pytest.raises(BookLockedError, match=rf"is being written by role {OWNER} \(psql\)"):
            add_record(Book(team.url("recorder"), Waiting(1)), "consignee", {"name": "Nobody"}, by="RM")


AS_ON_A_TERMINAL = """
import signal
# A program that a shell runs in the background was told to pass over the key that ends one.
signal.signal(signal.SIGINT, signal.default_int_handler)
from vinebook.cli import main
main()
"""


def test_who_waits_can_stop(sqlite_book: str, tmp_path: Path) -> None:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    words = ["--book", sqlite_book, "--by", "RM", "add", "consignee", "name=Nobody"]
    with (
        desk.book.writing(),
        subprocess.Popen(
            [sys.executable, "-c", AS_ON_A_TERMINAL, *words],
            env={**os.environ, "PYTHONPATH": str(TOP)},
            stdin=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        ) as waits,
    ):
        assert waits.stderr is not None
        line = waits.stderr.readline()
        waits.send_signal(signal.SIGINT)
        begun = time.monotonic()
        told = waits.communicate()[1]
        assert time.monotonic() - begun < 10
    assert line.startswith("waiting for another writer of ")
    assert "for up to 60 seconds" in line
    assert told == "stopped; nothing was stored by the step that was under way\n"
    assert waits.returncode == 130


@pytest.mark.postgresql
def test_a_writing_session_is_let_go_when_it_stands_still_and_nobody_turns_durability_off(
    postgresql_book: str,
) -> None:
    def shown(connection: Connection, name: str) -> str:
        return str(connection.execute(text(f"SHOW {name}")).scalar_one())

    book = Book(postgresql_book)
    with book.writing(by="KL", doing="load") as connection:
        assert shown(connection, "idle_in_transaction_session_timeout") == "5min"
        assert shown(connection, "lock_timeout") == "1min"
        assert shown(connection, "synchronous_commit") == "on"
        assert shown(connection, "transaction_isolation") == "read committed"
        assert shown(connection, "application_name") == "vinebook load by KL"
        assert shown(connection, "statement_timeout") == "0"
    with book.reading() as connection:
        assert shown(connection, "synchronous_commit") == "off"
        assert shown(connection, "transaction_isolation") == "repeatable read"


def slow_migration(monkeypatch: pytest.MonkeyPatch, begun: threading.Event, go_on: threading.Event) -> None:
    """Have `upgrade` bring a book to a later schema than there is, slowly, through tables in an order of its own."""

    def migrate(connection: Connection) -> None:
        connection.execute(text("ALTER TABLE sample ADD COLUMN later INTEGER"))
        begun.set()
        go_on.wait(10)
        connection.execute(text("ALTER TABLE block ADD COLUMN later INTEGER"))
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))

    monkeypatch.setattr(schema, "EARLIER", (schema.HEAD,))
    monkeypatch.setattr(schema, "HEAD", "9999")
    monkeypatch.setattr(schema, "_migrate", migrate)


@pytest.mark.postgresql
def test_an_upgrade_waits_for_who_reads_and_crosses_nobody(
    postgresql_book: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Desk(postgresql_book, tmp_path)
    places(desk)
    begun, go_on = threading.Event(), threading.Event()
    found: list[str] = []

    def upgrade() -> None:
        try:
            upgrade_book(postgresql_book, by="KL")
        except VinebookError as trouble:
            found.append(trouble.message)

    def look_late() -> None:
        try:
            with desk.book.reading() as connection:
                found.append(f"{connection.execute(text('SELECT count(*) FROM block')).scalar_one()} blocks")
        except BookVersionError as trouble:
            found.append(trouble.message)

    with desk.book.reading() as connection:
        connection.execute(text("SELECT count(*) FROM block")).scalar_one()
        slow_migration(monkeypatch, begun, go_on)
        threads = [threading.Thread(target=upgrade)]
        threads[0].start()
        assert not begun.wait(SOON_S)
        connection.execute(text("SELECT count(*) FROM sample")).scalar_one()
    assert begun.wait(10)
    threads.append(threading.Thread(target=look_late))
    threads[1].start()
    time.sleep(SOON_S)
    assert found == []
    go_on.set()
    for thread in threads:
        thread.join()
    # Who came while it was under way sees the book after it: by a snapshot from before the wait it would be an old one.
    assert found == ["2 blocks"]


def test_of_two_who_upgrade_the_second_finds_it_done(
    book_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()
    go_on.set()
    slow_migration(monkeypatch, threading.Event(), go_on)
    told: list[tuple[str, str]] = []
    assert together(*[lambda: told.append(upgrade_book(book_url, by="KL"))] * 2) == []
    assert sorted(told)[1:] == [("9999", "9999")]
    assert actions(Desk(book_url, tmp_path)) == ["new", "upgrade"]


@pytest.mark.postgresql
def test_of_two_who_make_one_book_on_a_server_the_second_is_told(postgresql_empty: str) -> None:
    wrong = together(*[lambda: schema.make_book(postgresql_empty, by="KL")] * 3)
    assert [type(one).__name__ for one in wrong] == ["BookExistsError"] * 2
