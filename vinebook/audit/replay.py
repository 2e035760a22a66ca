"""One reading played back against the tables: every row it brought must stand there as it was read."""

from __future__ import annotations

import csv
import json
from collections import Counter
from itertools import chain, islice
from types import NoneType
from typing import TYPE_CHECKING, Any

from sqlalchemy import select, type_coerce

from vinebook.kinds import KINDS
from vinebook.records.readings import ROW_MARK, SAMPLE_MARK, reading_lines, stored_text
from vinebook.records.shown import field_of, told_exactly
from vinebook.records.tables import TABLES
from vinebook.records.types import IsoDate, Words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from sqlalchemy import Connection

    from vinebook.audit.changes import Changes

FETCHED = 5000
EMPTY_TEXT = '""'
"""How an empty text is told apart from a missing value; no reading brings one."""


class Replay:
    """Plays one reading back.

    Attributes
    ----------
    seen : rows of each table that were met.
    """

    def __init__(
        self,
        connection: Connection,
        tally: Mapping[str, Any],
        name: str,
        changes: Changes,
        differ: Callable[[str], None],
    ) -> None:
        self._connection = connection
        self._tally = tally
        self._name = name
        self._changes = changes
        self._tail = [str(tally["number"]), "", ""] if changes.are_none else None
        self._differ = differ
        self._tables = {SAMPLE_MARK: "sample", ROW_MARK: tally["kind"]}
        self._columns: dict[str, list[str]] = {}
        self._held: dict[str, Iterator[list[str]]] = {}
        self._waiting: dict[str, list[str] | None] = {}
        self.seen: Counter[str] = Counter()

    def run(self, reading: Iterable[bytes]) -> int:
        """Compare the reading with the tables, tell each difference, and give how many rows it holds.

        Parameters
        ----------
        reading : its bytes in parts.
        """
        lines = reading_lines(reading)
        rows, stood = 0, dict.fromkeys(self._tables, 0)
        try:
            head = json.loads(next(lines, ""))
            self._begin({SAMPLE_MARK: head["sample_columns"], ROW_MARK: head["columns"]})
            for page in _pages(csv.reader(lines)):
                if self._stands(page, stood):
                    rows += len(page)
                    continue
                for mark, *read in page:
                    self._compare(mark, read, int(read[0]))
                    rows += 1
        except (ValueError, KeyError, IndexError, TypeError, csv.Error):
            self._differ(f"{self._name}: the reading cannot be read beyond row {rows}")
            return rows
        finally:
            for mark, count in stood.items():
                self.seen[self._tables[mark]] += count
        for mark in self._held:
            while (extra := self._waiting[mark]) is not None:
                self._tell_extra(mark, extra)
        return rows

    def _stands(self, page: list[list[str]], stood: dict[str, int]) -> bool:
        """Say whether all rows of a page are next in their tables and stand there as read, as nearly all do."""
        tail = self._tail
        if tail is None:
            return False
        met: dict[str, list[list[str] | None]] = {}
        is_same = True
        for mark, held in self._held.items():
            read = [row[1:] + tail for row in page if row[0] == mark]
            if read:
                met[mark] = [self._waiting[mark], *islice(held, len(read) - 1)]
                is_same = is_same and read == met[mark]
        is_same = is_same and sum(map(len, met.values())) == len(page)
        for mark, found in met.items():
            if is_same:
                stood[mark] += len(found)
            else:
                # Each row is looked at by itself.
                self._held[mark] = chain(filter(None, found), self._held[mark])
            self._next(mark)
        return is_same

    def _begin(self, columns: Mapping[str, list[str]]) -> None:
        for mark, names in columns.items():
            if names:
                self._columns[mark] = ["record", "line", *names, "tally", "amended_at", "struck_at"]
                self._held[mark] = chain.from_iterable(self._held_pages(self._tables[mark], self._columns[mark]))
                self._next(mark)

    def _next(self, mark: str) -> None:
        self._waiting[mark] = next(self._held[mark], None)

    def _tell_extra(self, mark: str, row: list[str]) -> None:
        table = self._tables[mark]
        self.seen[table] += 1
        self._differ(f"{table} #{row[0]} is in the table and not in the reading of {self._name}")
        self._next(mark)

    def _compare(self, mark: str, wanted: list[str], record: int) -> None:
        self._changes.unmet.pop(record, None)
        while (found := self._waiting[mark]) is not None and int(found[0]) < record:
            self._tell_extra(mark, found)
        table = self._tables[mark]
        place = f"{table} #{record} (line {wanted[1]} of {self._name})"
        if found is None or int(found[0]) != record:
            self._differ(f"{place} is missing from its table")
            return
        self.seen[table] += 1
        if record in self._changes.before:
            self._compare_before(mark, place, wanted, record)
        must = self._wanted(mark, wanted, record)
        for column, said, held in zip(self._columns[mark], must, found, strict=True):
            if said != held:
                source = "the journal" if record in self._changes.after or column.endswith("_at") else "the reading"
                there, here = self._told(mark, column, held, found), self._told(mark, column, said, must)
                self._differ(f"{place}: {self._named(mark, column)} is {there} in the table, {here} in {source}")
        self._next(mark)

    def _compare_before(self, mark: str, place: str, read: list[str], record: int) -> None:
        """Tell where an amendment says that something else stood there before than what was read."""
        texts = dict(zip(self._columns[mark], read, strict=False))
        for column, (entry, before) in self._changes.before[record].items():
            if texts.get(column) != before:
                then, said = (self._told(mark, column, text, read) for text in (texts.get(column, ""), before))
                self._differ(
                    f"{place}: {self._named(mark, column)} was read as {then}, entry {entry} says it was {said}"
                )

    def _named(self, mark: str, column: str) -> str:
        """Give the name that people know a column by."""
        field = field_of(KINDS[self._tables[mark]], column)
        return column if field is None else field.name

    def _told(self, mark: str, column: str, text: str, row: list[str]) -> str:
        """Give a stored text as people know it, with its unit; printed masses in the unit of their row."""
        texts = dict(zip(self._columns[mark], row, strict=False))
        return told_exactly(field_of(KINDS[self._tables[mark]], column), text, texts.get("mass_unit", ""))

    def _wanted(self, mark: str, read: list[str], record: int) -> list[str]:
        """Give a row as it must stand: as it was read, with what the journal says happened since."""
        tally = self._tally["number"]
        if self._changes.are_none:
            return [*read, str(tally), "", ""]
        names = self._columns[mark][2:-3]
        now, amended_at, struck_at = self._changes.applied(
            self._tables[mark], record, dict(zip(names, read[2:], strict=True)), tally
        )
        return [*read[:2], *(now[name] for name in names), str(tally), amended_at, struck_at]

    def _held_pages(self, table: str, columns: list[str]) -> Iterator[Iterator[list[str]]]:
        """Give a table's rows of this tally as the texts that a reading holds; dates as the database keeps them."""
        of = TABLES[table]
        after, last = int(self._tally["first_record"]) - 1, int(self._tally["last_record"])
        held = [of.c[name] for name in columns]
        query = select(*(type_coerce(column, Words) if isinstance(column.type, IsoDate) else column for column in held))
        while True:
            within = query.where(of.c.record > after, of.c.record <= last).order_by(of.c.record).limit(FETCHED)
            # As the driver gives them: wrapped rows would cost more than the comparison.
            rows: Sequence[Any] = self._connection.execute(within).cursor.fetchall()
            yield map(list, zip(*map(_texts, zip(*rows, strict=True)), strict=True))
            if len(rows) < FETCHED:
                return
            after = rows[-1][0]


def _pages(rows: Iterator[list[str]]) -> Iterator[list[list[str]]]:
    """Give rows by the page; those before one that cannot be read come first.

    Raises
    ------
    csv.Error : a row cannot be read.
    """
    while True:
        page: list[list[str]] = []
        try:
            page.extend(islice(rows, FETCHED))
        except csv.Error:
            yield page
            raise
        if not page:
            return
        yield page


def _texts(values: Sequence[Any]) -> Sequence[str]:
    """Give the values of a column as a reading holds them, all at once where they are of one type."""
    types = set(map(type, values))
    if len(types) == 1 and values.count(values[0]) == len(values):
        return [_text(values[0])] * len(values)
    if types == {int}:
        return list(map(str, values))
    if types <= {str, NoneType} and "" not in values:
        return values if NoneType not in types else [value or "" for value in values]
    return list(map(_text, values))


def _text(value: object) -> str:
    return EMPTY_TEXT if value == "" else stored_text(value)
