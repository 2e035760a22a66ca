"""`report`: what people hand on."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Any

import click

from vinebook.cli.completion import complete_block
from vinebook.cli.settings import with_settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.cli.settings import Settings


@click.group("report", short_help="Print what people hand on, as PDF.")
def report_command() -> None:
    """Print what people hand on, as PDF."""


_PRINTED = (
    click.option("-o", "--output", required=True, metavar="FILE|FOLDER", help="The PDF to write, or the folder."),
    click.option(
        "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the paper."
    ),
)
_SEVERAL = (
    click.option("--all", "every", is_flag=True, help="Every block of the book."),
    click.option("--bound", is_flag=True, help="One PDF with contents and bookmarks, instead of one a block."),
    click.option(
        "--workers",
        type=click.IntRange(1, 64),
        metavar="N",
        help="Processes that print side by side; as many as there are cores unless told.",
    ),
)


def _with(options: tuple[Callable[[Any], Any], ...]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add options to a command, in their order."""
    return lambda function: functools.reduce(lambda made, option: option(made), reversed(options), function)


@report_command.command("history", short_help="Blocks over the years.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@_with(_PRINTED)
@_with(_SEVERAL)
@with_settings
def history_command(settings: Settings, blocks: tuple[str, ...], **given: Any) -> None:  # noqa: ANN401 - options by name
    """Print the history of each BLOCK over the years: what it is, every season's figures, what is pending.

    Every figure stands with n and interval in the appendix; the last page carries the seal of the book as it
    was. Figures and the rows behind them are inside the PDF as files. Units are the vineyard's own unless
    --units says otherwise. Several blocks go into a folder, a PDF each, or --bound into one.

    \b
    Examples:
      vinebook report history A1 -o a1.pdf
      vinebook report history A1 A2 -o histories/
      vinebook report history --all --bound -o histories.pdf --paper letter --units us
    """
    from vinebook.cli.printing import print_blocks

    print_blocks(settings, "history", blocks, title="Histories of blocks", **given)
