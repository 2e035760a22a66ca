"""Corrections, copies and checks as a person types them: what is said, where it goes, how it ends."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from tests.cli.line import Line
from tests.desk import Desk, cluster_rows, places
from vinebook.records import schema

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Connection

KEY = "A1/2023/cluster_tally/2022-12-05/before/all/random/KL/1/1"
TICKET = ("date=2023-03-01", "issuer=Scale", "number=7A", "basis=net_as_given", "net=790")


@pytest.fixture
def line(sqlite_book: str, tmp_path: Path) -> Line:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    desk.load_texts(
        counts=cluster_rows([(1, 1, 10), (1, 2, 20)]),
        load="date,issuer,number,basis,net\n2023-03-01,Scale,7,net_as_given,800\n",
    )
    return Line(desk)


def test_corrections_say_what_was_done(line: Line) -> None:
    told = line.run("amend", "cluster_tally", KEY, "clusters=12", "--was", "clusters=10", "--reason", "typo").stderr
    assert told == f"amended cluster_tally {KEY} (#5): clusters 10 → 12; entry 6\n"
    told = line.run("strike", "cluster_tally", "#6", "--reason", "typo").stderr
    assert told.startswith("struck cluster_tally A1/")
    assert told.endswith("(#6); entry 7\n")
    told = line.run("add", "load", *TICKET, "--supersedes", "Scale/2023/7", "--reason", "tare misread").stderr
    assert told.endswith("added load Scale/2023/7A (#8), which supersedes Scale/2023/7\n")
    told = line.run("strike", "load", "#8", "--with-rows", "--reason", "typo").stderr
    assert told == "struck load Scale/2023/7A (#8); entry 10\n"
    assert line.run("verify", "--quiet").exit_code == 0


def test_the_life_of_a_row_is_shown(line: Line) -> None:
    line.run("amend", "cluster_tally", "#5", "clusters=12", "--reason", "typo")
    line.run("strike", "cluster_tally", "#5", "--reason", "wrong row")
    shown = line.run("show", "cluster_tally", "#5").stdout
    assert "line 2 of counts.csv" in shown
    assert "clusters 10 → 12; reason: typo" in shown
    assert shown.index("amended") < shown.index("struck 2")
    assert "reason: wrong row" in shown


def test_a_correction_says_what_it_carried_over(line: Line) -> None:
    told = line.run("add", "load", "net=790", "--supersedes", "Scale/2023/7", "--reason", "misread").stderr
    assert "carried over from Scale/2023/7: date, season, issuer, number, basis\n" in told
    assert "in force" not in told


def test_a_correction_carries_a_mass_over_to_the_last_digit(line: Line) -> None:
    """Six significant digits would make 12345.7 of it, and 2.34568e+06 of a great one."""
    for number, net in (("8", "12345.678"), ("9", "2345678.5")):
        typed = ("date=2023-03-02", "issuer=Scale", f"number={number}", "basis=net_as_given", f"net={net}")
        line.run("add", "load", *typed)
        line.run("add", "load", f"number={number}A", "--supersedes", f"Scale/2023/{number}", "--reason", "misread")
        told = line.run("--format", "json", "show", "load", f"Scale/2023/{number}A").stdout
        assert float(json.loads(told)["net"]) == float(net)
        assert f"net {net} kg as given" in line.run("trail", f"Scale/2023/{number}A").stdout
        assert net in line.run("tickets", "--each", "ticket").stdout


def test_a_superseded_record_says_where_it_went(line: Line) -> None:
    line.run("add", "load", "number=7A", "net=790", "--supersedes", "Scale/2023/7", "--reason", "misread")
    told = line.run("show", "load", "Scale/2023/7", status=2).stderr
    assert "there is no load Scale/2023/7 in force: it was superseded by Scale/2023/7A (#8)" in told
    assert "`vinebook show load '#7'` tells when and why" in told
    shown = line.run("show", "load", "Scale/2023/7A").stdout
    assert "supersedes Scale/2023/7 (#7) since " in shown
    assert "reason: misread" in shown
    line.run("strike", "cluster_tally", "#6", "--reason", "typo")
    told = line.run("show", "cluster_tally", KEY.removesuffix("1") + "2", status=2).stderr
    assert "in force: it was struck" in told


def test_a_record_is_shown_by_its_number(line: Line) -> None:
    by_key = line.run("show", "cluster_tally", KEY).stdout
    assert line.run("show", "#5").stdout == by_key
    assert line.run("show", "cluster_tally", "5").stdout == by_key
    assert "there is no record #999" in line.run("show", "#999", status=2).stderr
    assert "alone names no record" in line.run("show", "A1", status=2).stderr


def test_a_change_is_told_in_the_words_of_a_tally(line: Line) -> None:
    line.run("add", "event", "block=A1", "date=2022-12-01", "what=hail", "share_hit=30")
    told = line.run("amend", "event", "A1/2022-12-01/hail", "share_hit=40", "--reason", "typo").stderr
    assert ": share_hit 30 → 40 %; entry " in told
    assert "share_hit 30 → 40 %; reason: typo" in line.run("show", "event", "A1/2022-12-01/hail").stdout


def test_parts_are_listed_by_season(line: Line) -> None:
    line.run("add", "load_part", "issuer=Scale", "season=2023", "number=7", "block=A1", "picked=hand")
    assert "Scale/2023/7/A1/1" in line.run("list", "load_part", "--season", "2023").stdout
    assert "no load part is recorded there" in line.run("list", "load_part", "--season", "2022").stderr


@pytest.mark.parametrize(
    ("words", "near"),
    [
        (("list", "Cluster_tallies"), "did you mean cluster_tally"),
        (("form", "clustertally"), "did you mean cluster_tally"),
        (("figures", "a1"), "did you mean A1"),
        (("figures", "--figure", "yield_per_vin"), "did you mean yield_per_vine"),
        (("guide", "tally"), "did you mean tallies"),
        (("check", "--explain", "old_cencus"), "did you mean old_census?"),
        (("add", "events"), "did you mean event?"),
        (("show", "block", "a1"), "did you mean A1?"),
    ],
)
def test_a_near_name_is_offered(line: Line, words: tuple[str, ...], near: str) -> None:
    assert near in line.run(*words, status=2).stderr


def test_a_seal_needs_no_quotes(line: Line) -> None:
    seal = line.run("verify").stdout.splitlines()[1].removeprefix("seal ")
    assert line.run("verify", "--seal", *seal.split()).stdout == line.run("verify", "--seal", seal).stdout
    assert "a seal stands behind --seal" in line.run("verify", "word", status=2).stderr


def test_a_season_without_records_is_told(line: Line) -> None:
    told = line.run("figures", "A1", "--season", "2019").stderr
    assert told.startswith("nothing of A1 is recorded for 2019")
    assert "2023" in told


def test_forms_come_in_the_units_of_the_book(line: Line, tmp_path: Path) -> None:
    assert "row_spacing [m]" in line.run("form", "planting").stdout
    line.run("amend", "vineyard", "Low Terrace", "units=us", "--reason", "typo")
    assert "row_spacing [ft]" in line.run("form", "planting").stdout
    assert "row_spacing [m]" in line.run("form", "planting", "--units", "metric").stdout
    folder = tmp_path / "forms"
    folder.mkdir()
    line.run("form", "-o", str(folder))
    assert (folder / "planting.csv").read_text("utf-8-sig").count("[ft]") >= 2
    assert len(list(folder.iterdir())) > 20


def test_a_mass_stands_beside_its_unit(line: Line) -> None:
    headings = line.run("list", "load", "--format", "csv").stdout.splitlines()[0].split(",")
    assert headings[headings.index("net") + 1] == "mass_unit"


def test_a_file_is_replaced(line: Line) -> None:
    mended = line.desk.write("mended.csv", cluster_rows([(1, 1, 11)]))
    told = line.run("load", str(mended), "--replaces", "counts.csv", "--reason", "miscounted").stderr
    assert "struck 2 rows of counts.csv (tally " in told
    names = [row["name"] for row in json.loads(line.run("list", "tally", "--format", "json").stdout)]
    assert names == ["vineyard.csv", "block.csv", "counts.csv", "load.csv", "mended.csv"]


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("amend", "cluster_tally", KEY, "clusters=12"), 2, "a correction needs a reason"),
        (("amend", "cluster_tally", KEY, "vine=12", "--reason", "typo"), 2, "vine is part of the key"),
        (("amend", "cluster_tally", KEY, "clusters", "--reason", "typo"), 2, "'clusters' is not FIELD=VALUE"),
        (("amend", "cluster_tally", KEY, "clusters=1", "clusters=2", "--reason", "x"), 2, "clusters is named twice"),
        (("amend", "cluster_tally", KEY, "clusters=x", "--reason", "typo"), 1, "clusters: "),
        (
            ("amend", "cluster_tally", KEY, "clusters=1", "--was", "clusters=3", "--reason", "x"),
            1,
            "clusters is 10, not 3",
        ),
        (("amend", "load", "Scale/2023/7", "net=1", "--reason", "typo"), 2, "a load is superseded, not amended"),
        (("strike", "cluster_tally", KEY), 2, "a correction needs a reason"),
        (("strike", "block", "A1", "--reason", "typo"), 1, "named by live records: 1 sample"),
        (("strike", "block", "A1", "--with-rows", "--reason", "typo"), 2, "a block has no rows of its own"),
        (("add", "event", "block=A1", "date=2022-11-02", "what=snow"), 1, "event:what: "),
        (("add", "load", *TICKET, "--supersedes", "Scale/2023/7"), 2, "a correction needs a reason"),
        (("add", "load", *TICKET, "--reason", "typo"), 2, "name the record with --supersedes"),
        (("add", "event", "what=hail", "--supersedes", "#1", "--reason", "x"), 2, "amended, not superseded"),
        (("load", "counts.csv", "--reason", "typo"), 2, "name the earlier file with --replaces"),
        (
            ("load", "a.csv", "b.csv", "--replaces", "counts.csv", "--reason", "x"),
            2,
            "one file replaces one earlier file",
        ),
        (("load", "a.csv", "--replaces", "counts.csv"), 2, "a correction needs a reason"),
        (("verify", "--seal", "abc"), 2, "is not a seal"),
        (("verify", "--seal", "0" * 64), 1, "no entry of this book has the seal"),
        (("restore", "none.db"), 1, "there is no copy at none.db"),
    ],
    ids=lambda value: " ".join(value)[:60] if isinstance(value, tuple) else None,
)
def test_what_cannot_be_done_is_refused(line: Line, words: tuple[str, ...], status: int, said: str) -> None:
    before = line.desk.held()
    assert said in line.run(*words, status=status).stderr
    assert line.desk.held() == before


def test_verify_tells_of_a_seal_and_of_todays_reader(line: Line) -> None:
    seal = line.run("verify").stdout.splitlines()[1].removeprefix("seal ")
    line.run("strike", "block", "A2", "--reason", "typo")
    told = line.run("verify", "--seal", seal, "--reread")
    assert "1 entry came after it (1 strike)" in told.stdout
    assert "today's reader reads every kept file as it was read then" in told.stderr


def test_a_book_is_copied_and_brought_back(line: Line) -> None:
    folder = line.desk.folder
    copy = str(folder / "copy.db")
    assert line.run("backup", copy).stderr == f"copied {line.desk.url} to {copy}; the copy verifies\n"
    assert "exists already" in line.run("backup", copy, status=1).stderr
    assert "add --over" in line.run("restore", copy, status=1).stderr
    told = line.run("restore", copy, "--over").stderr
    assert told.endswith(f"it verifies; what stood there is now {line.desk.url}.before-restore-1\n")
    line.desk.tamper("UPDATE block SET name = 'x'")
    assert "name is x in the table" in line.run("backup", str(folder / "other.db"), status=1).stderr
    assert not (folder / "other.db").exists()


def test_a_book_that_is_up_to_date_is_verified_and_left(line: Line) -> None:
    before = line.desk.held()
    assert line.run("upgrade").stderr == f"{line.desk.url} is up to date (schema {schema.HEAD})\nit verifies\n"
    assert line.desk.held() == before
    line.desk.tamper("UPDATE block SET name = 'x'")
    assert "name is x in the table" in line.run("upgrade", status=1).stderr


def migrate(connection: Connection) -> None:
    """Stand for a later schema."""
    connection.exec_driver_sql("CREATE TABLE later (number INTEGER) STRICT")
    connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")


def test_an_older_book_is_copied_then_upgraded_then_verified(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    was, seal = schema.HEAD, line.desk.held()["seal"]
    monkeypatch.setattr(schema, "EARLIER", (was,))
    monkeypatch.setattr(schema, "HEAD", "9999")
    monkeypatch.setattr(schema, "_migrate", migrate)
    told = line.run("upgrade").stderr
    kept = f"as it was it is kept as {line.desk.url}.before-{was}"
    assert told == f"{line.desk.url} went from schema {was} to 9999\n{kept}\nit verifies\n"
    assert "1 entry came after it (1 upgrade)" in line.run("verify", "--seal", str(seal)).stdout
    monkeypatch.undo()
    copy = Desk(f"{line.desk.url}.before-{was}", line.desk.folder)
    assert copy.held()["seal"] == seal
    assert copy.verify().differences == []


def test_an_upgrade_that_fails_leaves_the_book(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    was = schema.HEAD

    def fail(connection: Connection) -> None:
        migrate(connection)
        raise OSError(5, "Input/output error")

    before = line.desk.held()
    with monkeypatch.context() as patch:
        patch.setattr(schema, "EARLIER", (was,))
        patch.setattr(schema, "HEAD", "9999")
        patch.setattr(schema, "_migrate", fail)
        assert "Input/output error" in line.run("upgrade", status=1).stderr
    assert line.desk.held() == before
    assert line.desk.verify().differences == []
