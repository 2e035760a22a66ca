"""Rules of `check` over loads: tickets that do not add up, shares that are missing, estimates given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import Double, and_, case, cast, func, or_, select

from vinebook.audit.check_rule import COMMON_PRACTICE, Hit, Rule
from vinebook.quantities import plain_mass
from vinebook.records.tables import TABLES
from vinebook.records.types import Whole
from vinebook.seasons.harvest import KG_OF_MILLI
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.audit.check_rule import Scope

BINS_PERCENT = 1.0
PARTS_PER_MILLE = 1.0
BLANK = ("", "-", "?")
OPEN_DAYS = 90


def _loads(scope: Scope, *columns: Any, where: Any) -> Iterator[Any]:  # noqa: ANN401 - SQL
    load = TABLES["load"]
    statement = select(load.c.record, load.c.season, *columns).where(live(load), where).order_by(load.c.record)
    return scope.rows(scope.only_loads(statement, load.c.record))


def not_split(scope: Scope) -> Iterator[Hit]:
    """Find loads of several shares of which some have no mass."""
    load, part = TABLES["load"], TABLES["load_part"]
    empty = cast(func.sum(case((part.c.mass_milli.is_(None), 1), else_=0)), Whole)
    statement = (
        select(load.c.record, load.c.season, load.c.net_milli, load.c.mass_unit, func.count(), empty)
        .join(part, part.c.load == load.c.record)
        .where(live(load), live(part))
        .group_by(load.c.record, load.c.season, load.c.net_milli, load.c.mass_unit)
        .having(and_(func.count() > 1, empty > 0))
        .order_by(load.c.record)
    )
    for record, season, net, unit, parts, without in scope.rows(scope.only_loads(statement, load.c.record)):
        words = f"{without} of {parts} shares of {plain_mass(net / 1000)} {unit} have no mass"
        yield Hit("load", record, words, seasons=(season,))


def without_block(scope: Scope) -> Iterator[Hit]:
    """Find loads that no block has a share of."""
    if scope.blocks is not None:
        return
    load, part = TABLES["load"], TABLES["load_part"]
    bare = ~select(part.c.record).where(part.c.load == load.c.record, live(part)).exists()
    for record, season, net, unit in _loads(scope, load.c.net_milli, load.c.mass_unit, where=bare):
        yield Hit("load", record, f"{plain_mass(net / 1000)} {unit} are of no block", seasons=(season,))


def _kg(milli: Any, unit: Any) -> Any:  # noqa: ANN401 - SQL
    """Give a printed mass in kg, whatever its unit."""
    return cast(milli, Double) * case(*((unit == name, factor) for name, factor in KG_OF_MILLI.items()))


def parts_not_net(scope: Scope) -> Iterator[Hit]:
    """Find loads whose shares do not add up to net."""
    load, part = TABLES["load"], TABLES["load_part"]
    kg, net_kg = _kg(part.c.mass_milli, part.c.mass_unit), _kg(load.c.net_milli, load.c.mass_unit)
    held = func.sum(kg)
    statement = (
        select(load.c.record, load.c.season, load.c.net_milli, load.c.mass_unit, held)
        .join(part, part.c.load == load.c.record)
        .where(live(load), live(part))
        .group_by(load.c.record, load.c.season, load.c.net_milli, load.c.mass_unit)
        .having(
            and_(
                func.count() == func.count(part.c.mass_milli), func.abs(held - net_kg) > net_kg * PARTS_PER_MILLE / 1000
            )
        )
        .order_by(load.c.record)
    )
    for record, season, net, unit, held_kg in scope.rows(scope.only_loads(statement, load.c.record)):
        words = (
            f"the shares make {plain_mass(held_kg / KG_OF_MILLI[unit] / 1000)} {unit}, net is {plain_mass(net / 1000)}"
        )
        yield Hit("load", record, words, seasons=(season,))


def bins_not_net(scope: Scope) -> Iterator[Hit]:
    """Find loads whose bins times their mean mass are not net."""
    c = TABLES["load"].c
    told = cast(c.bins, Double) * c.bin_mass_milli
    off = and_(
        c.bins.is_not(None),
        c.bin_mass_milli > 0,
        func.abs(told - c.net_milli) > cast(c.net_milli, Double) * BINS_PERCENT / 100,
    )
    for record, season, bins, mass, net, unit in _loads(
        scope, c.bins, c.bin_mass_milli, c.net_milli, c.mass_unit, where=off
    ):
        each, made = plain_mass(mass / 1000), plain_mass(bins * mass / 1000)
        words = f"{bins} bins of {each} {unit} make {made}, net is {plain_mass(net / 1000)}"
        yield Hit("load", record, words, seasons=(season,))


def off_scale(scope: Scope) -> Iterator[Hit]:
    """Find loads whose printed masses are no multiples of the scale's interval."""
    c = TABLES["load"].c
    printed = (("gross", c.gross_milli), ("tare", c.tare_milli), ("net", c.net_milli))
    off = and_(c.scale_interval_milli > 0, or_(*(column % c.scale_interval_milli != 0 for _, column in printed)))
    # Net of bins is worked out, not read off the scale.
    where = and_(off, c.basis != "bins")
    for record, season, step, unit, *masses in _loads(
        scope, c.scale_interval_milli, c.mass_unit, *(column for _, column in printed), where=where
    ):
        wrong = [
            f"{name} {plain_mass(mass / 1000)}"
            for (name, _), mass in zip(printed, masses, strict=True)
            if mass is not None and mass % step
        ]
        words = f"{', '.join(wrong)} {unit}: no multiple of {plain_mass(step / 1000)}"
        yield Hit("load", record, words, seasons=(season,))


