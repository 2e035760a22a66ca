"""`load` of a workbook of 100,000 rows against python-calamine reading it, and against the same rows as text."""

from __future__ import annotations

import shutil
from datetime import date
from typing import TYPE_CHECKING

from tests.benchmarks.books import FIRST_SEASON, code_of, new_book
from tests.benchmarks.loading import stored
from tests.benchmarks.measuring import VINEBOOK, Run, by_turns, run

if TYPE_CHECKING:
    from pathlib import Path

    from tests.benchmarks.measuring import Results

ROWS, SAMPLES, BLOCKS = 100_000, 200, 20
TURNS = 5
TARGET = 3.0
HEADINGS = ("block", "date", "thinning", "chosen", "counted_by", "row", "vine", "state", "clusters")
READ = (
    "import sys; from python_calamine import CalamineWorkbook; "
    "sheet = CalamineWorkbook.from_path(sys.argv[1]).get_sheet_by_index(0); "
    "print(sum(1 for row in sheet.iter_rows() if row[0]))"
)


def write_workbook(path: Path, rows: int, samples: int, blocks: int) -> int:
    """Write a workbook of cluster tallies, dates as spreadsheet programs keep them; give the sum of clusters."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    sheet = book.create_sheet("cluster_tally")
    sheet.append(HEADINGS)
    total = 0
    for at in range(rows):
        sample, within = divmod(at, rows // samples)
        day = WriteOnlyCell(sheet, date(FIRST_SEASON + sample // blocks, 7, 3))
        day.number_format = "yyyy-mm-dd"
        clusters = at % 60
        total += clusters
        given = ("before", "random", "KL", within // 50 + 1, within % 50 + 1, "bearing", clusters)
        sheet.append([code_of(sample % blocks), day, *given])
    book.save(path)
    return total


def measure(results: Results, folder: Path) -> None:
    """Load and read the same workbook by turns."""
    rows, samples = ROWS // results.scale, max(1, SAMPLES // results.scale)
    blocks = min(BLOCKS, samples)
    results.heading(f"load of a workbook of {rows:,} rows : python-calamine reading it")
    empty = new_book(folder, "empty.db", blocks)
    path = folder / "cluster_tally.xlsx"
    rows = rows // samples * samples
    expected = (rows, samples, write_workbook(path, rows, samples, blocks))
    book = folder / "loaded.db"

    def ours() -> Run:
        for ending in ("-wal", "-shm"):
            book.with_name(book.name + ending).unlink(missing_ok=True)
        shutil.copyfile(empty, book)
        done = run([*VINEBOOK, "--book", book, "load", path], folder)
        assert stored(book) == expected
        return done

    def theirs() -> Run:
        done = run(["-c", READ, path], folder)
        assert done.out.split() == [str(rows + 1)]
        return done

    pair = by_turns(ours, theirs, min(TURNS, results.times))
    results.ratio("load of a workbook", pair, TARGET)
    # python-calamine holds a sheet whole, and gives no way to read it row by row.
    results.say("peak memory of the load", f"{pair.ours.peak_mib:.0f} MiB")
    results.say("peak memory of python-calamine alone", f"{pair.theirs.peak_mib:.0f} MiB")
