"""What figures say together: in plain words, by bands with their names, conflicts shown, never an order."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.advice.past import context, figure, history
from vinebook.advice.bands import judged
from vinebook.advice.together import (
    CANES_AND_SHOOTS,
    LAYERS_AND_CLUSTERS,
    WOOD_AND_RATIO,
    Said,
    last_complete_season,
    said_of_season,
    said_together,
)
from vinebook.reports.numbers import FigureWriter
from vinebook.seasons.context import Target

WOOD = {"below": 0.24, "within": 0.7, "above": 1.6}
RATIO = {"below": 2.0, "within": 6.0, "above": 14.0}
ORDERS = re.compile(r"\b(must|should|shall|need to|have to|reduce|increase|prune|keep|thin|leave)\b", re.IGNORECASE)


def said(
    *own: Target,
    cultivar: str = "Grey Hen",
    curtains: int = 1,
    us: bool = False,
    **values: Any,  # noqa: ANN401 - values or figures by name
) -> list[Said]:
    by = context(*own, cultivar=cultivar)
    figures = []
    for name, value in values.items():
        made = {"value": value} if not isinstance(value, dict) else value
        figures.append(judged(figure(2024, name, **made), by))
    return list(said_together(figures, cultivar, curtains, FigureWriter("us" if us else "metric")))


def targets(*bands: tuple[str, float, float]) -> list[Target]:
    return [Target(name, low, high, 2000, "the grower", is_of_block=True) for name, low, high in bands]


def first(**values: Any) -> str:  # noqa: ANN401 - values by name
    return said(**values)[0].words


@pytest.mark.parametrize(("wood", "ratio"), WOOD_AND_RATIO)
def test_wood_and_ratio_are_told_together_with_the_source_named_once(wood: str, ratio: str) -> None:
    words = first(prunings_per_m=WOOD[wood], yield_to_prunings=RATIO[ratio])
    for part in WOOD_AND_RATIO[wood, ratio]:
        assert part in words
    assert words.count("Kliewer & Dokoozlian 2005") == 1
    assert "0.5–1.0" in words
    assert "4–10" in words


def test_small_wood_and_a_high_ratio() -> None:
    assert first(prunings_per_m=0.24, yield_to_prunings=12.0) == (
        "Little wood (0.240 kg/m, below 0.5–1.0) and much fruit for it (12.0 kg/kg, above 4–10): small vines with a "
        "large crop for their size (Kliewer & Dokoozlian 2005)."
    )


def test_two_sources_are_named_each() -> None:
    own = Target("yield_to_prunings", 5.0, 9.0, 2000, "the grower", is_of_block=True)
    words = said(own, prunings_per_m=0.7, yield_to_prunings=12.0)[0].words
    assert "0.5–1.0, Kliewer & Dokoozlian 2005" in words
    assert "above 5–9, own target" in words


def test_an_interval_across_a_limit_is_not_settled() -> None:
    words = first(prunings_per_m={"value": 0.5, "low": 0.4, "high": 0.6}, yield_to_prunings=6.0)
    assert "across a limit of 0.5–1.0" in words
    assert "the counts do not settle what the two mean together" in words


def test_one_figure_alone_says_nothing_of_two() -> None:
    together = ("prunings_per_m", "yield_to_prunings")
    assert together in [one.figures for one in said(prunings_per_m=0.24, yield_to_prunings=6.0)]
    assert together not in [one.figures for one in (*said(prunings_per_m=0.24), *said(yield_to_prunings=6.0))]


def test_what_is_pending_or_partial_says_nothing() -> None:
    pending = {"value": None, "status": "pending"}
    partial = {"value": 11.0, "status": "partial"}
    for waiting in (pending, partial):
        assert not any(
            "yield_to_prunings" in one.figures for one in said(prunings_per_m=0.24, yield_to_prunings=waiting)
        )


def test_figures_of_one_bearer_or_one_pick_say_nothing_of_the_vine() -> None:
    assert said(yield_to_prunings={"value": 11.0, "pick": 1}) == []


def test_sources_that_read_a_ratio_of_eleven_differently_stand_as_conflicting() -> None:
    (told,) = said(yield_to_prunings=11.0)
    assert told.is_conflict
    assert told.words == (
        "Sources conflict on yield to prunings, 11.0 kg/kg: below 13–18 (Kurtural et al. 2006); within 5–12 (White "
        "2012); above 4–10 (Kliewer & Dokoozlian 2005), 5–10 (Dry et al. 2004 second hand, Smart & Robinson 1991 from "
        "memory)."
    )
    assert len(told.sources) == 5


@pytest.mark.parametrize(
    ("cultivar", "words"),
    [
        ("Carignane", "up to 12 (Bravdo et al. 1984)"),
        ("Traminette", "8–12 (Bordelon et al. 2008)"),
        ("Concord", "17.5–20.0 (Bates et al. 2021)"),
    ],
)
def test_a_band_of_one_cultivar_speaks_of_that_cultivar_only(cultivar: str, words: str) -> None:
    assert words in said(yield_to_prunings=11.0, cultivar=cultivar)[-1].words
    assert words not in said(yield_to_prunings=11.0, cultivar="White Hen")[-1].words


def test_sources_that_agree_are_no_conflict() -> None:
    assert not any(one.is_conflict for one in said(cane_weight=35.0))
    assert any(one.is_conflict for one in said(cane_weight=25.0))


def test_a_source_whose_limit_the_interval_crosses_takes_no_side() -> None:
    (told,) = said(yield_to_prunings={"value": 11.0, "low": 10.5, "high": 12.5})
    assert "above 4–10 (Kliewer & Dokoozlian 2005)" in told.words
    assert "White 2012" not in told.words
    assert "White 2012" in said(yield_to_prunings=11.0)[0].words


def test_light_canes_with_many_shoots() -> None:
    own = targets(("cane_weight", 30.0, 40.0), ("shoots_per_m", 12.0, 16.0))
    values = {("below", "above"): (20.0, 22.0), ("above", "below"): (55.0, 9.0), ("below", "below"): (20.0, 9.0),
              ("above", "above"): (55.0, 22.0)}  # fmt: skip
    assert values.keys() == CANES_AND_SHOOTS.keys()
    for readings, (cane, shoots) in values.items():
        words = said(*own, cane_weight=cane, shoots_per_m=shoots)[0].words
        assert words.startswith(CANES_AND_SHOOTS[readings].split(" (")[0])


def test_leaf_layers_with_clusters_inside() -> None:
    own = targets(("leaf_layer_number", 1.0, 1.5), ("interior_cluster_share", 10.0, 40.0))
    words = said(*own, leaf_layer_number=2.6, interior_cluster_share=60.0)[0].words
    assert words.startswith(LAYERS_AND_CLUSTERS["above", "above"].split(" (")[0])


def test_leaf_and_wood_that_say_different_things_of_the_crop() -> None:
    told = said(prunings_per_m=0.7, yield_to_prunings=14.0, leaf_area_to_fruit=1.6)
    assert any(one.words.startswith("Two measures of balance differ") for one in told)
    same = said(prunings_per_m=0.7, yield_to_prunings=14.0, leaf_area_to_fruit=0.6)
    assert not any("Two measures" in one.words for one in same)


@pytest.mark.parametrize(
    ("shoots", "words"), [(0.85, "many nodes stayed blind"), (1.0, None), (1.2, "many shoots beyond one a node")]
)
def test_shoots_per_node_are_told_where_they_are_clearly_outside(shoots: float, words: str | None) -> None:
    told = [one.words for one in said(shoots_per_node=shoots, budbreak=88.0, noncount_shoot_share=12.0)]
    if words is None:
        assert told == []
    else:
        assert words in told[0]
        assert "budbreak 88 %; non-count shoots 12 %" in told[0].replace(".0 %", " %")


def test_us_units_are_spoken_where_they_are_asked_for() -> None:
    assert "0.161 lb/ft, below 0.336–0.672" in said(prunings_per_m=0.24, yield_to_prunings=12.0, us=True)[0].words


def test_nothing_is_ever_an_order() -> None:
    words = [part for parts in WOOD_AND_RATIO.values() for part in parts]
    words += [*CANES_AND_SHOOTS.values(), *LAYERS_AND_CLUSTERS.values()]
    for wood in WOOD.values():
        for ratio in RATIO.values():
            words += [one.words for one in said(prunings_per_m=wood, yield_to_prunings=ratio, shoots_per_node=1.3)]
    assert [one for one in words if ORDERS.search(one)] == []


def test_a_history_tells_its_last_complete_season() -> None:
    by = context()
    figures = [
        judged(figure(year, name, value), by)
        for year, wood, ratio in ((2022, 0.7, 6.0), (2023, 0.24, 12.0))
        for name, value in (("prunings_per_m", wood), ("yield_to_prunings", ratio))
    ]
    figures.append(figure(2024, "yield_to_prunings", None, status="pending"))
    told = history(*figures)
    assert last_complete_season(told) == 2023
    assert said_of_season(told, 2023)[0].words.startswith("Little wood (0.24 kg/m, below 0.5–1)")
    assert said_of_season(told, 2024) == ()
    assert last_complete_season(history()) is None
