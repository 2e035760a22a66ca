"""`verify`: whether the book is what its journal says."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

import click

from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.errors import DisagreementError, WordsError

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings


@click.command("verify", short_help="Check that journal, kept files and tables agree.")
@click.option("--seal", metavar="HASH", help="A seal that you kept: does this book still hold all that it held then?")
@click.option(
    "--reread", is_flag=True, help="Read the kept files again with today's reader and tell what it reads otherwise."
)
@click.argument("rest", metavar="", nargs=-1)
@with_settings
def verify_command(settings: Settings, seal: str | None, reread: bool, rest: tuple[str, ...]) -> None:
    """Check the book: the journal's chain, every kept file, every reading, every row.

    Each hash is worked out anew and each reading is compared with the tables; every difference is named.
    Exit status 1 where there is one.
    """
    from vinebook.api import verify

    if rest and seal is None:
        raise WordsError(f"verify takes no word {rest[0]!r}", "a seal stands behind --seal")
    # A seal that was not put in quotes comes in several words.
    seal = None if seal is None else " ".join((seal, *rest))
    book = settings.open()
    shows = not settings.quiet and sys.stderr.isatty()
    report = verify(
        book,
        seal=seal,
        progress=(lambda what: click.echo(f"\r\033[K{what[:70]}", nl=False, err=True)) if shows else None,
    )
    if shows:
        click.echo("\r\033[K", nl=False, err=True)
    if settings.format == "json":
        click.echo(
            json.dumps(
                {name: getattr(report, name) for name in report.__dataclass_fields__}, ensure_ascii=False, indent=1
            )
        )
    if report.differences:
        raise DisagreementError(report.differences + ([f"… and {report.beyond:,} more"] if report.beyond else []))
    if settings.format != "json":
        click.echo(f"verified: {report.entries:,} entries, {report.tallies:,} kept files, {report.rows:,} rows")
        click.echo(f"seal {report.seal}")
        if report.sealed:
            say(report.sealed)
        for note in report.notes:
            settings.say(f"note: {note}")
    if reread:
        from vinebook.audit.reread import reread as read_again

        news = read_again(book)
        for words in news:
            say(f"news: {words}")
        settings.say(f"today's reader reads {'some rows otherwise' if news else 'every kept file as it was read then'}")
