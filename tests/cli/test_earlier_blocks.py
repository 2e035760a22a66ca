"""What `figures` and the printed history say of a block that came out of others."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from tests.desk import Desk
from vinebook.api import history, open_book
from vinebook.cli import vinebook
from vinebook.quantities import POUND_KG

if TYPE_CHECKING:
    from pathlib import Path

TALLIES = {
    "vineyard": "name,hemisphere\nStony Rise,north\n",
    "block": "vineyard,code,from_season,to_season\nStony Rise,A1,2000,2016\nStony Rise,B1,2000,2016\n"
    "Stony Rise,C1,2017,2018\nStony Rise,C2,2019,2020\nStony Rise,C3,2019,\nStony Rise,D1,2021,\nStony Rise,R1,2021,\n",
    "predecessor": "block,predecessor,how\nC1,A1,merger\nC1,B1,merger\nC2,C1,split\nC3,C1,split\nD1,C2,renaming\n"
    "R1,C2,replant\n",
    "planting": "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"
    "A1,2000,Grey Hen,2 m,1 m,600\nB1,2000,Grey Hen,2 m,1 m,400\nC1,2017,Grey Hen,2 m,1 m,1000\n"
    "C2,2019,Grey Hen,2 m,1 m,500\nD1,2021,Grey Hen,2 m,1 m,500\n",
    "training": "block,from_season,trained,pruned\nA1,2000,cordon,spur\nB1,2000,cordon,spur\nC1,2017,cordon,spur\n",
    "vine_census": "block,date,bearing,young,missing\nA1,2015-02-01,600,0,0\nB1,2015-02-01,400,0,0\n"
    "C1,2017-02-01,1000,0,0\nC2,2019-02-01,500,0,0\nD1,2021-02-01,500,0,0\n",
    "load": "date,issuer,number,basis,net\n2016-09-20,Scale,1,net_as_given,6000\n2016-09-21,Scale,2,net_as_given,1600\n"
    "2018-09-20,Scale,3,net_as_given,7000\n2020-09-20,Scale,4,net_as_given,3000\n2021-09-20,Scale,5,net_as_given,3500\n",
    "load_part": "issuer,number,season,block,split,picked\nScale,1,2016,A1,whole,hand\nScale,2,2016,B1,whole,hand\n"
    "Scale,3,2018,C1,whole,hand\nScale,4,2020,C2,whole,hand\nScale,5,2021,D1,whole,hand\n",
    "harvest_close": "block,finished_on\nA1,2016-09-25\nB1,2016-09-25\nC1,2018-09-25\nC2,2020-09-25\nD1,2021-09-25\n",
}


@pytest.fixture
def desk(book_url: str, tmp_path: Path) -> Desk:
    made = Desk(book_url, tmp_path)
    made.load_texts(**TALLIES)
    return made


def run(desk: Desk, *words: str) -> str:
    """Run a command in this process and give what it prints."""
    done = CliRunner().invoke(vinebook, ["--book", desk.url, "--by", "RM", *words], prog_name="vinebook")
    assert done.exit_code == 0, done.output
    return done.stdout


def figures(desk: Desk, *words: str, units: str = "metric") -> dict[tuple[int, str], dict[str, Any]]:
    """Give the figures JSON by season and name."""
    told = json.loads(run(desk, "--format", "json", "--units", units, "figures", *words))["figures"]
    return {(figure["season"], figure["figure"]): figure for figure in told}


def test_figures_go_through_a_merger_a_split_and_a_renaming(desk: Desk) -> None:
    found = figures(desk, "D1")
    notes = {season: figure["note"] for (season, name), figure in found.items() if name == "yield_per_vine"}
    assert notes == {
        2016: "carried over from blocks A1 and B1, by way of C1, by way of C2",
        2018: "carried over from block C1, of which this was a part, by way of C2",
        2020: "carried over from block C2, its earlier name",
        2021: "",
    }
    values = [found[season, "yield_per_vine"]["value"] for season in (2016, 2018, 2020, 2021)]
    assert values == pytest.approx([7.6, 7.0, 6.0, 7.0])
    assert {figure["block"] for figure in found.values()} == {"D1"}
    assert [season for season, name in found if name == "crop"] == [2021]


def test_the_table_says_of_which_block_a_figure_is(desk: Desk) -> None:
    told = run(desk, "figures", "C2", "--season", "2018", "--figure", "yield_per_vine")
    assert told.splitlines()[0].startswith("C2 2018 ")
    assert "7.0" in told
    assert "carried over from block C1, of which this was a part" in told


def test_a_merger_says_in_its_basis_what_it_is_weighted_by(desk: Desk) -> None:
    found = figures(desk, "C1", "--season", "2016")[2016, "yield_per_m"]
    assert found["value"] == pytest.approx(7.6)
    assert found["basis"] == "mean of the blocks before it, weighted by canopy: 60 % A1 and 40 % B1"


def test_a_replant_takes_nothing_over(desk: Desk) -> None:
    assert figures(desk, "R1") == {}


def test_us_units_are_the_same_figures(desk: Desk) -> None:
    us, metric = (figures(desk, "C1", units=units)[2016, "yield_per_vine"] for units in ("us", "metric"))
    assert us["unit"] == "lb"
    assert us["value"] == pytest.approx(metric["value"] / float(POUND_KG))


@pytest.mark.parametrize("code", ["C1", "C2", "D1"])
def test_the_history_holds_the_same_figures(desk: Desk, code: str) -> None:
    told = history(open_book(desk.url), code)
    by_cli = figures(desk, code)
    assert {(figure.season, figure.figure): figure.value for figure in told.figures if figure.pick is None} == {
        key: figure["value"] for key, figure in by_cli.items() if "pick" not in figure
    }
    assert told.seasons[0] == 2016


def test_csv_has_them_too(desk: Desk) -> None:
    told = run(desk, "--format", "csv", "figures", "D1", "--season", "2016", "--figure", "yield_per_vine")
    assert told.splitlines()[1].startswith("D1,2016,yield_per_vine,7.6,kg,bearing vine,")
