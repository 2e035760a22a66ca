"""How many vines an interval was shown to need, by the coverage study whose table `vinebook guide coverage` prints.

Two numbers for each way to an interval: one where the sample's vines differ as vines of a block do, one where they
differ more. Below them a 95 % interval holds what it says less than 93 times in a hundred in some case tried.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Bools = NDArray[np.bool_]

Way = Literal["mean", "ratio", "share"]


class Least(NamedTuple):
    """The least number of units for vines that differ as those of a block do, and for more uneven ones."""

    even: int
    uneven: int


LEAST: dict[Way, Least] = {"mean": Least(3, 50), "ratio": Least(3, 100), "share": Least(3, 100)}
"""Vines, panels or lots; a test holds them to the results of the study."""
METHODS_OF: dict[Way, tuple[str, ...]] = {
    "mean": ("log t", "finite", "panels"),
    "ratio": ("fieller", "alike, Fieller", "alike, positions"),
    "share": ("share",),
}
"""The methods of the study that each way stands for; the largest number of theirs counts."""
LEAST_SEASONS = 3
"""Below three seasons there is no interval over seasons; the study shows three to suffice."""
EVEN_CV = 0.45
"""Spread between vines up to which the study's vines are those of a block: 20 to 43 %, skew 0.4 to 1.3."""
EVEN_SHARE = (0.05, 0.95)
"""Shares between which the study's nodes are those of a block."""


def too_few(way: Way, n: ArrayLike, own: ArrayLike) -> Bools:
    """Say which samples have fewer units than were shown to suffice.

    Parameters
    ----------
    way : how the interval comes about.
    n : vines, panels or lots.
    own : what the sample itself shows: its coefficient of variation as a fraction, or the share.
    """
    shown = np.asarray(own, dtype=np.float64)
    is_uneven = (shown < EVEN_SHARE[0]) | (shown > EVEN_SHARE[1]) if way == "share" else shown > EVEN_CV
    least = np.where(is_uneven, LEAST[way].uneven, LEAST[way].even)
    return np.asarray(np.asarray(n) < least, dtype=np.bool_)
