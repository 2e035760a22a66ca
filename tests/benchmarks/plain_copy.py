"""What a load on PostgreSQL is measured against: Python's csv and COPY into the same tables, and nothing else.

Called as ``plain_copy.py URL TALLY``; prints rows and samples. Like ``plain_load.py``: only counts become numbers,
there is no validation, no finding, no kept file, no reading and no journal.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import psycopg

if TYPE_CHECKING:
    from collections.abc import Iterator

TALLY = 1_000
FIRST_RECORD = 100_000
COPY_SAMPLE = (
    "COPY sample (record, counts, block, season, date, part, thinning, chosen, counted_by, tally, line) FROM STDIN"
)
COPY_CLUSTER_TALLY = 'COPY cluster_tally (record, sample, "row", vine, state, clusters, tally, line) FROM STDIN'


def main(url: str, path: Path) -> None:
    """Load a cluster tally in one transaction, its rows held in memory until their samples stand."""
    with psycopg.connect(url) as raw:
        raw.execute(
            'INSERT INTO tally (number, name, kind, source, size, sha256, at, "by")'
            " VALUES (%s, %s, 'cluster_tally', 'file', %s, '', '', 'KL')",
            (TALLY, path.name, path.stat().st_size),
        )
        blocks: dict[str, int] = dict(raw.execute("SELECT code, record FROM block").fetchall())
        samples: dict[tuple[str, ...], tuple[object, ...]] = {}
        rows = list(rows_of(path, blocks, samples))
        with raw.cursor() as cursor:
            with cursor.copy(COPY_SAMPLE) as copy:
                for sample in samples.values():
                    copy.write_row(sample)
            with cursor.copy(COPY_CLUSTER_TALLY) as copy:
                for row in rows:
                    copy.write_row(row)
    print(len(rows), len(samples))


def rows_of(
    path: Path, blocks: dict[str, int], samples: dict[tuple[str, ...], tuple[object, ...]]
) -> Iterator[tuple[object, ...]]:
    """Give the rows to be stored; a sample is noted when it is first met."""
    with path.open(newline="") as stream:
        reader = csv.reader(stream)
        next(reader)
        record = FIRST_RECORD
        for line, (block, date, thinning, chosen, counted_by, row, vine, state, clusters) in enumerate(reader, 2):
            key = (block, date, thinning, chosen, counted_by)
            sample = samples.get(key)
            if sample is None:
                number, season = len(samples) + TALLY, int(date[:4])
                sample = samples[key] = (
                    *(number, "cluster_tally", blocks[block], season, date, "all"),
                    *(thinning, chosen, counted_by, TALLY, line),
                )
            counted = int(clusters) if clusters else None
            yield record, sample[0], int(row), int(vine), state, counted, TALLY, line
            record += 1


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
