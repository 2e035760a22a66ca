"""The plainest way of each job that the scale benchmark measures, by Python's csv and the database's own driver.

``plain_scale.py JOB BOOK …`` with a job of load (TALLY …), season (YEAR), all, verify, export (FOLDER), on a SQLite
file or a PostgreSQL URL. Prints one number to hold the other way to. Nothing is validated, kept, journalled or judged.
"""

from __future__ import annotations

import csv
import hashlib
import io
import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.benchmarks.plain_aggregates import LOADS, QUERIES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

TALLY = 1_000
FIRST_RECORD = 10_000_000
PAGE = 10_000
Row = tuple[object, ...]


def _whole(cells: list[str]) -> Row:
    return tuple(map(int, cells))


def _with_mass(cells: list[str]) -> Row:
    return *map(int, cells[:-1]), round(float(cells[-1]) * 1_000_000)


VINES: dict[str, tuple[str, Callable[[list[str]], Row], Row]] = {
    "pruned_vine": ("spurs, nodes_on_spurs, canes_weighed, prunings_mg, state, pruned_by, wood", _with_mass,
                    ("bearing", "crew", "complete")),
    "shoot_tally": ("count_shoots, double_shoots, noncount_shoots, blind_nodes, state", _whole, ("bearing",)),
    "cluster_tally": ("clusters, state", _whole, ("bearing",)),
    "vine_harvest": ("clusters, mass_mg, state", _with_mass, ("bearing",)),
}  # fmt: skip
"""Columns beside sample and place, how their cells are read, and what stands in every row."""
SAMPLE = "record, counts, block, season, date, part, thinning, chosen, counted_by, tally, line"
OTHERS = {
    "load": "record, issuer, season, number, date, basis, net_milli, deductions_milli, refused_milli, mass_unit,"
    " consignee, tally, line",
    "load_part": "record, load, block, pick, split, picked, purpose, mass_unit, tally, line",
    "harvest_close": "record, block, season, finished_on, fruit_left_milli, fruit_left_by, mass_unit, tally, line",
}


def opened(book: str) -> Any:  # noqa: ANN401 - a connection of either driver
    """Open a book by its database's own driver."""
    if "://" in book:
        import psycopg

        return psycopg.connect(book)
    raw = sqlite3.connect(book, isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "recursive_triggers = ON"):
        raw.execute(f"PRAGMA {pragma}")
    raw.execute("BEGIN")
    return raw


class Loader:
    """Loads tallies in one transaction."""

    def __init__(self, raw: Any) -> None:  # noqa: ANN401
        self._raw = raw
        self._next = FIRST_RECORD
        self._blocks = dict(raw.execute("SELECT code, record FROM block").fetchall())
        self._consignees = dict(raw.execute("SELECT name, record FROM consignee").fetchall())
        self._loads: dict[tuple[str, ...], int] = {}
        self.rows = 0

    def take(self) -> int:
        """Give a new number."""
        self._next += 1
        return self._next

    def put(self, table: str, columns: str, rows: list[Row]) -> None:
        """Insert rows."""
        if isinstance(self._raw, sqlite3.Connection):
            marks = ", ".join("?" * (columns.count(",") + 1))
            self._raw.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)
            return
        with self._raw.cursor() as cursor, cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)

    def load(self, path: Path) -> None:
        """Load one tally."""
        kind = path.stem.rpartition("_")[0]
        with path.open(newline="") as stream:
            reader = csv.reader(stream)
            next(reader)
            if kind in VINES:
                self._load_vines(kind, list(reader))
            else:
                rows = list(getattr(self, f"_{kind}")(reader))
                self.put(kind, OTHERS[kind], rows)
                self.rows += len(rows)

    def _load_vines(self, kind: str, read: list[list[str]]) -> None:
        columns, values_of, more = VINES[kind]
        at = 5 if kind == "cluster_tally" else 4
        state = 0 if kind == "vine_harvest" else 1
        samples: dict[tuple[str, ...], Row] = {}
        rows: list[Row] = []
        for line, cells in enumerate(read, 2):
            key = tuple(cells[:at])
            sample = samples.get(key)
            if sample is None:
                block, date, *thinning, chosen, counted_by = key
                place = (self._blocks[block], int(date[:4]), date, "all", *(thinning or ["before"]))
                sample = samples[key] = (self.take(), kind, *place, chosen, counted_by, TALLY, line)
            values = values_of(cells[at + 2 + state :])
            rows.append((self.take(), sample[0], int(cells[at]), int(cells[at + 1]), *values, *more, TALLY, line))
        self.put("sample", SAMPLE, list(samples.values()))
        self.put(kind, f'record, sample, "row", vine, {columns}, tally, line', rows)
        self.rows += len(rows)

    def _load(self, reader: Iterator[list[str]]) -> Iterator[Row]:
        for line, (date, issuer, number, basis, net, consignee) in enumerate(reader, 2):
            record = self._loads[issuer, date[:4], number] = self.take()
            took = self._consignees[consignee]
            yield record, issuer, int(date[:4]), number, date, basis, int(net) * 1000, 0, 0, "kg", took, TALLY, line

    def _load_part(self, reader: Iterator[list[str]]) -> Iterator[Row]:
        for line, (issuer, season, number, block, pick, split, picked, purpose) in enumerate(reader, 2):
            load = self._loads[issuer, season, number]
            yield self.take(), load, self._blocks[block], int(pick), split, picked, purpose, "kg", TALLY, line

    def _harvest_close(self, reader: Iterator[list[str]]) -> Iterator[Row]:
        for line, (block, date, left, how) in enumerate(reader, 2):
            yield self.take(), self._blocks[block], int(date[:4]), date, int(left) * 1000, how, "kg", TALLY, line


