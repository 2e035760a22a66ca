"""Figures as JSON: the form that programs read, on the command line and inside a PDF."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from vinebook.quantities import US_OF_METRIC

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from vinebook.seasons.model import Figure

FORMAT = 1
"""Number of the figures JSON; raised when the meaning of a key changes."""
KEYS = (
    "block", "season", "figure", "value", "unit", "per", "low", "high", "level", "n", "chosen", "basis", "band",
    "reading", "status", "note",
)  # fmt: skip
WHERE_THEY_APPLY = ("bearer", "position", "stage", "pick")


def as_json(figure: Figure, units: str = "metric", *, digits: int | None = None) -> dict[str, Any]:
    """Give a figure by the keys of the figures JSON.

    Parameters
    ----------
    figure : the figure.
    units : "metric" or "us".
    digits : significant digits that numbers carry; None leaves them unrounded. The last bits of a number differ between
        processors: a file that is to be the same everywhere carries 12.
    """
    told: dict[str, Any] = {key: getattr(figure, key) for key in KEYS}
    factor, unit = 1.0, figure.unit
    if units == "us" and figure.unit in US_OF_METRIC:
        factor, unit = US_OF_METRIC[figure.unit].factor, US_OF_METRIC[figure.unit].unit
    told["unit"] = unit
    for key in ("value", "low", "high"):
        told[key] = _number(told[key], factor, digits)
    if figure.band is not None:
        limits = {"low": figure.band.low, "high": figure.band.high}
        told["band"] = {
            **{side: _number(limit, factor, digits) for side, limit in limits.items()},
            "name": figure.band.name,
            "source": figure.band.source,
        }
    for key in WHERE_THEY_APPLY:
        if (value := getattr(figure, key)) is not None:
            told[key] = value
    return told


def figures_json(figures: Iterable[Figure], units: str = "metric", *, digits: int | None = None) -> Iterator[str]:
    """Give the text of the figures JSON piece by piece, a figure a line.

    Parameters
    ----------
    figures : the figures, streamed.
    units : "metric" or "us".
    digits : see `as_json`.
    """
    yield f'{{"format": {FORMAT}, "figures": ['
    for at, figure in enumerate(figures):
        yield f"{',' if at else ''}\n {json.dumps(as_json(figure, units, digits=digits), ensure_ascii=False)}"
    yield "\n]}\n"


def _number(value: float | None, factor: float, digits: int | None) -> float | None:
    if value is None:
        return None
    return value * factor if digits is None else float(f"{value * factor:.{digits}g}")
