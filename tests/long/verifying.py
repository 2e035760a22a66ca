"""`verify` of a book with very many sampled vines: its time beside that of reading the same rows by SQL, its memory."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.benchmarks.books import new_book, write_clusters
from tests.benchmarks.measuring import VINEBOOK, run

ROWS, SAMPLES, BLOCKS = 2_000_000, 4_000, 200
PLAIN = (
    "import sqlite3, sys\n"
    "rows = 0\n"
    "for table in ('sample', 'cluster_tally'):\n"
    "    for row in sqlite3.connect(sys.argv[1]).execute(f'SELECT * FROM {table} ORDER BY record'):\n"
    "        rows += 1\n"
    "print(rows)\n"
)


def measure(folder: Path, rows: int, samples: int, blocks: int) -> tuple[float, float, float]:
    """Verify a book of so many rows; give seconds of verify and of plain SQL, and verify's peak memory in MiB."""
    book = new_book(folder, f"rows-{rows}.db", blocks)
    tally = folder / f"clusters-{rows}.csv"
    write_clusters(tally, rows, samples, blocks)
    run([*VINEBOOK, "--book", book, "load", tally], folder)
    tally.unlink()
    plain = run(["-c", PLAIN, book], folder)
    assert plain.out.split() == [str(rows + samples)]
    ours = run([*VINEBOOK, "--book", book, "verify"], folder)
    assert f"{rows + samples + 3 * blocks + blocks + 1:,} rows" in ours.out, ours.out
    book.unlink()
    return ours.wall_s, plain.wall_s, ours.peak_mib


def main(scale: int) -> None:
    """Measure a quarter of the rows and all of them."""
    with tempfile.TemporaryDirectory() as folder:
        peaks = []
        for part in (4 * scale, scale):
            rows = ROWS // part
            ours, plain, peak = measure(Path(folder), rows, SAMPLES // part, max(1, BLOCKS // part))
            peaks.append(peak)
            print(f"verify of {rows:,} sampled vines: {ours:.1f} s, {peak:.0f} MiB at most")
            print(f"  reading the same rows by SQL: {plain:.1f} s; ratio {ours / plain:.1f}")
        print(f"  peak memory, all rows : a quarter of them = {peaks[1] / peaks[0]:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
