"""An estimate of the crop to come, what it is made of, and how earlier ones did: plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

    from vinebook.seasons.crop_model import Stage
    from vinebook.seasons.model import EstimateFacts


@dataclass(frozen=True, slots=True)
class CropWishes:
    """What a person asks for.

    Attributes
    ----------
    stage : stage whose counts are used; the latest there is where None.
    factor : growth factor, in place of the book's.
    share_percent : share of the crop that will be picked, in place of what was picked before.
    """

    stage: Stage | None = None
    factor: float | None = None
    share_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """One factor of an estimate.

    Attributes
    ----------
    name : "bearing vines", "clusters per vine", "cluster weight", "growth factor" or "share picked".
    value, unit : as it stands; a weight in g.
    rests_on : what it rests on, in words.
    cv_percent : its standard deviation on the log scale in percent; None where it is not known.
    share_of_variance_percent : its part of the variance of the estimate; None where the parts do not make the interval.
    """

    name: str
    value: float
    unit: str
    rests_on: str
    cv_percent: float | None
    share_of_variance_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Help:
    """What one more hour of counting would bring: the half width of the 80 % interval after it, in percent."""

    what: str
    half_width_percent: float


@dataclass(frozen=True, slots=True)
class Limits:
    """A predictive interval."""

    level: int
    low_t: float
    high_t: float


@dataclass(frozen=True, slots=True)
class CropEstimate:
    """How much crop is coming, as far as was known on a day.

    Attributes
    ----------
    stage, method : stage of the counts; how it was worked out, in words.
    estimate_t : median of what may come.
    limits : predictive intervals at 80 and 95 %; empty where none can be given.
    interval_from : "parts", "past estimates of this block", "past estimates of the book", or "" without one.
    parts : what is multiplied.
    helps : what an hour of counting would bring, the best first.
    notes : what else is to be known of it, the gravest first.
    half_width_percent : of the 80 % interval.
    kg_per_vine, t_per_ha : of a bearing vine, and of the planted area.
    """

    block: str
    season: int
    on: dt.date
    stage: Stage
    method: str
    estimate_t: float
    limits: tuple[Limits, ...]
    interval_from: str
    parts: tuple[Part, ...]
    helps: tuple[Help, ...] = ()
    notes: tuple[str, ...] = ()
    half_width_percent: float | None = None
    kg_per_vine: float | None = None
    t_per_ha: float | None = None

    def at(self, level: int) -> Limits | None:
        """Give the interval at a level, None where there is none."""
        return next((each for each in self.limits if each.level == level), None)


@dataclass(frozen=True, slots=True)
class Given:
    """An estimate that was given to somebody, beside what came."""

    estimate: EstimateFacts
    error_percent: float | None = None
    within: bool | None = None


@dataclass(frozen=True, slots=True)
class CropAnswer:
    """What `crop` says of a block and season.

    Attributes
    ----------
    estimate : None where the harvest is closed and no day was named.
    given : estimates given to somebody.
    picked_t, crop_t, closed_on : of a harvest that is closed.
    disturbed : thinning and events of the season, in words with their dates.
    """

    block: str
    season: int
    estimate: CropEstimate | None
    given: tuple[Given, ...] = ()
    picked_t: float | None = None
    crop_t: float | None = None
    closed_on: dt.date | None = None
    disturbed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tried:
    """An estimate that the book could have made on a day, beside what came.

    Attributes
    ----------
    error_percent : estimate less picked, of the picked; None where no estimate was possible.
    within_80, within_95 : whether what was picked lay within the interval; None without one.
    left_out : why it does not count: thinned or struck after the estimate, or why there was none; "" where it counts.
    """

    block: str
    season: int
    on: dt.date
    stage: Stage
    method: str
    estimate_t: float | None
    picked_t: float
    error_percent: float | None = None
    within_80: bool | None = None
    within_95: bool | None = None
    left_out: str = ""


@dataclass(frozen=True, slots=True)
class StageErrors:
    """How the estimates of a stage and method did.

    Attributes
    ----------
    n, blocks, seasons : estimates that count, and of how many blocks and seasons.
    mean_percent : mean error, above zero where too much was expected.
    half_within_percent : half of the errors lay within this.
    rms_percent : root of the mean squared error.
    within_80, within_95, with_interval : how many lay within their interval, of how many with one.
    left_out, impossible : how many were thinned or struck afterwards; on how many days no estimate was possible.
    """

    stage: Stage
    method: str
    n: int
    blocks: int
    seasons: int
    mean_percent: float | None
    half_within_percent: float | None
    rms_percent: float | None
    within_80: int
    within_95: int
    with_interval: int
    left_out: int
    impossible: int


@dataclass(frozen=True, slots=True)
class Backtest:
    """How the book's estimates would have done: by stage and method, and one by one."""

    stages: tuple[StageErrors, ...]
    tried: tuple[Tried, ...]
