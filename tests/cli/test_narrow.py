"""On a terminal words are wrapped between words, and measured values are seen beside long keys."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk, cluster_rows, places

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def desk(sqlite_book: str, tmp_path: Path) -> Desk:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    desk.load_texts(counts=cluster_rows([(1, 1, 10), (1, 2, 20)]))
    return desk


def seen(desk: Desk, *words: str, columns: int = 60, status: int = 0) -> list[str]:
    """Give the lines that a terminal shows."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "vinebook", "--book", desk.url, *words]
    run = subprocess.Popen(
        command, stdout=theirs, stderr=theirs, close_fds=True, env={**os.environ, "COLUMNS": str(columns)}
    )
    os.close(theirs)
    told = b""
    while True:
        try:
            data = os.read(ours, 4096)
        except OSError:
            break
        if not data:
            break
        told += data
    os.close(ours)
    assert run.wait(timeout=60) == status, told.decode()
    return told.decode().replace("\r", "").splitlines()


def test_the_shared_part_of_a_key_stands_once(desk: Desk) -> None:
    lines = seen(desk, "list", "cluster_tally")
    assert lines[0].split() == ["row/vine", "state", "clusters", "record"]
    assert lines[1] == "A1/2023/cluster_tally/2022-12-05/before/all/random/KL/"
    assert [line.split()[:3] for line in lines[2:]] == [["1/1", "bearing", "10"], ["1/2", "bearing", "20"]]


def test_words_are_not_broken(desk: Desk) -> None:
    for words in (("form",), ("list", "tally"), ("show", "block", "A1")):
        lines = seen(desk, *words)
        # The name of a file with its SHA-256 is one word longer than the terminal.
        assert all(len(line) <= 60 or " " not in line.strip() for line in lines), lines


def test_a_list_tells_time_to_the_minute(desk: Desk) -> None:
    lines = seen(desk, "list", "tally", columns=120)
    assert lines[0].split()[4] == "at"
    assert all(re.search(r"  \d{4}-\d\d-\d\dT\d\d:\d\dZ  ", line) for line in lines[1:4]), lines


def test_warnings_faults_and_errors_fit_the_terminal(desk: Desk, tmp_path: Path) -> None:
    unusual = tmp_path / "unusual.csv"
    unusual.write_text(cluster_rows([(9, 1, 900)]), encoding="utf-8")
    wrong = tmp_path / "wrong.csv"
    wrong.write_text(cluster_rows([(9, 2, 5)]).replace("A1", "A9"), encoding="utf-8")
    for path, status, told in ((unusual, 0, "warning:"), (wrong, 1, "no block 'A9'")):
        lines = seen(desk, "load", str(path), status=status)
        assert told in " ".join(lines)
        assert all(len(line) <= 60 or " " not in line.strip() for line in lines), lines


def test_what_check_finds_lists_and_explains_fits_the_terminal(desk: Desk) -> None:
    for words in (("check",), ("check", "--list"), ("check", "--explain", "date_outside_window")):
        lines = seen(desk, *words)
        assert lines
        assert all(len(line) <= 60 or len(line.split()) <= 3 for line in lines), lines


def test_a_page_of_the_guide_fits_the_terminal(desk: Desk) -> None:
    lines = seen(desk, "guide", "needs")
    assert lines[0] == "Which tally feeds which figure"
    assert max(map(len, lines)) <= 60
