"""Words that fit a terminal: wrapped at its width there, left in one line in a pipe."""

from __future__ import annotations

import sys
import textwrap

import click

from vinebook.cli.tables import width_of_screen


def wrapped(words: str, *, indent: int = 0, err: bool = False) -> str:
    """Give words wrapped between words at the width of the terminal, or as they are where there is none.

    Parameters
    ----------
    words : one line or several; each is wrapped by itself.
    indent : blanks before each line that continues another.
    err : whether they go to standard error.
    """
    if not (sys.stderr if err else sys.stdout).isatty():
        return words
    return "\n".join(
        textwrap.fill(
            line,
            width_of_screen(),
            subsequent_indent=" " * indent,
            break_long_words=False,
            break_on_hyphens=False,
            drop_whitespace=True,
        )
        for line in words.split("\n")
    )


def say(words: str, *, indent: int = 0, err: bool = False) -> None:
    """Print words, wrapped where a person reads them on a terminal."""
    click.echo(wrapped(words, indent=indent, err=err), err=err)
