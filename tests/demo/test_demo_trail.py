"""The demo's trail: decisions through the years met, missed and pending, and every record duty on its tickets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

import vinebook
from demo.decide import YEARS, decide_through_the_years
from demo.generate import generate
from tests.demo.test_demo import lines_of
from vinebook.api import ticket_trail, trail
from vinebook.audit.trail_duties import DUTIES, SOURCES, duties_of
from vinebook.records.schema import make_book

if TYPE_CHECKING:
    from pathlib import Path

    from vinebook.records.book import Book
    from vinebook.seasons.trail_model import DecisionTold


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """Give the demo's book as its growers filled it, year by year."""
    folder: Path = tmp_path_factory.mktemp("demo")
    generate(folder / "tallies")
    make_book(str(folder / "demo.db"), by="demo")
    made = vinebook.open_book(folder / "demo.db")
    decide_through_the_years(made, folder / "tallies")
    return made


@pytest.fixture(scope="module")
def decisions(book: Book) -> dict[str, DecisionTold]:
    """Give the demo's decisions by key."""
    return {decision.source.key: decision for decision in trail(book).decisions}


def test_the_book_verifies(book: Book) -> None:
    assert vinebook.verify(book).differences == []


def test_nothing_of_the_tallies_is_lost_by_handing_them_in_year_by_year(book: Book, tmp_path: Path) -> None:
    paths = generate(tmp_path / "tallies")
    rows = sum(len(lines_of(path)) - 1 for path in paths)
    with book.reading() as connection:
        from sqlalchemy import func, select

        from vinebook.records.tables import READING, TALLY

        held = connection.scalar(
            select(func.sum(READING.c.rows))
            .join(TALLY, TALLY.c.number == READING.c.tally)
            .where(TALLY.c.source == "file")
        )
    assert held == rows


def test_decisions_are_met_missed_and_pending(decisions: dict[str, DecisionTold]) -> None:
    verdicts = {key: one.verdict for key, told in decisions.items() for one in told.outcome if one.verdict is not None}
    assert verdicts["V2/2024/1"] == "met"
    assert verdicts["V3/2024/1"] == "missed"
    assert verdicts["V4/2025/2"] == "missed"
    assert verdicts["V2/2027/1"] == "pending"
    assert verdicts["Z1/2027/1"] == "pending"
    assert set(verdicts.values()) == {"met", "missed", "pending"}


def test_every_decision_that_was_typed_has_its_evidence(decisions: dict[str, DecisionTold]) -> None:
    made = {f"{one.block}/{one.season}/1" for _, year in YEARS for one in year} | {"V4/2025/2"}
    assert {key for key, told in decisions.items() if told.evidence} == made
    for key in made:
        told = decisions[key]
        assert all(one.rows for one in told.evidence if one.then.value is not None), key
        assert max(one.then.season for one in told.evidence) <= told.season


def test_the_amended_weight_stands_between_then_and_now(decisions: dict[str, DecisionTold]) -> None:
    told = decisions["V2/2024/1"]
    [step] = told.corrections
    assert step.what.endswith("→ 0.95 kg")
    changed = {(one.then.season, one.then.figure): one for one in told.evidence if step.entry in one.corrections}
    prunings = changed[2022, "prunings_per_vine"]
    assert prunings.now is not None
    assert prunings.then.value is not None
    assert prunings.now.value is not None
    assert prunings.then.value < prunings.now.value
    # The decision of the winter after saw the amended weight.
    later = {(one.then.season, one.then.figure): one for one in decisions["V2/2025/1"].evidence}
    assert later[2022, "prunings_per_vine"].then.value == prunings.now.value


def test_the_crew_kept_what_was_decided(decisions: dict[str, DecisionTold]) -> None:
    ordered, kept = decisions["V2/2024/1"].done
    assert (ordered.verdict, kept.verdict) == ("done", "kept")


def test_the_decision_that_was_taken_back_names_its_successor(decisions: dict[str, DecisionTold]) -> None:
    assert (decisions["V4/2025/1"].state, decisions["V4/2025/1"].superseded_by) == ("superseded", "V4/2025/2")
    assert decisions["V4/2025/2"].supersedes == "V4/2025/1"


@pytest.mark.parametrize("rule", SOURCES)
def test_the_trail_of_a_ticket_of_a_certified_block_shows_every_duty(book: Book, rule: str) -> None:
    tickets = {f"{row['issuer']}/{row['season']}/{row['number']}" for row in _loads_of(book, "V4", 2024)}
    assert tickets
    for words in tickets:
        told = [one for one in duties_of(ticket_trail(book, words)) if one.rule == rule]
        assert len(told) == sum(duty.rule == rule for duty in DUTIES)
        assert [one for one in told if one.state == "missing"] == []
        assert {one.state for one in told} == {"shown", "kept elsewhere"}


def _loads_of(book: Book, code: str, season: int) -> list[dict[str, object]]:
    from sqlalchemy import select

    from vinebook.records.tables import TABLES

    load, part, block = TABLES["load"], TABLES["load_part"], TABLES["block"]
    query = (
        select(load)
        .join(part, part.c.load == load.c.record)
        .join(block, block.c.record == part.c.block)
        .where(block.c.code == code, load.c.season == season)
    )
    with book.reading() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]


def test_every_season_of_every_block_balances(book: Book) -> None:
    told = trail(book, ["V1", "V2", "V4", "Z1", "Z2"])
    assert any(one.refused_kg for one in told.balances)
    assert any(one.deducted_kg for one in told.balances)
    assert any(one.left_kg for one in told.balances)
    for one in told.balances:
        assert one.picked_kg == pytest.approx(one.accepted_kg + one.refused_kg + one.deducted_kg)
