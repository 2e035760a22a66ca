"""Where the fruit sits: by position and bearer, spur against cane, before and after. It shows; it does not choose."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from vinebook.advice.fruit_laid import FEW, SPUR_BEARERS, laid_both, noncount_shares, side_by_side
from vinebook.advice.fruit_model import Changed, Conversion, Fruitfulness, Position, SeasonRate, SpurSpace
from vinebook.advice.fruit_seasons import pooled_rates
from vinebook.formulas.spurs import nodes_per_m_of_cordon
from vinebook.seasons.sufficing import LEAST_SEASONS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from vinebook.advice.fruit_model import Form, Laid
    from vinebook.seasons.model import BlockHistory, Figure
    from vinebook.seasons.node_facts import NodeSeason

FROST = "frost"
BEARERS = ("spur", "cane", "renewal_spur", "head_spur")
CHANGED = ("nodes_per_vine", "budbreak", "clusters_per_vine", "cluster_weight", "yield_per_vine", "yield_per_ha")
OLD_WOOD = "old wood"


def fruitfulness(
    history: BlockHistory,
    tallies: Sequence[NodeSeason],
    peers: Mapping[str, Sequence[NodeSeason]],
    *,
    seasons: Sequence[int] = (),
    nodes: float | None = None,
) -> Fruitfulness:
    """Give what the node tallies of a block say of where its fruit sits.

    Parameters
    ----------
    history : the block's history with its figures judged.
    tallies : its node tallies vine by vine.
    peers : those of other blocks of the same cultivar, by code; looked at where a form was never counted here.
    seasons : harvest years to look at; none takes all.
    nodes : count nodes of a vine; the latest count where None.
    """
    figures = [one for one in history.figures if not seasons or one.season in seasons]
    frost = frozenset(event.season for event in history.events if event.what == FROST)
    positions = _positions(figures, frost)
    counted = tuple(sorted({rate.season for one in positions for rate in one.seasons}))
    level = nodes if nodes is not None else _latest_level(history.figures)
    laid = laid_both(history.code, tallies, peers, frost, level)
    beside = side_by_side(tallies, frost)
    pruned = _pruned(history)
    conversion = _conversion(history, figures, laid, frost)
    return Fruitfulness(
        history.code,
        _cultivar(history),
        pruned,
        counted,
        tuple(season for season in counted if season in frost),
        positions,
        noncount_shares(tallies, frost),
        laid,
        beside,
        conversion,
        _spur_space(figures, laid),
        _missing(history, counted, frost, tallies, laid, level, is_part=bool(seasons)),
        _notes(positions, tallies, laid, beside, history),
    )


def _positions(figures: Iterable[Figure], frost: frozenset[int]) -> tuple[Position, ...]:
    """Give clusters per node by bearer and position, from the season figures."""
    rates: dict[tuple[str, str], list[SeasonRate]] = {}
    shares: dict[tuple[str, str], list[float]] = {}
    for figure in figures:
        if figure.value is None or figure.bearer is None or figure.position is None:
            continue
        at = figure.bearer, figure.position
        if figure.figure == "clusters_per_node_at_k":
            rates.setdefault(at, []).append(
                SeasonRate(
                    figure.season,
                    figure.value,
                    figure.low,
                    figure.high,
                    figure.n,
                    figure.season in frost,
                    figure.note,
                )
            )
        elif figure.figure == "fruitful_share_at_k" and figure.season not in frost:
            shares.setdefault(at, []).append(figure.value)
    return tuple(
        Position(
            *at,
            tuple(of),
            pooled_rates(of, frost=False),
            pooled_rates(of, frost=True),
            float(np.mean(shares[at])) if at in shares else None,
        )
        for at, of in sorted(rates.items(), key=lambda one: (BEARERS.index(one[0][0]), _place(one[0][1])))
    )


def _place(position: str) -> int:
    return -1 if position == OLD_WOOD else int(position)


def _latest_level(figures: Iterable[Figure]) -> float | None:
    levels = {
        figure.season: figure.value
        for figure in figures
        if figure.figure == "nodes_per_vine" and figure.bearer is None and figure.value
    }
    return levels[max(levels)] if levels else None


def _pruned(history: BlockHistory) -> str:
    if history.visits:
        return max(history.visits, key=lambda visit: visit.season).pruned
    if history.trainings:
        return max(history.trainings, key=lambda training: training.from_season).pruned
    return ""


def _cultivar(history: BlockHistory) -> str:
    if not history.plantings:
        return ""
    return max(history.plantings, key=lambda planting: planting.from_season).cultivar


def _conversion(
    history: BlockHistory, figures: Sequence[Figure], laid: Sequence[Laid], frost: frozenset[int]
) -> Conversion | None:
    """Give the latest change from one form to the other, by the visits, else by the trainings."""
    cut = [(visit.season, visit.pruned) for visit in history.visits] or [
        (training.from_season, training.pruned) for training in history.trainings
    ]
    cut += [(training.from_season, training.pruned) for training in history.trainings]
    forms = sorted({(season, form) for season, form in cut if form in ("spur", "cane")})
    changes = [(was, became, season) for (_, was), (season, became) in pairwise(forms) if was != became]
    if not changes:
        return None
    was, became, since = changes[-1]
    earlier = [season for _, _, season in changes[:-1]]
    first = max(earlier, default=0)
    of_forms: dict[str, list[SeasonRate]] = {one.form: list(one.per_node) for one in laid if not one.is_guess}
    found = [
        Changed(
            "clusters per count node",
            "clusters",
            pooled_rates([rate for rate in of_forms.get(was, []) if first <= rate.season < since], frost=False),
            pooled_rates([rate for rate in of_forms.get(became, []) if rate.season >= since], frost=False),
        )
    ]
    for name in CHANGED:
        known = [
            figure
            for figure in figures
            if figure.figure == name
            and figure.value is not None
            and figure.status == "known"
            and figure.bearer is None
            and figure.stage in (None, "harvest")
        ]
        rates = [_of_figure(figure, frost) for figure in known]
        before = pooled_rates([rate for rate in rates if first <= rate.season < since], frost=False)
        after = pooled_rates([rate for rate in rates if rate.season >= since], frost=False)
        if before is not None and after is not None:
            found.append(Changed(name, known[0].unit, before, after))
    if not any(one.before is not None and one.after is not None for one in found):
        return None
    left_out = {figure.season for figure in figures if figure.season in frost and figure.season >= first}
    return Conversion(_form(was), _form(became), since, tuple(found), tuple(sorted(left_out)))


def _of_figure(figure: Figure, frost: frozenset[int]) -> SeasonRate:
    return SeasonRate(figure.season, figure.value or 0.0, None, None, figure.n, figure.season in frost)


def _form(pruned: str) -> Form:
    return "spur" if pruned == "spur" else "cane"


def _spur_space(figures: Sequence[Figure], laid: Sequence[Laid]) -> SpurSpace | None:
    """Give what the latest spacing and shoots per spur say together."""
    wanted = ("spur_spacing", "shoots_per_spur", "spur_spacing_within_share", "longest_bare_cordon", "shoots_per_m")
    by_season: dict[int, dict[str, Figure]] = {}
    for figure in figures:
        if figure.figure in wanted and figure.value is not None:
            by_season.setdefault(figure.season, {})[figure.figure] = figure
    measured = [season for season, of in by_season.items() if "spur_spacing" in of or "shoots_per_spur" in of]
    if not measured:
        return None
    season = max(measured, key=lambda one: ("spur_spacing" in by_season[one], one))
    of = by_season[season]
    spacing, shoots = (of[name].value if name in of else None for name in ("spur_spacing", "shoots_per_spur"))
    nodes = next((float(one.nodes_per_bearer) for one in laid if one.form == "spur" and not one.is_guess), None)
    per_m = None if spacing is None or shoots is None else float(nodes_per_m_of_cordon(shoots, spacing))
    words = [_told(of[name]) for name in wanted[:4] if name in of]
    if shoots is not None and nodes:
        more = shoots - nodes
        what = "more than its count nodes: doubles and basal shoots" if more > 0 else "fewer than its count nodes"
        words.append(f"a spur of {nodes:.0f} nodes carries {shoots:.1f} shoots, {abs(more):.1f} {what}")
    if per_m is not None:
        told = f"together that is {per_m:.1f} shoots on a metre of cordon"
        density = of.get("shoots_per_m")
        if density is not None and density.band is not None:
            low, high = density.band.low, density.band.high
            side = "above" if high is not None and per_m > high else "below" if low is not None and per_m < low else ""
            told += f", {side or 'within'} the band of shoots per metre ({density.band.name})"
        words.append(told)
    return SpurSpace(season, spacing, shoots, nodes, per_m, tuple(words))


NAMES = {
    "spur_spacing": "spurs stand {value} cm apart",
    "shoots_per_spur": "a spur carries {value} shoots before thinning",
    "spur_spacing_within_share": "{value} % of the gaps lie within the band of spacing",
    "longest_bare_cordon": "the longest bare stretch of cordon is {value} cm",
}


def _told(figure: Figure) -> str:
    value = figure.value or 0.0
    decimals = 0 if figure.unit == "%" else 1
    told = NAMES[figure.figure].format(value=f"{value:.{decimals}f}")
    if figure.low is not None and figure.high is not None:
        told += f" ({figure.low:.{decimals}f}–{figure.high:.{decimals}f})"
    if figure.band is not None and figure.reading != "not judged":
        told += f", {figure.reading} by {figure.band.name}"
    return told


def _missing(
    history: BlockHistory,
    counted: Sequence[int],
    frost: frozenset[int],
    tallies: Sequence[NodeSeason],
    laid: Sequence[Laid],
    level: float | None,
    *,
    is_part: bool,
) -> tuple[str, ...]:
    """Say what is missing, and what would cure it."""
    code, found = history.code, []
    if not counted:
        return (
            (
                f"no node tally of {code} is in the book: count shoots and clusters node by node on vines drawn at "
                "random, about three weeks after bud break (`vinebook form node_tally`)"
            ),
        )
    plain = [season for season in counted if season not in frost]
    if len(plain) < LEAST_SEASONS:
        found.append(
            f"{len(plain)} {'season' if len(plain) == 1 else 'seasons'} without frost counted; an interval over "
            f"seasons needs {LEAST_SEASONS}: until then it is the season's own, and says nothing of other years"
        )
    when = " in the seasons named" if is_part else ""
    single = [tally.season for tally in tallies if all(len(kind.units) == 1 for kind in tally.kinds)]
    if single:
        found.append(f"one vine was counted in {_years(single)}: a single vine has no spread, hence no interval")
    for form, bearers in (("spur", SPUR_BEARERS), ("cane", ("cane",))):
        one = next((each for each in laid if each.form == form), None)
        if one is None or one.is_guess:
            kinds = " or ".join(bearer.replace("_", " ") for bearer in bearers)
            more = " and no other block of its cultivar was" if one is None else ""
            found.append(
                f"{code} was never counted as {form}s{when} (no {kinds} with count nodes in its tallies){more}: try a "
                f"few rows as {form}s and count their nodes"
            )
    if level is None:
        found.append("no nodes per vine are counted: clusters per vine need them (--nodes N, or load a pruned_vine)")
    return tuple(found)


def _notes(
    positions: Sequence[Position],
    tallies: Sequence[NodeSeason],
    laid: Sequence[Laid],
    beside: object,
    history: BlockHistory,
) -> tuple[str, ...]:
    notes = []
    bearers = {one.bearer for one in positions}
    if {"spur", "renewal_spur"} <= bearers or {"cane", "renewal_spur"} <= bearers:
        notes.append("renewal spurs stand apart: they are cut at the head for next winter's canes")
    long = {one.bearer: one.nodes_per_bearer for one in laid if not one.is_guess}
    beyond = [
        f"{one.bearer.replace('_', ' ')} {one.position}"
        for one in positions
        if one.position.isdigit() and int(one.position) > long.get(one.bearer, 1000)
    ]
    if beyond:
        notes.append(f"only the longest bearers reach {', '.join(beyond)}: few nodes, and not like the others")
    by_hand = [tally.season for tally in tallies if tally.is_by_hand]
    if by_hand:
        notes.append(f"the vines of {_years(by_hand)} were picked by hand: no interval")
    few = [rate.season for one in laid for rate in one.per_node if rate.note == FEW and not one.is_guess]
    if few:
        notes.append(f"{FEW} were counted in {_years(few)}: that season's own interval is less sure than it says")
    after = [tally.season for tally in tallies if tally.is_after_thinning]
    if after:
        notes.append(f"{_years(after)} was counted after thinning: clusters that were cut are missing")
    own = [one for one in laid if not one.is_guess]
    if {one.form for one in own} == {"spur", "cane"} and beside is None:
        notes.append(
            "spurs and canes were counted in different seasons: what the seasons did is in the difference too; rows "
            "of both in one season would tell them apart"
        )
    if history.predecessors and not all(tally.season >= history.from_season for tally in tallies):
        notes.append("seasons before this block are those of the blocks that it came from")
    return tuple(notes)


def _years(seasons: Iterable[int]) -> str:
    return ", ".join(map(str, sorted(set(seasons))))
