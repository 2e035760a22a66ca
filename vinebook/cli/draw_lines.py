"""A draw as lines for a screen, as rows and as JSON."""

from __future__ import annotations

import dataclasses
import textwrap
from itertools import groupby
from typing import TYPE_CHECKING, Any, Protocol

from vinebook.cli.tables import width_of_screen
from vinebook.seasons.layout import WHOLE, shown_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from vinebook.records.drawn import KeptDraw, Visits
    from vinebook.seasons.drawing import Draw

HOW = {"random": "vines at random", "every_kth": "every k-th vine", "panels": "panels at random"}
WIDER = "about four samples in ten come out wider, as the spread of the next one is not known"
NARROWEST = 60
Place = tuple[int, int]


class Walked(Protocol):
    """A drawn vine, just drawn or kept."""

    @property
    def row(self) -> int:
        """Number of the row."""

    @property
    def vine(self) -> int:
        """Position in it."""

    @property
    def part(self) -> str:
        """Part of the block."""


def draw_lines(draw: Draw) -> list[str]:
    """Give a draw, or what one would buy, as lines."""
    width = max(width_of_screen(), NARROWEST)
    lines: list[str] = []

    def say(words: str, indent: str = "  ") -> None:
        lines.extend(textwrap.wrap(words, width, initial_indent=indent, subsequent_indent="  ", break_on_hyphens=False))

    if draw.vines:
        say(f"{_named(draw)}: {len(draw.vines)} vines for {draw.figure}, {_how(draw)}, seed {draw.seed}", "")
    else:
        say(f"{draw.block} {draw.season}, {draw.figure}: {HOW[draw.chosen]}; nothing is drawn yet", "")
    say(_from(draw))
    say(f"spread between {_units(draw)} {100 * draw.spread.cv:.0f} %: {draw.spread.source}")
    for note in draw.notes:
        say(f"note: {note}")
    if draw.bought is not None:
        say(_expected(draw))
    else:
        lines.append("")
        lines.extend(_table(draw))
        lines.append("")
        say(f"expected is the half width of a 95 % interval in percent of the mean; {WIDER}", "")
        say("draw with --vines N or --within PERCENT", "")
        return lines
    for part, vines in draw.parts:
        say(f"part {part.name}: {vines} vines of {part.positions:,} positions, {shown_rows(part.rows)}")
    lines.append("")
    lines.extend(_walk(draw.vines, width, draw.walk_from))
    lines.append("")
    kind = draw.counted
    if draw.key:
        say(f"`vinebook form {kind} --draw {draw.key} -o {kind}.csv` writes its form", "")
    else:
        say("dry run: nothing was recorded", "")
    return lines


def _named(draw: Draw) -> str:
    return f"draw {draw.key or f'{draw.block}/{draw.season}/{draw.name}'}"


def _how(draw: Draw) -> str:
    return _chosen(draw.chosen, draw.step, draw.start, draw.panel_size)


def _chosen(how: str, step: int | None, start: int | None, panel_size: int | None) -> str:
    if how == "every_kth":
        return f"one in {step} from position {start} of the walk" if step != 1 else "every vine"
    return f"panels of {panel_size} at random" if how == "panels" else "at random"


def _units(draw: Draw) -> str:
    return f"panels of {draw.panel_size}" if draw.panels is not None else "vines"


def _from(draw: Draw) -> str:
    panels = f" in {draw.panels:,} panels" if draw.panels is not None else ""
    bear = f"; {draw.bearing_percent:.0f} % bear by the census of {draw.census_on}" if draw.census_on else ""
    rows = "1 row" if draw.rows == 1 else f"{draw.rows} rows"
    return f"drawn from {draw.positions:,} positions{panels} of {rows}{bear}"


def _expected(draw: Draw) -> str:
    assert draw.bought is not None  # noqa: S101 - asked only of a draw that has vines
    rests = f"{draw.bought.units} panels" if draw.panels is not None else f"{draw.bought.bearing} that bear"
    if draw.bought.half_width_percent is None:
        return f"no interval can be expected from {rests}"
    wanted = f", wanted ±{draw.within_percent:g} %" if draw.within_percent is not None else ""
    return f"expected ±{_percent(draw.bought.half_width_percent)} of the mean from {rests}{wanted}; {WIDER}"


def _percent(value: float) -> str:
    return f"{value:.1f} %" if value < 10 else f"{value:.0f} %"


