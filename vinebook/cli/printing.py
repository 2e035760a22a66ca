"""How reports reach the disk: one file, a file a block in a folder, or one bound book."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.cli.wrapping import say
from vinebook.errors import ReportError, VinebookError, WordsError
from vinebook.reports.press import warm_press

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from vinebook.cli.settings import Settings
    from vinebook.printing import ReportMade
    from vinebook.records.book import Book
    from vinebook.reports.paper import Paper
    from vinebook.reports.wanted import Units, Wanted


@dataclass(frozen=True, slots=True)
class Printing:
    """The options that all reports share.

    Attributes
    ----------
    output : file or folder.
    paper : size of the paper.
    every : every block there is.
    bound : one book instead of a file a block.
    workers : processes at work.
    """

    output: str
    paper: Paper
    every: bool
    bound: bool
    workers: int | None


def print_blocks(
    settings: Settings, given: Printing, wanted: Wanted, every: Callable[[Book], tuple[str, ...]], title: str
) -> None:
    """Print a report of each block as the options say.

    Parameters
    ----------
    settings : shared options.
    given : how it is printed.
    wanted : the report, with the blocks as they were typed.
    every : gives the blocks that --all takes.
    title : title of a bound book.

    Raises
    ------
    WordsError, OutputError, ReportError, SystemLibraryError
    """
    if given.every and wanted.blocks:
        raise WordsError("both blocks and --all were given", "name blocks, or give --all")
    named = tuple(dict.fromkeys(wanted.blocks))
    path = Path(given.output)

    def apart(book: Book) -> list[Wanted]:
        return [replace(wanted, blocks=(code,)) for code in (every(book) if given.every else named)]

    if given.bound:
        _print_bound(settings, apart, title, path)
    elif len(named) > 1 or given.every or path.is_dir() or given.output.endswith("/"):
        _print_folder(settings, apart, path, given.workers)
    else:
        print_one(settings, replace(wanted, blocks=named), path)


def units_of(settings: Settings) -> Units | None:
    """Give the units that were asked for, None where none were."""
    return None if settings.units is None else "us" if settings.units == "us" else "metric"


def every_block(book: Book) -> tuple[str, ...]:
    """Give the keys of all blocks.

    Raises
    ------
    ReportError : there is none.
    """
    from sqlalchemy import select

    from vinebook.records.keys import join_key
    from vinebook.records.tables import TABLES

    block = TABLES["block"]
    with book.reading() as connection:
        found = connection.execute(select(block.c.code).where(block.c.struck_at.is_(None)).order_by(block.c.code))
        codes = tuple(join_key([code]) for (code,) in found)
    if not codes:
        raise ReportError("there is no block in the book", "load a tally of blocks; `vinebook form block` prints one")
    return codes


def print_one(settings: Settings, wanted: Wanted, path: Path) -> None:
    """Print one report into a file.

    Raises
    ------
    WordsError, OutputError, ReportError, SystemLibraryError
    """
    from vinebook.reports.render import require_folder

    require_folder(path)
    with warm_press() as press:
        from vinebook.printing import make_report

        made = make_report(settings.open(), wanted, press)
    _keep(settings, made, path)


def _print_bound(settings: Settings, apart: Callable[[Book], list[Wanted]], title: str, path: Path) -> None:
    from vinebook.reports.render import require_folder

    require_folder(path)
    with warm_press() as press:
        from vinebook.printing import make_bound

        book = settings.open()
        wanted = apart(book)
        made = make_bound(book, wanted, title, press)
    _keep(settings, made, path, f": {len(wanted)} bound into one")


def _keep(settings: Settings, made: ReportMade, path: Path, words: str = "") -> None:
    from vinebook.reports.render import write_file

    _warn(made.warnings)
    write_file(path, made.pdf)
    settings.say(f"wrote {path}{words}")


def _print_folder(settings: Settings, apart: Callable[[Book], list[Wanted]], folder: Path, workers: int | None) -> None:
    """Print a file a block; what cannot be made is told at the end, and the others come all the same."""
    from vinebook.printing import make_reports
    from vinebook.reports.render import require_new_folder, write_file

    wanted = apart(settings.open())
    require_new_folder(folder)
    names = file_names([one.name for one in wanted])
    shown = settings.progress()
    troubles: list[tuple[str, VinebookError]] = []
    for done, (one, made) in enumerate(make_reports(settings.where, wanted, workers=workers), start=1):
        if isinstance(made, VinebookError):
            troubles.append((one.name, made))
        else:
            _warn(f"{one.name}: {warning}" for warning in made.warnings)
            write_file(folder / f"{names[one.name]}.pdf", made.pdf)
        if shown:
            shown(one.name, done, len(wanted))
    made_count = len(wanted) - len(troubles)
    settings.say(f"wrote {made_count} {'PDF' if made_count == 1 else 'PDFs'} into {folder}")
    for block, trouble in sorted(troubles, key=lambda one: one[0]):
        say(f"{block}: {trouble.message}" + (f"; {trouble.hint}" if trouble.hint else ""), err=True)
    if troubles:
        count = len(troubles)
        raise ReportError(
            f"{count} of {len(wanted)} reports could not be made", "the blocks named above; the others are written"
        )


def _warn(warnings: Iterable[str]) -> None:
    for warning in warnings:
        say(f"warning: {warning}", indent=2, err=True)


def file_names(codes: Sequence[str]) -> dict[str, str]:
    """Give each block code a file name of its own that every system can carry.

    Parameters
    ----------
    codes : block codes.
    """
    names: dict[str, str] = {}
    taken: set[str] = set()
    for code in codes:
        plain = re.sub(r"[^\w-]+", "_", code).strip("_") or "block"
        name, at = plain, 2
        while name.casefold() in taken:
            name, at = f"{plain}-{at}", at + 1
        taken.add(name.casefold())
        names[code] = name
    return names
