"""The appendix of a history: for every figure and season value, interval, n, how chosen and basis."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from string import ascii_lowercase
from typing import TYPE_CHECKING

from vinebook.reports import fonts
from vinebook.reports.marks import FEW, SPREAD, fixed_marks, most_shared, of_any_season, other_note, without_season
from vinebook.reports.numbers import Units, in_words_of, per_shown, settle, shown, unit_per, unit_shown, write_band
from vinebook.reports.strip import position_order, position_shown
from vinebook.reports.tables import Cell, align
from vinebook.reports.words import begin_sentence, cite, typeable, write_seasons
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.commands import command_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from vinebook.seasons.model import Figure

LONG_NOTE = 30
CELL_SHARES = (0.23, 0.125, 0.265, 0.08, 0.30)
NARROWEST_PT = 154.0
"""Width of a sheet on the narrower paper."""
CELL_GAP_PT, SEASON_GAP_PT, HEAD_GAP_PT, TYPE_PT = 4.5, 2.0, 1.5, 7.5
LETTERS_PT = 3.0
"""What semibold letters of notes take more than plain ones."""
MARKED_GAP_PT = 7.0
"""Room before the notes where a mark hangs beside n; the style sheet has it too."""
HEADS = ("Season", "Value", "Interval", "n")
LEAST_SHARE_OF_NOTES = 0.15
WITH_READING_SHARES = (0.155, 0.115, 0.21, 0.07, 0.45)
"""Widths of the columns of a sheet; where its seasons stand one by one, a date and a reading fit in one line."""
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
_CENSUS = re.compile(r"census of \d{4}-\d{2}-\d{2}\b")
CENSUS_BELOW = "census of the date below"
CHOSEN = {
    "random": "drawn at random",
    "every_kth": "every k-th from a random start",
    "panels": "panels at random",
    "hand_picked": "picked by hand",
    "all": "full count",
}


@dataclass(frozen=True, slots=True)
class Sheet:
    """One figure over the seasons.

    Attributes
    ----------
    title, unit : what the figure is.
    about : its definition, how chosen, basis and band as most of its seasons share them, and the name by which its
        rows are printed; "" where the sheet before it says the same.
    rows : season, value, interval, n, what else is to be said; where there is no value, season, dash and words.
    notes : letters in the rows, with their texts.
    shares : widths of the columns.
    """

    title: str
    unit: str
    about: str
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[tuple[str, str], ...] = ()
    shares: tuple[float, ...] = CELL_SHARES

    @property
    def has_head(self) -> bool:
        """Whether the columns are named: not over a single row without interval and n."""
        return len(self.rows) > 1 or any(cell.text for cell in self.rows[0][2:-1])

    @property
    def is_marked(self) -> bool:
        """Whether a mark hangs beside some n."""
        return _is_marked(self.rows)


@dataclass(frozen=True, slots=True)
class Shared:
    """What the rows of a sheet share and its head says once."""

    chosen: str
    basis: str
    band: str
    has_one_position: bool


def figure_sheets(figures: tuple[Figure, ...], units: Units) -> list[Sheet]:
    """Give a sheet for each figure, in the order of the catalogue, bearers and stages apart.

    Parameters
    ----------
    figures : all figures of a block.
    units : "metric" or "us".
    """
    grouped: dict[tuple[int, str, str], list[Figure]] = {}
    order = {name: number for number, name in enumerate(FIGURES)}
    for figure in without_repeats(figures):
        key = (order.get(figure.figure, len(order)), figure.figure, _variant(figure))
        grouped.setdefault(key, []).append(figure)
    sheets: list[Sheet] = []
    told = ""
    for (_, name, variant), rows in sorted(grouped.items()):
        if any(figure.value is not None for figure in rows):
            sheet = _sheet(name, variant, sorted(rows, key=_row_order), units)
            sheets.append(replace(sheet, about="") if sheet.about == told else sheet)
            told = sheet.about
    return sheets


def without_repeats(figures: tuple[Figure, ...]) -> list[Figure]:
    """Leave out the figure of a pick or a bearer where it is the season's only one and says the same as the whole.

    Parameters
    ----------
    figures : all figures of a block.
    """
    whole = {(f.figure, f.season, f.stage): _numbers(f) for f in figures if _is_whole(f)}
    return [
        f
        for f in figures
        if f.position is not None
        or f.value is None
        or _is_whole(f)
        or whole.get((f.figure, f.season, f.stage)) != _numbers(f)
    ]


def example_to_follow(figures: Sequence[Figure], records: Mapping[str, int]) -> str:
    """Give the words that print the rows behind one figure of a page, as the pattern for all; "" where none is known.

    Parameters
    ----------
    figures : figures that the page tells, their blocks' codes as they are in the book; the latest yield to prunings
        is taken, else the latest of any.
    records : permanent numbers of the blocks by code.
    """
    known = [f for f in figures if f.value is not None]
    of_ratio = [f for f in known if f.figure == "yield_to_prunings"]
    latest = max(of_ratio or known, key=lambda f: f.season, default=None)
    return "" if latest is None else command_of(latest, typeable(latest.block, records.get(latest.block, 0)))


def _is_whole(figure: Figure) -> bool:
    return figure.bearer is None and figure.pick is None and figure.position is None


def _numbers(figure: Figure) -> tuple[float | int | None, ...]:
    return (figure.value, figure.low, figure.high, figure.n)


def band_sources(figures: tuple[Figure, ...], units: Units) -> list[tuple[str, str, str]]:
    """Give each band that a figure was read against: figure, limits, source.

    Parameters
    ----------
    figures : all figures of a block.
    units : "metric" or "us".
    """
    found = {
        (in_words_of(FIGURES[f.figure].title, units), _limits(f, units), cite(f.band.source)): None
        for f in figures
        if f.band is not None
    }
    return list(found)


def _limits(figure: Figure, units: Units) -> str:
    if figure.band is None:
        return ""
    unit = unit_shown(figure.unit, units)[0]
    return f"{write_band(figure.band, figure.unit, units)} {unit}".strip()


def _unit(title: str, unit: str, per: str) -> str:
    """Give the unit beside a title that may hold its word already."""
    if unit and unit in title.lower():
        return f"per {per}" if per else ""
    return unit_per(unit, per)


def _variant(figure: Figure) -> str:
    return ", ".join(part.replace("_", " ") for part in (figure.bearer, figure.stage) if part)


def _row_order(figure: Figure) -> tuple[int, tuple[int, int, str], int]:
    return (figure.season, position_order(figure.position or ""), figure.pick or 0)


def _sheet(name: str, variant: str, rows: list[Figure], units: Units) -> Sheet:
    kind = FIGURES[name]
    unit = unit_shown(kind.unit, units)[0]
    per = per_shown(kind.per, units)
    positions = {f.position for f in rows} - {None}
    band = most_common([_limits(f, units) for f in rows if f.band is not None])
    shared = Shared(
        most_shared([(_chosen(f), f.season) for f in rows]),
        most_shared([(undated(f.basis), f.season) for f in rows]),
        band,
        has_one_position=len(positions) == 1,
    )
    letters = _letters(rows, shared, units)
    titles = [
        in_words_of(kind.title, units),
        variant,
        *(position_shown(p) for p in positions if p and shared.has_one_position),
    ]
    numbers = settle([shown(f, units) for f in rows])
    values, _ = align([(number, "") for number in numbers])
    cells: list[tuple[Cell, ...]] = []
    runs: list[list[Figure]] = []
    for figure, value, number in zip(rows, values, numbers, strict=True):
        said: tuple[Cell, ...] = (value, _said(figure, shared, letters, units))
        if figure.value is not None:
            interval = Cell(number.interval if number and figure.low is not None else "")
            said = (value, interval, _n_cell(figure), said[-1])
        if (
            cells
            and not band
            and _says_the_same(cells[-1][1:], said, runs[-1][0], figure)
            and _is_next(runs[-1][-1], figure)
        ):
            runs[-1].append(figure)
            cells[-1] = (Cell(_seasons(runs[-1], shared)), *cells[-1][1:])
        else:
            runs.append([figure])
            cells.append((Cell(_seasons([figure], shared)), *said))
    for place, run in enumerate(runs):
        if len(run) > 1 and run[0].value is None:
            key = without_season(cells[place][-1].text, run[0].season)
            cells[place] = (*cells[place][:-1], Cell(of_any_season(key), cells[place][-1].mark))
    about = [
        begin_sentence(in_words_of(kind.is_, units)),
        f"Chosen: {of_any_season(shared.chosen)}" if shared.chosen else "",
        f"Basis: {of_any_season(shared.basis)}" if shared.basis else "",
        f"Band: {shared.band}" if shared.band else "",
        f"Name: {name}",
    ]
    return Sheet(
        ", ".join(filter(None, titles)),
        _unit(kind.title, unit, per),
        " ".join(f"{part}." for part in about if part),
        tuple(cells),
        tuple((letter, of_any_season(key)) for key, letter in letters.items()),
        _fitted(
            cells,
            WITH_READING_SHARES if band and all(f.pick is None and f.position is None for f in rows) else CELL_SHARES,
        ),
    )


def _is_marked(rows: Sequence[tuple[Cell, ...]]) -> bool:
    return any(row[3].mark for row in rows if len(row) == len(CELL_SHARES))


def _fitted(cells: list[tuple[Cell, ...]], shares: tuple[float, ...]) -> tuple[float, ...]:
    """Give the widths of columns: of seasons and numbers wide enough for the longest, then of notes for one line.

    What seasons and numbers need goes at the cost of the notes; notes get what the others have to spare.
    """
    full = [row for row in cells if len(row) == len(shares)]
    least = []
    for at, head in enumerate(HEADS):
        gap_pt = CELL_GAP_PT if at else SEASON_GAP_PT
        texts_pt = [fonts.width_em(row[at].text) * TYPE_PT + gap_pt for row in (full if at else cells)]
        least.append(max(fonts.width_em(head) * TYPE_PT + HEAD_GAP_PT, *texts_pt, 0.0) / NARROWEST_PT)
    fitted = [max(share, need) for share, need in zip(shares, least, strict=False)]
    fitted.append(max(1 - sum(fitted), LEAST_SHARE_OF_NOTES))
    gap_pt = MARKED_GAP_PT if _is_marked(cells) else CELL_GAP_PT
    said = [f"{row[-1].text} {row[-1].mark}".strip() for row in full]
    wanted = (max((fonts.width_em(text) * TYPE_PT for text in said), default=0.0) + LETTERS_PT + gap_pt) / NARROWEST_PT
    spare = [share - need for share, need in zip(fitted, least, strict=False)]
    if 0 < wanted - fitted[-1] <= sum(spare):
        part = (wanted - fitted[-1]) / sum(spare)
        fitted = [*(share - part * room for share, room in zip(fitted, spare, strict=False)), wanted]
    return tuple(share / sum(fitted) for share in fitted)


def undated(text: str) -> str:
    """Give a basis with its dates taken out; they stand in the rows.

    Parameters
    ----------
    text : which rows, census, area and canopy a figure rests on.
    """
    parts = [part for part in text.split("; ") if not _DATE.fullmatch(part)]
    census = "census in force" if len(set(_DATE.findall(text))) > 1 else CENSUS_BELOW
    return _DATE.sub("the date below", "; ".join(_CENSUS.sub(census, part) for part in parts))


def _dates(basis: str) -> list[str]:
    """Give the dates of a basis; the census has its own sheet, so its date stands only where no other does."""
    others = list(dict.fromkeys(_DATE.findall(_CENSUS.sub("", basis))))
    return others or list(dict.fromkeys(_DATE.findall(basis)))


def most_common(texts: list[str]) -> str:
    """Give the text that is met most often, "" where there is none.

    Parameters
    ----------
    texts : any texts.
    """
    return max(texts, key=texts.count, default="")


def _n_cell(figure: Figure) -> Cell:
    is_few = FEW in fixed_marks(figure)
    return Cell(str(figure.n) if figure.n is not None else "", FEW if is_few and figure.n is not None else "")


def _says_the_same(one: tuple[Cell, ...], other: tuple[Cell, ...], first: Figure, figure: Figure) -> bool:
    """Whether two rows say the same; where there is no value, but for the season in their words."""
    if one == other or first.value is not None:
        return one == other
    words = without_season(one[-1].text, first.season) == without_season(other[-1].text, figure.season)
    return one[:-1] == other[:-1] and words


def _is_next(before: Figure, after: Figure) -> bool:
    """Whether two rows that say the same may stand in one: neighbours in time, neither of a position or pick."""
    is_plain = all(f.position is None and f.pick is None for f in (before, after))
    return is_plain and after.season == before.season + 1


def _seasons(figures: list[Figure], shared: Shared) -> str:
    parts = [write_seasons(f.season for f in figures)]
    if figures[0].position is not None and not shared.has_one_position:
        parts.append(position_shown(figures[0].position))
    if figures[0].pick is not None:
        parts.append(f"pick {figures[0].pick}")
    return " ".join(parts)


def _chosen(figure: Figure) -> str:
    return ", ".join(CHOSEN.get(part, part.replace("_", " ")) for part in figure.chosen.split(", "))


def _letters(rows: list[Figure], shared: Shared, units: Units) -> dict[str, str]:
    """Give a letter to each note of a value, and to each long one that more than one row without a value carries."""
    keys = [
        (without_season(part, f.season), f.value, len(part)) for f in rows for part in _notes(f, shared, units) if part
    ]
    times = Counter(key for key, _, _ in keys)
    lettered = [k for k, value, length in keys if value is not None or (times[k] > 1 and length >= LONG_NOTE)]
    return dict(zip(dict.fromkeys(lettered), ascii_lowercase, strict=False))


def _notes(figure: Figure, shared: Shared, units: Units) -> list[str]:
    """Give what a figure's note says part by part, and where its choice, basis or band is not that of the sheet."""
    notes = other_note(figure).split("; ") if figure.status != "known" or figure.note else []
    notes += [part.strip() for part in figure.note.split(";") if part.strip().startswith(SPREAD)]
    chosen, basis, limits = _chosen(figure), undated(figure.basis), _limits(figure, units)
    if chosen and without_season(chosen, figure.season) != shared.chosen:
        notes.append(f"chosen: {chosen}")
    if basis and without_season(basis, figure.season) != shared.basis:
        notes.append(f"basis: {basis}")
    if limits and limits != shared.band and figure.reading != "not judged":
        notes.append(f"band {limits}")
    return notes


def _said(figure: Figure, shared: Shared, letters: dict[str, str], units: Units) -> Cell:
    """Give the last cell of a row: words, and the letters of the notes under the table."""
    notes = [(part, letters.get(without_season(part, figure.season), "")) for part in _notes(figure, shared, units)]
    words = _rest(figure) + [part for part, letter in notes if part and not letter]
    said = "; ".join(words)
    return Cell(
        said if figure.value is not None else begin_sentence(said),
        ",".join(sorted({letter for _, letter in notes if letter})),
    )


def _rest(figure: Figure) -> list[str]:
    """Give what a row says beside its numbers."""
    parts = _dates(figure.basis)
    if figure.band is not None and figure.reading != "not judged":
        reading = figure.reading.replace(" ", "\u00a0")
        parts = [*parts[:-1], f"{parts[-1]} {reading}" if parts else reading]
    return [part for part in parts if part]
