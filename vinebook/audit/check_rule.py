"""What a rule of `check` is, what it finds, and what it may ask of the book."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

from sqlalchemy import select

from vinebook.quantities import DORMANT, GROWING, US_OF_METRIC, season_of
from vinebook.records.tables import TABLES
from vinebook.seasons.arrays import season_arrays
from vinebook.seasons.figures import told
from vinebook.seasons.places import live

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable, Iterator

    from sqlalchemy import Connection, Select

    from vinebook.seasons.model import Figure

Severity = Literal["fault", "doubt", "information"]
SEVERITIES: tuple[Severity, ...] = ("fault", "doubt", "information")
"""Worst first. Fault: records contradict one another. Doubt: unusual or weaker than it looks. Information: no fault."""
COMMON_PRACTICE = "common practice, no source"
STREAMED = 2_000
FIGURES_READ = frozenset({"component_check", "nodes_per_vine", "prunings_per_vine", "yield_per_ha", "yield_per_vine"})
"""Season figures that rules look at; the others are not kept."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing that a rule found.

    Attributes
    ----------
    kind, record : the row it is about: its kind and permanent number.
    found : what was found, in words with its numbers.
    blocks : permanent numbers of the blocks it concerns; empty for a load means those of its parts.
    seasons : harvest years that it concerns; empty where it is about none.
    """

    kind: str
    record: int
    found: str
    blocks: tuple[int, ...] = ()
    seasons: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of `check`.

    Attributes
    ----------
    name : its name, as it is listed, explained and silenced.
    severity : fault, doubt or information.
    looks_for : what it looks for, one sentence.
    why : why that matters, one line.
    limits : the limits it takes, in words; "" where it has none.
    source : where the limits come from.
    find : gives what it finds in a book.
    """

    name: str
    severity: Severity
    looks_for: str
    why: str
    limits: str
    source: str
    find: Callable[[Scope], Iterable[Hit]] = field(repr=False)


