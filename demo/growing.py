"""The tallies of spring and summer: shoots, nodes, clusters, weighed lots, vines picked alone, events."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from demo.blocks import BLOCKS, FIRST_SEASON, LAST_HARVEST, PARCELS, SITES, TODAY, Block
from demo.drawing import BlockYear, Years, block_year, choose
from demo.draws import COUNTED, visited
from demo.nodes import tally_vine
from demo.seasons import CLUSTERS_THINNED, EVENTS, FROST_SEASON, Weather
from demo.stages import date_of
from demo.vine import BEARING, MISSING, STATE_WORDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from demo.tallies import Cell, Tallies

SHOOTS_THINNED = frozenset({("V3", 2016), ("V3", 2021), ("V5", 2023), ("Z1", 2018), ("Z1", 2023)})
NODE_TALLIES = {
    "V2": (2016, 2017, 2018, 2019, 2020, 2021, 2022, 2024),
    "V3": (2018, 2019, 2021, 2022),
    "Z1": (2019, 2020, 2021, 2025),
    "Z3": (2022, 2023, 2024, 2025),
}
VINES_PICKED_ALONE = frozenset({("V1", 2018), ("V1", 2022), ("V6B", 2023), ("Z1", 2019), ("Z1", 2024), ("V4", 2025)})
LAG_PHASE_FROM = {"V1": 2021, "V3": 2019, "Z1": 2020, "Z2": 2022}
GROWTH_FACTOR = 2.0


def write_summer(
    tallies: Tallies,
    years: Years,
    weather: dict[str, dict[int, Weather]],
    local: dict[str, dict[int, Weather]],
    seed: int,
) -> None:
    """Add every tally of the growing season, up to today; not every count is made every year.

    Parameters
    ----------
    tallies : the files in the making.
    years : the vines.
    weather, local : by site, for the dates; by parcel, for the nodes.
    seed : seed of the demo.
    """
    for number, block in enumerate(BLOCKS):
        for season in range(FIRST_SEASON, LAST_HARVEST + 2):
            if not block.is_standing(season):
                continue
            year = block_year(block, season, years)
            if len(year.bearing) < len(year.row) // 3:
                continue
            rng = np.random.default_rng([seed, season, *block.code.encode(), *b"summer"])
            is_counted = [bool(draw < share) for draw, share in zip(rng.random(3), (0.85, 0.85, 0.7), strict=True)]
            counter = SITES[block.site].counters[int(rng.integers(0, 3))]
            walk = Walk(tallies, block, season, year, counter, weather[block.site][season].days + number % 6)
            walk.all_counts(rng, is_counted, local[block.parcel_names(season)[-1]][season])


class Walk:
    """The counts that a crew makes in a block in a season.

    Parameters
    ----------
    tallies : the files in the making.
    block, season, year : where and when, and what the vines did.
    counter : who counts.
    days : days by which the season is late here.
    """

    def __init__(self, tallies: Tallies, block: Block, season: int, year: BlockYear, counter: str, days: int) -> None:
        self.tallies = tallies
        self.block = block
        self.season = season
        self.year = year
        self.counter = counter
        self.days = days

    def all_counts(self, rng: np.random.Generator, is_counted: Sequence[bool], weather: Weather) -> None:
        """Make the counts that fall due.

        Parameters
        ----------
        rng : source of chance.
        is_counted : whether there was time for shoots, for clusters and for lots at harvest.
        weather : of the parcel.
        """
        key = (self.block.code, self.season)
        if is_counted[0] or self.season == FROST_SEASON:
            self.shoots(rng)
        if self.season in NODE_TALLIES.get(self.block.code, ()):
            self.nodes(rng, weather)
        if is_counted[1]:
            self.clusters(rng)
        if self.season >= LAG_PHASE_FROM.get(self.block.code, 9999):
            self.lots(rng, "lag_phase", 0)
        if is_counted[2]:
            self.lots(rng, "harvest", self.block.harvest_day)
        if key in VINES_PICKED_ALONE:
            self.vine_harvest(rng)

    def add(self, kind: str, stage: str, days: int, sample: dict[str, Cell], /, **cells: Cell | None) -> None:
        """Add a row at a stage, days later than the season's own lateness, unless that lies ahead."""
        date = date_of(self.block.site, self.season, stage, self.days + days)
        if date <= TODAY:
            sampled: dict[str, Cell | None] = {"block": self.block.code, "date": str(date), **sample}
            self.tallies.add_seasonal(kind, self.block.site, self.season, **sampled, counted_by=self.counter, **cells)

    def address(self, i: int) -> dict[str, Cell]:
        """Give row, vine and state of a position."""
        year = self.year
        return {"row": int(year.row[i]), "vine": int(year.vine[i]), "state": STATE_WORDS[int(year.vines.state[i])]}

    def shoots(self, rng: np.random.Generator) -> None:
        """Count shoots by class, and again after shoot thinning where there was one."""
        vines = self.year.vines
        for thinning in ("before", "after"):
            if thinning == "after" and (self.block.code, self.season) not in SHOOTS_THINNED:
                continue
            chosen, sample = choose(rng, self.block, self.year, "shoot_tally", self.season, 20)
            left = (1.0, 1.0) if thinning == "before" else (0.35, 0.2)
            for i in chosen:
                cells: dict[str, Cell] = {}
                if vines.state[i] != MISSING:
                    miscount = int(rng.choice((-1, 0, 0, 0, 0, 0, 0, 0, 0, 1)))
                    cells = {
                        "count_shoots": int(vines.count_shoots[i]),
                        "double_shoots": int(rng.binomial(vines.double_shoots[i], left[0])),
                        "noncount_shoots": int(rng.binomial(vines.noncount_shoots[i], left[1])),
                        "blind_nodes": max(int(vines.blind_nodes[i]) + miscount, 0),
                    }
                days = 0 if thinning == "before" else 12
                self.add("shoot_tally", "shoots", days, {"thinning": thinning, **sample}, **self.address(i), **cells)

    def nodes(self, rng: np.random.Generator, weather: Weather) -> None:
        """Count shoots and clusters node by node on a few vines drawn at random."""
        drawn = np.sort(rng.choice(self.year.bearing, size=9, replace=False))
        parcel = PARCELS[self.block.parcel_names(self.season)[-1]]
        for i in drawn:
            for cells in tally_vine(rng, self.year.vines, i, parcel, self.season, weather):
                address = {"row": int(self.year.row[i]), "vine": int(self.year.vine[i])}
                self.add("node_tally", "shoots", 14, {"thinning": "before", "chosen": "random"}, **address, **cells)

    def clusters(self, rng: np.random.Generator) -> None:
        """Count clusters, and again after thinning where there was one."""
        for thinning, stage, counts in (
            ("before", "clusters", self.year.vines.clusters),
            ("after", "thinned", self.year.clusters),
        ):
            if thinning == "after" and (self.block.code, self.season) not in CLUSTERS_THINNED:
                continue
            n = int(rng.integers(20, 31))
            chosen, sample = choose(rng, self.block, self.year, "cluster_tally", self.season, n)
            if (self.block.code, self.season, thinning) == (COUNTED.block, COUNTED.season, "before"):
                chosen, sample = visited(self.block, self.year)
            for i in chosen:
                clusters = None if self.year.vines.state[i] == MISSING else int(counts[i])
                sample_cells = {"thinning": thinning, **sample}
                self.add("cluster_tally", stage, 0, sample_cells, **self.address(i), clusters=clusters)

    def lots(self, rng: np.random.Generator, stage: str, days: int) -> None:
        """Weigh all clusters of drawn vines, a lot for each vine."""
        year = self.year
        bears = year.bearing[year.clusters[year.bearing] > 0]
        drawn = np.sort(rng.choice(bears, size=12, replace=False))
        is_harvest = stage == "harvest"
        factor = 1.0 if is_harvest else float(np.exp(rng.normal(0, 0.06))) / GROWTH_FACTOR
        berry_g = (1.25 + 0.35 * (self.block.code in ("V3", "Z1", "Z4"))) * factor
        has_berries = rng.random() < 0.6
        late = date_of(self.block.site, self.season, stage, days) - date_of(self.block.site, self.season, "bloom", 0)
        thinning = "after" if (self.block.code, self.season) in CLUSTERS_THINNED else "before"
        for lot, i in enumerate(drawn, 1):
            mass_kg = year.crop_kg[i] * factor
            berry_mass_g = 100 * berry_g * float(np.exp(rng.normal(0, 0.05)))
            can_count = has_berries and mass_kg * 1000 > berry_mass_g
            self.add(
                "cluster_lot",
                stage,
                days - 2 * is_harvest,
                {"thinning": thinning, "chosen": "random"},
                stage=stage,
                lot=lot,
                clusters=int(year.clusters[i]),
                mass=f"{max(mass_kg, 0.03):.2f}",
                berries=100 if can_count else None,
                berry_mass=f"{berry_mass_g:.0f}" if can_count else None,
                days_after_bloom=None if is_harvest else late.days,
            )

    def vine_harvest(self, rng: np.random.Generator) -> None:
        """Pick sampled vines alone the day before the block is picked."""
        year = self.year
        chosen, sample = choose(rng, self.block, year, "vine_harvest", self.season, 24)
        for i in chosen:
            cells: dict[str, Cell] = {}
            if year.vines.state[i] == BEARING:
                cells = {"clusters": int(year.clusters[i]), "mass": f"{year.crop_kg[i]:.2f}"}
            sample_cells = {"thinning": "before", **sample}
            self.add("vine_harvest", "harvest", self.block.harvest_day - 1, sample_cells, **self.address(i), **cells)


def write_events(tallies: Tallies) -> None:
    """Add what the seasons did to blocks; the frost by the exposure of each."""
    for block in BLOCKS:
        if block.site == "vellowick" and block.is_standing(FROST_SEASON):
            names = block.parcel_names(FROST_SEASON)
            exposure = sum(PARCELS[name].frost_exposure for name in names) / len(names)
            date = date_of(block.site, FROST_SEASON, "frost")
            words = "Minus 3 at the road; shoots two leaves out."
            write_event(tallies, block.code, str(date), "frost", 5 * round(20 * exposure), words)
    for code, day, what, share, words in EVENTS:
        write_event(tallies, code, day, what, share, words)


def write_event(tallies: Tallies, code: str, date: str, what: str, share: int, words: str) -> None:
    """Add one event; the date gives the season."""
    site = next(block.site for block in BLOCKS if block.code == code)
    tallies.add(
        f"{site}/event.csv",
        "event",
        block=code,
        date=str(dt.date.fromisoformat(date)),
        what=what,
        share_hit=share,
        words=words,
    )
