"""How many nodes to keep, as lines for a screen."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Literal

from vinebook.advice.dead_buds import SOURCES
from vinebook.advice.own_record import OUTCOMES
from vinebook.advice.pruning_plan import rounded
from vinebook.advice.ways import why_no_range
from vinebook.cli.tables import width_of_screen
from vinebook.quantities import US_OF_METRIC
from vinebook.reports.numbers import decimals_of, unit_shown, write_band, write_number, write_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.advice.nodes_model import CrewTable, Expected, Input, NodesToKeep, PruningPlan, Way
    from vinebook.advice.own_record import AgreedRange, PastSeason

    Units = Literal["metric", "us"]

MOST_WIDTH = 100
TITLE_WIDTH = 42
WORDS_OF = {
    "yield_to_prunings": "yield to prunings",
    "cane_weight": "cane weight",
    "budbreak": "budbreak",
    "shoots_per_m": "shoots",
}
OF_INTERVAL = {
    "vines": "95 % interval of the vines weighed",
    "seasons": "95 % interval of the past seasons",
    "band": "ends of the band",
    "range": "range of the seasons that agree",
}


def nodes_lines(told: NodesToKeep, units: Units, *, shows_all: bool, shows_table: bool) -> Iterator[str]:
    """Give the lines of an answer.

    Parameters
    ----------
    told : the answer.
    units : "metric" or "us".
    shows_all : whether to show the five ways and each past season.
    shows_table : whether to show the crew's table.
    """
    width = min(max(width_of_screen(), 60), MOST_WIDTH)
    yield from _wrapped(_first(told), width, "", "  ")
    if told.kept is not None:
        yield from _wrapped(
            f"Already pruned for {told.season}: {_text(told.kept, units)} a vine were counted ({_count(told.kept)}).",
            width,
        )
    for note in told.notes:
        yield from _wrapped(f"{_sentence(note)}", width)
    if told.dead_buds is not None and told.dead_buds.rule:
        dead = told.dead_buds
        ends = "" if dead.low is None or dead.high is None else f" ({dead.low:.0f}–{dead.high:.0f} %)"
        yield from _wrapped(
            f"Dead buds: {dead.percent:.0f} %{ends} of {dead.buds}; {dead.rule}: {dead.words} ({SOURCES[dead.rule]}).",
            width,
        )
    yield from _plan(told, units, width)
    if shows_all:
        yield ""
        yield from _ways(told, units, width)
        yield ""
        yield from _seasons(told.agreed, units, width)
    if told.crew_table is not None and shows_table:
        yield ""
        yield from _table(told.crew_table, units, width)
    yield ""
    more = "" if shows_all else " --all shows five ways, each season and a table for the crew;"
    yield from _wrapped(f"The person decides.{more} `vinebook guide nodes` says what each is.", width, "", "")


def _first(told: NodesToKeep) -> str:
    """Give the first line: the range on which the block's own record agrees, or why there is none."""
    agreed, head = told.agreed, f"{told.block} {told.season}: "
    if agreed.low is None or agreed.high is None:
        return f"{head}no range of nodes yet: {why_no_range(agreed)}."
    nodes = f"{agreed.low} to {agreed.high}" if agreed.low < agreed.high else f"{agreed.low}"
    judged = [season.season for season in agreed.seasons if season.agrees is not None]
    words = _listed([WORDS_OF[name] for name in agreed.figures_used])
    verb = "read" if len(agreed.figures_used) > 1 else "reads"
    seasons = (
        f"all {agreed.at_these_levels}"
        if agreed.agreeing == agreed.at_these_levels
        else (f"{agreed.agreeing} of {agreed.at_these_levels}")
    )
    return (
        f"{head}{nodes} nodes per vine, by this block's own record: in {seasons} seasons at these levels "
        f"({judged[0]} to {judged[-1]}) {words} {verb} within the bands."
    )


def _plan(told: NodesToKeep, units: Units, width: int) -> Iterator[str]:
    plan = told.plan
    if plan is None:
        if told.plan_missing:
            yield from _wrapped(f"No plan: {told.plan_missing}.", width)
        return
    yield from _wrapped(
        f"Plan for {plan.nodes} nodes a vine ({plan.chosen_by}): {_laid(plan, units)}.", width, "", "  "
    )
    for warning in plan.warnings:
        yield from _wrapped(f"{_sentence(warning)}", width)
    if told.expected:
        yield from _wrapped(f"By this block's past seasons that would bring {_brought(told.expected, units)}.", width)
    else:
        yield from _wrapped("What it would bring is outside what this block has shown, or was never counted.", width)


