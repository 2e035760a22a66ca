"""The journal: a chain of entries in which each holds the hash of the one before.

An entry's hash is SHA-256 over UTF-8 lines, each ended by LF: ``vinebook entry 1``, number, at, by,
db_user, action, subject, SHA-256 of body, previous hash.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, insert, select, text

from vinebook.errors import WordsError
from vinebook.records.tables import BOOK, ENTRY

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from sqlalchemy import Connection

HEAD_LINE = "vinebook entry 1"
NO_HASH = "0" * 64
FOLDED = ("amend", "strike", "supersede", "replace")
"""Actions that change records which came in before."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the journal; the fields are its columns."""

    number: int
    at: str
    by: str
    db_user: str
    action: str
    subject: str
    body: str
    previous_hash: str
    hash: str

    def worked_out_hash(self) -> str:
        """Give the hash that these fields have."""
        return entry_hash(
            self.number, self.at, self.by, self.db_user, self.action, self.subject, self.body, self.previous_hash
        )


def entry_hash(
    number: int, at: str, by: str, db_user: str, action: str, subject: str, body: str, previous_hash: str
) -> str:
    """Give the hash of an entry, in lower-case hexadecimal.

    Raises
    ------
    ValueError : a field holds a line break, which would let two entries have one hash.
    """
    body_hash = hashlib.sha256(body.encode()).hexdigest()
    lines = [HEAD_LINE, str(number), at, by, db_user, action, subject, body_hash, previous_hash]
    if any("\n" in line or "\r" in line for line in lines):
        msg = "no field of an entry may hold a line break"
        raise ValueError(msg)
    return hashlib.sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest()


def now() -> str:
    """Give the UTC time by this machine's clock, to the microsecond."""
    return dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def one_line(words: str) -> str:
    """Give words in one line, for a subject."""
    return " ".join(words.split())


def actor(by: str) -> str:
    """Give the name of who acts, checked.

    Raises
    ------
    WordsError : the name is empty or holds a line break.
    """
    if not by.strip() or not by.isprintable():
        raise WordsError("who acts has no usable name", "give one with --by, or set VINEBOOK_BY")
    return by.strip()


def newest(connection: Connection) -> Entry | None:
    """Give the newest entry; its hash is the book's seal. None in a book without entries."""
    row = connection.execute(select(ENTRY).order_by(ENTRY.c.number.desc()).limit(1)).first()
    return None if row is None else Entry(*row)


def append(
    connection: Connection, *, by: str, action: str, subject: str, body: Mapping[str, object], at: str | None = None
) -> Entry:
    """Write the next entry and give it; the caller holds the write lock.

    Parameters
    ----------
    connection : a writing connection.
    by : who acts.
    action : new, load, upgrade, …
    subject : what is acted on: permanent number and key.
    body : JSON values; numbers are integers or decimal strings.
    at : UTC time; now where None.
    """
    last = newest(connection)
    number = 1 if last is None else last.number + 1
    previous = NO_HASH if last is None else last.hash
    words = json.dumps(body, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    fields = (number, at or now(), by, db_user(connection), action, one_line(subject), words, previous)
    entry = Entry(*fields, hash=entry_hash(*fields))
    connection.execute(insert(ENTRY).values({column: getattr(entry, column) for column in Entry.__dataclass_fields__}))
    return entry


def db_user(connection: Connection) -> str:
    """Give the database's own word for who writes; SQLite knows none."""
    if connection.dialect.name == "sqlite":
        return "sqlite"
    # A login whose name holds a line break is refused by the guard of the journal.
    return " ".join(str(connection.scalar(text("SELECT session_user"))).splitlines())


def entries(connection: Connection) -> Iterator[Entry]:
    """Give every entry in order, streamed."""
    for row in connection.execute(select(ENTRY).order_by(ENTRY.c.number), execution_options={"yield_per": 1000}):
        yield Entry(*row)


@dataclass(slots=True)
class Counters:
    """The counters of permanent numbers, held while the book is locked for writing."""

    next_record: int
    next_tally: int

    def take_records(self, count: int) -> int:
        """Give the first of `count` new permanent numbers."""
        first = self.next_record
        self.next_record += count
        return first

    def take_tally(self) -> int:
        """Give a new number of a kept file."""
        self.next_tally += 1
        return self.next_tally - 1


def lock_counters(connection: Connection) -> Counters:
    """Lock the book's one row and give its counters, so that writers follow one another."""
    row = connection.execute(select(BOOK.c.next_record, BOOK.c.next_tally).with_for_update()).one()
    return Counters(*row)


def store_counters(connection: Connection, counters: Counters) -> None:
    """Write the counters back."""
    connection.execute(BOOK.update().values(next_record=counters.next_record, next_tally=counters.next_tally))


def count_entries(connection: Connection) -> int:
    """Give the number of entries."""
    return int(connection.scalar(select(func.count()).select_from(ENTRY)) or 0)
