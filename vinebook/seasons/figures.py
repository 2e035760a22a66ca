"""From arrays to figures, one at a time, in the order of block, season and catalogue."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING

from vinebook.seasons.arrays import SeasonArrays, season_arrays
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.columns import LEVEL_PERCENT, NO_CENSUS, NO_DATE, NO_N, UNKNOWN, FigureColumn
from vinebook.seasons.gathered import ON_ROW
from vinebook.seasons.harvest import unsplit_tickets
from vinebook.seasons.model import Figure, Status
from vinebook.seasons.notes import Note, words_of
from vinebook.seasons.samples import CHOSEN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection

Key = tuple[str, str | None, str | None, str | None, int | None]
"""What names a figure within its block and season: its name, bearer, position, stage and pick."""
STATUSES: tuple[Status, ...] = ("known", "partial", "pending", "unknown")
EPOCH = dt.date(1970, 1, 1).toordinal()
PER_ROW = "m of row"
OLD_WOOD = "old wood"
CHUNK = 20_000
"""Figures that are turned from arrays into numbers at a time, so that a large book streams."""


def figures_of(connection: Connection, blocks: list[int] | None, seasons: list[int] | None) -> Iterator[Figure]:
    """Give every figure of blocks and seasons in the order of block code, season and catalogue.

    Bands and readings are not set: `vinebook.advice.bands.judge` sets them.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    blocks : permanent numbers of blocks, or None for all.
    seasons : harvest years, or None for all from a block's first record to its last.
    """
    return figures_in(connection, season_arrays(connection, blocks, seasons))


def figures_in(connection: Connection, arrays: SeasonArrays) -> Iterator[Figure]:
    """Give every figure of blocks and seasons that were worked out already; see `figures_of`."""
    tickets = unsplit_tickets(connection, arrays.gathered.blocks)
    return told(arrays, tickets)


def told(arrays: SeasonArrays, tickets: dict[tuple[int, int], str], *, in_words: bool = True) -> Iterator[Figure]:
    """Give the figures of arrays.

    Parameters
    ----------
    arrays : figures as arrays.
    tickets : loads that are not split, by block index and season.
    in_words : False leaves out how vines were chosen, basis and note, for whoever reads the numbers alone.
    """
    teller = _Teller(arrays, tickets, in_words=in_words)
    numbers, entries = arrays.order()
    for start in range(0, len(numbers), CHUNK):
        pairs = zip(numbers[start : start + CHUNK].tolist(), entries[start : start + CHUNK].tolist(), strict=True)
        for number, entry in pairs:
            yield teller.figure(arrays.columns[number], entry)


def keys_in(arrays: SeasonArrays) -> dict[tuple[int, Key], tuple[FigureColumn, int]]:
    """Give column and entry of every figure of one block's arrays, by its season and what names it."""
    season = arrays.gathered.cells.season.tolist()
    found = {}
    for number, entry in zip(*(part.tolist() for part in arrays.order()), strict=True):
        column = arrays.columns[number]
        pick = None if column.pick is None else int(column.pick[entry])
        key = column.name, column.bearer, position_of(column), column.stage, pick
        found[season[int(column.cell[entry])], key] = column, entry
    return found


def position_of(column: FigureColumn) -> str | None:
    """Give the node position that a column is of, as a figure says it."""
    return None if column.position is None else OLD_WOOD if column.position < 0 else str(column.position)


def date_of(day: int) -> dt.date:
    """Give the date of a number of days since 1970."""
    return dt.date.fromordinal(EPOCH + day)


