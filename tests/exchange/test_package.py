"""A book goes out as a data package and comes back the same, between the two databases too."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
import sqlite3
from contextlib import closing
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from frictionless import Package, validate
from frictionless.resources import TableResource
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.generate import generate
from tests.conftest import make_empty_book
from tests.desk import Desk
from tests.exchange.packed import UNUSUAL, contents, pack, told
from vinebook.api import export_package, import_package, load, open_book
from vinebook.errors import BookExistsError, BookMissingError, OutputError, VinebookError
from vinebook.exchange.package import DESCRIPTOR, FILES, own_hash, package_tables
from vinebook.exchange.package_cells import unguarded
from vinebook.intake.amending import amend
from vinebook.kinds import KINDS
from vinebook.records.tables import METADATA

if TYPE_CHECKING:
    from tests.postgresql import Server

_numbers = count(1)


@pytest.fixture(scope="module")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("demo")
    where = str(folder / "demo.db")
    make_empty_book(where)
    load(open_book(where), generate(folder / "tallies"), by="demo")
    return where


def rows_of(package: Package, table: str) -> list[dict[str, Any]]:
    """Give a table's rows as frictionless reads them."""
    resource = package.get_resource(table)
    assert isinstance(resource, TableResource)
    return [row.to_dict() for row in resource.read_rows()]


def test_a_book_comes_back_as_it_went(packed: Desk, package: Path, tmp_path: Path) -> None:
    out = export_package(packed.book, tmp_path / "out")
    assert contents(tmp_path / "out") == contents(package)
    again = str(tmp_path / "again.db")
    back = import_package(package, again)
    assert told(again) == told(packed.url)
    assert (back.rows, back.entries, back.tallies, back.seal) == (out.rows, out.entries, out.tallies, out.seal)
    with packed.book.reading() as one, open_book(again).reading() as other:
        for table in METADATA.sorted_tables:
            key = list(table.primary_key.columns)
            assert (
                one.execute(table.select().order_by(*key)).all() == other.execute(table.select().order_by(*key)).all()
            )


def test_the_same_book_gives_the_same_bytes(packed: Desk, tmp_path: Path) -> None:
    export_package(packed.book, tmp_path / "one")
    export_package(packed.book, tmp_path / "two")
    import_package(tmp_path / "one", str(tmp_path / "again.db"))
    export_package(open_book(tmp_path / "again.db"), tmp_path / "three")
    assert contents(tmp_path / "one") == contents(tmp_path / "two") == contents(tmp_path / "three")


def test_a_book_that_came_back_is_worked_on(package: Path, tmp_path: Path) -> None:
    import_package(package, str(tmp_path / "again.db"))
    # It is read while it is written, as a book made by `new` is.
    with closing(sqlite3.connect(tmp_path / "again.db")) as held:
        assert held.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    desk = Desk(str(tmp_path / "again.db"), tmp_path)
    amend(desk.book, "event", "A2/2022-08-03/hail", {"words": "mended"}, reason="typo", by="RM")
    desk.load_texts(later="block,date,what\nA1,2023-01-03,hail\n")
    assert desk.verify().differences == []
    with pytest.raises(VinebookError, match="never deleted"), desk.book.writing() as connection:
        connection.exec_driver_sql("DELETE FROM event")


@pytest.mark.postgresql
def test_a_book_goes_to_the_server_and_back(packed: Desk, postgresql_server: Server, tmp_path: Path) -> None:
    name = f"package_{next(_numbers)}"
    server = postgresql_server.create(name)
    try:
        export_package(packed.book, tmp_path / "one")
        import_package(tmp_path / "one", server)
        assert told(server) == told(packed.url)
        export_package(open_book(server), tmp_path / "two")
        assert contents(tmp_path / "two") == contents(tmp_path / "one")
        import_package(tmp_path / "two", str(tmp_path / "again.db"))
        assert told(str(tmp_path / "again.db")) == told(packed.url)
        with pytest.raises(BookExistsError, match="holds a book already"):
            import_package(tmp_path / "one", server)
        desk = Desk(server, tmp_path)
        amend(desk.book, "event", "A2/2022-08-03/hail", {"words": "mended"}, reason="typo", by="RM")
        assert desk.verify().differences == []
    finally:
        postgresql_server.drop(name)


