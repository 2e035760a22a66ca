"""The command line as a person meets it: help, exit statuses, what goes where, and never a traceback."""

from __future__ import annotations

import csv
import io
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from tests.desk import CLUSTERS, SAMPLE
from vinebook.cli import COMMANDS, vinebook
from vinebook.kinds import KINDS, LOADED_KINDS
from vinebook.records.book import Book

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from sqlalchemy import Connection

TOP = Path(__file__).parents[2]
SMALL = sorted(map(str, (TOP / "tests" / "small").glob("*.csv")))


class Line:
    """A command line in a folder of its own, with a book."""

    def __init__(self, folder: Path, book: str) -> None:
        self.folder = folder
        self.book = book

    def run(self, *words: str, book: str | None = None) -> Result:
        """Run a command in this process; a fault of the program itself fails the test."""
        done = CliRunner().invoke(vinebook, ["--book", book or self.book, "--by", "KL", *words], prog_name="vinebook")
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return done

    def refuses(self, status: int, *words: str, book: str | None = None) -> str:
        """Run a command that must end with this status, say why on stderr alone, and give what it says."""
        done = self.run(*words, book=book)
        assert done.exit_code == status, done.output
        assert done.stdout == ""
        assert "Traceback" not in done.stderr
        return done.stderr

    def process(self, *words: str, **more: object) -> subprocess.CompletedProcess[str]:
        """Run a command as a process of its own."""
        return subprocess.run(
            [sys.executable, "-m", "vinebook", "--by", "KL", *words],
            check=False,
            capture_output="stdout" not in more,
            text=True,
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": str(TOP), "VINEBOOK_BOOK": self.book},
            **more,
        )  # type: ignore[call-overload]


@pytest.fixture
def line(book_url: str, tmp_path: Path) -> Line:
    made = Line(tmp_path, book_url)
    assert made.run("load", *SMALL).exit_code == 0
    return made


@pytest.fixture
def file_line(sqlite_book: str, tmp_path: Path) -> Line:
    made = Line(tmp_path, sqlite_book)
    assert made.run("load", *SMALL).exit_code == 0
    return made


@pytest.mark.parametrize("word", ["-h", "--help"])
@pytest.mark.parametrize("command", [None, *COMMANDS])
def test_every_command_teaches(command: str | None, word: str) -> None:
    done = CliRunner().invoke(vinebook, [*([command] if command else []), word], prog_name="vinebook")
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    assert "Usage: vinebook" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "\b" not in done.stdout
    if command is None:
        assert all(name in done.stdout for name in COMMANDS)


def test_a_new_book_says_its_seal(empty_url: str) -> None:
    line = Line(Path(), empty_url)
    done = line.run("new")
    assert done.exit_code == 0
    assert "its first seal is " in done.stderr
    assert done.stderr.split()[-1] in line.run("verify").stdout
    assert "already" in line.refuses(1, "new")


def test_loading_says_what_came_in(line: Line) -> None:
    (line.folder / "more.csv").write_text(CLUSTERS + f"{SAMPLE},9,1,5\n")
    done = line.run("load", str(line.folder / "more.csv"))
    assert (done.exit_code, done.stdout) == (0, "")
    assert "more.csv" in done.stderr
    assert "1 row" in done.stderr
    again = line.run("load", str(line.folder / "more.csv"))
    assert again.exit_code == 0
    assert "nothing done" in again.stderr
    quiet = line.run("--quiet", "load", str(line.folder / "more.csv"))
    assert (quiet.stdout, quiet.stderr) == ("", "")


def test_faults_are_told_by_file_line_and_column(line: Line) -> None:
    path = line.folder / "t.csv"
    path.write_text(CLUSTERS + f"{SAMPLE},9,1,x\n")
    words = line.refuses(1, "load", str(path))
    assert words.startswith(f"{path}:2:clusters: 'x' is not a number; expected a whole number")
    assert "1 fault found; nothing was stored" in words


