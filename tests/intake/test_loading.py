"""What loads, and as what: bytes kept as they came, rows as stored, seasons and units as the rules say."""

from __future__ import annotations

import codecs
import datetime as dt
import hashlib
import itertools
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tests.desk import BLOCKS, CLUSTERS, SAMPLE, SOUTH, Desk, cluster_rows
from vinebook.errors import FileRefusedError, FindingsError, WordsError
from vinebook.intake import headings, pages, tally_file, workbook
from vinebook.intake.faults import Faults
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.samples import CLUSTER_TALLY
from vinebook.quantities import POUND_KG, UNITS_OF_DIMENSION
from vinebook.records.readings import kept_file

PRUNED = "block,date,chosen,counted_by,row,vine,prunings\n"
EVENTS = "block,season,date,what\n"
VISITS = "block,season,started_on,pruned\n"


def test_the_bytes_are_kept_as_they_came(desk: Desk) -> None:
    content = codecs.BOM_UTF8 + cluster_rows([(1, 1, 5)]).replace("\n", "\r\n").encode() + b"\r\n\r\n"
    loaded = desk.load_texts(t=content).tallies[0]
    with desk.book.reading() as connection:
        assert b"".join(kept_file(connection, loaded.number)) == content
    assert (loaded.rows, loaded.samples, loaded.kind) == (1, 1, "cluster_tally")
    assert desk.stored("cluster_tally")[0]["clusters"] == 5


@pytest.mark.parametrize(
    "content",
    [
        cluster_rows([(1, 1, 5), (1, 2, 6)]).replace("\n", "\r\n"),
        cluster_rows([(1, 1, 5), (1, 2, 6)]).replace("\n", "\r"),
        cluster_rows([(1, 1, 5), (1, 2, 6)]).rstrip("\n"),
        cluster_rows([(1, 1, 5), (1, 2, 6)]) + "\n\n,,,,,,\n  \n",
        cluster_rows([(1, 1, 5)]) + ",,,,,,\n" + cluster_rows([(1, 2, 6)]).split("\n")[1] + "\n  , ,,,,,\n",
        cluster_rows([(1, 1, 5), (1, 2, 6)]).replace(",", ";"),
        cluster_rows([(1, " 1 ", " 5"), (1, 2, "6 ")]),
        "\ufeff" + cluster_rows([(1, 1, 5), (1, 2, 6)]),
        cluster_rows([(1, 1, 5), (1, 2, 6)]).replace("A1", '"A1"'),
        cluster_rows([(1, 1, 5), (1, 2, 6)]).replace("block,date", " Block , DATE "),
        cluster_rows([(1, 1, 5), (1, 2, 6)]).replace("random", "Random"),
        CLUSTERS.replace("counted_by", "counted by") + f"{SAMPLE},1,1,5\n{SAMPLE},1,2,6\n",
    ],
)  # fmt: skip
def test_the_same_rows_are_read_however_they_are_written(desk: Desk, content: str) -> None:
    desk.load_texts(t=content)
    assert [(row["row"], row["vine"], row["clusters"]) for row in desk.stored("cluster_tally")] == [
        (1, 1, 5),
        (1, 2, 6),
    ]
    assert len(desk.stored("sample")) == 1
    assert desk.verify().differences == []


def test_a_row_knows_its_line(desk: Desk) -> None:
    headings = "block,date,what,words\n"
    desk.load_texts(t=headings + "A1,2022-11-02,frost,a\n\n\nA1,2022-11-03,frost,b\n,,,\nA2,2022-11-03,hail,c\n")
    assert [row["line"] for row in desk.stored("event")] == [2, 5, 7]


def test_a_sample_knows_the_line_on_which_it_stands_first(desk: Desk) -> None:
    other = SAMPLE.replace("A1", "A2")
    desk.load_texts(t=cluster_rows([(1, 1, 5), (1, 2, 5)]) + f"{other},1,1,5\n{SAMPLE},1,3,5\n{other},1,2,5\n")
    assert [row["line"] for row in desk.stored("sample")] == [2, 4]


def test_lines_are_right_over_many_pages(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "PAGE_ROWS", 7)
    rows = [(1, vine, 5) for vine in range(1, 61)]
    content = cluster_rows(rows) + "\n\n" + f"{SAMPLE},2,1,x\n"
    assert [words.split(": ")[0] for words in desk.faults_of(t=content)] == ["t.csv:64:clusters"]
    desk.load_texts(t=content.replace("x\n", "7\n"))
    assert [row["line"] for row in desk.stored("cluster_tally")] == [*range(2, 62), 64]


