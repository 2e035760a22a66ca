"""One mean for an estimate of the crop: counted or weighed on a sample, or from a crop picked by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.seasons.crop_model import Measured
from vinebook.seasons.figures import date_of
from vinebook.seasons.samples import CHOSEN

if TYPE_CHECKING:
    from vinebook.seasons.crop_model import CropCounts
    from vinebook.seasons.samples import Choice, Moments

G_PER_T = 1e6


def measured_at(moments: Moments, choice: Choice, at: int, unit: str, scale: float) -> Measured | None:
    """Give the mean of one moment, None where nothing was counted.

    Parameters
    ----------
    moments, choice : means of the moments, and the samples that make them.
    at : which moment.
    unit : "vine" or "lot"; panels are told from the choice.
    scale : from the stored unit.
    """
    n = int(moments.n[at])
    value = float(moments.ratio[at]) * scale
    if n == 0 or not np.isfinite(value):
        return None
    by_hand = bool(choice.is_hand[at])
    se = float(moments.ratio_se[at]) * scale
    known = not by_hand and bool(np.isfinite(se)) and se > 0
    units = "panel" if int(choice.chosen[at]) & CHOSEN["panels"] else unit
    note = "parts pooled without a census of them" if moments.is_pooled[at] else ""
    on = date_of(int(choice.day[at]))
    return Measured(value, se if known else None, float(moments.df[at]) if known else None, n, units, on, by_hand, note)


def weight_of_crop(counts: CropCounts, vines: Measured, crop_t: float) -> Measured | None:
    """Give the weight of a cluster from a crop picked by hand; None where clusters fell after they were counted."""
    clusters = counts.clusters
    if clusters is None or not vines.value * clusters.value or any(one.on > clusters.on for one in counts.disturbances):
        return None
    value = crop_t * G_PER_T / (vines.value * clusters.value)
    se = None if clusters.se is None else value * clusters.se / clusters.value
    on = counts.closed_on or clusters.on
    return Measured(value, se, clusters.df, clusters.n, clusters.unit, on, clusters.by_hand, "crop ÷ clusters")
