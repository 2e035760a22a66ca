"""The language of a page: messages from a gettext catalogue, numbers and dates as its readers write them.

A catalogue is one text file (`languages/es.po`) and is read as it is: no compiled copy can go stale beside it, and a
person can add a language, or a better word, with a text editor. Reading one takes a few thousandths of a second.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.errors import WordsError
from vinebook.resources import languages_folder

if TYPE_CHECKING:
    import datetime as dt

    from babel import Locale
    from babel.messages.catalog import Catalog
    from babel.support import NullTranslations

    from vinebook.reports.numbers import Units

OWN = "en"
"""The language that messages are written in; it needs no catalogue."""


def mark(message: str) -> str:
    """Mark a message that is translated later, where it is printed; gives it as it is.

    Parameters
    ----------
    message : in English.
    """
    return message


class Speech:
    """What a page says in its language; call it with a message.

    Attributes
    ----------
    tag : the language as HTML and PDF name it: "es", "es-US".
    locale : how numbers and dates are written.
    """

    def __init__(self, locale: Locale, messages: NullTranslations) -> None:
        self.locale = locale
        self.tag = str(locale).replace("_", "-")
        self._messages = messages

    def __call__(self, message: str, **values: object) -> str:
        """Give a message in the language, in English where the catalogue lacks it.

        Parameters
        ----------
        message : in English; `%(name)s` stands for a value.
        values : the values.
        """
        told = self._messages.gettext(message)
        return told % values if values else told

    def plural(self, one: str, many: str, number: int, **values: object) -> str:
        """Give a message that agrees with a number, which stands in it as `%(number)s`.

        Parameters
        ----------
        one, many : in English.
        number : what it agrees with.
        values : further values.
        """
        return self._messages.ngettext(one, many, number) % {"number": self.number(number), **values}

    def number(self, value: float, decimals: int = 1) -> str:
        """Write a number as the language's readers do, without trailing zeros.

        Parameters
        ----------
        value : any number.
        decimals : most decimals.
        """
        from babel.numbers import format_decimal

        return format_decimal(value, "#,##0." + "#" * decimals, locale=self.locale).replace("-", "\u2212")

    def day(self, date: dt.date) -> str:
        """Write a date with its month in words.

        Parameters
        ----------
        date : the date.
        """
        from babel.dates import format_date

        return format_date(date, "long", locale=self.locale)


def shipped_languages() -> tuple[str, ...]:
    """Give the languages that need no file of a person's own."""
    return (OWN, *sorted(path.stem for path in languages_folder().glob("*.po")))


def speech_of(language: str = OWN, units: Units = "metric") -> Speech:
    """Give the speech of a language.

    Parameters
    ----------
    language : a shipped language ("es"), one with its country ("es_MX"), or a catalogue of a person's own ("fr.po").
    units : numbers of a page in US units are written as in the United States where no country is named.

    Raises
    ------
    WordsError : there is no such language, or the catalogue cannot be read.
    """
    from babel import Locale, UnknownLocaleError
    from babel.support import NullTranslations, Translations

    own_file = Path(language) if language.endswith(".po") else None
    name = (own_file.stem if own_file is not None else language).replace("-", "_")
    try:
        locale = Locale.parse(name)
    except (ValueError, UnknownLocaleError) as trouble:
        raise WordsError(f"{language!r} is not a language", _there_are()) from trouble
    shipped = languages_folder() / f"{locale.language}.po"
    if own_file is None and locale.language != OWN and not shipped.is_file():
        raise WordsError(f"there is no catalogue of the language {language!r}", _there_are())
    if units == "us" and locale.territory is None:
        locale = _in_the_states(locale)
    path = own_file or shipped
    if own_file is None and locale.language == OWN:
        return Speech(locale, NullTranslations())
    return Speech(locale, Translations(io.BytesIO(_compiled(path, name))))


def _in_the_states(locale: Locale) -> Locale:
    from babel import Locale as Known
    from babel import UnknownLocaleError

    try:
        return Known.parse(f"{locale.language}_US")
    except UnknownLocaleError:
        return locale


def _compiled(path: Path, locale: str) -> bytes:
    """Give a catalogue as gettext reads it; messages marked fuzzy stay in English."""
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import PoFileError, read_po

    try:
        with path.open("rb") as page:
            catalogue = read_po(page, locale=locale, abort_invalid=True)
    except OSError as error:
        raise WordsError(f"{path} cannot be read: {error.strerror}", _there_are()) from error
    except (PoFileError, ValueError) as error:
        raise WordsError(f"{path} is not a catalogue of messages: {error}", _there_are()) from error
    _require_same_values(path, catalogue)
    made = io.BytesIO()
    write_mo(made, catalogue)
    return made.getvalue()


def _require_same_values(path: Path, catalogue: Catalog) -> None:
    """Refuse a message whose translation asks for other values than the message has."""
    for message in catalogue:
        originals = (message.id,) if isinstance(message.id, str) else tuple(message.id)
        told = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
        wanted = {name for text in originals for name in values_in(text)}
        for text in told:
            if text and message.id and not set(values_in(text)) <= wanted:
                raise WordsError(
                    f"{path}:{message.lineno}: the translation asks for a value that the message does not have: {text}",
                    f"values of this message: {', '.join(sorted(wanted)) or 'none'}",
                )
            if text and wanted:
                try:
                    text % dict.fromkeys(wanted, "")
                except (ValueError, TypeError, KeyError) as error:
                    raise WordsError(
                        f"{path}:{message.lineno}: a % in the translation is not followed by a value: {text}",
                        "write %% for the sign itself where the message has values",
                    ) from error


def values_in(text: str) -> list[str]:
    """Give the names of the values that a message asks for.

    Parameters
    ----------
    text : a message.
    """
    import re

    return re.findall(r"%\((\w+)\)s", text)


def _there_are() -> str:
    known = ", ".join(shipped_languages())
    return f"one of: {known}; or a catalogue of your own made from {languages_folder() / 'es.po'} (guide in-the-row)"
