"""Rules of `check` over seasons: dates, pruning orders, wood, the block's own past and what does not close."""

from __future__ import annotations

from collections import defaultdict
from statistics import median
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select

from vinebook.audit.check_rule import COMMON_PRACTICE, Hit, Rule, years
from vinebook.kinds import KINDS
from vinebook.quantities import SOUTH
from vinebook.records.tables import TABLES
from vinebook.seasons.places import live
from vinebook.seasons.row_model import PASSES_PERCENT, usual_tolerance

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence

    from vinebook.audit.check_rule import Scope
    from vinebook.seasons.model import Figure

COMPONENT_PERCENT = 25
SCALED_MADS = 3
MAD_SCALE = 1.4826
"""Median absolute deviation × this estimates the standard deviation of a normal distribution."""
LEAST_SPREAD = 0.2
"""Share of the median that the spread of seasons is taken to have at least; two seasons alike are chance."""
LEAST_OTHERS = 4
UNWEIGHED_SEASONS = 2
MOST_TONNES = 60
"""Tonnes of a planted hectare beyond which a crop is hardly one of wine grapes."""
WINDOWS: dict[str, tuple[int, int]] = {
    "pruning_visit": (-1, 4),
    "pruned_vine": (-1, 4),
    "bud_sample": (-2, 4),
    "shoot_tally": (4, 8),
    "node_tally": (4, 8),
    "cluster_tally": (4, 10),
    "cluster_lot": (6, 11),
    "canopy_probe": (6, 10),
    "leaf_area": (5, 10),
    "canopy_work": (4, 10),
    "growth_stage": (2, 11),
    "maturity_sample": (7, 11),
    "vine_harvest": (7, 12),
    "load": (7, 12),
    "harvest_close": (7, 12),
}
"""First and last usual month in the north: 1 is January of the harvest year, 0 the December before. South: six less."""
MONTHS = ("December", "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November")  # fmt: skip
SOUTH_EARLIER = 6


def month_of_season(date: dt.date, season: int, hemisphere: str) -> int:
    """Give the month of a date counted from its season as in the north: 1 is January of the harvest year.

    Parameters
    ----------
    date : the date.
    season : harvest year.
    hemisphere : "north" or "south"; in the south every stage comes six months earlier.
    """
    return (date.year - season) * 12 + date.month + (SOUTH_EARLIER if hemisphere == SOUTH else 0)


def usual_months(kind: str, hemisphere: str) -> str:
    """Give the usual months of a kind in words."""
    first, last = (month - (SOUTH_EARLIER if hemisphere == SOUTH else 0) for month in WINDOWS[kind])
    return f"{MONTHS[first % 12]} to {MONTHS[last % 12]}"


def outside_window(scope: Scope) -> Iterator[Hit]:
    """Find dates outside the usual months of their kind."""
    for kind, (first, last) in WINDOWS.items():
        for record, block, season, date in _dated(scope, kind):
            hemisphere = scope.hemisphere(block)
            if not first <= month_of_season(date, season, hemisphere) <= last:
                words = (
                    f"{kind} of {date} for season {season}; usual in the {hemisphere}: {usual_months(kind, hemisphere)}"
                )
                # A load concerns all blocks of its parts.
                yield Hit(
                    "sample" if KINDS[kind].sampled else kind,
                    record,
                    words,
                    () if kind == "load" else (block,),
                    (season,),
                )


def _dated(scope: Scope, kind: str) -> Iterator[Any]:
    if kind == "load":
        load, part = TABLES["load"], TABLES["load_part"]
        # Fruit for late or frozen picking hangs as long as it is wanted to.
        statement = (
            select(load.c.record, func.min(part.c.block), load.c.season, load.c.date)
            .join(part, part.c.load == load.c.record)
            .where(live(load), live(part), part.c.purpose.not_in(("late", "frozen")))
            .group_by(load.c.record, load.c.season, load.c.date)
        )
        return scope.rows(scope.only_loads(statement, load.c.record))
    table = TABLES["sample" if KINDS[kind].sampled else kind]
    day = "date" if KINDS[kind].sampled else KINDS[kind].dated_by[0]
    statement = select(table.c.record, table.c.block, table.c.season, table.c[day]).where(live(table))
    if KINDS[kind].sampled:
        statement = statement.where(table.c.counts == kind)
    return scope.rows(scope.only(statement.order_by(table.c.record), table.c.block))


def nodes_against_order(scope: Scope) -> Iterator[Hit]:
    """Find prunings where the nodes kept are clearly not those ordered, else not those decided."""
    for block, orders in _orders(scope).items():
        kept = {figure.season: figure for figure in scope.figures.get((block, "nodes_per_vine"), ())}
        for season, (kind, record, ordered, tolerance, is_open) in sorted(orders.items()):
            figure = kept.get(season)
            if figure is None or figure.value is None:
                continue
            passes = tolerance if tolerance is not None else usual_tolerance(ordered)
            low, high = ordered - passes, ordered + passes
            ends = (
                (figure.value, figure.value) if figure.low is None or figure.high is None else (figure.low, figure.high)
            )
            if ends[1] < low or ends[0] > high:
                verb = "ordered" if kind == "pruning_visit" else "decided"
                words = f"{verb} {ordered:g} ± {passes:g} nodes a vine, kept {_interval(figure)}"
                words += f", n {figure.n}; the pruning is not finished: tell the crew" if is_open else ""
                yield Hit(kind, record, words, (block,), (season,))


