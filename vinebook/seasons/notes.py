"""What a figure's note says: each reason, warning and remark once, as a bit and its words.

Two ranges, each in an array of its own: a `Note` says why a number or an interval is missing, or what a number rests
on; a `Remark` says what happened to the vines or the fruit. A bit stands for one of either, so that arrays stay
whole numbers.
"""

from __future__ import annotations

from enum import IntFlag, auto


class Note(IntFlag):
    """Reasons and warnings that a figure can carry; room for 63."""

    NO_PLANTING = auto()
    NO_CENSUS = auto()
    CENSUS_LATER = auto()
    CENSUS_SAMPLED = auto()
    NO_COUNT = auto()
    NOT_BEFORE_THINNING = auto()
    ONLY_AFTER_THINNING = auto()
    NO_BEARING = auto()
    HAND_PICKED = auto()
    HAND_LEFT_OUT = auto()
    ONE_UNIT = auto()
    FEW = auto()
    FEW_LOTS = auto()
    UNBOUNDED = auto()
    POOLED_PARTS = auto()
    PER_ROW = auto()
    NO_ROW_CANOPY = auto()
    NO_SPACING = auto()
    NOT_CLOSED = auto()
    UNSPLIT = auto()
    HARVEST_AWAITED = auto()
    NO_HARVEST = auto()
    TRUE_ZERO = auto()
    YOUNG = auto()
    FROM_VINES = auto()
    BY_EYE = auto()
    SURVEYED = auto()
    NO_SURVEY = auto()
    WOOD_AWAITED = auto()
    WEIGHTS_AWAITED = auto()
    WOOD_NOT_WEIGHED = auto()
    WOOD_PASSED = auto()
    PLANTING_ENDED = auto()
    BLOCK_ENDED = auto()
    WOOD_INCOMPLETE = auto()
    WOOD_PARTLY = auto()
    ALL_DRAWN = auto()
    PURPOSES = auto()
    NO_MUST = auto()
    ONE_LOT = auto()
    NOT_BY_CREW = auto()
    ZERO_CROP_RATIO = auto()
    NEEDS_OTHERS = auto()
    SAME_VINES = auto()
    NO_VARIATION = auto()
    FROM_PICKED_VINES = auto()
    NO_BEARING_VINES = auto()
    NO_TRAINING = auto()
    FROM_CLUSTERS = auto()
    NO_SPURS = auto()
    NO_CANES = auto()
    SPUR_PRUNED = auto()
    CANE_PRUNED = auto()
    OPEN_TICKET = auto()
    SET_ASIDE = auto()
    ONE_PROBED = auto()
    FEW_PROBED = auto()
    NO_CONTACT = auto()


class Remark(IntFlag):
    """What happened to the vines or the fruit of a figure; room for 63."""

    NOW_BY_MACHINE = auto()
    NOW_BY_HAND = auto()
    WITHOUT_RACHIS = auto()
    FIRST_CROP = auto()
    FIRST_AFTER_GRAFTING = auto()
    BEFORE_RECORD = auto()
    COUNTED_BEFORE = auto()
    LEAF_SAME_VINES = auto()


RACHIS = "about 5 % of cluster mass (Iowa State University, Wine Growers News 178, 2011-08-05)"
"""The source: the rachis is approximately 5 % of cluster weight, and harvesters tend to leave it hanging."""

