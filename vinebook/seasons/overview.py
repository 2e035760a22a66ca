"""All blocks of one season side by side, from one snapshot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, or_, select

from vinebook.errors import ReportError
from vinebook.records.tables import ENTRY, TABLES

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy import Connection

    from vinebook.seasons.model import Figure


@dataclass(frozen=True, slots=True)
class OverviewBlock:
    """One block in an overview; `figures` are those of the season, judged; `record` its permanent number."""

    code: str
    name: str
    vineyard: str
    units: str
    cultivar: str
    figures: tuple[Figure, ...]
    record: int = 0


@dataclass(frozen=True, slots=True)
class Overview:
    """All that an overview tells.

    Attributes
    ----------
    season : harvest year.
    blocks : by code.
    seal : newest hash of the journal at the snapshot; `entries` its number, `as_of` its UTC time.
    """

    season: int
    blocks: tuple[OverviewBlock, ...]
    seal: str
    entries: int
    as_of: str


def latest_closed_season(connection: Connection) -> int:
    """Give the latest season in which a harvest was closed.

    Raises
    ------
    ReportError : no harvest is closed.
    """
    close = TABLES["harvest_close"]
    season = connection.scalar(select(func.max(close.c.season)).where(close.c.struck_at.is_(None)))
    if season is None:
        raise ReportError("no harvest is closed in this book", "name a --season, or load a harvest_close")
    return int(season)


def blocks_in(connection: Connection, season: int, codes: tuple[str, ...] = ()) -> dict[int, str]:
    """Give number and code of the blocks that stand in a season, by code.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    season : harvest year.
    codes : only these, where any are named.

    Raises
    ------
    ReportError : there is none.
    """
    block = TABLES["block"]
    statement = (
        select(block.c.record, block.c.code)
        .where(
            block.c.struck_at.is_(None),
            block.c.from_season <= season,
            or_(block.c.to_season.is_(None), block.c.to_season >= season),
        )
        .order_by(block.c.code)
    )
    if codes:
        statement = statement.where(block.c.code.in_(codes))
    found = {row.record: row.code for row in connection.execute(statement)}
    missing = sorted(set(codes) - set(found.values()))
    if missing or not found:
        named = f"block {', '.join(missing)}" if missing else "no block"
        raise ReportError(
            f"{named} stands in {season}" if not missing else f"{named} does not stand in {season}",
            "`vinebook list block` shows from when to when each does",
        )
    return found


def overview_of(connection: Connection, season: int, blocks: dict[int, str], figures: Iterable[Figure]) -> Overview:
    """Give what an overview tells.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    season : harvest year.
    blocks : number and code of each block.
    figures : of these blocks and that season, judged.
    """
    by_block: dict[str, list[Figure]] = {code: [] for code in blocks.values()}
    for figure in figures:
        by_block[figure.block].append(figure)
    block, vineyard, planting = (TABLES[kind] for kind in ("block", "vineyard", "planting"))
    names = {
        row.code: row
        for row in connection.execute(
            select(block.c.code, block.c.name, vineyard.c.name.label("vineyard"), vineyard.c.units)
            .join(vineyard, vineyard.c.record == block.c.vineyard)
            .where(block.c.record.in_(list(blocks)))
        )
    }
    cultivars: dict[int, list[str]] = {}
    for row in connection.execute(
        select(planting.c.block, planting.c.cultivar)
        .where(
            planting.c.struck_at.is_(None),
            planting.c.block.in_(list(blocks)),
            planting.c.from_season <= season,
            or_(planting.c.to_season.is_(None), planting.c.to_season >= season),
        )
        .order_by(planting.c.record)
    ):
        cultivars.setdefault(row.block, []).append(row.cultivar)
    newest = connection.execute(
        select(ENTRY.c.number, ENTRY.c.at, ENTRY.c.hash).order_by(ENTRY.c.number.desc()).limit(1)
    ).one()
    return Overview(
        season=season,
        blocks=tuple(
            OverviewBlock(
                code=code,
                name=names[code].name or "",
                vineyard=names[code].vineyard,
                units=names[code].units,
                cultivar=", ".join(dict.fromkeys(cultivars.get(record, []))),
                figures=tuple(by_block[code]),
                record=record,
            )
            for record, code in blocks.items()
        ),
        seal=newest.hash,
        entries=newest.number,
        as_of=newest.at,
    )
