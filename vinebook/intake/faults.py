"""The findings of one call, gathered to the end of every file and capped, so that memory stays flat."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from vinebook.errors import Finding, FindingsError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

KEPT_PER_FILE = 200
"""Findings kept per file and level; more are counted."""


class Faults:
    """Faults and warnings of one call.

    Attributes
    ----------
    faults, warnings : the findings that were kept.
    unread : names of the kinds of which not all rows could be read.
    """

    def __init__(self) -> None:
        self.faults: list[Finding] = []
        self.warnings: list[Finding] = []
        self.unread: set[str] = set()
        self._letters: dict[str, dict[str, str]] = {}
        self._faults_of: Counter[str] = Counter()
        self._warnings_of: Counter[str] = Counter()

    def name_cells(self, file: str, letters: Mapping[str, str]) -> None:
        """Let findings of a sheet name cells.

        Parameters
        ----------
        file : name of the sheet's tally.
        letters : of its columns, by heading or field.
        """
        self._letters.setdefault(file, {}).update(letters)

    def _cell(self, file: str, line: int, column: str) -> str:
        if file not in self._letters or not line:
            return ""
        return f"{self._letters[file].get(column, '')}{line}"

    def add(self, file: str, line: int, column: str, what: str, expected: str = "") -> None:
        """Add a fault: the file is refused."""
        self._faults_of[file] += 1
        if self._faults_of[file] <= KEPT_PER_FILE:
            self.faults.append(Finding(file, line, column, what, expected, cell=self._cell(file, line, column)))

    def warn(self, file: str, line: int, column: str, what: str, expected: str = "") -> None:
        """Add a warning: the row loads all the same."""
        self._warnings_of[file] += 1
        if self._warnings_of[file] <= KEPT_PER_FILE:
            cell = self._cell(file, line, column)
            self.warnings.append(Finding(file, line, column, what, expected, warning=True, cell=cell))

    def has(self, file: str) -> bool:
        """Say whether a file has a fault."""
        return bool(self._faults_of[file])

    def __bool__(self) -> bool:
        return bool(self._faults_of)

    @property
    def warnings_beyond(self) -> int:
        """How many warnings there were beyond those kept."""
        return sum(self._warnings_of.values()) - len(self.warnings)

    def refuse(self, files: Sequence[str] = ()) -> None:
        """Raise what was found, if anything was.

        Parameters
        ----------
        files : names of all files of the call.

        Raises
        ------
        FindingsError : there is at least one fault.
        """
        if self._faults_of:
            faultless = [name for name in files if not self.has(name)]
            raise FindingsError(self.faults, sum(self._faults_of.values()) - len(self.faults), faultless)
