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


@click.command("guide", short_help="Read the documentation pages.")
@click.argument("page", required=False)
@with_settings
def guide_command(settings: Settings, page: str | None) -> None:
    """Print a PAGE of the guide, or list the pages."""
    from vinebook.resources import guide_folder

    pages = {path.stem: path for path in sorted(guide_folder().glob("*.md"))}
    if page is None:
        wide = max(map(len, pages))
        for name, path in pages.items():
            title = path.read_text(encoding="utf-8").splitlines()[0].lstrip("# ")
            click.echo(f"{name:<{wide}} {title}")
        settings.say("`vinebook guide tallies` reads one")
        return
    if page not in pages:
        raise WordsError(f"the guide has no page {page!r}", one_of(page, pages))
    text = pages[page].read_text(encoding="utf-8")
    if sys.stdout.isatty():
        from vinebook.cli.guide_page import on_screen
        from vinebook.cli.tables import width_of_screen

        text = on_screen(text, width_of_screen())
    click.echo(text, nl=False)
