"""Published bands of the canopy: shoots and leaf layers, gaps, exposure, leaf area to fruit. They disagree."""

from vinebook.advice.published_band import DIVIDED, FROM_MEMORY, SINGLE, PublishedBand

CANOPY: dict[str, tuple[PublishedBand, ...]] = {
    "Kliewer & Dokoozlian 2005": (
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
    "White 2012": (
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
    "WineSkills": (
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
    "Smart & Robinson 1991": (
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
    "Fiola": (
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
    "Reynolds et al. 1994": (
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
}
"""By the name of the set."""
