"""Each command of the guide's table as reader, recorder and owner: done where they may, else refused in words."""

from __future__ import annotations

import random
import re
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from tests.audit.corrections import Corrector, fill
from tests.team import LOGINS, Team
from vinebook.api import export_package, load, open_book, verify
from vinebook.cli import COMMANDS, vinebook
from vinebook.intake import load as loading
from vinebook.intake.typed import replace_tally
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.examples import EXAMPLES
from vinebook.resources import guide_folder

if TYPE_CHECKING:
    from tests.postgresql import Server

pytestmark = pytest.mark.postgresql
TOP = Path(__file__).parents[2]
FIRST = sorted(map(str, (TOP / "demo" / "first").glob("*.csv")))
ROW = re.compile(r"^\| (`.*`) \| (yes|no) \| (yes|no) \| (yes|no) \|$", re.MULTILINE)
HAIL = "A1/2024-06-18/hail"
CROP = ("crop", "A1", "--season", "2025", "--on", "2025-06-20")
WRITES = {
    "load": ("load", "more.csv"),
    "add": ("add", "event", "block=A1", "date=2024-05-05", "what=frost"),
    "amend": ("amend", "event", HAIL, "share_hit=15", "--reason", "typo"),
    "strike": ("strike", "event", HAIL, "--reason", "typo"),
    "decide": (
        *("decide", "A1", "--season", "2025", "--decides", "nodes_to_keep", "--value", "24"),
        *("--words", "24 nodes", "--reason", "strong wood", "--decided-on", "2025-01-22"),
    ),
    "draw": (
        *("draw", "A1", "--season", "2025", "--for", "clusters_per_vine", "--on", "2025-05-20"),
        *("--vines", "12", "--seed", "7"),
    ),
    "check --silence": ("check", "--silence", "far_from_past", "--block", "A1", "--reason", "young"),
    "crop --given-to": (*CROP, "--given-to", "Bell Lane Cellar"),
}
READS = {
    "list": ("list", "block"),
    "show": ("show", "event", HAIL),
    "figures": ("figures", "A1", "--rows"),
    "nodes": ("nodes", "A1", "--season", "2025", "--keep", "16"),
    "fruitfulness": ("fruitfulness", "A1"),
    "crop": CROP,
    "report": ("report", "history", "A1", "-o", "a1.pdf"),
    "trail": ("trail", "A1"),
    "tickets": ("tickets",),
    "check": ("check",),
    "verify": ("verify",),
    "export": ("export", "out"),
    "form": ("form", "block"),
    "guide": ("guide", "roles"),
    "roles --who": ("roles", "--who"),
}
OWNS = {
    "upgrade": ("upgrade",),
    "import": ("import", "package"),
    "new": ("new",),
    "roles --apply": ("roles", "--apply"),
}
WORDS = {**READS, **WRITES, **OWNS}
ON_A_FILE = {"backup", "restore"}


def table() -> dict[str, dict[str, bool]]:
    """Give who may do what, as the guide's page says it: by command, then by duty."""
    page = (guide_folder() / "roles.md").read_text(encoding="utf-8")
    found: dict[str, dict[str, bool]] = {}
    for row in ROW.finditer(page):
        may = dict(zip(("reader", "recorder", "owner"), (word == "yes" for word in row.groups()[1:]), strict=True))
        found |= {command.strip("`"): may for command in re.findall(r"`[^`]+`", row[1])}
    return found


def test_the_page_tells_of_every_command() -> None:
    assert set(table()) == set(WORDS)
    assert {command.split(" ")[0] for command in table()} | ON_A_FILE == set(COMMANDS)


@pytest.fixture
def crew(team: Team, monkeypatch: pytest.MonkeyPatch) -> Team:
    """Give a book with a season in it, in a folder with a tally and a package."""
    monkeypatch.chdir(team.folder)
    load(open_book(team.url("owner")), FIRST, by="KL")
    (team.folder / "more.csv").write_text("name\nHollow Lane Cellar\n")
    export_package(open_book(team.url("owner")), team.folder / "package")
    return team


def run(url: str, *words: str) -> Result:
    """Run a command in this process; a fault of the program itself fails the test."""
    done = CliRunner().invoke(vinebook, ["--book", url, "--by", "KL", *words], prog_name="vinebook")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def place_of(crew: Team, who: str, command: str, number: int) -> str:
    """Give the address at which a command is tried: an empty database where a book is to be made."""
    if command not in ("import", "new"):
        return crew.url(who)
    database = f"{crew.database}_made_{number}"
    crew.server.create(database)
    return crew.server.url(database, LOGINS[who])


@pytest.mark.parametrize("who", ["reader", "recorder", "owner"])
def test_each_does_what_the_page_says_and_nothing_else(crew: Team, who: str) -> None:
    for number, (command, may) in enumerate(table().items()):
        url = place_of(crew, who, command, number)
        if command == "upgrade" and not may[who]:
            crew.run("owner", "UPDATE alembic_version SET version_num = '0003'")
        before = crew.desk("owner").held() if command != "upgrade" else {}
        done = run(url, *WORDS[command])
        if may[who]:
            assert done.exit_code == 0, (command, done.output)
            changes = command in WRITES
            assert (crew.desk("owner").held() != before) == changes or command == "upgrade", command
        else:
            assert done.exit_code == 1, (command, done.output)
            assert done.stdout == ""
            sentence, hint = done.stderr.splitlines()
            assert LOGINS[who] in sentence
            assert "owner" in sentence + hint
        if command == "upgrade":
            crew.run("owner", "UPDATE alembic_version SET version_num = '0004'")
        elif not may[who]:
            assert crew.desk("owner").held() == before, command
        if command in ("import", "new"):
            crew.server.drop(f"{crew.database}_made_{number}")
    assert verify(open_book(crew.url("reader"))).differences == []


