"""The trail of a weigh ticket: back to block, rows, vines and certificates, and on to who took the fruit."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from sqlalchemy import and_, or_, select

from vinebook.audit.trail import balances_of
from vinebook.audit.trail_corrections import Corrections, read_corrections, sources_of
from vinebook.errors import WordsError
from vinebook.kinds import KINDS
from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records import journal
from vinebook.records.keys import find_record, keys_of
from vinebook.records.tables import TABLES
from vinebook.seasons.trail_model import Certificate, Correction, PartTold, Party, TicketTrail

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping

    from vinebook.seasons.trail_model import Source

PRINTED = ("gross", "tare", "net", "deductions", "refused", "scale_interval", "bin_mass")
"""Masses of a ticket, kept as thousandths of the printed unit."""
MUST = {
    "soluble_solids [°Brix]": "soluble_solids_brix",
    "pH": "ph",
    "titratable_acidity [g/L]": "titratable_acidity_g_per_l",
}


def find_ticket(connection: Connection, words: str) -> int:
    """Give the permanent number of a load by its key, or by the number on its ticket where only one has it.

    A ticket that was superseded is found as well where none in force has that number.

    Raises
    ------
    WordsError : there is no such ticket, or several; the message names their keys.
    """
    if "/" in words or words.startswith("#"):
        return find_record(connection, KINDS["load"], words)
    load = TABLES["load"]
    rows = connection.execute(
        select(load.c.record, load.c.struck_at).where(load.c.number == words).order_by(load.c.record)
    ).all()
    found = [record for record, struck_at in rows if struck_at is None] or [record for record, _ in rows]
    if not found:
        raise WordsError(
            f"there is neither a block nor a ticket {words}",
            "`vinebook list block` and `vinebook list load` print their keys",
        )
    if len(found) > 1:
        keys = ", ".join(keys_of(connection, KINDS["load"], found).values())
        raise WordsError(f"{len(found)} tickets have the number {words}", f"name one by its key: {keys}")
    return int(found[0])


def is_block(connection: Connection, words: str) -> bool:
    """Say whether words are a live block's code, a stroke in it written once or, as in a key, twice, or its ``#N``."""
    block = TABLES["block"]
    if re.fullmatch(r"#[0-9]{1,18}", words):
        query = select(block.c.record).where(block.c.record == int(words[1:]), block.c.struck_at.is_(None))
        return connection.scalar(query) is not None
    codes = {words, words.replace("//", "/")}
    query = select(block.c.record).where(block.c.code.in_(codes), block.c.struck_at.is_(None))
    return connection.scalar(query) is not None


def trail_of_ticket(connection: Connection, words: str) -> TicketTrail:
    """Give the trail of a weigh ticket.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    words : issuer/season/number, the number alone where only one ticket has it, or #N.

    Raises
    ------
    WordsError : there is no such ticket, or several.
    """
    record = find_ticket(connection, words)
    table = TABLES["load"]
    load = connection.execute(select(table).where(table.c.record == record)).mappings().one()
    corrections = read_corrections(connection)
    source = _source(connection, "load", record)
    parts = _parts(connection, load)
    owners = sorted({(part["block"], part["code"]) for part in parts}, key=lambda owner: str(owner[1]))
    vineyard = _vineyard(connection, load, owners)
    state = "in force" if load["struck_at"] is None else "struck"
    if record in corrections.superseded:
        state = "superseded"
    newest = journal.newest(connection)
    return TicketTrail(
        source=source,
        issuer=load["issuer"],
        number=load["number"],
        season=load["season"],
        date=load["date"].isoformat(),
        basis=load["basis"],
        mass_unit=load["mass_unit"],
        masses={name: load[f"{name}_milli"] / 1000 for name in PRINTED if load[f"{name}_milli"] is not None},
        bins=load["bins"],
        must={name: load[column] for name, column in MUST.items() if load[column] is not None},
        refused_reason=load["refused_reason"] or "",
        note=load["note"] or "",
        state=state,
        supersedes=corrections.supersedes.get(record, ""),
        superseded_by=corrections.superseded.get(record, ""),
        vineyard=vineyard.get("name") or "",
        place=vineyard.get("place") or "",
        geographical_indication=vineyard.get("geographical_indication") or "",
        keep_years=vineyard.get("keep_years"),
        grower=_party(vineyard, "grower"),
        consignee=_consignee(connection, load["consignee"]),
        parts=tuple(_part(connection, load, part, alone=len(parts) == 1) for part in parts),
        corrections=_corrections(corrections, record, parts),
        balances=tuple(
            balance for number, code in owners for balance in balances_of(connection, code, number, [load["season"]])
        ),
        seal="" if newest is None else newest.hash,
        entries=0 if newest is None else newest.number,
        as_of="" if newest is None else newest.at,
    )


def _source(connection: Connection, kind: str, record: int) -> Source:
    return sources_of(connection, kind, keys_of(connection, KINDS[kind], [record]))[record]


def _corrections(corrections: Corrections, record: int, parts: list[RowMapping]) -> tuple[Correction, ...]:
    """Give what changed a ticket and its parts, the tickets before it included."""
    records = {record, *(part["record"] for part in parts)}
    while True:
        chain = {
            step.record for step in corrections.after(0, records) if step.action == "superseded" and step.kind == "load"
        }
        if chain <= records:
            return corrections.after(0, records)
        records |= chain


