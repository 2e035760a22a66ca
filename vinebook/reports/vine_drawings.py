"""The drawing of a card, of the same strokes as the history's cordon: the vine as it should look after pruning.

It comes from the record: training, arms, curtains, cordon, spacing, height of the wire, plan of the nodes. What is not
recorded is not to scale, and the drawing says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports import svg
from vinebook.reports.dimensions import (
    TYPE_PT,
    length_with_unit,
    measure,
    sized,
    tick,
    turned,
    wide,
    words_at,
    words_over,
)
from vinebook.reports.drawing import (
    HEAVY_PT,
    LIGHT_PT,
    PT_OF_M,
    Bearer,
    draw_bearer,
    draw_node,
    pick_scale,
    scale_bar,
)
from vinebook.reports.svg import FINE, GREY, INK, number

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import PruningPlan
    from vinebook.reports.languages import Speech
    from vinebook.reports.numbers import Units
    from vinebook.seasons.model import TrainingFacts

SPUR_SIZE = 1.9
"""Spurs and nodes are drawn this much larger than in a history, to be read at arm's length."""
STEP_M = 0.07
"""From node to node of a cane, at most; common practice, no source."""
UNDER_WIRE_M = 0.11
"""Head of a cane-pruned vine under its wire: 4 to 5 inches (Oregon State University, pruning video)."""
ARM_M = 0.2
"""Length at which an arm is drawn whose length is not recorded."""
LEVEL_PT, LEAST_LEVEL_PT = 92.0, 66.0
"""From one pair of arms to the next where several are drawn one above the other."""
SHOOTS_PT = 34.0
GROUND_PT = 24.0
STUB_PT = 62.0
"""Height of a trunk that is broken off."""
BROKEN_FROM = 1.5
"""Where the whole trunk would make the scale so many times smaller, it is broken off."""
CANE_LEVEL_PT = 22.0
"""From one cane to the next above it on the same side."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where and how a vine is drawn.

    Attributes
    ----------
    x : middle of the picture.
    pt_of_m : points of a metre.
    way : -1 where spurs point up the page, 1 down.
    units : of its dimensions.
    top : height of the wire in the picture.
    ground_m : height of the wire above the ground that is drawn; None where the trunk is broken off.
    is_one : whether there is one level of arms.
    levels, level_pt : levels of arms that are drawn, and the height of each.
    """

    x: float
    pt_of_m: float
    way: int
    units: Units
    top: float
    ground_m: float | None
    is_one: bool
    levels: int
    level_pt: float


def draw_pruned_vine(
    plan: PruningPlan,
    training: TrainingFacts | None,
    vine_spacing_m: float,
    room_pt: tuple[float, float],
    units: Units,
    _: Speech,
) -> tuple[str, tuple[str, ...]]:
    """Draw a vine as it should look after pruning.

    Parameters
    ----------
    plan : the level laid out.
    training : training in force.
    vine_spacing_m : distance between vines in the row.
    room_pt : most width and height of the picture.
    units : dimensions stand in centimetres or inches.
    _ : the language of its words.

    Returns
    -------
    The picture, and in words what of it is not to scale.
    """
    frame, scale = _framed(plan, training, vine_spacing_m, room_pt, units)
    wire_m = training.wire_height_m if training is not None else None
    notes: list[str] = []
    parts: list[str] = []
    y, floor = frame.top, None
    if frame.is_one:
        foot = y + (STUB_PT if frame.ground_m is None else frame.ground_m * frame.pt_of_m)
        floor = None if frame.ground_m is None else foot
        height = foot + GROUND_PT + 12
        parts += _ground(frame, y, foot, vine_spacing_m, room_pt[0])
    else:
        height = frame.level_pt * frame.levels + 22
        if 2 * frame.levels < (plan.arms or 1):
            notes.append(_("%(shown)s of %(arms)s arms are drawn.", shown=2 * frame.levels, arms=plan.arms))
    if frame.ground_m is None:
        notes.append(
            _("The height of the wire is not recorded.")
            if wire_m is None
            else _("The wire hangs %(length)s above the ground.", length=length_with_unit(wire_m, units))
        )
    if _has_canes(plan):
        parts += _cane_vine(plan, frame, y, floor, vine_spacing_m / 2, _)
        notes.append(_("Canes are drawn with the same distance from node to node; on the vine it differs."))
    elif training is None or training.trained == "head":
        parts += _bush(plan, frame, y, floor)
        notes += [_("Lengths of spurs are not to scale."), _("The length of the arms is not recorded.")]
    else:
        parts += _cordon_vine(plan, frame, y, floor, _arm_m(plan, training), training, _)
        notes.append(_("Lengths of spurs are not to scale."))
        if training.cordon_length_m is None:
            notes.append(_("The length of the cordon is not recorded."))
        if training.curtains > 1:
            notes.append(_("The curtains hang side by side; they are drawn one above the other."))
    foot = height - 14
    words = _("scale 1 : %(number)s", number=scale)
    parts.append(f'<g font-size="8">{"".join(scale_bar(8, foot, frame.pt_of_m, scale, units, words))}</g>')
    return "\n".join([svg.open_svg(room_pt[0], height), *parts, "</svg>"]), tuple(notes)


