"""A trail as lines for a screen of 80 columns."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from typing import TYPE_CHECKING, Literal

from vinebook.cli.figure_rows import file_and_lines
from vinebook.cli.tables import width_of_screen
from vinebook.quantities import POUND_KG
from vinebook.reports.numbers import shown, unit_shown, write_number
from vinebook.reports.trail_words import (
    came_of,
    correction_words,
    limits_words,
    minute,
    number_of,
    then_and_now,
    where_of,
)
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.rows_told import ranges_in_words, ranges_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from vinebook.audit.trail_duties import DutyTold
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

Units = Literal["metric", "us"]
LABEL = 12
NAME = 26
WIDE, NARROW = 17, 13
"""Widths of a season's column beside two others at most, and beside three."""
MOST_CHANGES = 12
DUTY_MARK = {"shown": "yes", "missing": "no", "kept elsewhere": "–"}
HEADLINES = (
    *("nodes_per_vine", "bud_mortality", "budbreak", "shoots_per_m", "clusters_per_vine", "cluster_weight"),
    *("crop", "yield_per_vine", "yield_per_ha", "prunings_per_vine", "cane_weight", "yield_to_prunings"),
    *("gap_share", "leaf_area_to_fruit"),
)
"""Figures of the evidence that the screen shows; all of them are in JSON and CSV."""


def wrapped(label: str, words: str) -> Iterator[str]:
    """Give words behind a label, wrapped at the width of the screen."""
    width = min(max(width_of_screen(), 60), 100)
    indent = " " * (LABEL + 2 + 2 * (len(words) - len(words.lstrip())))
    yield from textwrap.wrap(
        words,
        width,
        initial_indent=f"  {label}".ljust(LABEL + 2),
        subsequent_indent=indent,
        break_on_hyphens=False,
    ) or [f"  {label}"]


def labelled(label: str, many: Iterable[str]) -> Iterator[str]:
    """Give several words behind one label, each from a line of its own."""
    for at, words in enumerate(many):
        yield from wrapped("" if at else label, words)


def trail_lines(trail: Trail, units: Units, *, rows: bool) -> Iterator[str]:
    """Give the lines of a trail of blocks.

    Parameters
    ----------
    trail : from `vinebook.api.trail`.
    units : "metric" or "us".
    rows : True where every figure of the evidence stands with its rows.
    """
    told: set[int] = set()
    for decision in trail.decisions:
        yield from decision_lines(decision, units, rows=rows)
        yield ""
        told |= {step.entry for step in decision.corrections}
    if not trail.decisions:
        yield f"no decision is recorded for {', '.join(trail.blocks) or 'any block'} there"
        yield ""
    if trail.balances:
        yield from balance_lines(trail.balances, units)
        yield ""
    others = [step for step in trail.corrections if step.entry not in told]
    if others:
        yield "other corrections of these blocks"
        for step in others[-MOST_CHANGES:]:
            yield from wrapped(step.at[:10], step_words(step))
        if len(others) > MOST_CHANGES:
            yield f"  and {len(others) - MOST_CHANGES:,} earlier ones (--format csv has all)"
        yield ""
    yield from seal_lines(trail.entries, trail.as_of, trail.seal)


def seal_lines(entries: int, as_of: str, seal: str) -> Iterator[str]:
    """Give the state of the book that a trail was told from."""
    yield f"as of entry {entries}, {minute(as_of)}; seal"
    yield f"{seal}"


def decision_lines(decision: DecisionTold, units: Units, *, rows: bool) -> Iterator[str]:
    """Give the lines of one decision, from its evidence to its outcome."""
    source = decision.source
    value = "" if decision.value is None else f" {decision.value:g}"
    head = (
        f"{decision.block} {decision.season} · decision {decision.number}: {decision.decides.replace('_', ' ')}{value}"
    )
    width = min(max(width_of_screen(), 60), 100)
    yield head + decision.state.rjust(max(width - len(head), len(decision.state) + 2))
    yield from wrapped("decided", f"{decision.decided_on} by {decision.decided_by}: {decision.words}")
    yield from wrapped("because", decision.reason)
    if decision.expected_figure:
        review = f"; to be looked at on {decision.review_on}" if decision.review_on else ""
        limits = decision.expected_low, decision.expected_high
        words = limits_words(FIGURES[decision.expected_figure].unit, limits, units)
        yield from wrapped("expected", f"{decision.expected_figure} {words}{review}")
    elif decision.review_on:
        yield from wrapped("review on", decision.review_on)
    place = f"{source.file} line {source.line} (tally {source.tally}, #{source.record})"
    yield from wrapped("recorded", f"{minute(source.recorded_at)} by {source.entered_by}: {place}")
    if decision.supersedes:
        yield from wrapped("supersedes", decision.supersedes)
    if decision.superseded_by:
        yield from wrapped("then", f"superseded by {decision.superseded_by}, which tells the outcome")
    yield from evidence_lines(decision, units, rows=rows)
    if decision.state == "in force" or rows:
        yield from since_lines(decision, units)
    yield from labelled("done", (words for one in decision.done for words in done_words(one, units)))
    yield from labelled("outcome", (words for one in decision.outcome for words in outcome_words(one, units)))


