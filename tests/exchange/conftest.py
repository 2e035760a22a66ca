"""A packed book and its package: made once, copied for each test."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk
from tests.exchange.packed import pack
from vinebook.api import export_package

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="session")
def packed_once(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder with a packed book and its package; both are to be copied."""
    folder = tmp_path_factory.mktemp("packed")
    desk = Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder)
    pack(desk)
    export_package(desk.book, folder / "out")
    return folder


@pytest.fixture
def packed(packed_once: Path, tmp_path: Path) -> Desk:
    """Give a packed book."""
    return Desk(str(shutil.copyfile(packed_once / "book.db", tmp_path / "book.db")), tmp_path)


@pytest.fixture
def package(packed_once: Path, tmp_path: Path) -> Path:
    """Give its package."""
    return shutil.copytree(packed_once / "out", tmp_path / "package")
