"""`figures`: what the counts mean."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vinebook.cli.settings import Settings
    from vinebook.records.book import Book
    from vinebook.seasons.model import Figure

FORMAT = 1
"""Number of the figures JSON; raised when the meaning of a key changes."""
KEYS = (
    "block", "season", "figure", "value", "unit", "per", "low", "high", "level", "n", "chosen", "basis", "band",
    "reading", "status", "note",
)  # fmt: skip
WHERE_THEY_APPLY = ("bearer", "position", "stage", "pick")


@click.command("figures", short_help="Work out the figures of blocks and seasons.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option(
    "--season",
    "seasons",
    type=int,
    multiple=True,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Only of this harvest year; may stand several times.",
)
@click.option("--figure", "names", multiple=True, metavar="NAME", help="Only this figure; may stand several times.")
@with_settings
def figures_command(
    settings: Settings, blocks: tuple[str, ...], seasons: tuple[int, ...], names: tuple[str, ...]
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
      vinebook figures A1 --format json
    """
    from vinebook.api import figures
    from vinebook.records.listing import units_of_book
    from vinebook.records.nearest import one_of
    from vinebook.seasons.catalogue import FIGURES

    for name in names:
        if name not in FIGURES:
            raise WordsError(f"{name!r} is not a figure", one_of(name, FIGURES))
    book = settings.open()
    found = figures(book, blocks, seasons=seasons)
    wanted = (figure for figure in found if not names or figure.figure in names)
    asked = settings.units
    if asked is None and settings.format in (None, "table"):
        with book.reading() as connection:
            asked = units_of_book(connection)
    units: Literal["metric", "us"] = "us" if asked == "us" else "metric"
    match settings.format:
        case "json":
            _print_json(wanted, units)
        case "csv":
            from vinebook.cli.tables import print_rows

            keys = (*KEYS, *WHERE_THEY_APPLY)
            print_rows(keys, (_flat(as_json(figure, units), keys) for figure in wanted), "csv")
        case _:
            if not _print_table(wanted, units):
                settings.say(_nothing(book, blocks, seasons, names))


def _nothing(book: Book, blocks: tuple[str, ...], seasons: tuple[int, ...], names: tuple[str, ...]) -> str:
    """Give what to say where no figure was found: what the book lacks for it."""
    from vinebook.api import figures

    if not seasons or names:
        return "no figure can be worked out yet" + (" for that" if blocks or seasons or names else "")
    held = sorted({figure.season for figure in figures(book, blocks)}) if blocks else []
    where = f" of {', '.join(blocks)}" if blocks else ""
    told = f"; there is something of {', '.join(map(str, held))}" if held else ""
    return f"nothing{where} is recorded for {', '.join(map(str, seasons))}{told}"


def as_json(figure: Figure, units: str) -> dict[str, Any]:
    """Give a figure as the figures JSON has it: numbers unrounded, in metric units unless told."""
    from vinebook.quantities import US_OF_METRIC

    told: dict[str, Any] = {key: getattr(figure, key) for key in KEYS}
    factor, unit = 1.0, figure.unit
    if units == "us" and figure.unit in US_OF_METRIC:
        factor, unit = US_OF_METRIC[figure.unit].factor, US_OF_METRIC[figure.unit].unit
    told["unit"] = unit
    for key in ("value", "low", "high"):
        told[key] = None if told[key] is None else told[key] * factor
    if figure.band is not None:
        limits = {
            side: None if limit is None else limit * factor
            for side, limit in (("low", figure.band.low), ("high", figure.band.high))
        }
        told["band"] = {**limits, "name": figure.band.name, "source": figure.band.source}
    for key in WHERE_THEY_APPLY:
        if (value := getattr(figure, key)) is not None:
            told[key] = value
    return told


def _flat(told: dict[str, Any], keys: tuple[str, ...]) -> list[Any]:
    if told["band"] is not None:
        low, high = (told["band"][side] for side in ("low", "high"))
        told["band"] = (
            f"{'' if low is None else f'{low:g}'}–{'' if high is None else f'{high:g}'} {told['band']['name']}"
        )
    return [told.get(key) for key in keys]


def _print_json(found: Iterable[Figure], units: str) -> None:
    click.echo(f'{{"format": {FORMAT}, "figures": [', nl=False)
    for at, figure in enumerate(found):
        click.echo(f"{',' if at else ''}\n {json.dumps(as_json(figure, units), ensure_ascii=False)}", nl=False)
    click.echo("\n]}")


def _print_table(found: Iterable[Figure], units: Literal["metric", "us"]) -> int:
    """Print figures under a heading for each block and season."""
    from vinebook.cli.figure_lines import figure_lines

    count = 0
    for line in figure_lines(found, units):
        click.echo(line)
        count += 1
    return count
