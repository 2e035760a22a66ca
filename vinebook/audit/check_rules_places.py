"""Rules of `check` over places: rows, plantings, vine censuses, bands and silences."""

from __future__ import annotations

import datetime as dt
import itertools
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select

from vinebook.advice.bands import band_sets
from vinebook.audit.check_rule import COMMON_PRACTICE, Hit, Rule, years
from vinebook.kinds import KINDS
from vinebook.records.nearest import one_of
from vinebook.records.tables import TABLES
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Table

    from vinebook.audit.check_rule import Scope

CENSUS_YEARS = 3
YOUNG_PERCENT = 5
LEAST_WORDS = 3
"""Signs that a source has at least."""
EMPTY_LOOKING = frozenset({"none", "n/a", "unknown", "not known", "source", "own", "xxx", "tbd", "???", "---"})
ON_VINES = tuple(name for name, kind in KINDS.items() if kind.sampled and "vine" in kind.key)

Layout = dict[int, dict[int, list[tuple[int, int, int]]]]
"""By block and first season: first row, last row, positions."""


def _layouts(scope: Scope) -> Layout:
    table = TABLES["row"]
    statement = select(
        table.c.block,
        table.c.from_season,
        table.c.first_row,
        func.coalesce(table.c.last_row, table.c.first_row),
        table.c.positions,
    ).where(live(table))
    found: Layout = defaultdict(lambda: defaultdict(list))
    for block, season, first, last, positions in scope.rows(scope.only(statement, table.c.block)):
        found[block][season].append((first, last, positions))
    return found


def _in_force(layouts: dict[int, list[tuple[int, int, int]]], season: int) -> list[tuple[int, int, int]]:
    first = max((first for first in layouts if first <= season), default=None)
    return [] if first is None else layouts[first]


def vines_not_in_rows(scope: Scope) -> Iterator[Hit]:
    """Find sampled vines whose row the block does not have, or that lie beyond the end of their row."""
    layouts = _layouts(scope)
    sample = TABLES["sample"]
    for kind in ON_VINES if layouts else ():
        table = TABLES[kind]
        statement = (
            select(
                sample.c.record,
                sample.c.block,
                sample.c.season,
                func.min(table.c.row),
                func.max(table.c.row),
                func.max(table.c.vine),
            )
            .join(table, table.c.sample == sample.c.record)
            .where(
                live(table), live(sample), sample.c.counts == kind, sample.c.block.in_(select(TABLES["row"].c.block))
            )
            .group_by(sample.c.record, sample.c.block, sample.c.season)
        )
        doubtful = [
            (of, block, season, rows)
            for of, block, season, *extent in scope.rows(scope.only(statement, sample.c.block))
            if (rows := _in_force(layouts.get(block, {}), season)) and not _surely_holds(rows, *extent)
        ]
        for of, block, season, rows in doubtful:
            for record, words in _outside(scope, table, of, rows):
                yield Hit(kind, record, words, (block,), (season,))


def _surely_holds(rows: list[tuple[int, int, int]], first_row: int, last_row: int, vine: int) -> bool:
    """Say whether every vine of a sample of this extent is in the rows, so that most samples need no second look."""
    lowest = min(rows)[0]
    highest = lowest - 1
    for first, last, _ in sorted(rows):
        if first > highest + 1:
            return False
        highest = max(highest, last)
    return lowest <= first_row and last_row <= highest and vine <= min(many for _, _, many in rows)


def _outside(scope: Scope, table: Table, sample: int, rows: list[tuple[int, int, int]]) -> Iterator[tuple[int, str]]:
    """Give the farthest vine of each row of a sample that is not in the rows: its record, and what is wrong."""
    c = table.c
    statement = select(c.row, c.vine, c.record).where(live(table), c.sample == sample)
    farthest: dict[int, tuple[int, int]] = {}
    for row, vine, record in scope.rows(statement.order_by(c.row, c.vine.desc(), c.record)):
        farthest.setdefault(row, (vine, record))
    for row, (vine, record) in farthest.items():
        positions = next((many for first, last, many in rows if first <= row <= last), None)
        if positions is None:
            yield record, f"row {row} is not among the rows of the block"
        elif vine > positions:
            yield record, f"vine {vine} of row {row}, which has {positions} positions"


