"""The tallies of what is seen in the canopy and what is decided: bearers, probes, leaves, passes, stages, estimates."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from demo.blocks import BLOCKS, LAST_HARVEST, PARCELS, SITES, TODAY, Block
from demo.drawing import BlockYear, Years, block_year
from demo.growing import SHOOTS_THINNED
from demo.seasons import CLUSTERS_THINNED
from demo.stages import date_of
from demo.tallies import path_of

if TYPE_CHECKING:
    from demo.tallies import Cell, Tallies

LOOKED_AT = {"V6B": range(2021, 2027), "V4": range(2022, 2027), "Z1": range(2021, 2027)}
"""Cordon-pruned blocks whose spurs and canopies are looked at, and from when."""
STAGES = (("09", "shoots", -38), ("65", "bloom", 0), ("81", "lag_phase", 8))
"""BBCH codes read each season: bud burst, full bloom, veraison; days from a stage of the calendar."""
BUDS_CUT = {("V1", 2018), ("V5", 2018), ("Z2", 2024)}
ESTIMATED = {"V1": range(2022, 2026), "V3": range(2022, 2026)}
"""Seasons of which the crop was estimated by the rule of thumb; that of 2026 the book gave (demo/decide.py)."""
PROBES, TRANSECTS, VINES = 25, 3, 8
CONTACTS = ("", "L", "LL", "LC", "LCL", "LLC", "LLCL", "C", "LSL", "LLL")
SHARES = (0.2, 0.14, 0.16, 0.1, 0.14, 0.08, 0.05, 0.04, 0.05, 0.04)


def write_canopy(tallies: Tallies, years: Years, seed: int) -> None:
    """Add what is seen in canopies, and what is decided on it.

    Parameters
    ----------
    tallies : the files in the making.
    years : the vines.
    seed : seed of the demo.
    """
    tallies.add(
        "places/certification.csv",
        "certification",
        block="V4",
        scheme="Careful Ground",
        status="in_conversion",
        certificate="CG-4",
        valid_from="2019-03-01",
        valid_to="2022-02-28",
    )
    tallies.add(
        "places/certification.csv",
        "certification",
        block="V4",
        scheme="Careful Ground",
        status="certified",
        certificate="CG-4-1",
        valid_from="2022-03-01",
    )
    tallies.add(
        "places/silence.csv",
        "silence",
        block="Z4",
        rule="wood_not_weighed",
        reason="bush vines; the wood is left in the row",
    )
    for block in BLOCKS:
        for season in range(2018, LAST_HARVEST + 1):
            if not block.is_standing(season):
                continue
            rng = np.random.default_rng([seed, season, *block.code.encode(), *b"canopy"])
            _passes(tallies, block, season)
            _stages(tallies, block, season, rng)
            year = block_year(block, season, years)
            if season in LOOKED_AT.get(block.code, ()):
                _bearers(tallies, block, season, year, rng)
                _probes(tallies, block, season, rng)
                _leaves(tallies, block, season, year, rng)
            if season in ESTIMATED.get(block.code, ()):
                _estimate(tallies, block, season, year)
            if (block.code, season) in BUDS_CUT:
                _buds(tallies, block, season, rng)
    _decisions(tallies)


def _sample(block: Block, date: dt.date, season: int) -> dict[str, Cell | None]:
    site = SITES[block.site]
    return {"block": block.code, "date": str(date), "chosen": "random", "counted_by": site.counters[season % 3]}


def _passes(tallies: Tallies, block: Block, season: int) -> None:
    passes: list[tuple[str, str, int, str | None, str]] = [
        ("cluster_zone_leaf_removal", "bloom", 12, "morning side", "3 leaves a shoot")
    ]
    if (block.code, season) in SHOOTS_THINNED:
        passes.append(("shoot_thinning", "shoots", 8, None, "to the count shoots"))
    if (block.code, season) in CLUSTERS_THINNED:
        passes.append(("cluster_thinning", "thinned", 0, None, "one cluster off each strong shoot"))
    for work, stage, days, side, extent in passes:
        date = date_of(block.site, season, stage, days)
        if date <= TODAY:
            tallies.add_seasonal(
                "canopy_work",
                block.site,
                season,
                block=block.code,
                work=work,
                started_on=str(date),
                finished_on=str(date + dt.timedelta(days=1)),
                side=side,
                extent=extent,
                done_by="hand",
                crew="2",
            )


def _stages(tallies: Tallies, block: Block, season: int, rng: np.random.Generator) -> None:
    for code, stage, days in STAGES:
        date = date_of(block.site, season, stage, days + int(rng.integers(-4, 5)))
        tallies.add_seasonal(
            "growth_stage", block.site, season, block=block.code, date=str(date), scale="BBCH", code=code, share="50"
        )
    for number, days in ((1, -9), (2, -2)):
        date = date_of(block.site, season, "harvest", block.harvest_day + days)
        if date > TODAY:
            continue
        tallies.add_seasonal(
            "maturity_sample",
            block.site,
            season,
            block=block.code,
            date=str(date),
            number=1,
            sampled="berries",
            berries=100,
            berry_mass=f"{rng.normal(128, 10):.0f}",
            soluble_solids=f"{block.brix - 3.2 + 1.3 * number + rng.normal(0, 0.3):.1f}",
            ph=f"{3.0 + 0.09 * number + rng.normal(0, 0.03):.2f}",
            titratable_acidity=f"{10.5 - 1.3 * number + rng.normal(0, 0.4):.1f}",
        )


def _bearers(tallies: Tallies, block: Block, season: int, year: BlockYear, rng: np.random.Generator) -> None:
    """Measure every spur of a few vines out along each arm, and count the shoots it gave."""
    parcel = PARCELS[block.parcel_names(season)[0]]
    system = parcel.system(season)
    arm_m = system.cordon_length_m / max(system.arms, 1)
    date = date_of(block.site, season, "shoots", 2)
    for vine in sorted(rng.choice(year.bearing, size=VINES, replace=False)):
        number = 0
        place = {"row": int(year.row[vine]), "vine": int(year.vine[vine])}
        for arm in range(1, system.arms + 1):
            at = float(rng.uniform(0.05, 0.12))
            while at < arm_m - 0.03:
                number += 1
                count = int(rng.binomial(2, 0.92))
                tallies.add_seasonal(
                    "bearer",
                    block.site,
                    season,
                    **_sample(block, date, season),
                    **place,
                    bearer_number=number,
                    bearer="spur",
                    arm=arm,
                    distance=f"{100 * at:.0f}",
                    nodes=2,
                    count_shoots=count,
                    double_shoots=int(rng.binomial(count, 0.06)),
                    noncount_shoots=int(rng.binomial(1, 0.3)),
                )
                at += float(rng.choice((0.1, 0.11, 0.12, 0.13, 0.15, 0.24), p=(0.18, 0.22, 0.25, 0.18, 0.12, 0.05)))
            number += 1
            tallies.add_seasonal(
                "bearer",
                block.site,
                season,
                **_sample(block, date, season),
                **place,
                bearer_number=number,
                bearer="end_of_arm",
                arm=arm,
                distance=f"{100 * arm_m:.0f}",
            )


def _probes(tallies: Tallies, block: Block, season: int, rng: np.random.Generator) -> None:
    date = date_of(block.site, season, "lag_phase", 6)
    if date > TODAY:
        return
    for transect in range(1, TRANSECTS + 1):
        for probe, contacts in enumerate(rng.choice(CONTACTS, size=PROBES, p=SHARES), start=1):
            tallies.add_seasonal(
                "canopy_probe",
                block.site,
                season,
                **_sample(block, date, season),
                transect=transect,
                probe=probe,
                side="east",
                height="1.05",
                contacts=str(contacts) or None,
            )


def _leaves(tallies: Tallies, block: Block, season: int, year: BlockYear, rng: np.random.Generator) -> None:
    date = date_of(block.site, season, "lag_phase", 7)
    if date > TODAY:
        return
    for vine in sorted(rng.choice(year.bearing, size=VINES, replace=False)):
        area_m2 = max(1.0, float(year.crop_kg[vine]) * float(rng.normal(1.05, 0.12)))
        tallies.add_seasonal(
            "leaf_area",
            block.site,
            season,
            **_sample(block, date, season),
            row=int(year.row[vine]),
            vine=int(year.vine[vine]),
            leaf_area=f"{area_m2:.2f}",
            method="leaves of 6 shoots × shoots",
        )


def _estimate(tallies: Tallies, block: Block, season: int, year: BlockYear) -> None:
    """Add what was told of the crop to come by the rule of thumb, from the season's own counts; none without them."""
    clusters = _counted(tallies, "cluster_tally", block, season)
    lots = [row for row in _counted(tallies, "cluster_lot", block, season) if row["stage"] == "lag_phase"]
    if not clusters or not lots:
        return
    last = max(str(row["thinning"]) == "after" for row in clusters)
    per_vine = [int(row["clusters"]) for row in clusters if (row["thinning"] == "after") == last and "clusters" in row]
    weight_kg = sum(float(row["mass"]) for row in lots) / sum(int(row["clusters"]) for row in lots)
    crop_t = len(year.bearing) * sum(per_vine) / len(per_vine) * weight_kg * 2 / 1000
    date = dt.date.fromisoformat(max(str(row["date"]) for row in lots)) + dt.timedelta(days=1)
    tallies.add_seasonal(
        "crop_estimate",
        block.site,
        season,
        block=block.code,
        date=str(date),
        given_to=block.consignee,
        stage="lag_phase",
        method="clusters × lag-phase weight × 2",
        estimate=f"{crop_t:.2f}",
        low=f"{0.84 * crop_t:.2f}",
        high=f"{1.19 * crop_t:.2f}",
        level="80",
        inputs=f"clusters of {len(per_vine)} vines, {len(lots)} lots",
    )


