"""Rules of `check` over samples and the vines in them; those of the canopy stand in a module of their own."""

from __future__ import annotations

import itertools
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from sqlalchemy import and_, case, cast, func, or_, select

from vinebook.audit.check_rule import COMMON_PRACTICE, Hit, Rule, years
from vinebook.kinds import KINDS
from vinebook.records.tables import TABLES
from vinebook.records.types import Whole
from vinebook.seasons.places import live
from vinebook.seasons.sufficing import LEAST

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.audit.check_rule import Scope

NODES_PER_SPUR = (1, 6)
NODES_PER_CANE = (3, 25)
BEARERS = (
    ("spurs", "nodes_on_spurs", NODES_PER_SPUR),
    ("canes", "nodes_on_canes", NODES_PER_CANE),
    ("renewal_spurs", "nodes_on_renewal_spurs", NODES_PER_SPUR),
)
"""Count of a bearer, the nodes kept on it, and the usual nodes on one."""
COUNT_NODES_PERCENT = 10
LEAST_PAIRS = 5
APART_PERCENT = 25
SAME_SEASONS = 3
USED_FOR = {
    "pruned_vine": "nodes kept and prunings",
    "shoot_tally": "budbreak and shoots",
    "node_tally": "fruitfulness by node position",
    "cluster_tally": "clusters per vine",
    "cluster_lot": "cluster weight",
    "vine_harvest": "yield per vine",
    "leaf_area": "leaf area to fruit",
    "bearer": "spur spacing",
}
"""Kinds whose rows are vines or lots, and what a sample of them is used for."""


def _sampled(kind: str) -> tuple[Any, Any]:
    return TABLES[kind], TABLES["sample"]


def bearers_without_nodes(scope: Scope) -> Iterator[Hit]:
    """Find vines with bearers and no nodes on them, or nodes on bearers that they do not have."""
    vine, sample = _sampled("pruned_vine")
    wrong = [
        or_(and_(vine.c[bearer] > 0, vine.c[nodes] == 0), and_(vine.c[bearer] == 0, vine.c[nodes] > 0))
        for bearer, nodes, _ in BEARERS
    ]
    for record, block, season, *counts in _pruned_vines(scope, or_(*wrong), vine, sample):
        for (bearer, _, _), kept, nodes in zip(BEARERS, counts[::2], counts[1::2], strict=True):
            if kept is not None and nodes is not None and (kept > 0) != (nodes > 0):
                words = f"{_words(bearer)} {kept}, count nodes on them {nodes}"
                yield Hit("pruned_vine", record, words, (block,), (season,))


def nodes_per_bearer(scope: Scope) -> Iterator[Hit]:
    """Find vines with unusually few or many nodes on a spur or cane."""
    vine, sample = _sampled("pruned_vine")
    unusual = [
        and_(
            vine.c[bearer] > 0,
            vine.c[nodes] > 0,
            or_(vine.c[nodes] < low * vine.c[bearer], vine.c[nodes] > high * vine.c[bearer]),
        )
        for bearer, nodes, (low, high) in BEARERS
    ]
    for record, block, season, *counts in _pruned_vines(scope, or_(*unusual), vine, sample):
        for (bearer, _, (low, high)), kept, nodes in zip(BEARERS, counts[::2], counts[1::2], strict=True):
            if kept and nodes and not low * kept <= nodes <= high * kept:
                words = f"{_words(bearer)} {kept}, count nodes on them {nodes}: {nodes / kept:.3g} on each"
                yield Hit("pruned_vine", record, words, (block,), (season,))


def _pruned_vines(scope: Scope, condition: Any, vine: Any, sample: Any) -> Iterator[Any]:  # noqa: ANN401 - SQL
    counts = [vine.c[name] for bearer, nodes, _ in BEARERS for name in (bearer, nodes)]
    statement = (
        select(vine.c.record, sample.c.block, sample.c.season, *counts)
        .join(sample, sample.c.record == vine.c.sample)
        .where(live(vine), live(sample), condition)
        .order_by(vine.c.record)
    )
    return scope.rows(scope.only(statement, sample.c.block))


