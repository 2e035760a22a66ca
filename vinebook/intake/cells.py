"""From the text of a cell to the stored value, once for each different text.

A reader of cells is a dict that fills itself: asked for a text it has not seen, it reads it. A text that
cannot be read gives a `Fault`, which is a value like another until the batch is looked over.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from vinebook.quantities import DIMENSION_OF_UNIT, STORED_PER_BASE, UNITS_OF_DIMENSION, unit_named

if TYPE_CHECKING:
    from vinebook.kinds.field import Field

REMEMBERED = 50_000
"""Different texts a reader remembers before it starts anew, so that memory stays flat."""
LONGEST = {"code": 60, "text": 2000, "counts": 400}
LONGEST_OF_OTHERS = 100
"""Characters of a cell, by type of field; it bounds what a hostile cell can cost, too."""
QUOTED = 60
"""Characters of a cell that a message quotes."""
YEARS = (1800, 2199)
"""Years of a date, so that the season it gives is one that can be kept."""
MAY_LIE_AHEAD = ("valid_from", "valid_to", "review_on")
"""Fields whose day may be still to come."""
_WHOLE = re.compile(r"[0-9]+")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[.,' \u00a0\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_WITH_UNIT = re.compile(r"([+-]?[0-9][0-9.,' \u00a0\u202f]*?)\s*([^\d\s.,].*)")
_EXPONENT = re.compile(r"[eE][+-]?[0-9]+")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
NO_UTF8 = frozenset(chr(0xDC00 + byte) for byte in range(0x80, 0x100))
"""How a byte that is no UTF-8 stands in a text that was read with its bytes escaped."""
_REFUSED = "\ud800"
"""Begins a text that carries a fault; no file of text and no workbook can hold it."""
SAVE_AS_UTF8 = "UTF-8 text: save it as CSV UTF-8"
JOINERS = "\u200c\u200d"
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
MASS_UNIT_OF_TICKET = ("kg", "t", "lb", "ton")
MOST_STORED = 2**53
FARTHEST_POSITION = 100


@dataclass(frozen=True, slots=True)
class Fault:
    """A text that could not be read.

    Attributes
    ----------
    what, expected : as in a finding; an empty `what` means that the fault is told elsewhere.
    """

    what: str
    expected: str = ""


def quoted(text: str) -> str:
    """Give a text as a message shows it: in quotes, what does not print escaped, cut where it is long."""
    text = "".join("\ufffd" if sign in NO_UTF8 else sign for sign in text[: QUOTED + 1])
    return repr(text) if len(text) <= QUOTED else f"{text[:QUOTED]!r}…"


def refused_text(what: str, expected: str = "") -> str:
    """Give the text of a cell that was refused before it became text; reading it gives the fault."""
    return f"{_REFUSED}{what}{_REFUSED}{expected}"


def with_article(word: str) -> str:
    """Give a word with `a` or `an` before it."""
    return f"{'an' if word[:1] in 'aeiou' else 'a'} {word}"


def without_odd_blanks(text: str) -> str | Fault:
    """Give a text in composed form with plain blanks, or the fault that it holds what does not print.

    Joiners print within scripts and emoji, and a blank that does not break is a blank.
    """
    text = "".join(" " if unicodedata.category(sign) == "Zs" else sign for sign in text)
    odd = next((sign for sign in text if not sign.isprintable() and sign not in JOINERS), None)
    if odd is None:
        return text
    if odd in NO_UTF8:
        return Fault(f"{quoted(text)} is not UTF-8 text (byte {ord(odd) - 0xDC00:#04x})", SAVE_AS_UTF8)
    if odd in "\r\n":
        return Fault(f"{quoted(text)} holds a line break", "one line")
    return Fault(f"{quoted(text)} holds U+{ord(odd):04X}, which does not print", "words in one line")


class DecimalSigns:
    """Which decimal signs the numbers of one file have, and where each was seen first."""

    def __init__(self, delimiter: str) -> None:
        self._point = (
            "a point as decimal sign in a file parted by commas"
            if delimiter
            else "a cell that holds a number, not text"
        )
        self.comma_may_be_decimal = delimiter == ";"
        self.seen: dict[str, str] = {}

    def read(self, text: str) -> Decimal | Fault:
        """Give a number, or what is wrong with its text."""
        if not _NUMBER.fullmatch(text):
            if _GROUPED.fullmatch(text):
                return Fault(f"{quoted(text)} has a thousands separator", "digits without separators")
            if "," in text and "." in text:
                return Fault(
                    f"{quoted(text)} has both a comma and a point", "one decimal sign and no thousands separator"
                )
            if text.startswith(_FORMULA) and not re.match(r"[+-]?\d", text):
                return Fault(f"{quoted(text)} looks like a formula", "a number")
            return Fault(f"{quoted(text)} is not a number", "a number such as 2.4")
        if "," in text:
            if not self.comma_may_be_decimal:
                return Fault(f"{quoted(text)} has a comma", self._point)
            self.seen.setdefault(",", text)
            return Decimal(text.replace(",", "."))
        if "." in text:
            self.seen.setdefault(".", text)
        return Decimal(text)

    @property
    def are_mixed(self) -> bool:
        """Whether both signs stand in the file."""
        return len(self.seen) > 1


class CellReader(dict[str, Any]):
    """Reads the cells of one column; see the module.

    Attributes
    ----------
    has_faults : True once a text could not be read.
    unusual : texts that read well and lie outside the usual bounds, with those bounds in words.
    """

    def __init__(self, field: Field, signs: DecimalSigns, unit: str = "") -> None:
        super().__init__()
        self.field = field
        self.unit = unit
        self.has_faults = False
        self.unusual: dict[str, str] = {}
        self._signs = signs
        self._read = getattr(self, f"_read_{field.type}")

    def forget_when_full(self) -> None:
        """Start anew once many texts were read; called between pages, whose warnings are told by then."""
        if len(self) > REMEMBERED:
            self.clear()
            self.unusual.clear()

    def __missing__(self, text: str) -> Any:  # noqa: ANN401 - stored values are of several types
        value = Fault(*text.split(_REFUSED)[1:]) if text[:1] == _REFUSED else self._value(text)
        if isinstance(value, Fault):
            self.has_faults = True
        self[text] = value
        return value

    def _value(self, text: str) -> Any:  # noqa: ANN401
        field = self.field
        cell = text.strip()
        if not cell:
            if field.default is not None:
                return (int(field.default) * 1000, "") if field.type == "ticket" else self._read(field.default)
            if field.required:
                return Fault("is empty", _wanted(field, self.unit))
            return None
        longest = field.longest or LONGEST.get(field.type, LONGEST_OF_OTHERS)
        if len(cell) > longest:
            return Fault(f"is {len(cell):,} characters long", f"at most {longest:,}")
        if not cell.isascii():
            cell = unicodedata.normalize("NFC", cell)
        if not cell.isprintable():
            printable = without_odd_blanks(cell)
            if isinstance(printable, Fault):
                return printable
            cell = printable
        value = self._read(cell)
        if isinstance(value, Fault):
            return value
        if field.type == "date" and value > _tomorrow() and field.name not in MAY_LIE_AHEAD:
            self.unusual[text] = "a day that has come"
        return self._within(cell, text, value)

    def _within(self, cell: str, text: str, value: Any) -> Any:  # noqa: ANN401
        field = self.field
        number = value[0] if isinstance(value, tuple) else value
        if not isinstance(number, int | float):
            return value
        if field.low is not None and number < field.low:
            return Fault(f"{quoted(cell)} is below what is possible", f"{_bound(field, field.low)} or more")
        if field.high is not None and number > field.high:
            return Fault(f"{quoted(cell)} is above what is possible", f"{_bound(field, field.high)} or less")
        if abs(number) > MOST_STORED:
            return Fault(f"{quoted(cell)} is larger than can be kept exactly", "a smaller number")
        if field.usual is not None and not field.usual[0] <= number <= field.usual[1]:
            low, high = (_bound(field, bound) for bound in field.usual)
            self.unusual[text] = f"{low} to {high}"
        return value

    def _read_code(self, cell: str) -> str | Fault:
        if cell.startswith(_FORMULA):
            return Fault(f"{quoted(cell)} looks like a formula", "a name that begins with a letter or digit")
        if cell.startswith(("#", "/")) or cell.endswith("/"):
            return Fault(f"{quoted(cell)} begins with # or / or ends with /", "a name whose key can be typed")
        return cell

    def _read_text(self, cell: str) -> str:
        return cell

    def _read_count(self, cell: str) -> int | Fault:
        if _WHOLE.fullmatch(cell):
            return int(cell) if len(cell) < 19 else Fault(f"{quoted(cell)} is too large", "a whole number")
        number = self._signs.read(cell)
        if isinstance(number, Fault):
            return Fault(number.what, "a whole number, 0 or more")
        if number < 0:
            return Fault(f"{quoted(cell)} is negative", "a whole number, 0 or more")
        is_whole = number == number.to_integral_value()
        return Fault(
            f"{quoted(cell)} is not a whole number", f"{number:.0f}" if is_whole else "a whole number, 0 or more"
        )

    def _read_number(self, cell: str) -> float | Fault:
        number = self._signs.read(cell)
        return number if isinstance(number, Fault) else float(number)

    def _read_season(self, cell: str) -> int | Fault:
        if re.fullmatch(r"[0-9]{4}", cell):
            return int(cell)
        return Fault(f"{quoted(cell)} is not a harvest year", "a year of four digits, such as 2024")

    def _read_date(self, cell: str) -> str | Fault:
        if _DATE.fullmatch(cell):
            try:
                day = dt.date.fromisoformat(cell)
            except ValueError:
                return Fault(f"{quoted(cell)} is no day of the calendar", "a date such as 2024-06-12")
            if not YEARS[0] <= day.year <= YEARS[1]:
                return Fault(f"{quoted(cell)} is out of range", f"a year from {YEARS[0]} to {YEARS[1]}")
            return cell
        return Fault(f"{quoted(cell)} is not a date written year-month-day", "one such as 2024-06-12")

    def _read_choice(self, cell: str) -> str | Fault:
        word = cell.lower().replace(" ", "_").replace("-", "_")
        if word in self.field.choices:
            return word
        if cell.startswith(_FORMULA):
            return Fault(f"{quoted(cell)} looks like a formula", f"one of: {', '.join(self.field.choices)}")
        return Fault(f"{quoted(cell)} is not among the choices", f"one of: {', '.join(self.field.choices)}")

    def _read_position(self, cell: str) -> int | Fault:
        word = cell.lower().replace("_", " ")
        if word == "old wood":
            return -1
        if word == "basal":
            return 0
        if _WHOLE.fullmatch(cell) and int(cell) <= FARTHEST_POSITION:
            return int(cell)
        return Fault(f"{quoted(cell)} is not a node position", "0 for basal, 1, 2, … from the base, or old wood")

    def _read_contacts(self, cell: str) -> str | Fault:
        word = cell.upper().replace(" ", "")
        if word == "G" or (re.fullmatch(r"[LCS]{1,60}", word)):
            return word
        return Fault(f"{quoted(cell)} is not a row of contacts", "letters L, C and S in order, or nothing for a gap")

    def _read_counts(self, cell: str) -> tuple[int, str] | Fault:
        parts = [part.strip() for part in cell.split("+")]
        if all(_WHOLE.fullmatch(part) and len(part) < 5 for part in parts):
            numbers = [int(part) for part in parts]
            return sum(numbers), "+".join(map(str, numbers))
        return Fault(f"{quoted(cell)} is not a list of counts", "whole numbers joined by +, such as 2+1")

    def _read_measure(self, cell: str) -> int | float | Fault:
        field = self.field
        found = self._number_and_unit(cell)
        if isinstance(found, Fault):
            return found
        number, unit = found
        per_unit = UNITS_OF_DIMENSION[field.dimension][unit] * STORED_PER_BASE.get(field.stored, 1)
        # Exact as a Fraction would be, without its cost: a tally of wood or fruit has thousands of different masses.
        upper, lower = number.as_integer_ratio()
        upper, lower = upper * per_unit.numerator, lower * per_unit.denominator
        if abs(upper) > MOST_STORED * lower:
            return Fault(f"{quoted(cell)} is larger than can be kept exactly", "a smaller number")
        if field.low == 0 and upper < 0:
            return Fault(f"{quoted(cell)} is negative", "0 or more")
        if field.stored == "mg":
            return upper // lower if upper % lower == 0 else round(Fraction(upper, lower))
        return upper / lower

    def _read_ticket(self, cell: str) -> tuple[int, str] | Fault:
        found = self._number_and_unit(cell)
        if isinstance(found, Fault):
            return found
        number, unit = found
        if unit not in MASS_UNIT_OF_TICKET:
            return Fault(f"{unit!r} is not a unit of weigh tickets", f"one of: {', '.join(MASS_UNIT_OF_TICKET)}")
        milli = (
            (number * 1000).quantize(Decimal(1), rounding=ROUND_HALF_EVEN)
            if abs(number) < MOST_STORED
            else number * 1000
        )
        if milli != number * 1000:
            return Fault(f"{quoted(cell)} has more than three decimals", "a ticket as printed, three decimals at most")
        return int(milli), unit

    def _number_and_unit(self, cell: str) -> tuple[Decimal, str] | Fault:
        dimension = self.field.dimension
        unit = self.unit
        parted = None if _GROUPED.fullmatch(cell) else _WITH_UNIT.fullmatch(cell)
        if parted and cell[0] in "+-0123456789":
            cell, words = parted[1].strip(), parted[2]
            own = unit_named(words)
            if own is None and _EXPONENT.fullmatch(words):
                return Fault(f"{quoted(cell + words)} is written with an exponent", "all its digits, such as 1000")
            if own is None:
                return Fault(
                    f"{quoted(words)} is not a unit that vinebook knows",
                    f"one of: {', '.join(UNITS_OF_DIMENSION[dimension])}",
                )
            if DIMENSION_OF_UNIT[own] != dimension:
                return Fault(
                    f"{quoted(words)} is a unit of {DIMENSION_OF_UNIT[own]}",
                    f"a unit of {dimension}: {', '.join(UNITS_OF_DIMENSION[dimension])}",
                )
            unit = own
        number = self._signs.read(cell)
        if isinstance(number, Fault):
            return number
        if not unit:
            return Fault(
                f"{quoted(cell)} has no unit",
                "a unit in the heading or the cell, as the book's vineyards differ in units",
            )
        return number, unit


def told_unusual(field: Field, text: str) -> str:
    """Give what a warning says of a text outside the usual."""
    return f"{quoted(text.strip())} {'lies in the future' if field.type == 'date' else 'is unusual'}"


def _tomorrow() -> str:
    """Give tomorrow's date in UTC: where the day begins first it is today."""
    return (dt.datetime.now(dt.UTC).date() + dt.timedelta(days=1)).isoformat()


def _bound(field: Field, bound: float) -> str:
    if field.stored == "mg":
        return f"{bound / 1_000_000:g} kg"
    return f"{bound:g} {field.stored}".strip()


def _wanted(field: Field, unit: str) -> str:
    match field.type:
        case "choice":
            return f"one of: {', '.join(field.choices)}"
        case "count":
            return "a whole number, 0 or more"
        case "date":
            return "a date such as 2024-06-12"
        case "season":
            return "a harvest year such as 2024"
        case "measure" | "ticket":
            return f"a number{f' in {unit}' if unit else ''}"
        case "ref":
            return f"the key of {with_article(field.refers.replace('_', ' '))}"
        case _:
            return "a value"
