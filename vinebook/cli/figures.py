"""`figures`: what the counts mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.given import YEAR
from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from sqlalchemy import Connection

    from vinebook.cli.settings import Settings
    from vinebook.records.book import Book
    from vinebook.seasons.context import JudgingContext
    from vinebook.seasons.model import Figure


@click.command("figures", short_help="Work out the figures of blocks and seasons.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option(
    "--season",
    "seasons",
    type=YEAR,
    multiple=True,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Only of this harvest year; may stand several times.",
)
@click.option("--figure", "names", multiple=True, metavar="NAME", help="Only this figure; may stand several times.")
@click.option("--rows", is_flag=True, help="Print the rows behind each figure: numbers, keys, files and lines.")
@with_settings
def figures_command(
    settings: Settings, blocks: tuple[str, ...], seasons: tuple[int, ...], names: tuple[str, ...], *, rows: bool
) -> None:
    """Work out the figures of each BLOCK (all without one), season by season.

    Each figure has its value, the interval that its sample supports, n, how the vines were chosen and what it
    rests on. One that cannot be worked out says what it waits for. Where a band applies the figure is read
    against it: below, within, above, or not clear where the interval crosses a limit.

    A block that was split, merged or renamed shows what its vines did before, figures of a vine or a metre only, and
    says under which block.

    \b
    Examples:
      vinebook figures A1 --season 2024
      vinebook figures --figure yield_to_prunings
      vinebook figures A1 --season 2024 --figure yield_to_prunings --rows
    """
    from vinebook.judging import judged_figures
    from vinebook.records.nearest import one_of
    from vinebook.seasons.catalogue import FIGURES

    for name in names:
        if name not in FIGURES:
            raise WordsError(f"{name!r} is not a figure", one_of(name, FIGURES))
    book = settings.open()
    if rows:
        from vinebook.api import rows_behind
        from vinebook.cli.figure_rows import print_traced

        traced = rows_behind(book, blocks, seasons=seasons, names=names)
        with book.reading() as connection:
            units = _units(connection, settings)
        print_traced(traced, settings.format, units)
        count: int | None = len(traced)
    else:
        # All that is printed is of one moment.
        with book.reading() as connection:
            units = _units(connection, settings)
            context, found = judged_figures(connection, blocks, seasons=seasons)
            wanted = (figure for figure in found if not names or figure.figure in names)
            # What figures mean together is told where all of a season are shown.
            together = None if names else _together(context, units)
            count = _print(wanted, settings.format, units, together)
    if count == 0:
        settings.say(_nothing(book, blocks, seasons, names))


def _units(connection: Connection, settings: Settings) -> Literal["metric", "us"]:
    """Give the units to print in: those asked for; in a table else those of the book."""
    from vinebook.records.listing import units_of_book

    asked = settings.units
    if asked is None and settings.format in (None, "table"):
        asked = units_of_book(connection)
    return "us" if asked == "us" else "metric"


def _print(
    wanted: Iterable[Figure],
    style: str | None,
    units: Literal["metric", "us"],
    together: Callable[[Sequence[Figure]], Iterator[str]] | None,
) -> int | None:
    """Print figures; give how many lines a table has, None where what is printed says itself that it is empty."""
    if style == "json":
        _print_json(wanted, units)
        return None
    if style == "csv":
        from vinebook.cli.tables import print_rows
        from vinebook.seasons.figures_json import KEYS, WHERE_THEY_APPLY, as_json

        keys = (*KEYS, *WHERE_THEY_APPLY)
        print_rows(keys, (_flat(as_json(figure, units), keys) for figure in wanted), "csv")
        return None
    return _print_table(wanted, units, together)


def _nothing(book: Book, blocks: tuple[str, ...], seasons: tuple[int, ...], names: tuple[str, ...]) -> str:
    """Give what to say where no figure was found: what the book lacks for it."""
    from vinebook.api import figures
    from vinebook.audit.check_rule import years

    if not seasons or names:
        return "no figure can be worked out yet" + (" for that" if blocks or seasons or names else "")
    held = sorted({figure.season for figure in figures(book, blocks)}) if blocks else []
    where = f" of {', '.join(blocks)}" if blocks else ""
    told = f"; there is something of {years(held)}" if held else ""
    return f"nothing{where} is recorded for {', '.join(map(str, seasons))}{told}"


def _flat(told: dict[str, Any], keys: tuple[str, ...]) -> list[Any]:
    if told["band"] is not None:
        low, high = (told["band"][side] for side in ("low", "high"))
        told["band"] = (
            f"{'' if low is None else f'{low:g}'}–{'' if high is None else f'{high:g}'} {told['band']['name']}"
        )
    return [told.get(key) for key in keys]


def _print_json(found: Iterable[Figure], units: str) -> None:
    from vinebook.seasons.figures_json import figures_json

    for piece in figures_json(found, units):
        click.echo(piece, nl=False)


def _together(contexts: JudgingContext, units: Literal["metric", "us"]) -> Callable[[Sequence[Figure]], Iterator[str]]:
    """Give what says in words what the figures of one block and season mean together."""
    from vinebook.advice.together import said_together
    from vinebook.reports.numbers import FigureWriter

    writer = FigureWriter(units)

    def told(figures: Sequence[Figure]) -> Iterator[str]:
        if not figures:
            return
        context, season = contexts.of(figures[0].block), figures[0].season
        for said in said_together(figures, context.cultivar_in(season), context.curtains_in(season), writer):
            yield said.words

    return told


def _print_table(
    found: Iterable[Figure],
    units: Literal["metric", "us"],
    together: Callable[[Sequence[Figure]], Iterator[str]] | None,
) -> int:
    """Print figures under a heading for each block and season."""
    from vinebook.cli.figure_lines import figure_lines

    count = 0
    for line in figure_lines(found, units, together):
        click.echo(line)
        count += 1
    return count
