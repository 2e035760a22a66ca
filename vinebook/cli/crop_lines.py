"""How much crop is coming, as lines for a screen."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Literal

from vinebook.advice.crop import STAGE_WORDS
from vinebook.advice.crop_notes import plural
from vinebook.advice.crop_published import ACCURACIES
from vinebook.cli.tables import width_of_screen
from vinebook.reports.numbers import decimals_of, unit_shown, write_number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.advice.crop_model import Backtest, CropAnswer, CropEstimate, Given, StageErrors

    Units = Literal["metric", "us"]

NARROWEST, MOST_WIDTH = 60, 100
MOST_DIGITS = 3
HELPS_BY = 0.5
"""Percentage points that an hour of counting must take off the half width to be said to help."""
FEW = 10
"""Below this many estimates an error by stage is marked; common practice, no source."""
IS_ESTIMATE = "An estimate is an estimate: `vinebook guide crop` says what it rests on and what it cannot know."


def _width() -> int:
    return min(max(width_of_screen(), NARROWEST), MOST_WIDTH)


def _wrapped(words: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(words, _width(), initial_indent=indent, subsequent_indent="  ", break_on_hyphens=False)


def answer_lines(told: CropAnswer, units: Units, level: int) -> Iterator[str]:
    """Give the lines of an answer.

    Parameters
    ----------
    told : the answer.
    units : "metric" or "us".
    level : interval that stands first.
    """
    if told.estimate is not None:
        yield from _estimate(told.estimate, units, level)
    if told.closed_on is not None:
        if told.estimate is not None:
            yield ""
        yield from _outcome(told, units)
    elif told.given:
        yield ""
        yield f"Given for {told.season} so far:"
        yield from _given(told.given, units, came=False)
    yield ""
    yield from _wrapped(IS_ESTIMATE, "")


def _estimate(one: CropEstimate, units: Units, level: int) -> Iterator[str]:
    unit, factor = unit_shown("t", units)
    limits = one.at(level)
    low, high = (None, None) if limits is None else (limits.low_t * factor, limits.high_t * factor)
    value = one.estimate_t * factor
    digits = _digits(value, low, high, unit)
    head = f"{one.block} {one.season}, {STAGE_WORDS[one.stage]}, {one.on}: {write_number(value, digits)} {unit} to come"
    if low is None or high is None:
        yield from _wrapped(f"{head}; no interval", "")
    else:
        yield from _wrapped(f"{head}; in {level} of 100 such cases {_range(low, high, digits)} {unit}", "")
    others = [each for each in one.limits if each.level != level]
    more = [f"{each.level} %: {_range(each.low_t * factor, each.high_t * factor, digits)} {unit}" for each in others]
    if one.kg_per_vine is not None:
        more.append(f"{_quantity(one.kg_per_vine, 'kg', units)} a bearing vine")
    if one.t_per_ha is not None:
        more.append(f"{_quantity(one.t_per_ha, 't/ha', units)} planted")
    yield from _wrapped("; ".join(more))
    for note in one.notes:
        yield from _wrapped(f"note: {note}")
    yield ""
    yield from _parts(one)
    yield ""
    yield from _help(one)
    for words in _literature(one.stage):
        yield from _wrapped(words, "")


def _digits(value: float, low: float | None, high: float | None, unit: str) -> int:
    """Give the digits behind the point: two that count at least, as both limits stand on their own."""
    least = 1 - math.floor(math.log10(value)) if value > 0 else 0
    return max(decimals_of(value, low, high, unit), min(least, MOST_DIGITS), 0)


def _range(low: float, high: float, digits: int) -> str:
    return f"{write_number(low, digits)}–{write_number(high, digits)}"


def _quantity(value: float, unit: str, units: Units) -> str:
    name, factor = unit_shown(unit, units)
    return f"{value * factor:.3g} {name}"


def _parts(one: CropEstimate) -> Iterator[str]:
    """Give what is multiplied: each with its spread, its part of the variance, and what it rests on."""
    shows = any(part.share_of_variance_percent is not None for part in one.parts)
    yield f"  {'':<18}{'':>6}   {'':>7}{'of the':>9}"
    yield f"  {'':<18}{'':>6}   {'spread':>7}{'variance':>9}  rests on"
    for part in one.parts:
        value = 100 * part.value if part.name == "share picked" else part.value
        unit = "%" if part.name == "share picked" else part.unit if part.unit == "g" else ""
        text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
        spread = "–" if part.cv_percent is None else f"{part.cv_percent:.1f} %" if part.cv_percent else "0 %"
        share = part.share_of_variance_percent
        of = f"{share:.0f} %" if share is not None else "–" if shows else ""
        head = f"  {part.name:<18}{text:>6} {unit:<2}{spread:>7}{of:>9}  "
        words = textwrap.wrap(part.rests_on, max(_width() - len(head), 20), break_on_hyphens=False)
        yield (head + words[0]).rstrip()
        yield from (" " * len(head) + line for line in words[1:])


def _help(one: CropEstimate) -> Iterator[str]:
    if one.half_width_percent is None:
        return
    now = one.half_width_percent
    yield from _wrapped(f"Its 80 % interval is ±{now:.0f} %. One more hour of counting:", "")
    if not one.helps:
        yield from _wrapped("nothing in it was counted on drawn vines this season: a count of clusters is what helps")
    for each in one.helps:
        yield f"  {each.what:<26} ±{each.half_width_percent:.1f} %"
    if one.helps and now - one.helps[0].half_width_percent < HELPS_BY:
        most = max(one.parts, key=lambda part: part.share_of_variance_percent or 0.0)
        yield from _wrapped(f"so it helps little: most of the spread is in {most.name}")


def _literature(stage: str) -> list[str]:
    said = [f"{each.words} ({each.source})" for each in ACCURACIES if stage in each.stages]
    said = said or [f"{each.words} ({each.source})" for each in ACCURACIES if not each.stages]
    return [f"The literature on estimates {STAGE_WORDS[stage]}: {'; '.join(said)}. The book's own: --backtest."]


def _outcome(told: CropAnswer, units: Units) -> Iterator[str]:
    unit, factor = unit_shown("t", units)
    head = f"{told.block} {told.season}: harvest closed on {told.closed_on}"
    if told.picked_t is None or told.crop_t is None:
        yield from _wrapped(f"{head}, but its loads are not split to the block: nothing to set beside estimates", "")
    else:
        picked = told.picked_t * factor
        left = (
            f"; {(told.crop_t - told.picked_t) * factor:.2g} {unit} left on the vine"
            if told.crop_t > told.picked_t
            else ""
        )
        yield from _wrapped(
            f"{head}; {write_number(picked, decimals_of(picked, None, None, unit))} {unit} picked{left}", ""
        )
    for words in told.disturbed:
        yield from _wrapped(f"{words}")
    if told.estimate is not None and told.picked_t:
        error = 100 * (told.estimate.estimate_t / told.picked_t - 1)
        yield from _wrapped(f"the estimate above lay {_off(error)}")
    if told.given:
        yield "Given to somebody:"
        yield from _given(told.given, units, came=bool(told.picked_t))
    else:
        yield from _wrapped("no estimate of it was given to anybody")
    if told.estimate is None:
        yield from _wrapped(f"--on DATE works out what could have been said on a day of {told.season}")


def _off(percent: float) -> str:
    if abs(percent) < HELPS_BY:
        return "on what was picked"
    return f"{abs(percent):.0f} % {'above' if percent > 0 else 'below'} what was picked"


def _given(given: tuple[Given, ...], units: Units, *, came: bool) -> Iterator[str]:
    unit, factor = unit_shown("t", units)
    for each in given:
        one = each.estimate
        words = f"{one.date}  {one.estimate_t * factor:.2f} {unit}"
        if one.low_t is not None and one.high_t is not None and one.level is not None:
            words += f" ({_range(one.low_t * factor, one.high_t * factor, 2)}, {one.level:g} %)"
        words += f" to {one.given_to}, {STAGE_WORDS[one.stage]}: {one.method}"
        if came and each.error_percent is not None:
            within = {True: ", the interval held", False: ", outside its interval", None: ""}[each.within]
            words += f"; {_off(each.error_percent)}{within}"
        yield from textwrap.wrap(words, _width(), initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)


def backtest_lines(told: Backtest) -> Iterator[str]:
    """Give the lines of a backtest: error and coverage by stage and method, beside what the literature says."""
    if not told.stages:
        yield "no season of the book has a closed harvest with counts before it: nothing to try"
        return
    yield from _wrapped(
        "Estimates the book could have made, each with only what had happened by its day, against what was picked:",
        "",
    )
    yield ""
    yield f"  {'':<22}{'times':>6}{'mean':>8}{'half':>8}{'root mean':>11}{'picked within its':>21}"
    yield f"  {'':<22}{'':>6}{'error':>8}{'within':>8}{'square':>11}{'80 %':>9}{'95 %':>11}"
    stage = ""
    for one in told.stages:
        if not one.n and not one.left_out:
            continue
        if one.stage != stage:
            if stage:
                yield from _beside(stage)
            stage = one.stage
            yield STAGE_WORDS[one.stage].removeprefix("at ")
        yield from _stage_lines(one)
    yield from _beside(stage)
    yield ""
    general = "; ".join(f"{each.words} ({each.source})" for each in ACCURACIES if not each.stages)
    yield from _wrapped(f"In general: {general}.", "")
    out = sum(one.left_out for one in told.stages)
    none = sum(one.impossible for one in told.stages)
    yield from _wrapped(
        f"Left out: {out} whose vines were thinned or struck by frost or hail after the count; on {none} days the book "
        "had too little to make one. Stages of one season share its weather: these are fewer trials than they look. "
        f"* fewer than {FEW}. --format csv has each.",
        "",
    )


def _stage_lines(one: StageErrors) -> Iterator[str]:
    yield from _wrapped(one.method)
    mark = "*" if one.n < FEW else " "
    of = f"{plural(one.blocks, 'block')}, {plural(one.seasons, 'season')}"
    head = f"    {of:<20}{one.n:>5}{mark}"
    if one.mean_percent is None or one.half_within_percent is None or one.rms_percent is None:
        yield f"{head}   all left out"
        return
    with_interval = one.with_interval
    cells = [f"{held} of {with_interval}" if with_interval else "–" for held in (one.within_80, one.within_95)]
    yield (
        f"{head}{one.mean_percent:>+6.0f} %{'±' + format(one.half_within_percent, '.0f'):>6} %"
        f"{one.rms_percent:>9.0f} %{cells[0]:>12}{cells[1]:>11}"
    ).replace("-", "−")


def _beside(stage: str) -> Iterator[str]:
    for each in ACCURACIES:
        if stage in each.stages:
            yield from _wrapped(f"literature: {each.words} ({each.source})")