def test_files_load_in_any_order(book_url: str, tmp_path: Path) -> None:
    texts = {
        "counts": cluster_rows([(1, 1, 5)]),
        "parts": "issuer,season,number,block,picked\nScale,2023,7,A1,hand\n",
        "loads": "date,issuer,number,basis,net\n2023-03-01,Scale,7,net_as_given,800\n",
        "block": BLOCKS,
        "vineyard": SOUTH,
    }
    desk = Desk(book_url, tmp_path)
    paths = [desk.write(f"{name}.csv", text) for name, text in texts.items()]
    orders = list(itertools.permutations(paths))
    for order in orders[::10]:
        assert len(desk.load(*order, dry_run=True).tallies) == 5
    report = desk.load(*paths)
    assert [tally.kind for tally in report.tallies] == ["vineyard", "block", "cluster_tally", "load", "load_part"]
    assert desk.verify().differences == []


def test_a_dry_run_reads_all_and_stores_nothing(desk: Desk) -> None:
    before = desk.held()
    path = desk.write("t.csv", cluster_rows([(1, 1, 5), (1, 2, 601)]))
    report = desk.load(path, dry_run=True)
    assert (report.stored, report.seal, report.tallies[0].rows, len(report.warnings)) == (False, "", 2, 1)
    assert desk.held() == before
    with pytest.raises(FindingsError):
        desk.load(desk.write("u.csv", cluster_rows([(1, 1, "x")])), dry_run=True)
    assert desk.held() == before


def test_the_same_bytes_again_change_nothing(desk: Desk) -> None:
    content = cluster_rows([(1, 1, 5)])
    desk.load_texts(t=content)
    before = desk.held()
    report = desk.load_texts(another_name=content)
    assert report.tallies[0].rows == 0
    assert report.tallies[0].already.startswith("as t.csv on 20")
    assert report.tallies[0].already.endswith(" UTC by KL")
    assert desk.held() == before


def test_the_same_bytes_twice_in_one_call_come_in_once(desk: Desk) -> None:
    content = cluster_rows([(1, 1, 5)])
    report = desk.load_texts(a=content, b=content)
    assert sorted(bool(tally.already) for tally in report.tallies) == [False, True]
    assert len(desk.stored("cluster_tally")) == 1


def test_the_same_keys_in_another_file_are_one_finding_for_each_earlier_file(desk: Desk) -> None:
    desk.load_texts(first=cluster_rows([(1, 1, 5), (1, 2, 6)]))
    desk.load_texts(second=cluster_rows([(2, 1, 5)]))
    found = desk.faults_of(third=cluster_rows([(3, 1, 4), (1, 2, 6), (1, 1, 9), (2, 1, 5)]))
    assert len(found) == 2
    assert found[0].startswith("third.csv:3: 2 rows have keys (lines 3 to 4) that came in with first.csv, loaded 20")
    assert "by KL (lines 2 to 3): 1 equal, 1 different" in found[0]
    assert "third.csv:5: 1 row has a key (line 5) that came in with second.csv" in found[1]
    assert "(line 2): 1 equal, 0 different" in found[1]


def test_the_same_keys_in_two_files_of_a_call_are_told(desk: Desk) -> None:
    found = desk.faults_of(a=cluster_rows([(1, 1, 5)]), b=cluster_rows([(1, 1, 6), (1, 2, 6)]))
    assert len(found) == 1
    assert "b.csv:2: 1 row has a key (line 2) that came in with a.csv (line 2): 0 equal, 1 different" in desk.short(
        found[0]
    )


def test_repeated_keys_come_together_with_other_faults(desk: Desk) -> None:
    desk.load_texts(event="block,date,what\nA1,2022-11-02,frost\n")
    found = desk.faults_of(
        a="block,date,what\nA1,2022-11-02,frost\nA2,2022-11-02,frost\nA2,2022-11-02,frost\n",
        b=cluster_rows([(1, 1, "x")]),
    )
    assert [words.split(": ")[0] for words in found] == ["a.csv:2", "a.csv:4", "b.csv:2:clusters"]


