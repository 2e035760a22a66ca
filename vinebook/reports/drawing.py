"""Line drawings of vines, as in a workshop: to scale, two line weights, dimensions with ticks, a scale bar.

The wood that stays is drawn heavy; shoots, wires and dimensions are light. Lengths along the cordon and heights of
wires are to scale; lengths of spurs and shoots are not, and the page says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from vinebook.quantities import FOOT_M
from vinebook.reports import svg
from vinebook.reports.svg import FINE, GREY, INK, number

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units

HEAVY_PT = 1.3
LIGHT_PT = 0.55
PT_OF_M = 72 / 0.0254
SCALES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100)
"""Scales that a drawing may have, as 1 : n."""
INCH_M = float(FOOT_M / 12)
CORDON_PT = 4.6
SPUR_PT = 4.0
NODE_PT = 4.2
SHOOT_PT = 27.0
DOUBLE_PT = 18.0
NONCOUNT_PT = 16.0
FAN_PT = 30.0
"""A spur this far from the next has room for its shoots at their full slant."""
CHAIN_PT = 20.0
ROW_PT = 92.0
NAME_PT = 32.0
STUB_PT = 9.0
FOOT_PT = 24.0


@dataclass(frozen=True, slots=True)
class Shoots:
    """Shoots of a bearer by class, and its count nodes that gave none."""

    count: int
    double: int
    noncount: int
    blind: int = 0


@dataclass(frozen=True, slots=True)
class Bearer:
    """A spur or cane of an arm.

    Attributes
    ----------
    at_m : distance along the arm from the head.
    nodes : count nodes on it.
    shoots : None where they were not counted.
    is_cane : laid along the wire rather than standing.
    """

    at_m: float
    nodes: int
    shoots: Shoots | None = None
    is_cane: bool = False


@dataclass(frozen=True, slots=True)
class Arm:
    """An arm of a cordon.

    Attributes
    ----------
    name : what it is called on the drawing.
    end_m : its length from the head, None where its end was not measured.
    bearers : from the head outwards.
    """

    name: str
    end_m: float | None
    bearers: tuple[Bearer, ...]

    @property
    def length_m(self) -> float:
        """Length as far as it is known."""
        return max([self.end_m or 0.0, *(bearer.at_m for bearer in self.bearers)])

    @property
    def marks_m(self) -> list[float]:
        """Give the places that a chain of dimensions runs through: head, positions of bearers, end."""
        return sorted({0.0, *(bearer.at_m for bearer in self.bearers), *([self.end_m] if self.end_m else [])})

    @property
    def longest_bare_m(self) -> tuple[float, float] | None:
        """Give the longest stretch without a bearer, from one position to the next or to the end of the arm."""
        places = sorted({bearer.at_m for bearer in self.bearers})
        if self.end_m:
            places = [*places, self.end_m] if places else [0.0, self.end_m]
        return max(pairwise(places), key=lambda gap: (gap[1] - gap[0], -gap[0]), default=None)


def pick_scale(length_m: float, room_pt: float) -> int:
    """Give the largest usual scale at which a length has room, as the n of 1 : n.

    Parameters
    ----------
    length_m : what is to be drawn.
    room_pt : room on the page.
    """
    return next((n for n in SCALES if length_m * PT_OF_M / n <= room_pt), SCALES[-1])


def draw_cordons(
    arms: tuple[Arm, ...],
    width_pt: float,
    units: Units,
    *,
    longest: tuple[float, float, str] | None = None,
    is_hanging: bool = False,
) -> str:
    """Draw the arms of a vine to scale, in pairs on either side of the head, with a chain of dimensions.

    Parameters
    ----------
    arms : in order; the first of a pair is drawn to the left.
    width_pt : width of the picture.
    units : dimensions stand in centimetres or inches.
    longest : the bare stretch that is shaded: from, to, name of its arm.
    is_hanging : whether shoots hang down.
    """
    pairs = [(arms[i], arms[i + 1] if i + 1 < len(arms) else None) for i in range(0, len(arms), 2)]
    left_m = max((left.length_m for left, right in pairs if right is not None), default=0.0)
    right_m = max(((right or left).length_m for left, right in pairs), default=0.0)
    room_pt = width_pt - 2 * NAME_PT
    scale = pick_scale(max(left_m + right_m, 0.05), room_pt)
    pt_of_m = PT_OF_M / scale
    head_x = NAME_PT + (room_pt - (left_m + right_m) * pt_of_m) / 2 + left_m * pt_of_m
    height = ROW_PT * len(pairs) + FOOT_PT
    parts = [svg.open_svg(width_pt, height)]
    for row, (left, right) in enumerate(pairs):
        top = ROW_PT * row
        y = top + (CHAIN_PT + 13 if is_hanging else SPUR_PT + 3 * NODE_PT + SHOOT_PT + 4)
        way = 1 if is_hanging else -1
        sides = [(left, -1), (right, 1)] if right is not None else [(left, 1)]
        parts += _wood(head_x, y, [(arm.length_m * pt_of_m, side) for arm, side in sides], top + ROW_PT)
        for arm, side in sides:
            place = _Place(head_x, y, side, way, pt_of_m)
            shaded = longest[:2] if longest is not None and longest[2] == arm.name else None
            parts += _arm(arm, place, shaded, units)
            edge = head_x + side * (arm.length_m * pt_of_m + 7)
            parts.append(svg.text(edge, y + 2.5, arm.name, GREY, "end" if side < 0 else "start"))
    parts += scale_bar(NAME_PT, height - 12, pt_of_m, scale, units)
    if any(bearer.shoots for arm in arms for bearer in arm.bearers):
        parts += _key(width_pt, height - 10)
    parts.append("</svg>")
    return "\n".join(parts)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where an arm is drawn: head, height, to which side it runs, which way its shoots grow, points of a metre."""

    head_x: float
    y: float
    side: int
    way: int
    pt_of_m: float

    def x(self, at_m: float) -> float:
        return self.head_x + self.side * at_m * self.pt_of_m


