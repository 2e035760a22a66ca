"""How the figures are read: from covering indexes, the same on both databases."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import event

from tests.seasons.books import Book
from vinebook.records.engine import engine_for
from vinebook.seasons.arrays import season_arrays
from vinebook.seasons.carried import figures_with_carried
from vinebook.seasons.measures import (
    cluster_tally_measures,
    pruned_vine_counts,
    pruned_vine_measures,
    row_statement,
    shoot_tally_measures,
    vine_harvest_measures,
)
from vinebook.seasons.places import read_blocks
from vinebook.seasons.samples import read_samples

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from vinebook.seasons.model import Figure

HOT = {
    "pruned_vine": (pruned_vine_measures(), pruned_vine_counts()),
    "shoot_tally": (shoot_tally_measures(), ()),
    "cluster_tally": (cluster_tally_measures(), ()),
    "vine_harvest": (vine_harvest_measures(), ()),
}


def steps_of(book: Book, sql: str, parameters: object = ()) -> list[str]:
    """Give the steps of SQLite's plan of a query."""
    raw = book.connection.connection.driver_connection
    assert raw is not None
    return [row[3] for row in raw.execute(f"EXPLAIN QUERY PLAN {sql}", parameters)]


@pytest.mark.parametrize("kind", HOT)
def test_hot_aggregates_read_the_covering_index_alone(book: Book, kind: str) -> None:
    blocks = read_blocks(book.connection, None)
    samples = read_samples(book.connection, blocks, None)
    measures, more = HOT[kind]
    seen: list[tuple[str, object]] = []
    listen(book, lambda _c, _cursor, sql, parameters, *_: seen.append((sql, parameters)))
    book.connection.execute(row_statement(kind, measures, samples, more))
    steps = steps_of(book, *seen[0])
    assert [step for step in steps if kind in step] == [f"SCAN {kind} USING COVERING INDEX ix_{kind}_figures"]
    assert "CO-ROUTINE unit" in steps


def test_the_guard_on_covering_indexes_can_fail(book: Book) -> None:
    assert "COVERING" not in " ".join(steps_of(book, "SELECT sample, sum(line) FROM cluster_tally GROUP BY sample"))


def test_one_block_reads_no_table_from_end_to_end(book: Book) -> None:
    block = filled(book)
    seen: list[tuple[str, object]] = []

    listen(book, lambda _c, _cursor, sql, parameters, *_: seen.append((sql, parameters)))
    season_arrays(book.connection, [block], None)
    scanned = [
        step
        for sql, parameters in seen
        for step in steps_of(book, sql, parameters)
        if step.startswith("SCAN") and step not in ("SCAN unit", "SCAN vineyard")
    ]
    assert len(seen) > 10
    assert scanned == []


def test_the_number_of_queries_does_not_grow_with_blocks(book: Book) -> None:
    filled(book)
    seen: list[str] = []
    listen(book, lambda *given: seen.append(given[2]))
    season_arrays(book.connection, None, None)
    few = len(seen)
    for number in range(5):
        filled(book, f"X{number}")
    seen.clear()
    season_arrays(book.connection, None, None)
    assert len(seen) == few


def listen(book: Book, hear: Callable[..., None]) -> None:
    """Hear every statement on the book's connection."""
    event.listen(book.connection, "before_cursor_execute", hear)


def filled(book: Book, code: str = "A1") -> int:
    """Make a block with something of every kind."""
    block = book.block(code, positions=300)
    for kind, date, rows in (
        ("shoot_tally", "2019-05-01", {"count_shoots": 36, "double_shoots": 8, "noncount_shoots": 6, "blind_nodes": 4}),
        ("cluster_tally", "2019-07-01", {"clusters": 40}),
        ("vine_harvest", "2019-09-10", {"mass_mg": 5_000_000, "clusters": 40}),
    ):
        panels: dict[str, Any] = {"chosen": "panels", "panel_size": 2} if kind == "cluster_tally" else {}
        sample = book.sample(block, 2019, kind, date, **panels)
        book.vines(kind, sample, [{name: value + step for name, value in rows.items()} for step in range(6)])
    sample = book.sample(block, 2019, "node_tally", "2019-05-20")
    for vine in (1, 2, 3):
        book.add(
            "node_tally",
            sample=sample,
            row=1,
            vine=vine,
            bearer="spur",
            bearer_number=1,
            position=1,
            shoots=1,
            clusters=vine,
        )
    sample = book.sample(block, 2019, "cluster_lot", "2019-09-10")
    for lot in (1, 2):
        book.add(
            "cluster_lot",
            sample=sample,
            stage="harvest",
            lot=lot,
            clusters=40,
            mass_mg=4_000_000 + lot,
            berries=100,
            berry_mass_mg=130_000,
        )
    book.wood(block, 2020, [1.0, 1.1, 0.9, 1.2, 0.8, 1.0], "2020-01-10")
    book.load({block: None}, 2018, "2018-09-20", 2000, soluble_solids_brix=23.0, refused_milli=10_000)
    book.close(block, 2018, "2018-09-25")
    return block


@pytest.fixture
def server_book(postgresql_book: str) -> Iterator[Book]:
    with engine_for(postgresql_book).connect() as connection:
        yield Book(connection)
        connection.rollback()


@pytest.mark.postgresql
def test_postgresql_gives_the_same_figures(book: Book, server_book: Book) -> None:
    here, there = (made.figures(filled(made)) for made in (book, server_book))
    assert len(here) == len(there) > 50
    for one, other in zip(here, there, strict=True):
        assert_same(one, other)


@pytest.mark.postgresql
def test_postgresql_gives_the_same_figures_of_a_merger(book: Book, server_book: Book) -> None:
    told = []
    for made in (book, server_book):
        earlier = [filled(made, code) for code in ("A1", "B1")]
        merged = made.block("C1", from_season=2020)
        made.connection.exec_driver_sql(f"UPDATE planting SET year_planted = 2020 WHERE block = {merged}")
        made.load({merged: None}, 2022, "2022-09-20", 2000, picked="machine")
        for block in earlier:
            made.add("predecessor", block=merged, predecessor=block, how="merger")
        told.append(list(figures_with_carried(made.connection, [merged], None)))
    here, there = told
    assert len(here) == len(there) > 50
    assert any(figure.value is not None and figure.season < 2020 for figure in here)
    for one, other in zip(here, there, strict=True):
        assert_same(one, other)


def assert_same(one: Figure, other: Figure) -> None:
    """Compare two figures, numbers within the last bits."""
    for name in ("value", "low", "high"):
        first, second = getattr(one, name), getattr(other, name)
        assert (first is None) == (second is None)
        assert first is None or math.isclose(first, second, rel_tol=1e-12)
    assert (one.figure, one.season, one.n, one.note, one.status) == (
        other.figure,
        other.season,
        other.n,
        other.note,
        other.status,
    )
