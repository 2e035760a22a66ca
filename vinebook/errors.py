"""Every error a person can meet: a message that names the thing, a hint that says what to do.

Faults in a file are values (`Finding`), gathered to the end of the file. What stops a command is one
exception tree. The command line is the one place that turns either into words and an exit status.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

EXIT_REFUSED = 1
EXIT_WORDS = 2
TOLD_SINGLY = 3
"""Findings of one sort in one column that are told one by one; more are told as one."""
_VARYING = re.compile(r"'[^']*'|\"[^\"]*\"|[0-9][0-9.,]*")


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """One fault or warning at one place of a file.

    Attributes
    ----------
    file : name of the file as the person gave it.
    line : line in the file, 1 is the heading; 0 means the file as a whole.
    column : heading of the column, or "" for the row as a whole.
    what : what is wrong, with the offending text.
    expected : what was expected instead.
    warning : True where the row loads all the same.
    cell : letters and row of a cell of a workbook, or its row alone; "" in other files.
    """

    file: str
    line: int
    column: str
    what: str
    expected: str = ""
    warning: bool = False
    cell: str = ""

    def __str__(self) -> str:
        place = self.file
        if self.cell:
            place += f"!{self.cell}"
        elif self.line:
            place += f":{self.line}"
        if self.column and self.cell[:1].isdecimal() == bool(self.cell):
            place += f":{self.column}"
        tail = f"; expected {self.expected}" if self.expected else ""
        return f"{place}: {self.what}{tail}"


def grouped(findings: Sequence[Finding]) -> list[str]:
    """Give findings in words, those of one sort in one column as one line with their number and their lines.

    Parameters
    ----------
    findings : sorted by file and line; each group is told where its first one stands.
    """
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for finding in findings:
        sort = (finding.file, finding.column, _VARYING.sub("", finding.what), finding.expected)
        # What concerns a file or its headings is never one of many.
        groups.setdefault(sort if finding.line > 1 else (*sort, finding.what), []).append(finding)
    told: list[tuple[Finding, str]] = []
    for alike in groups.values():
        first, last = alike[0], alike[-1]
        if len(alike) <= TOLD_SINGLY:
            told.extend((finding, str(finding)) for finding in alike)
            continue
        cells = f"{len(alike)} cells of column {first.column}" if first.column else f"{len(alike)} rows"
        tail = f"; expected {first.expected}" if first.expected else ""
        told.append(
            (first, f"{first.file}: {cells} ({_lines(first)} {first.line} to {last.line}), first {first.what}{tail}")
        )
    return [words for _, words in sorted(told)]


def _lines(finding: Finding) -> str:
    return "rows" if finding.cell else "lines"


class VinebookError(Exception):
    """What stops a command.

    Attributes
    ----------
    message : one sentence that names the thing.
    hint : what to do about it, or "".
    exit_status : 1 where the book or a file refuses, 2 where the words are off.
    """

    exit_status = EXIT_REFUSED

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class WordsError(VinebookError):
    """The words of a command are off: an unknown kind, block, season or option value."""

    exit_status = EXIT_WORDS


class BookMissingError(VinebookError):
    """There is no book where one was looked for."""


class BookExistsError(VinebookError):
    """A book or other file stands where a new one was to be made."""


class BookVersionError(VinebookError):
    """The book's schema is older or newer than this program's."""


class BookLockedError(VinebookError):
    """Another writer holds the book for longer than we wait."""


class BookDamagedError(VinebookError):
    """The file is no book, or its pages do not hold together."""


class BookReadOnlyError(VinebookError):
    """The book or its folder cannot be written."""


class DatabaseError(VinebookError):
    """The database refused for a reason of its own."""


class CrossedError(DatabaseError):
    """A step and somebody else's got in each other's way; nothing of it was stored, and it can be done again."""


class ConnectionLostError(DatabaseError):
    """The connection was lost in the middle of a step, of which nothing was stored."""


class OutcomeUnknownError(DatabaseError):
    """The connection was lost as a step was being stored, and nobody answers who could say whether it was."""


class FileRefusedError(VinebookError):
    """A file cannot be opened, or is larger than was allowed."""


class OutputError(VinebookError):
    """An output file or folder cannot be written."""


class SystemLibraryError(VinebookError):
    """A library of the system that printing needs is missing."""


class ReportError(VinebookError):
    """A report cannot be made from what the book holds."""


class AdviceError(VinebookError):
    """A question cannot be answered from what the book holds, or no longer stands."""


class FindingsError(VinebookError):
    """Files were read to their end and refused; nothing was stored.

    Attributes
    ----------
    findings : every fault that was kept, sorted by file, line and column.
    beyond : how many more there were than were kept.
    faultless : the files of the call in which no fault was found.
    """

    def __init__(
        self, findings: list[Finding], beyond: int = 0, faultless: Sequence[str] = (), *, hint: str = ""
    ) -> None:
        total = len(findings) + beyond
        super().__init__(
            f"{total} {'fault' if total == 1 else 'faults'} found; nothing was stored", hint or _what_to_do(findings)
        )
        self.findings = sorted(findings)
        self.beyond = beyond
        self.faultless = tuple(faultless)


def _what_to_do(findings: Sequence[Finding]) -> str:
    """Give the hint that fits findings: lines of files, headings, whole files, or fields that were typed."""
    if not any(finding.line for finding in findings) and all(finding.column for finding in findings):
        return "mend the fields named above and try again"
    if all(finding.cell for finding in findings):
        return "mend the cells named above and load the workbook again"
    if not any(finding.line for finding in findings):
        return "mend what is named above and load the files again"
    if any(finding.line == 1 for finding in findings):
        return "mend the lines named above and load the files again; cells are read once their headings are right"
    return "mend the lines named above and load the files again"


class CorrectionError(VinebookError):
    """A record cannot be amended, struck or superseded as it was asked."""


class DisagreementError(VinebookError):
    """`verify` found that journal, readings, kept files and tables do not agree."""

    def __init__(self, differences: list[str]) -> None:
        count = len(differences)
        super().__init__(
            f"the book does not verify: {count} {'difference' if count == 1 else 'differences'}",
            "keep this book as it is, and compare it with a copy whose seal you trust",
        )
        self.differences = differences


class RolesError(VinebookError):
    """The rights of a book's roles are not what they should be."""

    def __init__(self, differences: Sequence[str]) -> None:
        super().__init__(
            "the rights in this database are not those of the book's roles",
            "`vinebook roles --apply` grants them anew; what else is named above is for the server's administrator",
        )
        self.differences = tuple(differences)
