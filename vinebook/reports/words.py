"""Words of a page that are not numbers: dates, runs of seasons, lists, and what people wrote made printable."""

from __future__ import annotations

import dataclasses
import datetime as dt
import operator
import re
import unicodedata
from typing import TYPE_CHECKING, TypeVar, cast

from vinebook.reports import fonts
from vinebook.reports.numbers import EN_DASH

if TYPE_CHECKING:
    from collections.abc import Iterable

    from _typeshed import DataclassInstance

    Facts = TypeVar("Facts", bound=DataclassInstance)

MONTHS = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905
)

LONGEST_QUOTED = 40
WORD_JOINER = "\u2060"
"""Keeps a line from breaking after a dash."""
_PAGES = re.compile(r"(\b\d{1,3}(?:\(\d+\))?: \d+)-(\d+)\b")
"""Volume and pages of a journal; in what people wrote a year before a colon is none."""
_WORDLESS = frozenset({int, float, bool, type(None), dt.date, dt.datetime})
"""What holds no text of a person's."""


def write_day(date: dt.date) -> str:
    """Write a date: "27 April 2017".

    Parameters
    ----------
    date : the date.
    """
    return f"{date.day}\u00a0{MONTHS[date.month - 1]} {date.year}"


def write_days(first: dt.date, last: dt.date | None) -> str:
    """Write a run of days: "14–23 January 2017".

    Parameters
    ----------
    first : first day.
    last : last day, or None where it is not known.
    """
    if last is None or last == first:
        return write_day(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}{EN_DASH}{write_day(last)}"
    if first.year == last.year:
        return f"{first.day}\u00a0{MONTHS[first.month - 1]} {EN_DASH} {write_day(last)}"
    return f"{write_day(first)} {EN_DASH} {write_day(last)}"


def write_short_day(date: dt.date) -> str:
    """Write a date beside its season: "27 April".

    Parameters
    ----------
    date : the date.
    """
    return f"{date.day}\u00a0{MONTHS[date.month - 1]}"


def write_short_days(first: dt.date, last: dt.date | None) -> str:
    """Write a run of days beside their season: "26–27 June".

    Parameters
    ----------
    first : first day.
    last : last day, or None where it is not known.
    """
    if last is None or last == first:
        return write_short_day(first)
    if first.month == last.month:
        return f"{first.day}{EN_DASH}{write_short_day(last)}"
    return f"{write_short_day(first)} {EN_DASH} {write_short_day(last)}"


def read_moment(as_of: str) -> dt.datetime | None:
    """Read a UTC time of the journal, to the second; None where it is none.

    Parameters
    ----------
    as_of : ISO text; without a zone it is UTC.
    """
    try:
        moment = dt.datetime.fromisoformat(as_of)
    except ValueError:
        return None
    moment = moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
    return moment.astimezone(dt.UTC).replace(microsecond=0)


def cite(source: str) -> str:
    """Give a source as print has it: a range of pages carries an en dash.

    Parameters
    ----------
    source : a work with its pages, "Journal 56: 170-181"; dates in it stay as they are.
    """
    return _PAGES.sub(rf"\1{EN_DASH}{WORD_JOINER}\2", source)


def write_seasons(seasons: Iterable[int]) -> str:
    """Write seasons as runs: "2013–2016, 2018".

    Parameters
    ----------
    seasons : harvest years in any order.
    """
    runs: list[list[int]] = []
    for season in sorted(set(seasons)):
        if runs and season == runs[-1][1] + 1:
            runs[-1][1] = season
        else:
            runs.append([season, season])
    return ", ".join(str(a) if a == b else f"{a}, {b}" if b == a + 1 else f"{a}{EN_DASH}{b}" for a, b in runs)


def join_words(words: list[str]) -> str:
    """Join words as a sentence does: "a, b and c".

    Parameters
    ----------
    words : the words.
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


def begin_sentence(text: str) -> str:
    """Give a text with its first letter in upper case.

    Parameters
    ----------
    text : any text.
    """
    return text[:1].upper() + text[1:]


def inside_sentence(title: str) -> str:
    """Give a title as it stands inside a sentence; pH stays as it is.

    Parameters
    ----------
    title : a title of the catalogue.
    """
    return title if title[:2].isupper() or title == "pH" else title[:1].lower() + title[1:]


def typeable(key: str, record: int) -> str:
    """Give a key as it can be typed from paper: its permanent number where the faces lack a sign of it.

    Parameters
    ----------
    key : code or key of a row, as it is in the book.
    record : its permanent number; 0 where it is not known, then the key is printed as far as it can be.
    """
    kept = fonts.printable(key)
    return f"#{record}" if record and kept != key else kept


def make_printable(facts: Facts) -> tuple[Facts, tuple[str, ...]]:
    """Give facts whose texts the faces can print, and a line for each character that they cannot.

    Parameters
    ----------
    facts : any of the plain records of the seasons floor.
    """
    cleaner = _Cleaner()
    cleaned = cast("Facts", cleaner.clean(facts))
    warnings = tuple(
        f"no glyph for U+{ord(c):04X} {unicodedata.name(c, 'control character')}, "
        f"printed as {fonts.STAND_IN}, in “{_named(text)}”"
        for c, text in cleaner.missing.items()
    )
    return cleaned, warnings


def _named(text: str) -> str:
    """Write the beginning of a text with the code points of what the faces lack: it stands on paper too."""
    lacking = set(fonts.missing_glyphs(text))
    return " ".join("".join(f"[U+{ord(c):04X}]" if c in lacking else c for c in text[:LONGEST_QUOTED]).split())


class _Cleaner:
    """Makes texts printable; a text that stands again, and a thing that is the same, is looked at once."""

    def __init__(self) -> None:
        self.missing: dict[str, str] = {}
        self._texts: dict[str, str] = {}
        self._things: dict[int, object] = {}

    def clean(self, thing: object) -> object:
        if type(thing) in _WORDLESS:
            return thing
        if isinstance(thing, str):
            return self._text(thing)
        if id(thing) not in self._things:
            self._things[id(thing)] = self._parts(thing)
        return self._things[id(thing)]

    def _text(self, text: str) -> str:
        kept = self._texts.get(text)
        if kept is None:
            kept = self._texts[text] = fonts.printable(text)
            if kept != text:
                for character in fonts.missing_glyphs(text):
                    self.missing.setdefault(character, text)
        return kept

    def _parts(self, thing: object) -> object:
        if isinstance(thing, tuple):
            items = tuple([self.clean(item) for item in thing])
            return thing if all(map(operator.is_, items, thing)) else items
        if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
            changed = {}
            for name in thing.__dataclass_fields__:
                old = getattr(thing, name)
                new = self.clean(old)
                if new is not old and new != old:
                    changed[name] = new
            return dataclasses.replace(thing, **changed) if changed else thing
        return thing
