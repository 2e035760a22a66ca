"""What a decision saw, on paper: the figures of its evidence then and now, and the rows behind them."""

from __future__ import annotations

from string import ascii_lowercase
from typing import TYPE_CHECKING

from vinebook.reports.numbers import EN_DASH, Units, in_words_of
from vinebook.reports.tables import Cell, Column, Table
from vinebook.reports.trail_words import joined, ranges_words, then_and_now, where_of
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure
    from vinebook.seasons.trail_model import DecisionTold, EvidenceTold

Ranges = tuple[tuple[int, int], ...]
Rows = tuple[str, str, int, Ranges, Ranges]
"""Rows of one kind and file: kind, name and number of the file, ranges of permanent numbers and of lines."""
IN_FORCE = "in force"
HEADLINES = frozenset(
    (
        *("nodes_per_vine", "bud_mortality", "budbreak", "shoots_per_m", "clusters_per_vine", "cluster_weight"),
        *("crop", "yield_per_vine", "yield_per_ha", "prunings_per_vine", "prunings_per_m", "cane_weight"),
        *("yield_to_prunings", "spur_spacing", "gap_share", "leaf_area_to_fruit", "vines_bearing"),
    )
)
"""Figures of the evidence that stand on paper; all of them are in the files inside."""


def evidence_table(decision: DecisionTold, units: Units) -> Table | None:
    """Give the figures that a decision saw, newest season first; those of node positions are in a file inside.

    Parameters
    ----------
    decision : with its evidence.
    units : "metric" or "us".
    """
    seen, marks = _seen(decision), _marks(decision)
    if not seen:
        return None
    columns = (
        Column("Season", width=0.6),
        Column("Figure", width=2.0),
        Column("Then", width=2.1),
        Column("n", "", 0.4, is_number=True, pad_pt=6),
        Column("Now", width=2.1),
        Column("Corrected by", width=1.0),
        Column("Rows", width=1.3),
    )
    rows = []
    before = 0
    for one in seen:
        then, now = then_and_now(one, units)
        season = one.then.season
        rows.append(
            (
                Cell("" if season == before else str(season)),
                Cell(_name(one.then, units)),
                Cell(then),
                Cell(EN_DASH if one.then.n is None else str(one.then.n)),
                Cell(now if one.is_changed else "the same"),
                Cell(", ".join(f"entry {entry}" for entry in one.corrections)),
                Cell(", ".join(sorted({marks[rows] for rows in _merged(one)}, key=lambda mark: (len(mark), mark)))),
            )
        )
        before = season
    more = len(decision.evidence) - len(seen)
    notes = (
        (
            (
                "",
                f"{more} more figures, by bearer, position, stage and pick, are in evidence.csv inside this PDF",
            ),
        )
        if more
        else ()
    )
    return Table("The figures that it saw, then and now", columns, tuple(rows), notes=notes, has_runs=True)


def rows_table(decision: DecisionTold) -> Table | None:
    """Give the rows behind the evidence: mark, kind, permanent numbers, file and lines.

    Parameters
    ----------
    decision : with its evidence.
    """
    marks = _marks(decision)
    if not marks:
        return None
    columns = (
        Column("Rows", width=0.5),
        Column("Kind", width=1.5),
        Column("Their numbers", width=3.0),
        Column("File", width=2.4),
        Column("Lines", width=2.6),
    )
    rows = tuple(
        (
            Cell(mark),
            Cell(kind.replace("_", " ")),
            Cell(ranges_words(numbers, "#")),
            Cell(f"{file} (tally {tally})"),
            Cell(ranges_words(lines)),
        )
        for (kind, file, tally, numbers, lines), mark in marks.items()
    )
    return Table("The rows behind them", columns, rows)


def _seen(decision: DecisionTold) -> list[EvidenceTold]:
    """Give the evidence of whole vines and harvests that has a value or waits for one, newest season first."""
    if decision.state != IN_FORCE:
        return []
    order = {name: at for at, name in enumerate(FIGURES)}
    whole = [
        one
        for one in decision.evidence
        if (one.then.bearer, one.then.position, one.then.pick) == (None, None, None)
        and one.then.stage in (None, "harvest")
        and one.then.status in ("known", "partial", "pending")
    ]
    told = [one for one in whole if one.then.figure in HEADLINES or one.is_changed]
    return sorted(told or whole, key=lambda one: (-one.then.season, order[one.then.figure]))


def _merged(one: EvidenceTold) -> list[Rows]:
    """Give the rows behind a figure, those of one kind and file together."""
    found: dict[tuple[str, str, int], tuple[list[tuple[int, int]], list[tuple[int, int]]]] = {}
    for rows in one.rows:
        numbers, lines = found.setdefault((rows.kind, rows.file, rows.tally), ([], []))
        numbers.extend(rows.numbers)
        lines.extend(rows.lines)
    return [(*of, joined(numbers), joined(lines)) for of, (numbers, lines) in found.items()]


def _marks(decision: DecisionTold) -> dict[Rows, str]:
    """Give each set of rows behind the figures that are told its mark: a to z, then aa, ab and so on."""
    marks: dict[Rows, str] = {}
    for one in _seen(decision):
        for rows in _merged(one):
            if rows not in marks:
                at = len(marks)
                marks[rows] = (ascii_lowercase[at // 26 - 1] if at >= 26 else "") + ascii_lowercase[at % 26]
    return marks


def _name(figure: Figure, units: Units) -> str:
    where = where_of(figure)
    return in_words_of(FIGURES[figure.figure].title, units) + (f", {where}" if where else "")
