"""A book of every earlier schema, with rows in every table it had, is brought up to date on both databases.

`full_NNNN.db.gz` was made by the last program of that schema (`tests/records/keeping.py`), which also said what stands
in `full_NNNN.json`: its seal and all its figures.
"""

from __future__ import annotations

import gzip
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner, Result

from tests.conftest import BOTH
from tests.records.test_drift import shape_at
from tests.records.test_upgrades import copy_to, migrate_to, rows_of
from vinebook.api import import_package, verify
from vinebook.cli import COMMANDS, vinebook
from vinebook.errors import BookVersionError
from vinebook.records import schema
from vinebook.records.book import Book
from vinebook.records.engine import engine_for, reading, writing
from vinebook.records.journal import entries
from vinebook.records.schema import EARLIER, HEAD, make_book, schema_of, upgrade_book
from vinebook.records.tables import CAME_WITH, KEEPING, TABLES
from vinebook.resources import migrations_folder

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.postgresql import Server

KEPT = Path(__file__).parent
TOP = KEPT.parents[1]
FIRST_PACKAGED = "0003"
"""The first schema whose last program could export a package."""
NOT_SAID_ALIKE = {"note"}
"""What today's program may say otherwise of the same number: how many lots suffice was studied since."""


def run(book: str, *words: str) -> Result:
    """Run a command; a fault of the program itself fails the test."""
    done = CliRunner().invoke(vinebook, ["--book", book, "--by", "KL", *words], prog_name="vinebook")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def unpack(of: str, folder: Path) -> str:
    """Unpack the kept book of a schema and give its path."""
    path = folder / "kept.db"
    path.write_bytes(gzip.decompress((KEPT / f"full_{of}.db.gz").read_bytes()))
    return str(path)


def said_of(of: str) -> dict[str, Any]:
    """Give what the old program said of its book."""
    said: dict[str, Any] = json.loads((KEPT / f"full_{of}.json").read_text(encoding="utf-8"))
    return said


def held(book: str) -> tuple[str | None, dict[str, Any], list[tuple[str, list[tuple[Any, ...]]]]]:
    """Give the schema, the shape and every row of a book, whatever schema it has."""
    engine = engine_for(book)
    with reading(engine) as connection:
        found = schema_of(connection)
        if connection.dialect.name == "postgresql":
            query = "SELECT tablename::text FROM pg_tables WHERE schemaname = 'public'"
        else:
            query = "SELECT name FROM sqlite_master WHERE type = 'table'"
        names = sorted(connection.exec_driver_sql(query).scalars())
        found_rows = {name: connection.exec_driver_sql(f'SELECT * FROM "{name}"').all() for name in names}
        rows = [(name, sorted(map(tuple, of_table), key=str)) for name, of_table in found_rows.items()]
    engine.dispose()
    return found, shape_at(book), rows


@pytest.fixture(params=BOTH)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[str], str]:
    """Give what lays the kept book of a schema, in a file and on a server, the server's guards at work."""

    def lay(of: str) -> str:
        path = unpack(of, tmp_path)
        if request.param == "sqlite":
            return path
        url = str(request.getfixturevalue("postgresql_empty"))
        migrate_to(url, of)
        copy_to(url, rows_of(path))
        return url

    return lay


@pytest.mark.parametrize("of", EARLIER)
def test_a_book_of_each_earlier_schema_is_kept_with_rows_in_every_table(of: str, tmp_path: Path) -> None:
    path = unpack(of, tmp_path)
    raw = sqlite3.connect(path)
    assert raw.execute("SELECT version_num FROM alembic_version").fetchall() == [(of,)]
    raw.close()
    rows = rows_of(path)
    assert rows.keys() == {name for name in (*KEEPING, *TABLES) if CAME_WITH.get(name, "") <= of}
    assert [name for name in rows if not rows[name]] == []
    migrate_to(empty := str(tmp_path / "empty.db"), of)
    assert rows_of(empty).keys() == rows.keys()
    assert {row[4] for row in rows["entry"]} >= {"new", "load", "amend", "strike"}