def rows_against_planting(scope: Scope) -> Iterator[Hit]:
    """Find layouts of rows whose positions do not add up to those planted."""
    table = TABLES["row"]
    for block, layouts in _layouts(scope).items():
        for season, rows in layouts.items():
            planted = scope.positions(block, season)
            held = sum((last - first + 1) * positions for first, last, positions in rows)
            if planted is None or held == planted:
                continue
            record = scope.connection.scalar(
                select(func.min(table.c.record)).where(
                    live(table), table.c.block == block, table.c.from_season == season
                )
            )
            words = f"the rows from {season} have {held:,} positions, the planting has {planted:,}"
            yield Hit("row", int(record or 0), words, (block,), (season,))


def _whole_censuses(scope: Scope) -> Iterator[tuple[int, dt.date, int, int, int, int]]:
    """Give block, date, record, bearing, young and missing of every full census; parts of one date are added up."""
    c = TABLES["vine_census"].c
    statement = (
        select(c.block, c.date, c.part, c.record, c.bearing, c.young, c.missing)
        .where(live(TABLES["vine_census"]), c.row == 0, c.counted == "full")
        .order_by(c.block, c.date, c.record)
    )
    for (block, date), lines in itertools.groupby(scope.rows(scope.only(statement, c.block)), lambda row: row[:2]):
        held = list(lines)
        used = [line for line in held if line[2] == "all"] or held
        yield block, date, held[0][3], *(sum(line[at] for line in used) for at in (4, 5, 6))


def census_against_planting(scope: Scope) -> Iterator[Hit]:
    """Find full censuses whose places are not as many as the positions planted."""
    for block, date, record, bearing, young, missing in _whole_censuses(scope):
        seasons = {scope.season_of(block, date), scope.dormant_season_of(block, date)}
        planted = {many for season in seasons if (many := scope.positions(block, season)) is not None}
        places = bearing + young + missing
        if planted and places not in planted:
            words = (
                f"census of {date}: {bearing:,} + {young:,} + {missing:,} = {places:,} places, "
                f"planted are {' or '.join(f'{many:,}' for many in sorted(planted))}"
            )
            yield Hit("vine_census", record, words, (block,), (scope.season_of(block, date),))


def young_vines(scope: Scope) -> Iterator[Hit]:
    """Find censuses with many young vines that stood for a harvest."""
    by_block: dict[int, list[tuple[dt.date, int, int, int]]] = defaultdict(list)
    for block, date, record, bearing, young, missing in _whole_censuses(scope):
        by_block[block].append((date, record, young, bearing + young + missing))
    served: dict[tuple[int, tuple[dt.date, int, int, int]], list[int]] = defaultdict(list)
    for (block, season), day in scope.harvests.items():
        before = [census for census in by_block.get(block, ()) if census[0] <= day]
        if before and 100 * before[-1][2] > YOUNG_PERCENT * before[-1][3]:
            served[block, before[-1]].append(season)
    for (block, (date, record, young, places)), seasons in served.items():
        words = f"census of {date}: {young:,} of {places:,} places are young vines, {100 * young / places:.1f} %"
        yield Hit("vine_census", record, words, (block,), tuple(sorted(seasons)))


def _census_dates(scope: Scope) -> dict[int, list[tuple[dt.date, int]]]:
    table = TABLES["vine_census"]
    statement = (
        select(table.c.block, table.c.date, func.min(table.c.record))
        .where(live(table))
        .group_by(table.c.block, table.c.date)
        .order_by(table.c.block, table.c.date)
    )
    found: dict[int, list[tuple[dt.date, int]]] = defaultdict(list)
    for block, date, record in scope.rows(scope.only(statement, table.c.block)):
        found[block].append((date, record))
    return found


def _years_later(date: dt.date, count: int) -> dt.date:
    # 29 February has no anniversary in most years; the day after it does.
    if (date.month, date.day) == (2, 29):
        date += dt.timedelta(days=1)
    return date.replace(year=date.year + count)


def old_census(scope: Scope) -> Iterator[Hit]:
    """Find censuses that still stood for a harvest more than three years later."""
    censuses = _census_dates(scope)
    served: dict[tuple[int, int, dt.date], list[int]] = defaultdict(list)
    for (block, season), day in scope.harvests.items():
        before = [census for census in censuses.get(block, ()) if census[0] <= day]
        if before and _years_later(before[-1][0], CENSUS_YEARS) < day:
            served[block, before[-1][1], before[-1][0]].append(season)
    for (block, record, date), seasons in served.items():
        words = f"the census of {date} is the latest before the harvest of {years(seasons)}"
        yield Hit("vine_census", record, words, (block,), tuple(sorted(seasons)))


