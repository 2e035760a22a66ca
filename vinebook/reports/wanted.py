"""A report as it was asked for, in plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from vinebook.advice.nodes_model import Wishes
    from vinebook.reports.paper import Paper
    from vinebook.seasons.statement_model import Shows

Units = Literal["metric", "us"]
What = Literal["history", "statement", "trail", "overview", "sheet", "card"]
WHATS: tuple[What, ...] = ("history", "statement", "trail", "overview", "sheet", "card")


@dataclass(frozen=True, slots=True)
class Wanted:
    """One report as it was asked for.

    Attributes
    ----------
    what : name of the report.
    blocks : keys of the blocks that it tells of; a statement without any tells of all that concern its consignee.
    units : units to print in; the vineyard's own where None.
    paper : size of the paper.
    season : of a statement or an overview, the latest where None; of a sheet without a draw and of a card.
    to, shows, share_percent : of a statement; see `vinebook.seasons.statement`.
    draw : key of the draw whose vines stand on a sheet; without one the sheet is of a block and to be filled in.
    count : kind of record that a sheet is for; "" takes that of the draw's figure.
    language : of a sheet or card: "en", "es", with a country "es_MX", or a person's own catalogue "fr.po".
    wishes : of a card: how its nodes are laid, and by which formula its table is.
    """

    what: What
    blocks: tuple[str, ...] = ()
    units: Units | None = None
    paper: Paper = "a4"
    to: str = ""
    season: int | None = None
    shows: tuple[Shows, ...] = ()
    share_percent: float | None = None
    draw: str = ""
    count: str = ""
    language: str = "en"
    wishes: Wishes | None = None

    @property
    def name(self) -> str:
        """What the report is of, in words: its draw or blocks, else whom it is for, else its season."""
        return self.draw or ", ".join(self.blocks) or self.to or str(self.season or "")
