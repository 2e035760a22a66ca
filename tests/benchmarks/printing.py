"""Printing: a block's history, the whole command, against WeasyPrint alone on the finished page, both from cold."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from tests.benchmarks.measuring import TOP, VINEBOOK, by_turns, run

if TYPE_CHECKING:
    from pathlib import Path

    from tests.benchmarks.measuring import Results

TARGET = 1.3
BLOCKS = ("V2", "V6")
WRITE_PAGE = """
import sys
from pathlib import Path
from vinebook import api
from vinebook.reports.history import history_page
from vinebook.reports.render import standalone_html
page = history_page(api.history(api.open_book(sys.argv[1]), sys.argv[2]))
Path(sys.argv[3]).write_text(standalone_html(page), encoding="utf-8")
"""
SET_PAGE = """
import sys
from vinebook.reports.fonts import use_only_our_faces
use_only_our_faces()
from weasyprint.__main__ import main
main(sys.argv[1:])
"""
"""`python -m weasyprint` with our faces alone, so that both set the same type."""


def measure(results: Results, folder: Path) -> None:
    """Print the history of a block with much on it and of one with little."""
    tallies = folder / "tallies"
    run(["-m", "demo.generate", tallies], TOP)
    book = folder / "demo.db"
    run([*VINEBOOK, "--book", book, "new"], folder)
    run([*VINEBOOK, "--book", book, "load", *sorted(path for path in tallies.rglob("*") if path.is_file())], folder)
    results.heading("report history BLOCK : python -m weasyprint on the finished page")
    for block in BLOCKS:
        page, pdf, plain = (folder / f"{block}{ending}" for ending in (".html", ".pdf", "-plain.pdf"))
        run(["-c", WRITE_PAGE, book, block, page], folder)
        pair = by_turns(
            partial(run, [*VINEBOOK, "--book", book, "report", "history", block, "-o", pdf], folder),
            partial(run, ["-c", SET_PAGE, page, plain], folder),
            min(results.times, 5),
        )
        assert pdf.read_bytes().startswith(b"%PDF")
        assert plain.read_bytes().startswith(b"%PDF")
        results.ratio(f"vinebook report history {block}", pair, TARGET)
