"""The band a figure is read against, and the reading.

Published bands disagree by author, cultivar, climate and canopy; each is kept with its source in `published.py`. The
block's own target wins, then its vineyard's; then the set of bands that the vineyard chose; then one default set. A
band that was found on one cultivar judges that cultivar only.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from vinebook.advice.published import DEFAULT, SETS, BandSet, PublishedBand
from vinebook.errors import WordsError
from vinebook.seasons.model import Band, Figure, Reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from vinebook.seasons.context import BlockContext, JudgingContext

ON_CANOPY = "m of canopy"
PER_METRE = frozenset({"prunings_per_m", "shoots_per_m", "nodes_per_m", "yield_per_m"})
OWN_TARGET = "own target"


def band_sets() -> dict[str, BandSet]:
    """Give all sets of published bands by name."""
    return SETS


def default_set() -> BandSet:
    """Give the set that judges where neither block nor vineyard says otherwise."""
    return SETS[DEFAULT]


def judge(figures: Iterable[Figure], context: JudgingContext) -> Iterator[Figure]:
    """Give figures with the band that applies and the reading against it.

    Parameters
    ----------
    figures : figures without bands, in any order.
    context : cultivars, curtains, targets and chosen sets of their blocks.

    Raises
    ------
    WordsError : a vineyard chose a set that is not known.
    """
    for figure in figures:
        yield judged(figure, context.of(figure.block))


def judged(figure: Figure, block: BlockContext) -> Figure:
    """Give one figure with its band and reading.

    Parameters
    ----------
    figure : a figure without a band.
    block : what the figures of its block are judged by.
    """
    found = band_of(figure, block)
    if found is None:
        return figure
    band, holes = found
    return replace(figure, band=band, reading=reading_of(figure, band, holes))


def band_of(figure: Figure, block: BlockContext) -> tuple[Band, PublishedBand | None] | None:
    """Give the band that a figure is read against, and the published one behind it if any.

    Parameters
    ----------
    figure : the figure; one of a single bearer, pick or stage before harvest has no band.
    block : what the figures of its block are judged by.
    """
    if figure.bearer is not None or figure.pick is not None or figure.stage not in (None, "harvest"):
        return None
    target = block.target_in(figure.season, figure.figure)
    if target is not None:
        whose = "block" if target.is_of_block else "vineyard"
        source = f"target of the {whose} from {target.from_season}: {target.source}"
        return Band(target.low, target.high, source, OWN_TARGET), None
    if figure.figure in PER_METRE and figure.per != ON_CANOPY:
        return None
    published, name = _published_for(figure, block)
    if published is None:
        return None
    source = published.source if published.mark == "VERIFIED" else f"{published.source} ({published.mark.lower()})"
    return Band(published.low, published.high, source, name), published


def _published_for(figure: Figure, block: BlockContext) -> tuple[PublishedBand | None, str]:
    vine = (figure.figure, block.curtains_in(figure.season), block.cultivar_in(figure.season))
    if block.band_set:
        chosen = chosen_set(block.band_set)
        band = chosen.band_for(*vine)
        if band is not None:
            return band, chosen.name
    standard = default_set()
    return standard.band_for(*vine), standard.name


def chosen_set(name: str) -> BandSet:
    """Give a set of bands by its name.

    Raises
    ------
    WordsError : there is no such set.
    """
    try:
        return SETS[name]
    except KeyError:
        raise WordsError(
            f"no set of bands is called {name}",
            f"the sets are: {', '.join(SETS)}; `vinebook amend vineyard NAME band_set=SET --reason WHY` chooses one",
        ) from None


def reading_of(figure: Figure, band: Band, published: PublishedBand | None = None) -> Reading:
    """Read a figure against a band: below, within, above, not clear, or not judged.

    Not clear where the interval crosses a limit. A figure without an interval is read by its value. Where the source
    leaves a hole between its classes a value in the hole is not judged.

    Parameters
    ----------
    figure : the figure; one without a value, or a partial one, is not judged.
    band : limits in the figure's unit.
    published : the published band, where it has holes.
    """
    if figure.value is None or figure.status != "known":
        return "not judged"
    ends = [figure.value] if figure.low is None or figure.high is None else [figure.low, figure.high]
    readings = {_side(end, band, published) for end in ends}
    if "not judged" in readings or _side(figure.value, band, published) == "not judged":
        return "not judged" if len(ends) == 1 else "not clear"
    return readings.pop() if len(readings) == 1 else "not clear"


def _side(value: float, band: Band, published: PublishedBand | None) -> Reading:
    under = None if published is None else published.below_under
    over = None if published is None else published.above_over
    if band.low is not None and value < band.low:
        return "below" if under is None or value < under else "not judged"
    if band.high is not None and value > band.high:
        return "above" if over is None or value > over else "not judged"
    return "within"