def test_a_key_with_an_empty_part_stands_once(desk: Desk) -> None:
    headings = "vineyard,block,figure,low,from_season,source\n"
    row = "Low Terrace,,nodes_per_vine,10,2015,ours\n"
    assert desk.faults_of(t=headings + row + row)[0].startswith("t.csv:3: has the same key as line 2")
    desk.load_texts(t=headings + row)
    assert "came in with t.csv" in desk.faults_of(u=headings + row.replace("10", "11"))[0]


def test_rows_of_one_sample_agree(desk: Desk) -> None:
    headings = "block,date,chosen,counted_by,panel_size,seed,row,vine,clusters\n"
    sample = "A1,2022-12-05,panels,KL"
    found = desk.faults_of(t=headings + f"{sample},4,1,1,1,5\n{sample},5,,1,2,5\n")
    assert [words.split(";")[0] for words in found] == [
        "t.csv:3:panel_size: is 5, and 4 in other rows of this sample",
        "t.csv:3:seed: is empty, and 1 in other rows of this sample",
    ]
    desk.load_texts(t=headings + f"{sample},4,1,1,1,5\n")
    assert "seed: is 2, and 1 in other rows" in desk.faults_of(u=headings + f"{sample},4,2,1,2,5\n")[0]
    desk.load_texts(u=headings + f"{sample},4,1,1,2,5\n")
    assert len(desk.stored("sample")) == 1


def test_counts_before_and_after_thinning_are_two_samples(desk: Desk) -> None:
    headings = "block,date,thinning,chosen,counted_by,row,vine,clusters\n"
    desk.load_texts(t=headings + "A1,2022-12-05,before,random,KL,1,1,9\nA1,2022-12-05,after,random,KL,1,1,5\n")
    assert [row["thinning"] for row in desk.stored("sample")] == ["before", "after"]


def test_the_unusual_loads_with_a_warning(desk: Desk) -> None:
    report = desk.load_texts(
        nodes="block,date,chosen,counted_by,row,vine,nodes_on_canes\nA1,2022-07-01,random,KL,1,1,680\n",
        fruit="block,date,chosen,counted_by,row,vine,mass\nA1,2023-03-01,random,KL,1,1,61\nA1,2023-03-01,random,KL,1,2,60\n",
        panels="block,date,chosen,counted_by,panel_size,row,vine,clusters\n"
        + "".join(f"A1,2022-12-06,panels,KL,40,1,{vine},5\n" for vine in range(1, 4)),
    )
    assert [desk.short(str(warning)) for warning in report.warnings] == [
        "fruit.csv:2:mass: '61' is unusual; expected 0 kg to 60 kg",
        "nodes.csv:2:nodes_on_canes: '680' is unusual; expected 0 to 300",
        "panels.csv:2:panel_size: '40' is unusual; expected 2 to 12",
    ]
    assert [row["mass_mg"] for row in desk.stored("vine_harvest")] == [61_000_000, 60_000_000]


