"""What a statement tells the winery: its loads and picks of a season, what they came from, and nothing of anybody else.

What may not be told is never gathered: other consignees' loads and estimates, and, unless they were asked for, the
block's yield and balance.
"""

from __future__ import annotations

import dataclasses
import re
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, or_, select

from vinebook.errors import ReportError
from vinebook.records.keys import join_key
from vinebook.records.tables import TABLES
from vinebook.seasons.places import live
from vinebook.seasons.statement_loads import loads_of_no_block, shares_by_block
from vinebook.seasons.statement_model import SHOWS, BlockStatement, ConsigneeFacts, Statement

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from sqlalchemy import Connection

    from vinebook.seasons.model import BlockHistory
    from vinebook.seasons.statement_model import Shows

_NAMES_TICKETS = re.compile(r"(is not split|not yet given to blocks): .*", re.DOTALL)
"""Where the note of a figure begins to name tickets, be they of whomever."""


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
        connection.scalar(select(func.max(load.c.season)).where(live(load), load.c.consignee == consignee)),
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
    found = connection.execute(select(estimate.c.season, estimate.c.block, estimate.c.given_to).where(live(estimate)))
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
        .where(live(part), live(load), load.c.consignee == consignee, load.c.season == season)
    )
    told = [number for given_for, number in _estimates_given(connection, name) if given_for == season]
    found = connection.execute(
        select(block.c.code)
        .where(live(block), or_(block.c.record.in_(took), block.c.record.in_(told)))
        .order_by(block.c.code)
    )
    codes = tuple(join_key([code]) for (code,) in found)
    if not codes and connection.scalar(
        select(func.count()).where(live(load), load.c.consignee == consignee, load.c.season == season)
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
    shares, unsplit = shares_by_block(connection, consignee, season)
    unsplit += loads_of_no_block(connection, consignee, season, {told.vineyard.name for told in histories})
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
            record=told.record,
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
    others = connection.scalars(select(table.c.name).where(live(table), table.c.record != consignee)).all()
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


def _closes(connection: Connection, season: int) -> dict[str, dt.date]:
    close, block = TABLES["harvest_close"], TABLES["block"]
    found = connection.execute(
        select(block.c.code, close.c.finished_on)
        .join(block, block.c.record == close.c.block)
        .where(live(close), close.c.season == season)
    )
    return {row.code: row.finished_on for row in found}
