"""What a load is measured against: Python's csv and executemany into the same tables, and nothing else.

Called as ``plain_load.py BOOK TALLY``; prints rows and samples. Only counts become numbers, samples are found in a
dict; there is no validation, no finding, no kept file, no reading and no journal.
"""

from __future__ import annotations

import csv
import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

TALLY = 1_000
FIRST_RECORD = 100_000
INTO_SAMPLE = (
    "INSERT INTO sample (record, counts, block, season, date, part, thinning, chosen, counted_by, tally, line)"
    " VALUES (?, 'cluster_tally', ?, ?, ?, 'all', ?, ?, ?, ?, ?)"
)
INTO_CLUSTER_TALLY = (
    'INSERT INTO cluster_tally (record, sample, "row", vine, state, clusters, tally, line)'
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
)


def rows_of(raw: sqlite3.Connection, path: Path, samples: dict[tuple[str, ...], int]) -> Iterator[tuple[object, ...]]:
    """Give the rows to be stored; a sample is stored when it is first met."""
    blocks = dict(raw.execute("SELECT code, record FROM block"))
    with path.open(newline="") as stream:
        reader = csv.reader(stream)
        next(reader)
        record = FIRST_RECORD
        for line, (block, date, thinning, chosen, counted_by, row, vine, state, clusters) in enumerate(reader, 2):
            key = (block, date, thinning, chosen, counted_by)
            sample = samples.get(key)
            if sample is None:
                sample = samples[key] = len(samples) + TALLY
                raw.execute(
                    INTO_SAMPLE,
                    (sample, blocks[block], int(date[:4]), date, thinning, chosen, counted_by, TALLY, line),
                )
            yield (
                record,
                sample,
                int(row),
                int(vine),
                state,
                int(clusters) if clusters else None,
                TALLY,
                line,
            )
            record += 1


def main(book: Path, path: Path) -> None:
    """Load a cluster tally in one transaction."""
    raw = sqlite3.connect(book, isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "recursive_triggers = ON"):
        raw.execute(f"PRAGMA {pragma}")
    raw.execute("BEGIN IMMEDIATE")
    raw.execute(
        'INSERT INTO tally (number, name, kind, source, size, sha256, at, "by")'
        " VALUES (?, ?, 'cluster_tally', 'file', ?, '', '', 'KL')",
        (TALLY, path.name, path.stat().st_size),
    )
    samples: dict[tuple[str, ...], int] = {}
    rows = raw.executemany(INTO_CLUSTER_TALLY, rows_of(raw, path, samples)).rowcount
    raw.execute("COMMIT")
    raw.close()
    print(rows, len(samples))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
