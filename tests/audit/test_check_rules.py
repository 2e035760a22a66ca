"""Every rule of `check` finds what it looks for, and leaves alone what is right."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pytest

from tests.conftest import BOTH
from tests.seasons.books import KG, Book, day, new_book
from vinebook.audit.check import RULES, CheckFinding, check
from vinebook.records.engine import engine_for
from vinebook.records.tables import METADATA

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from sqlalchemy import Engine

    from tests.postgresql import Server

TODAY = dt.date(2020, 1, 1)
SPURS: dict[str, object] = {"spurs": 6, "nodes_on_spurs": 12}


@pytest.fixture(params=BOTH)
def book(request: pytest.FixtureRequest) -> Iterator[Book]:
    """Give an empty book in SQLite's memory, then one on PostgreSQL; what is put into it is rolled back."""
    if request.param == "sqlite":
        with new_book() as made:
            yield made
        return
    engine: Engine = request.getfixturevalue("postgresql_tables")
    with engine.connect() as connection:
        yield Book(connection)
        connection.rollback()


@pytest.fixture(scope="module")
def postgresql_tables(postgresql_server: Server) -> Iterator[Engine]:
    """Give a database on PostgreSQL that holds the tables of a book, and nothing in them."""
    engine = engine_for(postgresql_server.create("rules"))
    METADATA.create_all(engine)
    yield engine
    engine.dispose()
    postgresql_server.drop("rules")


def found(book: Book, rule: str) -> list[CheckFinding]:
    return [finding for finding in check(book.connection, today=TODAY).findings if finding.rule == rule]


def pruned(book: Book, block: int, season: int, vines: Iterable[dict[str, object]]) -> int:
    sample = book.sample(block, season, "pruned_vine", f"{season}-02-01")
    book.vines("pruned_vine", sample, vines)
    return sample


def shoots(book: Book, block: int, count: int, blind: int, vines: int = 12, first: int = 1) -> int:
    sample = book.sample(block, 2019, "shoot_tally", "2019-05-20")
    counts: dict[str, object] = {"count_shoots": count, "double_shoots": 0, "noncount_shoots": 0, "blind_nodes": blind}
    rows = [{"vine": first + at, **counts} for at in range(vines)]
    book.vines("shoot_tally", sample, rows)
    return sample


def ordered_rows(book: Book, block: int, vine: int) -> None:
    book.add("row", block=block, from_season=2010, first_row=1, last_row=20, positions=50)
    pruned(book, block, 2019, [{"row": 20, "vine": vine, **SPURS}])


def vine_beyond_its_row(book: Book) -> None:
    ordered_rows(book, book.block(), 51)


def vine_in_its_row(book: Book) -> None:
    ordered_rows(book, book.block(), 50)


def vine_in_a_row_that_is_not_there(book: Book) -> None:
    block = book.block()
    ordered_rows(book, block, 50)
    sample = book.sample(block, 2019, "cluster_tally", "2019-06-20")
    book.vines("cluster_tally", sample, [{"row": 21, "clusters": 20}])


def rows_with_a_gap(book: Book, row: int) -> None:
    block = book.block()
    # Two ranges overlap, so that as many rows are named as lie between the first and the last.
    for first, last in ((1, 10), (10, 12), (14, 14)):
        book.add("row", block=block, from_season=2010, first_row=first, last_row=last, positions=50)
    pruned(book, block, 2019, [{"row": row, "vine": 1, **SPURS}])


def rows_of(book: Book, last: int) -> None:
    book.add("row", block=book.block(), from_season=2010, first_row=1, last_row=last, positions=50)


def census(book: Book, bearing: int, young: int, missing: int, *, loads: bool = True) -> None:
    block = book.block(census=None)
    given = {"bearing": bearing, "young": young, "missing": missing}
    book.add("vine_census", block=block, date=day("2019-05-01"), **given)
    if loads:
        book.load({block: None}, 2019, "2019-09-20", 5000)
        book.close(block, 2019, "2019-09-25")


def harvest_after(book: Book, census: str | None, date: str = "2019-09-20") -> None:
    block = book.block(census=census)
    book.load({block: None}, int(date[:4]), date, 5000)
    book.close(block, int(date[:4]), date)


