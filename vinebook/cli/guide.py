"""`guide`: the documentation pages that ship with the package."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError
from vinebook.records.nearest import one_of

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings

KIND = "kind-"
READ_FIRST = (
    "first-season",
    "needs",
    "kinds",
    "tallies",
    "seasons",
    "figures",
    "bands",
    "check",
    "reports",
    "corrections",
    "copies",
    "together",
    "roles",
    "team",
)
"""Pages in the order in which one reads them; those not named here come behind, by name."""


@click.command("guide", short_help="Read the documentation pages.")
@click.argument("page", required=False)
@with_settings
def guide_command(settings: Settings, page: str | None) -> None:
    """Print a PAGE of the guide, or list the pages.

    \b
    Examples:
      vinebook guide first-season
      vinebook guide kind-shoot_tally
    """
    from vinebook.cli.wrapping import say
    from vinebook.resources import guide_folder

    pages = {path.stem: path for path in sorted(guide_folder().glob("*.md"))}
    if page is None:
        listed = [name for name in READ_FIRST if name in pages]
        listed += [name for name in pages if name not in READ_FIRST and not name.startswith(KIND)]
        wide = max(map(len, listed))
        for name in listed:
            title = pages[name].read_text(encoding="utf-8").splitlines()[0].lstrip("# ")
            say(f"{name:<{wide}}  {title}", indent=wide + 2)
        kinds = ", ".join(name.removeprefix(KIND) for name in pages if name.startswith(KIND))
        say(f"{KIND + 'NAME':<{wide}}  A page for each kind of record: {kinds}", indent=wide + 2)
        settings.say("`vinebook guide first-season` is where to begin")
        return
    if page not in pages and f"{KIND}{page}" in pages:
        page = f"{KIND}{page}"
    if page not in pages:
        raise WordsError(f"the guide has no page {page!r}", one_of(page, pages))
    text = pages[page].read_text(encoding="utf-8")
    if sys.stdout.isatty():
        from vinebook.cli.guide_page import on_screen
        from vinebook.cli.tables import width_of_screen

        text = on_screen(text, width_of_screen())
    click.echo(text, nl=False)
