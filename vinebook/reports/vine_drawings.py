"""Drawings for the row, of the same strokes as the history's cordon: the vine after pruning, and what counts as what.

They come from the record: training, arms, curtains, cordon, spacing, height of the wire, plan of the nodes. What is not
recorded is not to scale, and the drawing says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports import svg
from vinebook.reports.drawing import (
    HEAVY_PT,
    LIGHT_PT,
    PT_OF_M,
    Bearer,
    draw_bearer,
    draw_blind,
    draw_node,
    draw_shoot,
    length_words,
    pick_scale,
    scale_bar,
)
from vinebook.reports.svg import FINE, GREY, INK, number

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import PruningPlan
    from vinebook.reports.languages import Speech
    from vinebook.reports.numbers import Units
    from vinebook.seasons.model import TrainingFacts

TYPE_PT = 9.5
SPUR_SIZE = 1.9
"""Spurs and nodes are drawn this much larger than in a history, to be read at arm's length."""
STEP_M = 0.07
"""From node to node of a cane, at most; common practice, no source."""
UNDER_WIRE_M = 0.11
"""Head of a cane-pruned vine under its wire: 4 to 5 inches (Oregon State University, pruning video)."""
ARM_M = 0.2
"""Length at which an arm is drawn whose length is not recorded."""
LEVEL_PT, LEAST_LEVEL_PT = 92.0, 74.0
"""From one pair of arms to the next where several are drawn one above the other."""
SHOOTS_PT = 34.0
GROUND_PT = 24.0
CANE_LEVEL_PT = 22.0
"""From one cane to the next above it on the same side."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a vine is drawn: middle of the picture, points of a metre, which way its spurs point, levels of arms."""

    x: float
    pt_of_m: float
    way: int
    units: Units
    levels: int = 1
    level_pt: float = LEVEL_PT


def _text(x: float, y: float, words: str, ink: str = INK, anchor: str = "start", size: float = TYPE_PT) -> str:
    return f'<g font-size="{size}">{svg.text(x, y, words, ink, anchor)}</g>'


