"""Figures of a large book against the bare SQL aggregates that they need, and of one block as the book grows."""

from __future__ import annotations

import json
import math
import statistics
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.benchmarks.books import code_of, new_book
from tests.benchmarks.measuring import VINEBOOK, Run, by_turns, run

if TYPE_CHECKING:
    from tests.benchmarks.measuring import Results

BLOCKS, SEASONS, VINES = 1_000, 20, 25
KINDS = 4
SIZES = (10, 100)
"""Blocks of the smaller books in which one block's figures are worked out."""
TURNS = 5
TARGET = 3
FLAT = 1.1
HERE = Path(__file__).parent
MILLI_KG_IN_T = 1_000_000


def measure(results: Results, folder: Path) -> None:
    """Work out a whole book, print it, and work out one block of books of growing size."""
    blocks = max(BLOCKS // results.scale, 4)
    results.heading(
        f"figures of {blocks:,} blocks × {SEASONS} seasons, {blocks * SEASONS * VINES * KINDS:,} sampled vines"
        " : bare SQL aggregates"
    )
    book, went_in = _filled(folder, blocks)

    def ours() -> Run:
        return _timed_inside(run([HERE / "arrays_of_seasons.py", book], folder))

    def theirs() -> Run:
        return _timed_inside(run([HERE / "plain_aggregates.py", book], folder))

    pair = by_turns(ours, theirs, min(TURNS, results.times))
    _assert_same(json.loads(pair.ours.out), json.loads(pair.theirs.out), went_in, blocks)
    results.ratio("arrays of figures and intervals", pair, TARGET)
    results.say("peak memory of the arrays", f"{pair.ours.peak_mib:.0f} MiB")
    printed = run([*VINEBOOK, "--book", book, "--format", "csv", "figures"], folder, count_lines=True)
    assert int(printed.out) > blocks * SEASONS
    results.say(f"the command, {int(printed.out) - 1:,} figures printed", f"{printed.wall_s:8.3f} s")
    results.say("peak memory of the command", f"{printed.peak_mib:.0f} MiB")
    _one_block(results, folder, {blocks: book})


def _filled(folder: Path, blocks: int) -> tuple[Path, dict[str, Any]]:
    book = new_book(folder, f"blocks_{blocks}.db", blocks)
    return book, json.loads(run([HERE / "fill_book.py", book, str(SEASONS), str(VINES)], folder).out)


def _timed_inside(done: Run) -> Run:
    told = json.loads(done.out)
    return replace(done, wall_s=told["wall_s"], cpu_s=told["cpu_s"])


def _assert_same(ours: dict[str, Any], theirs: dict[str, Any], went_in: dict[str, Any], blocks: int) -> None:
    """Hold both ways to what went in: the same vines, sums and tonnage."""
    cells = blocks * SEASONS
    assert theirs["rows"] == went_in["rows"]
    assert theirs["samples"] == cells * KINDS
    assert theirs["net_milli"] == went_in["net_milli"]
    for kind, total in theirs["sums"].items():
        assert total == went_in["sums"][kind]
    figures = ours["figures"]
    clusters, delivered = figures["clusters_per_vine"], figures["delivered"]
    assert (clusters["known"], clusters["with_interval"], clusters["n"]) == (cells, cells, cells * VINES)
    assert math.isclose(clusters["sum"] * VINES, went_in["sums"]["cluster_tally"], rel_tol=1e-9)
    assert delivered["known"] == cells
    assert math.isclose(delivered["sum"] * MILLI_KG_IN_T, went_in["net_milli"], rel_tol=1e-9)
    # The last season waits for the pruning after it.
    assert figures["yield_to_prunings"]["known"] == cells - blocks


def _one_block(results: Results, folder: Path, books: dict[int, Path]) -> None:
    """Work out one block in books of growing size, by turns."""
    results.heading(f"figures of one block × {SEASONS} seasons in books of growing size")
    sizes = sorted({size for size in SIZES if size < max(books)} | set(books))
    for size in sizes:
        if size not in books:
            books[size] = _filled(folder, size)[0]
    runs: dict[int, list[Run]] = {size: [] for size in sizes}
    code = code_of(sizes[0] // 2)
    for _ in range(results.times):
        for size in sizes:
            runs[size].append(_timed_inside(run([HERE / "arrays_of_seasons.py", books[size], code], folder)))
    known = [json.loads(one.out)["figures"]["clusters_per_vine"]["known"] for size in sizes for one in runs[size]]
    assert known == [SEASONS] * len(known)
    seconds = {size: statistics.median(one.cpu_s for one in runs[size]) for size in sizes}
    for size in sizes:
        results.say(f"in a book of {size:,} blocks", f"{1000 * seconds[size]:8.1f} ms of processor time")
    results.limit(f"{sizes[-1]:,} blocks : {sizes[0]:,} blocks", seconds[sizes[-1]] / seconds[sizes[0]], FLAT, "")