def _words(name: str) -> str:
    return name.replace("_", " ")


def count_and_blind(scope: Scope) -> Iterator[Hit]:
    """Find shoot counts whose count and blind nodes are not the nodes kept at pruning."""
    paired = set()
    for block, season, record, vines, counted, kept in _paired_nodes(scope):
        paired.add((block, season))
        if kept and 100 * abs(counted - kept) > COUNT_NODES_PERCENT * kept:
            words = (
                f"count + blind nodes are {counted:,} on {vines} vines on which {kept:,} nodes were kept: "
                f"{100 * (counted - kept) / kept:+.0f} %"
            )
            yield Hit("sample", record, words, (block,), (season,))
    kept_by = {(block, season): (vines, nodes) for block, season, _, vines, nodes in _mean_nodes(scope, "pruned_vine")}
    for block, season, record, vines, counted in _mean_nodes(scope, "shoot_tally"):
        if (block, season) in paired or (block, season) not in kept_by:
            continue
        kept_vines, nodes = kept_by[block, season]
        if min(vines, kept_vines) < LEAST_PAIRS or not nodes:
            continue
        mean, kept_mean = counted / vines, nodes / kept_vines
        if 100 * abs(mean - kept_mean) > APART_PERCENT * kept_mean:
            words = (
                f"count + blind nodes are {mean:.1f} a vine, nodes kept on other vines {kept_mean:.1f}: "
                f"{100 * (mean - kept_mean) / kept_mean:+.0f} %"
            )
            yield Hit("sample", record, words, (block,), (season,))


def _nodes_of(kind: str) -> Any:  # noqa: ANN401 - a SQL expression
    table = TABLES[kind]
    if kind == "shoot_tally":
        return table.c.count_shoots + table.c.blind_nodes
    names = [nodes for _, nodes, _ in BEARERS]
    has = or_(*(table.c[name].is_not(None) for name in names))
    return case(
        (has, sum((func.coalesce(table.c[name], 0) for name in names[1:]), func.coalesce(table.c[names[0]], 0)))
    )


def _paired_nodes(scope: Scope) -> Iterator[Any]:
    """Give block, season, sample, vines, nodes counted and nodes kept where enough vines stand in both samples."""
    shoot, vine, pruned = TABLES["shoot_tally"], TABLES["pruned_vine"], TABLES["sample"].alias("pruned")
    sample = TABLES["sample"]
    counted, kept = _nodes_of("shoot_tally"), _nodes_of("pruned_vine")
    statement = (
        select(
            sample.c.block,
            sample.c.season,
            func.min(sample.c.record),
            func.count(),
            cast(func.sum(counted), Whole),
            cast(func.sum(kept), Whole),
        )
        .select_from(sample)
        .join(pruned, and_(pruned.c.block == sample.c.block, pruned.c.season == sample.c.season))
        .join(shoot, shoot.c.sample == sample.c.record)
        .join(
            vine,
            and_(vine.c.sample == pruned.c.record, vine.c.row == shoot.c.row, vine.c.vine == shoot.c.vine, live(vine)),
        )
        .where(
            live(sample),
            live(pruned),
            live(shoot),
            sample.c.counts == "shoot_tally",
            sample.c.thinning == "before",
            pruned.c.counts == "pruned_vine",
            shoot.c.state == "bearing",
            vine.c.state == "bearing",
            counted.is_not(None),
            kept.is_not(None),
        )
        .group_by(sample.c.block, sample.c.season)
        .having(func.count() >= LEAST_PAIRS)
    )
    return scope.rows(scope.only(statement, sample.c.block))


