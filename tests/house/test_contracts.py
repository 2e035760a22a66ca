"""A floor imports only from the floors below it; each contract is shown to fail when it is broken."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
LINT = Path(sys.executable).with_name("lint-imports")

BREACHES = (
    ("floors", "formulas/__init__.py", "import vinebook.records", "A floor imports only from the floors below it"),
    ("floors", "records/__init__.py", "import vinebook.formulas", "A floor imports only from the floors below it"),
    ("plain-kinds", "kinds/field.py", "import vinebook.errors", "Kinds are plain data"),
    ("no-database", "advice/__init__.py", "import sqlalchemy", "Formulas, advice and reports know no database"),
    ("no-database", "reports/__init__.py", "import vinebook.records", "Formulas, advice and reports know no database"),
    ("plain-kinds", "kinds/field.py", "import numpy", "Kinds are plain data"),
    ("click-in-cli", "records/__init__.py", "import click", "Only the command line knows click"),
    ("pages-in-reports", "seasons/__init__.py", "import jinja2", "Only reports know how pages are made"),
)


def lint_imports(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the contracts of a folder's pyproject.toml over the vinebook in that folder."""
    return subprocess.run(
        [LINT, "--no-cache", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_import_goes_down() -> None:
    done = lint_imports(TOP)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(("contract", "file", "line", "name"), BREACHES)
def test_a_breach_is_found(tmp_path: Path, contract: str, file: str, line: str, name: str) -> None:
    shutil.copytree(TOP / "vinebook", tmp_path / "vinebook", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(TOP / "pyproject.toml", tmp_path)
    module = tmp_path / "vinebook" / file
    module.write_text(f"{module.read_text()}\n{line}\n")
    done = lint_imports(tmp_path, "--contract", contract)
    assert done.returncode == 1, done.stdout + done.stderr
    assert f"{name} BROKEN" in done.stdout


def test_a_new_module_without_a_floor_is_found(tmp_path: Path) -> None:
    shutil.copytree(TOP / "vinebook", tmp_path / "vinebook", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(TOP / "pyproject.toml", tmp_path)
    (tmp_path / "vinebook" / "attic.py").write_text('"""No floor."""\n')
    done = lint_imports(tmp_path, "--contract", "floors")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "vinebook.attic" in done.stdout
