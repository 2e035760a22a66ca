"""Forms: the empty tally of a kind, and what goes into each of its columns."""

from __future__ import annotations

import csv
import io
import textwrap
from typing import TYPE_CHECKING

from vinebook.kinds.field import Needs
from vinebook.kinds.form import heading, tally_fields

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from vinebook.kinds.field import Field, Kind


def form_csv(kind: Kind, units: str = "metric", rows: Sequence[Mapping[str, str]] = ()) -> str:
    """Give the form of a kind as CSV: its headings with units, and what of its rows is known already.

    Parameters
    ----------
    kind : a kind that has a tally.
    units : "metric" or "us".
    rows : texts by field of rows that are to be filled in, such as the vines of a draw.
    """
    page = io.StringIO()
    fields = tally_fields(kind)
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow(heading(field, units) for field in fields)
    writer.writerows([row.get(field.name, "") for field in fields] for row in rows)
    return page.getvalue()


ACCEPTED = {
    "count": "whole number",
    "number": "number",
    "date": "date, 2024-06-12",
    "season": "year",
    "position": "0, 1, 2, … or old wood",
    "contacts": "letters L, C, S",
    "counts": "numbers joined by +",
}
"""What a field of a type accepts, in words, where the type alone says it."""


def accepted(field: Field) -> str:
    """Give in words what a field accepts."""
    match field.type:
        case "choice":
            return " | ".join(field.choices)
        case "measure" | "ticket":
            units = field.metric if field.metric == field.us else f"{field.metric} or {field.us}"
            return f"number [{units}]"
        case "ref":
            return f"key of a {field.refers.replace('_', ' ')}"
        case _:
            return ACCEPTED.get(field.type, "words")


def must_be_filled(kind: Kind) -> set[str]:
    """Give the names of the columns that every row of a kind must fill, as its choices stand where they are empty."""
    needed = {
        rule.field for rule in kind.rules if isinstance(rule, Needs) and kind.field(rule.when).default in rule.values
    }
    return needed | {field.name for field in tally_fields(kind) if field.required}


def explained(kind: Kind) -> str:
    """Give a kind's columns in words, for the screen: a star marks what must be filled."""
    needed = must_be_filled(kind)
    lines = [f"{kind.name}: one row is {kind.one_row}. Columns (* must be filled):"]
    starred = [field for field in tally_fields(kind) if field.name in needed]
    for field in (*starred, *(field for field in tally_fields(kind) if field not in starred)):
        star = "*" if field.name in needed else " "
        default = f" Empty: {field.default}." if field.default not in (None, "0", "all") else ""
        words = f"{field.help} ({accepted(field)}){default}"
        lines.append(textwrap.fill(words, 78, initial_indent=f" {star}{field.name:<21} ", subsequent_indent=" " * 24))
    return "\n".join(lines)
