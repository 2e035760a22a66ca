"""The demo's tallies hold what the demo promises, and the same seed gives the same bytes."""

from __future__ import annotations

import csv
import re
from collections import Counter, defaultdict
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from openpyxl import load_workbook

from demo.blocks import TODAY
from demo.generate import generate
from vinebook.kinds import KINDS, LOADED_KINDS
from vinebook.kinds.form import tally_fields
from vinebook.quantities import months_outside, season_of

if TYPE_CHECKING:
    from pathlib import Path

Row = dict[str, str]


class Handed:
    """The tallies as a crew handed them in, read without the house's own reader."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.headings: dict[str, list[str]] = {}
        self.of_kind: dict[str, list[Row]] = defaultdict(list)
        self.hemisphere: dict[str, str] = {}
        for path in sorted(path for path in folder.rglob("*") if path.is_file()):
            lines = lines_of(path)
            name = str(path.relative_to(folder))
            self.headings[name] = lines[0]
            fields = [re.sub(r" \[.*", "", heading) for heading in lines[0]]
            kind = kind_of(fields, path.stem)
            for line in lines[1:]:
                assert len(line) == len(fields), name
                self.of_kind[kind].append(dict(zip(fields, line, strict=True)) | {"file": name})
        vineyards = {row["name"]: row["hemisphere"] for row in self.of_kind["vineyard"]}
        self.hemisphere = {row["code"]: vineyards[row["vineyard"]] for row in self.of_kind["block"]}

    def season(self, row: Row, kind: str) -> int:
        """Give the season of a row: its own cell, else what the date says."""
        if row.get("season"):
            return int(row["season"])
        name = next(name for name in ("date", "started_on", "finished_on") if row.get(name))
        return season_of(date.fromisoformat(row[name]), self.hemisphere[row["block"]], KINDS[kind].part)


def lines_of(path: Path) -> list[list[str]]:
    """Give headings and rows of a tally, be it text or the one workbook."""
    if path.suffix == ".xlsx":
        found = load_workbook(path)[path.stem].iter_rows(values_only=True)
        headings, *rows = (["" if cell is None else str(cell) for cell in row] for row in found)
        names = [
            heading.removesuffix(" *").replace(" [", "[").replace(" ", "_").replace("[", " [") for heading in headings
        ]
        return [names, *([cell.removesuffix(" 00:00:00") for cell in row] for row in rows if any(row))]
    text = path.read_bytes().decode("utf-8-sig")
    delimiter = ";" if text.partition("\n")[0].count(";") else ","
    return list(csv.reader(text.splitlines(), delimiter=delimiter))


def kind_of(fields: list[str], stem: str) -> str:
    """Give the kind that a file's name begins with, and see that its columns are that kind's."""
    kind = max((name for name in LOADED_KINDS if stem.startswith(name)), key=len)
    assert set(fields) <= {field.name for field in tally_fields(KINDS[kind])}
    return kind


@pytest.fixture(scope="module")
def handed(tmp_path_factory: pytest.TempPathFactory) -> Handed:
    folder = tmp_path_factory.mktemp("tallies")
    generate(folder)
    return Handed(folder)


def bytes_below(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_same_seed_gives_the_same_bytes_and_another_seed_does_not(tmp_path: Path) -> None:
    for name, seed in (("one", 1), ("again", 1), ("other", 2)):
        generate(tmp_path / name, seed)
    assert bytes_below(tmp_path / "one") == bytes_below(tmp_path / "again")
    assert bytes_below(tmp_path / "one") != bytes_below(tmp_path / "other")


def test_every_kind_that_is_loaded_is_handed_in(handed: Handed) -> None:
    assert set(handed.of_kind) == set(LOADED_KINDS)


def test_two_sites_stand_in_two_hemispheres_with_ten_blocks_or_more(handed: Handed) -> None:
    assert sorted(row["hemisphere"] for row in handed.of_kind["vineyard"]) == ["north", "south"]
    assert len(handed.hemisphere) >= 10
    assert min(Counter(handed.hemisphere.values()).values()) >= 4


def test_twelve_seasons_or_more_have_a_harvest_on_each_site(handed: Handed) -> None:
    for hemisphere in ("north", "south"):
        seasons = {
            handed.season(row, "harvest_close")
            for row in handed.of_kind["harvest_close"]
            if handed.hemisphere[row["block"]] == hemisphere
        }
        assert len(seasons) >= 12
        assert max(seasons) == TODAY.year


def test_blocks_are_spur_pruned_and_cane_pruned_and_one_turned_midway(handed: Handed) -> None:
    pruned: dict[str, dict[int, str]] = defaultdict(dict)
    for row in handed.of_kind["pruning_visit"]:
        pruned[row["block"]][handed.season(row, "pruning_visit")] = row["pruned"]
    assert {"spur"} in [set(ways.values()) for ways in pruned.values()]
    assert {"cane"} in [set(ways.values()) for ways in pruned.values()]
    assert {season for season, way in pruned["V2"].items() if way == "spur"} == set(range(2014, 2020))
    assert {season for season, way in pruned["V2"].items() if way == "cane"} == set(range(2020, 2027))
    training = {row["from_season"]: row["pruned"] for row in handed.of_kind["training"] if row["block"] == "V2"}
    assert training == {"1999": "spur", "2020": "cane"}
    for row in handed.of_kind["pruned_vine"]:
        if row["block"] == "V2" and row["state"] == "bearing":
            is_cane = handed.season(row, "pruned_vine") >= 2020
            assert bool(row["canes"]) == is_cane
            assert bool(row["spurs"]) != is_cane


def test_the_converted_block_has_node_tallies_before_and_after(handed: Handed) -> None:
    seasons = {handed.season(row, "node_tally") for row in handed.of_kind["node_tally"] if row["block"] == "V2"}
    assert len([season for season in seasons if season < 2020]) >= 3
    assert len([season for season in seasons if season >= 2020]) >= 3
    assert len({row["block"] for row in handed.of_kind["node_tally"]}) >= 3


def test_one_canopy_is_divided(handed: Handed) -> None:
    assert [row["block"] for row in handed.of_kind["training"] if row["curtains"] == "2"] == ["V4"]


def test_a_block_was_replanted_and_its_young_vines_are_in_the_census(handed: Handed) -> None:
    old, new = [row for row in handed.of_kind["planting"] if row["block"] == "V5"]
    assert int(old["to_season"]) + 1 == int(new["from_season"])
    assert old["cultivar"] != new["cultivar"]
    censuses = {row["date"][:4]: row for row in handed.of_kind["vine_census"] if row["block"] == "V5"}
    assert int(censuses[new["from_season"]]["young"]) > 0
    assert int(censuses[new["from_season"]]["bearing"]) == 0
    first_crop = min(
        int(row["season"])
        for row in handed.of_kind["load_part"]
        if row["block"] == "V5" and row["season"] >= new["from_season"]
    )
    assert first_crop == int(new["from_season"]) + 2


def test_a_block_was_split_in_two_that_share_its_rows(handed: Handed) -> None:
    split = [row for row in handed.of_kind["predecessor"] if row["how"] == "split"]
    assert {(row["predecessor"], row["block"]) for row in split} == {("V6", "V6A"), ("V6", "V6B")}
    blocks = {row["code"]: row for row in handed.of_kind["block"]}
    assert int(blocks["V6"]["to_season"]) + 1 == int(blocks["V6A"]["from_season"]) == int(blocks["V6B"]["from_season"])
    layout = rows_of(handed)
    before = {row for block, season, row in layout if block == "V6" and season == 2019}
    after = [{row for block, season, row in layout if block == code and season == 2020} for code in ("V6A", "V6B")]
    assert after[0] | after[1] == before
    assert not after[0] & after[1]


def test_two_blocks_became_one_that_a_machine_picks_later_on(handed: Handed) -> None:
    mergers = {(row["predecessor"], row["block"]) for row in handed.of_kind["predecessor"] if row["how"] == "merger"}
    assert mergers == {("V7", "V78"), ("V8", "V78")}
    layout = rows_of(handed)
    after = {row for block, season, row in layout if block == "V78" and season == 2021}
    assert after == {row for block, season, row in layout if block in ("V7", "V8") and season == 2020}
    parts = [row for row in handed.of_kind["load_part"] if row["block"] == "V78"]
    ways = {int(row["season"]): row["picked"] for row in parts}
    assert ways == dict.fromkeys(range(2021, 2024), "hand") | dict.fromkeys(range(2024, 2027), "machine")


def test_a_block_was_given_a_new_code(handed: Handed) -> None:
    renamed = [row for row in handed.of_kind["predecessor"] if row["how"] == "renaming"]
    assert [(row["predecessor"], row["block"]) for row in renamed] == [("P1", "V9")]
    layout = rows_of(handed)
    assert {row for block, season, row in layout if block == "P1" and season == 2018} == {
        row for block, season, row in layout if block == "V9" and season == 2019
    }


def test_missing_vines_rise_over_the_years(handed: Handed) -> None:
    missing = [int(row["missing"]) for row in handed.of_kind["vine_census"] if row["block"] == "V1"]
    assert missing == sorted(missing)
    assert missing[-1] > 4 * missing[0]


def test_a_frost_year_has_events_fewer_count_shoots_more_from_other_buds_and_less_fruit(handed: Handed) -> None:
    hit = {row["block"]: int(row["share_hit"]) for row in handed.of_kind["event"] if row["what"] == "frost"}
    assert all(handed.season(row, "event") == 2017 for row in handed.of_kind["event"] if row["what"] == "frost")
    assert hit["V6"] > 50
    shoots: dict[int, Counter[str]] = defaultdict(Counter)
    for row in handed.of_kind["shoot_tally"]:
        if row["block"] == "V6" and row["state"] == "bearing":
            for name in ("count_shoots", "noncount_shoots", "blind_nodes"):
                shoots[handed.season(row, "shoot_tally")][name] += int(row[name])
    for season in set(shoots) - {2017}:
        assert budbreak(shoots[2017]) < budbreak(shoots[season]) - 0.08
        assert noncount_share(shoots[2017]) > 1.5 * noncount_share(shoots[season])
    crop = delivered_kg(handed, "V6")
    assert crop[2017] == min(crop.values())


def budbreak(shoots: Counter[str]) -> float:
    return shoots["count_shoots"] / (shoots["count_shoots"] + shoots["blind_nodes"])


def noncount_share(shoots: Counter[str]) -> float:
    return shoots["noncount_shoots"] / (shoots["count_shoots"] + shoots["noncount_shoots"])


def test_the_wood_of_a_year_was_not_weighed(handed: Handed) -> None:
    left_out = {
        (row["block"], handed.season(row, "pruning_visit"))
        for row in handed.of_kind["pruning_visit"]
        if row["wood_weighed"] == "no"
    }
    assert {(block, 2021) for block in ("Z1", "Z2", "Z3", "Z4", "Z5")} <= left_out
    weighed = {
        (row["block"], handed.season(row, "pruned_vine")) for row in handed.of_kind["pruned_vine"] if row["prunings"]
    }
    assert not weighed & left_out
    visits = {(row["block"], handed.season(row, "pruning_visit")) for row in handed.of_kind["pruning_visit"]}
    assert visits - left_out == weighed


def test_the_wood_of_2026_is_weighed_in_the_south_and_in_one_block_of_the_north(handed: Handed) -> None:
    next_season = str(TODAY.year + 1)
    visited = {
        row["block"]
        for row in handed.of_kind["pruning_visit"]
        if handed.season(row, "pruning_visit") == int(next_season)
    }
    assert visited == {block for block, hemisphere in handed.hemisphere.items() if hemisphere == "south"} | {"V4"}


def test_loads_hold_two_blocks_by_weight_and_by_bins_and_their_parts_make_the_net(handed: Handed) -> None:
    parts = defaultdict(list)
    for row in handed.of_kind["load_part"]:
        parts[row["issuer"], row["number"]].append(row)
    shared = {key: rows for key, rows in parts.items() if len(rows) == 2}
    assert {row["split"] for rows in shared.values() for row in rows} == {"weighed", "bins"}
    net = {(row["issuer"], row["number"]): Fraction(row["net"]) for row in handed.of_kind["load"]}
    assert set(net) == set(parts)
    for key, rows in shared.items():
        assert sum(Fraction(row["mass"]) for row in rows) == net[key]
    assert all(row["split"] == "whole" for rows in parts.values() if len(rows) == 1 for row in rows)


def test_tickets_are_arithmetic_on_the_interval_of_the_scale(handed: Handed) -> None:
    bases = Counter(row["basis"] for row in handed.of_kind["load"])
    assert set(bases) == {"gross_and_tare", "net_as_given", "bins"}
    for row in handed.of_kind["load"]:
        if row["basis"] == "gross_and_tare":
            masses = [Fraction(row[name]) for name in ("gross", "tare", "net")]
            assert masses[0] - masses[1] == masses[2]
            assert all(mass % Fraction(row["scale_interval"]) == 0 for mass in masses)
        if row["basis"] == "bins":
            assert Fraction(row["bins"]) * Fraction(row["bin_mass"]) == Fraction(row["net"])


def test_fruit_was_left_on_the_vine(handed: Handed) -> None:
    left = [row for row in handed.of_kind["harvest_close"] if float(row["fruit_left"]) > 0]
    assert {row["fruit_left_by"] for row in left} == {"weighed", "by_eye"}
    assert all(row["reason"] for row in left)


def test_vines_were_chosen_as_panels_as_single_vines_every_kth_and_by_hand(handed: Handed) -> None:
    chosen = Counter(row["chosen"] for row in handed.of_kind["cluster_tally"])
    assert set(chosen) == {"panels", "random", "every_kth", "hand_picked"}


def test_panels_are_consecutive_positions_of_a_row(handed: Handed) -> None:
    panels = defaultdict(list)
    for kind in ("pruned_vine", "shoot_tally", "cluster_tally", "vine_harvest"):
        for row in handed.of_kind[kind]:
            if row["chosen"] == "panels":
                size = int(row["panel_size"])
                key = (
                    kind,
                    row["block"],
                    row["date"],
                    row.get("thinning"),
                    row["row"],
                    (int(row["vine"]) - 1) // size,
                    size,
                )
                panels[key].append(int(row["vine"]))
    assert len(panels) > 100
    for key, vines in panels.items():
        number, size = key[-2:]
        assert vines == list(range(number * size + 1, (number + 1) * size + 1))


def rows_of(handed: Handed) -> dict[tuple[str, int, int], int]:
    """Give the positions of each row by block, season and number."""
    positions = {}
    for row in sorted(handed.of_kind["row"], key=lambda row: int(row["from_season"])):
        for season in range(max(int(row["from_season"]), 2014), TODAY.year + 2):
            for number in range(int(row["first_row"]), int(row["last_row"] or row["first_row"]) + 1):
                positions[row["block"], season, number] = int(row["positions"])
    return positions


def test_sampled_vines_stand_in_the_rows_and_none_twice_in_a_sample(handed: Handed) -> None:
    positions = rows_of(handed)
    for kind in ("pruned_vine", "shoot_tally", "cluster_tally", "vine_harvest", "node_tally"):
        seen: Counter[tuple[str | None, ...]] = Counter()
        for row in handed.of_kind[kind]:
            season = handed.season(row, kind)
            assert 1 <= int(row["vine"]) <= positions[row["block"], season, int(row["row"])]
            seen[
                tuple(
                    row.get(name)
                    for name in ("block", "date", "thinning", "row", "vine", "bearer", "bearer_number", "position")
                )
            ] += 1
        assert max(seen.values()) == 1


def test_one_tally_is_in_us_units_and_one_has_semicolons_and_decimal_commas(handed: Handed) -> None:
    headings = [heading for names in handed.headings.values() for heading in names]
    assert "prunings [lb]" in headings
    assert "prunings [kg]" in headings
    assert "row_spacing [ft]" in headings
    texts = {
        name: (handed.folder / name).read_text(encoding="utf-8-sig")
        for name in handed.headings
        if name.endswith(".csv")
    }
    with_semicolons = [name for name, text in texts.items() if ";" in text.partition("\n")[0]]
    assert len(with_semicolons) == 1
    assert re.search(r";\d+,\d+\n", texts[with_semicolons[0]])
    assert not re.search(r"\d\.\d", texts[with_semicolons[0]])


def test_one_tally_is_a_workbook_of_the_own_form(handed: Handed) -> None:
    assert [name for name in handed.headings if name.endswith(".xlsx")] == ["vellowick/2026/maturity_sample.xlsx"]


def test_some_tallies_give_the_season_and_some_leave_it_to_the_date(handed: Handed) -> None:
    for kind in ("load", "shoot_tally", "cluster_tally"):
        has_season = {"season" in names for file, names in handed.headings.items() if file.endswith(f"/{kind}.csv")}
        assert has_season == {True, False}


def test_no_date_lies_ahead_or_outside_its_season(handed: Handed) -> None:
    for kind, rows in handed.of_kind.items():
        for row in rows:
            for name in ("date", "started_on", "finished_on"):
                if not row.get(name):
                    continue
                on = date.fromisoformat(row[name])
                assert on <= TODAY
                if KINDS[kind].part and row.get("block"):
                    assert months_outside(on, handed.season(row, kind), handed.hemisphere[row["block"]]) == 0


def test_a_season_read_from_the_date_is_the_season_that_other_tallies_write(handed: Handed) -> None:
    for row in handed.of_kind["pruning_visit"]:
        hemisphere = handed.hemisphere[row["block"]]
        assert season_of(date.fromisoformat(row["started_on"]), hemisphere, "dormant") == int(row["season"])
    by_number = {row["number"]: int(row["season"]) for row in handed.of_kind["load_part"]}
    for row in handed.of_kind["load"]:
        hemisphere = {"Vellowick Terraces": "north", "Zennavar Flats": "south"}[row["vineyard"]]
        assert season_of(date.fromisoformat(row["date"]), hemisphere, "growing") == by_number[row["number"]]


def delivered_kg(handed: Handed, block: str) -> dict[int, float]:
    """Give what the loads of a block weighed, by season."""
    net = {(row["issuer"], row["number"]): float(row["net"]) for row in handed.of_kind["load"]}
    delivered: dict[int, float] = defaultdict(float)
    for row in handed.of_kind["load_part"]:
        if row["block"] == block:
            delivered[int(row["season"])] += float(row["mass"] or net[row["issuer"], row["number"]])
    return delivered
