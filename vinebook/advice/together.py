"""What the figures of a season say together, in plain words from published bands with their names; never as an order.

One figure alone says little: little wood with a high ratio is another thing than little wood with a low one. Where
sources read one figure differently, all are shown as conflicting. Where an interval crosses a limit the counts do not
settle it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from vinebook.advice.bands import ON_CANOPY, PER_METRE, band_sets, reading_of
from vinebook.advice.published_band import VERIFIED
from vinebook.formulas.pruning import BLIND_UNDER, MANY_NONCOUNT_OVER
from vinebook.seasons.model import Band

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vinebook.seasons.model import BlockHistory, Figure, Reading

CLEAR = ("below", "within", "above")
SHOOTS_PER_NODE = Band(
    BLIND_UNDER,
    MANY_NONCOUNT_OVER,
    "Wines & Vines, June 2017, p. 58, research in New Zealand; given for effective shoots, by the diameter of canes",
    "Wines & Vines 2017",
)
TITLES = {
    "yield_to_prunings": "yield to prunings",
    "prunings_per_m": "wood per metre",
    "cane_weight": "cane weight",
    "leaf_area_to_fruit": "leaf area to fruit",
    "shoots_per_m": "shoots per metre",
    "leaf_layer_number": "leaf layers",
    "interior_cluster_share": "interior clusters",
}
"""Figures of which sources are compared."""

WOOD_AND_RATIO: dict[tuple[str, str], tuple[str, str, str]] = {
    ("below", "below"): (
        "Little wood", "little fruit even for that", "small vines with a smaller crop; the counts do not say why",
    ),
    ("below", "within"): ("Little wood", "fruit in keeping with it", "small vines, in balance at their size"),
    ("below", "above"): ("Little wood", "much fruit for it", "small vines with a large crop for their size"),
    ("within", "below"): ("Wood within the band", "little fruit for it", "a small crop for vines of this size"),
    ("within", "within"): ("Wood within the band", "fruit in keeping with it", "vine size and crop go together"),
    ("within", "above"): ("Wood within the band", "much fruit for it", "a large crop for vines of this size"),
    ("above", "below"): ("Much wood", "little fruit for it", "the vines grew more than they bore"),
    ("above", "within"): ("Much wood", "fruit in keeping with it", "large vines, in balance at their size"),
    ("above", "above"): ("Much wood", "much fruit even for that", "large vines with a larger crop still"),
}  # fmt: skip
"""What wood per metre and yield to prunings say together, by their readings: each in words, then both."""
CANES_AND_SHOOTS: dict[tuple[str, str], str] = {
    ("below", "above"): "Light canes ({0}) and many shoots per metre ({1}): growth spread over many shoots",
    ("below", "below"): "Light canes ({0}) though few shoots per metre ({1}): weak growth, not crowding",
    ("above", "below"): "Heavy canes ({0}) and few shoots per metre ({1}): growth in few, strong shoots",
    ("above", "above"): "Heavy canes ({0}) though many shoots per metre ({1}): strong growth on every shoot",
}
LAYERS_AND_CLUSTERS = {
    ("above", "above"): "Many leaf layers ({0}) and many clusters inside ({1}): fruit in the shade of its canopy",
    ("within", "within"): "Leaf layers ({0}) and clusters inside ({1}) within their bands: an open canopy",
    ("below", "below"): "Few leaf layers ({0}) and few clusters inside ({1}): fruit in full light",
}


class Writer(Protocol):
    """How numbers are written: in the reader's units."""

    def number(self, figure: Figure) -> str:
        """Give a figure's value with its unit."""

    def limits(self, band: Band, unit: str) -> str:
        """Give a band's limits without the unit."""


class PlainWriter:
    """Metric units, three significant digits."""

    def number(self, figure: Figure) -> str:
        """Give a figure's value with its unit."""
        return f"{figure.value:.3g} {figure.unit}".strip()

    def limits(self, band: Band, unit: str) -> str:  # noqa: ARG002 - the signature is Writer's
        """Give a band's limits without the unit."""
        if band.low is None:
            return f"up to {band.high:g}"
        return f"from {band.low:g}" if band.high is None else f"{band.low:g}–{band.high:g}"


