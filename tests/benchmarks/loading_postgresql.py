"""`load` of a large cluster tally into PostgreSQL against Python's csv and COPY into the same tables."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import psycopg

from tests.benchmarks.books import write_clusters, write_places
from tests.benchmarks.loading import BLOCKS, ROWS, SAMPLES
from tests.benchmarks.measuring import VINEBOOK, Run, by_turns, run
from tests.postgresql import running_server

if TYPE_CHECKING:
    from tests.benchmarks.measuring import Results

TURNS = 3
TARGET, MOST_MIB = 2.0, 200
PLAIN = Path(__file__).parent / "plain_copy.py"
TEMPLATE = "bench_template"


def stored(url: str) -> tuple[int, int, int]:
    """Give rows, samples and sum of clusters that a book holds."""
    with psycopg.connect(url) as raw:
        found = raw.execute(
            "SELECT (SELECT count(*) FROM cluster_tally), (SELECT count(*) FROM sample),"
            " (SELECT coalesce(sum(clusters), 0) FROM cluster_tally)"
        ).fetchone()
    assert found is not None
    rows, samples, total = found
    return int(rows), int(samples), int(total)


def measure(results: Results, folder: Path) -> None:
    """Load the same tally both ways by turns, each into a copy of the same book."""
    rows, samples = ROWS // results.scale, SAMPLES // results.scale
    blocks = max(1, min(BLOCKS, samples // 2))
    results.heading(f"load of {rows:,} cluster-tally rows in {samples:,} samples into PostgreSQL : csv + COPY")
    tally = folder / "cluster_tally.csv"
    expected = (rows, samples, write_clusters(tally, rows, samples, blocks))
    with running_server() as server:
        empty = server.create(TEMPLATE)
        places = folder / "places"
        places.mkdir()
        run([*VINEBOOK, "--book", empty, "new"], folder)
        run([*VINEBOOK, "--book", empty, "load", *write_places(places, blocks)], folder)

        def into_a_copy(words: list[str | Path], *more: str | Path) -> Run:
            url = server.create("bench", TEMPLATE)
            try:
                done = run([word if word != "URL" else url for word in (*words, *more)], folder)
                assert stored(url) == expected
            finally:
                server.drop("bench")
            return done

        pair = by_turns(
            lambda: into_a_copy([*VINEBOOK, "--book", "URL", "load"], tally),
            lambda: into_a_copy([PLAIN, "URL"], tally),
            min(TURNS, results.times),
        )
    results.ratio("load into PostgreSQL", pair, TARGET)
    results.limit(f"peak memory, {rows:,} rows", pair.ours.peak_mib, MOST_MIB, "MiB")
