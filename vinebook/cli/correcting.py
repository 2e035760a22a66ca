"""`add`, `amend` and `strike`: one record at a time, every correction with its reason."""

from __future__ import annotations

import sys
from contextlib import suppress
from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_kind
from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.errors import DatabaseError, FindingsError, WordsError

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings
    from vinebook.intake.load import LoadReport
    from vinebook.intake.typed import Added
    from vinebook.records.book import Book


def pairs(words: tuple[str, ...]) -> dict[str, str]:
    """Give FIELD=VALUE words as a mapping.

    Raises
    ------
    WordsError : a word without "=", or a field named twice.
    """
    found: dict[str, str] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals or not name:
            raise WordsError(f"{word!r} is not FIELD=VALUE", "such as clusters=31, or note= to empty a field")
        if name in found:
            raise WordsError(f"{name} is named twice", "each field once")
        found[name] = value
    return found


@click.command("add", short_help="Add one record, typed by hand.")
@click.argument("kind", shell_complete=complete_kind)
@click.argument("values", metavar="[FIELD=VALUE]...", nargs=-1)
@click.option("--supersedes", metavar="KEY", help="The record that this one corrects (loads).")
@click.option("--reason", metavar="WHY", default="", help="Why an earlier record is superseded.")
@with_settings
def add_command(settings: Settings, kind: str, values: tuple[str, ...], supersedes: str | None, reason: str) -> None:
    """Add one record of a KIND: a tally of one row, through the same checks as a file.

    On a terminal it asks for what is missing, and offers what repeats from the last record of the kind. A wrong
    weigh ticket is superseded by its correction, never amended; what the correction does not name is carried over.

    \b
    Examples:
      vinebook add event block=A1 date=2024-06-18 what=hail share_hit=10
      vinebook add load --supersedes 'Weighbridge/2024/118' --reason 'misread' \\
        number=118A tare=1490 net=1960
    """
    from vinebook.intake.typed import Added, add_record, carried_over, kind_to_add
    from vinebook.records.keys import find_record

    given = pairs(values)
    kind_to_add(kind)
    book = settings.open()
    old = None
    if supersedes is not None and kind_to_add(kind).superseded:
        with book.reading() as connection:
            old = f"#{find_record(connection, kind_to_add(kind), supersedes)}"
    added = Added(kind)
    if sys.stdin.isatty():
        report = _asked(book, kind, given, added, by=settings.who, supersedes=supersedes, reason=reason)
    else:
        report = add_record(book, kind, given, by=settings.who, supersedes=supersedes, reason=reason, also=added)
    for warning in report.warnings:
        say(f"warning: {warning}", err=True)
    settings.say(
        f"added {kind} {added.key} (#{added.record})" + (f", which supersedes {supersedes}" if supersedes else "")
    )
    # The record is in: that the book cannot be reached any more is no reason to say otherwise.
    with suppress(DatabaseError):
        if old is not None and (carried := carried_over(book, kind, old, given)):
            settings.say(f"carried over from {supersedes}: {', '.join(carried)}")


def _asked(
    book: Book, kind: str, given: dict[str, str], added: Added, *, by: str, supersedes: str | None, reason: str
) -> LoadReport:
    """Add a record, asking for what is missing, and again for what was refused, until it is right."""
    from vinebook.intake.typed import add_record, carried_over, missing_fields
    from vinebook.records.listing import last_values

    if supersedes is None:
        with book.reading() as connection:
            offered = last_values(connection, kind)
    else:
        offered = carried_over(book, kind, supersedes, {})
    asked: set[str] = set()
    while True:
        while missing := missing_fields(kind, given):
            name, words, choices = missing[0]
            say(words, err=True)
            among = click.Choice(choices) if choices else None
            given[name] = click.prompt(name, default=offered.get(name), type=among, err=True)
            asked.add(name)
        try:
            return add_record(book, kind, given, by=by, supersedes=supersedes, reason=reason, also=added)
        except FindingsError as refused:
            again = asked & {finding.column for finding in refused.findings}
            if not again:
                raise
            for finding in refused.findings:
                say(str(finding), err=True)
            click.echo("once more, please; the other answers are kept", err=True)
            for name in again:
                del given[name]
                offered.pop(name, None)


@click.command("amend", short_help="Amend fields of one record, with a reason.")
@click.argument("kind", shell_complete=complete_kind)
@click.argument("key")
@click.argument("changes", metavar="FIELD=VALUE...", nargs=-1, required=True)
@click.option("--reason", metavar="WHY", default="", help="Why; `typo` will do.")
@click.option("--was", metavar="FIELD=VALUE", multiple=True, help="What you saw; refused if somebody changed it since.")
@with_settings
def amend_command(
    settings: Settings, kind: str, key: str, changes: tuple[str, ...], reason: str, was: tuple[str, ...]
) -> None:
    """Amend fields of the record with this KEY. Before and after stay in the journal.

    Fields of the key are not amended: strike the record and add the right one. FIELD= empties a field.

    \b
    Examples:
      vinebook amend cluster_tally '#47' clusters=13 --reason typo
      vinebook amend event A1/2024-06-18/hail share_hit=15 --was share_hit=10 \\
        --reason 'walked again'
    """
    from vinebook.intake.amending import amend
    from vinebook.kinds import KINDS
    from vinebook.records.shown import told_change

    done = amend(settings.open(), kind, key, pairs(changes), reason=reason, by=settings.who, was=pairs(was))
    told = ", ".join(
        told_change(KINDS[kind], column, done.before[column], after) for column, after in done.after.items()
    )
    settings.say(f"amended {kind} {done.key} (#{done.record}): {told}; entry {done.entry}")


@click.command("strike", short_help="Strike one record, with a reason.")
@click.argument("kind", shell_complete=complete_kind)
@click.argument("key")
@click.option("--reason", metavar="WHY", default="", help="Why; `typo` will do.")
@click.option(
    "--with-rows", is_flag=True, help="Strike the rows of a sample, the parts of a load or the vines of a draw too."
)
@with_settings
def strike_command(settings: Settings, kind: str, key: str, reason: str, with_rows: bool) -> None:
    """Strike the record with this KEY: it leaves the live record, frees its key and stays in the book.

    \b
    Example:
      vinebook strike cluster_tally '#47' --reason 'counted in the wrong block'
    """
    from vinebook.intake.striking import strike

    done = strike(settings.open(), kind, key, reason=reason, by=settings.who, with_rows=with_rows)
    went = f" with {done.rows:,} rows" if done.rows else ""
    settings.say(f"struck {kind} {done.key} (#{done.record}){went}; entry {done.entry}")
