"""Start-up: help against `import click`, reading commands against a bare query of the same file."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.books import code_of, new_book, write_clusters
from tests.benchmarks.measuring import VINEBOOK, by_turns, run

if TYPE_CHECKING:
    from tests.benchmarks.measuring import Results

BLOCKS, SEASONS, VINES = 20, 10, 30
HELP_TARGET, QUERY_TARGET = 1.5, 2
PLAIN = Path(__file__).parent / "plain_query.py"


def measure(results: Results, folder: Path) -> None:
    """Run commands that a person waits for."""
    results.heading("help : python -c 'import click'")
    for option in ("--help", "--version"):
        pair = by_turns(
            partial(run, [*VINEBOOK, option], folder),
            partial(run, ["-c", "import click"], folder),
            results.times,
        )
        assert "vinebook" in pair.ours.out
        results.ratio(f"vinebook {option}", pair, HELP_TARGET)

    book = new_book(folder, "book.db", BLOCKS)
    samples = BLOCKS * SEASONS
    tally = folder / "cluster_tally.csv"
    write_clusters(tally, samples * VINES, samples, BLOCKS)
    run([*VINEBOOK, "--book", book, "load", tally], folder)
    results.heading(f"reading a book of {BLOCKS} blocks × {SEASONS} seasons : click + SQLAlchemy Core, one query")
    code = code_of(0)
    for words, plain in (("list", "block"), []), (("figures", code), ["--block", code]):
        pair = by_turns(
            partial(run, [*VINEBOOK, "--book", book, *words], folder),
            partial(run, [PLAIN, book, *plain], folder),
            results.times,
        )
        assert len(pair.theirs.out.splitlines()) == (SEASONS if plain else BLOCKS)
        assert code in pair.ours.out
        results.ratio(f"vinebook {' '.join(words)}", pair, QUERY_TARGET)
    _same_answers(book, folder, code)


def _same_answers(book: Path, folder: Path, code: str) -> None:
    """Assert that both ways speak of the same rows."""
    listed = json.loads(run([*VINEBOOK, "--book", book, "--format", "json", "list", "block"], folder).out)
    assert [row["code"] for row in listed] == [code_of(block) for block in range(BLOCKS)]
    figures = json.loads(run([*VINEBOOK, "--book", book, "--format", "json", "figures", code], folder).out)["figures"]
    vines = sum(figure["n"] for figure in figures if figure["figure"] == "clusters_per_vine")
    plain = [line.split() for line in run([PLAIN, book, "--block", code], folder).out.splitlines()]
    assert 0 < vines <= sum(int(rows) for _, rows, _ in plain)