def band(book: Book, source: str) -> None:
    book.add("target_band", block=book.block(), figure="nodes_per_vine", low=10, from_season=2015, source=source)


def counted_nodes(book: Book, count: int, blind: int, first: int = 1) -> None:
    block = book.block()
    pruned(book, block, 2019, [SPURS] * 12)
    shoots(book, block, count, blind, first=first)


def arms(book: Book, step_m: float, **target: object) -> None:
    block = book.block()
    if target:
        book.add("target_band", block=block, figure="spur_spacing", from_season=2015, source="agreed 2015", **target)
    sample = book.sample(block, 2019, "bearer", "2019-02-01")
    for arm in (1, 2):
        for at in range(5):
            book.add(
                "bearer", sample=sample, row=1, vine=1, bearer_number=10 * arm + at, bearer="spur", arm=arm,
                distance_m=0.1 + at * (step_m if arm == 1 else 0.12), nodes=2,
            )  # fmt: skip


def probes(book: Book, transects: int, each: int) -> None:
    sample = book.sample(book.block(), 2019, "canopy_probe", "2019-08-10")
    for transect in range(1, transects + 1):
        for probe in range(1, each + 1):
            book.add("canopy_probe", sample=sample, transect=transect, probe=probe, contacts="LCL")


def buds(book: Book, canes: int) -> None:
    sample = book.sample(book.block(), 2019, "bud_sample", "2019-01-10")
    for cane in range(1, canes + 1):
        book.add("bud_sample", sample=sample, cane=cane, buds=10, primaries_dead=3)


def vineyard_judged_by(book: Book, band_set: str) -> None:
    book.block(vineyard=book.add("vineyard", name="Low Terrace", hemisphere="north", band_set=band_set))


def clusters_of(book: Book, vines: int, chosen: str = "random", **more: object) -> None:
    sample = book.sample(book.block(), 2019, "cluster_tally", "2019-06-20", chosen, **more)
    book.vines("cluster_tally", sample, [{"clusters": 20 + at % 3} for at in range(vines)])


def same_vines(book: Book, moved: int) -> None:
    block = book.block()
    for season in (2017, 2018, 2019):
        sample = book.sample(block, season, "cluster_tally", f"{season}-06-20")
        rows: list[dict[str, object]] = [
            {"vine": 5 * at + (moved if season == 2018 else 0), "clusters": 20} for at in range(1, 13)
        ]
        book.vines("cluster_tally", sample, rows)


def split_load(book: Book, first: int | None, second: int | None) -> None:
    book.load({book.block("A1"): first, book.block("B1"): second}, 2019, "2019-09-20", 9000)


def load(book: Book, **more: object) -> None:
    book.load({book.block(): None}, 2019, "2019-09-20", 9000, **more)


def taken(book: Book, *, named: bool) -> None:
    load(book, consignee=book.add("consignee", name="Cellar of the Ford") if named else None)


def harvest(book: Book, date: str, *, closed: bool = False, pruned_since: bool = False) -> None:
    block = book.block()
    book.load({block: None}, 2019, date, 5000)
    if closed:
        book.close(block, 2019, date)
    if pruned_since:
        book.add("pruning_visit", block=block, season=2020, started_on=day("2019-12-10"), pruned="spur")


def estimate(book: Book, **more: object) -> None:
    given = {"stage": "veraison", "method": "clusters", "estimate_milli": 9000, "mass_unit": "t", **more}
    book.add(
        "crop_estimate", block=book.block(), season=2019, date=day("2019-08-05"), given_to="Cellar of the Ford", **given
    )


def visit_on(book: Book, season: int, date: str, hemisphere: str = "north") -> None:
    place = book.add("vineyard", name="Low Terrace", hemisphere=hemisphere)
    block = book.block(vineyard=place)
    book.add("pruning_visit", block=block, season=season, started_on=day(date), pruned="spur")


def picked_on(book: Book, date: str, hemisphere: str = "north", purpose: str = "still") -> None:
    place = book.add("vineyard", name="Low Terrace", hemisphere=hemisphere)
    book.load({book.block(vineyard=place): None}, 2019, date, 9000, purpose=purpose)