def _has_canes(plan: PruningPlan) -> bool:
    return any(one.bearer == "cane" for one in plan.bearers)


def _arm_m(plan: PruningPlan, training: TrainingFacts | None) -> float:
    """Give the length of an arm; a usual one where the cordon's is not recorded."""
    if training is None or training.trained == "head" or training.cordon_length_m is None:
        return ARM_M
    return training.cordon_length_m / max(plan.arms or 1, 1)


def _framed(
    plan: PruningPlan, training: TrainingFacts | None, vine_spacing_m: float, room_pt: tuple[float, float], units: Units
) -> tuple[_Frame, int]:
    """Give the largest scale that has room, as the n of 1 : n, and with it where the vine is drawn."""
    width, most = room_pt
    has_canes = _has_canes(plan)
    is_head = training is None or training.trained == "head"
    arms = plan.arms or 1
    levels = 1 if has_canes or is_head else -(-arms // 2)
    is_one = levels == 1
    canes = sum(one.count for one in plan.bearers if one.bearer == "cane")
    top = SHOOTS_PT + (16 if is_head and not has_canes else 0) + max(-(-canes // 2) - 1, 0) * CANE_LEVEL_PT
    half_m = vine_spacing_m / 2 if has_canes else _arm_m(plan, training)
    scale = pick_scale(2 * max(half_m, vine_spacing_m / 2) if is_one else 2 * half_m, width - 2 * 46)
    ground_m = training.wire_height_m if is_one and training is not None else None
    if ground_m is not None:
        whole = pick_scale(ground_m, most - top - GROUND_PT - 14)
        if whole <= BROKEN_FROM * scale:
            scale = max(scale, whole)
        else:
            ground_m = None
    shown = min(levels, max(int((most - 22) // LEAST_LEVEL_PT), 1))
    is_hanging = training is not None and training.shoot_position == "down" and not has_canes
    frame = _Frame(
        width / 2,
        PT_OF_M / scale,
        1 if is_hanging else -1,
        units,
        top,
        ground_m,
        is_one=is_one,
        levels=shown,
        level_pt=min(LEVEL_PT, (most - 22) / shown),
    )
    return frame, scale


def _ground(frame: _Frame, y: float, foot: float, vine_spacing_m: float, width: float) -> list[str]:
    """Draw wire, the lines half way to the neighbours, and ground with the height of the wire where that is drawn."""
    half = vine_spacing_m / 2 * frame.pt_of_m
    left, right = frame.x - half, frame.x + half
    ends = max(left - 30, 4), min(right + 30, width - 4)
    parts = [svg.line(ends[0], y, ends[1], y, GREY, 0.6)]
    parts += [svg.dashed(x, y - 12, x, foot + 8) for x in (left, right)]
    parts += measure(left, right, foot + 11, length_with_unit(vine_spacing_m, frame.units))
    if frame.ground_m is None:
        return parts
    x = min(right + 22, width - 20)
    parts += [svg.line(ends[0], foot, ends[1], foot, INK, 0.8), svg.line(x, y, x, foot, INK, 0.4)]
    parts += [tick(x, at) for at in (y, foot)]
    parts.append(words_over(x - 4, (y + foot) / 2 + 3, length_with_unit(frame.ground_m, frame.units), "end", TYPE_PT))
    return parts


def _trunk(frame: _Frame, y: float, floor: float | None, half: float = 5.0) -> list[str]:
    """Draw a trunk from under the cordon or head to the ground, broken off where that is not drawn."""
    foot = floor if floor is not None else y + 26
    flare = 2.0 if floor is not None else 0.0
    way = (
        f"M{number(frame.x - half)} {number(y)}C{number(frame.x - half + 1)} {number(y + 9)} "
        f"{number(frame.x - half - 1)} {number(foot - 14)} {number(frame.x - half - flare)} {number(foot)}"
        f"M{number(frame.x + half)} {number(y)}C{number(frame.x + half - 1)} {number(y + 9)} "
        f"{number(frame.x + half + 1)} {number(foot - 14)} {number(frame.x + half + flare)} {number(foot)}"
    )
    parts = [svg.path(way, INK, HEAVY_PT)]
    if floor is None:
        parts.append(svg.path(f"M{number(frame.x - 11)} {number(foot)}h8l2 -4l3 8l2 -4h7", INK, LIGHT_PT))
    return parts


def _spurs_of_arms(plan: PruningPlan) -> list[list[int]]:
    """Give the nodes of each spur, arm by arm; spurs of more nodes are shared out over the arms."""
    spurs = [one.nodes_each for one in plan.bearers for _ in range(one.count) if one.bearer == "spur"]
    arms = max(plan.arms or 1, 1)
    many = plan.per_arm if len(plan.per_arm) == arms else tuple(plan.per_arm or (len(spurs),)) * arms
    shared: list[list[int]] = [[] for _ in range(arms)]
    spurs.sort(reverse=True)
    for nodes in spurs:
        open_arms = [k for k in range(arms) if len(shared[k]) < many[k]] or list(range(arms))
        shared[min(open_arms, key=lambda k: (len(shared[k]), k))].append(nodes)
    return shared


def _spur(x: float, y: float, nodes: int, way: int) -> str:
    return sized(x, y, draw_bearer(0, 0, Bearer(0.0, nodes), way=way), SPUR_SIZE)


def _cordon_vine(
    plan: PruningPlan,
    frame: _Frame,
    y: float,
    floor: float | None,
    arm_m: float,
    training: TrainingFacts,
    _: Speech,
) -> list[str]:
    """Draw cordons with their spurs, two arms a level, with the distance from spur to spur."""
    arms = _spurs_of_arms(plan)
    parts: list[str] = []
    half, long = 4.2, arm_m * frame.pt_of_m
    curtains = training.curtains
    for level, first in enumerate(range(0, min(len(arms), 2 * frame.levels), 2)):
        sides = list(zip(arms[first : first + 2], (-1, 1) if len(arms) > first + 1 else (1,), strict=True))
        at = y + level * frame.level_pt
        parts += _trunk(frame, at + half, floor)
        left, right = (frame.x - long if len(sides) == 2 else frame.x - 5), frame.x + long
        way = f"M{number(left)} {number(at - half)}H{number(right)}a{half} {half} 0 0 1 0 {2 * half}"
        way += f"H{number(left)}a{half} {half} 0 0 1 0 {-2 * half}z"
        parts.append(f'<path d="{way}" fill="#fff" stroke="{INK}" stroke-width="{HEAVY_PT}"/>')
        for spurs, side in sides:
            if not spurs:
                continue
            gap = long / len(spurs)
            places = [frame.x + side * gap * (k + 0.5) for k in range(len(spurs))]
            parts += [_spur(x, at + frame.way * half, nodes, frame.way) for x, nodes in zip(places, spurs, strict=True)]
            length = length_with_unit(arm_m / len(spurs), frame.units)
            words = _("from spur to spur %(length)s", length=length)
            span = abs(places[-1] - places[0])
            parts += _chain(places, at, half, frame, words if wide(words, 8.5) <= span + gap - 6 else length)
        parts.append(words_over(left - 8, at + 3, _("end of arm"), "end", 8.5))
        if curtains > 1:
            name = _("curtain %(number)s", number=level * curtains // max(-(-len(arms) // 2), 1) + 1)
            parts.append(words_at(8, at - 18, name, INK))
    return parts


def _chain(places: list[float], at: float, half: float, frame: _Frame, words: str) -> list[str]:
    """Draw the distances from spur to spur of an arm, on the side that has no spurs."""
    if len(places) < 2:
        return []
    level = at - frame.way * 18
    ends = sorted((places[0], places[-1]))
    return [
        *(svg.line(x, at - frame.way * (half + 2), x, level - frame.way * 3, FINE, 0.5) for x in places),
        svg.line(ends[0], level, ends[1], level, INK, 0.4),
        *(tick(x, level) for x in places),
        words_over((ends[0] + ends[1]) / 2, level + (13 if frame.way < 0 else -5), words, "middle", 8.5),
    ]


def _cane_vine(plan: PruningPlan, frame: _Frame, y: float, floor: float | None, half_m: float, _: Speech) -> list[str]:
    """Draw canes laid from the head along the wire, with the renewal spurs at the head."""
    canes = [one.nodes_each for one in plan.bearers for _ in range(one.count) if one.bearer == "cane"]
    renewal = [one.nodes_each for one in plan.bearers for _ in range(one.count) if one.bearer == "renewal spur"]
    head = y + UNDER_WIRE_M * frame.pt_of_m
    parts = _trunk(frame, head, floor, 6.0)
    parts.append(svg.path(f"M{number(frame.x - 6)} {number(head)}q6 -7 12 0", INK, HEAVY_PT))
    used = {-1: 0, 1: 0}
    outer: dict[int, float] = {}
    for k, nodes in enumerate(canes):
        side = -1 if k % 2 == 0 else 1
        level = y - used[side] * CANE_LEVEL_PT
        used[side] += 1
        step = min(STEP_M, (half_m - 0.04) / (nodes + 0.5)) * frame.pt_of_m
        start = frame.x + side * 5
        first = frame.x + side * (5 + step * 0.9)
        tip = first + side * step * (nodes - 1) + side * step * 0.4
        parts.append(
            svg.path(
                f"M{number(start)} {number(head - 2)}C{number(start + side * 3)} {number(level + 4)} "
                f"{number(first - side * step * 0.6)} {number(level)} {number(first)} {number(level)}H{number(tip)}",
                INK,
                2.4,
            )
        )
        parts += [sized(first + side * step * j, level, [draw_node(0, 0)], SPUR_SIZE) for j in range(nodes)]
        outer[side] = max(outer.get(side, 0.0), side * (tip - frame.x))
    for side, reach in outer.items():
        words = _canes_of(canes[0 if side < 0 else 1 :: 2], _)
        top = y - (used[side] - 1) * CANE_LEVEL_PT - 9
        is_wide = wide(words) > reach - 8
        x = frame.x + side * (10 if is_wide else reach)
        parts.append(words_at(x, top, words, INK, "end" if (side < 0) == is_wide else "start"))
    for k, nodes in enumerate(renewal):
        side = -1 if k % 2 == 0 else 1
        x = frame.x + side * (4 if k < 2 else 9)
        stick = draw_bearer(0, 0, Bearer(0.0, nodes), way=-1)
        parts.append(turned(x, head + 3, side * (50 if k < 2 else 75), stick, SPUR_SIZE))
    if renewal:
        words = _.plural("renewal spur: %(number)s node", "renewal spur: %(number)s nodes", renewal[0])
        parts.append(svg.line(frame.x - 26, head + 2, frame.x - 40, head + 14, FINE, 0.6))
        parts.append(words_over(frame.x - 43, head + 19, words, "end", TYPE_PT))
    return parts


def _canes_of(canes: list[int], _: Speech) -> str:
    """Say which canes lie on one side: 1 cane of 8 nodes."""
    return " + ".join(
        _.plural(
            "%(number)s cane of %(each)s nodes",
            "%(number)s canes of %(each)s nodes",
            canes.count(nodes),
            each=_.number(nodes),
        )
        for nodes in sorted(set(canes), reverse=True)
    )


def _bush(plan: PruningPlan, frame: _Frame, y: float, floor: float | None) -> list[str]:
    """Draw a head with its arms spread, spurs at their ends; the arms' lengths are not recorded."""
    import math

    arms = _spurs_of_arms(plan)
    head = y + 14
    parts = _trunk(frame, head, floor, 7.0)
    long = min(ARM_M * frame.pt_of_m, 60.0)
    for k, spurs in enumerate(arms):
        turn = 0.0 if len(arms) == 1 else -68 + 136 * k / (len(arms) - 1)
        dx, dy = math.sin(math.radians(turn)), -math.cos(math.radians(turn)) * 0.55
        x2, y2 = frame.x + dx * long, head + dy * long
        parts.append(svg.path(f"M{number(frame.x + dx * 5)} {number(head)}L{number(x2)} {number(y2)}", INK, 6.0))
        for j, nodes in enumerate(spurs):
            at = 1 - j * 0.36
            x, foot = frame.x + dx * long * at, head + dy * long * at - 2
            stick = draw_bearer(0, 0, Bearer(0.0, nodes), way=-1)
            parts.append(turned(x, foot, turn * 0.4, stick, SPUR_SIZE * 0.8))
    return parts
