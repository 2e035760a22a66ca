"""The tallies of winter: what each visit ordered, and the sampled vines with nodes kept and wood weighed."""

from __future__ import annotations

import datetime as dt

import numpy as np

from demo.blocks import BLOCKS, FIRST_SEASON, LAST_HARVEST, PARCELS, SITES, TODAY, Block
from demo.drawing import BlockYear, Years, block_year, choose
from demo.seasons import COUNTED_NOT_WEIGHED_VISIT, EARLY_VISIT, UNWEIGHED_SITE_VISIT
from demo.stages import date_of
from demo.tallies import Tallies, path_of
from demo.vine import MISSING, STATE_WORDS, YOUNG

SAMPLED_VINES = 24
WEIGHED_FROM = {("V5", 2019): 2022}
"""Of a planting that begins in the record: the first visit at which its wood was weighed."""


def write_winter(tallies: Tallies, years: Years, seed: int) -> None:
    """Add every visit and its sampled vines, up to today."""
    for number, block in enumerate(BLOCKS):
        for season in range(FIRST_SEASON, LAST_HARVEST + 2):
            start = date_of(block.site, season, "visit", 3 * (number % 8))
            if (block.code, season) == EARLY_VISIT:
                start = dt.date(2026, 11, 16)
            if start > TODAY or not block.is_standing(season):
                continue
            rng = np.random.default_rng([seed, season, *block.code.encode(), *b"winter"])
            has_wood = is_wood_weighed(block, season)
            write_visit(tallies, block, season, start, start + dt.timedelta(days=int(rng.integers(2, 8))), has_wood)
            if has_wood or (block.code, season) == COUNTED_NOT_WEIGHED_VISIT:
                write_pruned_vines(rng, tallies, block, season, start + dt.timedelta(days=1), years)


def is_wood_weighed(block: Block, season: int) -> bool:
    """Whether the wood of sampled vines was weighed at the visit that sets a season."""
    is_too_young = any(
        code == block.code and planted <= season < first for (code, planted), first in WEIGHED_FROM.items()
    )
    is_left_out = (block.site, season) == UNWEIGHED_SITE_VISIT or (block.code, season) == COUNTED_NOT_WEIGHED_VISIT
    return not (is_too_young or is_left_out)


def write_visit(tallies: Tallies, block: Block, season: int, start: dt.date, finish: dt.date, has_wood: bool) -> None:
    """Add a pruning visit with its order."""
    system = PARCELS[block.parcel_names(season)[-1]].system(season)
    is_running = finish > TODAY
    note = ""
    if block.code == "V2" and season == 2020:
        note = "Cordons cut back to the head; from now on canes."
    elif (block.site, season) == UNWEIGHED_SITE_VISIT:
        note = "Crew half as large as usual; no wood weighed."
    elif (block.code, season) == COUNTED_NOT_WEIGHED_VISIT:
        note = "Scale broken; nodes counted, wood not weighed."
    tallies.add_seasonal(
        "pruning_visit",
        block.site,
        season,
        block=block.code,
        started_on=str(start),
        finished_on=None if is_running else str(finish),
        pruned=system.pruned,
        nodes_to_keep=system.nodes_to_keep,
        tolerance=system.tolerance_nodes,
        nodes_per_spur=system.nodes_per_spur or None,
        canes_per_vine=system.canes_per_vine or None,
        nodes_per_cane=system.nodes_per_cane or None,
        renewal_spurs=system.renewal_spurs or None,
        wood_weighed="yes" if has_wood else "no",
        crew="contract" if block.site == "zennavar" and season == 2016 else "house",
        note=note,
    )


def write_pruned_vines(
    rng: np.random.Generator, tallies: Tallies, block: Block, season: int, date: dt.date, years: Years
) -> None:
    """Add the sampled vines of a visit: nodes kept for the season, wood of the season before."""
    year = block_year(block, season, years)
    before = wood_before(block, season, years)
    chosen, cells = choose(rng, block, year, "pruned_vine", season, SAMPLED_VINES)
    has_wood = is_wood_weighed(block, season)
    path = path_of("pruned_vine", block.site, season)
    counter = SITES[block.site].counters[int(rng.integers(0, 3))]
    is_cane = PARCELS[block.parcel_names(season)[-1]].system(season).pruned == "cane"
    for i in chosen:
        state = int(year.vines.state[i])
        if state == YOUNG and before.vines.state[i] == MISSING:
            state = MISSING
        row: dict[str, str | int | None] = {
            "block": block.code,
            "date": str(date),
            **cells,
            "counted_by": counter,
            "row": int(year.row[i]),
            "vine": int(year.vine[i]),
            "state": STATE_WORDS[state],
        }
        if state != MISSING:
            row |= kept_cells(year, i, is_cane)
            if has_wood:
                row["canes_weighed"] = int(before.vines.canes_grown[i])
                row["prunings"] = f"{max(before.vines.prunings_kg[i], 0.02):.2f}"
        tallies.add(path, "pruned_vine", **row)


def wood_before(block: Block, season: int, years: Years) -> BlockYear:
    """Give the vines of the ground of a block in the season before, whichever code the block had then."""
    names = block.parcel_names(season)
    held = Block(
        **{name: getattr(block, name) for name in Block.__slots__} | {"parcels": tuple((0, 9999, n) for n in names)}
    )
    return block_year(held, season - 1, years)


def kept_cells(year: BlockYear, i: int, is_cane: bool) -> dict[str, int]:
    """Give the cells of the bearers and nodes kept on a vine."""
    names = (
        ("canes", "renewal_spurs", "nodes_on_canes", "nodes_on_renewal_spurs")
        if is_cane
        else ("spurs", "nodes_on_spurs")
    )
    return {name: int(getattr(year.vines, name)[i]) for name in names}
