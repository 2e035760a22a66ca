"""Amending a record: fields that are no part of its key, before and after in the journal, with a reason."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.errors import CorrectionError, WordsError
from vinebook.intake.afterwards import check_afterwards
from vinebook.intake.cells import CellReader, DecimalSigns, Fault
from vinebook.intake.drawn import AGREEING, check_draws
from vinebook.intake.faults import Faults
from vinebook.intake.lookups import Conventions, RecordOf
from vinebook.intake.rules import broken_rules
from vinebook.kinds import KINDS
from vinebook.quantities import months_outside
from vinebook.records import journal
from vinebook.records.keys import find_record, key_of
from vinebook.records.life import last_touched
from vinebook.records.listing import kind_named
from vinebook.records.readings import stored_text
from vinebook.records.step import again_when_crossed
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy import Connection, RowMapping

    from vinebook.kinds.field import Field, Kind
    from vinebook.records.book import Book


@dataclass(frozen=True, slots=True)
class Amended:
    """A record that was amended.

    Attributes
    ----------
    record, key : which one.
    before, after : stored values by column, as text; "" is empty.
    entry : number of the journal's entry.
    """

    record: int
    key: str
    before: dict[str, str]
    after: dict[str, str]
    entry: int


@again_when_crossed
def amend(
    book: Book,
    kind: str,
    key: str,
    changes: Mapping[str, str],
    *,
    reason: str,
    by: str,
    was: Mapping[str, str] | None = None,
) -> Amended:
    """Amend fields of one record.

    Parameters
    ----------
    book : an open book.
    kind, key : which record; the key as `list` prints it, or "#123".
    changes : new texts by field, as in a tally; "" empties a field.
    reason : why; `typo` will do.
    by : who amends.
    was : what the person saw in some of these fields; refused where somebody changed it since.

    Raises
    ------
    WordsError : no such kind, record or field; a key field; a kind that is superseded; no reason.
    CorrectionError : a text cannot be read, breaks a rule, or somebody came first.
    """
    by, reason = journal.actor(by), reason_given(reason)
    of = kind_named(kind)
    _check_words(of, changes)
    with book.writing(by=by, doing="amend") as connection:
        record = find_record(connection, of, key)
        table = TABLES[of.name]
        row = connection.execute(select(table).where(table.c.record == record)).mappings().one()
        words = key_of(connection, of, record)
        if row["struck_at"] is not None:
            raise CorrectionError(
                f"{of.name} {words} was struck at {row['struck_at']}", "amend the live record, or add one"
            )
        reading = _Reading(connection, of, row)
        reading.check_was(was or {}, words, record)
        new = reading.columns_of(changes)
        changed = {column: value for column, value in new.items() if row[column] != value}
        if not changed:
            raise CorrectionError(f"{of.name} {words} says that already", "name a value that differs")
        _check_hemisphere(connection, of, row, changed)
        at = journal.now()
        same = [table.c[column].is_not_distinct_from(row[column]) for column in changed]
        done = connection.execute(
            table.update()
            .where(table.c.record == record, table.c.struck_at.is_(None), *same)
            .values(**changed, amended_at=at)
        )
        if done.rowcount != 1:
            raise CorrectionError(
                f"{of.name} {words} changed while it was amended", "look at it with `vinebook show` and try again"
            )
        faults = Faults()
        beside = _tallies_beside(connection, of, row, f"{of.name} {words}")
        check_afterwards(connection, faults, beside)
        if of.name == "sample" and changed.keys() & {"draw", *AGREEING}:
            check_draws(connection, faults, beside, only=record)
        if faults:
            fault = faults.faults[0]
            raise CorrectionError(f"{of.name} {words} cannot be so: {fault.what}", f"expected {fault.expected}")
        before = {column: stored_text(row[column]) for column in changed}
        after = {column: stored_text(value) for column, value in changed.items()}
        entry = journal.append(
            connection,
            by=by,
            action="amend",
            subject=f"#{record} {of.name} {words}",
            body={"kind": of.name, "record": record, "key": words, "before": before, "after": after, "reason": reason},
            at=at,
        )
    return Amended(record, words, before, after, entry.number)


def reason_given(reason: str) -> str:
    """Give a reason in one line.

    Raises
    ------
    WordsError : there is none.
    """
    words = journal.one_line(reason)
    if not words:
        raise WordsError("a correction needs a reason", "give one with --reason; `typo` will do")
    return words


def _check_words(of: Kind, changes: Mapping[str, str]) -> None:
    refuse_made(of)
    if of.superseded:
        raise WordsError(
            f"{of.a_name} is superseded, not amended",
            f"use `{of.corrected_by} --reason WHY`",
        )
    names = {field.name for field in of.fields}
    for name in changes:
        if name not in names:
            free = [field.name for field in of.fields if field.name not in of.key]
            raise WordsError(f"{of.a_name} has no field {name!r}", f"one of: {', '.join(free)}")
        if name in of.key:
            raise WordsError(
                f"{name} is part of the key of {of.a_name} and is not amended",
                "strike the record and add the right one",
            )
    if not changes:
        raise WordsError("nothing to amend was named", "FIELD=VALUE behind the key")


def refuse_made(of: Kind) -> None:
    """Refuse a kind whose rows only the program makes.

    Raises
    ------
    WordsError : it is one.
    """
    if of.made:
        raise WordsError(
            f"{of.name} is kept as it stood and is neither amended nor struck by itself",
            "a decision that no longer holds is superseded: `vinebook decide --supersedes KEY --reason WHY`",
        )


def _tallies_beside(connection: Connection, of: Kind, row: RowMapping, words: str) -> dict[int, str]:
    """Give the tallies of all rows that must stand together with an amended one."""
    shared = {"load_part": ("load",), "row": ("block", "from_season")}.get(of.name)
    if shared is None:
        return {row["tally"]: words}
    table = TABLES[of.name]
    same = [table.c[column] == row[column] for column in shared]
    return dict.fromkeys(connection.execute(select(table.c.tally).where(*same)).scalars(), words)


def _check_hemisphere(connection: Connection, of: Kind, row: RowMapping, changed: Mapping[str, Any]) -> None:
    vineyard = TABLES["vineyard"]
    if of.name == "block" and "vineyard" in changed:
        both = (row["vineyard"], changed["vineyard"])
        query = select(vineyard.c.hemisphere).where(vineyard.c.record.in_(both)).distinct()
        if len(connection.execute(query).all()) == 1:
            return
    elif of.name != "vineyard" or "hemisphere" not in changed:
        return
    for kind in KINDS.values():
        if kind.part and connection.scalar(select(TABLES[kind.name].c.record).limit(1)) is not None:
            raise CorrectionError(
                "the hemisphere is fixed once seasonal rows exist", "make a new vineyard with its blocks"
            )


class _Reading:
    """Reads the texts of an amendment against the row as it stands."""

    def __init__(self, connection: Connection, of: Kind, row: RowMapping) -> None:
        self._connection = connection
        self._of = of
        self._row = row
        self._signs = DecimalSigns(",")
        conventions = Conventions(connection)
        where = "block" if "block" in row else "vineyard"
        owner = row.get(where)
        if of.sampled:
            sample = TABLES["sample"]
            where, owner = "block", connection.scalar(select(sample.c.block).where(sample.c.record == row["sample"]))
        self._convention = conventions.of(where, owner)

    def value(self, name: str, text: str) -> Any:  # noqa: ANN401 - values are of several types
        """Give the value of a text as a page of a tally would hold it."""
        field = self._of.field(name)
        if field.type == "ref":
            parent = KINDS[field.refers]
            readers = [CellReader(parent.field(part), self._signs) for part in parent.key]
            found = RecordOf(self._connection, parent, readers, required=field.required)[text]
        else:
            found = CellReader(field, self._signs, self._unit(field))[text]
        if isinstance(found, Fault):
            raise CorrectionError(f"{name}: {found.what}", f"expected {found.expected}")
        return found

    def _unit(self, field: Field) -> str:
        if field.type == "ticket":
            return str(self._row["mass_unit"])
        return field.us if self._convention.units == "us" else field.metric

    def _held(self, field: Field) -> Any:  # noqa: ANN401
        value = self._row[field.column]
        if value is None:
            return None
        if field.type == "ticket":
            return value, self._row["mass_unit"]
        if field.type == "counts":
            return value, self._row[f"{field.name}_each"]
        return value.isoformat() if field.type == "date" else value

    def check_was(self, was: Mapping[str, str], words: str, record: int) -> None:
        """Check that fields still hold what a person saw in them."""
        for name, text in was.items():
            if name not in {field.name for field in self._of.fields}:
                raise WordsError(f"{self._of.a_name} has no field {name!r}", "--was takes FIELD=VALUE")
            held = self._held(self._of.field(name))
            if held != self.value(name, text):
                shown = held[0] if isinstance(held, tuple) else held
                touched = last_touched(self._connection, record)
                who = f"; {touched.by} came first, at {touched.at} (entry {touched.number})" if touched else ""
                raise CorrectionError(
                    f"{self._of.name} {words}: {name} is {shown}, not {text}{who}",
                    "look at it with `vinebook show` and decide again",
                )

    def columns_of(self, changes: Mapping[str, str]) -> dict[str, Any]:
        """Give the stored values of changes, checked against the rules of the row."""
        values = {field.name: self._held(field) for field in self._of.fields}
        new = {name: self.value(name, text) for name, text in changes.items()}
        values |= new
        for _, column, what, expected in broken_rules(
            self._of.rules, {name: [value] for name, value in values.items()}, 1
        ):
            raise CorrectionError(f"{column}: {what}", f"expected {expected}")
        self._check_date(values)
        stored: dict[str, Any] = {}
        for name, value in new.items():
            field = self._of.field(name)
            if field.type == "counts":
                stored[field.column], stored[f"{name}_each"] = value or (None, None)
            elif field.type == "ticket":
                if value is not None and value[1] not in ("", self._row["mass_unit"]):
                    raise CorrectionError(
                        f"{name} is in {value[1]}, the record in {self._row['mass_unit']}", "one unit in one record"
                    )
                stored[field.column] = None if value is None else value[0]
            elif field.type == "date" and value is not None:
                stored[field.column] = dt.date.fromisoformat(value)
            else:
                stored[field.column] = value
        return stored

    def _check_date(self, values: Mapping[str, Any]) -> None:
        if not self._of.part or "season" not in values or not self._convention.hemisphere:
            return
        dates = [values[name] for name in self._of.dated_by if values.get(name) is not None]
        if (
            dates
            and months_outside(dt.date.fromisoformat(dates[0]), values["season"], self._convention.hemisphere) > 12
        ):
            raise CorrectionError(
                f"the date {dates[0]} lies more than 12 months outside season {values['season']}",
                "a date within 12 months of the season",
            )
