"""The five ways to a number of nodes, each with its inputs, its interval, or why it has no number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.advice.balanced import block_level
from vinebook.advice.bands import band_sets, chosen_set, default_set
from vinebook.advice.nodes_model import Input, Way
from vinebook.advice.own_record import LEAST_SEASONS
from vinebook.formulas.pruning import ideal_cane_charge, nodes_for_shoots, nodes_for_yield

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.advice.nodes_model import Cap, Wishes
    from vinebook.advice.own_record import AgreedRange
    from vinebook.advice.past_seasons import Ground, OverSeasons, PastYields
    from vinebook.advice.pruning_formulas import PruningFormula
    from vinebook.seasons.context import BlockContext
    from vinebook.seasons.model import Figure
    from vinebook.seasons.pruning_facts import PruningFacts

ASKED_FOR = "asked for"
SHOOTS_PER_M = 15.0
SHOOTS_SOURCE = "WineSkills, Plumpton College, Assessing canopy quality: 15 shoots per metre"
WOOD, SHOOTS, YIELD, CANES, RECORD = (
    "the wood of each vine (balanced pruning)",
    "the shoots wanted",
    "the yield wanted",
    "canes of the ideal weight",
    "this block's own record",
)
OUTSIDE = "outside what this block has shown"


@dataclass(frozen=True, slots=True)
class Wanted:
    """Shoots wanted per metre of canopy, the most of them, whose wish it is, and non-count shoots that are kept."""

    shoots_per_m: float
    most_shoots_per_m: float
    source: str
    noncount_kept: float
    noncount_why: str


def wanted_of(wishes: Wishes, context: BlockContext, facts: PruningFacts, past: PastYields) -> Wanted:
    """Give the shoots wanted: as asked for, else by the block's target, by the set in force, or by WineSkills.

    Non-count shoots: as asked for, else none where shoots were thinned of late, else as many as there were.

    Parameters
    ----------
    wishes : what the person asks for.
    context : targets and set of bands.
    facts : seasons in which shoots were thinned.
    past : what nodes have brought.
    """
    shoots, most, source = _shoots_wanted(wishes, context, facts.season)
    if wishes.noncount_kept is not None:
        kept, why = wishes.noncount_kept, ASKED_FOR
    elif facts.thinned_in and facts.thinned_in[-1] >= facts.season - 2:
        kept, why = 0.0, f"shoots were thinned in {facts.thinned_in[-1]}: taken as thinned again"
    elif past.noncount_shoots is not None:
        kept, why = past.noncount_shoots.mean, "as many as there were; no thinning is recorded"
    else:
        kept, why = 0.0, "none were counted"
    return Wanted(shoots, most, source, kept, why)


def _shoots_wanted(wishes: Wishes, context: BlockContext, season: int) -> tuple[float, float, str]:
    if wishes.shoots_per_m is not None:
        return wishes.shoots_per_m, wishes.shoots_per_m, ASKED_FOR
    target = context.target_in(season, "shoots_per_m")
    if target is not None:
        limits = [limit for limit in (target.low, target.high) if limit is not None]
        return sum(limits) / len(limits), max(limits), f"own target: {target.source}"
    chosen = chosen_set(context.band_set) if context.band_set else default_set()
    band = chosen.band_for("shoots_per_m", context.curtains_in(season), context.cultivar_in(season))
    if band is not None and band.low is not None and band.high is not None:
        return (band.low + band.high) / 2, band.high, band.source
    return SHOOTS_PER_M, SHOOTS_PER_M, SHOOTS_SOURCE


def by_wood(facts: PruningFacts, formula: PruningFormula, cap: Cap | None) -> Way:
    """Give the block's level by balanced pruning with one formula.

    Parameters
    ----------
    facts : wood weighed at the visit.
    formula : a published formula.
    cap : the most that the canopy has room for; held vine by vine, as the crew's table does.
    """
    source = formula.source if formula.mark == "VERIFIED" else f"{formula.source} ({formula.mark.lower()})"
    way = Way("balanced_pruning", WOOD, f"{formula.name} ({formula.for_vines})", source=source)
    cautions = [formula.caution] if formula.caution else []
    wood, unit = facts.wood, formula.first_unit
    if not wood.vines:
        why = f"no wood was weighed at the pruning that sets {facts.season}"
        if wood.incomplete:
            why = (
                f"the wood weighed at the pruning that sets {facts.season} was incomplete after mechanical pre-pruning"
            )
        return _with(way, f"{why}; weigh the canes of sampled vines there (pruned_vine, column prunings)", *cautions)
    level = block_level(wood, formula, most_of(formula, cap))
    masses = [vine.prunings_kg for vine in wood.vines]
    inputs = (
        Input(
            "prunings of a vine, mean and range",
            sum(masses) / len(masses),
            "kg",
            min(masses),
            max(masses),
            len(masses),
            "vines",
            "" if wood.last_on is None else f"weighed until {wood.last_on.isoformat()}",
        ),
    )
    size = f"the first {unit}"
    if level.nodes is None:
        reached = (
            "the one vine weighed does not reach" if level.weighed == 1 else f"none of {level.weighed} vines reaches"
        )
        return Way(
            way.way,
            way.title,
            way.variant,
            inputs=inputs,
            words=(f"{reached} {size}: weak vines, ask the leader; no source gives a rule below it", *cautions),
            source=source,
        )
    if level.weak:
        verbs = ("does", "is", "a weak vine") if level.weak == 1 else ("do", "are", "weak vines")
        cautions.insert(
            0,
            f"{level.weak} of {level.weighed} vines {verbs[0]} not reach {size} and {verbs[1]} left out: {verbs[2]}, "
            "ask the leader",
        )
    if level.capped:
        cautions.append(f"the cap holds back {level.capped} of {level.weighed} vines")
    if wood.by_hand:
        cautions.append("vines picked by hand: no interval")
    elif level.n == 1:
        cautions.append("one vine, hence no interval" if not wood.in_panels else "one panel, hence no interval")
    if level.parts_pooled:
        cautions.append("parts of the block pooled: no census by the same parts")
    return Way(
        way.way,
        way.title,
        way.variant,
        level.nodes,
        level.low,
        level.high,
        "vines" if level.low is not None else "",
        inputs=inputs,
        words=tuple(cautions),
        source=source,
    )


def most_of(formula: PruningFormula, cap: Cap | None) -> float | None:
    """Give the most nodes of a vine: the lower of the canopy's cap and one that the formula's source prints.

    Parameters
    ----------
    formula : a published formula.
    cap : the most that the canopy has room for, None where it is not known.
    """
    limits = [limit for limit in (None if cap is None else cap.nodes, formula.most_nodes) if limit is not None]
    return min(limits, default=None)


def by_shoots(wanted: Wanted, past: PastYields, ground: Ground, facts: PruningFacts) -> Way:
    """Give the nodes that would bring the shoots wanted.

    Parameters
    ----------
    wanted : shoots wanted and non-count shoots kept.
    past : what nodes have brought.
    ground : canopy of a vine.
    facts : season that nodes are for.
    """
    way = Way("shoots_wanted", SHOOTS, source=wanted.source)
    each = past.shoots_from_node
    if not ground.canopy_m:
        return _with(way, ground.why_no_canopy)
    if each is None or each.mean <= 0:
        return _with(
            way,
            f"no shoots were counted by class before {facts.season}; count them before thinning (shoot_tally with "
            "double_shoots, noncount_shoots and blind_nodes)",
        )
    inputs = (
        Input("shoots wanted", wanted.shoots_per_m, "shoots/m", source=wanted.source),
        Input("canopy of a vine", ground.canopy_m, "m"),
        Input("non-count shoots kept on a vine", wanted.noncount_kept, "shoots", source=wanted.noncount_why),
        _of_seasons("count and double shoots of a node", each, "shoots"),
    )

    def level(brought: float) -> float:
        return float(nodes_for_shoots(wanted.shoots_per_m, ground.canopy_m or 0.0, wanted.noncount_kept, brought))

    return _from_seasons(way, level, each, inputs, past)


def by_yield(wishes: Wishes, context: BlockContext, past: PastYields, ground: Ground, facts: PruningFacts) -> Way:
    """Give the nodes that would bring the yield wanted.

    Parameters
    ----------
    wishes : yield wanted, if it was asked for.
    context : the block's targets of yield.
    past : what nodes have brought.
    ground : bearing vines of a hectare.
    facts : season that nodes are for.
    """
    way = Way("yield_wanted", YIELD)
    asked, words = _yield_wanted(wishes, context, facts.season)
    if asked is None:
        return _with(way, "no yield is wanted: --yield says how much, or a target_band of yield_per_ha")
    each = past.fruit_kg_per_node
    if each is None or each.mean <= 0:
        return _with(way, f"no season before {facts.season} has both nodes counted and a closed harvest")
    inputs = [asked]
    per_vine = asked.value
    if asked.unit == "t/ha":
        if not ground.bearing_per_ha:
            return _with(way, "no vine census is recorded, so yield per hectare is not known per vine; load one")
        inputs.append(Input("bearing vines of a planted hectare", ground.bearing_per_ha, "vines"))
        per_vine = asked.value * 1000 / ground.bearing_per_ha
    inputs.append(_of_seasons("fruit of a node", each, "kg"))
    return _from_seasons(
        way, lambda brought: float(nodes_for_yield(per_vine, brought)), each, tuple(inputs), past, words
    )


def _yield_wanted(wishes: Wishes, context: BlockContext, season: int) -> tuple[Input | None, tuple[str, ...]]:
    if wishes.yield_t_per_ha is not None:
        return Input("yield wanted", wishes.yield_t_per_ha, "t/ha", source=ASKED_FOR), ()
    if wishes.yield_kg_per_vine is not None:
        return Input("yield wanted per vine", wishes.yield_kg_per_vine, "kg", source=ASKED_FOR), ()
    for figure, name, unit in (
        ("yield_per_ha", "yield wanted", "t/ha"),
        ("yield_per_vine", "yield wanted per vine", "kg"),
    ):
        target = context.target_in(season, figure)
        if target is None:
            continue
        limits = [limit for limit in (target.low, target.high) if limit is not None]
        words: tuple[str, ...] = ()
        if len(limits) == 1:
            words = ("the target is a ceiling: this is the most" if target.low is None else "the target is a floor",)
        value = sum(limits) / len(limits)
        return Input(name, value, unit, target.low, target.high, source=f"own target: {target.source}"), words
    return None, ()


def by_ideal_canes(wood: Figure | None, context: BlockContext, facts: PruningFacts) -> Way:
    """Give the nodes that the wood would make into canes of the ideal weight.

    Parameters
    ----------
    wood : prunings per vine of the season before, weighed at this pruning.
    context : the block's target of cane weight.
    facts : season that nodes are for.
    """
    target = context.target_in(facts.season, "cane_weight")
    published = band_sets()["WineSkills"].band_for("cane_weight", None, "")
    low, high = (None, None) if published is None else (published.low, published.high)
    source = "" if published is None else published.source
    if target is not None:
        low, high, source = target.low or target.high, target.high or target.low, f"own target: {target.source}"
    way = Way("ideal_canes", CANES, source=source)
    if wood is None or wood.value is None or not low or not high:
        return _with(
            way,
            f"no wood was weighed at the pruning that sets {facts.season}; weigh the canes of sampled vines there "
            "(pruned_vine, column prunings)",
        )
    middle = (low + high) / 2
    inputs = (
        Input("prunings of a vine", wood.value, "kg", wood.low, wood.high, wood.n, unit_of_sample(wood)),
        Input("weight of an ideal cane", middle, "g", low, high, source=source),
    )
    return Way(
        way.way,
        way.title,
        "",
        float(ideal_cane_charge(wood.value, middle)),
        float(ideal_cane_charge(wood.value, high)),
        float(ideal_cane_charge(wood.value, low)),
        "band" if low < high else "",
        inputs=inputs,
        words=() if target is not None else ("on mature vines the source adds 5 to 15 % for buds that fail",),
        source=source,
    )


def by_own_record(agreed: AgreedRange) -> Way:
    """Give the level on which the block's own record agrees.

    Parameters
    ----------
    agreed : the range with its seasons.
    """
    way = Way("own_record", RECORD)
    if agreed.level is None or agreed.low is None or agreed.high is None:
        return _with(way, why_no_range(agreed))
    return Way(
        way.way,
        way.title,
        "",
        agreed.level,
        float(agreed.low),
        float(agreed.high),
        "range",
        inputs=(
            Input("seasons that agree", float(agreed.agreeing), "seasons", n=agreed.at_these_levels, n_of="seasons"),
        ),
    )


def unit_of_sample(figure: Figure) -> str:
    """Give what a figure's n counts: vines, or panels where panels were drawn.

    Parameters
    ----------
    figure : a figure per vine.
    """
    return "panels" if "panels" in figure.chosen else "vines"


def why_no_range(agreed: AgreedRange) -> str:
    """Say why a record gives no range, and what would cure it.

    Parameters
    ----------
    agreed : a range without ends.
    """
    if agreed.verdict == "too short":
        seasons = "1 season has" if agreed.judged == 1 else f"{agreed.judged or 'no'} seasons have"
        since = "" if agreed.since_what == "recorded" else f" since {agreed.since} ({agreed.since_what})"
        return (
            f"the record is too short: {seasons} nodes counted and yield to prunings known{since}, 3 are needed; each "
            "season asks for nodes of sampled vines, a closed harvest and the wood weighed after it"
        )
    if agreed.agreeing < LEAST_SEASONS:
        told = (
            "none reads" if not agreed.agreeing else f"{agreed.agreeing} read" + ("s" if agreed.agreeing == 1 else "")
        )
        return f"the record does not agree: of {agreed.judged} seasons {told} within the bands, 3 are needed"
    return (
        f"the record does not agree: of {agreed.at_these_levels} seasons at these levels {agreed.agreeing} read within "
        "the bands, more than half are needed"
    )


def _of_seasons(name: str, over: OverSeasons, unit: str) -> Input:
    return Input(name, over.mean, unit, over.low, over.high, over.seasons, "seasons")


def _from_seasons(
    way: Way,
    level: Callable[[float], float],
    each: OverSeasons,
    inputs: tuple[Input, ...],
    past: PastYields,
    words: tuple[str, ...] = (),
) -> Way:
    """Give a way that rests on past seasons, only within 25 % of levels that the block has had."""
    nodes = level(each.mean)
    if not past.levels:
        return Way(
            way.way,
            way.title,
            inputs=inputs,
            words=("nodes kept were never counted here, so nothing says how far the record reaches", *words),
            source=way.source,
        )
    if not past.is_within_reach(nodes):
        had = f"{min(past.levels):.0f} to {max(past.levels):.0f}"
        return Way(
            way.way,
            way.title,
            inputs=inputs,
            words=(f"{OUTSIDE}: {nodes:.0f} nodes, where it has had {had}, and a record reaches 25 % further", *words),
            source=way.source,
        )
    # More shoots or fruit from a node ask for fewer nodes: the ends change places.
    low = None if each.high is None else level(each.high)
    high = None if each.low is None else level(each.low)
    if low is None:
        words = (*words, f"{each.seasons} {'season' if each.seasons == 1 else 'seasons'}: no interval below 3")
    return Way(
        way.way, way.title, "", nodes, low, high, "seasons" if low is not None else "", inputs=inputs, words=words,
        source=way.source,
    )  # fmt: skip


def _with(way: Way, *words: str) -> Way:
    return Way(way.way, way.title, way.variant, words=words, source=way.source)
