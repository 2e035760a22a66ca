"""A book of schema 0003 gets its signed entries; rows stay, and on PostgreSQL roles that are there are bounded anew.

`book_0003.db.gz` was made by the program of schema 0003: the tallies of `demo/first`, a draw of twelve vines, two
decisions with their evidence, amendments, a strike and a superseded ticket.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import psycopg
import pytest
from psycopg import errors

from tests.records.test_drift import shape_at
from tests.records.test_upgrades import copy_to, figures_of, kept, migrate_to, rows_of
from tests.team import OUTSIDER, READER, RECORDER, Team, make_logins
from vinebook.api import verify
from vinebook.errors import BookReadOnlyError
from vinebook.records.book import Book
from vinebook.records.role_catalogue import roles_held
from vinebook.records.schema import HEAD, make_book, upgrade_book

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.postgresql import Server

SCHEMA = "0003"
SEAL = "9bcd38e4f890f0cc90e9fb43515af5d47ef2fbd1f765598315072bd1611f23bb"
FIGURES = {
    ("budbreak", 2024): 91.4027149321267,
    ("clusters_per_vine", 2024): 27.105263157894736,
    ("yield_to_prunings", 2024): 4.726873180362979,
}
"""What the program of that schema printed of its book."""


@pytest.fixture
def old_on_server(postgresql_empty: str, tmp_path: Path) -> str:
    """Give the kept book on a server."""
    migrate_to(postgresql_empty, SCHEMA)
    copy_to(postgresql_empty, rows_of(kept(SCHEMA, tmp_path)))
    return postgresql_empty


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def old_book(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Give the kept book, in a file and on a server."""
    if request.param == "sqlite":
        return kept(SCHEMA, tmp_path)
    return str(request.getfixturevalue("old_on_server"))


def test_it_verifies_against_its_old_seal_and_has_its_figures(old_book: str) -> None:
    assert upgrade_book(old_book, by="KL") == (SCHEMA, HEAD)
    report = verify(Book(old_book), seal=SEAL)
    assert report.differences == []
    assert (report.entries, report.tallies, report.rows) == (30, 23, 203)
    found = figures_of(old_book)
    assert {of: found[of] for of in FIGURES} == pytest.approx(FIGURES, rel=1e-6)


def test_every_row_of_a_book_in_a_file_stays_as_it_was(tmp_path: Path) -> None:
    path = kept(SCHEMA, tmp_path)
    before = rows_of(path)
    upgrade_book(path, by="KL")
    assert rows_of(path) == before
    make_book(f"{path}.new", by="KL")
    assert shape_at(path) == shape_at(f"{path}.new")


@pytest.mark.postgresql
def test_entries_are_signed_from_then_on(old_on_server: str) -> None:
    upgrade_book(old_on_server, by="KL")
    with (
        psycopg.connect(old_on_server) as connection,
        pytest.raises(errors.RaiseException, match="is signed by"),
    ):
        connection.execute(
            "INSERT INTO entry SELECT number + 1, at, by, 'sqlite', action, subject, body, hash, hash FROM entry "
            "ORDER BY number DESC LIMIT 1"
        )


@pytest.fixture
def old_team(old_on_server: str, postgresql_server: Server, tmp_path: Path) -> Iterator[Team]:
    """Give the old book with roles that were granted less than they need today, and something more."""
    database = old_on_server.rpartition("/")[2].partition("?")[0]
    team = Team(postgresql_server, database, tmp_path)
    make_logins(postgresql_server)
    for duty, login in (("recorder", RECORDER), ("reader", READER)):
        postgresql_server.run(f"CREATE ROLE {database}_{duty}")
        postgresql_server.run(f"GRANT {database}_{duty} TO {login}")
        team.run("owner", f"GRANT SELECT ON alembic_version, book, entry TO {database}_{duty}")
    team.run("owner", f"GRANT UPDATE ON entry TO {database}_recorder", f"GRANT DELETE ON event TO {OUTSIDER}")
    yield team
    postgresql_server.run(f'DROP DATABASE "{database}" WITH (FORCE)')
    for duty in ("recorder", "reader"):
        postgresql_server.run(f"DROP ROLE {database}_{duty}")
    postgresql_server.create(database)


@pytest.mark.postgresql
def test_only_the_owner_upgrades_and_the_roles_are_bounded_anew(old_team: Team) -> None:
    for who in ("recorder", "reader"):
        with pytest.raises(BookReadOnlyError, match=r"is upgraded by its owner, vinebook_owner, and not by \w+$"):
            upgrade_book(old_team.url(who), by="KL")
    assert upgrade_book(old_team.url("owner"), by="KL") == (SCHEMA, HEAD)
    book = Book(old_team.url("owner"))
    with book.reading() as connection:
        held = roles_held(connection)
    assert held.differences == ()
    assert held.members == {"recorder": (RECORDER,), "reader": (READER,)}
    old_team.desk("recorder").load_texts(consignee="name\nHollow Lane Cellar\n")
    assert old_team.desk("reader").verify().differences == []


@pytest.mark.postgresql
def test_what_a_superuser_upgrades_stays_the_owners_and_is_signed_by_who_did_it(old_team: Team) -> None:
    assert upgrade_book(old_team.url("postgres"), by="KL") == (SCHEMA, HEAD)
    with old_team.connect("owner") as connection:
        owners = connection.execute(
            "SELECT DISTINCT pg_get_userbyid(proowner)::text FROM pg_proc WHERE proname ~ '^vineb'"
        )
        assert owners.fetchall() == [("vinebook_owner",)]
        signed = connection.execute("SELECT db_user, by FROM entry ORDER BY number DESC LIMIT 1")
        assert signed.fetchall() == [("postgres", "KL")]
    assert old_team.desk("reader").verify().differences == []


@pytest.mark.postgresql
def test_a_book_without_roles_gets_none_by_an_upgrade(old_on_server: str) -> None:
    upgrade_book(old_on_server, by="KL")
    with Book(old_on_server).reading() as connection:
        differences = roles_held(connection).differences
    assert len([words for words in differences if words.startswith("there is no role ")]) == 2
