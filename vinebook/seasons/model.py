"""What the seasons floor gives: figures, and the facts of a block that stand beside them. Plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import datetime as dt

Status = Literal["known", "partial", "pending", "unknown"]
Reading = Literal["below", "within", "above", "not clear", "not judged"]


@dataclass(frozen=True, slots=True)
class Band:
    """The band a figure is read against.

    Attributes
    ----------
    low, high : limits in the figure's unit; None where that side is open.
    source : author, year, conditions and page, or the block's own target in words.
    name : short name of the source, for the edge of a chart: "Kliewer & Dokoozlian 2005".
    """

    low: float | None
    high: float | None
    source: str
    name: str


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a block and season; the fields are the keys of the figures JSON.

    Attributes
    ----------
    value, low, high : in `unit`; None where there is no number (never zero, blank or infinite).
    per : what one is counted on: "bearing vine", "m of canopy", "m of row", "ha planted", "".
    level : coverage of the interval in percent, None without one.
    n : vines, panels, lots or picks the value rests on; None where the count is full.
    chosen : how the vines were chosen, or "all" for a full count.
    basis : which rows, census, area and canopy were used, in words.
    status, note : known, partial, pending or unknown, and what it waits for or warns of.
    bearer, position, stage, pick : where they apply.
    """

    block: str
    season: int
    figure: str
    value: float | None
    unit: str
    per: str = ""
    low: float | None = None
    high: float | None = None
    level: float | None = None
    n: int | None = None
    chosen: str = ""
    basis: str = ""
    band: Band | None = None
    reading: Reading = "not judged"
    status: Status = "known"
    note: str = ""
    bearer: str | None = None
    position: str | None = None
    stage: str | None = None
    pick: int | None = None


@dataclass(frozen=True, slots=True)
class VineyardFacts:
    """A vineyard as it stands at the head of a report."""

    name: str
    hemisphere: str
    units: str
    place: str = ""
    grower: str = ""
    address: str = ""
    register_numbers: str = ""
    geographical_indication: str = ""
    band_set: str = ""


@dataclass(frozen=True, slots=True)
class PlantingFacts:
    """What a block is planted to from a season on; spacings in metres."""

    from_season: int
    to_season: int | None
    cultivar: str
    clone: str
    rootstock: str
    year_planted: int | None
    grafted_over_in: int | None
    row_spacing_m: float
    vine_spacing_m: float
    positions: int


@dataclass(frozen=True, slots=True)
class TrainingFacts:
    """How a block is trained from a season on; lengths in metres."""

    from_season: int
    trained: str
    pruned: str
    arms: int | None
    curtains: int
    shoot_position: str
    cordon_length_m: float | None
    wire_height_m: float | None
    trade_name: str

    @property
    def has_row_canopy(self) -> bool:
        """Say whether the canopy stands along the row: not of a head whose shoots are left free."""
        return not (self.trained == "head" and self.shoot_position == "free")


@dataclass(frozen=True, slots=True)
class CensusFacts:
    """A vine census of the whole block."""

    date: dt.date
    bearing: int
    young: int
    missing: int
    positions: int
    counted: str


@dataclass(frozen=True, slots=True)
class VisitFacts:
    """The pruning visit that sets a season."""

    season: int
    started_on: dt.date
    finished_on: dt.date | None
    pruned: str
    nodes_to_keep: float | None
    tolerance: float | None
    wood_weighed: str
    note: str


@dataclass(frozen=True, slots=True)
class EventFacts:
    """What a season did to a block."""

    season: int
    date: dt.date
    what: str
    share_hit_percent: float | None
    words: str


@dataclass(frozen=True, slots=True)
class CertificationFacts:
    """How a block stands under a scheme, from a day on."""

    scheme: str
    status: str
    certificate: str
    valid_from: dt.date
    valid_to: dt.date | None


