"""From a figure back to the rows that it was worked out from: no more is needed, and the right ones are named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from tests.seasons.books import Book, day
from vinebook.kinds import KINDS
from vinebook.records.tables import TABLES
from vinebook.seasons.carried import figures_of_codes, figures_with_carried
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.commands import command_of
from vinebook.seasons.rows_told import ranges_in_words, ranges_of
from vinebook.seasons.tracing import key_of_figure, rows_behind

if TYPE_CHECKING:
    from vinebook.seasons.figures import Key
    from vinebook.seasons.model import Figure
    from vinebook.seasons.tracing import Traced

EVIDENCE = (
    *("sample", "vine_census", "planting", "training", "pruning_visit", "load", "load_part", "harvest_close"),
    *(kind.name for kind in KINDS.values() if kind.sampled),
)
"""Kinds whose rows a figure is worked out from; the block itself always stands."""


def rich(book: Book, code: str = "A1", *, spurs: int | None = 8) -> int:
    """Add a block whose seasons 2022 and 2023 hold a count of everything, with counts that later ones replace."""
    block = book.block(code, positions=400)
    book.add("vine_census", block=block, date=day("2023-02-01"), bearing=380, young=5, missing=15)
    for season in (2022, 2023, 2024):
        book.add("pruning_visit", block=block, season=season, started_on=day(f"{season}-01-10"), pruned="spur")
        vines = [
            {"prunings_mg": (900 + 40 * vine) * 1000, "canes_weighed": 15, "spurs": spurs, "canes": 2}
            | {"nodes_on_spurs": 14 + vine % 3, "nodes_on_canes": 6, "nodes_on_renewal_spurs": 2}
            for vine in range(12)
        ]
        book.vines("pruned_vine", book.sample(block, season, "pruned_vine", f"{season}-01-11"), vines)
    for season in (2022, 2023, 2024):
        # An event keeps the season in the book where a test takes all else away.
        book.add("event", block=block, season=season, date=day(f"{season}-06-15"), what="hail")
    for season in (2022, 2023):
        _growing(book, block, season)
        _canopy(book, block, season)
        _harvest(book, block, season)
    return block


def _growing(book: Book, block: int, season: int) -> None:
    for date in (f"{season}-04-20", f"{season}-05-20"):
        shoots = [
            {"count_shoots": 14 + vine % 3, "double_shoots": 2, "noncount_shoots": vine % 4, "blind_nodes": 1}
            for vine in range(10)
        ]
        book.vines("shoot_tally", book.sample(block, season, "shoot_tally", date), shoots)
    nodes = book.sample(block, season, "node_tally", f"{season}-06-01")
    for vine in range(1, 8):
        for position in range(-1, 3):
            given = {"bearer_number": 1, "shoots": 1, "clusters": (vine + position) % 3, "clusters_each": "1"}
            book.add("node_tally", sample=nodes, row=1, vine=vine, bearer="spur", position=position, **given)
    for thinning, more in (("before", 4), ("after", 0)):
        sample = book.sample(
            block, season, "cluster_tally", f"{season}-07-0{1 + (thinning == 'after')}", thinning=thinning
        )
        book.vines("cluster_tally", sample, [{"clusters": 22 + vine % 5 + more} for vine in range(11)])
    for stage, date in (("veraison", f"{season}-08-10"), ("harvest", f"{season}-09-10")):
        sample = book.sample(block, season, "cluster_lot", date)
        for lot in range(1, 9):
            given = {"mass_mg": (1100 + 30 * lot) * 1000, "berries": 100, "berry_mass_mg": (110 + lot) * 1000}
            book.add("cluster_lot", sample=sample, stage=stage, lot=lot, clusters=10, **given)


def _canopy(book: Book, block: int, season: int) -> None:
    bearers = book.sample(block, season, "bearer", f"{season}-05-01")
    for vine in range(1, 7):
        for spur in range(1, 5):
            given = {
                "arm": 1,
                "distance_m": 0.11 * spur + vine * spur**2 / 900,
                "count_shoots": 2,
                "double_shoots": 0,
                "noncount_shoots": 0,
            }
            book.add("bearer", sample=bearers, row=1, vine=vine, bearer_number=spur, bearer="spur", **given)
        book.add(
            "bearer",
            sample=bearers,
            row=1,
            vine=vine,
            bearer_number=9,
            bearer="end_of_arm",
            arm=1,
            distance_m=0.7 + vine / 50,
        )
    buds = book.sample(block, season, "bud_sample", f"{season}-01-05")
    for cane in range(1, 9):
        book.add("bud_sample", sample=buds, cane=cane, buds=10, primaries_dead=cane % 3)
    probes = book.sample(block, season, "canopy_probe", f"{season}-08-01")
    for probe in range(24):
        contacts = ("LLC", "LCL", "G", "LLL", "CL")[probe % 5]
        book.add("canopy_probe", sample=probes, transect=1 + probe // 6, probe=1 + probe % 6, contacts=contacts)
    leaves = book.sample(block, season, "leaf_area", f"{season}-08-05")
    book.vines("leaf_area", leaves, [{"leaf_area_m2": 3 + vine / 10} for vine in range(8)])


def _harvest(book: Book, block: int, season: int) -> None:
    must = {"soluble_solids_brix": 22.5, "ph": 3.4, "titratable_acidity_g_per_l": 6.1}
    book.load({block: None}, season, f"{season}-09-12", 900, refused_milli=20_000, **must)
    book.load({block: 500}, season, f"{season}-09-20", 500, pick=2, ph=3.5)
    book.close(block, season, f"{season}-09-25", fruit_left_milli=30_000)


def named(traced: Traced) -> dict[str, set[int]]:
    """Give the records that a trace names by kind."""
    found: dict[str, set[int]] = {}
    for rows in traced.rows:
        found.setdefault(rows.kind, set()).update(
            number for first, last in rows.numbers for number in range(first, last + 1)
        )
    return found


def of(book: Book, season: int) -> dict[Key, Figure]:
    """Give the figures of a season by what names them."""
    return {key_of_figure(figure): figure for figure in book.figures(season=season)}


def test_every_figure_follows_from_the_rows_behind_it_alone(book: Book) -> None:
    rich(book)
    figures = of(book, 2023)
    assert {figure.figure for figure in figures.values() if figure.value is not None} >= set(FIGURES) - {
        "surveyed_area"
    }
    for traced in rows_behind(book.connection, list(figures.values())):
        if traced.figure.value is None:
            continue
        kept = named(traced)
        others = book.connection.begin_nested()
        for kind in EVIDENCE:
            table = TABLES[kind]
            book.connection.execute(
                table.update().where(table.c.record.not_in(kept.get(kind, {0}))).values(struck_at="now")
            )
        alone = of(book, 2023)[key_of_figure(traced.figure)]
        others.rollback()
        assert (alone.value, alone.low, alone.high, alone.n) == (
            traced.figure.value,
            traced.figure.low,
            traced.figure.high,
            traced.figure.n,
        ), traced


@pytest.mark.parametrize("kind", [kind for kind in EVIDENCE if kind not in ("sample", "pruning_visit", "vine_harvest")])
def test_a_figure_that_moves_with_a_row_names_it(book: Book, kind: str) -> None:
    rich(book)
    before = of(book, 2023)
    behind = {
        key_of_figure(traced.figure): named(traced) for traced in rows_behind(book.connection, list(before.values()))
    }
    moved = 0
    records = book.connection.execute(select(TABLES[kind].c.record)).scalars().all()
    for record in records[:: 1 + len(records) // 12]:
        step = book.connection.begin_nested()
        book.connection.execute(TABLES[kind].update().where(TABLES[kind].c.record == record).values(struck_at="now"))
        after = of(book, 2023)
        step.rollback()
        for key, figure in before.items():
            if figure.value is not None and (key not in after or after[key].value != figure.value):
                moved += 1
                assert record in behind[key].get(kind, set()), (kind, record, key)
    assert moved


def test_the_wood_of_a_season_is_that_of_the_next_visit(book: Book) -> None:
    block = rich(book)
    [traced] = rows_behind(book.connection, [book.figure(block, 2023, "prunings_per_vine")])
    visits = [rows.key for rows in traced.rows if rows.kind == "pruning_visit"]
    assert visits == ["A1/2024"]


def test_the_share_of_gaps_names_the_own_band_in_force(book: Book) -> None:
    block = rich(book)
    given = {"figure": "spur_spacing", "source": "by the grower"}
    book.add("target_band", vineyard=book.vineyard, low=8.0, high=20.0, from_season=2020, **given)
    earlier = book.add("target_band", block=block, low=9.0, high=18.0, from_season=2020, **given)
    latest = book.add("target_band", block=block, low=10.0, high=12.0, from_season=2023, **given)
    book.add("target_band", block=block, low=1.0, high=2.0, from_season=2024, **given)
    for season, band in ((2022, earlier), (2023, latest)):
        [traced] = rows_behind(book.connection, [book.figure(block, season, "spur_spacing_within_share")])
        assert named(traced)["target_band"] == {band}


def test_a_pending_figure_has_the_rows_that_are_there(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2023, "2023-09-12", 900)
    book.close(block, 2023, "2023-09-25")
    figure = book.figure(block, 2023, "yield_to_prunings")
    assert figure.status == "pending"
    [traced] = rows_behind(book.connection, [figure])
    assert {rows.kind for rows in traced.rows} >= {"load", "load_part", "harvest_close"}


def test_fruit_and_wood_of_the_same_vines_name_both_samples(book: Book) -> None:
    block = book.block(positions=100)
    book.fruit(block, 2023, [3, 4, 5, 6], "2023-09-12")
    book.wood(block, 2024, [0.7, 0.9, 1.0, 1.2], "2024-01-12")
    [traced] = rows_behind(book.connection, [book.figure(block, 2023, "yield_to_prunings")])
    assert "same vines" in traced.figure.note
    counts = {kind: len(numbers) for kind, numbers in named(traced).items()}
    assert counts == {"sample": 2, "vine_harvest": 4, "pruned_vine": 4, "planting": 1}


def test_a_count_by_parts_names_the_census_that_weighs_them(book: Book) -> None:
    block = book.block(positions=300, census=None)
    for part, bearing in (("low", 100), ("top", 200)):
        book.add("vine_census", block=block, date=day("2023-02-01"), part=part, bearing=bearing, young=0, missing=0)
        sample = book.sample(block, 2023, "cluster_tally", "2023-07-01", part=part)
        book.vines("cluster_tally", sample, [{"clusters": 20 + vine + bearing // 50} for vine in range(5)])
    [traced] = rows_behind(book.connection, [book.figure(block, 2023, "clusters_per_vine")])
    assert len(named(traced)["vine_census"]) == 2


def test_a_carried_figure_names_the_rows_of_the_predecessor(book: Book) -> None:
    old = rich(book, "OLD")
    new = book.block("NEW", from_season=2025)
    book.add("predecessor", block=new, predecessor=old, how="renaming")
    figures = [figure for figure in figures_with_carried(book.connection, [new], None) if figure.season == 2023]
    traced = {key_of_figure(one.figure): one for one in rows_behind(book.connection, figures)}
    own = {key_of_figure(one.figure): one for one in rows_behind(book.connection, book.figures(old, 2023))}
    assert traced
    for key, one in traced.items():
        assert one.carried_from == ("OLD",)
        assert one.rows == own[key].rows, key


def test_a_merger_names_the_rows_and_the_vines_of_every_predecessor(book: Book) -> None:
    parents = [rich(book, code) for code in ("LEFT", "RIGHT")]
    new = book.block("BOTH", from_season=2025)
    for parent in parents:
        book.add("predecessor", block=new, predecessor=parent, how="merger")
    figures = [figure for figure in figures_of_codes(book.connection, ["BOTH"], [2023]) if figure.figure == "budbreak"]
    [traced] = rows_behind(book.connection, figures)
    assert traced.carried_from == ("LEFT", "RIGHT")
    kinds = {(rows.kind, rows.key.split("/")[0]) for rows in traced.rows}
    assert kinds >= {(kind, code) for kind in ("shoot_tally", "vine_census") for code in ("LEFT", "RIGHT")}


def test_numbers_stand_as_ranges() -> None:
    assert ranges_of([9, 3, 4, 5, 5, 7]) == ((3, 5), (7, 7), (9, 9))
    assert ranges_in_words(((3, 5), (7, 7)), "#") == "#3–#5, #7"


def test_the_words_that_follow_a_figure_are_a_command(book: Book) -> None:
    block = rich(book, "B 7")
    words = command_of(book.figure(block, 2023, "crop"), "B 7")
    assert words == "vinebook figures 'B 7' --season 2023 --figure crop --rows"