def test_warnings_last_when_a_reader_forgets(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from vinebook.intake import cells

    monkeypatch.setattr(cells, "REMEMBERED", 3)
    monkeypatch.setattr(pages, "PAGE_ROWS", 5)
    report = desk.load_texts(t=cluster_rows([(1, vine, 700 + vine) for vine in range(1, 41)]))
    assert len(report.warnings) == 40


# Harvest years by hemisphere: the total rule, month by month (design: what a season is).
DORMANT_NORTH = [2024] * 7 + [2025] * 5
DORMANT_SOUTH = [2024] * 4 + [2025] * 8
GROWING_NORTH = [2024] * 12
GROWING_SOUTH = [2024] * 5 + [2025] * 7


@pytest.mark.parametrize(
    ("hemisphere", "dormant", "growing"),
    [("north", DORMANT_NORTH, GROWING_NORTH), ("south", DORMANT_SOUTH, GROWING_SOUTH)],
)
def test_a_season_follows_from_every_date_of_a_year(
    empty_desk: Desk, hemisphere: str, dormant: list[int], growing: list[int]
) -> None:
    days = [dt.date(2024, 1, 1) + dt.timedelta(days=day) for day in range(366)]
    empty_desk.load_texts(
        vineyard=SOUTH.replace("south", hemisphere),
        block=BLOCKS,
        event=EVENTS + "".join(f"A1,,{day},frost\n" for day in days),
        pruned=PRUNED + "".join(f"A1,{day},random,KL,1,1,0.5\n" for day in days),
    )
    events = {row["date"]: row["season"] for row in empty_desk.stored("event")}
    samples = {row["date"]: row["season"] for row in empty_desk.stored("sample")}
    assert events == {day: growing[day.month - 1] for day in days}
    assert samples == {day: dormant[day.month - 1] for day in days}


def test_a_season_that_is_given_wins(desk: Desk) -> None:
    desk.load_texts(t=EVENTS + "A1,2022,2023-01-15,frost\nA1,2024,2023-01-15,hail\n")
    assert [row["season"] for row in desk.stored("event")] == [2022, 2024]


@pytest.mark.parametrize(
    ("hemisphere", "date", "fits"),
    [
        ("south", "2024-05-31", True),
        ("south", "2025-05-31", True),
        ("south", "2025-06-01", False),
        ("south", "2022-05-01", True),
        ("south", "2022-04-30", False),
        ("north", "2025-12-31", True),
        ("north", "2026-01-01", False),
        ("north", "2022-08-01", True),
        ("north", "2022-07-31", False),
    ],
)
def test_a_date_lies_at_most_twelve_months_from_its_season(
    empty_desk: Desk, hemisphere: str, date: str, *, fits: bool
) -> None:
    empty_desk.load_texts(vineyard=SOUTH.replace("south", hemisphere), block=BLOCKS)
    content = EVENTS + f"A1,2024,{date},frost\n"
    if fits:
        assert empty_desk.load_texts(t=content).tallies[0].rows == 1
    else:
        assert "13 months outside season 2024" in empty_desk.faults_of(t=content)[0]


def test_the_hemisphere_is_that_of_the_block(empty_desk: Desk) -> None:
    empty_desk.load_texts(
        vineyard=SOUTH + "High Terrace,north,us\n",
        block=BLOCKS + "High Terrace,N1,2015\n",
        event="block,date,what\nA1,2023-07-01,frost\nN1,2023-07-01,frost\n",
    )
    assert [row["season"] for row in empty_desk.stored("event")] == [2024, 2023]


def test_a_load_that_names_no_vineyard_needs_its_season_and_unit_where_vineyards_differ(empty_desk: Desk) -> None:
    empty_desk.load_texts(vineyard=SOUTH + "High Terrace,north,us\n", block=BLOCKS)
    headings = "vineyard,date,season,issuer,number,basis,net\n"
    found = empty_desk.faults_of(t=headings + ",2023-03-01,,Scale,1,net_as_given,800\n")
    assert "t.csv:2:net: '800' has no unit" in found[0]
    found = empty_desk.faults_of(t=headings + ",2023-03-01,,Scale,1,net_as_given,800 kg\n")
    assert "t.csv:2:season: is empty; expected a harvest year, as no hemisphere is known" in found[0]
    empty_desk.load_texts(
        t=headings
        + ",2023-03-01,2023,Scale,1,net_as_given,800 kg\n"
        + "High Terrace,2023-09-01,,Scale,2,net_as_given,800\n"
        + "Low Terrace,2023-03-01,,Scale,3,net_as_given,800\n"
    )
    held = [(row["season"], row["net_milli"], row["mass_unit"]) for row in empty_desk.stored("load")]
    assert held == [(2023, 800_000, "kg"), (2023, 800_000, "lb"), (2023, 800_000, "kg")]


def test_a_book_without_vineyards_takes_what_needs_none(empty_desk: Desk) -> None:
    assert empty_desk.load_texts(t="name,address\nThe Cellar,1 Long Road\n").stored


LB_MG = 453_592.37


@pytest.mark.parametrize(
    ("units", "heading", "cell", "mg"),
    [
        ("metric", "prunings", "1.5", 1_500_000),
        ("us", "prunings", "1.5", round(1.5 * LB_MG)),
        ("us", "prunings [kg]", "1.5", 1_500_000),
        ("metric", "prunings [lb]", "1.5", round(1.5 * LB_MG)),
        ("metric", "prunings [lb]", "1.5 kg", 1_500_000),
        ("metric", "prunings", "24 oz", round(1.5 * LB_MG)),
        ("metric", "Prunings [ G ]", "1500", 1_500_000),
        ("metric", "prunings", "1.5kg", 1_500_000),
        ("us", "prunings [lbs]", "1.5 pounds", round(1.5 * LB_MG)),
        ("metric", "prunings", "0", 0),
    ],
)
def test_a_unit_stands_in_the_cell_the_heading_or_the_vineyard(
    empty_desk: Desk, units: str, heading: str, cell: str, mg: int
) -> None:
    empty_desk.load_texts(
        vineyard=SOUTH.replace("metric", units),
        block=BLOCKS,
        t=PRUNED.replace("prunings", heading) + f"A1,2022-07-01,random,KL,1,1,{cell}\n",
    )
    assert empty_desk.stored("pruned_vine")[0]["prunings_mg"] == mg


def test_vineyards_of_different_units_share_a_file(empty_desk: Desk) -> None:
    rows = [("A1", "1.5"), ("N1", "1.5"), ("N1", "1.5 kg"), ("A1", "1.5 lb")]
    empty_desk.load_texts(
        vineyard=SOUTH + "High Terrace,south,us\n",
        block=BLOCKS + "High Terrace,N1,2015\n",
        t=PRUNED
        + "".join(f"{block},2022-07-01,random,KL,1,{vine},{cell}\n" for vine, (block, cell) in enumerate(rows, 1)),
    )
    pound = round(1_500_000 * POUND_KG)
    assert [row["prunings_mg"] for row in empty_desk.stored("pruned_vine")] == [1_500_000, pound, 1_500_000, pound]


@pytest.mark.parametrize("unit", UNITS_OF_DIMENSION["mass"])
def test_conversion_is_exact_to_half_a_milligram(desk: Desk, unit: str) -> None:
    numbers = ["0.001", "0.02", "0.024", "0.0333", "0.07125"]
    desk.load_texts(
        t=PRUNED.replace("prunings", f"prunings [{unit}]")
        + "".join(f"A1,2022-07-01,random,KL,1,{vine},{number}\n" for vine, number in enumerate(numbers, 1))
    )
    for number, row in zip(numbers, desk.stored("pruned_vine"), strict=True):
        exact = Fraction(number) * UNITS_OF_DIMENSION["mass"][unit] * 1_000_000
        assert abs(row["prunings_mg"] - exact) <= Fraction(1, 2)


def test_semicolons_with_decimal_commas(desk: Desk) -> None:
    content = PRUNED.replace(",", ";") + "A1;2022-07-01;random;KL;1;1;1,5\nA1;2022-07-01;random;KL;1;2;2\n"
    desk.load_texts(t=content)
    assert [row["prunings_mg"] for row in desk.stored("pruned_vine")] == [1_500_000, 2_000_000]


def test_semicolons_with_decimal_points(desk: Desk) -> None:
    desk.load_texts(t=PRUNED.replace(",", ";") + "A1;2022-07-01;random;KL;1;1;1.5\n")
    assert desk.stored("pruned_vine")[0]["prunings_mg"] == 1_500_000


@pytest.mark.parametrize(
    ("gross", "tare", "net"),
    [("1000", "200", "800"), ("1000.5", "200.25", "800.25"), ("1 t", "0.2 t", "0.8 t"), ("0.3", "0.1", "0.2")],
)
def test_a_ticket_is_arithmetic_as_printed(desk: Desk, gross: str, tare: str, net: str) -> None:
    headings = "date,issuer,number,basis,gross,tare,net\n"
    desk.load_texts(t=headings + f"2023-03-01,Scale,7,gross_and_tare,{gross},{tare},{net}\n")
    row = desk.stored("load")[0]
    assert row["gross_milli"] - row["tare_milli"] == row["net_milli"]
    assert row["net_milli"] == Fraction(net.split(maxsplit=1)[0]) * 1000
    assert (row["deductions_milli"], row["refused_milli"]) == (0, 0)


def test_composed_and_decomposed_letters_are_one_code(desk: Desk) -> None:
    desk.load_texts(block2="vineyard,code,from_season\nLow Terrace,Cafe\u0301,2015\n")
    assert desk.load_texts(t=cluster_rows([(1, 1, 5)]).replace("A1", "Caf\u00e9")).stored


def test_a_hard_blank_is_a_blank_and_a_joiner_stays(desk: Desk) -> None:
    headings = "block,date,what,words\n"
    desk.load_texts(t=headings + "A1,2022-11-02,frost,low\u00a0ground\nA1,2022-11-03,frost,میخ\u200cچین 👩\u200d🌾\n")
    assert [row["words"] for row in desk.stored("event")] == ["low ground", "میخ\u200cچین 👩\u200d🌾"]


def test_words_that_look_like_sql_are_words(desk: Desk) -> None:
    words = "'); DROP TABLE event; --"
    desk.load_texts(t=f'block,date,what,words\nA1,2022-11-02,frost,"{words}"\n')
    assert desk.stored("event")[0]["words"] == words
    assert desk.verify().differences == []


@pytest.mark.parametrize("name", [b"caf\xe9.csv", "été 🍇.csv".encode(), b"a\nb.csv", b"a\x1b[31m.csv", b"%s'\".csv"])
def test_any_name_of_a_tally_can_be_kept_and_told(desk: Desk, name: bytes) -> None:
    path = Path(os.fsdecode(os.fsencode(desk.folder) + b"/" + name))
    path.write_text(cluster_rows([(1, 1, "x")]))
    for words in desk.faults(path):
        assert words.isprintable()
        assert words.encode()
    path.write_text(cluster_rows([(1, 1, 5)]))
    loaded = desk.load(path).tallies[0]
    assert loaded.name.isprintable()
    assert desk.verify().differences == []


def test_two_kinds_that_share_headings_are_told_apart_by_the_files_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    twin = replace(CLUSTER_TALLY, name="bunch_tally")
    monkeypatch.setattr(headings, "LOADED_KINDS", {**LOADED_KINDS, twin.name: twin})
    faults = Faults()
    for name in ("counts.csv", "bunch_tally 2024.csv"):
        (tmp_path / name).write_text(cluster_rows([(1, 1, 5)]))
    assert tally_file.open_tally(tmp_path / "counts.csv", faults) is None
    assert "fit more than one kind (cluster_tally, bunch_tally); expected the kind named with --kind" in str(
        faults.faults[0]
    )
    found = tally_file.open_tally(tmp_path / "bunch_tally 2024.csv", faults)
    assert found is not None
    assert found.kind is twin
    found = tally_file.open_tally(tmp_path / "counts.csv", faults, kind="cluster_tally")
    assert found is not None
    assert found.kind is CLUSTER_TALLY


@pytest.mark.parametrize("kind", ["event", "cluster_tally"])
def test_the_kind_may_be_named(desk: Desk, kind: str) -> None:
    path = desk.write("t.csv", cluster_rows([(1, 1, 5)]))
    if kind == "cluster_tally":
        assert desk.load(path, kind=kind).tallies[0].kind == kind
    else:
        assert any("is no heading of an event tally" in words for words in desk.faults(path, kind=kind))
    with pytest.raises(WordsError, match="'harvest' is not a kind of tally"):
        desk.load(path, kind="harvest")


def test_what_is_no_file_is_refused(desk: Desk, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path, words in [
        (tmp_path, "is not a file"),
        (tmp_path / "none.csv", "No such file"),
        (tmp_path / "pipe", "is not a file"),
    ]:
        with pytest.raises(FileRefusedError, match=words):
            desk.load(path)


def test_a_file_that_changes_while_it_is_read_is_refused(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    path = desk.write("t.csv", cluster_rows([(1, 1, 5)]))
    before = desk.held()
    opened = tally_file.open_tally

    def changed(*given: object, **more: object) -> object:
        tally = opened(*given, **more)  # type: ignore[arg-type]
        path.write_text(cluster_rows([(1, 1, 6)]))
        return tally

    monkeypatch.setattr(workbook, "open_tally", changed)
    with pytest.raises(FileRefusedError, match="changed while it was read"):
        desk.load(path)
    assert desk.held() == before


def test_the_entry_of_a_load_says_what_came(desk: Desk) -> None:
    import json

    from vinebook.records import journal

    content = cluster_rows([(1, 1, 5)])
    desk.load_texts(t=content)
    with desk.book.reading() as connection:
        entry = journal.newest(connection)
    assert entry is not None
    body = json.loads(entry.body)
    assert entry.subject == "tally 3 t.csv"
    assert body["sha256"] == hashlib.sha256(content.encode()).hexdigest()
    assert (body["rows"], body["samples"], body["kind"], body["size"]) == (1, 1, "cluster_tally", len(content))
    assert body["last_record"] - body["first_record"] == 1
