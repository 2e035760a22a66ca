"""Start-up is what is imported: a command loads nothing that it does not need."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
SMALL = TOP / "tests" / "small"
HEAVY = ("sqlalchemy", "alembic", "numpy", "scipy", "weasyprint", "jinja2", "fontTools", "psycopg")
NOT_FOR_READING = ("alembic", "weasyprint", "jinja2", "fontTools", "sqlalchemy.orm", "scipy.stats", "psycopg")


def environment() -> dict[str, str]:
    """Give the variables with which this checkout is found from any folder."""
    return {**os.environ, "PYTHONPATH": str(TOP)}


def modules_of(folder: Path, *words: str) -> set[str]:
    """Run Python with some words and give the names of all modules that it imported."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", *words],
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    lines = (line for line in done.stderr.splitlines() if line.startswith("import time:"))
    return {line.rpartition("|")[2].strip() for line in lines}


def heavy_among(modules: set[str], heavy: tuple[str, ...]) -> set[str]:
    """Give those modules that are, or belong to, one of the heavy ones."""
    return {module for module in modules for name in heavy if module == name or module.startswith(f"{name}.")}


@pytest.fixture(scope="module")
def folder_with_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder that holds a small book as vinebook.db."""
    folder = tmp_path_factory.mktemp("startup")
    for words in (["new"], ["load", *sorted(map(str, SMALL.glob("*.csv")))]):
        subprocess.run(
            [sys.executable, "-m", "vinebook", "--by", "KL", *words], cwd=folder, env=environment(), check=True
        )
    return folder


def test_the_guard_sees_a_heavy_import(tmp_path: Path) -> None:
    modules = modules_of(tmp_path, "-c", "import sqlalchemy.orm")
    assert "sqlalchemy.orm" in heavy_among(modules, NOT_FOR_READING)
    assert heavy_among(modules, HEAVY)


def test_importing_the_package_costs_nothing(tmp_path: Path) -> None:
    modules = modules_of(tmp_path, "-c", "import vinebook")
    assert {module for module in modules if module.startswith("vinebook")} == {"vinebook"}
    assert heavy_among(modules, (*HEAVY, "click", "dataclasses", "importlib.metadata")) == set()


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("figures", "--help"), ("load", "--help")])
def test_help_and_version_load_no_library_but_click(tmp_path: Path, words: tuple[str, ...]) -> None:
    modules = modules_of(tmp_path, "-m", "vinebook", *words)
    assert "click" in modules
    assert heavy_among(modules, (*HEAVY, "rich", "importlib.metadata")) == set()


@pytest.mark.parametrize("words", [("figures", "A1"), ("figures",), ("list", "block"), ("list", "cluster_tally")])
def test_reading_commands_load_only_what_reads(folder_with_book: Path, words: tuple[str, ...]) -> None:
    modules = modules_of(folder_with_book, "-m", "vinebook", *words)
    assert "sqlite3" in modules
    assert heavy_among(modules, NOT_FOR_READING) == set()


def test_a_list_needs_no_numpy(folder_with_book: Path) -> None:
    modules = modules_of(folder_with_book, "-m", "vinebook", "list", "block")
    assert heavy_among(modules, ("numpy", "scipy")) == set()


def test_a_command_that_ends_tidies_up_nothing(tmp_path: Path) -> None:
    # What is registered first is called last.
    asked = "import atexit, gc, sys; atexit.register(lambda: print(gc.get_freeze_count() > 1000))"
    code = f"{asked}; from vinebook.cli import main; sys.argv = ['vinebook', '--version']; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=environment(), capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[1:] == ["True"]