def _laid(plan: PruningPlan, units: Units) -> str:
    parts = []
    for one in plan.bearers:
        name = one.bearer if one.count == 1 else f"{one.bearer}s"
        parts.append(f"{one.count} {name} × {one.nodes_each} {'node' if one.nodes_each == 1 else 'nodes'}")
    told = " + ".join(parts) + f" = {sum(one.count * one.nodes_each for one in plan.bearers)}"
    main = plan.bearers[0].bearer
    if plan.per_arm:
        shared = "on each arm" if len(plan.per_arm) == 1 else f"on the {len(plan.per_arm)} arms"
        told += (
            f"; {_listed(list(map(str, plan.per_arm)))} {main}s {shared}"
            if plan.per_arm != (1,)
            else (f"; 1 {main} on each arm")
        )
    if plan.spacing_cm is not None and plan.spacing_band is not None:
        unit, factor = unit_shown("cm", units)
        told += f"; a spur every {plan.spacing_cm * factor:.{1 if unit == 'in' else 0}f} {unit} of cordon"
        if plan.spacing_side != "within":
            close = "closer" if plan.spacing_side == "below" else "wider"
            told += f", {close} than {write_band(plan.spacing_band, 'cm', units)} {unit} ({plan.spacing_band.name})"
    return told


def _ways(told: NodesToKeep, units: Units, width: int) -> Iterator[str]:
    is_corrected = any(way.corrected is not None for way in told.ways)
    heading = f"{'nodes a vine by':<{TITLE_WIDTH}} {'nodes':>6}  {'from–to':^11}"
    yield f"{heading}  dead buds" if is_corrected else heading.rstrip()
    for way in told.ways:
        yield from _way(told, way, units, width)
    if told.cap is not None:
        per_m, unit = told.cap.shoots_per_m, "shoots/m"
        length = _number(told.cap.canopy_m, "m", units)
        yield from _wrapped(
            f"Each but the shoots is capped at {rounded(told.cap.nodes)} nodes: {_number(per_m, unit, units)} × "
            f"{length} of canopy ({told.cap.source}).",
            width,
            "",
            "  ",
        )


def _way(told: NodesToKeep, way: Way, units: Units, width: int) -> Iterator[str]:
    yield _way_line(way)
    words = [way.variant] if way.variant else []
    if way.before_cap is not None:
        words.append(f"{rounded(way.before_cap)} before the cap")
    if way.low is not None and way.interval_of:
        words.append(f"from–to: {OF_INTERVAL[way.interval_of]}")
    words += [_input(one, way, units) for one in way.inputs]
    if way.expected:
        words.append(f"would bring {_brought(way.expected, units)}")
    elif way.nodes is not None:
        why = "outside what this block has shown" if told.agreed.judged else "the record does not say"
        words.append(f"what it would bring: {why}")
    words += way.words
    if way.source:
        words.append(f"source: {way.source}")
    for one in words:
        yield from _wrapped(one, width, "    ", "      ")


def _way_line(way: Way) -> str:
    nodes = "–" if way.nodes is None else str(rounded(way.nodes))
    ends = "" if way.low is None or way.high is None else f"{rounded(way.low)}–{rounded(way.high)}"
    line = f"{way.title:<{TITLE_WIDTH}} {nodes:>6}  {ends:^11}"
    if way.corrected is not None:
        line += f"  {'–' if way.corrected.nodes is None else rounded(way.corrected.nodes):>3}"
        if way.corrected.low is not None and way.corrected.high is not None:
            line += f" ({rounded(way.corrected.low)}–{rounded(way.corrected.high)})"
    return line.rstrip()


def _input(one: Input, way: Way, units: Units) -> str:
    """Give an input in words: what it is, its value, what it rests on, where it comes from."""
    if way.way == "own_record":
        return f"{one.name}: {one.value:.0f} of {one.n} at these levels"
    ends = "" if one.low is None or one.high is None else f" ({_ends(one, units)})"
    of = "" if one.n is None else f", {_count(one)}"
    # The source of the way stands at its foot.
    source = f"; {one.source}" if one.source and one.source != way.source else ""
    return f"{one.name}: {_text(one, units)}{ends}{of}{source}"


def _seasons(agreed: AgreedRange, units: Units, width: int) -> Iterator[str]:
    """Give a table of the past seasons with the outcome figures that were judged."""
    shown = [season for season in agreed.seasons if season.nodes is not None or season.outcomes]
    if not shown:
        return
    since = "" if agreed.since_what == "recorded" else f" since {agreed.since} ({agreed.since_what})"
    yield from _wrapped(f"This block's seasons{since}; ~ where an interval crosses a limit:", width, "", "  ")
    names = [name for name in OUTCOMES if any(one.figure == name for season in shown for one in season.outcomes)]
    heads = "  ".join(f"{WORDS_OF[name]:>17}" for name in names)
    yield f"{'season':<6}  {'nodes':>5}  {heads}  agrees"
    for season in shown:
        yield _season(season, names, units).rstrip()
    carried: dict[str, list[int]] = {}
    for season in shown:
        if season.carried:
            carried.setdefault(season.carried, []).append(season.season)
    for label, years in carried.items():
        yield from _wrapped(f"{years[0]} to {years[-1]}: {label}", width, "", "  ")
    for name in names:
        bands = {
            (write_band(one.band, one.unit, units), one.band.name, one.band.source)
            for season in shown
            for one in season.outcomes
            if one.figure == name
        }
        for limits, short, _ in sorted(bands):
            unit = unit_shown("%" if name == "budbreak" else "g" if name == "cane_weight" else "kg/kg", units)[0]
            yield from _wrapped(f"band of {WORDS_OF[name]}: {limits} {unit}, {short}", width, "", "  ")


