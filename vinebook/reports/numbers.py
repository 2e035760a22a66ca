"""How a number stands on paper: digits follow the error, a proper minus, the reader's units."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from vinebook.quantities import US_OF_METRIC

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.seasons.model import Band, Figure, Reading

Units = Literal["metric", "us"]

EN_DASH = "–"
MINUS = "−"
MOST_DECIMALS = 4
SIGNIFICANT_WITHOUT_INTERVAL = 3
LARGEST_WRITTEN_OUT = 1e7
ROUNDED_TO_TENS_FROM = 1000
MOST_DECIMALS_OF_UNIT = {
    "%": 1,
    "vines": 0,
    "°Brix": 1,
    "g/L": 1,
    "": 2,
    "ha": 2,
    "acre": 2,
    "m": 2,
    "ft": 1,
    "m/ha": 0,
    "ft/acre": 0,
    "g": 1,
    "berries": 1,
}
"""Most decimals of a number that has no interval, by shown unit; others keep three significant digits."""

_US_ON_PAPER = {"kg/kg": "lb/lb"}
_US_OF_PER = {"m of canopy": "ft of canopy", "m of row": "ft of row", "ha planted": "acre planted"}
_US_WORDS = (("per metre", "per foot"), ("per hectare", "per acre"), ("one hectare", "one acre"))
_CANOPY = re.compile(r"(\d+(?:\.\d+)?) m ×")
_SUPERSCRIPTS = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure's numbers in the units of the page.

    Attributes
    ----------
    value, low, high : in `unit`; None where there is no number.
    unit : the unit's text.
    decimals : digits behind the point that the error allows; negative rounds to tens.
    least_decimals : digits that its reading needs, below which no neighbour brings it.
    """

    value: float | None
    low: float | None
    high: float | None
    unit: str
    decimals: int
    least_decimals: int = 0

    @property
    def text(self) -> str:
        """The value as it is written, an en dash without one."""
        return EN_DASH if self.value is None else write_number(self.value, self.decimals)

    @property
    def with_unit(self) -> str:
        """The value with its unit, joined by a space that does not break."""
        return with_unit(self.text, self.unit)

    @property
    def interval(self) -> str:
        """The interval as it is written, an en dash without one."""
        return (
            write_range(self.low, self.high, self.decimals)
            if self.low is not None or self.high is not None
            else EN_DASH
        )


def unit_shown(unit: str, units: Units) -> tuple[str, float]:
    """Give a metric unit as it is shown, and the factor that turns a metric value into it.

    Parameters
    ----------
    unit : metric unit of a figure.
    units : "metric" or "us".
    """
    if units == "us":
        if unit in US_OF_METRIC:
            return US_OF_METRIC[unit].unit, US_OF_METRIC[unit].factor
        return _US_ON_PAPER.get(unit, unit), 1.0
    return unit, 1.0


def per_shown(per: str, units: Units) -> str:
    """Give what a figure is counted on, in the words of the units.

    Parameters
    ----------
    per : the figure's `per`.
    units : "metric" or "us".
    """
    return _US_OF_PER.get(per, per) if units == "us" else per


def in_words_of(text: str, units: Units) -> str:
    """Give a title or definition of the catalogue in the words of the units: per foot for per metre.

    Parameters
    ----------
    text : words of the catalogue, which are metric.
    units : "metric" or "us".
    """
    if units == "us":
        for metric, us in _US_WORDS:
            text = text.replace(metric, us)
    return text


def with_words_of(figure: Figure, units: Units) -> Figure:
    """Give a figure whose note and basis speak in the units of the page: "canopy of a vine 6.0 ft × 1".

    Parameters
    ----------
    figure : a figure as the seasons floor gives it.
    units : "metric" or "us".
    """
    basis = _CANOPY.sub(lambda m: f"{quantity(float(m[1]), 'm', units)} ×", in_words_of(figure.basis, units))
    note = in_words_of(figure.note, units)
    return figure if (basis, note) == (figure.basis, figure.note) else replace(figure, basis=basis, note=note)


