"""A book worth packing for tests: corrections of every kind, a silence, and texts that a spreadsheet would spoil."""

from __future__ import annotations

import json
import random
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from tests.audit.corrections import Corrector, fill
from tests.intake.sheets import workbook
from vinebook.api import figures, open_book, verify
from vinebook.audit.check import silence
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import add_record

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from tests.desk import Desk

UNUSUAL = (
    "=SUM(A1:A9)",
    "+3 rows",
    "-",
    "@low end",
    "'",
    "''",
    "'=1+1",
    '\'s-Gravenhof, "low" end',
    '"',
    ", ; ,",
    "كرم قديم",
    "שורה 3 =1",
    "\u00e9t\u00e9 \u2026 \U0001f347",
    "0012",
    "1e5",
    "NULL",
    "nan",
)
"""Words of an event as people write them, and as a spreadsheet would misread them."""


def pack(desk: Desk, *, seed: int = 1, corrections: int = 40) -> None:
    """Fill a book, correct it at random, and write down what is hard to carry."""
    fill(desk)
    corrector = Corrector(desk, random.Random(seed))  # noqa: S311 - seeded corrections need no cryptography
    for _ in range(corrections):
        corrector.step()
    silence(desk.book, "off_scale", "A1", "=old scale", by="'KL")
    for at, words in enumerate(UNUSUAL):
        values = {"block": "A2", "date": f"2022-08-{at + 1:02}", "what": "hail", "words": words}
        add_record(desk.book, "event", values, by="@RM")
    amend(desk.book, "event", "A2/2022-08-01/hail", {"words": "'=2"}, reason="+typo", by="RM")
    strike(desk.book, "event", "A2/2022-08-02/hail", reason="=typo", by="RM")
    sheets: dict[str, Sequence[Sequence[object]]] = {
        "event": [("block", "date", "what"), ("A2", "2022-09-01", "hail"), ("A1", "2022-09-02", "hail")],
        "consignee": [("name",), ("Bell Lane Cellar",)],
    }
    desk.load(desk.write("=counts.xlsx", workbook(sheets)))


def told(where: str) -> tuple[list[dict[str, Any]], str, int, int]:
    """Give what a book tells: figures as JSON would hold them, seal, entries and rows; it must verify."""
    book = open_book(where)
    report = verify(book)
    assert report.differences == []
    known = json.loads(json.dumps([asdict(figure) for figure in figures(book)]))
    return known, report.seal, report.entries, report.rows


def contents(folder: Path) -> dict[str, bytes]:
    """Give every file of a folder by its path within it."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
