"""How much vines differ in a figure: from a block's own past samples, else its cultivar's, else a published default."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from sqlalchemy import select

from vinebook.formulas.precision import panel_cv, pooled_cv
from vinebook.formulas.ratios import residual_variance
from vinebook.formulas.sampling import coefficient_of_variation
from vinebook.records.tables import TABLES
from vinebook.seasons.canopy_sums import sum_bearers
from vinebook.seasons.measures import (
    STAGES,
    SUM_X,
    SUM_XX,
    SUM_XY,
    SUM_Y,
    SUM_YY,
    Measure,
    N,
    cluster_tally_measures,
    node_shoot_measures,
    pruned_vine_measures,
    shoot_tally_measures,
    sum_lots,
    sum_nodes,
    sum_rows,
    vine_harvest_measures,
)
from vinebook.seasons.places import days_of, live, read_blocks
from vinebook.seasons.samples import CHOSEN, HAND_PICKED, read_samples

if TYPE_CHECKING:
    import datetime as dt
    from typing import Literal

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.measures import Aggregates
    from vinebook.seasons.samples import Samples

    Ints = NDArray[np.int64]

FIRST_SEASON = 1800
LEAST_DF = 4
"""Five vines of one sample tell a spread; common practice, no source."""
DEFAULT_CV = 0.4349
"""Between single vines: Strickland, 1932, A vine uniformity trial, Journal of Agriculture, Victoria 30: 584-593."""
DEFAULT_FROM = "125 single-vine yields, Strickland 1932"
LIKENESS = 0.4
"""Of the vines of a panel: 0.3 to 0.5 in panels of 3 to 6 on the grid of Strickland, 1932; worked out from its data."""
LIKENESS_FROM = "likeness 0.4 within panels, worked out from the vines of Strickland 1932"


@dataclass(frozen=True, slots=True)
class Source:
    """What is counted on drawn vines for a figure: kind of record and measure."""

    kind: str
    measure: str


_VISIT, _SHOOTS, _BEARER = "pruned_vine", "shoot_tally", "bearer"
DRAWN_FOR: dict[str, Source] = {
    "nodes_per_vine": Source(_VISIT, "nodes"),
    "nodes_per_m": Source(_VISIT, "nodes"),
    "spurs_per_vine": Source(_VISIT, "spurs"),
    "canes_per_vine": Source(_VISIT, "canes"),
    "spur_spacing": Source(_BEARER, "spacing"),
    "spur_spacing_within_share": Source(_BEARER, "within"),
    "longest_bare_cordon": Source(_BEARER, "bare"),
    "budbreak": Source(_SHOOTS, "budbreak"),
    "shoots_per_node": Source(_SHOOTS, "shoots_per_node"),
    "shoots_per_vine": Source(_SHOOTS, "shoots"),
    "noncount_shoot_share": Source(_SHOOTS, "noncount"),
    "shoots_per_spur": Source(_BEARER, "shoots"),
    "shoots_per_m": Source(_SHOOTS, "shoots"),
    "clusters_per_vine": Source("cluster_tally", "clusters"),
    "clusters_per_shoot": Source("node_tally", "per_shoot"),
    "cluster_weight": Source("cluster_lot", "cluster"),
    "yield_per_vine": Source("vine_harvest", "fruit"),
    "yield_per_m": Source("vine_harvest", "fruit"),
    "prunings_per_vine": Source(_VISIT, "prunings"),
    "prunings_per_m": Source(_VISIT, "prunings"),
    "cane_weight": Source(_VISIT, "cane"),
    "yield_to_prunings": Source(_VISIT, "prunings"),
    "leaf_area_to_fruit": Source("leaf_area", "leaves"),
}
"""Figures that rest on counted or weighed vines, and on what of them."""
WOOD = frozenset({"prunings_per_vine", "prunings_per_m", "cane_weight", "yield_to_prunings"})
"""Figures of the wood, which is weighed at the pruning that sets the next season."""
NOT_DRAWN: dict[str, str] = {
    "bud_mortality": "its unit is the cane, which is not recorded by row and vine",
    "clusters_per_node_at_k": "it is told by node position; draw for clusters_per_shoot, the same vines tell both",
    "fruitful_share_at_k": "it is told by node position; draw for clusters_per_shoot, the same vines tell both",
    "berries_per_cluster": "it rests on weighed lots; draw for cluster_weight, the same vines tell both",
    "berry_weight": "it rests on weighed lots; draw for cluster_weight, the same vines tell both",
    "leaf_layer_number": "its unit is the transect of probes, not the vine",
    "gap_share": "its unit is the transect of probes, not the vine",
    "interior_leaf_share": "its unit is the transect of probes, not the vine",
    "interior_cluster_share": "its unit is the transect of probes, not the vine",
}
"""Why vines are not drawn for a figure; those named neither here nor above come from places, census or loads."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How much the units of a draw differ, and where that is known from.

    Attributes
    ----------
    cv : coefficient of variation between vines, or between panels where panels are drawn [fraction].
    rests_on : own (samples of the block), cultivar (of other blocks), default, or given.
    source : where it comes from, in words.
    units, samples : how many vines or panels of how many samples it rests on; 0 for a default.
    notes : what a person should know of it.
    """

    cv: float
    rests_on: Literal["own", "cultivar", "default", "given"]
    source: str
    units: int = 0
    samples: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Sampled:
    """The spread of each sample of a figure: CV, degrees of freedom, season, how chosen, whether of a part."""

    cv: NDArray[np.float64]
    df: Ints
    season: Ints
    chosen: Ints
    in_part: NDArray[np.bool_]
    alone: int

    def only(self, which: NDArray[np.bool_]) -> _Sampled:
        return _Sampled(
            self.cv[which], self.df[which], self.season[which], self.chosen[which], self.in_part[which], self.alone
        )


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is looked for: samples of a figure from a first season to a last, for vines or panels."""

    figure: str
    season: int
    panel_size: int | None
    by_parts: bool
    last_day: int
    first: int = FIRST_SEASON


