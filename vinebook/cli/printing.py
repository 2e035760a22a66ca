"""How reports reach the disk: one file, a file a block in a folder, or one bound book."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.cli.wrapping import say
from vinebook.errors import ReportError, VinebookError, WordsError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.cli.settings import Settings
    from vinebook.printing import Units, Wanted, What
    from vinebook.records.book import Book
    from vinebook.reports.paper import Paper


def print_blocks(
    settings: Settings,
    what: What,
    blocks: tuple[str, ...],
    *,
    title: str,
    output: str,
    paper: Paper,
    every: bool,
    bound: bool,
    workers: int | None,
) -> None:
    """Print a report of each block as the options say.

    Parameters
    ----------
    settings : shared options.
    what : name of the report.
    blocks : block codes as they were typed.
    title : title of a bound book.
    output : file or folder.
    paper : size of the paper.
    every : every block of the book.
    bound : one book instead of a file a block.
    workers : processes at work.

    Raises
    ------
    WordsError, OutputError, ReportError, SystemLibraryError
    """
    from vinebook.printing import Wanted

    if every and blocks:
        raise WordsError("both blocks and --all were given", "name blocks, or give --all")
    if not every and not blocks:
        raise WordsError("no block was named", "name one or several, or give --all")
    book = settings.open()
    codes = _every_block(book) if every else tuple(dict.fromkeys(blocks))
    wanted = [Wanted(what, code, units_of(settings), paper) for code in codes]
    path = Path(output)
    if bound:
        _print_bound(settings, book, wanted, title, path)
    elif len(wanted) == 1 and not every and not path.is_dir() and not output.endswith("/"):
        _print_one(settings, book, wanted[0], path)
    else:
        _print_folder(settings, book, wanted, path, workers)


def units_of(settings: Settings) -> Units | None:
    """Give the units that were asked for, None where none were."""
    return None if settings.units is None else "us" if settings.units == "us" else "metric"


def _every_block(book: Book) -> tuple[str, ...]:
    from sqlalchemy import select

    from vinebook.records.tables import TABLES

    block = TABLES["block"]
    with book.reading() as connection:
        found = connection.execute(select(block.c.code).where(block.c.struck_at.is_(None)).order_by(block.c.code))
        codes = tuple(code for (code,) in found)
    if not codes:
        raise ReportError("there is no block in the book", "load a tally of blocks; `vinebook form block` prints one")
    return codes


def _print_one(settings: Settings, book: Book, wanted: Wanted, path: Path) -> None:
    from vinebook.printing import make_report
    from vinebook.reports.render import require_folder, write_file

    require_folder(path)
    made = make_report(book, wanted)
    _warn(made.warnings)
    write_file(path, made.pdf)
    settings.say(f"wrote {path}")


def _print_bound(settings: Settings, book: Book, wanted: Sequence[Wanted], title: str, path: Path) -> None:
    from vinebook.printing import make_bound
    from vinebook.reports.render import require_folder, write_file

    require_folder(path)
    made = make_bound(book, wanted, title)
    _warn(made.warnings)
    write_file(path, made.pdf)
    settings.say(f"wrote {path}: {len(wanted)} bound into one")


def _print_folder(settings: Settings, book: Book, wanted: Sequence[Wanted], folder: Path, workers: int | None) -> None:
    """Print a file a block; what cannot be made is told at the end, and the others come all the same."""
    from vinebook.printing import make_reports
    from vinebook.reports.render import require_new_folder, write_file

    require_new_folder(folder)
    names = file_names([one.block for one in wanted])
    shown = settings.progress()
    troubles: list[tuple[str, VinebookError]] = []
    for done, (one, made) in enumerate(make_reports(book.where, wanted, workers=workers), start=1):
        if isinstance(made, VinebookError):
            troubles.append((one.block, made))
        else:
            _warn(f"{one.block}: {warning}" for warning in made.warnings)
            write_file(folder / f"{names[one.block]}.pdf", made.pdf)
        if shown:
            shown(one.block, done, len(wanted))
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
        say(f"warning: {warning}", err=True)


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