def test_who_has_no_role_is_told_so(team: Team) -> None:
    for command, words in {**READS, **WRITES}.items():
        if command in ("guide", "form"):
            # They need no book.
            continue
        (team.folder / "more.csv").write_text("name\nHollow Lane Cellar\n")
        done = run(team.url("outsider"), *(word.replace("more.csv", str(team.folder / "more.csv")) for word in words))
        assert done.exit_code == 1, command
        assert "this login may not do that: " in done.stderr
        assert "ask the book's owner" in done.stderr


def test_a_reader_prints_every_report(crew: Team) -> None:
    for report, words in {"overview": (), "trail": ("A1",), "statement": ("--to", "Bell Lane Cellar")}.items():
        done = run(crew.url("reader"), "report", report, *words, "-o", f"{report}.pdf")
        assert done.exit_code == 0, done.output
        assert Path(f"{report}.pdf").read_bytes().startswith(b"%PDF")


def test_a_recorder_loads_every_kind(team: Team, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loading, "ANALYZE_FROM_ROWS", 1)
    files = []
    for name in LOADED_KINDS:
        path = team.folder / f"{name}.csv"
        path.write_text(EXAMPLES[name], encoding="utf-8")
        files.append(path)
    report = load(open_book(team.url("recorder")), files, by="KL")
    assert {tally.kind for tally in report.tallies} == set(LOADED_KINDS)
    assert verify(open_book(team.url("reader"))).differences == []


def test_a_recorder_corrects_whatever_can_be_corrected(team: Team) -> None:
    desk = team.desk("recorder")
    fill(desk)
    corrector = Corrector(desk, random.Random(4))  # noqa: S311 - no cryptography
    for _ in range(60):
        corrector.step()
    assert set(corrector.done) >= {"amend", "strike", "with_rows", "supersede", "add", "load"}
    desk.load_texts(late="block,date,what\nA1,2022-09-01,hail\n")
    mended = desk.write("mended.csv", "block,date,what\nA1,2022-09-02,hail\n")
    replace_tally(desk.book, mended, "late.csv", reason="another day", by="KL")
    assert team.desk("reader").verify().differences == []


def test_a_recorder_is_told_which_rows_repeat(team: Team) -> None:
    desk = team.desk("recorder")
    fill(desk)
    again = desk.write("again.csv", "block,date,what\nA1,2022-11-01,frost\n")
    assert "1 row has a key (line 2) that came in with event.csv" in desk.faults(again)[0]


def test_a_reader_takes_a_copy_that_verifies_with_the_same_seal(crew: Team, postgresql_server: Server) -> None:
    dump = crew.folder / "estate.dump"
    words = ["pg_dump", "--format=custom", "--no-owner", "--no-acl", f"--file={dump}"]
    subprocess.run([*words, crew.url("reader")], check=True)
    again = postgresql_server.create(f"{crew.database}_again")
    subprocess.run(["pg_restore", f"--dbname={again}", "--exit-on-error", dump], check=True)
    copy = verify(open_book(again))
    assert copy.differences == []
    assert copy.seal == verify(open_book(crew.url("reader"))).seal
    postgresql_server.drop(f"{crew.database}_again")


def test_it_prints_sql_or_tells_who(team: Team) -> None:
    printed = run(team.url("reader"), "roles", "--reader", "outsider")
    assert printed.exit_code == 0
    assert printed.stdout.startswith("-- Roles of the vinebook book in the database")
    assert printed.stdout.endswith("COMMIT;\n")
    assert f'GRANT "{team.database}_reader" TO "outsider";' in printed.stdout
    told = run(team.url("owner"), "roles", "--who")
    assert [line.split() for line in told.stdout.splitlines()] == [
        ["owner", "vinebook_owner"],
        ["recorder", f"{team.database}_recorder", "rquill"],
        ["reader", f"{team.database}_reader", "auditor"],
        ["superuser", "postgres", "no", "right", "binds", "them"],
    ]
    given = run(team.url("owner"), "roles", "--neither", "rquill", "--apply", "--format", "json")
    assert '"recorder": []' in given.stdout
    team.run("owner", "GRANT SELECT ON entry TO PUBLIC")
    differs = run(team.url("owner"), "roles", "--who")
    assert differs.exit_code == 1
    assert "PUBLIC has SELECT on table entry" in differs.stderr


@pytest.mark.parametrize("words", [("--who", "--apply"), ("--who", "--reader", "x")])
def test_telling_changes_nothing(team: Team, words: tuple[str, ...]) -> None:
    assert run(team.url("owner"), "roles", *words).exit_code == 2


def test_a_book_in_a_file_has_no_roles(sqlite_book: str) -> None:
    for words in ((), ("--apply",), ("--who",)):
        done = run(sqlite_book, "roles", *words)
        assert done.exit_code == 2
        assert "a book in a file has no roles: whoever may write the file may do everything" in done.stderr
