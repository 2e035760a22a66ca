"""Rules of `check` over the canopy and what is cut open: spurs along their arms, probes, buds."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from sqlalchemy import Double, cast, func, or_, select

from vinebook.audit.check_rule import COMMON_PRACTICE, Hit, Rule
from vinebook.records.tables import TABLES
from vinebook.records.types import Whole
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.audit.check_rule import Scope

SPACING_CM = (10.0, 15.0)
SPACING_IN_INCHES = "4–6 in"
"""As the trade says it in US units."""
TAPE_CM = 0.5
"""What a tape along a crooked arm may be off by, on average of its gaps."""
LEAST_PROBES = 50
LEAST_TRANSECTS = 2
LEAST_BUDS = 50


def _sampled(kind: str) -> tuple[Any, Any]:
    return TABLES[kind], TABLES["sample"]


def spur_spacing(scope: Scope) -> Iterator[Hit]:
    """Find samples with arms whose spurs stand closer or wider on average than the band."""
    table, sample = _sampled("bearer")
    places = func.count(table.c.distance_m.distinct())
    cm = 100 * (func.max(table.c.distance_m) - func.min(table.c.distance_m)) / cast(places - 1, Double)
    statement = (
        select(
            table.c.sample, sample.c.block, sample.c.season, table.c.row, table.c.vine, table.c.arm,
            func.min(table.c.record), cm,
        )
        .join(sample, sample.c.record == table.c.sample)
        .where(live(table), live(sample), table.c.bearer == "spur", table.c.arm > 0, table.c.distance_m.is_not(None))
        .group_by(table.c.sample, sample.c.block, sample.c.season, table.c.row, table.c.vine, table.c.arm)
        .having(places > 1)
        .order_by(table.c.sample, table.c.row, table.c.vine, table.c.arm)
    )  # fmt: skip
    bands = _spacing_bands(scope)
    by_sample: dict[tuple[int, int, int], list[Any]] = defaultdict(list)
    for of, block, season, *arm in scope.rows(scope.only(statement, sample.c.block)):
        by_sample[of, block, season].append(arm)
    for (_, block, season), arms in by_sample.items():
        low, high, whose = _spacing_band(scope, bands, block, season)
        outside = [
            (max(low - arm[4], arm[4] - high), arm) for arm in arms if not low - TAPE_CM <= arm[4] <= high + TAPE_CM
        ]
        if not outside:
            continue
        row, vine, arm_number, record, mean = max(outside, key=lambda each: each[0])[1]
        verb = "lies" if len(outside) == 1 else "lie"
        words = (
            f"{len(outside)} of {len(arms)} arms {verb} outside {_span(scope, low, high)} ({whose}); "
            f"farthest: row {row} vine {vine} arm {arm_number}, {scope.shown(mean, unit='cm')} between spurs"
        )
        yield Hit("bearer", record, words, (block,), (season,))


def _spacing_bands(scope: Scope) -> dict[tuple[str, int], list[tuple[int, float, float]]]:
    c = TABLES["target_band"].c
    statement = (
        select(c.block, c.vineyard, c.from_season, c.low, c.high)
        .where(live(TABLES["target_band"]), c.figure == "spur_spacing")
        .order_by(c.from_season)
    )
    found: dict[tuple[str, int], list[tuple[int, float, float]]] = defaultdict(list)
    for block, vineyard, season, low, high in scope.rows(statement):
        owner = ("vineyard", vineyard) if block is None else ("block", block)
        found[owner].append((season, 0.0 if low is None else low, float("inf") if high is None else high))
    return found


def _spacing_band(
    scope: Scope, bands: dict[tuple[str, int], list[tuple[int, float, float]]], block: int, season: int
) -> tuple[float, float, str]:
    for owner in (("block", block), ("vineyard", scope.places[block][2])):
        holding = [band for band in bands.get(owner, ()) if band[0] <= season]
        if holding:
            return holding[-1][1], holding[-1][2], f"band of the {owner[0]}"
    return *SPACING_CM, "common practice"


def _span(scope: Scope, low: float, high: float) -> str:
    if (low, high) == SPACING_CM and scope.units == "us":
        return SPACING_IN_INCHES
    if low <= 0:
        return f"{scope.shown(high, unit='cm')} or less"
    return f"{scope.shown(low, unit='cm')} or more" if high == float("inf") else scope.shown(low, high, unit="cm")


def few_probes(scope: Scope) -> Iterator[Hit]:
    """Find canopies probed along one transect, or with few probes."""
    table, sample = _sampled("canopy_probe")
    each = (
        select(table.c.sample, func.count(table.c.transect.distinct()).label("transects"), func.count().label("probes"))
        .where(live(table))
        .group_by(table.c.sample)
        .subquery()
    )
    transects, probes = (cast(func.sum(column), Whole) for column in (each.c.transects, each.c.probes))
    statement = (
        select(sample.c.block, sample.c.season, sample.c.date, func.min(sample.c.record), transects, probes)
        .join(each, each.c.sample == sample.c.record)
        .where(live(sample))
        .group_by(sample.c.block, sample.c.season, sample.c.date)
        .having(or_(transects < LEAST_TRANSECTS, probes < LEAST_PROBES))
        .order_by(sample.c.block, sample.c.season, sample.c.date)
    )
    for block, season, date, record, lines, many in scope.rows(scope.only(statement, sample.c.block)):
        words = f"{many} probe{'' if many == 1 else 's'} of {date} along {lines} transect{'' if lines == 1 else 's'}"
        if lines < LEAST_TRANSECTS:
            words += ": one transect gives no interval"
        yield Hit("sample", record, words, (block,), (season,))


def few_buds(scope: Scope) -> Iterator[Hit]:
    """Find samples with few buds cut open."""
    table, sample = _sampled("bud_sample")
    buds = cast(func.sum(table.c.buds), Whole)
    statement = (
        select(sample.c.block, sample.c.season, func.min(sample.c.record), func.count(), buds)
        .join(table, table.c.sample == sample.c.record)
        .where(live(sample), live(table))
        .group_by(sample.c.block, sample.c.season)
        .having(buds < LEAST_BUDS)
        .order_by(sample.c.block, sample.c.season)
    )
    for block, season, record, canes, many in scope.rows(scope.only(statement, sample.c.block)):
        words = f"{many} bud{'' if many == 1 else 's'} cut on {canes} cane{'' if canes == 1 else 's'}"
        yield Hit("sample", record, words, (block,), (season,))


CANOPY_RULES = (
    Rule(
        "spur_spacing",
        "doubt",
        "Arms on which spurs stand closer or wider on average than the block's band, else than common practice.",
        "Closer makes the cluster zone too dense, wider leaves bare cordon that bears nothing.",
        f"{SPACING_CM[0]:g}–{SPACING_CM[1]:g} cm, or the own band; the tape may be off by {TAPE_CM:g} cm",
        COMMON_PRACTICE,
        spur_spacing,
    ),
    Rule(
        "few_probes",
        "doubt",
        "Canopies probed along one transect alone, or with few probes.",
        "Gaps and leaf layers of so few probes may be chance; the transect is the unit, and one has no interval.",
        f"{LEAST_PROBES} probes, {LEAST_TRANSECTS} transects",
        "WineSkills, Plumpton College, Assessing canopy quality: 50 probes; two transects: the least for a variance",
        few_probes,
    ),
    Rule(
        "few_buds",
        "doubt",
        "Samples with few buds cut open.",
        "The share of dead buds decides how many nodes are kept; of so few buds it may be far off.",
        f"{LEAST_BUDS} buds, all canes of the block and season together",
        "Cornell, NNY grape update, 28 February 2014: 50 to 100 buds of each part of a vineyard",
        few_buds,
    ),
)