def components(book: Book, net: int) -> None:
    block = book.block()
    shoots(book, block, 20, 2)
    nodes = book.sample(block, 2019, "node_tally", "2019-05-25")
    for vine in range(1, 13):
        for position in (1, 2):
            book.add(
                "node_tally", sample=nodes, row=1, vine=vine, bearer="spur", bearer_number=1, position=position,
                shoots=1, clusters=1 + vine % 2, clusters_each=str(1 + vine % 2),
            )  # fmt: skip
    lots = book.sample(block, 2019, "cluster_lot", "2019-09-15")
    for lot in range(1, 13):
        book.add("cluster_lot", sample=lots, stage="harvest", lot=lot, clusters=30, mass_mg=3 * KG)
    book.load({block: None}, 2019, "2019-09-20", net)
    book.close(block, 2019, "2019-09-22")


def past(book: Book, newest: int) -> None:
    block = book.block()
    for season, net in zip(range(2014, 2020), (5000, 5200, 4800, 5100, 4900, newest), strict=True):
        book.load({block: None}, season, f"{season}-09-20", net)
        book.close(block, season, f"{season}-09-22")
    book.add("event", block=block, season=2019, date=day("2019-06-01"), what="hail")


def one_crop(book: Book, net: int) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", net)
    book.close(block, 2019, "2019-09-22")


def order(book: Book, nodes: float, tolerance: float | None = None) -> None:
    block = book.block()
    book.add(
        "pruning_visit", block=block, season=2019, started_on=day("2019-02-01"), pruned="spur",
        nodes_to_keep=nodes, tolerance=tolerance,
    )  # fmt: skip
    pruned(book, block, 2019, [{"spurs": 6, "nodes_on_spurs": 11 + at % 3} for at in range(21)])


def wood(book: Book, weighed: tuple[int, ...], pruned_as: str = "spur", *, crops: bool = True) -> None:
    block = book.block()
    for season in range(2016, 2020):
        visit = {"block": block, "season": season, "started_on": day(f"{season}-02-01"), "pruned": pruned_as}
        book.add("pruning_visit", **visit)
        if season in weighed:
            book.wood(block, season, [0.5, 0.6], f"{season}-02-01")
        if crops or season == 2015:
            book.load({block: None}, season - 1, f"{season - 1}-09-20", 5000)
            book.close(block, season - 1, f"{season - 1}-09-22")
    if not crops:
        book.load({block: None}, 2012, "2012-09-20", 5000)
        book.close(block, 2012, "2012-09-22")


def silenced(book: Book, rule: str) -> None:
    book.add("silence", block=book.block(), rule=rule, reason="agreed")


