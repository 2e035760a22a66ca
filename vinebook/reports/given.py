"""What was said and decided of a block: decisions, crop estimates beside the harvest that came, certification."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports import charts
from vinebook.reports.figure_charts import LEAST_SEASONS_DRAWN, Chart, points_of
from vinebook.reports.numbers import (
    EN_DASH,
    MINUS,
    Units,
    in_words_of,
    settle,
    shown,
    unit_shown,
    with_unit,
    write_range,
)
from vinebook.reports.svg import CROP
from vinebook.reports.tables import Cell, Column, Table, align
from vinebook.reports.words import begin_sentence, inside_sentence, write_day, write_short_day
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.reports.numbers import Shown
    from vinebook.reports.tables import SeasonFigures
    from vinebook.seasons.model import BlockHistory, DecisionFacts, EstimateFacts, Figure

DECIDES = {"pruning_form": "form of pruning", "leaf_removal": "leaf removal"}
STAGES = {"bud_break": "bud break", "set": "after set", "lag_phase": "lag phase", "near_harvest": "near harvest"}
STATUS = {"in_conversion": "in conversion", "none": "not certified"}
ESTIMATE_HEIGHT_PT = 104.0
DECIMALS_GIVEN = 2


def decision_table(history: BlockHistory, figures: SeasonFigures, units: Units) -> Table | None:
    """Give the decisions with their reasons, oldest first; None without any.

    Parameters
    ----------
    history : the block's history.
    figures : its figures, for what came of what was expected.
    units : "metric" or "us".
    """
    if not history.decisions:
        return None
    columns = (
        Column("Season", width=0.75),
        Column("Made on, by", width=1.45),
        Column("What", width=1.5),
        Column("In words", width=2.7),
        Column("Why", width=2.7),
        Column("Expected, and what came", width=2.6),
    )
    rows = tuple(
        (
            Cell(str(d.season)),
            Cell(f"{write_day(d.decided_on)}, {d.decided_by}"),
            Cell(_what(d)),
            Cell(d.words),
            Cell(d.reason),
            Cell(_expected(d, figures.number_in_table(d.expected_figure, d.season, history.seasons, units), units)),
        )
        for d in sorted(history.decisions, key=lambda d: (d.season, d.number))
    )
    return Table("Decisions", columns, rows)


def _what(decision: DecisionFacts) -> str:
    words = begin_sentence(DECIDES.get(decision.decides, decision.decides.replace("_", " ")))
    return words if decision.value is None else f"{words}: {decision.value:g}"


def _expected(decision: DecisionFacts, came: Shown | None, units: Units) -> str:
    parts = []
    kind = FIGURES.get(decision.expected_figure)
    if kind is not None:
        unit, factor = unit_shown(kind.unit, units)
        low, high = (
            None if limit is None else limit * factor for limit in (decision.expected_low, decision.expected_high)
        )
        decimals = max((_decimals_needed(limit) for limit in (low, high) if limit is not None), default=0)
        limits = with_unit(write_range(low, high, decimals), unit) if low is not None or high is not None else ""
        parts.append(f"{inside_sentence(in_words_of(kind.title, units))} {limits}".strip())
    if decision.review_on is not None:
        parts.append(f"to be looked at on {write_day(decision.review_on)}")
    if kind is not None:
        parts.append("not known yet" if came is None else f"{decision.season} came to {came.text}")
    return begin_sentence("; ".join(parts)) if parts else EN_DASH


def _decimals_needed(value: float) -> int:
    return len(f"{value:.{DECIMALS_GIVEN}f}".rstrip("0").partition(".")[2])


def estimate_table(history: BlockHistory, figures: SeasonFigures, units: Units) -> Table | None:
    """Give the estimates that were given, beside the harvest that came; None without any.

    An estimate stands as it was given, not rounded by its error.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    """
    if not history.estimates:
        return None
    unit, factor = unit_shown("t", units)
    estimates = sorted(history.estimates, key=lambda e: (e.season, e.date, e.given_to))
    crops = [_crop(figures, e.season) for e in estimates]
    digits = max(_decimals_needed(e.estimate_t * factor) for e in estimates)
    came, reserve = align([(shown(crop, units) if crop else None, "") for crop in crops])
    columns = (
        Column("Season", width=0.75),
        Column("Given on, to", width=2.6),
        Column("Stage", width=1.05),
        Column("Method", width=2.75),
        Column("Estimate", unit, 0.9, is_number=True, ink="crop"),
        Column("Interval", unit, 1.55, is_number=True),
        Column("Harvest", unit, 0.85, is_number=True, ink="crop", pad_pt=reserve),
        Column("Estimate less harvest", "% of harvest", 1.3, is_number=True),
    )
    rows = tuple(
        (
            Cell(str(e.season)),
            Cell(f"{_given_on(e)}, {e.given_to}"),
            Cell(begin_sentence(STAGES.get(e.stage, e.stage))),
            Cell(e.method),
            Cell(f"{e.estimate_t * factor:.{digits}f}"),
            Cell(_interval(e, factor, digits)),
            cell,
            Cell(_miss(e, crop)),
        )
        for e, crop, cell in zip(estimates, crops, came, strict=True)
    )
    return Table("Estimates given, and the harvest that came", columns, rows)


def _given_on(estimate: EstimateFacts) -> str:
    is_plain = estimate.date.year == estimate.season
    return write_short_day(estimate.date) if is_plain else write_day(estimate.date)


def _crop(figures: SeasonFigures, season: int) -> Figure | None:
    crop = figures.one("crop", season)
    return crop if crop is not None and crop.status == "known" and crop.value is not None else None


def _interval(estimate: EstimateFacts, factor: float, digits: int) -> str:
    if estimate.low_t is None or estimate.high_t is None:
        return EN_DASH
    limits = write_range(estimate.low_t * factor, estimate.high_t * factor, digits)
    return f"{limits}, {estimate.level:g} %" if estimate.level is not None else limits


def _miss(estimate: EstimateFacts, crop: Figure | None) -> str:
    if crop is None or not crop.value:
        return EN_DASH
    percent = round(100 * (estimate.estimate_t / crop.value - 1))
    return f"+{percent}" if percent > 0 else f"{MINUS}{-percent}" if percent < 0 else "0"


def draw_estimates(history: BlockHistory, figures: SeasonFigures, units: Units, width_pt: float) -> Chart | None:
    """Draw estimates as grey strokes with their intervals beside the harvest; None below two seasons with both.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    width_pt : width of the panel.
    """
    _, factor = unit_shown("t", units)
    both = [season for season in sorted({e.season for e in history.estimates}) if _crop(figures, season)]
    if len(both) < LEAST_SEASONS_DRAWN:
        return None
    years = range(min(e.season for e in history.estimates), max(e.season for e in history.estimates) + 1)
    rows = [_crop(figures, year) for year in years]
    given = tuple(
        tuple(
            charts.Point(
                e.estimate_t * factor,
                None if e.low_t is None else e.low_t * factor,
                None if e.high_t is None else e.high_t * factor,
            )
            for e in sorted(history.estimates, key=lambda e: (e.date, e.given_to))
            if e.season == year
        )
        for year in years
    )
    panel = charts.Panel(points_of(rows, units), CROP, beside=given, is_joined=False, labels_all=True)
    axis = charts.Axis(tuple(map(str, years)), width_pt, ESTIMATE_HEIGHT_PT, edge_pt=8.0)
    unit = unit_shown("t", units)[0]
    harvests = settle([shown(crop, units) if crop else None for crop in rows])
    said = "; ".join(
        f"{year} estimate {', '.join(f'{p.value:.3g}' for p in points)}, harvest {harvest.text}"
        for year, points, harvest in zip(years, given, harvests, strict=True)
        if points and harvest is not None
    )
    return Chart(
        "estimates.svg",
        "Estimate against harvest",
        unit,
        f"Crop estimates given and the harvest that came, in {unit}: {said}.",
        charts.draw_panel(panel, axis, is_first=True, is_last=True),
        "points: harvest; grey strokes: estimates with their intervals",
    )


def certification_table(history: BlockHistory) -> Table | None:
    """Give how the block stood under each scheme, by date; None without any.

    Parameters
    ----------
    history : the block's history.
    """
    if not history.certifications:
        return None
    columns = (
        Column("From", width=1.6),
        Column("To", width=1.6),
        Column("Scheme", width=3.0),
        Column("Standing", width=1.6),
        Column("Certificate", width=2.0),
    )
    rows = tuple(
        (
            Cell(write_day(c.valid_from)),
            Cell(write_day(c.valid_to) if c.valid_to else "in force"),
            Cell(c.scheme),
            Cell(begin_sentence(STATUS.get(c.status, c.status))),
            Cell(c.certificate or EN_DASH),
        )
        for c in sorted(history.certifications, key=lambda c: (c.valid_from, c.scheme))
    )
    return Table("Certification", columns, rows)
