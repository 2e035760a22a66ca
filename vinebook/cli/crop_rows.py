"""An estimate of the crop as rows and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vinebook.quantities import US_OF_METRIC

if TYPE_CHECKING:
    from vinebook.advice.crop_model import Backtest, CropAnswer

Row = tuple[Any, ...]


def as_plain(value: Any, units: str) -> Any:  # noqa: ANN401 - any part of an answer
    """Give plain data with the masses in US units where they are asked for, and named so.

    Parameters
    ----------
    value : from `dataclasses.asdict`.
    units : "metric" or "us".
    """
    if units != "us":
        return value
    if isinstance(value, list | tuple):
        return [as_plain(each, units) for each in value]
    if not isinstance(value, dict):
        return value
    found: dict[str, Any] = {}
    for name, each in value.items():
        shown, factor = _named(name)
        found[shown] = each * factor if isinstance(each, int | float) and factor != 1 else as_plain(each, units)
    return found


def _named(name: str) -> tuple[str, float]:
    if name == "t_per_ha":
        return "ton_per_acre", US_OF_METRIC["t/ha"].factor
    if name == "kg_per_vine":
        return "lb_per_vine", US_OF_METRIC["kg"].factor
    if name.endswith("_t"):
        return f"{name}on", US_OF_METRIC["t"].factor
    return name, 1.0


def answer_rows(told: CropAnswer, units: str) -> tuple[tuple[str, ...], list[Row]]:
    """Give an answer as headings and rows: the estimate, its parts, those given before, the harvest."""
    unit, factor = ("ton", US_OF_METRIC["t"].factor) if units == "us" else ("t", 1.0)
    headings = (
        "block", "season", "on", "item", "value", "unit", "low_80", "high_80", "low_95", "high_95", "cv_percent",
        "share_of_variance_percent", "error_percent", "words",
    )  # fmt: skip

    def times(value: float | None) -> float | None:
        return None if value is None else value * factor

    rows: list[Row] = []
    one = told.estimate
    if one is not None:
        ends = [
            times(end)
            for level in (80, 95)
            for limits in (one.at(level),)
            for end in ((limits.low_t, limits.high_t) if limits is not None else (None, None))
        ]
        words = "; ".join((f"{one.stage}: {one.method}", *one.notes))
        rows.append(
            (told.block, told.season, one.on, "estimate", times(one.estimate_t), unit, *ends, *[None] * 3, words)
        )
        rows += [
            (
                told.block,
                told.season,
                one.on,
                part.name,
                part.value,
                part.unit,
                *[None] * 4,
                part.cv_percent,
                part.share_of_variance_percent,
                None,
                part.rests_on,
            )
            for part in one.parts
        ]
    for given in told.given:
        was = given.estimate
        ends = [times(end) if was.level == level else None for level in (80.0, 95.0) for end in (was.low_t, was.high_t)]
        item, value = f"given to {was.given_to}", times(was.estimate_t)
        told_words = f"{was.stage}: {was.method}"
        rows.append(
            (told.block, told.season, was.date, item, value, unit, *ends, None, None, given.error_percent, told_words)
        )
    if told.picked_t is not None:
        rows.append(
            (told.block, told.season, told.closed_on, "picked", times(told.picked_t), unit, *[None] * 7, "closed")
        )
    return headings, rows


def tried_rows(told: Backtest, units: str) -> tuple[tuple[str, ...], list[Row]]:
    """Give each estimate of a backtest as a row."""
    unit, factor = ("ton", US_OF_METRIC["t"].factor) if units == "us" else ("t", 1.0)
    headings = (
        "block", "season", "on", "stage", "method", f"estimate_{unit}", f"picked_{unit}", "error_percent", "within_80",
        "within_95", "left_out",
    )  # fmt: skip
    rows: list[Row] = [
        (
            one.block,
            one.season,
            one.on,
            one.stage,
            one.method,
            None if one.estimate_t is None else one.estimate_t * factor,
            one.picked_t * factor,
            one.error_percent,
            one.within_80,
            one.within_95,
            one.left_out,
        )
        for one in told.tried
    ]
    return headings, rows
