"""A vine as it should look, seen from the alley: ground, trunk, wires, arms or canes, to scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.quantities import FOOT_M
from vinebook.reports import svg
from vinebook.reports.drawing import (
    HEAVY_PT,
    LIGHT_PT,
    PT_OF_M,
    SCALES,
    Arm,
    Bearer,
    draw_bearer,
    scale_bar,
)
from vinebook.reports.svg import FINE, GREY, INK, number

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units

FOOT_PT = 34.0
TOP_PT = 8.0
NAME_PT = 34.0
TRUNK_PT = 3.2
CURTAIN_PT = 15.0
"""How far the second curtain is set off, up and to the right, so that both can be seen."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A vine with its trellis.

    Attributes
    ----------
    spacing_m : distance to the next vine.
    head_m : height of head or cordon.
    wires_m : heights of the wires.
    arms : arms of the cordon, the first of each pair to the left; the second pair is the second curtain.
    head : bearers of the head, laid or standing to the left and right in turn.
    """

    spacing_m: float
    head_m: float
    wires_m: tuple[float, ...] = ()
    arms: tuple[Arm, ...] = ()
    head: tuple[Bearer, ...] = ()


def draw_vine(plan: Plan, width_pt: float, most_height_pt: float, units: Units) -> str:
    """Draw a vine to scale in both directions, its wires named by their height.

    Parameters
    ----------
    plan : the vine.
    width_pt : width of the picture.
    most_height_pt : the most that the picture may be high.
    units : heights stand in metres or feet.
    """
    high_m = max([plan.head_m + 0.25, *plan.wires_m])
    wide_m = max([plan.spacing_m, *(2 * arm.length_m for arm in plan.arms)])
    room = width_pt - 2 * NAME_PT
    fits = (
        n for n in SCALES if wide_m * PT_OF_M / n <= room and high_m * PT_OF_M / n <= most_height_pt - FOOT_PT - TOP_PT
    )
    scale = next(fits, SCALES[-1])
    pt_of_m = PT_OF_M / scale
    ground = TOP_PT + high_m * pt_of_m
    middle, half = width_pt / 2, wide_m * pt_of_m / 2
    parts = [svg.open_svg(width_pt, ground + FOOT_PT)]
    parts += _trellis(plan, middle, half, ground, pt_of_m, units)
    head_y = ground - plan.head_m * pt_of_m
    parts.append(svg.path(f"M{number(middle)} {number(ground)}V{number(head_y)}", INK, TRUNK_PT))
    for index, arm in enumerate(plan.arms):
        side = -1 if index % 2 == 0 and len(plan.arms) > 1 else 1
        shift = CURTAIN_PT * (index // 2)
        parts += _arm(arm, middle + shift, head_y - shift, side, pt_of_m)
        if shift and side > 0:
            parts.append(svg.line(middle, head_y, middle + shift, head_y - shift, INK, HEAVY_PT))
    for index, bearer in enumerate(plan.head):
        side = 1 if index % 2 else -1
        parts += draw_bearer(middle + 1.5 * side, head_y, bearer, side=side, pt_of_m=pt_of_m)
    parts += scale_bar(NAME_PT, ground + 14, pt_of_m, scale, units)
    parts.append("</svg>")
    return "\n".join(parts)


def _trellis(plan: Plan, middle: float, half: float, ground: float, pt_of_m: float, units: Units) -> list[str]:
    """Draw ground and wires, each wire with its height at the right."""
    parts = [svg.line(middle - half, ground, middle + half, ground, INK, LIGHT_PT)]
    lowest = -1e9
    for height_m in sorted(plan.wires_m, reverse=True):
        y = ground - height_m * pt_of_m
        parts.append(svg.line(middle - half, y, middle + half, y, FINE, LIGHT_PT))
        if y - lowest >= svg.LINE_PT:
            words = f"{height_m:.2f} m" if units == "metric" else f"{height_m / float(FOOT_M):.1f} ft"
            parts.append(svg.text(middle + half + 4, y + 2.5, words, GREY, "start"))
            lowest = y
    return parts


def _arm(arm: Arm, head_x: float, y: float, side: int, pt_of_m: float) -> list[str]:
    parts = [svg.line(head_x, y, head_x + side * arm.length_m * pt_of_m, y, INK, TRUNK_PT)]
    for bearer in arm.bearers:
        parts += draw_bearer(
            head_x + side * bearer.at_m * pt_of_m, y - TRUNK_PT / 2, bearer, side=side, pt_of_m=pt_of_m
        )
    return parts
