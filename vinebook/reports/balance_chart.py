"""The yield to prunings of every season against its band, large, with its readings in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports import charts
from vinebook.reports.figure_charts import LEAST_SEASONS_DRAWN, Chart, draw_figure, seasons_with
from vinebook.reports.strip import season_flags
from vinebook.reports.svg import INK
from vinebook.reports.words import begin_sentence, write_seasons

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units
    from vinebook.reports.tables import SeasonFigures
    from vinebook.seasons.model import BlockHistory

RATIO = "yield_to_prunings"
HEIGHT_PT = 168.0
READINGS = (
    ("within", "within its band in"),
    ("below", "below in"),
    ("above", "above in"),
    ("not clear", "not clear, the interval crossing a limit, in"),
)


def draw_balance(history: BlockHistory, figures: SeasonFigures, units: Units, width_pt: float) -> Chart | None:
    """Draw the ratio of crop to wood by season, every value labelled; None below two seasons with a value.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    width_pt : width of the panel.
    """
    if len(seasons_with([RATIO], figures, history.seasons)) < LEAST_SEASONS_DRAWN:
        return None
    axis = charts.Axis(
        tuple(str(season) for season in history.seasons), width_pt, HEIGHT_PT, flags=season_flags(history)
    )
    rows = [figures.one(RATIO, season) for season in history.seasons]
    return draw_figure(RATIO, rows, units, axis, INK, is_first=True, is_last=True, labels_all=True, prefix="balance-")


def tell_readings(history: BlockHistory, figures: SeasonFigures) -> str:
    """Say in one sentence in which seasons the ratio was read how; "" where none was judged.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    """
    rows = [(season, figures.one(RATIO, season)) for season in history.seasons]
    said = []
    for reading, words in READINGS:
        seasons = [season for season, figure in rows if figure is not None and figure.reading == reading]
        if seasons:
            said.append(f"{words} {write_seasons(seasons)}")
    return begin_sentence("; ".join(said)) + "." if said else ""
