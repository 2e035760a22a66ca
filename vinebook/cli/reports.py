"""`report`: what people hand on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from vinebook.cli.completion import complete_block
from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings


@click.group("report", short_help="Print what people hand on, as PDF.")
def report_command() -> None:
    """Print what people hand on, as PDF."""


@report_command.command("history", short_help="A block over the years.")
@click.argument("block", shell_complete=complete_block)
@click.option("-o", "--output", required=True, metavar="FILE", help="The PDF to write.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the paper."
)
@with_settings
def history_command(settings: Settings, block: str, output: str, paper: Literal["a4", "letter"]) -> None:
    """Print a block's history over the years: what it is, every season's figures, what is pending.

    Every figure stands with n and interval in the appendix; the last page carries the seal of the book as it
    was. Units are the vineyard's own unless --units says otherwise.

    \b
    Examples:
      vinebook report history A1 -o a1.pdf
      vinebook report history A1 -o a1.pdf --paper letter --units us
    """
    from vinebook.api import report
    from vinebook.reports.render import require_folder, write_file

    path = Path(output)
    require_folder(path)
    units: Literal["metric", "us"] | None = (
        None if settings.units is None else "us" if settings.units == "us" else "metric"
    )
    made = report(settings.open(), "history", block, units=units, paper=paper)
    for warning in made.warnings:
        say(f"warning: {warning}", indent=2, err=True)
    write_file(path, made.pdf)
    settings.say(f"wrote {path}")
