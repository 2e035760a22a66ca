"""`new` and `upgrade`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from vinebook.cli.settings import with_settings
from vinebook.errors import DisagreementError

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings


@click.command("new", short_help="Make an empty book.")
@with_settings
def new_command(settings: Settings) -> None:
    """Make an empty book.

    The book is the file named with --book (vinebook.db here unless told), or an empty PostgreSQL database
    named by its URL. A book is never written over.

    \b
    Example:
      vinebook --book estate.db new
    """
    from vinebook.records.schema import make_book

    seal = make_book(settings.where, by=settings.who)
    settings.say(f"made {settings.told}; its first seal is {seal}")


@click.command("upgrade", short_help="Bring a book up to date, after a copy.")
@with_settings
def upgrade_command(settings: Settings) -> None:
    """Bring a book up to this program's schema.

    A book in a file is copied beside itself first; on a server take a copy with pg_dump before. Others who use the
    book are waited for, and wait. An upgrade that fails leaves the book as it was. A book that is up to date is
    left as it is. Either is verified.
    """
    from vinebook.cli.copies import differences_of
    from vinebook.records.schema import copy_before, upgrade_book

    before, after = upgrade_book(settings.where, by=settings.who, waiting=settings.waiting)
    if before == after:
        settings.say(f"{settings.told} is up to date (schema {after})")
    else:
        settings.say(f"{settings.told} went from schema {before} to {after}")
        copy = copy_before(settings.where, before)
        kept = f"as it was it is kept as {copy}" if copy else "no copy of it was made: on a server pg_dump makes one"
        settings.say(kept)
    if differences := differences_of(settings.where):
        raise DisagreementError(differences)
    settings.say("it verifies")
