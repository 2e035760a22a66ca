"""A block's history: from the facts of one snapshot to a page, and from the page to a PDF."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from vinebook.advice.together import last_complete_season, said_of_season
from vinebook.reports import appendix, facts, given, story
from vinebook.reports.balance_chart import draw_balance, tell_readings
from vinebook.reports.canopy import canopy_section
from vinebook.reports.census_charts import draw_census
from vinebook.reports.components import draw_components
from vinebook.reports.figure_charts import width_of_pair
from vinebook.reports.frame import PROGRAM, make_frame, record_of
from vinebook.reports.history_flow import left_of_last_page
from vinebook.reports.numbers import FigureWriter, Units, in_words_of, with_words_of
from vinebook.reports.packing import lines_of, pack_sheets
from vinebook.reports.paper import FORMATS
from vinebook.reports.render import Page, fill_template, print_page
from vinebook.reports.ripening import draw_ripening
from vinebook.reports.spurs import spurs_section
from vinebook.reports.strip import LABEL_COLUMN_PT, draw_positions, draw_strip
from vinebook.reports.tables import SeasonFigures
from vinebook.reports.words import cite, make_printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import BlockHistory

APPENDIX_HEAD_PT = 120.0
SPARE_PT = 44.0
"""White over the appendix, and what an estimate may be wrong by."""
LEAST_SHARE_BEGUN = 0.34
"""The appendix begins under the other sections where at least this share of the page is left."""
RECORD_PT = 150.0
OPEN_HEAD_PT = 62.0
BANDS_HEAD_PT = 92.0


@dataclass(frozen=True, slots=True)
class Together:
    """What the figures of a season say together.

    Attributes
    ----------
    season : harvest year.
    sentences : with the names of the sources in them.
    sources : where those are published that do not stand under Sources of the bands.
    """

    season: int
    sentences: tuple[str, ...]
    sources: tuple[str, ...]


def history_page(
    history: BlockHistory, *, units: Units = "metric", paper: Paper = "a4", program: str = PROGRAM
) -> Page:
    """Make the page of a block's history.

    Parameters
    ----------
    history : all that is told, from one snapshot of the book.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program, for the last page.
    """
    command = appendix.example_to_follow(history.figures, {history.code: history.record})
    history, warnings = make_printable(history)
    history = replace(history, figures=tuple(with_words_of(figure, units) for figure in history.figures))
    figures = SeasonFigures(history.figures)
    width_pt, page_pt = FORMATS[paper].text_width_pt, FORMATS[paper].text_height_pt
    block = f"{history.code} {history.name}".strip()
    frame = make_frame(
        title=f"{block}: history of a block",
        foot=block,
        description=f"History of block {block}, {history.vineyard.name}",
        author=history.vineyard.grower,
        paper=paper,
        record=record_of(history.seal, history.entries, history.as_of),
        warnings=warnings,
        program=program,
    )
    head: dict[str, Any] = {
        "frame": frame,
        "subtitle": story.subtitle(history),
        "ground": story.ground_facts(history, units),
        "vines": story.vine_facts(history),
        "last_season": story.tell_last_season(history, figures, units),
        "pending": story.tell_pending(history),
    }
    room_pt = page_pt - _head_height(head, width_pt)
    charts = draw_strip(history, figures, units, width_pt, room_pt)
    positions = draw_positions(history, units, width_of_pair(width_pt))
    plot_pt = width_pt - LABEL_COLUMN_PT - 1
    balance = draw_balance(history, figures, units, plot_pt)
    components = draw_components(figures, history.seasons, plot_pt)
    estimated = given.draw_estimates(history, figures, units, plot_pt)
    ripening = draw_ripening(history, units, plot_pt)
    spurs = spurs_section(history, figures, units, width_pt)
    canopy = canopy_section(history, figures, units, width_pt)
    counted = draw_census(history, width_pt)
    open_rows = story.open_rows(history.figures, units)
    bands = appendix.band_sources(history.figures, units)
    values: dict[str, Any] = head | {
        "label_column_pt": LABEL_COLUMN_PT,
        "history": history,
        "charts": charts,
        "balance": balance,
        "readings": tell_readings(history, figures),
        "together": _together(history, units, bands),
        "components": components,
        "estimates": given.estimate_table(history, figures, units),
        "estimated": estimated,
        "ripening": ripening,
        "spurs": spurs,
        "canopy": canopy,
        "decisions": given.decision_table(history, figures, units),
        "certification": given.certification_table(history),
        "census_charts": counted,
        "positions": positions,
        "position_tables": facts.position_tables(history, units),
        "season_tables": facts.season_tables(history, figures, units),
        "planting": facts.planting_table(history, units),
        "training": facts.training_table(history, units),
        "census": facts.census_table(history),
        "visits": facts.visit_table(history, figures, units),
        "events": facts.event_table(history),
        "command": command,
        "open_rows": open_rows,
        "bands": bands,
    }
    left_pt = left_of_last_page(values, page_pt - room_pt, width_pt, page_pt) - SPARE_PT
    values["is_apart"] = left_pt < page_pt * LEAST_SHARE_BEGUN
    values["spreads"] = pack_sheets(
        appendix.figure_sheets(history.figures, units),
        width_pt,
        page_pt,
        (page_pt if values["is_apart"] else left_pt) - APPENDIX_HEAD_PT,
        _last_height(open_rows, bands, warnings, width_pt),
    )
    drawn = [
        *charts,
        *([balance] if balance else []),
        *components,
        *([estimated] if estimated else []),
        *ripening,
        *(spurs.images if spurs else []),
        *(canopy.charts.charts if canopy else []),
        *counted,
        *positions,
    ]
    images: dict[str, str] = {chart.name: chart.svg for chart in drawn}
    return Page(fill_template("history.html", values), images, warnings, made_at=frame.record.moment)


def history_html(history: BlockHistory, *, units: Units = "metric", paper: Paper = "a4", program: str = PROGRAM) -> str:
    """Give the HTML of a block's history; its charts are named `vb:NAME`.

    Parameters
    ----------
    history : all that is told.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    return history_page(history, units=units, paper=paper, program=program).html