FINDS: list[tuple[str, Callable[[Book], object], str]] = [
    ("vine_not_in_rows", vine_beyond_its_row, "vine 51 of row 20, which has 50 positions"),
    ("vine_not_in_rows", vine_in_a_row_that_is_not_there, "row 21 is not among the rows of the block"),
    ("vine_not_in_rows", lambda book: rows_with_a_gap(book, 13), "row 13 is not among the rows of the block"),
    (
        "rows_against_planting",
        lambda book: rows_of(book, 19),
        "the rows from 2010 have 950 positions, the planting has 1,000",
    ),
    (
        "census_against_planting",
        lambda book: census(book, 900, 20, 70),
        "900 + 20 + 70 = 990 places, planted are 1,000",
    ),
    ("young_vines", lambda book: census(book, 900, 51, 49), "51 of 1,000 places are young vines, 5.1 %"),
    (
        "old_census",
        lambda book: harvest_after(book, "2016-09-19"),
        "the census of 2016-09-19 is the latest before the harvest of 2019",
    ),
    ("old_census", lambda book: harvest_after(book, "2016-02-29"), "the census of 2016-02-29"),
    ("harvest_without_census", lambda book: harvest_after(book, None), "harvest of 2019: no census is in the book"),
    ("harvest_without_census", lambda book: harvest_after(book, "2019-09-21"), "the first census was taken later"),
    (
        "band_without_source",
        lambda book: band(book, " - "),
        "the band for nodes_per_vine from 2015 names as its source: -",
    ),
    ("band_without_source", lambda book: band(book, "Unknown"), "names as its source: Unknown"),
    (
        "unknown_band_set",
        lambda book: vineyard_judged_by(book, "Whyte 2012"),
        "no set of bands is called Whyte 2012; did you mean White 2012?",
    ),
    (
        "bearers_without_nodes",
        lambda book: pruned(book, book.block(), 2019, [{"spurs": 6, "nodes_on_spurs": 0}]),
        "spurs 6, count nodes on them 0",
    ),
    (
        "bearers_without_nodes",
        lambda book: pruned(book, book.block(), 2019, [{"canes": 0, "nodes_on_canes": 9}]),
        "canes 0, count nodes on them 9",
    ),
    (
        "nodes_per_bearer",
        lambda book: pruned(book, book.block(), 2019, [{"spurs": 6, "nodes_on_spurs": 37}]),
        "spurs 6, count nodes on them 37: 6.17 on each",
    ),
    (
        "nodes_per_bearer",
        lambda book: pruned(book, book.block(), 2019, [{"canes": 2, "nodes_on_canes": 5}]),
        "canes 2, count nodes on them 5: 2.5 on each",
    ),
    (
        "count_and_blind",
        lambda book: counted_nodes(book, 12, 2),
        "count + blind nodes are 168 on 12 vines on which 144 nodes were kept: +17 %",
    ),
    (
        "count_and_blind",
        lambda book: counted_nodes(book, 14, 2, first=20),
        "are 16.0 a vine, nodes kept on other vines 12.0: +33 %",
    ),
    (
        "spur_spacing",
        lambda book: arms(book, 0.18),
        "1 of 2 arms lies outside 10–15 cm (common practice); farthest: row 1 vine 1 arm 1, 18 cm",
    ),
    ("spur_spacing", lambda book: arms(book, 0.14, low=8, high=13), "outside 8–13 cm (band of the block)"),
    ("spur_spacing", lambda book: arms(book, 0.156), "1 of 2 arms lies outside 10–15 cm"),
    ("spur_spacing", lambda book: arms(book, 0.14, high=13), "outside 13 cm or less (band of the block)"),
    ("spur_spacing", lambda book: arms(book, 0.08, low=9), "outside 9 cm or more (band of the block)"),
    ("few_probes", lambda book: probes(book, 1, 60), "60 probes of 2019-08-10 along 1 transect: one transect gives no"),
    ("few_probes", lambda book: probes(book, 2, 24), "48 probes of 2019-08-10 along 2 transects"),
    ("few_buds", lambda book: buds(book, 4), "40 buds cut on 4 canes"),
    ("small_sample", lambda book: clusters_of(book, 2), "cluster_tally: 2 vines, used for clusters per vine"),
    ("small_sample", lambda book: clusters_of(book, 8, "panels", panel_size=4), "cluster_tally: 2 panels"),
    (
        "hand_picked",
        lambda book: clusters_of(book, 20, "hand_picked"),
        "cluster_tally of 2019-06-20: vines were picked by hand",
    ),
    ("same_vines", lambda book: same_vines(book, 0), "cluster_tally: the same 12 vines in 2017–2019"),
    ("load_not_split", lambda book: split_load(book, 6000, None), "1 of 2 shares of 9000 kg have no mass"),
    ("parts_not_net", lambda book: split_load(book, 6000, 2900), "the shares make 8900 kg, net is 9000"),
    ("load_without_block", lambda book: book.load({}, 2019, "2019-09-20", 9000), "9000 kg are of no block"),
    (
        "bins_not_net",
        lambda book: load(book, basis="bins", bins=20, bin_mass_milli=440_000),
        "20 bins of 440 kg make 8800, net is 9000",
    ),
    ("off_scale", lambda book: load(book, scale_interval_milli=70_000), "net 9000 kg: no multiple of 70"),
    (
        "off_scale",
        lambda book: load(book, gross_milli=12_010_000, tare_milli=3_010_000, scale_interval_milli=20_000),
        "gross 12010, tare 3010 kg: no multiple of 20",
    ),
    (
        "refused_without_reason",
        lambda book: load(book, refused_milli=100_000, refused_reason=" "),
        "100 kg were refused and no reason is given",
    ),
    (
        "load_without_consignee",
        lambda book: taken(book, named=False),
        "9000 kg of 2019-09-20: nobody is named who took it",
    ),
    (
        "harvest_without_close",
        lambda book: harvest(book, "2019-09-20"),
        "the last load of 2019 is of 2019-09-20; that harvest is not closed",
    ),
    ("harvest_without_close", lambda book: harvest(book, "2019-11-20", pruned_since=True), "not closed"),
    ("estimate_without_interval", estimate, "9 t given to Cellar of the Ford on 2019-08-05 without an interval"),
    (
        "date_outside_window",
        lambda book: visit_on(book, 2019, "2018-09-10"),
        "pruning_visit of 2018-09-10 for season 2019; usual in the north: November to April",
    ),
    (
        "date_outside_window",
        lambda book: visit_on(book, 2019, "2019-02-10", "south"),
        "usual in the south: May to October",
    ),
    (
        "date_outside_window",
        lambda book: picked_on(book, "2019-09-20", "south"),
        "load of 2019-09-20 for season 2019; usual in the south: January to June",
    ),
    ("date_outside_window", lambda book: picked_on(book, "2019-05-20"), "usual in the north: July to December"),
    (
        "date_outside_window",
        lambda book: book.sample(book.block(), 2019, "cluster_tally", "2019-01-10"),
        "cluster_tally of 2019-01-10",
    ),
    (
        "component_check",
        lambda book: components(book, 2200),
        "shoots × clusters per shoot × cluster weight make +36 % against the crop",
    ),
    (
        "far_from_past",
        lambda book: past(book, 9900),
        "yield per vine 9.9 kg; the other 5 seasons are usually 2–8 kg; recorded of 2019: hail",
    ),
    (
        "crop_beyond_belief",
        lambda book: one_crop(book, 2_000_000),
        " t/ha of planted area; hardly any block bears more than 60",
    ),
    ("nodes_against_order", lambda book: order(book, 16), "ordered 16 ± 1.6 nodes a vine, kept 12.0 ("),
    ("nodes_against_order", lambda book: order(book, 14, 0.5), "ordered 14 ± 0.5"),
    (
        "wood_not_weighed",
        lambda book: wood(book, (2016, 2019)),
        "no wood was weighed at the prunings that set 2017–2018",
    ),
    ("silence_of_no_rule", lambda book: silenced(book, "old_cencus"), "there is no rule old_cencus"),
]

