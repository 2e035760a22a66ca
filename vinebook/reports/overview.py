"""The manager's overview: all blocks of a season side by side, those clearly outside a band first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports.appendix import band_sources, example_to_follow
from vinebook.reports.block_rows import BlockRow, Mark, draw_rows
from vinebook.reports.block_rows import Column as Dots
from vinebook.reports.fonts import width_em
from vinebook.reports.frame import PROGRAM, make_frame, record_of
from vinebook.reports.marks import other_note
from vinebook.reports.numbers import (
    EN_DASH,
    Shown,
    Units,
    in_words_of,
    settle,
    shown,
    unit_per,
    unit_shown,
    with_words_of,
    write_band,
)
from vinebook.reports.paper import FORMATS
from vinebook.reports.render import Page, fill_template
from vinebook.reports.svg import CROP, INK, WOOD
from vinebook.reports.tables import Cell, Column, Ink, SeasonFigures, Table, align, unit_line
from vinebook.reports.words import begin_sentence, inside_sentence, join_words, make_printable
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.reports.figure_charts import Chart
    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import Figure
    from vinebook.seasons.overview import Overview, OverviewBlock

CLEAR = ("below", "above")
CHARTED = (("yield_per_ha", CROP), ("prunings_per_m", WOOD), ("yield_to_prunings", INK))
LISTED = (
    "planted_area",
    "vines_bearing",
    "nodes_per_vine",
    "budbreak",
    "clusters_per_vine",
    "cluster_weight",
    "yield_per_ha",
    "prunings_per_m",
    "cane_weight",
    "yield_to_prunings",
)
WIDTH_PER_EM = 0.32
"""Share of a column to an em of its heading's longest word, so that long headings stand apart."""
HEADS = {
    "planted_area": "Area",
    "vines_bearing": "Bearing",
    "nodes_per_vine": "Nodes",
    "budbreak": "Budbreak",
    "clusters_per_vine": "Clusters",
    "cluster_weight": "Cluster",
    "yield_per_ha": "Yield",
    "prunings_per_m": "Prunings",
    "cane_weight": "Cane",
    "yield_to_prunings": "Yield to prunings",
}
INKS: dict[str, Ink] = {
    "cluster_weight": "crop",
    "yield_per_ha": "crop",
    "prunings_per_m": "wood",
    "cane_weight": "wood",
}
ROWS_OF_A_CHART = 38
GROUPS = ("Clearly outside a band", "Not clear", "Within its bands", "Not judged yet")


@dataclass(frozen=True, slots=True)
class _Judged:
    """A block with the place it takes: 0 clearly outside a band, 1 not clear, 2 within, 3 not judged."""

    block: OverviewBlock
    figures: SeasonFigures
    place: int
    outside: tuple[Figure, ...]
    unclear: tuple[Figure, ...]


