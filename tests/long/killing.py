"""kill -9 at random moments of load, amend, upgrade, backup and restore: all of the step is there or nothing of it."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING
from unittest import mock

from tests.benchmarks.measuring import TOP, VINEBOOK
from tests.desk import Desk, cluster_rows, places
from vinebook.audit.verify import verify_book
from vinebook.intake.amending import amend
from vinebook.records import schema
from vinebook.records.book import Book
from vinebook.records.schema import make_book

if TYPE_CHECKING:
    from collections.abc import Iterator

KILLS = 200
ROWS = 4000
STARTING_S = 0.1
"""Before this nothing but Python has begun."""
UPGRADE = """
import sys
from vinebook.records import schema

def migrate(connection):
    for at in range(200):
        connection.exec_driver_sql(f"CREATE TABLE later_{at} (number INTEGER PRIMARY KEY, words TEXT) STRICT")
    connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")

schema.EARLIER, schema.HEAD, schema._migrate = (schema.HEAD,), "9999", migrate
from vinebook.cli import main
main()
"""
"""The command with a later schema than there is."""


class Killer:
    """Runs steps on copies of a book and kills them.

    Attributes
    ----------
    done : by step: how often nothing or all of it was there afterwards, and how often it had ended before.
    """

    def __init__(self, folder: Path, seed: int) -> None:
        self._folder = folder
        self._chance = random.Random(seed)  # noqa: S311 - seeded moments need no cryptography
        self._first = folder / "first.db"
        make_book(str(self._first), by="KL")
        desk = Desk(str(self._first), folder)
        places(desk)
        desk.load_texts(clusters=cluster_rows([(1 + at // 60, at % 60, at % 50) for at in range(1, ROWS) if at % 60]))
        self._earlier = folder / "earlier.db"
        shutil.copyfile(self._first, self._earlier)
        amend(desk.book, "cluster_tally", "#8", {"clusters": "77"}, reason="typo", by="KL")
        (folder / "more.csv").write_text(
            cluster_rows(
                [(1 + at // 60, at % 60, at % 50) for at in range(1, ROWS) if at % 60], "A2,2022-12-05,random,KL"
            )
        )
        (folder / "upgrade.py").write_text(UPGRADE)
        self._lasts: dict[str, float] = {}
        self.done: Counter[str] = Counter()

    def steps(self) -> dict[str, list[str | Path]]:
        """Give the words of each step."""
        ours = [*VINEBOOK, "--book", "book.db", "--by", "KL"]
        return {
            "load": [*ours, "load", "more.csv"],
            "amend": [*ours, "amend", "cluster_tally", "#9", "clusters=99", "--reason", "typo"],
            "upgrade": ["upgrade.py", "--book", "book.db", "--by", "KL", "upgrade"],
            "backup": [*ours, "backup", "copy.db"],
            "restore": [*ours, "restore", "earlier.db", "--over"],
        }

    def kill(self, step: str) -> None:
        """Run a step on a fresh copy of the book, kill it at a random moment, and look at what is there."""
        for path in self._files():
            path.unlink()
        shutil.copyfile(self._first, self._folder / "book.db")
        if step not in self._lasts:
            self._lasts[step] = self._run(step, None)
            self._look(step)
            return
        self._run(step, self._chance.uniform(STARTING_S, self._lasts[step] * 1.02))
        self._look(step)

    def _files(self) -> Iterator[Path]:
        for pattern in ("book.db*", "copy.db*", ".book.db*", ".copy.db*"):
            yield from self._folder.glob(pattern)

    def _run(self, step: str, wait_s: float | None) -> float:
        environment = {**os.environ, "PYTHONPATH": str(TOP)}
        begun = time.perf_counter()
        with subprocess.Popen(
            [sys.executable, *self.steps()[step]],
            cwd=self._folder,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        ) as process:
            try:
                process.wait(wait_s)
                assert process.returncode == 0, f"{step} ended with {process.returncode}"
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                process.wait()
        return time.perf_counter() - begun

    def _look(self, step: str) -> None:
        book = self._folder / "book.db"
        before, earlier = _seal(self._first), _seal(self._earlier)
        seal = _seal(book)
        kept = sorted(self._folder.glob("book.db.before-*[0-9]"))
        copy = self._folder / "copy.db"
        if step == "backup":
            assert seal == before
            assert not copy.exists() or _seal(copy) == before
            self._count(step, "all" if copy.exists() else "nothing")
        elif step == "restore":
            assert seal in (before, earlier)
            assert all(_seal(path) == before for path in kept)
            assert kept or seal == before
            self._count(step, "all" if seal == earlier else "nothing")
        else:
            assert all(_seal(path) == before for path in kept)
            after = _entries(book)
            assert after[: len(_entries(self._first))] == _entries(self._first)
            assert (seal == before) == (after == _entries(self._first))
            assert len(after) - len(_entries(self._first)) in (0, 1)
            self._count(step, "nothing" if seal == before else "all")

    def _count(self, step: str, what: str) -> None:
        self.done[f"{step}: {what}"] += 1


def _entries(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as raw:
        return [row[0] for row in raw.execute("SELECT hash FROM entry ORDER BY number")]


def _seal(path: Path) -> str:
    """Verify a book of either schema and give its seal."""
    with closing(sqlite3.connect(path)) as raw:
        found = raw.execute("SELECT version_num FROM alembic_version").fetchone()[0]
    with mock.patch.object(schema, "HEAD", found):
        report = verify_book(Book(str(path)))
    assert report.differences == [], report.differences
    return report.seal


def kill(folder: Path, kills: int, seed: int) -> Counter[str]:
    """Kill steps in turn and give what was found."""
    killer = Killer(folder, seed)
    steps = list(killer.steps())
    for at in range(kills + len(steps)):
        killer.kill(steps[at % len(steps)])
    return killer.done


def main(kills: int, seed: int) -> None:
    """Print how often all or nothing was there."""
    with tempfile.TemporaryDirectory() as folder:
        done = kill(Path(folder), kills, seed)
    for what, count in sorted(done.items()):
        print(f"  {count:4}  {what}")
    print(
        f"{kills:,} times kill -9 (seed {seed}): each book opened and verified, with all of the step or nothing of it"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else KILLS, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
