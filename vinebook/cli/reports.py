"""`report`: what people hand on."""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.given import YEAR, Amount
from vinebook.cli.settings import with_settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.cli.printing import Printing
    from vinebook.cli.settings import Settings
    from vinebook.reports.paper import Paper
    from vinebook.seasons.statement_model import Shows


@click.group("report", short_help="Print what people hand on, as PDF.")
def report_command() -> None:
    """Print what people hand on, as PDF: archival, accessible, with figures and rows inside.

    \b
    Examples:
      vinebook report history A1 -o a1.pdf
      vinebook report statement --to 'Bell Lane Cellar' -o statement.pdf
      vinebook report trail A1 -o trail.pdf
      vinebook report overview --season 2024 -o overview.pdf

    `vinebook guide reports` says which report is for whom and how to check one.
    """


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


def _printing(given: dict[str, Any]) -> Printing:
    from vinebook.cli.printing import Printing

    return Printing(**given)


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
    from vinebook.cli.printing import every_block, print_blocks, units_of
    from vinebook.errors import WordsError
    from vinebook.reports.wanted import Wanted

    printing = _printing(given)
    if not blocks and not printing.every:
        raise WordsError("no block was named", "name one or several, or give --all")
    wanted = Wanted("history", blocks, units_of(settings), printing.paper)
    print_blocks(settings, printing, wanted, every_block, "Histories of blocks")


