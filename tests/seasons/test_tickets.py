"""Weigh tickets summed: exact, in proportion over parts, and in balance."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from vinebook.api import load, open_book
from vinebook.kinds.examples import EXAMPLES
from vinebook.seasons.tickets import GROUPINGS, NOT_SPLIT, Delivered, Grouping, delivered

if TYPE_CHECKING:
    from pathlib import Path

    from vinebook.records.book import Book

LOADS = """date,issuer,number,basis,gross [kg],tare [kg],net [kg],deductions [kg],refused [kg],refused_reason,consignee
2024-09-23,Scale,1,gross_and_tare,3000,1000,2000,20,100,rot,Bell Lane Cellar
2024-09-24,Scale,2,net_as_given,,,1000,,,,
2024-09-24,Scale,3,net_as_given,,,500,,,,Bell Lane Cellar
"""
PARTS = """issuer,season,number,block,pick,mass [kg],split,picked
Scale,2024,1,A1,1,1500,weighed,hand
Scale,2024,1,A0,1,500,weighed,hand
Scale,2024,2,A1,2,,whole,hand
"""


@pytest.fixture
def book(tmp_path: Path, sqlite_book: str) -> Book:
    texts = {name: EXAMPLES[name] for name in ("vineyard", "block", "consignee")}
    texts |= {"load": LOADS, "load_part": PARTS}
    files = []
    for name, text in texts.items():
        files.append(tmp_path / f"{name}.csv")
        files[-1].write_text(text, encoding="utf-8")
    opened = open_book(sqlite_book)
    load(opened, files, by="test")
    return opened


def sums(book: Book, by: Grouping, blocks: list[str] | None = None) -> dict[str, Delivered]:
    with book.reading() as connection:
        records = None
        if blocks is not None:
            from vinebook.kinds import KINDS
            from vinebook.records.keys import find_record

            records = [find_record(connection, KINDS["block"], code) for code in blocks]
        return {one.group: one for one in delivered(connection, by, blocks=records)}


def test_what_is_picked_is_accepted_refused_or_deducted(book: Book) -> None:
    by_ticket = sums(book, "ticket")
    assert by_ticket["Scale 1"].picked_kg == 2000
    assert by_ticket["Scale 1"].refused_kg == 100
    assert by_ticket["Scale 1"].deducted_kg == 20
    assert by_ticket["Scale 1"].accepted_kg == 1880


def test_refused_mass_is_shared_over_the_parts_of_a_load(book: Book) -> None:
    by_block = sums(book, "block")
    assert by_block["A0"].refused_kg == Fraction(100) / 4
    assert by_block["A1"].picked_kg == 1500 + 1000
    assert by_block["A1"].refused_kg == 75


def test_a_load_that_no_part_names_stands_apart(book: Book) -> None:
    assert sums(book, "block")[NOT_SPLIT].picked_kg == 500


def test_every_grouping_has_the_same_balance(book: Book) -> None:
    for by in GROUPINGS:
        found = sums(book, by).values()
        assert sum(one.picked_kg for one in found) == 3500, by
        assert sum(one.accepted_kg for one in found) == 3380, by


def test_a_block_shows_only_its_shares(book: Book) -> None:
    assert {name: one.picked_kg for name, one in sums(book, "pick", ["A1"]).items()} == {
        "A1 pick 1": 1500,
        "A1 pick 2": 1000,
    }
    assert sums(book, "consignee", ["A0"])["Bell Lane Cellar"].picked_kg == 500
