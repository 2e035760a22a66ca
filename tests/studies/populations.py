"""What vines are drawn from in the studies: positive numbers of mean 1 with a stated spread and skew."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Shape = Literal["gamma", "lognormal", "skew 2", "grid of 1932"]
GRID_FILE = Path(__file__).parents[1] / "published" / "vine_grid_1932.csv"


def read_vines() -> Floats:
    """Give the yields of the 125 vines of the grid of 1932, divided by their mean."""
    with GRID_FILE.open(encoding="utf-8", newline="") as file:
        yields = np.array([float(line["yield_lb"]) for line in csv.DictReader(file) if line["yield_lb"]])
    return np.asarray(yields / yields.mean())


VINES_OF_1932 = read_vines()


@dataclass(frozen=True, slots=True)
class Population:
    """A distribution of mean 1.

    Attributes
    ----------
    shape : gamma, lognormal, an exponential that is moved (skew 2 at any spread), or the vines of the grid of 1932.
    cv : standard deviation as a fraction of the mean.
    """

    shape: Shape
    cv: float

    @property
    def skew(self) -> float:
        """Third moment about the mean ÷ standard deviation cubed."""
        match self.shape:
            case "gamma":
                return 2 * self.cv
            case "lognormal":
                return 3 * self.cv + self.cv**3
            case "skew 2":
                return 2.0
            case "grid of 1932":
                about = VINES_OF_1932 - 1
                return float((about**3).mean() / (about**2).mean() ** 1.5)

    @property
    def name(self) -> str:
        """Spread and skew in words: "CV 40 %, skew 0.8"."""
        return f"CV {100 * self.cv:.0f} %, skew {self.skew:.1f}"

    def drawn(self, rng: np.random.Generator, size: tuple[int, ...]) -> Floats:
        """Draw independent numbers."""
        match self.shape:
            case "gamma":
                return rng.gamma(1 / self.cv**2, self.cv**2, size)
            case "lognormal":
                variance = np.log1p(self.cv**2)
                return rng.lognormal(-variance / 2, np.sqrt(variance), size)
            case "skew 2":
                return np.asarray(1 + self.cv * (rng.exponential(1.0, size) - 1))
            case "grid of 1932":
                return np.asarray(rng.choice(VINES_OF_1932, size))

    def times(self, share: float) -> Population:
        """Give the same shape with a share of the squared spread: a part of a product of effects."""
        return Population(self.shape, float(np.sqrt((1 + self.cv**2) ** share - 1)))


GRID = Population("grid of 1932", float(VINES_OF_1932.std()))
LIKE_VINES = (Population("gamma", 0.2), Population("gamma", 0.4), Population("lognormal", 0.4), GRID)
"""What vines of a block are like: the spread of the published grid and below, with the skew of either shape."""
WILDER = (
    Population("skew 2", 0.4),
    Population("gamma", 0.6),
    Population("lognormal", 0.6),
    Population("gamma", 0.8),
    Population("lognormal", 0.8),
    Population("skew 2", 1.0),
)
"""What they may be like in a bad year: a block in which some vines are struck and others are not."""
