"""Published bands of balance: yield to prunings, wood per metre, cane weight. They disagree."""

from vinebook.advice.published_band import DIVIDED, FROM_MEMORY, SECOND_HAND, SINGLE, PublishedBand

BALANCE: dict[str, tuple[PublishedBand, ...]] = {
    "Kliewer & Dokoozlian 2005": (
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
    ),
    "White 2012": (
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
    ),
    "WineSkills": (
        PublishedBand(
            "cane_weight",
            30.0,
            40.0,
            ("WineSkills, Plumpton College, Factors to be taken into account when pruning; ideal cane, cool climate"),
        ),
    ),
    "Bordelon et al. 2008": (
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
    "Bravdo et al. 1984": (
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
    "Bravdo et al. 1985": (
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
    "Dry et al. 2004": (
        PublishedBand(
            "yield_to_prunings",
            5.0,
            10.0,
            "Dry et al. 2004, review, Australia, as cited in Wines & Vines, June 2017, p. 56",
            mark=SECOND_HAND,
        ),
    ),
    "Kurtural et al. 2006": (
        PublishedBand(
            "yield_to_prunings",
            13.0,
            18.0,
            ("Kurtural et al., HortScience 41: 1011; optimum, 17 eastern European cultivars, western Kentucky"),
        ),
    ),
    "Bates et al. 2021": (
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
    "Mawdsley et al. 2018": (
        PublishedBand(
            "yield_to_prunings",
            3.0,
            6.0,
            "Mawdsley et al. 2018, Fermentation 4(3): 60; Pinot noir, central coast of California",
            cultivar="Pinot noir",
        ),
    ),
    "Smart & Robinson 1991": (
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
    ),
}
"""By the name of the set."""
