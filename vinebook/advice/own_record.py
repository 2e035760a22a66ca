"""The nodes on which a block's own record agrees.

A past season *agrees* when its nodes were counted, its yield to prunings is known, and every outcome figure that was
counted (yield to prunings, cane weight, budbreak) lies within the band it is read against. A figure whose interval
crosses a limit counts by its value. The range runs from the lowest to the highest level of the seasons that agree. It
is given when at least three seasons agree and more than half of all seasons at levels within it do; else the record
says that it is too short, or that it does not agree. Only seasons since the vines were last planted or trained anew
count. Weather moves these figures as well as nodes do: a range is what has gone well, not what made it go well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from vinebook.seasons.model import Band

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from vinebook.seasons.model import BlockHistory, Figure

OUTCOMES = ("yield_to_prunings", "cane_weight", "budbreak")
NEEDED = OUTCOMES[0]
LEAST_SEASONS = 3
WHERE_NONE_APPLIES = {
    "cane_weight": Band(
        20.0, 40.0, "Smart and Robinson 1991, Sunlight into Wine (from memory)", "Smart & Robinson 1991 (from memory)"
    ),
    "budbreak": Band(
        80.0, None, "planning figure of growers: four of five buds grow (from memory)", "planning figure (from memory)"
    ),
}
"""Bands for outcomes that no band of the block, of its vineyard or of the set in force judges."""

Verdict = Literal["agrees", "too short", "does not agree"]
Side = Literal["below", "within", "above"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """An outcome figure of a past season beside its band.

    Attributes
    ----------
    is_clear : False where the figure's interval crosses a limit of the band.
    """

    figure: str
    value: float
    unit: str
    band: Band
    side: Side
    is_clear: bool


@dataclass(frozen=True, slots=True)
class PastSeason:
    """A past season of a block.

    Attributes
    ----------
    nodes, nodes_low, nodes_high : count nodes kept on a vine, with its interval.
    outcomes : the outcome figures that are known.
    agrees : whether they all lie within; None where nodes or yield to prunings are not known.
    events : frost and hail, with the share of the block that was hit.
    carried : "carried over from block …" where the block took the season over, else "".
    """

    season: int
    nodes: float | None
    nodes_low: float | None
    nodes_high: float | None
    outcomes: tuple[Outcome, ...]
    agrees: bool | None
    events: tuple[str, ...] = ()
    carried: str = ""


@dataclass(frozen=True, slots=True)
class AgreedRange:
    """The nodes per vine on which a block's own record agrees.

    Attributes
    ----------
    verdict : whether the record agrees, is too short, or does not agree.
    low, high : whole nodes per vine, None without a range.
    level : mean level of the seasons that agree, None without a range.
    agreeing, at_these_levels : seasons that agree, and all at levels within the range.
    judged : seasons with nodes counted and yield to prunings known.
    since, since_what : first season that counts, and why: planted or trained anew.
    seasons : every past season that counts, oldest first.
    """

    verdict: Verdict
    low: int | None
    high: int | None
    level: float | None
    agreeing: int
    at_these_levels: int
    judged: int
    since: int
    since_what: str
    seasons: tuple[PastSeason, ...]

    @property
    def figures_used(self) -> tuple[str, ...]:
        """The outcome figures that stood in at least one judged season."""
        found = {one.figure for season in self.seasons if season.agrees is not None for one in season.outcomes}
        return tuple(name for name in OUTCOMES if name in found)


def agreed_range(history: BlockHistory, season: int) -> AgreedRange:
    """Give the nodes on which a block's record before a season agrees.

    Parameters
    ----------
    history : the block's history with its figures judged.
    season : season that nodes are chosen for; only seasons before it count.
    """
    since, since_what = standing_since(history, season)
    figures = whole_figures(history.figures, since, season)
    past = tuple(_past_season(year, figures.get(year, {}), history) for year in range(since, season) if year in figures)
    judged = [one for one in past if one.agrees is not None]
    levels = [one.nodes for one in judged if one.agrees and one.nodes is not None]
    among = [one for one in judged if levels and one.nodes is not None and min(levels) <= one.nodes <= max(levels)]
    verdict: Verdict = "agrees"
    if len(judged) < LEAST_SEASONS:
        verdict = "too short"
    elif len(levels) < LEAST_SEASONS or 2 * len(levels) <= len(among):
        verdict = "does not agree"
    has = verdict == "agrees"
    return AgreedRange(
        verdict,
        round(min(levels)) if has else None,
        round(max(levels)) if has else None,
        sum(levels) / len(levels) if has else None,
        len(levels),
        len(among),
        len(judged),
        since,
        since_what,
        past,
    )


def standing_since(history: BlockHistory, season: int) -> tuple[int, str]:
    """Give the first season of the vines and training in force, and which of the two began it.

    Parameters
    ----------
    history : the block's history.
    season : season that nodes are chosen for.
    """
    # What stands from a block's own first season on was not begun then, where vines came from an earlier block.
    first = history.from_season
    starts = [
        (planting.from_season, "planted") for planting in history.plantings if first < planting.from_season <= season
    ]
    starts += [
        (training.from_season, "trained anew")
        for training in history.trainings
        if first < training.from_season <= season
    ]
    recorded = min((figure.season for figure in history.figures), default=season)
    last, what = max(starts, default=(recorded, "recorded"))
    return (last, what) if last > recorded else (recorded, "recorded")


def whole_figures(figures: Iterable[Figure], first: int, before: int) -> Mapping[int, Mapping[str, Figure]]:
    """Give the figures of whole vines by season and name: not those of one bearer, position, pick or early stage.

    Parameters
    ----------
    figures : a block's figures, judged.
    first, before : first season, and the season before which they end.
    """
    found: dict[int, dict[str, Figure]] = {}
    for figure in figures:
        is_whole = figure.bearer is None and figure.position is None and figure.pick is None
        if first <= figure.season < before and is_whole and figure.stage in (None, "harvest"):
            found.setdefault(figure.season, {})[figure.figure] = figure
    return found


def side_of(value: float, band: Band) -> Side:
    """Give on which side of a band a value lies.

    Parameters
    ----------
    value, band : in one unit.
    """
    if band.low is not None and value < band.low:
        return "below"
    return "above" if band.high is not None and value > band.high else "within"


def _past_season(season: int, figures: Mapping[str, Figure], history: BlockHistory) -> PastSeason:
    outcomes = tuple(one for name in OUTCOMES if (one := _outcome(figures.get(name))) is not None)
    nodes = figures.get("nodes_per_vine")
    level = None if nodes is None else nodes.value
    is_judged = level is not None and any(one.figure == NEEDED for one in outcomes)
    return PastSeason(
        season,
        level,
        None if nodes is None else nodes.low,
        None if nodes is None else nodes.high,
        outcomes,
        all(one.side == "within" for one in outcomes) if is_judged else None,
        tuple(
            event.what if event.share_hit_percent is None else f"{event.what} {event.share_hit_percent:g} %"
            for event in history.events
            if event.season == season and event.what in ("frost", "hail")
        ),
        _carried(nodes),
    )


def _carried(nodes: Figure | None) -> str:
    label = "" if nodes is None else nodes.note.partition(";")[0].partition(",")[0]
    return label if label.startswith("carried over") else ""


def _outcome(figure: Figure | None) -> Outcome | None:
    if figure is None or figure.value is None or figure.status != "known":
        return None
    band = figure.band or WHERE_NONE_APPLIES.get(figure.figure)
    if band is None:
        return None
    ends = [end for end in (figure.low, figure.high) if end is not None]
    sides = {side_of(end, band) for end in (figure.value, *ends)}
    return Outcome(figure.figure, figure.value, figure.unit, band, side_of(figure.value, band), len(sides) == 1)
