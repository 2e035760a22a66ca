"""`form`: what a tally looks like before anything is counted."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_kind
from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.errors import OutputError, VinebookError, WordsError
from vinebook.records.nearest import one_of

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings
    from vinebook.kinds import Kind


@click.command("form", short_help="Print an empty form, or write one for each kind.")
@click.argument("kinds", metavar="[KIND]...", nargs=-1, shell_complete=complete_kind)
@click.option(
    "-o",
    "--output",
    metavar="FILE|DIR",
    help="A workbook (.xlsx), a CSV file for one kind, a folder for several; else the screen.",
)
@click.option("--draw", metavar="KEY", help="Fill in the vines of this draw; such as A1/2027/1.")
@with_settings
def form_command(settings: Settings, kinds: tuple[str, ...], output: str | None, draw: str | None) -> None:
    """Print or write empty forms: headings with their units, as CSV or as one workbook.

    Without a KIND it lists the kinds, or with -o writes a form of each. Units are those of the book's vineyards
    where there is a book, unless --units says otherwise. A workbook has a sheet for each kind, with help,
    choices, checks and the book's blocks to choose from; see `vinebook guide workbooks`. Beside a CSV form what
    goes into each column is explained on the screen. With --draw the vines of a recorded draw stand in it, in walking
    order.

    \b
    Examples:
      vinebook form cluster_tally
      vinebook form pruned_vine cluster_tally -o forms.xlsx
      vinebook form pruned_vine -o prunings.csv --units us
      vinebook form vineyard block planting -o forms/
      vinebook form cluster_tally --draw A1/2027/1 -o counts.csv
    """
    from vinebook.exchange.forms import explained, form_csv
    from vinebook.kinds import LOADED_KINDS

    if not kinds and output is None:
        _list_kinds(settings.format or "table")
        return
    for name in kinds:
        if name not in LOADED_KINDS:
            raise WordsError(f"{name!r} is not a kind of tally", one_of(name, LOADED_KINDS))
    # A kind named twice is one form.
    wanted = [LOADED_KINDS[name] for name in dict.fromkeys(kinds or LOADED_KINDS)]
    units = settings.units or _units_of_book(settings)
    rows = {} if draw is None else _rows_of_draw(settings, draw, wanted, named=bool(kinds))
    if output is not None and output.lower().endswith(".xlsx"):
        _write_workbook(settings, wanted, units, Path(output), rows)
        return
    if output is not None:
        _write(settings, wanted, units, Path(output), rows)
        return
    for kind in wanted:
        settings.say(explained(kind))
        click.echo(form_csv(kind, units, rows.get(kind.name, ())), nl=False)


def _list_kinds(style: str) -> None:
    """Print which kinds have a form, and what one row of each is."""
    from vinebook.kinds import LOADED_KINDS

    if style == "table":
        for kind in LOADED_KINDS.values():
            say(f"{kind.name:<15} one row is {kind.one_row}", indent=16)
        return
    from vinebook.cli.tables import print_rows

    print_rows(("kind", "one_row"), ((kind.name, kind.one_row) for kind in LOADED_KINDS.values()), style)


def _rows_of_draw(settings: Settings, draw: str, kinds: list[Kind], *, named: bool) -> dict[str, list[dict[str, str]]]:
    """Give by kind the rows that the vines of a draw ask for."""
    from vinebook.records.drawn import kept_draw, rows_to_fill

    if not named:
        raise WordsError("which form is wanted?", f"such as: vinebook form cluster_tally --draw {draw}")
    with settings.open().reading() as connection:
        kept = kept_draw(connection, draw)
    return {kind.name: rows_to_fill(kept, kind) for kind in kinds}


def _units_of_book(settings: Settings) -> str:
    """Give the units that a book's vineyards agree on, metric where there is no book."""
    if "://" not in settings.where and not Path(settings.where).is_file():
        return "metric"
    from vinebook.records.listing import units_of_book

    try:
        with settings.open().reading() as connection:
            return units_of_book(connection)
    except VinebookError:
        # A form needs no book.
        return "metric"


def _write(
    settings: Settings, kinds: list[Kind], units: str, target: Path, rows: dict[str, list[dict[str, str]]]
) -> None:
    from vinebook.exchange.forms import explained, form_csv

    several = len(kinds) > 1 or target.is_dir()
    folder = target if several else target.parent
    if not folder.is_dir():
        raise OutputError(f"there is no folder {folder}", "make it first, or name another with -o")
    for kind in kinds:
        path = target / f"{kind.name}.csv" if several else target
        _write_new(path, form_csv(kind, units, rows.get(kind.name, ())).encode("utf-8-sig"))
        settings.say(explained(kind))
        settings.say(f"wrote {path}")


def _write_workbook(
    settings: Settings, kinds: list[Kind], units: str, path: Path, rows: dict[str, list[dict[str, str]]]
) -> None:
    from vinebook.exchange.workbooks import form_workbook

    if not path.parent.is_dir():
        raise OutputError(f"there is no folder {path.parent}", "make it first, or name another with -o")
    lists = _keys_of_book(settings)
    _write_new(path, form_workbook(kinds, units, lists, rows))
    sheets = f"{len(kinds)} {'sheet' if len(kinds) == 1 else 'sheets'} of forms"
    blocks = len(lists.get("block", ()))
    offered = f", {blocks} {'block' if blocks == 1 else 'blocks'} to choose from" if blocks else ""
    drawn = sum(map(len, rows.values()))
    filled = f", {drawn} {'row' if drawn == 1 else 'rows'} of drawn vines" if drawn else ""
    settings.say(f"wrote {path}: {sheets}{filled}{offered}")


def _keys_of_book(settings: Settings) -> dict[str, list[str]]:
    """Give the keys that forms offer to choose from; none where there is no book."""
    if "://" not in settings.where and not Path(settings.where).is_file():
        return {}
    from vinebook.exchange.workbooks import LISTED
    from vinebook.records.listing import keys_of_kind

    try:
        with settings.open().reading() as connection:
            return {kind: keys_of_kind(connection, kind) for kind in LISTED}
    except VinebookError:
        # A form needs no book.
        return {}


def _write_new(path: Path, content: bytes) -> None:
    """Write a file that must not be there yet, whole or not at all."""
    try:
        with path.open("xb") as page:
            page.write(content)
    except FileExistsError as trouble:
        raise OutputError(
            f"{path} exists already", "name another file; a form is never written over a tally"
        ) from trouble
    except OSError as trouble:
        with suppress(OSError):
            path.unlink()
        raise OutputError(f"{path} cannot be written: {trouble.strerror}", "check the folder's rights") from trouble
