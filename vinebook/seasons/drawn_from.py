"""The positions that vines are drawn from in the order of the walk, and what numbers of them buy."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vinebook.errors import WordsError
from vinebook.formulas.drawing import drawn_at_random, places_met, shared_out, walking_order
from vinebook.formulas.precision import expected_half_width, least_size
from vinebook.formulas.sampling import is_step_aligned

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vinebook.seasons.layout import Part, RowFacts

    Ints = NDArray[np.int64]

LEVEL_PERCENT = 95.0


@dataclass(frozen=True, slots=True)
class Buys:
    """What a number of vines buys.

    Attributes
    ----------
    vines : vine positions drawn.
    bearing : vines among them that may be expected to bear.
    units : vines that bear, or panels: what the precision rests on.
    half_width_percent : expected half width of the 95 % interval, in percent of the mean; None where there is none.
    """

    vines: int
    bearing: int
    units: int
    half_width_percent: float | None


@dataclass(frozen=True, slots=True)
class Drawn:
    """One drawn vine; `number` is its place in the walk, `panel` that of its panel in the row."""

    number: int
    row: int
    vine: int
    part: str
    panel: int | None


class DrawnFrom:
    """The positions that vines are drawn from, in the order in which rows are walked."""

    def __init__(self, rows: Sequence[RowFacts], parts: Sequence[Part], size: int | None) -> None:
        self.rows = rows
        self.parts = parts
        self.size = size
        part_of = {number: at for at, part in enumerate(parts) for number in part.rows}
        other = {row.number: row.numbered_from != rows[0].numbered_from for row in rows}
        lengths = [row.positions for row in rows]
        row = np.repeat([one.number for one in rows], lengths)
        vine = np.concatenate([np.arange(1, length + 1) for length in lengths])
        self._other = np.array([other[number] for number in row.tolist()], dtype=np.bool_)
        order = walking_order(row, vine, self._other)
        self.row: Ints = row[order].astype(np.int64)
        self.vine: Ints = vine[order].astype(np.int64)
        self._other = self._other[order]
        self._part: Ints = np.array([part_of[number] for number in self.row.tolist()], dtype=np.int64)
        self.positions = len(self.row)
        self.bearing = sum(part.positions * part.bearing for part in parts) / self.positions
        unit = self.vine if size is None else (self.vine - 1) // size + 1
        self._unit: Ints = self.row * (int(unit.max()) + 1) + unit
        self.panels = None if size is None else len(np.unique(self._unit))

    def panels_for(self, vines: int) -> int:
        """Give how many panels hold so many vines, those at the end of a row being short."""
        return -(-vines * (self.panels or 0) // self.positions)

    def units_of(self, at: Ints) -> int | None:
        """Give how many panels the positions stand in, None where vines are drawn."""
        return None if self.size is None else len(np.unique(self._unit[at]))

    def drawn(self, wanted: int, seed: int) -> tuple[Ints, list[int]]:
        """Draw vines or panels at random within each part; give positions and vines of each part.

        Raises
        ------
        WordsError : a part has fewer places than its share.
        """
        units = wanted if self.panels is None else max(self.panels_for(wanted), 2 * len(self.parts))
        weights = [part.positions * part.bearing for part in self.parts]
        if not sum(weights):
            raise WordsError("by the census no vine bears", "mend the census, or draw once vines bear")
        shares = shared_out(units, weights)
        found: list[Ints] = []
        for number, (part, share) in enumerate(zip(self.parts, shares.tolist(), strict=True)):
            mine = np.flatnonzero(self._part == number)
            unit = np.unique(self._unit[mine])
            if share > len(unit):
                what = "panels" if self.size else "vine positions"
                raise WordsError(
                    f"part {part.name} has {len(unit)} {what}, and {share} would be drawn",
                    "fewer vines, or fewer parts",
                )
            picked = unit[drawn_at_random(len(unit), share, seed, number) - 1]
            found.append(mine[np.isin(self._unit[mine], picked)])
        return np.sort(np.concatenate(found)), [len(one) for one in found]

    def walk(self, at: Ints) -> tuple[Drawn, ...]:
        """Give positions as drawn vines in walking order."""
        order = at[walking_order(self.row[at], self.vine[at], self._other[at])]
        names = [self.parts[part].name for part in self._part[order].tolist()]
        size = self.size
        return tuple(
            Drawn(number, row, vine, name, None if size is None else (vine - 1) // size + 1)
            for number, (row, vine, name) in enumerate(
                zip(self.row[order].tolist(), self.vine[order].tolist(), names, strict=True), start=1
            )
        )

    def why_not_every(self, step: int) -> str | None:
        """Say why a step falls on the same places again and again, or None where it does not."""
        if step == 1:
            return None
        for panel in sorted({row.vines_per_panel for row in self.rows if row.vines_per_panel}):
            met = places_met(step, panel)
            if is_step_aligned(step, panel):
                return f"is a multiple of the {panel} vines of a panel: it would meet one place of every panel"
            if met < panel:
                return (
                    f"and the {panel} vines of a panel have a factor in common: it would meet {met} of {panel} places"
                )
        length, rows = Counter(row.positions for row in self.rows).most_common(1)[0]
        if 2 * rows > len(self.rows) > 1:
            if is_step_aligned(step, length):
                return f"is a multiple of the {length} vines of a row: it would meet the same place of every row"
            if is_step_aligned(length, step):
                return f"divides the {length} vines of a row: it would meet the same places of every row"
        return None


class Buying:
    """What numbers of vines buy in a block."""

    def __init__(self, cv: float, places: DrawnFrom) -> None:
        self._cv = cv
        self._places = places
        self._bears = places.bearing
        self._all = places.panels if places.panels is not None else max(round(places.positions * self._bears), 1)

    def of(self, vines: int, panels: int | None = None) -> Buys:
        """Give what a number of vine positions buys.

        Parameters
        ----------
        vines : positions drawn.
        panels : panels that they stand in, where that is known; else as many as hold them.
        """
        bearing = round(vines * self._bears)
        units = bearing if self._places.panels is None else panels or self._places.panels_for(vines)
        units = min(units, self._all)
        width = float(expected_half_width(self._cv, units, self._all, LEVEL_PERCENT, len(self._places.parts)))
        return Buys(vines, bearing, units, 100 * width if math.isfinite(width) else None)

    def vines_for(self, within_percent: float) -> int:
        """Give the positions to draw for a half width in percent of the mean."""
        parts = len(self._places.parts)
        if self._all < 2 * parts:
            raise WordsError("the block has too few bearing vines to draw from", "count them all")
        units = least_size(self._cv, within_percent / 100, self._all, LEVEL_PERCENT, parts)
        if self._places.panels is not None:
            return units * self._places.positions // self._places.panels
        return min(math.ceil(units / self._bears), self._places.positions)
