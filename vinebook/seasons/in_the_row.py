"""Reads what goes into the row on paper: the vines of a sheet, and the order that a card carries."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.errors import ReportError
from vinebook.records.drawn import kept_draws
from vinebook.records.tables import TABLES
from vinebook.seasons.history import block_number
from vinebook.seasons.layout import rows_of_block
from vinebook.seasons.places import live
from vinebook.seasons.row_model import CHECKED_VINES, Order, VineToCount, usual_tolerance

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from vinebook.records.drawn import KeptDraw
    from vinebook.seasons.model import BlockHistory


def vines_of(connection: Connection, draw: KeptDraw) -> tuple[tuple[VineToCount, ...], str]:
    """Give the vines of a draw with their panels, and the end that they are numbered from.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    draw : a kept draw.

    Returns
    -------
    The vines in walking order, and the end in words; "" where it is not recorded or differs from row to row.
    """
    rows = {row.number: row for row in rows_of_block(connection, block_number(connection, draw.block), draw.season)}
    vines = []
    for one in draw.vines:
        row = rows.get(one.row)
        size = draw.panel_size or (row.vines_per_panel if row else None)
        panel, place = (None, None) if not size else ((one.vine - 1) // size + 1, (one.vine - 1) % size + 1)
        vines.append(VineToCount(one.number, one.row, one.vine, one.panel or panel, place, one.part))
    ends = {rows[number].numbered_from if number in rows else "" for number in {one.row for one in draw.vines}}
    return tuple(vines), ends.pop() if len(ends) == 1 else ""


def order_of(connection: Connection, history: BlockHistory, season: int) -> Order:
    """Give the decision on nodes of a block and season.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    history : the block's history, of the same snapshot.
    season : season that the nodes are for.

    Raises
    ------
    ReportError : nothing is decided, or no number.
    """
    code = history.code
    c = TABLES["decision"].c
    statement = (
        select(TABLES["decision"])
        .where(
            live(TABLES["decision"]),
            c.block == block_number(connection, code),
            c.season == season,
            c.decides == "nodes_to_keep",
        )
        .order_by(c.number.desc())
        .limit(1)
    )
    found = connection.execute(statement).mappings().first()
    if found is None:
        raise ReportError(
            f"nothing is decided on the nodes of {code} for {season}, so there is no order for a crew",
            f"`vinebook nodes {code} --season {season}` says what the record knows; then `vinebook decide {code} "
            f"--season {season} --decides nodes_to_keep --value N --words … --reason …`",
        )
    key = f"{code}/{season}/{found['number']}"
    value = found["value"]
    if value is None or round(value) < 1:
        raise ReportError(
            f"decision {key} names no number of nodes",
            f"`vinebook decide --supersedes {key} --value N --words … --reason …` names one",
        )
    visit = next((visit for visit in history.visits if visit.season == season), None)
    ordered = visit.nodes_to_keep if visit is not None else None
    tolerance = visit.tolerance if visit is not None else None
    checked, draw_key = _checked(connection, code, season)
    return Order(
        key,
        round(value),
        usual_tolerance(value) if tolerance is None else tolerance,
        tolerance is None,
        found["words"],
        found["reason"],
        found["decided_by"],
        found["decided_on"],
        None if ordered is None or ordered == value else ordered,
        checked,
        draw_key,
    )


def blocks_with_orders(connection: Connection, season: int) -> tuple[str, ...]:
    """Give the codes of the blocks whose nodes are decided for a season.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    season : harvest year.
    """
    c, block = TABLES["decision"].c, TABLES["block"].c
    statement = (
        select(block.code)
        .join(TABLES["decision"], c.block == block.record)
        .where(live(TABLES["decision"]), c.season == season, c.decides == "nodes_to_keep")
        .distinct()
        .order_by(block.code)
    )
    return tuple(connection.scalars(statement))


def _checked(connection: Connection, code: str, season: int) -> tuple[tuple[VineToCount, ...], str]:
    """Give the vines of the latest draw for nodes that fits the check line."""
    for draw in reversed(kept_draws(connection, code, season)):
        if draw.figure == "nodes_per_vine" and len(draw.vines) <= CHECKED_VINES:
            return vines_of(connection, draw)[0], draw.key
    return (), ""
