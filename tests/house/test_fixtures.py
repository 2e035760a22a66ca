"""The fixtures give a new book on each database, and each test its own."""

from __future__ import annotations

from sqlalchemy import inspect, text

from vinebook.records.engine import engine_for
from vinebook.records.schema import HEAD, make_book, schema_of


def test_a_new_book_is_of_the_newest_schema(book_url: str) -> None:
    engine = engine_for(book_url)
    with engine.connect() as connection:
        assert schema_of(connection) == HEAD
        assert connection.scalar(text("SELECT count(*) FROM entry")) == 1
        assert connection.scalar(text("SELECT count(*) FROM block")) == 0
    engine.dispose()


def test_a_book_can_be_made_where_there_is_none(empty_url: str) -> None:
    seal = make_book(empty_url, by="KL")
    engine = engine_for(empty_url)
    with engine.connect() as connection:
        assert inspect(connection).has_table("cluster_tally")
        assert connection.scalar(text("SELECT hash FROM entry")) == seal
    engine.dispose()
