"""The life of a record as the journal tells it: came in, was amended, struck, superseded."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.kinds import KINDS
from vinebook.records.journal import Entry
from vinebook.records.shown import told_change
from vinebook.records.tables import ENTRY

if TYPE_CHECKING:
    from sqlalchemy import Connection

TOUCHES = ("amend", "strike", "supersede", "replace")


def entries_on(connection: Connection, record: int) -> list[Entry]:
    """Give the entries whose subject is a record, oldest first."""
    rows = connection.execute(
        select(ENTRY).where(ENTRY.c.action.in_(TOUCHES), ENTRY.c.subject.like(f"#{record} %")).order_by(ENTRY.c.number)
    )
    return [Entry(*row) for row in rows]


def last_touched(connection: Connection, record: int) -> Entry | None:
    """Give the newest entry whose subject is a record, or None."""
    found = entries_on(connection, record)
    return found[-1] if found else None


def told_life(connection: Connection, record: int, tally: int, parent: int | None, struck_at: str | None) -> list[str]:
    """Give what happened to a record after it came in, a line each, oldest first.

    Parameters
    ----------
    connection : a reading connection.
    record : its permanent number.
    tally : number of the tally that brought it.
    parent : permanent number of its sample or load, if it has one.
    struck_at : UTC time at which it was struck, or None.
    """
    told = {entry.number: _told(entry) for entry in entries_on(connection, record)}
    if (origin := _superseding(connection, record)) is not None:
        body = json.loads(origin.body)
        told[origin.number] = (
            f"supersedes {body['key']} (#{body['record']}) since {origin.at} by {origin.by} "
            f"(entry {origin.number}); reason: {body['reason']}"
        )
    if parent is not None:
        for entry in _carried(connection, record, parent):
            told[entry.number] = f"carried over, as what it names was {_told(entry)}"
    if struck_at is not None and not any(words.startswith(("struck", "superseded")) for words in told.values()):
        with_it = [entry for entry in entries_on(connection, parent or 0) if entry.at == struck_at]
        told |= {entry.number: f"{_told(entry)} (with what it belongs to)" for entry in with_it}
        replaces = select(ENTRY).where(
            ENTRY.c.action == "replace", ENTRY.c.subject.like(f"tally {tally} %"), ENTRY.c.at == struck_at
        )
        told |= {row[0]: _told(Entry(*row)) for row in connection.execute(replaces)}
    return [told[number] for number in sorted(told)]


def _superseding(connection: Connection, record: int) -> Entry | None:
    """Give the entry by which a record superseded another, or None."""
    query = select(ENTRY).where(ENTRY.c.action == "supersede", ENTRY.c.body.like(f'%"new_record":{record},%'))
    for row in connection.execute(query):
        if json.loads(row.body)["new_record"] == record:
            return Entry(*row)
    return None


def _carried(connection: Connection, record: int, parent: int) -> list[Entry]:
    """Give the entries that carried a record over to the one it names now, newest first."""
    found: list[Entry] = []
    while True:
        # The words are sought first, so that few bodies are read.
        query = select(ENTRY).where(ENTRY.c.action == "supersede", ENTRY.c.body.like(f'%"new_record":{parent},%'))
        for row in connection.execute(query):
            body = json.loads(row.body)
            if body["new_record"] == parent and record in body["carried"].get("load_part", ()):
                found.append(Entry(*row))
                parent = body["record"]
                break
        else:
            return found


def _told(entry: Entry) -> str:
    body: dict[str, Any] = json.loads(entry.body)
    who = f"{entry.at} by {entry.by} (entry {entry.number})"
    reason = f"; reason: {body.get('reason', '')}"
    match entry.action:
        case "amend":
            of = KINDS[body["kind"]]
            changes = ", ".join(
                told_change(of, column, body["before"][column], after) for column, after in body["after"].items()
            )
            return f"amended {who}: {changes}{reason}"
        case "supersede":
            return f"superseded {who} by {body['new_key']} (#{body['new_record']}){reason}"
        case "replace":
            return f"struck {who}, as its file was replaced{reason}"
        case _:
            return f"struck {who}{reason}"
