"""What a recorder writes by plain SQL, without an entry or with a false one, `verify` names."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING, Any

import pytest
from psycopg import errors

from tests.audit.corrections import fill
from tests.team import Team
from vinebook.errors import DatabaseError
from vinebook.records import journal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.desk import Desk
    from tests.postgresql import Server

pytestmark = pytest.mark.postgresql
_NUMBERS = itertools.count(1)
AT = "2030-01-01T00:00:00.000000Z"
STRAY = "table {0} holds 1 rows that no reading brought: #900"
WRITTEN: list[tuple[str, list[str]]] = [
    (
        (
            "INSERT INTO event (record, block, season, date, what, tally, line) "
            "SELECT 900, block, 2023, DATE '2022-11-20', 'hail', tally, 9 FROM event LIMIT 1"
        ),
        [STRAY.format("event")],
    ),
    ("INSERT INTO consignee (record, name, tally, line) VALUES (900, 'X', 1, 2)", [STRAY.format("consignee")]),
    (
        (
            "INSERT INTO cluster_tally (record, sample, row, vine, state, clusters, tally, line) "
            "SELECT 900, sample, 9, 9, 'bearing', 9, tally, 9 FROM cluster_tally LIMIT 1"
        ),
        [STRAY.format("cluster_tally")],
    ),
    ("UPDATE cluster_tally SET clusters = 70 WHERE vine = 3", ["clusters is 70 in the table, 3 in the reading"]),
    ("UPDATE event SET words = 'high ground'", ["words is high ground in the table, low ground in the reading"]),
    (f"UPDATE event SET struck_at = '{AT}'", [f"struck_at is {AT} in the table, empty in the journal"]),
    (f"UPDATE load SET struck_at = '{AT}'", [f"struck_at is {AT} in the table, empty in the journal"]),
    (f"UPDATE event SET amended_at = '{AT}'", [f"amended_at is {AT} in the table, empty in the journal"]),
    ("UPDATE book SET next_record = next_record + 5", ["table book: next_record is "]),
    ("UPDATE book SET next_tally = next_tally + 1", ["table book: next_tally is "]),
    (
        f"INSERT INTO tally VALUES (900, 'x.csv', 'event', 'file', 1, 'x', '{AT}', 'KL')",
        ["tally 900 (x.csv) has no entry in the journal"],
    ),
    ("INSERT INTO tally_bytes VALUES (1, 1, 'more')", ["tally 1 (vineyard.csv): the bytes of the kept file changed"]),
    ("INSERT INTO tally_bytes VALUES (1, 9, '')", ["parts of tally 1 that are not numbered 0 to 1"]),
    ("INSERT INTO reading_bytes VALUES (1, 1, 'more')", ["tally 1 (vineyard.csv): the bytes of the reading changed"]),
]


@pytest.fixture(scope="module")
def filled(
    postgresql_server: Server, postgresql_template: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """Give the name of a database whose book the recorder filled, to be copied with its grants."""
    postgresql_server.create("filled", postgresql_template)
    made = Team(postgresql_server, "filled", tmp_path_factory.mktemp("filled")).begin()
    desk = made.desk("recorder")
    fill(desk)
    assert desk.verify().differences == []
    yield made.database
    made.end()


@pytest.fixture
def team(postgresql_server: Server, filled: str, tmp_path: Path) -> Iterator[Team]:
    """Give a copy of the filled book."""
    name = f"copy_{next(_NUMBERS)}"
    postgresql_server.create(name, filled)
    yield Team(postgresql_server, name, tmp_path)
    postgresql_server.drop(name)


@pytest.fixture
def told(team: Team) -> Desk:
    """Give the book as the recorder opens it."""
    return team.desk("recorder")


@pytest.mark.parametrize(("statement", "words"), WRITTEN, ids=[statement[:60] for statement, _ in WRITTEN])
def test_what_a_recorder_writes_without_an_entry_is_named(
    told: Desk, team: Team, statement: str, words: list[str]
) -> None:
    team.run("recorder", statement)
    found = "\n".join(team.desk("reader").verify().differences)
    for word in words:
        assert word in found


@pytest.mark.parametrize("counter", ["next_record", "next_tally"])
def test_no_number_is_given_twice(told: Desk, team: Team, counter: str) -> None:
    with pytest.raises(errors.RaiseException, match="the counters of a book only rise"):
        team.run("recorder", f"UPDATE book SET {counter} = {counter} - 1")
    # Moved up, numbers are left out; the next load says no more than that.
    team.run("recorder", f"UPDATE book SET {counter} = {counter} + 7")
    told.load_texts(consignee="name\nBell Lane Cellar\n")
    assert team.desk("reader").verify().differences == []


def test_a_counter_moved_to_its_end_stops_loads_with_a_sentence(told: Desk, team: Team) -> None:
    team.run("recorder", f"UPDATE book SET next_record = {2**63 - 1}")
    before = told.held()
    with pytest.raises(DatabaseError, match="out of range for type bigint"):
        told.load_texts(consignee="name\nBell Lane Cellar\nHollow Lane Cellar\n")
    assert told.held() == before
    assert f"table book: next_record is {2**63 - 1}" in differences(team)


def test_a_share_laid_to_another_ticket_is_named(told: Desk, team: Team) -> None:
    told.load_texts(more="date,issuer,number,basis,net\n2023-03-01,Scale,99,net_as_given,800\n")
    team.run("recorder", "UPDATE load_part SET load = (SELECT max(record) FROM load) WHERE record = 31")
    assert "load_part #31 (line " in (found := differences(team))
    assert ": load is " in found


def event(desk: Desk) -> dict[str, Any]:
    """Give the first event as it is stored."""
    return desk.stored("event")[0]


def amendment(desk: Desk, **more: object) -> tuple[str, str, dict[str, object]]:
    """Give action, subject and body of an amendment of the first event, as the program would write it."""
    record = event(desk)["record"]
    body = {
        "kind": "event",
        "record": record,
        "key": "A1/2022-11-01/frost",
        "before": {"share_hit_percent": "12.5"},
        "after": {"share_hit_percent": "20.0"},
        "reason": "typo",
    }
    return "amend", f"#{record} event A1/2022-11-01/frost", body | more


def append(team: Team, action: str, subject: str, body: object, at: str | None = None) -> None:
    """Write the next entry by psycopg, with a chain that holds."""
    with team.connect("recorder") as connection:
        row = connection.execute("SELECT number, hash, session_user::text FROM entry ORDER BY number DESC LIMIT 1")
        number, previous, login = row.fetchone() or (0, "", "")
        words = body if isinstance(body, str) else json.dumps(body)
        fields = (number + 1, at or journal.now(), "KL", login, action, subject, words, previous)
        connection.execute(
            "INSERT INTO entry VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)", (*fields, journal.entry_hash(*fields))
        )


def differences(team: Team) -> str:
    """Give what verify tells the reader."""
    return "\n".join(team.desk("reader").verify().differences)


def test_an_entry_without_its_change_is_named(told: Desk, team: Team) -> None:
    append(team, *amendment(told))
    assert "share_hit is 12.5 % in the table, 20.0 % in the journal" in differences(team)


def test_a_change_with_a_false_entry_is_named(told: Desk, team: Team) -> None:
    action, subject, body = amendment(told, before={"share_hit_percent": "11.0"})
    at = journal.now()
    append(team, action, subject, body, at)
    record = body["record"]
    team.run("recorder", f"UPDATE event SET share_hit_percent = 20, amended_at = '{at}' WHERE record = {record}")
    assert "share_hit was read as 12.5 %, entry " in differences(team)


def test_an_amendment_of_a_key_or_of_no_row_is_named(told: Desk, team: Team) -> None:
    append(team, *amendment(told, before={"date": "2022-11-01"}, after={"date": "2022-11-09"}))
    assert "date is 2022-11-01 in the table, 2022-11-09 in the journal" in differences(team)
    action, _, body = amendment(told, record=7777)
    append(team, action, "#7777 event x", body)
    assert "is about #7777, which no reading brought" in differences(team)
    append(team, *amendment(told, record=event(told)["record"] + 1))
    assert "is an amend whose words" in differences(team) or "is a amend whose words" in differences(team)


def test_corrections_of_what_there_is_not_are_named(told: Desk, team: Team) -> None:
    made = {"kind": "load", "record": 7001, "key": "x", "new_record": 7002, "new_key": "y", "reason": "r"}
    append(team, "supersede", "#7001 load x", {**made, "carried": {"load_part": [7003]}})
    append(team, "strike", "#7004 event x", {"kind": "event", "record": 7004, "key": "x", "reason": "r", "rows": {}})
    append(team, "replace", "tally 700 x.csv", {"tally": 700, "samples": [7005]})
    found = differences(team)
    assert all(f"is about #{record}, which no reading brought" in found for record in range(7001, 7006))
    assert "replaces tally 700, which is not in the book" in found


@pytest.mark.parametrize("body", ["[]", "no json", "{}", '{"record": "x"}'])
@pytest.mark.parametrize("action", ["amend", "strike", "supersede", "replace"])
def test_words_that_cannot_be_read_are_named(told: Desk, team: Team, action: str, body: str) -> None:
    append(team, action, "#1 x", body)
    assert f"is {'an' if action == 'amend' else 'a'} {action}" in differences(team) or (
        f"is a {action} whose words cannot be read" in differences(team)
    )


def test_a_load_of_nothing_is_named(told: Desk, team: Team) -> None:
    append(team, "load", "tally 77 x.csv", {"name": "x.csv"})
    assert "brought tally 77 (x.csv), which is not in the book" in differences(team)


def test_a_second_load_of_a_tally_is_named(told: Desk, team: Team) -> None:
    append(team, "load", "tally 1 vineyard.csv", {"name": "vineyard.csv"})
    assert "brings tally 1, which entry 2 brought" in differences(team)


@pytest.mark.parametrize(
    ("action", "body", "words"),
    [
        ("new", {"schema": "0004"}, "says that the book was made, as entry 1 does"),
        ("upgrade", {"from": "0001", "to": "0002"}, "brings the book from schema 0001, and it was of schema "),
        ("upgrade", {"from": "0004", "to": "9999"}, "the journal brings the book to schema 9999, and it is of schema "),
        ("load", {"schema": "0004"}, "is a load whose words cannot be read"),
        ("remark", {"words": "all is well"}, "is a remark, which this program never writes"),
    ],
)
def test_an_entry_that_no_step_writes_is_named(
    told: Desk, team: Team, action: str, body: dict[str, str], words: str
) -> None:
    append(team, action, "book", body)
    assert words in differences(team)


def test_a_strike_of_a_row_that_stands_is_named(told: Desk, team: Team) -> None:
    record = event(told)["record"]
    body = {"kind": "event", "record": record, "key": "A1/2022-11-01/frost", "reason": "typo", "rows": {}}
    append(team, "strike", f"#{record} event A1/2022-11-01/frost", body)
    assert "struck_at is empty in the table, " in differences(team)
