"""The built package works by itself: in a bare environment, outside the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

TOP = Path(__file__).parents[2]
SMALL = TOP / "tests" / "small"


def run(folder: Path, *words: str | Path) -> str:
    """Run a program outside the checkout, without a person's settings, and give what it printed."""
    kept = ("PATH", "HOME", "LANG")
    environment = {name: value for name, value in os.environ.items() if name in kept or name.startswith("PIP_")}
    done = subprocess.run(words, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder that holds the sdist, and the wheel that was built from it."""
    folder = tmp_path_factory.mktemp("built")
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, TOP],
        check=True,
        capture_output=True,
    )
    return folder


@pytest.fixture(scope="module")
def programs(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of programs of an environment that holds the wheel and what it needs, and nothing else."""
    place = tmp_path_factory.mktemp("bare") / "environment"
    venv.create(place, with_pip=True)
    pip = [str(place / "bin" / "python"), "-m", "pip", "install", "--quiet"]
    run(place, *pip, "--require-hashes", "--only-binary", ":all:", "-r", TOP / "tests" / "runtime.lock")
    run(place, *pip, "--no-deps", next(built.glob("*.whl")))
    return place / "bin"


def files_below(folder: str) -> set[str]:
    """Give the files of a folder of the checkout as they should stand in a package."""
    found = (TOP / folder).rglob("*")
    return {str(path.relative_to(TOP)) for path in found if path.is_file() and "__pycache__" not in path.parts}


def test_the_wheel_holds_the_package_its_migrations_and_its_templates(built: Path) -> None:
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        names = {name for name in wheel.namelist() if ".dist-info/" not in name}
        licences = [name for name in wheel.namelist() if name.endswith("licenses/vinebook/LICENSE")]
    expected = files_below("vinebook")
    for folder in ("migrations", "report_templates"):
        expected |= {name.replace(folder, f"vinebook/_{folder}", 1) for name in files_below(folder)}
    assert any(name.startswith("vinebook/_migrations/") for name in names)
    assert any(name.startswith("vinebook/_report_templates/") for name in names)
    assert names == expected
    assert len(licences) == 1


def test_the_sdist_holds_what_the_wheel_is_made_from(built: Path) -> None:
    with tarfile.open(next(built.glob("*.tar.gz"))) as sdist:
        names = {name.split("/", 1)[1] for name in sdist.getnames()}
    assert files_below("vinebook") | files_below("migrations") | files_below("report_templates") <= names


def test_the_installed_package_makes_a_book_and_a_pdf(programs: Path, tmp_path: Path) -> None:
    where = run(tmp_path, programs / "python", "-c", "import vinebook; print(vinebook.__file__)")
    assert Path(where.strip()).is_relative_to(programs.parent)
    vinebook = (programs / "vinebook", "--by", "KL")
    run(tmp_path, *vinebook, "new")
    run(tmp_path, *vinebook, "load", *sorted(SMALL.glob("*.csv")))
    assert "A1" in run(tmp_path, *vinebook, "list", "block")
    run(tmp_path, *vinebook, "report", "history", "A1", "-o", tmp_path / "a1.pdf")
    assert (tmp_path / "a1.pdf").read_bytes().startswith(b"%PDF-")
    assert "A1" in run(tmp_path, "pdftotext", tmp_path / "a1.pdf", "-")
    run(tmp_path, *vinebook, "verify")
