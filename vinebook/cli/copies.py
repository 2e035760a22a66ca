"""`backup` and `restore`: copies of a book that were verified."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from vinebook.cli.settings import with_settings

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings


def differences_of(where: str) -> list[str]:
    """Give the differences that verify finds in a book."""
    from vinebook.api import open_book, verify

    return verify(open_book(where)).differences


@click.command("backup", short_help="Copy the book while it is in use, and verify the copy.")
@click.argument("file", type=click.Path())
@with_settings
def backup_command(settings: Settings, file: str) -> None:
    """Copy the book to FILE while others may read and write it; the copy is verified before it is called good.

    \b
    Example:
      vinebook backup /media/stick/estate-2024-11-30.db
    """
    from vinebook.exchange.backup import backup

    shows = not settings.quiet and sys.stderr.isatty()

    def show(left: int, total: int) -> None:
        told = f"{100 * (total - left) // max(total, 1)} % copied" if left else ""
        click.echo(f"\r\033[K{told}", nl=False, err=True)

    target = backup(settings.where, file, differences_of, progress=show if shows else None)
    settings.say(f"copied {settings.told} to {target}; the copy verifies")


@click.command("restore", short_help="Bring a verified copy back as the book.")
@click.argument("file", type=click.Path())
@click.option(
    "--over", is_flag=True, help="Where a book is there already: keep it beside and put the copy in its place."
)
@with_settings
def restore_command(settings: Settings, file: str, over: bool) -> None:
    """Bring the copy FILE back as the book named with --book. The copy is verified first.

    A book that is there already is never written over without --over, and then it is kept beside the new one.
    """
    from vinebook.exchange.backup import restore
    from vinebook.records.schema import earlier_schema

    target, kept = restore(file, settings.where, differences_of, over=over, by=settings.who)
    earlier = earlier_schema(file)
    lifted = f", brought from schema {earlier} to this program's" if earlier else ""
    beside = f"; what stood there is now {kept}" if kept else ""
    settings.say(f"restored {target} from {file}{lifted}; it verifies{beside}")
