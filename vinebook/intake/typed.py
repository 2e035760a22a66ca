"""Records entered by hand: a tally of one row through the same intake, and what supersedes or replaces earlier ones."""

from __future__ import annotations

import csv
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from vinebook.errors import CorrectionError, FindingsError, WordsError
from vinebook.intake.amending import reason_given
from vinebook.intake.load import load_tallies
from vinebook.intake.striking import Replaced, strike_tallies
from vinebook.intake.tally_file import MAX_BYTES
from vinebook.kinds import KINDS, LOADED_KINDS, SAMPLE
from vinebook.kinds.field import Needs
from vinebook.kinds.form import heading, tally_fields
from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records import journal
from vinebook.records.keys import find_record, key_of
from vinebook.records.listing import key_of_tally, record_texts
from vinebook.records.nearest import one_of
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from sqlalchemy import Connection

    from vinebook.errors import Finding
    from vinebook.intake.load import LoadReport, Step
    from vinebook.kinds.field import Kind
    from vinebook.records.book import Book

TYPED_NAME = "typed entry"


def kind_to_add(name: str) -> Kind:
    """Give a kind that can be added.

    Raises
    ------
    WordsError : there is none of that name.
    """
    if name not in LOADED_KINDS:
        raise WordsError(f"{name!r} is not a kind that can be added", one_of(name, LOADED_KINDS))
    return LOADED_KINDS[name]


