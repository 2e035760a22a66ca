"""Marks beside numbers and the notes they point to.

Three marks are fixed: few vines, a reading that is not clear, vines picked by hand. Every other note gets
a letter; notes that differ only by their season share one.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from string import ascii_lowercase
from typing import TYPE_CHECKING

from vinebook.seasons.catalogue import CARRIED
from vinebook.seasons.notes import NOTES, Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.seasons.model import Figure

FEW = "†"
NOT_CLEAR = "‡"
BY_HAND = "§"
FEWER = frozenset(NOTES[note] for note in (Note.FEW, Note.FEW_LOTS, Note.FEW_PROBED))
SAID_BY_MARKS = FEWER | {NOTES[Note.HAND_PICKED]}
"""Parts of a note that a fixed mark says already."""
NO_SUCH_BEARER = frozenset(NOTES[note] for note in (Note.NO_SPURS, Note.NO_CANES, Note.CANE_PRUNED, Note.SPUR_PRUNED))
"""What a block says of canes where it is pruned to spurs, and of spurs where it is pruned to canes."""
SPREAD = "standard deviation between vines"
"""Told in the appendix alone."""
MEANING = {
    FEW: "few vines, lots, transects or canes: fewer than shown to suffice for the interval",
    NOT_CLEAR: "not clear whether inside the band: the interval crosses one of its limits",
    BY_HAND: "vines picked by hand: no interval can be given",
}
NEVER_COUNTED = "nothing was counted or weighed for it"
NOT_CARRIED = "not carried over: it stays with the block before this one"
"""Said of tonnes, vines, areas and must in the seasons before a block began."""

_YEAR = re.compile(r"\b(?:1[89]|20|21)\d\d\b(?!-\d)")
_DISTANCE = re.compile(r"\{(-?[01])\}")
_DISTANCE_IN_WORDS = {"-1": "the season before", "0": "that season", "1": "the next season"}


@dataclass(slots=True)
class Notes:
    """The notes under one table, in the order in which their marks are met.

    Attributes
    ----------
    begun : first season of the block itself; before it stands only what it took over.
    """

    begun: int = 0
    fixed: list[str] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    seasons: dict[str, list[int]] = field(default_factory=dict)

    def mark(self, figure: Figure | None, season: int, name: str = "") -> str:
        """Give the marks of a figure, "" where nothing needs to be said.

        Parameters
        ----------
        figure : the figure, or None where there is none for the season.
        season : harvest year of the row.
        name : name of the figure, where it may be None.
        """
        if figure is None:
            stays = season < self.begun and name and name not in CARRIED
            return self.letter(NOT_CARRIED if stays else NEVER_COUNTED, season)
        found = [mark for mark in fixed_marks(figure) if figure.value is not None]
        self.fixed += [mark for mark in found if mark not in self.fixed]
        rest = other_note(figure)
        return "".join(found) + (self.letter(rest, season) if rest else "")

    def letter(self, text: str, season: int) -> str:
        """Give the letter of a note.

        Parameters
        ----------
        text : the note.
        season : harvest year of the row.
        """
        key = without_season(text, season)
        self.texts.setdefault(key, text)
        seasons = self.seasons.setdefault(key, [])
        if season not in seasons:
            seasons.append(season)
        number = list(self.texts).index(key)
        ring, place = divmod(number, len(ascii_lowercase))
        return ascii_lowercase[place] * (ring + 1)

    @property
    def lines(self) -> list[tuple[str, str]]:
        """Each mark with its text, the fixed ones first."""
        lines = [(mark, MEANING[mark]) for mark in MEANING if mark in self.fixed]
        for number, (key, text) in enumerate(self.texts.items()):
            ring, place = divmod(number, len(ascii_lowercase))
            lines.append(
                (ascii_lowercase[place] * (ring + 1), text if len(self.seasons[key]) == 1 else of_any_season(key))
            )
        return lines


def fixed_marks(figure: Figure) -> list[str]:
    """Give the fixed marks that a figure carries.

    Parameters
    ----------
    figure : the figure.
    """
    return [
        mark
        for mark, holds in (
            (FEW, any(words in figure.note for words in FEWER)),
            (NOT_CLEAR, figure.reading == "not clear"),
            (BY_HAND, is_by_hand(figure)),
        )
        if holds
    ]


def marks_of_column(rows: Sequence[tuple[Figure | None, str]]) -> tuple[list[str], str]:
    """Give the marks of a column's cells without one that all its intervals share, and that one for the heading.

    Parameters
    ----------
    rows : each figure with its marks.
    """
    marks = [mark for _, mark in rows]
    bounded = [mark for figure, mark in rows if figure is not None and figure.low is not None]
    if len(bounded) > 1 and all(FEW in mark for mark in bounded):
        return [mark.replace(FEW, "") for mark in marks], FEW
    return marks, ""


def is_by_hand(figure: Figure) -> bool:
    """Tell whether a figure rests on vines that were picked by hand.

    Parameters
    ----------
    figure : the figure.
    """
    return "hand" in figure.chosen and figure.low is None


def other_note(figure: Figure) -> str:
    """Give what a figure's note says beside what the fixed marks say.

    Parameters
    ----------
    figure : the figure.
    """
    parts = [part.strip() for part in figure.note.split(";")]
    rest = "; ".join(part for part in parts if part and part not in SAID_BY_MARKS and not part.startswith(SPREAD))
    if not rest and figure.value is None:
        return f"{figure.status}: {NEVER_COUNTED}"
    return rest


def without_season(text: str, season: int) -> str:
    """Give a note with the years next to its season as distances, so that equal notes meet.

    Parameters
    ----------
    text : the note.
    season : harvest year that it belongs to.
    """
    return _YEAR.sub(lambda m: f"{{{int(m[0]) - season}}}" if abs(int(m[0]) - season) <= 1 else m[0], text)


def of_any_season(key: str) -> str:
    """Give a note for several seasons: "the wood of that season is weighed at the pruning that sets the next season".

    Parameters
    ----------
    key : the note with years as distances, from `without_season`.
    """
    return _DISTANCE.sub(lambda m: _DISTANCE_IN_WORDS[m[1]], key)


def most_shared(texts: Sequence[tuple[str, int]]) -> str:
    """Give the text that most seasons share, by its form without seasons; the first of several, "" without any.

    Parameters
    ----------
    texts : each text with its season.
    """
    counted = Counter(without_season(text, season) for text, season in texts if text)
    return next((key for key, _ in counted.most_common(1)), "")
