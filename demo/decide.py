"""Load the demo's tallies year by year and decide as its growers did, so that each decision froze what stood then.

    python -m demo.decide BOOK FOLDER

BOOK is an empty book, FOLDER holds the tallies of `demo.generate`. Of the decisions some are met and some missed, those
for 2027 are pending; one rests on a count that was amended afterwards, and one was superseded.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from openpyxl import load_workbook

from vinebook import api
from vinebook.audit.deciding import Choice
from vinebook.intake.amending import amend
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from vinebook.records.book import Book

DATED = ("date", "started_on", "finished_on", "decided_on")
"""Columns that say when a row was written, in order of preference; rows without one are there from the beginning."""
BY = "demo"


@dataclass(frozen=True, slots=True)
class Made:
    """A decision of the demo."""

    block: str
    season: int
    choice: Choice


def _nodes(value: int, words: str, reason: str, by: str, on: str, expect: tuple[str, str, str], review: str) -> Choice:
    return Choice("nodes_to_keep", words, reason, str(value), by, on, expect, review)


YEARS: tuple[tuple[dt.date, tuple[Made, ...]], ...] = (
    (
        dt.date(2024, 1, 14),
        (
            Made(
                "V2",
                2024,
                _nodes(
                    18,
                    "18 nodes on two canes and two renewal spurs",
                    "ratio within the band for three seasons; leave it",
                    "HM",
                    "2024-01-12",
                    ("yield_to_prunings", "4", "7"),
                    "2025-02-01",
                ),
            ),
            Made(
                "V3",
                2024,
                _nodes(
                    14,
                    "14 nodes on two short canes and two renewal spurs",
                    "the winemaker wants less than 8 tonnes a hectare",
                    "HM",
                    "2024-01-12",
                    ("yield_per_ha", "5", "8"),
                    "2024-11-01",
                ),
            ),
        ),
    ),
    (
        dt.date(2025, 1, 12),
        (
            Made(
                "V2",
                2025,
                _nodes(
                    18,
                    "18 nodes again",
                    "met last year with the same number",
                    "HM",
                    "2025-01-10",
                    ("yield_to_prunings", "4", "7"),
                    "2026-02-01",
                ),
            ),
            Made(
                "V4",
                2025,
                _nodes(
                    40,
                    "40 nodes on spurs of two",
                    "wood has grown on both curtains",
                    "HM",
                    "2025-01-10",
                    ("yield_to_prunings", "5", "8"),
                    "2026-02-01",
                ),
            ),
        ),
    ),
    (dt.date(2026, 8, 12), ()),
    (
        dt.date(2026, 11, 24),
        (
            Made(
                "V2",
                2027,
                _nodes(
                    20,
                    "20 nodes on two canes and two renewal spurs",
                    "a heavy crop on few clusters; give the vine two nodes more",
                    "HM",
                    "2026-11-23",
                    ("yield_to_prunings", "4", "7"),
                    "2028-02-01",
                ),
            ),
            Made(
                "Z1",
                2027,
                Choice(
                    "shoot_thinning",
                    "thin to 15 shoots a metre before bloom",
                    "shoots per metre stood above the aim in 2026",
                    decided_by="AD",
                    decided_on="2026-10-20",
                    expect=("yield_to_prunings", "4", "7"),
                ),
            ),
        ),
    ),
)
SUPERSEDED = (
    "V4/2025/1",
    Choice(
        "",
        "38 nodes on spurs of two",
        "the crew could not find 40 good nodes",
        "38",
        decided_by="HM",
        decided_on="2025-01-12",
    ),
)
"""A decision that was taken back two days later, and the one in its place."""


GIVEN = (("V1", "Orvasket Cellars"), ("V3", "Hollin Press House"))
"""Blocks whose crop was estimated by the book on the third of those days, and to whom it was told."""


def decide_through_the_years(book: Book, folder: Path) -> None:
    """Load the tallies of a folder in the order of their dates, and record each decision when its day has come.

    Parameters
    ----------
    book : an empty book.
    folder : the tallies.
    """
    paths = sorted(path for path in folder.rglob("*") if path.suffix in (".csv", ".xlsx"))
    since = dt.date.min
    for until, decisions in YEARS:
        with tempfile.TemporaryDirectory() as handed_in:
            found = handed_in_between(paths, folder, Path(handed_in), since, until)
            api.load(book, found, by=BY)
        for made in decisions:
            api.decide(book, made.block, made.season, made.choice, by=BY)
        if until == YEARS[0][0]:
            _mend(book)
        if until == YEARS[1][0]:
            key, choice = SUPERSEDED
            api.decide(book, None, None, choice, by=BY, supersedes=key)
        if until == YEARS[2][0]:
            for block, consignee in GIVEN:
                api.crop_to_come(book, block, until.year, on=until, given_to=consignee, by=BY)
        since = until


def _mend(book: Book) -> None:
    """Amend a weight that the first decision rests on: a decimal point in the wrong place."""
    pruned, sample, block = TABLES["pruned_vine"], TABLES["sample"], TABLES["block"]
    query = (
        pruned.select()
        .with_only_columns(pruned.c.record)
        .join(sample, sample.c.record == pruned.c.sample)
        .join(block, block.c.record == sample.c.block)
        .where(block.c.code == "V2", sample.c.season == 2023, pruned.c.prunings_mg.is_not(None))
        .order_by(pruned.c.record)
    )
    with book.reading() as connection:
        record = connection.scalar(query)
    reason = "the sheet says 0.95; a point was read where there was none"
    amend(book, "pruned_vine", f"#{record}", {"prunings": "0.95 kg"}, reason=reason, by=BY)


def handed_in_between(paths: list[Path], folder: Path, into: Path, since: dt.date, until: dt.date) -> list[Path]:
    """Write what was handed in after one day and up to another, file by file, and give the paths.

    Parameters
    ----------
    paths : all tallies.
    folder : where they lie; `into` gets the same folders.
    into : where the parts go.
    since, until : rows dated after the one, up to the other. A share of a load goes with its load, a workbook is
        handed in whole when its last row is written.
    """
    loads = {
        tuple(row[name] for name in ("issuer", "number")): row["date"]
        for path in paths
        if path.name == "load.csv"
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    }
    found = []
    for path in paths:
        if path.suffix == ".xlsx":
            if since < last_written(path) <= until:
                found.append(path)
            continue
        head, *lines = path.read_text(encoding="utf-8-sig").splitlines(keepends=True)
        sign = ";" if ";" in head else ","
        names = next(csv.reader([head], delimiter=sign))
        kept = []
        for line in lines:
            row = dict(zip(names, next(csv.reader([line], delimiter=sign)), strict=True))
            written = loads.get((row.get("issuer", ""), row.get("number", ""))) or _written(row)
            if since < written_on(written) <= until:
                kept.append(line)
        if kept:
            part = into / path.relative_to(folder)
            part.parent.mkdir(parents=True, exist_ok=True)
            part.write_text(head + "".join(kept), encoding="utf-8")
            found.append(part)
    return found


def _written(row: dict[str, str]) -> str:
    return next((row[name] for name in DATED if row.get(name)), "")


def written_on(date: str) -> dt.date:
    """Give the day on which a row was written; long-lived facts were there before the first."""
    return dt.date.fromisoformat(date) if date else dt.date(1900, 1, 1)


def last_written(path: Path) -> dt.date:
    """Give the newest date in a workbook."""
    book = load_workbook(path, read_only=True)
    cells = (cell for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row)
    return max(cell.date() for cell in cells if isinstance(cell, dt.datetime))


def main() -> None:
    """Read the words on the command line, load and decide."""
    parser = argparse.ArgumentParser(description="Load the demo's tallies year by year, and decide.")
    parser.add_argument("book", help="an empty book")
    parser.add_argument("folder", type=Path, help="folder of the tallies")
    given = parser.parse_args()
    decide_through_the_years(api.open_book(given.book), given.folder)
    print(
        f"loaded the tallies of {given.folder} year by year, with {sum(len(made) for _, made in YEARS) + 1} decisions"
    )


if __name__ == "__main__":
    main()
