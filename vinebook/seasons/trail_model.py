"""What a trail tells, as plain data: evidence, decision, what was done, what came, and the life of a weigh ticket."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import RowsBehind

Verdict = Literal["met", "missed", "pending", "unknown"]
Kept = Literal["kept", "not kept", "done", "pending", "unknown"]


@dataclass(frozen=True, slots=True)
class Source:
    """Where and when a record came in.

    Attributes
    ----------
    kind, key, record : which record.
    tally, file, line : kept file and the line in it.
    recorded_at, entered_by : UTC time at which it came in, and who entered it.
    """

    kind: str
    key: str
    record: int
    tally: int
    file: str
    line: int
    recorded_at: str
    entered_by: str


@dataclass(frozen=True, slots=True)
class Correction:
    """One step that changed a record after it came in.

    Attributes
    ----------
    entry, at, by : number of the journal's entry, UTC time, who acted.
    action : amended, struck, superseded or replaced.
    kind, key, record : what it changed; of a replaced file its name and the number of its tally.
    what : old value → new, or what took its place.
    """

    entry: int
    at: str
    by: str
    action: str
    kind: str
    key: str
    record: int
    what: str
    reason: str


@dataclass(frozen=True, slots=True)
class EvidenceTold:
    """A figure as it stood when the decision was made, beside what it is now.

    Attributes
    ----------
    then, now : the figure then and now; None where it can no longer be worked out at all.
    rows : the rows that it rested on then, as files brought them.
    corrections : entries that changed one of these rows since.
    gained, lost : rows that it rests on now and did not then, and the other way round.
    carried_from : block whose rows they are, where it was carried over, else "".
    """

    then: Figure
    now: Figure | None
    rows: tuple[RowsBehind, ...]
    corrections: tuple[int, ...]
    gained: tuple[RowsBehind, ...]
    lost: tuple[RowsBehind, ...]
    carried_from: str

    @property
    def is_changed(self) -> bool:
        """Whether the figure reads otherwise now."""
        then, now = self.then, self.now
        if now is None:
            return True
        return (then.value, then.low, then.high, then.status) != (now.value, now.low, now.high, now.status)


@dataclass(frozen=True, slots=True)
class DoneTold:
    """Something that was done after the decision.

    Attributes
    ----------
    what : the work or count.
    happened_on : its day or days, "" where none is recorded.
    words : what was done, in words.
    figure : the number that shows it, or None.
    verdict, why : against what was decided, and the reason.
    rows : rows that it rests on.
    """

    what: str
    happened_on: str
    words: str
    figure: Figure | None
    verdict: Kept
    why: str
    rows: tuple[RowsBehind, ...] = ()


@dataclass(frozen=True, slots=True)
class OutcomeTold:
    """What came of the season decided for.

    Attributes
    ----------
    figure, unit : name and metric unit of the figure.
    expected_low, expected_high : what was expected of it; None where nothing was.
    now : the figure as it stands; None where it is not there at all.
    verdict, why : met, missed, pending or unknown, and the reason; verdict is None where nothing was expected.
    """

    figure: str
    unit: str
    expected_low: float | None
    expected_high: float | None
    now: Figure | None
    verdict: Verdict | None
    why: str
    rows: tuple[RowsBehind, ...] = ()


@dataclass(frozen=True, slots=True)
class DecisionTold:
    """One decision from its evidence to its outcome.

    Attributes
    ----------
    source : where and when it was recorded; `decided_on` and `decided_by` say when and by whom it was made.
    state : in force, struck, or superseded.
    supersedes, superseded_by : keys of the decision before and after, or "".
    evidence : every figure that was frozen; none where the decision came with a file or `add`.
    corrections : what changed the evidence's rows since, oldest first.
    """

    source: Source
    block: str
    season: int
    number: int
    decided_on: str
    decided_by: str
    decides: str
    value: float | None
    words: str
    reason: str
    expected_figure: str
    expected_low: float | None
    expected_high: float | None
    review_on: str
    state: str
    supersedes: str
    superseded_by: str
    evidence: tuple[EvidenceTold, ...]
    corrections: tuple[Correction, ...]
    done: tuple[DoneTold, ...]
    outcome: tuple[OutcomeTold, ...]


@dataclass(frozen=True, slots=True)
class Balance:
    """The mass balance of a block and season, in kg: picked = accepted + refused + deducted; crop = picked + left."""

    block: str
    season: int
    loads: int
    picked_kg: float
    accepted_kg: float
    refused_kg: float
    deducted_kg: float
    left_kg: float
    crop_kg: float
    is_closed: bool


@dataclass(frozen=True, slots=True)
class Trail:
    """The trail of blocks over seasons, from one snapshot of the book.

    Attributes
    ----------
    corrections : every correction of the blocks' records in those seasons, oldest first.
    seal, entries, as_of : newest hash of the journal, its number and UTC time.
    """

    blocks: tuple[str, ...]
    seasons: tuple[int, ...]
    decisions: tuple[DecisionTold, ...]
    balances: tuple[Balance, ...]
    corrections: tuple[Correction, ...]
    seal: str
    entries: int
    as_of: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """The standing of a block under a scheme on a day."""

    scheme: str
    status: str
    certificate: str
    valid_from: str
    valid_to: str
    source: Source


@dataclass(frozen=True, slots=True)
class PartTold:
    """One block's share of a load, with what stands there.

    Attributes
    ----------
    mass_kg : its share of the net; None where the load is not split.
    said_certified : certification as the part itself says.
    rows_of_block : ranges of rows with their vine positions.
    certificates : standing under each scheme on the day of weighing.
    """

    block: str
    block_name: str
    pick: int
    mass_kg: float | None
    split: str
    picked: str
    purpose: str
    said_certified: str
    cultivar: str
    clone: str
    rootstock: str
    year_planted: int | None
    field_blend: str
    rows_of_block: tuple[str, ...]
    certificates: tuple[Certificate, ...]
    source: Source
    planting: Source | None


@dataclass(frozen=True, slots=True)
class Party:
    """The grower or the consignee."""

    name: str
    address: str
    register_numbers: str


@dataclass(frozen=True, slots=True)
class TicketTrail:
    """A weigh ticket: back to block, rows and vines, and on to who took the fruit.

    Attributes
    ----------
    masses : printed masses by name (gross, tare, net, deductions, refused, scale_interval), in `mass_unit`.
    must : readings by name.
    state : in force, struck or superseded.
    supersedes, superseded_by : keys of the tickets before and after, or "".
    balances : the season's mass balance of every block in it.
    """

    source: Source
    issuer: str
    number: str
    season: int
    date: str
    basis: str
    mass_unit: str
    masses: dict[str, float]
    bins: int | None
    must: dict[str, float]
    refused_reason: str
    note: str
    state: str
    supersedes: str
    superseded_by: str
    vineyard: str
    place: str
    geographical_indication: str
    keep_years: int | None
    grower: Party
    consignee: Party
    parts: tuple[PartTold, ...]
    corrections: tuple[Correction, ...]
    balances: tuple[Balance, ...]
    seal: str
    entries: int
    as_of: str
