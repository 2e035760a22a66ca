"""Figures and intervals as arrays, of a whole book or of one block: ``arrays_of_seasons.py BOOK [CODE]``.

Prints seconds and what the arrays hold, as JSON; opening the book and importing are not counted.
"""

from __future__ import annotations

import json
import sys
import time

import numpy as np

from vinebook.api import open_book
from vinebook.kinds import KINDS
from vinebook.records.keys import find_record
from vinebook.seasons.arrays import season_arrays


def main(where: str, code: str | None = None) -> None:
    """Work out the arrays once."""
    book = open_book(where)
    with book.reading() as connection:
        begun, begun_cpu = time.perf_counter(), time.process_time()
        blocks = None if code is None else [find_record(connection, KINDS["block"], code)]
        arrays = season_arrays(connection, blocks, None)
        wall_s, cpu_s = time.perf_counter() - begun, time.process_time() - begun_cpu
    figures: dict[str, dict[str, float]] = {}
    for name in ("clusters_per_vine", "yield_to_prunings", "delivered"):
        column = arrays.column(name)
        figures[name] = {
            "known": int(np.isfinite(column.value).sum()),
            "with_interval": int(np.isfinite(column.low).sum()),
            "sum": float(np.nansum(column.value)),
            "n": int(column.n[column.n > 0].sum()),
        }
    told = {
        "wall_s": wall_s,
        "cpu_s": cpu_s,
        "entries": sum(len(column.value) for column in arrays.columns),
        "figures": figures,
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main(*sys.argv[1:])