def _orders(scope: Scope) -> dict[int, dict[int, tuple[str, int, float, float | None, bool]]]:
    """Give by block and season the row that says how many nodes, the number, what passes, and whether work goes on.

    A visit's order stands before a decision; a season whose harvest was closed is over, whatever the visit says.
    """
    found: dict[int, dict[int, tuple[str, int, float, float | None, bool]]] = defaultdict(dict)
    c = TABLES["decision"].c
    statement = (
        select(c.block, c.season, c.record, c.value)
        .where(live(TABLES["decision"]), c.decides == "nodes_to_keep", c.value.is_not(None))
        .order_by(c.block, c.season, c.number)
    )
    for block, season, record, value in scope.rows(scope.only(statement, c.block)):
        found[block][season] = ("decision", record, value, None, (block, season) not in scope.closes)
    v = TABLES["pruning_visit"].c
    unfinished = {
        (block, season)
        for block, season in scope.rows(
            scope.only(select(v.block, v.season).where(live(TABLES["pruning_visit"]), v.finished_on.is_(None)), v.block)
        )
    } - set(scope.closes)
    for block, visits in scope.visits.items():
        for season, record, _, ordered, tolerance in visits:
            is_open = (block, season) in unfinished
            if ordered is not None:
                found[block][season] = ("pruning_visit", record, ordered, tolerance, is_open)
            elif season in found[block]:
                kind, decision, value, _none, _open = found[block][season]
                found[block][season] = (kind, decision, value, tolerance, is_open)
    return found


def _interval(figure: Figure) -> str:
    if figure.low is None or figure.high is None:
        return f"{figure.value:.1f}"
    return f"{figure.value:.1f} ({figure.low:.1f}–{figure.high:.1f})"


def component_check(scope: Scope) -> Iterator[Hit]:
    """Find seasons whose crop worked out from counts is far from the crop weighed."""
    for (block, name), figures in scope.figures.items():
        if name != "component_check":
            continue
        for figure in figures:
            if figure.value is not None and abs(figure.value) > COMPONENT_PERCENT:
                kind, record = _harvest_row(scope, block, figure.season)
                words = f"shoots × clusters per shoot × cluster weight make {figure.value:+.0f} % against the crop"
                yield Hit(kind, record, words, (block,), (figure.season,))


def _harvest_row(scope: Scope, block: int, season: int) -> tuple[str, int]:
    close = scope.closes.get((block, season))
    return ("block", block) if close is None else ("harvest_close", close[0])


def far_from_past(scope: Scope) -> Iterator[Hit]:
    """Find seasons whose yield or prunings lie far from the block's other seasons."""
    for (block, name), figures in scope.figures.items():
        if name not in {"yield_per_vine", "prunings_per_vine"}:
            continue
        known = [figure for figure in figures if figure.status == "known" and figure.value is not None]
        values = [float(figure.value or 0.0) for figure in known]
        for at, figure in enumerate(known):
            others = values[:at] + values[at + 1 :]
            if len(others) < LEAST_OTHERS:
                break
            low, high = usual_span(others)
            if not low <= values[at] <= high:
                kind, record = _measured_row(scope, block, name, figure.season)
                words = (
                    f"{name.replace('_', ' ')} {scope.shown(values[at], unit='kg')}; the other {len(others)} seasons "
                    f"are usually {scope.shown(max(low, 0), high, unit='kg')}"
                )
                if event := scope.events.get((block, figure.season)):
                    words += f"; recorded of {figure.season}: {event}"
                yield Hit(kind, record, words, (block,), (figure.season,))


def crop_beyond_belief(scope: Scope) -> Iterator[Hit]:
    """Find seasons whose crop is more than a planted hectare bears; no other season is needed to see it."""
    for (block, name), figures in scope.figures.items():
        if name != "yield_per_ha":
            continue
        for figure in figures:
            if figure.value is not None and figure.value > MOST_TONNES:
                kind, record = _harvest_row(scope, block, figure.season)
                words = (
                    f"a crop of {scope.shown(figure.value, unit='t/ha')} of planted area; hardly any block bears more "
                    f"than {scope.shown(MOST_TONNES, unit='t/ha')}: look at its loads, their units, and its planting"
                )
                yield Hit(kind, record, words, (block,), (figure.season,))


def usual_span(others: Sequence[float]) -> tuple[float, float]:
    """Give the span within which a value is like the others: median ± 3 scaled MAD.

    Parameters
    ----------
    others : values of the other seasons, at least one; their spread is taken as `LEAST_SPREAD` of the median or more.
    """
    middle = median(others)
    spread = MAD_SCALE * median(abs(value - middle) for value in others)
    reach = SCALED_MADS * max(spread, LEAST_SPREAD * middle)
    return middle - reach, middle + reach


