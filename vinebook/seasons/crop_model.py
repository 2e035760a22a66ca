"""What an estimate of the crop rests on: counts of a season as they stood on a day, and seasons that are over."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import datetime as dt

    from vinebook.seasons.model import EstimateFacts

Stage = Literal["bud_break", "set", "lag_phase", "veraison", "near_harvest"]
STAGES: tuple[Stage, ...] = ("bud_break", "set", "lag_phase", "veraison", "near_harvest")
LOTS_OF: dict[Stage, str] = {"lag_phase": "lag_phase", "veraison": "veraison", "near_harvest": "harvest"}
"""Stage of the weighed lots that an estimate at a stage rests on."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A mean of what was counted or weighed.

    Attributes
    ----------
    value : mean, in the unit of what it is of.
    se, df : standard error and degrees of freedom; None where the vines were picked by hand, or one was counted.
    n, unit : how many were counted, and of what: "vine", "panel", "lot", "row"; "" for a full count.
    on : date of the latest of them.
    by_hand : whether they were picked by hand.
    note : what else is to be said of it.
    """

    value: float
    se: float | None
    df: float | None
    n: int
    unit: str
    on: dt.date
    by_hand: bool = False
    note: str = ""

    @property
    def has_spread(self) -> bool:
        """Say whether its standard error is known."""
        return self.se is not None


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What changed the crop of a season after it may have been counted: thinning, or an event."""

    on: dt.date
    what: str
    share_hit_percent: float | None = None


@dataclass(frozen=True, slots=True)
class CropCounts:
    """The counts of a block and season as the book held them on a day.

    Attributes
    ----------
    on : that day; what happened later is not in it.
    cultivar, region : what is planted; blocks of one region share the weather of a season.
    vines, clusters, nodes : bearing vines; clusters and count nodes per bearing vine; None where not known.
    clusters_after_thinning : whether these clusters were counted after thinning.
    weights : cluster weight in g by stage of the lots: lag_phase, veraison, harvest.
    days_after_bloom : of those lots, where known.
    bloom_on, set_on : dates of full bloom and of fruit set, where they were read.
    disturbances : of the whole season.
    picking_on, closed_on : first load and close of this season's harvest, whenever they came.
    planted_area_ha : positions × spacings; None where no planting is known.
    """

    block: str
    season: int
    on: dt.date
    cultivar: str
    region: str
    vines: Measured | None = None
    clusters: Measured | None = None
    clusters_after_thinning: bool = False
    nodes: Measured | None = None
    weights: dict[str, Measured] = field(default_factory=dict)
    days_after_bloom: dict[str, int] = field(default_factory=dict)
    bloom_on: dt.date | None = None
    set_on: dt.date | None = None
    disturbances: tuple[Disturbance, ...] = ()
    picking_on: dt.date | None = None
    closed_on: dt.date | None = None
    planted_area_ha: float | None = None


@dataclass(frozen=True, slots=True)
class PastSeason:
    """What a season of a block tells of later ones.

    Attributes
    ----------
    crop_t, picked_t : of a closed harvest whose loads are split; None where the crop is not whole.
    by_machine : whether any of it was picked by machine.
    harvest_weight : weight of a hand-cut cluster at harvest in g; `from_crop` where it is crop ÷ clusters.
    weights : cluster weight in g at lag_phase and veraison.
    closed_on : day from which its harvest is known; None while it is open.
    """

    block: str
    season: int
    cultivar: str
    region: str
    crop_t: float | None = None
    picked_t: float | None = None
    closed_on: dt.date | None = None
    picking_on: dt.date | None = None
    by_machine: bool = False
    harvest_weight: Measured | None = None
    from_crop: bool = False
    weights: dict[str, Measured] = field(default_factory=dict)
    days_after_bloom: dict[str, int] = field(default_factory=dict)
    clusters: Measured | None = None
    nodes: Measured | None = None


@dataclass(frozen=True, slots=True)
class Moment:
    """A block, season and day for which an estimate is looked at, and its stage."""

    block: str
    season: int
    on: dt.date
    stage: Stage


@dataclass(frozen=True, slots=True)
class CropFacts:
    """All that an estimate of one block and season rests on.

    Attributes
    ----------
    counts : as they stood on the day.
    past : every season of the book with something to tell, in no order; what came later than the day is in it too.
    given : estimates of that season given to somebody.
    outcome : the season itself where its harvest is closed.
    closed_later : a later season of the block whose harvest is closed, None without one.
    """

    counts: CropCounts
    past: tuple[PastSeason, ...]
    given: tuple[EstimateFacts, ...] = ()
    outcome: PastSeason | None = None
    closed_later: int | None = None