def _mean_nodes(scope: Scope, kind: str) -> list[Any]:
    """Give block, season, sample, vines and nodes of a kind, samples picked by hand left out."""
    table, sample = _sampled(kind)
    nodes = _nodes_of(kind)
    statement = (
        select(sample.c.block, sample.c.season, func.min(sample.c.record), func.count(), cast(func.sum(nodes), Whole))
        .join(table, table.c.sample == sample.c.record)
        .where(
            live(sample),
            live(table),
            sample.c.counts == kind,
            sample.c.thinning == "before",
            sample.c.chosen != "hand_picked",
            table.c.state == "bearing",
            nodes.is_not(None),
        )
        .group_by(sample.c.block, sample.c.season)
    )
    return list(scope.rows(scope.only(statement, sample.c.block)))


def _counted_rows(kind: str, *columns: Any) -> Any:  # noqa: ANN401 - SQL expressions
    """Give a selection of the rows of a kind that count towards its samples: live, of bearing vines."""
    table = TABLES[kind]
    statement = select(*columns).where(live(table))
    return statement.where(table.c.state == "bearing") if "state" in table.c else statement


def _units_of(kind: str) -> Any:  # noqa: ANN401 - a SQL selection
    """Give each sample of a kind with its vines or lots."""
    c = TABLES[kind].c
    if KINDS[kind].key[-1] in ("vine", "lot"):
        # Each row is one, so that nothing needs to be told apart.
        return _counted_rows(kind, c.sample, func.count().label("units")).group_by(c.sample)
    each = _counted_rows(kind, c.sample, c.row, func.count(c.vine.distinct()).label("vines"))
    rows = each.group_by(c.sample, c.row).subquery()
    return select(rows.c.sample, func.sum(rows.c.vines).label("units")).group_by(rows.c.sample)


def _panels_of(kind: str) -> Any:  # noqa: ANN401 - a SQL selection
    """Give each sample of a kind that was counted by panels with their number."""
    table, sample = _sampled(kind)
    number = (table.c.vine - 1) // sample.c.panel_size
    each = _counted_rows(kind, table.c.sample, table.c.row, func.count(number.distinct()).label("panels"))
    rows = (
        each.join(sample, sample.c.record == table.c.sample)
        .where(sample.c.chosen == "panels")
        .group_by(table.c.sample, table.c.row)
        .subquery()
    )
    return select(rows.c.sample, func.sum(rows.c.panels).label("panels")).group_by(rows.c.sample)


def small_samples(scope: Scope) -> Iterator[Hit]:
    """Find samples with fewer vines, panels or lots than their intervals need."""
    sample = TABLES["sample"]
    for kind, used_for in USED_FOR.items():
        units = _units_of(kind).subquery()
        panels = None if kind == "cluster_lot" else _panels_of(kind).subquery()
        counted = (
            units.c.units
            if panels is None
            else case((sample.c.chosen == "panels", panels.c.panels), else_=units.c.units)
        )
        drawn = cast(func.sum(counted), Whole)
        statement = (
            select(
                sample.c.block,
                sample.c.season,
                sample.c.thinning,
                func.min(sample.c.record),
                func.max(sample.c.chosen),
                drawn,
            )
            .join(units, units.c.sample == sample.c.record)
            .where(live(sample), sample.c.chosen != "hand_picked", sample.c.counts == kind)
            .group_by(sample.c.block, sample.c.season, sample.c.thinning)
            .having(drawn < LEAST["mean"].even)
        )
        if panels is not None:
            statement = statement.outerjoin(panels, panels.c.sample == sample.c.record)
        small: dict[tuple[int, str], list[tuple[int, int, int]]] = defaultdict(list)
        for block, season, _, record, chosen, many in scope.rows(scope.only(statement, sample.c.block)):
            unit = "lot" if kind == "cluster_lot" else "panel" if chosen == "panels" else "vine"
            small[block, unit].append((season, record, many))
        for (block, unit), samples in small.items():
            fewest, most = (choose(many for *_, many in samples) for choose in (min, max))
            many = str(most) if fewest == most else f"{fewest}–{most}"
            words = f"{kind}: {many} {unit}{'' if most == 1 else 's'}, used for {used_for}"
            yield Hit("sample", max(samples)[1], words, (block,), tuple(sorted({season for season, *_ in samples})))


