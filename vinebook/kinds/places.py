"""Places and long-lived facts: each is dated or has a first season, so that history stays true."""

from vinebook.kinds.field import (
    Field,
    Kind,
    NotAbove,
    OneOf,
    SumIs,
    area,
    choice,
    code,
    count,
    date,
    length,
    number,
    ref,
    season,
    text,
)

BANDED_FIGURES = """
bud_mortality budbreak berries_per_cluster berry_weight cane_weight canes_per_vine cluster_weight clusters_per_shoot
clusters_per_vine gap_share interior_cluster_share interior_leaf_share leaf_area_to_fruit leaf_layer_number
longest_bare_cordon nodes_per_m nodes_per_vine noncount_shoot_share ph prunings_per_m prunings_per_vine
shoots_per_m shoots_per_node shoots_per_spur shoots_per_vine soluble_solids spur_spacing
spur_spacing_within_share spurs_per_vine titratable_acidity vines_missing_share yield_per_ha yield_per_m
yield_per_vine yield_to_prunings
"""
"""Figures that a target band may be set for."""

VINEYARD = Kind(
    name="vineyard",
    one_row="a vineyard: one hemisphere, one set of units, one grower",
    key=("name",),
    fields=(
        code("name", "Name of the vineyard, as it should stand on reports.", required=True),
        choice("hemisphere", "north south", "Fixes which year a date belongs to.", required=True),
        text("place", "Where it is, in words."),
        choice("units", "metric us", "Units of a bare number in this vineyard's tallies.", default="metric"),
        text("time_zone", "Time zone, such as Etc/UTC."),
        text("grower", "Name of the grower."),
        text("address", "Address of the grower."),
        text("register_numbers", "Numbers in official registers."),
        text("geographical_indication", "Geographical indication that the fruit may claim."),
        count("keep_years", "Years that records must be kept.", high=200),
        code(
            "band_set",
            "Name of the published set of bands to judge by (`vinebook guide bands`); empty takes the default set.",
        ),
    ),
)

BLOCK = Kind(
    name="block",
    one_row="a block: one cultivar, one soil, one way of farming",
    key=("code",),
    fields=(
        ref("vineyard", "Vineyard that the block belongs to.", required=True),
        code("code", "Short code, unique in the book; it never changes.", required=True),
        text("name", "Name of the block in words."),
        Field(
            "row_direction",
            "measure",
            "Compass direction of the rows, 0 is north to south.",
            dimension="angle",
            metric="°",
            us="°",
            stored="°",
            low=0,
            high=360,
        ),
        area("surveyed_area", "Area by survey, kept beside the planted area.", usual=(0.01, 200)),
        season("from_season", "First season of the block under this code.", required=True),
        season("to_season", "Last season; empty while the block stands."),
        text("field_blend", "Of a field blend: the cultivars with their shares."),
    ),
    rules=(NotAbove("from_season", "to_season", "a block cannot end before it begins"),),
)

PREDECESSOR = Kind(
    name="predecessor",
    one_row="a block that an earlier block became, wholly or in part",
    key=("block", "predecessor"),
    fields=(
        ref("block", "The later block.", required=True),
        ref("predecessor", "The earlier block.", refers="block", required=True),
        choice("how", "split merger renaming replant", "How the earlier block became the later one.", required=True),
    ),
)

ROW = Kind(
    name="row",
    one_row="a row of a block, or a range of equal rows",
    key=("block", "from_season", "first_row"),
    fields=(
        ref("block", "Block that the rows belong to.", required=True),
        season("from_season", "First season of this layout.", required=True),
        count("first_row", "Number of the row, or of the first row of a range of equal rows.", required=True, low=1),
        count("last_row", "Last row of the range; empty for one row.", low=1),
        count("positions", "Vine positions in each row, empty places included.", required=True, low=1, usual=(1, 1000)),
        text("numbered_from", "End of the row from which vines are numbered."),
        count("vines_per_panel", "Vine positions between two posts.", low=1, usual=(2, 12)),
    ),
    rules=(NotAbove("first_row", "last_row", "a range runs from its first row to its last"),),
)