@pytest.mark.postgresql
def test_a_book_made_on_the_server_goes_to_a_file(postgresql_book: str, tmp_path: Path) -> None:
    desk = Desk(postgresql_book, tmp_path)
    pack(desk, seed=5, corrections=15)
    export_package(desk.book, tmp_path / "out")
    import_package(tmp_path / "out", str(tmp_path / "file.db"))
    assert told(str(tmp_path / "file.db")) == told(postgresql_book)


@settings(max_examples=3)
@given(seed=st.integers(0, 10_000))
def test_books_corrected_at_random_come_back(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    folder = tmp_path_factory.mktemp("packed")
    desk = Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder)
    pack(desk, seed=seed, corrections=25)
    export_package(desk.book, folder / "out")
    import_package(folder / "out", str(folder / "again.db"))
    assert told(str(folder / "again.db")) == told(desk.url)


def test_an_empty_book_comes_back(sqlite_book: str, tmp_path: Path) -> None:
    export_package(open_book(sqlite_book), tmp_path / "out")
    assert import_package(tmp_path / "out", str(tmp_path / "again.db")).entries == 1
    assert told(str(tmp_path / "again.db")) == told(sqlite_book)


def test_frictionless_finds_the_demo_book_valid(demo_book: str, tmp_path: Path) -> None:
    export_package(open_book(demo_book), tmp_path / "out")
    report = validate(str(tmp_path / "out" / DESCRIPTOR))
    assert report.flatten(["title", "fieldName", "rowNumber", "message"]) == []
    assert report.valid
    package = Package(str(tmp_path / "out" / DESCRIPTOR))
    rows = rows_of(package, "block")
    assert {row["code"] for row in rows} >= {"V1", "V2"}
    assert sum(len(rows_of(package, table.name)) > 0 for table in package_tables()) > 25


def test_frictionless_finds_unusual_texts_valid(package: Path) -> None:
    assert validate(str(package / DESCRIPTOR)).valid
    rows = rows_of(Package(str(package / DESCRIPTOR)), "event")
    read = {unguarded(row["words"] or "") for row in rows}
    assert set(UNUSUAL) - read == {UNUSUAL[0]}
    assert "'=2" in read


def test_frictionless_notices_what_was_changed(package: Path) -> None:
    place = package / "kept" / "1.csv"
    place.write_bytes(place.read_bytes() + b"\n")
    assert not validate(str(package / DESCRIPTOR)).valid


def test_the_package_tells_of_every_table_and_column(package: Path) -> None:
    told_of = json.loads((package / DESCRIPTOR).read_bytes())
    resources = {resource["name"]: resource for resource in told_of["resources"]}
    for table in METADATA.sorted_tables:
        if table.name in FILES:
            continue
        schema = resources[table.name]["schema"]
        assert [field["name"] for field in schema["fields"]] == [column.name for column in table.columns]
        assert all(field.get("description") or field["name"] == "tally" for field in schema["fields"])
        assert schema["primaryKey"] == [column.name for column in table.primary_key.columns]
        assert len(schema.get("foreignKeys", [])) == len(table.foreign_key_constraints)
    by_name = {field["name"]: field for field in resources["pruned_vine"]["schema"]["fields"]}
    assert by_name["prunings_mg"]["unit"] == "mg"
    assert by_name["state"]["constraints"]["enum"] == list(KINDS["pruned_vine"].field("state").choices)
    assert by_name["prunings_mg"]["constraints"]["minimum"] == 0
    assert resources["cluster_tally"]["key"] == ["sample", "row", "vine"]


def test_an_auditor_needs_nothing_of_ours(package: Path) -> None:
    """Chain, hashes and texts are worked out with the standard library alone, as the guide's page tells."""
    told_of = json.loads((package / DESCRIPTOR).read_bytes())
    for resource in told_of["resources"]:
        data = (package / resource["path"]).read_bytes()
        assert (len(data), f"sha256:{hashlib.sha256(data).hexdigest()}") == (resource["bytes"], resource["hash"])
    previous = "0" * 64
    with (package / "data" / "entry.csv").open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            entry = {name: cell.removeprefix("'") for name, cell in row.items()}
            body = hashlib.sha256(entry["body"].encode()).hexdigest()
            parts = ("number", "at", "by", "db_user", "action", "subject")
            lines = ["vinebook entry 1", *(entry[part] for part in parts), body, entry["previous_hash"]]
            assert hashlib.sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest() == entry["hash"]
            assert entry["previous_hash"] == previous
            previous = entry["hash"]
    assert previous == told_of["vinebook"]["seal"]


