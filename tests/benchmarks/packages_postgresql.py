"""`export` against plain SQL and csv, `import` against `load` of the same rows, on a PostgreSQL server of its own."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.books import write_clusters, write_places
from tests.benchmarks.loading import BLOCKS, ROWS, SAMPLES
from tests.benchmarks.loading_postgresql import stored
from tests.benchmarks.measuring import VINEBOOK, Run, by_turns, run
from tests.benchmarks.packages import EXPORT_TARGET, IMPORT_TARGET, TURNS
from tests.postgresql import running_server

if TYPE_CHECKING:
    from tests.benchmarks.measuring import Results
    from tests.postgresql import Server

PLAIN = Path(__file__).parent / "plain_scale.py"
PLACES, LOADED, AGAIN = "places", "loaded", "again"
"""The databases: blocks alone, from which others are copied · with the tally · made from the package."""


def measure(results: Results, folder: Path) -> None:
    """Load a tally, write the book out and bring it back, by turns with the plain way of each."""
    rows, samples = ROWS // results.scale, SAMPLES // results.scale
    blocks = max(1, min(BLOCKS, samples // 2))
    results.heading(f"PostgreSQL: export and import of {rows:,} cluster-tally rows in {samples:,} samples")
    tally = folder / "cluster_tally.csv"
    expected = (rows, samples, write_clusters(tally, rows, samples, blocks))
    with running_server() as server:
        _lay_places(server, folder, blocks)
        _measure(results, folder, server, tally, expected, 1 + 4 * blocks)


def _lay_places(server: Server, folder: Path, blocks: int) -> None:
    """Make the book of the blocks alone."""
    url = server.create(PLACES)
    (folder / "tallies").mkdir()
    run([*VINEBOOK, "--book", url, "new"], folder)
    run([*VINEBOOK, "--book", url, "load", *write_places(folder / "tallies", blocks)], folder)


def _measure(
    results: Results, folder: Path, server: Server, tally: Path, expected: tuple[int, int, int], places: int
) -> None:
    package, plain = folder / "package", folder / "plain"
    rows, samples, _ = expected

    def load() -> Run:
        server.run(f"DROP DATABASE IF EXISTS {LOADED}")
        done = run([*VINEBOOK, "--book", server.create(LOADED, PLACES), "load", tally], folder)
        assert stored(server.url(LOADED)) == expected
        return done

    def export() -> Run:
        shutil.rmtree(package, ignore_errors=True)
        return run([*VINEBOOK, "--book", server.url(LOADED), "--quiet", "export", package], folder)

    def plainly() -> Run:
        shutil.rmtree(plain, ignore_errors=True)
        return run([PLAIN, "export", server.url(LOADED), plain], folder)

    def bring_back() -> Run:
        server.run(f"DROP DATABASE IF EXISTS {AGAIN}")
        done = run([*VINEBOOK, "--book", server.create(AGAIN), "--format", "json", "import", package], folder)
        assert stored(server.url(AGAIN)) == expected
        assert json.loads(done.out)["rows"] == rows + samples + places
        return done

    load()
    out = by_turns(export, plainly, min(TURNS, results.times))
    # The plain way writes no headings.
    assert _lines(package / "data" / "cluster_tally.csv") - 1 == _lines(plain / "cluster_tally.csv") == rows
    results.ratio("export : plain SQL and csv", out, EXPORT_TARGET)
    back = by_turns(bring_back, load, min(TURNS, results.times))
    results.ratio("import : load of the same rows", back, IMPORT_TARGET)
    results.say("peak memory", f"export {out.ours.peak_mib:.0f} MiB, import {back.ours.peak_mib:.0f} MiB")


def _lines(path: Path) -> int:
    with path.open("rb") as stream:
        return sum(1 for _ in stream)
