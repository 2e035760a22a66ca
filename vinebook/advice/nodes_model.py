"""What the book answers when somebody chooses how many nodes to keep. Plain data, metric units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from vinebook.advice.own_record import AgreedRange, Side
    from vinebook.advice.pruning_formulas import PruningFormula
    from vinebook.seasons.model import Band

WayName = Literal["balanced_pruning", "shoots_wanted", "yield_wanted", "ideal_canes", "own_record"]
Lay = Literal["spurs", "canes"]
Bearer = Literal["spur", "cane", "renewal spur"]


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a person asks for; None where nothing was said.

    Attributes
    ----------
    shoots_per_m : shoots wanted on a metre of canopy.
    noncount_kept : non-count shoots of a vine that will be kept.
    yield_t_per_ha, yield_kg_per_vine : yield wanted, one or the other.
    formula : name of a published formula of balanced pruning.
    bud_injury_rule : name of a rule for dead buds.
    keep : nodes per vine that the plan is for.
    lay, nodes_per_spur, canes, renewal_spurs : how the nodes are laid.
    """

    shoots_per_m: float | None = None
    noncount_kept: float | None = None
    yield_t_per_ha: float | None = None
    yield_kg_per_vine: float | None = None
    formula: str | None = None
    bud_injury_rule: str | None = None
    keep: int | None = None
    lay: Lay | None = None
    nodes_per_spur: int | None = None
    canes: int | None = None
    renewal_spurs: int | None = None


@dataclass(frozen=True, slots=True)
class Input:
    """One number that a way rests on.

    Attributes
    ----------
    name : what it is, in words.
    value, low, high : in `unit`; the ends are None without an interval.
    n, n_of : how much it rests on, and of what: vines, seasons, buds; None for a wish or a length.
    source : where it comes from.
    """

    name: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    n: int | None = None
    n_of: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Expected:
    """What a level would bring by this block's own past seasons.

    Attributes
    ----------
    figure : name of the figure.
    value, low, high : at the mean of the past seasons, and at the least and most of them.
    seasons : past seasons that it rests on.
    """

    figure: str
    value: float
    low: float
    high: float
    unit: str
    seasons: int


@dataclass(frozen=True, slots=True)
class ForDeadBuds:
    """A level after the correction for dead buds; no number where the rule gives none."""

    nodes: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Way:
    """One way of working out how many nodes to keep.

    Attributes
    ----------
    way, title : its name, and what it goes by in words.
    variant : formula or source that tells it from another of the same name, "" where there is one only.
    nodes, low, high : nodes per vine and interval; all None where it gives no number.
    interval_of : what the interval covers: "vines", "seasons", "the band", "".
    before_cap : nodes per vine before the cap held it back, None where it did not.
    corrected : level after the correction for dead buds, None where no rule was asked for.
    inputs : what it rests on.
    expected : what it would bring by the block's own record.
    words : cautions; where there is no number, why not and what would cure it.
    source : where the way is published.
    """

    way: WayName
    title: str
    variant: str = ""
    nodes: float | None = None
    low: float | None = None
    high: float | None = None
    interval_of: str = ""
    before_cap: float | None = None
    corrected: ForDeadBuds | None = None
    inputs: tuple[Input, ...] = ()
    expected: tuple[Expected, ...] = ()
    words: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class Cap:
    """The most nodes that a vine's canopy has room for: shoots wanted per metre × its canopy, in whole nodes."""

    nodes: float
    shoots_per_m: float
    canopy_m: float
    source: str


@dataclass(frozen=True, slots=True)
class DeadBuds:
    """What is known of dead buds before this pruning, and the rule that was asked for.

    Attributes
    ----------
    percent, low, high : dead primaries in percent of the buds cut.
    buds : buds cut.
    rule : name of the rule, "" where none was asked for.
    words : what the rule does at that share, or where it ends.
    """

    percent: float
    low: float | None
    high: float | None
    buds: int
    rule: str
    words: str


@dataclass(frozen=True, slots=True)
class CrewLine:
    """One line of the crew's table: prunings of the vine → nodes to keep.

    Attributes
    ----------
    prunings : in the table's unit.
    prunings_kg : the same in kg.
    nodes : whole nodes.
    is_capped : whether the cap holds it back.
    """

    prunings: float
    prunings_kg: float
    nodes: int
    is_capped: bool


@dataclass(frozen=True, slots=True)
class CrewTable:
    """A table for the crew by a published formula.

    Attributes
    ----------
    formula : the formula.
    unit : unit of the prunings as the formula has it: "lb", "g" or "kg".
    below : prunings under which no source gives a rule, in the unit; None where the formula starts from nothing.
    most_nodes : cap on a vine, None without one.
    correction : what the nodes were corrected for, "" where for nothing.
    lines : from the first unit on.
    """

    formula: PruningFormula
    unit: str
    below: float | None
    most_nodes: float | None
    correction: str
    lines: tuple[CrewLine, ...]


@dataclass(frozen=True, slots=True)
class Bearers:
    """Bearers of one sort on a vine: how many, and the count nodes on each."""

    bearer: Bearer
    count: int
    nodes_each: int


@dataclass(frozen=True, slots=True)
class PruningPlan:
    """A level laid out on the vine; the nodes of its bearers add up to it.

    Attributes
    ----------
    nodes : nodes per vine.
    chosen_by : why this level: "asked for", "middle of the block's own record", …
    bearers : what to leave.
    arms : arms of the vine, None where not recorded.
    per_arm : bearers (renewal spurs left out) on each arm where they do not divide evenly, else one number; empty
        where arms are not recorded.
    spacing_cm : distance between spurs along the cordon, None for canes or where its length is not recorded.
    spacing_band, spacing_side : the band of the block, else common practice, and where the distance lies.
    warnings : what to look at.
    """

    nodes: int
    chosen_by: str
    bearers: tuple[Bearers, ...]
    arms: int | None
    per_arm: tuple[int, ...]
    spacing_cm: float | None
    spacing_band: Band | None
    spacing_side: Side | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NodesToKeep:
    """How many nodes to keep on a vine of a block for a season: what the record and the published ways say.

    Attributes
    ----------
    block, season, cultivar : whose; the season that the nodes are for.
    agreed : the range on which the block's own record agrees.
    ways : the five ways, each with a number or with why it has none.
    cap : the most that the canopy has room for, None where canopy is not known.
    dead_buds : buds cut before this pruning, None where none were.
    kept : nodes already counted at the visit that sets the season, None where there are none.
    crew_table : None where no formula was named and none fits the cultivar.
    plan : None where there is no level to lay out, or minimal pruning.
    plan_missing : why there is no plan.
    expected : what the plan's level would bring by the block's own record.
    wood_rows : permanent numbers of the vines whose wood was weighed at that visit.
    notes : what else a person should know.
    """

    block: str
    season: int
    cultivar: str
    agreed: AgreedRange
    ways: tuple[Way, ...]
    cap: Cap | None
    dead_buds: DeadBuds | None
    kept: Input | None
    crew_table: CrewTable | None
    plan: PruningPlan | None
    plan_missing: str
    expected: tuple[Expected, ...]
    wood_rows: tuple[int, ...]
    notes: tuple[str, ...]
