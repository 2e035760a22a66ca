"""Rows behind a figure as they are told: by kind, number, file and line, in ranges, and as one text."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    Ranges = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class RowsBehind:
    """Rows of one kind and key that one file brought.

    Attributes
    ----------
    kind, key : of the rows; the rows of a sample share its key.
    numbers : permanent numbers, as ranges from first to last.
    count : how many rows.
    tally, file : number and name of the kept file.
    lines : lines in it, as ranges.
    happened_on : day of the count, weighing or work, "" where the rows have none.
    recorded_at, entered_by : UTC time at which the file came in, and who entered it.
    """

    kind: str
    key: str
    numbers: Ranges
    count: int
    tally: int
    file: str
    lines: Ranges
    happened_on: str
    recorded_at: str
    entered_by: str


def ranges_of(numbers: Iterable[int]) -> Ranges:
    """Give whole numbers as ranges from first to last, in order."""
    found: list[tuple[int, int]] = []
    for number in sorted(set(numbers)):
        if found and number == found[-1][1] + 1:
            found[-1] = found[-1][0], number
        else:
            found.append((number, number))
    return tuple(found)


def ranges_in_words(ranges: Ranges, mark: str = "") -> str:
    """Give ranges as people read them: #3–#7, #9."""
    return ", ".join(f"{mark}{first}" if first == last else f"{mark}{first}–{mark}{last}" for first, last in ranges)


def rows_in_words(rows: Iterable[RowsBehind]) -> str:
    """Give kinds and permanent numbers of rows as one text: "pruned_vine 31-45, 47; load 92"."""
    by_kind: dict[str, list[int]] = defaultdict(list)
    for each in rows:
        by_kind[each.kind] += [number for first, last in each.numbers for number in range(first, last + 1)]
    return "; ".join(
        f"{kind} " + ", ".join(f"{first}" if first == last else f"{first}-{last}" for first, last in ranges_of(numbers))
        for kind, numbers in by_kind.items()
    )


def rows_of_words(words: str) -> dict[str, Ranges]:
    """Give kinds and permanent numbers of the text that `rows_in_words` made."""
    found: dict[str, Ranges] = {}
    for part in filter(None, words.split("; ")):
        kind, numbers = part.split(" ", 1)
        pairs = (one.split("-") for one in numbers.split(", "))
        found[kind] = tuple((int(pair[0]), int(pair[-1])) for pair in pairs)
    return found


def numbers_of(ranges: Ranges) -> set[int]:
    """Give the whole numbers within ranges."""
    return {number for first, last in ranges for number in range(first, last + 1)}
