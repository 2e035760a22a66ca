"""From a figure to the rows behind it: the very samples, censuses, loads and facts that it was worked out from."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from vinebook.kinds import KINDS
from vinebook.records.keys import keys_of
from vinebook.records.tables import TABLES, TALLY
from vinebook.seasons.arrays import SeasonArrays, season_arrays
from vinebook.seasons.canopy_sums import gap_bands
from vinebook.seasons.carried import parents_of
from vinebook.seasons.catalogue import CARRIED
from vinebook.seasons.columns import NO_CENSUS
from vinebook.seasons.figures import date_of, keys_in
from vinebook.seasons.harvest import of_live_shares, share_mass
from vinebook.seasons.history import block_number
from vinebook.seasons.notes import Note
from vinebook.seasons.places import lines_used, live
from vinebook.seasons.rows_told import RowsBehind, numbers_of, ranges_of
from vinebook.seasons.samples import SAMPLED_KINDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Connection

    from vinebook.seasons.columns import FigureColumn
    from vinebook.seasons.figures import Key
    from vinebook.seasons.gathered import Gathered
    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import Ranges

OF_VINES = frozenset(
    {"pruned_vine", "shoot_tally", "node_tally", "cluster_tally", "vine_harvest", "bearer", "leaf_area"}
)
"""Kinds whose sampled vines are set against the positions planted (finite population correction)."""
ON_PLANTING = frozenset({"planted_area", "row_m_per_ha", "yield_per_ha", "yield_per_m_planted", "canopy_m_per_vine"})
ON_TRAINING = frozenset({"canopy_m_per_vine"})
MUST = {
    "soluble_solids": "soluble_solids_brix",
    "ph": "ph",
    "titratable_acidity": "titratable_acidity_g_per_l",
}
"""Figures that rest only on the loads that give a reading."""
AT_ONCE = 500
DAYS = ("date", "started_on", "finished_on")
"""Columns that say when a record happened."""


@dataclass(frozen=True, slots=True)
class Traced:
    """A figure with the rows that it was worked out from.

    Attributes
    ----------
    rows : samples with their rows first, then the facts of the block, then the harvest.
    carried_from : codes of the predecessors whose rows these are, where the figure was carried over.
    """

    figure: Figure
    rows: tuple[RowsBehind, ...]
    carried_from: tuple[str, ...] = ()


def key_of_figure(figure: Figure) -> Key:
    """Give what names a figure within its block and season."""
    return figure.figure, figure.bearer, figure.position, figure.stage, figure.pick


def rows_behind(connection: Connection, figures: Sequence[Figure]) -> list[Traced]:
    """Give each figure with the rows that it rests on, by the selection that worked it out.

    A figure that is pending or unknown has the rows that are there already. One that was carried over has its
    predecessor's.

    Parameters
    ----------
    connection : a connection with one read snapshot, the one that the figures came from.
    figures : of any blocks and seasons.
    """
    by_block: dict[str, list[Figure]] = defaultdict(list)
    for figure in figures:
        by_block[figure.block].append(figure)
    traced: dict[int, Traced] = {}
    for code, mine in by_block.items():
        number = block_number(connection, code)
        finder = _Finder(connection, sorted({figure.season for figure in mine}))
        for figure in mine:
            traced[id(figure)] = finder.traced(number, figure)
    return [traced[id(figure)] for figure in figures]


class Tracer:
    """Traces figures and describes rows one after another; what was read or worked out of a block once is kept."""

    def __init__(self, connection: Connection, seasons: Mapping[int, list[int]]) -> None:
        """Take a connection with one read snapshot, and the seasons that figures of blocks are wanted of.

        Parameters
        ----------
        connection : a connection with one read snapshot.
        seasons : harvest years by permanent number of a block; a block that is not named is worked out over all.
        """
        self._finder = _Finder(connection, None, seasons)

    def arrays_of(self, number: int) -> SeasonArrays:
        """Give the figures of a block over the seasons that were wanted, as arrays."""
        return self._finder.own_of(number).arrays

    def traced(self, figure: Figure) -> Traced:
        """Give a figure with the rows that it rests on."""
        return self._finder.traced(block_number(self._finder.connection, figure.block), figure)

    def described(self, ranges: Mapping[str, Ranges]) -> tuple[RowsBehind, ...]:
        """Give rows, by kind and permanent number, with their keys, files and lines."""
        return self._finder.described({kind: numbers_of(pairs) for kind, pairs in ranges.items()})


Records = dict[str, set[int]]


@dataclass(slots=True)
class _Own:
    """The figures of one block as arrays, and where each of them stands in these."""

    arrays: SeasonArrays
    places: dict[tuple[int, Key], tuple[FigureColumn, int]]


@dataclass(slots=True)
class _Finder:
    """Finds rows behind figures of some seasons, of all where None; what was read once is kept."""

    connection: Connection
    seasons: list[int] | None
    seasons_of: Mapping[int, list[int]] = field(default_factory=dict)
    own: dict[int, _Own] = field(default_factory=dict)
    of_sample: dict[int, list[Any]] = field(default_factory=dict)
    parents: dict[int, int] = field(default_factory=dict)
    shares: dict[tuple[int, int], list[Any]] = field(default_factory=dict)
    census_lines: dict[int, list[Any]] = field(default_factory=dict)
    files: dict[int, tuple[str, str, str]] = field(default_factory=dict)
    days: dict[tuple[str, int], str] = field(default_factory=dict)
    places: dict[tuple[str, int], tuple[int, int]] = field(default_factory=dict)
    keys: dict[tuple[str, int], str] = field(default_factory=dict)

    def traced(self, number: int, figure: Figure) -> Traced:
        """Give a figure of a block with the rows that it rests on."""
        records, sources = self.records(number, figure.season, key_of_figure(figure), frozenset())
        carried = tuple(source for source in sources if source != figure.block)
        return Traced(figure, self.described(records), carried)

    def records(self, number: int, season: int, key: Key, seen: frozenset[int]) -> tuple[Records, list[str]]:
        """Give the records behind a figure by kind, and the codes of the blocks that they belong to."""
        own = self.own_of(number)
        found = own.places.get((season, key))
        if found is not None:
            return self._of_entry(number, own.arrays, *found), list(own.arrays.gathered.blocks.code)
        records: Records = defaultdict(set)
        codes: list[str] = []
        if key[0] in CARRIED:
            parents = [parent for parent in parents_of(self.connection, number) if parent not in seen]
            # Several predecessors are weighted by their bearing vines.
            keys = [key] if len(parents) < 2 else [key, ("vines_bearing", None, None, None, None)]
            for parent in parents:
                for each in keys:
                    more, of = self.records(parent, season, each, seen | {number})
                    codes += [code for code in of if code not in codes]
                    for kind, numbers in more.items():
                        records[kind] |= numbers
        return records, codes

    def own_of(self, number: int) -> _Own:
        """Give the figures of a block, worked out once."""
        if number not in self.own:
            arrays = season_arrays(self.connection, [number], self.seasons_of.get(number, self.seasons))
            self.own[number] = _Own(arrays, keys_in(arrays))
        return self.own[number]

    def _of_entry(self, number: int, arrays: SeasonArrays, column: FigureColumn, entry: int) -> Records:
        gathered = arrays.gathered
        cell = int(column.cell[entry])
        season = int(gathered.cells.season[cell])
        records: Records = defaultdict(set)
        self._add_samples(records, gathered, column, cell)
        sampled_census = False
        for census in {int(column.census[entry]), int(column.weighed_by[entry])} - {NO_CENSUS}:
            records["vine_census"] |= self._lines_of_census(number, date_of(int(gathered.censuses.day[census])))
            sampled_census |= bool(gathered.censuses.is_sampled[census])
        if column.name in ON_PLANTING or column.on_canopy or sampled_census:
            _add(records, "planting", gathered.planting_record[cell])
        if column.name in ON_TRAINING or column.on_canopy:
            _add(records, "training", gathered.training_record[cell])
        if column.name == "surveyed_area" or int(column.notes[entry]) & int(Note.SURVEYED):
            records["block"].add(number)
        if column.name == "spur_spacing_within_share":
            held = [
                band for band in gap_bands(self.connection, gathered.blocks) if band[4] == number and band[1] <= season
            ]
            records["target_band"] |= {band[5] for band in held[-1:]}
        if column.on_harvest is not None and column.on_harvest[cell]:
            pick = None if column.pick is None else int(column.pick[entry])
            self._add_harvest(records, number, season, column.name, pick)
        return records

    def _add_samples(self, records: Records, gathered: Gathered, column: FigureColumn, cell: int) -> None:
        """Add the samples of a cell with their rows, and what their vines are set against."""
        for cells, samples in column.on_samples:
            for sample in np.unique(samples[cells == cell]).tolist():
                kind = SAMPLED_KINDS[gathered.samples.kind[sample]]
                record, at = int(gathered.samples.record[sample]), int(gathered.samples.cell[sample])
                records["sample"].add(record)
                records[kind] |= self._rows_of_sample(kind, record, column)
                if kind in OF_VINES:
                    _add(records, "planting", gathered.planting_record[at])
                if kind == "pruned_vine":
                    _add(records, "pruning_visit", gathered.visits.record[at])

    def _rows_of_sample(self, kind: str, sample: int, column: FigureColumn) -> set[int]:
        """Give the live rows of a sample; of a node tally or lots only those of the figure's position or stage."""
        if sample not in self.of_sample:
            table = TABLES[kind]
            wanted = {"node_tally": ("bearer", "position"), "cluster_lot": ("stage",)}.get(kind, ())
            query = select(table.c.record, table.c.tally, table.c.line, *(table.c[name] for name in wanted))
            self.of_sample[sample] = [
                tuple(row) for row in self.connection.execute(query.where(table.c.sample == sample, live(table)))
            ]
            self.places |= {(kind, row[0]): (row[1], row[2]) for row in self.of_sample[sample]}
            self.parents |= dict.fromkeys((row[0] for row in self.of_sample[sample]), sample)
        rows = self.of_sample[sample]
        if kind == "node_tally" and column.position is not None:
            rows = [row for row in rows if (row[3], row[4]) == (column.bearer, column.position)]
        elif kind == "cluster_lot" and column.stage is not None:
            rows = [row for row in rows if row[3] == column.stage]
        return {row[0] for row in rows}

    def _lines_of_census(self, number: int, date: object) -> set[int]:
        if number not in self.census_lines:
            c = TABLES["vine_census"].c
            query = select(c.record, c.date, c.part, c.row).where(c.block == number, live(TABLES["vine_census"]))
            self.census_lines[number] = [tuple(row) for row in self.connection.execute(query)]
        lines = [line for line in self.census_lines[number] if line[1] == date]
        used, _ = lines_used(
            np.zeros(len(lines), dtype=np.int64),
            np.array([line[2] for line in lines], dtype=np.str_),
            np.array([line[3] > 0 for line in lines], dtype=np.bool_),
        )
        return {line[0] for line, is_used in zip(lines, used.tolist(), strict=True) if is_used}

    def _add_harvest(self, records: Records, number: int, season: int, name: str, pick: int | None) -> None:
        part, load, close = TABLES["load_part"], TABLES["load"], TABLES["harvest_close"]
        at = number, season
        if at not in self.shares:
            readings = (load.c[column] for column in MUST.values())
            query = of_live_shares(select(part.c.record, load.c.record, part.c.pick, share_mass(), *readings))
            query = query.where(part.c.block == number, load.c.season == season)
            self.shares[at] = [tuple(row) for row in self.connection.execute(query)]
        reading = list(MUST).index(name) + 4 if name in MUST else None
        for row in self.shares[at]:
            if pick is not None and row[2] != pick:
                continue
            if reading is not None and (row[reading] is None or (row[3] is None and name != "ph")):
                continue
            records["load_part"].add(row[0])
            records["load"].add(row[1])
        if reading is None:
            query = select(close.c.record).where(close.c.block == number, close.c.season == season, live(close))
            records["harvest_close"] |= set(self.connection.execute(query).scalars())

    def described(self, records: Records) -> tuple[RowsBehind, ...]:
        """Give records with their keys, files and lines."""
        records = {kind: numbers for kind, numbers in records.items() if numbers}
        self._place(records)
        groups: dict[tuple[str, str, int], list[int]] = defaultdict(list)
        for kind, numbers in records.items():
            parents = self._parents(kind, numbers) if KINDS[kind].sampled else {}
            self._name("sample", set(parents.values()))
            # A number that no row has is told by `verify`.
            for number in (number for number in numbers if (kind, number) in self.places):
                groups[kind, self.keys[self._owner(kind, number)], self.places[kind, number][0]].append(number)
        return tuple(
            RowsBehind(
                kind,
                key,
                ranges_of(numbers),
                len(numbers),
                tally,
                self.files[tally][0],
                ranges_of(self.places[kind, number][1] for number in numbers),
                self.days.get(self._owner(kind, numbers[0]), ""),
                *self.files[tally][1:],
            )
            for (kind, key, tally), numbers in sorted(groups.items(), key=_rank)
        )

    def _parents(self, kind: str, numbers: set[int]) -> dict[int, int]:
        """Give the sample of each row of a sampled kind."""
        new = sorted(number for number in numbers if number not in self.parents)
        table = TABLES[kind]
        for start in range(0, len(new), AT_ONCE):
            query = select(table.c.record, table.c.sample).where(table.c.record.in_(new[start : start + AT_ONCE]))
            self.parents |= {row[0]: row[1] for row in self.connection.execute(query)}
        return {number: self.parents[number] for number in numbers if number in self.parents}

    def _owner(self, kind: str, number: int) -> tuple[str, int]:
        """Give what a row is named by: its sample, or itself."""
        return ("sample", self.parents[number]) if KINDS[kind].sampled else (kind, number)

    def _name(self, kind: str, numbers: set[int]) -> None:
        """Read the keys and days of records that were not met before."""
        unnamed = sorted(number for number in numbers if (kind, number) not in self.keys)
        found = keys_of(self.connection, KINDS[kind], unnamed)
        self.keys |= {(kind, number): key for number, key in found.items()}
        table = TABLES[kind]
        day = next((table.c[name] for name in DAYS if name in table.c), None)
        if day is None:
            return
        for start in range(0, len(unnamed), AT_ONCE):
            query = select(table.c.record, day).where(table.c.record.in_(unnamed[start : start + AT_ONCE]))
            self.days |= {(kind, row[0]): f"{row[1]}" for row in self.connection.execute(query)}

    def _place(self, records: Records) -> None:
        """Read the file, line and key of records that were not met before."""
        for kind, numbers in records.items():
            table = TABLES[kind]
            new = sorted(number for number in numbers if (kind, number) not in self.places)
            for start in range(0, len(new), AT_ONCE):
                query = select(table.c.record, table.c.tally, table.c.line)
                for record, tally, line in self.connection.execute(
                    query.where(table.c.record.in_(new[start : start + AT_ONCE]))
                ):
                    self.places[kind, record] = tally, line
            if not KINDS[kind].sampled:
                self._name(kind, numbers)
        tallies = {
            self.places[kind, number][0]
            for kind, numbers in records.items()
            for number in numbers
            if (kind, number) in self.places
        }
        new = sorted(tallies - set(self.files))
        for start in range(0, len(new), AT_ONCE):
            wanted = TALLY.c.number.in_(new[start : start + AT_ONCE])
            files = select(TALLY.c.number, TALLY.c.name, TALLY.c.at, TALLY.c.by).where(wanted)
            self.files |= {row[0]: (row[1], row[2], row[3]) for row in self.connection.execute(files)}


def _add(records: Records, kind: str, number: np.int64) -> None:
    if number:
        records[kind].add(int(number))


def _rank(group: tuple[tuple[str, str, int], list[int]]) -> tuple[int, str, int, int, int]:
    """Order rows: each sample before its rows, then what else the figure rests on in the order of the kinds."""
    (kind, key, tally), numbers = group
    if kind == "sample" or KINDS[kind].sampled:
        return 0, key, int(kind != "sample"), tally, min(numbers)
    return 1, "", list(KINDS).index(kind), tally, min(numbers)
