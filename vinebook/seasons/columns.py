"""Figures as arrays: one column for each figure, one entry for each block and season that it is known for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Pairs = tuple[NDArray[np.int64], NDArray[np.int64]]

KNOWN, PARTIAL, PENDING, UNKNOWN = range(4)
NO_N = -1
NO_CENSUS = -1
LEVEL_PERCENT = 95.0
ENTRIES = (
    *("value", "low", "high", "n", "status", "notes", "remarks", "chosen", "dated_on", "census", "spread", "set_aside"),
    "weighed_by",
)
"""The arrays of a column that have one number for each entry, beside its cell."""


@dataclass(slots=True)
class FigureColumn:
    """One figure over blocks and seasons.

    Attributes
    ----------
    name : name of the figure in the catalogue.
    cell : index of the block and season of each entry.
    value, low, high : in the catalogue's unit; NaN where there is no number.
    n : vines, panels, lots or loads that the value rests on; -1 where there is no such count.
    status : index of known, partial, pending, unknown.
    notes, remarks : bits of `notes.NOTES` and of `notes.REMARKS`.
    chosen : bits of `samples.CHOSEN`; 0 where nothing was chosen; -1 for a full count.
    dated_on : date of the rows used, as days since 1970; the lowest integer where there is none.
    census : index of the vine census used, or -1.
    spread : standard deviation of the units, for hand-picked vines only; else NaN.
    set_aside : vines, panels or lots of earlier samples that a later count replaces; 0 where there are none.
    basis : what the figure was worked out from, in words; the dates are added where it is told.
    on_canopy : True where it is per metre; the entry's `per` then follows from the cell's canopy.
    weighed_by : index of the census whose parts weigh the parts that were counted, or -1.
    on_samples : pairs of a cell and the index of a sample that its number rests on.
    on_harvest : cells whose number rests on loads and the close, or None.
    bearer, position, stage : where they apply.
    pick : number of the pick of each entry, or None.
    """

    name: str
    cell: NDArray[np.int64]
    value: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    n: NDArray[np.int64]
    status: NDArray[np.int8]
    notes: NDArray[np.int64]
    remarks: NDArray[np.int64]
    chosen: NDArray[np.int16]
    dated_on: NDArray[np.int64]
    census: NDArray[np.int64]
    spread: NDArray[np.float64]
    set_aside: NDArray[np.int64]
    weighed_by: NDArray[np.int64]
    basis: str = ""
    on_samples: tuple[Pairs, ...] = ()
    on_harvest: NDArray[np.bool_] | None = None
    on_canopy: bool = False
    bearer: str | None = None
    position: int | None = None
    stage: str | None = None
    pick: NDArray[np.int64] | None = None

    def __len__(self) -> int:
        return len(self.cell)

    def note(self, where: NDArray[np.bool_], bit: int) -> None:
        """Add a note to the entries where the mask holds."""
        self.notes[where] |= bit

    def remark(self, where: NDArray[np.bool_], bit: int) -> None:
        """Add a remark to the entries where the mask holds."""
        self.remarks[where] |= bit

    def mark(self, where: NDArray[np.bool_], status: int, bit: int) -> None:
        """Give entries a status with its reason; those that are not known lose their number unless partial."""
        self.status[where] = status
        self.notes[where] |= bit
        if status not in (KNOWN, PARTIAL):
            for numbers in (self.value, self.low, self.high, self.spread):
                numbers[where] = np.nan
            self.n[where] = NO_N
            self.chosen[where] = 0

    def drop_interval(self, where: NDArray[np.bool_], bit: int) -> None:
        """Take the interval away, with the reason."""
        self.low[where] = np.nan
        self.high[where] = np.nan
        self.notes[where] |= bit

    def kept(self, where: NDArray[np.bool_]) -> FigureColumn:
        """Give the column with only the entries where the mask holds."""
        kept = {name: getattr(self, name)[where] for name in ("cell", *ENTRIES)}
        return replace(self, **kept, pick=None if self.pick is None else self.pick[where])


def resting_where(column: FigureColumn, where: NDArray[np.bool_]) -> tuple[Pairs, ...]:
    """Give the samples that a column of all cells rests on, in the cells where the mask holds."""
    if not where.any():
        return ()
    return tuple((cell[where[cell]], sample[where[cell]]) for cell, sample in column.on_samples)


NO_DATE = np.iinfo(np.int64).min
"""Days since 1970 where there is no date."""


def new_column(name: str, cell: NDArray[np.int64], basis: str = "") -> FigureColumn:
    """Make a column of a figure without numbers yet."""
    size = len(cell)

    def empty() -> NDArray[np.float64]:
        return np.full(size, np.nan)

    return FigureColumn(
        name,
        cell,
        empty(),
        empty(),
        empty(),
        np.full(size, NO_N, dtype=np.int64),
        np.zeros(size, dtype=np.int8),
        np.zeros(size, dtype=np.int64),
        np.zeros(size, dtype=np.int64),
        np.zeros(size, dtype=np.int16),
        np.full(size, NO_DATE, dtype=np.int64),
        np.full(size, NO_CENSUS, dtype=np.int64),
        empty(),
        np.zeros(size, dtype=np.int64),
        np.full(size, NO_CENSUS, dtype=np.int64),
        basis,
    )
