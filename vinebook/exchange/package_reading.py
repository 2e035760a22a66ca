"""`import`: a data package becomes a book, in one transaction that is verified before it is committed."""

from __future__ import annotations

import hashlib
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select, text
from sqlalchemy.exc import DataError, IntegrityError

from vinebook.errors import BookExistsError, BookMissingError, BookReadOnlyError, Finding, FindingsError
from vinebook.exchange.package import DESCRIPTOR, FILES, file_name, file_path, package_tables
from vinebook.exchange.package_folder import HINT, Disagreements, in_print, open_package
from vinebook.exchange.package_rows import UnreadableError, long_cells, pages_of
from vinebook.records import journal
from vinebook.records.book import Book
from vinebook.records.bulk import insert_columns
from vinebook.records.copying import draft_of, make_ready, remove, settle
from vinebook.records.engine import cause_of, engine_for, shown, sqlite_path
from vinebook.records.readings import CHUNK_BYTES, ByteKeeper, reading_head
from vinebook.records.schema import HEAD, lay_schema
from vinebook.records.step import lock_making, refresh_statistics, whole_step
from vinebook.records.tables import KEEPING, TABLES, TALLY
from vinebook.records.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from sqlalchemy import Connection, Engine, Table

    from vinebook.exchange.package_folder import Described, PackageFolder
    from vinebook.exchange.package_rows import Page

ANALYZE_FROM_ROWS = 500
_REFUSALS = ("22", "23", "P0")
"""SQLSTATE classes by which PostgreSQL refuses a row: its data, a constraint, a trigger."""


@dataclass(slots=True)
class Imported:
    """What an import brought.

    Attributes
    ----------
    rows : rows of all kinds, struck ones too.
    entries, tallies : entries of the journal and kept files.
    seal : newest hash of the journal.
    lifted_from : the earlier schema that the package was of, or "".
    """

    rows: int = 0
    entries: int = 0
    tallies: int = 0
    seal: str = ""
    lifted_from: str = ""


