"""What must hold between rows once every file of a call is in: told by file and line like any other fault."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from sqlalchemy import and_, func, or_, select

from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from vinebook.intake.faults import Faults


def check_afterwards(connection: Connection, faults: Faults, numbers: dict[int, str]) -> None:
    """Add a fault for each row of these tallies that cannot stand beside the others.

    Parameters
    ----------
    connection : of the call.
    faults : where findings go.
    numbers : files of the call by the numbers of their tallies.
    """
    _rows_overlap(connection, faults, numbers)
    _parts_exceed_net(connection, faults, numbers)


def _rows_overlap(connection: Connection, faults: Faults, numbers: dict[int, str]) -> None:
    new, old = TABLES["row"].alias("new"), TABLES["row"].alias("old")
    new_last, old_last = (func.coalesce(table.c.last_row, table.c.first_row) for table in (new, old))
    query = (
        select(new.c.tally, new.c.line, old.c.first_row, old_last, new.c.first_row)
        .join(old, and_(old.c.block == new.c.block, old.c.from_season == new.c.from_season))
        .where(new.c.tally.in_(numbers), new.c.struck_at.is_(None), old.c.struck_at.is_(None))
        .where(old.c.record < new.c.record, old.c.first_row <= new_last, old_last >= new.c.first_row)
        .where(or_(old.c.first_row != new.c.first_row, old_last != new_last))
        .order_by(new.c.tally, new.c.line)
    )
    for tally, line, first, last, _ in connection.execute(query):
        rows = f"rows {first} to {last}" if last > first else f"row {first}"
        faults.add(numbers[tally], line, "first_row", f"overlaps {rows} of the same block", "each row once")


def _parts_exceed_net(connection: Connection, faults: Faults, numbers: dict[int, str]) -> None:
    load, part = TABLES["load"], TABLES["load_part"]
    touched = select(part.c.load).where(part.c.tally.in_(numbers))
    rows = connection.execute(
        select(
            load.c.record,
            load.c.number,
            load.c.net_milli,
            load.c.mass_unit,
            part.c.mass_milli,
            part.c.mass_unit,
            part.c.tally,
            part.c.line,
        )
        .join(part, part.c.load == load.c.record)
        .where(part.c.load.in_(touched), part.c.struck_at.is_(None), load.c.struck_at.is_(None))
        .order_by(load.c.record, part.c.record)
    )
    mass = UNITS_OF_DIMENSION["mass"]
    sums: dict[int, Fraction] = {}
    for record, number, net, unit, milli, part_unit, tally, line in rows:
        before = sums.get(record, Fraction(0))
        sums[record] = before + (milli or 0) * mass[part_unit]
        if sums[record] > net * mass[unit] >= before and tally in numbers:
            faults.add(
                numbers[tally],
                line,
                "mass",
                f"brings the parts of ticket {number} above its net of {net / 1000:g} {unit}",
                "parts that add up to the net or less",
            )