@pytest.mark.parametrize("of", EARLIER)
def test_it_comes_up_to_date_with_its_rows_its_figures_its_journal_and_its_seal(
    of: str, place: Callable[[str], str], request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    book, said = place(of), said_of(of)
    _, _, before = held(book)
    done = run(book, "upgrade")
    assert done.exit_code == 0, done.output
    assert f"went from schema {of} to {HEAD}\n" in done.output
    assert done.output.endswith("it verifies\n")
    is_file = "://" not in book
    assert (f"as it was it is kept as {book}.before-{of}\n" in done.output) == is_file
    assert ("no copy of it was made: on a server pg_dump makes one\n" in done.output) != is_file
    assert run(book, "verify", "--seal", said["seal"]).exit_code == 0
    _, _, after = held(book)
    with Book(book).reading() as connection:
        last = list(entries(connection))[-1]
    was, now = dict(before), dict(after)
    assert (last.action, last.previous_hash, json.loads(last.body)) == (
        "upgrade",
        said["seal"],
        {"from": of, "to": HEAD},
    )
    for name in was.keys() - {"alembic_version", "entry"}:
        assert now[name] == was[name], name
    assert len(now["entry"]) == len(was["entry"]) + 1
    assert set(now["entry"]) > set(was["entry"])
    assert all(now[name] == [] for name in now.keys() - was.keys())
    found = json.loads(run(book, "figures", "--format", "json").stdout)["figures"]
    told = {figure_key(figure): figure for figure in found}
    assert len(said["figures"]["figures"]) > 80
    for figure in said["figures"]["figures"]:
        again = told[figure_key(figure)]
        for name in figure.keys() - NOT_SAID_ALIKE:
            assert to_digits(again[name]) == to_digits(figure[name]), name
    if is_file:
        make_book(new := str(tmp_path / "new.db"), by="KL")
        assert shape_at(book) == shape_at(new)
        assert dict(held(f"{book}.before-{of}")[2]) == was
    else:
        server: Server = request.getfixturevalue("postgresql_server")
        template = request.getfixturevalue("postgresql_template")
        assert shape_at(book) == shape_at(server.url(template))


def to_digits(value: object) -> object:
    """Give a number to the digits that reports carry: its last bits differ between processors."""
    return float(f"{value:.12g}") if isinstance(value, float) else value


def figure_key(figure: dict[str, Any]) -> tuple[Any, ...]:
    """Give what tells a figure from others."""
    return tuple(figure.get(name) for name in ("block", "season", "figure", "bearer", "position", "stage", "pick"))


WORDS: dict[str, list[str]] = {
    "load": [str(TOP / "tests" / "small" / "vineyard.csv")],
    "add": ["consignee", "name=Bell Lane"],
    "amend": ["event", "#1", "share_hit=1", "--reason", "typo"],
    "strike": ["event", "#1", "--reason", "typo"],
    "list": ["block"],
    "show": ["block", "A1"],
    "figures": [],
    "draw": ["A1", "--season", "2025", "--for", "clusters_per_vine"],
    "nodes": ["A1", "--season", "2025"],
    "crop": ["A1", "--season", "2025"],
    "fruitfulness": ["A1"],
    "decide": ["A1", "--season", "2025", "--decides", "other", "--words", "x", "--reason", "y"],
    "trail": ["A1"],
    "tickets": [],
    "check": [],
    "verify": [],
    "export": ["out"],
    "backup": ["copy.db"],
    "report history": ["A1", "-o", "out.pdf"],
    "report statement": ["--to", "Bell Lane Cellar", "-o", "out.pdf"],
    "report trail": ["A1", "-o", "out.pdf"],
    "report overview": ["-o", "out.pdf"],
    "report card": ["A1", "--season", "2025", "-o", "out.pdf"],
    "report sheet": ["A1/2024/1", "-o", "out.pdf"],
    "form": ["cluster_tally", "--draw", "A1/2024/1"],
    "roles": ["--who"],
}
"""How each command is asked for that opens a book."""
WITHOUT_A_BOOK = {"new", "guide", "import", "restore", "upgrade"}
"""Commands that make a book, bring one up to date, or know nothing of one."""
ON_A_FILE, ON_A_SERVER = {"backup"}, {"roles"}


def commands_for(book: str) -> list[list[str]]:
    """Give each command that opens a book of that database."""
    left_out = ON_A_SERVER if "://" not in book else ON_A_FILE
    return [[*name.split(), *words] for name, words in WORDS.items() if name not in left_out]


def test_no_command_is_forgotten_here() -> None:
    assert {name.split()[0] for name in WORDS} | WITHOUT_A_BOOK == set(COMMANDS)


def test_every_command_says_of_an_earlier_book_to_upgrade_it(
    place: Callable[[str], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    book = place(EARLIER[-1])
    for words in commands_for(book):
        done = run(book, *words)
        assert (done.exit_code, done.stdout) == (BookVersionError.exit_status, ""), words
        assert f"is of schema {EARLIER[-1]}, this program works with {HEAD}" in " ".join(done.stderr.split()), words
        assert "run `vinebook upgrade` on it" in done.stderr, words


def test_every_command_says_of_a_later_book_to_install_a_newer_program(
    book_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    engine = engine_for(book_url)
    with writing(engine) as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()
    before = held(book_url)
    for words in [*commands_for(book_url), ["upgrade"]]:
        done = run(book_url, *words)
        assert (done.exit_code, done.stdout) == (BookVersionError.exit_status, ""), words
        told = " ".join(done.stderr.split())
        assert f"is of schema 9999, newer than this program knows ({HEAD})" in told, words
        assert "install a newer vinebook" in told, words
    assert held(book_url) == before


GOES_WRONG = {
    "raises": "raise ValueError('a migration with a fault')",
    "is refused": "op.execute(sa.text('INSERT INTO entry (number) VALUES (1)'))",
    "is killed": "os.kill(os.getpid(), signal.SIGKILL)",
}
ON_A_FILE_ONLY = {
    "fills the disk": "pages = op.get_bind().scalar(sa.text('PRAGMA page_count')); "
    "op.execute(sa.text(f'PRAGMA max_page_count = {pages}')); "
    "op.execute(sa.text('INSERT INTO half SELECT hex(zeroblob(9999999))'))",
}
ON_A_SERVER_ONLY = {
    "loses its connection": "op.execute(sa.text('SELECT pg_terminate_backend(pg_backend_pid())'))",
    # A server whose disk is full says so; this one says so without it.
    "fills the disk": "op.execute(sa.text(\"DO $$BEGIN RAISE EXCEPTION 'No space left on device' "
    "USING ERRCODE = 'disk_full'; END$$\"))",
}
TOLD = {
    "is refused": "the database refused",
    "fills the disk": "there is no room left",
    "loses its connection": "the connection was lost",
}


@pytest.mark.parametrize(
    ("place", "how"),
    [
        *(pytest.param("sqlite", how) for how in GOES_WRONG | ON_A_FILE_ONLY),
        *(pytest.param("postgresql", how, marks=pytest.mark.postgresql) for how in GOES_WRONG | ON_A_SERVER_ONLY),
    ],
    indirect=["place"],
)
def test_an_upgrade_that_fails_in_the_middle_leaves_the_book_as_it_was(
    how: str, place: Callable[[str], str], tmp_path: Path
) -> None:
    book = place(EARLIER[-1])
    ways = GOES_WRONG | (ON_A_FILE_ONLY if "://" not in book else ON_A_SERVER_ONLY)
    before = held(book)
    folder = tmp_path / "migrations"
    shutil.copytree(migrations_folder(), folder)
    (folder / "versions" / "9999_fails.py").write_text(
        "import os, signal\nimport sqlalchemy as sa\nfrom alembic import op\n"
        f"revision, down_revision = '9999', {HEAD!r}\n\n\ndef upgrade():\n"
        "    op.create_table('half', sa.Column('words', sa.Text()))\n"
        "    op.add_column('block', sa.Column('half', sa.Text()))\n"
        f"    {ways[how]}\n",
        encoding="utf-8",
    )
    program = (
        "import sys\nfrom pathlib import Path\nfrom vinebook import resources\n"
        f"resources.migrations_folder = lambda: Path({str(folder)!r})\n"
        "from vinebook.cli import main\nsys.exit(main())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, "--book", book, "--by", "KL", "upgrade"],
        env={**os.environ, "PYTHONPATH": str(TOP)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode != 0
    assert done.stdout == ""
    if how in TOLD:
        assert TOLD[how] in " ".join(done.stderr.split())
        assert "Traceback" not in done.stderr
    assert held(book) == before
    copies = list(tmp_path.glob("kept.db.before-*"))
    # Who is killed cannot take the copy away; the next upgrade sees that it is the book.
    assert len(copies) == (how == "is killed" and "://" not in book)
    assert upgrade_book(book, by="KL") == (EARLIER[-1], HEAD)
    assert all(dict(held(str(copy))[2]) == dict(before[2]) for copy in copies)
    assert verify(Book(book), seal=said_of(EARLIER[-1])["seal"]).differences == []


@pytest.mark.parametrize("of", EARLIER)
def test_a_copy_of_an_earlier_book_is_restored_and_brought_up_to_date(of: str, tmp_path: Path) -> None:
    copy = unpack(of, tmp_path)
    before = Path(copy).read_bytes()
    done = run(str(tmp_path / "again.db"), "restore", copy)
    assert done.exit_code == 0, done.output
    assert done.output == (
        f"restored {tmp_path / 'again.db'} from {copy}, brought from schema {of} to this program's; it verifies\n"
    )
    assert Path(copy).read_bytes() == before
    assert verify(Book(str(tmp_path / "again.db")), seal=said_of(of)["seal"]).differences == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["again.db", "kept.db"]


@pytest.mark.parametrize("of", [of for of in EARLIER if of >= FIRST_PACKAGED])
def test_a_package_of_an_earlier_book_is_imported_and_brought_up_to_date(
    of: str, empty_url: str, tmp_path: Path
) -> None:
    with zipfile.ZipFile(KEPT / f"full_{of}.zip") as kept:
        kept.extractall(tmp_path / "package")
    done = run(empty_url, "import", str(tmp_path / "package"))
    assert done.exit_code == 0, done.output
    assert f"brought from schema {of} to this program's; it verifies: " in done.output
    report = verify(Book(empty_url), seal=said_of(of)["seal"])
    assert report.differences == []
    assert tables_unlike(empty_url, unpack(of, tmp_path)) == []


def tables_unlike(book: str, old: str) -> list[str]:
    """Give the tables whose rows are not those of an old book, but for what an upgrade adds."""
    # A server gives days as dates, a file as words.
    now, was = (
        {name: [tuple(str(one) for one in row) for row in rows] for name, rows in held(of)[2]} for of in (book, old)
    )
    now["entry"] = [row for row in now["entry"] if "upgrade" not in row]
    return [name for name in sorted(was.keys() - {"alembic_version"}) if now[name] != was[name]]


def test_a_package_of_a_schema_that_no_program_knows_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(KEPT / f"full_{FIRST_PACKAGED}.zip") as kept:
        kept.extractall(tmp_path / "package")
    path = tmp_path / "package" / "datapackage.json"
    path.write_text(path.read_text(encoding="utf-8").replace(f'"schema": "{FIRST_PACKAGED}"', '"schema": "9999"'))
    with pytest.raises(BookVersionError, match="newer than this program knows") as refused:
        import_package(tmp_path / "package", tmp_path / "made.db", by="KL")
    assert refused.value.hint == "install a newer vinebook"
    assert schema.HEAD == HEAD
