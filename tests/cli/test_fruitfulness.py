"""`fruitfulness` as a person meets it, on both engines."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.cli.test_commands import Line
from vinebook.api import fruitfulness, open_book

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CODES = ("S1", "C1", "B1", "V1", "N1", "X1", "H1")
"""Spurs alone; converted to canes; both in one season; one vine; nothing; canes of the cultivar of S1; by hand."""
CULTIVARS = {"S1": "Grey Hen", "X1": "Grey Hen"}
PLACES = {
    "vineyard": "name,hemisphere,units\nStony Ridge,north,metric\n",
    "block": "vineyard,code,from_season\n" + "".join(f"Stony Ridge,{code},2015\n" for code in CODES),
    "planting": "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"
    + "".join(f"{code},2015,{CULTIVARS.get(code, f'Only {code}')},2.0,1.2,1000\n" for code in CODES),
    "training": "block,from_season,trained,arms,pruned\n"
    + "".join(f"{code},2015,cordon,2,spur\n" for code in CODES if code != "X1")
    + "C1,2021,head,2,cane\nX1,2015,head,2,cane\n",
    "vine_census": "block,date,bearing,young,missing\n"
    + "".join(f"{code},2018-06-01,1000,0,0\n" for code in CODES),
    "event": "block,date,what\nS1,2019-04-20,frost\n",
    "pruned_vine": "block,date,chosen,counted_by,row,vine,spurs,nodes_on_spurs\n"
    + "".join(f"S1,2022-01-12,random,KL,1,{vine},8,16\n" for vine in range(1, 6)),
}  # fmt: skip


def bearer(kind: str, number: int, clusters: str) -> Iterator[str]:
    """Give the nodes of a bearer from its basal node on, one figure each; a dash is a blind node."""
    for position, count in enumerate(clusters):
        yield f"{kind},{number},{position}," + ("0," if count == "-" else f"1,{count}")


def season(code: str, year: int, chosen: str, *kinds: str, vines: int = 6, first: int = 1) -> Iterator[str]:
    """Give a node tally in which every vine has two bearers of each kind; vines differ by a cluster here and there."""
    for vine in range(first, first + vines):
        for kind in kinds:
            more = year % 3
            count = {"spur": f"01{more + 1}", "cane": f"01{more}22"}.get(kind, "012")
            shift = (vine + year) % 3 - 1
            for number in (1, 2):
                text = "".join(str(max(int(one) + shift * (at == number), 0)) for at, one in enumerate(count))
                for node in bearer(kind, number, text):
                    yield f"{code},{year}-05-20,{chosen},KL,2,{vine},{node}"
        yield f"{code},{year}-05-20,{chosen},KL,2,{vine},head_spur,1,old wood,1,{vine % 2}"


def nodes() -> str:
    """Give the node tallies of all blocks."""
    rows = [
        *(row for year in (2018, 2019, 2020, 2021) for row in season("S1", year, "random", "spur")),
        *(row for year in (2018, 2019, 2020) for row in season("C1", year, "random", "spur")),
        *(row for year in (2021, 2022, 2023) for row in season("C1", year, "random", "cane", "renewal_spur")),
        *season("B1", 2022, "random", "spur"),
        *season("B1", 2022, "random", "cane", first=21),
        *season("B1", 2023, "random", "spur", "cane"),
        *season("V1", 2022, "random", "spur", vines=1),
        *(row for year in (2020, 2021) for row in season("X1", year, "random", "cane")),
        *season("H1", 2022, "hand_picked", "spur"),
    ]
    heading = "block,date,chosen,counted_by,row,vine,bearer,bearer_number,position,shoots,clusters\n"
    return heading + "\n".join(rows) + "\n"


@pytest.fixture
def line(book_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Line:
    monkeypatch.setenv("COLUMNS", "80")
    made = Line(tmp_path, book_url)
    paths: list[str] = []
    for name, text in (PLACES | {"node_tally": nodes()}).items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        paths.append(str(tmp_path / f"{name}.csv"))
    done = made.run("load", *paths)
    assert done.exit_code == 0, done.output
    return made


def told(line: Line, *words: str) -> str:
    done = line.run("fruitfulness", *words)
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    return done.stdout


def flowing(line: Line, *words: str) -> str:
    return " ".join(told(line, *words).split())


def as_json(line: Line, code: str, *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(told(line, code, *words, "--format", "json"))["blocks"][0]
    return found


def test_positions_stand_by_bearer_and_frost_seasons_apart(line: Line) -> None:
    text = told(line, "S1")
    assert " ".join(text.split()).startswith(
        "S1 Grey Hen, spur-pruned: nodes counted in 4 seasons, 2018 to 2021; frost in 2019, told apart."
    )
    assert [row for row in text.splitlines() if row in ("spurs", "canes", "renewal spurs", "head spurs and head")] == [
        "spurs",
        "head spurs and head",
    ]
    assert "3 seasons" in text
    assert "frost in 2019: basal " in text
    assert "█" in text
    found = as_json(line, "S1")
    first = next(one for one in found["positions"] if (one["bearer"], one["position"]) == ("spur", "1"))
    assert [rate["is_frost"] for rate in first["seasons"]] == [False, True, False, False]
    plain = [rate["value"] for rate in first["seasons"] if not rate["is_frost"]]
    assert first["pooled"]["mean"] == pytest.approx(np.mean(plain))
    assert first["pooled"]["seasons"] == [2018, 2020, 2021]
    assert first["frost"]["seasons"] == [2019]


def test_a_form_never_tried_is_a_guess_from_the_cultivars_other_blocks(line: Line) -> None:
    found = as_json(line, "S1")
    spur, cane = found["laid"]
    assert (spur["form"], spur["is_guess"], spur["nodes"]) == ("spur", False, 16.0)
    assert spur["clusters"] == pytest.approx(16 * spur["pooled"]["mean"])
    assert spur["clusters_low"] < spur["clusters"] < spur["clusters_high"]
    assert (cane["form"], cane["is_guess"], cane["clusters_low"]) == ("cane", True, None)
    assert cane["from_words"] == "X1, same cultivar; not tried in S1"
    words = flowing(line, "S1")
    assert "as canes of 4: a guess: " in words
    assert "missing: S1 was never counted as canes" in words


def test_the_base_of_canes_stands_in_for_spurs_with_that_said(line: Line) -> None:
    found = as_json(line, "X1", "--nodes", "20")
    spur = found["laid"][0]
    # S1 is of the same cultivar and was counted on spurs.
    assert (spur["is_guess"], spur["from_words"]) == (True, "S1, same cultivar; not tried in X1")
    alone = as_json(line, "C1", "--season", "2022", "--season", "2023", "--nodes", "20")
    spur = alone["laid"][0]
    assert spur["is_guess"]
    assert "nodes 1 and 2 of canes in C1, which are not nodes of spurs; not tried" in spur["from_words"]


def test_spurs_and_canes_of_one_season_are_set_side_by_side(line: Line) -> None:
    found = as_json(line, "B1")["side_by_side"]
    assert [rate["season"] for rate in found["seasons"]] == [2022, 2023]
    assert all(rate["low"] < rate["value"] < rate["high"] for rate in found["seasons"])
    assert found["pooled"]["low"] is None
    words = flowing(line, "B1")
    assert "Side by side in 2022" in words
    assert "a node on a cane bore" in words
    assert "was never counted as" not in words


def test_a_converted_block_is_told_before_and_after(line: Line) -> None:
    found = as_json(line, "C1")["conversion"]
    assert (found["was"], found["became"], found["since"]) == ("spur", "cane", 2021)
    first = found["figures"][0]
    assert first["before"]["seasons"] == [2018, 2019, 2020]
    assert first["after"]["seasons"] == [2021, 2022, 2023]
    assert first["after"]["low"] < first["after"]["mean"] < first["after"]["high"]
    words = flowing(line, "C1")
    assert "Converted from spurs to canes with 2021" in words
    assert "renewal spurs stand apart" in words
    assert "counted in different seasons" in words


def test_one_vine_and_one_season_say_what_is_missing(line: Line) -> None:
    words = flowing(line, "V1")
    assert "one vine was counted in 2022: a single vine has no spread, hence no interval" in words
    assert "1 season without frost counted; an interval over seasons needs 3" in words
    assert "no nodes per vine are counted: clusters per vine need them (--nodes N, or load a pruned_vine)" in words
    rate = as_json(line, "V1")["laid"][0]["per_node"][0]
    assert (rate["low"], rate["high"], rate["units"]) == (None, None, 1)


def test_two_vines_are_fewer_than_shown_to_suffice(line: Line) -> None:
    found = as_json(line, "N1")
    assert found["notes"] == []
    rows = "\n".join(season("N1", 2022, "random", "spur", vines=2))
    heading = nodes().splitlines()[0]
    (line.folder / "two.csv").write_text(f"{heading}\n{rows}\n", encoding="utf-8")
    assert line.run("load", str(line.folder / "two.csv"), "--kind", "node_tally").exit_code == 0
    assert "note: fewer vines than shown to suffice were counted in 2022" in flowing(line, "N1")


def test_vines_picked_by_hand_have_no_interval(line: Line) -> None:
    assert "the vines of 2022 were picked by hand: no interval" in flowing(line, "H1")
    rate = as_json(line, "H1")["laid"][0]["per_node"][0]
    assert (rate["low"], rate["note"]) == (None, "picked by hand, hence no interval")


def test_a_block_without_a_node_tally_says_how_to_make_one(line: Line) -> None:
    words = flowing(line, "N1")
    assert words.startswith(
        "N1 Only N1, spur-pruned: no nodes were counted. missing: no node tally of N1 is in the book"
    )
    assert "`vinebook form node_tally`" in words
    assert as_json(line, "N1")["laid"] == []


def test_a_season_can_be_named_and_one_without_a_tally_has_none(line: Line) -> None:
    found = as_json(line, "S1", "--season", "2020")
    assert found["seasons"] == [2020]
    assert {rate["season"] for one in found["positions"] for rate in one["seasons"]} == {2020}
    assert "6 vines, 2020" in told(line, "S1", "--season", "2020")
    assert as_json(line, "S1", "--season", "2016")["positions"] == []
    words = flowing(line, "C1", "--season", "2022")
    assert "C1 was never counted as spurs in the seasons named" in words
    assert "Converted" not in words


def test_an_unknown_block_is_refused(line: Line) -> None:
    assert "there is no block Q9 in this book" in line.refuses(2, "fruitfulness", "S1", "Q9")


def test_every_block_fits_eighty_columns(line: Line) -> None:
    text = told(line, *CODES, "--each")
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("The person decides.") == len(CODES)


def test_csv_has_a_row_for_each_number(line: Line) -> None:
    rows = list(csv.DictReader(io.StringIO(told(line, "S1", "C1", "--format", "csv"))))
    found = as_json(line, "S1")
    counted = sum(len(one["seasons"]) for one in found["positions"])
    of_seasons = [
        row for row in rows if row["block"] == "S1" and row["what"] == "clusters_per_node" and row["season"].isdigit()
    ]
    assert len(of_seasons) == counted
    assert {row["block"] for row in rows} == {"S1", "C1"}
    assert {row["what"] for row in rows} >= {"fruitful_percent", "noncount_clusters_percent", "clusters_per_count_node"}


def test_clusters_per_count_node_are_those_of_the_tally(line: Line, book_url: str) -> None:
    answer = fruitfulness(open_book(book_url), "S1", seasons=[2020])
    rows = [row.split(",") for row in nodes().splitlines()[1:]]
    mine = [row for row in rows if row[0] == "S1" and row[1].startswith("2020") and row[6] == "spur"]
    by_position = [np.mean([int(row[10] or 0) for row in mine if row[8] == position]) for position in ("1", "2")]
    assert answer.laid[0].per_node[0].value == pytest.approx(np.mean(by_position))
