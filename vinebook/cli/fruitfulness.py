"""`fruitfulness`: where the fruit sits, spur against cane."""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.settings import with_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.advice.fruit_model import Conversion, Fruitfulness, Laid, Pooled, SeasonRate, SpurSpace
    from vinebook.cli.settings import Settings

FORMAT = 1
"""Number of the JSON; raised when the meaning of a key changes."""
HEADINGS = ("block", "what", "bearer", "position", "season", "value", "low", "high", "n", "n_of", "is_guess", "note")


@click.command("fruitfulness", short_help="Say where the fruit sits: by node, spur against cane.")
@click.argument("blocks", metavar="BLOCK...", nargs=-1, required=True, shell_complete=complete_block)
@click.option(
    "--season",
    "seasons",
    type=click.IntRange(1800, 2200),
    multiple=True,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Look at this season only; may be given again.",
)
@click.option(
    "--nodes",
    type=click.FloatRange(0, 1000, min_open=True),
    metavar="N",
    help="Count nodes of a vine to lay either way.",
)
@click.option("--each", "shows_each", is_flag=True, help="Show each season too.")
@with_settings
def fruitfulness_command(
    settings: Settings, blocks: tuple[str, ...], seasons: tuple[int, ...], nodes: float | None, shows_each: bool
) -> None:
    """Say where the fruit of BLOCK sits, by its node tallies.

    Clusters per node at each position of spurs, canes, renewal spurs and head spurs, basal and old wood apart; what
    the same nodes would bear laid as spurs or as canes; spur against cane; a converted block before and after. The
    vine is the unit in a season, the season is the unit over years. It shows what was counted; the person decides.

    \b
    Examples:
      vinebook fruitfulness A1
      vinebook fruitfulness A1 --nodes 24 --each
      vinebook --format csv fruitfulness A1 B2 --season 2024
    """
    from vinebook.api import fruitfulness

    book = settings.open()
    told = [fruitfulness(book, block, seasons=seasons, nodes=nodes) for block in dict.fromkeys(blocks)]
    match settings.format:
        case "json":
            plain = {"format": FORMAT, "blocks": [dataclasses.asdict(one) for one in told]}
            click.echo(json.dumps(plain, ensure_ascii=False, indent=1))
        case "csv":
            from vinebook.cli.tables import print_rows

            print_rows(HEADINGS, [row for one in told for row in _rows(one)], "csv")
        case _:
            from vinebook.cli.fruit_lines import fruit_lines

            for number, one in enumerate(told):
                if number:
                    click.echo()
                for line in fruit_lines(one, shows_each=shows_each):
                    click.echo(line)


def _rows(told: Fruitfulness) -> Iterator[tuple[Any, ...]]:
    """Give a row for each season's number, and for each mean over seasons (season "mean" or "mean of frost")."""
    for one in told.positions:
        at = (told.block, "clusters_per_node", one.bearer, one.position)
        yield from _of_seasons(at, one.seasons)
        yield from _of_means(at, one.pooled, one.frost)
        if one.fruitful_percent is not None:
            share = (told.block, "fruitful_percent", one.bearer, one.position)
            yield (*share, "mean", one.fruitful_percent, None, None, None, "", "", "")
    for of_form in told.noncount:
        at = (told.block, "noncount_clusters_percent", of_form.form, "")
        yield from _of_seasons(at, of_form.seasons)
        yield from _of_means(at, of_form.pooled, None)
    for laid in told.laid:
        yield from _of_laid(told.block, laid)
    if told.side_by_side is not None:
        at = (told.block, "cane_to_spur", "", "")
        yield from _of_seasons(at, told.side_by_side.seasons)
        yield from _of_means(at, told.side_by_side.pooled, None)
    if told.conversion is not None:
        yield from _of_conversion(told.block, told.conversion)
    if told.spur_space is not None:
        yield from _of_spurs(told.block, told.spur_space)
    for what, every in (("missing", told.missing), ("note", told.notes)):
        for words in every:
            yield (told.block, what, "", "", "", None, None, None, None, "", "", words)


def _of_laid(block: str, laid: Laid) -> Iterator[tuple[Any, ...]]:
    at = (block, "clusters_per_count_node", laid.bearer, f"1-{laid.nodes_per_bearer}")
    guess = "yes" if laid.is_guess else "no"
    yield from _of_seasons(at, laid.per_node, guess)
    yield from _of_means(at, laid.pooled, laid.frost, guess)
    if laid.clusters is not None:
        name = f"clusters_of_{laid.nodes:g}_nodes_as_{laid.form}s"
        numbers = (laid.clusters, laid.clusters_low, laid.clusters_high, None)
        yield (block, name, laid.bearer, "", "mean", *numbers, "", guess, laid.from_words)


def _of_spurs(block: str, space: SpurSpace) -> Iterator[tuple[Any, ...]]:
    for name in ("spacing_cm", "shoots_per_spur", "shoots_per_m_of_cordon"):
        value = getattr(space, name)
        if value is not None:
            yield (block, name, "spur", "", space.season, value, None, None, None, "", "", "")


def _of_conversion(block: str, conversion: Conversion) -> Iterator[tuple[Any, ...]]:
    for changed in conversion.figures:
        for when, of in (("before", changed.before), ("after", changed.after)):
            if of is not None:
                name = f"{changed.figure} {when} {conversion.since}"
                yield (block, name, "", "", "mean", of.mean, of.low, of.high, len(of.seasons), "seasons", "", "")


def _of_seasons(at: tuple[str, ...], rates: tuple[SeasonRate, ...], guess: str = "") -> Iterator[tuple[Any, ...]]:
    for rate in rates:
        note = "; ".join(filter(None, (rate.note, "frost" if rate.is_frost else "")))
        yield (*at, rate.season, rate.value, rate.low, rate.high, rate.units, "units", guess, note)


def _of_means(
    at: tuple[str, ...], pooled: Pooled | None, frost: Pooled | None, guess: str = ""
) -> Iterator[tuple[Any, ...]]:
    for name, of in (("mean", pooled), ("mean of frost", frost)):
        if of is not None:
            yield (*at, name, of.mean, of.low, of.high, len(of.seasons), "seasons", guess, "")
