"""What the first page says of a block in words: what it is, the last complete season, what is pending."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports.marks import NO_SUCH_BEARER, of_any_season, other_note, without_season
from vinebook.reports.numbers import EN_DASH, Units, in_words_of, quantity, write_band
from vinebook.reports.words import begin_sentence, inside_sentence, join_words, write_day, write_seasons
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.reports.tables import SeasonFigures
    from vinebook.seasons.model import BlockHistory, Figure, RelatedBlock

Fact = tuple[str, str]
TRAINED = {"head": "head-trained", "cordon": "cordon-trained"}
PRUNED = {"spur": "spur-pruned", "cane": "cane-pruned", "mixed": "spurs and canes", "minimal": "minimally pruned"}
SHOOTS = {"up": "shoots up", "down": "shoots down", "both": "shoots up and down", "free": "shoots free"}
CURTAINS = {1: "single canopy", 2: "divided canopy, two curtains"}


def subtitle(history: BlockHistory) -> str:
    """Give cultivar on rootstock and place, as far as they are known.

    Parameters
    ----------
    history : the block's history.
    """
    parts = []
    if history.plantings:
        now = history.plantings[-1]
        parts.append(now.cultivar + (f" on {now.rootstock}" if now.rootstock else ""))
    place = ", ".join(part for part in (history.vineyard.name, history.vineyard.place) if part)
    return " · ".join([*parts, place])


def ground_facts(history: BlockHistory, units: Units) -> list[Fact]:
    """Give the facts of the ground and the vines on it.

    Parameters
    ----------
    history : the block's history.
    units : "metric" or "us".
    """
    facts: list[Fact] = []
    if history.plantings:
        now = history.plantings[-1]
        area_ha = now.positions * now.row_spacing_m * now.vine_spacing_m / 10_000
        area = f"{quantity(area_ha, 'ha', units)} planted"
        if history.surveyed_area_ha is not None:
            area += f", {quantity(history.surveyed_area_ha, 'ha', units)} by survey"
        facts += [
            ("Area", area),
            (
                "Spacing",
                f"rows {quantity(now.row_spacing_m, 'm', units)}, vines {quantity(now.vine_spacing_m, 'm', units)}",
            ),
        ]
    elif history.surveyed_area_ha is not None:
        facts.append(("Area", f"{quantity(history.surveyed_area_ha, 'ha', units)} by survey"))
    if history.row_direction_degrees is not None:
        facts.append(("Rows run", f"{history.row_direction_degrees:.0f}° from north"))
    if history.censuses:
        last = history.censuses[-1]
        facts.append(("Vines", f"{last.bearing} bearing of {last.positions} places, {write_day(last.date)}"))
    elif history.plantings:
        facts.append(("Vines", f"{history.plantings[-1].positions} places"))
    if history.vineyard.geographical_indication:
        facts.append(("Indication", history.vineyard.geographical_indication))
    facts.append(
        ("On record", f"since {history.from_season}" + (f", until {history.to_season}" if history.to_season else ""))
    )
    return facts


def vine_facts(history: BlockHistory) -> list[Fact]:
    """Give the facts of planting, training and pruning, and the blocks before and after.

    Parameters
    ----------
    history : the block's history.
    """
    facts: list[Fact] = []
    if history.plantings:
        now = history.plantings[-1]
        planted = str(now.year_planted) if now.year_planted else EN_DASH
        if now.grafted_over_in:
            planted += f", grafted over {now.grafted_over_in}"
        facts.append(("Planted", planted))
        if now.clone:
            facts.append(("Clone", now.clone))
    if history.field_blend:
        facts.append(("Field blend", history.field_blend))
    if history.trainings:
        trained = history.trainings[-1]
        canopy = CURTAINS.get(trained.curtains, f"divided canopy, {trained.curtains} curtains")
        facts += [
            ("Training", ", ".join(filter(None, (TRAINED.get(trained.trained, trained.trained), trained.trade_name)))),
            ("Canopy", ", ".join(filter(None, (canopy, SHOOTS.get(trained.shoot_position, trained.shoot_position))))),
            ("Pruning", PRUNED.get(trained.pruned, trained.pruned) + _order(history)),
        ]
    facts += [("Before it", _related(block)) for block in history.predecessors]
    facts += [("After it", _related(block)) for block in history.successors]
    if history.vineyard.grower:
        facts.append(("Grower", history.vineyard.grower))
    return facts


def last_complete(history: BlockHistory, figures: SeasonFigures) -> int | None:
    """Give the latest season whose crop and whose balance are both known, or None.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    """
    for season in reversed(history.seasons):
        ratio = figures.one("yield_to_prunings", season)
        if ratio is not None and ratio.status == "known" and ratio.value is not None:
            return season
    return None


def tell_last_season(history: BlockHistory, figures: SeasonFigures, units: Units) -> str:
    """Give one plain sentence on the last complete season.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    """
    if not history.seasons:
        return "No season of this block has been recorded yet."
    season = last_complete(history, figures)
    if season is None:
        return "No season is complete yet: crop and the wood that grew with it are not both known for any."
    told = {
        name: number
        for name in ("nodes_per_vine", "yield_per_ha", "yield_per_vine", "prunings_per_m", "yield_to_prunings")
        if (number := figures.number_in_table(name, season, history.seasons, units)) is not None
    }
    parts: list[str] = []
    start = f"In {season}, the last complete season, "
    crop = told.get("yield_per_ha") or told.get("yield_per_vine")
    if crop:
        a_vine = f" ({told['yield_per_vine'].with_unit} a vine)" if "yield_per_vine" in told else ""
        parts.append(
            f"the block bore {crop.with_unit}"
            + (a_vine if "yield_per_ha" in told else " a vine")
            + (f" from {told['nodes_per_vine'].with_unit} a vine" if "nodes_per_vine" in told else "")
        )
    if "prunings_per_m" in told:
        weight = told["prunings_per_m"].with_unit.replace("/m", " a metre").replace("/ft", " a foot")
        parts.append(f"the wood that grew with it weighed {weight} of canopy")
    ratio = figures.one("yield_to_prunings", season)
    if ratio is not None and "yield_to_prunings" in told:
        number = told["yield_to_prunings"]
        interval = f" (interval {_in_prose(number.interval)})" if number.low is not None else ""
        parts.append(f"yield to prunings was {number.text}{interval}{_judged(ratio, units)}")
    return start + join_words(parts) + "."


def tell_pending(history: BlockHistory) -> str:
    """Give one plain sentence on what is pending, "" where no season has been recorded.

    Parameters
    ----------
    history : the block's history.
    """
    if not history.seasons:
        return ""
    waiting = [f for f in history.figures if f.status == "pending"]
    partial = [f for f in history.figures if f.status == "partial"]
    said = []
    if partial:
        latest = max(f.season for f in partial)
        note = next((_reason(f) for f in partial if f.season == latest and f.note), "")
        said.append(f"{latest} is partial{f': {note}' if note else ''}")
    if waiting:
        latest = max(f.season for f in waiting)
        now = [f for f in waiting if f.season == latest]
        names = list(dict.fromkeys(f.figure for f in now))
        named = next((name for name in ("yield_to_prunings", "yield_per_ha", "crop") if name in names), names[0])
        more = len(names) - 1
        what = inside_sentence(FIGURES[named].title) + (
            f" of {latest}" if not more else f" of {latest} and {_count(more)}"
        )
        why = next((_reason(f) for f in now if f.figure == named and f.note), "")
        said.append(f"{what} {'are' if more else 'is'} pending" + (f": {why}" if why else ""))
    return begin_sentence("; ".join(said)) + "." if said else "Nothing is pending."


def open_rows(figures: tuple[Figure, ...], units: Units) -> list[tuple[str, str, str, str]]:
    """Give what is partial, pending or unknown: status, why, figures and their seasons, the latest season first.

    Figures that wait for the same reason follow each other; status and reason stand beside the first of them.
    Canes of a block that is pruned to spurs, and spurs of one pruned to canes, are not missed.

    Parameters
    ----------
    figures : all figures of the block.
    units : "metric" or "us".
    """
    impossible = {f.figure for f in figures if f.note in NO_SUCH_BEARER} - {
        f.figure for f in figures if f.value is not None
    }
    grouped: dict[tuple[str, str], list[Figure]] = {}
    for figure in figures:
        if figure.status != "known" and figure.note not in NO_SUCH_BEARER and figure.figure not in impossible:
            grouped.setdefault((figure.status, without_season(other_note(figure), figure.season)), []).append(figure)
    rows = []
    for (status, key), members in sorted(grouped.items(), key=lambda item: (-max(f.season for f in item[1]), item[0])):
        is_one = len({f.season for f in members}) == 1
        why = (other_note(members[0]) if is_one else of_any_season(key)).removeprefix(f"{status}: ")
        for number, (seasons, titles) in enumerate(_by_seasons(members, units)):
            named = begin_sentence(join_words([titles[0], *map(inside_sentence, titles[1:])]))
            rows.append(("" if number else status, "" if number else begin_sentence(why), named, seasons))
    return rows


def _by_seasons(figures: list[Figure], units: Units) -> list[tuple[str, list[str]]]:
    """Give the titles of figures that share their seasons, in the order of the first."""
    seasons: dict[str, set[int]] = {}
    for figure in figures:
        seasons.setdefault(in_words_of(FIGURES[figure.figure].title, units), set()).add(figure.season)
    titles: dict[str, list[str]] = {}
    for title, years in seasons.items():
        titles.setdefault(write_seasons(years), []).append(title)
    return list(titles.items())


def _reason(figure: Figure) -> str:
    note = other_note(figure)
    return note.removeprefix(f"{figure.status}: ")


def _count(more: int) -> str:
    return "one figure more" if more == 1 else f"{more} figures more"


def _in_prose(limits: str) -> str:
    """Give a range as a sentence has it, not broken at the end of a line: "4 to 10"."""
    return limits.replace(EN_DASH, " to ").replace(" ", "\u00a0")


def _judged(figure: Figure, units: Units) -> str:
    if figure.band is None or figure.reading == "not judged":
        return ""
    band = f"{_in_prose(write_band(figure.band, figure.unit, units))} ({figure.band.name})"
    if figure.reading == "not clear":
        return f", not clearly inside or outside the band of {band}"
    return f", {figure.reading} the band of {band}"


def _related(block: RelatedBlock) -> str:
    return f"{block.code}{f' {block.name}' if block.name else ''}, {block.how}"


def _order(history: BlockHistory) -> str:
    ordered = [visit for visit in history.visits if visit.nodes_to_keep is not None]
    if not ordered:
        return ""
    last = ordered[-1]
    return f", {last.nodes_to_keep:g} nodes a vine ordered for {last.season}"
