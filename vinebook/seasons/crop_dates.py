"""The dates of a season that an estimate of the crop looks at: bloom, fruit set, thinning, events, weighings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import func, select

from vinebook.records.tables import TABLES
from vinebook.seasons.crop_model import Disturbance
from vinebook.seasons.places import live

if TYPE_CHECKING:
    import datetime as dt

    from sqlalchemy import Connection

FULL_BLOOM = {("BBCH", "65"), ("E-L", "23")}
FRUIT_SET = {"BBCH": 71, "E-L": 27}
THINNINGS = ("cluster_thinning", "shoot_thinning")


def disturbances(connection: Connection, index_of: dict[int, int]) -> dict[tuple[int, int], list[Disturbance]]:
    """Give thinning and events by block index and season, oldest first."""
    work, event = TABLES["canopy_work"], TABLES["event"]
    passes = select(work.c.block, work.c.season, work.c.started_on, work.c.work).where(
        live(work), work.c.work.in_(THINNINGS)
    )
    events = select(event.c.block, event.c.season, event.c.date, event.c.what, event.c.share_hit_percent).where(
        live(event)
    )
    found: dict[tuple[int, int], list[Disturbance]] = {}
    for block, season, *told in [*connection.execute(passes), *connection.execute(events)]:
        if block in index_of:
            found.setdefault((index_of[block], season), []).append(Disturbance(*told))
    return {key: sorted(each, key=lambda one: (one.on, one.what)) for key, each in found.items()}


def stages_read(
    connection: Connection, index_of: dict[int, int]
) -> tuple[dict[tuple[int, int], dt.date], dict[tuple[int, int], dt.date]]:
    """Give the first dates of full bloom and of fruit set or a later stage, by block and season."""
    c = TABLES["growth_stage"].c
    rows = connection.execute(
        select(c.block, c.season, c.date, c.scale, c.code).where(live(TABLES["growth_stage"])).order_by(c.date)
    )
    bloom: dict[tuple[int, int], dt.date] = {}
    fruit_set: dict[tuple[int, int], dt.date] = {}
    for block, season, on, scale, code in rows:
        key = (index_of.get(block, -1), season)
        if (scale, code) in FULL_BLOOM:
            bloom.setdefault(key, on)
        if scale in FRUIT_SET and code.isdigit() and int(code) >= FRUIT_SET[scale]:
            fruit_set.setdefault(key, on)
    return bloom, fruit_set


def bloom_days(connection: Connection, index_of: dict[int, int]) -> dict[tuple[int, int, str, dt.date], int]:
    """Give the days after bloom that lots were written down with, by block, season, stage and date."""
    lot, sample = TABLES["cluster_lot"], TABLES["sample"]
    keys = (sample.c.block, sample.c.season, lot.c.stage, sample.c.date)
    rows = connection.execute(
        select(*keys, func.max(lot.c.days_after_bloom))
        .join(sample, sample.c.record == lot.c.sample)
        .where(live(lot), live(sample), lot.c.days_after_bloom.is_not(None))
        .group_by(*keys)
    )
    return {(index_of.get(of, -1), season, stage, on): days for of, season, stage, on, days in rows}
