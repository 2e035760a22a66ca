"""Loads, their shares by block, and the close: crop, delivered fruit and must figures as arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Double, Select, and_, case, cast, func, or_, select

from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.tables import TABLES, TICKET_UNITS
from vinebook.records.types import Whole
from vinebook.seasons.columns import NO_DATE
from vinebook.seasons.places import columns_of, days_of, live

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.places import Blocks

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

KG_OF_MILLI = {unit: float(UNITS_OF_DIMENSION["mass"][unit] / 1000) for unit in TICKET_UNITS}
SPLIT_TO_NET = 1 - 1e-9
"""Share of the net that parts must make for a load to be split; it leaves room for the rounding of units."""
PURPOSES = ("still", "sparkling", "late", "frozen", "table", "other")


@dataclass(slots=True)
class Picks:
    """What the loads say of each block, season and pick; one entry a pick and purpose.

    Attributes
    ----------
    picked_kg, accepted_kg : net mass; net less refused and deducted mass.
    unsplit : shares without a mass in loads of several shares.
    by_eye, by_machine : shares judged by eye or bins; shares picked by machine.
    sums : for soluble solids and titratable acidity: Σ mass × value and Σ mass of loads that have one, in kg.
    """

    block: Ints
    season: Ints
    pick: Ints
    purpose: Ints
    first_day: Ints
    loads: Ints
    picked_kg: Floats
    accepted_kg: Floats
    unsplit: Ints
    by_eye: Ints
    by_machine: Ints
    solids: Floats
    solids_kg: Floats
    solids_loads: Ints
    acidity: Floats
    acidity_kg: Floats
    acidity_loads: Ints
    ph: Floats
    ph_loads: Ints


def of_live_shares(statement: Select[Any]) -> Select[Any]:
    """Join a query of load parts to their loads; only what is live on both sides makes a harvest."""
    part, load = TABLES["load_part"], TABLES["load"]
    return statement.join(load, load.c.record == part.c.load).where(live(part), live(load))


def share_mass() -> Any:  # noqa: ANN401 - a column
    """Give the mass of a load part as SQL: a share without a mass is the whole of a load of one share."""
    part, load = TABLES["load_part"], TABLES["load"]
    other = part.alias("other")
    shares = select(func.count()).select_from(other).where(other.c.load == part.c.load, live(other)).scalar_subquery()
    return case((part.c.mass_milli.is_not(None), part.c.mass_milli), (shares == 1, load.c.net_milli))


def pick_statement(blocks: Blocks, seasons: tuple[int, int] | None) -> Select[Any]:
    """Give the query that sums the shares of each block, season, pick, purpose and printed unit."""
    part, load = TABLES["load_part"], TABLES["load"]
    mass = share_mass()
    off = load.c.refused_milli + load.c.deductions_milli
    # Refused and deducted mass fall on the shares in proportion to their mass.
    lost = case(
        (off == 0, 0.0),
        else_=cast(mass, Double) * off / func.nullif(cast(load.c.net_milli, Double), 0),
    )

    def weighted(value: Any) -> tuple[Any, Any, Any]:  # noqa: ANN401 - a column
        has = and_(value.is_not(None), mass.is_not(None))
        return (
            func.coalesce(func.sum(case((has, mass * value))), 0.0),
            cast(func.coalesce(func.sum(case((has, mass))), 0), Whole),
            func.count(case((has, 1))),
        )

    statement = select(
        part.c.block,
        load.c.season,
        part.c.pick,
        part.c.purpose,
        load.c.mass_unit,
        func.min(load.c.date),
        func.count(),
        cast(func.coalesce(func.sum(mass), 0), Whole),
        func.coalesce(func.sum(lost), 0.0),
        func.count(case((mass.is_(None), 1))),
        func.count(case((part.c.split.in_(("bins", "by_eye")), 1))),
        func.count(case((part.c.picked == "machine", 1))),
        *weighted(load.c.soluble_solids_brix),
        *weighted(load.c.titratable_acidity_g_per_l),
        func.coalesce(func.sum(load.c.ph), 0.0),
        func.count(load.c.ph),
    ).group_by(part.c.block, load.c.season, part.c.pick, part.c.purpose, load.c.mass_unit)
    statement = of_live_shares(statement)
    if seasons is not None:
        statement = statement.where(load.c.season.between(*seasons))
    return blocks.only(statement, part.c.block)


def read_picks(connection: Connection, blocks: Blocks, seasons: tuple[int, int] | None) -> Picks:
    """Read the loads of blocks and seasons; tickets in several units of mass are added up in kilograms."""
    rows = connection.execute(pick_statement(blocks, seasons)).fetchall()
    read = columns_of(rows, 20)
    block = blocks.indices(read[0])
    keys = np.stack(
        [
            block,
            np.array(read[1], dtype=np.int64),
            np.array(read[2], dtype=np.int64),
            np.array([PURPOSES.index(word) for word in read[3]], dtype=np.int64),
        ],
        axis=1,
    )
    kept = np.flatnonzero(block >= 0)
    sets, at = np.unique(keys[kept], axis=0, return_inverse=True)
    at = at.reshape(-1)
    kg = np.array([KG_OF_MILLI[unit] for unit in read[4]], dtype=np.float64)[kept]
    numbers = np.array([[float(value) for value in row[6:]] for row in rows], dtype=np.float64).reshape(-1, 14)[kept]

    def total(values: Floats) -> Floats:
        result = np.zeros(len(sets))
        np.add.at(result, at, values)
        return result

    def count(column: int) -> Ints:
        return total(numbers[:, column]).astype(np.int64)

    first = np.full(len(sets), np.iinfo(np.int64).max, dtype=np.int64)
    np.minimum.at(first, at, days_of(read[5])[kept])
    picked = numbers[:, 1] * kg
    return Picks(
        block=sets[:, 0],
        season=sets[:, 1],
        pick=sets[:, 2],
        purpose=sets[:, 3],
        first_day=first,
        loads=count(0),
        picked_kg=total(picked),
        accepted_kg=total(picked - numbers[:, 2] * kg),
        unsplit=count(3),
        by_eye=count(4),
        by_machine=count(5),
        solids=total(numbers[:, 6] * kg),
        solids_kg=total(numbers[:, 7] * kg),
        solids_loads=count(8),
        acidity=total(numbers[:, 9] * kg),
        acidity_kg=total(numbers[:, 10] * kg),
        acidity_loads=count(11),
        ph=total(numbers[:, 12]),
        ph_loads=count(13),
    )


@dataclass(slots=True)
class Closes:
    """The harvests declared finished: block, season, day, fruit left and whether it was weighed."""

    block: Ints
    season: Ints
    day: Ints
    left_kg: Floats
    left_by_eye: Bools


def read_closes(connection: Connection, blocks: Blocks, seasons: tuple[int, int] | None) -> Closes:
    """Read the closes of blocks and seasons."""
    table = TABLES["harvest_close"]
    c = table.c
    statement = select(c.block, c.season, c.finished_on, c.fruit_left_milli, c.mass_unit, c.fruit_left_by).where(
        live(table)
    )
    if seasons is not None:
        statement = statement.where(c.season.between(*seasons))
    rows = connection.execute(blocks.only(statement, c.block)).fetchall()
    read = columns_of(rows, 6)
    kept = np.flatnonzero(blocks.indices(read[0]) >= 0)
    left = np.array([milli * KG_OF_MILLI[unit] for milli, unit in zip(read[3], read[4], strict=True)], dtype=np.float64)
    return Closes(
        blocks.indices(read[0])[kept],
        np.array(read[1], dtype=np.int64)[kept],
        days_of(read[2])[kept],
        left[kept],
        (np.array([word == "by_eye" for word in read[5]], dtype=np.bool_) & (left > 0))[kept],
    )


def unsplit_tickets(connection: Connection, blocks: Blocks) -> dict[tuple[int, int], str]:
    """Give the tickets of loads that hold a block's fruit and are not split, by block index and season."""
    part, load = TABLES["load_part"], TABLES["load"]
    other = part.alias("other")
    shares = select(func.count()).select_from(other).where(other.c.load == part.c.load, live(other)).scalar_subquery()
    statement = (
        select(part.c.block, load.c.season, load.c.issuer, load.c.number)
        .join(load, load.c.record == part.c.load)
        .where(live(part), live(load), part.c.mass_milli.is_(None), shares > 1)
        .order_by(load.c.date, load.c.issuer, load.c.number)
        .distinct()
    )
    statement = statement.add_columns(load.c.date)
    tickets: dict[tuple[int, int], list[str]] = {}
    for block, season, issuer, number, _ in connection.execute(blocks.only(statement, part.c.block)):
        tickets.setdefault((blocks.index_of.get(block, -1), season), []).append(f"{issuer} {number}")
    return {key: ", ".join(names) for key, names in tickets.items()}


