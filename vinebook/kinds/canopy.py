"""What is seen between pruning and harvest: bearers, buds, canopy, leaves, work done, growth stages, ripening."""

from vinebook.kinds.field import (
    BBCH_CODES,
    Bars,
    Field,
    Kind,
    Needs,
    NotAbove,
    OneOfWhere,
    choice,
    code,
    count,
    date,
    length,
    number,
    ref,
    sample_mass,
    season,
    share,
    text,
)
from vinebook.kinds.samples import STATE, VINE, VINE_KEY

BEARER = Kind(
    name="bearer",
    one_row="a spur or cane of a sampled vine, or the end of an arm, with its place and its shoots",
    key=("sample", "row", "vine", "bearer_number"),
    part="growing",
    sampled=True,
    fields=(
        *VINE,
        count(
            "bearer_number",
            "Number of the bearer on the vine, walking out along each arm.",
            required=True,
            low=1,
            high=500,
        ),
        choice("bearer", "spur cane renewal_spur head_spur end_of_arm", "What it is.", required=True),
        count("arm", "Arm that it stands on: 1, 2, …; empty for bearers of the head.", low=1, high=8),
        length(
            "distance",
            "Distance along the arm from the head to the bearer.",
            metric="cm",
            us="in",
            usual=(0, 4),
        ),
        count("nodes", "Count nodes kept on it.", usual=(0, 25)),
        count("count_shoots", "Count nodes of it with at least one shoot.", usual=(0, 25)),
        count("double_shoots", "Shoots of it beyond the first from a count node.", usual=(0, 10)),
        count("noncount_shoots", "Shoots of it from basal buds.", usual=(0, 10)),
    ),
    rules=(
        Needs("arm", "bearer", ("end_of_arm",), "the end of an arm is that of one arm"),
        Needs("distance", "bearer", ("end_of_arm",), "the length of bare cordon is measured to the end of the arm"),
        *(
            Bars(field, "bearer", ("end_of_arm",), "the end of an arm bears nothing")
            for field in ("nodes", "count_shoots", "double_shoots", "noncount_shoots")
        ),
        NotAbove("count_shoots", "nodes", "a count shoot stands on a count node"),
    ),
)

BUD_SAMPLE = Kind(
    name="bud_sample",
    one_row="one cane of buds cut open",
    key=("sample", "cane"),
    part="dormant",
    sampled=True,
    fields=(
        count("cane", "Number of the cane.", required=True, low=1),
        count("first_position", "First node position cut, counted from the base.", low=0, high=60),
        count("last_position", "Last node position cut.", low=0, high=60),
        count("buds", "Buds cut.", required=True, low=1, usual=(1, 30)),
        count("primaries_dead", "Buds whose primary is dead.", required=True),
        count("secondaries_alive", "Buds with a dead primary whose secondary is alive."),
        count("primordia", "Cluster primordia seen in the primaries."),
    ),
    rules=(
        NotAbove("first_position", "last_position", "positions run from the base outwards"),
        NotAbove("primaries_dead", "buds", "no more primaries can be dead than buds were cut"),
        NotAbove("secondaries_alive", "primaries_dead", "secondaries are looked at where the primary is dead"),
    ),
)

CANOPY_PROBE = Kind(
    name="canopy_probe",
    one_row="one probe of a point-quadrat transect through the cluster zone",
    key=("sample", "transect", "probe"),
    part="growing",
    sampled=True,
    fields=(
        count("transect", "Number of the transect.", required=True, low=1),
        count("probe", "Number of the probe along it.", required=True, low=1),
        code("side", "Side of the row from which the rod goes in."),
        length("height", "Height of the probe above the ground.", usual=(0.3, 2.5)),
        Field(
            "contacts",
            "contacts",
            "What the rod meets, in order: L leaf, C cluster, S stem; empty or G where it meets nothing.",
            default="G",
        ),
    ),
)

