"""The appendix of a history: for every figure and season value, interval, n, how chosen and basis."""

from __future__ import annotations

import re
from dataclasses import dataclass
from string import ascii_lowercase
from typing import TYPE_CHECKING

from vinebook.reports.marks import FEW, SPREAD, fixed_marks, most_shared, of_any_season, other_note, without_season
from vinebook.reports.numbers import Units, in_words_of, per_shown, settle, shown, unit_per, unit_shown, write_band
from vinebook.reports.strip import position_order, position_shown
from vinebook.reports.tables import Cell, align
from vinebook.reports.words import begin_sentence, write_seasons
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure

LONG_NOTE = 24
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
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
    title, unit, is_ : what the figure is.
    chosen, basis, band : what most of its seasons share, or "".
    rows : season, value, interval, n and how chosen, what else is to be said.
    notes : letters in the rows, with their texts.
    """

    title: str
    unit: str
    is_: str
    chosen: str
    basis: str
    band: str
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Shared:
    """What the rows of a sheet share and its head says once."""

    chosen: str
    basis: str
    band: str
    letters: dict[str, str]
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
    for figure in figures:
        key = (order.get(figure.figure, len(order)), figure.figure, _variant(figure))
        grouped.setdefault(key, []).append(figure)
    return [
        _sheet(name, variant, sorted(rows, key=_row_order), units)
        for (_, name, variant), rows in sorted(grouped.items())
        if any(figure.value is not None for figure in rows)
    ]


def band_sources(figures: tuple[Figure, ...], units: Units) -> list[tuple[str, str, str]]:
    """Give each band that a figure was read against: figure, limits, source.

    Parameters
    ----------
    figures : all figures of a block.
    units : "metric" or "us".
    """
    found = {
        (in_words_of(FIGURES[f.figure].title, units), _limits(f, units), f.band.source): None
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
    shared = Shared(
        most_shared([(_chosen(f), f.season) for f in rows]),
        most_shared([(undated(f.basis), f.season) for f in rows]),
        most_common([_limits(f, units) for f in rows if f.band is not None]),
        _letters(rows),
        has_one_position=len(positions) == 1,
    )
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
        said = (
            value,
            Cell(number.interval if number and figure.low is not None else ""),
            _n_cell(figure),
            _said(figure, shared, units),
        )
        if cells and _says_the_same(cells[-1][1:], said, runs[-1][0], figure) and _is_next(runs[-1][-1], figure):
            runs[-1].append(figure)
            cells[-1] = (Cell(_seasons(runs[-1], shared)), *cells[-1][1:])
        else:
            runs.append([figure])
            cells.append((Cell(_seasons([figure], shared)), *said))
    for place, run in enumerate(runs):
        if len(run) > 1 and run[0].value is None:
            key = without_season(cells[place][-1].text, run[0].season)
            cells[place] = (*cells[place][:-1], Cell(of_any_season(key), cells[place][-1].mark))
    return Sheet(
        ", ".join(filter(None, titles)),
        _unit(kind.title, unit, per),
        in_words_of(kind.is_, units),
        of_any_season(shared.chosen),
        of_any_season(shared.basis),
        shared.band,
        tuple(cells),
        tuple((letter, of_any_season(key)) for key, letter in shared.letters.items()),
    )


def undated(text: str) -> str:
    """Give a basis with its dates taken out; they stand in the rows.

    Parameters
    ----------
    text : which rows, census, area and canopy a figure rests on.
    """
    return _DATE.sub("the date below", text)


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
    return ", ".join(parts)


def _chosen(figure: Figure) -> str:
    return ", ".join(CHOSEN.get(part, part.replace("_", " ")) for part in figure.chosen.split(", "))


def _letters(rows: list[Figure]) -> dict[str, str]:
    """Give a letter to each long note that more than one row carries."""
    keys = [without_season(part, f.season) for f in rows for part in _notes(f) if len(part) >= LONG_NOTE]
    repeated = [key for key in dict.fromkeys(keys) if keys.count(key) > 1]
    return dict(zip(repeated, ascii_lowercase, strict=False))


def _notes(figure: Figure) -> list[str]:
    return other_note(figure).split("; ") if figure.status != "known" or figure.note else []


def _said(figure: Figure, shared: Shared, units: Units) -> Cell:
    """Give the last cell of a row: words, and the letters of the notes under the table."""
    notes = [(part, shared.letters.get(without_season(part, figure.season), "")) for part in _notes(figure)]
    words = _rest(figure, shared, units) + [part for part, letter in notes if part and not letter]
    return Cell(begin_sentence("; ".join(words)), ", ".join(letter for _, letter in notes if letter))


def _rest(figure: Figure, shared: Shared, units: Units) -> list[str]:
    """Give what a row says beside its numbers."""
    parts = []
    chosen = _chosen(figure)
    if chosen and without_season(chosen, figure.season) != shared.chosen:
        parts.append(chosen)
    if figure.basis and without_season(undated(figure.basis), figure.season) == shared.basis:
        parts += dict.fromkeys(_DATE.findall(figure.basis))
    elif figure.basis:
        parts.append(figure.basis)
    if figure.band is not None and figure.reading != "not judged":
        limits = _limits(figure, units)
        parts.append(figure.reading if limits == shared.band else f"{figure.reading}, band {limits}")
    parts += [part.strip() for part in figure.note.split(";") if part.strip().startswith(SPREAD)]
    return [part for part in parts if part]
