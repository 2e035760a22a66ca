"""What followed a decision, on paper: corrections, what was done, what came, and the mass balance of harvests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.quantities import POUND_KG
from vinebook.reports.numbers import EN_DASH, Units, in_words_of, write_number
from vinebook.reports.tables import Cell, Column, Table
from vinebook.reports.trail_words import came_of, correction_words, files_words, limits_words, minute, number_of
from vinebook.reports.words import begin_sentence
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import RowsBehind
    from vinebook.seasons.trail_model import Balance, Correction, DoneTold, OutcomeTold


def corrections_table(steps: Sequence[Correction], title: str = "Other corrections of its rows") -> Table | None:
    """Give corrections, oldest first; None without any.

    Parameters
    ----------
    steps : the corrections.
    title : of the table.
    """
    if not steps:
        return None
    columns = (
        Column("Entry", width=0.5),
        Column("When", width=1.3),
        Column("By", width=0.8),
        Column("What was changed", width=4.0),
        Column("Reason", width=2.0),
    )
    rows = tuple(
        (
            Cell(str(step.entry)),
            Cell(minute(step.at)),
            Cell(step.by),
            Cell(begin_sentence(correction_words(step))),
            Cell(begin_sentence(step.reason)),
        )
        for step in steps
    )
    return Table(title, columns, rows)


def done_table(done: Sequence[DoneTold], units: Units) -> Table | None:
    """Give the work that the record shows, against the decision; None without any.

    Parameters
    ----------
    done : what was done, or why it is not known.
    units : "metric" or "us".
    """
    if not done:
        return None
    columns = (
        Column("What was done", width=1.4),
        Column("When", width=1.2),
        Column("How", width=2.2),
        Column("Against the decision", width=2.0),
        Column("From", width=3.2),
    )
    rows = tuple(
        (
            Cell(begin_sentence(one.what)),
            Cell(one.happened_on or EN_DASH),
            Cell(
                "; ".join(filter(None, (one.words, "" if one.figure is None else _with_n(one.figure, units))))
                or EN_DASH
            ),
            Cell(
                begin_sentence(": ".join(filter(None, ("" if one.verdict == "done" else one.verdict, one.why))))
                or EN_DASH
            ),
            Cell(_files(one.rows) or EN_DASH),
        )
        for one in done
    )
    return Table("What was done", columns, rows)


def _with_n(figure: Figure, units: Units) -> str:
    return _and_n(number_of(figure, units), figure)


def _and_n(words: str, figure: Figure) -> str:
    return words + (f", n {figure.n}" if figure.n is not None else "")


def outcome_table(outcome: Sequence[OutcomeTold], units: Units) -> Table | None:
    """Give what came, beside what was expected; None without any.

    Parameters
    ----------
    outcome : figures of the season that the decision is about.
    units : "metric" or "us".
    """
    if not outcome:
        return None
    read = 2.7 if any(one.verdict or one.why for one in outcome) else 0.7
    columns = (
        Column("What came", width=1.5),
        Column("Expected", width=0.9),
        Column("Came", width=1.7),
        Column("Read", width=read),
        Column("From", width=5.9 - read),
    )
    rows = tuple(
        (
            Cell(in_words_of(FIGURES[one.figure].title, units)),
            Cell(
                EN_DASH if one.verdict is None else limits_words(one.unit, (one.expected_low, one.expected_high), units)
            ),
            Cell(EN_DASH if one.now is None else _and_n(came_of(one, units), one.now)),
            Cell(begin_sentence(": ".join(filter(None, (one.verdict or "", one.why)))) or EN_DASH),
            Cell(_files(one.rows) or EN_DASH),
        )
        for one in outcome
    )
    return Table("What came", columns, rows)


def _files(rows: Iterable[RowsBehind]) -> str:
    return files_words((one.file, one.tally, one.lines) for one in rows)


def balance_table(balances: Sequence[Balance], units: Units) -> Table | None:
    """Give what became of all that was picked, season by season; None without any.

    Parameters
    ----------
    balances : of seasons.
    units : "metric" or "us".
    """
    if not balances:
        return None
    unit, factor = ("lb", 1 / float(POUND_KG)) if units == "us" else ("kg", 1.0)
    columns = (
        Column("Season", width=0.9),
        Column("Loads", "", 0.7, is_number=True),
        *(
            Column(head, unit, 1.0, is_number=True)
            for head in ("Picked", "Accepted", "Refused", "Deducted", "Left", "Crop")
        ),
        Column("Harvest", width=1.2),
    )
    rows = tuple(
        (
            Cell(str(one.season)),
            Cell(str(one.loads)),
            *(
                Cell(write_number(mass * factor, 0))
                for mass in (one.picked_kg, one.accepted_kg, one.refused_kg, one.deducted_kg, one.left_kg, one.crop_kg)
            ),
            Cell("closed" if one.is_closed else "not closed"),
        )
        for one in balances
    )
    return Table("Mass balance", columns, rows)
