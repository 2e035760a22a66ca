"""Invented facts beside the figures of a history: standing, work, stages, ripening, estimates, decisions, a cordon."""

from __future__ import annotations

import datetime as dt
import random
from typing import TYPE_CHECKING, Any

from vinebook.seasons.model import (
    BearerFacts,
    CertificationFacts,
    DecisionFacts,
    EstimateFacts,
    MeasuredVine,
    PassFacts,
    RipeningFacts,
    StageFacts,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tests.reports.histories import Builder


def spur(arm: int, at_cm: float, count: int = 2, double: int = 0, noncount: int = 0, nodes: int = 2) -> BearerFacts:
    """A spur with its shoots."""
    return BearerFacts("spur", arm, at_cm / 100, nodes, count, double, noncount)


def end(arm: int, at_cm: float) -> BearerFacts:
    """The end of an arm."""
    return BearerFacts("end_of_arm", arm, at_cm / 100, None, None, None, None)


def cordon(season: int, arms: int = 2, spurs: int = 6, step_cm: float = 12.0) -> MeasuredVine:
    """A vine with regular spurs, one of them lost on the second arm."""
    bearers: list[BearerFacts] = []
    for arm in range(1, arms + 1):
        places = [8 + step_cm * k for k in range(spurs) if not (arm == 2 and k == 2)]
        bearers += [spur(arm, at, 1 if k == 1 else 2, int(k == 3), int(k == 0)) for k, at in enumerate(places)]
        bearers.append(end(arm, 8 + step_cm * (spurs - 1) + 6))
    return MeasuredVine(season, dt.date(season, 5, 26), 12, 50, 8, tuple(bearers))


def add_canopy(build: Builder, seasons: Iterable[int]) -> None:
    """Add the figures of spurs, buds, probes and leaves of some seasons."""
    rnd = random.Random(41)  # noqa: S311 - a seeded generator of invented figures
    sample: dict[str, object] = {"n": 8, "chosen": "random", "basis": "spur positions along each arm"}
    probed: dict[str, object] = {"n": 3, "chosen": "random", "basis": "canopy probes by transect"}
    for season in seasons:
        for name, mean, cv in (
            ("spur_spacing", 12.4, 0.02),
            ("spur_spacing_within_share", 92, 0.02),
            ("longest_bare_cordon", 24, 0.08),
            ("shoots_per_spur", 2.3, 0.03),
            ("bud_mortality", 14, 0.2),
        ):
            build.add(name, season, rnd.gauss(mean, mean * 0.04), cv, **sample)
        for name, mean, cv in (
            ("leaf_layer_number", 1.4, 0.1),
            ("gap_share", 24, 0.2),
            ("interior_leaf_share", 12, 0.5),
            ("interior_cluster_share", 40, 0.3),
            ("leaf_area_to_fruit", 1.1, 0.1),
        ):
            build.add(name, season, rnd.gauss(mean, mean * 0.06), cv, **probed)


def facts(seasons: tuple[int, ...], words: str = "", who: str = "Orvasket Cellars") -> dict[str, Any]:
    """Facts of every kind for some seasons; `words` stands where a person may write freely."""
    return {
        "certifications": (
            CertificationFacts(
                f"Careful Ground{words}", "in_conversion", "CG-4", dt.date(2019, 3, 1), dt.date(2022, 2, 28)
            ),
            CertificationFacts(f"Careful Ground{words}", "certified", f"CG-4-1{words}", dt.date(2022, 3, 1), None),
        ),
        "passes": tuple(
            fact
            for season in seasons
            for fact in (
                PassFacts(
                    season,
                    "cluster_zone_leaf_removal",
                    dt.date(season, 6, 26),
                    dt.date(season, 6, 27),
                    "morning side",
                    f"3 leaves a shoot{words}",
                    "hand",
                ),
                PassFacts(season, "hedging", dt.date(season, 7, 30), None, "", "", "machine"),
            )
        ),
        "stages": tuple(
            StageFacts(season, dt.date(season, month, day + season % 5), "BBCH", code, share)
            for season in seasons
            for month, day, code, share in (
                (4, 12, "09", 50.0),
                (6, 8, "65", 30.0),
                (6, 11, "65", 60.0),
                (8, 10, "81", 50.0),
            )
        ),
        "ripening": tuple(
            RipeningFacts(season, dt.date(season, 9, day), 20.5 + day / 10, 3.1 + day / 100, 9.5 - day / 10)
            for season in seasons
            for day in (10, 17)
        ),
        "estimates": tuple(
            EstimateFacts(
                season,
                dt.date(season, 8, 9),
                who,
                "lag_phase",
                f"clusters × lag-phase weight × 2{words}",
                20.5 + season % 3,
                17.0,
                25.5 + season % 3,
                80.0,
            )
            for season in seasons
        ),
        "decisions": (
            DecisionFacts(
                seasons[-1],
                1,
                dt.date(seasons[-1], 1, 8),
                "nodes_to_keep",
                24.0,
                f"24 nodes on twelve spurs{words}",
                f"small wood after two heavy crops{words}",
                "HM",
                "yield_to_prunings",
                5.0,
                8.0,
                dt.date(seasons[-1] + 1, 2, 1),
            ),
        ),
        "cordon": cordon(seasons[-1]),
    }
