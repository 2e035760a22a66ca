"""What the journal says happened to records after they came in, folded entry by entry."""

from __future__ import annotations

import json
from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from vinebook.intake.striking import children_of
from vinebook.kinds import KINDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vinebook.records.journal import Entry

PARENTS = ("sample", "load", "draw", "decision")
"""Columns by which rows are struck together with what they belong to."""


@dataclass(slots=True)
class Changes:
    """Amendments and strikes in force at the end of the journal.

    Attributes
    ----------
    after : by permanent number: values by column, as a reading holds them.
    before : by permanent number: the first entry to amend a column, and what it says stood there before.
    amended_at, struck_at : by permanent number: UTC time, and for a strike the entry too.
    struck_under : by (table, column, permanent number of the parent): the same, for rows struck with it.
    replaced : by number of a tally: the same, for its rows that were live.
    unmet : by permanent number: the first entry that is about it, until a reading brings it.
    """

    after: dict[int, dict[str, str]] = field(default_factory=lambda: defaultdict(dict))
    before: dict[int, dict[str, tuple[int, str]]] = field(default_factory=lambda: defaultdict(dict))
    amended_at: dict[int, str] = field(default_factory=dict)
    struck_at: dict[int, tuple[int, str]] = field(default_factory=dict)
    struck_under: dict[tuple[str, str, int], tuple[int, str]] = field(default_factory=dict)
    replaced: dict[int, tuple[int, str]] = field(default_factory=dict)
    unmet: dict[int, int] = field(default_factory=dict)
    _named: list[int] | None = None

    def fold(self, entry: Entry) -> None:
        """Take in one entry.

        Raises
        ------
        ValueError, KeyError, TypeError, AttributeError : its words cannot be read, or do not follow from those before.
        """
        body: dict[str, Any] = json.loads(entry.body)
        struck = entry.number, entry.at
        _check_subject(entry, body)
        self._await(entry.number, _records_of(body))
        if entry.action == "amend":
            self._fold_amendment(entry, int(body["record"]), body["before"], body["after"])
        elif entry.action == "strike":
            self.struck_at.setdefault(int(body["record"]), struck)
            for table in body["rows"]:
                for name, column in children_of(KINDS[body["kind"]]):
                    if name == table:
                        self.struck_under.setdefault((name, column, int(body["record"])), struck)
        elif entry.action == "supersede":
            self.struck_at.setdefault(int(body["record"]), struck)
            for record in body["carried"].get("load_part", ()):
                self.before[int(record)].setdefault("load", (entry.number, str(body["record"])))
                self.after[int(record)]["load"] = str(body["new_record"])
                self.amended_at[int(record)] = entry.at
        elif entry.action == "replace":
            self.replaced.setdefault(int(body["tally"]), struck)
            for record in body["samples"]:
                self.struck_at.setdefault(int(record), struck)

    def _await(self, entry: int, records: list[int]) -> None:
        for record in records:
            self.unmet.setdefault(record, entry)

    def _fold_amendment(self, entry: Entry, record: int, before: Mapping[str, str], after: Mapping[str, str]) -> None:
        for column, value in before.items():
            if self.after[record].get(column, value) != value:
                msg = "what was before is not what came of the entry that amended it last"
                raise ValueError(msg)
            self.before[record].setdefault(column, (entry.number, value))
        self.after[record] |= {str(column): str(value) for column, value in after.items()}
        self.amended_at[record] = entry.at

    def touches(self, tally: int, first: int, last: int) -> bool:
        """Say whether an entry is about a tally's rows, or names one: what was read may not be what must stand.

        Rows that were struck with what they belong to are not named: see `parents_struck`.

        Parameters
        ----------
        tally : number of the tally that brought them.
        first, last : permanent numbers, both within; asked for when all entries are folded.
        """
        if tally in self.replaced:
            return True
        if self._named is None:
            self._named = sorted({*self.unmet, *self.before, *self.after, *self.amended_at, *self.struck_at})
        at = bisect_left(self._named, first)
        return at < len(self._named) and self._named[at] <= last

    def parents_struck(self, table: str) -> dict[str, set[int]]:
        """Give what was struck with its rows in a table: permanent numbers by the column that names it."""
        struck: dict[str, set[int]] = defaultdict(set)
        for under, column, record in self.struck_under:
            if under == table:
                struck[column].add(record)
        return struck

    def applied(self, table: str, record: int, row: Mapping[str, str], tally: int) -> tuple[dict[str, str], str, str]:
        """Give a row as it must stand: values by column, time of its latest amendment, time of its strike.

        Parameters
        ----------
        table : name of its table.
        record : its permanent number.
        row : its values by column, as the reading holds them.
        tally : number of the tally that brought it.
        """
        now = {**row, **self.after[record]} if record in self.after else dict(row)
        strikes = [self.struck_at[record]] if record in self.struck_at else []
        if table != "sample" and tally in self.replaced:
            strikes.append(self.replaced[tally])
        if self.struck_under:
            strikes += [
                self.struck_under[table, column, int(now[column])]
                for column in PARENTS
                # What a sample calls its draw is a name, no record.
                if table != "sample" and now.get(column) and (table, column, int(now[column])) in self.struck_under
            ]
        return now, self.amended_at.get(record, ""), min(strikes)[1] if strikes else ""


def _check_subject(entry: Entry, body: Mapping[str, Any]) -> None:
    """Check that the subject of an entry names what its body is about, as a record's life is found by it."""
    about = f"tally {body['tally']}" if entry.action == "replace" else f"#{body['record']} {body['kind']}"
    if not f"{entry.subject} ".startswith(f"{about} "):
        msg = "the subject is another than that of the body"
        raise ValueError(msg)


def _records_of(body: Mapping[str, Any]) -> list[int]:
    """Give the permanent numbers that the body of a correction names."""
    named = [body[name] for name in ("record", "new_record") if name in body]
    return [int(number) for number in (*named, *body.get("carried", {}).get("load_part", ()), *body.get("samples", ()))]
