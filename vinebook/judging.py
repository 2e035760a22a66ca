"""The figures of a book beside their bands, what judges them, and the rows behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy import Connection

    from vinebook.records.book import Book
    from vinebook.seasons.context import JudgingContext
    from vinebook.seasons.model import Figure
    from vinebook.seasons.tracing import Traced


def figures(
    book: Book, blocks: Sequence[str] | None = None, *, seasons: Sequence[int] | None = None
) -> Iterator[Figure]:
    """Give the figures of blocks and seasons, streamed, in the order of block, season and catalogue.

    Figures that a block takes over from the blocks before it are among them and say so in their notes.

    Parameters
    ----------
    book : an open book.
    blocks : block codes; None or none takes all.
    seasons : harvest years; None or none takes all.

    Raises
    ------
    WordsError : no such block, or the vineyard's set of bands is not known.
    """
    with book.reading() as connection:
        yield from judged_figures(connection, blocks, seasons=seasons)[1]


def judged_figures(
    connection: Connection, blocks: Sequence[str] | None = None, *, seasons: Sequence[int] | None = None
) -> tuple[JudgingContext, Iterator[Figure]]:
    """Give what figures are judged by (cultivar, curtains, targets, set of bands), and the figures; see `figures`.

    Parameters
    ----------
    connection : a connection with one read snapshot, open for as long as figures are taken.
    blocks : block codes; None or none takes all.
    seasons : harvest years; None or none takes all.

    Raises
    ------
    WordsError : no such block, or the vineyard's set of bands is not known.
    """
    from vinebook.advice.bands import judge
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record
    from vinebook.seasons.carried import figures_with_carried
    from vinebook.seasons.history import judging_context

    records = [find_record(connection, KINDS["block"], code) for code in blocks] if blocks else None
    context = judging_context(connection, records)
    found = figures_with_carried(connection, records, list(seasons) if seasons else None)
    return context, judge(found, context)


def rows_behind(
    book: Book,
    blocks: Sequence[str] | None = None,
    *,
    seasons: Sequence[int] | None = None,
    names: Sequence[str] = (),
) -> list[Traced]:
    """Give figures with the rows that they were worked out from; those carried over have their predecessor's.

    Parameters
    ----------
    book : an open book.
    blocks : block codes; None or none takes all.
    seasons : harvest years; None or none takes all.
    names : figures; none takes all.

    Raises
    ------
    WordsError : no such block, or the vineyard's set of bands is not known.
    """
    from vinebook.advice.bands import judge
    from vinebook.seasons.carried import figures_of_codes
    from vinebook.seasons.history import judging_context
    from vinebook.seasons.tracing import rows_behind as trace

    with book.reading() as connection:
        found = figures_of_codes(connection, list(blocks or ()), list(seasons or ()))
        wanted = [figure for figure in found if not names or figure.figure in names]
        return trace(connection, list(judge(wanted, judging_context(connection, None))))
