"""Every figure of a block and season by name: what it is, its metric unit, what one is counted on."""

from __future__ import annotations

from dataclasses import dataclass

BEARING_VINE = "bearing vine"


@dataclass(frozen=True, slots=True)
class FigureKind:
    """A figure as it is named, titled and measured.

    Attributes
    ----------
    name : the name in the figures JSON and on the command line.
    title : the heading on paper.
    unit : metric unit; quantities.US_OF_METRIC says how it is shown in US units.
    per : what one is counted on.
    is_ : one sentence on what it is.
    """

    name: str
    title: str
    unit: str
    per: str
    is_: str


_ROWS = (
    ("vines_bearing", "Bearing vines", "vines", "", "vines that bear, by the census in force"),
    ("vines_missing_share", "Missing vines", "%", "", "missing or dead places, of all places, by the census in force"),
    ("planted_area", "Planted area", "ha", "", "positions × row spacing × vine spacing"),
    ("surveyed_area", "Surveyed area", "ha", "", "area by survey, beside the planted area"),
    ("canopy_m_per_vine", "Canopy per vine", "m", "vine", "vine spacing × curtains"),
    ("row_m_per_ha", "Row per hectare", "m/ha", "ha planted", "length of row on one hectare"),
    ("nodes_per_vine", "Nodes kept", "nodes", BEARING_VINE, "count nodes kept at the visit that sets the season"),
    ("nodes_per_m", "Nodes kept per metre", "nodes/m", "m of canopy", "count nodes kept ÷ canopy of a vine"),
    ("spurs_per_vine", "Spurs", "spurs", BEARING_VINE, "spurs kept at the visit that sets the season"),
    ("canes_per_vine", "Canes", "canes", BEARING_VINE, "canes kept at the visit that sets the season"),
    ("spur_spacing", "Spur spacing", "cm", "", "mean gap between spur positions of one arm"),
    ("spur_spacing_within_share", "Spur gaps within", "%", "gap", "gaps within 10–15 cm or the block's own band"),
    (
        "longest_bare_cordon",
        "Longest bare cordon",
        "cm",
        "vine",
        "longest stretch of a vine without a spur, to the arm's end",
    ),
    ("bud_mortality", "Dead buds", "%", "bud", "buds with a dead primary ÷ buds cut"),
    ("budbreak", "Budbreak", "%", "count node", "count nodes with a shoot ÷ all count nodes, before thinning"),
    ("shoots_per_node", "Shoots per node", "shoots", "count node", "all shoots ÷ count nodes, before thinning"),
    ("shoots_per_vine", "Shoots", "shoots", BEARING_VINE, "count, double and non-count shoots, before thinning"),
    ("noncount_shoot_share", "Non-count shoots", "%", "shoot", "non-count shoots ÷ all shoots, before thinning"),
    ("shoots_per_spur", "Shoots per spur", "shoots", "spur", "all shoots of a spur, before thinning"),
    ("shoots_per_m", "Shoots per metre", "shoots/m", "m of canopy", "all shoots ÷ canopy, latest count"),
    ("clusters_per_vine", "Clusters", "clusters", BEARING_VINE, "clusters on a vine, latest count"),
    ("clusters_per_shoot", "Clusters per shoot", "clusters", "shoot", "clusters ÷ shoots of the node tally"),
    ("clusters_per_node_at_k", "Clusters per node", "clusters", "node", "clusters ÷ nodes at a node position"),
    ("fruitful_share_at_k", "Fruitful nodes", "%", "node", "nodes with a cluster ÷ nodes at a node position"),
    ("cluster_weight", "Cluster weight", "g", "cluster", "mass ÷ clusters of the weighed lots at the stage"),
    ("berries_per_cluster", "Berries per cluster", "berries", "cluster", "cluster weight ÷ berry weight"),
    ("berry_weight", "Berry weight", "g", "berry", "mass ÷ number of the counted berries"),
    ("crop", "Crop", "t", "", "all net picked, refused included, plus fruit left on the vine"),
    ("delivered", "Delivered", "t", "", "net accepted"),
    ("yield_per_vine", "Yield per vine", "kg", BEARING_VINE, "crop ÷ bearing vines, or fruit of vines picked alone"),
    ("yield_per_ha", "Yield", "t/ha", "ha planted", "crop ÷ planted area"),
    ("yield_per_m", "Yield per metre", "kg/m", "m of canopy", "yield per bearing vine ÷ its canopy"),
    ("yield_per_m_planted", "Yield per metre planted", "kg/m", "m of row", "crop ÷ all row planted, gaps included"),
    ("soluble_solids", "Soluble solids", "°Brix", "", "of the must, weighted by mass"),
    ("ph", "pH", "", "", "of the must, mean of readings"),
    ("titratable_acidity", "Titratable acidity", "g/L", "", "of the must, weighted by mass"),
    ("prunings_per_vine", "Prunings per vine", "kg", BEARING_VINE, "one-year-old wood grown in this season"),
    ("prunings_per_m", "Prunings per metre", "kg/m", "m of canopy", "prunings ÷ canopy of this season"),
    ("cane_weight", "Cane weight", "g", "cane", "prunings ÷ canes weighed"),
    ("yield_to_prunings", "Yield to prunings", "kg/kg", BEARING_VINE, "crop ÷ the prunings weighed after it"),
    ("leaf_area_to_fruit", "Leaf area to fruit", "m²/kg", BEARING_VINE, "leaf area ÷ crop"),
    ("leaf_layer_number", "Leaf layers", "layers", "probe", "leaf contacts ÷ probes, gaps included"),
    ("gap_share", "Gaps", "%", "probe", "probes that meet neither leaf nor cluster ÷ all probes"),
    (
        "interior_leaf_share",
        "Interior leaves",
        "%",
        "leaf",
        "leaves that are neither first nor last contact of a probe",
    ),
    (
        "interior_cluster_share",
        "Interior clusters",
        "%",
        "cluster",
        "clusters neither first nor last contact of a probe",
    ),
    ("component_check", "Component check", "%", "", "crop worked out from counts, less the crop, of the crop"),
)
FIGURES: dict[str, FigureKind] = {row[0]: FigureKind(*row) for row in _ROWS}

WOOD_FIGURES = frozenset({"prunings_per_vine", "prunings_per_m", "cane_weight"})
"""Figures of the wood of a season, weighed at the visit that sets the next."""
CARRIED = frozenset(name for name, kind in FIGURES.items() if kind.per not in ("", "ha planted")) - {
    "canopy_m_per_vine"
} | {"spur_spacing"}
"""Figures of a vine, of a part of it or of a metre: a block takes these over from the blocks before it.

Tonnes, vines, areas, must and the ground's own measures stay with the block that has them.
"""
