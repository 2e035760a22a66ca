"""Published bands, each with who gave it, where, and on what. They disagree: none is a constant of the trade.

Plain data, as Python: a file of another format would take longer to read than the figures it judges.
"""

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


DEFAULT = "Kliewer & Dokoozlian 2005"
"""The set that judges where neither block nor vineyard says otherwise."""
_SETS = (
    BandSet(
        "Kliewer & Dokoozlian 2005",
        "single or divided canopy; Thompson Seedless, Tokay, Chenin blanc and Cabernet Sauvignon, California",
        (
            PublishedBand(
                "yield_to_prunings",
                4.0,
                10.0,
                (
                    "Kliewer and Dokoozlian 2005, American Journal of Enology and Viticulture 56: 170-181, abstract; "
                    "single canopy, California"
                ),
                canopy=SINGLE,
            ),
            PublishedBand(
                "yield_to_prunings",
                5.0,
                10.0,
                (
                    "Kliewer and Dokoozlian 2005, American Journal of Enology and Viticulture 56: 170-181, abstract; "
                    "divided canopy, California"
                ),
                canopy=DIVIDED,
            ),
            PublishedBand(
                "prunings_per_m",
                0.5,
                1.0,
                (
                    "Kliewer and Dokoozlian 2005, American Journal of Enology and Viticulture 56: 170-181, abstract; "
                    "per metre of single canopy, California"
                ),
                canopy=SINGLE,
            ),
            PublishedBand(
                "prunings_per_m",
                0.4,
                0.8,
                (
                    "Kliewer and Dokoozlian 2005, American Journal of Enology and Viticulture 56: 170-181, abstract; "
                    "per metre of divided canopy, California"
                ),
                canopy=DIVIDED,
            ),
            PublishedBand(
                "leaf_area_to_fruit",
                0.8,
                1.2,
                (
                    "Kliewer and Dokoozlian 2005, American Journal of Enology and Viticulture 56: 170-181, abstract; "
                    "single canopy, California"
                ),
                canopy=SINGLE,
            ),
            PublishedBand(
                "leaf_area_to_fruit",
                0.5,
                0.8,
                (
                    "Kliewer and Dokoozlian 2005, American Journal of Enology and Viticulture 56: 170-181, abstract; "
                    "divided canopy, California"
                ),
                canopy=DIVIDED,
            ),
        ),
    ),
    BandSet(
        "White 2012",
        "Iowa State University, canopy management concepts; cold-climate cultivars",
        (
            PublishedBand(
                "yield_to_prunings",
                5.0,
                12.0,
                "White 2012, Canopy management concepts, Iowa State University",
            ),
            PublishedBand(
                "prunings_per_m",
                0.3,
                0.6,
                "White 2012, Canopy management concepts, Iowa State University; 0.2 to 0.4 lb per foot",
            ),
            PublishedBand(
                "shoots_per_m",
                13.1,
                19.7,
                "White 2012, Canopy management concepts, Iowa State University; 4 to 6 shoots per foot",
            ),
            PublishedBand(
                "leaf_layer_number",
                None,
                2.5,
                "White 2012, Canopy management concepts, Iowa State University; 1.5 to 2.5 at most",
            ),
            PublishedBand(
                "leaf_area_to_fruit",
                0.6,
                1.2,
                "White 2012, Canopy management concepts, Iowa State University; 3 to 6 square feet per pound of fruit",
            ),
            PublishedBand(
                "interior_cluster_share",
                25.0,
                50.0,
                "White 2012, Canopy management concepts, Iowa State University; 50 to 75 % of clusters exterior",
            ),
            PublishedBand(
                "gap_share",
                20.0,
                40.0,
                "White 2012, Canopy management concepts, Iowa State University",
            ),
        ),
    ),
    BandSet(
        "WineSkills",
        "training site of Plumpton College, United Kingdom; cool climate",
        (
            PublishedBand(
                "cane_weight",
                30.0,
                40.0,
                (
                    "WineSkills, Plumpton College, Factors to be taken into account when pruning; ideal cane, cool "
                    "climate"
                ),
            ),
            PublishedBand(
                "leaf_layer_number",
                1.0,
                1.5,
                "WineSkills, Plumpton College, Assessing canopy quality",
            ),
            PublishedBand(
                "interior_cluster_share",
                None,
                40.0,
                "WineSkills, Plumpton College; at least 60 % of clusters exterior",
            ),
            PublishedBand(
                "leaf_area_to_fruit",
                0.8,
                1.2,
                (
                    "WineSkills, Plumpton College, Assessing canopy quality; low under 5, moderate 8 to 12, high over "
                    "20 cm² per g; the ranges between are not classed"
                ),
                below_under=0.5,
                above_over=2.0,
            ),
        ),
    ),
    BandSet(
        "Bordelon et al. 2008",
        "Traminette, Indiana",
        (
            PublishedBand(
                "yield_to_prunings",
                8.0,
                12.0,
                (
                    "Bordelon, Skinkis and Howard 2008, American Journal of Enology and Viticulture 59: 39-46; "
                    "accepted range, Traminette, Indiana"
                ),
                cultivar="Traminette",
            ),
        ),
    ),
    BandSet(
        "Bravdo et al. 1984",
        "Carignane, Israel",
        (
            PublishedBand(
                "yield_to_prunings",
                None,
                12.0,
                (
                    "Bravdo et al. 1984, American Journal of Enology and Viticulture 35: 247; overcropped above 12, "
                    "Carignane, Israel"
                ),
                cultivar="Carignane",
            ),
        ),
    ),
    BandSet(
        "Bravdo et al. 1985",
        "Cabernet Sauvignon, Israel",
        (
            PublishedBand(
                "yield_to_prunings",
                None,
                10.0,
                (
                    "Bravdo et al. 1985, American Journal of Enology and Viticulture 36: 125-131; harmful above 10, "
                    "Cabernet Sauvignon, Israel"
                ),
                cultivar="Cabernet Sauvignon",
            ),
        ),
    ),
    BandSet(
        "Dry et al. 2004",
        "review, Australia",
        (
            PublishedBand(
                "yield_to_prunings",
                5.0,
                10.0,
                "Dry et al. 2004, review, Australia, as cited in Wines & Vines, June 2017, p. 56",
                mark=SECOND_HAND,
            ),
        ),
    ),
    BandSet(
        "Kurtural et al. 2006",
        "17 eastern European cultivars, western Kentucky",
        (
            PublishedBand(
                "yield_to_prunings",
                13.0,
                18.0,
                ("Kurtural et al., HortScience 41: 1011; optimum, 17 eastern European cultivars, western Kentucky"),
            ),
        ),
    ),
    BandSet(
        "Bates et al. 2021",
        "Concord, New York",
        (
            PublishedBand(
                "yield_to_prunings",
                17.5,
                20.0,
                (
                    "Bates et al. 2021, American Journal of Enology and Viticulture 72(1), from p. 1; 17.5 keeps vine "
                    "size, 20 reaches 16 °Brix on average, Concord, New York"
                ),
                cultivar="Concord",
            ),
        ),
    ),
    BandSet(
        "Mawdsley et al. 2018",
        "Pinot noir, central coast of California",
        (
            PublishedBand(
                "yield_to_prunings",
                3.0,
                6.0,
                "Mawdsley et al. 2018, Fermentation 4(3): 60; Pinot noir, central coast of California",
                cultivar="Pinot noir",
            ),
        ),
    ),
    BandSet(
        "Smart & Robinson 1991",
        "Sunlight into Wine; cool to warm climate, single canopy",
        (
            PublishedBand(
                "yield_to_prunings",
                5.0,
                10.0,
                "Smart and Robinson 1991, Sunlight into Wine",
                mark=FROM_MEMORY,
            ),
            PublishedBand(
                "prunings_per_m",
                0.3,
                0.6,
                "Smart and Robinson 1991, Sunlight into Wine; per metre of canopy",
                mark=FROM_MEMORY,
            ),
            PublishedBand(
                "cane_weight",
                20.0,
                40.0,
                "Smart and Robinson 1991, Sunlight into Wine",
                mark=FROM_MEMORY,
            ),
            PublishedBand(
                "leaf_layer_number",
                1.0,
                1.5,
                "Smart and Robinson 1991, Sunlight into Wine",
                mark=FROM_MEMORY,
            ),
            PublishedBand(
                "interior_leaf_share",
                None,
                20.0,
                "Smart and Robinson 1991, Sunlight into Wine; 80 to 100 % of leaves exterior",
                mark=FROM_MEMORY,
            ),
            PublishedBand(
                "interior_cluster_share",
                None,
                50.0,
                "Smart and Robinson 1991, Sunlight into Wine; 50 to 100 % of clusters exterior",
                mark=FROM_MEMORY,
            ),
            PublishedBand(
                "gap_share",
                20.0,
                40.0,
                "Smart and Robinson 1991, Sunlight into Wine",
                mark=FROM_MEMORY,
            ),
        ),
    ),
    BandSet(
        "Fiola",
        "University of Maryland; vertically shoot-positioned and high cordon",
        (
            PublishedBand(
                "shoots_per_m",
                9.8,
                16.4,
                (
                    "Fiola, University of Maryland Extension, Canopy management: shoot thinning and positioning; 3 to "
                    "5 shoots per foot of trellis"
                ),
            ),
        ),
    ),
    BandSet(
        "Reynolds et al. 1994",
        "Riesling of low to moderate vigour",
        (
            PublishedBand(
                "shoots_per_m",
                16.0,
                26.0,
                (
                    "Reynolds et al. 1994, Journal of the American Society for Horticultural Science 119: 874; "
                    "Riesling of low to moderate vigour"
                ),
                cultivar="Riesling",
            ),
        ),
    ),
)
SETS: dict[str, BandSet] = {one.name: one for one in _SETS}
"""Every set of published bands by name."""
