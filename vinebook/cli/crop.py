"""`crop`: how much crop is coming."""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError

if TYPE_CHECKING:
    import datetime as dt

    from vinebook.cli.settings import Settings

    Units = Literal["metric", "us"]

FORMAT = 1
"""Number of the JSON; raised when the meaning of a key changes."""
STAGES = ("bud_break", "set", "lag_phase", "veraison", "near_harvest")


@click.command("crop", short_help="Say how much crop is coming, and how earlier estimates did.")
@click.argument("blocks", nargs=-1, metavar="BLOCK", shell_complete=complete_block)
@click.option(
    "--season",
    type=click.IntRange(1800, 2200),
    metavar="YEAR",
    shell_complete=complete_season,
    help="Season: the year of its harvest.",
)
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="With what was counted up to this day.")
@click.option("--stage", type=click.Choice(STAGES), help="Stage whose counts are used; else the latest there is.")
@click.option(
    "--factor", type=click.FloatRange(0, 20, min_open=True), metavar="N", help="Growth factor, in place of the book's."
)
@click.option(
    "--share",
    type=click.FloatRange(0, 100, min_open=True),
    metavar="PERCENT",
    help="Share of the crop that will be picked, in place of what was picked before.",
)
@click.option("--given-to", metavar="NAME", help="Record it as given to somebody.")
@click.option("--level", type=click.Choice(["80", "95"]), default="80", help="Interval that is given with it.")
@click.option("--backtest", is_flag=True, help="How such estimates would have done over the book.")
@with_settings
def crop_command(
    settings: Settings,
    blocks: tuple[str, ...],
    season: int | None,
    *,
    backtest: bool,
    **given: Any,  # noqa: ANN401 - options by name
) -> None:
    """Say how much crop of BLOCK is coming, from the counts that are there.

    Bearing vines × clusters per vine × cluster weight × growth factor × share picked, with its interval, what each
    adds to it, and where an hour of counting would help most. Of a closed harvest: what was estimated, and what
    came. With --backtest: error and coverage over the book. An estimate is an estimate.

    \b
    Examples:
      vinebook crop A1 --season 2026
      vinebook crop A1 --season 2026 --on 2026-08-10 --given-to 'Bell Lane Cellar'
      vinebook crop --backtest
    """
    if backtest:
        named = [name for name in ("on", "stage", "factor", "share", "given_to") if given[name] is not None]
        if season is not None or named:
            words = "--" + (named[0].replace("_", "-") if named else "season")
            raise WordsError(f"{words} does not go with --backtest", "name blocks only, or none for the whole book")
        _backtest(settings, blocks)
        return
    if len(blocks) != 1 or season is None:
        raise WordsError(
            "an estimate is of one block and season", "such as: vinebook crop A1 --season 2026; or crop --backtest"
        )
    _estimate(settings, blocks[0], season, given)


def _units(settings: Settings) -> Units:
    from vinebook.records.listing import units_of_book

    asked = settings.units
    if asked is None and settings.format in (None, "table"):
        with settings.open().reading() as connection:
            asked = units_of_book(connection)
    return "us" if asked == "us" else "metric"


def _estimate(settings: Settings, block: str, season: int, given: dict[str, Any]) -> None:
    from vinebook.advice.crop_model import CropWishes
    from vinebook.api import crop_to_come
    from vinebook.cli.crop_lines import answer_lines
    from vinebook.cli.crop_rows import answer_rows, as_plain
    from vinebook.cli.tables import print_rows

    on: dt.date | None = given["on"] and given["on"].date()
    level = int(given["level"])
    told = crop_to_come(
        settings.open(),
        block,
        season,
        on=on,
        wishes=CropWishes(given["stage"], given["factor"], given["share"]),
        given_to=given["given_to"] or "",
        level=level,
        by=settings.who,
    )
    units = _units(settings)
    match settings.format:
        case "json":
            plain = {"format": FORMAT, **as_plain(dataclasses.asdict(told), units)}
            click.echo(json.dumps(plain, ensure_ascii=False, indent=1, default=str))
        case "csv":
            print_rows(*answer_rows(told, units), "csv")
        case _:
            click.echo("\n".join(answer_lines(told, units, level)))
    if given["given_to"]:
        settings.say(f"recorded: given to {given['given_to'].strip()}, with its {level} % interval")


def _backtest(settings: Settings, blocks: tuple[str, ...]) -> None:
    from vinebook.api import crop_backtest
    from vinebook.cli.crop_lines import backtest_lines
    from vinebook.cli.crop_rows import as_plain, tried_rows
    from vinebook.cli.tables import print_rows

    show = settings.progress()
    told = crop_backtest(
        settings.open(), blocks, progress=None if show is None else lambda done, of: show("estimates", done, of)
    )
    units = _units(settings)
    match settings.format:
        case "json":
            plain = {"format": FORMAT, **as_plain(dataclasses.asdict(told), units)}
            click.echo(json.dumps(plain, ensure_ascii=False, indent=1, default=str))
        case "csv":
            print_rows(*tried_rows(told, units), "csv")
        case _:
            click.echo("\n".join(backtest_lines(told)))
