"""Every kind of record as plain data: one definition from which table, form, checks and pages follow."""

from vinebook.kinds.canopy import (
    BEARER,
    BUD_SAMPLE,
    CANOPY_PROBE,
    CANOPY_WORK,
    GROWTH_STAGE,
    LEAF_AREA,
    MATURITY_SAMPLE,
)
from vinebook.kinds.drawn import DRAW, DRAWN_VINE
from vinebook.kinds.field import Field, Kind
from vinebook.kinds.given import CERTIFICATION, CROP_ESTIMATE, DECISION, EVIDENCE, SILENCE
from vinebook.kinds.places import (
    BLOCK,
    CONSIGNEE,
    PLANTING,
    PREDECESSOR,
    ROW,
    TARGET_BAND,
    TRAINING,
    VINE_CENSUS,
    VINEYARD,
)
from vinebook.kinds.samples import (
    CLUSTER_LOT,
    CLUSTER_TALLY,
    NODE_TALLY,
    PRUNED_VINE,
    SAMPLE,
    SHOOT_TALLY,
    VINE_HARVEST,
)
from vinebook.kinds.seasonal import EVENT, HARVEST_CLOSE, LOAD, LOAD_PART, PRUNING_VISIT

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        VINEYARD,
        BLOCK,
        PREDECESSOR,
        ROW,
        PLANTING,
        VINE_CENSUS,
        TRAINING,
        TARGET_BAND,
        CERTIFICATION,
        CONSIGNEE,
        SILENCE,
        DRAW,
        DRAWN_VINE,
        SAMPLE,
        BUD_SAMPLE,
        DECISION,
        EVIDENCE,
        PRUNING_VISIT,
        PRUNED_VINE,
        BEARER,
        GROWTH_STAGE,
        CANOPY_WORK,
        SHOOT_TALLY,
        NODE_TALLY,
        CLUSTER_TALLY,
        CLUSTER_LOT,
        CANOPY_PROBE,
        LEAF_AREA,
        MATURITY_SAMPLE,
        CROP_ESTIMATE,
        VINE_HARVEST,
        LOAD,
        LOAD_PART,
        HARVEST_CLOSE,
        EVENT,
    )
}
"""All kinds by name, in the order in which tallies are loaded: what is named comes before what names it."""

LOADED_KINDS: dict[str, Kind] = {name: kind for name, kind in KINDS.items() if kind is not SAMPLE and not kind.made}
"""The kinds that have a tally of their own; samples come with the rows that they hold."""
MADE_KINDS: dict[str, Kind] = {name: kind for name, kind in KINDS.items() if kind.made}
"""The kinds whose rows only the program makes, in the step of another record."""

__all__ = ["KINDS", "LOADED_KINDS", "MADE_KINDS", "SAMPLE", "Field", "Kind"]
