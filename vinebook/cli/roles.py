"""`roles`: who may do what in a book on PostgreSQL."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.errors import RolesError, WordsError

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings
    from vinebook.records.role_catalogue import Held


@click.command("roles", short_help="Say who may do what in a book on PostgreSQL.")
@click.option("--recorder", "recorders", metavar="LOGIN", multiple=True, help="Make this login a recorder.")
@click.option("--reader", "readers", metavar="LOGIN", multiple=True, help="Make this login a reader.")
@click.option("--neither", metavar="LOGIN", multiple=True, help="Take its role away from this login.")
@click.option("--apply", "applies", is_flag=True, help="Do it now, in one transaction, instead of printing the SQL.")
@click.option("--who", "tells", is_flag=True, help="Tell who has which role, and whether the rights still hold.")
@with_settings
def roles_command(
    settings: Settings,
    recorders: tuple[str, ...],
    readers: tuple[str, ...],
    neither: tuple[str, ...],
    applies: bool,
    tells: bool,
) -> None:
    """Print the SQL of a book's roles, ready for psql, or --apply it.

    A recorder loads, adds, amends, strikes and decides; a reader reads, prints and verifies; the owner, who made the
    book, upgrades and imports. Each LOGIN is there already, or is made with `createuser --pwprompt LOGIN`: vinebook
    makes no login and no password. A LOGIN has one role; another takes the place of the first. Doing it twice does no
    harm. `vinebook guide roles` says more.

    \b
    Examples:
      vinebook --book postgresql:///estate roles | psql estate
      vinebook --book postgresql:///estate roles --recorder rquill --apply
      vinebook --book postgresql:///estate roles --who
    """
    from vinebook.records.role_catalogue import roles_held
    from vinebook.records.roles import People, apply_roles, printed_roles

    people = People(recorders, readers, neither)
    if tells and (applies or people.names):
        raise WordsError("--who only tells and changes nothing", "leave the other options out")
    book = settings.open()
    if applies:
        _tell(settings, apply_roles(book, people))
        return
    with book.reading() as connection:
        if not tells:
            click.echo(printed_roles(connection, people))
            return
        held = roles_held(connection)
    _tell(settings, held)
    if held.differences:
        raise RolesError(held.differences)


def _tell(settings: Settings, held: Held) -> None:
    if settings.format == "json":
        click.echo(json.dumps(asdict(held), ensure_ascii=False, indent=1))
        return
    lines = [("owner", held.owner, ", ".join(held.owners))]
    for duty, role in held.roles.items():
        lines.append((duty, role, ", ".join(held.members[duty]) or "nobody yet"))
    if held.superusers:
        lines.append(("superuser", ", ".join(held.superusers), "no right binds them"))
    wide = max(len(name) for _, name, _ in lines)
    for duty, name, who in lines:
        say(f"{duty:<9}  {name:<{wide}}  {who}".rstrip(), indent=wide + 13)
