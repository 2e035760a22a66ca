"""The trail: what was decided on what, what was corrected since, what was done, and what came."""

from __future__ import annotations

import datetime as dt
import random
from typing import TYPE_CHECKING

import pytest

from tests.audit.trails import decided, harvest, only, settle, ticket, trail, visit, wood
from vinebook.audit.trail_duties import DUTIES, SOURCES, duties_of, duties_page
from vinebook.audit.trail_outcome import judged, kept_verdict
from vinebook.errors import VinebookError, WordsError
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import add_record, replace_tally
from vinebook.seasons.model import Figure

if TYPE_CHECKING:
    from tests.desk import Desk
    from vinebook.seasons.trail_model import EvidenceTold


@pytest.fixture
def estate(empty_desk: Desk) -> Desk:
    """Give a book in which a decision for 2024 rests on 2021 to 2024."""
    settle(empty_desk)
    decided(empty_desk)
    return empty_desk


def evidence(desk: Desk, season: int, figure: str) -> EvidenceTold:
    """Give the evidence on one figure."""
    [found] = [
        one
        for one in only(desk).evidence
        if (one.then.season, one.then.figure, one.then.bearer, one.then.pick) == (season, figure, None, None)
    ]
    return found


def came(desk: Desk) -> None:
    """Load what came of 2024: its harvest, and the visit that weighs its wood."""
    desk.load_texts(**harvest(2024, 1800), wood25=wood("2025-01-12"), visit25=visit(2025, "2025-01-11"))


def test_a_decision_stands_with_when_it_was_made_and_when_it_was_recorded(estate: Desk) -> None:
    told = only(estate)
    assert (told.block, told.season, told.decided_on, told.decided_by) == ("A1", 2024, "2024-01-10", "HM")
    assert (told.source.file, told.source.line, told.source.entered_by) == ("typed entry", 2, "RQ")
    assert told.source.recorded_at[:10] == dt.datetime.now(dt.UTC).date().isoformat()
    assert told.state == "in force"


def test_evidence_names_the_files_and_lines_of_its_rows(estate: Desk) -> None:
    ratio = evidence(estate, 2023, "yield_to_prunings")
    where = {(rows.kind, rows.file, rows.lines) for rows in ratio.rows}
    assert ("pruned_vine", "wood2024.csv", ((2, 11),)) in where
    assert ("harvest_close", "close2023.csv", ((2, 2),)) in where
    assert not ratio.is_changed
    assert ratio.corrections == ()


def test_an_amendment_stands_between_then_and_now(estate: Desk) -> None:
    before = evidence(estate, 2023, "prunings_per_vine").then
    last = estate.stored("pruned_vine")[-1]["record"]
    amend(estate.book, "pruned_vine", f"#{last}", {"prunings": "0.3 kg"}, reason="the scale stood wrong", by="RM")
    told = evidence(estate, 2023, "prunings_per_vine")
    assert told.then == before
    assert told.now is not None
    assert told.now.value == pytest.approx(before.value - 0.05)  # type: ignore[operator]
    [step] = only(estate).corrections
    assert (step.action, step.by, step.reason, step.record) == ("amended", "RM", "the scale stood wrong", last)
    assert step.what == "prunings 0.8 → 0.3 kg"
    assert told.corrections == (step.entry,)
    assert not evidence(estate, 2022, "prunings_per_vine").is_changed


def test_what_was_corrected_before_the_decision_is_no_news(empty_desk: Desk) -> None:
    settle(empty_desk)
    amend(empty_desk.book, "harvest_close", "A1/2023", {"fruit_left": "90"}, reason="typo", by="RM")
    decided(empty_desk)
    told = only(empty_desk)
    assert told.corrections == ()
    assert not any(one.is_changed for one in told.evidence)
    assert [step.key for step in trail(empty_desk).corrections] == ["A1/2023"]


def test_a_strike_is_told_with_the_row_that_was_lost(estate: Desk) -> None:
    last = estate.stored("pruned_vine")[-1]["record"]
    strike(estate.book, "pruned_vine", f"#{last}", reason="counted in the wrong row", by="RM")
    told = evidence(estate, 2023, "prunings_per_vine")
    assert [(rows.kind, rows.numbers) for rows in told.lost] == [("pruned_vine", ((last, last),))]
    assert told.gained == ()
    assert [step.action for step in only(estate).corrections] == ["struck"]


