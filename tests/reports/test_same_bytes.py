"""The same book gives the same bytes: in another checkout, time zone, language, umask, hash seed, processor."""

from __future__ import annotations

import importlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.desk import Desk
from vinebook.audit.deciding import Choice, decide
from vinebook.intake.amending import amend
from vinebook.pages import page_of
from vinebook.reports import render
from vinebook.reports.wanted import Wanted

TOP = Path(__file__).parents[2]
SHIPPED = ("vinebook", "migrations", "report_templates", "pyproject.toml")
REPORTS = (
    Wanted("history", ("A1",)),
    Wanted("statement", to="Bell Lane Cellar", shows=("yield", "balance")),
    Wanted("trail", ("A1",)),
    Wanted("overview", season=2024),
)
PRINT_ALL = """
import hashlib, json, os, sys
import vinebook
from vinebook.printing import make_bound, make_report
from vinebook.reports.wanted import Wanted
from vinebook.records.book import Book
from vinebook.reports.render import write_file
from pathlib import Path
book = Book("book.db")
wanted = (
    Wanted("history", ("A1",)),
    Wanted("statement", to="Bell Lane Cellar", shows=("yield", "balance")),
    Wanted("trail", ("A1",)),
    Wanted("overview", season=2024),
)
made = {one.what: make_report(book, one) for one in wanted}
made["bound"] = make_bound(book, [wanted[2]], "Trails of decisions")
for name, report in made.items():
    write_file(Path(f"{name}.pdf"), report.pdf)
hashes = {name: hashlib.sha256(Path(f"{name}.pdf").read_bytes()).hexdigest() for name in made}
print(json.dumps({"from": vinebook.__file__, "hashes": hashes}))
"""


def made(checkout: Path, folder: Path, umask: int, **environment: str) -> dict[str, str]:
    """Print every report in one process of a checkout and give the hash of each file."""
    done = subprocess.run(
        [sys.executable, "-c", PRINT_ALL],
        check=False,
        capture_output=True,
        text=True,
        cwd=folder,
        umask=umask,
        env={**os.environ, "PYTHONPATH": str(checkout), **environment},
    )
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert Path(told["from"]).is_relative_to(checkout)
    hashes: dict[str, str] = told["hashes"]
    return hashes


@pytest.fixture(scope="module")
def desk(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Give a book of the first demo block, and a decision in it."""
    folder = tmp_path_factory.mktemp("book")
    desk = Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder)
    desk.load(*sorted((TOP / "demo" / "first").glob("*.csv")))
    choice = Choice(decides="nodes_to_keep", value="24", words="24 nodes", reason="ratio within its band")
    decide(desk.book, "A1", 2026, choice, by="KL")
    return desk


@pytest.mark.slow
def test_two_checkouts_in_two_surroundings_give_the_same_bytes(desk: Desk, tmp_path: Path) -> None:
    umath = importlib.import_module("numpy._core._multiarray_umath")

    there = tmp_path / "another place" / "checkout"
    for name in SHIPPED:
        if (TOP / name).is_dir():
            shutil.copytree(TOP / name, there / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(TOP / name, there / name)
    here, elsewhere = tmp_path / "here", tmp_path / "elsewhere"
    for folder in (here, elsewhere):
        folder.mkdir()
        shutil.copy(desk.url, folder / "book.db")
    has = [feature for feature in umath.__cpu_dispatch__ if umath.__cpu_features__.get(feature)]
    assert has, "this processor has nothing beyond numpy's baseline: nothing would be shown"
    ours = made(TOP, here, 0o022, TZ="UTC", LC_ALL="C.UTF-8", PYTHONHASHSEED="1")
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
    assert ours == other
    assert len(set(ours.values())) == len(REPORTS) + 1


def test_one_more_entry_gives_another_page_and_another_identifier(desk: Desk, tmp_path: Path) -> None:
    later = Desk(str(shutil.copy(desk.url, tmp_path / "book.db")), tmp_path)
    amend(later.book, "event", "A1/2024-06-18/hail", {"share_hit": "15"}, reason="walked the rows again", by="KL")
    for wanted in REPORTS:
        pages = []
        for book in (desk.book, desk.book, later.book):
            with book.reading() as connection:
                pages.append(page_of(connection, wanted))
        before, again, after = pages
        assert before == again
        assert before.html != after.html
        assert render._identifier(before.html, before.enclosures) != render._identifier(after.html, after.enclosures)
