"""What must hold within a row, run over the columns of a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vinebook.kinds.field import (
    Bars,
    DifferenceIs,
    ListLengthIs,
    Needs,
    NotAbove,
    OneOf,
    OneOfWhere,
    SumIs,
    Together,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from vinebook.kinds.field import Rule

Broken = tuple[int, str, str, str]
"""Index of the row in its page, column, what is wrong, what was expected."""


def broken_rules(rules: Sequence[Rule], columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    """Give every row that breaks a rule.

    Parameters
    ----------
    rules : of the kind.
    columns : values by field name, all of one length; a ticket is (thousandths, unit), counts are (sum, text).
    rows : that length.
    """
    for rule in rules:
        yield from _CHECKS[type(rule)](rule, columns, rows)


def _bare(value: Any) -> Any:  # noqa: ANN401 - values are of several types
    return value[0] if isinstance(value, tuple) else value


def _needs(rule: Needs, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    del rows
    for at, (value, when) in enumerate(zip(columns[rule.field], columns[rule.when], strict=True)):
        if value is None and when in rule.values:
            yield at, rule.field, f"is empty where {rule.when} is {when}", f"a value, as {rule.why}"


def _bars(rule: Bars, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    del rows
    for at, (value, when) in enumerate(zip(columns[rule.field], columns[rule.when], strict=True)):
        if value and when in rule.values:
            yield at, rule.field, f"is filled where {rule.when} is {when}", f"nothing, as {rule.why}"


def _sum_is(rule: SumIs, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    for at in range(rows):
        total = columns[rule.total][at]
        parts = [columns[part][at] for part in rule.parts]
        if total is not None and None not in parts and sum(parts) != total:
            words = " + ".join(f"{part} {value}" for part, value in zip(rule.parts, parts, strict=True))
            yield at, rule.total, f"{words} make {sum(parts)}, not {total}", f"one total, as {rule.why}"


def _not_above(rule: NotAbove, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    del rows
    for at, pair in enumerate(zip(columns[rule.field], columns[rule.limit], strict=True)):
        value, limit = map(_bare, pair)
        units = {one[1] for one in pair if isinstance(one, tuple) and one[1]}
        # Masses in two units are told as such; their bare numbers say nothing.
        if value is not None and limit is not None and value > limit and len(units) < 2:
            yield at, rule.field, f"{rule.field} is above {rule.limit}", f"less or equal, as {rule.why}"


def _one_of(rule: OneOf, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    for at in range(rows):
        filled = sum(columns[field][at] is not None for field in rule.fields)
        if not filled or (rule.exactly and filled > 1):
            names = " or ".join(rule.fields)
            found = "both are filled" if filled else "neither is filled"
            yield (
                at,
                rule.fields[0],
                f"{names}: {found}",
                f"{'one of them' if rule.exactly else 'at least one'}, as {rule.why}",
            )


def _together(rule: Together, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    for at in range(rows):
        filled = [columns[field][at] is not None for field in rule.fields]
        if any(filled) and not all(filled):
            yield at, rule.fields[0], f"only some of {', '.join(rule.fields)} are filled", f"all or none, as {rule.why}"


def _difference_is(rule: DifferenceIs, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    for at in range(rows):
        total, part, rest = (columns[name][at] for name in (rule.total, rule.part, rule.rest))
        if total is None or part is None or rest is None or len({total[1], part[1], rest[1]}) > 1:
            continue
        if total[0] - part[0] != rest[0]:
            sums = (
                f"{total[0] / 1000:g} - {part[0] / 1000:g} is {(total[0] - part[0]) / 1000:g}, not {rest[0] / 1000:g}"
            )
            yield at, rule.rest, f"{rule.total} - {rule.part}: {sums}", rule.why


def _one_of_where(rule: OneOfWhere, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    del rows
    for at, (value, when) in enumerate(zip(columns[rule.field], columns[rule.when], strict=True)):
        if when in rule.values and value not in rule.accepted:
            expected = f"one of: {', '.join(rule.accepted)}"
            yield at, rule.field, f"{value!r} is not on {rule.when} {when}", f"{expected}, as {rule.why}"


def _list_length_is(rule: ListLengthIs, columns: Mapping[str, Sequence[Any]], rows: int) -> Iterator[Broken]:
    for at in range(rows):
        counts, wanted = columns[rule.field][at], columns[rule.count][at]
        found = 0 if counts is None else counts[1].count("+") + 1
        if wanted is not None and found != wanted and not (wanted == 0 and counts is not None and counts[1] == "0"):
            yield (
                at,
                rule.field,
                f"has {found} {'number' if found == 1 else 'numbers'} where {rule.count} is {wanted}",
                rule.why,
            )


_CHECKS: dict[type, Any] = {
    Needs: _needs,
    Bars: _bars,
    SumIs: _sum_is,
    NotAbove: _not_above,
    OneOf: _one_of,
    Together: _together,
    DifferenceIs: _difference_is,
    ListLengthIs: _list_length_is,
    OneOfWhere: _one_of_where,
}
