"""Two ways of one job by turns, each run in a process of its own: medians, peak memory, ratio beside its target."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

TOP = Path(__file__).resolve().parents[2]
VINEBOOK = ("-m", "vinebook")


@dataclass(frozen=True, slots=True)
class Run:
    """What one process took.

    Attributes
    ----------
    wall_s, cpu_s : seconds that passed, and seconds of processor time.
    peak_mib : largest memory that it held.
    out : what it printed.
    """

    wall_s: float
    cpu_s: float
    peak_mib: float
    out: str


def run(words: Sequence[str | Path], folder: Path, *, count_lines: bool = False) -> Run:
    """Run Python with some words in a folder, and measure that process alone; much output may be counted, not kept.

    Linux counts the memory of the parent at the moment of the fork as the child's, so the benchmark itself stays small.
    """
    kept = (name for name in os.environ if not name.startswith("VINEBOOK_") and name != "PYTHONDONTWRITEBYTECODE")
    # Bytecode of ours may be kept, as that of an installed package is.
    environment = {name: os.environ[name] for name in kept}
    environment |= {"PYTHONPATH": str(TOP), "VINEBOOK_BY": "KL"}
    begun = time.perf_counter()
    with tempfile.TemporaryFile("w+") as err:
        process = subprocess.Popen(
            [sys.executable, *words], cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=err, text=True
        )
        assert process.stdout is not None
        with process.stdout as out:
            printed = str(sum(1 for _ in out)) if count_lines else out.read()
        _, status, used = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - begun
        process.returncode = os.waitstatus_to_exitcode(status)
        err.seek(0)
        told = err.read()
    assert process.returncode == 0, f"{words} ended with {process.returncode}:\n{printed}{told}"
    return Run(wall_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, printed)


@dataclass(frozen=True, slots=True)
class Pair:
    """Medians of two ways that were run by turns."""

    ours: Run
    theirs: Run

    @property
    def ratio(self) -> float:
        """Seconds of ours to one second of theirs."""
        return self.ours.wall_s / self.theirs.wall_s

    @property
    def cpu_ratio(self) -> float:
        """The same in processor time, which other work on the machine disturbs less."""
        return self.ours.cpu_s / self.theirs.cpu_s


def by_turns(ours: Callable[[], Run], theirs: Callable[[], Run], times: int) -> Pair:
    """Run two ways by turns, so that whatever else the machine does falls on both."""
    runs: tuple[list[Run], list[Run]] = ([], [])
    for _ in range(times):
        runs[0].append(ours())
        runs[1].append(theirs())
    return Pair(middle(runs[0]), middle(runs[1]))


def middle(runs: Sequence[Run]) -> Run:
    """Give the medians of some runs, with what the last one printed."""
    return Run(
        statistics.median(one.wall_s for one in runs),
        statistics.median(one.cpu_s for one in runs),
        statistics.median(one.peak_mib for one in runs),
        runs[-1].out,
    )


@dataclass(slots=True)
class Results:
    """What was measured, printed as it comes; times inform, they fail nothing.

    Attributes
    ----------
    scale : what sizes are divided by.
    times : turns of a short measurement; a long one takes fewer.
    """

    scale: int
    times: int
    missed: list[str] = field(default_factory=list)

    def heading(self, words: str) -> None:
        """Print what is measured next."""
        print(f"\n{words}", flush=True)

    def ratio(self, what: str, pair: Pair, target: float | None) -> None:
        """Print a ratio beside its target, or as information where there is none."""
        seconds = f"{pair.ours.wall_s:8.3f} s : {pair.theirs.wall_s:8.3f} s"
        self._line(what, f"{seconds} = {pair.ratio:5.2f} (cpu {pair.cpu_ratio:5.2f})", pair.ratio, target)

    def limit(self, what: str, value: float, target: float, unit: str) -> None:
        """Print a value beside the largest that is wanted."""
        self._line(what, f"{value:.2f} {unit}".rstrip(), value, target)

    def say(self, what: str, words: str) -> None:
        """Print a value that has no target."""
        print(f"  {what:<52} {words}", flush=True)

    def _line(self, what: str, words: str, value: float, target: float | None) -> None:
        if target is None:
            self.say(what, words)
            return
        if self.scale != 1:
            self.say(what, f"{words}, target {target:g} at full size")
            return
        reached = value <= target
        if not reached:
            self.missed.append(what)
        self.say(what, f"{words}, target {target:g}: {'reached' if reached else 'not reached'}")
