"""How far off estimates of the crop are said to be: the yardstick beside the book's own errors."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What a source says of the accuracy of estimates.

    Attributes
    ----------
    stages : stages that it is told beside; empty for all.
    words : what is said.
    source : by whom.
    """

    stages: tuple[str, ...]
    words: str
    source: str


ACCURACIES = (
    Accuracy(
        ("bud_break",), "good work: ±20 % by bunch counts in spring", "Dunn 2016, slides, after Dunn & Martin 2003"
    ),
    Accuracy(("set",), "good work: ±15 % by berry counts after set", "Dunn 2016, slides"),
    Accuracy(("near_harvest",), "good work: ±5 % by segments or vines near harvest", "Dunn 2016, slides"),
    Accuracy(
        ("set", "lag_phase"),
        "root of mean square about 30 % at fruit set, lag phase no better",
        "de la Fuente et al. 2015",
    ),
    Accuracy(("veraison",), "root of mean square 16–17 %", "de la Fuente et al. 2015"),
    Accuracy(("veraison",), "bunch-weight multipliers are among what does not work", "Dunn 2016, slides"),
    Accuracy(
        (), "industry error about 33 % in 2000/01; wineries want ±5 %", "Dunn 2016, slides, after Clingeleffer 2001"
    ),
    Accuracy((), "can differ by 30 % or more; a good one is within 10 %", "BC Wine Grape Council, best practices"),
)
"""All read in stored copies of the sources."""
