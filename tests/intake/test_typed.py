"""A typed record goes through the same intake; a wrong ticket is superseded, and its parts follow the correction."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest

from tests.desk import Desk, cluster_rows, places
from vinebook.errors import FindingsError, VinebookError
from vinebook.intake.typed import add_record, missing_fields
from vinebook.records import journal
from vinebook.records.listing import last_values, shown_record

if TYPE_CHECKING:
    from pathlib import Path

    from vinebook.intake.load import LoadReport

TICKET = {"date": "2023-03-01", "issuer": "Scale", "number": "7A", "basis": "net_as_given", "net": "790"}


def added(desk: Desk, kind: str, values: dict[str, str], **options: Any) -> LoadReport:  # noqa: ANN401 - those of add_record
    return add_record(desk.book, kind, values, by="RM", **options)


def refused(desk: Desk, kind: str, values: dict[str, str], **options: str) -> str:
    before = desk.held()
    with pytest.raises(VinebookError) as caught:
        added(desk, kind, values, **options)
    assert desk.held() == before
    told = [str(finding) for finding in caught.value.findings] if isinstance(caught.value, FindingsError) else []
    return "\n".join([*told, caught.value.message, caught.value.hint])


@pytest.fixture
def weighed(desk: Desk) -> Desk:
    desk.load_texts(
        load="date,issuer,number,basis,net\n2023-03-01,Scale,7,net_as_given,800\n",
        part="issuer,season,number,block,mass,split,picked\nScale,2023,7,A1,300,weighed,hand\n"
        "Scale,2023,7,A2,450,weighed,hand\n",
    )
    return desk


def test_a_typed_record_is_a_tally_of_one_row(desk: Desk) -> None:
    report = added(desk, "event", {"block": "A1", "date": "2022-11-02", "what": "frost"})
    assert [(tally.name, tally.rows) for tally in report.tallies] == [("typed entry", 1)]
    with desk.book.reading() as connection:
        source = connection.exec_driver_sql('SELECT source, "by" FROM tally ORDER BY number DESC LIMIT 1').one()
    assert tuple(source) == ("typed", "RM")
    assert [row["block/date/what"] for row in desk.listed("event")] == ["A1/2022-11-02/frost"]
    assert desk.verify().differences == []


def test_a_typed_vine_finds_its_sample(desk: Desk) -> None:
    desk.load_texts(clusters=cluster_rows([(1, 1, 10)]))
    vine = {"block": "A1", "date": "2022-12-05", "chosen": "random", "counted_by": "KL", "row": "1", "vine": "2"}
    added(desk, "cluster_tally", {**vine, "clusters": "12"})
    assert len(desk.listed("sample")) == 1
    assert "cluster_tally:" in refused(desk, "cluster_tally", {**vine, "clusters": "13"})
    assert len(desk.listed("cluster_tally")) == 2
    assert desk.verify().differences == []


def test_an_unusual_record_is_warned_of_by_field(desk: Desk) -> None:
    vine = {"block": "A1", "date": "2022-12-05", "chosen": "random", "counted_by": "KL", "row": "1", "vine": "2"}
    warnings = added(desk, "cluster_tally", {**vine, "clusters": "900"}).warnings
    assert [str(warning).partition(" ")[0] for warning in warnings] == ["cluster_tally:clusters:"]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"block": "A1", "date": "2022-11-02", "what": "snow"}, "event:what: "),
        ({"block": "A9", "date": "2022-11-02", "what": "frost"}, "event:block: no block 'A9' is in the book"),
        ({"block": "A1", "what": "frost"}, "event:date: is empty"),
        ({"block": "A1", "when": "2022-11-02"}, "an event has no field 'when'"),
        ({"block": "A1", "date": "2022-11-02", "what": "frost", "words": "a\nb"}, "a sign that cannot be kept"),
        ({"block": "A1", "date": "2022-11-02", "what": "frost", "words": "\udcff"}, "a sign that cannot be kept"),
        ({"block": "=1+1", "date": "2022-11-02", "what": "frost"}, "event:block: "),
    ],
)
def test_a_wrong_record_is_told_by_field(desk: Desk, values: dict[str, str], words: str) -> None:
    assert words in refused(desk, "event", values)


def test_a_correction_takes_the_parts_along(weighed: Desk) -> None:
    added(weighed, "load", TICKET, supersedes="Scale/2023/7", reason="tare misread")
    assert [row["issuer/season/number"] for row in weighed.listed("load")] == ["Scale/2023/7A"]
    key = next(iter(weighed.listed("load_part")[0]))
    assert [row[key] for row in weighed.listed("load_part")] == ["Scale/2023/7A/A1/1", "Scale/2023/7A/A2/1"]
    with weighed.book.reading() as connection:
        entry = journal.newest(connection)
        old = shown_record(connection, "load", "#4", units="metric")
        part = shown_record(connection, "load_part", "Scale/2023/7A/A1/1", units="metric")
    assert entry is not None
    body = json.loads(entry.body)
    assert (entry.action, body["new_key"], body["carried"]) == ("supersede", "Scale/2023/7A", {"load_part": [5, 6]})
    assert (
        old["then 1"]
        == f"superseded {entry.at} by RM (entry {entry.number}) by Scale/2023/7A (#7); reason: tare misread"
    )
    assert part["then 1"].startswith("carried over, as what it names was superseded")
    assert weighed.verify().differences == []


def test_a_correction_is_corrected_and_may_keep_its_number(weighed: Desk) -> None:
    added(weighed, "load", {**TICKET, "number": "7"}, supersedes="Scale/2023/7", reason="tare misread")
    added(weighed, "load", {**TICKET, "net": "770"}, supersedes="Scale/2023/7", reason="tare misread again")
    with weighed.book.reading() as connection:
        part = shown_record(connection, "load_part", "Scale/2023/7A/A1/1", units="metric")
    assert ["superseded" in part[f"then {at}"] for at in (1, 2)] == [True, True]
    assert weighed.verify().differences == []


@pytest.mark.parametrize(
    ("kind", "values", "options", "words"),
    [
        ("load", TICKET, {"supersedes": "Scale/2023/7"}, "a correction needs a reason"),
        ("load", TICKET, {"supersedes": "Scale/2023/8", "reason": "typo"}, "there is no load Scale/2023/8"),
        ("load", TICKET, {"reason": "typo"}, "name the record with --supersedes"),
        ("load", {**TICKET, "net": "700"}, {"supersedes": "#4", "reason": "typo"}, "more than the new net of 700 kg"),
        ("load", {**TICKET, "net": "x"}, {"supersedes": "#4", "reason": "typo"}, "load:net: "),
        ("event", {}, {"supersedes": "#4", "reason": "typo"}, "an event is amended, not superseded"),
        ("sample", {}, {}, "is not a kind that can be added"),
        ("nothing", {}, {}, "is not a kind that can be added"),
    ],
)
def test_what_cannot_be_added_is_refused(
    weighed: Desk, kind: str, values: dict[str, str], options: dict[str, str], words: str
) -> None:
    assert words in refused(weighed, kind, values, **options)


def test_a_record_is_superseded_once(weighed: Desk) -> None:
    added(weighed, "load", TICKET, supersedes="#4", reason="typo")
    assert "was struck or superseded already" in refused(
        weighed, "load", {**TICKET, "number": "7B"}, supersedes="#4", reason="typo"
    )


def test_the_last_record_offers_its_values(weighed: Desk) -> None:
    weighed.load_texts(clusters=cluster_rows([(3, 4, 10)]))
    with weighed.book.reading() as connection:
        vine, load, part, none = (
            last_values(connection, kind) for kind in ("cluster_tally", "load", "load_part", "event")
        )
    assert (vine["block"], vine["counted_by"], vine["date"]) == ("A1", "KL", "2022-12-05")
    assert (load["issuer"], load["date"]) == ("Scale", "2023-03-01")
    assert (part["issuer"], part["season"], part["block"]) == ("Scale", "2023", "A2")
    # Nothing counted, weighed or numbered is offered.
    assert {"row", "vine", "clusters", "net", "gross", "tare", "number", "mass"}.isdisjoint({*vine, *load, *part})
    assert none == {}


def test_a_correction_carries_over_what_it_does_not_name(desk: Desk) -> None:
    desk.load_texts(
        consignee="name\nHill Cellar\n",
        load="date,season,issuer,number,basis,gross,tare,net,scale_interval,consignee,soluble_solids,note\n"
        "2023-03-01,2023,Scale,7,gross_and_tare,2000,1200,800,20,Hill Cellar,22.4,wet\n",
    )
    added(desk, "load", {"tare": "1210", "net": "790", "note": ""}, supersedes="Scale/2023/7", reason="tare misread")
    (row,) = desk.listed("load")
    assert (row["gross"], row["tare"], row["net"], row["scale_interval"]) == (2000, 1210, 790, 20)
    assert (row["consignee"], row["soluble_solids [°Brix]"], row["note"]) == ("Hill Cellar", 22.4, None)
    # Another basis leaves gross and tare behind; another date its season.
    given = {"basis": "net_as_given", "date": "2024-03-01"}
    added(desk, "load", given, supersedes="Scale/2023/7", reason="another slip")
    (row,) = desk.listed("load")
    assert (row["issuer/season/number"], row["gross"], row["net"]) == ("Scale/2024/7", None, 790)
    assert desk.verify().differences == []


def test_a_choice_says_what_else_must_be_filled() -> None:
    given = {"date": "2023-03-01", "issuer": "Scale", "number": "7", "basis": "gross_and_tare"}
    assert [name for name, _, _ in missing_fields("load", given)] == ["gross", "tare", "net"]
    assert [name for name, _, _ in missing_fields("load", {**given, "basis": "bins"})] == ["net", "bins", "bin_mass"]
    panels = [name for name, _, _ in missing_fields("cluster_tally", {"chosen": "panels"})]
    assert "panel_size" in panels
    assert "clusters" in panels


def at_terminal(book: str, typed: bytes, *words: str) -> str:
    """Run a command at a terminal and give what it showed."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "vinebook", "--book", book, "--by", "RM", *words]
    asked = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True)
    os.close(theirs)
    os.write(ours, typed)
    told = b""
    while True:
        try:
            data = os.read(ours, 4096)
        except OSError:
            break
        if not data:
            break
        told += data
    assert asked.wait(timeout=60) == 0, told.decode()
    return told.decode()