class _Teller:
    """Puts numbers, words and notes of one entry together."""

    def __init__(self, arrays: SeasonArrays, tickets: dict[tuple[int, int], str], *, in_words: bool) -> None:
        gathered = arrays.gathered
        self.code = gathered.blocks.code
        self.block = gathered.cells.block.tolist()
        self.season = gathered.cells.season.tolist()
        self.curtains = gathered.curtains.tolist()
        self.vine_m = gathered.vine_spacing_m.tolist()
        self.kind = gathered.canopy_kind.tolist()
        self.census_day = gathered.censuses.day.tolist()
        self.young = (100 * gathered.censuses.young).tolist()
        self.places = gathered.censuses.positions.tolist()
        self.since = gathered.first_crops.since.tolist()
        self.tickets = tickets
        self.in_words = in_words
        self.open_tickets = gathered.open_tickets
        self.chosen: dict[int, str] = {}

    def figure(self, column: FigureColumn, entry: int) -> Figure:
        cell = int(column.cell[entry])
        kind = FIGURES[column.name]
        value, low, high = (_number(numbers[entry]) for numbers in (column.value, column.low, column.high))
        if low is None or high is None:
            low = high = None
        status = int(column.status[entry])
        count = int(column.n[entry])
        position = position_of(column)
        has = value is not None and self.in_words
        return Figure(
            block=self.code[self.block[cell]],
            season=self.season[cell],
            figure=column.name,
            value=value,
            unit=kind.unit,
            per=PER_ROW if column.on_canopy and self.kind[cell] == ON_ROW else kind.per,
            low=low,
            high=high,
            level=None if low is None else LEVEL_PERCENT,
            n=None if count == NO_N else count,
            chosen=self.chosen_words(int(column.chosen[entry])) if has else "",
            basis=self.basis(column, entry, cell) if has else "",
            status=STATUSES[status],
            note=self.note(column, entry, cell, status) if self.in_words else "",
            bearer=column.bearer,
            position=position,
            stage=column.stage,
            pick=None if column.pick is None else int(column.pick[entry]),
        )

    def chosen_words(self, bits: int) -> str:
        if bits not in self.chosen:
            names = [name for name, bit in CHOSEN.items() if bits > 0 and bits & bit]
            self.chosen[bits] = "all" if bits < 0 else ", ".join(names)
        return self.chosen[bits]

    def basis(self, column: FigureColumn, entry: int, cell: int) -> str:
        parts = [column.basis] if column.basis else []
        day, census = int(column.dated_on[entry]), int(column.census[entry])
        if day != NO_DATE:
            parts.append(date_of(day).isoformat())
        if census != NO_CENSUS:
            parts.append(f"census of {date_of(self.census_day[census])}")
        if column.on_canopy:
            if self.kind[cell] == ON_ROW:
                parts.append(f"row of a vine {self.vine_m[cell]:g} m")
            else:
                parts.append(f"canopy of a vine {self.vine_m[cell]:g} m × {self.curtains[cell]:g}")
        return "; ".join(parts)

    def note(self, column: FigureColumn, entry: int, cell: int, status: int) -> str:
        bits = int(column.notes[entry])
        spread = float(column.spread[entry])
        remarks = int(column.remarks[entry])
        if not bits and not remarks and not math.isfinite(spread):
            return ""
        census = int(column.census[entry])
        facts: dict[str, object] = {
            "season": self.season[cell],
            "next": self.season[cell] + 1,
            "census": "",
            "young": "",
            "since": self.since[cell],
        }
        if census != NO_CENSUS:
            facts["census"] = date_of(self.census_day[census]).isoformat()
            facts["young"] = f"{self.young[census] / max(self.places[census], 1):.0f}"
        facts["tickets"] = self.tickets.get((self.block[cell], self.season[cell]), "") if bits & Note.UNSPLIT else ""
        facts["open_tickets"] = self.open_tickets.get(cell, "")
        facts["set_aside"] = int(column.set_aside[entry])
        words = words_of(bits, facts, remarks)
        if status != UNKNOWN and math.isfinite(spread):
            unit = FIGURES[column.name].unit
            words += f"; standard deviation between vines {spread:.3g} {unit}".rstrip()
        return words


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