class Scope:
    """A snapshot of the book with what several rules need of it, each read once.

    Attributes
    ----------
    connection : a connection with one read snapshot.
    blocks : permanent numbers of the blocks to look at, or None for all.
    today : the day on which one looks.
    units : units in which findings are told, "metric" or "us"; printed masses keep the unit of their ticket.
    """

    def __init__(self, connection: Connection, blocks: list[int] | None, today: dt.date, units: str = "metric") -> None:
        self.connection = connection
        self.blocks = blocks
        self.today = today
        self.units = units

    def shown(self, *values: float, unit: str) -> str:
        """Give one value, or a span of two, in the units of the findings: 4.85 kg, 0.93–4.8 kg.

        Parameters
        ----------
        values : one or two numbers in the metric unit.
        unit : the metric unit.
        """
        factor, name = 1.0, unit
        if self.units == "us" and unit in US_OF_METRIC:
            factor, name = US_OF_METRIC[unit].factor, US_OF_METRIC[unit].unit
        return f"{'–'.join(f'{value * factor:.3g}' for value in values)} {name}"

    def rows(self, statement: Select[Any]) -> Iterator[Any]:
        """Give the rows of a query as they come."""
        yield from self.connection.execute(statement.execution_options(yield_per=STREAMED))

    def only(self, statement: Select[Any], column: Any) -> Select[Any]:  # noqa: ANN401 - a column of a table
        """Restrict a query to the blocks that are looked at."""
        return statement if self.blocks is None else statement.where(column.in_(self.blocks))

    def only_loads(self, statement: Select[Any], column: Any) -> Select[Any]:  # noqa: ANN401 - a column of a table
        """Restrict a query to the loads that hold fruit of the blocks that are looked at."""
        if self.blocks is None:
            return statement
        part = TABLES["load_part"]
        return statement.where(column.in_(select(part.c.load).where(live(part), part.c.block.in_(self.blocks))))

    @cached_property
    def places(self) -> dict[int, tuple[str, str, int]]:
        """Code, hemisphere and vineyard of every block by its permanent number."""
        block, vineyard = TABLES["block"], TABLES["vineyard"]
        statement = select(block.c.record, block.c.code, vineyard.c.hemisphere, vineyard.c.record).join(
            vineyard, vineyard.c.record == block.c.vineyard
        )
        return {record: (code, hemisphere, owner) for record, code, hemisphere, owner in self.rows(statement)}

    def code(self, block: int) -> str:
        """Give the code of a block."""
        return self.places[block][0]

    def hemisphere(self, block: int) -> str:
        """Give the hemisphere of a block."""
        return self.places[block][1]

    def season_of(self, block: int, date: dt.date) -> int:
        """Give the season that a date in the growing part belongs to."""
        return season_of(date, self.hemisphere(block), GROWING)

    def dormant_season_of(self, block: int, date: dt.date) -> int:
        """Give the season that pruning on a date sets."""
        return season_of(date, self.hemisphere(block), DORMANT)

    @cached_property
    def plantings(self) -> dict[int, list[tuple[int, int, int]]]:
        """First season, last season and positions of each block's plantings, oldest first."""
        table = TABLES["planting"]
        found: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
        statement = select(table.c.block, table.c.from_season, table.c.to_season, table.c.positions).where(live(table))
        for block, first, last, positions in self.rows(statement.order_by(table.c.block, table.c.from_season)):
            found[block].append((first, 9999 if last is None else last, positions))
        return found

    def positions(self, block: int, season: int) -> int | None:
        """Give the vine positions planted in a season, or None where no planting is recorded."""
        held = [positions for first, last, positions in self.plantings.get(block, ()) if first <= season <= last]
        return held[-1] if held else None

    @cached_property
    def figures(self) -> dict[tuple[int, str], list[Figure]]:
        """Season figures that rules look at, by block and name, oldest first; those of one bearer are left out."""
        numbers = {code: record for record, (code, _, _) in self.places.items()}
        found: dict[tuple[int, str], list[Figure]] = defaultdict(list)
        arrays = season_arrays(self.connection, self.blocks, None)
        # To put every figure into words would take longer than to work all of them out.
        arrays.columns = [one for one in arrays.columns if one.name in FIGURES_READ and one.bearer is None]
        for figure in told(arrays, {}, in_words=False):
            if figure.value is not None:
                found[numbers[figure.block], figure.figure].append(figure)
        return found

    @cached_property
    def closes(self) -> dict[tuple[int, int], tuple[int, dt.date]]:
        """Permanent number and last day of each block's closed harvests, by block and season."""
        table = TABLES["harvest_close"]
        statement = select(table.c.block, table.c.season, table.c.record, table.c.finished_on).where(live(table))
        return {
            (block, season): (record, day)
            for block, season, record, day in self.rows(self.only(statement, table.c.block))
        }

    @cached_property
    def harvests(self) -> dict[tuple[int, int], dt.date]:
        """First day of each harvest that bore fruit, by block and season: its first load, else the day of its close."""
        load, part, close = TABLES["load"], TABLES["load_part"], TABLES["harvest_close"]
        loads = (
            select(part.c.block, load.c.season, load.c.date)
            .join(load, load.c.record == part.c.load)
            .where(live(load), live(part))
        )
        left = select(close.c.block, close.c.season, close.c.finished_on).where(
            live(close), close.c.fruit_left_milli > 0
        )
        first: dict[tuple[int, int], dt.date] = {}
        for statement, block_column in ((loads, part.c.block), (left, close.c.block)):
            for block, season, day in self.rows(self.only(statement, block_column)):
                first[block, season] = min(day, first.get((block, season), day))
        return first

    @cached_property
    def visits(self) -> dict[int, list[tuple[int, int, str, float | None, float | None]]]:
        """Season, record, how pruned, nodes ordered and tolerance of each block's visits, oldest first."""
        table = TABLES["pruning_visit"]
        c = table.c
        statement = select(c.block, c.season, c.record, c.pruned, c.nodes_to_keep, c.tolerance).where(live(table))
        found: dict[int, list[tuple[int, int, str, float | None, float | None]]] = defaultdict(list)
        for block, *visit in self.rows(self.only(statement, c.block).order_by(c.block, c.season)):
            found[block].append(tuple(visit))
        return found

    @cached_property
    def events(self) -> dict[tuple[int, int], str]:
        """What happened to each block in a season, in words."""
        c = TABLES["event"].c
        statement = select(c.block, c.season, c.what).where(live(TABLES["event"])).order_by(c.date, c.record)
        found: dict[tuple[int, int], str] = {}
        for block, season, what in self.rows(self.only(statement, c.block)):
            found[block, season] = f"{found[block, season]}, {what}" if (block, season) in found else what
        return found


def years(seasons: Iterable[int]) -> str:
    """Give seasons in words: 2019, 2021–2023."""
    runs: list[list[int]] = []
    for season in sorted(set(seasons)):
        if runs and season == runs[-1][1] + 1:
            runs[-1][1] = season
        else:
            runs.append([season, season])
    return ", ".join(str(first) if first == last else f"{first}–{last}" for first, last in runs)
