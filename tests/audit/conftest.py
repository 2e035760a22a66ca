"""A desk with a vineyard and two blocks, on each of the two databases."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk, places

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def empty_desk(book_url: str, tmp_path: Path) -> Desk:
    """Give a new book and a folder."""
    return Desk(book_url, tmp_path)


@pytest.fixture
def desk(empty_desk: Desk) -> Desk:
    """Give a book that holds a vineyard in the south with blocks A1 and A2."""
    places(empty_desk)
    return empty_desk
