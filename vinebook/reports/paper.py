"""The paper that reports are printed on: its size, its margins and the room that is left for text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Paper = Literal["a4", "letter"]
PT_OF_MM = 72 / 25.4


@dataclass(frozen=True, slots=True)
class Format:
    """A size of paper with its margins.

    Attributes
    ----------
    name : its name in style sheets.
    width_mm, height_mm : size of a page.
    side_mm, top_mm, foot_mm : margins at either side, over and under the text.
    """

    name: str
    width_mm: float
    height_mm: float
    side_mm: float = 18.0
    top_mm: float = 16.0
    foot_mm: float = 20.0

    @property
    def text_width_pt(self) -> float:
        """Width of the text in points."""
        return (self.width_mm - 2 * self.side_mm) * PT_OF_MM

    @property
    def text_height_pt(self) -> float:
        """Height of the text of one page in points."""
        return (self.height_mm - self.top_mm - self.foot_mm) * PT_OF_MM


FORMATS: dict[Paper, Format] = {
    "a4": Format("A4", 210.0, 297.0),
    "letter": Format("letter", 215.9, 279.4),
}
