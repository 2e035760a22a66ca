"""The rows of a block in a season, its parts, and how many of their places bear: what vines are drawn from."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from vinebook.errors import WordsError
from vinebook.records.tables import TABLES
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection

_GROUP = re.compile(r"([^=]+)=([0-9]+(?:-[0-9]+)?(?:,[0-9]+(?:-[0-9]+)?)*)")
WHOLE = "all"
EACH_ROW = "rows"
"""The word that makes every row a part."""


@dataclass(frozen=True, slots=True)
class RowFacts:
    """A row as it stands in a season.

    Attributes
    ----------
    number : of the row.
    positions : vine positions, empty places included.
    numbered_from : end from which vines are numbered, in words or "".
    vines_per_panel : vine positions between two posts, None where not recorded.
    """

    number: int
    positions: int
    numbered_from: str
    vines_per_panel: int | None


@dataclass(frozen=True, slots=True)
class Part:
    """Rows that are drawn from for themselves.

    Attributes
    ----------
    name : as tallies name it in their column part; "all" for the whole block.
    rows : numbers of its rows.
    positions : vine positions in them.
    bearing : share of these that bear, by the census; 1 where there is none.
    """

    name: str
    rows: tuple[int, ...]
    positions: int
    bearing: float


@dataclass(frozen=True, slots=True)
class Census:
    """The latest vine census of a block: bearing vines and places, in all and of each part and row."""

    date: dt.date
    parts: dict[str, tuple[int, int]]
    rows: dict[int, tuple[int, int]]

    @property
    def bearing(self) -> float:
        """Share of the places that bear."""
        of = [self.parts[WHOLE]] if WHOLE in self.parts else [*(self.parts or self.rows).values()]
        places = sum(positions for _, positions in of)
        return sum(bearing for bearing, _ in of) / places if places else 1.0


def rows_of_block(connection: Connection, block: int, season: int) -> list[RowFacts]:
    """Give the rows of a block in a season, by their numbers; each as it was recorded latest.

    Where the latest layout alone has the positions that are planted, rows of earlier ones are gone.

    Parameters
    ----------
    connection : a reading connection.
    block : its permanent number.
    season : layouts of later seasons are not looked at.
    """
    c = TABLES["row"].c
    statement = (
        select(c.from_season, c.first_row, c.last_row, c.positions, c.numbered_from, c.vines_per_panel)
        .where(c.block == block, c.from_season <= season, live(TABLES["row"]))
        .order_by(c.from_season, c.first_row)
    )
    found: dict[int, RowFacts] = {}
    latest: dict[int, RowFacts] = {}
    since = 0
    for from_season, first, last, positions, numbered_from, panel in connection.execute(statement):
        if from_season > since:
            latest, since = {}, from_season
        for number in range(first, (last or first) + 1):
            found[number] = latest[number] = RowFacts(number, positions, numbered_from or "", panel)
    planted, all_rows, newest = _planted(connection, block, season), _places(found), _places(latest)
    rows = latest if planted == newest != all_rows else found
    return [rows[number] for number in sorted(rows)]


def _places(rows: dict[int, RowFacts]) -> int:
    return sum(row.positions for row in rows.values())


def _planted(connection: Connection, block: int, season: int) -> int | None:
    """Give the positions planted in a block in a season, None where no planting is recorded."""
    c = TABLES["planting"].c
    statement = select(c.positions).where(c.block == block, c.from_season <= season, live(TABLES["planting"]))
    found = connection.scalar(statement.order_by(c.from_season.desc()).limit(1))
    return None if found is None else int(found)


def census_of(connection: Connection, block: int, season: int, on: dt.date) -> Census | None:
    """Give the latest census of a block on a day, of the vines that stand there in a season; None without one.

    Parameters
    ----------
    connection : a reading connection.
    block : its permanent number.
    season : whose vines; a census of an earlier planting counted others.
    on : the day.
    """
    table, planting = TABLES["vine_census"], TABLES["planting"]
    since = connection.scalar(
        select(func.max(planting.c.from_season)).where(
            planting.c.block == block, planting.c.from_season <= season, live(planting)
        )
    )
    c = table.c
    statement = select(c.date, c.part, c.row, c.bearing, c.bearing + c.young + c.missing).where(
        c.block == block, c.date <= on, c.date >= dt.date((since or 1801) - 1, 1, 1), live(table)
    )
    rows = connection.execute(statement).all()
    if not rows:
        return None
    latest = max(row[0] for row in rows)
    parts: dict[str, tuple[int, int]] = {}
    of_rows: dict[int, tuple[int, int]] = {}
    for day, part, row, bearing, places in rows:
        if day == latest and row:
            of_rows[row] = (bearing, places)
        elif day == latest:
            parts[part] = (bearing, places)
    return Census(latest, parts, of_rows)


def parts_of_rows(rows: Sequence[RowFacts], words: Sequence[str], census: Census | None) -> list[Part]:
    """Give the parts that words name, each with its places and the share of them that bears.

    Parameters
    ----------
    rows : the rows of the block.
    words : none for the whole block; "rows" for each row a part; else groups such as low=1-9 and high=10-14,20.
    census : the latest census, or None.

    Raises
    ------
    WordsError : a group cannot be read; a row is in no group, in two, or none of the block's.
    """
    by_number = {row.number: row for row in rows}
    if not words:
        groups = {WHOLE: list(by_number)}
    elif list(words) == [EACH_ROW]:
        groups = {f"row {number}": [number] for number in by_number}
    else:
        groups = _named_groups(words, by_number)
    return [
        Part(name, tuple(numbers), sum(by_number[one].positions for one in numbers), _bearing(name, numbers, census))
        for name, numbers in groups.items()
    ]


def _bearing(name: str, numbers: Sequence[int], census: Census | None) -> float:
    """Give the share that bears, by the census of the part, of its rows, or of the block."""
    if census is None:
        return 1.0
    if name in census.parts:
        bearing, places = census.parts[name]
    elif name != WHOLE and all(number in census.rows for number in numbers):
        bearing = sum(census.rows[number][0] for number in numbers)
        places = sum(census.rows[number][1] for number in numbers)
    else:
        return census.bearing
    return bearing / places if places else 1.0


def _named_groups(words: Sequence[str], by_number: dict[int, RowFacts]) -> dict[str, list[int]]:
    example = "groups of rows such as low=1-9 high=10-14,20, or the word rows"
    groups: dict[str, list[int]] = {}
    held: dict[int, str] = {}
    for word in (one for given in words for one in given.split()):
        found = _GROUP.fullmatch(word)
        if found is None:
            raise WordsError(f"{word!r} names no part", example)
        name = found.group(1)
        if name in groups or name == WHOLE:
            raise WordsError(f"the name {name!r} cannot stand for one part alone", "a name of its own for each part")
        groups[name] = []
        for one in found.group(2).split(","):
            first, _, last = one.partition("-")
            for number in range(int(first), int(last or first) + 1):
                if number not in by_number:
                    raise WordsError(f"row {number} of part {name} is no row of the block", shown_rows(by_number))
                if number in held:
                    twice = "twice in" if held[number] == name else f"in part {held[number]} and in"
                    raise WordsError(f"row {number} is {twice} part {name}", "each row once")
                held[number] = name
                groups[name].append(number)
    if left := [number for number in by_number if number not in held]:
        raise WordsError(f"{shown_rows(left)} would never be drawn: no part holds them", "parts that hold all rows")
    return groups


def shown_rows(numbers: Sequence[int] | dict[int, RowFacts]) -> str:
    """Give numbers of rows in words, ranges together."""
    ranges: list[list[int]] = []
    for number in sorted(numbers):
        if ranges and ranges[-1][1] == number - 1:
            ranges[-1][1] = number
        else:
            ranges.append([number, number])
    words = ", ".join(f"{first}" if first == last else f"{first} to {last}" for first, last in ranges)
    return f"row{'' if len(numbers) == 1 else 's'} {words}"