def load(book: str, *paths: str) -> int:
    """Load tallies; give how many rows came in beside their samples."""
    raw = opened(book)
    raw.execute(
        'INSERT INTO tally (number, name, kind, source, size, sha256, at, "by")'
        f" VALUES ({TALLY}, 'all', 'sample', 'file', 0, '', '', 'KL')"
    )
    loader = Loader(raw)
    for path in paths:
        loader.load(Path(path))
    raw.execute("COMMIT")
    raw.close()
    return loader.rows


def season(book: str, year: str) -> int:
    """Print the bare aggregates of a season; give how many vines they sum."""
    return _aggregates(book, f"season = {int(year)}")


def all_seasons(book: str) -> int:
    """Print the bare aggregates of a book; give how many vines they sum."""
    return _aggregates(book, "")


def _aggregates(book: str, where: str) -> int:
    raw = opened(book)
    writer = csv.writer(sys.stdout)
    within = f" AND sample IN (SELECT record FROM sample WHERE {where} AND struck_at IS NULL)" if where else ""
    vines = 0
    for kind, sums in QUERIES.items():
        query = f"SELECT sample, {sums} FROM {kind} WHERE struck_at IS NULL AND state = 'bearing'{within}"
        for row in raw.execute(f"{query} GROUP BY sample"):
            vines += int(row[1])
            writer.writerow(row)
    writer.writerows(raw.execute(LOADS.replace(" GROUP BY", f" AND load.{where} GROUP BY") if where else LOADS))
    raw.close()
    return vines


def verify(book: str) -> int:
    """Hash all kept bytes, read every reading as CSV and fetch every row that it brought; give how many."""
    raw = opened(book)
    rows = 0
    tallies = raw.execute(
        "SELECT tally.number, tally.kind, first_record, last_record FROM tally JOIN reading"
        " ON reading.tally = tally.number ORDER BY 1"
    ).fetchall()
    for number, kind, first, last in tallies:
        for table in ("tally_bytes", "reading_bytes"):
            parts = raw.execute(f"SELECT bytes FROM {table} WHERE tally = {number} ORDER BY part")
            data = b"".join(part for (part,) in parts)
            hashlib.sha256(data).hexdigest()
        read = sum(1 for _ in csv.reader(io.StringIO(data.decode()))) - 1
        held = 0
        for table in ("sample", kind):
            cursor = raw.execute(f"SELECT * FROM {table} WHERE record BETWEEN {first} AND {last} ORDER BY record")
            while page := cursor.fetchmany(PAGE):
                held += len(page)
        assert held == read, (number, held, read)
        rows += held
    raw.close()
    return rows


def export(book: str, folder: str) -> int:
    """Write every table but the kept bytes as CSV; give how many rows."""
    raw = opened(book)
    Path(folder).mkdir()
    named = (
        "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY 1"
        if isinstance(raw, sqlite3.Connection)
        else "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1"
    )
    rows = 0
    for (table,) in raw.execute(named).fetchall():
        if table.endswith("_bytes") or table == "alembic_version":
            continue
        cursor = raw.cursor() if isinstance(raw, sqlite3.Connection) else raw.cursor(name="plain")
        cursor.execute(f'SELECT * FROM "{table}" ORDER BY 1')
        with (Path(folder) / f"{table}.csv").open("w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream)
            while page := cursor.fetchmany(PAGE):
                writer.writerows(page)
                rows += len(page)
        cursor.close()
    raw.close()
    return rows


JOBS: dict[str, Callable[..., int]] = {
    "load": load,
    "season": season,
    "all": all_seasons,
    "verify": verify,
    "export": export,
}

if __name__ == "__main__":
    print(JOBS[sys.argv[1]](*sys.argv[2:]))
