"""What a statement tells the winery: its loads and picks of a season, what they came from, and nothing of anybody else.

What may not be told is never gathered: other consignees' loads and estimates, and, unless they were asked for, the
block's yield and balance.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal

from sqlalchemy import ColumnElement, and_, func, or_, select

from vinebook.errors import ReportError
from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.keys import join_key
from vinebook.records.tables import ENTRY, TABLES

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from sqlalchemy import Connection, RowMapping

    from vinebook.seasons.model import (
        BlockHistory,
        CertificationFacts,
        EstimateFacts,
        Figure,
        PassFacts,
        PlantingFacts,
        TrainingFacts,
        VineyardFacts,
    )

Shows = Literal["yield", "balance"]
SHOWS: dict[Shows, tuple[str, ...]] = {
    "yield": ("crop", "yield_per_vine", "yield_per_ha", "yield_per_m"),
    "balance": ("prunings_per_vine", "prunings_per_m", "cane_weight", "yield_to_prunings", "nodes_per_vine"),
}
"""What of a block is told only when it is asked for, and the figures that tell it."""
MILLI = 1000
_NAMES_TICKETS = re.compile(r"(is not split|not yet given to blocks): .*", re.DOTALL)
"""Where the note of a figure begins to name tickets, be they of whomever."""


@dataclass(frozen=True, slots=True)
class ConsigneeFacts:
    """Who takes the fruit."""

    name: str
    address: str
    register_numbers: str


@dataclass(frozen=True, slots=True)
class LoadShare:
    """A block's share of a load that the consignee took.

    Attributes
    ----------
    date, issuer, number : of the ticket.
    pick : of the block in this season.
    gross, tare, net : as printed, in `unit`; gross and tare None where the ticket has none.
    picked_kg, refused_kg, deducted_kg : of the share; what was refused and deducted is shared in proportion to mass.
    split : "whole", "weighed", "bins" or "by_eye".
    picked_by, purpose, certification : as the share says.
    soluble_solids_brix, ph, titratable_acidity_g_per_l : of the load's must.
    refused_reason : why fruit was refused.
    corrects : number of the ticket that this one supersedes, with the reason; "" without one.
    """

    date: dt.date
    issuer: str
    number: str
    pick: int
    gross: float | None
    tare: float | None
    net: float
    unit: str
    picked_kg: float
    refused_kg: float
    deducted_kg: float
    split: str
    picked_by: str
    purpose: str
    certification: str
    soluble_solids_brix: float | None
    ph: float | None
    titratable_acidity_g_per_l: float | None
    refused_reason: str
    corrects: str

    @property
    def accepted_kg(self) -> float:
        """Mass that was accepted."""
        return self.picked_kg - self.refused_kg - self.deducted_kg


@dataclass(frozen=True, slots=True)
class UnsplitLoad:
    """A load that holds several blocks and does not say how much of each, or that names no block at all."""

    date: dt.date
    issuer: str
    number: str
    net: float
    unit: str
    blocks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BlockStatement:
    """One block in a statement.

    Attributes
    ----------
    closed_on : last day of its harvest, None while it goes on.
    figures : only those that were asked for, of the season.
    """

    code: str
    name: str
    vineyard: VineyardFacts
    plantings: tuple[PlantingFacts, ...]
    training: TrainingFacts | None
    surveyed_area_ha: float | None
    field_blend: str
    certifications: tuple[CertificationFacts, ...]
    passes: tuple[PassFacts, ...]
    estimates: tuple[EstimateFacts, ...]
    loads: tuple[LoadShare, ...]
    closed_on: dt.date | None
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Statement:
    """All that a statement tells, from one snapshot of the book.

    Attributes
    ----------
    share_percent : share of the crop that is promised to the consignee, None where none was stated.
    unsplit : loads to the consignee that are not given to blocks yet.
    shows : what was asked for beyond the usual.
    seal : newest hash of the journal at the snapshot; `entries` its number, `as_of` its UTC time.
    """

    consignee: ConsigneeFacts
    season: int
    share_percent: float | None
    blocks: tuple[BlockStatement, ...]
    unsplit: tuple[UnsplitLoad, ...]
    shows: tuple[Shows, ...]
    seal: str
    entries: int
    as_of: str


def consignee_facts(connection: Connection, record: int) -> ConsigneeFacts:
    """Give who a consignee is, by its permanent number."""
    table = TABLES["consignee"]
    row = connection.execute(select(table).where(table.c.record == record)).mappings().one()
    return ConsigneeFacts(row["name"], row["address"] or "", row["register_numbers"] or "")


def latest_season_of(connection: Connection, consignee: int, name: str) -> int:
    """Give the latest season in which a consignee took fruit or was given an estimate.

    Raises
    ------
    ReportError : there is none.
    """
    load = TABLES["load"]
    found = [
        connection.scalar(select(func.max(load.c.season)).where(_live(load), load.c.consignee == consignee)),
        *(season for season, _ in _estimates_given(connection, name)),
    ]
    seasons = [season for season in found if season is not None]
    if not seasons:
        raise ReportError(
            f"nothing went to {name}, and no estimate was given to it",
            "name the consignee on its loads, or load a crop_estimate given to it",
        )
    return int(max(seasons))


def _estimates_given(connection: Connection, name: str) -> list[tuple[int, int]]:
    """Give season and block of each estimate that was given to a consignee, whatever the letters' case.

    The names are compared here: a database's own lower case may know plain letters only.
    """
    estimate = TABLES["crop_estimate"]
    found = connection.execute(select(estimate.c.season, estimate.c.block, estimate.c.given_to).where(_live(estimate)))
    return [(row.season, row.block) for row in found if row.given_to.casefold() == name.casefold()]


def blocks_of(connection: Connection, consignee: int, name: str, season: int) -> tuple[str, ...]:
    """Give the keys of blocks of whose fruit a consignee took a share or was given an estimate in a season.

    Raises
    ------
    ReportError : there is none.
    """
    block, part, load = (TABLES[kind] for kind in ("block", "load_part", "load"))
    took = (
        select(part.c.block)
        .join(load, load.c.record == part.c.load)
        .where(_live(part), _live(load), load.c.consignee == consignee, load.c.season == season)
    )
    told = [number for given_for, number in _estimates_given(connection, name) if given_for == season]
    found = connection.execute(
        select(block.c.code)
        .where(_live(block), or_(block.c.record.in_(took), block.c.record.in_(told)))
        .order_by(block.c.code)
    )
    codes = tuple(join_key([code]) for (code,) in found)
    if not codes and connection.scalar(
        select(func.count()).where(_live(load), load.c.consignee == consignee, load.c.season == season)
    ):
        raise ReportError(
            f"the loads of {season} to {name} name no block yet", "give each block its share: `vinebook form load_part`"
        )
    if not codes:
        raise ReportError(
            f"nothing of {season} went to {name}, and no estimate of it was given to it",
            "name another --season, or load what is missing",
        )
    return codes


def statement_of(
    connection: Connection,
    consignee: int,
    season: int,
    histories: Sequence[BlockHistory],
    *,
    shows: Sequence[Shows] = (),
    share_percent: float | None = None,
) -> Statement:
    """Give what a statement tells.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    consignee : permanent number of the consignee.
    season : harvest year.
    histories : of the blocks that it tells of, from the same snapshot.
    shows : what is told beyond the usual.
    share_percent : share of the crop that is promised to the consignee.
    """
    facts = consignee_facts(connection, consignee)
    shares, unsplit = _shares(connection, consignee, season)
    unsplit += _of_no_block(connection, consignee, season, {told.vineyard.name for told in histories})
    unsplit.sort(key=lambda one: (one.date, one.issuer, one.number))
    wanted = {figure for show in shows for figure in SHOWS[show]}
    closes = _closes(connection, season)
    codes = {history.code for history in histories}
    blocks = tuple(
        BlockStatement(
            code=told.code,
            name=told.name,
            vineyard=told.vineyard,
            plantings=tuple(
                one
                for one in told.plantings
                if one.from_season <= season and (one.to_season is None or season <= one.to_season)
            ),
            training=next((one for one in reversed(told.trainings) if one.from_season <= season), None),
            surveyed_area_ha=told.surveyed_area_ha,
            field_blend=told.field_blend,
            certifications=told.certifications,
            passes=tuple(one for one in told.passes if one.season == season),
            estimates=tuple(
                one
                for one in told.estimates
                if one.season == season and one.given_to.casefold() == facts.name.casefold()
            ),
            loads=tuple(shares.get(told.code, ())),
            closed_on=closes.get(told.code),
            figures=tuple(
                dataclasses.replace(one, note=_NAMES_TICKETS.sub(r"\1", one.note))
                for one in told.figures
                if one.season == season and one.figure in wanted
            ),
        )
        for told in histories
    )
    return Statement(
        consignee=facts,
        season=season,
        share_percent=share_percent,
        blocks=blocks,
        unsplit=tuple(one for one in unsplit if not one.blocks or codes & set(one.blocks)),
        shows=tuple(shows),
        seal=histories[0].seal,
        entries=histories[0].entries,
        as_of=histories[0].as_of,
    )


def words_of_others(connection: Connection, consignee: int, statement: Statement) -> tuple[str, ...]:
    """Give what a person wrote into the rows of a statement that names another consignee, as warnings.

    Parameters
    ----------
    connection : the snapshot that the statement comes from.
    consignee : permanent number of its consignee.
    statement : what it tells.
    """
    table = TABLES["consignee"]
    others = connection.scalars(select(table.c.name).where(_live(table), table.c.record != consignee)).all()
    texts: dict[str, None] = {}
    for block in statement.blocks:
        for load in block.loads:
            texts |= dict.fromkeys((load.corrects, load.refused_reason, load.certification))
        texts |= dict.fromkeys(one.method for one in block.estimates)
        texts |= dict.fromkeys(f"{one.side}; {one.extent}" for one in block.passes)
        texts |= dict.fromkeys((block.name, block.field_blend))
    return tuple(
        f"{text!r} names {other}: look whether {statement.consignee.name} may read it"
        for text in texts
        for other in others
        if re.search(
            rf"(?<!\w){re.escape(other.casefold())}(?!\w)",
            text.casefold().replace(statement.consignee.name.casefold(), ""),
        )
    )


def rows_told(statement: Statement) -> list[tuple[str, str]]:
    """Give the rows of a statement as CSV files by name: its loads and the estimates given, as far as it tells them.

    Parameters
    ----------
    statement : what the statement tells.
    """
    import csv
    import io

    def page(rows: list[dict[str, Any]]) -> str:
        text = io.StringIO()
        writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows({key: "" if value is None else value for key, value in row.items()} for row in rows)
        return text.getvalue()

    loads = [
        {"block": block.code, **dataclasses.asdict(load), "accepted_kg": load.accepted_kg}
        for block in statement.blocks
        for load in block.loads
    ]
    estimates = [
        {"block": block.code, **dataclasses.asdict(one)} for block in statement.blocks for one in block.estimates
    ]
    codes = {block.code for block in statement.blocks}
    # Blocks that this statement does not tell of are counted, not named.
    unsplit = [
        {
            **dataclasses.asdict(load),
            "blocks": "; ".join(code for code in load.blocks if code in codes),
            "blocks_in_it": len(load.blocks),
        }
        for load in statement.unsplit
    ]
    tables = (("loads", loads), ("loads_without_a_share", unsplit), ("crop_estimates", estimates))
    return [(name, page(rows)) for name, rows in tables if rows]


def _live(table: Any) -> ColumnElement[bool]:  # noqa: ANN401 - a table
    live: ColumnElement[bool] = table.c.struck_at.is_(None)
    return live


def _shares(
    connection: Connection, consignee: int, season: int
) -> tuple[dict[str, list[LoadShare]], list[UnsplitLoad]]:
    """Give the consignee's shares by block code, in the order of date and ticket, and its loads that are not split."""
    load, part, block = TABLES["load"], TABLES["load_part"], TABLES["block"]
    statement = (
        select(load, part, block.c.code)
        .join(part, and_(part.c.load == load.c.record, _live(part)))
        .join(block, block.c.record == part.c.block)
        .where(_live(load), load.c.consignee == consignee, load.c.season == season)
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


def _of_no_block(connection: Connection, consignee: int, season: int, vineyards: set[str]) -> list[UnsplitLoad]:
    """Give the consignee's loads that name no block yet, but for those of other vineyards than these."""
    load, part, vineyard = TABLES["load"], TABLES["load_part"], TABLES["vineyard"]
    found = connection.execute(
        select(load.c.date, load.c.issuer, load.c.number, load.c.net_milli, load.c.mass_unit)
        .join(vineyard, vineyard.c.record == load.c.vineyard, isouter=True)
        .where(
            _live(load),
            load.c.consignee == consignee,
            load.c.season == season,
            or_(load.c.vineyard.is_(None), vineyard.c.name.in_(vineyards)),
            ~select(part.c.record).where(part.c.load == load.c.record, _live(part)).exists(),
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


def _closes(connection: Connection, season: int) -> dict[str, dt.date]:
    close, block = TABLES["harvest_close"], TABLES["block"]
    found = connection.execute(
        select(block.c.code, close.c.finished_on)
        .join(block, block.c.record == close.c.block)
        .where(_live(close), close.c.season == season)
    )
    return {row.code: row.finished_on for row in found}