class BookUnderWay(Book):
    """A book that is being written and not yet committed, seen through the connection that writes it."""

    def __init__(self, connection: Connection, where: str) -> None:
        """Take the connection."""
        self.where = where
        self.name = shown(where)
        self._connection = connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give the connection."""
        yield self._connection


def import_package(
    folder: str | Path,
    book: str,
    check: Callable[[Book], Sequence[str]],
    *,
    by: str = "",
    progress: Callable[[str, int, int], None] | None = None,
) -> Imported:
    """Make a book from a data package: the same rows, the same journal, the same seal.

    The book is made here: nothing may stand at its place, or an empty database. All of it is one transaction, and it
    is verified before it is committed. No entry is added, unless the package is of an earlier schema: then one says
    that the book was brought to this program's, as `upgrade` does.

    Parameters
    ----------
    folder : the package.
    book : a file that does not exist yet, or the URL of an empty database.
    check : gives the differences that verify finds in a book.
    by : who imports; only a package of an earlier schema asks for it.
    progress : called with table or file, number so far and number in all.

    Raises
    ------
    BookExistsError : a book or other file stands there.
    FindingsError : what does not agree, by file, line and column; nothing was stored.
    BookVersionError, FileRefusedError, BookMissingError, BookReadOnlyError, DatabaseError
    """
    path = sqlite_path(book)
    if path is not None:
        _refuse_taken(path)
    package = open_package(Path(folder))
    if path is None:
        return _into(book, book, package, check, by, progress)
    # A link is followed, so that the book comes to lie where it points.
    target = path.resolve()
    draft = draft_of(target)
    try:
        imported = _into(str(draft), book, package, check, by, progress)
        make_ready(draft)
        _refuse_taken(path)
        settle(draft, target)
    except OSError as trouble:
        raise BookReadOnlyError(
            f"{path} cannot be made: {trouble.strerror}", "check the folder's rights and room"
        ) from trouble
    finally:
        remove(draft)
    return imported


def _refuse_taken(path: Path) -> None:
    if not path.resolve().parent.is_dir():
        raise BookMissingError(f"there is no folder {path.resolve().parent}", "make the folder first")
    if path.exists():
        raise BookExistsError(
            f"{path} exists already", "import makes the book itself: name a file that does not exist yet with --book"
        )


def _into(
    place: str,
    told: str,
    package: PackageFolder,
    check: Callable[[Book], Sequence[str]],
    by: str,
    progress: Callable[[str, int, int], None] | None,
) -> Imported:
    """Fill the book at a place; it is told of by its own name."""
    engine: Engine = engine_for(place, drafting=True)
    try:
        step = whole_step(engine, told, Waiting(), lock_making, doing="import", migrates=True)
        with step as connection, long_cells():
            lay_schema(connection, told)
            filling = _Filling(connection, package, progress or (lambda *_: None))
            filling.fill()
            filling.verify(check, told, by)
        if filling.imported.rows >= ANALYZE_FROM_ROWS:
            refresh_statistics(engine)
    finally:
        engine.dispose()
    return filling.imported


class _Filling:
    """One package on its way into one book."""

    def __init__(
        self, connection: Connection, package: PackageFolder, progress: Callable[[str, int, int], None]
    ) -> None:
        self._connection = connection
        self._package = package
        self._progress = progress
        self._wrong = Disagreements()
        self.imported = Imported()

    def fill(self) -> None:
        """Bring in every table and file.

        Raises
        ------
        FindingsError : rows cannot be read, or the database refuses them.
        """
        of_tables = [table for table in package_tables() if table.name in self._package.tables]
        for done, table in enumerate(of_tables):
            self._progress(table.name, done, len(of_tables))
            rows = self._fill_table(table, self._package.tables[table.name])
            if table.name == "entry":
                self.imported.entries = rows
            elif table.name in TABLES:
                self.imported.rows += rows
        self._wrong.refuse()
        self._fill_files()
        self._check_references()
        self._wrong.refuse()

    def verify(self, check: Callable[[Book], Sequence[str]], where: str, by: str) -> None:
        """Verify what was brought in; what does not agree is told together with the files that were changed.

        A package of an earlier schema is brought to this one: its tables are laid, and an entry says so.

        Raises
        ------
        FindingsError : something does not agree.
        """
        last = journal.newest(self._connection)
        self.imported.seal = "" if last is None else last.hash
        unfit = self._package.unfit
        place = self._package.place(DESCRIPTOR)
        if self.imported.seal != self._package.seal:
            seal = self.imported.seal or "no entry"
            unfit.add(
                place, 0, "vinebook.seal", f"is {self._package.seal[:64]!r}", f"{seal}, the journal's newest hash"
            )
        if self._package.schema != HEAD and last is not None:
            body = {"from": self._package.schema, "to": HEAD}
            entry = journal.append(self._connection, by=journal.actor(by), action="upgrade", subject="book", body=body)
            self.imported.seal, self.imported.lifted_from = entry.hash, self._package.schema
            self.imported.entries += 1
        differences = check(BookUnderWay(self._connection, where))
        if differences or unfit.found:
            named = [Finding(str(self._package.folder), 0, "", in_print(words)) for words in differences]
            raise FindingsError(unfit.found + named, unfit.beyond, hint=HINT)

    def _fill_table(self, table: Table, described: Described) -> int:
        place, digest, rows = self._package.place(described.path), hashlib.sha256(), 0
        columns = [column.name for column in table.columns]
        with self._package.open(described) as stream:
            try:
                for page in pages_of(stream, digest, table, place, self._wrong):
                    self._store(table, columns, page, place)
                    rows += len(page.columns[0])
            except UnreadableError:
                return rows
        self._compare(described, digest.hexdigest())
        return rows

    def _compare(self, described: Described, sha256: str) -> None:
        if sha256 != described.sha256:
            self._package.unfit.add(
                self._package.place(described.path), 0, "", f"was changed: its SHA-256 is not what {DESCRIPTOR} says"
            )

    def _store(self, table: Table, names: Sequence[str], page: Page, place: str) -> None:
        if self._refused(table, names, page.columns) is not None:
            at, cause = self._first_refused(table, names, page.columns)
            self._wrong.add(place, page.lines()[at], "", f"the database refuses this row: {cause}")

    def _refused(self, table: Table, names: Sequence[str], columns: Sequence[Sequence[Any]]) -> str | None:
        """Insert rows, or give why the database refuses them; then none of them is in."""
        try:
            with self._connection.begin_nested():
                insert_columns(self._connection, table.name, names, columns)
        except Exception as trouble:
            if _is_refusal(trouble):
                return cause_of(trouble)
            raise
        return None

    def _first_refused(self, table: Table, names: Sequence[str], columns: Sequence[Sequence[Any]]) -> tuple[int, str]:
        """Insert rows up to the first that is refused; give its place among them and why."""
        low, high, cause = 0, len(columns[0]), ""
        while low < high:
            middle = (low + high) // 2
            refusal = self._refused(table, names, [column[low : middle + 1] for column in columns])
            if refusal is None:
                low = middle + 1
            else:
                high, cause = middle, refusal
        return low, cause

    def _fill_files(self) -> None:
        """Bring in kept files and readings, each in the parts in which a load keeps them."""
        query = select(TALLY.c.number, TALLY.c.name).order_by(TALLY.c.number)
        names = {int(number): str(name) for number, name in self._connection.execute(query)}
        self.imported.tallies = len(names)
        place = self._package.place(DESCRIPTOR)
        for table, number in sorted(self._package.files.keys() - {(of, one) for of in FILES for one in names}):
            wrong = f"{file_name(table, number)!r} belongs to no tally"
            self._wrong.add(place, 0, "resources", wrong)
        # Readings come first: they say where the bytes of a workbook are kept.
        for table in reversed(FILES):
            for number, name in names.items():
                self._progress(name, number, len(names))
                described = self._package.files.get((table, number))
                if described is None and table == "tally_bytes" and self._is_kept_elsewhere(number):
                    continue
                if described is None:
                    self._wrong.add(place, 0, "resources", f"{file_name(table, number)!r} is missing")
                elif described.path != file_path(table, number, name):
                    expected = repr(file_path(table, number, name))
                    self._wrong.add(place, 0, "resources", f"{described.path!r} is of another name", expected)
                else:
                    self._fill_file(table, number, described)

    def _is_kept_elsewhere(self, number: int) -> bool:
        """Say whether a tally is a sheet whose workbook is kept under another sheet; verify holds the journal to it."""
        kept_in = reading_head(self._connection, number).get("kept_in", number)
        return isinstance(kept_in, int) and kept_in != number and ("tally_bytes", kept_in) in self._package.files

    def _fill_file(self, table: str, number: int, described: Described) -> None:
        keeper = ByteKeeper(self._connection, KEEPING[table], number)
        with self._package.open(described) as stream:
            while part := stream.read(CHUNK_BYTES):
                keeper.add(part)
        self._compare(described, keeper.close())

    def _check_references(self) -> None:
        """Look for rows that name what is not there; on SQLite nothing looked while they came in."""
        if self._connection.dialect.name != "sqlite":
            return
        for table, record, parent, _ in self._connection.execute(text("PRAGMA foreign_key_check")):
            described = self._package.tables.get(table)
            place = self._package.place(described.path if described else DESCRIPTOR)
            self._wrong.add(place, 0, "", f"#{record} names a row of {parent} that is not there")


def _is_refusal(trouble: Exception) -> bool:
    """Say whether the database refused a row, rather than failed."""
    if isinstance(trouble, (IntegrityError, DataError)):
        return True
    driver = getattr(trouble, "orig", None) or trouble
    return str(getattr(driver, "sqlstate", "") or "")[:2] in _REFUSALS
