"""The section on the canopy: leaves, gaps and sunlight by season, growth stages, and the work done in it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports.figure_charts import Grid, season_grid, seasons_with
from vinebook.reports.numbers import EN_DASH, Units
from vinebook.reports.svg import CROP, INK
from vinebook.reports.tables import Cell, Column, Table, Wish, season_table
from vinebook.reports.words import begin_sentence, write_short_day, write_short_days

if TYPE_CHECKING:
    from vinebook.reports.tables import SeasonFigures
    from vinebook.seasons.model import BlockHistory, PassFacts, StageFacts

WISHES = (
    Wish("leaf_layer_number", "Leaf layers", "Probes"),
    Wish("gap_share", "Gaps", "Probes"),
    Wish("interior_leaf_share", "Interior leaves", "Probes"),
    Wish("interior_cluster_share", "Interior clusters", "Probes"),
    Wish("leaf_area_to_fruit", "Leaf area to fruit", "Leaves"),
    Wish("shoots_per_m", "Shoots", "Shoots"),
)
CHARTS = (
    ("leaf_layer_number", INK),
    ("gap_share", INK),
    ("interior_leaf_share", INK),
    ("interior_cluster_share", INK),
    ("leaf_area_to_fruit", CROP),
)
OF_THE_SECTION = tuple(name for name, _ in CHARTS)
MOST_STAGES = 5
HALF_PERCENT = 50.0
BBCH_NAMES = {
    "00": "dormant bud",
    "01": "bud swell",
    "05": "wool",
    "07": "green tip",
    "09": "bud burst",
    "11": "first leaf",
    "53": "inflorescences",
    "57": "flowers apart",
    "60": "first caps off",
    "61": "bloom begins",
    "65": "full bloom",
    "69": "bloom over",
    "71": "fruit set",
    "73": "groat size",
    "75": "pea size",
    "77": "berries touch",
    "79": "closed",
    "81": "veraison",
    "83": "colouring",
    "85": "softening",
    "89": "ripe",
    "91": "wood ripe",
    "93": "leaf fall",
    "97": "leaves fallen",
}
"""Short names of stages for the heading of a table: Lorenz et al. 1994/1995; Meier, BBCH monograph, in our words."""
WORK = {
    "shoot_thinning": "shoots thinned",
    "shoot_positioning": "shoots positioned",
    "cluster_zone_leaf_removal": "leaves off the cluster zone",
    "hedging": "hedged",
    "cluster_thinning": "clusters thinned",
}


@dataclass(frozen=True, slots=True)
class Canopy:
    """What the section shows; a part that the block has no rows for is empty.

    Attributes
    ----------
    table : figures, a row a season.
    charts : small charts by season.
    work : growth stages and passes, a row a season.
    """

    table: Table | None
    charts: Grid
    work: Table | None


def canopy_section(history: BlockHistory, figures: SeasonFigures, units: Units, width_pt: float) -> Canopy | None:
    """Make the section; None where nothing of it was counted or done.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    width_pt : width of the text column.
    """
    seasons = seasons_with(OF_THE_SECTION, figures, history.seasons)
    work = work_table(history.stages, history.passes)
    if not seasons and work is None:
        return None
    table = (
        season_table("Leaves and light by season", WISHES, figures, seasons, units, names_missed=False)
        if seasons
        else None
    )
    return Canopy(table, season_grid(CHARTS, figures, history.seasons, units, width_pt), work)


def work_table(stages: tuple[StageFacts, ...], passes: tuple[PassFacts, ...]) -> Table | None:
    """Give growth stages and passes, a row a season, oldest first; None without any.

    A stage has a column where the block has it most often; its date is the first on which half of the vines were
    there, else the latest with the share that was.

    Parameters
    ----------
    stages : readings of growth stages.
    passes : rounds of work.
    """
    seasons = sorted({stage.season for stage in stages} | {work.season for work in passes})
    if not seasons:
        return None
    read: dict[tuple[str, str], dict[int, list[StageFacts]]] = {}
    for stage in stages:
        read.setdefault((stage.scale, stage.code), {}).setdefault(stage.season, []).append(stage)
    often = Counter({key: len(by_season) for key, by_season in read.items()})
    columns_of = sorted(key for key, _ in often.most_common(MOST_STAGES))
    columns = [Column("Season", width=0.7)]
    columns += [Column(begin_sentence(_stage_name(*key)), f"{key[0]} {key[1]}", 1.05) for key in columns_of]
    others = any(key not in columns_of for key in read)
    if others:
        columns.append(Column("Other stages", width=2.0))
    if passes:
        columns.append(Column("Work in the canopy", width=max(8.6 - 1.05 * len(columns_of), 3.0)))
    rows = []
    for season in seasons:
        cells = [Cell(str(season))]
        cells += [Cell(_stage_day(read[key].get(season, []))) for key in columns_of]
        if others:
            said = [
                f"{key[0]} {key[1]} {_stage_day(by_season[season])}"
                for key, by_season in sorted(read.items())
                if key not in columns_of and season in by_season
            ]
            cells.append(Cell("; ".join(said)))
        if passes:
            cells.append(Cell(begin_sentence("; ".join(_pass_words(p) for p in passes if p.season == season))))
        rows.append(tuple(cells))
    title = "Growth stages and work" if stages and passes else "Growth stages" if stages else "Work in the canopy"
    return Table(title, tuple(columns), tuple(rows))


def _stage_name(scale: str, code: str) -> str:
    return BBCH_NAMES.get(code, "stage") if scale == "BBCH" else "stage"


def _stage_day(stages: list[StageFacts]) -> str:
    if not stages:
        return EN_DASH
    half = [s for s in stages if s.share_percent is None or s.share_percent >= HALF_PERCENT]
    if half:
        return write_short_day(half[0].date)
    last = stages[-1]
    return f"{write_short_day(last.date)} ({last.share_percent:.0f} %)"


def _pass_words(work: PassFacts) -> str:
    details = [part for part in (work.side, work.extent, work.done_by) if part]
    days = write_short_days(work.started_on, work.finished_on)
    return f"{WORK.get(work.work, work.work.replace('_', ' '))} {days}" + (f": {', '.join(details)}" if details else "")
