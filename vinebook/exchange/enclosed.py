"""The rows behind a report, as tables that go inside it."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from vinebook.kinds import KINDS
from vinebook.records.listing import listed_rows

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection

OWN_PLACES = ("vineyard", "consignee", "sample")
"""Kinds that are not of one block, or that only hold others together: their rows name them in full."""

LEADS_TO_A_BLOCK = ("block", "draw", "decision")
"""Fields by which a row belongs to a block, be it by way of another row."""


def rows_of_block(
    connection: Connection, block: str, *, kinds: tuple[str, ...] | None = None, units: str = "metric"
) -> Iterator[tuple[str, str]]:
    """Give, kind by kind, the live rows of a block as the text of a CSV file.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : code of the block.
    kinds : only these; None takes every kind that has a block.
    units : "metric" or "us".

    Yields
    ------
    name of the kind and text; a kind without rows is left out.
    """
    for name, kind in KINDS.items():
        is_of_blocks = kind.sampled or name in ("block", "load") or any(f.name in LEADS_TO_A_BLOCK for f in kind.fields)
        if name in OWN_PLACES or not is_of_blocks or (kinds is not None and name not in kinds):
            continue
        headings, rows = listed_rows(connection, name, block=block, season=None, struck=False, units=units)
        page = io.StringIO()
        writer = csv.writer(page, lineterminator="\n")
        writer.writerow(headings)
        start = page.tell()
        writer.writerows(["" if value is None else value for value in row] for row in rows)
        if page.tell() > start:
            yield name, page.getvalue()
