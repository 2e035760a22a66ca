"""Rough words and sizes for every report, and what a printed page has to hold however rough they are."""

from __future__ import annotations

import dataclasses
import itertools
import subprocess
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vinebook.reports.paper import Paper

    Told = TypeVar("Told")

SIXTY = "The Uppermost Terrace behind the Chapel of the Three Poplars"
ROUGH = {
    "quotes": "\"O'Quill's\" & 'Sons' `x` \\ %s {0}",
    "markup": "<b>Bench</b><script>alert(1)</script> {{7*7}} {% raw %} &amp; <!-- ]]>",
    "fetching": "<img src='file:///etc/passwd'> url(http://127.0.0.1:9/x) </style><link rel=attachment href=file:///etc>",
    "right to left": "כרם העמק \u202eshoot\u202c كرم",
    "Chinese": "北坡葡萄园",
    "sixty": SIXTY,
    "unbroken": "W" * 60,
    "code": "../N/S.1//../x",
}
WITHOUT_GLYPH = {"right to left": "U+05DB", "Chinese": "U+5317"}
WORDS = frozenset(
    (
        *("code", "name", "cultivar", "clone", "rootstock", "trade_name", "field_blend", "vineyard", "block", "origin"),
        *("place", "grower", "address", "register_numbers", "geographical_indication", "scheme", "certificate"),
        *("issuer", "number", "refused_reason", "corrects", "method", "given_to", "crew", "extent", "side"),
        *("words", "reason", "why", "note", "decided_by", "entered_by", "by", "file", "key", "what", "basis"),
        *("supersedes", "superseded_by"),
    )
)
"""Fields whose texts people write."""
SIZES = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}
SIDE_PT, TOP_PT, FOOT_PT = (mm * 72 / 25.4 for mm in (18, 16, 20))


def roughened(thing: Told, texts: Sequence[str]) -> Told:
    """Give what was told with every text that people write put to rough ones, by turns."""
    turn = itertools.cycle(texts)
    blocks: dict[str, str] = {}

    def rough(at: object, name: str = "") -> object:
        if isinstance(at, str) and name in WORDS and at:
            # Blocks are found by their codes, so one code stays one code.
            return blocks.setdefault(at, next(turn)) if name in ("code", "block") else next(turn)
        if isinstance(at, tuple):
            return tuple(rough(one, name) for one in at)
        if dataclasses.is_dataclass(at) and not isinstance(at, type):
            changed = {field.name: rough(getattr(at, field.name), field.name) for field in dataclasses.fields(at)}
            return dataclasses.replace(at, **changed)
        return at

    return cast("Told", rough(thing))


@dataclasses.dataclass(frozen=True, slots=True)
class Word:
    """A word of a page with its box in points from the upper left."""

    page: int
    text: str
    left: float
    top: float
    right: float
    bottom: float


def words_of(pdf: bytes) -> list[Word]:
    """Give the words of a PDF with their boxes."""
    done = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, check=True, capture_output=True)
    found, page = [], 0
    for line in done.stdout.decode().splitlines():
        if "<page" in line:
            page += 1
        if "<word" in line:
            head, _, rest = line.replace('"', "").partition(">")
            box = {key: float(value) for key, value in (part.split("=") for part in head.split()[1:])}
            text = rest.removesuffix("</word>")
            found.append(Word(page, text, box["xMin"], box["yMin"], box["xMax"], box["yMax"]))
    return found


def outside(pdf: bytes, paper: Paper) -> list[Word]:
    """Give the words that stand beyond the margins of their page."""
    width, height = SIZES[paper]
    return [
        word
        for word in words_of(pdf)
        if word.left < SIDE_PT - 1
        or word.right > width - SIDE_PT + 2
        or word.top < TOP_PT - 3
        or (word.bottom > height - FOOT_PT + 3 and word.top <= height - FOOT_PT)
    ]


def overlapping(pdf: bytes) -> list[tuple[Word, Word]]:
    """Give the words that lie over one another: by more than a third of the lower one's height and a point's width."""
    found = []
    for _, words in itertools.groupby(words_of(pdf), key=lambda word: word.page):
        near: list[Word] = []
        for word in sorted(words, key=lambda word: word.top):
            near = [other for other in near if other.bottom > word.top]
            for other in near:
                high = min(word.bottom, other.bottom) - max(word.top, other.top)
                wide = min(word.right, other.right) - max(word.left, other.left)
                least = min(word.bottom - word.top, other.bottom - other.top)
                if wide > 1 and high > least * 0.45:
                    found.append((other, word))
            near.append(word)
    return found


_watched: list[list[str]] = []


def _watch(event: str, args: tuple[object, ...]) -> None:
    if _watched and event in ("open", "socket.connect", "socket.getaddrinfo", "urllib.Request", "subprocess.Popen"):
        _watched[-1].append(f"{event} {args[0]}")


sys.addaudithook(_watch)


@contextmanager
def watched() -> Iterator[list[str]]:
    """Note every file that is opened, every address that is asked and every program that is started meanwhile."""
    found: list[str] = []
    _watched.append(found)
    try:
        yield found
    finally:
        _watched.pop()
