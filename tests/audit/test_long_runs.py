"""The long runs of tests/long in small."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.long.killing import kill
from tests.long.tampering import tamper

TOP = Path(__file__).resolve().parents[2]
MEASURE = (
    "import sys; from pathlib import Path; from tests.long.verifying import measure; "
    "print(measure(Path(sys.argv[1]), 20_000, 40, 2)[2])"
)


def test_every_change_behind_the_journals_back_is_named(tmp_path: Path) -> None:
    done = tamper(tmp_path, 60, seed=7)
    assert done.unnamed == []
    assert sum(done.named.values()) == 60


def test_a_killed_step_leaves_all_of_it_or_nothing(tmp_path: Path) -> None:
    done = kill(tmp_path, 5, seed=3)
    assert sum(done.values()) == 10


def test_verify_of_many_vines_holds_little_memory(tmp_path: Path) -> None:
    # From a small process of its own: Linux counts the memory of the process that starts another as the other's.
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path)], cwd=TOP, capture_output=True, text=True, check=True
    )
    peak_mib = float(done.stdout)
    # Nothing of a book of this size is worth holding; the program itself takes most of it.
    assert peak_mib < 120
