"""How many nodes to keep: the block's own record, and the published ways beside it. The person decides."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from vinebook.advice.dead_buds import corrected, dead_buds
from vinebook.advice.nodes_model import Cap, Input, NodesToKeep, Way
from vinebook.advice.own_record import agreed_range, standing_since, whole_figures
from vinebook.advice.past_seasons import Ground, PastYields, expected_at, past_yields
from vinebook.advice.pruning_formulas import BY_TYPE, FORMULAS, formula_for
from vinebook.advice.pruning_plan import crew_table, laid_out, lay_of, rounded
from vinebook.advice.ways import (
    Wanted,
    by_ideal_canes,
    by_own_record,
    by_shoots,
    by_wood,
    by_yield,
    most_of,
    unit_of_sample,
    wanted_of,
)
from vinebook.errors import AdviceError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vinebook.advice.nodes_model import CrewTable, DeadBuds, PruningPlan, Wishes
    from vinebook.advice.own_record import AgreedRange
    from vinebook.advice.pruning_formulas import PruningFormula
    from vinebook.seasons.context import BlockContext
    from vinebook.seasons.model import BlockHistory, Figure, PlantingFacts, TrainingFacts
    from vinebook.seasons.pruning_facts import PruningFacts

NO_TRAINING = "no training is recorded, so the canopy of a vine is not known (load a training)"
NO_ROW_CANOPY = "head-trained vines with shoots left free have no canopy along the row"


def nodes_to_keep(history: BlockHistory, facts: PruningFacts, context: BlockContext, wishes: Wishes) -> NodesToKeep:
    """Give what the record and the published ways say of how many nodes to keep.

    Parameters
    ----------
    history : the block's history with its figures judged.
    facts : wood weighed vine by vine, orders, thinning, close; their season is the one that nodes are for.
    context : what the block's figures are judged by: its targets.
    wishes : what the person asks for; its names are those of `FORMULAS` and `INJURY_RULES`.

    Raises
    ------
    AdviceError : the season is over, the block has ended or is not planted, or a rule was named and no buds were cut.
    """
    planting = _planting_for(history, facts)
    training = _training_in(history, facts.season)
    since, _ = standing_since(history, facts.season)
    figures = whole_figures(history.figures, since, facts.season + 1)
    now = figures.get(facts.season, {})
    past = past_yields({season: of for season, of in figures.items() if season < facts.season})
    agreed = agreed_range(history, facts.season)
    ground = _ground(planting, training, figures)
    wanted = wanted_of(wishes, context, facts, past)
    cap = None
    if ground.canopy_m:
        # A cap of 22.5 nodes lets 22 be kept; the slack is for a product that should be whole.
        most = math.floor(wanted.most_shoots_per_m * ground.canopy_m + 1e-9)
        cap = Cap(most, wanted.most_shoots_per_m, ground.canopy_m, wanted.source)
    dead = dead_buds(now.get("bud_mortality"), facts.buds_cut, wishes.bud_injury_rule or "")
    if wishes.bud_injury_rule and dead is None:
        raise AdviceError(
            f"no buds were cut before the pruning that sets {facts.season} in {history.code}",
            "load a bud_sample of that winter (`vinebook form bud_sample`), or leave out --bud-injury-rule",
        )
    formulas = _formulas(wishes, planting.cultivar)
    wood_figure = figures.get(facts.season - 1, {}).get("prunings_per_vine")
    found = [
        *(by_wood(facts, formula, cap) for formula in formulas),
        by_shoots(wanted, past, ground, facts),
        by_yield(wishes, context, past, ground, facts),
        by_ideal_canes(wood_figure, context, facts),
        by_own_record(agreed),
    ]
    ways = tuple(_finished(way, cap, dead, past, wanted, ground) for way in found)
    told = NodesToKeep(
        history.code,
        facts.season,
        planting.cultivar,
        agreed,
        ways,
        cap,
        dead,
        _kept(now.get("nodes_per_vine")),
        _table(formulas, facts, cap, dead),
        None,
        "",
        (),
        tuple(vine.record for vine in facts.wood.vines),
        _notes(facts, dead, ground, agreed),
    )
    return _planned(told, wishes, training, facts, context, _Basis(past, wanted, ground))


@dataclass(frozen=True, slots=True)
class _Basis:
    """What an expected outcome is worked out from."""

    past: PastYields
    wanted: Wanted
    ground: Ground


def _planting_for(history: BlockHistory, facts: PruningFacts) -> PlantingFacts:
    """Give the planting that nodes are chosen for; refuse a season that is over."""
    season = facts.season
    if facts.last_closed is not None and facts.last_closed >= season:
        closed = f"the harvest of {facts.last_closed} was closed"
        if facts.closed_on is not None:
            closed = f"its harvest was closed on {facts.closed_on.isoformat()}"
        raise AdviceError(
            f"season {season} of {history.code} is over: {closed}",
            f"nodes are chosen for a season to come: --season {facts.last_closed + 1}, say; "
            f"`vinebook figures {history.code} --season {season}` tells what came of {season}",
        )
    if history.to_season is not None and season > history.to_season:
        later = ", ".join(block.code for block in history.successors)
        raise AdviceError(
            f"block {history.code} ended with {history.to_season}",
            f"it became {later}: ask for one of these" if later else "a season up to then is over",
        )
    standing = [
        planting
        for planting in history.plantings
        if planting.from_season <= season and (planting.to_season is None or season <= planting.to_season)
    ]
    if not standing:
        raise AdviceError(
            f"nothing is planted in {history.code} in {season} by the book",
            "load a planting (`vinebook form planting`), or see `vinebook list planting`",
        )
    return max(standing, key=lambda planting: planting.from_season)


def _training_in(history: BlockHistory, season: int) -> TrainingFacts | None:
    begun = [training for training in history.trainings if training.from_season <= season]
    return max(begun, key=lambda training: training.from_season, default=None)


def _ground(
    planting: PlantingFacts, training: TrainingFacts | None, figures: Mapping[int, Mapping[str, Figure]]
) -> Ground:
    bearing = [
        of["vines_bearing"].value
        for _, of in sorted(figures.items())
        if "vines_bearing" in of and of["vines_bearing"].value
    ]
    area_ha = planting.positions * planting.row_spacing_m * planting.vine_spacing_m / 10_000
    bearing_per_ha = None if not bearing or bearing[-1] is None else bearing[-1] / area_ha
    if training is None:
        return Ground(None, bearing_per_ha, NO_TRAINING)
    if not training.has_row_canopy:
        return Ground(None, bearing_per_ha, NO_ROW_CANOPY)
    return Ground(planting.vine_spacing_m * training.curtains, bearing_per_ha)


def _formulas(wishes: Wishes, cultivar: str) -> list[PruningFormula]:
    """Give the formula asked for, else that of the cultivar, else one for each type of vine."""
    if wishes.formula is not None:
        return [FORMULAS[wishes.formula]]
    fitting = formula_for(cultivar)
    return [FORMULAS[name] for name in BY_TYPE] if fitting is None else [fitting]


def _finished(
    way: Way, cap: Cap | None, dead: DeadBuds | None, past: PastYields, wanted: Wanted, ground: Ground
) -> Way:
    """Hold a way to the cap, correct it for dead buds and say what it would bring."""
    if way.nodes is None:
        return way
    # The way by shoots is where the cap comes from: with blind nodes it must keep more nodes than shoots are wanted.
    if cap is not None and way.way != "shoots_wanted":
        way = _held_to(way, way.nodes, cap.nodes)
    nodes = way.nodes or 0.0
    # What a way would bring is said of the whole nodes that stand beside it.
    way = replace(way, expected=expected_at(rounded(nodes), past, wanted.noncount_kept, ground))
    return way if dead is None or not dead.rule else replace(way, corrected=corrected(nodes, dead))


def _held_to(way: Way, nodes: float, most: float) -> Way:
    """Hold the number of a way and the ends of its interval to the cap."""
    ends = [None if end is None else min(end, most) for end in (way.low, way.high)]
    if nodes <= most:
        return replace(way, low=ends[0], high=ends[1])
    # An interval that the cap holds back at both ends is none.
    low, high = ends if ends[0] != ends[1] else (None, None)
    interval_of = "" if low is None else way.interval_of
    return replace(way, nodes=most, low=low, high=high, interval_of=interval_of, before_cap=nodes)


def _kept(figure: Figure | None) -> Input | None:
    if figure is None or figure.value is None:
        return None
    name = "nodes counted at this pruning"
    return Input(name, figure.value, "nodes", figure.low, figure.high, figure.n, unit_of_sample(figure))


def _table(
    formulas: list[PruningFormula], facts: PruningFacts, cap: Cap | None, dead: DeadBuds | None
) -> CrewTable | None:
    if len(formulas) > 1:
        return None
    return crew_table(formulas[0], facts.wood, most_of(formulas[0], cap), dead)


def _notes(facts: PruningFacts, dead: DeadBuds | None, ground: Ground, agreed: AgreedRange) -> tuple[str, ...]:
    notes = []
    if ground.why_no_canopy:
        notes.append(f"{ground.why_no_canopy}: no cap, no expected shoots per metre")
    if facts.wood.incomplete:
        notes.append(f"{facts.wood.incomplete} vines were weighed after mechanical pre-pruning and are left out")
    if dead is not None and not dead.rule:
        notes.append(
            f"{dead.percent:.0f} % of {dead.buds} buds cut were dead: --bud-injury-rule NAME corrects for them"
        )
    struck = [str(season.season) for season in agreed.seasons if season.events and season.agrees is not None]
    if struck:
        notes.append(f"frost or hail struck in {', '.join(struck)} and moved those figures too")
    return tuple(notes)


def _planned(
    told: NodesToKeep,
    wishes: Wishes,
    training: TrainingFacts | None,
    facts: PruningFacts,
    context: BlockContext,
    basis: _Basis,
) -> NodesToKeep:
    """Add the plan of the level asked for, else of the level on which the record agrees."""
    level, chosen_by = _level(told, wishes)
    if level is None:
        return replace(told, plan_missing="no level is chosen yet: --keep N lays out N nodes")
    if wishes.keep is not None or told.dead_buds is None or not told.dead_buds.rule:
        nodes = level
    else:
        more = corrected(level, told.dead_buds).nodes
        if more is None:
            return replace(told, plan_missing=f"{told.dead_buds.words}: --keep N lays out N nodes")
        nodes = rounded(more)
        chosen_by += f", with {nodes - level} more for dead buds" if nodes > level else ""
    lay, missing = lay_of(wishes, training, facts.ordered)
    plan: PruningPlan | None = None
    if lay is not None:
        spacing = context.target_in(facts.season, "spur_spacing")
        plan = laid_out(nodes, chosen_by, lay, wishes, training, facts.ordered, spacing)
    expected = expected_at(level, basis.past, basis.wanted.noncount_kept, basis.ground)
    return replace(told, plan=plan, plan_missing=missing, expected=expected)


def _level(told: NodesToKeep, wishes: Wishes) -> tuple[int | None, str]:
    if wishes.keep is not None:
        return wishes.keep, "asked for"
    if told.agreed.level is not None:
        return rounded(told.agreed.level), "the mean of the seasons that agree"
    # A published formula or a wish is no choice of this block's: laying one out unasked would be an order.
    return None, ""
