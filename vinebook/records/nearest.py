"""Names near to one that is not there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def near_names(name: str, names: Iterable[str]) -> list[str]:
    """Give up to two names that a person may have meant, whatever their case, nearest first."""
    import difflib

    folded = {each.casefold().replace("-", "_"): each for each in names}
    near = difflib.get_close_matches(name.casefold().replace("-", "_"), folded, n=2, cutoff=0.6)
    return [folded[each] for each in near]


def one_of(name: str, names: Iterable[str]) -> str:
    """Give the hint for a name that is not there: the near names, else all."""
    known = list(names)
    near = near_names(name, known)
    return f"did you mean {' or '.join(near)}?" if near else f"one of: {', '.join(known)}"
