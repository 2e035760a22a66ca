"""The vines of a block in a season, and how a crew chooses some of them."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from demo.blocks import PARCELS, Block
from demo.seasons import CLUSTERS_THINNED
from demo.vine import BEARING, Counts, Numbers, VineYear

Years = dict[str, dict[int, VineYear]]
HAND_PICKED = frozenset({("cluster_tally", "V3", 2014), ("cluster_tally", "Z4", 2020), ("shoot_tally", "V1", 2015)})

PANELS = {"V2": 10, "V4": 10}
"""Panels drawn where the crew knows that few are too few; elsewhere as many as hold the vines wanted."""


@dataclass(frozen=True, slots=True)
class BlockYear:
    """Every position of a block in a season.

    Attributes
    ----------
    row, vine : address of each position.
    panel : number of the panel that each position stands in, unique in the block.
    vines : what the vines did.
    clusters, crop_kg : at harvest, after any thinning.
    """

    row: Counts
    vine: Counts
    panel: Counts
    panel_size: int
    vines: VineYear
    clusters: Counts
    crop_kg: Numbers

    @property
    def bearing(self) -> Counts:
        """Give the indices of bearing vines."""
        return np.flatnonzero(self.vines.state == BEARING)


def block_year(block: Block, season: int, years: Years) -> BlockYear:
    """Gather the parcels that a block holds in a season."""
    rows, vines, panels, parts = [], [], [], []
    for name in block.parcel_names(season):
        parcel = PARCELS[name]
        row = np.repeat(np.arange(parcel.first_row, parcel.last_row + 1), parcel.positions)
        vine = np.tile(np.arange(1, parcel.positions + 1), parcel.rows)
        rows.append(row)
        vines.append(vine)
        panels.append(row * 1000 + (vine - 1) // parcel.vines_per_panel)
        parts.append(years[name][season])
    joined = VineYear(
        **{
            column.name: np.concatenate([getattr(part, column.name) for part in parts])
            for column in dataclasses.fields(VineYear)
        }
    )
    kept = 1 - CLUSTERS_THINNED.get((block.code, season), 0.0)
    clusters = np.rint(joined.clusters * kept).astype(np.int64)
    crop_kg = clusters * joined.cluster_g * kept**-0.12 / 1000
    return BlockYear(
        np.concatenate(rows),
        np.concatenate(vines),
        np.concatenate(panels),
        PARCELS[block.parcel_names(season)[0]].vines_per_panel,
        joined,
        clusters,
        crop_kg,
    )


def choose(
    rng: np.random.Generator, block: Block, year: BlockYear, kind: str, season: int, n: int
) -> tuple[Counts, dict[str, str | int]]:
    """Choose about n positions as the crew of the block does, and give them in walking order with the sample's cells.

    Parameters
    ----------
    rng : source of chance.
    block, year, season : where and when.
    kind : kind of tally; some were picked by hand.
    n : vines wanted.
    """
    positions = len(year.row)
    if (kind, block.code, season) in HAND_PICKED:
        strong = year.bearing[np.argsort(-year.crop_kg[year.bearing], kind="stable")]
        return np.sort(strong[: len(strong) // 3][rng.permutation(len(strong) // 3)[:12]]), {"chosen": "hand_picked"}
    if block.chosen == "panels":
        numbers = np.unique(year.panel)
        sizes = np.array([np.count_nonzero(year.panel == number) for number in numbers])
        whole = numbers[sizes == year.panel_size]
        drawn = rng.choice(whole, size=PANELS.get(block.code, max(round(n / year.panel_size), 5)), replace=False)
        return np.flatnonzero(np.isin(year.panel, drawn)), {"chosen": "panels", "panel_size": year.panel_size}
    if block.chosen == "every_kth":
        per_row = int(year.vine.max())
        k = positions // n
        while any(k % length == 0 or length % k == 0 for length in (year.panel_size, per_row)):
            k += 1
        return np.arange(int(rng.integers(0, k)), positions, k), {"chosen": "every_kth"}
    return np.sort(rng.choice(positions, size=n, replace=False)), {"chosen": "random"}
