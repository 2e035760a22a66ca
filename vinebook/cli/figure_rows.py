"""The rows behind figures, for a screen, a program or a spreadsheet."""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.figure_lines import figure_lines
from vinebook.cli.tables import print_rows, width_of_screen
from vinebook.seasons.rows_told import ranges_in_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import RowsBehind
    from vinebook.seasons.tracing import Traced

FORMAT = 1
"""Number of the JSON of rows behind figures; raised when the meaning of a key changes."""
NAMES = ("block", "season", "figure", "bearer", "position", "stage", "pick")
HEADINGS = (
    *(*NAMES, "carried_from", "kind", "key", "numbers", "rows", "tally", "file", "lines"),
    *("happened_on", "recorded_at", "entered_by"),
)
KIND_WIDTH = 15


def print_traced(traced: Sequence[Traced], style: str | None, units: Literal["metric", "us"]) -> None:
    """Print figures with the rows behind them.

    Parameters
    ----------
    traced : the figures and their rows.
    style : "table", "json" or "csv".
    units : "metric" or "us".
    """
    if style == "json":
        from vinebook.seasons.figures_json import as_json

        told = (json.dumps(_as_json(one, as_json(one.figure, units)), ensure_ascii=False) for one in traced)
        click.echo(f'{{"format": {FORMAT}, "figures": [\n ' + ",\n ".join(told) + "\n]}")
    elif style == "csv":
        print_rows(HEADINGS, (row for one in traced for row in _flat(one)), "csv")
    else:
        for at, one in enumerate(traced):
            if at:
                click.echo()
            for line in (*figure_lines([one.figure], units), *row_lines(one)):
                click.echo(line)


def row_lines(traced: Traced) -> Iterator[str]:
    """Give the lines that name the rows behind a figure."""
    if traced.carried_from:
        yield f"  rows of block {', '.join(traced.carried_from)}:"
    if not traced.rows:
        yield "  no row is behind it yet"
    last = ""
    for rows in traced.rows:
        if rows.key == last:
            yield from _wrapped(rows.kind, f"{'1 row' if rows.count == 1 else f'{rows.count:,} rows'} of that sample")
        else:
            yield from _wrapped(rows.kind, rows.key)
        where = f"{ranges_in_words(rows.numbers, '#')} · {file_and_lines(rows)}"
        yield from _wrapped("", where)
        last = rows.key


def file_and_lines(rows: RowsBehind) -> str:
    """Give in words where rows came in."""
    return f"{rows.file} {'line' if rows.count == 1 else 'lines'} {ranges_in_words(rows.lines)}"


def _wrapped(kind: str, words: str) -> Iterator[str]:
    indent = " " * (KIND_WIDTH + 2)
    first = f"  {kind}".ljust(KIND_WIDTH + 2)
    width = max(width_of_screen(), 60)
    yield from textwrap.wrap(words, width, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False)


def _named(figure: Figure) -> list[Any]:
    return [getattr(figure, name) for name in NAMES]


def _flat(traced: Traced) -> Iterator[list[Any]]:
    for rows in traced.rows:
        yield [
            *_named(traced.figure),
            " ".join(traced.carried_from),
            rows.kind,
            rows.key,
            ranges_in_words(rows.numbers),
            rows.count,
            rows.tally,
            rows.file,
            ranges_in_words(rows.lines),
            rows.happened_on,
            rows.recorded_at,
            rows.entered_by,
        ]


def _as_json(traced: Traced, figure: dict[str, Any]) -> dict[str, Any]:
    return {**figure, "carried_from": list(traced.carried_from), "rows": [rows_as_json(rows) for rows in traced.rows]}


def rows_as_json(rows: RowsBehind) -> dict[str, Any]:
    """Give rows of one kind and key as plain values."""
    return {
        "kind": rows.kind,
        "key": rows.key,
        "numbers": [list(pair) for pair in rows.numbers],
        "count": rows.count,
        "tally": rows.tally,
        "file": rows.file,
        "lines": [list(pair) for pair in rows.lines],
        "happened_on": rows.happened_on,
        "recorded_at": rows.recorded_at,
        "entered_by": rows.entered_by,
    }