NOTES: dict[Note, str] = {
    Note.NO_PLANTING: "no planting is recorded for {season}",
    Note.NO_CENSUS: "no vine census is in the book",
    Note.CENSUS_LATER: "the only census was taken later, on {census}",
    Note.CENSUS_SAMPLED: "bearing vines are estimated from sampled rows",
    Note.NO_COUNT: "not counted in {season}",
    Note.NOT_BEFORE_THINNING: "not counted before thinning",
    Note.ONLY_AFTER_THINNING: "counted after thinning only",
    Note.NO_BEARING: "no vine of the sample gives this figure",
    Note.HAND_PICKED: "picked by hand, hence no interval",
    Note.HAND_LEFT_OUT: "vines picked by hand are left out beside the drawn ones",
    Note.ONE_UNIT: "one vine or panel has no spread, hence no interval",
    Note.FEW: "fewer vines than shown to suffice",
    Note.FEW_LOTS: "fewer lots than shown to suffice",
    Note.UNBOUNDED: "what it is divided by is not clearly away from zero, hence no interval",
    Note.POOLED_PARTS: "parts of the block are pooled as one: the census does not count the same parts",
    Note.PER_ROW: "no training is recorded: per metre of row",
    Note.NO_ROW_CANOPY: "vines without a row canopy have no figure per metre",
    Note.NO_SPACING: "no planting is recorded, so the vine spacing is not known",
    Note.NOT_CLOSED: "the harvest of {season} is not closed",
    Note.UNSPLIT: "a load holds several blocks and is not split: {tickets}",
    Note.HARVEST_AWAITED: "the harvest of {season} is not in the book yet",
    Note.NO_HARVEST: "neither loads nor a close are recorded for {season}",
    Note.TRUE_ZERO: "the harvest was closed without fruit",
    Note.YOUNG: "the fruit of young vines, {young} % of the vines, is in the crop",
    Note.FROM_VINES: "from vines picked alone, as no crop is recorded",
    Note.BY_EYE: "part of the crop was judged by eye or by bins, hence no interval",
    Note.SURVEYED: "the planted area is not known; the surveyed area is used",
    Note.NO_SURVEY: "no surveyed area is recorded",
    Note.WOOD_AWAITED: "the wood of {season} is weighed at the pruning that sets {next}",
    Note.WEIGHTS_AWAITED: "the weights of the pruning that sets {next} are not in the book yet",
    Note.WOOD_NOT_WEIGHED: "no wood was weighed at the pruning that sets {next}",
    Note.WOOD_PASSED: "the wood of {season} was not weighed before a later harvest closed",
    Note.PLANTING_ENDED: "the planting ended before the wood of {season} was weighed",
    Note.BLOCK_ENDED: "the block ended before the wood of {season} was weighed",
    Note.WOOD_INCOMPLETE: "the wood was incomplete after mechanical pre-pruning",
    Note.WOOD_PARTLY: "vines with incomplete wood are left out",
    Note.ALL_DRAWN: "every vine was counted",
    Note.PURPOSES: "picks of several purposes have no common mean",
    Note.NO_MUST: "no must figure stands on a ticket of {season}",
    Note.ONE_LOT: "a single lot has no spread, hence no interval",
    Note.NOT_BY_CREW: "no vine of the sample was pruned by the crew",
    Note.ZERO_CROP_RATIO: "no crop, hence no interval",
    Note.NEEDS_OTHERS: "shoots, clusters and cluster weight are not all known",
    Note.SAME_VINES: "fruit and wood are of the same vines",
    Note.NO_VARIATION: "all counts are equal or zero, hence no interval",
    Note.FROM_PICKED_VINES: "from vines picked alone, as no lot was weighed at harvest",
    Note.NO_BEARING_VINES: "the census counts no bearing vine",
    Note.NO_TRAINING: "no training is recorded for {season}",
    Note.FROM_CLUSTERS: "from clusters counted on the vine, not from shoots and clusters per shoot",
    Note.NO_SPURS: "no spurs were counted",
    Note.NO_CANES: "no canes were counted",
    Note.SPUR_PRUNED: "spur-pruned: no canes",
    Note.CANE_PRUNED: "cane-pruned: no spurs",
    Note.OPEN_TICKET: "fruit of {season} is weighed and not yet given to blocks: {open_tickets}",
    Note.SET_ASIDE: "an earlier sample (n = {set_aside}) is set aside",
    Note.ONE_PROBED: "a single transect or cane has no spread, hence no interval",
    Note.FEW_PROBED: "fewer transects or canes than shown to suffice",
    Note.NO_CONTACT: "the rod met none",
}
"""The words of each note; `season`, `next`, `census`, `tickets`, `young` and the like are filled in when it is told."""

REMARKS: dict[Remark, str] = {
    Remark.NOW_BY_MACHINE: f"picked by machine after a season by hand: the rachis stays on the vine, {RACHIS}",
    Remark.NOW_BY_HAND: f"picked by hand after a season by machine: the rachis is weighed again, {RACHIS}",
    Remark.WITHOUT_RACHIS: f"fruit picked by machine lacks the rachis that hand-cut clusters weigh with, {RACHIS}",
    Remark.FIRST_CROP: "first crop of the vines planted in {since}",
    Remark.FIRST_AFTER_GRAFTING: "first crop after grafting over in {since}",
    Remark.BEFORE_RECORD: "before the record's first season: weighed at the visit that sets {next}",
    Remark.COUNTED_BEFORE: "counted at least in part before thinning, while the crop was picked after it",
    Remark.LEAF_SAME_VINES: "leaves and fruit are of the same vines",
}
"""The words of each remark."""


def words_of(bits: int, facts: dict[str, object], remarks: int = 0) -> str:
    """Give the text of a set of notes and remarks.

    Parameters
    ----------
    bits : notes, added up.
    facts : what the words name.
    remarks : remarks, added up.
    """
    told = [REMARKS[remark].format_map(facts) for remark in Remark(remarks)] if remarks else []
    return "; ".join([*(NOTES[note].format_map(facts) for note in Note(bits)), *told] if bits else told)