def test_a_count_that_came_later_is_told_as_rows_gained(estate: Desk) -> None:
    estate.load_texts(late=wood("2024-02-03", step=0.05))
    told = evidence(estate, 2023, "prunings_per_vine")
    assert told.is_changed
    assert told.corrections == ()
    assert {(rows.kind, rows.file) for rows in told.gained} == {("sample", "late.csv"), ("pruned_vine", "late.csv")}


def test_a_file_that_was_replaced_is_told(estate: Desk) -> None:
    page = estate.write("again.csv", wood("2024-01-12", step=0.03))
    replace_tally(estate.book, page, "wood2024.csv", reason="the second sheet", by="RM")
    told = evidence(estate, 2023, "prunings_per_vine")
    assert told.is_changed
    [step] = only(estate).corrections
    assert (step.action, step.key) == ("replaced", "wood2024.csv")
    assert {rows.file for rows in told.gained} == {"again.csv"}
    assert {rows.file for rows in told.lost} == {"wood2024.csv"}


def test_a_superseded_load_is_told(estate: Desk) -> None:
    values = {"number": "2023-1A", "gross": "1950", "tare": "900", "net": "1050"}
    add_record(estate.book, "load", values, by="RM", supersedes="Bridge/2023/2023-1", reason="misread")
    told = evidence(estate, 2023, "crop")
    assert told.now is not None
    assert told.now.value == pytest.approx(2.09)
    [step] = [step for step in only(estate).corrections if step.entry in told.corrections]
    assert step.what.startswith("by Bridge/2023/2023-1A")
    assert step.reason == "misread"


def test_while_nothing_came_the_outcome_is_pending(estate: Desk) -> None:
    told = only(estate)
    [expected] = [one for one in told.outcome if one.verdict is not None]
    assert (expected.figure, expected.verdict) == ("yield_to_prunings", "pending")
    assert "2024" in expected.why


def test_the_crew_s_pruning_stands_beside_the_level_decided(estate: Desk) -> None:
    ordered, kept = only(estate).done
    assert (ordered.happened_on, ordered.verdict) == ("2024-01-11", "done")
    assert ordered.words == "pruned to spur; ordered 20 nodes ± 2"
    assert kept.verdict == "kept"
    assert kept.figure is not None
    assert (kept.figure.value, kept.figure.n) == (20.0, 10)
    assert kept.figure.low is not None
    assert kept.happened_on == "2024-01-12"
    assert {rows.file for rows in kept.rows} >= {"wood2024.csv"}


def test_a_visit_that_ordered_otherwise_is_said(empty_desk: Desk) -> None:
    settle(empty_desk)
    decided(empty_desk, value="16")
    ordered, kept = only(empty_desk).done
    assert (ordered.verdict, ordered.why) == ("not kept", "the visit ordered 20, the decision says 16")
    assert (kept.verdict, kept.why) == ("not kept", "4.0 more than 16, 2 pass")


def test_harvest_and_next_prunings_tell_that_it_was_met(estate: Desk) -> None:
    came(estate)
    told = {one.figure: one for one in only(estate).outcome}
    ratio = told["yield_to_prunings"]
    assert (ratio.verdict, ratio.expected_low, ratio.expected_high) == ("met", 4.0, 8.0)
    assert ratio.now is not None
    assert ratio.now.value == pytest.approx(1840 / 480 / 0.71, rel=1e-3)
    assert {rows.file for rows in ratio.rows} >= {"wood25.csv", "load2024.csv", "close2024.csv"}
    assert told["crop"].now is not None
    assert told["crop"].now.value == pytest.approx(1.84)
    assert told["prunings_per_vine"].verdict is None


def test_a_season_far_off_is_missed_and_says_to_which_side(empty_desk: Desk) -> None:
    settle(empty_desk)
    decided(empty_desk, expect=("yield_to_prunings", "7", "9"))
    came(empty_desk)
    [ratio] = [one for one in only(empty_desk).outcome if one.verdict is not None]
    assert (ratio.verdict, ratio.why) == ("missed", "below what was expected")


