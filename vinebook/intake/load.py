"""Loading tallies: every file of a call in the order its kinds need, the whole call or nothing."""

from __future__ import annotations

import copy
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError

from vinebook.errors import Finding, WordsError
from vinebook.intake.afterwards import check_afterwards
from vinebook.intake.drawn import check_draws, recognise
from vinebook.intake.earlier import earlier_loads
from vinebook.intake.faults import Faults
from vinebook.intake.lookups import Conventions, RefusedKeys
from vinebook.intake.pages import TallyReader
from vinebook.intake.repeats import RepeatedKeys
from vinebook.intake.tally_file import MAX_BYTES, TallyFile, open_tally, told_name
from vinebook.intake.unlikely import Arrived, warn_afterwards
from vinebook.intake.workbook import open_tallies
from vinebook.kinds import KINDS, LOADED_KINDS, MADE_KINDS
from vinebook.records import journal
from vinebook.records.bulk import insert_rows
from vinebook.records.readings import READER, ROW_MARK, SAMPLE_MARK, ByteKeeper, ReadingWriter
from vinebook.records.step import again_when_crossed
from vinebook.records.tables import READING, TALLY, TALLY_BYTES, stored_columns

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy import Connection

    from vinebook.intake.pages import Page
    from vinebook.records.book import Book

ANALYZE_FROM_ROWS = 500
"""Without any statistics a server plans the sums of a few thousand rows so badly that they take seconds."""


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


@dataclass(slots=True)
class LoadReport:
    """What a call of `load` did.

    Attributes
    ----------
    tallies : each file, in the order in which they were read.
    warnings : rows that came in and are unusual; `warnings_beyond` more were counted.
    notes : what is worth knowing: which drawn vines were visited.
    stored : False for a dry run.
    seal : newest hash of the journal afterwards, or "" for a dry run.
    """

    tallies: list[TallyLoaded] = field(default_factory=list)
    warnings: list[Finding] = field(default_factory=list)
    warnings_beyond: int = 0
    notes: list[str] = field(default_factory=list)
    stored: bool = True
    seal: str = ""


class Step(Protocol):
    """What a correction does around a load, in the same transaction."""

    def before(self, connection: Connection, at: str) -> None:
        """Do what must be done before the first file is read."""

    def after(self, connection: Connection, at: str, report: LoadReport) -> None:
        """Do what must be done once every file is in and has its entry."""


class _DryRunError(Exception):
    """Leaves the transaction of a dry run, so that it is rolled back."""


class _KeyTwiceError(Exception):
    """A key stands twice; the call is read again to say which."""


@again_when_crossed
def load_tallies(
    book: Book,
    paths: Sequence[str | Path],
    *,
    by: str,
    kind: str | None = None,
    dry_run: bool = False,
    max_bytes: int = MAX_BYTES,
    progress: Callable[[str, int, int], None] | None = None,
    source: str = "file",
    step: Step | None = None,
) -> LoadReport:
    """Read tallies into a book, all of them or none.

    Parameters
    ----------
    book : an open book.
    paths : the files, in any order.
    by : who enters them.
    kind : the kind of all of them, where headings fit more than one.
    dry_run : read and check, store nothing.
    max_bytes : largest size of a file.
    progress : called with file, bytes read so far and bytes in all.
    source : "file", or "typed" for a record entered by hand.
    step : what is done in the same transaction before the first file and after the last.

    Raises
    ------
    FindingsError : what is wrong, by file, line and column; nothing was stored.
    FileRefusedError, BookLockedError, BookReadOnlyError, DatabaseError
    WordsError : the kind is one whose rows only the program makes.
    """
    by = journal.actor(by)
    if kind in MADE_KINDS:
        raise WordsError(f"{kind} is no kind of tally: only vinebook makes its rows", "leave --kind out")
    faults = Faults()
    order = list(LOADED_KINDS)
    report = LoadReport(stored=not dry_run)
    with ExitStack() as held:
        tallies: list[TallyFile] = []
        names: list[str] = []
        for path in paths:
            found = open_tallies(path, faults, held, kind=kind, max_bytes=max_bytes)
            tallies += found
            names += [tally.name for tally in found] or [told_name(Path(path))]
        ready = sorted(tallies, key=lambda tally: order.index(tally.kind.name))
        opened = copy.deepcopy(faults)
        try:
            report.seal = _in_one_step(
                book, names, ready, faults, report, by=by, dry_run=dry_run, progress=progress, source=source, step=step
            )
        except _KeyTwiceError:
            faults = opened
            report = LoadReport(stored=not dry_run)
            report.seal = _in_one_step(
                book,
                names,
                ready,
                faults,
                report,
                by=by,
                dry_run=dry_run,
                progress=progress,
                source=source,
                step=step,
                carefully=True,
            )
    report.warnings, report.warnings_beyond = sorted(faults.warnings), faults.warnings_beyond
    rows = sum(tally.rows for tally in report.tallies)
    if not dry_run and rows >= ANALYZE_FROM_ROWS:
        book.refresh_statistics(rows)
    return report


def _in_one_step(
    book: Book,
    names: list[str],
    ready: list[TallyFile],
    faults: Faults,
    report: LoadReport,
    *,
    by: str,
    dry_run: bool,
    progress: Callable[[str, int, int], None] | None,
    source: str,
    step: Step | None,
    carefully: bool = False,
) -> str:
    seal = ""
    try:
        with book.writing(by=by, doing="load" if source == "file" else "add") as connection:
            call = _Call(connection, faults, by, source, progress, carefully=carefully)
            if step is not None:
                step.before(connection, call.at)
            for tally in ready:
                report.tallies.append(call.load(tally))
            if call.numbers:
                check_afterwards(connection, faults, call.numbers)
                check_draws(connection, faults, call.numbers)
            faults.refuse(names)
            if dry_run:
                warn_afterwards(connection, faults, call.arrived)
                report.notes = recognise(connection, faults, call.arrived)
                raise _DryRunError
            call.finish()
            if step is not None:
                step.after(connection, call.at, report)
            warn_afterwards(connection, faults, call.arrived)
            report.notes = recognise(connection, faults, call.arrived)
            last = journal.newest(connection)
            seal = "" if last is None else last.hash
    except _DryRunError:
        pass
    return seal


def load_made(connection: Connection, path: Path, kind: str, *, by: str, at: str) -> TallyLoaded:
    """Load a page that the program made of a kind of its own, in the step of the record that it belongs to.

    Parameters
    ----------
    connection : of the step's transaction.
    path : the page; it is kept like any other file.
    kind : one of MADE_KINDS.
    by, at : who acts, and the UTC time of the step.

    Raises
    ------
    FindingsError : the page cannot be read.
    """
    faults = Faults()
    tally = open_tally(path, faults, kind=kind)
    faults.refuse([path.name])
    call = _Call(connection, faults, by, "typed", None, carefully=False)
    call.at = at
    if tally is None:
        raise AssertionError(f"a page of {kind} without a fault was not read")
    loaded = call.load(tally)
    faults.refuse([path.name])
    call.finish()
    return loaded


class _Call:
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
                raise _KeyTwiceError from trouble
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
