"""Where the labels of a chart stand: near their points, never over each other, a line or an interval."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from vinebook.reports import fonts

CLEAR = 1.2
"""Points of white kept round a label."""
TOO_DEAR = 40


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in points of the chart; y grows downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box) -> bool:
        """Tell whether two boxes share any ground."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )

    def is_within(self, other: Box) -> bool:
        """Tell whether the box lies wholly inside another."""
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.top >= other.top
            and self.bottom <= other.bottom
        )


@dataclass(frozen=True, slots=True)
class Segment:
    """A straight line of the chart, from (x1, y1) to (x2, y2) in points."""

    x1: float
    y1: float
    x2: float
    y2: float

    def crosses(self, box: Box) -> bool:
        """Tell whether any of the line lies inside the box (Liang and Barsky's clipping)."""
        dx, dy = self.x2 - self.x1, self.y2 - self.y1
        enter, leave = 0.0, 1.0
        for step, room in (
            (-dx, self.x1 - box.left),
            (dx, box.right - self.x1),
            (-dy, self.y1 - box.top),
            (dy, box.bottom - self.y1),
        ):
            if step == 0:
                if room < 0:
                    return False
                continue
            at = room / step
            if step < 0:
                enter = max(enter, at)
            else:
                leave = min(leave, at)
        return enter <= leave


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label asked for.

    Attributes
    ----------
    text : what it says.
    x, y : its point.
    y_top, y_bottom : ends of the point's interval.
    width, height : size of the text.
    """

    text: str
    x: float
    y: float
    y_top: float
    y_bottom: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Placed:
    """A label with its place: `x` is the middle of the text, `baseline` its foot."""

    text: str
    x: float
    baseline: float
    box: Box


def place(wanted: list[Wanted], segments: list[Segment], room: Box, pale: list[Segment]) -> list[Placed]:
    """Place labels in order of their weight; one that finds no clear place is left out.

    Parameters
    ----------
    wanted : labels, the most important first.
    segments : lines that no label may touch.
    room : where labels may stand.
    pale : lines that a label touches only where no clear place is near.
    """
    placed: list[Placed] = []
    for label in wanted:
        best: tuple[float, Box] | None = None
        for rank, box in enumerate(_places(label)):
            if not box.is_within(room) or any(box.overlaps(other.box) for other in placed):
                continue
            cost = rank + 3 * sum(line.crosses(box) for line in pale)
            cost += TOO_DEAR * sum(line.crosses(box) for line in segments)
            if best is None or cost < best[0]:
                best = (cost, box)
        if best is not None and best[0] < TOO_DEAR:
            box = best[1]
            placed.append(Placed(label.text, (box.left + box.right) / 2, box.bottom - CLEAR - label.height * 0.06, box))
    return placed


def _places(label: Wanted) -> list[Box]:
    """Places to try, the best first: over and under the interval, then beside the point."""
    width, height = label.width + 2 * CLEAR, label.height
    gap = 2.6
    over, under = label.y_top - gap - height, label.y_bottom + gap
    boxes = [
        _box(label.x - width / 2 + shift * width, y, width, height)
        for shift, y in product((0, 0.3, -0.3), (over, under, over - 3.5))
    ]
    for y in (label.y - height - 1, label.y + 1, label.y - height / 2):
        boxes += [_box(label.x + gap, y, width, height), _box(label.x - gap - width, y, width, height)]
    boxes += [
        _box(label.x - width / 2, over - height, width, height),
        _box(label.x - width / 2, under + height, width, height),
    ]
    return boxes


def _box(left: float, top: float, width: float, height: float) -> Box:
    return Box(left, top, left + width, top + height)


def wrap(text: str, width_pt: float, type_pt: float, most_lines: int) -> list[str]:
    """Break a text into lines; what does not fit ends in an ellipsis.

    Parameters
    ----------
    text : one line of text.
    width_pt : room for a line.
    type_pt : size of the type.
    most_lines : how many lines there may be.
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and fonts.width_em(longer) * type_pt <= width_pt:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most_lines:
        lines = [*lines[: most_lines - 1], lines[most_lines - 1] + " …"]
    return [shorten(line, width_pt, type_pt) for line in lines]


def shorten(line: str, width_pt: float, type_pt: float) -> str:
    """Give as much of a line as there is room for, with an ellipsis where something is left out."""
    if fonts.width_em(line) * type_pt <= width_pt:
        return line
    while line and fonts.width_em(line + "…") * type_pt > width_pt:
        line = line[:-1]
    return line.rstrip(" …") + "…"
