"""Disk full, no rights, a second writer, a clock that stands back, a damaged page: a clear sentence, nothing lost."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, TextIO

import pytest

from tests.audit.corrections import fill
from tests.desk import Desk, cluster_rows
from vinebook.audit.verify import verify_book
from vinebook.errors import BookLockedError, DatabaseError, VinebookError
from vinebook.intake.amending import amend
from vinebook.records import journal
from vinebook.records.book import Book
from vinebook.records.waiting import Waiting

TOP = Path(__file__).parents[2]
PAGE = 4096
SPOILT = 12
"""Pages that are spoilt, each in a copy of its own."""


@pytest.fixture
def desk(sqlite_book: str, tmp_path: Path) -> Desk:
    desk = Desk(sqlite_book, tmp_path)
    fill(desk, rows=9)
    return desk


# Root may write anywhere, unless it lays that power down.
POWERLESS = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"] if os.getuid() == 0 else []


def ran(
    *words: str | Path, out: int | TextIO = subprocess.PIPE, powerless: bool = False, cwd: Path | None = None
) -> tuple[int, str]:
    """Run the command line and give its exit status and what it told."""
    done = subprocess.run(
        [*(POWERLESS if powerless else []), sys.executable, "-m", "vinebook", *words],
        stdout=out,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    assert "Traceback" not in done.stderr
    assert "a fault of the program itself" not in done.stderr
    return done.returncode, done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("list", "block"),
        ("list", "cluster_tally", "--format", "csv"),
        ("list", "cluster_tally", "--format", "json"),
        ("show", "block", "A1"),
        ("figures", "A1"),
        ("form", "block"),
        ("verify",),
        ("guide",),
        ("report", "history", "A1", "-o", "full.pdf"),
        ("--help",),
    ],
    ids=" ".join,
)
def test_a_full_output_is_told(desk: Desk, words: tuple[str, ...]) -> None:
    # By another name, so that a report which took the device's place would take that name only.
    (desk.folder / "full.pdf").symlink_to("/dev/full")
    with Path("/dev/full").open("w") as full:
        status, told = ran("--book", desk.url, *words, out=full, cwd=desk.folder)
    assert (desk.folder / "full.pdf").is_symlink()
    assert status == 1
    assert "No space left on device" in told
    assert desk.verify().differences == []


def test_an_output_that_was_closed_is_no_fault(desk: Desk) -> None:
    done = subprocess.run(
        ["sh", "-c", f'exec "{sys.executable}" -m vinebook --book "{desk.url}" list block >&-'],
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    assert (done.returncode, done.stderr) == (0, "")


def amend_until_full(book: Book) -> None:
    for at in range(999):
        amend(book, "event", "A1/2022-11-01/frost", {"words": f"{at} {'x' * 900}"}, reason="typo", by="RM")


def test_a_book_without_room_stores_nothing(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    connect = sqlite3.connect

    def small(*given: Any, **options: Any) -> sqlite3.Connection:  # noqa: ANN401 - as the one it stands for
        raw = connect(*given, **options)
        raw.execute("PRAGMA max_page_count = 1").fetchone()
        return raw

    before = desk.held()
    monkeypatch.setattr("vinebook.records.engine.sqlite3.connect", small)
    full = Book(desk.url)
    path = desk.write("more.csv", cluster_rows([(at, vine, vine) for at in range(2, 99) for vine in range(1, 60)]))
    with pytest.raises(DatabaseError, match=r"there is no room left for .*; nothing was stored"):
        Desk(desk.url, desk.folder).load(path)
    with pytest.raises(DatabaseError, match="no room left"):
        amend_until_full(full)
    monkeypatch.undo()
    after = desk.held()
    assert {name: after[name] for name in ("cluster_tally", "tally", "counters")} == {
        name: before[name] for name in ("cluster_tally", "tally", "counters")
    }
    assert desk.verify().differences == []


def test_a_folder_without_rights_is_read_and_not_written(desk: Desk) -> None:
    folder = desk.folder / "closed"
    folder.mkdir()
    book = folder / "book.db"
    shutil.copyfile(desk.url, book)
    book.chmod(0o444)
    folder.chmod(0o555)
    reads: list[tuple[str | Path, ...]] = [("verify",), ("list", "block"), ("backup", desk.folder / "copy.db")]
    for words in reads:
        assert ran("--book", book, *words, powerless=True)[0] == 0
    writes: list[tuple[str | Path, ...]] = [
        ("amend", "event", "A1/2022-11-01/frost", "share_hit=3", "--reason", "typo"),
        ("add", "event", "block=A1", "date=2022-11-20", "what=hail"),
        ("backup", "copy.db"),
        ("--book", "new.db", "new"),
        ("form", "block", "-o", "block.csv"),
    ]
    for words in writes:
        status, told = ran("--book", book, "--by", "RM", *words, powerless=True, cwd=folder)
        assert status == 1, words
        assert any(word in told for word in ("cannot be written", "cannot be made", "cannot be opened")), told
    # A copy on a medium that cannot be written is brought back all the same.
    assert ran("--book", desk.folder / "again.db", "restore", book, powerless=True)[0] == 0
    assert [path.name for path in folder.iterdir()] == ["book.db"]
    folder.chmod(0o755)


def test_a_second_writer_is_told(desk: Desk) -> None:
    late = Book(desk.url, Waiting(0))
    with desk.book.writing(), pytest.raises(BookLockedError, match="is being written by somebody else"):
        amend(late, "event", "A1/2022-11-01/frost", {"share_hit": "3"}, reason="typo", by="RM")
    assert desk.verify().differences == []


def test_an_entry_takes_the_clocks_time_even_if_it_stands_back(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal, "now", lambda: "2001-01-01T00:00:00.000000Z")
    done = amend(desk.book, "event", "A1/2022-11-01/frost", {"share_hit": "3"}, reason="typo", by="RM")
    report = desk.verify()
    assert report.differences == []
    assert [note for note in report.notes if note.startswith(f"the clock stood back at entry {done.entry}: 2001-01-01")]


def test_a_damaged_page_is_told_and_stops_no_other_program(desk: Desk) -> None:
    whole = desk.verify()
    desk.book.refresh_statistics()
    with closing(sqlite3.connect(desk.url)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        held = _contents(raw)
    data = Path(desk.url).read_bytes()
    copy = desk.folder / "damaged.db"
    chance = random.Random(4)  # noqa: S311 - seeded damage
    found = 0
    for page in chance.sample(range(len(data) // PAGE), SPOILT):
        spoilt = bytearray(data)
        spoilt[page * PAGE : (page + 1) * PAGE] = chance.randbytes(PAGE)
        copy.write_bytes(spoilt)
        told = _told_of(copy, whole.seal)
        if told:
            assert any("damaged" in words or "no vinebook book" in words or "#" in words for words in told), told
            found += 1
        else:
            # The page held nothing that is in use.
            with closing(sqlite3.connect(copy)) as raw:
                assert _contents(raw) == held
    assert found > SPOILT // 2
    assert Path(desk.url).read_bytes() == data


def _told_of(copy: Path, seal: str) -> list[str]:
    """Verify a damaged book and give what is said of it."""
    try:
        return verify_book(Book(str(copy)), seal=seal).differences
    except VinebookError as trouble:
        return [trouble.message]


def _contents(raw: sqlite3.Connection) -> list[object]:
    names = [row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    return [raw.execute(f'SELECT * FROM "{name}"').fetchall() for name in names if not name.startswith("sqlite_stat")]