@pytest.fixture
def at_desk(sqlite_book: str, tmp_path: Path) -> Desk:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    return desk


def test_a_terminal_is_asked_for_what_is_missing(at_desk: Desk) -> None:
    at_desk.load_texts(event="block,date,what\nA2,2022-11-02,frost\n")
    # The block is taken as it was offered; the date is typed.
    told = at_terminal(at_desk.url, b"\n2022-11-09\n", "add", "event", "what=hail")
    assert "block [A2]" in told
    assert "date [2022-11-02]" in told
    assert "added event A2/2022-11-09/hail (#" in told
    assert at_desk.verify().differences == []


def test_a_terminal_asks_again_for_what_was_refused(at_desk: Desk) -> None:
    told = at_terminal(at_desk.url, b"A1\n9.11.2022\n2022-11-09\n", "add", "event", "what=hail")
    assert "event:date:" in told
    assert told.count("block: Block.") == 1
    assert "added event A1/2022-11-09/hail (#" in told


def test_a_terminal_offers_what_is_superseded(at_desk: Desk) -> None:
    at_desk.load_texts(load="date,issuer,number,basis,net\n2023-03-01,Scale,7,net_as_given,800\n")
    words = ("add", "load", "--supersedes", "Scale/2023/7", "--reason", "typo")
    told = at_terminal(at_desk.url, b"\n\n7A\n\n790\n", *words)
    assert "number [7]" in told
    assert "net [800 kg]" in told
    assert "added load Scale/2023/7A (#" in told
    assert at_desk.listed("load")[0]["net"] == 790


def test_a_key_that_is_taken_names_the_command_that_corrects_it(desk: Desk) -> None:
    places(desk)
    added(desk, "load", TICKET)
    with pytest.raises(FindingsError) as caught:
        added(desk, "load", {**TICKET, "net": "791"})
    assert "`vinebook add load --supersedes KEY`" in str(caught.value.findings[0])
