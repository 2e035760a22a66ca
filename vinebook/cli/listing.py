"""`list` and `show`: what the book holds."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_block, complete_kind, complete_season
from vinebook.cli.settings import with_settings
from vinebook.cli.tables import print_rows

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings


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

    `vinebook form` without a kind lists the kinds; `sample` is one more. The key is what `show` takes.

    \b
    Examples:
      vinebook list block
      vinebook list cluster_tally --block A1 --season 2024
      vinebook list load --format csv > loads.csv
    """
    from vinebook.records.listing import listed_rows

    book = settings.open()
    with book.reading() as connection:
        headings, rows = listed_rows(
            connection, kind, block=block, season=season, struck=struck, units=settings.units or "metric"
        )
        count = print_rows(headings, rows, settings.format or "table")
    if not count and settings.format in (None, "table"):
        settings.say(f"no {kind.replace('_', ' ')} is recorded" + (" there" if block or season else ""))


@click.command("show", short_help="Show one record and where it came from.")
@click.argument("kind", shell_complete=complete_kind)
@click.argument("key")
@with_settings
def show_command(settings: Settings, kind: str, key: str) -> None:
    """Show one record: every field, its permanent number, and the file and line it came from.

    KEY is the key as `list` prints it, parts joined by "/", or the permanent number as #123.

    \b
    Examples:
      vinebook show block A1
      vinebook show cluster_tally '#1207'
    """
    from vinebook.records.listing import shown_record

    with settings.open().reading() as connection:
        record = shown_record(connection, kind, key, units=settings.units or "metric")
    if settings.format == "json":
        click.echo(json.dumps(record, ensure_ascii=False, indent=1, default=str))
    elif settings.format == "csv":
        print_rows(list(record), [list(record.values())], "csv")
    else:
        wide = max(map(len, record))
        for name, value in record.items():
            if value is not None:
                click.echo(f"{name:<{wide}}  {value}")