def evidence_lines(decision: DecisionTold, units: Units, *, rows: bool) -> Iterator[str]:
    """Give the figures that stood then, by season."""
    evidence = decision.evidence
    if not evidence:
        yield from wrapped("evidence", "none was frozen: the decision came with a tally or with `add`")
        return
    seasons = sorted({one.then.season for one in evidence})
    changed = " · * reads otherwise now" if any(one.is_changed for one in evidence) else ""
    count = f"{len(evidence)} figures of {seasons[0]} to {seasons[-1]} as they stood then"
    yield from wrapped("evidence", f"{count}{changed}")
    if rows:
        yield from _each_with_rows(evidence, units)
        return
    if decision.state == "in force":
        yield from _table(evidence, seasons[-4:], units)
        yield from wrapped("came from", files_in_words(row for one in evidence for row in one.rows))


def _table(evidence: Sequence[EvidenceTold], seasons: Sequence[int], units: Units) -> Iterator[str]:
    """Give the figures of whole vines and harvests, a line each and a column for each season."""
    cell = WIDE if len(seasons) <= 3 else NARROW
    yield f"  {'':{NAME}}" + "".join(str(season).rjust(cell) for season in seasons)
    held: dict[str, dict[int, EvidenceTold]] = defaultdict(dict)
    for one in evidence:
        then = one.then
        if (then.bearer, then.position, then.pick) == (None, None, None) and then.stage in (None, "harvest"):
            held[then.figure][then.season] = one
    for name in [name for name in HEADLINES if name in held] or list(held):
        unit = unit_shown(next(iter(held[name].values())).then.unit, units)[0]
        # A number of vines' nodes or clusters says by its name what it counts.
        titled = f"{name} [{unit}]" if unit and unit.split("/")[0] not in name.split("_") else name
        cells = "".join(_cell(held[name].get(season), units, cell).rjust(cell) for season in seasons)
        yield f"  {titled:{NAME}}{cells}"


def _cell(one: EvidenceTold | None, units: Units, width: int) -> str:
    if one is None:
        return "–"
    then = one.then
    mark = "*" if one.is_changed else ""
    if then.value is None:
        return then.status + mark
    told = shown(then, units)
    words = f"{told.text} {told.interval}" if then.low is not None else told.text
    return (words if len(words) + len(mark) < width else told.text) + mark


def _each_with_rows(evidence: Sequence[EvidenceTold], units: Units) -> Iterator[str]:
    for one in evidence:
        then = one.then
        words = _change(one, units) if one.is_changed else number_of(then, units)
        yield from wrapped("", f"{then.season} {_with_where(then.figure, then)} {words}")
        numbers = "; ".join(
            f"{rows.kind} {ranges_in_words(rows.numbers, '#')} {file_and_lines(rows)}"
            + (f", of {rows.happened_on}" if rows.happened_on else "")
            + f", recorded {rows.recorded_at[:10]}"
            for rows in one.rows
        )
        if numbers:
            yield from textwrap.wrap(
                numbers,
                min(max(width_of_screen(), 60), 100),
                initial_indent=" " * (LABEL + 6),
                subsequent_indent=" " * (LABEL + 6),
                break_on_hyphens=False,
            )


def files_in_words(rows: Iterable[RowsBehind], *, recorded: bool = False) -> str:
    """Give files with their lines, each file once; its number tells it from others of its name.

    Parameters
    ----------
    rows : rows of any files.
    recorded : True to say on which day each file came in.
    """
    lines: dict[tuple[str, int], set[int]] = defaultdict(set)
    days: dict[int, str] = {}
    for one in rows:
        lines[one.file, one.tally] |= {number for first, last in one.lines for number in range(first, last + 1)}
        days[one.tally] = f", recorded {one.recorded_at[:10]}" if recorded else ""
    once = next(iter(days.values())) if len(set(days.values())) == 1 else ""
    return (
        "; ".join(
            f"{file} {ranges_in_words(ranges_of(numbers))} (tally {tally}{'' if once else days[tally]})"
            for (file, tally), numbers in sorted(lines.items())
        )
        + once
    )