def _counted(tallies: Tallies, kind: str, block: Block, season: int) -> list[dict[str, Cell]]:
    """Give the rows of a kind that were counted in a block of the north in a season."""
    _, rows = tallies.files.get(path_of(kind, block.site, season), (kind, []))
    return [row for row in rows if row["block"] == block.code and str(row["date"]).startswith(str(season))]


def _buds(tallies: Tallies, block: Block, season: int, rng: np.random.Generator) -> None:
    date = date_of(block.site, season, "visit", -4)
    for cane in range(1, 11):
        dead = int(rng.binomial(10, 0.14))
        tallies.add_seasonal(
            "bud_sample",
            block.site,
            season,
            **_sample(block, date, season),
            cane=cane,
            first_position=1,
            last_position=10,
            buds=10,
            primaries_dead=dead,
            secondaries_alive=int(rng.binomial(dead, 0.7)),
            primordia=int(rng.poisson(13)),
        )


def _decisions(tallies: Tallies) -> None:
    tallies.add(
        "vellowick/decision.csv",
        "decision",
        block="V2",
        season=2020,
        number=1,
        decided_on="2019-12-10",
        decides="pruning_form",
        words="cordons cut back to the head, two canes laid",
        decided_by="HM",
        reason="basal buds of this block bear little; see the node tallies of 2016 to 2019",
        expected_figure="clusters_per_vine",
        expected_low="24",
        expected_high="34",
        review_on="2022-12-01",
    )
    tallies.add(
        "vellowick/decision.csv",
        "decision",
        block="V1",
        season=2024,
        number=1,
        decided_on="2024-01-08",
        decides="nodes_to_keep",
        value="16",
        words="16 nodes on two canes and their renewal spurs",
        decided_by="HM",
        reason="small wood after two heavy crops",
        expected_figure="yield_to_prunings",
        expected_low="5",
        expected_high="8",
        review_on="2025-02-01",
    )
    tallies.add(
        "zennavar/decision.csv",
        "decision",
        block="Z1",
        season=2024,
        number=1,
        decided_on="2023-07-02",
        decides="shoot_thinning",
        words="no shoot thinning this year",
        decided_by="AD",
        reason="shoots per metre of 2023 were within the band",
    )
