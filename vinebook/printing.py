"""From a book to finished reports: one, many side by side over the cores, or many bound into one."""

from __future__ import annotations

import contextlib
import dataclasses
import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from vinebook.errors import ReportError, VinebookError, WordsError
from vinebook.records.book import Book

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Future

    from sqlalchemy import Connection

    from vinebook.reports.paper import Paper
    from vinebook.reports.render import Page
    from vinebook.seasons.model import BlockHistory, Figure
    from vinebook.seasons.statement import Shows

Units = Literal["metric", "us"]
What = Literal["history", "statement", "trail", "overview"]
WHATS: tuple[What, ...] = ("history", "statement", "trail", "overview")
REPORTS_OF_A_WORKER = 25
"""A worker's memory grows by about half a MiB a report: after so many it gives way to a new one."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One report as it was asked for.

    Attributes
    ----------
    what : name of the report.
    blocks : codes of the blocks that it tells of; a statement without any tells of all that concern its consignee.
    units : units to print in; the vineyard's own where None.
    paper : size of the paper.
    season : of a statement or an overview; the latest where None.
    to, shows, share_percent : of a statement; see `vinebook.seasons.statement`.
    """

    what: What
    blocks: tuple[str, ...] = ()
    units: Units | None = None
    paper: Paper = "a4"
    to: str = ""
    season: int | None = None
    shows: tuple[Shows, ...] = ()
    share_percent: float | None = None

    @property
    def name(self) -> str:
        """What the report is of, in words: its blocks, else whom it is for, else its season."""
        return ", ".join(self.blocks) or self.to or str(self.season or "")


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


def history_of(connection: Connection, block: str) -> BlockHistory:
    """Give all that a block's history tells, its figures judged.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : code of the block.

    Raises
    ------
    WordsError : no such block.
    """
    from vinebook.advice.bands import judge
    from vinebook.seasons.history import block_history, block_number, judging_context

    record = block_number(connection, block)
    told = block_history(connection, block)
    context = judging_context(connection, [record])
    return dataclasses.replace(told, figures=tuple(judge(told.figures, context)))


def page_of(connection: Connection, wanted: Wanted) -> Page:
    """Make the page of a report, with its figures and rows to go inside it.

    Parameters
    ----------
    connection : a connection with one read snapshot: figures, rows and seal are of one moment.
    wanted : what was asked for.

    Raises
    ------
    WordsError, ReportError
    """
    match wanted.what:
        case "history":
            return _history_page(connection, wanted)
        case "statement":
            return _statement_page(connection, wanted)
        case "trail":
            return _trail_page(connection, wanted)
        case "overview":
            return _overview_page(connection, wanted)
    raise WordsError(f"{wanted.what!r} is not a report", f"one of: {', '.join(WHATS)}")


def _history_page(connection: Connection, wanted: Wanted) -> Page:
    from vinebook.exchange.enclosed import rows_of_block
    from vinebook.reports.history import history_page

    block = _one_block(wanted)
    told = history_of(connection, block)
    page = history_page(told, units=wanted.units or _own_units(told.vineyard.units), paper=wanted.paper)
    return _with_enclosures(page, told.figures, list(rows_of_block(connection, block)))


def _statement_page(connection: Connection, wanted: Wanted) -> Page:
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record
    from vinebook.reports.statement import statement_page
    from vinebook.seasons import statement
    from vinebook.seasons.history import block_history

    consignee = find_record(connection, KINDS["consignee"], wanted.to)
    name = statement.consignee_facts(connection, consignee).name
    season = wanted.season or statement.latest_season_of(connection, consignee, name)
    concerned = statement.blocks_of(connection, consignee, name, season)
    codes = wanted.blocks or concerned
    for code in codes:
        if code not in concerned:
            raise ReportError(
                f"nothing of block {code} went to {name} in {season}, and no estimate of it was given to it",
                f"blocks of that season: {', '.join(concerned)}",
            )
    # A block's figures are worked out only where they are asked for.
    told = statement.statement_of(
        connection,
        consignee,
        season,
        [
            history_of(connection, code) if wanted.shows else block_history(connection, code, has_figures=False)
            for code in codes
        ],
        shows=wanted.shows,
        share_percent=wanted.share_percent,
    )
    units = wanted.units or _own_units(told.blocks[0].vineyard.units)
    page = statement_page(told, units=units, paper=wanted.paper)
    figures = [figure for block in told.blocks for figure in block.figures]
    return _with_enclosures(page, figures, statement.rows_told(told))


def _trail_page(connection: Connection, wanted: Wanted) -> Page:
    from vinebook.audit.trail import trail_of
    from vinebook.exchange.enclosed import rows_of_block
    from vinebook.reports.trail import trail_page
    from vinebook.seasons.history import block_head

    block = _one_block(wanted)
    name, vineyard, units = block_head(connection, block)
    told = trail_of(connection, [block], first=wanted.season, last=wanted.season)
    page = trail_page(told, name, vineyard, units=wanted.units or _own_units(units), paper=wanted.paper)
    figures = [one.then for decision in told.decisions for one in decision.evidence]
    return _with_enclosures(page, figures, list(rows_of_block(connection, block)))