def _wood(head_x: float, y: float, sides: list[tuple[float, int]], foot: float) -> list[str]:
    """Draw the cordon's outline with the head of the trunk under it, broken off as in a workshop drawing."""
    half, trunk = CORDON_PT / 2, 3.4
    left = max((length for length, side in sides if side < 0), default=trunk)
    right = max((length for length, side in sides if side > 0), default=trunk)
    stub = min(y + half + STUB_PT, foot - 2)
    way = (
        f"M{number(head_x - trunk)} {number(stub)}V{number(y + half)}H{number(head_x - left)}"
        f"A{number(half)} {number(half)} 0 0 1 {number(head_x - left)} {number(y - half)}H{number(head_x + right)}"
        f"A{number(half)} {number(half)} 0 0 1 {number(head_x + right)} {number(y + half)}H{number(head_x + trunk)}"
        f"V{number(stub)}"
    )
    run = number(trunk + 1)
    broken = f"M{number(head_x - trunk - 2.5)} {number(stub)}h{run}l1.5 -2.4l1.5 4.8l1.5 -2.4h{run}"
    return [svg.path(way, INK, HEAVY_PT), svg.path(broken, INK, LIGHT_PT)]


def _arm(arm: Arm, place: _Place, shaded: tuple[float, float] | None, units: Units) -> list[str]:
    parts: list[str] = []
    if shaded is not None:
        ends = sorted((place.x(shaded[0]), place.x(shaded[1])))
        half = (CORDON_PT - HEAVY_PT) / 2
        parts.append(svg.rect(ends[0], place.y - half, ends[1] - ends[0], 2 * half, FINE))
    places = [bearer.at_m for bearer in arm.bearers]
    for index, bearer in enumerate(arm.bearers):
        near = [abs(places[k] - bearer.at_m) * place.pt_of_m for k in (index - 1, index + 1) if 0 <= k < len(places)]
        room = max(min([gap for gap in near if gap > 0], default=FAN_PT), 3.0)
        parts += draw_bearer(
            place.x(bearer.at_m),
            place.y + place.way * CORDON_PT / 2,
            bearer,
            way=place.way,
            side=place.side,
            slant=min(1.0, room / FAN_PT),
            pt_of_m=place.pt_of_m,
        )
    return parts + _chain(arm, place, shaded, units)


