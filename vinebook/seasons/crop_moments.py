"""The days of past seasons on which an estimate of the crop could have been made."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.seasons.columns import NO_DATE
from vinebook.seasons.crop_model import LOTS_OF, Stage
from vinebook.seasons.measures import STAGES, N
from vinebook.seasons.samples import SAMPLED_KINDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from vinebook.seasons.gathered import Gathered
    from vinebook.seasons.measures import Aggregates

EVER = 1_000_000
"""A day after every record."""
SHOOTS, CLUSTERS = (SAMPLED_KINDS.index(kind) for kind in ("shoot_tally", "cluster_tally"))


def moments_of_book(
    gathered: Gathered, sums: Mapping[str, Aggregates], blocks: set[int]
) -> list[tuple[int, int, int, Stage]]:
    """Give block index, season, day since 1970 and stage of each moment of seasons that are over.

    Parameters
    ----------
    gathered : a book.
    sums : of its kinds cluster_lot and vine_harvest, sample by sample.
    blocks : indices of the blocks that are looked at.
    """
    samples, crops = gathered.samples, gathered.crops
    of_key: dict[tuple[int, int], dict[Stage, int]] = {}
    weighed_at = _stages_weighed(sums)
    is_over = (samples.cell >= 0) & crops.is_whole[samples.cell] & (crops.crop_kg[samples.cell] > 0)
    for at in np.flatnonzero(is_over & np.isin(samples.block, sorted(blocks))).tolist():
        number, block, season = (int(each[at]) for each in (samples.record, samples.block, samples.season))
        day, kind, cell = (int(each[at]) for each in (samples.day, samples.kind, samples.cell))
        days = of_key.setdefault((block, season), {})
        if kind == SHOOTS:
            days["bud_break"] = min(days.get("bud_break", EVER), day)
        elif kind == CLUSTERS:
            days["set"] = max(days.get("set", NO_DATE), day)
        for stage, name in LOTS_OF.items():
            if name in weighed_at.get(number, ()) and day <= crops.first_day[cell]:
                days[stage] = max(days.get(stage, NO_DATE), day)
    found = []
    for (block, season), days in sorted(of_key.items()):
        weighed = min((day for stage, day in days.items() if stage in LOTS_OF), default=EVER)
        for stage, day in days.items():
            is_early = stage in LOTS_OF or day < weighed
            if is_early and (stage != "bud_break" or day < days.get("set", EVER)):
                found.append((block, season, day, stage))
    return found


def _stages_weighed(sums: Mapping[str, Aggregates]) -> dict[int, set[str]]:
    """Give the stages at which clusters of each sample were weighed."""
    lots = sums["cluster_lot"]
    found: dict[int, set[str]] = {}
    for number, code in zip(lots.sample.tolist(), lots.extra[:, 0].tolist(), strict=True):
        found.setdefault(number, set()).add(STAGES[code])
    alone = sums["vine_harvest"]
    for number, of_sample in zip(alone.sample.tolist(), alone.sums["cluster"], strict=True):
        if of_sample[N] > 0:
            found.setdefault(number, set()).add("harvest")
    return found