@pytest.mark.parametrize("kind", KINDS)
def test_a_list_is_json_and_csv(line: Line, kind: str) -> None:
    rows = json.loads(line.run("list", kind, "--format", "json").stdout)
    table = list(csv.DictReader(io.StringIO(line.run("--format", "csv", "list", kind).stdout)))
    assert len(rows) == len(table)
    for row, cells in zip(rows, table, strict=True):
        assert {name: "" if value is None else str(value) for name, value in row.items()} == cells
        key = next(iter(row.values()))
        shown = json.loads(line.run("show", kind, key, "--format", "json").stdout)
        assert shown["key"] == key
        assert shown["record"] == f"#{row['record']}"
        assert key in line.run("show", kind, key).stdout
        assert key in line.run("show", kind, key, "--format", "csv").stdout


def test_a_list_of_nothing_says_so_beside_the_output(line: Line) -> None:
    done = line.run("list", "event")
    assert (done.exit_code, done.stdout) == (0, "")
    assert "no event is recorded" in done.stderr
    assert json.loads(line.run("list", "event", "--format", "json").stdout) == []


def test_options_stand_before_or_behind_the_command(line: Line) -> None:
    before = line.run("--units", "us", "--format", "csv", "list", "planting").stdout
    behind = line.run("list", "planting", "--units", "us", "--format", "csv").stdout
    both = line.run("--units", "metric", "list", "planting", "--units", "us", "--format", "csv").stdout
    assert "row_spacing [ft]" in before
    assert before == behind == both
    assert CliRunner().invoke(vinebook, ["list", "block", "--book", line.book]).stdout.startswith("code")


def test_a_list_can_be_narrowed(line: Line) -> None:
    assert len(line.run("list", "cluster_tally", "--block", "A1", "--season", "2023").stdout.splitlines()) == 7
    assert line.run("list", "cluster_tally", "--season", "2019").stdout == ""
    assert len(line.run("list", "block", "--block", "A1").stdout.splitlines()) == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["lost"], "there is no command 'lost'. Did you mean list"),
        (["zzz"], "`vinebook --help` lists them"),
        (["list"], "Missing argument 'KIND'"),
        (["list", "grape"], "'grape' is not a kind of record"),
        (["list", "block", "--season", "2023"], "a block has no season"),
        (["list", "consignee", "--block", "A1"], "a consignee has no block"),
        (["list", "event", "--block", "Z9"], "there is no block Z9"),
        (["list", "event", "--season", "9" * 30], "is not in the range"),
        (["list", "event", "--season", "two"], "is not a valid"),
        (["list", "block", "--format", "xml"], "'xml' is not one of"),
        (["show", "block", "Z9"], "there is no block Z9"),
        (["show", "event", "A1/2022-99-99/frost"], "is not a date"),
        (["show", "block", "#" + "9" * 40], "there is no block"),
        (["form", "grape"], "'grape' is not a kind of tally"),
        (["form", "sample"], "'sample' is not a kind of tally"),
        (["load"], "Missing argument"),
        (["load", "x.csv", "--max-size", "big"], "'big' is not a size"),
        (["load", "x.csv", "--max-size", "0"], "'0' is not a size"),
        (["load", "x.csv", "--max-size", "9" * 5000], "is not a size"),
        (["load", "x.csv", "--max-size", "-5"], "'-5' is not a size"),
        (["load", *SMALL, "--kind", "grape"], "'grape' is not a kind of tally"),
        (["load", *SMALL, "--by", "K\nL"], "who acts has no usable name"),
        (["load", *SMALL, "--by", ""], "who acts has no usable name"),
        (["guide", "nothing"], "the guide has no page 'nothing'"),
        (["guide", ""], "one of: bands, check"),
        (["figures", ""], "the key of a block is empty"),
        (["figures", "A1/B"], "expected 1 part: code"),
        (["tickets", "--by", "pick"], "what each line sums: --each pick"),
        (["add", "event"], "it needs: block, date, what; `vinebook form event` explains every field"),
        (["add", "event", "note= "], "an event has no field 'note'"),
        (["add", "event", "words= "], "nothing of an event was named"),
        (["check", "A9"], "there is no block A9"),
        (["check", "--silence", "hand_picked", "--block", "A1"], "a rule is silenced with a reason"),
        (["verify", "--seal", "abc"], "is not a seal"),
        (["--nothing"], "No such option"),
    ],
)  # fmt: skip
def test_words_that_are_off_end_with_2(line: Line, words: list[str], said: str) -> None:
    assert said in line.refuses(2, *words)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["load", "none.csv"], "none.csv cannot be opened: No such file or directory"),
        (["load", "."], ". is not a file"),
        (["load", "/dev/null"], "is not a file"),
        (["form", "block", "-o", "none/block.csv"], "there is no folder none"),
        (["form", "block", "row", "-o", "none"], "there is no folder none"),
        (["form", "block", "-o", SMALL[0]], "exists already"),
        (["form", "block", "-o", "/proc/block.csv"], "cannot be written"),
        (["form", "block", "-o", "x" * 300], "File name too long"),
    ],
)
def test_what_cannot_be_read_or_written_ends_with_1(line: Line, words: list[str], said: str) -> None:
    assert said in line.refuses(1, *words)


