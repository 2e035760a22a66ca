"""The sample, and every kind whose rows are vines or lots of one."""

from vinebook.kinds.field import (
    Bars,
    Field,
    Kind,
    ListLengthIs,
    Needs,
    NotAbove,
    choice,
    code,
    count,
    date,
    ref,
    sample_mass,
    season,
)

NOT_BEARING = ("young", "missing", "dead")
STATE = choice(
    "state",
    "bearing young missing dead",
    "State of the vine; young vines do not crop at present.",
    default="bearing",
)
VINE = (
    count("row", "Number of the row.", required=True, low=1),
    count("vine", "Position of the vine from the numbered end of its row.", required=True, low=1),
)
VINE_KEY = ("sample", "row", "vine")

SAMPLE = Kind(
    name="sample",
    one_row="a sample: what was counted in a block on a date, and how its vines were chosen",
    key=("block", "season", "counts", "date", "thinning", "part", "chosen", "counted_by"),
    part="growing",
    dated_by=("date",),
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Harvest year; empty follows from the date."),
        date("date", "Date of the count.", required=True),
        code("part", "Part of the block (stratum); empty for the whole block.", default="all"),
        choice("thinning", "before after", "Counted before or after thinning.", default="before"),
        choice(
            "chosen",
            "random every_kth panels hand_picked",
            "How the vines were chosen: drawn at random; every k-th from a random start; panels at random; by hand.",
            required=True,
        ),
        count("panel_size", "Vine positions in a panel, where panels were drawn.", low=1, usual=(2, 12)),
        code("draw", "Name of the draw, if one was recorded."),
        count("seed", "Seed of the draw."),
        code("counted_by", "Who counted; initials or a number will do.", required=True),
    ),
    rules=(Needs("panel_size", "chosen", ("panels",), "the panel is the unit where panels were drawn"),),
)
"""Its columns stand at the head of every tally of a sampled kind; `counts` is the name of that kind."""

PRUNED_VINE = Kind(
    name="pruned_vine",
    one_row="a sampled vine at the pruning visit",
    key=VINE_KEY,
    part="dormant",
    sampled=True,
    aggregates=(
        "state",
        "pruned_by",
        "wood",
        "spurs",
        "canes",
        "nodes_on_spurs",
        "nodes_on_canes",
        "nodes_on_renewal_spurs",
        "canes_weighed",
        "prunings",
    ),
    fields=(
        *VINE,
        STATE,
        count("spurs", "Spurs kept, renewal spurs not counted.", usual=(0, 80)),
        count("canes", "Canes kept.", usual=(0, 20)),
        count("renewal_spurs", "Renewal spurs kept.", usual=(0, 20)),
        count("nodes_on_spurs", "Count nodes kept on spurs; the basal bud never counts.", usual=(0, 300)),
        count("nodes_on_canes", "Count nodes kept on canes.", usual=(0, 300)),
        count("nodes_on_renewal_spurs", "Count nodes kept on renewal spurs.", usual=(0, 60)),
        count("canes_weighed", "One-year-old canes in the weighed bundle.", usual=(1, 200)),
        sample_mass("prunings", "Mass of one-year-old canes cut from this vine.", usual=(0, 8_000_000)),
        choice(
            "pruned_by", "crew sampler", "Who pruned the vine; only the crew's show what the crew did.", default="crew"
        ),
        choice("wood", "complete incomplete", "Incomplete after mechanical pre-pruning.", default="complete"),
    ),
    rules=(
        *(
            Bars(field, "state", ("missing", "dead"), "a missing or dead vine has no wood")
            for field in ("nodes_on_spurs", "nodes_on_canes", "nodes_on_renewal_spurs", "prunings")
        ),
    ),
)

