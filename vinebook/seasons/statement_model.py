"""What a statement tells of a winery's loads, of one block and of a season, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import datetime as dt

    from vinebook.seasons.model import (
        CertificationFacts,
        EstimateFacts,
        Figure,
        PassFacts,
        PlantingFacts,
        TrainingFacts,
        VineyardFacts,
    )


Shows = Literal["yield", "balance"]
SHOWS: dict[Shows, tuple[str, ...]] = {
    "yield": ("crop", "yield_per_vine", "yield_per_ha", "yield_per_m"),
    "balance": ("prunings_per_vine", "prunings_per_m", "cane_weight", "yield_to_prunings", "nodes_per_vine"),
}
"""What of a block is told only when it is asked for, and the figures that tell it."""


@dataclass(frozen=True, slots=True)
class ConsigneeFacts:
    """Who takes the fruit."""

    name: str
    address: str
    register_numbers: str


@dataclass(frozen=True, slots=True)
class LoadShare:
    """A block's share of a load that the consignee took.

    Attributes
    ----------
    date, issuer, number : of the ticket.
    pick : of the block in this season.
    gross, tare, net : as printed, in `unit`; gross and tare None where the ticket has none.
    picked_kg, refused_kg, deducted_kg : of the share; what was refused and deducted is shared in proportion to mass.
    split : "whole", "weighed", "bins" or "by_eye".
    picked_by, purpose, certification : as the share says.
    soluble_solids_brix, ph, titratable_acidity_g_per_l : of the load's must.
    refused_reason : why fruit was refused.
    corrects : number of the ticket that this one supersedes, with the reason; "" without one.
    record : permanent number of the load.
    """

    date: dt.date
    issuer: str
    number: str
    pick: int
    gross: float | None
    tare: float | None
    net: float
    unit: str
    picked_kg: float
    refused_kg: float
    deducted_kg: float
    split: str
    picked_by: str
    purpose: str
    certification: str
    soluble_solids_brix: float | None
    ph: float | None
    titratable_acidity_g_per_l: float | None
    refused_reason: str
    corrects: str
    record: int = 0

    @property
    def accepted_kg(self) -> float:
        """Mass that was accepted."""
        return self.picked_kg - self.refused_kg - self.deducted_kg


@dataclass(frozen=True, slots=True)
class UnsplitLoad:
    """A load that holds several blocks and does not say how much of each, or that names no block at all."""

    date: dt.date
    issuer: str
    number: str
    net: float
    unit: str
    blocks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BlockStatement:
    """One block in a statement.

    Attributes
    ----------
    closed_on : last day of its harvest, None while it goes on.
    figures : only those that were asked for, of the season.
    record : permanent number of the block.
    """

    code: str
    name: str
    vineyard: VineyardFacts
    plantings: tuple[PlantingFacts, ...]
    training: TrainingFacts | None
    surveyed_area_ha: float | None
    field_blend: str
    certifications: tuple[CertificationFacts, ...]
    passes: tuple[PassFacts, ...]
    estimates: tuple[EstimateFacts, ...]
    loads: tuple[LoadShare, ...]
    closed_on: dt.date | None
    figures: tuple[Figure, ...]
    record: int = 0


@dataclass(frozen=True, slots=True)
class Statement:
    """All that a statement tells, from one snapshot of the book.

    Attributes
    ----------
    share_percent : share of the crop that is promised to the consignee, None where none was stated.
    unsplit : loads to the consignee that are not given to blocks yet.
    shows : what was asked for beyond the usual.
    seal : newest hash of the journal at the snapshot; `entries` its number, `as_of` its UTC time.
    """

    consignee: ConsigneeFacts
    season: int
    share_percent: float | None
    blocks: tuple[BlockStatement, ...]
    unsplit: tuple[UnsplitLoad, ...]
    shows: tuple[Shows, ...]
    seal: str
    entries: int
    as_of: str
