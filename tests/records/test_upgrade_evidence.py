"""A book of schema 0002 gets the table of evidence, and all else stays what it was.

`book_0002.db.gz` was made by the program of schema 0002: the tallies of `demo/first`, a draw of twelve vines, a
decision by `add`, and an amended count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.records.test_drift import shape_at
from tests.records.test_upgrades import copy_to, figures_of, kept, migrate_to, rows_of
from vinebook.api import trail, verify
from vinebook.audit.deciding import Choice, decide
from vinebook.records.book import Book
from vinebook.records.schema import HEAD, make_book, upgrade_book

if TYPE_CHECKING:
    from pathlib import Path

SCHEMA = "0002"
SEAL = "5102377b4b2d31392739f1048a5b05be6a008be66f4032b88bf6e067d97ae7c2"
FIGURES = {
    ("budbreak", 2024): 91.4027149321267,
    ("clusters_per_vine", 2024): 25.9,
    ("yield_to_prunings", 2024): 4.726873180362979,
}
"""What the program of that schema printed of its book."""


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def old_book(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Give the kept book, in a file and on a server."""
    path = kept(SCHEMA, tmp_path)
    if request.param == "sqlite":
        return path
    url = str(request.getfixturevalue("postgresql_empty"))
    migrate_to(url, SCHEMA)
    copy_to(url, rows_of(path))
    return url


def test_it_verifies_against_its_old_seal_and_decides_with_evidence_from_then_on(old_book: str) -> None:
    assert upgrade_book(old_book, by="KL") == (SCHEMA, HEAD)
    book = Book(old_book)
    report = verify(book, seal=SEAL)
    assert report.differences == []
    assert (report.entries, report.tallies, report.rows) == (22, 19, 107)
    found = figures_of(old_book)
    assert {of: found[of] for of in FIGURES} == pytest.approx(FIGURES, rel=1e-6)
    choice = Choice("nodes_to_keep", "26 nodes", "strong wood", "26", decided_on="2025-01-22")
    decide(book, "A1", 2025, choice, by="KL")
    earlier, later = trail(book, ["A1"]).decisions
    assert (earlier.source.key, earlier.evidence) == ("A1/2025/1", ())
    assert later.source.key == "A1/2025/2"
    assert {one.then.figure: one.then.value for one in later.evidence if one.then.season == 2024}[
        "yield_to_prunings"
    ] == pytest.approx(FIGURES["yield_to_prunings", 2024])
    assert verify(book).differences == []


def test_every_row_of_a_book_in_a_file_stays_as_it_was(tmp_path: Path) -> None:
    path = kept(SCHEMA, tmp_path)
    before = rows_of(path)
    upgrade_book(path, by="KL")
    after = rows_of(path)
    assert {name: after[name] for name in before} == before
    assert {name: after[name] for name in set(after) - set(before)} == {"evidence": []}
    make_book(f"{path}.new", by="KL")
    assert shape_at(path) == shape_at(f"{path}.new")
