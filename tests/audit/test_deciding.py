"""A decision keeps the figures that stood when it was made, whatever is corrected later."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.audit.trails import choice, decided, harvest, settle
from vinebook.api import figures
from vinebook.audit.deciding import decide
from vinebook.audit.reread import reread
from vinebook.errors import CorrectionError, FindingsError, WordsError
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import add_record, replace_tally
from vinebook.seasons.rows_told import rows_of_words
from vinebook.seasons.tracing import key_of_figure

if TYPE_CHECKING:
    from typing import Any

    from tests.desk import Desk


@pytest.fixture
def estate(empty_desk: Desk) -> Desk:
    """Give a book in which 2024 is to be decided."""
    return settle(empty_desk)


def frozen(desk: Desk) -> dict[tuple[object, ...], dict[str, Any]]:
    """Give the rows of evidence by season and what names the figure."""
    return {
        (row["of_season"], row["figure"], row["bearer"], row["position"], row["stage"], row["pick"]): row
        for row in desk.stored("evidence")
    }


def test_the_evidence_is_what_the_figures_said_then(estate: Desk) -> None:
    stood = {
        (figure.season, *key_of_figure(figure)): figure
        for figure in figures(estate.book, ["A1"], seasons=[2021, 2022, 2023, 2024])
        if figure.status in ("known", "partial") or (figure.status == "pending" and figure.season < 2024)
    }
    done = decided(estate)
    assert (done.key, done.frozen, done.first_season, done.last_season) == ("A1/2024/1", len(stood), 2021, 2024)
    rows = frozen(estate)
    assert set(rows) == set(stood)
    for at, figure in stood.items():
        row = rows[at]
        for name in ("value", "low", "high", "level", "n", "status"):
            assert row[name] == getattr(figure, name), (at, name)
        for name in ("unit", "per", "chosen", "basis", "note", "reading"):
            assert (row[name] or "") == getattr(figure, name), (at, name)
        band = figure.band
        limits = (None, None) if band is None else (band.low, band.high)
        assert (row["band_low"], row["band_high"]) == limits
    ratio = rows[2023, "yield_to_prunings", None, None, None, None]
    assert ratio["value"] > 0
    assert set(rows_of_words(ratio["rows"])) >= {"pruned_vine", "load", "load_part", "harvest_close", "vine_census"}


def test_decision_and_evidence_come_in_one_step_and_verify(estate: Desk) -> None:
    before = estate.held()
    done = decided(estate)
    after = estate.held()
    assert after["decision"] == before["decision"] + 1  # type: ignore[operator]
    assert after["evidence"] == done.frozen
    report = estate.verify()
    assert report.differences == []
    assert report.entries == before["entry"] + 2  # type: ignore[operator]
    assert reread(estate.book) == []


def test_later_corrections_do_not_change_what_the_decision_saw(estate: Desk) -> None:
    decided(estate)
    saw = frozen(estate)
    last = estate.stored("pruned_vine")[-1]["record"]
    amend(estate.book, "pruned_vine", f"#{last}", {"prunings": "0.1 kg"}, reason="typo", by="RM")
    strike(estate.book, "harvest_close", "A1/2023", reason="typo", by="RM")
    assert frozen(estate) == saw
    now = {figure.figure: figure for figure in figures(estate.book, ["A1"], seasons=[2023])}
    assert now["prunings_per_vine"].value != saw[2023, "prunings_per_vine", None, None, None, None]["value"]
    assert now["yield_to_prunings"].status == "partial"
    assert estate.verify().differences == []


TAMPERED = [
    ("UPDATE evidence SET value = 9.9 WHERE figure = 'crop' AND of_season = 2023", "value is 9.9 in the table"),
    ("UPDATE evidence SET reading = 'within' WHERE figure = 'crop' AND of_season = 2023", "reading is within"),
    ("UPDATE evidence SET rows = 'load 1' WHERE figure = 'crop' AND of_season = 2023", "rows is load 1 in the table"),
    ("DELETE FROM evidence WHERE figure = 'crop' AND of_season = 2023", "is missing from its table"),
    ("UPDATE evidence SET struck_at = 'now' WHERE figure = 'crop' AND of_season = 2023", "struck_at is now"),
    ("UPDATE decision SET value = 30", "value is 30.0 in the table, 20.0 in the reading"),
]


@pytest.mark.parametrize(("statement", "told"), TAMPERED)
def test_evidence_that_was_tampered_with_is_named(estate: Desk, statement: str, told: str) -> None:
    decided(estate)
    estate.tamper(statement)
    differences = estate.verify().differences
    assert len(differences) == 1, differences
    assert told in differences[0]
    assert differences[0].startswith(("evidence #", "decision #"))


def test_evidence_that_nobody_froze_is_named(estate: Desk) -> None:
    decided(estate)
    columns = "decision, item, of_season, figure, status, reading, tally, line"
    estate.tamper(
        f"INSERT INTO evidence (record, {columns}) SELECT record + 900000, decision, item + 9000, of_season, figure, "
        "status, reading, tally, line FROM evidence WHERE figure = 'crop' AND of_season = 2023"
    )
    assert any("rows that no reading brought" in words for words in estate.verify().differences)


def test_evidence_is_neither_typed_nor_loaded_nor_changed_by_hand(estate: Desk) -> None:
    decided(estate)
    record = estate.stored("evidence")[0]["record"]
    headings = "block,season,number,item,of_season,figure,status,reading\n"
    page = estate.write("evidence.csv", f"{headings}A1,2024,1,900,2023,crop,known,x\n")
    with pytest.raises(WordsError, match="no kind of tally"):
        estate.load(page, kind="evidence")
    assert estate.faults(page) != []
    with pytest.raises(WordsError, match="not a kind that can be added"):
        add_record(estate.book, "evidence", {"item": "1"}, by="RQ")
    with pytest.raises(WordsError, match="kept as it stood"):
        amend(estate.book, "evidence", f"#{record}", {"value": "1"}, reason="x", by="RQ")
    with pytest.raises(WordsError, match="kept as it stood"):
        strike(estate.book, "evidence", f"#{record}", reason="x", by="RQ")
    number = next(row["number"] for row in estate.listed("tally") if row["kind"] == "evidence")
    with pytest.raises(WordsError, match="kept as it stood"):
        replace_tally(estate.book, page, f"#{number}", reason="x", by="RQ")
    assert estate.verify().differences == []


def test_a_decision_that_is_struck_takes_its_evidence_along(estate: Desk) -> None:
    done = decided(estate)
    struck = strike(estate.book, "decision", done.key, reason="wrong block", by="RQ")
    assert struck.rows == done.frozen
    assert all(row["struck_at"] is not None for row in estate.stored("evidence"))
    assert estate.verify().differences == []


def test_a_later_decision_freezes_anew_and_leaves_the_earlier_evidence(estate: Desk) -> None:
    first = decided(estate)
    saw = frozen(estate)
    amend(estate.book, "harvest_close", "A1/2023", {"fruit_left": "500"}, reason="weighed again", by="RM")
    later = decide(
        estate.book,
        None,
        None,
        choice(decides="", value="18", words="", reason="more fruit than thought", expect=None, review_on=""),
        by="RQ",
        supersedes=first.key,
    )
    assert (later.key, later.superseded) == ("A1/2024/2", "A1/2024/1")
    old, new = estate.stored("decision")
    assert (old["struck_at"] is not None, new["struck_at"]) == (True, None)
    # What the later one does not name it carries over.
    assert (new["decides"], new["value"], new["words"]) == ("nodes_to_keep", 18.0, "20 nodes on spurs of two")
    crop = (2023, "crop", None, None, None, None)
    by_decision = {
        row["decision"]: row["value"]
        for row in estate.stored("evidence")
        if (row["figure"], row["of_season"]) == ("crop", 2023)
    }
    assert by_decision[old["record"]] == saw[crop]["value"]
    assert by_decision[new["record"]] == pytest.approx(saw[crop]["value"] + 0.46)
    with pytest.raises(CorrectionError, match="superseded already"):
        decide(estate.book, None, None, choice(), by="RQ", supersedes=f"#{old['record']}")
    with pytest.raises(WordsError, match="is for A1 2024, not for A2 2024"):
        decide(estate.book, "A2", 2024, choice(), by="RQ", supersedes=later.key)
    assert estate.verify().differences == []


def test_a_superseding_decision_by_add_has_no_evidence(estate: Desk) -> None:
    decided(estate)
    values = {"number": "2", "value": "22"}
    add_record(estate.book, "decision", values, by="RQ", supersedes="A1/2024/1", reason="typo")
    owners = {row["decision"] for row in estate.stored("evidence")}
    old, new = estate.stored("decision")
    assert owners == {old["record"]}
    assert new["value"] == 22
    assert estate.verify().differences == []


def test_named_figures_alone_are_kept(estate: Desk) -> None:
    done = decided(estate, evidence=("prunings_per_vine", "crop/2022"))
    assert {(row["of_season"], row["figure"]) for row in estate.stored("evidence")} == {
        # The wood of 2021 was weighed at the first visit of the book.
        (2021, "prunings_per_vine"),
        (2022, "crop"),
        (2022, "prunings_per_vine"),
        (2023, "prunings_per_vine"),
        (2024, "prunings_per_vine"),
    }
    assert done.frozen == 5


def test_none_keeps_none(estate: Desk) -> None:
    assert decided(estate, evidence=("none",)).frozen == 0
    assert estate.stored("evidence") == []


REFUSED = [
    ({"block": "A9"}, WordsError, "there is no block A9"),
    ({"block": None}, WordsError, "for a block and a season"),
    ({"season": 2010}, WordsError, "it stands from 2015 on"),
    ({"season": 2023}, CorrectionError, "the season 2023 of A1 is over: its harvest finished on 2023-09-25"),
    ({"block": "A2", "season": 2023}, CorrectionError, "the season 2023 of A2 was over on 2024-01-10"),
    ({"block": "A2", "season": 2028}, CorrectionError, "no figure of A2 for 2025 to 2028 stands in the book"),
    ({"expect": ("yeild_to_prunings", "4", "8")}, WordsError, "not a figure that can be expected"),
    ({"decided_on": "10.01.2024"}, WordsError, "not a date written year-month-day"),
    ({"evidence": ("budbraek",)}, WordsError, "is not a figure"),
    ({"evidence": ("crop/24",)}, WordsError, "not FIGURE/SEASON"),
    ({"evidence": ("none", "crop")}, WordsError, "stands alone"),
    ({"evidence": ("gap_share",)}, CorrectionError, "there is no gap_share of A1 for 2021 to 2024"),
    ({"evidence": ("crop/2016",)}, CorrectionError, "there is no crop of A1 for 2016"),
]


@pytest.mark.parametrize(("given", "error", "told"), REFUSED)
def test_what_cannot_be_decided_is_refused_in_words(
    estate: Desk, given: dict[str, Any], error: type[Exception], told: str
) -> None:
    before = estate.held()
    said = dict(given)
    block, season = said.pop("block", "A1"), said.pop("season", 2024)
    evidence = said.pop("evidence", ())
    with pytest.raises(error, match=told):
        decide(estate.book, block, season, choice(**said), by="RQ", evidence=evidence)
    assert estate.held() == before


def test_what_is_off_in_a_field_is_told_by_its_option(estate: Desk) -> None:
    before = estate.held()
    given = choice(words="", reason="", expect=("ph", "9", "4"), review_on="2020-01-01")
    with pytest.raises(FindingsError) as caught:
        decide(estate.book, "A1", 2024, given, by="RQ")
    columns = {finding.column for finding in caught.value.findings}
    assert columns >= {"--words", "--reason"}
    assert estate.held() == before


def test_a_carried_figure_is_evidence_too_and_names_the_block_it_came_from(estate: Desk) -> None:
    estate.load_texts(
        block2="vineyard,code,from_season\nLow Terrace,A1B,2024\n",
        predecessor="block,predecessor,how\nA1B,A1,split\n",
        planting2="block,from_season,cultivar,row_spacing,vine_spacing,positions\nA1B,2024,Grey Hen,2.5,1.5,200\n",
    )
    done = decide(estate.book, "A1B", 2024, choice(), by="RQ")
    rows = {(row["of_season"], row["figure"]): row for row in estate.stored("evidence") if row["bearer"] is None}
    assert done.frozen == len(estate.stored("evidence"))
    assert rows[2023, "yield_to_prunings"]["carried_from"] == "A1"
    assert "crop" not in {figure for _, figure in rows}


def test_the_next_season_can_be_decided_while_this_one_is_open(estate: Desk) -> None:
    assert decided(estate, season=2025, decided_on="2024-12-01").key == "A1/2025/1"
    estate.load_texts(**harvest(2024, 2000))
    assert decided(estate, season=2025, decided_on="2024-12-02").key == "A1/2025/2"