def test_no_cell_of_a_text_begins_as_a_formula_does(package: Path) -> None:
    texts = {field["name"] for field in _fields(package, "event") if field["type"] == "string"}
    with (package / "data" / "event.csv").open(encoding="utf-8", newline="") as stream:
        cells = [row[name] for row in csv.DictReader(stream) for name in texts]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert "'=SUM(A1:A9)" not in cells  # amended since
    assert "'''s-Gravenhof, \"low\" end" not in cells
    assert "''s-Gravenhof, \"low\" end" in cells


def _fields(package: Path, table: str) -> list[dict[str, str]]:
    told_of = json.loads((package / DESCRIPTOR).read_bytes())
    fields: list[dict[str, str]] = next(one for one in told_of["resources"] if one["name"] == table)["schema"]["fields"]
    return fields


def test_the_descriptor_knows_its_own_hash(package: Path) -> None:
    data = (package / DESCRIPTOR).read_bytes()
    said = json.loads(data)["vinebook"]["sha256"]
    assert own_hash(data, said) == said
    assert own_hash(data + b" ", said) != said


def test_a_folder_that_holds_something_stays(packed: Desk, tmp_path: Path) -> None:
    place = tmp_path / "out"
    place.mkdir()
    (place / "mine.txt").write_text("mine")
    with pytest.raises(BookExistsError, match="is not empty"):
        export_package(packed.book, place)
    with pytest.raises(BookExistsError, match="exists already"):
        export_package(packed.book, place / "mine.txt")
    with pytest.raises(OutputError, match="there is no folder"):
        export_package(packed.book, tmp_path / "nowhere" / "out")
    assert contents(place) == {"mine.txt": b"mine"}


def test_an_empty_folder_is_filled(packed: Desk, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    export_package(packed.book, tmp_path / "out")
    assert (tmp_path / "out" / DESCRIPTOR).is_file()
    assert not (tmp_path / ".out.part").exists()


def test_a_half_written_folder_is_never_left(packed: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(number: int) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / ".out.part" / "data").mkdir(parents=True)
    with monkeypatch.context() as patch:
        patch.setattr("vinebook.exchange.package_writing.os.fsync", fail)
        with pytest.raises(OutputError, match="No space left"):
            export_package(packed.book, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / ".out.part").exists()
    export_package(packed.book, tmp_path / "out")


def test_a_folder_that_is_filled_meanwhile_stays(packed: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "out"

    def fill(*_: object) -> None:
        place.mkdir(exist_ok=True)
        (place / "mine.txt").write_text("mine")

    with pytest.raises(BookExistsError):
        export_package(packed.book, place, progress=fill)
    assert contents(place) == {"mine.txt": b"mine"}


def test_a_folder_that_cannot_be_written_is_told(packed: Desk, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        export_package(packed.book, tmp_path / ("x" * 300))


def test_a_book_is_never_written_over(packed: Desk, package: Path, tmp_path: Path) -> None:
    before = Path(packed.url).read_bytes()
    with pytest.raises(BookExistsError, match="exists already") as caught:
        import_package(package, packed.url)
    assert "import makes the book itself" in caught.value.hint
    assert Path(packed.url).read_bytes() == before
    with pytest.raises(BookMissingError, match="there is no folder"):
        import_package(package, str(tmp_path / "nowhere" / "book.db"))


def test_a_book_that_comes_up_meanwhile_stays(package: Path, tmp_path: Path) -> None:
    place = tmp_path / "again.db"

    def write(*_: object) -> None:
        place.write_text("mine")

    with pytest.raises(BookExistsError):
        import_package(package, str(place), progress=write)
    assert place.read_text() == "mine"
    assert not list(tmp_path.glob(".again*"))


def test_an_import_that_fails_leaves_nothing(package: Path, tmp_path: Path) -> None:

    def stop(name: str, done: int, total: int) -> None:
        if name == "event":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        import_package(package, str(tmp_path / "again.db"), progress=stop)
    assert not [path for path in tmp_path.iterdir() if "again" in path.name]
