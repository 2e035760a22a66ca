"""Numbers of options are within what can be; none of them reaches the book as a fault of the program."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from vinebook.cli import vinebook

GREAT = "9" * 30


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("figures", "--season", GREAT), "is not in the range 1800<=x<=2200"),
        (("tickets", "--season", GREAT), "is not in the range 1800<=x<=2200"),
        (("trail", "--from", GREAT), "is not in the range 1800<=x<=2200"),
        (("trail", "--season", GREAT), "is not in the range 1800<=x<=2200"),
        (("decide", "A1", "--season", GREAT), "is not in the range 1800<=x<=2200"),
        (("report", "overview", "--season", GREAT, "-o", "x.pdf"), "is not in the range 1800<=x<=2200"),
        (("report", "trail", "A1", "--season", GREAT, "-o", "x.pdf"), "is not in the range 1800<=x<=2200"),
        (("report", "statement", "--to", "X", "--season", GREAT, "-o", "x.pdf"), "is not in the range 1800<=x<=2200"),
        (("report", "statement", "--to", "X", "--share", "nan", "-o", "x.pdf"), "'nan' is not a number"),
        (("nodes", "A1", "--season", "2024", "--shoots-per-m", "nan"), "'nan' is not a number"),
    ],
    ids=lambda words: " ".join(words)[:40] if isinstance(words, tuple) else "",
)
def test_what_cannot_be_is_refused_as_words(words: tuple[str, ...], told: str) -> None:
    done = CliRunner().invoke(vinebook, list(words), prog_name="vinebook")
    assert done.exit_code == 2
    assert told in done.stderr
