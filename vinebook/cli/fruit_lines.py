"""Where the fruit sits, as lines for a screen."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vinebook.cli.tables import width_of_screen
from vinebook.reports.numbers import decimals_of, write_number, write_range

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vinebook.advice.fruit_model import Conversion, Fruitfulness, Laid, Pooled, Position, SeasonRate, SideBySide

MOST_WIDTH = 100
BAR_WIDTH = 20
BAR, EIGHTHS = "█", ("", "▏", "▎", "▍", "▌", "▋", "▊", "▉")
NAME_WIDTH, VALUE_WIDTH, INTERVAL_WIDTH = 11, 7, 13
NAMES = {"spur": "spurs", "cane": "canes", "renewal_spur": "renewal spurs", "head_spur": "head spurs and head"}
FIGURES = {
    "nodes_per_vine": "nodes per vine",
    "budbreak": "budbreak",
    "clusters_per_vine": "clusters per vine",
    "cluster_weight": "cluster weight",
    "yield_per_vine": "yield per vine",
    "yield_per_ha": "yield per hectare",
}


def fruit_lines(told: Fruitfulness, *, shows_each: bool) -> Iterator[str]:
    """Give the lines of an answer.

    Parameters
    ----------
    told : the answer.
    shows_each : whether to show each season.
    """
    width = min(max(width_of_screen(), 60), MOST_WIDTH)
    yield from _wrapped(_head(told), width, "", "  ")
    if told.positions:
        yield ""
        yield from _positions(told, width, shows_each=shows_each)
    for share in told.noncount:
        if share.pooled is not None:
            words = f"{_mean(share.pooled, '%')} of the clusters counted stood on basal and old-wood shoots"
            yield from _wrapped(f"As {share.form}s, {words}.", width, "")
    if told.laid:
        yield ""
        yield from _laid(told.laid, width)
    if told.side_by_side is not None:
        yield from _side_by_side(told.side_by_side, width)
    if told.conversion is not None:
        yield ""
        yield from _conversion(told.conversion, width)
    yield from _last(told, width)


def _last(told: Fruitfulness, width: int) -> Iterator[str]:
    """Give spacing, what is missing and what else to know."""
    if told.spur_space is not None:
        yield ""
        yield from _wrapped(f"Spurs in {told.spur_space.season}: {'; '.join(told.spur_space.words)}.", width, "")
    yield ""
    for words in told.missing:
        yield from _wrapped(f"missing: {words}", width, "")
    for words in told.notes:
        yield from _wrapped(f"note: {words}", width, "")
    if told.missing or told.notes:
        yield ""
    yield from _wrapped("The person decides. `vinebook guide fruitfulness` says what each number is.", width, "", "")


def _head(told: Fruitfulness) -> str:
    name = " ".join(filter(None, (told.block, told.cultivar)))
    pruned = f", {told.pruned}-pruned" if told.pruned in ("spur", "cane") else ""
    if not told.seasons:
        return f"{name}{pruned}: no nodes were counted."
    count = len(told.seasons)
    span = f"{told.seasons[0]}" if count == 1 else f"{told.seasons[0]} to {told.seasons[-1]}"
    frost = f"; frost in {_years(told.frost_seasons)}, told apart" if told.frost_seasons else ""
    return f"{name}{pruned}: nodes counted in {count} {'season' if count == 1 else 'seasons'}, {span}{frost}."


def _positions(told: Fruitfulness, width: int, *, shows_each: bool) -> Iterator[str]:
    """Give the table: a line for each position, a bar for its mean, frost seasons below each bearer."""
    most = max((of.mean for one in told.positions for of in (one.pooled, one.frost) if of is not None), default=0.0)
    head = f"{'clusters per node':<{NAME_WIDTH + VALUE_WIDTH + 2}}"
    scale = f"0{f'{most:.1f}':>{BAR_WIDTH - 1}}"
    yield f"{head}{'95 % interval':^{INTERVAL_WIDTH}}  {'rests on':<14}{'fruitful':>9}  {scale}"
    for bearer in dict.fromkeys(one.bearer for one in told.positions):
        yield NAMES[bearer]
        mine = [one for one in told.positions if one.bearer == bearer]
        for one in mine:
            if one.pooled is not None:
                yield _position(one, one.pooled, most)
            if shows_each:
                yield from (_each(rate) for rate in one.seasons)
        struck = [one for one in mine if one.frost is not None]
        if struck:
            years = _years(sorted({season for one in struck for season in (one.frost.seasons if one.frost else ())}))
            numbers = ", ".join(f"{_named(one)} {one.frost.mean:.2f}" for one in struck if one.frost is not None)
            yield from _wrapped(f"frost in {years}: {numbers}", width, "  ", "    ")


def _named(one: Position) -> str:
    return "basal" if one.position == "0" else one.position


def _position(one: Position, pooled: Pooled, most: float) -> str:
    """Give a line; with one season the interval is that season's own, and the line says on how many vines."""
    low, high, rests_on = pooled.low, pooled.high, f"{len(pooled.seasons)} seasons"
    if len(pooled.seasons) == 1:
        rate = next(rate for rate in one.seasons if rate.season == pooled.seasons[0])
        low, high = rate.low, rate.high
        rests_on = f"{rate.units} {'vine' if rate.units == 1 else 'vines'}, {rate.season}"
    interval = "" if low is None or high is None else write_range(low, high, 2)
    fruitful = "" if one.fruitful_percent is None else f"{one.fruitful_percent:.0f} %"
    cells = f"  {_named(one):<{NAME_WIDTH - 2}}{pooled.mean:>{VALUE_WIDTH}.2f}  {interval:^{INTERVAL_WIDTH}}"
    return f"{cells}  {rests_on:<14}{fruitful:>9}  {_bar(pooled.mean, most)}".rstrip()


