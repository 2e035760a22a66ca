"""Books that several tests of reports only read, each made once."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from tests.desk import Desk
from tests.reports.trail_pages import tell_a_story

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="session")
def story_desk(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Give the book whose decisions were met, missed, superseded and wait."""
    folder = tmp_path_factory.mktemp("story")
    return tell_a_story(Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder))
