"""The words that a page prints beside its numbers print the rows behind them."""

from __future__ import annotations

import csv
import html
import io
import re
import shlex
import shutil
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from tests.audit.trails import settle
from tests.desk import Desk
from vinebook.cli import vinebook
from vinebook.pages import page_of
from vinebook.reports.wanted import Wanted
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from pathlib import Path

ODD = "B/2 'x' $(id)"
TICKET = '7/1 "b"'
WITHOUT_GLYPHS = "北坡"


@pytest.fixture(scope="module")
def desk(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Give an estate with a block and a ticket of odd names; tests only read it."""
    folder = tmp_path_factory.mktemp("followed")
    made = settle(Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder))
    made.load_texts(
        block_odd=f'vineyard,code,from_season\nLow Terrace,"{ODD}",2015\n',
        load_odd='date,issuer,number,basis,net,consignee\n2023-09-20,Bridge,"7/1 ""b""",net_as_given,900,Mill House\n',
        part_odd='issuer,season,number,block,picked\nBridge,2023,"7/1 ""b""","' + ODD + '",hand\n',
        close_odd=f'block,finished_on,fruit_left,fruit_left_by\n"{ODD}",2023-09-25,0,weighed\n',
        block_han=f"vineyard,code,from_season\nLow Terrace,{WITHOUT_GLYPHS},2015\n",
        planting_han="block,from_season,cultivar,year_planted,row_spacing,vine_spacing,positions\n"
        f"{WITHOUT_GLYPHS},2015,Grey Hen,2012,2.5,1.5,500\n",
        load_han="date,issuer,number,basis,net,consignee\n2024-09-20,Bridge,坡1,net_as_given,700,Mill House\n",
        part_han=f"issuer,season,number,block,picked\nBridge,2024,坡1,{WITHOUT_GLYPHS},hand\n",
        close_han=f"block,finished_on,fruit_left,fruit_left_by\n{WITHOUT_GLYPHS},2024-09-25,0,weighed\n",
    )
    return made


def words_on(desk: Desk, wanted: Wanted) -> tuple[str, list[str]]:
    """Give the page's text and the commands on it, as one types them."""
    with desk.book.reading() as connection:
        page = html.unescape(page_of(connection, wanted).html)
    return page, re.findall(r"<b>(vinebook (?:figures|trail|show) .*?)</b>", page)


def run(desk: Desk, *words: str) -> str:
    """Run words after `vinebook` and give what they print."""
    done = CliRunner().invoke(vinebook, ["--book", desk.url, "--by", "KL", *words])
    assert done.exit_code == 0, done.output
    return done.stdout


def printed(desk: Desk, command: str, *options: str) -> str:
    """Run a command of a page and give what it prints."""
    program, *words = shlex.split(command)
    assert program == "vinebook"
    return run(desk, *options, *words)


def rows_of(desk: Desk, command: str) -> list[dict[str, str]]:
    """Run a command of a page and give its rows."""
    return list(csv.DictReader(io.StringIO(printed(desk, command, "--format", "csv"))))


def signs_typed(words: list[str]) -> set[str]:
    """Give the signs of commands that no Latin keyboard has."""
    return {sign for command in words for sign in command if not sign.isascii()}


def test_a_code_that_the_faces_lack_is_followed_by_its_permanent_number(desk: Desk) -> None:
    _, trail = words_on(desk, Wanted("trail", (WITHOUT_GLYPHS,)))
    assert run(desk, "trail", WITHOUT_GLYPHS, "--rows") == printed(desk, trail[1])
    _, history = words_on(desk, Wanted("history", (WITHOUT_GLYPHS,)))
    assert "_han.csv" in printed(desk, history[0])
    wanted = Wanted("statement", (WITHOUT_GLYPHS,), to="Mill House", season=2024, shows=("yield",))
    _, statement = words_on(desk, wanted)
    assert "700 kg" in printed(desk, statement[0])
    assert "_han.csv" in printed(desk, statement[1])
    _, overview = words_on(desk, Wanted("overview", (WITHOUT_GLYPHS,), season=2024))
    assert "_han.csv" in printed(desk, overview[0])
    assert signs_typed([*trail, *history, *statement, *overview]) == set()


@pytest.mark.parametrize("block", ["A1", ODD])
def test_the_words_of_a_history_print_the_rows_of_every_figure_that_it_names(desk: Desk, block: str) -> None:
    page, [command] = words_on(desk, Wanted("history", (block,)))
    assert "wood2024.csv" in printed(desk, command) if block == "A1" else "load_odd.csv" in printed(desk, command)
    names = set(re.findall(r" Name: (\w+)\.</p>", page))
    assert names
    assert names <= set(FIGURES)
    for name in names:
        asked = re.sub(r"--figure \w+", f"--figure {name}", command)
        assert any(row["file"] for row in rows_of(desk, asked)), name


def test_the_words_of_an_overview_print_the_rows_behind_its_columns(desk: Desk) -> None:
    page, [command] = words_on(desk, Wanted("overview", season=2022))
    assert any(row["file"] == "wood2023.csv" for row in rows_of(desk, command))
    said = page[page.index("The names of the columns") :]
    names = re.findall(r"<b>(\w+)</b>", said)
    assert set(names) <= set(FIGURES)
    asked = re.sub(r"--figure \w+", " ".join(f"--figure {name}" for name in names), command)
    assert {row["figure"] for row in rows_of(desk, asked) if row["file"]} <= set(names)


def test_the_words_of_a_statement_print_its_tickets_and_figures(desk: Desk) -> None:
    plain = Wanted("statement", to="Mill House", season=2023)
    _, [ticket] = words_on(desk, plain)
    assert "load2023.csv" in printed(desk, ticket)
    _, [_, figure] = words_on(desk, Wanted("statement", to="Mill House", season=2023, shows=("balance",)))
    assert any(row["file"] for row in rows_of(desk, figure))
    _, [odd] = words_on(desk, Wanted("statement", (ODD,), to="Mill House", season=2023))
    assert "load_odd.csv" in printed(desk, odd)
    assert TICKET in printed(desk, odd)


@pytest.mark.parametrize("block", ["A1", ODD])
def test_the_words_of_a_trail_print_the_trail_of_its_block(desk: Desk, block: str) -> None:
    _, words = words_on(desk, Wanted("trail", (block,)))
    assert words[0] == "vinebook show '#47'"
    assert block in printed(desk, words[1]).splitlines()[0]


def test_a_stroke_of_a_code_may_be_written_once_or_as_in_a_key_twice(desk: Desk) -> None:
    assert run(desk, "trail", ODD) == run(desk, "trail", ODD.replace("/", "//"))
    assert "900 kg" in run(desk, "trail", 'Bridge/2023/7//1 "b"')
