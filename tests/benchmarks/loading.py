"""`load` of a large cluster tally against Python's csv and executemany into the same tables."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.books import new_book, write_clusters
from tests.benchmarks.measuring import VINEBOOK, Run, by_turns, run

if TYPE_CHECKING:
    from tests.benchmarks.measuring import Results

ROWS, SAMPLES, BLOCKS = 1_000_000, 2_000, 100
PARTS = (4, 2)
"""Memory is looked at with a quarter and a half of the rows too."""
TURNS = 3
TARGET, MOST_MIB = 2.5, 200
FLAT = 1.05
PLAIN = Path(__file__).parent / "plain_load.py"


def stored(book: Path) -> tuple[int, int, int]:
    """Give rows, samples and sum of clusters that a book holds, after a look at its soundness."""
    with closing(sqlite3.connect(book)) as raw:
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
        rows, total = raw.execute("SELECT count(*), sum(clusters) FROM cluster_tally").fetchone()
        samples = raw.execute("SELECT count(*) FROM sample").fetchone()[0]
    return int(rows), int(samples), int(total)


def measure(results: Results, folder: Path) -> None:
    """Load the same tally both ways by turns."""
    rows, samples = ROWS // results.scale, SAMPLES // results.scale
    blocks = max(1, min(BLOCKS, samples // 2))
    results.heading(f"load of {rows:,} cluster-tally rows in {samples:,} samples : csv + executemany")
    empty = new_book(folder, "empty.db", blocks)
    tally = folder / "cluster_tally.csv"
    expected = (rows, samples, write_clusters(tally, rows, samples, blocks))
    book = folder / "loaded.db"

    def ours() -> Run:
        _copy(empty, book)
        done = run([*VINEBOOK, "--book", book, "load", tally], folder)
        assert stored(book) == expected
        return done

    def theirs() -> Run:
        _copy(empty, book)
        done = run([PLAIN, book, tally], folder)
        assert stored(book) == expected
        assert done.out.split() == [str(rows), str(samples)]
        return done

    pair = by_turns(ours, theirs, min(TURNS, results.times))
    results.ratio("load", pair, TARGET)
    peaks = []
    for part in PARTS:
        fewer = folder / "fewer.csv"
        total = write_clusters(fewer, rows // part, samples // part, blocks)
        _copy(empty, book)
        done = run([*VINEBOOK, "--book", book, "load", fewer], folder)
        assert stored(book) == (rows // part, samples // part, total)
        peaks.append(done.peak_mib)
        results.say(f"peak memory, {rows // part:,} rows", f"{done.peak_mib:.0f} MiB")
    results.limit(f"peak memory, {rows:,} rows", pair.ours.peak_mib, MOST_MIB, "MiB")
    results.limit(f"peak memory, all rows : 1/{PARTS[0]} of them", pair.ours.peak_mib / peaks[0], FLAT, "")


def _copy(empty: Path, book: Path) -> None:
    for ending in ("-wal", "-shm"):
        book.with_name(book.name + ending).unlink(missing_ok=True)
    shutil.copyfile(empty, book)
