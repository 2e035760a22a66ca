"""What `fruitfulness` answers: plain data that prints and JSON take as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["spur", "cane"]


@dataclass(frozen=True, slots=True)
class SeasonRate:
    """A number of one season; clusters per node unless said otherwise.

    Attributes
    ----------
    low, high : 95 % interval, the vine being the unit; None where the sample gives none.
    units : vines or panels; None for a full count.
    is_frost : whether frost struck that season.
    note : why there is no interval, or what else to know.
    """

    season: int
    value: float
    low: float | None
    high: float | None
    units: int | None
    is_frost: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class Pooled:
    """A mean over seasons, the season being the unit.

    Attributes
    ----------
    low, high : 95 % interval; None below three seasons.
    seasons : which seasons; those with frost are never among the others.
    """

    mean: float
    low: float | None
    high: float | None
    seasons: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Position:
    """Clusters per node at one position of one kind of bearer.

    Attributes
    ----------
    bearer, position : "old wood", "0" for basal, "1", "2", … from the base.
    fruitful_percent : nodes with a cluster, mean of the seasons without frost.
    pooled, frost : over the seasons without frost, and over those with; None where there is none.
    """

    bearer: str
    position: str
    seasons: tuple[SeasonRate, ...]
    pooled: Pooled | None
    frost: Pooled | None
    fruitful_percent: float | None


@dataclass(frozen=True, slots=True)
class NoncountShare:
    """Share of the clusters that stood on basal and old-wood shoots, of all on the bearers counted, in percent."""

    form: str
    seasons: tuple[SeasonRate, ...]
    pooled: Pooled | None


@dataclass(frozen=True, slots=True)
class Laid:
    """What the same count nodes would bear laid one way.

    Attributes
    ----------
    bearer : whose positions it rests on.
    nodes_per_bearer : count nodes on a spur or cane, the median of those counted.
    per_node : clusters per count node, by season.
    pooled, frost : over seasons without and with frost.
    nodes : count nodes of a vine; None where none is known.
    clusters, clusters_low, clusters_high : expected of a vine with these nodes.
    is_guess : whether this form was never counted in this block.
    from_words : what it rests on.
    """

    form: Form
    bearer: str
    nodes_per_bearer: int
    per_node: tuple[SeasonRate, ...]
    pooled: Pooled | None
    frost: Pooled | None
    nodes: float | None
    clusters: float | None
    clusters_low: float | None
    clusters_high: float | None
    is_guess: bool
    from_words: str


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Clusters per count node on canes ÷ those on spurs, in seasons in which both were counted in this block."""

    seasons: tuple[SeasonRate, ...]
    pooled: Pooled | None
    same_vines: bool


@dataclass(frozen=True, slots=True)
class Changed:
    """One figure before and after a block was converted."""

    figure: str
    unit: str
    before: Pooled | None
    after: Pooled | None


@dataclass(frozen=True, slots=True)
class Conversion:
    """A block that was cut one way and then the other.

    Attributes
    ----------
    since : first season of the new form.
    figures : each with its mean before and after; seasons with frost are left out of both.
    left_out : those seasons.
    """

    was: Form
    became: Form
    since: int
    figures: tuple[Changed, ...]
    left_out: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SpurSpace:
    """What spacing and shoots per spur say of a season.

    Attributes
    ----------
    shoots_per_m_of_cordon : shoots per spur ÷ spacing.
    words : sentences; they name the band and its source.
    """

    season: int
    spacing_cm: float | None
    shoots_per_spur: float | None
    nodes_per_spur: float | None
    shoots_per_m_of_cordon: float | None
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fruitfulness:
    """Where the fruit sits on a block's vines.

    Attributes
    ----------
    pruned : how the block is cut now, "" where not known.
    seasons, frost_seasons : seasons with a node tally, and those of them that frost struck.
    missing : what is missing, and what would cure it.
    notes : what else to know of the counts.
    """

    block: str
    cultivar: str
    pruned: str
    seasons: tuple[int, ...]
    frost_seasons: tuple[int, ...]
    positions: tuple[Position, ...]
    noncount: tuple[NoncountShare, ...]
    laid: tuple[Laid, ...]
    side_by_side: SideBySide | None
    conversion: Conversion | None
    spur_space: SpurSpace | None
    missing: tuple[str, ...]
    notes: tuple[str, ...]
