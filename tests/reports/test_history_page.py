"""The HTML of a history, against kept pages.

To renew the kept pages after a change that is meant: `RENEW_GOLDEN=1 pytest tests/reports`, then read
the difference before it is committed.
"""

from __future__ import annotations

import dataclasses
import os
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.reports import histories
from vinebook.reports.history import history_html, history_page

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units

GOLDEN = Path(__file__).parent / "golden"
PROGRAM = "vinebook 0"
KEPT: tuple[tuple[str, Units], ...] = (
    ("twelve", "metric"),
    ("hostile", "us"),
    ("none", "metric"),
    ("pending", "metric"),
)


def compare(path: Path, text: str) -> None:
    if os.environ.get("RENEW_GOLDEN"):
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


@pytest.mark.parametrize(("name", "units"), KEPT)
def test_the_page_is_as_it_was_kept(name: str, units: Units) -> None:
    compare(GOLDEN / f"{name}-{units}.html", history_html(histories.ALL[name](), units=units, program=PROGRAM))


@pytest.mark.parametrize("chart", ["nodes_per_vine.svg", "yield_to_prunings.svg", "positions-0.svg"])
def test_a_chart_is_as_it_was_kept(chart: str) -> None:
    compare(GOLDEN / f"twelve-{chart}", history_page(histories.twelve_seasons(), program=PROGRAM).images[chart] + "\n")


class Outline(HTMLParser):
    """What a page is made of: its elements, images, and headings of tables without a scope."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: set[str] = set()
        self.images: list[dict[str, str | None]] = []
        self.without_scope = 0
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        if tag == "img":
            self.images.append(dict(attrs))
        if tag == "th" and not dict(attrs).get("scope"):
            self.without_scope += 1

    def handle_data(self, data: str) -> None:
        self.text += data


def test_names_that_carry_markup_are_text() -> None:
    page = Outline(history_html(histories.hostile()))
    assert "<b>Bench</b> & <img src='file:///etc/passwd'> \"x\" {{7*7}}" in page.text
    assert all((image["src"] or "").startswith("vb:") for image in page.images)
    assert not page.elements & {"script", "link", "object", "embed", "iframe", "a"}


def test_the_escaping_check_can_fail() -> None:
    page = Outline("<p><img src='file:///etc/passwd'></p>")
    assert not all((image["src"] or "").startswith("vb:") for image in page.images)


@pytest.mark.parametrize("name", list(histories.ALL))
def test_a_page_can_be_read_aloud(name: str) -> None:
    page = history_page(histories.ALL[name]())
    outline = Outline(page.html)
    assert outline.without_scope == 0
    assert '<html lang="en">' in page.html
    assert all(image["alt"] for image in outline.images)
    assert {f"vb:{name}" for name in page.images} == {image["src"] for image in outline.images}


def test_a_chart_says_what_it_shows() -> None:
    alts = [image["alt"] or "" for image in Outline(history_html(histories.twelve_seasons())).images]
    assert re.match(r"Yield to prunings by season in kg/kg: first [\d.]+ in 2013, last [\d.]+ in 2023", alts[3])
    assert alts[3].endswith("Pending: 2024.")


def test_no_number_stands_for_a_value_that_is_missing() -> None:
    html = history_html(histories.twelve_seasons())
    row = re.search(r'<th scope="row">2019</th>(.*?)</tr>', html)
    assert row
    cells = re.findall(r"<td[^>]*>([^<]*)", row[1])
    assert set(cells) == {"–"}
    assert row[1].count('<span class="mark">a</span>') == len(cells)


def test_cautions_stand_beside_the_work_they_concern() -> None:
    html = history_html(histories.twelve_seasons())
    picking, pruning = html.index("Counting, thinning and picking."), html.index("<b>Pruning.</b>")
    assert html.index("<h2>Season by season</h2>") < picking < html.index('<b class="h">Crop and wood</b>')
    assert html.index("<h2>Pruning visits</h2>") < pruning
    for words in (
        "Heat kills",
        "re-entry",
        "this book holds no sprays",
        "licensed advice",
        "Wound disease",
        "powered tools",
    ):
        assert words in html


def test_the_last_page_says_how_to_check_it() -> None:
    text = Outline(history_html(histories.twelve_seasons(), program=PROGRAM)).text
    assert "vinebook verify --seal" in text
    assert "at entry 418 of its journal" in text
    assert "3 February 2025" in text.replace("\u00a0", " ")
    assert histories.SEAL in re.sub(r"\s", "", text)


def test_units_of_the_other_system_do_not_appear() -> None:
    us = Outline(history_html(histories.five_seasons(), units="us")).text
    body = us[: us.index("Appendix: how each figure")].replace("\u00a0", " ")
    assert "ton/acre" in body
    assert not re.search(r"\d (kg|m|ha|t|t/ha|kg/m)\b", body)
    assert "per metre" not in body
    assert "Prunings per foot" in body


def test_what_figures_say_together_names_its_sources_and_orders_nothing() -> None:
    text = Outline(history_html(histories.twelve_seasons())).text.replace("\u00a0", " ")
    start = text.index("What the figures of 2023 say together")
    said = text[start : text.index("What made the crop")]
    assert "vine size and crop go together (Kliewer & Dokoozlian 2005)" in said
    assert "Sources conflict on yield to prunings" in said
    assert not re.search(r"\b(should|must|need to|prune to|thin to|leave)\b", said)
    assert "What the figures" not in Outline(history_html(histories.no_seasons())).text


def test_what_stays_with_the_block_before_is_not_called_uncounted() -> None:
    told = histories.five_seasons()
    kept = tuple(f for f in told.figures if f.season >= 2022 or f.figure not in ("crop", "yield_per_ha"))
    taken = dataclasses.replace(told, from_season=2022, figures=kept)
    text = Outline(history_html(taken)).text
    assert "not carried over: it stays with the block before this one" in text
    assert "not carried over: it stays" not in Outline(history_html(dataclasses.replace(told, figures=kept))).text
