"""Numbers as options take them: within what can be, and numbers indeed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from typing import Any

YEAR = click.IntRange(1800, 2200)
"""A harvest year."""


class Amount(click.FloatRange):
    """A number within limits; "nan", which lies neither in nor out of any, is refused."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401
        """Give the number, or end with what was expected."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number