def add_record(
    book: Book,
    kind: str,
    values: Mapping[str, str],
    *,
    by: str,
    supersedes: str | None = None,
    reason: str = "",
    also: Step | None = None,
) -> LoadReport:
    """Add one record through the same intake as a tally.

    Parameters
    ----------
    book : an open book.
    kind : name of the kind.
    values : texts by field, as in a tally.
    by : who enters it.
    supersedes : key of the record that this one corrects; kinds that are superseded only.
    reason : why, where one is superseded.
    also : what else is done in the same transaction.

    Raises
    ------
    FindingsError : what is wrong, by field.
    WordsError, CorrectionError

    Notes
    -----
    What a correction does not name it carries over from the record that it supersedes (`carried_over`).
    """
    of = kind_to_add(kind)
    fields = {field.name: field for field in tally_fields(of)}
    for name in values:
        if name not in fields:
            raise WordsError(f"{KINDS[kind].a_name} has no field {name!r}", one_of(name, fields))
    step: Step | None = also
    if supersedes is None and reason:
        raise WordsError("nothing is corrected that would need a reason", "name the record with --supersedes")
    if any(not value.isprintable() for value in values.values()):
        raise WordsError("a value holds a sign that cannot be kept", "words in one line")
    if supersedes is not None:
        superseding = _Superseding(of, supersedes, reason_given(reason), by)
        step = superseding if also is None else _Both(superseding, also)
        values = {**carried_over(book, kind, supersedes, values), **values}
    if not any(value.strip() for value in values.values()):
        needed = ", ".join(name for name, *_ in missing_fields(kind, values))
        raise WordsError(
            f"nothing of {of.a_name} was named", f"it needs: {needed}; `vinebook form {kind}` explains every field"
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / TYPED_NAME
        with path.open("w", encoding="utf-8", newline="") as page:
            writer = csv.writer(page, lineterminator="\n")
            given = [name for name in fields if name in values or fields[name].required]
            writer.writerow(given)
            writer.writerow(values.get(name, "") for name in given)
        try:
            report = load_tallies(book, [path], by=by, kind=kind, source="typed", step=step)
        except FindingsError as refused:
            raise FindingsError([_by_field(kind, finding) for finding in refused.findings], refused.beyond) from None
    report.tallies = [replace(tally, name=TYPED_NAME) for tally in report.tallies]
    report.warnings = [_by_field(kind, warning) for warning in report.warnings]
    return report


def _by_field(kind: str, finding: Finding) -> Finding:
    """Give a finding without the file that a typed record went through."""
    return replace(finding, file=kind, line=0)


def missing_fields(kind: str, values: Mapping[str, str]) -> list[tuple[str, str, tuple[str, ...]]]:
    """Give name, help and choices of each field that must be filled, as the values stand, and is not."""
    of = LOADED_KINDS[kind]
    fields = {field.name: field for field in tally_fields(of)}
    needed = {name for name, field in fields.items() if field.required}
    for rule in (*of.rules, *(SAMPLE.rules if of.sampled else ())):
        if isinstance(rule, Needs) and (values.get(rule.when) or fields[rule.when].default) in rule.values:
            needed.add(rule.field)
    return [
        (name, f"{heading(field)}: {field.help}", field.choices)
        for name, field in fields.items()
        if name in needed and not values.get(name)
    ]


def carried_over(book: Book, kind: str, key: str, values: Mapping[str, str]) -> dict[str, str]:
    """Give what a correction carries over from the record that it supersedes: texts by field.

    Parameters
    ----------
    book : an open book.
    kind : name of the kind.
    key : of the record that is superseded.
    values : texts that the correction names; these are not carried over.

    Raises
    ------
    WordsError : there is no such record.
    """
    of = LOADED_KINDS[kind]
    with book.reading() as connection:
        old = record_texts(connection, of, find_record(connection, of, key))
    left = set(values)
    if any(name in values for name in of.dated_by):
        # A corrected date says anew which season it belongs to.
        left.add("season")
    for rule in of.rules:
        # What only the earlier basis called for has no place under another.
        if isinstance(rule, Needs) and values.get(rule.when, old.get(rule.when)) != old.get(rule.when):
            left.add(rule.field)
    empty = {field.name: field.default for field in of.fields}
    # A default (a mass of 0 with its unit too) comes by itself.
    return {name: text for name, text in old.items() if name not in left and text.split(" ")[0] != empty.get(name)}


class Added:
    """Finds permanent number and key of a record while it is being added, so that nothing need be read afterwards.

    Attributes
    ----------
    record, key : of the record.
    """

    def __init__(self, kind: str) -> None:
        self._kind = kind
        self.record = 0
        self.key = ""

    def before(self, connection: Connection, at: str) -> None:
        """Do nothing before it is in."""

    def after(self, connection: Connection, at: str, report: LoadReport) -> None:
        """Find the record."""
        del at
        self.record, self.key = key_of_tally(connection, self._kind, report.tallies[0].number)


class _Both:
    """Two steps of one transaction."""

    def __init__(self, first: Step, second: Step) -> None:
        self._steps = first, second

    def before(self, connection: Connection, at: str) -> None:
        """Do what both do before the load."""
        for step in self._steps:
            step.before(connection, at)

    def after(self, connection: Connection, at: str, report: LoadReport) -> None:
        """Do what both do after the load."""
        for step in self._steps:
            step.after(connection, at, report)


class _Superseding:
    """Strikes the record that a correction names, and carries over what named it."""

    def __init__(self, of: Kind, key: str, reason: str, by: str) -> None:
        if not of.superseded:
            kinds = ", ".join(kind.name for kind in KINDS.values() if kind.superseded)
            raise WordsError(f"{of.a_name} is amended, not superseded", f"--supersedes is for: {kinds}")
        self._of = of
        self._key = key
        self._reason = reason
        self._by = by
        self._old = 0
        self._old_key = ""

    def before(self, connection: Connection, at: str) -> None:
        """Strike the record that is superseded."""
        table = TABLES[self._of.name]
        self._old = find_record(connection, self._of, self._key)
        self._old_key = key_of(connection, self._of, self._old)
        done = connection.execute(
            table.update().where(table.c.record == self._old, table.c.struck_at.is_(None)).values(struck_at=at)
        )
        if done.rowcount != 1:
            raise CorrectionError(
                f"{self._of.name} {self._old_key} was struck or superseded already", "name the record that is in force"
            )

    def after(self, connection: Connection, at: str, report: LoadReport) -> None:
        """Let what named the old record name the new one, and write the entry."""
        table, part = TABLES[self._of.name], TABLES["load_part"]
        new = connection.scalar(select(table.c.record).where(table.c.tally == report.tallies[0].number))
        carried: Sequence[int] = (
            connection.execute(
                select(part.c.record)
                .where(part.c.load == self._old, part.c.struck_at.is_(None))
                .order_by(part.c.record)
            )
            .scalars()
            .all()
        )
        if carried:
            self._check_parts(connection, new)
            connection.execute(part.update().where(part.c.record.in_(carried)).values(load=new, amended_at=at))
        journal.append(
            connection,
            by=journal.actor(self._by),
            action="supersede",
            subject=f"#{self._old} {self._of.name} {self._old_key}",
            body={
                "kind": self._of.name,
                "record": self._old,
                "key": self._old_key,
                "new_record": new,
                "new_key": key_of(connection, self._of, int(new or 0)),
                "reason": self._reason,
                "carried": {"load_part": list(carried)} if carried else {},
            },
            at=at,
        )

    def _check_parts(self, connection: Connection, new: int | None) -> None:
        load, part = TABLES["load"], TABLES["load_part"]
        mass = UNITS_OF_DIMENSION["mass"]
        net, unit = connection.execute(select(load.c.net_milli, load.c.mass_unit).where(load.c.record == new)).one()
        rows = connection.execute(
            select(part.c.mass_unit, func.sum(part.c.mass_milli))
            .where(part.c.load == self._old, part.c.struck_at.is_(None), part.c.mass_milli.is_not(None))
            .group_by(part.c.mass_unit)
        ).all()
        if sum(int(milli) * mass[part_unit] for part_unit, milli in rows) > net * mass[unit]:
            raise CorrectionError(
                f"the parts of load {self._old_key} add up to more than the new net of {net / 1000:g} {unit}",
                "strike the parts first and split the new load anew",
            )


class _Replacing:
    """Strikes the rows of an earlier file before the new one is read."""

    def __init__(self, words: str, reason: str, by: str, *, also_amended: bool) -> None:
        self._words = words
        self._reason = reason
        self._by = by
        self._also_amended = also_amended
        self.replaced: Replaced | None = None

    def before(self, connection: Connection, at: str) -> None:
        """Strike the earlier file's rows."""
        struck = strike_tallies(connection, self._words, at=at, also_amended=self._also_amended)
        for one in struck:
            journal.append(
                connection,
                by=journal.actor(self._by),
                action="replace",
                subject=f"tally {one.tally} {one.name}",
                body={
                    "tally": one.tally,
                    "rows": one.rows,
                    "samples": list(one.samples),
                    "reason": self._reason,
                },
                at=at,
            )
        self.replaced = struck[0] if len(struck) == 1 else _together(struck)

    def after(self, connection: Connection, at: str, report: LoadReport) -> None:
        """Refuse a new file that is the earlier one."""
        del connection, at
        self.refuse_same(report)

    @staticmethod
    def refuse_same(report: LoadReport) -> None:
        """Refuse a new file whose bytes the book holds already."""
        for tally in report.tallies:
            if tally.already:
                raise CorrectionError(
                    f"{tally.name} holds the same bytes that came in {tally.already}", "load the file that was mended"
                )


def _together(struck: list[Replaced]) -> Replaced:
    """Give the sheets of a workbook as one."""
    return Replaced(
        struck[0].tally,
        struck[0].name.rpartition(":")[0],
        sum(one.rows for one in struck),
        tuple(sample for one in struck for sample in one.samples),
        tuple(one.tally for one in struck),
    )


def replace_tally(
    book: Book,
    path: str | Path,
    replaces: str,
    *,
    reason: str,
    by: str,
    also_amended: bool = False,
    kind: str | None = None,
    dry_run: bool = False,
    max_bytes: int = MAX_BYTES,
    progress: Callable[[str, int, int], None] | None = None,
) -> tuple[LoadReport, Replaced]:
    """Strike an earlier file's rows and load a new file, in one step.

    Parameters
    ----------
    book : an open book.
    path : the new file.
    replaces : the earlier file, by number, name or SHA-256.
    reason : why.
    by : who acts.
    also_amended : strike rows that were amended since as well.
    kind, dry_run, max_bytes, progress : as for a load.

    Raises
    ------
    FindingsError, WordsError, CorrectionError, FileRefusedError
    """
    step = _Replacing(replaces, reason_given(reason), by, also_amended=also_amended)
    report = load_tallies(
        book, [path], by=by, kind=kind, dry_run=dry_run, max_bytes=max_bytes, progress=progress, step=step
    )
    step.refuse_same(report)
    if step.replaced is None:
        raise CorrectionError("nothing was replaced")
    return report, step.replaced