@dataclass(frozen=True, slots=True)
class PassFacts:
    """One round of work in the canopy."""

    season: int
    work: str
    started_on: dt.date
    finished_on: dt.date | None
    side: str
    extent: str
    done_by: str


@dataclass(frozen=True, slots=True)
class StageFacts:
    """A reading of the growth stage."""

    season: int
    date: dt.date
    scale: str
    code: str
    share_percent: float | None


@dataclass(frozen=True, slots=True)
class RipeningFacts:
    """A field sample before picking."""

    season: int
    date: dt.date
    soluble_solids_brix: float | None
    ph: float | None
    titratable_acidity_g_per_l: float | None


@dataclass(frozen=True, slots=True)
class EstimateFacts:
    """An estimate of the crop that was given to somebody; tonnes."""

    season: int
    date: dt.date
    given_to: str
    stage: str
    method: str
    estimate_t: float
    low_t: float | None
    high_t: float | None
    level: float | None


@dataclass(frozen=True, slots=True)
class DecisionFacts:
    """A choice with its reason; what is expected is in the metric unit of its figure."""

    season: int
    number: int
    decided_on: dt.date
    decides: str
    value: float | None
    words: str
    reason: str
    decided_by: str
    expected_figure: str
    expected_low: float | None
    expected_high: float | None
    review_on: dt.date | None


@dataclass(frozen=True, slots=True)
class BearerFacts:
    """A bearer of a vine, or the end of an arm; None where something was not counted or measured.

    Attributes
    ----------
    what : "spur", "cane", "renewal_spur", "head_spur" or "end_of_arm".
    arm : number of its arm, 0 on the head.
    distance_m : along the arm, from the head.
    """

    what: str
    arm: int
    distance_m: float | None
    nodes: int | None
    count_shoots: int | None
    double_shoots: int | None
    noncount_shoots: int | None


@dataclass(frozen=True, slots=True)
class MeasuredVine:
    """The one vine of the latest sample of bearers that stands for the others: the median by its mean spur spacing.

    Attributes
    ----------
    row, vine : where it stands.
    of_vines : how many vines of that sample could be compared.
    bearers : along each arm from the head outwards.
    """

    season: int
    date: dt.date
    row: int
    vine: int
    of_vines: int
    bearers: tuple[BearerFacts, ...]


@dataclass(frozen=True, slots=True)
class RelatedBlock:
    """A block before or after this one."""

    code: str
    name: str
    how: str


@dataclass(frozen=True, slots=True)
class BlockHistory:
    """All that a block's history tells, from one snapshot of the book.

    Attributes
    ----------
    seasons : every season from the first with a record to the last, oldest first, gaps included.
    figures : every figure of those seasons.
    cordon : one measured vine of the latest sample of bearers, None where none was measured along an arm.
    record : permanent number of the block.
    seal : newest hash of the journal at the snapshot; `entries` its number, `as_of` its UTC time.
    """

    vineyard: VineyardFacts
    code: str
    name: str
    row_direction_degrees: float | None
    surveyed_area_ha: float | None
    from_season: int
    to_season: int | None
    field_blend: str
    predecessors: tuple[RelatedBlock, ...]
    successors: tuple[RelatedBlock, ...]
    plantings: tuple[PlantingFacts, ...]
    trainings: tuple[TrainingFacts, ...]
    censuses: tuple[CensusFacts, ...]
    visits: tuple[VisitFacts, ...]
    events: tuple[EventFacts, ...]
    seasons: tuple[int, ...]
    figures: tuple[Figure, ...]
    seal: str
    entries: int
    as_of: str
    certifications: tuple[CertificationFacts, ...] = ()
    passes: tuple[PassFacts, ...] = ()
    stages: tuple[StageFacts, ...] = ()
    ripening: tuple[RipeningFacts, ...] = ()
    estimates: tuple[EstimateFacts, ...] = ()
    decisions: tuple[DecisionFacts, ...] = ()
    cordon: MeasuredVine | None = None
    record: int = 0
