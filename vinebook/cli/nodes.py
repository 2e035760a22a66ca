"""`nodes`: how many nodes to keep."""

from __future__ import annotations

import dataclasses
import json
import re
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.given import YEAR, Amount
from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import NodesToKeep
    from vinebook.cli.settings import Settings

FORMAT = 1
"""Number of the JSON; raised when the meaning of a key changes."""
HEADINGS = (
    "block", "season", "way", "variant", "nodes", "low", "high", "interval_of", "before_cap", "nodes_for_dead_buds",
    "words", "source",
)  # fmt: skip
QUANTITY = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(\S*)\s*")
YIELD_UNITS = ("t/ha", "ton/acre", "kg/vine", "lb/vine")


@click.command("nodes", short_help="Say how many nodes to keep: the record, and five ways.")
@click.argument("block", metavar="BLOCK", shell_complete=complete_block)
@click.option(
    "--season",
    type=YEAR,
    required=True,
    metavar="YEAR",
    shell_complete=complete_season,
    help="Season that the nodes are for: the year of its harvest.",
)
@click.option("--all", "shows_all", is_flag=True, help="Show the five ways and each past season.")
@click.option("--keep", type=click.IntRange(1, 1000), metavar="N", help="Lay out N nodes.")
@click.option("--formula", metavar="NAME", help="Formula of balanced pruning, or a type of vine; see the guide.")
@click.option("--shoots-per-m", type=Amount(0, 200, min_open=True), metavar="N", help="Shoots wanted.")
@click.option("--shoots-per-ft", type=Amount(0, 60, min_open=True), metavar="N", help="The same, per foot.")
@click.option("--noncount-kept", type=Amount(0, 500), metavar="N", help="Non-count shoots of a vine that will be kept.")
@click.option("--yield", "yield_wanted", metavar="AMOUNT", help="Yield wanted: 9, '9 t/ha', '4 ton/acre', '3 kg/vine'.")
@click.option("--bud-injury-rule", metavar="NAME", help="Correct for dead buds by this rule.")
@click.option("--lay", type=click.Choice(["spurs", "canes"]), help="Lay the nodes out as spurs or as canes.")
@click.option("--nodes-per-spur", type=click.IntRange(1, 10), metavar="N", help="Nodes on a spur.")
@click.option("--canes", type=click.IntRange(1, 12), metavar="N", help="Canes of a vine.")
@click.option("--renewal-spurs", type=click.IntRange(0, 12), metavar="N", help="Renewal spurs of a vine.")
@with_settings
def nodes_command(
    settings: Settings,
    block: str,
    season: int,
    shows_all: bool,
    shoots_per_ft: float | None,
    yield_wanted: str | None,
    **wished: Any,  # noqa: ANN401 - options by name
) -> None:
    """Say how many nodes to keep on a vine of BLOCK for a season to come.

    First the range on which the block's own record agrees, and a plan for it. With --all the five ways side by side:
    the wood of each vine, the shoots wanted, the yield wanted, canes of the ideal weight, the own record. With a
    formula that fits, a table for the crew. It shows what was counted and published; the person decides.

    \b
    Examples:
      vinebook nodes A1 --season 2026
      vinebook nodes A1 --season 2026 --all --yield 9 --shoots-per-m 15
      vinebook nodes A1 --season 2026 --keep 16 --formula vinifera
    """
    from vinebook.advice.nodes_model import Wishes
    from vinebook.api import nodes_to_keep
    from vinebook.quantities import FOOT_M
    from vinebook.records.listing import units_of_book

    if shoots_per_ft is not None:
        if wished["shoots_per_m"] is not None:
            raise WordsError("--shoots-per-m and --shoots-per-ft do not go together", "give one of them")
        wished["shoots_per_m"] = shoots_per_ft / float(FOOT_M)
    book = settings.open()
    asked = settings.units
    if asked is None and (settings.format in (None, "table") or yield_wanted is not None):
        with book.reading() as connection:
            asked = units_of_book(connection)
    units: Literal["metric", "us"] = "us" if asked == "us" else "metric"
    if yield_wanted is not None:
        wished |= _yield(yield_wanted, units)
    told = nodes_to_keep(book, block, season, Wishes(**wished))
    match settings.format:
        case "json":
            click.echo(json.dumps(as_json(told, settings.units or "metric"), ensure_ascii=False, indent=1))
        case "csv":
            from vinebook.cli.tables import print_rows

            print_rows(HEADINGS, _rows(told), "csv")
        case _:
            from vinebook.cli.nodes_lines import nodes_lines

            for line in nodes_lines(
                told, units, shows_all=shows_all, shows_table=shows_all or wished["formula"] is not None
            ):
                click.echo(line)


def _yield(text: str, units: str) -> dict[str, float]:
    """Read a yield wanted; a bare number is in tonnes per hectare or, in a book of US units, tons per acre."""
    from vinebook.quantities import POUND_KG, TON_PER_ACRE_T_PER_HA

    found = QUANTITY.fullmatch(text)
    unit = "" if found is None else found[2] or ("ton/acre" if units == "us" else "t/ha")
    if found is None or unit not in YIELD_UNITS or float(found[1]) <= 0:
        raise WordsError(f"{text!r} is not a yield", f"a number above 0 with one of: {', '.join(YIELD_UNITS)}")
    number = float(found[1])
    match unit:
        case "t/ha":
            return {"yield_t_per_ha": number}
        case "ton/acre":
            return {"yield_t_per_ha": number * float(TON_PER_ACRE_T_PER_HA)}
        case "lb/vine":
            return {"yield_kg_per_vine": number * float(POUND_KG)}
        case _:
            return {"yield_kg_per_vine": number}


def as_json(told: NodesToKeep, units: str) -> dict[str, Any]:
    """Give the answer as the JSON has it: numbers unrounded, in metric units unless told.

    Parameters
    ----------
    told : the answer.
    units : "metric" or "us"; prunings of the crew's table stay in the unit of their formula, with kg beside it.
    """
    plain: dict[str, Any] = {"format": FORMAT, **dataclasses.asdict(told)}
    return plain if units != "us" else {key: _in_us(value) for key, value in plain.items()}


def _in_us(value: Any) -> Any:  # noqa: ANN401 - any part of the answer
    """Turn every number that stands beside its unit into US units."""
    from vinebook.quantities import US_OF_METRIC

    if isinstance(value, list | tuple):
        return [_in_us(each) for each in value]
    if not isinstance(value, dict):
        return value
    shown = {key: _in_us(each) for key, each in value.items()}
    unit = US_OF_METRIC.get(str(value.get("unit", "")))
    if unit is None or "lines" in value:
        return shown
    for key in ("value", "low", "high"):
        if isinstance(shown.get(key), int | float):
            shown[key] *= unit.factor
    return shown | {"unit": unit.unit}


def _rows(told: NodesToKeep) -> list[tuple[Any, ...]]:
    return [
        (
            told.block,
            told.season,
            way.way,
            way.variant,
            way.nodes,
            way.low,
            way.high,
            way.interval_of,
            way.before_cap,
            None if way.corrected is None else way.corrected.nodes,
            "; ".join(way.words),
            way.source,
        )
        for way in told.ways
    ]