def _sized(x: float, y: float, strokes: list[str], size: float) -> str:
    """Give strokes drawn around 0, 0 at a place, larger than they were drawn."""
    return f'<g transform="translate({number(x)} {number(y)}) scale({size})">{"".join(strokes)}</g>'


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
    arms = plan.arms or 1
    levels = max(1, -(-arms // 2)) if arms > 1 else 1
    is_cane = any(one.bearer == "cane" for one in plan.bearers)
    is_head = training is None or training.trained == "head"
    cordon_m = None if training is None or is_head else training.cordon_length_m
    arm_m = ARM_M if cordon_m is None else cordon_m / arms
    half_m = vine_spacing_m / 2 if is_cane else arm_m
    if is_cane or is_head:
        levels = 1
    is_hanging = training is not None and training.shoot_position == "down" and not is_cane
    canes = sum(one.count for one in plan.bearers if one.bearer == "cane")
    over = (SHOOTS_PT + 16 if is_head and not is_cane else SHOOTS_PT) + max(-(-canes // 2) - 1, 0) * CANE_LEVEL_PT
    wire_m = training.wire_height_m if training is not None else None
    width, most = room_pt
    ground = levels == 1 and wire_m is not None
    span = 2 * max(half_m, vine_spacing_m / 2) if ground else 2 * half_m
    scale = pick_scale(span, width - 2 * 46)
    if ground and wire_m is not None:
        scale = max(scale, pick_scale(wire_m, most - over - GROUND_PT - 14))
    shown = min(levels, max(int((most - 22) // LEAST_LEVEL_PT), 1))
    level_pt = min(LEVEL_PT, (most - 22) / shown)
    frame = _Frame(width / 2, PT_OF_M / scale, 1 if is_hanging else -1, units, shown, level_pt)
    notes = [_("Lengths of spurs are not to scale.")] if not is_cane else []
    parts: list[str] = []
    if ground and wire_m is not None:
        y = over
        floor = y + wire_m * frame.pt_of_m
        height = floor + GROUND_PT + 12
        parts += _ground(frame, y, floor, wire_m, vine_spacing_m, width, _)
    else:
        y = over
        floor = None
        height = level_pt * shown + 22
        if shown < levels:
            notes.append(_("%(shown)s of %(arms)s arms are drawn.", shown=2 * shown, arms=arms))
        notes.append(
            _("The height of the wire is not recorded.")
            if wire_m is None
            else _("The wire hangs %(length)s above the ground.", length=_long(wire_m, units))
        )
    if is_cane:
        parts += _cane_vine(plan, frame, y, floor, half_m, _)
        notes.append(_("Canes are drawn with the same distance from node to node; on the vine it differs."))
    elif is_head:
        parts += _bush(plan, frame, y, floor)
        notes.append(_("The length of the arms is not recorded."))
    else:
        parts += _cordon_vine(plan, frame, y, floor, arm_m, training, _)
        if cordon_m is None:
            notes.append(_("The length of the cordon is not recorded."))
        if training is not None and training.curtains > 1:
            notes.append(_("The curtains hang side by side; they are drawn one above the other."))
    foot = height - 14
    words = _("scale 1 : %(number)s", number=scale)
    parts.append(f'<g font-size="8">{"".join(scale_bar(8, foot, frame.pt_of_m, scale, units, words))}</g>')
    return "\n".join([svg.open_svg(width, height), *parts, "</svg>"]), tuple(notes)


def _long(length_m: float, units: Units) -> str:
    """Write a length with its unit."""
    return f"{length_words(length_m, units)}\u00a0{'cm' if units == 'metric' else 'in'}"


def _ground(
    frame: _Frame, y: float, floor: float, wire_m: float, vine_spacing_m: float, width: float, _: Speech
) -> list[str]:
    """Draw ground, wire, the neighbours' halves and the height of the wire."""
    half = vine_spacing_m / 2 * frame.pt_of_m
    left, right = frame.x - half, frame.x + half
    parts = [
        svg.line(max(left - 30, 4), floor, min(right + 30, width - 4), floor, INK, 0.8),
        svg.line(max(left - 30, 4), y, min(right + 30, width - 4), y, GREY, 0.6),
    ]
    for x in (left, right):
        parts.append(svg.dashed(x, y - 12, x, floor))
    parts += _measure(left, right, floor + 11, _long(vine_spacing_m, frame.units))
    x = min(right + 22, width - 20)
    parts += [svg.line(x, y, x, floor, INK, 0.4), *(_tick(x, at) for at in (y, floor))]
    parts.append(_over(x - 4, (y + floor) / 2 + 3, _long(wire_m, frame.units), "end", TYPE_PT))
    return parts


def _tick(x: float, y: float) -> str:
    return svg.line(x - 2.2, y + 2.2, x + 2.2, y - 2.2, INK, 0.8)


def _measure(left: float, right: float, y: float, words: str) -> list[str]:
    """Draw a dimension under what it measures, its words on a white ground."""
    half = _wide(words) / 2
    middle = (left + right) / 2
    return [
        svg.line(left, y, right, y, INK, 0.4),
        _tick(left, y),
        _tick(right, y),
        svg.rect(middle - half - 2, y - 6, 2 * half + 4, 12, svg.PAPER),
        _text(middle, y + 3.3, words, INK, "middle"),
    ]


def _trunk(frame: _Frame, y: float, floor: float | None, half: float = 5.0) -> list[str]:
    """Draw a trunk from under the cordon or head to the ground, broken off where that is not drawn."""
    foot = floor if floor is not None else y + 40
    flare = 2.0 if floor is not None else 0.0
    way = (
        f"M{number(frame.x - half)} {number(y)}C{number(frame.x - half + 1)} {number(y + 20)} "
        f"{number(frame.x - half - 1)} {number(foot - 14)} {number(frame.x - half - flare)} {number(foot)}"
        f"M{number(frame.x + half)} {number(y)}C{number(frame.x + half - 1)} {number(y + 20)} "
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
    return _sized(x, y, draw_bearer(0, 0, Bearer(0.0, nodes), way=way), SPUR_SIZE)


def _cordon_vine(
    plan: PruningPlan,
    frame: _Frame,
    y: float,
    floor: float | None,
    arm_m: float,
    training: TrainingFacts | None,
    _: Speech,
) -> list[str]:
    """Draw cordons with their spurs, two arms a level, with the distance from spur to spur."""
    arms = _spurs_of_arms(plan)
    parts: list[str] = []
    half, long = 4.2, arm_m * frame.pt_of_m
    curtains = training.curtains if training is not None else 1
    for level, first in enumerate(range(0, min(len(arms), 2 * frame.levels), 2)):
        sides = list(zip(arms[first : first + 2], (-1, 1) if len(arms) > first + 1 else (1,), strict=True))
        at = y + level * frame.level_pt
        parts += _trunk(frame, at + half, floor)
        left, right = (frame.x - long if len(sides) == 2 else frame.x - 5), frame.x + long
        parts.append(
            f'<path d="M{number(left)} {number(at - half)}H{number(right)}a{half} {half} 0 0 1 0 {2 * half}H{number(left)}'
            f'a{half} {half} 0 0 1 0 {-2 * half}z" fill="#fff" stroke="{INK}" stroke-width="{HEAVY_PT}"/>'
        )
        for spurs, side in sides:
            if not spurs:
                continue
            gap = long / len(spurs)
            places = [frame.x + side * gap * (k + 0.5) for k in range(len(spurs))]
            parts += [
                _spur(x, at + frame.way * half, nodes, frame.way) for x, nodes in zip(places, spurs, strict=True)
            ]
            length = _long(arm_m / len(spurs), frame.units)
            words = _("from spur to spur %(length)s", length=length)
            span = abs(places[-1] - places[0])
            parts += _chain(places, at, half, frame, words if _wide(words, 8.5) <= span + gap - 6 else length)
        parts.append(_over(left - 8, at + 3, _("end of arm"), "end", 8.5))
        if curtains > 1:
            name = _("curtain %(number)s", number=level * curtains // max(-(-len(arms) // 2), 1) + 1)
            parts.append(_text(8, at - 18, name, INK))
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
        *(_tick(x, level) for x in places),
        _over((ends[0] + ends[1]) / 2, level + (13 if frame.way < 0 else -5), words, "middle", 8.5),
    ]


def _wide(words: str, size: float = TYPE_PT) -> float:
    """Give the width of words at a size, in points."""
    return svg.width_of(words) * size / svg.TYPE_PT


def _over(x: float, y: float, words: str, anchor: str, size: float) -> str:
    """Set words on a white ground, over lines that run behind them."""
    wide = _wide(words, size)
    left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
    return svg.rect(left - 1.5, y - size, wide + 3, size + 3, svg.PAPER) + _text(x, y, words, INK, anchor, size)


def _cane_vine(
    plan: PruningPlan, frame: _Frame, y: float, floor: float | None, half_m: float, _: Speech
) -> list[str]:
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
        parts += [_sized(first + side * step * j, level, [draw_node(0, 0)], SPUR_SIZE) for j in range(nodes)]
        outer[side] = max(outer.get(side, 0.0), side * (tip - frame.x))
    for side, reach in outer.items():
        words = _canes_of(canes[0 if side < 0 else 1 :: 2], _)
        top = y - (used[side] - 1) * CANE_LEVEL_PT - 9
        is_wide = _wide(words) > reach - 8
        x = frame.x + side * (10 if is_wide else reach)
        parts.append(_text(x, top, words, INK, "end" if (side < 0) == is_wide else "start"))
    for k, nodes in enumerate(renewal):
        side = -1 if k % 2 == 0 else 1
        x = frame.x + side * (4 if k < 2 else 9)
        stick = draw_bearer(0, 0, Bearer(0.0, nodes), way=-1)
        parts.append(
            f'<g transform="translate({number(x)} {number(head + 3)}) rotate({side * (50 if k < 2 else 75)}) scale({SPUR_SIZE})">'
            f"{''.join(stick)}</g>"
        )
    if renewal:
        words = _.plural("renewal spur: %(number)s node", "renewal spur: %(number)s nodes", renewal[0])
        parts.append(svg.line(frame.x + 28, head + 4, frame.x + 42, head + 18, FINE, 0.6))
        parts.append(_text(frame.x + 45, head + 23, words, INK))
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
            parts.append(
                f'<g transform="translate({number(x)} {number(foot)}) rotate({number(turn * 0.4)}) scale({SPUR_SIZE * 0.8})">'
                f"{''.join(draw_bearer(0, 0, Bearer(0.0, nodes), way=-1))}</g>"
            )
    return parts


def _wrapped(x: float, middle: float, words: str, room: float, size: float = 8.2) -> list[str]:
    """Set words beside a mark, in as many lines as they need, around its height."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and _wide(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    first = middle + 3 - (len(lines) - 1) * (size + 0.8) / 2
    return [_text(x, first + k * (size + 0.8), line, size=size) for k, line in enumerate(lines)]


def _old_wood(left: float, right: float, y: float) -> list[str]:
    """Draw a piece of cordon, broken off at both ends."""
    return [
        svg.path(f"M{number(left)} {number(y - 4)}H{number(right)}M{number(left)} {number(y + 4)}H{number(right)}", INK, 1.1),
        *(svg.path(f"M{number(x)} {number(y - 6)}l-2 4l4 3l-2 5", INK, LIGHT_PT) for x in (left, right)),
    ]


def draw_what_counts(width_pt: float, _: Speech, *, is_cane: bool, is_hanging: bool) -> str:
    """Draw a spur, or the foot of a cane, with every sort of shoot and bud named, and where positions are counted from.

    Parameters
    ----------
    width_pt : width of the picture.
    _ : the language of its words.
    is_cane : a cane from the head with its renewal spur, else spurs on a cordon.
    is_hanging : whether shoots hang down.
    """
    way = 1 if is_hanging else -1
    base = 30.0 if is_hanging else 146.0
    x, beside = 30.0, 48.0
    room = width_pt - beside
    at = [base + way * (40 + 34 * k) for k in range(3)]
    basal = base + way * 11
    parts = _old_wood(3, width_pt - 4, base)
    parts.append(svg.line(x, base + way * 4, x, at[2] + way * 9, INK, 4.6))
    parts.append(_sized(x, basal, [draw_shoot(0, 0, -58, way, 13, is_dashed=True)], 1.6))
    parts.append(_sized(x, basal, [draw_node(0, 0)], 1.5))
    for k, y in enumerate(at):
        if k == 1:
            parts.append(_sized(x - 12, y, [draw_blind(0, 0)], 2.2))
        else:
            parts.append(_sized(x, y, [draw_shoot(0, 0, -30, way, 17)], 1.6))
        if k == 2:
            parts.append(_sized(x, y, [draw_shoot(0, 0, -84, way, 13, has_ring=True)], 1.6))
        parts.append(f'<circle cx="{x}" cy="{number(y)}" r="5.6" fill="#fff" stroke="{INK}" stroke-width="1.2"/>')
        parts.append(_text(x, y + 3, str(k + 1), INK, "middle", 8.5))
    named = (
        (at[2], _("count shoot; with a ring: double shoot")),
        (at[1], _("cross: blind node, no shoot")),
        (at[0], _("count node with its count shoot")),
        (basal + way * 4, _("0: basal bud; dashed: non-count shoot")),
    )
    for y, words in named:
        parts += _wrapped(beside, y, words, room)
    side = base - way * 17
    parts.append(svg.path(f"M{number(x)} {number(side - way * 4)}V{number(base - way * 7)}", INK, 0.9))
    parts.append(svg.arrow(x, base - way * 6, INK, up=not is_hanging))
    parts += _wrapped(beside - 10, side, _("positions are counted from here: 0, 1, 2, 3"), room + 10)
    below = 172.0 if way < 0 else 160.0
    parts += _with_renewal(below, width_pt, room, beside, _, is_cane=is_cane, way=way)
    return "\n".join([svg.open_svg(width_pt, below + 62), *parts, "</svg>"])


def _with_renewal(
    top: float, width_pt: float, room: float, beside: float, _: Speech, *, is_cane: bool, way: int
) -> list[str]:
    """Draw a renewal spur where it stands: under a cane at the head, or at the foot of an old spur on the cordon."""
    if is_cane:
        head = top + 34
        parts = [
            svg.path(f"M9 {number(top + 60)}V{number(head)}M21 {number(top + 60)}V{number(head)}q-6 -7 -12 0", INK, 1.1),
            svg.path(f"M17 {number(head - 3)}C20 {number(top + 12)} 26 {number(top + 10)} 34 {number(top + 10)}H{number(width_pt - 6)}", INK, 3.0),
            *(_sized(44 + 22 * k, top + 10, [draw_node(0, 0)], 2.0) for k in range(max(int((width_pt - 60) // 22), 1))),
            f'<g transform="translate(20 {number(head + 6)}) rotate(62) scale(1.9)">'
            f"{''.join(draw_bearer(0, 0, Bearer(0.0, 2), way=-1))}</g>",
        ]
        return parts + _wrapped(beside, top + 40, _("renewal spur: its nodes are count nodes too"), room)
    base = top + (12 if way > 0 else 50)
    parts = _old_wood(3, width_pt - 4, base)
    parts.append(svg.line(16, base + way * 4, 16, base + way * 16, INK, 6.0))
    parts.append(_sized(16, base + way * 16, draw_bearer(0, 0, Bearer(0.0, 2), way=way), 1.7))
    parts.append(_sized(32, base + way * 4, draw_bearer(0, 0, Bearer(0.0, 1), way=way), 1.9))
    return parts + _wrapped(beside, base + way * 24, _("renewal spur: its nodes are count nodes too"), room)
