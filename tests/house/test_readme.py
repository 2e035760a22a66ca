"""README says what the commands print, and the guide names every figure."""

from __future__ import annotations

import re

from tests.house.readme import TOP, printed_anew, steady
from vinebook.seasons.catalogue import FIGURES


def test_readme_shows_what_the_commands_print() -> None:
    readme = (TOP / "README.md").read_text(encoding="utf-8")
    assert readme.count("```console") > 3
    assert steady(printed_anew(readme)) == steady(readme)


def test_a_changed_output_would_be_noticed() -> None:
    readme = "```console\n$ vinebook --version\nvinebook 0.0.0\n```"
    assert steady(printed_anew(readme)) != steady(readme)


def test_the_guide_names_every_figure() -> None:
    page = (TOP / "vinebook" / "guide" / "figures.md").read_text(encoding="utf-8")
    named = re.findall(r"^\| (\w+) \|", page, re.MULTILINE)
    assert [name for name in named if name != "figure"] == list(FIGURES)