def _measured_row(scope: Scope, block: int, name: str, season: int) -> tuple[str, int]:
    kind, of_season = ("pruned_vine", season + 1) if name == "prunings_per_vine" else ("vine_harvest", season)
    if kind == "vine_harvest" and (block, season) in scope.closes:
        return _harvest_row(scope, block, season)
    table = TABLES["sample"]
    record = scope.connection.scalar(
        select(func.min(table.c.record)).where(
            live(table), table.c.block == block, table.c.season == of_season, table.c.counts == kind
        )
    )
    return ("block", block) if record is None else ("sample", int(record))


def wood_not_weighed(scope: Scope) -> Iterator[Hit]:
    """Find blocks that were pruned in several seasons in a row without weighing wood."""
    vine, sample = TABLES["pruned_vine"], TABLES["sample"]
    has_weights = (
        select(vine.c.record)
        .where(vine.c.sample == sample.c.record, live(vine), vine.c.prunings_mg.is_not(None))
        .exists()
    )
    statement = select(sample.c.block, sample.c.season).where(
        live(sample), sample.c.counts == "pruned_vine", has_weights
    )
    weighed = {(block, season) for block, season in scope.rows(scope.only(statement, sample.c.block))}
    cropping = {block for block, _ in scope.harvests}
    for block, visits in scope.visits.items():
        run: list[tuple[int, int]] = []
        for season, record, pruned, *_ in [*visits, (9999, 0, "minimal", None, None)]:
            # Wood of a season without a crop gives no ratio; in a book without harvests every visit counts.
            matters = block not in cropping or (block, season - 1) in scope.harvests
            is_bare = matters and pruned != "minimal" and (block, season) not in weighed
            if run and (not is_bare or season != run[-1][0] + 1):
                if len(run) >= UNWEIGHED_SEASONS:
                    seasons = tuple(year for year, _ in run)
                    words = f"no wood was weighed at the prunings that set {years(seasons)}"
                    yield Hit("pruning_visit", run[-1][1], words, (block,), seasons)
                run = []
            if is_bare:
                run.append((season, record))


def unknown_silences(scope: Scope, names: frozenset[str]) -> Iterator[Hit]:
    """Find silences of rules that there are not.

    Parameters
    ----------
    scope : the book.
    names : of all rules.
    """
    c = TABLES["silence"].c
    statement = select(c.record, c.block, c.rule).where(live(TABLES["silence"]), c.rule.not_in(sorted(names)))
    for record, block, rule in scope.rows(scope.only(statement, c.block)):
        yield Hit("silence", record, f"there is no rule {rule}", (block,))


SEASON_RULES = (
    Rule(
        "date_outside_window",
        "doubt",
        "Dates outside the usual months of their kind, north and south.",
        "A mistyped date puts the row into another season, and wood to the wrong crop.",
        "in the north: "
        + "; ".join(f"{kind} {usual_months(kind, 'north')}" for kind in WINDOWS)
        + "; in the south six months earlier; loads for late or frozen picking are left out",
        COMMON_PRACTICE,
        outside_window,
    ),
    Rule(
        "component_check",
        "doubt",
        "Seasons whose shoots, clusters per shoot and cluster weight do not make the crop.",
        "A count, the census or the crop is off, or clusters were thinned and not counted since.",
        f"{COMPONENT_PERCENT} % either way",
        "our default, no source",
        component_check,
    ),
    Rule(
        "far_from_past",
        "doubt",
        "Seasons whose yield or prunings per vine lie far from those of the block's other seasons.",
        "Often a unit, a decimal sign or a load of another block; if it is true, an event should say why.",
        f"outside median ± {SCALED_MADS} × {MAD_SCALE} × MAD of the other seasons, at least {LEAST_OTHERS} of them; "
        f"the spread is taken as {100 * LEAST_SPREAD:g} % of the median or more",
        "Leys et al., 2013, J. Experimental Social Psychology 49: 764-766 (from memory); least spread: our default",
        far_from_past,
    ),
    Rule(
        "crop_beyond_belief",
        "doubt",
        "Seasons whose crop is more than a planted hectare bears.",
        "A unit, a decimal sign, a load of another block, or too few vines in the planting; a short record has no past "
        "to show it.",
        f"above {MOST_TONNES} t/ha of planted area",
        "our default, no source",
        crop_beyond_belief,
    ),
    Rule(
        "nodes_against_order",
        "doubt",
        "Prunings where the nodes kept on sampled vines are clearly not those ordered, else not those decided.",
        "The crew prunes otherwise than was decided, or nodes are counted otherwise than they were ordered.",
        "the interval of nodes per vine, their mean where it has none, lies outside the order ± tolerance, "
        f"± {PASSES_PERCENT} % where none is given",
        COMMON_PRACTICE,
        nodes_against_order,
    ),
    Rule(
        "wood_not_weighed",
        "doubt",
        "Blocks pruned in several seasons in a row without weighing wood.",
        "Yield to prunings of these seasons is lost for good: the wood is gone.",
        f"{UNWEIGHED_SEASONS} seasons in a row; minimal pruning, and wood of a season without crop, are left out",
        COMMON_PRACTICE,
        wood_not_weighed,
    ),
)
