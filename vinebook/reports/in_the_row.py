"""What sheet and card share: messages in the crew's language, the frame of the page, lines to write on, cautions."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from vinebook.reports import fonts
from vinebook.reports.frame import Frame, make_frame, record_of
from vinebook.reports.languages import mark
from vinebook.reports.paper import FORMATS

if TYPE_CHECKING:
    from vinebook.reports.languages import Speech
    from vinebook.reports.paper import Paper

SIDE_MM, TOP_MM, FOOT_MM = 12.0, 10.0, 14.0
"""Margins of what goes into the row: narrow, for room to write; a clipboard's clamp takes the top."""

TRAINED = {
    "head": mark("head-trained"),
    "cordon": mark("cordon-trained"),
}
PRUNED = {
    "spur": mark("spur-pruned"),
    "cane": mark("cane-pruned"),
    "mixed": mark("pruned to spurs and canes"),
    "minimal": mark("minimally pruned"),
}


BOLD = 1.06
"""Semibold words are about this much wider than regular ones."""


def lines_of(words: str, size_pt: float, width_pt: float) -> int:
    """Give the lines that words take, rather one too many than one too few.

    Parameters
    ----------
    words : one paragraph.
    size_pt : of its type.
    width_pt : of its column.
    """
    lines, used = 1, 0.0
    gap = fonts.width_em(" ") * size_pt
    for word in words.split():
        wide = fonts.width_em(word) * size_pt * 1.01
        if used and used + gap + wide > width_pt:
            lines, used = lines + 1, wide
        else:
            used += wide + (gap if used else 0.0)
        while used > width_pt:
            lines, used = lines + 1, used - width_pt
    return lines


def cut(words: str, size_pt: float, width_pt: float) -> str:
    """Give words as far as one line has room for them, with an ellipsis where it has not.

    Parameters
    ----------
    words : what a person wrote.
    size_pt : of its type.
    width_pt : of the line.
    """
    if fonts.width_em(words) * size_pt <= width_pt:
        return words
    kept = words
    while kept and fonts.width_em(f"{kept} …") * size_pt > width_pt:
        kept = kept[:-1]
    return f"{kept.rstrip()} …"


def row_frame(
    *,
    title: str,
    foot: str,
    description: str,
    author: str,
    paper: Paper,
    seal: tuple[str, int, str],
    speech: Speech,
    program: str,
    warnings: tuple[str, ...] = (),
) -> Frame:
    """Give the frame of a page for the row: that of every report, with narrower margins and the crew's language.

    Parameters
    ----------
    title, foot, description, author : as `vinebook.reports.frame.Frame` has them.
    paper : size of the paper.
    seal : newest hash of the journal, its number and its UTC time.
    speech : the language.
    program : name and version of the program.
    warnings : what a person should know of the page.
    """
    frame = make_frame(
        title=title,
        foot=foot,
        description=description,
        author=author,
        paper=paper,
        record=record_of(*seal),
        warnings=warnings,
        program=program,
        language=speech.tag,
    )
    size = dataclasses.replace(FORMATS[paper], side_mm=SIDE_MM, top_mm=TOP_MM, foot_mm=FOOT_MM)
    return dataclasses.replace(frame, format=size)


def made_from(frame: Frame, speech: Speech) -> str:
    """Give in words which state of the book a page was made from.

    Parameters
    ----------
    frame : of the page.
    speech : the language.
    """
    record = frame.record
    return speech(
        "Made by %(program)s from the book of %(day)s, entry %(entry)s, seal %(seal)s.",
        program=frame.program,
        day=speech.day(record.moment.date()),
        entry=record.entries,
        seal=" ".join(record.seal),
    )
