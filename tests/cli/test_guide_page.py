"""Pages of the guide on a terminal: nothing but examples runs over its width, and nothing is lost."""

from __future__ import annotations

import re

import pytest

from vinebook.cli.guide_page import on_screen
from vinebook.resources import guide_folder

PAGES = sorted(path.stem for path in guide_folder().glob("*.md"))
EIGHTY = 80


def page(name: str) -> str:
    return (guide_folder() / f"{name}.md").read_text(encoding="utf-8")


def verbatim(text: str) -> set[str]:
    """Give the lines between fences, and those indented by four."""
    fenced = {line for part in text.split("```")[1::2] for line in part.splitlines()}
    return fenced | {line for line in text.splitlines() if line.startswith("    ")}


@pytest.mark.parametrize("name", PAGES)
def test_every_line_fits_but_what_is_shown_as_it_is(name: str) -> None:
    text = page(name)
    too_wide = [line for line in on_screen(text, EIGHTY).splitlines() if len(line) > EIGHTY]
    assert set(too_wide) <= verbatim(text)


@pytest.mark.parametrize("name", PAGES)
def test_no_word_is_lost(name: str) -> None:
    def words(text: str) -> list[str]:
        return sorted("".join(sign for sign in text if sign.isalnum()))

    without_languages = re.sub(r"```\w+", "```", page(name))
    assert words(on_screen(page(name), EIGHTY)) == words(without_languages)


def test_a_paragraph_is_filled_and_a_list_hangs() -> None:
    told = on_screen("# Vines\n\none two three\nfour\n\n- five six seven\n  eight\n- nine\n", 12)
    assert told == "Vines\n═════\n\none two\nthree four\n\n- five six\n  seven\n  eight\n- nine\n"


def test_a_table_keeps_its_columns_apart() -> None:
    told = on_screen("| a | b |\n|---|---|\n| one two three | four |\n| five | six |\n", 14)
    assert told == "a         b\n────────  ────\none two   four\nthree\n\nfive      six\n"


def test_a_drawing_stays_as_it_is() -> None:
    assert (
        on_screen("Look:\n```\n ┃ 1   2\n\n ┃ ●\n```\nand go on.\n", 20) == "Look:\n\n ┃ 1   2\n\n ┃ ●\n\nand go on.\n"
    )