def shown(figure: Figure, units: Units) -> Shown:
    """Give a figure's numbers in the units of the page, with as many digits as its error allows and its reading needs.

    Parameters
    ----------
    figure : a figure in metric units.
    units : "metric" or "us".
    """
    unit, factor = unit_shown(figure.unit, units)
    value, low, high = (_times(x, factor) for x in (figure.value, figure.low, figure.high))
    decimals = 0 if value is None else decimals_of(value, low, high, unit)
    needed = 0
    if value is not None and figure.band is not None and figure.reading in {"below", "within", "above"}:
        ends = [value] if low is None or high is None else [low, value, high]
        least, most, digits_of_limits = _limits_shown(figure.band, factor)
        limits = [None if limit is None else round(limit, digits_of_limits) for limit in (least, most)]
        allowed = decimals
        decimals = decimals_that_show(
            allowed, lambda digits: {_side(round(end, digits), *limits) for end in ends} == {figure.reading}
        )
        needed = decimals if decimals > allowed else 0
    return Shown(value, low, high, unit, decimals, needed)


def decimals_that_show(least: int, is_shown: Callable[[int], bool]) -> int:
    """Give the fewest decimals that show what is said of a number: 3.96 for a 4.0 below 4.

    Parameters
    ----------
    least : decimals that its error allows; given where no more of them show it either.
    is_shown : whether so many decimals do.
    """
    return next((decimals for decimals in range(least, MOST_DECIMALS + 1) if is_shown(decimals)), least)


def _side(number: float, least: float | None, most: float | None) -> Reading:
    """Tell where a number as printed stands to limits as printed."""
    if least is not None and number < least:
        return "below"
    return "above" if most is not None and number > most else "within"


def settle(numbers: list[Shown | None]) -> list[Shown | None]:
    """Give the numbers of one column or chart with digits that suit each other.

    A number with an interval keeps the digits of its error. One without takes those that most of its
    neighbours with an interval have, so that a value of unknown error never looks the more exact. Where
    none has an interval all take the digits of the largest value, more where the least would keep fewer than two.

    Parameters
    ----------
    numbers : the numbers of one figure, None where there is no figure.
    """
    known = [number for number in numbers if number is not None and number.value]
    with_error = [number.decimals for number in known if number.low is not None and number.high is not None]
    if with_error:
        shared = max(with_error, key=lambda decimals: (with_error.count(decimals), -decimals))
    elif known:
        by_size = sorted(known, key=lambda number: abs(number.value or 0))
        two_digits = 1 - math.floor(math.log10(abs(by_size[0].value or 1.0)))
        shared = max(by_size[-1].decimals, min(two_digits, by_size[0].decimals))
    else:
        return numbers
    return [_settled(number, shared) for number in numbers]


def _settled(number: Shown | None, shared: int) -> Shown | None:
    if number is None or number.value is None or (number.low is not None and number.high is not None):
        return number
    if number.value == 0:
        return replace(number, decimals=max(shared, 0))
    least = -math.floor(math.log10(abs(number.value)))
    return replace(number, decimals=min(max(shared, least, number.least_decimals), MOST_DECIMALS))


def unit_per(unit: str, per: str) -> str:
    """Write a unit with what one is counted on: "nodes per bearing vine", "t per ha planted", "% of shoots".

    Parameters
    ----------
    unit : the shown unit.
    per : what one is counted on, as shown.
    """
    top, slash, foot = unit.partition("/")
    if not per:
        return unit
    if unit == "%":
        return f"% of {'leaves' if per == 'leaf' else per + 's'}"
    if slash and per.partition(" ")[0] == foot:
        return f"{top} per {per}"
    return f"{unit} per {per}" if not slash else unit


def quantity(value: float, unit: str, units: Units) -> str:
    """Write a quantity that is no figure (a spacing, an area) with its unit.

    Parameters
    ----------
    value : in the metric unit.
    unit : metric unit.
    units : "metric" or "us".
    """
    name, factor = unit_shown(unit, units)
    return with_unit(write_number(value * factor, decimals_of(value * factor, None, None, name)), name)


