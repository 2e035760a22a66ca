"""Rows for people, programs and spreadsheets: table, JSON, CSV."""

from __future__ import annotations

import csv
import json
import shutil
import sys
from itertools import chain, islice
from typing import TYPE_CHECKING, Any

import click

from vinebook.quantities import plain_mass

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

MEASURED_ROWS = 500
GAP = "  "
PIPE_WIDTH = 100
EXACT = 1e-12
"""Share by which a float that stands for a decimal number may miss it."""
MOMENTS = ("at", "struck_at")
"""Columns that hold UTC times."""


def print_rows(
    headings: Sequence[str],
    rows: Iterable[Sequence[Any]],
    style: str,
    section: Callable[[str], tuple[str, str]] | None = None,
) -> int:
    """Print rows as they come and give how many there were.

    Parameters
    ----------
    headings : of the columns.
    rows : values; None is empty.
    style : "table", "json" or "csv".
    section : in a table, parts the first cell in what many rows share, told once above them, and the rest.
    """
    if style == "csv":
        return _print_csv(headings, rows)
    if style == "json":
        return _print_json(headings, rows)
    return _print_table(headings, rows, section)


def _print_csv(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(headings)
    count = 0
    for row in rows:
        writer.writerow(["" if value is None else value for value in row])
        count += 1
    return count


def _print_json(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    count = 0
    click.echo("[", nl=False)
    for row in rows:
        words = json.dumps(dict(zip(headings, row, strict=True)), ensure_ascii=False, default=str)
        click.echo(f"{',' if count else ''}\n {words}", nl=False)
        count += 1
    click.echo("\n]" if count else "]")
    return count


def width_of_screen() -> int:
    """Give the columns of the terminal, or of a page where there is none."""
    return shutil.get_terminal_size((PIPE_WIDTH, 24)).columns


def _print_table(
    headings: Sequence[str],
    rows: Iterable[Sequence[Any]],
    section: Callable[[str], tuple[str, str]] | None,
) -> int:
    moments = [heading in MOMENTS for heading in headings]

    def cells_of(row: Sequence[Any]) -> tuple[str, tuple[str, ...]]:
        cells = tuple(
            _minute(value) if is_moment else _cell(value) for value, is_moment in zip(row, moments, strict=True)
        )
        if section is None:
            return "", cells
        shared, rest = section(cells[0])
        return shared, (rest, *cells[1:])

    stream = map(cells_of, rows)
    headed = list(islice(stream, MEASURED_ROWS))
    first = [cells for _, cells in headed]
    if section is not None:
        headings = [section(headings[0])[1], *headings[1:]]
    if not first:
        return 0
    used = [at for at in range(len(headings)) if any(row[at] for row in first)]
    widths = {at: max(len(headings[at]), *(len(row[at]) for row in first)) for at in used}
    right = {at for at in used if all(_is_number(row[at]) for row in first if row[at])}
    shown: list[int] = []
    room = width_of_screen()
    for at in used:
        if shown and widths[at] + len(GAP) > room:
            break
        shown.append(at)
        room -= widths[at] + len(GAP)
    hidden = [headings[at] for at in used if at not in shown]
    click.echo(_line([headings[at] for at in shown], shown, widths, right))
    count = 0
    last = ""
    for shared, row in chain(headed, stream):
        if shared != last:
            click.echo(f"{shared}/")
            last = shared
        click.echo(_line([row[at] for at in shown], shown, widths, right))
        count += 1
    if hidden:
        from vinebook.cli.wrapping import say

        say(f"not shown for want of width: {', '.join(hidden)} (--format csv has all)", err=True)
    return count


def _minute(value: object) -> str:
    """Give a UTC time to the minute."""
    return "" if value is None else f"{str(value)[:16]}Z"


def _cell(value: object) -> str:
    if value is None:
        return ""
    if not isinstance(value, float):
        return str(value)
    short = f"{value:.6g}"
    # what was recorded to a thousandth is told in full, and no mass with an exponent
    return plain_mass(value) if "e+" in short or abs(value - round(value, 3)) < EXACT * abs(value) else short


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).replace("-", "", 1).isdigit()


def _line(cells: Sequence[str], shown: Sequence[int], widths: dict[int, int], right: set[int]) -> str:
    parts = [
        cell.rjust(widths[at]) if at in right else cell.ljust(widths[at]) for cell, at in zip(cells, shown, strict=True)
    ]
    return GAP.join(parts).rstrip()
