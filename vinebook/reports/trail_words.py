"""What a trail says in words, on a screen and on paper alike: numbers then and now, limits, corrections, lines."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from vinebook.reports.numbers import decimals_that_show, in_words_of, shown, unit_shown
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vinebook.reports.numbers import Shown, Units
    from vinebook.seasons.model import Figure
    from vinebook.seasons.trail_model import Correction, EvidenceTold, OutcomeTold

Ranges = tuple[tuple[int, int], ...]


def minute(at: str) -> str:
    """Give a UTC time to the minute."""
    return f"{at[:10]} {at[11:16]}Z" if at else ""


def number_of(figure: Figure | None, units: Units) -> str:
    """Give a figure's value with its interval and unit, or its status."""
    if figure is None:
        return "nothing"
    if figure.value is None:
        return figure.status
    return _with_status(figure, shown(figure, units))


def _with_status(figure: Figure, told: Shown) -> str:
    interval = f" ({told.interval})" if figure.low is not None else ""
    so_far = " so far" if figure.status == "partial" else ""
    return f"{told.text}{interval} {told.unit}".rstrip() + so_far


def came_of(outcome: OutcomeTold, units: Units) -> str:
    """Give what came, with more digits where rounded ones contradict its reading: 3.96 for a 4.0 below 4.

    Parameters
    ----------
    outcome : what came, its figure there or not, and what was expected of it.
    units : "metric" or "us".
    """
    figure = outcome.now
    if figure is None or figure.value is None or outcome.verdict not in {"met", "missed"}:
        return number_of(figure, units)
    told, (_, factor) = shown(figure, units), unit_shown(outcome.unit, units)
    low, high = (
        -math.inf if outcome.expected_low is None else float(f"{outcome.expected_low * factor:.4g}"),
        math.inf if outcome.expected_high is None else float(f"{outcome.expected_high * factor:.4g}"),
    )
    value, is_met = figure.value * factor, outcome.verdict == "met"
    decimals = decimals_that_show(told.decimals, lambda digits: (low <= round(value, digits) <= high) == is_met)
    return _with_status(figure, replace(told, decimals=decimals))


def then_and_now(one: EvidenceTold, units: Units) -> tuple[str, str]:
    """Give a figure then and now, with more digits where the rounded ones hide the difference."""
    then, now = number_of(one.then, units), number_of(one.now, units)
    if then == now and one.now is not None and one.is_changed:
        then, now = _exactly(one.then, units), _exactly(one.now, units)
    return then, now


def _exactly(figure: Figure, units: Units) -> str:
    name, factor = unit_shown(figure.unit, units)
    value, low, high = (
        None if number is None else f"{number * factor:.5g}" for number in (figure.value, figure.low, figure.high)
    )
    interval = "" if low is None and high is None else f" ({low or ''}–{high or ''})"
    return f"{value or figure.status}{interval} {name}".rstrip()


def limits_words(unit: str, limits: tuple[float | None, float | None], units: Units) -> str:
    """Give what was expected, from low to high, with its unit.

    Parameters
    ----------
    unit : metric unit of the figure.
    limits : low and high in it; None where that side is open.
    units : "metric" or "us".
    """
    name, factor = unit_shown(unit, units)
    low, high = (None if limit is None else f"{limit * factor:.4g}" for limit in limits)
    words = f"{low}–{high}" if low and high else f"{low} or more" if low else f"{high} or less" if high else "any"
    return f"{words} {name}".rstrip()


def expected_words(name: str, limits: tuple[float | None, float | None], units: Units) -> str:
    """Give a figure's title with what was expected of it; a unit that the title says already is not said twice.

    Parameters
    ----------
    name : name of the figure.
    limits : low and high in its metric unit; None where that side is open.
    units : "metric" or "us".
    """
    kind = FIGURES[name]
    is_said = kind.unit in kind.title.lower().split()
    return f"{in_words_of(kind.title, units)} {limits_words('' if is_said else kind.unit, limits, units)}"


def where_of(figure: Figure) -> str:
    """Give bearer, position, stage and pick of a figure, where it has them."""
    found = (figure.bearer, figure.position, figure.stage, None if figure.pick is None else f"pick {figure.pick}")
    return ", ".join(str(part).replace("_", " ") for part in found if part is not None)


def correction_words(step: Correction) -> str:
    """Give what a correction changed."""
    what = f": {step.what}" if step.what else ""
    named = f"{step.kind} {step.key} (#{step.record})" if step.action != "replaced" else f"file {step.key}"
    return f"{step.action} {named}{what}"


def ranges_words(ranges: Ranges, sign: str = "") -> str:
    """Give ranges of whole numbers: "3–7, 9"."""
    return ", ".join(f"{sign}{first}" if first == last else f"{sign}{first}–{last}" for first, last in ranges)


def files_words(found: Iterable[tuple[str, int, Ranges]]) -> str:
    """Give files with their lines, each file once.

    Parameters
    ----------
    found : name and number of each file, and ranges of its lines.
    """
    lines: dict[tuple[str, int], list[tuple[int, int]]] = defaultdict(list)
    for file, tally, ranges in found:
        lines[file, tally].extend(ranges)
    return "; ".join(f"{file} {ranges_words(joined(ranges))}" for (file, _), ranges in sorted(lines.items()))


def joined(ranges: Iterable[tuple[int, int]]) -> Ranges:
    """Give ranges of whole numbers in order, those that touch or overlap as one."""
    found: list[tuple[int, int]] = []
    for first, last in sorted(ranges):
        if found and first <= found[-1][1] + 1:
            found[-1] = found[-1][0], max(found[-1][1], last)
        else:
            found.append((first, last))
    return tuple(found)