@report_command.command("statement", short_help="For the winery: its loads of a season.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option("--to", required=True, metavar="CONSIGNEE", help="Who took the fruit, or was given an estimate.")
@click.option(
    "--season", type=YEAR, metavar="YEAR", shell_complete=complete_season, help="Harvest year; else the latest."
)
@click.option(
    "--with",
    "shows",
    type=click.Choice(["yield", "balance"]),
    multiple=True,
    help="Tell the blocks' yield or balance too; may stand twice.",
)
@click.option(
    "--share",
    "share_percent",
    type=Amount(0, 100, min_open=True),
    metavar="PERCENT",
    help="Share of the crop that is promised to the winery; estimates are told with it.",
)
@_with(_PRINTED)
@_with(_SEVERAL)
@with_settings
def statement_command(
    settings: Settings,
    blocks: tuple[str, ...],
    to: str,
    season: int | None,
    shows: tuple[Shows, ...],
    share_percent: float | None,
    **given: Any,  # noqa: ANN401 - options by name
) -> None:
    """Print what a winery is handed: its loads and picks, what they came from, the work that was done there.

    Without a BLOCK it tells of all blocks whose fruit the winery took in that season, or of whose crop it was given
    an estimate, in one PDF. Loads to others are never in it, nor in the files inside it, nor are a block's yield
    and balance unless --with asks for them.

    \b
    Examples:
      vinebook report statement --to 'Bell Lane Cellar' -o statement.pdf
      vinebook report statement A1 --to 'Bell Lane Cellar' --season 2024 -o a1.pdf
      vinebook report statement --all --to 'Bell Lane Cellar' -o statements/
    """
    from vinebook.cli.printing import print_blocks, print_one, units_of
    from vinebook.pages import concerned_blocks
    from vinebook.reports.wanted import Wanted

    printing = _printing(given)
    wanted = Wanted("statement", blocks, units_of(settings), printing.paper, to, season, shows, share_percent)
    if blocks or printing.every or printing.bound:
        every = functools.partial(concerned_blocks, to=to, season=season)
        if printing.bound and not blocks:
            printing = replace(printing, every=True)
        print_blocks(settings, printing, wanted, every, f"Statements for {to}")
    else:
        print_one(settings, wanted, Path(printing.output))


@report_command.command("trail", short_help="For the auditor: decisions, from evidence to outcome.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option(
    "--season",
    type=YEAR,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Only the decisions for this harvest year.",
)
@_with(_PRINTED)
@_with(_SEVERAL)
@with_settings
def trail_command(settings: Settings, blocks: tuple[str, ...], season: int | None, **given: Any) -> None:  # noqa: ANN401
    """Print the decisions of each BLOCK: the figures that they saw, what was done, what came, what was corrected since.

    Mass balances of the seasons follow, and the rows behind every figure by number, file and line.

    \b
    Examples:
      vinebook report trail A1 -o trail.pdf
      vinebook report trail --all --bound -o trails.pdf
    """
    from vinebook.cli.printing import every_block, print_blocks, units_of
    from vinebook.errors import WordsError
    from vinebook.reports.wanted import Wanted

    printing = _printing(given)
    if not blocks and not printing.every:
        raise WordsError("no block was named", "name one or several, or give --all")
    wanted = Wanted("trail", blocks, units_of(settings), printing.paper, season=season)
    print_blocks(settings, printing, wanted, every_block, "Trails of decisions")


@report_command.command("overview", short_help="For the manager: all blocks of a season.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option(
    "--season",
    type=YEAR,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Harvest year; the latest that was closed unless told.",
)
@_with(_PRINTED)
@with_settings
def overview_command(
    settings: Settings, blocks: tuple[str, ...], season: int | None, output: str, paper: Paper
) -> None:
    """Print all blocks of a season side by side, or the BLOCKs named: those clearly outside a band come first.

    \b
    Examples:
      vinebook report overview -o overview.pdf
      vinebook report overview A1 A2 --season 2024 -o overview.pdf
    """
    from vinebook.cli.printing import print_one, units_of
    from vinebook.reports.wanted import Wanted

    wanted = Wanted("overview", tuple(dict.fromkeys(blocks)), units_of(settings), paper, season=season)
    print_one(settings, wanted, Path(output))


_LANGUAGE = click.option(
    "--language",
    default="en",
    show_default=True,
    metavar="LANGUAGE",
    help="Of the crew: en, es, with a country es_MX, or your own catalogue fr.po.",
)


@report_command.command("sheet", short_help="For who counts: drawn vines for pencil.")
@click.argument("of", metavar="DRAW|BLOCK")
@click.option(
    "--season",
    type=int,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Harvest year, where a BLOCK is named.",
)
@click.option(
    "--count", metavar="KIND", default="", help="What is counted, such as shoot_tally; else what was drawn for."
)
@_LANGUAGE
@_with(_PRINTED)
@with_settings
def sheet_command(
    settings: Settings, of: str, season: int | None, count: str, language: str, output: str, paper: Paper
) -> None:
    """Print the vines of a DRAW for clipboard and pencil, thirty to a page, in walking order.

    Its columns are those of the form, in the same order; its number is the key of the draw, and the form with that
    draw (`vinebook form KIND --draw KEY`) is where it is typed in. With a BLOCK in place of a draw the sheet is empty:
    rows and vines are written in.

    \b
    Examples:
      vinebook report sheet A1/2027/1 -o sheet.pdf
      vinebook report sheet A1/2027/1 --count shoot_tally --language es -o sheet.pdf
      vinebook report sheet A1 --season 2027 --count cluster_tally -o empty.pdf
    """
    from vinebook.cli.printing import print_one, units_of
    from vinebook.errors import WordsError
    from vinebook.records.drawn import is_draw_key
    from vinebook.reports.wanted import Wanted

    is_draw = is_draw_key(of)
    if is_draw and season is not None:
        raise WordsError("a draw has a season of its own", "leave out --season, or name a block")
    wanted = Wanted(
        "sheet",
        () if is_draw else (of,),
        units_of(settings),
        paper,
        season=season,
        draw=of if is_draw else "",
        count=count,
        language=language,
    )
    print_one(settings, wanted, Path(output))


@report_command.command("card", short_help="For the pruning crew: the decision as instruction.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option(
    "--season",
    type=int,
    required=True,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Season that the nodes are for: the year of its harvest.",
)
@click.option("--lay", type=click.Choice(["spurs", "canes"]), help="Lay the nodes out as spurs or as canes.")
@click.option("--nodes-per-spur", type=click.IntRange(1, 10), metavar="N", help="Nodes on a spur.")
@click.option("--canes", type=click.IntRange(1, 12), metavar="N", help="Canes of a vine.")
@click.option("--renewal-spurs", type=click.IntRange(0, 12), metavar="N", help="Renewal spurs of a vine.")
@click.option("--formula", metavar="NAME", help="Formula of the table by weight; see `vinebook guide nodes`.")
@_LANGUAGE
@_with(_PRINTED)
@_with(_SEVERAL)
@with_settings
def card_command(
    settings: Settings,
    blocks: tuple[str, ...],
    season: int,
    lay: Literal["spurs", "canes"] | None,
    nodes_per_spur: int | None,
    canes: int | None,
    renewal_spurs: int | None,
    formula: str | None,
    language: str,
    **given: Any,  # noqa: ANN401 - options by name
) -> None:
    """Print the pruning crew's card of each BLOCK: the decision on nodes, drawn and in words, on one page.

    The drawing is of this block, to scale: its training, arms, curtains and cordon, and the nodes laid out on them.
    What was checked is typed in as pruned vines; `check` and `trail` set it against the order. --all prints the blocks
    that have a decision for the season.

    \b
    Examples:
      vinebook report card A1 --season 2027 -o card.pdf
      vinebook report card A1 A2 --season 2027 --language es --bound -o cards.pdf
      vinebook report card --all --season 2027 -o cards/
    """
    from vinebook.advice.nodes_model import Wishes
    from vinebook.api import full_names
    from vinebook.cli.printing import print_blocks, units_of
    from vinebook.errors import WordsError
    from vinebook.pages import ordered_blocks
    from vinebook.reports.wanted import Wanted

    printing = _printing(given)
    if not blocks and not printing.every:
        raise WordsError("no block was named", "name one or several, or give --all")
    wishes = full_names(
        Wishes(formula=formula, lay=lay, nodes_per_spur=nodes_per_spur, canes=canes, renewal_spurs=renewal_spurs)
    )
    wanted = Wanted("card", blocks, units_of(settings), printing.paper, season=season, language=language, wishes=wishes)
    print_blocks(settings, printing, wanted, functools.partial(ordered_blocks, season=season), "Pruning cards")
