"""The drawing in a sheet's margin: a spur and the foot of a cane with every sort of bud and shoot named."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports import svg
from vinebook.reports.dimensions import sized, turned, wide, words_at
from vinebook.reports.drawing import LIGHT_PT, Bearer, draw_bearer, draw_blind, draw_node, draw_shoot
from vinebook.reports.svg import INK, number

if TYPE_CHECKING:
    from vinebook.reports.languages import Speech


def _wrapped(x: float, middle: float, words: str, room: float, size: float = 8.2) -> list[str]:
    """Set words beside a mark, in as many lines as they need, around its height."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and wide(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    first = middle + 3 - (len(lines) - 1) * (size + 0.8) / 2
    return [words_at(x, first + k * (size + 0.8), line, size=size) for k, line in enumerate(lines)]


def _old_wood(left: float, right: float, y: float) -> list[str]:
    """Draw a piece of cordon, broken off at both ends."""
    return [
        svg.path(
            f"M{number(left)} {number(y - 4)}H{number(right)}M{number(left)} {number(y + 4)}H{number(right)}", INK, 1.1
        ),
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
    parts.append(sized(x, basal, [draw_shoot(0, 0, -58, way, 13, is_dashed=True)], 1.6))
    parts.append(sized(x, basal, [draw_node(0, 0)], 1.5))
    for k, y in enumerate(at):
        if k == 1:
            parts.append(sized(x - 12, y, [draw_blind(0, 0)], 2.2))
        else:
            parts.append(sized(x, y, [draw_shoot(0, 0, -30, way, 17)], 1.6))
        if k == 2:
            parts.append(sized(x, y, [draw_shoot(0, 0, -84, way, 13, has_ring=True)], 1.6))
        parts.append(f'<circle cx="{x}" cy="{number(y)}" r="5.6" fill="#fff" stroke="{INK}" stroke-width="1.2"/>')
        parts.append(words_at(x, y + 3, str(k + 1), INK, "middle", 8.5))
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
        head, level = top + 34, top + 10
        parts = [
            svg.path(
                f"M9 {number(top + 60)}V{number(head)}M21 {number(top + 60)}V{number(head)}q-6 -7 -12 0", INK, 1.1
            ),
            svg.path(f"M17 {number(head - 3)}C20 {number(level + 2)} 26 {number(level)} 34 {number(level)}", INK, 3.0),
            svg.line(34, level, width_pt - 6, level, INK, 3.0),
            *(sized(44 + 22 * k, top + 10, [draw_node(0, 0)], 2.0) for k in range(max(int((width_pt - 60) // 22), 1))),
            turned(20, head + 6, 62, draw_bearer(0, 0, Bearer(0.0, 2), way=-1), 1.9),
        ]
        return parts + _wrapped(beside, top + 40, _("renewal spur: its nodes are count nodes too"), room)
    base = top + (12 if way > 0 else 50)
    parts = _old_wood(3, width_pt - 4, base)
    parts.append(svg.line(16, base + way * 4, 16, base + way * 16, INK, 6.0))
    parts.append(sized(16, base + way * 16, draw_bearer(0, 0, Bearer(0.0, 2), way=way), 1.7))
    parts.append(sized(32, base + way * 4, draw_bearer(0, 0, Bearer(0.0, 1), way=way), 1.9))
    return parts + _wrapped(beside, base + way * 24, _("renewal spur: its nodes are count nodes too"), room)
