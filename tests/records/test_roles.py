"""The roles of a book: made for its database, given to people, bounded anew, and found out when they differ."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

import psycopg
import pytest

from tests.team import OUTSIDER, READER, RECORDER, Team, give, make_logins
from vinebook.errors import BookReadOnlyError, DatabaseError, WordsError
from vinebook.records.book import Book
from vinebook.records.grants import BOOK_TABLES
from vinebook.records.role_catalogue import LONGEST_NAME, role_name, roles_held
from vinebook.records.roles import People, printed_roles
from vinebook.records.schema import make_book

if TYPE_CHECKING:
    from pathlib import Path

    from tests.postgresql import Server
    from vinebook.records.role_catalogue import Held

pytestmark = pytest.mark.postgresql


def held(team: Team, who: str = "owner") -> Held:
    """Give what is told of a book's roles."""
    with team.desk(who).book.reading() as connection:
        return roles_held(connection)


def script(team: Team, people: People) -> str:
    """Give what is printed for psql."""
    with team.desk("owner").book.reading() as connection:
        return printed_roles(connection, people)


def psql(team: Team, words: str, user: str, database: str = "") -> subprocess.CompletedProcess[str]:
    """Run a script in psql."""
    return subprocess.run(
        ["psql", "-X", "--host", team.server.folder, "--username", user, database or team.database],
        input=words,
        text=True,
        capture_output=True,
        check=False,
    )


@pytest.mark.parametrize("who", ["owner", "recorder", "reader"])
def test_everybody_with_a_role_can_ask_who_has_which(team: Team, who: str) -> None:
    found = held(team, who)
    assert found.owner == "vinebook_owner"
    assert found.roles == {"recorder": f"{team.database}_recorder", "reader": f"{team.database}_reader"}
    assert found.members == {"recorder": (RECORDER,), "reader": (READER,)}
    assert found.superusers == ("postgres",)
    assert found.differences == ()


def test_doing_it_twice_changes_nothing(team: Team) -> None:
    before = held(team)
    assert give(team.url("owner")) == give(team.url("owner")) == before


def test_a_login_has_one_role_or_none(team: Team) -> None:
    assert give(team.url("owner"), People(recorders=(READER,))).members == {
        "recorder": (READER, RECORDER),
        "reader": (),
    }
    assert give(team.url("owner"), People(neither=(READER, OUTSIDER))).members["recorder"] == (RECORDER,)
    assert give(team.url("owner"), People(readers=(RECORDER,))).members == {"recorder": (), "reader": (RECORDER,)}


@pytest.mark.parametrize(
    ("people", "words"),
    [
        (People(recorders=("nobody here",)), "this server knows no login 'nobody here'"),
        (People(recorders=(RECORDER,), readers=(RECORDER,)), "'rquill' is named twice"),
        (People(recorders=("vinebook_owner",)), "owns the book and needs no role"),
        (People(neither=("",)), "this server knows no login ''"),
    ],
)
def test_who_cannot_be_given_a_role_is_named_and_nothing_is_done(team: Team, people: People, words: str) -> None:
    before = held(team)
    with pytest.raises(WordsError, match=words):
        give(team.url("owner"), people)
    with pytest.raises(WordsError, match="is itself a role of this book"):
        give(team.url("owner"), People(readers=(f"{team.database}_recorder",)))
    assert held(team) == before


def test_only_the_owner_gives_roles(team: Team) -> None:
    for who in ("recorder", "reader"):
        with pytest.raises(BookReadOnlyError, match="is given roles by its owner, vinebook_owner, and not by "):
            give(team.url(who))


def test_a_book_in_a_file_has_none(sqlite_book: str) -> None:
    book = Book(sqlite_book)
    with book.reading() as connection, pytest.raises(WordsError, match="a book in a file has no roles") as caught:
        printed_roles(connection, People())
    assert "rights" in caught.value.hint


ODD = ('rob\'s "vines"', "a%s b, c", "back\\slash", "$vinebook$", "ümlaut:name", "UPPER", "-- x; DROP TABLE entry")


