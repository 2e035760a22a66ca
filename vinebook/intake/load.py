"""Loading tallies: every file of a call in the order its kinds need, the whole call or nothing."""

from __future__ import annotations

import copy
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from vinebook.errors import Finding, WordsError
from vinebook.intake.afterwards import check_afterwards
from vinebook.intake.drawn import check_draws, recognise
from vinebook.intake.faults import Faults
from vinebook.intake.storing import KeyTwiceError, LoadCall, TallyLoaded
from vinebook.intake.tally_file import MAX_BYTES, TallyFile, open_tally, told_name
from vinebook.intake.unlikely import warn_afterwards
from vinebook.intake.workbook import open_tallies
from vinebook.kinds import LOADED_KINDS, MADE_KINDS
from vinebook.records import journal
from vinebook.records.step import again_when_crossed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy import Connection

    from vinebook.records.book import Book

ANALYZE_FROM_ROWS = 500
"""Without any statistics a server plans the sums of a few thousand rows so badly that they take seconds."""


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
        except KeyTwiceError:
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
            call = LoadCall(connection, faults, by, source, progress, carefully=carefully)
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
    call = LoadCall(connection, faults, by, "typed", None, carefully=False)
    call.at = at
    if tally is None:
        raise AssertionError(f"a page of {kind} without a fault was not read")
    loaded = call.load(tally)
    faults.refuse([path.name])
    call.finish()
    return loaded