LEAVES: list[tuple[str, Callable[[Book], object]]] = [
    ("vine_not_in_rows", vine_in_its_row),
    ("vine_not_in_rows", lambda book: rows_with_a_gap(book, 14)),
    ("rows_against_planting", lambda book: rows_of(book, 20)),
    ("census_against_planting", lambda book: census(book, 900, 20, 80)),
    ("young_vines", lambda book: census(book, 900, 50, 50)),
    ("young_vines", lambda book: census(book, 0, 1000, 0, loads=False)),
    ("old_census", lambda book: harvest_after(book, "2016-09-20")),
    ("harvest_without_census", lambda book: harvest_after(book, "2019-09-20")),
    ("band_without_source", lambda book: band(book, "agreed with the adviser, 2015")),
    ("unknown_band_set", lambda book: vineyard_judged_by(book, "White 2012")),
    (
        "bearers_without_nodes",
        lambda book: pruned(book, book.block(), 2019, [SPURS, {"spurs": 0, "nodes_on_spurs": 0}]),
    ),
    (
        "nodes_per_bearer",
        lambda book: pruned(
            book, book.block(), 2019, [{"spurs": 6, "nodes_on_spurs": 36}, {"canes": 2, "nodes_on_canes": 20}]
        ),
    ),
    ("count_and_blind", lambda book: counted_nodes(book, 11, 2)),
    ("count_and_blind", lambda book: counted_nodes(book, 13, 2, first=20)),
    ("spur_spacing", lambda book: arms(book, 0.14)),
    ("spur_spacing", lambda book: arms(book, 0.154)),
    ("few_probes", lambda book: probes(book, 2, 25)),
    ("few_buds", lambda book: buds(book, 5)),
    ("spur_spacing", lambda book: arms(book, 0.18, low=8, high=20)),
    ("small_sample", lambda book: clusters_of(book, 3)),
    ("small_sample", lambda book: clusters_of(book, 9, "panels", panel_size=4)),
    ("hand_picked", lambda book: clusters_of(book, 20, "every_kth")),
    ("same_vines", lambda book: same_vines(book, 1)),
    ("load_not_split", lambda book: split_load(book, 6000, 3000)),
    ("load_not_split", load),
    ("parts_not_net", lambda book: split_load(book, 6000, 2995)),
    ("parts_not_net", lambda book: split_load(book, 6000, None)),
    ("load_without_block", load),
    ("bins_not_net", lambda book: load(book, basis="bins", bins=20, bin_mass_milli=449_000)),
    ("off_scale", lambda book: load(book, gross_milli=12_020_000, tare_milli=3_020_000, scale_interval_milli=20_000)),
    ("refused_without_reason", lambda book: load(book, refused_milli=100_000, refused_reason="rot")),
    ("load_without_consignee", lambda book: taken(book, named=True)),
    ("harvest_without_close", lambda book: harvest(book, "2019-09-20", closed=True)),
    ("harvest_without_close", lambda book: harvest(book, "2019-11-20")),
    ("estimate_without_interval", lambda book: estimate(book, low_milli=8000, high_milli=10_000, level=80)),
    ("date_outside_window", lambda book: visit_on(book, 2019, "2018-11-10")),
    ("date_outside_window", lambda book: visit_on(book, 2019, "2018-07-10", "south")),
    ("date_outside_window", lambda book: picked_on(book, "2019-03-20", "south")),
    ("date_outside_window", lambda book: picked_on(book, "2020-01-20", purpose="frozen")),
    ("component_check", lambda book: components(book, 3000)),
    ("far_from_past", lambda book: past(book, 7900)),
    ("crop_beyond_belief", lambda book: one_crop(book, 5_000)),
    ("nodes_against_order", lambda book: order(book, 13)),
    ("nodes_against_order", lambda book: order(book, 16, 4)),
    ("wood_not_weighed", lambda book: wood(book, (2017, 2019))),
    ("wood_not_weighed", lambda book: wood(book, (), "minimal")),
    ("wood_not_weighed", lambda book: wood(book, (), crops=False)),
    ("silence_of_no_rule", lambda book: silenced(book, "old_census")),
]


