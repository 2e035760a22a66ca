"""The headings of a tally: the kind that they fit, the column that each stands for, and what a wrong one may mean."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from vinebook.intake.cells import with_article
from vinebook.kinds import LOADED_KINDS, MADE_KINDS
from vinebook.kinds.field import Field, Kind, Needs
from vinebook.kinds.form import tally_fields
from vinebook.quantities import DIMENSION_OF_UNIT, UNITS_OF_DIMENSION, unit_named

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.intake.faults import Faults


LONGEST_HEADING = 200
LIKE_A_HEADING = 0.8
"""From this likeness on a heading is taken for another misspelt."""
_HEADING = re.compile(r"\s*([^\[\]*]*?)\s*(?:\[\s*([^\[\]]*?)\s*\])?\s*\*?\s*")
"""A name, a unit in brackets, and the star by which a form marks what must be filled."""
_HAVE_UNITS = {field.name for kind in LOADED_KINDS.values() for field in kind.fields if field.dimension}


@dataclass(frozen=True, slots=True)
class TallyColumn:
    """One column of a tally: its field, and the unit that its heading gives, or ""."""

    field: Field
    heading: str
    unit: str


def _split(heading: str) -> tuple[str, str] | None:
    parts = None if len(heading) > LONGEST_HEADING else _HEADING.fullmatch(heading)
    return None if parts is None else ("_".join(parts[1].lower().split()), parts[2] or "")


def fitting_kinds(headings: Sequence[str]) -> list[Kind]:
    """Give the kinds whose tally may have just these headings."""
    names = {split[0] for heading in headings if (split := _split(heading)) and split[0]}
    fitting = []
    for candidate in LOADED_KINDS.values():
        known = {field.name for field in tally_fields(candidate)}
        if names <= known and needed_headings(candidate) <= names:
            fitting.append(candidate)
    return fitting


def nearest_kind(headings: Sequence[str]) -> Kind | None:
    """Give the kind that knows most of the headings; None where none knows any."""
    names = {bare_heading(heading) for heading in headings}
    nearest = max(LOADED_KINDS.values(), key=lambda candidate: _likeness(names, candidate))
    return nearest if any(_likeness(names, nearest)) else None


def recognised_kind(name: str, headings: list[str], faults: Faults, kind: str | None) -> Kind | None:
    """Give the kind that is named, else the one that the headings fit best; None where findings say why there is none.

    Parameters
    ----------
    name : of the file, as findings give it.
    headings : of the file.
    faults : where findings go.
    kind : name of a kind that a tally or the program may have, or None.
    """
    if kind is not None:
        return LOADED_KINDS.get(kind) or MADE_KINDS[kind]
    fitting = fitting_kinds(headings)
    if len(fitting) > 1:
        named = [candidate for candidate in fitting if Path(name).name.lower().startswith(candidate.name)]
        fitting = named if len(named) == 1 else fitting
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        kinds = ", ".join(candidate.name for candidate in fitting)
        faults.add(name, 1, "", f"the headings fit more than one kind ({kinds})", "the kind named with --kind")
        return None
    nearest = nearest_kind(headings)
    if nearest is None:
        faults.add(name, 1, "", "no heading is one that vinebook knows", "the headings of a form: `vinebook form KIND`")
    return nearest


def needed_headings(kind: Kind) -> set[str]:
    """Give the names of the headings that a tally of a kind cannot do without."""
    needed = {field.name for field in tally_fields(kind) if field.required}
    for rule in kind.rules:
        if isinstance(rule, Needs) and kind.field(rule.when).default in rule.values:
            needed.add(rule.field)
    return needed


def _likeness(names: set[str], kind: Kind) -> tuple[int, float]:
    """Give how many of the names a kind knows, and how much of all its names that is."""
    own = {field.name for field in tally_fields(kind)}
    return len(names & own), len(names & own) / len(names | own)


def columns_of(
    name: str, kind: Kind, headings: list[str], faults: Faults, *, line: int = 1, letters: Sequence[str] = ()
) -> tuple[TallyColumn, ...] | None:
    """Give the column that each heading stands for; None where findings say what is wrong with them.

    Parameters
    ----------
    name : of the file, as findings give it.
    kind : the kind of its rows.
    headings : in the order of the file.
    faults : where findings go.
    line : on which the headings stand.
    letters : by which a spreadsheet program calls the columns.
    """
    fields = {field.name: field for field in tally_fields(kind)}
    columns: list[TallyColumn] = []
    seen: set[str] = set()
    well = True

    def fault(heading: str, what: str, expected: str) -> None:
        nonlocal well
        well = False
        printable = "".join(sign if sign.isprintable() else "\ufffd" for sign in heading.strip()[:LONGEST_HEADING])
        faults.add(name, line, printable, what, expected)

    for number, heading in enumerate(headings, 1):
        split = _split(heading)
        if split is None or split[0] not in fields:
            which = (
                "is" if heading.strip() else f"column {letters[number - 1] if letters else number} is empty, which is"
            )
            meant = _meant(heading, fields)
            what = f"{which} no heading of {with_article(kind.name)} tally"
            if meant is None:
                fault(heading, what, f"one of: {', '.join(fields)}")
            else:
                seen.add(meant.name)
                fault(heading, f"{what}: did you mean {_as_heading(meant, heading)}?", "")
            continue
        field = fields[split[0]]
        if field.name in seen:
            fault(heading, "stands twice", "each heading once")
        seen.add(field.name)
        unit = _heading_unit(field, split[1])
        if isinstance(unit, tuple):
            fault(heading, *unit)
        else:
            columns.append(TallyColumn(field, heading.strip(), unit))
    for missing in sorted(needed_headings(kind) - seen):
        fault("", f"the heading {missing!r} is missing", f"the headings of `vinebook form {kind.name}`")
    return tuple(columns) if well else None


def bare_heading(heading: str) -> str:
    """Give the name in a heading, without a unit in brackets of any shape or behind an underscore."""
    bare = "_".join(re.split(r"[(\[{<*]", heading[:LONGEST_HEADING], maxsplit=1)[0].lower().split())
    stem, _, tail = bare.rpartition("_")
    return stem if stem in _HAVE_UNITS and unit_named(tail) else bare


def _meant(heading: str, fields: dict[str, Field]) -> Field | None:
    """Give the field that a heading is likely to mean, or None."""
    bare = bare_heading(heading)
    if bare not in fields:
        bare = next(iter(difflib.get_close_matches(bare, fields, n=1, cutoff=LIKE_A_HEADING)), "")
    return fields.get(bare)


def _as_heading(field: Field, written: str) -> str:
    """Give a field's heading as it should be written, with the unit that stands in what was written."""
    words = re.split(r"[(\[{<_ ]", written.strip().rstrip(")]}> "))[-1]
    unit = unit_named(words) if field.dimension and words.strip().lower() != field.name else None
    return f"{field.name} [{unit}]" if unit and DIMENSION_OF_UNIT[unit] == field.dimension else field.name


def _heading_unit(field: Field, text: str) -> str | tuple[str, str]:
    if not text:
        return ""
    if not field.dimension:
        return f"[{text}] stands behind a heading that has no unit", field.name
    accepted = ", ".join(UNITS_OF_DIMENSION[field.dimension])
    unit = unit_named(text)
    if unit is None:
        return f"[{text}] is not a unit that vinebook knows", f"one of: {accepted}"
    if DIMENSION_OF_UNIT[unit] != field.dimension:
        return f"[{text}] is a unit of {DIMENSION_OF_UNIT[unit]}", f"a unit of {field.dimension}: {accepted}"
    return unit
