"""A book of all that the program makes goes out and back: draws, evidence, workbooks kept once, replaced rows."""

from __future__ import annotations

import json
import zipfile
from datetime import date
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from frictionless import validate
from sqlalchemy import select

from tests.audit.trails import decided, settle
from tests.desk import Desk
from tests.exchange.packed import contents, told
from tests.intake.sheets import COUNTS, workbook
from vinebook.api import draw_vines, export_package, import_package, load, open_book, verify
from vinebook.errors import WordsError
from vinebook.exchange.package import DESCRIPTOR
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import replace_tally
from vinebook.records.readings import kept_file
from vinebook.records.tables import KEEPING

if TYPE_CHECKING:
    from tests.postgresql import Server

KEPT = Path(__file__).parent / "package_0001.zip"
EVENTS = ("block", "date", "what", "words")
_numbers = count(1)


def sheets(clusters: int) -> bytes:
    """Give a workbook of two tallies, the second counted on a drawn vine."""
    counted = (*COUNTS, "draw", "seed")
    return workbook(
        {
            "event": [EVENTS, ("A1", date(2023, 5, 4), "hail", "- short"), ("A2", date(2023, 5, 4), "hail", "long")],
            "cluster_tally": [counted, ("A1", date(2023, 7, 3), "random", "KL", 1, 1, clusters, "1", 7)],
        }
    )


@pytest.fixture
def filled(sqlite_book: str, tmp_path: Path) -> Desk:
    """Give a book with rows in every table that the program itself fills."""
    desk = settle(Desk(sqlite_book, tmp_path))
    on = date(2023, 6, 1)
    draw_vines(
        desk.book, "A1", season=2023, figure="clusters_per_vine", by="RM", vines=12, seed=7, on=on, cv_percent=20
    )
    decided(desk)
    desk.load(desk.write("counts.xlsx", sheets(31)))
    replace_tally(desk.book, desk.write("mended.xlsx", sheets(27)), "counts.xlsx", reason="typo", by="KL")
    amend(desk.book, "event", "A1/2023-05-04/hail", {"words": "+shorter"}, reason="=typo", by="RM")
    strike(desk.book, "event", "A2/2023-05-04/hail", reason="other block", by="RM")
    return desk


def journal_of(where: str) -> list[tuple[object, ...]]:
    """Give every entry of a book's journal as it is stored."""
    with open_book(where).reading() as connection:
        entry = KEEPING["entry"]
        return [tuple(row) for row in connection.execute(select(entry).order_by(entry.c.number))]


def kept_bytes_of(where: str) -> dict[int, bytes]:
    """Give the bytes of every kept file by the number of its tally; those of a workbook stand under each sheet."""
    with open_book(where).reading() as connection:
        numbers = connection.scalars(select(KEEPING["tally"].c.number)).all()
        return {number: b"".join(kept_file(connection, number)) for number in numbers}


def test_all_that_the_program_makes_comes_back(filled: Desk, tmp_path: Path) -> None:
    held = filled.held()
    assert all(held[table] for table in ("draw", "drawn_vine", "decision", "evidence", "event", "cluster_tally"))
    out = export_package(filled.book, tmp_path / "out")
    # Four sheets came in with two workbooks, whose bytes are kept once each.
    assert sum(path.name.endswith(".xlsx") for path in (tmp_path / "out" / "kept").iterdir()) == 2
    again = str(tmp_path / "again.db")
    back = import_package(tmp_path / "out", again)
    assert (told(again), journal_of(again)) == (told(filled.url), journal_of(filled.url))
    assert (back.seal, back.entries, back.rows) == (out.seal, out.entries, out.rows)
    assert kept_bytes_of(again) == kept_bytes_of(filled.url)
    assert Desk(again, tmp_path).held() == held
    export_package(open_book(again), tmp_path / "more")
    assert contents(tmp_path / "more") == contents(tmp_path / "out")


def test_frictionless_finds_it_valid(filled: Desk, tmp_path: Path) -> None:
    export_package(filled.book, tmp_path / "out")
    report = validate(str(tmp_path / "out" / DESCRIPTOR))
    assert report.flatten(["title", "fieldName", "rowNumber", "message"]) == []
    assert report.valid


def test_the_workbook_that_came_back_is_known(filled: Desk, tmp_path: Path) -> None:
    export_package(filled.book, tmp_path / "out")
    import_package(tmp_path / "out", str(tmp_path / "again.db"))
    again = load(open_book(tmp_path / "again.db"), [tmp_path / "mended.xlsx"], by="KL")
    assert [tally.rows for tally in again.tallies] == [0, 0]


@pytest.mark.postgresql
def test_it_goes_to_the_server_and_back(filled: Desk, postgresql_server: Server, tmp_path: Path) -> None:
    name = f"together_{next(_numbers)}"
    server = postgresql_server.create(name)
    try:
        export_package(filled.book, tmp_path / "one")
        import_package(tmp_path / "one", server)
        assert (told(server), journal_of(server)) == (told(filled.url), journal_of(filled.url))
        export_package(open_book(server), tmp_path / "two")
        assert contents(tmp_path / "two") == contents(tmp_path / "one")
        assert validate(str(tmp_path / "two" / DESCRIPTOR)).valid
        import_package(tmp_path / "two", str(tmp_path / "again.db"))
        again = str(tmp_path / "again.db")
        assert (told(again), journal_of(again)) == (told(filled.url), journal_of(filled.url))
        assert kept_bytes_of(again) == kept_bytes_of(filled.url)
    finally:
        postgresql_server.drop(name)


def test_a_package_of_the_first_schema_is_brought_to_this_one(tmp_path: Path) -> None:
    """`package_0001.zip` was written by the program of schema 0001: a vineyard and a block."""
    with zipfile.ZipFile(KEPT) as kept:
        kept.extractall(tmp_path / "package")
    with pytest.raises(WordsError, match="who acts has no usable name"):
        import_package(tmp_path / "package", str(tmp_path / "made.db"))
    assert [path.name for path in tmp_path.iterdir()] == ["package"]
    seal = json.loads((tmp_path / "package" / DESCRIPTOR).read_bytes())["vinebook"]["seal"]
    done = import_package(tmp_path / "package", str(tmp_path / "made.db"), by="KL")
    assert (done.lifted_from, done.rows) == ("0001", 2)
    assert done.seal != seal
    report = verify(open_book(tmp_path / "made.db"), seal=seal)
    assert (report.differences, report.seal) == ([], done.seal)