def spread_of(
    connection: Connection,
    block: int,
    season: int,
    figure: str,
    *,
    panel_size: int | None,
    by_parts: bool,
    on: dt.date,
    given: float | None = None,
) -> Spread:
    """Find how much vines (or panels) of a block differ in a figure.

    Parameters
    ----------
    connection : a reading connection.
    block : its permanent number.
    season : samples of later seasons are not looked at.
    figure : one of DRAWN_FOR.
    panel_size : vine positions in a panel where panels are drawn, else None.
    by_parts : whether parts are drawn for themselves, so that only the spread within a part counts.
    on : day of the draw; what was counted afterwards is not looked at.
    given : a coefficient of variation between vines that a person named [fraction]; it stands above all.
    """
    if given is not None:
        return _for_panels(Spread(given, "given", "named by --cv"), panel_size)
    notes: list[str] = []
    cultivar, since, others = _same_cultivar(connection, block, season)
    asked = _Asked(figure, season, panel_size, by_parts, int(days_of([on])[0]))
    own = _spread_among(connection, [block], replace(asked, first=since), notes)
    if own is None and since > FIRST_SEASON:
        own = _spread_among(connection, [block], asked, [])
        own = own and replace(own, notes=(*own.notes, f"vines before the planting of {since} are among them"))
    if own is not None:
        return own
    if others:
        found = _spread_among(connection, others, asked, [])
        if found is not None:
            source = f"other blocks of {cultivar}: {found.source}"
            return replace(found, rests_on="cultivar", source=source, notes=(*notes, *found.notes))
    notes.append("count ten vines or more and the block tells its own spread; or name one with --cv")
    return _for_panels(Spread(DEFAULT_CV, "default", DEFAULT_FROM, notes=tuple(notes)), panel_size)


def _spread_among(connection: Connection, blocks: list[int], asked: _Asked, notes: list[str]) -> Spread | None:
    """Give the spread in the past samples of blocks, or None and a note of why there is none."""
    if asked.panel_size is not None:
        panels = _sampled(connection, blocks, asked, panels=True)
        if int(panels.df.sum()) >= LEAST_DF:
            return _told(panels, "panel", ())
    vines = _sampled(connection, blocks, asked, panels=False)
    drawn = vines.only(vines.chosen != HAND_PICKED)
    more: tuple[str, ...] = ()
    if int(drawn.df.sum()) < LEAST_DF:
        drawn, more = vines, ("picked by hand: drawn vines may differ more",)
    if int(drawn.df.sum()) < LEAST_DF:
        notes.append(_too_few(vines, asked.figure))
        return None
    if drawn.in_part.any() and not asked.by_parts:
        more = (*more, "counted within parts: the whole block may differ more")
    return _for_panels(_told(drawn, "vine", more), asked.panel_size)


def _too_few(vines: _Sampled, figure: str) -> str:
    counted = int(vines.df.sum() + len(vines.df)) + vines.alone
    if not counted:
        return f"no sample of the block tells how much its vines differ in {figure}"
    if counted == 1:
        return f"one vine alone was counted for {figure}: it tells no spread"
    samples = len(vines.df) + vines.alone
    within = f"{samples} samples" if samples > 1 else "one sample"
    return f"{counted} vines in {within} are too few to tell how much the vines differ in {figure}"


