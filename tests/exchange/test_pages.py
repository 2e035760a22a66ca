"""The guide's pages of the kinds are what the definitions say, and their examples load."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import pytest

from vinebook.api import load, open_book, verify
from vinebook.audit.check import RULES
from vinebook.exchange.pages import BY_SEASON, INDEX, WIDTH, kind_pages, kinds_page
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.examples import EXAMPLES
from vinebook.kinds.form import tally_fields
from vinebook.resources import guide_folder

if TYPE_CHECKING:
    from pathlib import Path

RENEW = "run `python -m tests.exchange.test_pages` to write the pages anew"


@pytest.mark.parametrize("name", list(kind_pages()))
def test_the_page_of_a_kind_is_current(name: str) -> None:
    assert (guide_folder() / name).read_text(encoding="utf-8") == kind_pages()[name], RENEW


def test_no_page_is_left_of_a_kind_that_is_gone() -> None:
    assert {path.name for path in guide_folder().glob("kind-*.md")} == set(kind_pages())


def test_the_list_of_kinds_is_current_and_names_each_once() -> None:
    assert (guide_folder() / INDEX).read_text(encoding="utf-8") == kinds_page(), RENEW
    assert sorted(name for names in BY_SEASON.values() for name in names) == sorted(LOADED_KINDS)


@pytest.mark.parametrize("name", list(LOADED_KINDS))
def test_a_page_tells_every_column_with_its_choices_and_fits_a_terminal(name: str) -> None:
    page = kind_pages()[f"kind-{name}.md"]
    text, example = page.split("## An example")
    assert max(len(line) for line in text.splitlines()[1:]) <= WIDTH
    for field in tally_fields(LOADED_KINDS[name]):
        assert f"- **{field.name}**" in text
        assert all(f"`{word}`" in text for word in field.choices), field.name
        assert not field.metric or f"**{field.name}** [{field.metric}]" in " ".join(text.split())
    assert EXAMPLES[name] in example


def test_the_pages_of_what_is_cut_say_who_may_take_the_tools() -> None:
    told = {name for name in LOADED_KINDS if "shown how" in kind_pages()[f"kind-{name}.md"]}
    assert told == {"pruning_visit", "pruned_vine", "bud_sample", "canopy_work", "cluster_lot", "vine_harvest"}


def test_a_page_says_range_default_key_and_what_must_hold() -> None:
    told = {name: " ".join(page.split()) for name, page in kind_pages().items()}
    pruned, load_part = told["kind-pruned_vine.md"], told["kind-load_part.md"]
    assert "**prunings** [kg] or [lb]: Mass of one-year-old canes cut from this vine. Number, 0 kg or more," in pruned
    assert "usually 0 to 8 kg." in pruned
    assert "Empty means bearing." in pruned
    assert "`panel_size` filled where `chosen` is `panels`." in pruned
    assert "Number, 0 cm or more, usually 0 to 400 cm." in told["kind-bearer.md"]
    assert "Letters L, C, S. Empty means G." in told["kind-canopy_probe.md"]
    assert "**season**: Harvest year of the load." in load_part
    assert "A missing or dead vine has no wood: `nodes_on_spurs`, `nodes_on_canes`," in pruned
    assert "`prunings` empty or 0 where `state` is `missing` or `dead`." in pruned
    assert "as `vinebook list load_part` prints it, joined by /: issuer / season / number / block / pick." in load_part


def test_the_example_of_a_silence_names_a_rule_that_there_is() -> None:
    rows = csv.DictReader(EXAMPLES["silence"].splitlines())
    assert {row["rule"] for row in rows} <= set(RULES)


def test_the_examples_of_all_kinds_load_together(tmp_path: Path, sqlite_book: str) -> None:
    files = []
    for name in reversed(LOADED_KINDS):
        path = tmp_path / f"{name}.csv"
        path.write_text(EXAMPLES[name], encoding="utf-8")
        files.append(path)
    book = open_book(sqlite_book)
    report = load(book, files, by="test")
    assert {tally.kind for tally in report.tallies} == set(LOADED_KINDS)
    assert report.warnings == []
    assert verify(book).differences == []


if __name__ == "__main__":
    for page, text in kind_pages().items():
        (guide_folder() / page).write_text(text, encoding="utf-8")
    (guide_folder() / INDEX).write_text(kinds_page(), encoding="utf-8")
