"""`draw`: how many vines are enough, which ones, and whether they were visited."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings

FORMAT = 1
"""Number of the JSON of a draw; raised when the meaning of a key changes."""


@click.command("draw", short_help="Choose vines to count; how many are enough.")
@click.argument("block", metavar="[BLOCK]", required=False, shell_complete=complete_block)
@click.option(
    "--season",
    type=click.IntRange(1800, 2200),
    metavar="YEAR",
    shell_complete=complete_season,
    help="Harvest year that the vines are counted in.",
)
@click.option("--for", "figure", metavar="FIGURE", help="Figure that the count is for.")
@click.option("--vines", type=int, metavar="N", help="Draw so many vines.")
@click.option("--within", type=float, metavar="PERCENT", help="Draw enough for an interval of ± so much of the mean.")
@click.option(
    "--how",
    type=click.Choice(["random", "every_kth", "panels"]),
    default="random",
    show_default=True,
    help="Vines at random, every k-th from a random start, or whole panels at random.",
)
@click.option("--every", "step", type=int, metavar="K", help="With every_kth: the step itself.")
@click.option(
    "--parts",
    multiple=True,
    metavar="ROWS",
    help="Draw parts for themselves: low=1-9 high=10-20, or the word rows for each row.",
)
@click.option("--panel-size", type=int, metavar="M", help="Vine positions in a panel; else as recorded of the rows.")
@click.option("--seed", type=int, metavar="S", help="Seed of the draw; chosen by chance and told unless named.")
@click.option("--cv", type=float, metavar="PERCENT", help="Spread between vines, in place of the book's.")
@click.option("--name", default="", metavar="NAME", help="Short name of the draw; else the next number.")
@click.option(
    "--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Day on which it was drawn; today unless named."
)
@click.option("--note", default="", metavar="WORDS", help="Anything worth keeping with the draw.")
@click.option("--dry-run", is_flag=True, help="Draw and print, record nothing.")
@click.option("--list", "lists", is_flag=True, help="List the draws of the book, of BLOCK or of a season.")
@click.option("--show", metavar="KEY", help="Show a recorded draw: its vines, and which were visited.")
@with_settings
def draw_command(settings: Settings, block: str | None, lists: bool, show: str | None, **given: Any) -> None:  # noqa: ANN401
    """Choose the vines of BLOCK to count for a figure, and record the draw.

    Without --vines, --within or --every it only tells what 5, 10, 20, 30 and 50 vines buy: the half width that a 95 %
    interval may be expected to have, from the spread in the block's own past samples, else in blocks of its
    cultivar, else a published one. Vines are printed in walking order. Name the draw in the column draw of the
    tally and `load` tells which of its vines were not visited.

    \b
    Examples:
      vinebook draw A1 --season 2027 --for clusters_per_vine
      vinebook draw A1 --season 2027 --for clusters_per_vine --within 15
      vinebook draw A1 --season 2027 --for budbreak --vines 30 --how panels
      vinebook draw --show A1/2027/1
    """
    if show is not None:
        _show(settings, show)
    elif lists:
        _list(settings, block, given["season"])
    else:
        _draw(settings, block, given)


def _draw(settings: Settings, block: str | None, given: dict[str, Any]) -> None:
    from vinebook.api import draw_vines
    from vinebook.cli.draw_lines import as_json, draw_lines, vine_rows
    from vinebook.cli.tables import print_rows
    from vinebook.seasons.draw_checks import check_figure

    season, figure = given["season"], given["figure"]
    lacks = {"BLOCK": block, "--season": season, "--for": figure}
    if block is None or season is None or figure is None:
        missing = " and ".join(name for name, value in lacks.items() if value is None)
        raise WordsError(
            f"a draw needs {missing}", "such as: vinebook draw A1 --season 2027 --for clusters_per_vine --within 15"
        )
    check_figure(figure)
    drawn = draw_vines(
        settings.open(),
        block,
        season=season,
        figure=figure,
        by=settings.who,
        # A step says how by itself.
        how="every_kth" if given["step"] is not None and given["how"] == "random" else given["how"],
        vines=given["vines"],
        within_percent=given["within"],
        parts=given["parts"],
        panel_size=given["panel_size"],
        step=given["step"],
        seed=given["seed"],
        cv_percent=given["cv"],
        name=given["name"],
        on=given["on"] and given["on"].date(),
        note=given["note"],
        dry_run=given["dry_run"],
    )
    lines = draw_lines(drawn)
    match settings.format:
        case "json":
            click.echo(json.dumps({"format": FORMAT, **as_json(drawn)}, ensure_ascii=False, indent=1, default=str))
        case "csv":
            print_rows(*vine_rows(drawn), "csv")
            # The rows do not say how they were drawn.
            settings.say("\n".join(lines[: lines.index("")]))
        case _:
            click.echo("\n".join(lines))


def _list(settings: Settings, block: str | None, season: int | None) -> None:
    from vinebook.cli.tables import print_rows
    from vinebook.records.drawn import kept_draws, visits_of

    headings = ("draw", "figure", "chosen", "vines", "half_width", "visited", "drawn_on")
    with settings.open().reading() as connection:
        rows = [
            (
                draw.key,
                draw.figure,
                draw.chosen,
                len(draw.vines),
                None if draw.half_width_percent is None else round(draw.half_width_percent, 1),
                ", ".join(f"{one.kind} {len(one.visited)}" for one in visits_of(connection, draw.record)),
                draw.drawn_on,
            )
            for draw in kept_draws(connection, block, season)
        ]
    if not print_rows(headings, rows, settings.format or "table"):
        settings.say("no draw is recorded" + (" there" if block or season else ""))


def _show(settings: Settings, key: str) -> None:
    from vinebook.cli.draw_lines import kept_as_json, kept_lines, kept_rows
    from vinebook.cli.tables import print_rows
    from vinebook.records.drawn import kept_draw, visits_of

    with settings.open().reading() as connection:
        draw = kept_draw(connection, key)
        visits = visits_of(connection, draw.record)
    match settings.format:
        case "json":
            told = {"format": FORMAT, **kept_as_json(draw, visits)}
            click.echo(json.dumps(told, ensure_ascii=False, indent=1, default=str))
        case "csv":
            print_rows(*kept_rows(draw, visits), "csv")
        case _:
            click.echo("\n".join(kept_lines(draw, visits)))
