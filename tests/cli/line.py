"""A command line that runs in this process on the book of a desk."""

from __future__ import annotations

from typing import TYPE_CHECKING

from click.testing import CliRunner

from vinebook.cli import vinebook

if TYPE_CHECKING:
    from click.testing import Result

    from tests.desk import Desk


class Line:
    """A command line with a book."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def run(self, *words: str, status: int = 0) -> Result:
        """Run a command in this process."""
        done = CliRunner().invoke(vinebook, ["--book", self.desk.url, "--by", "RM", *words], prog_name="vinebook")
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == status, done.output
        return done