NOW = Figure("A1", 2024, "yield_to_prunings", 5.0, "kg/kg", low=4.5, high=5.6)
JUDGED = [
    (NOW, 4.0, 6.0, "met", "within what was expected"),
    (NOW, 4.0, 5.2, "met", "crosses a limit"),
    (NOW, 5.2, 6.0, "missed", "crosses a limit"),
    (NOW, None, 4.0, "missed", "above what was expected"),
    (NOW, 5.8, None, "missed", "below what was expected"),
    (Figure("A1", 2024, "crop", None, "t", status="pending", note="the harvest awaits"), 1.0, 2.0, "pending", "awaits"),
    (Figure("A1", 2024, "crop", 1.0, "t", status="partial", note="not closed"), 1.0, 2.0, "pending", "not closed"),
    (Figure("A1", 2024, "crop", None, "t", status="unknown", note="no wood"), 1.0, 2.0, "unknown", "no wood"),
    (None, 1.0, 2.0, "pending", "no record yet"),
]


@pytest.mark.parametrize(("now", "low", "high", "verdict", "why"), JUDGED)
def test_a_figure_is_judged_by_its_value_and_says_where_its_interval_crosses(
    now: Figure | None, low: float | None, high: float | None, verdict: str, why: str
) -> None:
    found, words = judged(now, low, high, 2024)
    assert found == verdict
    assert why in words


KEPT = Figure("A1", 2024, "nodes_per_vine", 20.6, "nodes", low=19.8, high=21.5)


@pytest.mark.parametrize(
    ("level", "tolerance", "verdict"),
    [
        (20.0, 1.0, "kept"),
        (19.0, 1.0, "not kept"),
        (20.0, None, "kept"),
        (19.0, None, "not kept"),
        (None, 1.0, "unknown"),
    ],
)
def test_nodes_are_kept_within_the_tolerance_else_by_the_interval(
    level: float | None, tolerance: float | None, verdict: str
) -> None:
    assert kept_verdict(KEPT, level, tolerance)[0] == verdict


@pytest.mark.parametrize(
    ("decides", "tally", "words"),
    [
        ("pruning_form", "", "pruned to spur"),
        (
            "cluster_thinning",
            "block,work,started_on,extent,done_by\nA1,cluster_thinning,2024-07-20,one a shoot,hand\n",
            "one a shoot, hand",
        ),
        (
            "replanting",
            "block,from_season,cultivar,row_spacing,vine_spacing,positions\nA1,2024,Pale Hen,2.5,1.5,500\n",
            "Pale Hen, from season 2024",
        ),
    ],
)
def test_what_was_done_is_found_by_what_was_decided(empty_desk: Desk, decides: str, tally: str, words: str) -> None:
    settle(empty_desk)
    decided(empty_desk, decides=decides, value="", expect=None)
    if tally:
        empty_desk.load_texts(more=tally)
    [done] = only(empty_desk).done
    assert (done.verdict, done.words) == ("done", words)
    assert done.rows != ()


def test_work_that_nobody_recorded_is_said_so(empty_desk: Desk) -> None:
    settle(empty_desk)
    decided(empty_desk, decides="shoot_thinning", value="", expect=None)
    [done] = only(empty_desk).done
    assert (done.verdict, done.why) == ("unknown", "no pass of shoot thinning is recorded for 2024")


def test_decisions_that_came_with_a_tally_have_no_evidence_and_still_an_outcome(empty_desk: Desk) -> None:
    settle(empty_desk)
    empty_desk.load_texts(
        decision="block,season,number,decided_on,decides,value,words,reason,decided_by\n"
        "A1,2023,1,2023-01-05,nodes_to_keep,20,20 nodes,as ever,HM\n"
    )
    told = only(empty_desk)
    assert told.evidence == ()
    assert {one.figure: one.now.value for one in told.outcome if one.now is not None}["crop"] == pytest.approx(2.04)


def test_seasons_and_blocks_narrow_the_trail(estate: Desk) -> None:
    assert len(trail(estate, "A1", first=2024, last=2024).decisions) == 1
    assert trail(estate, "A1", last=2023).decisions == ()
    assert trail(estate, "A2").decisions == ()
    assert {(one.block, one.season) for one in trail(estate, "A2").balances} == {("A2", 2022), ("A2", 2023)}
    with pytest.raises(WordsError, match="there is no block B7"):
        trail(estate, "B7")
    with pytest.raises(WordsError, match="run from 2024 back to 2023"):
        trail(estate, first=2024, last=2023)


