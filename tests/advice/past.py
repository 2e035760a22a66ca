"""Invented histories for the tests of advice on nodes: a few numbers a season, all else as plain as can be."""

from __future__ import annotations

import datetime as dt
from typing import Any

from vinebook.advice.bands import judge
from vinebook.advice.nodes_model import NodesToKeep, Way, WayName, Wishes
from vinebook.advice.nodes_to_keep import nodes_to_keep
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.context import BlockContext, JudgingContext, Target
from vinebook.seasons.model import (
    BlockHistory,
    EventFacts,
    Figure,
    PlantingFacts,
    TrainingFacts,
    VineyardFacts,
)
from vinebook.seasons.pruning_facts import PruningFacts, WeighedVine, WoodWeighed

SEASON = 2026
"""The season that nodes are chosen for."""


def figure(season: int, name: str, value: float | None, **more: Any) -> Figure:  # noqa: ANN401 - fields of a figure
    """Give one figure of block A1."""
    kind = FIGURES[name]
    return Figure("A1", season, name, value, kind.unit, kind.per, **more)


def season(year: int, nodes: float | None = 16.0, ratio: float | None = 6.0, **more: float) -> list[Figure]:
    """Give a past season: nodes and ratio, and what else is named."""
    return [
        figure(year, name, value)
        for name, value in {"nodes_per_vine": nodes, "yield_to_prunings": ratio, **more}.items()
        if value is not None
    ]


def whole_season(year: int, nodes: float = 16.0, ratio: float = 6.0) -> list[Figure]:
    """Give a past season with everything counted: 1.1 shoots a node, 10 % of them non-count, 0.2 kg a node."""
    return season(
        year,
        nodes,
        ratio,
        cane_weight=35.0,
        budbreak=92.0,
        shoots_per_node=1.1,
        shoots_per_vine=1.1 * nodes,
        noncount_shoot_share=10.0,
        yield_per_vine=0.2 * nodes,
        vines_bearing=900.0,
    )


def history(*figures: Figure, **more: Any) -> BlockHistory:  # noqa: ANN401 - fields of a history
    """Give a history of block A1: 1000 vines at 1.2 × 2 m, two canes from a head, one curtain."""
    planting = PlantingFacts(2000, None, "Riesling", "", "", 2000, None, 2.0, 1.2, 1000)
    training = TrainingFacts(2000, "head", "cane", 2, 1, "up", None, 0.8, "")
    given: dict[str, Any] = {
        "vineyard": VineyardFacts("Stony Ridge", "north", "metric"),
        "code": "A1",
        "name": "",
        "row_direction_degrees": None,
        "surveyed_area_ha": None,
        "from_season": 2000,
        "to_season": None,
        "field_blend": "",
        "predecessors": (),
        "successors": (),
        "plantings": (planting,),
        "trainings": (training,),
        "censuses": (),
        "visits": (),
        "events": (),
        "seasons": tuple(sorted({one.season for one in figures})),
        "figures": figures,
        "seal": "",
        "entries": 0,
        "as_of": "",
    }
    return BlockHistory(**(given | more))


def cordon(length_m: float | None = 1.5, *, arms: int | None = 2, pruned: str = "spur") -> TrainingFacts:
    """Give a training on a cordon."""
    return TrainingFacts(2000, "cordon", pruned, arms, 1, "up", length_m, 0.9, "")


def frost(year: int, share: float | None = 30.0) -> EventFacts:
    """Give a frost."""
    return EventFacts(year, dt.date(year, 4, 20), "frost", share, "")


def wood(*kg: float, **more: Any) -> WoodWeighed:  # noqa: ANN401 - fields of the wood weighed
    """Give vines weighed one by one in one row."""
    vines = tuple(WeighedVine(100 + at, 1, at, (1, 1, at), "all", mass) for at, mass in enumerate(kg))
    return WoodWeighed(vines, **({"last_on": dt.date(SEASON, 1, 12)} | more))


def context(*targets: Target, cultivar: str = "Riesling", band_set: str = "") -> BlockContext:
    """Give what block A1 is judged by."""
    return BlockContext(((2000, None, cultivar),), ((2000, 1),), targets, band_set)


def answer(
    told: BlockHistory,
    *,
    weighed: WoodWeighed | None = None,
    judged_by: BlockContext | None = None,
    facts: dict[str, Any] | None = None,
    **wished: Any,  # noqa: ANN401 - fields of the wishes
) -> NodesToKeep:
    """Judge a history and give the answer for the season to come."""
    by = judged_by or context(cultivar=told.plantings[-1].cultivar if told.plantings else "")
    figures = tuple(judge(told.figures, JudgingContext({"A1": by})))
    block = BlockHistory(**({name: getattr(told, name) for name in BlockHistory.__slots__} | {"figures": figures}))
    given = PruningFacts("A1", SEASON, weighed or WoodWeighed(), **(facts or {}))
    return nodes_to_keep(block, given, by, Wishes(**wished))


def way_of(told: NodesToKeep, name: WayName) -> Way:
    """Give the one way of a name."""
    (found,) = (way for way in told.ways if way.way == name)
    return found
