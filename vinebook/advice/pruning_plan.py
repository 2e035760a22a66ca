"""A level of nodes as the crew needs it: laid out on the vine, and as a table by the prunings of each vine."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vinebook.advice.balanced import nodes_of_vine
from vinebook.advice.nodes_model import Bearers, CrewLine, CrewTable, PruningPlan
from vinebook.advice.own_record import side_of
from vinebook.advice.pruning_formulas import HALF_KG, UNIT_KG
from vinebook.formulas.buds import nodes_for_dead_buds
from vinebook.formulas.pruning import spur_spacing_cm
from vinebook.seasons.model import Band

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import Bearer, DeadBuds, Lay, Wishes
    from vinebook.advice.pruning_formulas import PruningFormula
    from vinebook.seasons.context import Target
    from vinebook.seasons.model import TrainingFacts
    from vinebook.seasons.pruning_facts import OrderedPruning, WoodWeighed

USUAL_SPACING = Band(
    10.0, 15.0, "4 to 6 inches between neighbouring spurs; common practice, no source", "common practice"
)
NODES_PER_SPUR = NODES_PER_RENEWAL_SPUR = 2
"""Common practice, no source; published spurs have 1 to 3 clear nodes."""
MOST_ON_A_SPUR = 3
CANE_NODES = (5, 20)
"""Nodes of a cane as published: 5 to 15 (Oxford Companion to Wine 2006), 10 to 20 (Rehbein, Wisconsin 2010)."""
MOST_LINES = 14
UNITS_SHOWN = 3
"""Units of prunings that the crew's table reaches to at least."""


def rounded(nodes: float) -> int:
    """Give whole nodes, halves up.

    Parameters
    ----------
    nodes : nodes per vine.
    """
    return math.floor(nodes + 0.5)


def lay_of(wishes: Wishes, training: TrainingFacts | None, ordered: OrderedPruning | None) -> tuple[Lay | None, str]:
    """Give whether nodes are laid as spurs or canes, or why that is not known.

    Parameters
    ----------
    wishes : what the person asks for.
    training : training in force.
    ordered : order of this visit or of the latest before it.
    """
    if wishes.lay is not None:
        return wishes.lay, ""
    pruned = training.pruned if training is not None else ordered.pruned if ordered is not None else ""
    match pruned:
        case "spur":
            return "spurs", ""
        case "cane":
            return "canes", ""
        case "mixed":
            return None, "the block is pruned to spurs and canes: --lay spurs or --lay canes says which to lay out"
        case "minimal":
            return None, "the block is minimally pruned: nodes are not counted out"
        case _:
            return None, "no training is recorded: load one (`vinebook form training`), or say --lay spurs or canes"


def laid_out(
    nodes: int,
    chosen_by: str,
    lay: Lay,
    wishes: Wishes,
    training: TrainingFacts | None,
    ordered: OrderedPruning | None,
    spacing: Target | None,
) -> PruningPlan:
    """Lay a level out on the vine; the nodes of its bearers add up to it.

    Parameters
    ----------
    nodes : nodes per vine, above 0.
    chosen_by : why this level, in words.
    lay : spurs or canes.
    wishes : what the person asks for.
    training : training in force: arms and cordon.
    ordered : order of this visit or of the latest before it; it says how nodes were laid.
    spacing : the block's or vineyard's own band for spur spacing.
    """
    arms = None if training is None else training.arms
    same = ordered if ordered is not None and f"{ordered.pruned}s" == lay else None
    if lay == "canes":
        return _as_canes(nodes, chosen_by, wishes, arms, same)
    return _as_spurs(nodes, chosen_by, wishes, training, same, spacing)


def _as_spurs(
    nodes: int,
    chosen_by: str,
    wishes: Wishes,
    training: TrainingFacts | None,
    ordered: OrderedPruning | None,
    spacing: Target | None,
) -> PruningPlan:
    each = wishes.nodes_per_spur or _whole(ordered.nodes_per_spur if ordered else None) or NODES_PER_SPUR
    count, over = divmod(nodes, each)
    # Too few spurs to take one node more each: one more spur takes the rest.
    rest: tuple[Bearer, int, int] = ("spur", 1, over) if over > count else ("spur", over, each + 1)
    made = _bearers([("spur", count if over > count else count - over, each), rest])
    spurs = sum(one.count for one in made)
    cordon = training.cordon_length_m if training is not None and training.trained == "cordon" else None
    arms = None if training is None else training.arms
    warnings = []
    if max(one.nodes_each for one in made) > MOST_ON_A_SPUR:
        warnings.append(f"spurs of {max(one.nodes_each for one in made)} nodes: published spurs have 1 to 3")
    if cordon is None and (training is None or training.trained == "cordon"):
        warnings.append("the length of the cordon is not recorded (training, column cordon_length): no spacing")
    band = USUAL_SPACING
    if spacing is not None:
        band = Band(spacing.low, spacing.high, spacing.source, "own target")
    distance = None if cordon is None else float(spur_spacing_cm(cordon, spurs))
    return PruningPlan(
        nodes,
        chosen_by,
        made,
        arms,
        _shared_out(spurs, arms),
        distance,
        None if distance is None else band,
        None if distance is None else side_of(distance, band),
        tuple(warnings),
    )