@pytest.mark.parametrize("by", ["psql", "vinebook"])
def test_names_of_any_signs_are_quoted(postgresql_server: Server, team: Team, by: str) -> None:
    for number, name in enumerate(ODD):
        database = f"db {number} {name}"[:50]
        quoted, doubled = database.replace('"', '""'), name.replace('"', '""')
        postgresql_server.run(f'CREATE ROLE "{doubled}" LOGIN')
        postgresql_server.run(f'CREATE DATABASE "{quoted}" OWNER vinebook_owner TEMPLATE "{team.database}"')
        odd = Team(postgresql_server, database, team.folder)
        try:
            if by == "psql":
                done = psql(odd, script(odd, People(recorders=(name,))), "vinebook_owner")
                assert (done.returncode, done.stderr) == (0, "")
                found = held(odd)
            else:
                found = give(odd.url("owner"), People(recorders=(name,)))
            assert found.members == {"recorder": (name,), "reader": ()}
            # The rights that came with the copy are those of another book's roles.
            assert found.differences == ()
        finally:
            postgresql_server.drop(quoted)
            for role in (f"{quoted}_recorder", f"{quoted}_reader", doubled):
                postgresql_server.run(f'DROP ROLE "{role}"')


def test_a_long_name_of_a_database_still_gives_two_roles() -> None:
    long = "ä" * 31
    names = {role_name(f"{long}{tail}", duty) for duty in ("recorder", "reader") for tail in ("", "x")}
    assert len(names) == 4
    assert all(len(name.encode()) <= LONGEST_NAME for name in names)


def test_a_superuser_runs_what_is_printed_where_the_owner_may_make_no_roles(
    postgresql_server: Server, postgresql_book: str, team: Team
) -> None:
    database = postgresql_book.rpartition("/")[2].partition("?")[0]
    other = Team(postgresql_server, database, team.folder)
    make_logins(postgresql_server)
    postgresql_server.run("ALTER ROLE vinebook_owner NOCREATEROLE")
    try:
        with pytest.raises(BookReadOnlyError, match="its roles are not there yet, and vinebook_owner may not make any"):
            give(other.url("owner"))
        words = script(other, People(recorders=(RECORDER,)))
        for _ in range(2):
            done = psql(other, words, "postgres")
            assert (done.returncode, done.stderr) == (0, "")
        # From then on the owner gives them to people.
        found = give(other.url("owner"), People(readers=(READER,)))
    finally:
        postgresql_server.run("ALTER ROLE vinebook_owner CREATEROLE")
    assert found.members == {"recorder": (RECORDER,), "reader": (READER,)}
    assert found.differences == ()


def test_what_is_printed_runs_in_its_own_database_only(team: Team, postgresql_empty: str) -> None:
    empty = postgresql_empty.rpartition("/")[2].partition("?")[0]
    done = psql(team, script(team, People()), "postgres", empty)
    assert done.returncode == 3
    assert f"this script is for the database {team.database}" in done.stderr


def test_no_password_is_made_or_printed(team: Team) -> None:
    words = script(team, People((RECORDER,), (READER,)))
    statements = [line for line in words.splitlines() if not line.startswith("--")]
    assert not [line for line in statements if "password" in line.lower() or " LOGIN" in line.replace("NOLOGIN", "")]


