"""Cells of a workbook as the texts that a tally would hold; a cell that means no such text carries why."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from vinebook.intake.cells import refused_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.kinds.field import Field

SIGNIFICANT = 15
"""Digits that spreadsheet programs show and keep of a typed number."""
REMEMBERED = 50_000
FIRST_AGREED_DAY = dt.date(1900, 3, 1)
"""Before it spreadsheet programs disagree on what day a number is, as one of them knows 29 February 1900."""
PLAIN_TYPES = frozenset({str, float, int, dt.date})


class ColumnTexts(dict[Any, str]):
    """Texts of one column's cells by their values; fills itself."""

    def __init__(self, field: Field, *, is_1904: bool) -> None:
        super().__init__()
        self._field = field
        self._is_1904 = is_1904

    def of(self, cells: Sequence[Any]) -> Sequence[str]:
        """Give the texts of cells."""
        types = set(map(type, cells))
        if types == {str}:
            return cells
        if len(self) > REMEMBERED:
            self.clear()
        if types <= PLAIN_TYPES:
            return list(map(self.__getitem__, cells))
        # True is equal to 1, and a time of one kind to another, so these are not looked up by value.
        return [self[cell] if type(cell) in PLAIN_TYPES else self.__missing__(cell) for cell in cells]

    def __missing__(self, cell: Any) -> str:  # noqa: ANN401 - cells are of several types
        text = self._text(cell)
        if type(cell) in PLAIN_TYPES:
            self[cell] = text
        return text

    def _text(self, cell: Any) -> str:  # noqa: ANN401
        wanted = self._field.type
        match cell:
            case bool():
                return refused_text(f"holds {str(cell).upper()}, a yes-or-no value", self._plain)
            case str():
                return cell
            case int() | float():
                return self._number(cell)
            case dt.datetime():
                return refused_text(f"holds a time of day too ({cell:%Y-%m-%d %H:%M})", self._plain)
            case dt.date():
                if wanted not in ("date", "text"):
                    told = (
                        f"holds a date ({cell.isoformat()}), which a spreadsheet program may have made of other words"
                    )
                    return refused_text(told, self._plain)
                if cell < FIRST_AGREED_DAY and not self._is_1904:
                    told = f"holds {cell.isoformat()} as a number, of which spreadsheet programs disagree"
                    return refused_text(told, "a date before March 1900 written as text")
                return cell.isoformat()
            case dt.time():
                return refused_text(f"holds a time of day ({cell:%H:%M}) and no day", self._plain)
            case _:
                return refused_text("holds a length of time", self._plain)

    def _number(self, number: float) -> str:
        if self._field.type == "date":
            told = f"holds the number {number:.10g} and no date"
            return refused_text(told, "a cell whose format is a date, or text such as 2024-06-12")
        return number_text(number)

    @property
    def _plain(self) -> str:
        match self._field.type:
            case "date":
                return "a date alone, such as 2024-06-12"
            case "count" | "number" | "measure" | "ticket" | "season":
                return "a plain number"
            case "choice":
                return f"one of: {', '.join(self._field.choices)}"
            case _:
                return "text: format the cell as text and type it again"

    def odd(self, cell: Any, what: str) -> str:  # noqa: ANN401
        """Give the text of a cell that is an error, a percentage or a formula without a value.

        Parameters
        ----------
        cell : its value as read.
        what : as a scan of the sheet says.
        """
        if what.startswith("error"):
            return refused_text(f"holds the error {what[6:]}", self._plain)
        if what == "uncached":
            return refused_text(
                "holds a formula whose value was never worked out",
                "values: open the workbook in a spreadsheet program and save it",
            )
        if not isinstance(cell, int | float) or isinstance(cell, bool):
            return self.of([cell])[0]
        percent = number_text(float(f"{cell * 100:.{SIGNIFICANT}g}"))
        if self._field.dimension == "share":
            return f"{percent} %"
        return refused_text(f"is formatted as a percentage ({percent} %)", self._plain)


def number_text(number: float) -> str:
    """Give a number as it would be typed: whole ones without a point, never with an exponent."""
    if number != number or number in (float("inf"), float("-inf")):  # noqa: PLR0124 - no number is unequal to itself
        return refused_text("holds what is no number", "a number")
    if number == int(number) and abs(number) < 10**SIGNIFICANT:
        return str(int(number))
    text = f"{number:.{SIGNIFICANT}g}"
    return format(Decimal(text), "f") if "e" in text else text
