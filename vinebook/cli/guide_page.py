"""A page of the guide on a terminal: paragraphs, lists and tables laid out at its width, drawings as they are."""

from __future__ import annotations

import re
import textwrap

GAP = "  "
LEAST_COLUMN = 8
"""Blanks between columns, and how narrow a column may become."""
FENCE = "```"
ITEM = re.compile(r"(\s*)([-*]|\d+\.) ")
DIVIDER = re.compile(r"\|[-| :]+\|")
UNDERLINES = {1: "═", 2: "─"}


def on_screen(page: str, width: int) -> str:
    """Give a page of Markdown laid out for a terminal.

    Parameters
    ----------
    page : the page's Markdown.
    width : columns of the terminal; what stands between fences, or indented by four, is left as it is.
    """
    parts: list[str] = []
    lines = page.splitlines()
    at = 0
    while at < len(lines):
        if lines[at].startswith(FENCE):
            end = next(n for n in range(at + 1, len(lines) + 1) if n == len(lines) or lines[n].startswith(FENCE))
            parts.append("\n".join(lines[at + 1 : end]))
            at = end + 1
            continue
        end = next(n for n in range(at, len(lines) + 1) if n == len(lines) or not _goes_on(lines, at, n))
        if end > at:
            parts.append(_laid_out(lines[at:end], width))
        at = max(end, at + 1)
    return "\n\n".join(parts) + "\n"


def _goes_on(lines: list[str], first: int, at: int) -> bool:
    """Say whether a line still belongs to what began at the first."""
    line = lines[at]
    if not line.strip() or line.startswith(FENCE):
        return False
    return at == first or not (line.startswith("#") or lines[first].startswith("#"))


def _laid_out(lines: list[str], width: int) -> str:
    first = lines[0]
    if first.startswith("#"):
        level = len(first) - len(first.lstrip("#"))
        words = _plain(first.lstrip("# "))
        told = _filled(words, width)
        return f"{told}\n{UNDERLINES[level] * min(len(words), width)}" if level in UNDERLINES else told
    if first.startswith("|"):
        return _table(lines, width)
    if first.startswith("    "):
        return "\n".join(lines)
    items: list[list[str]] = []
    for line in lines:
        if ITEM.match(line) or not items:
            items.append([])
        items[-1].append(line)
    return "\n".join(
        _filled(" ".join([item[0].rstrip(), *(line.strip() for line in item[1:])]), width) for item in items
    )


def _filled(words: str, width: int) -> str:
    mark = ITEM.match(words)
    hang = " " * (mark.end() if mark else 0)
    return textwrap.fill(_plain(words), width, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False)


def _plain(words: str) -> str:
    return words.replace("**", "")


def _table(lines: list[str], width: int) -> str:
    rows = [
        [_plain(cell.strip()) for cell in line.strip().strip("|").split("|")]
        for line in lines
        if not DIVIDER.fullmatch(line.strip())
    ]
    columns = max(map(len, rows))
    rows = [row + [""] * (columns - len(row)) for row in rows]
    widths = _widths(rows, width - len(GAP) * (columns - 1))
    head, *body = rows
    told = [_row(row, widths) for row in body]
    # Cells that run over several lines need air between rows.
    between = "\n\n" if any("\n" in row for row in told) else "\n"
    top = [_row(head, widths), GAP.join("─" * wide for wide in widths)] if any(head) else []
    return "\n".join([*top, between.join(told)])


def _widths(rows: list[list[str]], room: int) -> list[int]:
    """Give the widths of columns: their own where all fit, else the widest give way first."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    words = [max(len(word) for cell in column for word in cell.split() or [""]) for column in zip(*rows, strict=True)]
    least = [min(wide, max(word, LEAST_COLUMN)) for wide, word in zip(widths, words, strict=True)]
    while sum(widths) > room and widths != least:
        at = max((wide, at) for at, wide in enumerate(widths) if wide > least[at])[1]
        widths[at] -= 1
    return widths


def _row(cells: list[str], widths: list[int]) -> str:
    parts = [
        textwrap.wrap(cell, wide, break_long_words=False, break_on_hyphens=False) or [""]
        for cell, wide in zip(cells, widths, strict=True)
    ]
    deep = max(map(len, parts))
    lines = [
        GAP.join((part[at] if at < len(part) else "").ljust(wide) for part, wide in zip(parts, widths, strict=True))
        for at in range(deep)
    ]
    return "\n".join(line.rstrip() for line in lines)