DRIFTS = [
    ("GRANT UPDATE ON entry TO {recorder}", "{recorder} has UPDATE on table entry"),
    ("GRANT DELETE ON event TO PUBLIC", "PUBLIC has DELETE on table event"),
    ("GRANT SELECT ON event TO PUBLIC", "PUBLIC has SELECT on table event"),
    ("GRANT UPDATE (hash) ON entry TO outsider", "outsider has UPDATE on table entry.hash"),
    ("GRANT SELECT ON event TO {reader} WITH GRANT OPTION", "{reader} has SELECT WITH GRANT OPTION on table event"),
    ("GRANT CREATE ON SCHEMA public TO PUBLIC", "PUBLIC has CREATE on the schema"),
    ("GRANT CONNECT ON DATABASE {database} TO PUBLIC", "PUBLIC has CONNECT on the database"),
    ("GRANT EXECUTE ON FUNCTION vinebook_refuse TO PUBLIC", "PUBLIC has EXECUTE on function vinebook_refuse"),
    ("REVOKE SELECT ON event, entry FROM {reader}", "{reader} lacks SELECT on table entry, event"),
    ("REVOKE UPDATE (struck_at) ON event FROM {recorder}", "{recorder} lacks UPDATE on table event.struck_at"),
    ("GRANT TRUNCATE ON entry TO outsider", "outsider may change or empty tables of the book by a right"),
]


@pytest.mark.parametrize(("statement", "words"), DRIFTS, ids=[statement for statement, _ in DRIFTS])
def test_rights_that_differ_are_named_and_mended(team: Team, statement: str, words: str) -> None:
    names = {"database": team.database} | {duty: f"{team.database}_{duty}" for duty in ("recorder", "reader")}
    team.run("owner", statement.format(**names))
    assert words.format(**names) in "\n".join(held(team).differences)
    assert give(team.url("owner")).differences == ()


def test_who_belongs_to_the_owner_is_told_and_is_no_fault(team: Team) -> None:
    team.server.run("GRANT vinebook_owner TO outsider")
    try:
        found = held(team)
        assert (found.owners, found.differences) == ((OUTSIDER,), ())
    finally:
        team.server.run("REVOKE vinebook_owner FROM outsider")


def test_a_role_that_became_more_than_a_group_is_named_and_not_used(team: Team) -> None:
    team.server.run(f"ALTER ROLE {team.database}_recorder LOGIN CREATEDB")
    assert f"role {team.database}_recorder can log in, may make databases" in held(team).differences
    with pytest.raises(DatabaseError, match="on this server already, and it can log in"):
        give(team.url("owner"))


def test_an_owner_of_the_book_and_not_of_its_database_asks_a_superuser(
    postgresql_server: Server, postgresql_empty: str, tmp_path: Path
) -> None:
    database = postgresql_empty.rpartition("/")[2].partition("?")[0]
    postgresql_server.run(f"ALTER DATABASE {database} OWNER TO postgres")
    with psycopg.connect(postgresql_server.url(database, "postgres")) as connection:
        connection.execute("GRANT CREATE ON SCHEMA public TO vinebook_owner")
    make_book(postgresql_empty, by="KL")
    make_logins(postgresql_server)
    team = Team(postgresql_server, database, tmp_path)
    with pytest.raises(DatabaseError, match="the roles cannot be bounded by vinebook_owner") as caught:
        give(team.url("owner"))
    assert "superuser" in caught.value.hint
    assert held(team).differences[0] == f"there is no role {database}_recorder"
    done = psql(team, script(team, People((RECORDER,), (READER,))), "postgres")
    assert (done.returncode, done.stderr) == (0, "")
    assert held(team).differences == ()
    team.desk("recorder").load_texts(consignee="name\nX\n")
    assert team.desk("owner").verify().differences == []


def test_two_books_on_one_server_do_not_meet(team: Team, postgresql_book: str) -> None:
    database = postgresql_book.rpartition("/")[2].partition("?")[0]
    other = Team(team.server, database, team.folder)
    give(other.url("owner"), People(readers=(RECORDER,)))
    assert held(team).members == {"recorder": (RECORDER,), "reader": (READER,)}
    with other.connect("recorder") as connection:
        assert connection.execute("SELECT count(*) FROM entry").fetchone() == (1,)
    with pytest.raises(BookReadOnlyError, match="permission denied for table book"):
        other.desk("recorder").load_texts(consignee="name\nX\n")


def test_each_table_has_a_grant() -> None:
    from vinebook.records.grants import grants_to

    for duty in ("recorder", "reader"):
        assert {grant.name for grant in grants_to(duty, "x") if grant.on == "table"} == set(BOOK_TABLES)
