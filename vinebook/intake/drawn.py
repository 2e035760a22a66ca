"""Draws in the book: recorded in one step, and recognised in the tallies that name them."""

from __future__ import annotations

import csv
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.errors import FindingsError
from vinebook.kinds import KINDS
from vinebook.kinds.form import tally_fields
from vinebook.records.drawn import drawn_places, kinds_with_vines, told_places, visits_of
from vinebook.records.keys import key_of
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from sqlalchemy import Connection

    from vinebook.intake.faults import Faults
    from vinebook.intake.load import LoadReport
    from vinebook.intake.unlikely import Arrived
    from vinebook.records.book import Book

AGREEING = ("chosen", "panel_size", "seed")
"""What a sample says of its draw, and must agree in."""


def add_draw(book: Book, draw: Mapping[str, str], vines: Sequence[Mapping[str, str]], *, by: str) -> LoadReport:
    """Keep a draw and its vines: two typed tallies in one step.

    Parameters
    ----------
    book : an open book.
    draw : texts by field of kind draw.
    vines : texts by field of kind drawn_vine, in walking order.
    by : who drew.

    Raises
    ------
    FindingsError : what is wrong, by field.
    """
    # The loader recognises draws itself: it is imported when it is called.
    from vinebook.intake.load import load_tallies

    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / "draw.csv", Path(folder) / "drawn_vine.csv"]
        for path, rows in zip(paths, ([draw], vines), strict=True):
            fields = [field.name for field in tally_fields(KINDS[path.stem])]
            with path.open("w", encoding="utf-8", newline="") as page:
                writer = csv.DictWriter(page, fields, restval="", lineterminator="\n")
                writer.writeheader()
                writer.writerows(rows)
        try:
            report = load_tallies(book, paths, by=by, source="typed")
        except FindingsError as refused:
            findings = [replace(one, file=Path(one.file).stem, line=0) for one in refused.findings]
            # What is wrong with the draw is not told once more for each of its vines.
            of_draw = [one for one in findings if one.file == "draw"]
            raise FindingsError(of_draw or findings, 0 if of_draw else refused.beyond) from None
    report.tallies = [replace(tally, name=Path(tally.name).name) for tally in report.tallies]
    return report


def check_draws(connection: Connection, faults: Faults, numbers: Mapping[int, str], *, only: int | None = None) -> None:
    """Add a fault for each sample of tallies that names a draw which is not in the book, or says otherwise than it.

    Parameters
    ----------
    connection : of the call.
    faults : where findings go.
    numbers : files of the call by the numbers of their tallies.
    only : permanent number of the one sample that is looked at, where one is amended.
    """
    sample, draw, block = TABLES["sample"].c, TABLES["draw"].c, TABLES["block"].c
    statement = (
        select(TABLES["sample"], block.code)
        .join(TABLES["block"], block.record == sample.block)
        .where(sample.tally.in_(numbers), sample.draw.is_not(None))
        .order_by(sample.record)
    )
    if only is not None:
        statement = statement.where(sample.record == only)
    for row in connection.execute(statement).mappings().all():
        found = (
            connection.execute(
                select(TABLES["draw"]).where(
                    draw.block == row["block"],
                    draw.season == row["season"],
                    draw.name == row["draw"],
                    draw.struck_at.is_(None),
                )
            )
            .mappings()
            .first()
        )
        file = numbers[row["tally"]]
        if found is None:
            what = f"no draw {row['draw']!r} of {row['code']} in {row['season']} is in the book"
            faults.add(file, row["line"], "draw", what, _draws_there_are(connection, row["block"], row["season"]))
            continue
        for name in AGREEING:
            said, held = row[name], found[name]
            if said != held and (said is not None or name == "panel_size"):
                what = f"is {said if said is not None else 'empty'}, and {held or 'empty'} in draw {row['draw']}"
                faults.add(file, row["line"], name, what, "what the draw says")


def _draws_there_are(connection: Connection, block: int, season: int) -> str:
    c = TABLES["draw"].c
    names = connection.execute(
        select(c.name).where(c.block == block, c.season == season, c.struck_at.is_(None))
    ).scalars()
    there = ", ".join(sorted(names))
    return f"one of: {there}" if there else "an empty cell where no draw was recorded; `vinebook draw` records one"


def recognise(connection: Connection, faults: Faults, arrived: Sequence[Arrived]) -> list[str]:
    """Warn of vines that were not drawn, and give in words which drawn vines were visited.

    Parameters
    ----------
    connection : of the call.
    faults : where warnings go.
    arrived : the files of the call.
    """
    met: dict[int, set[tuple[str, str]]] = {}
    for tally in arrived:
        if tally.kind.name in kinds_with_vines():
            for record, draw, part, thinning in _drawn_samples(connection, tally.blocks):
                met.setdefault(draw, set()).add((tally.kind.name, thinning))
                _warn_not_drawn(connection, faults, tally, record, draw, part)
    notes = []
    for draw, counted in met.items():
        key = key_of(connection, KINDS["draw"], draw)
        notes += [
            f"draw {key}, {visits}"
            for visits in visits_of(connection, draw)
            if (visits.kind, visits.thinning) in counted
        ]
    return notes


def _drawn_samples(connection: Connection, samples: Iterable[int]) -> list[tuple[int, int, str, str]]:
    """Give sample, draw, part and thinning of the samples that name a draw of the book."""
    sample, draw = TABLES["sample"], TABLES["draw"]
    records = sorted(samples)
    found: list[tuple[int, int, str, str]] = []
    for at in range(0, len(records), 500):
        rows = connection.execute(
            select(sample.c.record, draw.c.record, sample.c.part, sample.c.thinning)
            .join(
                draw,
                (draw.c.block == sample.c.block)
                & (draw.c.season == sample.c.season)
                & (draw.c.name == sample.c.draw)
                & draw.c.struck_at.is_(None),
            )
            .where(sample.c.record.in_(records[at : at + 500]), sample.c.struck_at.is_(None))
        )
        found += [tuple(row) for row in rows]
    return found


def _warn_not_drawn(connection: Connection, faults: Faults, tally: Arrived, sample: int, draw: int, part: str) -> None:
    c = TABLES[tally.kind.name].c
    places = drawn_places(connection, draw)
    rows = connection.execute(
        select(c.line, c.row, c.vine)
        .where(c.sample == sample, c.tally == tally.number, c.struck_at.is_(None))
        .order_by(c.line)
    ).all()
    others = {(row, vine): line for line, row, vine in reversed(rows) if (row, vine) not in places}
    if others:
        many = f"{len(others)} vines were" if len(others) > 1 else "1 vine was"
        listed = sorted(others, key=lambda place: others[place])
        counts = "count" if len(others) > 1 else "counts"
        what = f"{many} not drawn ({told_places(listed)}), and {counts} as drawn"
        faults.warn(tally.name, min(others.values()), "vine", what, "the vines of the draw, or a sample of its own")
    elsewhere = [line for line, row, vine in rows if places.get((row, vine), part) != part]
    if elsewhere:
        row, vine = next((row, vine) for line, row, vine in rows if line == elsewhere[0])
        what = f"is {part}, and vine {row}/{vine} was drawn in part {places[row, vine]}"
        faults.warn(tally.name, elsewhere[0], "part", what, "the part that the draw says")
