"""What Python programs and the command line call: open a book, load, work out, report, verify."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Literal

from vinebook.advising import crop_backtest, crop_to_come, fruitfulness, full_names, nodes_to_keep
from vinebook.errors import FindingsError
from vinebook.judging import figures, rows_behind
from vinebook.records.book import Book

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from vinebook.advice.nodes_model import Wishes
    from vinebook.audit.check import CheckReport
    from vinebook.audit.deciding import Choice, Decided
    from vinebook.audit.verify import VerifyReport
    from vinebook.errors import VinebookError
    from vinebook.exchange.package_reading import Imported
    from vinebook.exchange.package_writing import Exported
    from vinebook.intake.load import LoadReport
    from vinebook.intake.striking import Replaced
    from vinebook.printing import ReportMade
    from vinebook.records.waiting import Waiting
    from vinebook.reports.paper import Paper
    from vinebook.reports.wanted import Units, Wanted, What
    from vinebook.seasons.draw_checks import How
    from vinebook.seasons.drawing import Draw
    from vinebook.seasons.model import BlockHistory
    from vinebook.seasons.statement_model import Shows
    from vinebook.seasons.trail_model import TicketTrail, Trail


__all__ = [
    "Book",
    "bound_reports",
    "crop_backtest",
    "crop_to_come",
    "decide",
    "draw_vines",
    "export_package",
    "figures",
    "fruitfulness",
    "full_names",
    "history",
    "import_package",
    "load",
    "nodes_to_keep",
    "open_book",
    "replace",
    "report",
    "reports",
    "rows_behind",
    "ticket_trail",
    "trail",
    "verify",
]


def open_book(where: str | Path, waiting: Waiting | None = None) -> Book:
    """Open a book.

    Parameters
    ----------
    where : its file, or a database URL.
    waiting : how one waits for other writers, `vinebook.records.waiting.Waiting`; None for a minute, telling nobody.

    Raises
    ------
    BookMissingError, BookVersionError, BookDamagedError, BookReadOnlyError, DatabaseError
    """
    return Book(str(where), waiting)


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


def draw_vines(
    book: Book,
    block: str,
    *,
    season: int,
    figure: str,
    by: str,
    vines: int | None = None,
    within_percent: float | None = None,
    how: How = "random",
    step: int | None = None,
    parts: Sequence[str] = (),
    panel_size: int | None = None,
    seed: int | None = None,
    cv_percent: float | None = None,
    name: str = "",
    on: dt.date | None = None,
    note: str = "",
    dry_run: bool = False,
) -> Draw:
    """Choose vines for a figure of a block and season, and keep the draw in the book.

    Parameters
    ----------
    book : an open book.
    block, season, figure : what the vines are counted for.
    by : who draws.
    vines, within_percent, step : how many, or how precise, or one vine in how many. Without any of them nothing is
        drawn: the draw tells what numbers of vines buy.
    how : vines at random, every k-th from a random start, or panels at random.
    parts : groups of rows that are drawn for themselves, such as "low=1-9"; "rows" for each row.
    panel_size : vine positions in a panel; that of the rows where None.
    seed : 0 or more; by chance where None.
    cv_percent : spread between vines, in place of the book's.
    name : of the draw; the next number where empty.
    on : day of the draw; today where None.
    note : anything else.
    dry_run : choose and do not record.

    Raises
    ------
    WordsError : what is missing or cannot be, and what would cure it.
    FindingsError : the draw cannot be kept as it was asked for: its name, say.
    """
    from vinebook.intake.drawn import add_draw
    from vinebook.records.keys import join_key
    from vinebook.seasons.draw_checks import Asked
    from vinebook.seasons.drawing import draw_texts, planned_draw

    asked = Asked(
        block,
        season,
        figure,
        how=how,
        vines=vines,
        within_percent=within_percent,
        parts=tuple(parts),
        panel_size=panel_size,
        step=step,
        seed=seed,
        cv_percent=cv_percent,
        name=name,
        on=on,
    )
    with book.reading() as connection:
        drawn = planned_draw(connection, asked)
    while drawn.vines and not dry_run:
        row, drawn_vines = draw_texts(drawn, by=by, note=note)
        try:
            add_draw(book, row, drawn_vines, by=by)
            break
        except FindingsError:
            refused = drawn.name
            with book.reading() as connection:
                drawn = planned_draw(connection, dataclasses.replace(asked, seed=drawn.seed))
            if drawn.name == refused:
                raise
            # Somebody else drew meanwhile, and has the name that was meant for this draw.
    if not drawn.vines or dry_run:
        return drawn
    return dataclasses.replace(drawn, key=join_key((drawn.block, drawn.season, drawn.name)))


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
    folder: str | Path, where: str | Path, *, by: str = "", progress: Callable[[str, int, int], None] | None = None
) -> Imported:
    """Make a book from a data package and verify it; see `vinebook.exchange.package_reading.import_package`."""
    from vinebook.audit.verify import verify_book
    from vinebook.exchange.package_reading import import_package as make

    def differences(book: Book) -> list[str]:
        found = verify_book(book, is_new=True)
        return found.differences + ([f"… and {found.beyond:,} more"] if found.beyond else [])

    return make(folder, str(where), differences, by=by, progress=progress)


def check(
    book: Book,
    blocks: Sequence[str] = (),
    *,
    season: int | None = None,
    units: Literal["metric", "us"] = "metric",
    progress: Callable[[str], None] | None = None,
) -> CheckReport:
    """Say what looks wrong in a book, worst first; see `vinebook.audit.check.check_book`."""
    from vinebook.audit.check import check_book

    return check_book(book, blocks, season=season, units=units, progress=progress)


def silence(book: Book, rule: str, block: str, reason: str, *, by: str) -> LoadReport:
    """Silence a rule of `check` for a block, with the reason; see `vinebook.audit.check.silence`."""
    from vinebook.audit.check import silence as keep_silence

    return keep_silence(book, rule, block, reason, by=by)


def decide(
    book: Book,
    block: str | None,
    season: int | None,
    choice: Choice,
    *,
    by: str,
    evidence: Sequence[str] = (),
    supersedes: str | None = None,
) -> Decided:
    """Record a decision and freeze the figures that stand as its evidence; see `vinebook.audit.deciding.decide`."""
    from vinebook.audit.deciding import decide as record

    return record(book, block, season, choice, by=by, evidence=evidence, supersedes=supersedes)


def trail(book: Book, blocks: Sequence[str] = (), *, first: int | None = None, last: int | None = None) -> Trail:
    """Give the trail of blocks, from evidence to outcome; see `vinebook.audit.trail.trail_of`.

    Parameters
    ----------
    book : an open book.
    blocks : block codes; none takes all that have a decision.
    first, last : first and last season; None takes all.

    Raises
    ------
    WordsError : no such block, or the seasons run backwards.
    """
    from vinebook.audit.trail import trail_of

    with book.reading() as connection:
        return trail_of(connection, blocks, first=first, last=last)


def ticket_trail(book: Book, ticket: str) -> TicketTrail:
    """Give the trail of a weigh ticket: back to the vines, and on to who took the fruit.

    Parameters
    ----------
    book : an open book.
    ticket : issuer/season/number, or the number alone where only one ticket has it.

    Raises
    ------
    WordsError : no such ticket, or several.
    """
    from vinebook.audit.trail_ticket import trail_of_ticket

    with book.reading() as connection:
        return trail_of_ticket(connection, ticket)


def history(book: Book, block: str) -> BlockHistory:
    """Give all that a block's history tells, from one snapshot, its figures judged.

    Raises
    ------
    WordsError : no such block.
    """
    from vinebook.pages import history_of

    with book.reading() as connection:
        return history_of(connection, block)


def report(
    book: Book,
    what: What,
    *blocks: str,
    units: Units | None = None,
    paper: Paper = "a4",
    to: str = "",
    season: int | None = None,
    shows: tuple[Shows, ...] = (),
    share_percent: float | None = None,
    draw: str = "",
    count: str = "",
    language: str = "en",
    wishes: Wishes | None = None,
) -> ReportMade:
    """Print a report and give its bytes; the same book gives the same bytes.

    Parameters
    ----------
    book : an open book.
    what : "history", "trail" or "card" of one block, "statement" for a consignee, "overview" of a season, "sheet" of
        a draw or block.
    *blocks : block codes; a statement without any tells of all that concern its consignee.
    units : units to print in; the vineyard's own where None.
    paper : size of the paper.
    to, season, shows, share_percent : of a statement: consignee, harvest year (the latest where None), "yield" or
        "balance" beside the loads, share of the crop that is promised.
    draw, count, language, wishes : of a sheet or card; see `vinebook.reports.wanted.Wanted`.

    Raises
    ------
    WordsError, ReportError, SystemLibraryError
    """
    from vinebook.printing import make_report
    from vinebook.reports.wanted import Wanted

    if wishes is not None:
        wishes = full_names(wishes)
    return make_report(
        book,
        Wanted(what, blocks, units, paper, to, season, shows, share_percent, draw, count, language, wishes),
    )


def reports(
    book: Book, wanted: Sequence[Wanted], *, workers: int | None = None
) -> Iterator[tuple[Wanted, ReportMade | VinebookError]]:
    """Print several reports side by side over the cores; see `vinebook.printing.make_reports`."""
    from vinebook.printing import make_reports

    return make_reports(book.where, wanted, workers=workers)


def bound_reports(book: Book, wanted: Sequence[Wanted], title: str) -> ReportMade:
    """Print several reports as one book; see `vinebook.printing.make_bound`."""
    from vinebook.printing import make_bound

    return make_bound(book, wanted, title)