def _each(rate: SeasonRate) -> str:
    interval = "" if rate.low is None or rate.high is None else write_range(rate.low, rate.high, 2)
    frost = "frost" if rate.is_frost else ""
    cells = f"    {rate.season:<{NAME_WIDTH - 4}}{rate.value:>{VALUE_WIDTH}.2f}  {interval:^{INTERVAL_WIDTH}}"
    return f"{cells}  {f'{rate.units} vines':<14}{frost:>9}".rstrip()


def _bar(value: float, most: float) -> str:
    eighths = round(8 * BAR_WIDTH * value / most) if most > 0 else 0
    return BAR * (eighths // 8) + EIGHTHS[eighths % 8]


def _laid(laid: Sequence[Laid], width: int) -> Iterator[str]:
    nodes = next((one.nodes for one in laid if one.nodes is not None), None)
    what = (
        f"The same {_count(nodes)} nodes a vine, laid either way"
        if nodes is not None
        else "A count node, laid either way"
    )
    yield f"{what}:"
    for one in laid:
        guess = "a guess: " if one.is_guess else ""
        name = f"as {one.form}s of {one.nodes_per_bearer}"
        if one.pooled is None:
            yield from _wrapped(f"{name}: {guess}only seasons with frost were counted", width)
            continue
        per_node = f"{_mean(one.pooled, '', 2, bare=one.is_guess)} clusters per node"
        if one.clusters is None:
            told = per_node
        else:
            ends = "" if one.clusters_low is None else f" ({write_range(one.clusters_low, one.clusters_high, 0)})"
            told = f"{one.clusters:.0f}{ends} clusters a vine, {per_node}"
        count = len(one.pooled.seasons)
        seasons = f"{count} {'season' if count == 1 else 'seasons'}: {_years(one.pooled.seasons)}"
        yield from _wrapped(f"{name}: {guess}{told}; {one.from_words}, {seasons}", width, "  ", "    ")


def _side_by_side(beside: SideBySide, width: int) -> Iterator[str]:
    whose = "on the same vines" if beside.same_vines else "on vines of their own"
    for rate in beside.seasons:
        ends = "" if rate.low is None else f" ({write_range(rate.low, rate.high, 2)})"
        yield from _wrapped(
            f"Side by side in {rate.season}, {whose}: a node on a cane bore {rate.value:.2f}{ends} times what a "
            "node on a spur did.",
            width,
            "",
        )
    if beside.pooled is not None and len(beside.pooled.seasons) > 1:
        yield from _wrapped(
            f"Over {len(beside.pooled.seasons)} seasons: {_mean(beside.pooled, '', 2)} times.", width, ""
        )


def _conversion(changed: Conversion, width: int) -> Iterator[str]:
    yield from _wrapped(
        f"Converted from {changed.was}s to {changed.became}s with {changed.since}, mean of the seasons:", width, ""
    )
    yield f"  {'':<26}{'before':>24}{'after':>24}"
    for one in changed.figures:
        name = FIGURES.get(one.figure, one.figure)
        unit = f" [{one.unit}]" if one.unit and one.figure in FIGURES and one.unit not in ("nodes", "clusters") else ""
        cells = [
            _of(one.before, 2 if one.figure not in FIGURES else None),
            _of(one.after, 2 if one.figure not in FIGURES else None),
        ]
        yield f"  {name + unit:<26}" + "".join(f"{cell:>24}" for cell in cells)
    left = f" Seasons with frost are left out: {_years(changed.left_out)}." if changed.left_out else ""
    yield from _wrapped(
        f"(n) is seasons. Other things changed between these years too: weather, age, nodes kept.{left}", width
    )


def _of(pooled: Pooled | None, decimals: int | None) -> str:
    if pooled is None:
        return "–"
    return f"{_mean(pooled, '', decimals)} ({len(pooled.seasons)})"


def _mean(pooled: Pooled, unit: str, decimals: int | None = None, *, bare: bool = False) -> str:
    digits = decimals_of(pooled.mean, pooled.low, pooled.high) if decimals is None else decimals
    sign = f" {unit}" if unit else ""
    ends = "" if pooled.low is None or bare else f" ({write_range(pooled.low, pooled.high, digits)})"
    return f"{write_number(pooled.mean, digits)}{sign}{ends}"


def _count(nodes: float) -> str:
    return f"{nodes:.0f}" if nodes == round(nodes) else f"{nodes:.1f}"


def _years(seasons: Sequence[int]) -> str:
    """Give seasons in words: 2016 to 2019, 2021."""
    runs: list[list[int]] = []
    for season in sorted(seasons):
        if runs and season == runs[-1][-1] + 1:
            runs[-1].append(season)
        else:
            runs.append([season])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def _wrapped(words: str, width: int, first: str = "  ", later: str = "  ") -> list[str]:
    return textwrap.wrap(words, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