@pytest.mark.parametrize(
    "words", [["list", "block"], ["verify"], ["load", *SMALL], ["show", "block", "A1"], ["upgrade"]]
)
@pytest.mark.parametrize(
    ("book", "said", "status"),
    [
        ("none.db", "there is no book at none.db", 1),
        (str(TOP), "is a folder, not a book", 1),
        (SMALL[0], "is no vinebook book, or is damaged", 1),
        ("mysql://a/b", "vinebook keeps no book on mysql", 2),
        ("x" * 300, "File name too long", 1),
    ],
)
def test_a_book_that_is_none_is_told(tmp_path: Path, words: list[str], book: str, said: str, status: int) -> None:
    assert said in Line(tmp_path, book).refuses(status, *words)


def test_verify_ends_with_1_where_there_is_a_difference(file_line: Line) -> None:
    import sqlite3

    assert file_line.run("verify").exit_code == 0
    assert json.loads(file_line.run("verify", "--format", "json").stdout)["differences"] == []
    raw = sqlite3.connect(file_line.book)
    raw.execute("UPDATE cluster_tally SET clusters = 99 WHERE clusters = 31")
    raw.commit()
    raw.close()
    said = file_line.refuses(1, "verify")
    assert "clusters is 99 in the table, 31 in the reading" in said
    assert "the book does not verify: 1 difference" in said


def test_forms_fit_what_load_reads(line: Line) -> None:
    for units in ("metric", "us"):
        folder = line.folder / units
        folder.mkdir()
        done = line.run("form", *LOADED_KINDS, "block", "-o", str(folder), "--units", units)
        assert done.exit_code == 0, done.stderr
        assert {path.stem for path in folder.iterdir()} == set(LOADED_KINDS)
        for path in folder.iterdir():
            said = line.refuses(1, "load", str(path))
            assert "has headings and no rows" in said, said


