"""Weigh tickets summed: by consignee, day, pick, block or ticket, with the mass balance of a season.

Masses are exact: thousandths of the printed unit, turned into kilograms as fractions.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal

from sqlalchemy import select

from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping, Select

Grouping = Literal["consignee", "day", "pick", "block", "ticket"]
GROUPINGS: tuple[Grouping, ...] = ("consignee", "day", "pick", "block", "ticket")
NOT_SPLIT = "(not split)"
NO_CONSIGNEE = "(none named)"


@dataclass(slots=True)
class Delivered:
    """Loads of one season and group, summed; masses in kilograms.

    Attributes
    ----------
    season, group : harvest year, and name of the group.
    loads : tickets that have a part in it.
    picked_kg : net mass; picked = accepted + refused + deducted.
    refused_kg, deducted_kg : of it.
    """

    season: int
    group: str
    loads: set[int] = field(default_factory=set)
    picked_kg: Fraction = Fraction(0)
    refused_kg: Fraction = Fraction(0)
    deducted_kg: Fraction = Fraction(0)

    @property
    def accepted_kg(self) -> Fraction:
        """Net mass accepted."""
        return self.picked_kg - self.refused_kg - self.deducted_kg

    def add(self, load: int, net: Fraction, refused: Fraction, deducted: Fraction) -> None:
        """Add a load or a share of one."""
        self.loads.add(load)
        self.picked_kg += net
        self.refused_kg += refused
        self.deducted_kg += deducted


def delivered(
    connection: Connection, by: Grouping, *, seasons: list[int] | None = None, blocks: list[int] | None = None
) -> list[Delivered]:
    """Sum the live loads of seasons by group, in the order of season and group.

    A load's refused and deducted mass is shared over its parts in proportion to their mass. What of a load no part
    names stands in a group of its own.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    by : consignee, day, pick, block or ticket.
    seasons : harvest years, or None for all.
    blocks : permanent numbers of blocks whose shares are wanted, or None for whole loads.
    """
    sums: dict[tuple[int, str], Delivered] = {}
    parts = _parts(connection, seasons, blocks)
    for load in _loads(connection, seasons, blocks):
        unit = UNITS_OF_DIMENSION["mass"][load["mass_unit"]] / 1000
        net, refused, deducted = (
            (load[column] or 0) * unit for column in ("net_milli", "refused_milli", "deductions_milli")
        )
        for block, name, share in _shares(load, net, parts.get(load["record"], []), by, blocks):
            if blocks is not None and block not in blocks:
                continue
            at = load["season"], name
            of_net = share / net if net else Fraction(0)
            sums.setdefault(at, Delivered(*at)).add(load["record"], share, refused * of_net, deducted * of_net)
    return [sums[at] for at in sorted(sums)]


def _only(statement: Select[Any], seasons: list[int] | None, blocks: list[int] | None) -> Select[Any]:
    """Restrict a query to the loads of seasons that hold fruit of blocks."""
    load, part = TABLES["load"], TABLES["load_part"].alias("of_block")
    if seasons:
        statement = statement.where(load.c.season.in_(seasons))
    if blocks is not None:
        theirs = select(part.c.load).where(part.c.struck_at.is_(None), part.c.block.in_(blocks))
        statement = statement.where(load.c.record.in_(theirs))
    return statement


def _loads(connection: Connection, seasons: list[int] | None, blocks: list[int] | None) -> list[RowMapping]:
    load, consignee = TABLES["load"], TABLES["consignee"]
    statement = (
        select(load, consignee.c.name.label("consignee_name"))
        .outerjoin(consignee, consignee.c.record == load.c.consignee)
        .where(load.c.struck_at.is_(None))
        .order_by(load.c.record)
    )
    return list(connection.execute(_only(statement, seasons, blocks)).mappings())


def _parts(connection: Connection, seasons: list[int] | None, blocks: list[int] | None) -> dict[int, list[RowMapping]]:
    load, part, block = TABLES["load"], TABLES["load_part"], TABLES["block"]
    statement = (
        select(part.c.load, part.c.block, part.c.pick, part.c.mass_milli, part.c.mass_unit, block.c.code)
        .join(load, load.c.record == part.c.load)
        .join(block, block.c.record == part.c.block)
        .where(part.c.struck_at.is_(None), load.c.struck_at.is_(None))
        .order_by(part.c.record)
    )
    found: dict[int, list[RowMapping]] = defaultdict(list)
    for row in connection.execute(_only(statement, seasons, blocks)).mappings():
        found[row["load"]].append(row)
    return found


def _shares(
    load: RowMapping, net: Fraction, parts: list[RowMapping], by: Grouping, blocks: list[int] | None
) -> list[tuple[int | None, str, Fraction]]:
    """Give block, group and mass of each share of a load; what no part names has no block."""
    whole = {
        "consignee": load["consignee_name"] or NO_CONSIGNEE,
        "day": str(load["date"]),
        "ticket": f"{load['issuer']} {load['number']}",
    }
    if by in whole and blocks is None:
        return [(None, whole[by], net)]
    shares: list[tuple[int | None, str, Fraction]] = []
    rest = net
    for part in parts:
        if part["mass_milli"] is not None:
            mass = part["mass_milli"] * UNITS_OF_DIMENSION["mass"][part["mass_unit"]] / 1000
        elif len(parts) == 1:
            mass = net
        else:
            continue
        rest -= mass
        name = {"block": part["code"], "pick": f"{part['code']} pick {part['pick']}"}.get(by) or whole[by]
        shares.append((part["block"], name, mass))
    if rest > 0:
        shares.append((None, NOT_SPLIT, rest))
    return shares
