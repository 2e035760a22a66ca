"""The pruning card: a block's decision as the crew's instruction, on one page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from vinebook.advice.pruning_plan import rounded
from vinebook.quantities import FOOT_M, UNITS_OF_DIMENSION
from vinebook.reports import fonts
from vinebook.reports.drawing import length_words
from vinebook.reports.frame import PROGRAM
from vinebook.reports.in_the_row import BOLD, PRUNED, TRAINED, cut, lines_of, made_from, row_frame
from vinebook.reports.languages import Speech, mark
from vinebook.reports.numbers import EN_DASH
from vinebook.reports.paper import PT_OF_MM
from vinebook.reports.render import Page, fill_template
from vinebook.reports.vine_drawings import draw_pruned_vine
from vinebook.reports.words import cite, make_printable
from vinebook.seasons.row_model import CHECKED_VINES, planting_in, training_in

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import CrewTable, NodesToKeep, PruningPlan
    from vinebook.reports.numbers import Units
    from vinebook.reports.paper import Format, Paper
    from vinebook.seasons.model import BlockHistory
    from vinebook.seasons.row_model import Order

LEAST_DRAWING_PT, MOST_DRAWING_PT = 130.0, 330.0
"""The drawing takes what room the words leave, so that the card is one page, always."""
SLACK_PT = 4.0
LONGEST_WORDS = 150
"""Signs of the decision's own words that the card has room for."""

SPRAY = (mark("Last spray"), mark("re-entry from"), mark("checked by"))
BY_THE_LABEL = mark("By the label and the law in force; empty: do not go in.")
SPUR_RULES = (
    mark(
        "Spur: keep the cane nearest to the cordon and cut it to its nodes; cut the outer cane away with "
        "the wood below."
    ),
    mark("A spur that has grown far from the cordon: cut it back to a spur on a shoot from its base, if there is one."),
    mark(
        "A gap: keep a good shoot that stands in it as a new spur. A spur less here and there is better "
        "than two in one place."
    ),
    mark("Spurs point the way the shoots will grow; none under the cordon where shoots go up."),
)
"""Common practice, no source."""
CANE_RULES = (
    mark(
        "Cane: take a cane of last year that had sun, as thick as a pencil, from near the head; best "
        "from last year’s renewal spur."
    ),
    mark("Renewal spur: below the cane on the same side, nearer to the trunk; next year’s cane comes from it."),
    mark("Lay the cane along the wire, wind it loosely and tie its end firmly; cut off what hangs over."),
    mark("No cane near enough on one side: leave a spur there and lay the other side; do not bring a cane across."),
)
"""Common practice, no source, but for the tying: loosely wound and firmly tied (British long-spur trials)."""
WEAK = mark("Weak vine (thin, short canes): keep fewer nodes, only on canes as thick as a pencil, and ask the leader.")
WEAK_BELOW = mark(
    "Weak vine (less than %(prunings)s of prunings): keep fewer nodes, only on good canes, and ask the leader."
)
FLAGGED = mark(
    "Vines flagged with tape (diseased wood) come last. Take their wood out of the block; clean and disinfect the tool "
    "after each of them and before the next block."
)
TOOLS = mark(
    "Sharp and powered tools: only who has been shown how. Look for wire, posts and fingers before "
    "each cut; free hand out "
    "of the blade’s way; powered secateurs off and locked while walking."
)
BODY = mark(
    "Goggles, gloves, firm footing. Change hands and posture; stop at the first pain. Cold and wet: "
    "warm clothes, dry gloves. "
    "Heat: drink a litre (a quart) an hour, shade. Know who gives first aid."
)
WOUNDS = mark(
    "Wounds let wood disease in: prune in dry weather, large cuts least of all in rain; leave a stub "
    "above the last node."
)


@dataclass(frozen=True, slots=True)
class CardTold:
    """What a card is made of.

    Attributes
    ----------
    history : the block.
    season : season that the nodes are for.
    order : the decision.
    nodes : the advice for that level: plan and table.
    plan : how the level is laid on the vine.
    """

    history: BlockHistory
    season: int
    order: Order
    nodes: NodesToKeep
    plan: PruningPlan


@dataclass(frozen=True, slots=True)
class _Pair:
    """Prunings of a vine and nodes to keep."""

    prunings: str
    nodes: str