@dataclass(slots=True)
class Crops:
    """The harvest of each cell."""

    is_closed: Bools
    loads: Ints
    first_day: Ints
    picked_kg: Floats
    accepted_kg: Floats
    left_kg: Floats
    is_unsplit: Bools
    is_by_eye: Bools
    by_machine: Ints
    purposes: Ints
    is_open: Bools

    @property
    def is_whole(self) -> Bools:
        """Cells whose crop is known: closed, every load split, and not empty while fruit is without a block."""
        return self.is_closed & ~self.is_unsplit & ~self.is_open

    @property
    def crop_kg(self) -> Floats:
        """Picked and left mass."""
        return self.picked_kg + self.left_kg


def crops_of(picks: Picks, pick_cell: Ints, closes: Closes, close_cell: Ints, cells: int) -> Crops:
    """Gather picks and closes by cell; a cell index of -1 is left out."""

    def total(values: NDArray[Any]) -> NDArray[Any]:
        result = np.zeros(cells, dtype=values.dtype)
        np.add.at(result, pick_cell[pick_cell >= 0], values[pick_cell >= 0])
        return result

    loads = total(picks.loads)
    first = np.full(cells, np.iinfo(np.int64).max, dtype=np.int64)
    ours = pick_cell >= 0
    np.minimum.at(first, pick_cell[ours], picks.first_day[ours])
    closed = np.zeros(cells, dtype=np.bool_)
    left, by_eye = np.zeros(cells), np.zeros(cells, dtype=np.bool_)
    known = close_cell >= 0
    closed[close_cell[known]] = True
    left[close_cell[known]] = closes.left_kg[known]
    by_eye[close_cell[known]] = closes.left_by_eye[known]
    close_day = np.full(cells, NO_DATE, dtype=np.int64)
    close_day[close_cell[known]] = closes.day[known]
    purposes = np.zeros(cells, dtype=np.int64)
    np.bitwise_or.at(purposes, pick_cell[ours], 1 << picks.purpose[ours])
    return Crops(
        closed,
        loads,
        np.where(loads > 0, first, close_day),
        total(picks.picked_kg),
        total(picks.accepted_kg),
        left,
        total(picks.unsplit) > 0,
        by_eye | (total(picks.by_eye) > 0),
        total(picks.by_machine),
        purposes,
        np.zeros(cells, dtype=np.bool_),
    )


