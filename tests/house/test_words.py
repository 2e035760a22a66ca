"""What the tree may not carry: paths of one machine, notes to oneself, folders nobody decided on."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
PAGES = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
FOLDERS = {"vinebook", "migrations", "report_templates", "tests", "demo"}
DOTTED = {".ci", ".github", ".gitignore"}
TEXTS = {
    ".py",
    ".md",
    ".toml",
    ".sh",
    ".csv",
    ".j2",
    ".po",
    ".html",
    ".css",
    ".svg",
    ".sql",
    ".yml",
    ".txt",
    ".lock",
    ".json",
    "",
}
# A letter in brackets keeps this file from being what it forbids.
FORBIDDEN = {
    "a path of one machine": re.compile(r"/(?:[w]ork|[o]pt|[t]mp|[h]ome|[U]sers|[r]oot)/"),
    "a note to oneself": re.compile(r"\b(?:[T]ODO|[F]IXME|[X]XX|[H]ACK)\b"),
    "an address of a package registry": re.compile(r"[p]ypi\.(?:org|io)|[p]ythonhosted|(?<!emit-)[i]ndex-url"),
}


def kept_files() -> list[Path]:
    """Give every file of the tree that git keeps or would keep."""
    done = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=TOP,
        capture_output=True,
        check=True,
    )
    names = (name for name in done.stdout.decode().split("\0") if name)
    return [path for path in (TOP / name for name in sorted(set(names))) if path.exists()]


def faults(text: str) -> list[str]:
    """Give what is forbidden in a text, each with its line."""
    return [
        f"line {number}: {what}: {line.strip()[:80]}"
        for number, line in enumerate(text.splitlines(), 1)
        for what, pattern in FORBIDDEN.items()
        if pattern.search(line)
    ]


def test_the_top_holds_what_was_decided() -> None:
    found = {path.relative_to(TOP).parts[0] for path in kept_files()}
    assert found - PAGES - FOLDERS - DOTTED == set()


def test_no_file_carries_words_that_do_not_belong() -> None:
    found = {
        str(path.relative_to(TOP)): faults(path.read_text(encoding="utf-8"))
        for path in kept_files()
        if path.suffix in TEXTS
    }
    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    "line",
    [f"see /{'work'}/here", f"# {'TO'}DO: later", f"open('/{'tmp'}/a.db')", f"--{'index'}-url https://a.invalid"],
)
def test_the_guard_sees_what_does_not_belong(line: str) -> None:
    assert len(faults(f"fine\n{line}\nfine")) == 1


def test_no_module_has_a_name_that_says_nothing() -> None:
    empty_words = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}
    assert [str(path) for path in kept_files() if path.stem in empty_words] == []


def test_no_module_is_longer_than_six_hundred_lines() -> None:
    modules = [path for path in kept_files() if path.suffix == ".py" and "migrations" not in path.parts]
    lengths = {str(path): len(path.read_text().splitlines()) for path in modules}
    assert {name: length for name, length in lengths.items() if length > 600} == {}
