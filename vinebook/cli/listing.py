"""`list` and `show`: what the book holds."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_block, complete_kind, complete_season
from vinebook.cli.settings import with_settings
from vinebook.cli.tables import print_rows
from vinebook.cli.wrapping import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.cli.settings import Settings


def _shared_key(kind: str) -> Callable[[str], tuple[str, str]] | None:
    """Give what parts the key of a row of a sample in that of its sample and the rest; None for other kinds."""
    from vinebook.kinds import KINDS
    from vinebook.records.keys import join_key, key_labels, split_key

    if kind not in KINDS or not KINDS[kind].sampled:
        return None
    shared = len(key_labels(KINDS["sample"]))

    def part(key: str) -> tuple[str, str]:
        parts = split_key(key)
        return join_key(parts[:shared]), join_key(parts[shared:])

    return part


@click.command("list", short_help="List the records of a kind with their keys.")
@click.argument("kind", shell_complete=complete_kind)
@click.option("--block", metavar="CODE", shell_complete=complete_block, help="Only of this block.")
@click.option(
    "--season",
    type=click.IntRange(1800, 2200),
    metavar="YEAR",
    shell_complete=complete_season,
    help="Only of this season.",
)
@click.option("--struck", is_flag=True, help="Struck records too.")
@with_settings
def list_command(settings: Settings, kind: str, block: str | None, season: int | None, struck: bool) -> None:
    """List the records of a KIND: key first, then what was recorded.

    `vinebook form` without a kind lists the kinds; `sample` and `tally` (the kept files) are two more. The key
    is what `show` takes; on a terminal the part that the rows of a sample share stands once above them.

    \b
    Examples:
      vinebook list block
      vinebook list cluster_tally --block A1 --season 2024
      vinebook list load --format csv > loads.csv
    """
    from vinebook.records.listing import listed_rows, units_of_book

    book, style = settings.open(), settings.format or "table"
    with book.reading() as connection:
        units = settings.units or (units_of_book(connection) if style == "table" else "metric")
        headings, rows = listed_rows(connection, kind, block=block, season=season, struck=struck, units=units)
        section = _shared_key(kind) if sys.stdout.isatty() else None
        count = print_rows(headings, rows, style, section)
    if not count and settings.format in (None, "table"):
        settings.say(f"no {kind.replace('_', ' ')} is recorded" + (" there" if block or season else ""))


@click.command("show", short_help="Show one record and where it came from.")
@click.argument("kind", shell_complete=complete_kind)
@click.argument("key", required=False)
@with_settings
def show_command(settings: Settings, kind: str, key: str | None) -> None:
    """Show one record: every field, its permanent number, and the file and line it came from.

    KEY is the key as `list` prints it, parts joined by "/", or the permanent number as #123.

    \b
    Examples:
      vinebook show block A1
      vinebook show cluster_tally '#1207'
      vinebook show '#1207'
    """
    from vinebook.records.listing import kind_of_record, shown_record, units_of_book

    with settings.open().reading() as connection:
        if key is None:
            kind, key = kind_of_record(connection, kind), kind
        units = settings.units or (units_of_book(connection) if settings.format in (None, "table") else "metric")
        record = shown_record(connection, kind, key, units=units)
    if settings.format == "json":
        click.echo(json.dumps(record, ensure_ascii=False, indent=1, default=str))
    elif settings.format == "csv":
        print_rows(list(record), [list(record.values())], "csv")
    else:
        wide = max(map(len, record))
        for name, value in record.items():
            if value is not None:
                say(f"{name:<{wide}}  {value}", indent=wide + 2)