def harvest_without_census(scope: Scope) -> Iterator[Hit]:
    """Find harvests with no vine census before them."""
    censuses = _census_dates(scope)
    bare: dict[int, list[int]] = defaultdict(list)
    for (block, season), day in scope.harvests.items():
        if not any(date <= day for date, _ in censuses.get(block, ())):
            bare[block].append(season)
    for block, seasons in bare.items():
        has_later = "the first census was taken later" if censuses.get(block) else "no census is in the book"
        yield Hit("block", block, f"harvest of {years(seasons)}: {has_later}", (block,), tuple(sorted(seasons)))


def bands_without_source(scope: Scope) -> Iterator[Hit]:
    """Find own bands whose source says nothing."""
    c = TABLES["target_band"].c
    statement = select(c.record, c.block, c.vineyard, c.figure, c.from_season, c.source).where(
        live(TABLES["target_band"])
    )
    for record, block, vineyard, figure, season, source in scope.rows(statement):
        said = (source or "").strip()
        letters = "".join(sign for sign in said if sign.isalnum())
        if len(letters) < LEAST_WORDS or said.casefold() in EMPTY_LOOKING:
            words = f"the band for {figure} from {season} names as its source: {said or 'nothing'}"
            yield Hit("target_band", record, words, _blocks_of(scope, block, vineyard), (season,))


def unknown_band_sets(scope: Scope) -> Iterator[Hit]:
    """Find vineyards that chose a set of bands that there is none of."""
    c = TABLES["vineyard"].c
    statement = select(c.record, c.band_set).where(live(TABLES["vineyard"]), c.band_set.is_not(None))
    for record, chosen in scope.rows(statement):
        if chosen and chosen not in band_sets():
            words = f"no set of bands is called {chosen}; {one_of(chosen, band_sets())}"
            yield Hit("vineyard", record, words, _blocks_of(scope, None, record))


def _blocks_of(scope: Scope, block: int | None, vineyard: Any) -> tuple[int, ...]:  # noqa: ANN401 - a column
    if block is not None:
        return (block,)
    return tuple(number for number, (_, _, owner) in scope.places.items() if owner == vineyard)


PLACE_RULES = (
    Rule(
        "vine_not_in_rows",
        "fault",
        "Sampled vines in a row that the block does not have, or beyond the end of their row.",
        "The vine was written down wrongly, or the block's rows are; nobody can find it again.",
        "",
        "the block's own rows",
        vines_not_in_rows,
    ),
    Rule(
        "census_against_planting",
        "fault",
        "Full censuses whose bearing, young and missing vines do not add up to the positions planted.",
        "Area, vines per hectare and every figure per vine rest on these two numbers.",
        "no difference",
        "the block's own planting",
        census_against_planting,
    ),
    Rule(
        "unknown_band_set",
        "fault",
        "Vineyards that chose a set of bands that there is none of.",
        "Figures of such a vineyard cannot be judged, nor printed, until its band_set is amended.",
        "",
        "the sets that `vinebook guide bands` lists",
        unknown_band_sets,
    ),
    Rule(
        "rows_against_planting",
        "doubt",
        "Rows whose positions do not add up to the positions planted.",
        "A draw of vines goes by the rows; a row that is missing there is never sampled.",
        "no difference",
        "the block's own planting",
        rows_against_planting,
    ),
    Rule(
        "harvest_without_census",
        "doubt",
        "Harvests with no vine census on or before their first load.",
        "Without a census the crop cannot be divided by bearing vines, or is divided by those of a later year.",
        "",
        "",
        harvest_without_census,
    ),
    Rule(
        "old_census",
        "doubt",
        "Censuses that still stand for a harvest more than three years later.",
        "Vines die and are replanted; yield per bearing vine drifts with the census it is divided by.",
        f"{CENSUS_YEARS} years at the first load",
        COMMON_PRACTICE,
        old_census,
    ),
    Rule(
        "young_vines",
        "doubt",
        "Censuses in force at a harvest with more than one young vine in twenty places.",
        "Fruit of young vines is in the crop but not they among the bearing vines: yield per vine is too high.",
        f"{YOUNG_PERCENT} % of the places",
        COMMON_PRACTICE,
        young_vines,
    ),
    Rule(
        "band_without_source",
        "doubt",
        "Own target bands whose source says nothing.",
        "Nobody can tell later why the figure was judged by these limits.",
        f"fewer than {LEAST_WORDS} letters, or a word that stands for nothing",
        COMMON_PRACTICE,
        bands_without_source,
    ),
)
