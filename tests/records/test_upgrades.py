"""Books of earlier schemas, with data in them, are brought up to date: rows, figures and evidence stay what they were.

`book_0001.db.gz` was made by the program of schema 0001: the tallies of `demo/first`, a cluster tally whose sample
names a draw that no book could hold then, an amendment, a strike and a superseded load.
"""

from __future__ import annotations

import gzip
import json
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from alembic import command
from alembic.config import Config
from click.testing import CliRunner
from sqlalchemy import select

from tests.records.test_drift import shape_at
from vinebook.api import figures, verify
from vinebook.cli import vinebook
from vinebook.errors import BookVersionError
from vinebook.kinds import KINDS
from vinebook.records.book import Book
from vinebook.records.engine import engine_for, writing
from vinebook.records.schema import HEAD, make_book, upgrade_book
from vinebook.records.tables import TABLES
from vinebook.resources import migrations_folder

if TYPE_CHECKING:
    from tests.postgresql import Server

KEPT = Path(__file__).parent
SEALS = {"0001": "6e5abdc0af2aa3839f5335dae2b7e56ce3634cea4b2b4e13777084cb70285380"}
"""Seal of each kept book when it was made, as its program printed it."""
KEEPING = ("book", "entry", "tally", "reading", "tally_bytes", "reading_bytes")
FIGURES = {
    ("budbreak", 2024): 91.70731707317073,
    ("clusters_per_vine", 2024): 28.0,
    ("yield_to_prunings", 2024): 4.740816759066115,
}
"""What the program of that schema printed of its book."""


def kept(schema: str, folder: Path) -> str:
    """Unpack the kept book of a schema and give its path."""
    path = folder / "kept.db"
    path.write_bytes(gzip.decompress((KEPT / f"book_{schema}.db.gz").read_bytes()))
    return str(path)


def rows_of(path: str) -> dict[str, list[tuple[Any, ...]]]:
    """Give every row of a book in a file by table, as SQLite holds it; the journal without what an upgrade adds."""
    raw = sqlite3.connect(path)
    names = [row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    rows = {name: sorted(raw.execute(f'SELECT * FROM "{name}"'), key=lambda row: row[:2]) for name in names}
    raw.close()
    rows["entry"] = [row for row in rows["entry"] if "upgrade" not in row]
    del rows["alembic_version"]
    return rows


def migrate_to(url: str, schema: str) -> None:
    """Bring an empty database to a schema."""
    engine = engine_for(url, making=True)
    with writing(engine, migrates=True) as connection:
        config = Config()
        config.set_main_option("script_location", str(migrations_folder()))
        config.attributes["connection"] = connection
        command.upgrade(config, schema)
    engine.dispose()


def copy_to(url: str, rows: dict[str, list[tuple[Any, ...]]]) -> None:
    """Put rows into a database of the same schema, what is named before what names it."""
    engine = engine_for(url)
    with engine.connect() as connection, connection.execution_options(writes=True).begin():
        for name in (*KEEPING, *KINDS):
            for row in rows.get(name, ()):
                marks = ", ".join(["%s"] * len(row))
                connection.exec_driver_sql(f'INSERT INTO "{name}" VALUES ({marks})', tuple(row))
    engine.dispose()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def old_book(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    path = kept("0001", tmp_path)
    if request.param == "sqlite":
        return path
    url = str(request.getfixturevalue("postgresql_empty"))
    migrate_to(url, "0001")
    copy_to(url, rows_of(path))
    return url


def figures_of(url: str) -> dict[tuple[str, int], float | None]:
    """Give the figures of A1 by name and season, whole vines only."""
    return {(figure.figure, figure.season): figure.value for figure in figures(Book(url), ["A1"]) if not figure.bearer}


def test_a_book_of_an_earlier_schema_is_met_with_a_clear_sentence(old_book: str) -> None:
    with pytest.raises(BookVersionError, match=f"is of schema 0001, this program works with {HEAD}") as caught:
        Book(old_book)
    assert caught.value.hint == "run `vinebook upgrade` on it"


def test_an_upgraded_book_verifies_against_its_old_seal_and_has_its_figures(old_book: str) -> None:
    assert upgrade_book(old_book, by="KL") == ("0001", HEAD)
    report = verify(Book(old_book), seal=SEALS["0001"])
    assert report.differences == []
    assert (report.entries, report.tallies, report.rows) == (23, 18, 97)
    found = figures_of(old_book)
    assert {of: found[of] for of in FIGURES} == pytest.approx(FIGURES, rel=1e-6)
    draw, sample = TABLES["draw"], TABLES["sample"]
    with Book(old_book).reading() as connection:
        assert connection.execute(select(draw.c.record)).all() == []
        assert set(map(tuple, connection.execute(select(sample.c.draw, sample.c.seed)))) == {(None, None), ("mine", 5)}


def test_an_upgraded_book_has_the_schema_of_a_new_one(old_book: str, request: pytest.FixtureRequest) -> None:
    upgrade_book(old_book, by="KL")
    if not old_book.startswith("postgresql"):
        make_book(f"{old_book}.new", by="KL")
        assert shape_at(old_book) == shape_at(f"{old_book}.new")
        return
    server: Server = request.getfixturevalue("postgresql_server")
    url = server.create("newly_made")
    make_book(url, by="KL")
    assert shape_at(old_book) == shape_at(url)
    server.drop("newly_made")


def test_every_row_of_a_book_in_a_file_stays_as_it_was(tmp_path: Path) -> None:
    path = kept("0001", tmp_path)
    before = rows_of(path)
    upgrade_book(path, by="KL")
    after = rows_of(path)
    assert {name: after[name] for name in before} == before
    assert all(after[name] == [] for name in set(after) - set(before))


def test_the_command_keeps_a_copy_upgrades_and_verifies(tmp_path: Path) -> None:
    path = kept("0001", tmp_path)
    told = CliRunner().invoke(vinebook, ["--book", path, "figures", "A1"])
    assert told.exit_code == BookVersionError.exit_status
    assert f"is of schema 0001, this program works with {HEAD}" in told.output
    assert "run `vinebook upgrade` on it" in told.output
    before = rows_of(path)
    done = CliRunner().invoke(vinebook, ["--book", path, "--by", "KL", "upgrade"])
    assert done.exit_code == 0, done.output
    kept_as = f"as it was it is kept as {path}.before-0001"
    assert done.output == f"{path} went from schema 0001 to {HEAD}\n{kept_as}\nit verifies\n"
    assert rows_of(f"{path}.before-0001") == before
    journal = sqlite3.connect(path)
    bodies = journal.execute("SELECT body FROM entry WHERE action = 'upgrade'").fetchall()
    journal.close()
    assert [json.loads(body) for (body,) in bodies] == [{"from": "0001", "to": HEAD}]