def render_history(
    history: BlockHistory, *, units: Units = "metric", paper: Paper = "a4", program: str = PROGRAM
) -> bytes:
    """Give the PDF of a block's history; the same history gives the same bytes.

    Parameters
    ----------
    history : all that is told.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    return print_page(history_page(history, units=units, paper=paper, program=program)).pdf


def _together(history: BlockHistory, units: Units, bands: list[tuple[str, str, str]]) -> Together | None:
    """Say what the figures of the last complete season mean together; None where the counts say nothing of it."""
    season = last_complete_season(history)
    said = said_of_season(history, season, FigureWriter(units)) if season is not None else ()
    if season is None or not said:
        return None
    told_below = {source for _, _, source in bands}
    others = (source for one in said for source in map(cite, one.sources) if source not in told_below)
    sources = dict.fromkeys(in_words_of(source, units) for source in others)
    return Together(season, tuple(in_words_of(one.words, units) for one in said), tuple(sources))


def _head_height(head: dict[str, Any], width_pt: float) -> float:
    """Height of what stands over the strip of the first page, estimated in points; the style sheet's sizes."""
    title = lines_of(head["frame"].foot, width_pt, 20)
    below = lines_of(head["subtitle"], width_pt, 11.5)
    fact_lines = max(
        (
            sum(lines_of(text, width_pt * 0.485 - 46, 8.5) for _, text in column)
            for column in (head["ground"], head["vines"])
        ),
        default=0,
    )
    told = sum(lines_of(head[name], width_pt, 9.5) for name in ("last_season", "pending"))
    return 17 + 24 * title + 15 * below + 19.6 + 12.5 * fact_lines + 15 + 13 * told + 14 + 14


def _last_height(
    open_rows: list[tuple[str, str, str, str]],
    bands: list[tuple[str, str, str]],
    warnings: tuple[str, ...],
    width_pt: float,
) -> float:
    """Height of what stands under the appendix, estimated in points: what is open, sources of bands, the record."""
    height = RECORD_PT + sum(10.0 * lines_of(warning, width_pt, 7.5) + 3 for warning in warnings)
    if open_rows:
        height += OPEN_HEAD_PT + _rows_height(open_rows, (0.09, 0.37, 0.34, 0.20), width_pt)
    if bands:
        height += BANDS_HEAD_PT + _rows_height(bands, (0.22, 0.16, 0.62), width_pt)
    return height


def _rows_height(rows: Sequence[tuple[str, ...]], shares: tuple[float, ...], width_pt: float) -> float:
    return sum(
        11.4 * max(lines_of(text, width_pt * share - 5, 8.5) for text, share in zip(row, shares, strict=True)) + 1.3
        for row in rows
    )
