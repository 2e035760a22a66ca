"""`export` and `import`: a book as a data package, and a book from one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from vinebook.cli.settings import with_settings

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings
    from vinebook.exchange.package_reading import Imported
    from vinebook.exchange.package_writing import Exported


@click.command("export", short_help="Write the book as a data package: CSV, JSON and the kept files.")
@click.argument("folder", metavar="DIR", type=click.Path())
@with_settings
def export_command(settings: Settings, folder: str) -> None:
    """Write the whole book to the folder DIR as a Frictionless data package.

    DIR must not exist yet, or be empty. It holds every row as CSV, the journal, every kept file and its
    reading; datapackage.json tells what each column is. `vinebook guide packages` says how to read it.
    The same book gives the same bytes.

    \b
    Example:
      vinebook export estate-2024
    """
    from vinebook.api import export_package

    done = export_package(settings.open(), folder, progress=settings.progress())
    _tell(settings, done, f"exported {settings.told} to {folder}")


@click.command("import", short_help="Make a book from a data package, and verify it.")
@click.argument("folder", metavar="DIR", type=click.Path())
@with_settings
def import_command(settings: Settings, folder: str) -> None:
    """Make the book named with --book from the data package in DIR.

    Import makes the book itself, as `new` does: the file must not exist yet, or the database must be empty.
    Rows, journal and kept files come in as they are and nothing is added, so the seal stays the same; only a
    package of an earlier schema gets one entry more, as `upgrade` writes it. The book is verified before it is
    stored; a package that was changed is refused by what does not agree.

    \b
    Examples:
      vinebook --book copy.db import estate-2024
      vinebook --book postgresql:///estate import estate-2024
    """
    from vinebook.api import import_package

    done = import_package(folder, settings.where, by=settings.who, progress=settings.progress())
    lifted = f", brought from schema {done.lifted_from} to this program's" if done.lifted_from else ""
    _tell(settings, done, f"made {settings.told} from {folder}{lifted}; it verifies")


def _tell(settings: Settings, done: Exported | Imported, words: str) -> None:
    counts = {"rows": done.rows, "entries": done.entries, "kept_files": done.tallies}
    if settings.format == "json":
        click.echo(json.dumps({**counts, "seal": done.seal}, indent=1))
        return
    counted = (
        f"{done.entries:,} {'entry' if done.entries == 1 else 'entries'}",
        f"{done.tallies:,} kept file{'' if done.tallies == 1 else 's'}",
        f"{done.rows:,} row{'' if done.rows == 1 else 's'}",
    )
    settings.say(f"{words}: {', '.join(counted)}")
    settings.say(f"seal {done.seal}")
