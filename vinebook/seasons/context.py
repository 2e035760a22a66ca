"""The facts that figures are judged by: cultivar, curtains, own targets and the vineyard's set of bands. Plain data."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Target:
    """A band that a vineyard or block set itself, from a season on; limits in the figure's metric unit."""

    figure: str
    low: float | None
    high: float | None
    from_season: int
    source: str
    is_of_block: bool


@dataclass(frozen=True, slots=True)
class BlockContext:
    """What the figures of one block are judged by.

    Attributes
    ----------
    cultivars : first season, last season or None, and cultivar of each planting.
    curtains : first season and curtains of each training.
    targets : bands of the block and of its vineyard.
    band_set : name of the set of published bands that the vineyard chose, or "".
    """

    cultivars: tuple[tuple[int, int | None, str], ...] = ()
    curtains: tuple[tuple[int, int], ...] = ()
    targets: tuple[Target, ...] = ()
    band_set: str = ""

    def cultivar_in(self, season: int) -> str:
        """Give the cultivar of a season, "" where no planting is recorded."""
        found = ""
        for first, last, cultivar in sorted(self.cultivars, key=lambda planting: planting[0]):
            if first <= season and (last is None or season <= last):
                found = cultivar
        return found

    def curtains_in(self, season: int) -> int | None:
        """Give the curtains of a season, None where no training is recorded."""
        found = None
        for first, curtains in sorted(self.curtains, key=lambda training: training[0]):
            if first <= season:
                found = curtains
        return found

    def target_in(self, season: int, figure: str) -> Target | None:
        """Give the target of a figure in a season: the block's latest, else the vineyard's latest."""
        holding = [target for target in self.targets if target.figure == figure and target.from_season <= season]
        return max(holding, key=lambda target: (target.is_of_block, target.from_season), default=None)


@dataclass(frozen=True, slots=True)
class JudgingContext:
    """What figures are judged by, by block code."""

    blocks: dict[str, BlockContext] = field(default_factory=dict)

    def of(self, code: str) -> BlockContext:
        """Give the context of a block; an unknown one has no facts."""
        return self.blocks.get(code, BlockContext())
