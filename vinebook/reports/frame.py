"""What every report carries whatever it tells: paper, title, footers, and the record on its last page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook import __version__
from vinebook.reports.paper import FORMATS
from vinebook.reports.render import NO_TIME
from vinebook.reports.words import read_moment, write_day

if TYPE_CHECKING:
    import datetime as dt

    from vinebook.reports.paper import Format, Paper

PROGRAM = f"vinebook {__version__}"
SEAL_GROUP = 8
"""A seal is printed in groups of this many digits, as a person reads it out."""


@dataclass(frozen=True, slots=True)
class Record:
    """The state of the book that a report was made from.

    Attributes
    ----------
    moment : its UTC time; NO_TIME where it is not known.
    created : the same in ISO form, the one date of the file; "" where it is not known.
    as_of : the same in words.
    entries : number of the newest entry of the journal.
    seal : that entry's hash in groups.
    """

    moment: dt.datetime
    created: str
    as_of: str
    entries: int
    seal: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Frame:
    """What the outer template of every report asks for.

    Attributes
    ----------
    title : title of the file.
    foot : what the left footer says on every page.
    description : one line on what it is.
    author : who hands it on, "" where nobody is named.
    program : name and version of the program.
    format : size of the paper with its margins.
    record : the state of the book.
    warnings : what a person should know of this page: signs that the faces lack.
    language : of the text.
    called : what contents and bookmarks of a bound book call it; its heading where "".
    """

    title: str
    foot: str
    description: str
    author: str
    program: str
    format: Format
    record: Record
    warnings: tuple[str, ...] = ()
    language: str = "en"
    called: str = ""


def record_of(seal: str, entries: int, as_of: str) -> Record:
    """Give the state of the book as it is printed.

    Parameters
    ----------
    seal : newest hash of the journal.
    entries : its number.
    as_of : its UTC time in ISO form.
    """
    moment = read_moment(as_of)
    return Record(
        moment or NO_TIME,
        _iso(moment) if moment else "",
        f"{write_day(moment.date())}, {moment:%H:%M} UTC" if moment else as_of,
        entries,
        tuple(seal[i : i + SEAL_GROUP] for i in range(0, len(seal), SEAL_GROUP)),
    )


def record_at(moment: dt.datetime) -> Record:
    """Give the state of a book of which only the time is told: its parts carry their seals.

    Parameters
    ----------
    moment : UTC time of the newest entry.
    """
    return Record(moment, "" if moment == NO_TIME else _iso(moment), "", 0, ())


def _iso(moment: dt.datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def make_frame(
    *,
    title: str,
    foot: str,
    description: str,
    author: str,
    paper: Paper,
    record: Record,
    warnings: tuple[str, ...] = (),
    program: str = PROGRAM,
    language: str = "en",
    called: str = "",
) -> Frame:
    """Give the frame of a report; see `Frame` for its parts."""
    return Frame(title, foot, description, author, program, FORMATS[paper], record, warnings, language, called)
