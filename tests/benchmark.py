"""How fast vinebook is, as ratios to the plainest way of the same job, measured by turns in one run.

    python tests/benchmark.py                 everything, at full size
    python tests/benchmark.py --scale 50      at 1/50 of the size: what CI runs for the sums it asserts
    python tests/benchmark.py --only load     one measurement

Counts and sums are asserted; times inform and fail nothing, as other work on a machine disturbs them.
"""

from __future__ import annotations

import argparse
import importlib
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.benchmarks.measuring import Results

MEASUREMENTS = {
    "startup": "startup",
    "load": "loading",
    "load-postgresql": "loading_postgresql",
    "workbook": "workbooks",
    "package": "packages",
    "package-postgresql": "packages_postgresql",
    "figures": "seasons",
    "report": "printing",
    "scale": "scale",
}
"""Every measurement by name: the module that holds it."""
TURNS = 15
FEWER_TURNS = 3


def main() -> None:
    """Measure."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--scale", type=int, default=1, metavar="N", help="divide sizes by N (50 for CI)")
    options.add_argument("--only", action="append", choices=MEASUREMENTS, help="one measurement; may be given again")
    given = options.parse_args()
    results = Results(given.scale, TURNS if given.scale == 1 else FEWER_TURNS)
    for name in given.only or MEASUREMENTS:
        with tempfile.TemporaryDirectory(prefix="vinebook-benchmark-") as folder:
            importlib.import_module(f"tests.benchmarks.{MEASUREMENTS[name]}").measure(results, Path(folder))
    if given.scale == 1:
        print(f"\nnot reached: {', '.join(results.missed)}" if results.missed else "\nevery target reached")


if __name__ == "__main__":
    main()