@dataclass(frozen=True, slots=True)
class Said:
    """One sentence on what figures say together.

    Attributes
    ----------
    words : the sentence, the names of its sources in it.
    figures : figures that it rests on.
    sources : where the bands are published, or whose target they are, in full.
    is_conflict : whether it shows sources that conflict.
    """

    words: str
    figures: tuple[str, ...]
    sources: tuple[str, ...]
    is_conflict: bool = False


def said_together(
    figures: Iterable[Figure], cultivar: str, curtains: int | None, writer: Writer | None = None
) -> tuple[Said, ...]:
    """Say what the figures of one block and season mean together.

    Parameters
    ----------
    figures : the judged figures of one block and season.
    cultivar : cultivar of that season; a band found on one cultivar speaks of no other.
    curtains : curtains of canopy of that season, None where no training is recorded.
    writer : how numbers are written; metric without one.
    """
    writer = writer or PlainWriter()
    known = {
        figure.figure: figure
        for figure in figures
        if figure.value is not None
        and figure.status == "known"
        and figure.bearer is None
        and figure.position is None
        and figure.pick is None
        and figure.stage in (None, "harvest")
    }
    found = [
        _wood_and_ratio(known, writer),
        _pair(known, ("cane_weight", "shoots_per_m"), CANES_AND_SHOOTS, writer),
        _pair(known, ("leaf_layer_number", "interior_cluster_share"), LAYERS_AND_CLUSTERS, writer),
        _two_balances(known, writer),
        _nodes_and_shoots(known, writer),
        *(_conflict(known.get(name), cultivar, curtains, writer) for name in TITLES),
    ]
    return tuple(one for one in found if one is not None)


def said_of_season(history: BlockHistory, season: int, writer: Writer | None = None) -> tuple[Said, ...]:
    """Say what the figures of a season mean together, from a block's history.

    Parameters
    ----------
    history : the history with its figures judged.
    season : harvest year.
    writer : how numbers are written; metric without one.
    """
    planted = [
        planting
        for planting in history.plantings
        if planting.from_season <= season and (planting.to_season is None or season <= planting.to_season)
    ]
    trained = [training for training in history.trainings if training.from_season <= season]
    planting = max(planted, key=lambda one: one.from_season, default=None)
    training = max(trained, key=lambda one: one.from_season, default=None)
    return said_together(
        (figure for figure in history.figures if figure.season == season),
        "" if planting is None else planting.cultivar,
        None if training is None else training.curtains,
        writer,
    )


def last_complete_season(history: BlockHistory) -> int | None:
    """Give the latest season whose crop and wood are both known, None where there is none.

    Parameters
    ----------
    history : the history with its figures.
    """
    seasons = [
        figure.season
        for figure in history.figures
        if figure.figure == "yield_to_prunings" and figure.value is not None and figure.status == "known"
    ]
    return max(seasons, default=None)


def _told(figure: Figure, band: Band, reading: str, writer: Writer, *, named: bool = True) -> str:
    side = "across a limit of" if reading == "not clear" else reading
    name = f", {band.name}" if named else ""
    return f"{writer.number(figure)}, {side} {writer.limits(band, figure.unit)}{name}"


def _both_told(first: Figure, first_band: Band, second: Figure, second_band: Band, writer: Writer) -> list[str]:
    """Give what two figures read, and the name of their source once where it is one."""
    is_one = first_band.name == second_band.name
    return [
        _told(first, first_band, first.reading, writer, named=not is_one),
        _told(second, second_band, second.reading, writer, named=not is_one),
        f" ({first_band.name})" if is_one else "",
    ]


def _wood_and_ratio(known: dict[str, Figure], writer: Writer) -> Said | None:
    wood, ratio = known.get("prunings_per_m"), known.get("yield_to_prunings")
    if wood is None or ratio is None or wood.band is None or ratio.band is None:
        return None
    named = ("prunings_per_m", "yield_to_prunings")
    sources = tuple(dict.fromkeys((wood.band.source, ratio.band.source)))
    of_wood, of_ratio, name = _both_told(wood, wood.band, ratio, ratio.band, writer)
    if wood.reading in CLEAR and ratio.reading in CLEAR:
        first, second, both = WOOD_AND_RATIO[wood.reading, ratio.reading]
        return Said(f"{first} ({of_wood}) and {second} ({of_ratio}): {both}{name}.", named, sources)
    if "not judged" in (wood.reading, ratio.reading):
        return None
    return Said(
        f"Wood per metre {of_wood}, and yield to prunings {of_ratio}: the counts do not settle what the two mean "
        f"together{name}.",
        named,
        sources,
    )


