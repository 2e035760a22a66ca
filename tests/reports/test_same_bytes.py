"""The same book gives the same bytes: in another checkout, time zone, language, umask, hash seed, processor."""

from __future__ import annotations

import hashlib
import importlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
REPORTS = (
    ("history", "A1"),
    ("statement", "--to", "Bell Lane Cellar", "--with", "yield", "--with", "balance"),
    ("trail", "A1"),
    ("overview", "--season", "2024"),
    ("history", "A1", "--bound"),
)
SHIPPED = ("vinebook", "migrations", "report_templates", "pyproject.toml")
DECISION = (
    *("decide", "A1", "--season", "2026", "--decides", "nodes_to_keep", "--value", "24"),
    *("--words", "24 nodes", "--reason", "ratio within its band"),
)


def run(checkout: Path, folder: Path, umask: int, *words: str, **environment: str) -> None:
    """Run a command of a checkout as a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "vinebook", "--quiet", "--book", "book.db", "--by", "KL", *words],
        check=False,
        capture_output=True,
        text=True,
        cwd=folder,
        umask=umask,
        env={**os.environ, "PYTHONPATH": str(checkout), **environment},
    )
    assert (done.returncode, done.stderr) == (0, "")


def made(checkout: Path, folder: Path, umask: int, **environment: str) -> dict[str, str]:
    """Print every report and give the hash of each file."""
    hashes = {}
    for report in REPORTS:
        name = f"{'-'.join(report).replace(' ', '')}.pdf"
        run(checkout, folder, umask, "report", *report, "-o", name, **environment)
        hashes[name] = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    return hashes


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a book of the first demo block, and a decision in it."""
    folder = tmp_path_factory.mktemp("book")
    run(TOP, folder, 0o022, "new")
    run(TOP, folder, 0o022, "load", *sorted(str(path) for path in (TOP / "demo" / "first").glob("*.csv")))
    run(TOP, folder, 0o022, *DECISION)
    return folder


@pytest.mark.slow
def test_two_checkouts_in_two_surroundings_give_the_same_bytes(book: Path, tmp_path: Path) -> None:
    umath = importlib.import_module("numpy._core._multiarray_umath")

    there = tmp_path / "another place" / "checkout"
    for name in SHIPPED:
        if (TOP / name).is_dir():
            shutil.copytree(TOP / name, there / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(TOP / name, there / name)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    shutil.copy(book / "book.db", elsewhere / "book.db")
    has = [feature for feature in umath.__cpu_dispatch__ if umath.__cpu_features__.get(feature)]
    assert has, "this processor has nothing beyond numpy's baseline: nothing would be shown"
    here = made(TOP, book, 0o022, TZ="UTC", LC_ALL="C.UTF-8", PYTHONHASHSEED="1")
    other = made(
        there,
        elsewhere,
        0o077,
        TZ="Pacific/Auckland",
        LC_ALL="C",
        LANGUAGE="es",
        PYTHONHASHSEED="4711",
        NPY_DISABLE_CPU_FEATURES=" ".join(has),
    )
    assert here == other
    assert len(set(here.values())) == len(REPORTS)


@pytest.mark.slow
def test_one_more_entry_gives_other_bytes(book: Path, tmp_path: Path) -> None:
    shutil.copy(book / "book.db", tmp_path / "book.db")
    before = made(TOP, tmp_path, 0o022)
    run(
        TOP,
        tmp_path,
        0o022,
        "amend",
        "event",
        "A1/2024-06-18/hail",
        "share_hit=15",
        "--reason",
        "walked the rows again",
    )
    after = made(TOP, tmp_path, 0o022)
    assert not set(before.values()) & set(after.values())
