"""The words that follow a number on paper back to its rows, as one types them."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure


def command_of(figure: Figure, block: str) -> str:
    """Give the words that print the rows behind a figure.

    Parameters
    ----------
    figure : the figure.
    block : its block's code or permanent number, as it can be typed.
    """
    return f"vinebook figures {shlex.quote(block)} --season {figure.season} --figure {figure.figure} --rows"


def command_of_trail(block: str) -> str:
    """Give the words that print every row behind the evidence of a block's decisions."""
    return f"vinebook trail {shlex.quote(block)} --rows"


def key_of_ticket(issuer: str, season: int, number: str) -> str:
    """Give the key of a weigh ticket; a stroke inside a part is written twice."""
    return "/".join(part.replace("/", "//") for part in (issuer, str(season), number))


def command_of_ticket(key: str) -> str:
    """Give the words that print the life of a weigh ticket.

    Parameters
    ----------
    key : its key or permanent number, as it can be typed.
    """
    return f"vinebook trail {shlex.quote(key)}"