def _one_block(wanted: Wanted) -> str:
    if len(wanted.blocks) != 1:
        raise WordsError(f"a {wanted.what} is of one block", "name one; several are bound, or printed each by itself")
    return wanted.blocks[0]


def _overview_page(connection: Connection, wanted: Wanted) -> Page:
    from vinebook.advice.bands import judge
    from vinebook.reports.overview import overview_page
    from vinebook.seasons import overview
    from vinebook.seasons.figures import figures_of
    from vinebook.seasons.history import judging_context

    season = wanted.season or overview.latest_closed_season(connection)
    blocks = overview.blocks_in(connection, season, wanted.blocks)
    records = list(blocks)
    judged = judge(figures_of(connection, records, [season]), judging_context(connection, records))
    told = overview.overview_of(connection, season, blocks, judged)
    own = {block.units for block in told.blocks}
    units = wanted.units or _own_units(own.pop() if len(own) == 1 else "metric")
    page = overview_page(told, units=units, paper=wanted.paper)
    figures = [figure for block in told.blocks for figure in block.figures]
    return _with_enclosures(page, figures, [])


def concerned_blocks(book: Book, to: str, season: int | None) -> tuple[str, ...]:
    """Give the codes of blocks that a statement tells of.

    Parameters
    ----------
    book : an open book.
    to : name of the consignee.
    season : harvest year; the latest that concerns it where None.

    Raises
    ------
    WordsError, ReportError
    """
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record
    from vinebook.seasons import statement

    with book.reading() as connection:
        consignee = find_record(connection, KINDS["consignee"], to)
        name = statement.consignee_facts(connection, consignee).name
        return statement.blocks_of(
            connection, consignee, name, season or statement.latest_season_of(connection, consignee, name)
        )


def _own_units(units: str) -> Units:
    return "us" if units == "us" else "metric"


def _with_enclosures(page: Page, figures: Sequence[Figure], rows: list[tuple[str, str]]) -> Page:
    from vinebook.reports.archive import enclosures_of

    return dataclasses.replace(page, enclosures=enclosures_of(figures, rows))


def make_report(book: Book, wanted: Wanted) -> ReportMade:
    """Print a report; the same book gives the same bytes.

    Parameters
    ----------
    book : an open book.
    wanted : what was asked for.

    Raises
    ------
    WordsError, ReportError, SystemLibraryError
    """
    from vinebook.reports.render import print_page

    with book.reading() as connection:
        page = page_of(connection, wanted)
    return ReportMade(print_page(page).pdf, page.warnings)


def make_bound(book: Book, wanted: Sequence[Wanted], title: str) -> ReportMade:
    """Print several reports as one book with contents and bookmarks, from one snapshot.

    Parameters
    ----------
    book : an open book.
    wanted : reports on the same paper, in the order in which they are bound.
    title : title of the whole.

    Raises
    ------
    WordsError, ReportError, SystemLibraryError

    Notes
    -----
    All pages are set at once and held in memory, about 4 MiB a page.
    """
    from vinebook.reports.bound import bind_pages
    from vinebook.reports.render import print_page

    with book.reading() as connection:
        pages = [page_of(connection, one) for one in wanted]
    page = bind_pages(pages, [one.name for one in wanted], title, wanted[0].paper)
    return ReportMade(print_page(page).pdf, page.warnings)


def cores() -> int:
    """Give the number of processor cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def make_reports(
    where: str, wanted: Sequence[Wanted], *, workers: int | None = None
) -> Iterator[tuple[Wanted, ReportMade | VinebookError]]:
    """Print several reports side by side and give each as it is done; one that cannot be made does not stop the others.

    Parameters
    ----------
    where : the book's file or URL; each worker opens it for itself.
    wanted : the reports.
    workers : processes at work; as many as there are cores where None.

    Yields
    ------
    what was wanted, and the report or what stood in its way.
    """
    workers = min(workers or cores(), len(wanted))
    if workers <= 1:
        book = Book(where)
        for one in wanted:
            yield one, _made(book, one)
        return
    pool = ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), max_tasks_per_child=REPORTS_OF_A_WORKER
    )
    with pool, _one_thread_each():
        under_way: dict[Future[ReportMade | VinebookError], Wanted] = {
            pool.submit(_made_in_worker, where, one): one for one in wanted
        }
        for future in as_completed(under_way):
            one = under_way[future]
            try:
                yield one, future.result()
            except BrokenProcessPool:
                yield (
                    one,
                    ReportError(
                        f"the worker that printed {one.name} was ended from outside, perhaps for want of memory",
                        "try again with --workers 1",
                    ),
                )


def _made(book: Book, wanted: Wanted) -> ReportMade | VinebookError:
    try:
        return make_report(book, wanted)
    except VinebookError as trouble:
        return trouble


def _made_in_worker(where: str, wanted: Wanted) -> ReportMade | VinebookError:
    try:
        return _made(Book(where), wanted)
    except VinebookError as trouble:
        return trouble


@contextlib.contextmanager
def _one_thread_each() -> Iterator[None]:
    """Let no worker start threads for sums of its own: the cores are taken."""
    name = "OPENBLAS_NUM_THREADS"
    before = os.environ.get(name)
    os.environ[name] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before