@pytest.mark.parametrize(("rule", "fill", "words"), FINDS, ids=[f"{rule}-{words[:40]}" for rule, _, words in FINDS])
def test_a_rule_finds(book: Book, rule: str, fill: Callable[[Book], object], words: str) -> None:
    fill(book)
    hits = found(book, rule)
    assert len(hits) == 1, hits
    assert words in hits[0].found
    assert hits[0].why == RULES[rule].why
    assert hits[0].record > 0
    assert hits[0].key


@pytest.mark.parametrize(("rule", "fill"), LEAVES, ids=[f"{rule}-{at}" for at, (rule, _) in enumerate(LEAVES)])
def test_a_rule_leaves_alone_what_is_right(book: Book, rule: str, fill: Callable[[Book], object]) -> None:
    fill(book)
    assert found(book, rule) == []


@pytest.mark.parametrize(
    ("fill", "words"),
    [
        (
            lambda book: arms(book, 0.18),
            "outside 4–6 in (common practice); farthest: row 1 vine 1 arm 1, 7.09 in between",
        ),
        (lambda book: past(book, 9900), "yield per vine 21.8 lb; the other 5 seasons are usually 4.41–17.6 lb"),
    ],
)
def test_findings_are_told_in_us_units_where_wanted(book: Book, fill: Callable[[Book], object], words: str) -> None:
    fill(book)
    told = [finding.found for finding in check(book.connection, today=TODAY, units="us").findings]
    assert any(words in one for one in told), told


def test_every_rule_is_shown_to_find_and_to_leave_alone() -> None:
    assert {rule for rule, _, _ in FINDS} == set(RULES)
    assert {rule for rule, _ in LEAVES} == set(RULES)


def test_a_struck_row_is_not_looked_at(book: Book) -> None:
    clusters_of(book, 20, "hand_picked")
    table = "UPDATE sample SET struck_at = '2019-07-01T00:00:00Z'"
    book.connection.exec_driver_sql(table)
    assert found(book, "hand_picked") == []


def test_an_empty_book_has_nothing_wrong(book: Book) -> None:
    assert check(book.connection, today=TODAY).findings == []