def since_lines(decision: DecisionTold, units: Units) -> Iterator[str]:
    """Give what changed in the evidence since, with the figures then and now."""
    moved = [one for one in decision.evidence if one.is_changed]
    steps = [f"{step.at[:10]} {step_words(step)}" for step in decision.corrections]
    if len(steps) > MOST_CHANGES:
        steps = [*steps[:MOST_CHANGES], f"and {len(steps) - MOST_CHANGES:,} more corrections"]
    came = [one for one in moved if one.then.status == "pending" and one.now is not None and one.now.value is not None]
    told = [
        f"{_with_where(f'{one.then.figure} {one.then.season}', one.then)}: {_change(one, units)}{_gained(one)}"
        for one in moved
        if one not in came
    ]
    if len(told) > MOST_CHANGES:
        told = [*told[:MOST_CHANGES], f"and {len(told) - MOST_CHANGES} more figures (--rows tells all)"]
    if came:
        known = ", ".join(
            f"{_with_where(f'{one.then.figure} {one.then.season}', one.then)} {number_of(one.now, units)}"
            for one in came[:MOST_CHANGES]
        )
        rows = files_in_words(row for one in came for row in one.gained)
        told.append(f"no longer pending: {known}; rows that came since: {rows}")
    yield from labelled("since then", [*steps, *told])


def _with_where(name: str, figure: Figure) -> str:
    where = where_of(figure)
    return f"{name} ({where})" if where else name


def _change(one: EvidenceTold, units: Units) -> str:
    then, now = then_and_now(one, units)
    return f"then {then}, now {now}"


def step_words(step: Correction) -> str:
    """Give a correction in words."""
    return f"{correction_words(step)}; by {step.by}, entry {step.entry}; reason: {step.reason}"


def _gained(one: EvidenceTold) -> str:
    rows = files_in_words(one.gained)
    return f"; rows that came since: {rows}" if rows else ""


def done_words(done: DoneTold, units: Units) -> Iterator[str]:
    """Give something that was done, and the rows that tell it."""
    parts = [done.what]
    if done.figure is not None and done.figure.value is not None:
        count = "" if done.figure.n is None else f" (n {done.figure.n})"
        parts.append(f"{number_of(done.figure, units)}{count}")
    when = f" {done.happened_on}" if done.happened_on else ""
    words = f": {done.words}" if done.words else ""
    verdict = "" if done.verdict == "done" else f": {done.verdict.upper()}"
    why = f"{': ' if done.verdict == 'done' else ', '}{done.why}" if done.why else ""
    yield f"{' '.join(parts)}{when}{words}{verdict}{why}"
    if done.rows:
        yield f"  {files_in_words(done.rows, recorded=True)}"


def outcome_words(outcome: OutcomeTold, units: Units) -> Iterator[str]:
    """Give what came of the season, and the rows that tell it."""
    number = came_of(outcome, units) if outcome.now is not None else "pending"
    if outcome.verdict is not None:
        expected = limits_words(outcome.unit, (outcome.expected_low, outcome.expected_high), units)
        why = f": {outcome.why}" if outcome.why else ""
        yield f"{outcome.verdict.upper()}: {outcome.figure} {number}, expected {expected}{why}"
        if outcome.rows:
            yield f"  {files_in_words(outcome.rows, recorded=True)}"
    else:
        yield f"{outcome.figure} {number}{': ' if outcome.why else ''}{outcome.why}"


def balance_lines(balances: Sequence[Balance], units: Units) -> Iterator[str]:
    """Give the mass balance of each block and season."""
    unit, factor = ("lb", 1 / float(POUND_KG)) if units == "us" else ("kg", 1.0)
    yield f"mass balance, {unit}: picked = accepted + refused + deducted; crop = picked + left"
    names = ("loads", "picked", "accepted", "refused", "deducted", "left", "crop")
    yield f"  {'':12}{names[0]:>6}" + "".join(name.rjust(9) for name in names[1:])
    for one in balances:
        masses = (one.picked_kg, one.accepted_kg, one.refused_kg, one.deducted_kg, one.left_kg, one.crop_kg)
        cells = "".join(write_number(mass * factor, 0).rjust(9) for mass in masses)
        closed = "" if one.is_closed else " open"
        yield f"  {f'{one.block} {one.season}':12}{one.loads:6}{cells}{closed}"
    if not all(one.is_closed for one in balances):
        yield "  open: the harvest of that block was not declared finished"


def duty_lines(duties: Sequence[DutyTold]) -> Iterator[str]:
    """Give what each rule asks for, and what a ticket's trail shows of it."""
    last = ""
    for duty in duties:
        if duty.rule != last:
            yield from ([""] if last else [])
            yield duty.rule
            last = duty.rule
        missing = "MISSING: " if duty.state == "missing" else ""
        yield from wrapped(DUTY_MARK[duty.state], f"{duty.asks}: {missing}{duty.words}")
    yield ""
    yield "The rules themselves, local codes and licensed advice come before this table."
