"""Printing: every report against WeasyPrint alone on its finished page, both from cold; all blocks over the cores."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from tests.benchmarks.measuring import TOP, VINEBOOK, by_turns, run

if TYPE_CHECKING:
    from pathlib import Path

    from tests.benchmarks.measuring import Results

TARGET = 1.3
FASTER = 1 / 1.7
"""Time on two workers to time on one: the target is 1.7 × as fast."""
WORKER_MIB = 320.0
CONSIGNEE = "Orvasket Cellars"
REPORTS = (
    ("history", "V2"),
    ("history", "V6"),
    ("statement", "--to", CONSIGNEE),
    ("trail", "V2"),
    ("overview",),
)
WRITE_PAGE = """
import sys
from pathlib import Path
from vinebook.pages import page_of
from vinebook.reports.wanted import Wanted
from vinebook.records.book import Book
from vinebook.reports.render import standalone_html
book, page, what, *rest = sys.argv[1:]
wanted = Wanted(what, to=rest[-1]) if what == "statement" else Wanted(what, tuple(rest))
with Book(book).reading() as connection:
    html = standalone_html(page_of(connection, wanted))
Path(page).write_text(html, encoding="utf-8")
"""
SET_PAGE = """
import sys
from vinebook.reports.fonts import use_only_our_faces
use_only_our_faces()
from weasyprint.__main__ import main
main(sys.argv[1:])
"""
"""`python -m weasyprint` with our faces alone, so that both set the same type."""
PRINT_MANY = """
import os, sys
import vinebook.printing as printing
from vinebook.reports.wanted import Wanted
from vinebook.records.book import Book

def main():
    book, workers, most = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    with Book(book).reading() as connection:
        from sqlalchemy import text
        codes = connection.execute(text("SELECT code FROM block WHERE struck_at IS NULL ORDER BY code")).scalars().all()
    wanted = [Wanted("history", (code,)) for code in codes[: most or None]]
    print(sum(len(made.pdf) for _, made in printing.make_reports(book, wanted, workers=workers)))

if __name__ == "__main__":
    main()
"""
MEMORY = """
import sys
from pathlib import Path
import vinebook.printing as printing
from vinebook.reports.wanted import Wanted
from vinebook.records.book import Book
book = Book(sys.argv[1])
for block in sys.argv[2:]:
    for what in ("history", "trail"):
        printing.make_report(book, Wanted(what, (block,)))
[line] = [line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")]
print(int(line.split()[1]) / 1024)
"""
"""What one worker does before another takes its place, and the largest memory that it ever held."""


def measure(results: Results, folder: Path) -> None:
    """Print every report, then all blocks on one worker and on two, then look at what a worker holds."""
    tallies = folder / "tallies"
    run(["-m", "demo.generate", tallies], TOP)
    book = folder / "demo.db"
    run([*VINEBOOK, "--book", book, "new"], folder)
    run([*VINEBOOK, "--book", book, "load", *sorted(path for path in tallies.rglob("*") if path.is_file())], folder)
    results.heading("report … : python -m weasyprint on the finished page")
    for words in REPORTS:
        name = "-".join(words[:1] + words[-1:])
        page, pdf, plain = (folder / f"{name}{ending}" for ending in (".html", ".pdf", "-plain.pdf"))
        run(["-c", WRITE_PAGE, book, page, *words], folder)
        pair = by_turns(
            partial(run, [*VINEBOOK, "--book", book, "report", *words, "-o", pdf], folder),
            partial(run, ["-c", SET_PAGE, page, plain], folder),
            min(results.times, 5),
        )
        assert pdf.read_bytes().startswith(b"%PDF")
        assert plain.read_bytes().startswith(b"%PDF")
        results.ratio(f"vinebook report {' '.join(words)}", pair, TARGET)
    many = folder / "many.py"
    many.write_text(PRINT_MANY, encoding="utf-8")
    most, turns = ("0", 2) if results.scale == 1 else ("4", 1)
    results.heading("histories of all blocks, of four at a part of the size: two workers : one")
    two, one = (partial(run, [many, book, workers, most], folder) for workers in ("2", "1"))
    results.ratio("blocks side by side", by_turns(two, one, turns), FASTER)
    results.heading("memory of one worker over many reports")
    printed = ("V2", "V3", "V4", "V6", "Z1", "Z3") * 2 if results.scale == 1 else ("V6", "Z3") * 2
    held = run(["-c", MEMORY, book, *printed], folder)
    results.limit(f"largest memory (VmHWM) after {2 * len(printed)} reports", float(held.out), WORKER_MIB, "MiB")
