"""The tallies of harvest: loads with their tickets, the share of each block, and the close."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo.blocks import BLOCKS, FIRST_SEASON, LAST_HARVEST, SITES, Block
from demo.drawing import Years, block_year
from demo.seasons import FRUIT_LEFT, SHARED_LOADS, Weather
from demo.stages import date_of

if TYPE_CHECKING:
    from demo.tallies import Cell, Tallies

INTERVAL_KG = {"hand": 5, "machine": 20}
LOAD_KG = {"hand": 1200, "machine": 3000}
WITHOUT_RACHIS = 0.95
NET_AS_GIVEN_UNTIL = 2015
IN_BINS = frozenset({"V3", "Z4"})
EARLY_PICK = {"Z5": (0.4, 12)}
"""Share picked first for sparkling, and days between the picks."""
REFUSED = {("V1", 2021): ("refused for rot above the agreed share", 0.35)}


@dataclass(slots=True)
class Trailer:
    """Fruit of one block and pick on its way: what the scale will show, and when."""

    block: Block
    pick: int
    mass_kg: int
    date: dt.date


@dataclass(slots=True)
class Tickets:
    """Numbers the loads of each issuer and season."""

    tallies: Tallies
    weather: dict[str, dict[int, Weather]]
    numbers: dict[tuple[str, int], int]

    def weigh(self, rng: np.random.Generator, season: int, trailers: list[Trailer], split: str) -> None:
        """Add one load and the share of each block on it.

        Parameters
        ----------
        rng : source of chance.
        season : harvest year.
        trailers : one, or several where blocks share the load.
        split : how the shares are known.
        """
        block = trailers[0].block
        site = SITES[block.site]
        number = self.numbers[site.key, season] = self.numbers.get((site.key, season), 100) + 1
        key = {"issuer": site.issuer, "number": f"{season % 100:02d}-{number}"}
        net = sum(trailer.mass_kg for trailer in trailers)
        cells = self.masses(rng, season, block, net, is_shared=len(trailers) > 1)
        first_pick = block.code in EARLY_PICK and trailers[0].pick == 1
        brix = block.brix + self.weather[block.site][season].brix - 2.8 * first_pick + rng.normal(0, 0.25)
        if (block.code, season) in REFUSED and number % 2:
            reason, part = REFUSED[block.code, season]
            cells |= {"refused": int(net * part) // 5 * 5, "refused_reason": reason}
        self.tallies.add_seasonal(
            "load",
            block.site,
            season,
            vineyard=site.name,
            date=str(trailers[0].date),
            **key,
            **cells,
            consignee=block.consignee,
            soluble_solids=f"{brix:.1f}",
            ph=f"{3.05 + 0.05 * (brix - 18) + rng.normal(0, 0.03):.2f}",
            titratable_acidity=f"{max(11.5 - 0.65 * (brix - 16) + rng.normal(0, 0.25), 3):.1f}",
        )
        for trailer in trailers:
            is_first_pick = trailer.block.code in EARLY_PICK and trailer.pick == 1
            self.tallies.add_seasonal(
                "load_part",
                block.site,
                season,
                **key,
                block=trailer.block.code,
                pick=trailer.pick,
                mass=trailer.mass_kg if len(trailers) > 1 else None,
                split=split,
                picked=trailer.block.picked_in(season),
                purpose="sparkling" if is_first_pick else "still",
            )

    @staticmethod
    def masses(rng: np.random.Generator, season: int, block: Block, net: int, *, is_shared: bool) -> dict[str, Cell]:
        """Give the cells of the ticket's masses, on the interval of its scale."""
        if block.code in IN_BINS and not is_shared:
            bins = max(round(net / 360), 1)
            bin_mass_kg = round(net / bins)
            return {"basis": "bins", "bins": bins, "bin_mass": bin_mass_kg, "net": bins * bin_mass_kg}
        if season <= NET_AS_GIVEN_UNTIL and block.site == "zennavar":
            return {"basis": "net_as_given", "net": net}
        picked = block.picked_in(season)
        interval = INTERVAL_KG[picked]
        tare = interval * int(rng.integers(600, 900) // interval) + (2000 if picked == "machine" else 0)
        cells: dict[str, Cell] = {
            "basis": "gross_and_tare",
            "gross": net + tare,
            "tare": tare,
            "net": net,
            "scale_interval": interval,
        }
        if picked == "machine" and rng.random() < 0.15:
            cells["deductions"] = interval * max(round(net * 0.012 / interval), 1)
        return cells


def write_harvest(tallies: Tallies, years: Years, weather: dict[str, dict[int, Weather]], seed: int) -> None:
    """Add loads, shares and closes of every season that was picked."""
    tickets = Tickets(tallies, weather, {})
    for season in range(FIRST_SEASON, LAST_HARVEST + 1):
        for site, own_trailers in ((site, own_trailers) for site in SITES for own_trailers in (False, True)):
            word = b"trailers" if own_trailers else b"harvest"
            rng = np.random.default_rng([seed, season, *site.encode(), *word])
            standing = [
                block
                for block in BLOCKS
                if block.site == site and block.own_trailers == own_trailers and block.is_standing(season)
            ]
            by_block = {
                block.code: fill_trailers(rng, tallies, block, season, years, weather[site][season].days)
                for block in standing
            }
            shared = share_last_trailers(by_block, season)
            loads = [([trailer], "whole") for trailers in by_block.values() for trailer in trailers] + shared
            for trailers, split in sorted(loads, key=lambda load: (load[0][0].date, load[0][0].block.code)):
                tickets.weigh(rng, season, trailers, split)


def fill_trailers(
    rng: np.random.Generator, tallies: Tallies, block: Block, season: int, years: Years, days_late: int
) -> list[Trailer]:
    """Pick a block onto trailers, close its harvest, and give the trailers in order."""
    year = block_year(block, season, years)
    picked = block.picked_in(season)
    crop_kg = float(year.crop_kg.sum())
    share_left, known_by, reason = FRUIT_LEFT.get((block.code, season), (0.0, "by_eye", ""))
    if len(year.bearing) < len(year.row) // 3:
        crop_kg, reason = 0.0, "Young vines; no crop taken."
    picked_kg = crop_kg * (1 - share_left) * (WITHOUT_RACHIS if picked == "machine" else 1.0)
    interval = INTERVAL_KG[picked]
    day = date_of(block.site, season, "harvest", days_late + block.harvest_day)
    first_share, days_between = EARLY_PICK.get(block.code, (0.0, 0))
    trailers: list[Trailer] = []
    for pick, share, pick_day in (
        (1, first_share, day - dt.timedelta(days=days_between)),
        (1 if not first_share else 2, 1 - first_share, day),
    ):
        left_kg = picked_kg * share
        while left_kg > interval * 4:
            mass_kg = min(left_kg, LOAD_KG[picked] * float(rng.uniform(0.85, 1.0)))
            on_scale_kg = round(mass_kg / interval) * interval
            trailers.append(Trailer(block, pick, on_scale_kg, pick_day + dt.timedelta(days=len(trailers) // 4)))
            left_kg -= mass_kg
    fruit_left_kg = round(crop_kg * share_left / 10) * 10
    tallies.add(
        f"{block.site}/harvest_close.csv",
        "harvest_close",
        block=block.code,
        finished_on=str(max((trailer.date for trailer in trailers), default=day) + dt.timedelta(days=2)),
        fruit_left=fruit_left_kg,
        fruit_left_by=known_by,
        reason=reason,
    )
    return trailers


def share_last_trailers(by_block: dict[str, list[Trailer]], season: int) -> list[tuple[list[Trailer], str]]:
    """Put the last trailers of blocks that share a load together, and take them off their blocks."""
    shared = []
    for codes, (split, seasons) in SHARED_LOADS.items():
        if season in seasons and all(by_block.get(code) for code in codes):
            trailers = [by_block[code].pop() for code in codes]
            trailers[0].date = max(trailer.date for trailer in trailers)
            shared.append((trailers, split))
    return shared
