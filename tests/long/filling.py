"""A disk that is really full: every step on a tiny tmpfs, where mounting one is allowed, says so and loses nothing."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.measuring import TOP, VINEBOOK
from tests.desk import Desk, cluster_rows, places
from vinebook.audit.verify import verify_book
from vinebook.records.book import Book
from vinebook.records.schema import make_book

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOM = "3m"
ROWS = 20_000


@contextlib.contextmanager
def tiny_disk() -> Iterator[Path | None]:
    """Give a disk with little room, or None where it may not be mounted."""
    folder = Path(tempfile.mkdtemp())
    words = ["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(folder)]
    if subprocess.run(words, check=False, capture_output=True).returncode:
        folder.rmdir()
        yield None
        return
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)
        folder.rmdir()


def told(disk: Path, *words: str | Path) -> str:
    """Run a command that must find no room, and give what it says."""
    done = subprocess.run(
        [sys.executable, *VINEBOOK, "--book", disk / "book.db", "--by", "KL", *words],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    assert done.returncode == 1, done
    assert "Traceback" not in done.stderr
    assert "a fault of the program itself" not in done.stderr, done.stderr
    return done.stderr.strip().splitlines()[0]


def main() -> None:
    """Fill the disk by each step."""
    with tempfile.TemporaryDirectory() as elsewhere, tiny_disk() as disk:
        if disk is None:
            print("a tmpfs cannot be mounted here; the tests of a full book with PRAGMA max_page_count stand for it")
            return
        make_book(str(disk / "book.db"), by="KL")
        desk = Desk(str(disk / "book.db"), Path(elsewhere))
        places(desk)
        desk.load_texts(clusters=cluster_rows([(1, vine, vine) for vine in range(1, 9)]))
        whole = verify_book(desk.book)
        vines = [(1 + at // 60, 1 + at % 60, at % 50) for at in range(ROWS)]
        many = desk.write("many.csv", cluster_rows(vines, "A2,2022-12-05,random,KL"))
        shutil.copyfile(disk / "book.db", Path(elsewhere) / "copy.db")
        print(f"  load: {told(disk, 'load', many)}")
        with (disk / "filler").open("wb", buffering=0) as filler, contextlib.suppress(OSError):
            while True:
                filler.write(b"x" * 4096)
        for step in (
            ("amend", "cluster_tally", "#5", "clusters=9", "--reason", "typo"),
            ("backup", disk / "copy.db"),
            ("restore", Path(elsewhere) / "copy.db", "--over"),
            ("form", "block", "-o", disk / "block.csv"),
            ("report", "history", "A1", "-o", disk / "history.pdf"),
        ):
            print(f"  {step[0]}: {told(disk, *step)}")
        left = {path.name for path in disk.iterdir()}
        assert left <= {"book.db", "book.db-wal", "book.db-shm", "filler"}, left
        (disk / "filler").unlink()
        after = verify_book(Book(str(disk / "book.db")))
        assert (after.differences, after.seal, after.rows) == ([], whole.seal, whole.rows)
    print("a full disk was told by every step, and the book is what it was")


if __name__ == "__main__":
    main()
