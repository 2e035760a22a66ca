"""Dead buds before a pruning, and what a named rule makes of them; no number where its classes overlap or end."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vinebook.advice.nodes_model import DeadBuds, ForDeadBuds
from vinebook.formulas.buds import FULL_COMPENSATION, INJURY_RULES, nodes_for_dead_buds

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure

SOURCES = {
    "Cornell 2014": "Cornell, NNY grape update, 28 February 2014",
    "Purdue": "Purdue, Facts for Fancy Fruit, Double pruning grapevines for spring frost protection",
    FULL_COMPENSATION: "nodes ÷ share of live primaries (from memory)",
}
"""Where each rule is published."""
BEYOND = {"Purdue": "above it the source prunes minimally"}
"""What a source says above the end of its rule."""


def dead_buds(figure: Figure | None, buds: int, rule: str) -> DeadBuds | None:
    """Give what is known of dead buds and what a rule says of their share; None where none were cut.

    Parameters
    ----------
    figure : bud mortality of the season that the pruning sets.
    buds : buds cut.
    rule : name of a rule of `INJURY_RULES`, or "" for none.
    """
    if figure is None or figure.value is None:
        return None
    words = _words(figure.value, rule) if rule else ""
    ends = [end for end in (figure.low, figure.high) if end is not None]
    if rule and _changes_class(figure.value, ends, rule):
        words += f"; its interval, {min(ends):.0f}–{max(ends):.0f} %, reaches into another class of the rule"
    return DeadBuds(figure.value, figure.low, figure.high, buds, rule, words)


def corrected(nodes: float, dead: DeadBuds) -> ForDeadBuds:
    """Give a level corrected for dead buds, with what it would be at the ends of their interval.

    Parameters
    ----------
    nodes : nodes per vine for sound wood.
    dead : dead buds with the rule asked for.
    """
    ends = [None if end is None else _by_rule(nodes, end, dead.rule) for end in (dead.low, dead.high)]
    low, high = ends if None not in ends else (None, None)
    return ForDeadBuds(_by_rule(nodes, dead.percent, dead.rule), low, high)


def _by_rule(nodes: float, percent: float, rule: str) -> float | None:
    number = float(nodes_for_dead_buds(nodes, percent, rule))
    return number if math.isfinite(number) else None


def _words(percent: float, rule: str) -> str:
    """Say what a rule does at a share of dead buds, or why it gives no number."""
    one = _by_rule(1.0, percent, rule)
    if one is not None:
        return "no change" if abs(one - 1) < 1e-9 else f"{100 * (one - 1):.0f} % more nodes"
    classes = INJURY_RULES[rule]
    if rule == FULL_COMPENSATION:
        return "no live primary was found: no number of nodes makes up for that"
    if percent > max(each.high for each in classes):
        beyond = BEYOND.get(rule, "ask for local advice")
        return f"no number: the rule ends at {max(each.high for each in classes):g} % dead buds; {beyond}"
    inside = [each for each in classes if each.low <= percent <= each.high]
    return f"no number: {len(inside)} classes of the rule meet at {percent:.0f} % and say different things"


def _changes_class(percent: float, ends: list[float], rule: str) -> bool:
    if rule == FULL_COMPENSATION or not ends:
        return False
    return len({_class_of(each, rule) for each in (percent, *ends)}) > 1


def _class_of(percent: float, rule: str) -> tuple[int, ...]:
    return tuple(
        at
        for at, each in enumerate(INJURY_RULES[rule])
        if each.low <= percent and (percent < each.high if each.high_is_out else percent <= each.high)
    )
