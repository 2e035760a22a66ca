"""`nodes` as a person meets it, on both engines."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import TYPE_CHECKING

import pytest

from tests.cli.test_commands import Line

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

PLACES = {
    "vineyard": "name,hemisphere,units\nStony Ridge,north,metric\n",
    "block": "vineyard,code,from_season\n" + "".join(f"Stony Ridge,{code},2015\n" for code in ("A1", "B1", "C1")),
    "planting": "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"
    + "".join(f"{code},2015,{cultivar},2.0,1.2,1000\n" for code, cultivar in
              (("A1", "Riesling"), ("B1", "Grey Hen"), ("C1", "Riesling"))),
    "training": "block,from_season,trained,arms,pruned,cordon_length\n"
    "A1,2015,head,2,cane,\nB1,2015,cordon,2,spur,1.2\nC1,2015,cordon,2,spur,1.2\n",
    "vine_census": "block,date,bearing,young,missing\nA1,2018-06-01,900,50,50\nB1,2018-06-01,1000,0,0\n",
}  # fmt: skip
SAMPLE = "block,date,chosen,counted_by,row,vine,"
YEARS = range(2020, 2025)


def pruned(year: int) -> list[str]:
    """Give ten vines at the visit of a January: two canes of six nodes, two renewal spurs of two, weighed wood."""
    return [f"A1,{year}-01-12,random,KL,1,{vine},2,2,{12 + vine % 3},4,14,{450 + 20 * vine}" for vine in range(1, 11)]


def tallies() -> dict[str, str]:
    """Give the tallies of five seasons of block A1; the visit of 2025 weighs wood, the harvest of 2025 is to come."""
    visits = "block,started_on,pruned,canes_per_vine,renewal_spurs\n"
    visits += "".join(f"A1,{year}-01-12,cane,2,2\n" for year in (*YEARS, 2025))
    shoots = [f"A1,{year}-05-10,random,KL,2,{vine},15,1,2,{1 + vine % 2}" for year in YEARS for vine in range(1, 9)]
    loads = [f"Weighbridge,{year},T{year},{year}-09-20,net_as_given,2900" for year in YEARS]
    heading = "canes,renewal_spurs,nodes_on_canes,nodes_on_renewal_spurs,canes_weighed,prunings [g]"
    return PLACES | {
        "pruning_visit": visits,
        "pruned_vine": f"{SAMPLE}{heading}\n" + "\n".join(row for year in (*YEARS, 2025) for row in pruned(year)),
        "shoot_tally": f"{SAMPLE}count_shoots,double_shoots,noncount_shoots,blind_nodes\n" + "\n".join(shoots),
        "load": "issuer,season,number,date,basis,net\n" + "\n".join(loads),
        "load_part": "issuer,season,number,block,picked\n"
        + "\n".join(f"Weighbridge,{year},T{year},A1,hand" for year in YEARS),
        "harvest_close": "block,finished_on\n" + "".join(f"A1,{year}-09-25\n" for year in YEARS),
        "bud_sample": "block,date,chosen,counted_by,cane,buds,primaries_dead\n"
        + "\n".join(f"A1,2025-01-05,random,KL,{cane},10,{dead}" for cane, dead in enumerate((3, 4, 3, 4, 3, 4), 1)),
    }


@pytest.fixture
def line(book_url: str, tmp_path: Path) -> Line:
    made = Line(tmp_path, book_url)
    paths: list[str] = []
    for name, text in tallies().items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        paths.append(str(tmp_path / f"{name}.csv"))
    done = made.run("load", *paths)
    assert done.exit_code == 0, done.output
    return made


def told(line: Line, *words: str) -> str:
    done = line.run("nodes", *words)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    return done.stdout


def as_json(line: Line, *words: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(told(line, *words, "--format", "json"))
    return found


def flowing(text: str) -> str:
    return " ".join(text.split())


def test_the_first_line_is_the_range_of_the_own_record(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = told(line, "A1", "--season", "2025")
    assert flowing(text).startswith(
        "A1 2025: 17 nodes per vine, by this block's own record: in all 5 seasons at these levels (2020 to 2024) "
        "yield to prunings, cane weight and budbreak read within the bands."
    )
    assert "Already pruned for 2025: 17.0 nodes a vine were counted (10 vines)." in flowing(text)
    assert "2 renewal spurs × 2 nodes = 17; 1 cane on each arm" in flowing(text)
    assert "35 % of 60 buds cut were dead: --bud-injury-rule NAME corrects for them." in flowing(text)
    assert "The person decides." in text
    assert max(map(len, text.splitlines())) <= 80


def test_all_shows_five_ways_each_season_and_the_crews_table(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = told(line, "A1", "--season", "2025", "--all", "--yield", "12")
    assert max(map(len, text.splitlines())) <= 80
    for title in (
        "the wood of each vine (balanced pruning)",
        "the shoots wanted",
        "the yield wanted",
        "canes of the ideal weight",
        "this block's own record",
    ):
        assert title in text
    assert "20+20/lb (vinifera and newer hybrids)" in text
    assert "weak vine: ask the leader" in text
    assert [year for year in (*YEARS, 2025) if f"\n{year}  " in text] == list(YEARS)


def test_the_json_has_stable_keys_and_the_rows_behind_it(line: Line) -> None:
    found = as_json(line, "A1", "--season", "2025")
    assert list(found) == [
        "format", "block", "season", "cultivar", "agreed", "ways", "cap", "dead_buds", "kept", "crew_table", "plan",
        "plan_missing", "expected", "wood_rows", "notes",
    ]  # fmt: skip
    assert found["format"] == 1
    rows = found["wood_rows"]
    assert isinstance(rows, list)
    listed = json.loads(line.run("list", "pruned_vine", "--format", "json").stdout)
    of_2025 = [row["record"] for row in listed if "/2025/" in str(row)]
    assert len(rows) == 10
    assert {str(number).lstrip("#") for number in of_2025} == {str(number) for number in rows}


def test_json_in_us_units_turns_what_stands_beside_its_unit(line: Line) -> None:
    def yields(found: dict[str, object]) -> dict[str, float]:
        expected = found["expected"]
        assert isinstance(expected, list)
        return {one["unit"]: one["value"] for one in expected if one["figure"] == "yield_per_ha"}

    metric = yields(as_json(line, "A1", "--season", "2025"))
    american = yields(as_json(line, "A1", "--season", "2025", "--units", "us"))
    assert american["ton/acre"] == pytest.approx(metric["t/ha"] * 0.4460896, rel=1e-6)


def test_csv_has_a_row_for_each_way(line: Line) -> None:
    rows = list(csv.DictReader(io.StringIO(told(line, "A1", "--season", "2025", "--format", "csv"))))
    assert [row["way"] for row in rows] == [
        "balanced_pruning", "shoots_wanted", "yield_wanted", "ideal_canes", "own_record",
    ]  # fmt: skip
    assert float(rows[-1]["nodes"]) == pytest.approx(17.0)
    assert rows[2]["nodes"] == ""
    assert "--yield says how much" in rows[2]["words"]


@pytest.mark.parametrize(
    ("words", "named"),
    [("vinifera", "20+20/lb"), ("French_hybrid", "20+10/lb"), ("33+11/500g", "33+11/500g"), ("33", "33+11/500g")],
)
def test_a_formula_is_named_in_full_in_short_or_by_type_of_vine(line: Line, words: str, named: str) -> None:
    assert named in told(line, "A1", "--season", "2025", "--keep", "16", "--formula", words)


def test_the_table_is_in_the_formulas_unit_and_in_the_persons(line: Line) -> None:
    def heads(*words: str) -> list[list[str]]:
        lines = told(line, "A1", "--season", "2025", "--keep", "16", *words).splitlines()
        at = next(number for number, text in enumerate(lines) if "prunings of the vine" in text)
        return [text.split() for text in lines[at + 1 : at + 3]]

    assert heads("--formula", "20+10/lb")[0] == ["lb", "kg"]
    assert heads("--formula", "20+10/lb", "--units", "us")[0] == ["lb"]
    assert heads("--formula", "33+11/500g") == [["g"], ["below", "500", "weak", "vine:", "ask", "the", "leader"]]
    assert heads("--formula", "33+11/500g", "--units", "us")[0] == ["g", "lb"]
    assert heads("--formula", "15/kg")[0] == ["kg"]


def test_yield_and_shoots_are_read_with_their_units(line: Line) -> None:
    def wanted(*words: str) -> Sequence[str]:
        text = told(line, "A1", "--season", "2025", "--all", *words)
        return [row.strip() for row in text.splitlines() if "wanted" in row and ":" in row]

    assert any("8.97 t/ha" in row for row in wanted("--yield", "4 ton/acre"))
    assert any("yield wanted per vine: 3.00 kg" in row for row in wanted("--yield", "3 kg/vine"))
    assert any("yield wanted: 9.00 t/ha" in row for row in wanted("--yield", "9"))
    assert any("shoots wanted: 15.0 shoots/m" in row for row in wanted("--shoots-per-ft", "4.572"))


def test_dead_buds_are_corrected_by_a_named_rule(line: Line) -> None:
    text = flowing(told(line, "A1", "--season", "2025", "--bud-injury-rule", "cornell", "--all"))
    assert re.search(r"Dead buds: 35 % \(\d\d–\d\d %\) of 60; Cornell 2014: 35 % more nodes", text)
    assert "(Cornell, NNY grape update, 28 February 2014)" in text
    assert "Plan for 23 nodes a vine (the mean of the seasons that agree, with 6 more for dead buds)" in text
    assert "Nodes corrected for 35 % dead buds, Cornell 2014" in text


def test_a_rule_whose_classes_meet_gives_no_number(line: Line) -> None:
    text = flowing(told(line, "A1", "--season", "2025", "--bud-injury-rule", "Purdue"))
    assert "Purdue: no number: 2 classes of the rule meet at 35 %" in text
    assert "No plan:" in text


def test_a_block_of_its_first_winter_says_what_is_missing_and_what_would_cure_it(line: Line) -> None:
    text = flowing(told(line, "C1", "--season", "2025", "--all"))
    assert "C1 2025: no range of nodes yet: the record is too short: no seasons have nodes counted" in text
    assert "no wood was weighed at the pruning that sets 2025; weigh the canes of sampled vines there" in text
    assert "count them before thinning (shoot_tally" in text
    assert "no yield is wanted: --yield says how much" in text
    assert "No plan: no level is chosen yet: --keep N lays out N nodes." in text
    laid = flowing(told(line, "C1", "--season", "2025", "--keep", "20"))
    assert "10 spurs × 2 nodes = 20; 5 spurs on each arm; a spur every 12 cm of cordon." in laid
    assert "wider than 10–15 cm (common practice)" in flowing(told(line, "C1", "--season", "2025", "--keep", "12"))


def test_three_formulas_stand_side_by_side_where_none_fits_the_cultivar(line: Line) -> None:
    text = told(line, "B1", "--season", "2025", "--all")
    assert text.count("the wood of each vine (balanced pruning)") == 3
    assert "For the crew" not in text


@pytest.mark.parametrize(
    ("status", "words", "said"),
    [
        (1, ("A1", "--season", "2023"), "season 2023 of A1 is over: its harvest was closed on 2023-09-25"),
        (1, ("A1", "--season", "2023"), "--season 2025, say"),
        (2, ("A9", "--season", "2025"), "there is no block A9"),
        (2, ("A1",), "Missing option '--season'"),
        (2, ("A1", "--season", "2025", "--formula", "20+20/kg"), "did you mean 22/kg or 20+20/lb?"),
        (2, ("A1", "--season", "2025", "--formula", "20"), "is more than one formula of balanced pruning"),
        (2, ("A1", "--season", "2025", "--bud-injury-rule", "Purdu3"), "did you mean Purdue"),
        (1, ("C1", "--season", "2025", "--bud-injury-rule", "Purdue"), "no buds were cut before the pruning"),
        (2, ("A1", "--season", "2025", "--yield", "lots"), "'lots' is not a yield"),
        (2, ("A1", "--season", "2025", "--yield", "0"), "'0' is not a yield"),
        (2, ("A1", "--season", "2025", "--yield", "4,5"), "'4,5' is not a yield"),
        (2, ("A1", "--season", "2025", "--yield", "9 hl/ha"), "t/ha, ton/acre, kg/vine, lb/vine"),
        (2, ("A1", "--season", "2025", "--keep", "0"), "Invalid value for '--keep'"),
        (2, ("A1", "--season", "2025", "--shoots-per-m", "0"), "Invalid value for '--shoots-per-m'"),
        (2, ("A1", "--season", "2025", "--shoots-per-m", "15", "--shoots-per-ft", "4"), "do not go together"),
        (1, ("C1", "--season", "2010"), "nothing is planted in C1 in 2010"),
    ],
)
def test_what_is_off_is_told_with_its_cure(line: Line, status: int, words: tuple[str, ...], said: str) -> None:
    assert said in line.refuses(status, "nodes", *words)


def test_figures_end_each_season_with_what_they_mean_together(line: Line) -> None:
    text = line.run("figures", "A1", "--season", "2022").stdout
    assert "\n\nWood per metre " in text or "\n\nLittle wood (" in text or "\n\nWood within the band (" in text
    assert "Sources conflict on yield to prunings" in text
    one = line.run("figures", "A1", "--season", "2022", "--figure", "yield_to_prunings").stdout
    assert "Sources conflict" not in one
    found = json.loads(line.run("figures", "A1", "--season", "2022", "--format", "json").stdout)
    assert found.keys() == {"format", "figures"}
