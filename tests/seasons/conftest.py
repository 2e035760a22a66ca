"""A book in memory for every test of the seasons floor."""

from collections.abc import Iterator

import pytest

from tests.seasons.books import Book, new_book


@pytest.fixture
def book() -> Iterator[Book]:
    with new_book() as made:
        yield made
