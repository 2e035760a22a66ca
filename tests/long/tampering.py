"""Random edits, deletions, insertions and swaps by plain SQL: with a seal noted before, `verify` names each."""

from __future__ import annotations

import math
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import LargeBinary

from tests.audit.corrections import Corrector, fill
from tests.desk import Desk
from vinebook.audit.verify import verify_book
from vinebook.errors import BookDamagedError, DatabaseError
from vinebook.kinds import KINDS
from vinebook.records.book import Book
from vinebook.records.schema import make_book
from vinebook.records.tables import METADATA

EDITS = 1000
CORRECTIONS = 60
WAYS = ("cell", "cell", "cell", "delete", "insert", "swap")


class Tamperer:
    """Changes a book behind its back, once for each copy of it.

    Attributes
    ----------
    named : how many changes were named, by way and table.
    unnamed : what was not.
    """

    def __init__(self, folder: Path, seed: int) -> None:
        self._folder = folder
        self._chance = random.Random(seed)  # noqa: S311 - seeded edits need no cryptography
        self._book = folder / "book.db"
        make_book(str(self._book), by="KL")
        desk = Desk(str(self._book), folder)
        fill(desk)
        corrector = Corrector(desk, self._chance)
        for _ in range(CORRECTIONS):
            corrector.step()
        report = verify_book(desk.book)
        assert report.differences == []
        self._seal = report.seal
        self.named: Counter[str] = Counter()
        self.unnamed: list[str] = []

    def once(self) -> bool:
        """Make one change in a copy, and say whether it was one; an edit that writes the same value back is none."""
        copy = self._folder / "copy.db"
        shutil.copyfile(self._book, copy)
        with closing(sqlite3.connect(copy, isolation_level=None)) as raw:
            raw.execute("PRAGMA ignore_check_constraints = ON")
            raw.execute("PRAGMA synchronous = OFF")
            raw.execute("BEGIN")
            triggers = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for name, _ in triggers:
                raw.execute(f"DROP TRIGGER {name}")
            held = self._rows(raw)
            try:
                table, way, places = self._change(raw, held)
            except sqlite3.IntegrityError:
                return False
            if self._rows(raw) == held:
                return False
            for _, words in triggers:
                raw.execute(words)
            raw.execute("COMMIT")
        found = self._differences(copy)
        if any(place in words for words in found for place in places):
            self.named[f"{way} in {table}"] += 1
        else:
            self.unnamed.append(f"{way} in {table}: expected one of {places}, found {found}")
        return True

    def _differences(self, copy: Path) -> list[str]:
        try:
            return verify_book(Book(str(copy)), seal=self._seal).differences
        except (BookDamagedError, DatabaseError) as trouble:
            return [f"refused: {trouble.message}"]

    @staticmethod
    def _rows(raw: sqlite3.Connection) -> dict[str, list[tuple[Any, ...]]]:
        return {name: sorted(raw.execute(f'SELECT * FROM "{name}"'), key=repr) for name in METADATA.tables}

    def _change(
        self, raw: sqlite3.Connection, held: dict[str, list[tuple[Any, ...]]]
    ) -> tuple[str, str, tuple[str, ...]]:
        """Make a change and give its table, its way and the words of which one must be told."""
        table = self._chance.choice([name for name, rows in held.items() if rows])
        names = [column.name for column in METADATA.tables[table].columns]
        keys = [column.name for column in METADATA.tables[table].primary_key]
        way = self._chance.choice(WAYS)
        row = dict(zip(names, self._chance.choice(held[table]), strict=True))
        other = dict(zip(names, self._chance.choice(held[table]), strict=True))
        changed = dict(row)
        if way == "delete":
            self._delete(raw, table, keys, row)
        elif way == "insert":
            for key in keys:
                changed[key] = row[key] + self._chance.randrange(1, 200)
            self._insert(raw, table, changed)
        elif way == "swap":
            rest = [name for name in names if name not in keys]
            self._delete(raw, table, keys, row)
            self._delete(raw, table, keys, other)
            self._insert(raw, table, row | {name: other[name] for name in rest})
            if [row[key] for key in keys] != [other[key] for key in keys]:
                self._insert(raw, table, other | {name: row[name] for name in rest})
        else:
            column = self._chance.choice(names)
            changed[column] = self._other(table, column, row[column])
            self._delete(raw, table, keys, row)
            self._insert(raw, table, changed)
        return table, way, self._places(table, row, changed)

    @staticmethod
    def _delete(raw: sqlite3.Connection, table: str, keys: list[str], row: dict[str, Any]) -> None:
        where = " AND ".join(f'"{key}" = ?' for key in keys)
        raw.execute(f'DELETE FROM "{table}" WHERE {where}', [row[key] for key in keys])

    @staticmethod
    def _insert(raw: sqlite3.Connection, table: str, row: dict[str, Any]) -> None:
        names = ", ".join(f'"{name}"' for name in row)
        marks = ", ".join("?" * len(row))
        raw.execute(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', list(row.values()))

    def _other(self, table: str, column: str, value: object) -> object:
        chance = self._chance
        if chance.random() < 0.1:
            return None
        if isinstance(METADATA.tables[table].c[column].type, LargeBinary):
            data = bytearray(value if isinstance(value, bytes) else b"x")
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
            return bytes(data)
        if isinstance(value, int):
            return value + chance.choice([-1, 1, 10, 0])
        if isinstance(value, float):
            return chance.choice([math.nextafter(value, math.inf), value + 1, value])
        if isinstance(value, str):
            at = chance.randrange(len(value) + 1)
            return chance.choice([value[:at] + chance.choice("xyz019 ") + value[at + 1 :], value[:at], value + " ", ""])
        return chance.choice([1, 0, "x", 1.5])

    @staticmethod
    def _places(table: str, row: dict[str, Any], changed: dict[str, Any]) -> tuple[str, ...]:
        if table in KINDS:
            return tuple(f"{table} #{one['record']} " for one in (row, changed)) + tuple(
                f"table {table} holds 1 rows that no reading brought: #{one['record']}" for one in (row, changed)
            )
        if table == "entry":
            numbers = {row["number"], row["number"] + 1, changed["number"], changed["number"] + 1}
            return (*(f"entry {number} " for number in numbers), "no entry of this book has the seal")
        if table == "book":
            return ("table book",)
        return tuple(f"tally {one.get('number', one.get('tally'))}" for one in (row, changed))


def tamper(folder: Path, edits: int, seed: int) -> Tamperer:
    """Make so many changes that change a value, each in a copy of its own, and verify each copy."""
    tamperer = Tamperer(folder, seed)
    made = 0
    while made < edits:
        made += tamperer.once()
    return tamperer


def main(edits: int, seed: int) -> int:
    """Print how many changes were named; 1 where one was not."""
    with tempfile.TemporaryDirectory() as folder:
        done = tamper(Path(folder), edits, seed)
    for what, count in sorted(done.named.items()):
        print(f"  {count:4}  {what}")
    print(f"{sum(done.named.values()):,} of {edits:,} changes were named by verify, each by its place (seed {seed})")
    for words in done.unnamed:
        print(f"not named: {words}", file=sys.stderr)
    return 1 if done.unnamed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else EDITS, int(sys.argv[2]) if len(sys.argv) > 2 else 1))
