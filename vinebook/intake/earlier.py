"""Whether the bytes of a tally came in before, and whether their rows are still in force."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from vinebook.records.tables import ENTRY, READING, TABLES, TALLY

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True, slots=True)
class EarlierLoad:
    """One earlier load of the same bytes.

    Attributes
    ----------
    number : of its tally.
    words : name, time and who.
    struck_at : UTC time at which the last of its rows was struck; "" while a row is live.
    entry : the entry that did so, in words.
    """

    number: int
    words: str
    struck_at: str = ""
    entry: str = ""


def earlier_loads(connection: Connection, sha256: str, sheet: str = "") -> list[EarlierLoad]:
    """Give the earlier loads of a file with these bytes, oldest first.

    Parameters
    ----------
    connection : of the call.
    sha256 : of the bytes.
    sheet : of the workbook, or "".
    """
    rows = connection.execute(
        select(
            TALLY.c.number,
            TALLY.c.name,
            TALLY.c.kind,
            TALLY.c.at,
            TALLY.c.by,
            READING.c.first_record,
            READING.c.last_record,
        )
        .join(READING, READING.c.tally == TALLY.c.number)
        .where(TALLY.c.sha256 == sha256)
        .order_by(TALLY.c.number)
    ).all()
    loads = []
    for number, name, kind, at, by, first, last in rows:
        if sheet and not name.endswith(f":{sheet}"):
            continue
        words = f"as {name} on {at[:10]} at {at[11:16]} UTC by {by}"
        table = TABLES[kind]
        mine = table.c.record.between(first, last)
        live = select(table.c.record).where(mine, table.c.struck_at.is_(None)).limit(1)
        if connection.scalar(live) is not None:
            loads.append(EarlierLoad(number, words))
            continue
        struck_at = connection.scalar(select(func.max(table.c.struck_at)).where(mine)) or ""
        # No entry is written yet where this very call struck them.
        entry = connection.scalar(
            select(func.min(ENTRY.c.number)).where(
                ENTRY.c.at == struck_at, ENTRY.c.action.in_(("strike", "replace", "supersede"))
            )
        )
        loads.append(EarlierLoad(number, words, struck_at, f"entry {entry}"))
    return loads