def refused_without_reason(scope: Scope) -> Iterator[Hit]:
    """Find loads with refused fruit and no reason."""
    c = TABLES["load"].c
    where = and_(c.refused_milli > 0, func.trim(func.coalesce(c.refused_reason, "")).in_(BLANK))
    for record, season, refused, unit in _loads(scope, c.refused_milli, c.mass_unit, where=where):
        yield Hit(
            "load",
            record,
            f"{plain_mass(refused / 1000)} {unit} were refused and no reason is given",
            seasons=(season,),
        )


def without_consignee(scope: Scope) -> Iterator[Hit]:
    """Find loads of which nobody knows who took them."""
    c = TABLES["load"].c
    where = and_(c.consignee.is_(None), c.refused_milli < c.net_milli)
    for record, season, date, net, unit in _loads(scope, c.date, c.net_milli, c.mass_unit, where=where):
        yield Hit(
            "load", record, f"{plain_mass(net / 1000)} {unit} of {date}: nobody is named who took it", seasons=(season,)
        )


def without_close(scope: Scope) -> Iterator[Hit]:
    """Find harvests with loads that are over and were not closed."""
    load, part = TABLES["load"], TABLES["load_part"]
    statement = (
        select(part.c.block, load.c.season, load.c.record, load.c.date)
        .join(load, load.c.record == part.c.load)
        .where(live(load), live(part))
    )
    last: dict[tuple[int, int], tuple[Any, int]] = {}
    newest: dict[int, int] = {}
    for block, season, record, date in scope.rows(scope.only(statement, part.c.block)):
        last[block, season] = max((date, record), last.get((block, season), (date, record)))
        newest[block] = max(season, newest.get(block, season))
    for block, season in scope.closes:
        newest[block] = max(season, newest.get(block, season))
    for (block, season), (date, record) in sorted(last.items()):
        if (block, season) in scope.closes:
            continue
        next_pruning = any(visit[0] > season for visit in scope.visits.get(block, ()))
        days = (scope.today - date).days
        if newest[block] > season or next_pruning or days > OPEN_DAYS:
            words = f"the last load of {season} is of {date}; that harvest is not closed"
            yield Hit("load", record, words, (block,), (season,))


def estimates_without_interval(scope: Scope) -> Iterator[Hit]:
    """Find estimates that were given without an interval."""
    c = TABLES["crop_estimate"].c
    statement = (
        select(c.record, c.block, c.season, c.date, c.given_to, c.estimate_milli, c.mass_unit)
        .where(live(TABLES["crop_estimate"]), c.low_milli.is_(None))
        .order_by(c.record)
    )
    for record, block, season, date, given_to, milli, unit in scope.rows(scope.only(statement, c.block)):
        words = f"{plain_mass(milli / 1000)} {unit} given to {given_to} on {date} without an interval"
        yield Hit("crop_estimate", record, words, (block,), (season,))


LOAD_RULES = (
    Rule(
        "load_not_split",
        "fault",
        "Loads that hold fruit of several blocks or picks where some share has no mass.",
        "Nobody knows which block bore the fruit; the crop of each stays partial and has no ratio.",
        "",
        "",
        not_split,
    ),
    Rule(
        "parts_not_net",
        "fault",
        "Loads whose shares do not add up to net.",
        "Fruit was weighed that no block bore, or is counted twice; crop and delivery no longer balance.",
        f"{PARTS_PER_MILLE:g} in 1,000 of net, so that a converted share may be rounded",
        COMMON_PRACTICE,
        parts_not_net,
    ),
    Rule(
        "load_without_block",
        "fault",
        "Loads that no block has a share of; not looked for where blocks are named.",
        "The fruit is in no block's crop.",
        "",
        "",
        without_block,
    ),
    Rule(
        "bins_not_net",
        "fault",
        "Loads whose bins times the mean mass of a bin are not net.",
        "Net is known by these two numbers alone; one of the three is wrong.",
        f"{BINS_PERCENT:g} % of net, so that the mean may be rounded",
        COMMON_PRACTICE,
        bins_not_net,
    ),
    Rule(
        "off_scale",
        "doubt",
        "Tickets with a gross, tare or net that is no multiple of the scale's interval.",
        "The scale cannot have printed that: a digit was misread, or the interval is another.",
        "any remainder; loads known by their bins are left out",
        "the scale interval on the ticket",
        off_scale,
    ),
    Rule(
        "refused_without_reason",
        "doubt",
        "Loads with refused fruit and no reason.",
        "A refusal that nobody can explain later cannot be argued, nor learned from.",
        "",
        "",
        refused_without_reason,
    ),
    Rule(
        "load_without_consignee",
        "doubt",
        "Loads that name nobody who took the fruit.",
        "Such fruit cannot be traced onward and is on no statement.",
        "loads refused as a whole are left out",
        "",
        without_consignee,
    ),
    Rule(
        "harvest_without_close",
        "doubt",
        "Harvests that have loads, are over, and were never closed.",
        "Until the close the crop is partial: no yield to prunings, no reading against a band.",
        f"a later pruning or harvest is recorded, or the last load is more than {OPEN_DAYS} days old",
        COMMON_PRACTICE,
        without_close,
    ),
    Rule(
        "estimate_without_interval",
        "doubt",
        "Crop estimates that were given to somebody without an interval.",
        "A bare number reads like a promise; the interval says how far the crop may lie from it.",
        "",
        "",
        estimates_without_interval,
    ),
)