def open_tickets(connection: Connection, seasons: list[int]) -> dict[tuple[int, int], str]:
    """Give the tickets that name no block or are not split to their net, by vineyard's record and season.

    A ticket that names no vineyard is of the one whose blocks its parts name, else of every vineyard (0).
    """
    load, part, block = TABLES["load"], TABLES["load_part"], TABLES["block"]

    def kg(milli: Any, unit: Any) -> Any:  # noqa: ANN401 - columns
        return case(*((unit == name, cast(milli, Double) * factor) for name, factor in KG_OF_MILLI.items()))

    split = func.sum(kg(part.c.mass_milli, part.c.mass_unit))
    net = kg(load.c.net_milli, load.c.mass_unit)
    statement = (
        select(
            func.coalesce(load.c.vineyard, func.min(block.c.vineyard), 0), load.c.season, load.c.issuer, load.c.number
        )
        .select_from(load)
        .outerjoin(part, and_(part.c.load == load.c.record, live(part)))
        .outerjoin(block, block.c.record == part.c.block)
        .where(live(load), load.c.season.in_(seasons))
        .group_by(
            load.c.record,
            load.c.vineyard,
            load.c.season,
            load.c.issuer,
            load.c.number,
            load.c.date,
            load.c.net_milli,
            load.c.mass_unit,
        )
        # Shares without a mass are the whole of a load, or make it unsplit, which is said of their blocks.
        .having(
            or_(
                func.count(part.c.record) == 0,
                and_(func.count(part.c.record) == func.count(part.c.mass_milli), split < net * SPLIT_TO_NET),
            )
        )
        .order_by(load.c.date, load.c.issuer, load.c.number)
    )
    tickets: dict[tuple[int, int], list[str]] = {}
    for vineyard, season, issuer, number in connection.execute(statement):
        tickets.setdefault((vineyard, season), []).append(f"{issuer} {number}")
    return {key: ", ".join(names) for key, names in tickets.items()}