def decimals_of(value: float, low: float | None, high: float | None, unit: str = "") -> int:
    """Give the digits behind the point that a value deserves.

    The last digit kept is the first of the half interval, or its second where the first is 1; a value
    of 8.437 ± 1.1 keeps one. Without an interval a value keeps three significant digits, fewer where
    its unit says so. Negative counts round to tens, and only from 1000 on.
    No value is rounded to nothing, but a difference in % whose interval lies on both sides of zero.

    Parameters
    ----------
    value, low, high : in the same unit; limits may be None.
    unit : shown unit.
    """
    if value == 0 or not math.isfinite(value):
        return 0 if unit in {"vines", ""} else min(1, MOST_DECIMALS_OF_UNIT.get(unit, 1))
    magnitude = math.floor(math.log10(abs(value)))
    half = None if low is None or high is None else (high - low) / 2
    if half is None or not math.isfinite(half) or half <= abs(value) * 1e-6:
        most = MOST_DECIMALS_OF_UNIT.get(unit, MOST_DECIMALS)
        wanted = min(SIGNIFICANT_WITHOUT_INTERVAL - 1 - magnitude, most)
        return max(0, min(wanted, MOST_DECIMALS))
    exponent = math.floor(math.log10(half))
    if round(half / 10**exponent, 2) < 2:
        exponent -= 1
    least = 0 if abs(value) < ROUNDED_TO_TENS_FROM else 1 - magnitude
    is_about_zero = unit == "%" and low is not None and high is not None and low < 0 < high
    return min(max(-exponent, least, 0 if is_about_zero else -magnitude), MOST_DECIMALS)


def write_number(value: float, decimals: int) -> str:
    """Write a number with a proper minus and no separator of thousands.

    Parameters
    ----------
    value : the number.
    decimals : digits behind the point; negative rounds to tens.
    """
    if not math.isfinite(value):
        return EN_DASH
    if abs(value) >= LARGEST_WRITTEN_OUT:
        mantissa, _, exponent = f"{abs(value):.1e}".partition("e")
        text = f"{mantissa}·10{str(int(exponent)).translate(_SUPERSCRIPTS)}"
    else:
        rounded = round(abs(value), decimals)
        if rounded == 0 and value != 0 and decimals >= MOST_DECIMALS:
            least = f"{10**-MOST_DECIMALS:.{MOST_DECIMALS}f}"
            return f"<{least}" if value > 0 else f">{MINUS}{least}"
        text = f"{rounded:.{max(decimals, 0)}f}"
    is_negative = value < 0 and any(digit in text for digit in "123456789")
    return MINUS + text if is_negative else text


def write_range(low: float | None, high: float | None, decimals: int) -> str:
    """Write a range: "7.3–9.5", "−12 to 5", "from 4", "up to 10".

    Parameters
    ----------
    low, high : limits; None where that side is open.
    decimals : digits behind the point.
    """
    if low is None and high is None:
        return EN_DASH
    if low is None and high is not None:
        return f"up to {write_number(high, decimals)}"
    if high is None and low is not None:
        return f"from {write_number(low, decimals)}"
    first, last = write_number(low or 0.0, decimals), write_number(high or 0.0, decimals)
    return f"{first} to {last}" if MINUS in first + last else f"{first}{EN_DASH}{last}"


def write_band(band: Band, unit: str, units: Units) -> str:
    """Write a band's limits in the units of the page, without the unit.

    Parameters
    ----------
    band : the band, in metric units.
    unit : metric unit of its figure.
    units : "metric" or "us".
    """
    return write_range(*_limits_shown(band, unit_shown(unit, units)[1]))


@dataclass(frozen=True, slots=True)
class FigureWriter:
    """Writes figures and bands in running words, in the units of the page."""

    units: Units

    def number(self, figure: Figure) -> str:
        """Give a figure's value with its unit: "0.24 kg/m"."""
        number = shown(figure, self.units)
        return f"{number.text} {number.unit}".strip()

    def limits(self, band: Band, unit: str) -> str:
        """Give a band's limits without the unit: "0.5–1.0"."""
        return write_band(band, unit, self.units)


def with_unit(text: str, unit: str) -> str:
    """Join a number and its unit by a space that does not break; the percent sign stands close.

    Parameters
    ----------
    text : the number as it is written.
    unit : the unit's text, or "".
    """
    return f"{text}\u00a0{unit}" if unit else text


def _limits_shown(band: Band, factor: float) -> tuple[float | None, float | None, int]:
    """Give a band's limits in the unit of the page, and the digits they are written with."""
    low, high = _times(band.low, factor), _times(band.high, factor)
    return low, high, max((_needed(abs(limit)) for limit in (low, high) if limit), default=0)


def _needed(limit: float) -> int:
    """Digits that show a limit as it was set, at most three significant ones."""
    most = max(0, SIGNIFICANT_WITHOUT_INTERVAL - 1 - math.floor(math.log10(limit)))
    text = f"{limit:.{min(most, MOST_DECIMALS)}f}"
    return len(text.rstrip("0").partition(".")[2])


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None or not math.isfinite(value) else value * factor
