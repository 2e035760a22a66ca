"""The reading of a tally: the accepted rows as stored, in file order, kept beside the file's bytes.

A reading is UTF-8 text with LF line ends. Line 1 is JSON: the number of the format, the kind, the number
of the reader, the columns of each table, and the units and hemisphere in force per vineyard. Every
further line is CSV: a letter for the table (s sample, r the kind's own), permanent number, line of the
file, and the stored values; an empty cell is a missing value, or an empty text where the column holds no
missing ones. `verify` replays readings; reading the bytes again with a newer reader is news, not damage.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from typing import TYPE_CHECKING, Any

from sqlalchemy import insert, select

from vinebook.records.tables import READING_BYTES, TALLY_BYTES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from sqlalchemy import Connection, Table

FORMAT = 1
READER = 1
"""Number of the reader; raised when the same bytes would be read otherwise."""
SAMPLE_MARK = "s"
ROW_MARK = "r"
CHUNK_BYTES = 1 << 20


class ByteKeeper:
    """Keeps bytes in parts of a mebibyte under a tally's number, and their SHA-256."""

    def __init__(self, connection: Connection, table: Table, tally: int) -> None:
        self._connection = connection
        self._table = table
        self._tally = tally
        self._part = 0
        self._held = bytearray()
        self._hash = hashlib.sha256()
        self.size = 0

    def add(self, data: bytes) -> None:
        """Keep some more bytes."""
        self._hash.update(data)
        self.size += len(data)
        self._held += data
        while len(self._held) >= CHUNK_BYTES:
            self._store(bytes(self._held[:CHUNK_BYTES]))
            del self._held[:CHUNK_BYTES]

    def close(self) -> str:
        """Keep what is left and give the SHA-256 of all, in hexadecimal."""
        if self._held or not self._part:
            self._store(bytes(self._held))
            self._held.clear()
        return self._hash.hexdigest()

    def _store(self, data: bytes) -> None:
        self._connection.execute(insert(self._table).values(tally=self._tally, part=self._part, bytes=data))
        self._part += 1


class ReadingWriter:
    """Writes a reading as rows are accepted."""

    def __init__(self, connection: Connection, tally: int, head: Mapping[str, object]) -> None:
        self._keeper = ByteKeeper(connection, READING_BYTES, tally)
        self._keeper.add(
            json.dumps({"reading": FORMAT, "reader": READER, **head}, ensure_ascii=False, sort_keys=True).encode()
            + b"\n"
        )

    def add(self, rows: Iterable[tuple[Any, ...]]) -> None:
        """Add rows: mark, permanent number, line, stored values."""
        page = io.StringIO()
        csv.writer(page, lineterminator="\n").writerows(rows)
        self._keeper.add(page.getvalue().encode())

    def close(self) -> str:
        """Give the SHA-256 of the reading."""
        return self._keeper.close()


def kept_bytes(connection: Connection, table: Table, tally: int) -> Iterator[bytes]:
    """Give the kept bytes of a tally part by part; memory stays flat."""
    part = 0
    while True:
        data = connection.scalar(select(table.c.bytes).where(table.c.tally == tally, table.c.part == part))
        if data is None:
            return
        yield bytes(data)
        part += 1


def kept_file(connection: Connection, tally: int) -> Iterator[bytes]:
    """Give the bytes of a kept file part by part; those of a workbook are kept once, under one of its sheets."""
    head = reading_head(connection, tally)
    kept_in = head.get("kept_in", tally)
    return kept_bytes(connection, TALLY_BYTES, kept_in if isinstance(kept_in, int) else tally)


def reading_head(connection: Connection, tally: int) -> dict[str, Any]:
    """Give the first line of a tally's reading; an empty one where it cannot be read."""
    try:
        head = json.loads(next(reading_lines(kept_bytes(connection, READING_BYTES, tally)), ""))
    except ValueError:
        return {}
    return head if isinstance(head, dict) else {}


def reading_lines(parts: Iterable[bytes]) -> Iterator[str]:
    """Give the lines of a reading without their ends."""
    rest = b""
    for part in parts:
        whole, end, rest = (rest + part).rpartition(b"\n")
        if not end:
            continue
        try:
            lines = whole.decode().split("\n")
        except UnicodeDecodeError:
            # The lines before the one that is no text are given first.
            yield from map(bytes.decode, whole.split(b"\n"))
        else:
            yield from lines
    if rest:
        yield rest.decode()


def stored_text(value: object) -> str:
    """Give a stored value as a reading holds it; "" is empty."""
    if value is None:
        return ""
    return repr(value) if isinstance(value, float) else str(value)
