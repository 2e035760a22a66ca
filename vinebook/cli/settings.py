"""The options that every command shares, before or after its name."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

from vinebook.errors import WordsError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vinebook.records.book import Book
    from vinebook.records.waiting import Waiting

F = TypeVar("F", bound=Callable[..., Any])
DEFAULT_BOOK = "vinebook.db"
LONGEST_WAIT = 86_400
"""Seconds: a day."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What the shared options say; None where one was not given."""

    book: str | None = None
    by: str | None = None
    units: str | None = None
    format: str | None = None
    quiet: bool | None = None
    wait: int | None = None

    def changed(self, given: Mapping[str, Any]) -> Settings:
        """Give these settings with what a command was given over them."""
        return replace(self, **{name: value for name, value in given.items() if value is not None})

    @property
    def where(self) -> str:
        """The book's file or URL."""
        return self.book or os.environ.get("VINEBOOK_BOOK") or DEFAULT_BOOK

    @property
    def told(self) -> str:
        """The book's file or URL, without a password."""
        from vinebook.records.engine import shown

        return shown(self.where)

    @property
    def who(self) -> str:
        """Who acts."""
        if self.by is not None:
            return self.by
        if named := os.environ.get("VINEBOOK_BY"):
            return named
        import getpass

        try:
            return getpass.getuser()
        except (OSError, KeyError):
            return ""

    @property
    def waiting(self) -> Waiting:
        """How long to wait for other writers, and who is told of it."""
        from vinebook.records.waiting import WAIT_SECONDS, Waiting

        seconds = self.wait
        if seconds is None and (named := os.environ.get("VINEBOOK_WAIT")):
            is_number = named.isascii() and named.isdigit() and len(named) <= len(str(LONGEST_WAIT))
            if not is_number or int(named) > LONGEST_WAIT:
                raise WordsError(f"VINEBOOK_WAIT is {named!r}", f"a whole number of seconds, 0 to {LONGEST_WAIT}")
            seconds = int(named)
        return Waiting(WAIT_SECONDS if seconds is None else seconds, self.say, self.warn)

    def open(self) -> Book:
        """Open the book."""
        from vinebook.records.book import Book

        return Book(self.where, self.waiting)

    def say(self, words: str) -> None:
        """Tell a person what was done, unless they want quiet."""
        if not self.quiet:
            self.warn(words)

    def warn(self, words: str) -> None:
        """Tell a person what must not be missed."""
        from vinebook.cli.wrapping import say

        say(words, err=True)

    def progress(self) -> Callable[[str, int, int], None] | None:
        """Give a function that shows progress on a terminal, or None in a pipe."""
        if self.quiet or not sys.stderr.isatty():
            return None
        shown = -1

        def show(name: str, done: int, total: int) -> None:
            nonlocal shown
            percent = 100 * done // max(total, 1)
            if percent != shown:
                shown = percent
                told = "" if percent >= 100 else f"{name[-60:]}  {percent} %"
                click.echo(f"\r\033[K{told}", nl=False, err=True)

        return show


_SHARED = (
    click.option("--book", metavar="BOOK", help="A file or a database URL; else $VINEBOOK_BOOK, else vinebook.db."),
    click.option("--by", metavar="NAME", help="Who acts; else $VINEBOOK_BY, else the login name."),
    click.option("--units", type=click.Choice(["metric", "us"]), help="Units to write in."),
    click.option("--format", type=click.Choice(["table", "json", "csv"]), help="How to print; a table unless told."),
    click.option(
        "--wait",
        type=click.IntRange(0, LONGEST_WAIT),
        metavar="SECONDS",
        help="How long to wait for another writer; else $VINEBOOK_WAIT, else 60.",
    ),
    click.option("--quiet", is_flag=True, default=None, help="Say nothing but what was asked for."),
)


def shared_options(function: F) -> F:
    """Add the shared options to a command."""
    for option in reversed(_SHARED):
        function = option(function)
    return function


def with_settings(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the shared options to a command and hand it `Settings` as its first argument."""

    @shared_options
    @click.pass_context
    @functools.wraps(function)
    def run(ctx: click.Context, /, **given: Any) -> Any:  # noqa: ANN401 - options by name
        own = {name: given.pop(name) for name in Settings.__dataclass_fields__}
        return function((ctx.obj or Settings()).changed(own), **given)

    return run
