"""What a published band is, and a set of them by one author."""

from __future__ import annotations

from dataclasses import dataclass

ANY, SINGLE, DIVIDED = "any", "single", "divided"
VERIFIED, SECOND_HAND, FROM_MEMORY = "VERIFIED", "SECOND HAND", "FROM MEMORY"
"""Read in the page named; read in a page that cites it; not read again."""


@dataclass(frozen=True, slots=True)
class PublishedBand:
    """A band as somebody published it.

    Attributes
    ----------
    figure : figure it judges.
    low, high : limits in the figure's metric unit, None where that side is open.
    source, mark : where it was printed, and whether it was read there.
    canopy : single, divided or any.
    cultivar : the cultivar it was found on, or "" where it is meant for all.
    below_under, above_over : outside limits where the source leaves a hole between its classes; None without one.
    """

    figure: str
    low: float | None
    high: float | None
    source: str
    mark: str = VERIFIED
    canopy: str = ANY
    cultivar: str = ""
    below_under: float | None = None
    above_over: float | None = None


@dataclass(frozen=True, slots=True)
class BandSet:
    """The bands of one author, by name."""

    name: str
    about: str
    bands: tuple[PublishedBand, ...]

    def band_for(self, figure: str, curtains: int | None, cultivar: str) -> PublishedBand | None:
        """Give the band of a figure; one for a canopy needs the curtains, one for a cultivar is for no other."""
        canopy = None if curtains is None else DIVIDED if curtains > 1 else SINGLE
        for band in self.bands:
            is_for_vine = not band.cultivar or band.cultivar.casefold() == cultivar.strip().casefold()
            if band.figure == figure and band.canopy in (ANY, canopy) and is_for_vine:
                return band
        return None