def test_figures_and_what_they_mean_together_are_of_one_moment(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[Book] = []
    reading = Book.reading

    def counted(book: Book) -> AbstractContextManager[Connection]:
        taken.append(book)
        return reading(book)

    monkeypatch.setattr(Book, "reading", counted)
    assert "clusters_per_vine" in line.run("figures", "A1").stdout
    # One as the book is opened, to see that there is one, and one for all that is printed.
    assert len(taken) == 2


def test_a_form_is_printed_and_explained_apart(line: Line) -> None:
    done = line.run("form", "cluster_tally")
    assert done.stdout.count("\n") == 1
    assert "clusters" in done.stdout
    assert "must be filled" in done.stderr
    assert line.run("--quiet", "form", "cluster_tally").stderr == ""
    assert all(name in line.run("form").stdout for name in LOADED_KINDS)
    listed = [{"kind": kind.name, "one_row": kind.one_row} for kind in LOADED_KINDS.values()]
    assert list(csv.DictReader(io.StringIO(line.run("form", "--format", "csv").stdout))) == listed
    assert json.loads(line.run("--format", "json", "form").stdout) == listed


def test_a_report_of_a_load_is_json(line: Line) -> None:
    report = json.loads(line.run("load", *SMALL, "--format", "json").stdout)
    assert report["stored"] is True
    assert all(tally["already"] for tally in report["tallies"])


def completed(line: Line, *words: str) -> list[str]:
    """Give what the shell is offered for the last word."""
    done = subprocess.run(
        [sys.executable, "-m", "vinebook"],
        check=False,
        capture_output=True,
        text=True,
        cwd=line.folder,
        env={
            **os.environ,
            "PYTHONPATH": str(TOP),
            "_VINEBOOK_COMPLETE": "bash_complete",
            "COMP_WORDS": " ".join(["vinebook", *words]),
            "COMP_CWORD": str(len(words)),
            "VINEBOOK_BOOK": line.book,
        },
    )
    assert done.stderr == ""
    return [one.partition(",")[2] for one in done.stdout.splitlines() if one]


def test_a_shell_completes_commands_kinds_blocks_and_seasons(line: Line) -> None:
    assert completed(line, "ver") == ["verify"]
    assert completed(line, "list", "cl") == ["cluster_tally", "cluster_lot"]
    assert completed(line, "list", "event", "--block", "A") == ["A1"]
    assert completed(line, "list", "event", "--season", "20") == ["2023"]
    assert completed(line, "figures", "A") == ["A1"]
    assert completed(line, "--book", "none.db", "figures", "A") == []
    assert completed(line, "figures", "--book", "none.db", "A") == []


def test_a_closed_pipe_is_no_fault(file_line: Line) -> None:
    rows = "".join(f"{SAMPLE},{row},{vine},5\n" for row in range(10, 60) for vine in range(1, 101))
    (file_line.folder / "many.csv").write_text(CLUSTERS + rows)
    assert file_line.run("load", str(file_line.folder / "many.csv")).exit_code == 0
    for style in ("csv", "json", "table"):
        command = f"{shlex.quote(sys.executable)} -m vinebook list cluster_tally --format {style}; echo $? >&2"
        done = subprocess.run(
            ["bash", "-c", f"({command}) | head -1"],
            check=True,
            capture_output=True,
            text=True,
            cwd=file_line.folder,
            env={**os.environ, "PYTHONPATH": str(TOP), "VINEBOOK_BOOK": file_line.book},
        )
        assert done.stdout.count("\n") == 1
        assert done.stderr == "0\n"


@pytest.mark.parametrize(
    "words", [["list", "block"], ["list", "block", "--format", "csv"], ["form", "block", "--quiet"]]
)
def test_a_full_disk_is_said_once(file_line: Line, words: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = file_line.process(*words, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert done.stderr == "vinebook: No space left on device\n"


def test_a_terminal_that_lacks_a_sign_shows_its_number(file_line: Line) -> None:
    (file_line.folder / "b.csv").write_text("vineyard,code,from_season\nLow Terrace,🍇,2015\n")
    assert file_line.run("load", str(file_line.folder / "b.csv")).exit_code == 0
    done = subprocess.run(
        [sys.executable, "-m", "vinebook", "list", "block", "--format", "csv"],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(TOP), "VINEBOOK_BOOK": file_line.book, "PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 0
    assert "\\U0001f347" in done.stdout


def test_even_a_fault_of_the_program_is_told_in_words(file_line: Line, tmp_path: Path) -> None:
    program = (
        "import sys, vinebook.cli as cli\n"
        "cli.COMMANDS['list'] = ('nothing_there', '')\n"
        "sys.argv[1:] = ['list', 'block']\n"
        "cli.main()\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    done = subprocess.run([sys.executable, "-c", program], check=False, capture_output=True, text=True, env=environment)
    assert done.returncode == 1
    assert done.stderr.startswith("vinebook: a fault of the program itself: ModuleNotFoundError")
    assert "Traceback" not in done.stderr
    environment["VINEBOOK_TRACEBACK"] = "1"
    done = subprocess.run([sys.executable, "-c", program], check=False, capture_output=True, text=True, env=environment)
    assert "Traceback" in done.stderr


def test_ways_to_name_the_book_and_the_person(sqlite_book: str, tmp_path: Path) -> None:
    line = Line(tmp_path, sqlite_book)
    environment = {**os.environ, "PYTHONPATH": str(TOP), "VINEBOOK_BOOK": sqlite_book, "VINEBOOK_BY": "Vintner"}
    done = subprocess.run(
        [sys.executable, "-m", "vinebook", "load", *SMALL], check=False, capture_output=True, text=True, env=environment
    )
    assert done.returncode == 0
    assert "by Vintner" in line.run("load", *SMALL).stderr
    assert " by Vintner" in line.run("show", "block", "A1").stdout


def test_the_guide_begins_with_the_first_season_and_knows_a_kind_by_its_name(line: Line) -> None:
    listed = line.run("guide")
    assert listed.stdout.startswith("first-season ")
    assert " shoot_tally," in listed.stdout
    assert line.run("guide", "event").stdout == line.run("guide", "kind-event").stdout