def test_the_mass_balance_adds_up(estate: Desk) -> None:
    for one in trail(estate, "A1", "A2").balances:
        assert one.picked_kg == pytest.approx(one.accepted_kg + one.refused_kg + one.deducted_kg)
        assert one.crop_kg == pytest.approx(one.picked_kg + one.left_kg)
    [mine] = trail(estate, "A1", first=2023, last=2023).balances
    # Of 1,500 kg on the shared ticket 1,000 are of this block: so are 2 ÷ 3 of what was refused and deducted.
    assert (mine.loads, mine.picked_kg, mine.left_kg, mine.is_closed) == (2, 2000, 40, True)
    assert [mine.refused_kg, mine.deducted_kg] == pytest.approx([50 * 2 / 3, 10 * 2 / 3])


def test_a_ticket_goes_back_to_the_vines_and_on_to_who_took_the_fruit(estate: Desk) -> None:
    told = ticket(estate, "Bridge/2023/2023-2")
    assert (told.date, told.masses["net"], told.refused_reason) == ("2023-09-22", 1500, "rot")
    assert (told.vineyard, told.geographical_indication, told.grower.name) == ("Low Terrace", "Fen Hills", "R. Quill")
    assert (told.consignee.name, told.consignee.register_numbers) == ("Mill House", "R-78")
    mine, other = told.parts
    assert (mine.block, mine.cultivar, mine.clone, mine.rootstock, mine.year_planted) == (
        "A1",
        "Grey Hen",
        "GH-2",
        "5 BB",
        2012,
    )
    assert mine.rows_of_block == ("rows 1 to 10, 50 positions each",)
    assert (mine.mass_kg, mine.split, other.mass_kg, other.picked) == (1000, "weighed", 500, "machine")
    assert (mine.source.file, mine.source.line) == ("part2023.csv", 3)
    assert told.source.file == "load2023.csv"
    assert [one.block for one in told.balances] == ["A1", "A2"]


def test_certification_is_as_it_stood_on_the_day(estate: Desk) -> None:
    came(estate)
    stood = {
        season: [
            (one.status, one.certificate) for one in ticket(estate, f"Bridge/{season}/{season}-1").parts[0].certificates
        ]
        for season in (2023, 2024)
    }
    assert stood == {2023: [("in_conversion", "GL-1")], 2024: [("certified", "GL-2")]}


def test_a_number_alone_will_do_where_one_ticket_has_it(estate: Desk) -> None:
    assert ticket(estate, "2023-2").source.key == "Bridge/2023/2023-2"
    record = ticket(estate, "2023-2").source.record
    assert ticket(estate, f"#{record}").number == "2023-2"
    estate.load_texts(twin="date,issuer,number,basis,net\n2023-09-22,Scale,2023-2,net_as_given,80\n")
    with pytest.raises(WordsError, match="2 tickets have the number 2023-2") as refused:
        ticket(estate, "2023-2")
    assert refused.value.hint == "name one by its key: Bridge/2023/2023-2, Scale/2023/2023-2"
    with pytest.raises(WordsError, match="neither a block nor a ticket 77"):
        ticket(estate, "77")


def test_a_superseded_ticket_names_its_correction_and_the_reason(estate: Desk) -> None:
    values = {"number": "2023-1A", "gross": "1950", "tare": "900", "net": "1050"}
    add_record(estate.book, "load", values, by="RM", supersedes="Bridge/2023/2023-1", reason="misread")
    old, new = ticket(estate, "2023-1"), ticket(estate, "2023-1A")
    assert (old.state, old.superseded_by) == ("superseded", "Bridge/2023/2023-1A")
    assert (new.state, new.supersedes) == ("in force", "Bridge/2023/2023-1")
    assert [part.block for part in new.parts] == ["A1"]
    assert [step.reason for step in new.corrections] == ["misread"]


def test_every_duty_is_shown_by_the_trail_of_a_whole_ticket_or_said_to_be_kept_elsewhere(estate: Desk) -> None:
    values = {"number": "2023-2A"}
    add_record(estate.book, "load", values, by="RM", supersedes="Bridge/2023/2023-2", reason="misread")
    estate.load_texts(row2="block,from_season,first_row,last_row,positions\nA2,2015,1,8,50\n")
    told = duties_of(ticket(estate, "2023-2A"))
    assert [one for one in told if one.state == "missing"] == []
    assert len(told) == len(DUTIES)
    elsewhere = " ".join(one.words for one in told if one.state == "kept elsewhere")
    assert all(word in elsewhere for word in ("spray", "invoices", "paper ticket", "winery"))


