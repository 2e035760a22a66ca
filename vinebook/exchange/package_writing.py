"""`export`: a book as a data package, from one snapshot; the folder gets its name only once it is whole."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import LargeBinary, select

from vinebook.errors import BookExistsError, OutputError
from vinebook.exchange.package import (
    DESCRIPTOR,
    FILES,
    Written,
    descriptor,
    file_name,
    file_path,
    file_resource,
    package_tables,
    table_path,
    table_resource,
)
from vinebook.exchange.package_cells import selected
from vinebook.records import journal
from vinebook.records.bulk import select_pages
from vinebook.records.copying import sync_folder
from vinebook.records.readings import kept_bytes
from vinebook.records.schema import HEAD
from vinebook.records.tables import KEEPING, TABLES, TALLY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from sqlalchemy import Connection, Table

    from vinebook.records.book import Book

PAGE_ROWS = 2000


@dataclass(slots=True)
class Exported:
    """What an export wrote.

    Attributes
    ----------
    folder : the package.
    rows : rows of all kinds, struck ones too.
    entries, tallies : entries of the journal and kept files.
    seal : newest hash of the journal.
    """

    folder: Path
    rows: int = 0
    entries: int = 0
    tallies: int = 0
    seal: str = ""


def export_package(
    book: Book, folder: str | Path, *, progress: Callable[[str, int, int], None] | None = None
) -> Exported:
    """Write a book as a data package.

    The same book gives the same bytes, on SQLite and on PostgreSQL. A folder is written beside its place and put there
    once it is whole.

    Parameters
    ----------
    book : an open book.
    folder : a folder that does not exist yet, or is empty.
    progress : called with table or file, number so far and number in all.

    Raises
    ------
    BookExistsError : something stands there.
    OutputError : the folder cannot be written.
    """
    target = Path(folder)
    _refuse_taken(target)
    exported = Exported(target)
    try:
        with _draft_of(target.resolve()) as draft:
            with book.reading() as connection:
                _write(connection, draft, exported, progress or (lambda *_: None))
            _refuse_taken(target)
            # An empty folder is replaced; one that was filled meanwhile refuses.
            draft.rename(target.resolve())
            sync_folder(target)
    except OSError as trouble:
        raise _unwritable(target, trouble) from trouble
    return exported


def _refuse_taken(target: Path) -> None:
    try:
        if not target.resolve().parent.is_dir():
            raise OutputError(f"there is no folder {target.resolve().parent}", "make it, or name another place")
        if target.exists() and not target.is_dir():
            raise BookExistsError(f"{target} exists already", "name a folder that does not exist yet")
        if target.is_dir() and any(target.iterdir()):
            raise BookExistsError(
                f"{target} exists already and is not empty", "name another folder; nothing is ever written over"
            )
    except OSError as trouble:
        raise _unwritable(target, trouble) from trouble


def _unwritable(target: Path, trouble: OSError) -> OutputError:
    return OutputError(f"{target} cannot be written: {trouble.strerror}", "check the folder's rights and room")


@contextmanager
def _draft_of(target: Path) -> Iterator[Path]:
    """Give an empty folder beside the target; what is left of it at the end is taken away."""
    draft = target.with_name(f".{target.name}.part")
    _remove(draft)
    draft.mkdir()
    try:
        yield draft
    finally:
        _remove(draft)


def _remove(draft: Path) -> None:
    if draft.is_symlink() or draft.is_file():
        draft.unlink()
    elif draft.exists():
        shutil.rmtree(draft)


def _write(connection: Connection, draft: Path, exported: Exported, tell: Callable[[str, int, int], None]) -> None:
    of_tables = package_tables()
    for name in sorted({Path(table_path("")).parent.name, *FILES.values()}):
        (draft / name).mkdir()
    resources = []
    for done, table in enumerate(of_tables):
        tell(table.name, done, len(of_tables))
        written, rows = _write_table(connection, draft, table)
        resources.append(table_resource(table, written.size, written.sha256))
        if table.name == "entry":
            exported.entries = rows
        elif table.name in TABLES:
            exported.rows += rows
    tell("", 1, 1)
    names = [(int(number), str(name)) for number, name in connection.execute(select(TALLY.c.number, TALLY.c.name))]
    exported.tallies = len(names)
    for table_name in FILES:
        for number, name in sorted(names):
            tell(name, number, len(names))
            parts = kept_bytes(connection, KEEPING[table_name], number)
            first = next(parts, None)
            # The bytes of a workbook are kept once, under the first of its sheets.
            if first is not None:
                path = file_path(table_name, number, name)
                whole = chain([first], parts)
                resources.append(file_resource(_write_file(draft, file_name(table_name, number), path, whole)))
    tell("", 1, 1)
    last = journal.newest(connection)
    exported.seal = "" if last is None else last.hash
    told = descriptor(resources, schema=HEAD, seal=exported.seal, entries=exported.entries)
    _write_file(draft, "", DESCRIPTOR, [told])
    for folder in (draft / DESCRIPTOR, *(draft / name / "." for name in FILES.values())):
        sync_folder(folder)


def _write_table(connection: Connection, draft: Path, table: Table) -> tuple[Written, int]:
    rows = 0

    def parts() -> Iterator[bytes]:
        nonlocal rows
        binary = [at for at, column in enumerate(table.columns) if isinstance(column.type, LargeBinary)]
        page = io.StringIO(newline="")
        writer = csv.writer(page, lineterminator="\r\n")
        writer.writerow(column.name for column in table.columns)
        for some in select_pages(connection, selected(table, connection.dialect.name), PAGE_ROWS):
            writer.writerows(_in_base64(some, binary) if binary else some)
            rows += len(some)
            yield page.getvalue().encode()
            page.seek(0)
            page.truncate()
        yield page.getvalue().encode()

    return _write_file(draft, table.name, table_path(table.name), parts()), rows


def _in_base64(rows: Iterable[tuple[Any, ...]], binary: list[int]) -> Iterator[list[Any]]:
    for row in rows:
        cells = list(row)
        for at in binary:
            cells[at] = None if cells[at] is None else base64.b64encode(cells[at]).decode()
        yield cells


def _write_file(draft: Path, name: str, path: str, parts: Iterable[bytes]) -> Written:
    digest, size = hashlib.sha256(), 0
    with (draft / path).open("xb") as stream:
        for part in parts:
            digest.update(part)
            size += len(part)
            stream.write(part)
        stream.flush()
        os.fsync(stream.fileno())
    return Written(name, path, size, digest.hexdigest())
