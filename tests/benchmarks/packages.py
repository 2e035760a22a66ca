"""`export` against plain SQL and csv, `import` against `load` of the same rows; memory with fewer rows and with all."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.books import new_book, write_clusters
from tests.benchmarks.loading import BLOCKS, FLAT, ROWS, SAMPLES, stored
from tests.benchmarks.measuring import VINEBOOK, Run, by_turns, run

if TYPE_CHECKING:
    from tests.benchmarks.measuring import Results

PARTS = (4, 2)
TURNS = 3
EXPORT_TARGET, IMPORT_TARGET = 2, 1.5
PLAIN = Path(__file__).parent / "plain_export.py"


def measure(results: Results, folder: Path) -> None:
    """Load a tally, write the book out and bring it back, by turns with the plain way of each."""
    rows, samples = ROWS // results.scale, SAMPLES // results.scale
    blocks = max(1, min(BLOCKS, samples // 2))
    results.heading(f"export and import of a book with {rows:,} cluster-tally rows in {samples:,} samples")
    empty, book = new_book(folder, "empty.db", blocks), folder / "loaded.db"
    tally, package, plain, again = (folder / name for name in ("tally.csv", "package", "plain", "again.db"))
    expected = (rows, samples, write_clusters(tally, rows, samples, blocks))

    def load() -> Run:
        _remove(book)
        shutil.copyfile(empty, book)
        return run([*VINEBOOK, "--book", book, "load", "--kind", "cluster_tally", tally], folder)

    def export() -> Run:
        _remove(package)
        return run([*VINEBOOK, "--book", book, "--quiet", "export", package], folder)

    def plainly() -> Run:
        _remove(plain)
        return run([PLAIN, book, plain], folder)

    def bring_back() -> Run:
        _remove(again)
        done = run([*VINEBOOK, "--book", again, "--format", "json", "import", package], folder)
        assert stored(again) == expected
        return done

    load()
    pair = by_turns(export, plainly, min(TURNS, results.times))
    _assert_same(package, plain, rows)
    results.ratio("export : plain SQL and csv", pair, EXPORT_TARGET)
    back = by_turns(bring_back, load, min(TURNS, results.times))
    assert stored(book) == expected
    # A book that was loaded anew has a journal of its own; what is compared is what it holds.
    assert json.loads(back.ours.out)["rows"] == rows + samples + 1 + 4 * blocks
    results.ratio("import : load of the same rows", back, IMPORT_TARGET)
    peaks: list[tuple[float, float]] = []
    for part in PARTS:
        expected = (rows // part, samples // part, write_clusters(tally, rows // part, samples // part, blocks))
        load()
        peaks.append((export().peak_mib, bring_back().peak_mib))
        out, into = peaks[-1]
        results.say(f"peak memory, {rows // part:,} rows", f"export {out:.0f} MiB, import {into:.0f} MiB")
    out, into = pair.ours.peak_mib, back.ours.peak_mib
    results.say(f"peak memory, {rows:,} rows", f"export {out:.0f} MiB, import {into:.0f} MiB")
    results.limit(f"peak memory of export, all rows : 1/{PARTS[0]} of them", out / peaks[0][0], FLAT, "")
    results.limit(f"peak memory of import, all rows : 1/{PARTS[0]} of them", into / peaks[0][1], FLAT, "")


def _assert_same(package: Path, plain: Path, rows: int) -> None:
    """Hold both ways to the same rows of the tally."""
    with (
        (package / "data" / "cluster_tally.csv").open(newline="") as ours,
        (plain / "cluster_tally.csv").open() as theirs,
    ):
        counted = 0
        for one, other in zip(csv.reader(ours), csv.reader(theirs), strict=True):
            assert one == other
            counted += 1
    assert counted == rows + 1


def _remove(place: Path) -> None:
    if place.is_dir():
        shutil.rmtree(place)
    for path in (place, *(place.with_name(place.name + ending) for ending in ("-wal", "-shm"))):
        path.unlink(missing_ok=True)
