"""Fixtures for every test: a place for a book and a fresh book, on each of the two databases.

`empty_url` is where a book can be made; `book_url` is a new, empty book. A test that asks for one runs twice, on SQLite
and on PostgreSQL. `sqlite_book` and `postgresql_book` give the one or the other.
"""

from __future__ import annotations

import csv
import itertools
import os
import shutil
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from tests.desk import Desk, places
from tests.postgresql import Server, running_server

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.team import Team

settings.register_profile("short", deadline=None, derandomize=True, max_examples=50)
settings.register_profile("long", deadline=None, max_examples=3000, print_blob=True)
settings.load_profile("short")

TEMPLATE, PLACES = "book_template", "places_template"
BOTH = ("sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql))
_numbers = itertools.count(1)


def make_empty_book(url: str) -> None:
    """Make a new book at a file or database address, as `vinebook new` does."""
    from vinebook.records.schema import make_book

    make_book(url, by="KL")


@pytest.fixture(autouse=True)
def _no_settings_of_the_person(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep a person's own book and name out of the tests."""
    for name in [name for name in os.environ if name.startswith("VINEBOOK_")]:
        monkeypatch.delenv(name)


@pytest.fixture(autouse=True)
def _csv_as_it_comes() -> None:
    """Keep the standard limit of a cell: frictionless, once imported, raises it for the whole process."""
    csv.field_size_limit(131_072)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[Server]:
    """Give the tests' own PostgreSQL server."""
    with running_server() as server:
        yield server


@pytest.fixture(scope="session")
def postgresql_template(postgresql_server: Server) -> str:
    """Give the name of a database that holds a new book, to be copied."""
    make_empty_book(postgresql_server.create(TEMPLATE))
    return TEMPLATE


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a file that holds a new book, to be copied."""
    path = tmp_path_factory.mktemp("template") / "book.db"
    make_empty_book(str(path))
    return path


@pytest.fixture(scope="session")
def sqlite_places(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a file that holds a book with a vineyard, to be copied."""
    folder = tmp_path_factory.mktemp("places")
    path = shutil.copyfile(sqlite_template, folder / "book.db")
    places(Desk(str(path), folder))
    return path


@pytest.fixture(scope="session")
def postgresql_places(
    postgresql_server: Server, postgresql_template: str, tmp_path_factory: pytest.TempPathFactory
) -> str:
    """Give the name of a database that holds a book with a vineyard, to be copied."""
    places(Desk(postgresql_server.create(PLACES, postgresql_template), tmp_path_factory.mktemp("places")))
    return PLACES


@pytest.fixture
def postgresql_empty(postgresql_server: Server) -> Iterator[str]:
    """Give the address of an empty database."""
    with postgresql_server.lend(f"empty_{next(_numbers)}") as url:
        yield url


@pytest.fixture
def postgresql_book(postgresql_server: Server, postgresql_template: str) -> Iterator[str]:
    """Give the address of a new book on PostgreSQL."""
    with postgresql_server.lend(f"book_{next(_numbers)}", postgresql_template) as url:
        yield url


@pytest.fixture
def sqlite_book(sqlite_template: Path, tmp_path: Path) -> str:
    """Give the path of a new book on SQLite."""
    return str(shutil.copyfile(sqlite_template, tmp_path / "book.db"))


@pytest.fixture(params=BOTH)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Give where a book can be made: a path, then a database address."""
    if request.param == "sqlite":
        return str(tmp_path / "empty.db")
    return str(request.getfixturevalue("postgresql_empty"))


@pytest.fixture(params=BOTH)
def book_url(request: pytest.FixtureRequest) -> str:
    """Give a new book: a path, then a database address."""
    return str(request.getfixturevalue(f"{request.param}_book"))


@pytest.fixture
def team(postgresql_server: Server, postgresql_template: str, tmp_path: Path) -> Iterator[Team]:
    """Give a new book on PostgreSQL with its roles, and people who have them."""
    from tests.team import Team

    name = f"team_{next(_numbers)}"
    postgresql_server.create(name, postgresql_template)
    made = Team(postgresql_server, name, tmp_path).begin()
    yield made
    made.end()


@pytest.fixture
def empty_desk(book_url: str, tmp_path: Path) -> Desk:
    """Give a new book and a folder."""
    return Desk(book_url, tmp_path)


@pytest.fixture(params=BOTH)
def desk(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Desk]:
    """Give a book that holds a vineyard in the south with blocks A1 and A2."""
    if request.param == "sqlite":
        yield Desk(str(shutil.copyfile(request.getfixturevalue("sqlite_places"), tmp_path / "book.db")), tmp_path)
        return
    server: Server = request.getfixturevalue("postgresql_server")
    with server.lend(f"desk_{next(_numbers)}", request.getfixturevalue("postgresql_places")) as url:
        yield Desk(url, tmp_path)
