"""The auditor's trail of a block: decisions with their evidence, what was done, what came, and the rows."""

from __future__ import annotations

from dataclasses import dataclass
from string import ascii_lowercase
from typing import TYPE_CHECKING

from vinebook.quantities import POUND_KG
from vinebook.reports.frame import PROGRAM, make_frame, record_of
from vinebook.reports.numbers import EN_DASH, Units, in_words_of, write_number
from vinebook.reports.render import Page, fill_template
from vinebook.reports.tables import Cell, Column, Table
from vinebook.reports.trail_words import (
    came_of,
    correction_words,
    expected_words,
    files_words,
    joined,
    limits_words,
    minute,
    number_of,
    ranges_words,
    then_and_now,
    where_of,
)
from vinebook.reports.words import begin_sentence, join_words, make_printable, typeable, write_seasons
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.commands import command_of_trail

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import RowsBehind
    from vinebook.seasons.trail_model import (
        Balance,
        Correction,
        DecisionTold,
        DoneTold,
        EvidenceTold,
        OutcomeTold,
        Trail,
    )

Fact = tuple[str, str]
Ranges = tuple[tuple[int, int], ...]
Rows = tuple[str, str, int, Ranges, Ranges]
"""Rows of one kind and file: kind, name and number of the file, ranges of permanent numbers and of lines."""
IN_FORCE = "in force"
HEADLINES = frozenset(
    (
        *("nodes_per_vine", "bud_mortality", "budbreak", "shoots_per_m", "clusters_per_vine", "cluster_weight"),
        *("crop", "yield_per_vine", "yield_per_ha", "prunings_per_vine", "prunings_per_m", "cane_weight"),
        *("yield_to_prunings", "spur_spacing", "gap_share", "leaf_area_to_fruit", "vines_bearing"),
    )
)
"""Figures of the evidence that stand on paper; all of them are in the files inside."""


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
        "balance": _balance(trail.balances, units),
        "corrections": _corrections([step for step in trail.corrections if step.entry not in told]),
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
    marks = _marks(decision)
    is_live = decision.state == IN_FORCE
    return _Decision(
        title=f"{decision.season}, decision {decision.number}: {decision.decides.replace('_', ' ')}{value}",
        state=decision.state,
        facts=_facts(decision, units),
        evidence=_evidence(decision, marks, units),
        rows=_rows(marks),
        without=_without(decision),
        corrections=_corrections(decision.corrections, "What was corrected in that evidence since"),
        done=_done(decision.done, units) if is_live else None,
        outcome=_outcome(decision.outcome, units) if is_live else None,
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


def _evidence(decision: DecisionTold, marks: dict[Rows, str], units: Units) -> Table | None:
    """Give the figures that a decision saw, newest season first; those of node positions are in a file inside."""
    seen = _seen(decision)
    if not seen:
        return None
    columns = (
        Column("Season", width=0.6),
        Column("Figure", width=2.0),
        Column("Then", width=2.1),
        Column("n", "", 0.4, is_number=True, pad_pt=6),
        Column("Now", width=2.1),
        Column("Corrected by", width=1.0),
        Column("Rows", width=1.3),
    )
    rows = []
    before = 0
    for one in seen:
        then, now = then_and_now(one, units)
        season = one.then.season
        rows.append(
            (
                Cell("" if season == before else str(season)),
                Cell(_name(one.then, units)),
                Cell(then),
                Cell(EN_DASH if one.then.n is None else str(one.then.n)),
                Cell(now if one.is_changed else "the same"),
                Cell(", ".join(f"entry {entry}" for entry in one.corrections)),
                Cell(", ".join(sorted({marks[rows] for rows in _merged(one)}, key=lambda mark: (len(mark), mark)))),
            )
        )
        before = season
    more = len(decision.evidence) - len(seen)
    notes = (
        (
            (
                "",
                f"{more} more figures, by bearer, position, stage and pick, are in evidence.csv inside this PDF",
            ),
        )
        if more
        else ()
    )
    return Table("The figures that it saw, then and now", columns, tuple(rows), notes=notes, has_runs=True)


def _seen(decision: DecisionTold) -> list[EvidenceTold]:
    """Give the evidence of whole vines and harvests that has a value or waits for one, newest season first."""
    if decision.state != IN_FORCE:
        return []
    order = {name: at for at, name in enumerate(FIGURES)}
    whole = [
        one
        for one in decision.evidence
        if (one.then.bearer, one.then.position, one.then.pick) == (None, None, None)
        and one.then.stage in (None, "harvest")
        and one.then.status in ("known", "partial", "pending")
    ]
    told = [one for one in whole if one.then.figure in HEADLINES or one.is_changed]
    return sorted(told or whole, key=lambda one: (-one.then.season, order[one.then.figure]))


def _merged(one: EvidenceTold) -> list[Rows]:
    """Give the rows behind a figure, those of one kind and file together."""
    found: dict[tuple[str, str, int], tuple[list[tuple[int, int]], list[tuple[int, int]]]] = {}
    for rows in one.rows:
        numbers, lines = found.setdefault((rows.kind, rows.file, rows.tally), ([], []))
        numbers.extend(rows.numbers)
        lines.extend(rows.lines)
    return [(*of, joined(numbers), joined(lines)) for of, (numbers, lines) in found.items()]


def _marks(decision: DecisionTold) -> dict[Rows, str]:
    """Give each set of rows behind the figures that are told its mark: a to z, then aa, ab and so on."""
    marks: dict[Rows, str] = {}
    for one in _seen(decision):
        for rows in _merged(one):
            if rows not in marks:
                at = len(marks)
                marks[rows] = (ascii_lowercase[at // 26 - 1] if at >= 26 else "") + ascii_lowercase[at % 26]
    return marks


def _name(figure: Figure, units: Units) -> str:
    where = where_of(figure)
    return in_words_of(FIGURES[figure.figure].title, units) + (f", {where}" if where else "")


def _corrections(steps: Sequence[Correction], title: str = "Other corrections of its rows") -> Table | None:
    if not steps:
        return None
    columns = (
        Column("Entry", width=0.5),
        Column("When", width=1.3),
        Column("By", width=0.8),
        Column("What was changed", width=4.0),
        Column("Reason", width=2.0),
    )
    rows = tuple(
        (
            Cell(str(step.entry)),
            Cell(minute(step.at)),
            Cell(step.by),
            Cell(begin_sentence(correction_words(step))),
            Cell(begin_sentence(step.reason)),
        )
        for step in steps
    )
    return Table(title, columns, rows)


def _done(done: Sequence[DoneTold], units: Units) -> Table | None:
    if not done:
        return None
    columns = (
        Column("What was done", width=1.4),
        Column("When", width=1.2),
        Column("How", width=2.2),
        Column("Against the decision", width=2.0),
        Column("From", width=3.2),
    )
    rows = tuple(
        (
            Cell(begin_sentence(one.what)),
            Cell(one.happened_on or EN_DASH),
            Cell(
                "; ".join(filter(None, (one.words, "" if one.figure is None else _with_n(one.figure, units))))
                or EN_DASH
            ),
            Cell(
                begin_sentence(": ".join(filter(None, ("" if one.verdict == "done" else one.verdict, one.why))))
                or EN_DASH
            ),
            Cell(_files(one.rows) or EN_DASH),
        )
        for one in done
    )
    return Table("What was done", columns, rows)


def _with_n(figure: Figure, units: Units) -> str:
    return _and_n(number_of(figure, units), figure)


def _and_n(words: str, figure: Figure) -> str:
    return words + (f", n {figure.n}" if figure.n is not None else "")


def _outcome(outcome: Sequence[OutcomeTold], units: Units) -> Table | None:
    if not outcome:
        return None
    read = 2.7 if any(one.verdict or one.why for one in outcome) else 0.7
    columns = (
        Column("What came", width=1.5),
        Column("Expected", width=0.9),
        Column("Came", width=1.7),
        Column("Read", width=read),
        Column("From", width=5.9 - read),
    )
    rows = tuple(
        (
            Cell(in_words_of(FIGURES[one.figure].title, units)),
            Cell(
                EN_DASH if one.verdict is None else limits_words(one.unit, (one.expected_low, one.expected_high), units)
            ),
            Cell(EN_DASH if one.now is None else _and_n(came_of(one, units), one.now)),
            Cell(begin_sentence(": ".join(filter(None, (one.verdict or "", one.why)))) or EN_DASH),
            Cell(_files(one.rows) or EN_DASH),
        )
        for one in outcome
    )
    return Table("What came", columns, rows)


def _files(rows: Iterable[RowsBehind]) -> str:
    return files_words((one.file, one.tally, one.lines) for one in rows)


def _balance(balances: Sequence[Balance], units: Units) -> Table | None:
    if not balances:
        return None
    unit, factor = ("lb", 1 / float(POUND_KG)) if units == "us" else ("kg", 1.0)
    columns = (
        Column("Season", width=0.9),
        Column("Loads", "", 0.7, is_number=True),
        *(
            Column(head, unit, 1.0, is_number=True)
            for head in ("Picked", "Accepted", "Refused", "Deducted", "Left", "Crop")
        ),
        Column("Harvest", width=1.2),
    )
    rows = tuple(
        (
            Cell(str(one.season)),
            Cell(str(one.loads)),
            *(
                Cell(write_number(mass * factor, 0))
                for mass in (one.picked_kg, one.accepted_kg, one.refused_kg, one.deducted_kg, one.left_kg, one.crop_kg)
            ),
            Cell("closed" if one.is_closed else "not closed"),
        )
        for one in balances
    )
    return Table("Mass balance", columns, rows)


def _rows(marks: dict[Rows, str]) -> Table | None:
    """Give the rows behind the evidence: mark, kind, permanent numbers, file and lines."""
    if not marks:
        return None
    columns = (
        Column("Rows", width=0.5),
        Column("Kind", width=1.5),
        Column("Their numbers", width=3.0),
        Column("File", width=2.4),
        Column("Lines", width=2.6),
    )
    rows = tuple(
        (
            Cell(mark),
            Cell(kind.replace("_", " ")),
            Cell(ranges_words(numbers, "#")),
            Cell(f"{file} (tally {tally})"),
            Cell(ranges_words(lines)),
        )
        for (kind, file, tally, numbers, lines), mark in marks.items()
    )
    return Table("The rows behind them", columns, rows)
