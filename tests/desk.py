"""A desk for tests: a book, a folder with tallies, and short ways to load them and to look at what came of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import func, select, text

from vinebook.audit.verify import VerifyReport, verify_book
from vinebook.errors import FindingsError
from vinebook.intake.load import LoadReport, load_tallies
from vinebook.records.book import Book
from vinebook.records.engine import engine_for
from vinebook.records.guards import postgresql_guards, sqlite_guards
from vinebook.records.listing import listed_rows
from vinebook.records.tables import KEEPING, TABLES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

SOUTH = "name,hemisphere,units\nLow Terrace,south,metric\n"
BLOCKS = "vineyard,code,from_season\nLow Terrace,A1,2015\nLow Terrace,A2,2015\n"
CLUSTERS = "block,date,chosen,counted_by,row,vine,clusters\n"
SAMPLE = "A1,2022-12-05,random,KL"


class Desk:
    """A book, and a folder beside it."""

    def __init__(self, url: str, folder: Path) -> None:
        self.url = url
        self.folder = folder
        self.book = Book(url)

    def write(self, name: str, content: str | bytes) -> Path:
        """Write a tally and give its path."""
        path = self.folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    def load(self, *paths: Path, **options: Any) -> LoadReport:  # noqa: ANN401 - those of load
        """Load tallies."""
        return load_tallies(self.book, paths, by="KL", **options)

    def load_texts(self, **texts: str | bytes) -> LoadReport:
        """Write tallies by name and load them."""
        return self.load(*(self.write(f"{name}.csv", content) for name, content in texts.items()))

    def faults(self, *paths: Path, **options: Any) -> list[str]:  # noqa: ANN401 - those of load
        """Load tallies that are refused, check that nothing was stored, and give the findings in words."""
        before = self.held()
        with pytest.raises(FindingsError) as caught:
            self.load(*paths, **options)
        assert self.held() == before
        return [self.short(str(finding)) for finding in caught.value.findings]

    def faults_of(self, **texts: str | bytes) -> list[str]:
        """Write tallies by name, load them and give the findings."""
        return self.faults(*(self.write(f"{name}.csv", content) for name, content in texts.items()))

    def short(self, words: str) -> str:
        """Give words without the folder."""
        return words.replace(f"{self.folder}/", "")

    def held(self) -> dict[str, object]:
        """Give how many rows each table holds, the counters and the seal."""
        with self.book.reading() as connection:
            tables = {**TABLES, **KEEPING}
            held: dict[str, object] = {
                name: connection.scalar(select(func.count()).select_from(table)) for name, table in tables.items()
            }
            held["counters"] = tuple(connection.execute(text("SELECT next_record, next_tally FROM book")).one())
            held["seal"] = connection.scalar(text("SELECT hash FROM entry ORDER BY number DESC LIMIT 1"))
        return held

    def listed(self, kind: str) -> list[dict[str, Any]]:
        """Give the live records of a kind as `list` gives them."""
        with self.book.reading() as connection:
            headings, rows = listed_rows(connection, kind, block=None, season=None, struck=False, units="metric")
            return [dict(zip(headings, row, strict=True)) for row in rows]

    def stored(self, kind: str) -> list[dict[str, Any]]:
        """Give the rows of a kind's table by column."""
        table = TABLES[kind]
        with self.book.reading() as connection:
            return [dict(row) for row in connection.execute(select(table).order_by(table.c.record)).mappings()]

    def verify(self) -> VerifyReport:
        """Verify the book."""
        return verify_book(self.book)

    def tamper(self, *statements: str) -> None:
        """Run statements as somebody who takes the guards away and puts them back."""
        engine = engine_for(self.url)
        with engine.connect() as connection, connection.execution_options(writes=True).begin():
            if connection.dialect.name == "sqlite":
                found = "SELECT name, '' FROM sqlite_master WHERE type = 'trigger'"
                guards = list(sqlite_guards().values())
            else:
                found = "SELECT tgname, ' ON ' || tgrelid::regclass FROM pg_trigger WHERE NOT tgisinternal"
                guards = [words for all_words in postgresql_guards().values() for words in all_words]
                guards = [words for words in guards if not words.startswith("CREATE FUNCTION")]
            for name, on in connection.exec_driver_sql(found).all():
                connection.exec_driver_sql(f"DROP TRIGGER {name}{on}")
            for statement in (*statements, *guards):
                connection.exec_driver_sql(statement)
        engine.dispose()


def places(desk: Desk) -> None:
    """Load a vineyard in the south with blocks A1 and A2."""
    desk.load_texts(vineyard=SOUTH, block=BLOCKS)


def cluster_rows(rows: Sequence[tuple[int, object, object]], sample: str = SAMPLE) -> str:
    """Give a cluster tally of row, vine, clusters."""
    return CLUSTERS + "".join(f"{sample},{row},{vine},{clusters}\n" for row, vine, clusters in rows)