def draw_bearer(
    x: float, y: float, bearer: Bearer, *, way: int = -1, side: int = 1, slant: float = 1.0, pt_of_m: float = 200.0
) -> list[str]:
    """Draw a spur or cane with its nodes and shoots.

    Which of a bearer's nodes was blind is not recorded: shoots are drawn from its tip inwards.

    Parameters
    ----------
    x, y : its foot on the wood that it stands on.
    bearer : what it is.
    way : -1 where shoots grow up the page, 1 down.
    side : to which side a cane is laid, 1 to the right.
    slant : 1 spreads the shoots to their full slant, less keeps them closer.
    pt_of_m : scale, for the length of a cane.
    """
    nodes = max(bearer.nodes, 1)
    if bearer.is_cane:
        step = 0.07 * pt_of_m
        rise = way * 9.0
        tip = x + side * step * (nodes + 0.5)
        bow = f"q{number(side * 1.5)} {number(rise)} {number(side * step)} {number(rise)}"
        bend = f"M{number(x)} {number(y)}{bow}H{number(tip)}"
        parts = [svg.path(bend, INK, HEAVY_PT)]
        joints = [(x + side * step * (k + 1), y + rise) for k in range(nodes)]
    else:
        length = SPUR_PT + NODE_PT * min(nodes, 4)
        parts = [svg.line(x, y, x, y + way * length, INK, 2.2)]
        joints = [(x, y + way * (length - NODE_PT * min(k, 3.5))) for k in range(nodes - 1, -1, -1)]
    shoots = bearer.shoots
    if shoots is None:
        return parts + [draw_node(jx, jy) for jx, jy in joints]
    bare = min(shoots.blind, max(nodes - shoots.count, 0)) if shoots.blind else max(nodes - shoots.count, 0)
    for k, (jx, jy) in enumerate(joints):
        lean = (1 if k % 2 else -1) * side
        if k < bare:
            parts.append(draw_blind(jx + lean * 4 * slant, jy))
            continue
        parts.append(draw_shoot(jx, jy, lean * 11 * slant, way, SHOOT_PT))
        if k - bare < shoots.double:
            parts.append(draw_shoot(jx, jy, lean * 24 * slant, way, DOUBLE_PT, has_ring=True))
    for k in range(shoots.noncount):
        lean = (1 if k % 2 else -1) * -side
        parts.append(draw_shoot(x, y, lean * (34 + 10 * (k // 2)) * slant, way, NONCOUNT_PT, is_dashed=True))
    return parts


def draw_shoot(
    x: float, y: float, degrees: float, way: int, length: float, *, has_ring: bool = False, is_dashed: bool = False
) -> str:
    """Draw a shoot that leaves its node aslant and straightens."""
    dx, dy = math.sin(math.radians(degrees)) * length, math.cos(math.radians(degrees)) * length * way
    bend = f"M{number(x)} {number(y)}q{number(dx * 0.75)} {number(dy * 0.35)} {number(dx)} {number(dy)}"
    dashes = ' stroke-dasharray="1.8 1.3"' if is_dashed else ""
    drawn = f'<path d="{bend}" stroke="{INK}" stroke-width="{LIGHT_PT}" fill="none"{dashes}/>'
    if has_ring:
        ring = f'<circle cx="{number(x + dx)}" cy="{number(y + dy)}" r="1.3" fill="#fff" stroke="{INK}"'
        drawn += f'{ring} stroke-width="{LIGHT_PT}"/>'
    return drawn


def draw_node(x: float, y: float) -> str:
    """Draw a count node."""
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="1.5" fill="#fff" stroke="{INK}" stroke-width="{LIGHT_PT}"/>'


def draw_blind(x: float, y: float) -> str:
    """Draw the mark of a count node that gave no shoot."""
    return svg.path(f"M{number(x - 1.5)} {number(y - 1.5)}l3 3m0 -3l-3 3", INK, LIGHT_PT)


def _chain(arm: Arm, place: _Place, shaded: tuple[float, float] | None, units: Units) -> list[str]:
    """Draw a chain of dimensions on the side of the cordon that has no shoots."""
    away = -place.way
    level = place.y + away * (CORDON_PT / 2 + CHAIN_PT)
    marks = arm.marks_m
    if len(marks) < 2:
        return []
    parts = [svg.line(place.x(marks[0]), level, place.x(marks[-1]), level, INK, 0.4)]
    for at in marks:
        x = place.x(at)
        parts.append(svg.line(x, place.y + away * (CORDON_PT / 2 + 3), x, level + away * 2.5, FINE, 0.4))
        parts.append(svg.line(x - 1.8, level + 1.8, x + 1.8, level - 1.8, INK, LIGHT_PT))
    taken = -math.inf
    for a, b in pairwise(marks):
        words = length_words(b - a, units)
        half = svg.width_of(words) / 2
        is_bare = shaded is not None and (a, b) == shaded
        middle = (place.x(a) + place.x(b)) / 2
        fits = half * 2 + 3 <= abs(place.x(b) - place.x(a))
        base = level - 2.2 if fits else level + 8.2
        if not fits:
            along = middle * place.side
            if along - half < taken + 1.5:
                continue
            taken = along + half
        parts.append(svg.text(middle, base, words, INK if is_bare else GREY, "middle"))
    return parts


def scale_bar(x: float, y: float, pt_of_m: float, scale: int, units: Units, words: str = "") -> list[str]:
    """Draw a scale bar of alternating fields, with the scale in words.

    Parameters
    ----------
    x, y : left end and top of the bar.
    pt_of_m : points of a metre.
    scale : n of 1 : n.
    units : centimetres or inches.
    words : the scale in words, in the language of the page; English where empty.
    """
    one_m, name = (0.01, "cm") if units == "metric" else (INCH_M, "in")
    fields = 5
    step = next((s for s in (1, 2, 4, 5, 10, 20, 40, 50, 100) if s * one_m * pt_of_m >= 13), 100)
    width = step * one_m * pt_of_m
    parts = []
    for field in range(fields):
        left = x + field * width
        parts.append(svg.rect(left, y, width, 2.6, INK if field % 2 == 0 else "#fff"))
    right = x + fields * width
    parts.append(svg.path(f"M{number(x)} {number(y)}H{number(right)}v2.6H{number(x)}z", INK, 0.4))
    parts.append(svg.text(x, y + 10.5, "0", GREY, "middle"))
    parts.append(svg.text(right, y + 10.5, f"{fields * step} {name}", GREY, "middle"))
    parts.append(svg.text(right + 20, y + 4, words or f"scale 1 : {scale}", GREY, "start"))
    return parts


def length_words(length_m: float, units: Units) -> str:
    """Write a length of a drawing: whole centimetres, or inches to a half.

    Parameters
    ----------
    length_m : in metres.
    units : "metric" or "us".
    """
    if units == "metric":
        return f"{length_m * 100:.0f}"
    return f"{round(length_m / INCH_M * 2) / 2:g}"


def _key(right: float, y: float) -> list[str]:
    """Say in the foot which stroke is which shoot, from the right edge inwards."""
    parts: list[str] = []
    x = right - 1
    for words, kind in (("blind node", "x"), ("non-count", "dash"), ("double", "ring"), ("count shoot", "line")):
        x -= svg.width_of(words)
        parts.append(svg.text(x, y + 2.5, words, GREY, "start"))
        x -= 5
        if kind == "x":
            parts.append(draw_blind(x - 2, y))
        else:
            is_ring = kind == "ring"
            parts.append(draw_shoot(x - 12, y, 90, -1, 11, has_ring=is_ring, is_dashed=kind == "dash"))
        x -= 24 if kind != "x" else 16
    return parts
