"""The figures of several blocks that became one, put together.

What the merger has per vine is all it had ÷ all its vines, so each figure is weighted by what one of it is counted on:
yield per vine by bearing vines, budbreak by count nodes, yield to prunings by prunings. That is not the mean of the
blocks' ratios by their vines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from vinebook.formulas.mover import weighted_sum_interval
from vinebook.seasons.catalogue import BEARING_VINE, CARRIED, FIGURES
from vinebook.seasons.columns import LEVEL_PERCENT
from vinebook.seasons.notes import REMARKS, Note, Remark, words_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.formulas.intervals import Interval
    from vinebook.seasons.model import Figure

RATIO, CROP, WOOD = "yield_to_prunings", "yield_per_vine", "prunings_per_vine"
METRES = (("nodes_per_vine", "nodes_per_m"), (CROP, "yield_per_m"), (WOOD, "prunings_per_m"))
"""Pairs of figures whose quotient is the canopy, or the row, of a vine."""
BY_NAME = {RATIO: (WOOD, "prunings"), "leaf_area_to_fruit": (CROP, "fruit")}
BY_PER = {
    "count node": ("nodes_per_vine", "count nodes"),
    "shoot": ("shoots_per_vine", "shoots"),
    "spur": ("spurs_per_vine", "spurs"),
    "gap": ("spurs_per_vine", "spurs"),
    "cluster": ("clusters_per_vine", "clusters"),
}
BY_BEARER = {"spur": ("spurs_per_vine", "spurs"), "cane": ("canes_per_vine", "canes")}
"""Of a node position: each spur or cane has one node at a position."""
BEARING = "bearing vines"
SAME_VINES = words_of(int(Note.SAME_VINES), {})
LEAF_SAME_VINES = REMARKS[Remark.LEAF_SAME_VINES]
ORDER = {name: number for number, name in enumerate(FIGURES)}

Key = tuple[int, str, str | None, str | None, str | None, int | None]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its limits; both equal to it where it is known."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Taken:
    """A figure of a line, where it came from in words ("" for the block's own), and the block whose vines it is of."""

    figure: Figure
    origin: str
    source: int


@dataclass(frozen=True, slots=True)
class Line:
    """A block with all that came before it.

    Attributes
    ----------
    number, code : of the block.
    taken : its own figures and those that it took over.
    vines : its bearing vines by season, those before its own seasons too.
    """

    number: int
    code: str
    taken: dict[Key, Taken]
    vines: dict[int, Estimate]

    def look(self, season: int, name: str, stage: str | None = None) -> Figure | None:
        """Give a figure of the line that has a value, None where there is none."""
        found = self.taken.get((season, name, None, None, stage, None))
        return None if found is None or found.figure.value is None else found.figure


def key_of(figure: Figure) -> Key:
    """Give what tells a figure from the others of its block."""
    return (figure.season, figure.figure, figure.bearer, figure.position, figure.stage, figure.pick)


def merge_lines(lines: Sequence[Line], before: int, code: str) -> tuple[list[Taken], dict[int, Estimate]]:
    """Put the figures of several lines together, and their bearing vines.

    Parameters
    ----------
    lines : the blocks that became one.
    before : first season of the merged block's own figures.
    code : the merged block's code.
    """
    keys = {key for line in lines for key in line.taken if key[0] < before and key[1] in CARRIED}
    merged: dict[Key, Taken] = {}
    for key in sorted(keys, key=_place):
        parts = [line.taken.get(key) for line in lines]
        known = [part for part in parts if part is not None and part.figure.value is not None]
        if known:
            figure, source = _merged(lines, key, known, parts)
            origin = _origin(lines, parts)
            merged[key] = Taken(replace(figure, block=code), origin, source)
    for key, taken in merged.items():
        if key[1] == RATIO:
            merged[key] = replace(taken, figure=_ratio(taken.figure, lines, merged))
    seasons = set.intersection(*({season for season in line.vines if season < before} for line in lines))
    return list(merged.values()), {season: _added([line.vines[season] for line in lines]) for season in seasons}


def _place(key: Key) -> tuple[object, ...]:
    return (key[0], ORDER[key[1]], *(str(part or "") for part in key[2:]))


def _origin(lines: Sequence[Line], parts: Sequence[Taken | None]) -> str:
    told = [
        line.code if part is None or not part.origin else f"{line.code} (from {part.origin})"
        for line, part in zip(lines, parts, strict=True)
    ]
    return _blocks(told)


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def _blocks(codes: Sequence[str]) -> str:
    return f"{'block' if len(codes) == 1 else 'blocks'} {_listed(codes)}"


def _merged(
    lines: Sequence[Line], key: Key, known: Sequence[Taken], parts: Sequence[Taken | None]
) -> tuple[Figure, int]:
    """Give one figure of the merger, and the block that it is all of or 0."""
    first = known[0].figure
    lacking = [
        (line, part) for line, part in zip(lines, parts, strict=True) if part is None or part.figure.value is None
    ]
    if lacking:
        return _unknown(first, "; ".join(_why_lacking(line, part, key) for line, part in lacking)), 0
    if len({(part.source, part.figure.value) for part in known}) == 1 and known[0].source:
        # Both halves of a block that was split come together again: the figure is the whole block's.
        return first, known[0].source
    no_census = [line.code for line in lines if key[0] not in line.vines]
    if no_census:
        return _unknown(first, f"no bearing vines are known of {_blocks(no_census)} to weight by"), 0
    if len({part.figure.per for part in known}) > 1:
        told = _listed([f"per {part.figure.per} in {line.code}" for line, part in zip(lines, known, strict=True)])
        return _unknown(first, f"it is {told}"), 0
    if len({part.source for part in known}) < len(known):
        return _weighted(lines, key, [part.figure for part in known], shares_vines=True), 0
    return _weighted(lines, key, [part.figure for part in known]), 0


def _why_lacking(line: Line, part: Taken | None, key: Key) -> str:
    if part is not None:
        return f"block {line.code} has none: {part.figure.note.replace('; ', ', ')}"
    if any(season == key[0] for season, *_ in line.taken):
        return f"block {line.code} has none in {key[0]}"
    return f"block {line.code} has no record of {key[0]}"


def _unknown(figure: Figure, why: str) -> Figure:
    return replace(
        figure, value=None, low=None, high=None, level=None, n=None, chosen="", basis="", status="unknown", note=why
    )


def _weighted(lines: Sequence[Line], key: Key, parts: Sequence[Figure], *, shares_vines: bool = False) -> Figure:
    weights, by = _weights(lines, key, parts)
    total = sum(weight.value for weight in weights)
    values = [0.0 if part.value is None else part.value for part in parts]
    value = sum(number * weight.value for number, weight in zip(values, weights, strict=True)) / total
    shares = _listed(
        [f"{100 * weight.value / total:.0f} % {line.code}" for line, weight in zip(lines, weights, strict=True)]
    )
    notes = _shared_notes(lines, parts)
    without = [line.code for line, part in zip(lines, parts, strict=True) if part.low is None and not _is_full(part)]
    low = high = None
    if shares_vines:
        notes.append("no interval, as the blocks before it took over figures of the same vines")
    elif without:
        notes.append(f"no interval, as {_blocks(without)} {'has' if len(without) == 1 else 'have'} none")
    elif not all(_is_full(part) for part in parts):
        estimates = [estimate for part in parts if (estimate := estimate_of(part)) is not None]
        # The weights are estimates too: each moves the mean by its distance from the part's value.
        interval = _interval(
            [*estimates, *weights],
            [*(weight.value / total for weight in weights), *((number - value) / total for number in values)],
        )
        low, high = min(max(float(interval.low), 0.0), value), max(float(interval.high), value)
        if FIGURES[key[1]].unit == "%":
            high = min(high, 100.0)
    counts = [part.n for part in parts if part.n is not None]
    chosen = sorted({word for part in parts for word in part.chosen.split(", ") if word})
    return replace(
        parts[0],
        value=value,
        low=low,
        high=high,
        level=None if low is None else LEVEL_PERCENT,
        n=sum(counts) if counts else None,
        chosen=", ".join(word for word in chosen if word != "all" or len(chosen) == 1),
        basis=f"mean of the blocks before it, weighted by {by}: {shares}",
        status="partial" if any(part.status == "partial" for part in parts) else parts[0].status,
        note="; ".join(notes),
    )


def _is_full(figure: Figure) -> bool:
    """Tell whether a figure without an interval needs none: a full count, weighed."""
    return figure.low is None and figure.chosen == "all" and "no interval" not in figure.note


def _shared_notes(lines: Sequence[Line], parts: Sequence[Figure]) -> list[str]:
    """Give the notes of the parts once each; one that not all share names its block."""
    split = [[words for words in part.note.split("; ") if words] for part in parts]
    told: list[str] = []
    for line, words_of_part in zip(lines, split, strict=True):
        for words in words_of_part:
            is_shared = all(words in others for others in split)
            text = words if is_shared else f"{line.code}: {words}"
            if text not in told:
                told.append(text)
    return told


def _weights(lines: Sequence[Line], key: Key, parts: Sequence[Figure]) -> tuple[list[Estimate], str]:
    """Give the weight of each part, and in words what it is; bearing vines where a part lacks what is asked for."""
    by_line = [_denominator(line, key, part) for line, part in zip(lines, parts, strict=True)]
    words = by_line[0][1]
    factors = [factor for factor, _ in by_line]
    vines = [line.vines[key[0]] for line in lines]
    if not all(factor is not None and factor.value > 0 for factor in factors):
        without = _listed([line.code for line, factor in zip(lines, factors, strict=True) if factor is None])
        return vines, f"{BEARING}, as {words} are not known of {without}" if without else BEARING
    return [_times(stand, factor) for stand, factor in zip(vines, factors, strict=True) if factor is not None], words


def _denominator(line: Line, key: Key, part: Figure) -> tuple[Estimate | None, str]:
    """Give what one bearing vine has of what the figure is counted on, and its name."""
    season, name, bearer = key[0], key[1], key[2]

    def known(wanted: str, stage: str | None = None) -> Estimate | None:
        return estimate_of(line.look(season, wanted, stage))

    if name == "yield_per_m_planted":
        return _row_planted(line, season, part), "row planted"
    if name == "cane_weight":
        wood = known(WOOD)
        return (None if wood is None or not part.value else over(wood, part)), "canes"
    if part.per in (f"m of {ground}" for ground in ("canopy", "row")) or part.per == "probe":
        return metres_of(line, season), "canopy"
    if part.per == "leaf":
        metres_, layers = metres_of(line, season), known("leaf_layer_number")
        return (None if metres_ is None or layers is None else _times(metres_, layers)), "leaves"
    if part.per == "berry":
        clusters, berries = known("clusters_per_vine"), known("berries_per_cluster", key[4])
        return (None if clusters is None or berries is None else _times(clusters, berries)), "berries"
    named = BY_NAME.get(name) or BY_PER.get(part.per) or (BY_BEARER.get(bearer or "") if part.per == "node" else None)
    if named is not None:
        return known(named[0]), named[1]
    is_of_vine = part.per in (BEARING_VINE, "vine")
    return _exactly(1.0), BEARING if is_of_vine else f"{BEARING}, for want of a count of {part.per}s"


def _row_planted(line: Line, season: int, part: Figure) -> Estimate | None:
    """Give the row planted for each bearing vine, gaps included: by area and spacing, else from the crop on it."""
    area, per_ha, crop = (line.look(season, name) for name in ("planted_area", "row_m_per_ha", CROP))
    if area is not None and per_ha is not None and area.value and per_ha.value:
        return _exactly(area.value * per_ha.value / line.vines[season].value)
    if crop is not None and crop.value and part.value:
        return _exactly(crop.value / part.value)
    return None


def metres_of(line: Line, season: int) -> Estimate | None:
    """Give the metres of canopy, or of row, of a vine of a line in a season, None where not known."""
    for per_vine, per_metre in METRES:
        top, bottom = line.look(season, per_vine), line.look(season, per_metre)
        if top is not None and bottom is not None and top.value and bottom.value:
            return _exactly(top.value / bottom.value)
    return estimate_of(line.look(season, "canopy_m_per_vine"))


def _ratio(figure: Figure, lines: Sequence[Line], merged: dict[Key, Taken]) -> Figure:
    """Give yield to prunings the interval that crop and prunings of the merger have; it is the one ÷ the other."""
    if figure.value is None or figure.low is None:
        return figure
    look = Line(0, "", merged, {}).look
    crop, wood = estimate_of(look(figure.season, CROP)), estimate_of(look(figure.season, WOOD))
    paired = any(
        SAME_VINES in taken.figure.note for line in lines if (taken := line.taken.get(key_of(figure))) is not None
    )
    if paired or crop is None or wood is None or not crop.value:
        why = "fruit and wood of one of the blocks are of the same vines" if paired else "crop or prunings have none"
        note = "; ".join(filter(None, (figure.note, f"no interval, as {why}")))
        return replace(figure, low=None, high=None, level=None, note=note)
    limits = over(crop, wood)
    scale = figure.value / limits.value
    return replace(figure, low=limits.low * scale, high=limits.high * scale)


def estimate_of(figure: Figure | None) -> Estimate | None:
    """Give a figure's number with its limits, None where it has no number."""
    if figure is None or figure.value is None:
        return None
    if figure.low is None or figure.high is None:
        return _exactly(figure.value)
    return Estimate(figure.value, min(figure.low, figure.value), max(figure.high, figure.value))


def _exactly(value: float) -> Estimate:
    return Estimate(value, value, value)


def _interval(parts: Sequence[Estimate], weights: Sequence[float]) -> Interval:
    values, lows, highs = ([getattr(part, side) for part in parts] for side in ("value", "low", "high"))
    return weighted_sum_interval(values, lows, highs, weights)


def _added(parts: Sequence[Estimate]) -> Estimate:
    interval = _interval(parts, [1.0] * len(parts))
    return Estimate(sum(part.value for part in parts), float(interval.low), float(interval.high))


def _times(one: Estimate, other: Estimate) -> Estimate:
    """Multiply two independent estimates: squared distances add up on the log scale."""
    return _on_log_scale(one.value * other.value, (_below(one), _below(other)), (_above(one), _above(other)))


def over(one: Estimate, other: Estimate | Figure) -> Estimate:
    """Divide two independent estimates."""
    by = other if isinstance(other, Estimate) else estimate_of(other)
    if by is None:
        raise ValueError("a figure without a value divides nothing")
    return _on_log_scale(one.value / by.value, (_below(one), _above(by)), (_above(one), _below(by)))


def _on_log_scale(value: float, down: tuple[float, float], up: tuple[float, float]) -> Estimate:
    return Estimate(value, value * math.exp(-math.hypot(*down)), value * math.exp(math.hypot(*up)))


def _below(one: Estimate) -> float:
    """Give the distance down to the lower limit on the log scale; that up to the other where it reaches zero."""
    return math.log(one.value / one.low) if one.value > 0 and one.low > 0 else _above(one)


def _above(one: Estimate) -> float:
    return math.log(one.high / one.value) if one.value > 0 else 0.0
