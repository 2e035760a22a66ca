"""`tickets`: weigh tickets summed, and the mass balance of a season."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.given import YEAR
from vinebook.cli.settings import with_settings
from vinebook.cli.tables import print_rows
from vinebook.errors import WordsError

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings
    from vinebook.seasons.tickets import Grouping


@click.command("tickets", short_help="Sum weigh tickets: each consignee, day, pick, block or ticket.")
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
@click.option(
    "--each",
    "grouping",
    type=click.Choice(["consignee", "day", "pick", "block", "ticket"]),
    default="consignee",
    show_default=True,
    help="What each line sums.",
)
@with_settings
def tickets_command(settings: Settings, blocks: tuple[str, ...], seasons: tuple[int, ...], grouping: Grouping) -> None:
    """Sum the loads of each season, or the shares of each BLOCK in them.

    Picked is the net mass of the tickets; picked = accepted + refused + deducted. The last line of a season is its
    mass balance. Fruit left on the vine is no ticket; `figures` has it in the crop.

    \b
    Examples:
      vinebook tickets --season 2024
      vinebook tickets A1 --each pick
    """
    from vinebook.kinds import KINDS
    from vinebook.quantities import POUND_KG
    from vinebook.records.keys import find_record
    from vinebook.seasons.tickets import GROUPINGS, Delivered, delivered

    if settings.by in GROUPINGS:
        raise WordsError("--by says who acts", f"what each line sums: --each {settings.by}")
    unit, per_unit = ("lb", POUND_KG) if settings.units == "us" else ("kg", Fraction(1))
    with settings.open().reading() as connection:
        records = [find_record(connection, KINDS["block"], code) for code in blocks] or None
        sums = delivered(connection, grouping, seasons=list(seasons) or None, blocks=records)

    def row(one: Delivered, name: str) -> list[object]:
        masses = (one.picked_kg, one.accepted_kg, one.refused_kg, one.deducted_kg)
        return [one.season, name, len(one.loads), *(float(mass / per_unit) for mass in masses)]

    rows: list[list[object]] = []
    for season in sorted({one.season for one in sums}):
        whole = Delivered(season, "")
        for one in sums:
            if one.season == season:
                rows.append(row(one, one.group))
                whole.loads |= one.loads
                whole.picked_kg += one.picked_kg
                whole.refused_kg += one.refused_kg
                whole.deducted_kg += one.deducted_kg
        if settings.format in (None, "table"):
            rows.append(row(whole, "all"))
    headings = [
        "season",
        grouping,
        "loads",
        *(f"{name} [{unit}]" for name in ("picked", "accepted", "refused", "deducted")),
    ]
    if not print_rows(headings, rows, settings.format or "table"):
        settings.say("no load is recorded" + (" there" if blocks or seasons else ""))
