"""The guide's page on published bands, written from them."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vinebook.advice.published import DEFAULT, SETS
from vinebook.advice.published_band import ANY, VERIFIED
from vinebook.quantities import US_OF_METRIC
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.advice.published_band import BandSet, PublishedBand

WIDTH = 78
HEAD = f"""\
# Published bands

Bands disagree by author, cultivar, climate and canopy. Which set judges a
vineyard is its own choice:

    vinebook amend vineyard NAME band_set='White 2012' --reason 'our climate'

Without a choice it is {DEFAULT}, and so it is for a figure
that the chosen set has no band for. A band that was found on one cultivar
judges that cultivar only. A block's or vineyard's own target (`vinebook guide
target_band`) goes before all of them. Bands marked "from memory" were not read
again in their source, those marked "second hand" in a page that cites it.

"""


def bands_page() -> str:
    """Give the page, as Markdown: every set with its bands, limits in metric and US units, source and mark."""
    return HEAD + "\n".join(_of_set(one) for one in SETS.values())


def _of_set(one: BandSet) -> str:
    about = f"{one.about[0].upper()}{one.about[1:]}."
    lines = [f"## {one.name}\n", textwrap.fill(about, WIDTH, break_on_hyphens=False), ""]
    return "\n".join([*lines, *map(_item, one.bands)]) + "\n"


def _item(band: PublishedBand) -> str:
    where = [f"{band.canopy} canopy"] if band.canopy != ANY else []
    where += [f"{band.cultivar} only"] if band.cultivar else []
    told = f"- **{band.figure}**: {_limits(band)}"
    told += f" ({', '.join(where)})." if where else "."
    if band.below_under is not None or band.above_over is not None:
        told += f" Not judged between the classes: low is under {band.below_under:g}, high over {band.above_over:g}."
    told += f" {band.source}{'' if band.mark == VERIFIED else f' ({band.mark.lower()})'}."
    return textwrap.fill(told, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def _limits(band: PublishedBand) -> str:
    unit = FIGURES[band.figure].unit
    told = _span(band, 1.0, unit)
    if unit in US_OF_METRIC:
        told += f" = {_span(band, US_OF_METRIC[unit].factor, US_OF_METRIC[unit].unit)}"
    return told


def _span(band: PublishedBand, factor: float, unit: str) -> str:
    low, high = (None if limit is None else f"{limit * factor:.3g}" for limit in (band.low, band.high))
    if low is None:
        return f"{high} {unit} or less"
    return f"{low} {unit} or more" if high is None else f"{low}–{high} {unit}"