def card_page(
    told: CardTold,
    speech: Speech,
    *,
    units: Units = "metric",
    paper: Paper = "a4",
    program: str = PROGRAM,
) -> Page:
    """Make the page of a pruning card.

    Parameters
    ----------
    told : what it is made of.
    speech : the crew's language.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    told, warnings = make_printable(told)
    history, order = told.history, told.order
    training, planting = training_in(history, told.season), planting_in(history, told.season)
    name = f"{history.code} {history.name}".strip()
    frame = row_frame(
        title=speech("Pruning card %(name)s, season %(season)s", name=name, season=told.season),
        foot=f"{name} · {order.key}",
        description=speech("Pruning card %(name)s, season %(season)s", name=name, season=told.season),
        author=history.vineyard.grower,
        paper=paper,
        seal=(history.seal, history.entries, history.as_of),
        speech=speech,
        program=program,
        warnings=warnings,
    )
    width = frame.format.text_width_pt
    laid = _laid(told.plan, speech)
    least, most = order.nodes - order.tolerance, order.nodes + order.tolerance
    is_cane = any(one.bearer == "cane" for one in told.plan.bearers)
    block = [speech("season %(season)s", season=told.season), history.vineyard.name]
    if planting is not None:
        block += [planting.cultivar, _spacings(planting.row_spacing_m, planting.vine_spacing_m, units, speech)]
    if training is not None:
        block.append(f"{speech(TRAINED[training.trained])}, {speech(PRUNED[training.pruned])}")
    table = told.nodes.crew_table
    values: dict[str, Any] = {
        "_": speech,
        "frame": frame,
        "name": cut(name, 19 * BOLD, width),
        "order": order,
        "subtitle": cut(" · ".join(part for part in block if part), 10.5, width),
        "nodes": speech.number(order.nodes),
        "least": speech.number(math.ceil(least)),
        "most": speech.number(math.floor(most)),
        "least_sum": speech.number(math.ceil(CHECKED_VINES * least)),
        "most_sum": speech.number(math.floor(CHECKED_VINES * most)),
        "visit_orders": None if order.visit_orders is None else speech.number(order.visit_orders),
        "laid": laid,
        "spaced": _spaced(told.plan, units, speech),
        "words": _short(order.words),
        "decided_on": speech.day(order.decided_on),
        "rules": [speech(words) for words in (CANE_RULES if is_cane else SPUR_RULES)],
        "is_cane": is_cane,
        "weak": _weak(table, units, speech),
        "flagged": speech(FLAGGED),
        "cautions": [speech(words) for words in (TOOLS, BODY, WOUNDS)],
        "table": _table(table, units, speech),
        "formula": "" if table is None else f"{table.formula.name}; {cite(table.formula.source)}",
        "cap": "" if table is None or table.most_nodes is None else speech.number(rounded(table.most_nodes)),
        "correction": "" if table is None else table.correction,
        "checked": order.checked,
        "boxes": range(CHECKED_VINES),
        "alt": speech("The vine after pruning: %(laid)s.", laid=laid),
        "made_from": made_from(frame, speech),
    }
    room = _room(values, frame.format, speech)
    picture, notes = draw_pruned_vine(
        told.plan,
        training,
        planting.vine_spacing_m if planting is not None else 1.0,
        (width, min(room, MOST_DRAWING_PT)),
        units,
        speech,
    )
    values["notes"] = notes
    return Page(fill_template("card.html", values), {"vine.svg": picture}, warnings, made_at=frame.record.moment)


def _room(values: dict[str, Any], paper: Format, speech: Speech) -> float:
    """Give the height that all else leaves to the drawing; the sizes are those of `row.css` and `card.css`.

    Parameters
    ----------
    values : what the template is filled with.
    paper : the page.
    speech : its language.
    """
    width = paper.text_width_pt

    def small(words: str, share: float = 1.0) -> float:
        return 10.6 * lines_of(words, 8.5, width * share) + 2

    def fine(words: str) -> float:
        return 9.5 * lines_of(words, 7.5, width)

    head = 11 + 22 + 13 + 8.5
    keep = speech("Keep %(nodes)s nodes on a vine", nodes=values["nodes"])
    passes = speech("%(least)s to %(most)s pass", least=values["least"], most=values["most"])
    order: float = 25 * lines_of(f"{keep} {passes}", 19.5 * BOLD, width)
    order += 15 * lines_of(f"{values['laid']} = {values['nodes']}; {values['spaced']}.", 12, width)
    said = [
        speech("Count every clear node, on renewal spurs too; the basal bud never counts."),
        speech("No tolerance was given: a tenth more or fewer passes.") if values["order"].tolerance_is_usual else "",
        values["words"] + 20 * "n" + values["order"].decided_by + values["decided_on"],
    ]
    order += small(" ".join(said)) + (13 if values["visit_orders"] else 0)
    notes = 3 + 2 * 9.5
    young = speech("Young vine: do not fruit it, ask the leader. Dead vine: flag it, cut nothing.")
    columns = 17 + max(
        sum(small(words, 0.49) for words in values["rules"]),
        sum(small(words, 0.48) for words in (values["weak"], young, values["flagged"])),
    )
    table = 0.0
    if values["table"]:
        said = [
            speech("Between two weights take the nearer; heavier than the last, its nodes."),
            speech("Formula: %(formula)s.", formula=values["formula"]),
            speech("The canopy has room for %(cap)s nodes at most.", cap=values["cap"]) if values["cap"] else "",
            speech("Corrected for dead buds: %(words)s.", words=values["correction"]) if values["correction"] else "",
        ]
        table = 3 + 14 + 30 + fine(" ".join(said))
    passing = speech(
        "The sum of ten vines passes from %(least)s to %(most)s. Outside: tell the crew at once and check ten more.",
        least=values["least_sum"],
        most=values["most_sum"],
    )
    check: float = 4 + 14 + 17 + (44 if values["is_cane"] else 27) + 18
    check += small(f"{passing} {speech('Take vines from all over the block, not the nearest.')}")
    cautions = 14 + sum(10.6 * lines_of(words, 8.5, width - 13) + 1.5 for words in values["cautions"])
    spray = fonts.width_em(" ".join(speech(words) for words in SPRAY)) * 9.5 * BOLD + 110 * PT_OF_MM + 20
    spray += fonts.width_em(speech(BY_THE_LABEL)) * 7.5
    lines = math.ceil(spray / (width - 16))
    used = head + order + notes + columns + table + check + cautions + 11 + 15 * lines + fine(values["made_from"])
    return max(paper.text_height_pt - used - SLACK_PT, LEAST_DRAWING_PT)


def _short(words: str) -> str:
    """Give words as far as the card has room for them."""
    return words if len(words) <= LONGEST_WORDS else f"{words[:LONGEST_WORDS].rsplit(' ', 1)[0]} …"


def _spacings(row_m: float, vine_m: float, units: Units, speech: Speech) -> str:
    unit, one_m = ("m", 1.0) if units == "metric" else ("ft", float(FOOT_M))
    return f"{speech.number(row_m / one_m, 2)} × {speech.number(vine_m / one_m, 2)}\u00a0{unit}"


def _laid(plan: PruningPlan, speech: Speech) -> str:
    """Say what is left on the vine: 10 spurs of 2 nodes + …."""
    parts = []
    for one in plan.bearers:
        each = speech.number(one.nodes_each)
        match one.bearer:
            case "spur":
                words = speech.plural(
                    "%(number)s spur of %(each)s nodes", "%(number)s spurs of %(each)s nodes", one.count, each=each
                )
            case "cane":
                words = speech.plural(
                    "%(number)s cane of %(each)s nodes", "%(number)s canes of %(each)s nodes", one.count, each=each
                )
            case _:
                words = speech.plural(
                    "%(number)s renewal spur of %(each)s nodes",
                    "%(number)s renewal spurs of %(each)s nodes",
                    one.count,
                    each=each,
                )
        parts.append(words)
    return " + ".join(parts)


def _spaced(plan: PruningPlan, units: Units, speech: Speech) -> str:
    """Say how bearers are shared out over the arms, and how far apart spurs stand."""
    is_cane = any(one.bearer == "cane" for one in plan.bearers)
    parts = []
    if plan.per_arm:
        many = " / ".join(speech.number(count) for count in plan.per_arm)
        parts.append(
            speech("canes on each arm: %(many)s", many=many)
            if is_cane
            else speech("spurs on each arm: %(many)s", many=many)
        )
    if plan.spacing_cm is not None:
        parts.append(speech("a spur every %(length)s of cordon", length=_gaps(plan, plan.spacing_cm, units)))
    return "; ".join(parts)


def _gaps(plan: PruningPlan, spacing_cm: float, units: Units) -> str:
    """Give the distance from spur to spur; two where arms have more and fewer spurs."""
    spurs = sum(one.count for one in plan.bearers if one.bearer == "spur")
    arm_cm = spacing_cm * spurs / max(plan.arms or 1, 1)
    many = sorted(set(plan.per_arm), reverse=True) if len(plan.per_arm) > 1 else []
    found = [arm_cm / count for count in many if count] or [spacing_cm]
    words = EN_DASH.join(dict.fromkeys(length_words(cm / 100, units) for cm in found))
    return f"{words}\u00a0{'cm' if units == 'metric' else 'in'}"


def _prunings(kg: float, units: Units, speech: Speech) -> str:
    if units == "us":
        pound_kg = float(UNITS_OF_DIMENSION["mass"]["lb"])
        return f"{speech.number(kg / pound_kg, 2)}\u00a0lb"
    return f"{speech.number(kg, 2)}\u00a0kg"


def _weak(table: CrewTable | None, units: Units, speech: Speech) -> str:
    if table is None or table.below is None:
        return speech(WEAK)
    first = table.lines[0].prunings_kg
    return speech(WEAK_BELOW, prunings=_prunings(first, units, speech))


def _table(table: CrewTable | None, units: Units, speech: Speech) -> list[_Pair]:
    if table is None:
        return []
    return [_Pair(_prunings(line.prunings_kg, units, speech), speech.number(line.nodes)) for line in table.lines]
