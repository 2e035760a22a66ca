"""The guide's page for newcomers: its numbers are what the formulas say, its drawings fit a terminal."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest

from vinebook.formulas.balance import yield_to_prunings
from vinebook.formulas.nodes import all_shoots, budbreak_percent, count_nodes, shoots_per_node
from vinebook.quantities import DORMANT, GROWING, season_of
from vinebook.resources import guide_folder

PAGE = (guide_folder() / "first-season.md").read_text(encoding="utf-8")
WIDEST = 78
YEAR_BEFORE, YEAR = 2024, 2025


def table(heading: str) -> dict[str, float]:
    """Give the numbers of the table under a heading row, by what they are of."""
    lines = PAGE[PAGE.index(f"| {heading} |") :].split("\n\n")[0].splitlines()[2:]
    rows = (line.strip("| ").split(" | ") for line in lines)
    return {what.split(":")[0].strip(): float(number.removesuffix(" %")) for what, number in rows}


def test_the_four_shoot_counts_add_up_as_printed() -> None:
    told = table("a vine")
    count, double, noncount, blind = (
        told[f"{name}"] for name in ("count shoots", "double shoots", "non-count shoots", "blind nodes")
    )
    assert (told["count nodes"], blind, noncount, told["shoots to a hundred nodes"]) == (50, 7.6, 2.8, 100)
    assert count_nodes(count, blind) == pytest.approx(told["count nodes"])
    assert all_shoots(count, double, noncount) == pytest.approx(told["all shoots"])
    assert 100 * shoots_per_node(count, double, noncount, blind) == pytest.approx(told["shoots to a hundred nodes"])
    assert double == pytest.approx(4.8)
    assert np.round(budbreak_percent(count, blind), 1) == told["budbreak"]


def test_the_ratio_takes_the_wood_of_its_own_season() -> None:
    told = table("| kg a vine")
    crop = told["crop of 2024"]
    right = told["wood of 2024, weighed at the visit that sets 2025"]
    wrong = told["wood of 2023, weighed at the visit that sets 2024"]
    assert yield_to_prunings(crop, right) == pytest.approx(told["yield to prunings of 2024"])
    assert yield_to_prunings(crop, wrong) == pytest.approx(told["the wrong winter"])


def test_the_crop_is_what_was_delivered_refused_deducted_and_left() -> None:
    def of(name: str) -> int:
        found = re.search(rf"{name} ([\d,]+)", drawing)
        assert found, name
        return int(found[1].replace(",", ""))

    drawing = re.sub(" +", " ", PAGE.replace("refused", "refused "))
    net = of("by the tickets")
    assert of("delivered") + of("refused") + of("deducted") == net
    assert net + of("left") == of("crop")


@pytest.mark.parametrize("hemisphere", ["north", "south"])
def test_every_month_of_the_drawing_belongs_to_the_season_that_it_shows(hemisphere: str) -> None:
    head = next(line for line in PAGE.splitlines() if line.startswith("           M J J A"))
    drawn = next(line for line in PAGE.splitlines() if line.strip().startswith(hemisphere)).ljust(len(head))
    months = [at for at, sign in enumerate(head) if sign.isalpha()]
    assert len(months) == 20
    seen = ""
    for number, at in enumerate(months, 5):
        if drawn[at] == " ":
            continue
        seen += drawn[at]
        date = dt.date(YEAR_BEFORE + (number - 1) // 12, (number - 1) % 12 + 1, 15)
        assert season_of(date, hemisphere, DORMANT if drawn[at] == "P" else GROWING) == YEAR, date
    assert re.fullmatch("P+S+C+H+", seen)


def test_the_spur_has_the_counts_that_stand_below_it() -> None:
    drawing = PAGE[PAGE.index(" A SPUR AT PRUNING") : PAGE.index("This spur has")]
    words = " ".join(PAGE[PAGE.index("This spur has") :].split("\n\n")[0].split())
    for name, shown in (
        ("count_shoots", "   count shoot"),
        ("double_shoots", "double shoot"),
        ("noncount_shoots", "non-count shoot"),
        ("blind_nodes", "blind node"),
    ):
        assert f"`{name}` {drawing.count(shown)}" in words


def test_drawings_fit_a_terminal_of_eighty_columns() -> None:
    fenced = PAGE.split("```")[1::2]
    assert len(fenced) == 7
    assert max(len(line) for drawing in fenced for line in drawing.splitlines()) <= WIDEST