SHOOT_TALLY = Kind(
    name="shoot_tally",
    one_row="a sampled vine with its shoots counted by class",
    key=VINE_KEY,
    part="growing",
    sampled=True,
    aggregates=("state", "count_shoots", "double_shoots", "noncount_shoots", "blind_nodes"),
    fields=(
        *VINE,
        STATE,
        count("count_shoots", "Count nodes with at least one shoot.", usual=(0, 300)),
        count("double_shoots", "Shoots beyond the first from a count node.", usual=(0, 100)),
        count("noncount_shoots", "Shoots from basal and old-wood buds.", usual=(0, 150)),
        count("blind_nodes", "Count nodes that gave no shoot.", usual=(0, 150)),
    ),
    rules=(
        Needs("count_shoots", "state", ("bearing",), "a bearing vine was counted"),
        *(
            Bars(field, "state", ("missing", "dead"), "a missing or dead vine has no shoots")
            for field in ("count_shoots", "double_shoots", "noncount_shoots", "blind_nodes")
        ),
    ),
)

NODE_TALLY = Kind(
    name="node_tally",
    one_row="one node of a spur or cane with its shoots and clusters",
    key=("sample", "row", "vine", "bearer", "bearer_number", "position"),
    part="growing",
    sampled=True,
    aggregates=("shoots", "clusters"),
    fields=(
        *VINE,
        choice("bearer", "spur cane renewal_spur head_spur", "What the node stands on.", required=True),
        count("bearer_number", "Number of that spur or cane on the vine.", required=True, low=1, high=500),
        Field(
            "position",
            "position",
            "Node position: 0 basal, then 1, 2, … from the base; old wood for head and trunk.",
            required=True,
        ),
        count("shoots", "Shoots from the node; 0 where it is blind.", required=True, usual=(0, 4)),
        Field("clusters", "counts", "Clusters on each of its shoots, joined by +: 2+1.", usual=(0, 8)),
    ),
    rules=(ListLengthIs("clusters", "shoots", "one number of clusters for each shoot"),),
)

CLUSTER_TALLY = Kind(
    name="cluster_tally",
    one_row="a sampled vine with its clusters counted",
    key=VINE_KEY,
    part="growing",
    sampled=True,
    aggregates=("state", "clusters"),
    fields=(*VINE, STATE, count("clusters", "Clusters on the vine.", usual=(0, 600))),
    rules=(
        Needs("clusters", "state", ("bearing",), "a bearing vine was counted"),
        Bars("clusters", "state", ("missing", "dead"), "a missing or dead vine has no clusters"),
    ),
)

CLUSTER_LOT = Kind(
    name="cluster_lot",
    one_row="a weighed lot: all clusters of drawn vines at a stage",
    key=("sample", "stage", "lot"),
    part="growing",
    sampled=True,
    fields=(
        choice("stage", "lag_phase veraison harvest", "Stage at which the lot was cut.", required=True),
        count("lot", "Number of the lot in this sample; the row of each drawn vine will do.", required=True, low=1),
        count("clusters", "Clusters in the lot.", required=True, low=1),
        sample_mass("mass", "Mass of the clusters.", required=True),
        count("berries", "Berries counted, of berry_mass."),
        sample_mass("berry_mass", "Mass of the counted berries.", metric="g", us="g"),
        count("days_after_bloom", "Days from full bloom to the date.", high=250),
    ),
    rules=(NotAbove("berry_mass", "mass", "the counted berries are part of the lot"),),
)

VINE_HARVEST = Kind(
    name="vine_harvest",
    one_row="a sampled vine picked alone",
    key=VINE_KEY,
    part="growing",
    sampled=True,
    aggregates=("state", "mass", "clusters"),
    fields=(
        *VINE,
        STATE,
        count("clusters", "Clusters picked.", usual=(0, 600)),
        sample_mass("mass", "Mass of the fruit of this vine; needed for a bearing vine.", usual=(0, 60_000_000)),
    ),
    rules=(
        Needs("mass", "state", ("bearing",), "a bearing vine was weighed"),
        Bars("mass", "state", ("missing", "dead"), "a missing or dead vine has no fruit"),
    ),
)
