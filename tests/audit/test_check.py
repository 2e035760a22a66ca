"""`check` on both engines: over a loaded book, silenced with a reason, listed, explained, strict, as JSON and CSV."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from vinebook import api
from vinebook.audit.check import RULES, check_book, silence
from vinebook.audit.check_rule import SEVERITIES, years
from vinebook.cli import vinebook
from vinebook.errors import FindingsError, WordsError
from vinebook.records import journal

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

    from tests.desk import Desk

CENSUS = "block,date,bearing,young,missing\nA1,2022-08-01,380,5,15\nA2,2022-08-01,390,5,5\n"
PLANTING = (
    "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"
    "A1,2015,Grey Hen,2.5,1.8,400\nA2,2015,Grey Hen,2.5,1.8,410\n"
)
ROWS = "block,from_season,first_row,last_row,positions\nA1,2015,1,10,40\n"
PRUNED = (
    "block,date,chosen,counted_by,row,vine,spurs,nodes_on_spurs,prunings\n"
    + "".join(f"A1,2022-07-05,random,KL,{row},{3 * row},6,{11 + row % 3},0.6\n" for row in range(1, 11))
    + "A1,2022-07-05,random,KL,11,4,6,0,0.5\n"
)
SHOOTS = "block,date,chosen,counted_by,row,vine,count_shoots,double_shoots,noncount_shoots,blind_nodes\n" + "".join(
    f"A1,2022-10-20,random,KL,{row},{3 * row},14,1,2,3\n" for row in range(1, 11)
)
CLUSTERS = "block,date,chosen,panel_size,counted_by,row,vine,clusters\n" + "".join(
    f"A2,2022-12-05,panels,4,KL,{row},{vine},{20 + vine}\n" for row in (1, 2) for vine in range(5, 9)
)
TICKETS = (
    "date,issuer,number,basis,gross,tare,net,bins,bin_mass,scale_interval,refused\n"
    "2023-03-01,Scale,7,gross_and_tare,3000,1000,2000,,,20,100\n"
    "2023-03-02,Scale,8,bins,,,900,2,400,,0\n"
    "2023-03-03,Scale,9,gross_and_tare,3010,1000,2010,,,20,0\n"
    "2023-03-04,Scale,10,net_as_given,,,500,,,,0\n"
)
PARTS = (
    "issuer,season,number,block,mass,split,picked\n"
    "Scale,2023,7,A1,1200,weighed,hand\nScale,2023,7,A2,700,weighed,hand\n"
    "Scale,2023,8,A1,,whole,hand\n"
    "Scale,2023,9,A1,,whole,hand\nScale,2023,9,A2,,whole,hand\n"
)
FOUND = {
    ("load_not_split", ("A1", "A2"), "load", "Scale/2023/9"),
    ("parts_not_net", ("A1", "A2"), "load", "Scale/2023/7"),
    ("load_without_block", (), "load", "Scale/2023/10"),
    ("bins_not_net", ("A1",), "load", "Scale/2023/8"),
    ("vine_not_in_rows", ("A1",), "pruned_vine", "A1/2023/pruned_vine/2022-07-05/before/all/random/KL/11/4"),
    ("bearers_without_nodes", ("A1",), "pruned_vine", "A1/2023/pruned_vine/2022-07-05/before/all/random/KL/11/4"),
    ("census_against_planting", ("A2",), "vine_census", "A2/2022-08-01/all/0"),
    ("off_scale", ("A1", "A2"), "load", "Scale/2023/9"),
    ("refused_without_reason", ("A1", "A2"), "load", "Scale/2023/7"),
    ("load_without_consignee", ("A1", "A2"), "load", "Scale/2023/7"),
    ("load_without_consignee", ("A1", "A2"), "load", "Scale/2023/9"),
    ("load_without_consignee", ("A1",), "load", "Scale/2023/8"),
    ("load_without_consignee", (), "load", "Scale/2023/10"),
    ("harvest_without_close", ("A1",), "load", "Scale/2023/9"),
    ("harvest_without_close", ("A2",), "load", "Scale/2023/9"),
    ("count_and_blind", ("A1",), "sample", "A1/2023/shoot_tally/2022-10-20/before/all/random/KL"),
    ("small_sample", ("A2",), "sample", "A2/2023/cluster_tally/2022-12-05/before/all/panels/KL"),
}
"""Rule, blocks, kind and key of everything that is wrong in the book of `wrong`."""


@pytest.fixture
def wrong(desk: Desk) -> Desk:
    """Give a book with something wrong in most kinds."""
    desk.load_texts(
        planting=PLANTING, vine_census=CENSUS, row=ROWS, pruned_vine=PRUNED, shoot_tally=SHOOTS,
        cluster_tally=CLUSTERS, load=TICKETS, load_part=PARTS,
    )  # fmt: skip
    return desk


def run(desk: Desk, *words: str) -> Result:
    return CliRunner().invoke(vinebook, ["--book", desk.url, "--by", "KL", *words], catch_exceptions=False)


def findings_of(result: Result) -> list[dict[str, Any]]:
    told = json.loads(result.stdout)
    assert told["format"] == 1
    return list(told["findings"])


def test_everything_that_is_wrong_is_found_with_its_row(wrong: Desk) -> None:
    report = check_book(wrong.book)
    assert {(one.rule, one.blocks, one.kind, one.key) for one in report.findings} == FOUND
    assert len(report.findings) == len(FOUND)
    assert not report.silenced
    numbers = {row["record"]: row["number"] for row in wrong.stored("load")}
    assert {numbers[one.record] for one in report.findings if one.rule == "bins_not_net"} == {"8"}


def test_the_worst_comes_first(wrong: Desk) -> None:
    ranks = [SEVERITIES.index(one.severity) for one in api.check(wrong.book).findings]
    assert ranks == sorted(ranks)
    assert len(set(ranks)) > 1


def test_a_block_and_a_season_can_be_named(wrong: Desk) -> None:
    of_a2 = {one[:2] + one[3:] for one in FOUND if "A2" in one[1]}
    assert {(one.rule, one.blocks, one.key) for one in check_book(wrong.book, ["A2"]).findings} == of_a2
    assert check_book(wrong.book, ["A2"], season=2022).findings == []
    assert len(check_book(wrong.book, ["A2"], season=2023).findings) == len(of_a2)
    with pytest.raises(WordsError, match="there is no block B9"):
        check_book(wrong.book, ["B9"])


def test_a_silence_is_a_record_whose_reason_stays_in_the_journal(wrong: Desk) -> None:
    silence(wrong.book, "count_and_blind", "A1", "recounted; the crew rubbed out buds", by="KL")
    report = check_book(wrong.book)
    assert "count_and_blind" not in {one.rule for one in report.findings}
    assert report.silenced == {"count_and_blind": 1}
    assert len(report.findings) == len(FOUND) - 1
    assert [row["reason"] for row in wrong.listed("silence")] == ["recounted; the crew rubbed out buds"]
    with wrong.book.reading() as connection:
        newest = journal.newest(connection)
    assert newest is not None
    assert newest.action == "load"
    assert json.loads(newest.body)["kind"] == "silence"
    assert wrong.verify().differences == []


def test_a_finding_about_two_blocks_is_silent_where_both_are(wrong: Desk) -> None:
    silence(wrong.book, "off_scale", "A1", "old scale", by="KL")
    assert "off_scale" in {one.rule for one in check_book(wrong.book).findings}
    silence(wrong.book, "off_scale", "A2", "old scale", by="KL")
    report = check_book(wrong.book)
    assert "off_scale" not in {one.rule for one in report.findings}
    assert report.silenced == {"off_scale": 1}


def test_a_silence_that_is_struck_is_lifted(wrong: Desk) -> None:
    silence(wrong.book, "count_and_blind", "A1", "recounted", by="KL")
    assert run(wrong, "strike", "silence", "A1/count_and_blind", "--reason", "it was not").exit_code == 0
    assert "count_and_blind" in {one.rule for one in check_book(wrong.book).findings}


def test_a_silence_needs_a_rule_a_block_and_a_reason(desk: Desk) -> None:
    before = desk.held()
    with pytest.raises(WordsError, match="no rule 'old_cencus'"):
        silence(desk.book, "old_cencus", "A1", "because", by="KL")
    with pytest.raises(WordsError, match="with a reason"):
        silence(desk.book, "old_census", "A1", " ", by="KL")
    with pytest.raises(FindingsError):
        silence(desk.book, "old_census", "B9", "because", by="KL")
    assert run(desk, "check", "--silence", "old_census", "--reason", "because").exit_code == 2
    assert desk.held() == before


def test_the_command_line_silences(wrong: Desk) -> None:
    words = ("check", "--silence", "off_scale", "--block", "A1", "--reason", "old scale")
    done = run(wrong, *words)
    assert done.exit_code == 0
    assert done.stderr.startswith("silenced off_scale for A1")
    assert run(wrong, *words).exit_code == 1, "it is silenced there already"


def test_strict_tells_by_the_exit_status(wrong: Desk) -> None:
    assert run(wrong, "check").exit_code == 0
    assert run(wrong, "check", "--strict").exit_code == 1
    assert run(wrong, "check", "--season", "2011", "--strict").exit_code == 0


def test_the_table_has_rule_row_and_why(wrong: Desk) -> None:
    done = run(wrong, "check")
    assert done.stdout.startswith("fault: load_not_split (1)\n  Nobody knows which block bore the fruit;")
    number = next(row["record"] for row in wrong.stored("load") if row["number"] == "9")
    assert (
        f"    A1, A2  2023: 2 of 2 shares of 2010 kg have no mass\n      [load Scale/2023/9, #{number}]\n"
        in done.stdout
    )
    assert done.stderr == "7 faults, 10 doubts\n"


def test_a_table_shows_ten_of_a_rule_and_csv_all(desk: Desk) -> None:
    sample = "block,date,chosen,counted_by,row,vine,clusters\n"
    desk.load_texts(clusters=sample + "".join(f"A1,{year}-12-05,hand_picked,KL,1,1,20\n" for year in range(2015, 2027)))
    done = run(desk, "check")
    assert "doubt: hand_picked (12)" in done.stdout
    assert "… and 2 more (--format csv has all)" in done.stdout
    rows = list(csv.DictReader(io.StringIO(run(desk, "--format", "csv", "check").stdout)))
    assert sum(row["rule"] == "hand_picked" for row in rows) == 12
    assert {row["why"] for row in rows if row["rule"] == "hand_picked"} == {RULES["hand_picked"].why}


def test_a_table_is_told_in_the_units_of_the_book(desk: Desk) -> None:
    headings = "block,date,chosen,counted_by,row,vine,bearer_number,bearer,arm,distance [cm]\n"
    rows = "".join(f"A1,2022-11-05,random,KL,1,1,{at},spur,1,{20 * at}\n" for at in range(1, 5))
    desk.load_texts(bearer=headings + rows)
    assert "20 cm between spurs" in run(desk, "check").stdout
    assert "7.87 in between spurs" in run(desk, "--units", "us", "check").stdout
    assert "20 cm between spurs" in run(desk, "--format", "csv", "check").stdout
    assert (
        run(desk, "amend", "vineyard", desk.listed("vineyard")[0]["name"], "units=us", "--reason", "x").exit_code == 0
    )
    assert "7.87 in between spurs" in run(desk, "check").stdout


def test_json_holds_every_finding(wrong: Desk) -> None:
    found = findings_of(run(wrong, "--format", "json", "check"))
    assert {(one["rule"], tuple(one["blocks"]), one["kind"], one["key"]) for one in found} == FOUND
    assert {tuple(one["seasons"]) for one in found} == {(2023,)}
    assert {one["severity"] for one in found} == {"fault", "doubt"}
    silence(wrong.book, "small_sample", "A2", "a trial", by="KL")
    assert json.loads(run(wrong, "--format", "json", "check").stdout)["silenced"] == {"small_sample": 1}


def test_an_empty_book_looks_well(empty_desk: Desk) -> None:
    done = run(empty_desk, "check", "--strict")
    assert (done.exit_code, done.stdout, done.stderr) == (0, "", "nothing looks wrong\n")
    assert findings_of(run(empty_desk, "--format", "json", "check")) == []


def test_rules_are_listed_and_explained_without_a_book(tmp_path: Path) -> None:
    def ask(*words: str) -> Result:
        return CliRunner().invoke(vinebook, ["--book", str(tmp_path / "none.db"), *words], catch_exceptions=False)

    listed = ask("check", "--list")
    assert [line.split()[1] for line in listed.stdout.splitlines()] == list(RULES)
    assert [row["rule"] for row in json.loads(ask("--format", "json", "check", "--list").stdout)] == list(RULES)
    told = ask("check", "--explain", "old_census").stdout
    assert "3 years at the first load" in told
    assert "common practice, no source" in told
    assert json.loads(ask("--format", "json", "check", "--explain", "old_census").stdout)["severity"] == "doubt"
    assert ask("check", "--explain", "nothing").exit_code == 2


@pytest.mark.parametrize(
    "words",
    [
        ("--list", "--explain", "old_census"),
        ("--list", "A1"),
        ("--explain", "old_census", "--strict"),
        ("--block", "A1"),
        ("--reason", "because"),
    ],
)
def test_words_that_do_not_go_together_are_refused(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = CliRunner().invoke(vinebook, ["--book", str(tmp_path / "none.db"), "check", *words])
    assert done.exit_code == 2


def test_every_rule_says_why_and_limits_have_a_source() -> None:
    for rule in RULES.values():
        assert rule.looks_for.endswith(".")
        assert rule.why.endswith(".")
        assert "\n" not in rule.why
        if any(sign.isdigit() for sign in rule.limits):
            assert rule.source, rule.name


def test_seasons_in_words() -> None:
    assert years([2021, 2019, 2022, 2023]) == "2019, 2021–2023"
    assert years([]) == ""