PLANTING = Kind(
    name="planting",
    one_row="what a block is planted to from a season on",
    key=("block", "from_season"),
    fields=(
        ref("block", "Block.", required=True),
        season("from_season", "First season in which this planting stands.", required=True),
        text("cultivar", "Cultivar.", required=True),
        text("clone", "Clone or clones."),
        text("rootstock", "Rootstock or rootstocks; own roots if none."),
        season("year_planted", "Year planted."),
        season("grafted_over_in", "Year grafted over, if it was."),
        length("row_spacing", "Distance between rows.", required=True, low=0.2, usual=(0.8, 5)),
        length("vine_spacing", "Distance between vines in the row.", required=True, low=0.1, usual=(0.4, 4)),
        count("positions", "Vine positions planted, all rows together.", required=True, low=1),
        season("to_season", "Last season; empty while it stands."),
    ),
    rules=(NotAbove("from_season", "to_season", "a planting cannot end before it begins"),),
)

VINE_CENSUS = Kind(
    name="vine_census",
    one_row="the vines of a block, of a part of it or of one counted row, on a date",
    key=("block", "date", "part", "row"),
    fields=(
        ref("block", "Block.", required=True),
        date("date", "Date of the count.", required=True),
        code("part", "Part of the block (stratum); empty for the whole block.", default="all"),
        count("row", "Number of the counted row; empty where the line is the whole block or part.", default="0"),
        choice("counted", "full sampled_rows", "Whether all rows were counted, or sampled ones.", default="full"),
        count("bearing", "Vines that bear.", required=True),
        count(
            "young", "Vines that do not crop at present: replanted, interplanted, retrained, grafted.", required=True
        ),
        count("missing", "Places empty or vines dead.", required=True),
        count("positions", "Places in all; empty takes the sum of the three."),
        code("counted_by", "Who counted; initials or a number will do."),
    ),
    rules=(SumIs(("bearing", "young", "missing"), "positions", "every place is bearing, young or missing"),),
)

TRAINING = Kind(
    name="training",
    one_row="how a block is trained from a season on",
    key=("block", "from_season"),
    fields=(
        ref("block", "Block.", required=True),
        season("from_season", "First season of this training.", required=True),
        choice("trained", "head cordon", "Head-trained or cordon-trained.", required=True),
        count("arms", "Arms of a vine.", usual=(1, 8)),
        count("curtains", "Curtains of canopy along the row; a divided canopy has two.", default="1", low=1, high=8),
        choice("shoot_position", "up down both free", "Which way shoots are placed."),
        length("cordon_length", "Cordon of one vine, all arms together.", usual=(0.3, 8)),
        length("wire_height", "Height of the fruiting wire.", usual=(0.3, 3)),
        choice("pruned", "spur cane mixed minimal", "How one-year-old wood is cut.", required=True),
        text("trade_name", "Trade name of the system, in words."),
    ),
)

METRIC_LIMIT = (
    "always in the figure's metric unit (t/ha, kg/m, kg, g, cm, %), whatever the vineyard's units; "
    "`vinebook guide figures` names it."
)

TARGET_BAND = Kind(
    name="target_band",
    one_row="the band a figure should lie in, for a vineyard or one block",
    key=("vineyard", "block", "figure", "from_season"),
    fields=(
        ref("vineyard", "Vineyard that the band is for; empty where a block is named."),
        ref("block", "Block that the band is for; empty where a vineyard is named."),
        choice("figure", BANDED_FIGURES, "Name of the figure, as `vinebook figures` prints it.", required=True),
        number("low", f"Lower limit, {METRIC_LIMIT}", low=0),
        number("high", f"Upper limit, {METRIC_LIMIT}", low=0),
        season("from_season", "First season that the band is for.", required=True),
        text("source", "Where the band comes from, in words.", required=True),
    ),
    rules=(
        OneOf(("vineyard", "block"), "a band is for a vineyard or for a block", exactly=True),
        OneOf(("low", "high"), "a band has at least one limit"),
        NotAbove("low", "high", "a band runs from low to high"),
    ),
)

CONSIGNEE = Kind(
    name="consignee",
    one_row="somebody who takes fruit",
    key=("name",),
    fields=(
        code("name", "Name, as it should stand on statements.", required=True),
        text("address", "Address."),
        text("register_numbers", "Numbers in official registers."),
    ),
)
