"""A block's history: from the facts of one snapshot to a page, and from the page to a PDF."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from vinebook import __version__
from vinebook.reports import appendix, facts, story
from vinebook.reports.numbers import EN_DASH, Units, with_words_of
from vinebook.reports.packing import lines_of, pack_sheets
from vinebook.reports.render import NO_TIME, Page, fill_template, print_page
from vinebook.reports.strip import LABEL_COLUMN_PT, draw_positions, draw_strip
from vinebook.reports.tables import SeasonFigures
from vinebook.reports.words import make_printable, read_moment, write_day

if TYPE_CHECKING:
    from vinebook.seasons.model import BlockHistory

Paper = Literal["a4", "letter"]
PT_OF_MM = 72 / 25.4
MARGIN_MM = 18.0
APPENDIX_HEAD_PT = 96.0
RECORD_PT = 150.0
MARGINS_PT = 36 * PT_OF_MM
WIDTH_MM = {"a4": 210.0, "letter": 215.9}
HEIGHT_MM = {"a4": 297.0, "letter": 279.4}
PAPER_NAME = {"a4": "A4", "letter": "letter"}


def history_page(
    history: BlockHistory, *, units: Units = "metric", paper: Paper = "a4", program: str = f"vinebook {__version__}"
) -> Page:
    """Make the page of a block's history.

    Parameters
    ----------
    history : all that is told, from one snapshot of the book.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program, for the last page.
    """
    history, warnings = make_printable(history)
    history = replace(history, figures=tuple(with_words_of(figure, units) for figure in history.figures))
    figures = SeasonFigures(history.figures)
    width_pt = (WIDTH_MM[paper] - 2 * MARGIN_MM) * PT_OF_MM
    head: dict[str, Any] = {
        "block": f"{history.code} {history.name}".strip(),
        "subtitle": story.subtitle(history),
        "ground": story.ground_facts(history, units),
        "vines": story.vine_facts(history),
        "last_season": story.tell_last_season(history, figures, units),
        "pending": story.tell_pending(history),
    }
    page_pt = HEIGHT_MM[paper] * PT_OF_MM - MARGINS_PT
    room_pt = page_pt - _head_height(head, width_pt)
    charts = draw_strip(history, figures, units, width_pt, room_pt)
    positions = draw_positions(history, units, width_pt / 2 - 9)
    moment = read_moment(history.as_of)
    values: dict[str, Any] = head | {
        "paper": PAPER_NAME[paper],
        "label_column_pt": LABEL_COLUMN_PT,
        "history": history,
        "charts": charts,
        "positions": positions,
        "position_tables": facts.position_tables(history, units),
        "season_tables": facts.season_tables(history, figures, units),
        "planting": facts.planting_table(history, units),
        "training": facts.training_table(history, units),
        "census": facts.census_table(history),
        "visits": facts.visit_table(history, figures, units),
        "events": facts.event_table(history),
        "open_rows": story.open_rows(history.figures, units),
        "spreads": pack_sheets(
            appendix.figure_sheets(history.figures, units), width_pt, page_pt, page_pt - APPENDIX_HEAD_PT, RECORD_PT
        ),
        "bands": appendix.band_sources(history.figures, units),
        "created": moment.strftime("%Y-%m-%dT%H:%M:%SZ") if moment else "",
        "as_of": f"{write_day(moment.date())}, {moment:%H:%M} UTC" if moment else history.as_of,
        "seal": [history.seal[i : i + 8] for i in range(0, len(history.seal), 8)],
        "program": program,
        "warnings": warnings,
        "en_dash": EN_DASH,
    }
    images: dict[str, str] = {chart.name: chart.svg for chart in [*charts, *positions]}
    return Page(fill_template("history.html", values), images, warnings, made_at=moment or NO_TIME)


def history_html(
    history: BlockHistory, *, units: Units = "metric", paper: Paper = "a4", program: str = f"vinebook {__version__}"
) -> str:
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
    history: BlockHistory, *, units: Units = "metric", paper: Paper = "a4", program: str = f"vinebook {__version__}"
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


def _head_height(head: dict[str, Any], width_pt: float) -> float:
    """Height of what stands over the strip of the first page, estimated in points; the style sheet's sizes."""
    title = lines_of(head["block"], width_pt, 20)
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