def _season(season: PastSeason, names: list[str], units: Units) -> str:
    by_name = {one.figure: one for one in season.outcomes}
    cells = []
    for name in names:
        one = by_name.get(name)
        if one is None:
            cells.append(f"{'–':>17}")
            continue
        _, factor = unit_shown(one.unit, units)
        number = write_number(one.value * factor, 1 if name == "yield_to_prunings" else 0)
        side = "" if one.side == "within" else f" {one.side}"
        cells.append(f"{number + side + (' ~' if not one.is_clear else ''):>17}")
    nodes = "–" if season.nodes is None else write_number(season.nodes, 1)
    agrees = {True: "yes", False: "no", None: "–"}[season.agrees]
    events = f"  {', '.join(season.events)}" if season.events else ""
    return f"{season.season:<6}  {nodes:>5}  {'  '.join(cells)}  {agrees:<3}{events}"


def _table(table: CrewTable, units: Units, width: int) -> Iterator[str]:
    """Give the crew's table, in the unit of the formula and in the person's own."""
    formula = table.formula
    yield from _wrapped(f"For the crew, by {formula.name}: {formula.in_words} ({formula.for_vines}).", width, "", "  ")
    if table.correction:
        yield from _wrapped(f"Nodes corrected for {table.correction}.", width)
    own = "lb" if units == "us" else "kg"
    columns = [table.unit] if own == table.unit or (own == "kg" and table.unit == "g") else [table.unit, own]
    yield f"  {'prunings of the vine':<{10 * len(columns)}}    nodes".rstrip()
    yield "  " + "".join(f"{unit:>10}" for unit in columns)
    if table.below is not None:
        below = table.below * (formula.first_unit_kg / table.below)
        yield f"{_masses('below ', table.below, below, columns)}    weak vine: ask the leader"
    for line in table.lines:
        told = f"{line.nodes} (the cap), and for every heavier vine" if line.is_capped else str(line.nodes)
        yield f"{_masses('', line.prunings, line.prunings_kg, columns)}    {told}"
    if len(table.lines) > 1:
        yield from _wrapped("A vine between two lines takes the nearer one.", width)


def _masses(before: str, prunings: float, prunings_kg: float, columns: list[str]) -> str:
    cells = [f"{before}{prunings:.{0 if columns[0] == 'g' else 2}f}"]
    if len(columns) > 1:
        factor = 1.0 if columns[1] == "kg" else US_OF_METRIC["kg"].factor
        cells.append(f"{prunings_kg * factor:.2f}")
    return "  " + "".join(f"{cell:>10}" for cell in cells)


def _brought(expected: tuple[Expected, ...], units: Units) -> str:
    """Give an expected outcome in words; yield per vine only where per hectare is not known."""
    names = {one.figure for one in expected}
    parts = []
    for one in expected:
        if one.figure == "yield_per_vine" and "yield_per_ha" in names:
            continue
        unit, factor = unit_shown(one.unit, units)
        value, low, high = (number * factor for number in (one.value, one.low, one.high))
        decimals = decimals_of(value, low, high, unit)
        ends = f" ({write_range(low, high, decimals)})" if one.seasons > 1 else ""
        shown = unit if one.figure != "yield_per_vine" else f"{unit} a vine"
        parts.append(f"{write_number(value, decimals)} {shown}{ends}")
    rest_on = sorted({one.seasons for one in expected})
    seasons = " to ".join(map(str, dict.fromkeys((rest_on[0], rest_on[-1]))))
    return f"{' and '.join(parts)}, by {seasons} {'season' if rest_on[-1] == 1 else 'seasons'}"


def _text(one: Input, units: Units) -> str:
    return _number(one.value, one.unit, units, one.low, one.high)


def _number(value: float, unit: str, units: Units, low: float | None = None, high: float | None = None) -> str:
    name, factor = unit_shown(unit, units)
    first, last = (None, None) if low is None or high is None else (low * factor, high * factor)
    return f"{write_number(value * factor, decimals_of(value * factor, first, last, name))} {name}".rstrip()


def _ends(one: Input, units: Units) -> str:
    _, factor = unit_shown(one.unit, units)
    low, high = (one.low or 0.0) * factor, (one.high or 0.0) * factor
    return write_range(low, high, decimals_of(one.value * factor, low, high, unit_shown(one.unit, units)[0]))


def _count(one: Input) -> str:
    of = one.n_of if one.n != 1 else one.n_of.removesuffix("s")
    return f"all {of}" if one.n is None else f"{one.n} {of}"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def _wrapped(words: str, width: int, first: str = "  ", later: str = "  ") -> list[str]:
    return textwrap.wrap(words, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
