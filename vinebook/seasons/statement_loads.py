"""The loads of a season that one consignee took: each block's share of them, and those that are not shared out yet."""

from __future__ import annotations

import json
from collections import defaultdict
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from sqlalchemy import and_, or_, select

from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.tables import ENTRY, TABLES
from vinebook.seasons.places import live
from vinebook.seasons.statement_model import LoadShare, UnsplitLoad

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping


MILLI = 1000


def shares_by_block(
    connection: Connection, consignee: int, season: int
) -> tuple[dict[str, list[LoadShare]], list[UnsplitLoad]]:
    """Give the consignee's shares by block code, in the order of date and ticket, and its loads that are not split."""
    load, part, block = TABLES["load"], TABLES["load_part"], TABLES["block"]
    statement = (
        select(load, part, block.c.code)
        .join(part, and_(part.c.load == load.c.record, live(part)))
        .join(block, block.c.record == part.c.block)
        .where(live(load), load.c.consignee == consignee, load.c.season == season)
        .order_by(load.c.date, load.c.number, part.c.record)
    )
    by_load: dict[int, list[RowMapping]] = defaultdict(list)
    for row in connection.execute(statement.set_label_style(_label_style())).mappings():
        by_load[row["load_record"]].append(row)
    corrections = _corrections(connection, consignee)
    shares: dict[str, list[LoadShare]] = defaultdict(list)
    unsplit: list[UnsplitLoad] = []
    for parts in by_load.values():
        if len(parts) > 1 and any(row["load_part_mass_milli"] is None for row in parts):
            first = parts[0]
            codes = tuple(sorted({row["block_code"] for row in parts}))
            unsplit.append(
                UnsplitLoad(
                    first["load_date"],
                    first["load_issuer"],
                    first["load_number"],
                    first["load_net_milli"] / MILLI,
                    first["load_mass_unit"],
                    codes,
                )
            )
            continue
        for row in parts:
            shares[row["block_code"]].append(_share(row, corrections.get(row["load_record"], "")))
    return shares, unsplit


def loads_of_no_block(connection: Connection, consignee: int, season: int, vineyards: set[str]) -> list[UnsplitLoad]:
    """Give the consignee's loads that name no block yet, but for those of other vineyards than these."""
    load, part, vineyard = TABLES["load"], TABLES["load_part"], TABLES["vineyard"]
    found = connection.execute(
        select(load.c.date, load.c.issuer, load.c.number, load.c.net_milli, load.c.mass_unit)
        .join(vineyard, vineyard.c.record == load.c.vineyard, isouter=True)
        .where(
            live(load),
            load.c.consignee == consignee,
            load.c.season == season,
            or_(load.c.vineyard.is_(None), vineyard.c.name.in_(vineyards)),
            ~select(part.c.record).where(part.c.load == load.c.record, live(part)).exists(),
        )
    )
    return [UnsplitLoad(row.date, row.issuer, row.number, row.net_milli / MILLI, row.mass_unit, ()) for row in found]


def _label_style() -> Any:  # noqa: ANN401
    from sqlalchemy import LABEL_STYLE_TABLENAME_PLUS_COL

    return LABEL_STYLE_TABLENAME_PLUS_COL


def _share(row: RowMapping, corrects: str) -> LoadShare:
    unit = UNITS_OF_DIMENSION["mass"][row["load_mass_unit"]] / 1000
    net = row["load_net_milli"] * unit
    own = row["load_part_mass_milli"]
    share = net if own is None else own * UNITS_OF_DIMENSION["mass"][row["load_part_mass_unit"]] / 1000
    of_net = share / net if net else Fraction(0)
    refused, deducted = (
        (row[column] or 0) * unit * of_net for column in ("load_refused_milli", "load_deductions_milli")
    )
    gross, tare = (
        None if row[column] is None else row[column] / MILLI for column in ("load_gross_milli", "load_tare_milli")
    )
    return LoadShare(
        date=row["load_date"],
        issuer=row["load_issuer"],
        number=row["load_number"],
        pick=row["load_part_pick"],
        gross=gross,
        tare=tare,
        net=row["load_net_milli"] / MILLI,
        unit=row["load_mass_unit"],
        picked_kg=float(share),
        refused_kg=float(refused),
        deducted_kg=float(deducted),
        split=row["load_part_split"],
        picked_by=row["load_part_picked"],
        purpose=row["load_part_purpose"],
        certification=row["load_part_certification"] or "",
        soluble_solids_brix=row["load_soluble_solids_brix"],
        ph=row["load_ph"],
        titratable_acidity_g_per_l=row["load_titratable_acidity_g_per_l"],
        refused_reason=row["load_refused_reason"] or "",
        corrects=corrects,
        record=row["load_record"],
    )


def _corrections(connection: Connection, consignee: int) -> dict[int, str]:
    """Give, by a load's permanent number, which ticket of the same consignee it supersedes and why.

    A ticket that named somebody else before is nothing that this consignee is told.
    """
    load = TABLES["load"]
    own = set(connection.scalars(select(load.c.record).where(load.c.consignee == consignee)))
    found: dict[int, str] = {}
    for (body,) in connection.execute(
        select(ENTRY.c.body).where(ENTRY.c.action == "supersede", ENTRY.c.subject.like("#% load %"))
    ):
        told = json.loads(body)
        if told["record"] in own:
            found[told["new_record"]] = f"supersedes ticket {told['key'].rpartition('/')[2]}: {told['reason']}"
    return found
