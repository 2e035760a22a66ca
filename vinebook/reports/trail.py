"""The auditor's trail of a block: decisions with their evidence, what was done, what came, and the rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports.frame import PROGRAM, make_frame, record_of
from vinebook.reports.render import Page, fill_template
from vinebook.reports.trail_course import balance_table, corrections_table, done_table, outcome_table
from vinebook.reports.trail_evidence import IN_FORCE, evidence_table, rows_table
from vinebook.reports.trail_words import expected_words, minute
from vinebook.reports.words import join_words, make_printable, typeable, write_seasons
from vinebook.seasons.commands import command_of_trail

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units
    from vinebook.reports.paper import Paper
    from vinebook.reports.tables import Table
    from vinebook.seasons.trail_model import DecisionTold, Trail

Fact = tuple[str, str]


@dataclass(frozen=True, slots=True)
class _Head:
    """All that a trail's page prints, so that one look at its signs does for all."""

    trail: Trail
    block_name: str
    vineyard: str


@dataclass(frozen=True, slots=True)
class _Decision:
    """One decision as its template takes it."""

    title: str
    state: str
    facts: tuple[list[Fact], list[Fact]]
    evidence: Table | None
    rows: Table | None
    without: str
    corrections: Table | None
    done: Table | None
    outcome: Table | None


def trail_page(
    trail: Trail,
    block_name: str,
    vineyard: str,
    *,
    record: int = 0,
    units: Units = "metric",
    paper: Paper = "a4",
    program: str = PROGRAM,
) -> Page:
    """Make the page of a block's trail.

    Parameters
    ----------
    trail : of one block, from one snapshot of the book.
    block_name, vineyard : its names.
    record : permanent number of the block, 0 where it is not known.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    command = command_of_trail(typeable(trail.blocks[0], record))
    head, warnings = make_printable(_Head(trail, block_name, vineyard))
    trail, block_name, vineyard = head.trail, head.block_name, head.vineyard
    block = f"{trail.blocks[0]} {block_name}".strip()
    frame = make_frame(
        title=f"{block}: trail of decisions",
        foot=f"{block}, trail",
        description=f"Decisions of block {block}, {vineyard}: evidence, what was done, what came",
        author="",
        paper=paper,
        record=record_of(trail.seal, trail.entries, trail.as_of),
        warnings=warnings,
        program=program,
    )
    told = {step.entry for decision in trail.decisions for step in decision.corrections}
    values = {
        "frame": frame,
        "code": trail.blocks[0],
        "name": block_name,
        "subtitle": " · ".join(filter(None, (vineyard, _seasons(trail)))),
        "told": _told(trail),
        "decisions": [_decision(one, units) for one in trail.decisions],
        "balance": balance_table(trail.balances, units),
        "corrections": corrections_table([step for step in trail.corrections if step.entry not in told]),
        "command": command,
    }
    return Page(fill_template("trail.html", values), {}, warnings, made_at=frame.record.moment)


def _seasons(trail: Trail) -> str:
    return f"seasons {write_seasons(trail.seasons)}" if trail.seasons else ""


def _told(trail: Trail) -> list[str]:
    steps = len(trail.corrections)
    corrected = (
        f"{steps} {'correction' if steps == 1 else 'corrections'} of this block’s rows stand in the journal."
        if steps
        else "No row of this block was corrected."
    )
    if not trail.decisions:
        return ["No decision is recorded in these seasons.", corrected]
    verdicts = [one.verdict for decision in trail.decisions for one in decision.outcome if one.verdict is not None]
    count = len(trail.decisions)
    words = f"{count} {'decision' if count == 1 else 'decisions'}"
    judged = [f"{verdicts.count(verdict)} {verdict}" for verdict in dict.fromkeys(verdicts)]
    whose = "it" if count == 1 else "them"
    sentences = [f"{words}{f'; what was expected of {whose}: {join_words(judged)}' if judged else ''}."]
    bare = sum(not decision.evidence for decision in trail.decisions)
    if bare:
        sentences.append(
            f"{bare} of them came with a tally or by hand, with no evidence frozen; the others carry the figures that "
            "stood when they were recorded."
            if bare < count
            else f"{'It' if count == 1 else 'They'} came with a tally or by hand, with no evidence frozen."
        )
    return [*sentences, corrected]


def _decision(decision: DecisionTold, units: Units) -> _Decision:
    value = "" if decision.value is None else f", {decision.value:g}"
    is_live = decision.state == IN_FORCE
    return _Decision(
        title=f"{decision.season}, decision {decision.number}: {decision.decides.replace('_', ' ')}{value}",
        state=decision.state,
        facts=_facts(decision, units),
        evidence=evidence_table(decision, units),
        rows=rows_table(decision),
        without=_without(decision),
        corrections=corrections_table(decision.corrections, "What was corrected in that evidence since"),
        done=done_table(decision.done, units) if is_live else None,
        outcome=outcome_table(decision.outcome, units) if is_live else None,
    )


def _without(decision: DecisionTold) -> str:
    if not decision.evidence:
        return "No evidence was frozen: the decision came with a tally or by hand."
    if decision.state == IN_FORCE:
        return ""
    return f"Its evidence, {len(decision.evidence)} figures, is kept: evidence.csv inside this PDF has it."


def _facts(decision: DecisionTold, units: Units) -> tuple[list[Fact], list[Fact]]:
    source = decision.source
    left = [("Decided", f"{decision.decided_on} by {decision.decided_by}"), ("What", decision.words)]
    right = [("Because", decision.reason)]
    if decision.expected_figure:
        limits = decision.expected_low, decision.expected_high
        right.append(("Expected", expected_words(decision.expected_figure, limits, units)))
    if decision.review_on:
        right.append(("Review", f"on {decision.review_on}"))
    left.append(
        (
            "Recorded",
            f"{minute(source.recorded_at)} by {source.entered_by}: {source.file}, line {source.line}; #{source.record}",
        )
    )
    if decision.supersedes:
        right.append(("Takes over", f"from {decision.supersedes}"))
    if decision.superseded_by:
        right.append(("Then", f"superseded by {decision.superseded_by}"))
    return left, right
