"""One call of load on one connection: rows, bytes and reading of each tally, and its entry in the journal."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError

from vinebook.intake.earlier import earlier_loads
from vinebook.intake.lookups import Conventions, RefusedKeys
from vinebook.intake.pages import TallyReader
from vinebook.intake.repeats import RepeatedKeys
from vinebook.intake.unlikely import Arrived
from vinebook.kinds import KINDS
from vinebook.records import journal
from vinebook.records.bulk import insert_rows
from vinebook.records.readings import READER, ROW_MARK, SAMPLE_MARK, ByteKeeper, ReadingWriter
from vinebook.records.tables import READING, TALLY, TALLY_BYTES, stored_columns

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy import Connection

    from vinebook.intake.faults import Faults
    from vinebook.intake.pages import Page
    from vinebook.intake.tally_file import TallyFile


@dataclass(frozen=True, slots=True)
class TallyLoaded:
    """What came in with one file.

    Attributes
    ----------
    name, kind : of the file; a sheet of a workbook stands behind its name, as in ``counts.xlsx:cluster_tally``.
    number : of the kept file.
    rows, samples : records that came in.
    already : where the same bytes were loaded before: when and by whom; else "".
    again : where they were loaded before and all their rows were struck since: when, by whom and by which entry.
    """

    name: str
    kind: str
    number: int
    rows: int
    samples: int
    already: str = ""
    again: str = ""


class KeyTwiceError(Exception):
    """A key stands twice; the call is read again to say which."""


class LoadCall:
    """One call of load on one connection."""

    def __init__(
        self,
        connection: Connection,
        faults: Faults,
        by: str,
        source: str,
        progress: Callable[[str, int, int], None] | None,
        *,
        carefully: bool,
    ) -> None:
        self._connection = connection
        self._faults = faults
        self._by = by
        self._source = source
        self._progress = progress
        self._carefully = carefully
        self._counters = journal.lock_counters(connection)
        self.at = journal.now()
        """UTC time of the call."""
        self._refused: dict[str, RefusedKeys] = {}
        self._entries: list[tuple[str, dict[str, object]]] = []
        self._kept: dict[str, int] = {}
        self.numbers: dict[int, str] = {}
        """Names of the files of this call by the numbers of their tallies."""
        self.arrived: list[Arrived] = []
        """What came in with each file."""

    def load(self, tally: TallyFile) -> TallyLoaded:
        """Read one file into the book."""
        connection = self._connection
        earlier = earlier_loads(connection, tally.sha256, tally.sheet) if self._source == "file" else []
        again = ""
        for load in earlier:
            if load.struck_at in ("", self.at):
                return TallyLoaded(tally.name, tally.kind.name, load.number, 0, 0, load.words)
            again = f"{load.words}, and their rows were struck on {load.struck_at[:10]} ({load.entry})"
        number = self._counters.take_tally()
        self.numbers[number] = tally.name
        name = journal.one_line(Path(tally.name).name)
        connection.execute(
            insert(TALLY).values(
                number=number,
                name=name,
                kind=tally.kind.name,
                source=self._source,
                size=tally.size,
                sha256=tally.sha256,
                at=self.at,
                by=self._by,
            )
        )
        conventions = Conventions(connection)
        head = {
            "kind": tally.kind.name,
            "version": tally.kind.version,
            "columns": list(stored_columns(tally.kind)),
            "sample_columns": list(stored_columns(KINDS["sample"])) if tally.kind.sampled else [],
            "vineyards": conventions.in_words,
        }
        of_sheet = self._of_sheet(tally, number)
        head |= of_sheet
        first = self._counters.next_record
        reading = ReadingWriter(connection, number, head)
        keeper = ByteKeeper(connection, TALLY_BYTES, number)
        keeps_bytes = of_sheet.get("kept_in", number) == number
        reader = TallyReader(
            connection, tally, self._faults, self._refused, lambda: self._counters.take_records(1), conventions
        )
        repeats = (
            RepeatedKeys(
                connection,
                tally.kind,
                self._faults,
                tally.name,
                self.numbers,
                is_typed=self._source == "typed",
                row_word="row" if tally.sheet else "line",
            )
            if self._carefully
            else None
        )
        samples = 0
        for page in reader.pages(keeper.add if keeps_bytes else _drop):
            samples += len(page.samples)
            self._store(tally, number, page, reading, repeats)
            if self._progress is not None:
                self._progress(tally.name, keeper.size, tally.size)
        if repeats is not None:
            repeats.settle()
        if keeps_bytes:
            keeper.close()
        sha256 = reading.close()
        last = self._counters.next_record - 1
        connection.execute(
            insert(READING).values(
                tally=number,
                reader=READER,
                sha256=sha256,
                rows=reader.rows,
                samples=samples,
                first_record=first,
                last_record=last,
            )
        )
        body: dict[str, object] = {
            "kind": tally.kind.name,
            "name": name,
            "source": self._source,
            "size": tally.size,
            "sha256": tally.sha256,
            "reader": READER,
            "reading_sha256": sha256,
            "rows": reader.rows,
            "samples": samples,
            "first_record": first,
            "last_record": last,
            **of_sheet,
        }
        self._entries.append((f"tally {number} {name}", body))
        self.arrived.append(Arrived(number, tally.name, tally.kind, first, last, reader.blocks))
        return TallyLoaded(tally.name, tally.kind.name, number, reader.rows, samples, again=again)

    def _of_sheet(self, tally: TallyFile, number: int) -> dict[str, object]:
        """Give what is said of a sheet alone: its name, and the tally under which the workbook's bytes are kept."""
        if not tally.sheet:
            return {}
        return {"sheet": tally.sheet, "kept_in": self._kept.setdefault(tally.sha256, number)}

    def _store(
        self, tally: TallyFile, number: int, page: Page, reading: ReadingWriter, repeats: RepeatedKeys | None
    ) -> None:
        if page.samples:
            self._store_samples(number, page, reading)
        if not page.lines:
            return
        rows = len(page.lines)
        first = self._counters.take_records(rows)
        numbers = range(first, first + rows)
        columns = ("record", *stored_columns(tally.kind), "tally", "line")
        stored = zip(numbers, *page.columns, repeat(number), page.lines, strict=False)
        if repeats is not None:
            repeats.take(columns, stored)
        else:
            self._insert(tally.kind.name, columns, stored)
        reading.add(zip(repeat(ROW_MARK), numbers, page.lines, *page.columns, strict=False))

    def _store_samples(self, number: int, page: Page, reading: ReadingWriter) -> None:
        names = stored_columns(KINDS["sample"])
        rows = [(record, line, *(values[name] for name in names)) for record, line, values in page.samples]
        self._insert("sample", ("record", "line", *names, "tally"), [(*row, number) for row in rows])
        reading.add((SAMPLE_MARK, *row) for row in rows)

    def _insert(self, table: str, columns: Sequence[str], rows: Any) -> None:  # noqa: ANN401 - any iterable of tuples
        try:
            insert_rows(self._connection, table, columns, rows)
        except Exception as trouble:
            if _is_key_twice(trouble):
                raise KeyTwiceError from trouble
            raise

    def finish(self) -> None:
        """Write the counters and an entry for each file."""
        journal.store_counters(self._connection, self._counters)
        for subject, body in self._entries:
            journal.append(self._connection, by=self._by, action="load", subject=subject, body=body, at=self.at)


def _drop(data: bytes) -> None:
    """Take bytes that are kept already."""
    del data


def _is_key_twice(trouble: Exception) -> bool:
    if isinstance(trouble, IntegrityError):
        return "unique" in str(trouble.orig).lower()
    return type(trouble).__name__ == "UniqueViolation"