@pytest.mark.parametrize(
    ("statement", "asks"),
    [
        ("UPDATE consignee SET address = NULL", "name and address of the receiver"),
        ("UPDATE vineyard SET keep_years = 3", "kept 7 years"),
        ("UPDATE vineyard SET geographical_indication = NULL", "geographical indication"),
        ("UPDATE certification SET valid_to = '2022-01-01'", "trace back to the certified operation"),
        ("UPDATE planting SET cultivar = ''", "variety"),
    ],
)
def test_a_duty_that_the_book_does_not_meet_is_told_as_missing(estate: Desk, statement: str, asks: str) -> None:
    estate.tamper(statement)
    told = {one.asks: one.state for one in duties_of(ticket(estate, "2023-2"))}
    assert told[asks] == "missing"


def test_the_table_of_duties_names_every_rule_with_its_source() -> None:
    page = duties_page()
    assert {duty.rule for duty in DUTIES} == set(SOURCES)
    for duty in DUTIES:
        assert f"| {duty.asks} | {duty.where} |" in page
        assert (duty.shown is None) == ("kept elsewhere" in duty.where), duty


class Meddler:
    """Corrects what a decision rests on, at random; what the record refuses is left."""

    def __init__(self, desk: Desk, seed: int) -> None:
        self._desk = desk
        self._chance = random.Random(seed)  # noqa: S311 - no secret
        self._made = 0

    def step(self) -> None:
        """Make one correction."""
        name = self._chance.choice(["weight", "nodes", "vine", "sample", "close", "census", "spacing", "load", "count"])
        try:
            getattr(self, f"_{name}")()
        except VinebookError:
            return

    def _any(self, kind: str) -> str:
        live = [row["record"] for row in self._desk.stored(kind) if row["struck_at"] is None]
        return f"#{self._chance.choice(live or [0])}"

    def _amend(self, kind: str, **changes: str) -> None:
        amend(self._desk.book, kind, self._any(kind), changes, reason="typo", by="RM")

    def _weight(self) -> None:
        self._amend("pruned_vine", prunings=f"{self._chance.uniform(0.2, 1.5):.2f} kg")

    def _nodes(self) -> None:
        self._amend("pruned_vine", nodes_on_spurs=str(self._chance.randrange(10, 30)))

    def _vine(self) -> None:
        strike(self._desk.book, "pruned_vine", self._any("pruned_vine"), reason="typo", by="RM")

    def _sample(self) -> None:
        strike(self._desk.book, "sample", self._any("sample"), reason="typo", by="RM", with_rows=True)

    def _close(self) -> None:
        self._amend("harvest_close", fruit_left=str(self._chance.randrange(200)))

    def _census(self) -> None:
        self._amend("vine_census", bearing=str(self._chance.randrange(300, 470)), positions="")

    def _spacing(self) -> None:
        self._amend("planting", vine_spacing=f"{self._chance.uniform(1, 2):.2f} m")

    def _load(self) -> None:
        self._made += 1
        values = {"number": f"X{self._made}", "basis": "net_as_given", "net": str(self._chance.randrange(1500, 2500))}
        add_record(self._desk.book, "load", values, by="RM", supersedes=self._any("load"), reason="misread")

    def _count(self) -> None:
        self._made += 1
        day = f"2024-01-{13 + self._made % 15:02}"
        self._desk.load_texts(**{f"more{self._made}": wood(day, step=self._chance.uniform(0, 0.1))})


@pytest.mark.parametrize("seed", range(4))
def test_every_figure_that_reads_otherwise_names_what_changed_it(estate: Desk, seed: int) -> None:
    before = [one.then for one in only(estate).evidence]
    meddler = Meddler(estate, seed)
    for _ in range(12):
        meddler.step()
    told = only(estate)
    assert [one.then for one in told.evidence] == before
    assert any(one.is_changed for one in told.evidence)
    for one in told.evidence:
        if one.is_changed:
            assert one.corrections or one.gained or one.lost, one
    assert estate.verify().differences == []
