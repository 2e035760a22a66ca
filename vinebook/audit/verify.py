"""Whether journal, kept files, readings and tables agree: the chain is worked out anew, readings are replayed."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.audit.changes import Changes
from vinebook.audit.evidence import Schemas, check_counters, check_file, check_guards, check_strays
from vinebook.audit.replay import Replay
from vinebook.errors import WordsError
from vinebook.kinds import KINDS
from vinebook.records import journal
from vinebook.records.readings import kept_bytes
from vinebook.records.schema import schema_of
from vinebook.records.tables import READING, READING_BYTES, TALLY, TALLY_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy import Connection, Table

    from vinebook.records.book import Book

TOLD = 100
TALLY_FACTS = (
    "kind",
    "name",
    "source",
    "size",
    "sha256",
    "reader",
    "reading_sha256",
    "rows",
    "samples",
    "first_record",
    "last_record",
    "at",
    "by",
)
"""What the entry of a load says of its tally."""


@dataclass(slots=True)
class VerifyReport:
    """What was checked, and every difference that was found.

    Attributes
    ----------
    entries, tallies, rows : how many of each were checked.
    seal : newest hash of the journal.
    made_at : UTC time of the first entry.
    differences : what does not agree, in words; `beyond` more were counted.
    notes : what is worth knowing and is no difference.
    sealed : where a seal was asked for and found: what it says of the book.
    """

    entries: int = 0
    tallies: int = 0
    rows: int = 0
    seal: str = ""
    made_at: str = ""
    differences: list[str] = field(default_factory=list)
    beyond: int = 0
    notes: list[str] = field(default_factory=list)
    sealed: str = ""

    def differ(self, words: str) -> None:
        """Add a difference."""
        if len(self.differences) < TOLD:
            self.differences.append(words)
        else:
            self.beyond += 1


def verify_book(
    book: Book, *, seal: str | None = None, progress: Callable[[str], None] | None = None, is_new: bool = False
) -> VerifyReport:
    """Check a book from one snapshot; memory stays flat.

    Without a seal kept elsewhere, a journal whose newest entries were cut off, or that was written anew from
    its beginning, cannot be told from a true one; the report says so.

    Parameters
    ----------
    book : an open book.
    seal : a seal that was kept elsewhere, on a PDF say: whether the book that printed it is where this one began.
    progress : called with what is being checked.
    is_new : the book is being written by this very step: there are no pages of a file to look at yet.

    Raises
    ------
    WordsError : the seal is none.
    """
    report = VerifyReport()
    asked = None if seal is None else Sealed(seal)
    tell = progress or (lambda _: None)
    with book.reading() as connection:
        tell("journal")
        changes = Changes()
        loads = _check_chain(connection, report, changes, asked)
        check_guards(connection, report.differ)
        check_counters(connection, report.made_at, report.differ)
        seen: dict[str, int] = dict.fromkeys(KINDS, 0)
        tallies = (
            connection.execute(
                select(
                    TALLY,
                    READING.c.reader,
                    READING.c.sha256.label("reading_sha256"),
                    READING.c.rows,
                    READING.c.samples,
                    READING.c.first_record,
                    READING.c.last_record,
                )
                .outerjoin(READING, READING.c.tally == TALLY.c.number)
                .order_by(TALLY.c.number)
            )
            .mappings()
            .all()
        )
        for tally in tallies:
            tell(f"{tally['name']}")
            _check_tally(connection, report, dict(tally), loads.pop(tally["number"], None), changes, seen)
            report.tallies += 1
        for record, entry_number in changes.unmet.items():
            report.differ(f"entry {entry_number} is about #{record}, which no reading brought")
        for number in changes.replaced.keys() - {tally["number"] for tally in tallies}:
            report.differ(f"entry {changes.replaced[number][0]} replaces tally {number}, which is not in the book")
        for number, (entry, body) in loads.items():
            report.differ(f"entry {entry} brought tally {number} ({body.get('name')}), which is not in the book")
        check_strays(connection, seen, report.differ)
        if not is_new:
            tell("the file itself")
            check_file(connection, report.differ)
    if asked is not None:
        report.sealed = asked.words
        if not report.sealed:
            report.differ(
                f"no entry of this book has the seal {asked.seal}: the book that printed it is not where this one began"
            )
        return report
    report.notes.append(
        "a journal cut at its end, or written anew throughout, shows only against a seal kept elsewhere"
    )
    return report


def _check_chain(
    connection: Connection, report: VerifyReport, changes: Changes, asked: Sealed | None
) -> dict[int, tuple[int, dict[str, Any]]]:
    """Work out every hash anew and fold what happened; give the bodies of loads by the number of their tally."""
    loads: dict[int, tuple[int, dict[str, Any]]] = {}
    expected, previous, at = 1, journal.NO_HASH, ""
    schemas = Schemas(report.differ)
    for entry in journal.entries(connection):
        if entry.number != expected:
            report.differ(f"entry {expected} is missing: entry {entry.number} follows entry {expected - 1}")
            expected = entry.number
        if entry.previous_hash != previous:
            report.differ(f"entry {entry.number} does not hold the hash of the entry before it")
        if _hash_of(entry) != entry.hash:
            report.differ(
                f"entry {entry.number} ({entry.action}, {entry.at}) was rewritten: its hash does not fit its words"
            )
        if entry.at < at:
            report.notes.append(f"the clock stood back at entry {entry.number}: {entry.at} follows {at}")
        if asked is not None:
            asked.meet(entry)
        _fold(entry, report, changes, loads, schemas)
        expected, previous, at = expected + 1, entry.hash, entry.at
        report.entries += 1
        report.made_at = report.made_at or entry.at
    schemas.end(schema_of(connection) or "")
    report.seal = previous
    if not report.entries:
        report.differ("the journal is empty: entry 1 is missing")
    return loads


def _hash_of(entry: journal.Entry) -> str:
    try:
        return entry.worked_out_hash()
    except ValueError:
        return ""


def _fold(
    entry: journal.Entry,
    report: VerifyReport,
    changes: Changes,
    loads: dict[int, tuple[int, dict[str, Any]]],
    schemas: Schemas,
) -> None:
    """Take in what an entry says was made, loaded or corrected."""
    try:
        if entry.action == "load":
            number = int(entry.subject.split(" ")[1])
            if number in loads:
                report.differ(f"entry {entry.number} brings tally {number}, which entry {loads[number][0]} brought")
            loads[number] = entry.number, {**json.loads(entry.body), "at": entry.at, "by": entry.by}
        elif entry.action in journal.FOLDED:
            changes.fold(entry)
        elif entry.action in ("new", "upgrade"):
            schemas.meet(entry)
        else:
            report.differ(f"entry {entry.number} is a {entry.action}, which this program never writes")
    except (ValueError, KeyError, IndexError, TypeError, AttributeError):
        report.differ(f"entry {entry.number} is a {entry.action} whose words cannot be read or do not follow")


class Sealed:
    """A seal that was kept elsewhere, looked for in the journal.

    Attributes
    ----------
    seal : 64 hexadecimal digits.
    """

    def __init__(self, seal: str) -> None:
        """Take a seal as it was printed, in groups or in one.

        Raises
        ------
        WordsError : it is not 64 hexadecimal digits.
        """
        self.seal = "".join(seal.split()).lower()
        if not re.fullmatch(r"[0-9a-f]{64}", self.seal):
            raise WordsError(f"{seal!r} is not a seal", "64 hexadecimal digits, as a PDF's last page prints them")
        self._found: journal.Entry | None = None
        self._after: Counter[str] = Counter()

    def meet(self, entry: journal.Entry) -> None:
        """Take in the next entry."""
        if self._found is not None:
            self._after[entry.action] += 1
        elif entry.hash == self.seal:
            self._found = entry

    @property
    def words(self) -> str:
        """What was found, or ""."""
        if self._found is None:
            return ""
        after = ", ".join(f"{count} {action}" for action, count in sorted(self._after.items()))
        count = self._after.total()
        entries = "1 entry" if count == 1 else f"{count} entries"
        later = f"{entries} came after it ({after})" if after else "nothing came after it"
        return f"the seal is entry {self._found.number} of this book, {self._found.at}; {later}"


def _check_tally(
    connection: Connection,
    report: VerifyReport,
    tally: dict[str, Any],
    load: tuple[int, dict[str, Any]] | None,
    changes: Changes,
    seen: dict[str, int],
) -> None:
    name = f"tally {tally['number']} ({tally['name']})"
    if load is None:
        report.differ(f"{name} has no entry in the journal")
    else:
        entry, body = load
        for key in TALLY_FACTS:
            if body.get(key) != tally[key]:
                report.differ(f"{name}: {key} is {tally[key]!r}, entry {entry} says {body.get(key)!r}")
        # What the journal says is the measure; the tables are what is measured.
        tally |= {key: body[key] for key in TALLY_FACTS if isinstance(body.get(key), (int, str))}
    # The bytes of a workbook are kept once, under the tally of one of its sheets, which the journal names.
    kept_in = load[1].get("kept_in", tally["number"]) if load is not None else tally["number"]
    if _sha256(connection, TALLY_BYTES, kept_in if isinstance(kept_in, int) else 0) != tally["sha256"]:
        report.differ(f"{name}: the bytes of the kept file changed")
    if kept_in != tally["number"] and next(kept_bytes(connection, TALLY_BYTES, tally["number"]), None) is not None:
        report.differ(f"{name}: bytes are kept here that the journal says are kept in tally {kept_in}")
    if _sha256(connection, READING_BYTES, tally["number"]) != tally["reading_sha256"]:
        report.differ(f"{name}: the bytes of the reading changed")
    if tally["kind"] not in KINDS:
        report.differ(f"{name} is of no kind that this program knows")
    elif tally["first_record"] is not None:
        replay = Replay(connection, tally, name, changes, report.differ)
        report.rows += replay.run(kept_bytes(connection, READING_BYTES, tally["number"]))
        for table, count in replay.seen.items():
            seen[table] += count


def _sha256(connection: Connection, table: Table, tally: int) -> str:
    digest = hashlib.sha256()
    for part in kept_bytes(connection, table, tally):
        digest.update(part)
    return digest.hexdigest()