def _told(samples: _Sampled, unit: str, notes: tuple[str, ...]) -> Spread:
    units = int(samples.df.sum() + len(samples.df))
    first, last = int(samples.season.min()), int(samples.season.max())
    seasons = f"{first}" if first == last else f"{first} to {last}"
    many = f"{len(samples.df)} samples" if len(samples.df) > 1 else "one sample"
    source = f"{units:,} {unit}s in {many}, {seasons}"
    return Spread(float(pooled_cv(samples.cv, samples.df)), "own", source, units, len(samples.df), notes)


def _for_panels(spread: Spread, panel_size: int | None) -> Spread:
    """Give the spread between panels that follows from that between vines."""
    if panel_size is None or panel_size == 1:
        return spread
    cv = float(panel_cv(spread.cv, panel_size, LIKENESS))
    said = f"no panels were counted for it: worked out from {100 * spread.cv:.0f} % between vines; {LIKENESS_FROM}"
    return replace(spread, cv=cv, notes=(*spread.notes, said))


def _sampled(connection: Connection, blocks: list[int], asked: _Asked, *, panels: bool) -> _Sampled:
    """Give the spread of each past sample, panels or vines being the units."""
    source = DRAWN_FOR[asked.figure]
    samples = read_samples(connection, read_blocks(connection, blocks), (asked.first, asked.season))
    samples.cell = np.zeros(len(samples.record), dtype=np.int64)
    chosen = samples.chosen
    if not panels:
        plain = np.where(chosen == CHOSEN["panels"], CHOSEN["random"], chosen)
        samples = replace(samples, chosen=plain, panel_size=np.ones_like(samples.panel_size))
    record, sums = _sums(connection, samples, source)
    at = np.searchsorted(samples.record, record)
    kept = (samples.day[at] <= asked.last_day) & (sums[:, N] > 0) & (sums[:, SUM_X] > 0) & (sums[:, SUM_Y] > 0)
    if panels:
        kept &= chosen[at] == CHOSEN["panels"]
    alone = int((sums[kept, N] == 1).sum())
    kept &= sums[:, N] > 1
    at, sums = at[kept], sums[kept]
    variance = residual_variance(*(sums[:, column] for column in (N, SUM_X, SUM_Y, SUM_XX, SUM_YY, SUM_XY)))
    cv = coefficient_of_variation(sums[:, SUM_Y] / sums[:, N], variance)
    in_part = np.asarray(samples.part[at] != "all", dtype=np.bool_)
    return _Sampled(cv, sums[:, N] - 1, samples.season[at], chosen[at], in_part, alone)


def _sums(connection: Connection, samples: Samples, source: Source) -> tuple[Ints, Ints]:
    """Give the samples of a kind and the six sums of a measure over their units."""
    aggregates: Aggregates
    match source.kind:
        case "pruned_vine":
            aggregates = sum_rows(connection, source.kind, pruned_vine_measures(), samples)
        case "shoot_tally":
            aggregates = sum_rows(connection, source.kind, shoot_tally_measures(), samples)
        case "cluster_tally":
            aggregates = sum_rows(connection, source.kind, cluster_tally_measures(), samples)
        case "vine_harvest":
            aggregates = sum_rows(connection, source.kind, vine_harvest_measures(), samples)
        case "leaf_area":
            # Whole square centimetres, so that sums are exact.
            leaves = "CASE WHEN state = 'bearing' THEN CAST(ROUND(leaf_area_m2 * 10000) AS BIGINT) END"
            aggregates = sum_rows(connection, source.kind, (Measure("leaves", leaves),), samples)
        case "node_tally":
            aggregates = sum_nodes(connection, node_shoot_measures(), samples, by_node=False)
        case "bearer":
            aggregates = sum_bearers(connection, samples, cells=1)
        case _:
            aggregates, _ = sum_lots(connection, samples)
            ripe = aggregates.extra[:, 0] == STAGES.index("harvest")
            return aggregates.sample[ripe], aggregates.sums[source.measure][ripe]
    return aggregates.sample, aggregates.sums[source.measure]


def _same_cultivar(connection: Connection, block: int, season: int) -> tuple[str, int, list[int]]:
    """Give a block's cultivar in a season, since when it is planted so, and the other blocks that hold it then."""
    table = TABLES["planting"]
    rows = connection.execute(
        select(table.c.block, table.c.cultivar, table.c.to_season, table.c.from_season)
        .where(live(table), table.c.from_season <= season)
        .order_by(table.c.from_season)
    )
    held = {row[0]: ("" if row[2] is not None and row[2] < season else str(row[1]), int(row[3])) for row in rows}
    cultivar, since = held.get(block, ("", FIRST_SEASON))
    same = cultivar.casefold()
    others = [one for one, (name, _) in held.items() if cultivar and one != block and name.casefold() == same]
    return cultivar, since, others