def _pair(
    known: dict[str, Figure], names: tuple[str, str], words: dict[tuple[str, str], str], writer: Writer
) -> Said | None:
    """Say what two figures mean together where both are read clearly."""
    first, second = (known.get(name) for name in names)
    if first is None or second is None or first.band is None or second.band is None:
        return None
    template = words.get((first.reading, second.reading))
    if template is None:
        return None
    of_first, of_second, name = _both_told(first, first.band, second, second.band, writer)
    sentence = f"{template.format(of_first, of_second)}{name}."
    return Said(sentence, names, tuple(dict.fromkeys((first.band.source, second.band.source))))


def _two_balances(known: dict[str, Figure], writer: Writer) -> Said | None:
    """Say where fruit against wood and leaf against fruit contradict each other."""
    ratio, leaf = known.get("yield_to_prunings"), known.get("leaf_area_to_fruit")
    if ratio is None or leaf is None or ratio.band is None or leaf.band is None:
        return None
    # Much fruit for the wood should go with little leaf for the fruit.
    agree = {("above", "below"), ("within", "within"), ("below", "above")}
    if ratio.reading not in CLEAR or leaf.reading not in CLEAR or (ratio.reading, leaf.reading) in agree:
        return None
    of_ratio, of_leaf, name = _both_told(ratio, ratio.band, leaf, leaf.band, writer)
    return Said(
        f"Two measures of balance differ: yield to prunings ({of_ratio}) and leaf area to fruit ({of_leaf}){name}.",
        ("yield_to_prunings", "leaf_area_to_fruit"),
        (ratio.band.source, leaf.band.source),
    )


def _nodes_and_shoots(known: dict[str, Figure], writer: Writer) -> Said | None:
    """Say what shoots per node mean with budbreak and non-count shoots, where they are clearly outside."""
    shoots = known.get("shoots_per_node")
    if shoots is None:
        return None
    band = shoots.band or SHOOTS_PER_NODE
    reading = reading_of(shoots, band)
    others = [known[name] for name in ("budbreak", "noncount_shoot_share") if name in known]
    if reading not in ("below", "above"):
        return None
    words = "many nodes stayed blind" if reading == "below" else "many shoots beyond one a node"
    named = {"budbreak": "budbreak", "noncount_shoot_share": "non-count shoots"}
    beside = "".join(f"; {named[one.figure]} {writer.number(one)}" for one in others)
    return Said(
        f"Shoots per node {_told(shoots, band, reading, writer)}: {words}{beside}.",
        ("shoots_per_node", *(one.figure for one in others)),
        (band.source,),
    )


def _conflict(figure: Figure | None, cultivar: str, curtains: int | None, writer: Writer) -> Said | None:
    """Say where published bands read one figure differently; a source whose limit the interval crosses is left out."""
    if figure is None or (figure.figure in PER_METRE and figure.per != ON_CANOPY):
        return None
    readings: list[tuple[Reading, Band]] = []
    for name, one in band_sets().items():
        published = one.band_for(figure.figure, curtains, cultivar)
        if published is None:
            continue
        mark = "" if published.mark == VERIFIED else published.mark.lower()
        source = f"{published.source} ({mark})" if mark else published.source
        band = Band(published.low, published.high, source, f"{name} {mark}".rstrip())
        reading = reading_of(figure, band, published)
        if reading in CLEAR:
            readings.append((reading, band))
    if len({reading for reading, _ in readings}) < len(("one", "another")):
        return None
    told = []
    for side in CLEAR:
        names: dict[str, list[str]] = {}
        for reading, band in readings:
            if reading == side:
                names.setdefault(writer.limits(band, figure.unit), []).append(band.name)
        if names:
            by_limits = [f"{limits} ({', '.join(of)})" for limits, of in names.items()]
            told.append(f"{side} {', '.join(by_limits)}")
    return Said(
        f"Sources conflict on {TITLES[figure.figure]}, {writer.number(figure)}: {'; '.join(told)}.",
        (figure.figure,),
        tuple(band.source for _, band in readings),
        is_conflict=True,
    )