LEAF_AREA = Kind(
    name="leaf_area",
    one_row="a sampled vine with its leaf area",
    key=VINE_KEY,
    part="growing",
    sampled=True,
    fields=(
        *VINE,
        STATE,
        Field(
            "leaf_area",
            "measure",
            "Leaf area of the vine.",
            dimension="area",
            metric="m2",
            us="ft2",
            stored="m2",
            low=0,
            usual=(0.5, 60),
        ),
        text("method", "How it was measured or worked out."),
    ),
    rules=(Needs("leaf_area", "state", ("bearing",), "a bearing vine was measured"),),
)

MATURITY_SAMPLE = Kind(
    name="maturity_sample",
    one_row="a field sample before picking",
    key=("block", "date", "number"),
    part="growing",
    dated_by=("date",),
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Harvest year; empty follows from the date."),
        date("date", "Date.", required=True),
        count("number", "Number of the sample on that date.", default="1", low=1),
        choice("sampled", "clusters berries", "What was picked.", default="berries"),
        count("clusters", "Clusters picked."),
        count("berries", "Berries picked, or counted for their mass."),
        sample_mass("berry_mass", "Mass of those berries.", metric="g", us="g"),
        Field(
            "soluble_solids",
            "measure",
            "Soluble solids.",
            dimension="sugar",
            metric="°Brix",
            us="°Brix",
            stored="°Brix",
            low=0,
            high=80,
            usual=(3, 35),
        ),
        number("ph", "pH.", low=0, high=14, usual=(2.4, 4.5)),
        Field(
            "titratable_acidity",
            "measure",
            "Titratable acidity, as tartaric acid.",
            dimension="acidity",
            metric="g/L",
            us="g/L",
            stored="g/L",
            low=0,
            usual=(2, 35),
        ),
        text("condition", "Condition of the fruit."),
    ),
)

CANOPY_WORK = Kind(
    name="canopy_work",
    one_row="one pass of work in the canopy of a block",
    key=("block", "season", "work", "started_on"),
    part="growing",
    dated_by=("started_on", "finished_on"),
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Harvest year; empty follows from the date."),
        choice(
            "work",
            "shoot_thinning shoot_positioning cluster_zone_leaf_removal hedging cluster_thinning",
            "What was done.",
            required=True,
        ),
        date("started_on", "First day.", required=True),
        date("finished_on", "Last day."),
        text("side", "Side of the row, or both."),
        text("extent", "How much, in words: to 15 shoots a metre, 3 leaves a shoot, one cluster a shoot."),
        choice("done_by", "hand machine", "By hand or by machine."),
        text("rows_done", "Rows done, in words."),
        code("crew", "Crew; initials or a number will do."),
        text("note", "Anything else."),
    ),
    rules=(NotAbove("started_on", "finished_on", "a pass ends on or after its first day"),),
)

GROWTH_STAGE = Kind(
    name="growth_stage",
    one_row="a reading of the growth stage of a block",
    key=("block", "date", "scale", "code"),
    part="growing",
    dated_by=("date",),
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Harvest year; empty follows from the date."),
        date("date", "Date.", required=True),
        code("scale", "Scale: BBCH, or another by its name.", default="BBCH"),
        code("code", "Code on that scale, as text: 09 keeps its zero.", required=True),
        share("share", "Share of the vines at this stage or beyond it."),
        text("words", "What was seen."),
    ),
    rules=(OneOfWhere("code", "scale", ("BBCH",), BBCH_CODES, "the published list for grapevine has no other codes"),),
)
"""BBCH for grapevine: Lorenz et al. 1994/1995, as listed in the BBCH monograph (Meier); codes are two digits."""

CANOPY_KINDS = (BEARER, BUD_SAMPLE, CANOPY_PROBE, LEAF_AREA, MATURITY_SAMPLE, CANOPY_WORK, GROWTH_STAGE)
