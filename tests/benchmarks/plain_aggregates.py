"""The bare SQL aggregates that figures need, on Python's own sqlite3: ``plain_aggregates.py BOOK``.

Prints seconds, then the totals that were summed, as JSON; connecting and importing are not counted.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import time


def summed(*expressions: str) -> str:
    """Give count, sum and sum of squares of each expression."""
    return ", ".join(f"count({one}), sum({one}), sum(({one}) * ({one}))" for one in expressions)


QUERIES = {
    "pruned_vine": summed(
        "coalesce(nodes_on_spurs, 0) + coalesce(nodes_on_canes, 0) + coalesce(nodes_on_renewal_spurs, 0)",
        "spurs",
        "canes",
        "nodes_on_spurs",
        "nodes_on_canes",
        "nodes_on_renewal_spurs",
        "canes_weighed",
        "prunings_mg",
    )
    + ", sum(canes_weighed * prunings_mg)",
    "shoot_tally": summed(
        "count_shoots + blind_nodes",
        "count_shoots",
        "count_shoots + double_shoots + noncount_shoots",
        "noncount_shoots",
    )
    + ", sum((count_shoots + blind_nodes) * count_shoots)"
    + ", sum((count_shoots + blind_nodes) * (count_shoots + double_shoots + noncount_shoots))"
    + ", sum(noncount_shoots * (count_shoots + double_shoots + noncount_shoots))",
    "cluster_tally": summed("clusters"),
    "vine_harvest": summed("clusters", "mass_mg") + ", sum(clusters * mass_mg)",
}
TOTALS = {"pruned_vine": 2 + 3 * 7, "cluster_tally": 2, "vine_harvest": 2 + 3 * 1}
"""Which column of each query holds the sum that is compared."""
SAMPLES = "SELECT record, block, season, counts, date FROM sample WHERE struck_at IS NULL"
LOADS = (
    "SELECT load_part.block, load.season, sum(load.net_milli), count(*) FROM load_part JOIN load"
    " ON load.record = load_part.load WHERE load.struck_at IS NULL AND load_part.struck_at IS NULL GROUP BY 1, 2"
)


def main(book: str) -> None:
    """Run every query and fetch all of it."""
    raw = sqlite3.connect(f"file:{book}?mode=ro", uri=True)
    begun, begun_cpu = time.perf_counter(), time.process_time()
    found = {
        kind: raw.execute(
            f"SELECT sample, {sums} FROM {kind} WHERE struck_at IS NULL AND state = 'bearing' GROUP BY sample"
        ).fetchall()
        for kind, sums in QUERIES.items()
    }
    samples = raw.execute(SAMPLES).fetchall()
    loads = raw.execute(LOADS).fetchall()
    wall_s, cpu_s = time.perf_counter() - begun, time.process_time() - begun_cpu
    totals = {kind: sum(row[at] for row in found[kind]) for kind, at in TOTALS.items()}
    told = {
        "wall_s": wall_s,
        "cpu_s": cpu_s,
        "sums": totals,
        "rows": sum(row[1] for rows in found.values() for row in rows),
        "samples": len(samples),
        "net_milli": sum(row[2] for row in loads),
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main(sys.argv[1])
