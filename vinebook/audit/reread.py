"""Today's reader on the bytes of old tallies: what it would read otherwise is news, not damage."""

from __future__ import annotations

import csv
import itertools
import json
import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.intake.faults import Faults
from vinebook.intake.lookups import Conventions
from vinebook.intake.pages import TallyReader
from vinebook.intake.tally_file import MAX_BYTES
from vinebook.intake.workbook import open_tallies
from vinebook.kinds import KINDS
from vinebook.records.readings import ROW_MARK, kept_bytes, kept_file, reading_lines, stored_text
from vinebook.records.shown import field_of, told_exactly
from vinebook.records.tables import READING_BYTES, TALLY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy import Connection

    from vinebook.records.book import Book

TOLD_PER_TALLY = 20


def reread(book: Book, *, progress: Callable[[str], None] | None = None) -> list[str]:
    """Read every kept file again and give what today's reader reads otherwise, in words.

    Parameters
    ----------
    book : an open book.
    progress : called with the name of each file.
    """
    news: list[str] = []
    with book.reading() as connection, tempfile.TemporaryDirectory() as folder:
        for number, name, kind in connection.execute(
            select(TALLY.c.number, TALLY.c.name, TALLY.c.kind).order_by(TALLY.c.number)
        ).all():
            if progress is not None:
                progress(name)
            with ExitStack() as held:
                found = _differences(connection, Path(folder), held, number, kind)
                told = list(itertools.islice(found, TOLD_PER_TALLY + 1))
            news += [f"tally {number} ({name}) {words}" for words in told[:TOLD_PER_TALLY]]
            if len(told) > TOLD_PER_TALLY:
                news.append(f"tally {number} ({name}): … and more")
    return news


def _differences(connection: Connection, folder: Path, held: ExitStack, number: int, kind: str) -> Iterator[str]:
    path = folder / "tally.csv"
    with path.open("wb") as file:
        for part in kept_file(connection, number):
            file.write(part)
    faults = Faults()
    # A record that was struck since is passed over rather than told as missing.
    faults.unread.update(KINDS)
    lines = reading_lines(kept_bytes(connection, READING_BYTES, number))
    head = json.loads(next(lines))
    sheet = str(head.get("sheet", ""))
    tallies = open_tallies(path, faults, held, kind=kind, max_bytes=max(MAX_BYTES, path.stat().st_size), sheet=sheet)
    tally = next(iter(tallies), None)
    where = "row" if sheet else "line"
    refs = {field.name for field in KINDS[kind].fields if field.type == "ref"} | {"sample"}
    compared = [(at, column) for at, column in enumerate(head["columns"]) if column not in refs]
    if tally is not None:
        then = (row for row in csv.reader(lines) if row[0] == ROW_MARK)
        counter = itertools.count(1)
        reader = TallyReader(connection, tally, faults, {}, lambda: next(counter), Conventions(connection))
        was = next(then, None)
        for page in reader.pages(lambda _: None):
            for at, line in enumerate(page.lines):
                while was is not None and int(was[2]) < line:
                    was = next(then, None)
                if was is None or int(was[2]) != line:
                    yield f"{where} {line}: was not read then, is read today"
                    continue
                for place, column in compared:
                    now = stored_text(page.columns[place][at])
                    then_read = was[3 + place]
                    if now != then_read:
                        field = field_of(KINDS[kind], column)
                        name = column if field is None else field.name
                        then_told, now_told = told_exactly(field, then_read), told_exactly(field, now)
                        yield f"{where} {line}: {name} was read as {then_told}, today as {now_told}"
    for finding in faults.faults:
        yield f"{where} {finding.line}: today's reader refuses it: {finding.column} {finding.what}"
