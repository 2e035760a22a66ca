"""The tallies of long-lived facts: vineyards, blocks, rows, plantings, censuses, training, bands, consignees."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from demo.blocks import BLOCKS, CONSIGNEES, FIRST_SEASON, LAST_HARVEST, PARCELS, PREDECESSORS, SITES, TODAY, Block
from demo.drawing import BlockYear, Years, block_year
from demo.stages import date_of
from demo.vine import BEARING, MISSING, YOUNG

if TYPE_CHECKING:
    from demo.tallies import Tallies

BANDS = (
    ("", "V3", "yield_per_ha", 4, 8, 2016, "agreed with the winemaker of Hollin Press House"),
    ("", "V1", "yield_per_ha", "", 12, 2014, "ceiling that the house set for itself"),
    ("", "Z1", "yield_to_prunings", 5, 9, 2018, "what this block has done well at, by the grower"),
    ("Zennavar Flats", "", "prunings_per_m", 0.3, 0.7, 2018, "aim of the house for the flats"),
)
CENSUS_SEASONS = frozenset({2014, 2016, 2018, 2020, 2022, 2024, 2026})
CENSUS_EVERY_SEASON_FROM = {"V1": 2018, "V5": 2019, "V9": 2019, "V78": 2021}
CENSUS_BY_ROWS = frozenset({("Z4", 2018), ("Z4", 2022)})


def write_places(tallies: Tallies, years: Years) -> None:
    """Add every long-lived fact.

    Parameters
    ----------
    tallies : the files in the making.
    years : the vines, for the censuses.
    """
    for site in SITES.values():
        tallies.add(
            "places/vineyard.csv",
            "vineyard",
            name=site.name,
            hemisphere=site.hemisphere,
            place=site.place,
            units="metric",
            grower=site.grower,
            address=site.address,
            register_numbers=site.register_numbers,
            geographical_indication=site.geographical_indication,
            keep_years=10,
        )
    for name, address, register_numbers in CONSIGNEES:
        tallies.add("places/consignee.csv", "consignee", name=name, address=address, register_numbers=register_numbers)
    for later, earlier, how in PREDECESSORS:
        tallies.add("places/predecessor.csv", "predecessor", block=later, predecessor=earlier, how=how)
    for vineyard, code, figure, low, high, season, source in BANDS:
        tallies.add(
            "places/target_band.csv",
            "target_band",
            vineyard=vineyard,
            block=code,
            figure=figure,
            low=str(low),
            high=str(high),
            from_season=season,
            source=source,
        )
    for block in BLOCKS:
        write_block(tallies, block)
        write_censuses(tallies, block, years)


def write_block(tallies: Tallies, block: Block) -> None:
    """Add a block with its rows, plantings and training."""
    tallies.add(
        "places/block.csv",
        "block",
        vineyard=SITES[block.site].name,
        code=block.code,
        name=block.name,
        row_direction=block.row_direction,
        surveyed_area=None if block.surveyed_area_ha is None else f"{block.surveyed_area_ha:.2f}",
        from_season=block.from_season,
        to_season=block.to_season,
    )
    for first, _, name in block.parcels:
        parcel = PARCELS[name]
        tallies.add(
            "places/row.csv",
            "row",
            block=block.code,
            from_season=first,
            first_row=parcel.first_row,
            last_row=parcel.last_row,
            positions=parcel.positions,
            numbered_from="the track",
            vines_per_panel=parcel.vines_per_panel,
        )
    for start in dict.fromkeys(first for first, _, _ in block.parcels):
        names = [name for first, _, name in block.parcels if first == start]
        parcel = PARCELS[names[0]]
        tallies.add(
            f"places/planting_{block.site}.csv",
            "planting",
            block=block.code,
            from_season=start,
            cultivar=parcel.cultivar,
            clone=parcel.clone,
            rootstock=parcel.rootstock,
            year_planted=parcel.year_planted,
            row_spacing=f"{parcel.row_spacing_m:.4g}",
            vine_spacing=f"{parcel.vine_spacing_m:.4g}",
            positions=sum(PARCELS[name].rows * PARCELS[name].positions for name in names),
            to_season=parcel.to_season or block.to_season,
        )
        end = block.to_season or 9999
        changes = [(max(begin, start), system) for begin, system in parcel.systems if begin <= end]
        for begin, system in dict(changes).items():
            tallies.add(
                "places/training.csv",
                "training",
                block=block.code,
                from_season=begin,
                trained=system.trained,
                arms=system.arms,
                curtains=system.curtains,
                shoot_position=system.shoot_position,
                cordon_length=f"{system.cordon_length_m:.2f}" if system.trained == "cordon" else None,
                wire_height=f"{system.wire_height_m:.2f}",
                pruned=system.pruned,
                trade_name=system.words,
            )


def write_censuses(tallies: Tallies, block: Block, years: Years) -> None:
    """Add the censuses of a block: most of all vines, a few of counted rows."""
    for season in range(FIRST_SEASON, LAST_HARVEST + 1):
        is_due = season in CENSUS_SEASONS or season >= CENSUS_EVERY_SEASON_FROM.get(block.code, 9999)
        date = date_of(block.site, season, "census")
        if not is_due or not block.is_standing(season) or date > TODAY:
            continue
        year = block_year(block, season, years)
        if (block.code, season) in CENSUS_BY_ROWS:
            for row in sorted({int(number) for number in year.row[:: len(year.row) // 5]}):
                write_census(tallies, block, year, str(date), row)
        else:
            write_census(tallies, block, year, str(date), None)


def write_census(tallies: Tallies, block: Block, year: BlockYear, date: str, row: int | None) -> None:
    """Add one census line, of a block or of one counted row."""
    state = year.vines.state if row is None else year.vines.state[year.row == row]
    by_state = {word: int(np.count_nonzero(state == word)) for word in (BEARING, YOUNG, MISSING)}
    tallies.add(
        f"places/vine_census_{block.site}.csv",
        "vine_census",
        block=block.code,
        date=date,
        row=row,
        counted="full" if row is None else "sampled_rows",
        bearing=by_state[BEARING],
        young=by_state[YOUNG],
        missing=by_state[MISSING],
        positions=len(state),
        counted_by=SITES[block.site].counters[0],
    )
