"""`crop` as a person meets it, on both engines."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any

import pytest

from tests.cli.test_commands import Line

if TYPE_CHECKING:
    from pathlib import Path

YEARS = range(2020, 2025)
SAMPLE = "block,date,chosen,counted_by,row,vine,"
FACTORS = {2020: 2.0, 2021: 1.9, 2022: 2.1, 2023: 2.05, 2024: 1.95}
PLACES = {
    "vineyard": "name,hemisphere,units\nStony Ridge,north,metric\n",
    "block": "vineyard,code,from_season\nStony Ridge,A1,2015\nStony Ridge,B1,2015\nStony Ridge,C1,2015\n",
    "planting": "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"
    "A1,2015,Grey Hen,2.0,1.2,1000\nB1,2015,Riesling,2.0,1.2,1000\nC1,2015,Grey Hen,2.0,1.2,1000\n",
    "vine_census": "block,date,bearing,young,missing\nA1,2018-06-01,900,50,50\nB1,2018-06-01,1000,0,0\n",
    "consignee": "name\nBell Lane Cellar\n",
}


def counted(block: str, year: int, chosen: str = "random") -> list[str]:
    """Give twelve vines of about 25 clusters."""
    return [f"{block},{year}-07-01,{chosen},KL,1,{vine},bearing,{22 + vine % 7}" for vine in range(1, 13)]


def weighed(block: str, year: int, stage: str, date: str, grams: float) -> list[str]:
    """Give six lots of ten clusters."""
    return [
        f"{block},{year}-{date},random,KL,{stage},{lot},10,{grams * (0.9 + 0.04 * lot) / 100:.3f}"
        for lot in range(1, 7)
    ]


def tallies() -> dict[str, str]:
    """Give five closed seasons of A1, counts of 2025 of A1 (lag phase) and B1 (picked by hand)."""
    clusters = [row for year in (*YEARS, 2025) for row in counted("A1", year)]
    lots = [row for year in (*YEARS, 2025) for row in weighed("A1", year, "lag_phase", "08-05", 60)]
    lots += [row for year in YEARS for row in weighed("A1", year, "harvest", "09-18", 60 * FACTORS[year])]
    lots += weighed("B1", 2025, "lag_phase", "08-05", 50)
    loads = [
        f"Weighbridge,{year},T{year},{year}-09-20,net_as_given,{round(900 * 25 * 0.06 * FACTORS[year])}"
        for year in YEARS
    ]
    return PLACES | {
        "cluster_tally": f"{SAMPLE}state,clusters\n" + "\n".join([*clusters, *counted("B1", 2025, "hand_picked")]),
        "cluster_lot": "block,date,chosen,counted_by,stage,lot,clusters,mass [kg]\n" + "\n".join(lots),
        "load": "issuer,season,number,date,basis,net\n" + "\n".join(loads),
        "load_part": "issuer,season,number,block,picked\n"
        + "\n".join(f"Weighbridge,{year},T{year},A1,hand" for year in YEARS),
        "harvest_close": "block,finished_on\n" + "".join(f"A1,{year}-09-25\n" for year in YEARS),
    }  # fmt: skip


@pytest.fixture
def line(book_url: str, tmp_path: Path) -> Line:
    made = Line(tmp_path, book_url)
    load(made, **tallies())
    return made


def load(line: Line, **texts: str) -> None:
    paths = []
    for name, text in texts.items():
        path = line.folder / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        paths.append(str(path))
    done = line.run("load", *paths)
    assert done.exit_code == 0, done.output


def told(line: Line, *words: str) -> str:
    done = line.run("crop", *words)
    assert done.exit_code == 0, done.output
    return done.stdout


def as_json(line: Line, *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(told(line, *words, "--format", "json"))
    return found


ON = ("A1", "--season", "2025", "--on", "2025-08-10")


def test_the_estimate_its_interval_and_its_parts_are_told(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = told(line, *ON)
    assert text.startswith("A1 2025, at lag phase, 2025-08-10: 2.8 t to come; in 80 of 100 such cases")
    for words in (
        "bearing vines",
        "900",
        "clusters per vine",
        "growth factor",
        "5 seasons, 1 block, 5 of this block",
        "One more hour of counting",
        "The literature on estimates at lag phase",
        "An estimate is an estimate",
    ):
        assert words in " ".join(text.split())  # fmt: skip
    assert max(map(len, text.splitlines())) <= 80


def test_nothing_is_recorded_until_it_is_given_to_somebody(line: Line) -> None:
    told(line, *ON)
    assert line.run("list", "crop_estimate", "--format", "csv").stdout.count("\n") <= 1
    done = line.run("crop", *ON, "--given-to", "Bell Lane Cellar")
    assert done.exit_code == 0
    assert "recorded: given to Bell Lane Cellar, with its 80 % interval" in done.stderr
    (row,) = csv.DictReader(io.StringIO(line.run("list", "crop_estimate", "--format", "csv").stdout))
    found = as_json(line, *ON)["estimate"]
    assert (row["stage"], row["method"]) == ("lag_phase", "vines × clusters × lag-phase weight × growth factor")
    estimate = next(float(value) for name, value in row.items() if name.startswith("estimate"))
    assert estimate == pytest.approx(found["estimate_t"], abs=0.001)
    assert "growth factor" in row["inputs"]
    assert line.run("verify").exit_code == 0


def test_the_same_given_twice_is_refused_and_the_first_stays(line: Line) -> None:
    told(line, *ON, "--given-to", "Bell Lane Cellar")
    words = line.refuses(1, "crop", *ON, "--given-to", "bell lane cellar")
    assert "was given to Bell Lane Cellar on 2025-08-10 already" in words
    assert "--supersedes 'A1/2025/2025-08-10/Bell Lane Cellar'" in words
    assert len(as_json(line, *ON)["given"]) == 1


def test_afterwards_it_stands_beside_the_harvest(line: Line) -> None:
    told(line, *ON, "--given-to", "Bell Lane Cellar", "--level", "95")
    load(
        line,
        load="issuer,season,number,date,basis,net\nWeighbridge,2025,T2025,2025-09-20,net_as_given,2600\n",
        load_part="issuer,season,number,block,picked\nWeighbridge,2025,T2025,A1,hand\n",
        harvest_close="block,finished_on\nA1,2025-09-25\n",
    )
    text = told(line, "A1", "--season", "2025")
    assert "harvest closed on 2025-09-25; 2.60 t picked" in text
    assert "above what was picked, the interval held" in text.replace("\n    ", " ")
    found = as_json(line, "A1", "--season", "2025")
    assert found["estimate"] is None
    assert found["given"][0]["error_percent"] == pytest.approx(
        100 * (found["given"][0]["estimate"]["estimate_t"] / 2.6 - 1)
    )
    assert found["given"][0]["within"] is True
    assert "no estimate" in line.refuses(1, "crop", "A1", "--season", "2025", "--given-to", "X")
    assert "nothing to estimate" in line.refuses(1, "crop", "A1", "--season", "2025", "--on", "2025-10-01")
    assert "the estimate above lay" in told(line, *ON)


def test_hand_picked_vines_have_an_estimate_and_the_books_spread(line: Line) -> None:
    text = told(line, "B1", "--season", "2025", "--on", "2025-08-10").replace("\n  ", " ")
    assert (
        "clusters per vine rests on vines picked by hand: the interval is the spread of past estimates of the book"
        in text
    )
    assert "the factor is that of another cultivar (Grey Hen)" in text


def test_the_backtest_tells_error_and_coverage_beside_the_literature(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = told(line, "--backtest")
    assert "lag phase\n  vines × clusters × lag-phase weight × growth factor" in text
    assert "literature: good work: ±15 % by berry counts after set" in text
    assert max(map(len, text.splitlines())) <= 80
    rows = list(csv.DictReader(io.StringIO(told(line, "--backtest", "A1", "--format", "csv"))))
    assert {row["stage"] for row in rows} == {"set", "lag_phase", "near_harvest"}
    of_lag = [row for row in rows if row["stage"] == "lag_phase"]
    assert [row["season"] for row in of_lag] == [str(year) for year in YEARS]
    # Only what the book held: the first season has the rule of thumb.
    assert float(of_lag[0]["estimate_t"]) == pytest.approx(900 * (298 / 12) * 0.0624 * 2.0 / 1000, rel=0.01)


def test_csv_and_us_units_are_the_same_numbers(line: Line) -> None:
    metric, us = as_json(line, *ON), as_json(line, *ON, "--units", "us")
    assert us["estimate"]["estimate_ton"] == pytest.approx(metric["estimate"]["estimate_t"] * 1.1023113)
    assert us["estimate"]["ton_per_acre"] == pytest.approx(metric["estimate"]["t_per_ha"] / 2.2417023)
    rows = list(csv.DictReader(io.StringIO(told(line, *ON, "--format", "csv"))))
    assert [row["item"] for row in rows] == [
        "estimate", "bearing vines", "clusters per vine", "cluster weight", "growth factor", "share picked",
    ]  # fmt: skip
    assert float(rows[0]["value"]) == pytest.approx(metric["estimate"]["estimate_t"])
    assert float(rows[0]["low_95"]) == pytest.approx(metric["estimate"]["limits"][1]["low_t"])


def test_what_is_wrong_is_told_with_what_would_cure_it(line: Line) -> None:
    assert "nothing of C1 was counted" in line.refuses(2, "crop", "C1", "--season", "2025", "--on", "2025-08-10")
    load(line, shoot_tally=f"{SAMPLE}state,count_shoots\nC1,2025-05-20,random,KL,1,1,bearing,14\n")
    assert "no census of C1" in line.refuses(1, "crop", "C1", "--season", "2025", "--on", "2025-08-10")
    assert "weighed at veraison" in line.refuses(1, "crop", *ON, "--stage", "veraison")
    assert "no block 'A9'" in line.refuses(2, "crop", "A9", "--season", "2025")
    assert "one block and season" in line.refuses(2, "crop", "A1")
    assert "does not go with --backtest" in line.refuses(2, "crop", "--backtest", "--season", "2024")
    assert "2090" in line.refuses(2, "crop", "A1", "--season", "2090")
    for wrong in (("--factor", "-1"), ("--share", "140"), ("--on", "12.07.2025"), ("--level", "50")):
        assert line.run("crop", *ON, *wrong).exit_code == 2


def test_a_season_that_is_over_but_never_closed_is_no_estimate_of_today(line: Line) -> None:
    load(line, harvest_close="block,finished_on\nB1,2026-09-25\n")
    words = line.refuses(1, "crop", "B1", "--season", "2025")
    assert "was never closed" in words
    assert "to come" in told(line, "B1", "--season", "2025", "--on", "2025-08-10")


def test_an_empty_book_has_nothing_to_try(book_url: str, tmp_path: Path) -> None:
    assert "nothing to try" in told(Line(tmp_path, book_url), "--backtest")
