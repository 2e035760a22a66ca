"""What Python programs and the command line call: open a book, load, work out, report, verify."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from vinebook.errors import WordsError
from vinebook.records.book import Book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from vinebook.audit.check import CheckReport
    from vinebook.audit.verify import VerifyReport
    from vinebook.exchange.package_reading import Imported
    from vinebook.exchange.package_writing import Exported
    from vinebook.intake.load import LoadReport
    from vinebook.intake.striking import Replaced
    from vinebook.seasons.model import BlockHistory, Figure


__all__ = [
    "Book",
    "ReportMade",
    "export_package",
    "figures",
    "history",
    "import_package",
    "load",
    "open_book",
    "replace",
    "report",
    "verify",
]


@dataclass(frozen=True, slots=True)
class ReportMade:
    """A report that was printed.

    Attributes
    ----------
    pdf : its bytes.
    warnings : what a person should know of it: signs that the face lacks.
    """

    pdf: bytes
    warnings: tuple[str, ...]


def open_book(where: str | Path) -> Book:
    """Open a book.

    Parameters
    ----------
    where : its file, or a database URL.

    Raises
    ------
    BookMissingError, BookVersionError, BookDamagedError, BookReadOnlyError, DatabaseError
    """
    return Book(str(where))


def load(
    book: Book,
    paths: Sequence[str | Path],
    *,
    by: str,
    kind: str | None = None,
    dry_run: bool = False,
    max_bytes: int | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> LoadReport:
    """Read tallies into a book, all of them or none; see `vinebook.intake.load.load_tallies`."""
    from vinebook.intake.load import load_tallies
    from vinebook.intake.tally_file import MAX_BYTES

    return load_tallies(
        book, paths, by=by, kind=kind, dry_run=dry_run, max_bytes=max_bytes or MAX_BYTES, progress=progress
    )


def replace(  # the options of a load, and what it takes the place of
    book: Book,
    path: str | Path,
    replaces: str,
    *,
    reason: str,
    by: str,
    also_amended: bool = False,
    kind: str | None = None,
    dry_run: bool = False,
    max_bytes: int | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> tuple[LoadReport, Replaced]:
    """Strike an earlier file's rows and load a new file in one step; see `vinebook.intake.typed.replace_tally`."""
    from vinebook.intake.tally_file import MAX_BYTES
    from vinebook.intake.typed import replace_tally

    return replace_tally(
        book,
        path,
        replaces,
        reason=reason,
        by=by,
        also_amended=also_amended,
        kind=kind,
        dry_run=dry_run,
        max_bytes=max_bytes or MAX_BYTES,
        progress=progress,
    )


def verify(book: Book, *, seal: str | None = None, progress: Callable[[str], None] | None = None) -> VerifyReport:
    """Check that journal, readings, kept files and tables agree; see `vinebook.audit.verify.verify_book`."""
    from vinebook.audit.verify import verify_book

    return verify_book(book, seal=seal, progress=progress)


def export_package(
    book: Book, folder: str | Path, *, progress: Callable[[str, int, int], None] | None = None
) -> Exported:
    """Write a book as a data package; see `vinebook.exchange.package_writing.export_package`."""
    from vinebook.exchange.package_writing import export_package as write

    return write(book, folder, progress=progress)


def import_package(
    folder: str | Path, where: str | Path, *, progress: Callable[[str, int, int], None] | None = None
) -> Imported:
    """Make a book from a data package and verify it; see `vinebook.exchange.package_reading.import_package`."""
    from vinebook.audit.verify import verify_book
    from vinebook.exchange.package_reading import import_package as make

    def differences(book: Book) -> list[str]:
        found = verify_book(book, is_new=True)
        return found.differences + ([f"… and {found.beyond:,} more"] if found.beyond else [])

    return make(folder, str(where), differences, progress=progress)


def check(
    book: Book,
    blocks: Sequence[str] = (),
    *,
    season: int | None = None,
    progress: Callable[[str], None] | None = None,
) -> CheckReport:
    """Say what looks wrong in a book, worst first; see `vinebook.audit.check.check_book`."""
    from vinebook.audit.check import check_book

    return check_book(book, blocks, season=season, progress=progress)


def silence(book: Book, rule: str, block: str, reason: str, *, by: str) -> LoadReport:
    """Silence a rule of `check` for a block, with the reason; see `vinebook.audit.check.silence`."""
    from vinebook.audit.check import silence as keep_silence

    return keep_silence(book, rule, block, reason, by=by)


def figures(
    book: Book, blocks: Sequence[str] | None = None, *, seasons: Sequence[int] | None = None
) -> Iterator[Figure]:
    """Give the figures of blocks and seasons, streamed, in the order of block, season and catalogue.

    Parameters
    ----------
    book : an open book.
    blocks : block codes; None or none takes all.
    seasons : harvest years; None or none takes all.

    Raises
    ------
    WordsError : no such block, or the vineyard's set of bands is not known.
    """
    from vinebook.advice.bands import judge
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record
    from vinebook.seasons.figures import figures_of
    from vinebook.seasons.history import judging_context

    with book.reading() as connection:
        records = [find_record(connection, KINDS["block"], code) for code in blocks] if blocks else None
        context = judging_context(connection, records)
        yield from judge(figures_of(connection, records, list(seasons) if seasons else None), context)


def history(book: Book, block: str) -> BlockHistory:
    """Give all that a block's history tells, from one snapshot, its figures judged.

    Raises
    ------
    WordsError : no such block.
    """
    from vinebook.advice.bands import judge
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record
    from vinebook.seasons.history import block_history, judging_context

    with book.reading() as connection:
        record = find_record(connection, KINDS["block"], block)
        told = block_history(connection, block)
        context = judging_context(connection, [record])
    return dataclasses.replace(told, figures=tuple(judge(told.figures, context)))


def report(
    book: Book,
    what: Literal["history"],
    block: str,
    *,
    units: Literal["metric", "us"] | None = None,
    paper: Literal["a4", "letter"] = "a4",
) -> ReportMade:
    """Print a report and give its bytes; the same book gives the same bytes.

    Parameters
    ----------
    book : an open book.
    what : "history".
    block : block code.
    units : units to print in; the vineyard's own where None.
    paper : size of the paper.

    Raises
    ------
    WordsError, ReportError, SystemLibraryError
    """
    if what != "history":
        raise WordsError(f"{what!r} is not a report", "one of: history")
    from vinebook.reports.history import history_page
    from vinebook.reports.render import print_page

    told = history(book, block)
    shown_in: Literal["metric", "us"] = units or ("us" if told.vineyard.units == "us" else "metric")
    page = history_page(told, units=shown_in, paper=paper)
    return ReportMade(print_page(page).pdf, page.warnings)
