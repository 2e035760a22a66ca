"""Tables of seasons: numbers aligned on the decimal, marks hanging beside them, notes beneath."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from vinebook.reports import fonts
from vinebook.reports.marks import NO_SUCH_BEARER, Notes, marks_of_column
from vinebook.reports.numbers import EN_DASH, Shown, Units, in_words_of, settle, shown, unit_shown
from vinebook.reports.words import inside_sentence
from vinebook.seasons.catalogue import BEARING_VINE, FIGURES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vinebook.seasons.model import Figure

TABLE_PT = 8.5
MARK_PT = 7.5
MOST_NARROW = 5
Ink = Literal["", "crop", "wood"]


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell as it stands on paper; its mark follows the text, and room at the right aligns the decimals."""

    text: str
    mark: str = ""
    pad_pt: float = 0.0


@dataclass(frozen=True, slots=True)
class Column:
    """A column: heading, unit in grey, share of the width, side, ink, room for marks, mark of the whole column."""

    head: str
    unit: str = ""
    width: float = 1.0
    is_number: bool = False
    ink: Ink = ""
    pad_pt: float = 0.0
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first cell of each row is its heading.

    Attributes
    ----------
    title : what the table shows, for the caption or a reader that speaks.
    columns, rows : as printed.
    groups : headings over columns: text, number of columns, ink.
    notes : marks with their texts.
    never : titles of figures that the block never had.
    has_total : whether the last row adds up those above it.
    has_runs : whether a row without a heading belongs to the one above it and stands on its page.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    groups: tuple[tuple[str, int, Ink], ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    never: tuple[str, ...] = ()
    has_total: bool = False
    has_runs: bool = False

    @property
    def width_percent(self) -> int:
        """Share of the text column that suits the number of columns."""
        numbers = sum(column.is_number for column in self.columns)
        return 100 if numbers + 1 < len(self.columns) else min(100, 9 * len(self.columns) + 10)

    @property
    def is_narrow(self) -> bool:
        """Whether three such tables stand side by side."""
        return len(self.columns) <= MOST_NARROW


@dataclass(frozen=True, slots=True)
class Wish:
    """A column of a season table: the figure, its heading there, its group and ink."""

    figure: str
    head: str
    group: str = ""
    ink: Ink = ""


CROP_AND_WOOD = (
    Wish("nodes_per_vine", "Nodes kept", "Counts"),
    Wish("shoots_per_vine", "Shoots", "Counts"),
    Wish("clusters_per_vine", "Clusters", "Counts"),
    Wish("cluster_weight", "Cluster weight", "Crop", "crop"),
    Wish("yield_per_vine", "Yield", "Crop", "crop"),
    Wish("yield_per_ha", "Yield", "Crop", "crop"),
    Wish("crop", "Crop", "Crop", "crop"),
    Wish("delivered", "Delivered", "Crop", "crop"),
    Wish("prunings_per_vine", "Prunings", "Wood", "wood"),
    Wish("prunings_per_m", "Prunings", "Wood", "wood"),
    Wish("cane_weight", "Cane weight", "Wood", "wood"),
    Wish("yield_to_prunings", "Yield to prunings", "Balance"),
)
VINES_AND_SHOOTS = (
    Wish("vines_bearing", "Bearing", "Vines"),
    Wish("vines_missing_share", "Missing", "Vines"),
    Wish("nodes_per_m", "Nodes kept", "Wood kept"),
    Wish("spurs_per_vine", "Spurs", "Wood kept"),
    Wish("canes_per_vine", "Canes", "Wood kept"),
    Wish("budbreak", "Budbreak", "Shoots"),
    Wish("shoots_per_node", "Shoots", "Shoots"),
    Wish("noncount_shoot_share", "Non-count", "Shoots"),
    Wish("shoots_per_m", "Shoots", "Shoots"),
    Wish("clusters_per_shoot", "Clusters", "Shoots"),
)
FRUIT_AND_MUST = (
    Wish("yield_per_m", "Yield", "Crop", "crop"),
    Wish("yield_per_m_planted", "Yield, row planted", "Crop", "crop"),
    Wish("berries_per_cluster", "Berries", "Cluster"),
    Wish("berry_weight", "Berry weight", "Cluster"),
    Wish("component_check", "Component check", "Cluster"),
    Wish("soluble_solids", "Soluble solids", "Must"),
    Wish("ph", "pH", "Must"),
    Wish("titratable_acidity", "Titratable acidity", "Must"),
)


class SeasonFigures:
    """The figures of a block, found by name and season; one stands for a season where there are several."""

    def __init__(self, figures: Iterable[Figure]) -> None:
        self._found: dict[tuple[str, int], list[Figure]] = {}
        for figure in figures:
            self._found.setdefault((figure.figure, figure.season), []).append(figure)

    def one(self, name: str, season: int) -> Figure | None:
        """Give the figure that stands for a season: at harvest, of the whole season; None where none does.

        Parameters
        ----------
        name : name of the figure.
        season : harvest year.
        """
        found = [f for f in self._found.get((name, season), []) if f.stage in {None, "harvest"}]
        whole = [f for f in found if f.pick is None]
        if whole:
            return whole[0]
        return found[0] if len(found) == 1 else None

    def number_in_table(self, name: str, season: int, seasons: Sequence[int], units: Units) -> Shown | None:
        """Give a season's number with the digits that it has in the table of all seasons; None without a value.

        Parameters
        ----------
        name : name of the figure.
        season : harvest year.
        seasons : those of the table.
        units : "metric" or "us".
        """
        years = [*seasons] if season in seasons else [*seasons, season]
        found = [self.one(name, year) for year in years]
        numbers = settle([shown(figure, units) if figure else None for figure in found])
        number = numbers[years.index(season)]
        return number if number is not None and number.value is not None else None

    def has_value(self, name: str, seasons: Iterable[int]) -> bool:
        """Tell whether any season has a value.

        Parameters
        ----------
        name : name of the figure.
        seasons : harvest years.
        """
        figures = (self.one(name, season) for season in seasons)
        return any(figure is not None and figure.value is not None for figure in figures)

    def is_missed(self, name: str, seasons: Iterable[int]) -> bool:
        """Tell whether a figure was never counted: no season has it or waits for it, and none says it cannot be had.

        Parameters
        ----------
        name : name of the figure.
        seasons : harvest years.
        """
        figures = [figure for season in seasons for figure in self._found.get((name, season), [])]
        return not any(
            f.value is not None or f.status in {"pending", "partial"} or f.note in NO_SUCH_BEARER for f in figures
        )


def season_table(
    title: str,
    wishes: tuple[Wish, ...],
    figures: SeasonFigures,
    seasons: tuple[int, ...],
    units: Units,
    *,
    names_missed: bool = True,
    begun: int = 0,
) -> Table | None:
    """Make a table with a row a season; a figure that the block never had is named, not printed.

    Parameters
    ----------
    title : what the table shows.
    wishes : the columns.
    figures : the block's figures.
    seasons : harvest years, oldest first.
    units : "metric" or "us".
    names_missed : whether figures that were never counted are named under the table.
    begun : first season of the block itself; before it stands only what it took over.
    """
    kept = [wish for wish in wishes if figures.has_value(wish.figure, seasons)]
    never = tuple(
        inside_sentence(in_words_of(FIGURES[wish.figure].title, units))
        for wish in wishes
        if names_missed and wish not in kept and figures.is_missed(wish.figure, seasons)
    )
    if not kept:
        return None
    # Wood weighed at the first visit makes a season that the other tables know nothing of.
    has_row = [any(figures.one(wish.figure, season) is not None for wish in kept) for season in seasons]
    seasons = seasons[has_row.index(True) :]
    notes = Notes(begun)
    marks = {
        (season, wish.figure): notes.mark(figures.one(wish.figure, season), season, wish.figure)
        for season in seasons
        for wish in kept
    }
    columns = [Column("Season", width=1.0)]
    cells: dict[int, list[Cell]] = {season: [Cell(str(season))] for season in seasons}
    for wish in kept:
        rows_of = [(figures.one(wish.figure, season), marks[season, wish.figure]) for season in seasons]
        left, shared = marks_of_column(rows_of)
        column_cells, reserve = align(
            [(shown(figure, units) if figure else None, mark) for (figure, _), mark in zip(rows_of, left, strict=True)]
        )
        for season, cell in zip(seasons, column_cells, strict=True):
            cells[season].append(cell)
        columns.append(
            Column(wish.head, unit_line(wish.figure, units), 1.1, True, wish.ink, reserve, shared)  # noqa: FBT003
        )
    groups: list[tuple[str, int, Ink]] = [("", 1, "")]
    for wish in kept:
        if groups[-1][0] == wish.group:
            groups[-1] = (wish.group, groups[-1][1] + 1, wish.ink)
        else:
            groups.append((wish.group, 1, wish.ink))
    rows = tuple(tuple(cells[season]) for season in seasons)
    return Table(title, tuple(columns), rows, tuple(groups), tuple(notes.lines), never)


def align(values: list[tuple[Shown | None, str]]) -> tuple[list[Cell], float]:
    """Give cells whose decimals stand under each other, and the room their marks need.

    Parameters
    ----------
    values : each number with its marks, one column from top to bottom.
    """
    settled = settle([number for number, _ in values])
    values = [(number, mark) for number, (_, mark) in zip(settled, values, strict=True)]
    decimals = max((max(s.decimals, 0) for s, _ in values if s and s.value is not None), default=0)
    reserve = max((fonts.width_em(mark) * MARK_PT for _, mark in values), default=0.0)
    digit, point = fonts.width_em("0") * TABLE_PT, fonts.width_em(".") * TABLE_PT
    cells = []
    for number, mark in values:
        text = EN_DASH if number is None else number.text
        has = max(number.decimals, 0) if number and number.value is not None else 0
        lacking = (decimals - has) * digit + (point if decimals and not has else 0)
        room = reserve - fonts.width_em(mark) * MARK_PT
        cells.append(Cell(text, mark, round(room + lacking, 2)))
    return cells, round(reserve, 2)


def unit_line(name: str, units: Units) -> str:
    """Give what stands in grey under a heading: the unit, and what one is counted on.

    Parameters
    ----------
    name : name of the figure.
    units : "metric" or "us".
    """
    kind = FIGURES[name]
    unit, _ = unit_shown(kind.unit, units)
    if kind.unit in {"nodes", "shoots", "spurs", "canes", "clusters", "berries"}:
        return "per " + {BEARING_VINE: "vine", "count node": "node"}.get(kind.per, kind.per)
    if kind.unit in {"nodes/m", "shoots/m"}:
        return f"per {unit.partition('/')[2]}"
    if kind.per == BEARING_VINE and unit in {"kg", "lb"}:
        return f"{unit}/vine"
    return "" if kind.unit == "vines" else unit