def _parts(connection: Connection, load: RowMapping) -> list[RowMapping]:
    """Read the parts of a load; of one that was struck those that were struck with it."""
    part, block = TABLES["load_part"], TABLES["block"]
    query = (
        select(part, block.c.code, block.c.name.label("block_name"), block.c.field_blend, block.c.vineyard)
        .join(block, block.c.record == part.c.block)
        .where(part.c.load == load["record"])
        .where(part.c.struck_at.is_(None) if load["struck_at"] is None else part.c.struck_at == load["struck_at"])
        .order_by(block.c.code, part.c.pick)
    )
    return list(connection.execute(query).mappings())


def _vineyard(connection: Connection, load: RowMapping, owners: list[tuple[int, str]]) -> dict[str, Any]:
    """Give the vineyard that a load names, else the one whose blocks its parts name, else the book's only one."""
    vineyard, block = TABLES["vineyard"], TABLES["block"]
    query = select(vineyard).where(vineyard.c.struck_at.is_(None))
    if load["vineyard"] is not None:
        query = select(vineyard).where(vineyard.c.record == load["vineyard"])
    elif owners:
        query = query.join(block, block.c.vineyard == vineyard.c.record).where(block.c.record == owners[0][0])
    rows = connection.execute(query.limit(2)).mappings().all()
    return dict(rows[0]) if len(rows) == 1 else {}


def _party(row: dict[str, Any], name: str) -> Party:
    return Party(row.get(name) or "", row.get("address") or "", row.get("register_numbers") or "")


def _consignee(connection: Connection, record: int | None) -> Party:
    table = TABLES["consignee"]
    row = connection.execute(select(table).where(table.c.record == record)).mappings().first()
    return _party({} if row is None else dict(row), "name")


def _part(connection: Connection, load: RowMapping, part: RowMapping, *, alone: bool) -> PartTold:
    mass = UNITS_OF_DIMENSION["mass"]
    kg = None
    if part["mass_milli"] is not None:
        kg = float(part["mass_milli"] * mass[part["mass_unit"]] / 1000)
    elif alone:
        kg = float(load["net_milli"] * mass[load["mass_unit"]] / 1000)
    planting = _in_force(connection, "planting", part["block"], load["season"])
    said: dict[str, Any] = {} if planting is None else dict(planting)
    return PartTold(
        block=part["code"],
        block_name=part["block_name"] or "",
        pick=part["pick"],
        mass_kg=kg,
        split=part["split"],
        picked=part["picked"],
        purpose=part["purpose"],
        said_certified=part["certification"] or "",
        cultivar=said.get("cultivar") or "",
        clone=said.get("clone") or "",
        rootstock=said.get("rootstock") or "",
        year_planted=said.get("year_planted"),
        field_blend=part["field_blend"] or "",
        rows_of_block=_rows_of_block(connection, part["block"], load["season"]),
        certificates=_certificates(connection, part["block"], load),
        source=_source(connection, "load_part", part["record"]),
        planting=None if planting is None else _source(connection, "planting", planting["record"]),
    )


def _in_force(connection: Connection, kind: str, block: int, season: int) -> RowMapping | None:
    """Give the fact of a block that holds in a season: the latest that began by then and has not ended."""
    table = TABLES[kind]
    query = (
        select(table)
        .where(table.c.block == block, table.c.from_season <= season, table.c.struck_at.is_(None))
        .where(or_(table.c.to_season.is_(None), table.c.to_season >= season))
        .order_by(table.c.from_season.desc())
        .limit(1)
    )
    return connection.execute(query).mappings().first()


def _rows_of_block(connection: Connection, block: int, season: int) -> tuple[str, ...]:
    """Give the rows of a block in a season in words, by the layout that began last by then."""
    table = TABLES["row"]
    query = (
        select(table.c.from_season, table.c.first_row, table.c.last_row, table.c.positions)
        .where(table.c.block == block, table.c.from_season <= season, table.c.struck_at.is_(None))
        .order_by(table.c.from_season.desc(), table.c.first_row)
    )
    rows = connection.execute(query).all()
    told = []
    for since, first, last, positions in rows:
        if since != rows[0][0]:
            break
        many = last is not None and last > first
        told.append(
            f"rows {first} to {last}, {positions} positions each" if many else f"row {first}, {positions} positions"
        )
    return tuple(told)


def _certificates(connection: Connection, block: int, load: RowMapping) -> tuple[Certificate, ...]:
    """Give the standing of a block under each scheme on the day of weighing."""
    table = TABLES["certification"]
    day = load["date"]
    query = (
        select(table)
        .where(table.c.block == block, table.c.struck_at.is_(None))
        .where(and_(table.c.valid_from <= day, or_(table.c.valid_to.is_(None), table.c.valid_to >= day)))
        .order_by(table.c.scheme, table.c.valid_from)
    )
    return tuple(
        Certificate(
            row["scheme"],
            row["status"],
            row["certificate"] or "",
            row["valid_from"].isoformat(),
            "" if row["valid_to"] is None else row["valid_to"].isoformat(),
            _source(connection, "certification", row["record"]),
        )
        for row in connection.execute(query).mappings()
    )