def hand_picked(scope: Scope) -> Iterator[Hit]:
    """Find samples whose vines were picked by hand."""
    c = TABLES["sample"].c
    statement = (
        select(c.record, c.block, c.season, c.counts, c.date)
        .where(live(TABLES["sample"]), c.chosen == "hand_picked")
        .order_by(c.record)
    )
    for record, block, season, counts, date in scope.rows(scope.only(statement, c.block)):
        yield Hit("sample", record, f"{counts} of {date}: vines were picked by hand", (block,), (season,))


def same_vines(scope: Scope) -> Iterator[Hit]:
    """Find blocks whose samples of a kind held the same vines in several seasons in a row."""
    for kind in ("pruned_vine", "shoot_tally", "cluster_tally", "vine_harvest"):
        table, sample = _sampled(kind)
        row, vine = table.c.row, table.c.vine
        # Five sums that agree stand for the same set of vines; to hold the sets themselves would not stay flat.
        sums = [cast(func.sum(term), Whole) for term in (row, vine, row * vine, row * row, vine * vine)]
        statement = (
            select(sample.c.block, sample.c.season, func.max(sample.c.record), func.count(), *sums)
            .join(table, table.c.sample == sample.c.record)
            .where(live(sample), live(table), sample.c.counts == kind, sample.c.thinning == "before")
            .group_by(sample.c.block, sample.c.season)
            .order_by(sample.c.block, sample.c.season)
        )
        rows = scope.rows(scope.only(statement, sample.c.block))
        for (block, *_), found in itertools.groupby(rows, lambda row: (row[0], *row[3:])):
            run = list(found)
            if len(run) >= SAME_SEASONS:
                seasons = tuple(row[1] for row in run)
                words = f"{kind}: the same {run[-1][3]} vines in {years(seasons)}"
                yield Hit("sample", run[-1][2], words, (block,), seasons)


SAMPLE_RULES = (
    Rule(
        "bearers_without_nodes",
        "fault",
        "Pruned vines with spurs or canes but no count nodes on them, or with nodes on bearers that they do not have.",
        "One of the two counts is wrong, and nodes per vine with it.",
        "",
        "",
        bearers_without_nodes,
    ),
    Rule(
        "nodes_per_bearer",
        "doubt",
        "Pruned vines with unusually few or many count nodes on a spur or cane.",
        "Often basal buds were counted, a spur was written for a cane, or the bearers were counted short.",
        f"{NODES_PER_SPUR[0]}–{NODES_PER_SPUR[1]} nodes on a spur, {NODES_PER_CANE[0]}–{NODES_PER_CANE[1]} on a cane",
        COMMON_PRACTICE,
        nodes_per_bearer,
    ),
    Rule(
        "count_and_blind",
        "doubt",
        "Shoot counts before thinning whose count and blind nodes do not make the nodes kept at pruning.",
        "Every count node kept either gave a shoot or is blind; where they differ, budbreak is off by as much.",
        f"{COUNT_NODES_PERCENT} % over {LEAST_PAIRS} or more vines that stand in both counts; "
        f"{APART_PERCENT} % between the means where other vines were counted",
        COMMON_PRACTICE,
        count_and_blind,
    ),
    Rule(
        "small_sample",
        "doubt",
        "Samples with fewer vines, panels or lots than the intervals worked out from them need.",
        "The interval of so few is narrower than it should be; the figure looks surer than it is.",
        f"{LEAST['mean'].even} units, all parts of the block together, where they differ as vines of a block do",
        "our own coverage study, `vinebook guide coverage`",
        small_samples,
    ),
    Rule(
        "hand_picked",
        "doubt",
        "Samples whose vines were picked by hand.",
        "People pick what looks typical; such a sample has no interval, nor has a figure that rests on it.",
        "",
        "",
        hand_picked,
    ),
    Rule(
        "same_vines",
        "information",
        "Samples of a kind that held the same vines in several seasons in a row.",
        "Fixed vines show change well, and say no more of the block than when they were first drawn.",
        f"{SAME_SEASONS} seasons in a row",
        COMMON_PRACTICE,
        same_vines,
    ),
)