def _as_canes(
    nodes: int, chosen_by: str, wishes: Wishes, arms: int | None, ordered: OrderedPruning | None
) -> PruningPlan:
    canes = wishes.canes or _whole(ordered.canes_per_vine if ordered else None) or arms or 2
    renewal = wishes.renewal_spurs
    if renewal is None:
        renewal = _whole(ordered.renewal_spurs if ordered else None)
    renewal = canes if renewal is None else renewal
    warnings = []
    on_canes = nodes - renewal * NODES_PER_RENEWAL_SPUR
    if on_canes < canes:
        warnings.append(f"{nodes} nodes leave none for canes beside {renewal} renewal spurs: laid without them")
        renewal, on_canes = 0, nodes
    canes = min(canes, on_canes)
    each, over = divmod(on_canes, canes)
    made = _bearers(
        [("cane", over, each + 1), ("cane", canes - over, each), ("renewal spur", renewal, NODES_PER_RENEWAL_SPUR)]
    )
    longest = each + (over > 0)
    if not CANE_NODES[0] <= each <= longest <= CANE_NODES[1]:
        warnings.append(f"canes of {longest} nodes: published canes have {CANE_NODES[0]} to {CANE_NODES[1]}")
    return PruningPlan(nodes, chosen_by, made, arms, _shared_out(canes, arms), None, None, None, tuple(warnings))


def _bearers(rows: list[tuple[Bearer, int, int]]) -> tuple[Bearers, ...]:
    return tuple(Bearers(name, count, each) for name, count, each in rows if count > 0 and each > 0)


def _shared_out(count: int, arms: int | None) -> tuple[int, ...]:
    """Share bearers out over arms: one number where they divide evenly, else one for each arm."""
    if not arms:
        return ()
    each, over = divmod(count, arms)
    return (each,) if not over else tuple(each + (arm < over) for arm in range(arms))


def _whole(number: float | None) -> int | None:
    return None if number is None or number < 1 else rounded(number)


def crew_table(
    formula: PruningFormula, wood: WoodWeighed, most_nodes: float | None, dead_buds: DeadBuds | None
) -> CrewTable:
    """Make the crew's table: prunings of the vine → nodes to keep, in the unit that the formula was printed with.

    It runs from the first unit to the heaviest vine weighed, or until the cap holds, in at most fourteen lines.

    Parameters
    ----------
    formula : a published formula.
    wood : wood weighed at the visit; it says how far the table goes.
    most_nodes : cap on the nodes of a vine, None without one.
    dead_buds : dead buds with the rule asked for; nodes are corrected where it gives a number.
    """
    base = formula.first_unit or formula.later_unit
    unit = "g" if base == HALF_KG else base
    unit_kg = 0.001 if unit == "g" else UNIT_KG[unit]
    least_step = {"lb": 0.25, "g": 125.0}.get(unit, 0.25)
    first = formula.first_unit_kg / unit_kg
    heaviest = max((vine.prunings_kg for vine in wood.vines), default=0.0) / unit_kg
    last = max(heaviest, first + UNITS_SHOWN * UNIT_KG[base] / unit_kg)
    if most_nodes is not None:
        # No line is needed beyond the first that the cap holds, so the steps may be as fine as they fit.
        beyond = max(most_nodes - formula.first_nodes, 0.0) / formula.later_nodes * formula.later_unit_kg
        last = min(last, first + beyond / unit_kg + least_step)
    step = least_step
    while (last - first) / step > MOST_LINES - 1:
        step *= 2
    rule = dead_buds.rule if dead_buds is not None else ""
    lines: list[CrewLine] = []
    for number in range(math.ceil((last - first) / step - 1e-9) + 1):
        prunings = first + number * step
        if prunings == 0:
            continue
        raw = float(nodes_of_vine(prunings * unit_kg, formula))
        kept = raw if most_nodes is None else min(raw, most_nodes)
        corrected = (
            float(nodes_for_dead_buds(kept, dead_buds.percent, rule)) if dead_buds is not None and rule else kept
        )
        is_capped = most_nodes is not None and raw > most_nodes
        lines.append(
            CrewLine(prunings, prunings * unit_kg, rounded(corrected if math.isfinite(corrected) else kept), is_capped)
        )
        if is_capped:
            break
    is_corrected = (
        dead_buds is not None and bool(rule) and math.isfinite(float(nodes_for_dead_buds(1.0, dead_buds.percent, rule)))
    )
    correction = f"{dead_buds.percent:.0f} % dead buds, {rule}" if dead_buds is not None and is_corrected else ""
    return CrewTable(formula, unit, first or None, most_nodes, correction, tuple(lines))
