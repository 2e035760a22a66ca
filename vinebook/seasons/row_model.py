"""What goes into the row on paper, as plain data: the vines of a counting sheet, the order of a pruning card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

    from vinebook.seasons.model import BlockHistory, PlantingFacts, TrainingFacts

CHECKED_VINES = 10
"""Vines of the crew's check line."""
PASSES_PERCENT = 10
"""Nodes more or fewer that pass where no tolerance is recorded, in percent of the order; common practice, no source."""


@dataclass(frozen=True, slots=True)
class VineToCount:
    """A vine of a sheet.

    Attributes
    ----------
    number : its place in the walk.
    row, vine : its address.
    panel : number of its panel in the row, counted from the end that vines are numbered from; None where unknown.
    place : its place in that panel.
    part : part of the block, "all" for the whole.
    """

    number: int
    row: int
    vine: int
    panel: int | None = None
    place: int | None = None
    part: str = "all"


@dataclass(frozen=True, slots=True)
class Order:
    """A decision on how many nodes to keep, as the crew is told it.

    Attributes
    ----------
    key : key of the decision.
    nodes : count nodes kept on a vine.
    tolerance : more or fewer that pass.
    tolerance_is_usual : whether no tolerance is recorded, so that the usual one stands.
    words, reason, decided_by, decided_on : the decision as it was written down.
    visit_orders : nodes that the pruning visit orders where these are others, else None.
    checked : vines drawn for the check, in walking order; empty where none were drawn.
    draw_key : key of that draw, "" without one.
    """

    key: str
    nodes: int
    tolerance: float
    tolerance_is_usual: bool
    words: str
    reason: str
    decided_by: str
    decided_on: dt.date
    visit_orders: float | None = None
    checked: tuple[VineToCount, ...] = ()
    draw_key: str = ""


def usual_tolerance(nodes: float) -> float:
    """Give the nodes more or fewer that pass where no tolerance is recorded.

    Parameters
    ----------
    nodes : count nodes ordered on a vine.
    """
    return nodes * PASSES_PERCENT / 100


def training_in(history: BlockHistory, season: int) -> TrainingFacts | None:
    """Give the training in force in a season, None where none is recorded.

    Parameters
    ----------
    history : the block's history.
    season : harvest year.
    """
    begun = [training for training in history.trainings if training.from_season <= season]
    return max(begun, key=lambda training: training.from_season, default=None)


def planting_in(history: BlockHistory, season: int) -> PlantingFacts | None:
    """Give the planting that stands in a season, None where none is recorded.

    Parameters
    ----------
    history : the block's history.
    season : harvest year.
    """
    standing = [p for p in history.plantings if p.from_season <= season <= (p.to_season or season)]
    return max(standing, key=lambda planting: planting.from_season, default=None)
