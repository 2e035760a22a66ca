"""What the shell may complete: kinds, block codes and seasons of the book at hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.cli.settings import Settings
from vinebook.errors import VinebookError

if TYPE_CHECKING:
    import click


def _settings(ctx: click.Context) -> Settings:
    settings = Settings()
    while ctx.parent is not None:
        settings = Settings(book=settings.book or ctx.params.get("book"))
        ctx = ctx.parent
    return Settings(book=settings.book or ctx.params.get("book"))


def complete_kind(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:  # noqa: ARG001 - the signature is click's
    """Give the kinds that begin so."""
    from vinebook.kinds import KINDS

    return [name for name in KINDS if name.startswith(incomplete)]


def complete_block(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:  # noqa: ARG001
    """Give the block codes that begin so."""
    return [
        code
        for code in _ask(ctx, "SELECT code FROM block WHERE struck_at IS NULL ORDER BY code")
        if code.startswith(incomplete)
    ]


def complete_season(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:  # noqa: ARG001
    """Give the seasons that have a record and begin so."""
    words = (
        "SELECT season FROM sample UNION SELECT season FROM pruning_visit UNION SELECT season FROM load "
        "UNION SELECT season FROM harvest_close ORDER BY 1"
    )
    return [season for season in _ask(ctx, words) if season.startswith(incomplete)]


def _ask(ctx: click.Context, words: str) -> list[str]:
    from sqlalchemy import text

    try:
        with _settings(ctx).open().reading() as connection:
            return [str(row[0]) for row in connection.execute(text(words))]
    except VinebookError:
        return []