def overview_page(overview: Overview, *, units: Units = "metric", paper: Paper = "a4", program: str = PROGRAM) -> Page:
    """Make the page of an overview.

    Parameters
    ----------
    overview : all that is told, from one snapshot of the book.
    units : "metric" or "us".
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    records = {block.code: block.record for block in overview.blocks}
    command = example_to_follow([figure for block in overview.blocks for figure in block.figures], records)
    overview, warnings = make_printable(overview)
    vineyards = list(dict.fromkeys(block.vineyard for block in overview.blocks))
    title = f"Season {overview.season}"
    frame = make_frame(
        title=f"{title}: {len(overview.blocks)} blocks side by side",
        foot=f"Blocks of season {overview.season}",
        description=f"Overview of season {overview.season}, {join_words(vineyards)}",
        author="",
        paper=paper,
        record=record_of(overview.seal, overview.entries, overview.as_of),
        warnings=warnings,
        program=program,
    )
    judged = sorted((_judge(block, overview.season, units) for block in overview.blocks), key=_rank)
    charts = _charts(judged, overview.season, units, FORMATS[paper].text_width_pt)
    figures = tuple(with_words_of(figure, units) for block in overview.blocks for figure in block.figures)
    values = {
        "frame": frame,
        "heading": title,
        "subtitle": join_words(vineyards),
        "told": _told(judged, overview.season, units),
        "charts": charts,
        "outside": _readings(judged, overview.season, units, are_clear=True),
        "unclear": _readings(judged, overview.season, units, are_clear=False),
        "table": _table(judged, overview.season, units),
        "waiting": _waiting(judged, units),
        "bands": band_sources(figures, units),
        "command": command,
        "names": [(inside_sentence(HEADS[name]), name) for name in LISTED],
    }
    return Page(
        fill_template("overview.html", values),
        {chart.name: chart.svg for chart in charts},
        warnings,
        made_at=frame.record.moment,
    )


def _judge(block: OverviewBlock, season: int, units: Units) -> _Judged:
    figures = [with_words_of(figure, units) for figure in block.figures]
    of_season = SeasonFigures(figures)
    read = [f for f in figures if f.band is not None and f.value is not None and of_season.one(f.figure, season) is f]
    outside = tuple(figure for figure in read if figure.reading in CLEAR)
    unclear = tuple(figure for figure in read if figure.reading == "not clear")
    within = any(figure.reading == "within" for figure in read)
    place = 0 if outside else 1 if unclear else 2 if within else 3
    return _Judged(block, of_season, place, outside, unclear)


def _rank(one: _Judged) -> tuple[int, bool, int, str]:
    """Those clearly outside come first, among them those whose ratio is; then by how many figures are."""
    has_ratio = any(figure.figure == "yield_to_prunings" for figure in one.outside or one.unclear)
    return one.place, not has_ratio, -len(one.outside) - len(one.unclear), one.block.code


def _told(judged: list[_Judged], season: int, units: Units) -> list[str]:
    def count(place: int) -> int:
        return sum(one.place == place for one in judged)

    crops = [figure for one in judged if (figure := one.figures.one("crop", season)) and figure.value is not None]
    closed = [figure for figure in crops if figure.status == "known"]
    words = f"{len(judged)} {'block' if len(judged) == 1 else 'blocks'}; the harvest of {len(closed)} is closed"
    if closed:
        name, factor = unit_shown("t", units)
        words += f", with {sum(f.value or 0.0 for f in closed) * factor:.1f}\u00a0{name} of crop in all"
    parts = [
        f"{count(place)} {text}"
        for place, text in enumerate(
            ("clearly outside a band", "not clear", "within every band that was judged", "not judged yet")
        )
        if count(place)
    ]
    return [f"{words}.", f"{begin_sentence(join_words(parts))}."]


def _charts(judged: list[_Judged], season: int, units: Units, width_pt: float) -> list[Chart]:
    columns = [
        Dots(in_words_of(FIGURES[name].title, units), unit_line(name, units) or FIGURES[name].unit, ink)
        for name, ink in CHARTED
    ]
    marks = [_marks([one.figures.one(name, season) for one in judged], units) for name, _ in CHARTED]
    rows = [
        BlockRow(GROUPS[one.place], one.block.code, one.block.name, of_block)
        for one, of_block in zip(judged, zip(*marks, strict=True), strict=True)
    ]
    return [
        draw_rows(
            f"blocks-{at // ROWS_OF_A_CHART}", columns, rows, range(at, min(at + ROWS_OF_A_CHART, len(rows))), width_pt
        )
        for at in range(0, len(rows), ROWS_OF_A_CHART)
    ]


def _marks(figures: list[Figure | None], units: Units) -> list[Mark]:
    """Give the marks of one column, with the digits that the table gives the same numbers."""
    numbers = settle([None if figure is None else shown(figure, units) for figure in figures])
    return [
        Mark() if figure is None or number is None else _mark(figure, number, units)
        for figure, number in zip(figures, numbers, strict=True)
    ]


def _mark(figure: Figure, numbers: Shown, units: Units) -> Mark:
    _, factor = unit_shown(figure.unit, units)
    band = figure.band
    return Mark(
        numbers.value,
        numbers.low,
        numbers.high,
        numbers.text if numbers.value is not None else figure.status,
        is_open=figure.status != "known",
        band_low=None if band is None or band.low is None else band.low * factor,
        band_high=None if band is None or band.high is None else band.high * factor,
        has_band=band is not None,
        is_clear=figure.reading in CLEAR,
    )


def _readings(judged: list[_Judged], season: int, units: Units, *, are_clear: bool) -> Table | None:
    found = [(one.block, figure) for one in judged for figure in (one.outside if are_clear else one.unclear)]
    if not found:
        return None
    columns = (
        Column("Block", width=2.0),
        Column("Figure", width=1.7),
        Column("Value", "", 0.7, is_number=True),
        Column("95% interval", "", 1.3, is_number=True, pad_pt=6),
        Column("Unit", width=1.15),
        Column("n", "", 0.4, is_number=True, pad_pt=6),
        *((Column("Reading", width=1.0),) if are_clear else ()),
        Column("Band", width=3.0),
    )
    rows = []
    before = ""
    # The same digits as in the chart and side by side.
    settled: dict[tuple[str, str], Shown | None] = {}
    for name in dict.fromkeys(figure.figure for _, figure in found):
        of_all = [one.figures.one(name, season) for one in judged]
        numbers_of_all = settle([None if figure is None else shown(figure, units) for figure in of_all])
        settled |= {(one.block.code, name): of for one, of in zip(judged, numbers_of_all, strict=True)}
    for block, figure in found:
        numbers = settled[block.code, figure.figure] or shown(figure, units)
        band = "" if figure.band is None else f"{write_band(figure.band, figure.unit, units)}, {figure.band.name}"
        name = f"{block.code} {block.name}".strip()
        rows.append(
            (
                Cell("" if name == before else name),
                Cell(in_words_of(FIGURES[figure.figure].title, units)),
                Cell(numbers.text),
                Cell(numbers.interval),
                Cell(unit_per(numbers.unit, "")),
                Cell(EN_DASH if figure.n is None else str(figure.n)),
                *((Cell(begin_sentence(figure.reading)),) if are_clear else ()),
                Cell(band),
            )
        )
        before = name
    return Table("", columns, tuple(rows))


def _table(judged: list[_Judged], season: int, units: Units) -> Table:
    columns = [Column("Block", width=2.5), Column("Cultivar", width=2.2)]
    cells: list[list[Cell]] = [
        [Cell(f"{one.block.code} {one.block.name}".strip()), Cell(one.block.cultivar or EN_DASH)] for one in judged
    ]
    for name in LISTED:
        found = [one.figures.one(name, season) for one in judged]
        if all(figure is None or figure.value is None for figure in found):
            continue
        own, reserve = align([(shown(figure, units) if figure else None, "") for figure in found])
        for row, cell in zip(cells, own, strict=True):
            row.append(cell)
        ink = INKS.get(name, "")
        width = max(1.0, max(map(width_em, HEADS[name].split())) * WIDTH_PER_EM)
        columns.append(Column(HEADS[name], unit_line(name, units), width, True, ink, reserve))  # noqa: FBT003
    return Table("Side by side", tuple(columns), tuple(map(tuple, cells)))


def _waiting(judged: list[_Judged], units: Units) -> Table | None:
    """Give what pends or is not known of the charted figures, the reason once with all blocks it holds for."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for one in judged:
        for name, _ in CHARTED:
            figure = next((f for f in one.block.figures if f.figure == name and f.value is None), None)
            if figure is not None:
                words = in_words_of(other_note(figure) or figure.note, units)
                title = in_words_of(FIGURES[name].title, units)
                reasons.setdefault((title, f"{figure.status}: {words}"), []).append(one.block.code)
    if not reasons:
        return None
    columns = (Column("Figure", width=1.6), Column("Why it has no value", width=4.5), Column("Blocks", width=2.5))
    rows = tuple(
        (Cell(title), Cell(begin_sentence(inside_sentence(why))), Cell(", ".join(codes)))
        for (title, why), codes in reasons.items()
    )
    return Table("", columns, rows)
