"""What guards and frames the evidence: triggers, counters, and rows or bytes that belong to no load."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, or_, select, text

from vinebook.kinds import KINDS
from vinebook.records.guards import postgresql_guards, sqlite_guards
from vinebook.records.tables import BOOK, READING, READING_BYTES, TABLES, TALLY, TALLY_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from sqlalchemy import Connection

    from vinebook.records.journal import Entry

NAMED = 10
"""How many stray rows of a table are named by number."""
_TRIGGERS = """
SELECT t.tgname, c.relname, p.proname, t.tgenabled, p.proconfig, p.prosecdef, p.prosrc FROM pg_trigger t
JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid
WHERE NOT t.tgisinternal AND c.relnamespace = (SELECT relnamespace FROM pg_class WHERE oid = 'entry'::regclass)
"""


class Schemas:
    """Which schema the journal says that the book is of, entry by entry."""

    def __init__(self, differ: Callable[[str], None]) -> None:
        """Take what is told each difference."""
        self._differ = differ
        self._schema = ""

    def meet(self, entry: Entry) -> None:
        """Take in the next entry that makes or upgrades the book.

        Raises
        ------
        ValueError, KeyError, TypeError : its words cannot be read.
        """
        body = json.loads(entry.body)
        if entry.action == "new":
            self._schema = str(body["schema"])
            if entry.number != 1:
                self._differ(f"entry {entry.number} says that the book was made, as entry 1 does")
            return
        if self._schema and body["from"] != self._schema:
            self._differ(
                f"entry {entry.number} brings the book from schema {body['from']}, and it was of schema {self._schema}"
            )
        self._schema = str(body["to"])

    def end(self, schema: str) -> None:
        """Compare what the journal came to with the schema that the book has."""
        if self._schema and self._schema != schema:
            self._differ(f"the journal brings the book to schema {self._schema}, and it is of schema {schema}")


def check_guards(connection: Connection, differ: Callable[[str], None]) -> None:
    """Name every trigger that the book should have and lacks, has otherwise, or should not have."""
    if connection.dialect.name == "sqlite":
        rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
        _compare({name: words for name, words in rows}, sqlite_guards(), differ)  # noqa: C416 - a row is no pair to mypy
        return
    guards = postgresql_guards()
    found, wanted = {}, {}
    for name, table, function, enabled, settings, is_definer, source in connection.execute(text(_TRIGGERS)):
        state = str(enabled).replace("b", "").strip("'")
        found[name] = f"{table} {function} {state} {settings} {is_definer} {source}"
    for name, statements in guards.items():
        runs = re.search(r' ON "?(\w+)"? .*EXECUTE FUNCTION (\w+)', statements[0])
        if runs is not None:
            head, source, _ = guards[runs[2]][0].split("$$")
            settings = [words.replace(" = ", "=") for words in re.findall(r"SET (.*) AS", head)]
            state = "A" if len(statements) > 1 else "O"
            wanted[name] = f"{runs[1]} {runs[2]} {state} {settings} False {source}"
    _compare(found, wanted, differ)


def _compare(found: Mapping[str, str], wanted: Mapping[str, str], differ: Callable[[str], None]) -> None:
    missing = [name for name in wanted if name not in found]
    if len(missing) > NAMED:
        # Where somebody took all guards away, what was changed behind them is the news.
        differ(f"{len(missing)} triggers of {len(wanted)} are missing: {', '.join(missing[:NAMED])} …")
        missing = []
    for name in missing:
        differ(f"trigger {name} is missing")
    for name, words in wanted.items():
        if name in found and found[name] != words:
            differ(f"trigger {name} was changed or switched off")
    for name in found:
        if name not in wanted:
            differ(f"trigger {name} is none of the book's")


def check_file(connection: Connection, differ: Callable[[str], None]) -> None:
    """Let SQLite check that its pages and indexes hold together; a server looks after its own."""
    if connection.dialect.name == "sqlite":
        for words in connection.execute(text(f"PRAGMA integrity_check({NAMED})")).scalars():
            if words != "ok":
                differ(f"the book's file is damaged: {words}")


def check_counters(connection: Connection, made_at: str, differ: Callable[[str], None]) -> None:
    """Compare the book's one row with the journal's first entry and with the numbers in use."""
    query = select(BOOK.c.made_at, BOOK.c.next_record, BOOK.c.next_tally, BOOK.c.one).order_by(BOOK.c.one)
    rows = connection.execute(query).all()
    if not rows:
        differ("table book has lost its one row")
        return
    if len(rows) > 1:
        differ(f"table book holds {len(rows)} rows, a book is one")
    found = rows[0]
    if found[0] != made_at:
        differ(f"table book: made_at is {found[0]}, entry 1 says {made_at or 'nothing'}")
    if found[3] != 1:
        differ(f"table book: one is {found[3]}, a book is one")
    used = {
        "next_record": connection.scalar(select(func.max(READING.c.last_record))) or 0,
        "next_tally": connection.scalar(select(func.max(TALLY.c.number))) or 0,
    }
    for (name, last), held in zip(used.items(), found[1:3], strict=True):
        if held <= last:
            differ(f"table book counts permanent numbers below those in use: {name} is {held}, {last} is in use")
        elif held != last + 1:
            differ(f"table book: {name} is {held}, and {last} is the last in use")


def check_strays(connection: Connection, seen: Mapping[str, int], differ: Callable[[str], None]) -> None:
    """Name readings, kept bytes and rows that no load brought.

    Parameters
    ----------
    connection : a reading connection.
    seen : rows of each table that replays met.
    differ : takes each difference.
    """
    known = select(TALLY.c.number)
    for number in connection.execute(select(READING.c.tally).where(READING.c.tally.not_in(known))).scalars():
        differ(f"table reading holds a row of tally {number}, which is not in the book")
    for table in (TALLY_BYTES, READING_BYTES):
        parts = select(table.c.tally, func.min(table.c.part), func.max(table.c.part), func.count())
        for tally, first, last, count in connection.execute(parts.group_by(table.c.tally).order_by(table.c.tally)):
            if first != 0 or last != count - 1:
                differ(f"table {table.name} holds parts of tally {tally} that are not numbered 0 to {count - 1}")
        for tally in connection.execute(select(table.c.tally).where(table.c.tally.not_in(known)).distinct()).scalars():
            differ(f"table {table.name} holds bytes of tally {tally}, which is not in the book")
    for kind, count in seen.items():
        held = connection.scalar(select(func.count()).select_from(TABLES[kind])) or 0
        if held > count:
            numbers = ", ".join(f"#{number}" for number in _strays(connection, kind))
            named = f": {numbers}" if numbers else "; their readings cannot be read to the end"
            differ(f"table {kind} holds {held - count} rows that no reading brought{named}")


def _strays(connection: Connection, kind: str) -> list[int]:
    table = TABLES[kind]
    brings = (
        TALLY.c.kind == kind
        if kind != "sample"
        else or_(*(TALLY.c.kind == name for name, of in KINDS.items() if of.sampled))
    )
    brought = (
        select(READING.c.tally)
        .join(TALLY, and_(TALLY.c.number == READING.c.tally, brings))
        .where(READING.c.first_record <= table.c.record, READING.c.last_record >= table.c.record)
        .exists()
    )
    stray = select(table.c.record).where(~brought).order_by(table.c.record).limit(NAMED)
    return list(connection.execute(stray).scalars())
