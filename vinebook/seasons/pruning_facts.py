"""What a block's choice of nodes rests on beside its figures: wood weighed vine by vine, earlier orders, thinning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.tables import TABLES
from vinebook.seasons.figures import EPOCH
from vinebook.seasons.places import live, read_blocks, read_censuses

if TYPE_CHECKING:
    import datetime as dt

    from sqlalchemy import Connection, RowMapping

KG_PER_MG = float(UNITS_OF_DIMENSION["mass"]["mg"])
HAND_PICKED = "hand_picked"
PANELS = "panels"


@dataclass(frozen=True, slots=True)
class WeighedVine:
    """A bearing vine whose complete wood was weighed at a pruning visit.

    Attributes
    ----------
    record : permanent number of its row in the book.
    unit : what was drawn: the vine itself, or the panel that it stands in.
    part : part of the block, "all" for the whole.
    """

    record: int
    row: int
    vine: int
    unit: tuple[int, int, int]
    part: str
    prunings_kg: float


@dataclass(frozen=True, slots=True)
class WoodWeighed:
    """The wood weighed at the visit that sets a season.

    Attributes
    ----------
    vines : drawn vines, or those picked by hand where none was drawn.
    by_hand : whether these vines were picked by hand.
    in_panels : whether panels were drawn.
    positions : vine positions of the planting, None where none is recorded.
    bearing_of_part : bearing vines by part of the block, by the latest census by parts; empty without one.
    incomplete : further vines weighed after mechanical pre-pruning; they tell nothing of the whole wood.
    last_on : date of the latest sample.
    """

    vines: tuple[WeighedVine, ...] = ()
    by_hand: bool = False
    in_panels: bool = False
    positions: int | None = None
    bearing_of_part: tuple[tuple[str, int], ...] = ()
    incomplete: int = 0
    last_on: dt.date | None = None


@dataclass(frozen=True, slots=True)
class OrderedPruning:
    """What a pruning visit ordered; None where it did not say."""

    season: int
    pruned: str
    nodes_per_spur: float | None = None
    canes_per_vine: float | None = None
    nodes_per_cane: float | None = None
    renewal_spurs: float | None = None


@dataclass(frozen=True, slots=True)
class PruningFacts:
    """What a choice of nodes for a block and season rests on beside the block's figures.

    Attributes
    ----------
    block, season : whose; the season that the nodes are for.
    wood : wood weighed at the visit that sets the season.
    ordered : the order of that visit, else of the latest one before it.
    closed_on : day on which that season's harvest was closed, None while it is open.
    last_closed : latest season whose harvest was closed, None where none was.
    thinned_in : seasons before in which shoots were thinned.
    buds_cut, primaries_dead, buds_cut_on : buds cut before that pruning, and the date of the latest sample.
    """

    block: str
    season: int
    wood: WoodWeighed = WoodWeighed()
    ordered: OrderedPruning | None = None
    closed_on: dt.date | None = None
    last_closed: int | None = None
    thinned_in: tuple[int, ...] = ()
    buds_cut: int = 0
    primaries_dead: int = 0
    buds_cut_on: dt.date | None = None


def pruning_facts(connection: Connection, block: int, code: str, season: int) -> PruningFacts:
    """Gather what a choice of nodes rests on beside the figures.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : permanent number of the block.
    code : its code.
    season : season that the nodes are for.
    """
    close, work = TABLES["harvest_close"], TABLES["canopy_work"]
    closed_on = connection.scalar(
        select(close.c.finished_on).where(live(close), close.c.block == block, close.c.season == season)
    )
    thinned = connection.scalars(
        select(work.c.season)
        .where(live(work), work.c.block == block, work.c.work == "shoot_thinning", work.c.season < season)
        .distinct()
    )
    cut, dead, cut_on = _buds(connection, block, season)
    return PruningFacts(
        code,
        season,
        _wood(connection, block, season),
        _ordered(connection, block, season),
        closed_on,
        connection.scalar(select(func.max(close.c.season)).where(live(close), close.c.block == block)),
        tuple(sorted(thinned)),
        cut,
        dead,
        cut_on,
    )


def _wood(connection: Connection, block: int, season: int) -> WoodWeighed:
    vine, sample = TABLES["pruned_vine"], TABLES["sample"]
    statement = (
        select(
            vine.c.record,
            vine.c.row,
            vine.c.vine,
            vine.c.wood,
            vine.c.prunings_mg,
            sample.c.record.label("sample"),
            sample.c.part,
            sample.c.chosen,
            sample.c.panel_size,
            sample.c.date,
        )
        .join(sample, sample.c.record == vine.c.sample)
        .where(
            live(vine),
            live(sample),
            sample.c.block == block,
            sample.c.season == season,
            vine.c.state == "bearing",
            vine.c.prunings_mg.is_not(None),
        )
        .order_by(vine.c.record)
    )
    rows = connection.execute(statement).mappings().all()
    complete = [row for row in rows if row["wood"] == "complete"]
    drawn = [row for row in complete if row["chosen"] != HAND_PICKED]
    used = drawn or complete
    return WoodWeighed(
        vines=tuple(_weighed(row) for row in used),
        by_hand=bool(used) and not drawn,
        in_panels=any(row["chosen"] == PANELS for row in used),
        positions=_positions(connection, block, season - 1),
        bearing_of_part=_parts(connection, block, max((row["date"] for row in used), default=None)),
        incomplete=len(rows) - len(complete),
        last_on=max((row["date"] for row in used), default=None),
    )


def _weighed(row: RowMapping) -> WeighedVine:
    place = (row["vine"] - 1) // row["panel_size"] if row["chosen"] == PANELS and row["panel_size"] else row["vine"]
    return WeighedVine(
        row["record"],
        row["row"],
        row["vine"],
        (row["sample"], row["row"], place),
        row["part"],
        row["prunings_mg"] * KG_PER_MG,
    )


def _positions(connection: Connection, block: int, season: int) -> int | None:
    """Give the positions of the planting on which the wood of a season grew."""
    planting = TABLES["planting"]
    statement = (
        select(planting.c.positions, planting.c.to_season)
        .where(live(planting), planting.c.block == block, planting.c.from_season <= season)
        .order_by(planting.c.from_season.desc())
        .limit(1)
    )
    found = connection.execute(statement).first()
    return None if found is None or (found[1] is not None and found[1] < season) else found[0]


def _parts(connection: Connection, block: int, on: dt.date | None) -> tuple[tuple[str, int], ...]:
    """Give the bearing vines of each part by the latest census by parts on or before a date."""
    if on is None:
        return ()
    censuses = read_censuses(connection, read_blocks(connection, [block]))
    taken = [at for at in censuses.parts if censuses.day[at] <= on.toordinal() - EPOCH]
    if not taken:
        return ()
    return tuple((part, bearing) for part, (bearing, _) in sorted(censuses.parts[max(taken)].items()))


def _ordered(connection: Connection, block: int, season: int) -> OrderedPruning | None:
    visit = TABLES["pruning_visit"]
    names = ("season", "pruned", "nodes_per_spur", "canes_per_vine", "nodes_per_cane", "renewal_spurs")
    statement = (
        select(*(visit.c[name] for name in names))
        .where(live(visit), visit.c.block == block, visit.c.season <= season)
        .order_by(visit.c.season.desc())
        .limit(1)
    )
    found = connection.execute(statement).mappings().first()
    return None if found is None else OrderedPruning(**found)


def _buds(connection: Connection, block: int, season: int) -> tuple[int, int, dt.date | None]:
    cane, sample = TABLES["bud_sample"], TABLES["sample"]
    statement = (
        select(cane.c.buds, cane.c.primaries_dead, sample.c.date)
        .join(sample, sample.c.record == cane.c.sample)
        .where(live(cane), live(sample), sample.c.block == block, sample.c.season == season)
    )
    rows = connection.execute(statement).fetchall()
    return sum(row[0] for row in rows), sum(row[1] for row in rows), max((row[2] for row in rows), default=None)
