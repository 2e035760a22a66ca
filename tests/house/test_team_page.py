"""The guide's page on running a book on PostgreSQL: `tests/house/team.py` runs each command of it."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

import pytest

from tests.house.team import main
from tests.postgresql import server_programs
from vinebook.cli import COMMANDS

TOP = Path(__file__).parents[2]
PAGE = (TOP / "vinebook" / "guide" / "team.md").read_text(encoding="utf-8")
COMMANDS_OF_PAGE = [line[4:] for line in PAGE.splitlines() if line.startswith("    ")]
OF_DEBIAN = {"pg_ctlcluster", "pg_createcluster"}
"""Of the package postgresql-common; the run of the page starts servers itself."""
OF_ANY = {"mkdir", "cd", "openssl", "echo", "chmod", "touch", "rm", "cp", "export", "df"}


def words_of(command: str) -> list[list[str]]:
    """Give the words of each program that a line starts."""
    parts = re.split(r"; (?=vinebook)", command)
    return [shlex.split(part) for part in parts]


def test_every_line_is_one_that_a_shell_can_read() -> None:
    assert len(COMMANDS_OF_PAGE) > 60
    done = subprocess.run(
        ["bash", "-n"], input="\n".join(COMMANDS_OF_PAGE), text=True, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_every_command_of_vinebook_is_one() -> None:
    own = [words for line in COMMANDS_OF_PAGE for words in words_of(line) if words[0] == "vinebook"]
    plain = [
        next(word for at, word in enumerate(words) if at and not word.startswith("-") and words[at - 1] != "--book")
        for words in own
    ]
    assert len(plain) > 12
    assert set(plain) <= COMMANDS.keys()


@pytest.mark.postgresql
def test_every_other_program_is_the_servers_or_any_machines() -> None:
    programs = {words[0] for line in COMMANDS_OF_PAGE for words in words_of(line)} - OF_DEBIAN - OF_ANY - {"vinebook"}
    assert "pg_basebackup" in programs
    assert [name for name in programs if not (server_programs() / name).exists()] == []


def test_the_places_that_stand_for_others_are_the_ones_that_the_run_replaces() -> None:
    run = (TOP / "tests" / "house" / "team.py").read_text(encoding="utf-8")
    for word in ("/var/lib/postgresql", "/etc/ssl/estate-ca.pem", "db.estate.example", "replica.estate.example"):
        assert word in PAGE
        assert word in run
    assert set(re.findall(r"\b15/(\w+)", PAGE)) - {"bin"} == {"main", "again", "replica"}


@pytest.mark.slow
@pytest.mark.postgresql
def test_every_command_of_the_page_does_what_it_says(capfd: pytest.CaptureFixture[str]) -> None:
    """A server with TLS, its archive, a recovery to a moment, a copy, a replica, and what each refuses."""
    main()
    assert capfd.readouterr().out.endswith("every command of the page did what it says\n")
