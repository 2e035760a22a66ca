"""From a book to finished reports: one, many side by side over the cores, or many bound into one."""

from __future__ import annotations

from concurrent.futures import FIRST_COMPLETED, wait
from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.errors import ReportError, VinebookError
from vinebook.pages import page_of
from vinebook.records.book import Book
from vinebook.reports.press import PressEndedError, cores
from vinebook.reports.presses import Presses

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from concurrent.futures import Future

    from vinebook.reports.press import Press
    from vinebook.reports.render import Page, Printed
    from vinebook.reports.wanted import Wanted


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


def make_report(book: Book, wanted: Wanted, press: Press | None = None) -> ReportMade:
    """Print a report; the same book gives the same bytes.

    Parameters
    ----------
    book : an open book.
    wanted : what was asked for.
    press : a process that sets the page; it is set in this one where None.

    Raises
    ------
    WordsError, ReportError, SystemLibraryError
    """
    with book.reading() as connection:
        page = page_of(connection, wanted, None if press is None else press.begin)
    return _printed(page, press)


def make_bound(book: Book, wanted: Sequence[Wanted], title: str, press: Press | None = None) -> ReportMade:
    """Print several reports as one book with contents and bookmarks, from one snapshot.

    Parameters
    ----------
    book : an open book.
    wanted : reports on the same paper, in the order in which they are bound.
    title : title of the whole.
    press : a process that sets the pages; they are set in this one where None.

    Raises
    ------
    WordsError, ReportError, SystemLibraryError

    Notes
    -----
    All pages are set at once and held in memory, about 4 MiB a page.
    """
    from vinebook.reports.bound import bind_pages
    from vinebook.reports.languages import OWN, speech_of

    with book.reading() as connection:
        pages = [page_of(connection, one) for one in wanted]
    speech = speech_of(wanted[0].language) if wanted and wanted[0].language != OWN else None
    names = [one.name for one in wanted]
    return _printed(bind_pages(pages, names, title, wanted[0].paper, speech=speech), press)


def make_reports(
    where: str, wanted: Sequence[Wanted], *, workers: int | None = None
) -> Iterator[tuple[Wanted, ReportMade | VinebookError]]:
    """Print several reports side by side and give each as it is done; one that cannot be made does not stop the others.

    Parameters
    ----------
    where : the book's file or URL.
    wanted : the reports.
    workers : presses at work; as many as there are cores where None. With one they are set in this process.

    Yields
    ------
    what was wanted, and the report or what stood in its way.

    Notes
    -----
    This process reads the book and makes the pages, the presses set them; it is never further ahead of them than one
    page a press. Making a page takes about a tenth of setting it: beyond ten presses more of them gain nothing.
    """
    workers = min(workers or cores(), len(wanted))
    if workers <= 1:
        book = Book(where)
        for one in wanted:
            yield one, _made(book, one)
        return
    with Presses(workers) as presses:
        shared: Book | None = None
        under_way: dict[Future[Printed], tuple[Wanted, Page]] = {}
        for one in wanted:
            try:
                shared = shared or Book(where)
                with shared.reading() as connection:
                    page = page_of(connection, one)
            except VinebookError as trouble:
                yield one, trouble
                continue
            under_way[presses.submit(page)] = one, page
            if len(under_way) > 2 * workers:
                yield from _done(under_way, wait(under_way, return_when=FIRST_COMPLETED).done)
        while under_way:
            yield from _done(under_way, wait(under_way, return_when=FIRST_COMPLETED).done)


def _done(
    under_way: dict[Future[Printed], tuple[Wanted, Page]], done: Iterable[Future[Printed]]
) -> Iterator[tuple[Wanted, ReportMade | VinebookError]]:
    """Give what the presses have done, and forget it."""
    for future in done:
        one, page = under_way.pop(future)
        try:
            yield one, ReportMade(future.result().pdf, page.warnings)
        except PressEndedError:
            message = f"the process that printed {one.name} was ended from outside, perhaps for want of memory"
            yield one, ReportError(message, "try again with --workers 1")
        except VinebookError as trouble:
            yield one, trouble


def _made(book: Book, wanted: Wanted) -> ReportMade | VinebookError:
    try:
        return make_report(book, wanted)
    except VinebookError as trouble:
        return trouble


def _printed(page: Page, press: Press | None) -> ReportMade:
    from vinebook.reports.render import print_page

    printed = print_page(page) if press is None else press.print_page(page)
    return ReportMade(printed.pdf, page.warnings)
