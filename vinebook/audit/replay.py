"""One reading played back against the tables: every row it brought must stand there as it was read."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from itertools import chain, islice
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select, type_coerce

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

    Nearly all rows stand as they were read. So pages of both are first compared as texts, and only where these differ,
    or the journal tells of a change to one of the rows, is each row looked at by itself.

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
        self._differ = differ
        self._tables = {SAMPLE_MARK: "sample", ROW_MARK: tally["kind"]}
        self._columns: dict[str, list[str]] = {}
        self._held: dict[str, _Held] = {}
        self.seen: Counter[str] = Counter()

    def run(self, reading: Iterable[bytes]) -> int:
        """Compare the reading with the tables, tell each difference, and give how many rows it holds.

        Parameters
        ----------
        reading : its bytes in parts.
        """
        lines = reading_lines(reading)
        rows = 0
        try:
            head = json.loads(next(lines, ""))
            self._begin({SAMPLE_MARK: head["sample_columns"], ROW_MARK: head["columns"]})
            for page in _pages(lines):
                if self._stands(page):
                    rows += len(page)
                    continue
                for mark, *read in csv.reader(page):
                    self._compare(mark, read, int(read[0]))
                    rows += 1
        except (ValueError, KeyError, IndexError, TypeError, csv.Error):
            self._differ(f"{self._name}: the reading cannot be read beyond row {rows}")
            return rows
        for mark, held in self._held.items():
            while (extra := held.next()) is not None:
                self._tell_extra(mark, extra)
        return rows

    def _stands(self, page: list[str]) -> bool:
        """Say whether all lines of a page are next in their tables, stand there as read, and had to stay so."""
        read = {mark: [line[2:] for line in page if line[:1] == mark] for mark in self._held}
        met = {mark: self._held[mark].take(len(lines)) for mark, lines in read.items()}
        if sum(map(len, read.values())) == len(page) and all(
            self._are_as_read(mark, met[mark], lines) for mark, lines in read.items()
        ):
            for mark, rows in met.items():
                self.seen[self._tables[mark]] += len(rows)
            return True
        for mark, rows in met.items():
            self._held[mark].give_back(len(rows))
        return False

    def _are_as_read(self, mark: str, rows: list[tuple[Any, ...]], lines: list[str]) -> bool:
        """Say whether rows of a table are those that some lines of a reading brought, and no change is told of one.

        As many rows as lines give the same text: so each row gives its line, and no cell breaks a line.
        """
        if len(rows) != len(lines):
            return False
        if not rows:
            return True
        if "" in chain.from_iterable(rows):
            return False
        end = f",{self._tally['number']},,\n"
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(rows)
        if text.getvalue() != end.join(lines) + end:
            return False
        table, columns = self._tables[mark], self._columns[mark]
        if self._changes.touches(self._tally["number"], rows[0][0], rows[-1][0]):
            return False
        return not any(
            parents.intersection(row[columns.index(column)] for row in rows)
            for column, parents in self._changes.parents_struck(table).items()
            if column in columns
        )

    def _begin(self, columns: Mapping[str, list[str]]) -> None:
        for mark, names in columns.items():
            if names:
                self._columns[mark] = ["record", "line", *names, "tally", "amended_at", "struck_at"]
                self._held[mark] = _Held(self._connection, self._tally, self._tables[mark], self._columns[mark])

    def _tell_extra(self, mark: str, row: list[str]) -> None:
        table = self._tables[mark]
        self.seen[table] += 1
        self._differ(f"{table} #{row[0]} is in the table and not in the reading of {self._name}")

    def _compare(self, mark: str, wanted: list[str], record: int) -> None:
        self._changes.unmet.pop(record, None)
        rows = self._held[mark]
        while (found := rows.next()) is not None and int(found[0]) < record:
            self._tell_extra(mark, found)
        table = self._tables[mark]
        place = f"{table} #{record} (line {wanted[1]} of {self._name})"
        if found is None or int(found[0]) != record:
            rows.give_back(0 if found is None else 1)
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
        names = self._columns[mark][2:-3]
        now, amended_at, struck_at = self._changes.applied(
            self._tables[mark], record, dict(zip(names, read[2:], strict=True)), tally
        )
        return [*read[:2], *(now[name] for name in names), str(tally), amended_at, struck_at]


class _Held:
    """The rows of one table that came with a tally, in the order of their permanent numbers."""

    def __init__(self, connection: Connection, tally: Mapping[str, Any], table: str, columns: Sequence[str]) -> None:
        self._connection = connection
        self._of = TABLES[table]
        self._after, self._last = int(tally["first_record"]) - 1, int(tally["last_record"])
        held = [self._of.c[name] for name in columns]
        # Dates as the database keeps them.
        self._query = select(
            *(type_coerce(column, Words) if isinstance(column.type, IsoDate) else column for column in held)
        )
        self._rows: list[Any] = []
        self._at = 0
        self._is_end = False

    def take(self, count: int) -> list[Any]:
        """Give the next rows as the driver gives them, fewer where there are no more."""
        while not self._is_end and len(self._rows) - self._at < count:
            self._fetch()
        taken = self._rows[self._at : self._at + count]
        self._at += len(taken)
        return taken

    def give_back(self, count: int) -> None:
        """Let so many rows that were taken last be the next again."""
        self._at -= count

    def next(self) -> list[str] | None:
        """Give the next row as the texts that a reading holds, or None."""
        return next((list(map(_text, row)) for row in self.take(1)), None)

    def _fetch(self) -> None:
        # So many numbers from the next row on, not so many rows: without statistics a server would sort all that is
        # left to find the first of them.
        record = self._of.c.record
        first = select(func.min(record)).where(record > self._after).scalar_subquery()
        within = self._query.where(record >= first, record < first + FETCHED, record <= self._last).order_by(record)
        # As the driver gives them: wrapped rows would cost more than the comparison.
        rows: Sequence[Any] = self._connection.execute(within).cursor.fetchall()
        self._is_end = not rows
        if rows:
            self._after = rows[-1][0]
        self._rows, self._at = [*self._rows[self._at :], *rows], 0


def _pages(lines: Iterator[str]) -> Iterator[list[str]]:
    """Give lines by the page; those before one that cannot be read come first.

    Raises
    ------
    UnicodeDecodeError : a line is no text.
    """
    while True:
        page: list[str] = []
        try:
            page.extend(islice(lines, FETCHED))
        except UnicodeDecodeError:
            yield page
            raise
        if not page:
            return
        yield page


def _text(value: object) -> str:
    return EMPTY_TEXT if value == "" else stored_text(value)
