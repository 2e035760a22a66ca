"""Invented counts and past seasons for the tests of the crop to come."""

from __future__ import annotations

import datetime as dt
from typing import Any

from vinebook.seasons.crop_model import CropCounts, Disturbance, Measured, PastSeason

SEASON = 2026


def measured(
    value: float, cv: float | None = 0.06, n: int = 20, unit: str = "vine", on: str = "2026-07-01"
) -> Measured:
    """Give a mean with its standard error as a share of it; None for hand-picked vines."""
    se = None if cv is None else cv * value
    return Measured(value, se, None if cv is None else n - 1.0, n, unit, dt.date.fromisoformat(on), by_hand=cv is None)


def counts(on: str = "2026-08-10", **more: Any) -> CropCounts:  # noqa: ANN401 - fields of the counts
    """Give counts of block A1: 1000 vines, 25 clusters, and lots of 60 g at lag phase."""
    given: dict[str, Any] = {
        "vines": Measured(1000.0, 0.0, None, 0, "", dt.date(2026, 2, 1)),
        "clusters": measured(25.0),
        "weights": {"lag_phase": measured(60.0, 0.04, 8, "lot", "2026-08-05")},
        "days_after_bloom": {"lag_phase": 52},
        "bloom_on": dt.date(2026, 6, 14),
        "planted_area_ha": 0.5,
    }
    return CropCounts("A1", SEASON, dt.date.fromisoformat(on), "Grey Hen", "north", **given | more)


def past(
    season: int,
    factor: float = 2.0,
    block: str = "A1",
    cultivar: str = "Grey Hen",
    now_g: float = 60.0,
    **more: Any,  # noqa: ANN401 - fields of a season
) -> PastSeason:
    """Give a season that is over: 1000 vines of 25 clusters, weights at lag phase and harvest, all of it picked."""
    crop_t = 25 * now_g * factor / 1000
    given: dict[str, Any] = {
        "crop_t": crop_t,
        "picked_t": crop_t,
        "closed_on": dt.date(season, 9, 25),
        "picking_on": dt.date(season, 9, 20),
        "harvest_weight": measured(now_g * factor, 0.03, 10, "lot", f"{season}-09-18"),
        "weights": {"lag_phase": measured(now_g, 0.03, 10, "lot", f"{season}-08-05")},
        "days_after_bloom": {"lag_phase": 52},
        "clusters": measured(25.0, on=f"{season}-07-01"),
        "nodes": measured(12.5, 0.02, 20, "vine", f"{season}-01-10"),
    }
    return PastSeason(block, season, cultivar, "north", **given | more)


def six_seasons(**more: Any) -> list[PastSeason]:  # noqa: ANN401 - fields of a season
    """Give six seasons of A1 with factors about 2."""
    return [past(2019 + at, factor, **more) for at, factor in enumerate((2.0, 1.9, 2.15, 2.05, 1.85, 2.1))]


def struck(what: str, on: str, share: float | None = None) -> tuple[Disturbance, ...]:
    """Give one disturbance of the season."""
    return (Disturbance(dt.date.fromisoformat(on), what, share),)