def _table(draw: Draw) -> Iterator[str]:
    units = "panels" if draw.panels is not None else "bearing"
    yield f"{'vines':>7}  {units:>7}  expected"
    for one in draw.table:
        told = "none" if one.half_width_percent is None else f"±{_percent(one.half_width_percent)}"
        yield f"{one.vines:>7}  {one.units:>7}  {told}"


def _walk(vines: Sequence[Walked], width: int, walk_from: str, missed: frozenset[Place] = frozenset()) -> Iterator[str]:
    """Give the walk row by row; vines that were not visited stand in brackets."""
    has_parts = any(vine.part != WHOLE for vine in vines)
    longest = max(len(vine.part) for vine in vines) if has_parts else 0
    part_heading = f"{'part':<{max(longest, 4)}}  " if has_parts else ""
    yield f"  row  {part_heading}vines, in walking order" + (
        f"; numbered from the {walk_from.removeprefix('the ')}" if walk_from else ""
    )
    for (row, part), group in groupby(vines, key=lambda vine: (vine.row, vine.part)):
        head = f"{row:>5}  " + (f"{part:<{max(longest, 4)}}  " if has_parts else "")
        words = "  ".join(f"[{one.vine}]" if (one.row, one.vine) in missed else str(one.vine) for one in group)
        yield from textwrap.wrap(words, width, initial_indent=head, subsequent_indent=" " * len(head))


VINE_HEADINGS = ("number", "row", "vine", "part", "panel")


def vine_rows(draw: Draw) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
    """Give a draw's vines as headings and rows; what vines buy where nothing was drawn."""
    if not draw.vines:
        return ("vines", "bearing", "units", "half_width_percent"), [dataclasses.astuple(one) for one in draw.table]
    return VINE_HEADINGS, [(one.number, one.row, one.vine, one.part, one.panel) for one in draw.vines]


def as_json(draw: Draw) -> dict[str, Any]:
    """Give a draw as plain data."""
    told = dataclasses.asdict(draw)
    told["parts"] = [
        {"name": part.name, "rows": part.rows, "positions": part.positions, "vines": vines}
        for part, vines in draw.parts
    ]
    return told


def kept_lines(draw: KeptDraw, visits: Sequence[Visits]) -> list[str]:
    """Give a kept draw as lines, with what was visited."""
    width = max(width_of_screen(), NARROWEST)
    how = _chosen(draw.chosen, draw.step, draw.start, draw.panel_size)
    told = [f"draw {draw.key}: {len(draw.vines)} vines for {draw.figure}, {how}, seed {draw.seed}"]
    told.append(f"  drawn on {draw.drawn_on} by {draw.drawn_by} from {draw.positions:,} positions")
    if draw.half_width_percent is not None:
        wanted = f", wanted ±{draw.within_percent:g} %" if draw.within_percent is not None else ""
        spread = f"; spread {draw.cv_percent:.0f} %: {draw.cv_from}" if draw.cv_percent is not None else ""
        told.append(f"  expected ±{_percent(draw.half_width_percent)} of the mean{wanted}{spread}")
    told += [f"  parts: {draw.parts}"] if draw.parts else []
    told += [f"  note: {draw.note}"] if draw.note else []
    told += [f"  {one}" for one in visits] or ["  no tally names it yet"]
    lines = [line for words in told for line in textwrap.wrap(words, width, subsequent_indent="    ")]
    missed = frozenset(place for one in visits[-1:] for place in one.missed)
    if missed:
        lines.append(f"  in brackets: not visited for the {visits[-1].kind}")
    return [*lines, "", *_walk(draw.vines, width, "", missed)] if draw.vines else lines


def kept_rows(draw: KeptDraw, visits: Sequence[Visits]) -> tuple[tuple[str, ...], Iterable[tuple[Any, ...]]]:
    """Give a kept draw's vines as headings and rows, a column for each kind that was counted."""
    counted = tuple(one.kind + ("_after" if one.thinning == "after" else "") for one in visits)
    rows = (
        (
            *(one.number, one.row, one.vine, one.part, one.panel),
            *("visited" if (one.row, one.vine) in each.visited else "not visited" for each in visits),
        )
        for one in draw.vines
    )
    return (*VINE_HEADINGS, *counted), rows


def kept_as_json(draw: KeptDraw, visits: Sequence[Visits]) -> dict[str, Any]:
    """Give a kept draw as plain data, with what was visited."""
    told = dataclasses.asdict(draw)
    told["visits"] = [
        {
            "kind": one.kind,
            "thinning": one.thinning,
            "visited": len(one.visited),
            "not_visited": [{"row": row, "vine": vine} for row, vine in one.missed],
        }
        for one in visits
    ]
    return told
