"""What an estimate of the crop rests on: counts as they stood on a day, and what seasons that are over tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.seasons.books import KG, day
from vinebook.errors import WordsError
from vinebook.seasons.crop_facts import CropBook, crop_facts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.seasons.books import Book
    from vinebook.seasons.crop_model import CropCounts, PastSeason


def clusters(book: Book, block: int, season: int, counts: Sequence[int], date: str, **more: object) -> None:
    chosen = str(more.pop("chosen", "random"))
    sample = book.sample(block, season, "cluster_tally", date, chosen, **more)
    book.vines("cluster_tally", sample, ({"clusters": count} for count in counts))


def lots(book: Book, block: int, season: int, stage: str, grams: Sequence[float], date: str, **more: object) -> None:
    """Add lots of ten clusters, each of so many grams."""
    sample = book.sample(block, season, "cluster_lot", date)
    for number, one in enumerate(grams, 1):
        mass = round(one * 10 * KG / 1000)
        book.add("cluster_lot", sample=sample, stage=stage, lot=number, clusters=10, mass_mg=mass, **more)


def picked(book: Book, block: int, season: int, kg: int, **more: object) -> None:
    book.load({block: None}, season, f"{season}-09-20", kg, **more)
    book.close(block, season, f"{season}-09-25")


def counts(book: Book, season: int, on: str, code: str = "A1") -> CropCounts:
    return crop_facts(book.connection, code, season, day(on))[1].counts


def past(book: Book, season: int, code: str = "A1") -> PastSeason:
    return next(one for one in CropBook(book.connection).past() if (one.block, one.season) == (code, season))


def test_only_what_was_counted_by_the_day_is_seen(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01")
    lots(book, block, 2020, "lag_phase", [60, 62], "2020-08-05")
    lots(book, block, 2020, "veraison", [90, 92], "2020-08-25")
    before, after = counts(book, 2020, "2020-08-10"), counts(book, 2020, "2020-08-30")
    assert before.clusters is not None
    assert (before.clusters.value, before.clusters.n, before.clusters.on) == (22, 3, day("2020-07-01"))
    assert list(before.weights) == ["lag_phase"]
    assert list(after.weights) == ["lag_phase", "veraison"]
    assert counts(book, 2020, "2020-06-30").clusters is None


def test_a_count_after_thinning_stands_before_the_one_before(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01")
    clusters(book, block, 2020, [14, 15, 16], "2020-07-25", thinning="after")
    book.add(
        "canopy_work", block=block, season=2020, work="cluster_thinning", started_on=day("2020-07-22"), done_by="hand"
    )
    early, late = counts(book, 2020, "2020-07-24"), counts(book, 2020, "2020-07-30")
    assert early.clusters is not None
    assert late.clusters is not None
    assert (early.clusters.value, early.clusters_after_thinning) == (22, False)
    assert (late.clusters.value, late.clusters_after_thinning) == (15, True)
    assert [(one.on, one.what) for one in early.disturbances] == [(day("2020-07-22"), "cluster_thinning")]


def test_a_census_taken_later_was_not_known(book: Book) -> None:
    block = book.block(census=None)
    book.add("vine_census", block=block, date=day("2020-09-01"), bearing=900, young=0, missing=100)
    clusters(book, block, 2020, [20, 22], "2020-07-01")
    assert counts(book, 2020, "2020-07-02").vines is None
    known = counts(book, 2020, "2020-09-02").vines
    assert known is not None
    assert (known.value, known.se) == (900, 0.0)


def test_a_forecast_takes_no_finite_population_correction(book: Book) -> None:
    block = book.block(positions=4)
    clusters(book, block, 2020, [20, 22, 24, 30], "2020-07-01")
    seen = counts(book, 2020, "2020-07-02").clusters
    assert seen is not None
    assert seen.se == pytest.approx(2.160247, rel=1e-6)


def test_hand_picked_vines_and_a_single_lot_have_no_spread(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01", chosen="hand_picked")
    lots(book, block, 2020, "lag_phase", [60], "2020-08-05")
    seen = counts(book, 2020, "2020-08-10")
    assert seen.clusters is not None
    assert (seen.clusters.has_spread, seen.clusters.by_hand) == (False, True)
    assert (seen.weights["lag_phase"].has_spread, seen.weights["lag_phase"].n) == (False, 1)


def test_panels_are_the_unit(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2020, [20, 22, 24, 30, 28, 26], "2020-07-01", chosen="panels", panel_size=3)
    seen = counts(book, 2020, "2020-07-02").clusters
    assert seen is not None
    assert (seen.n, seen.unit, seen.df) == (2, "panel", 1)


def test_days_after_bloom_are_those_written_down_else_from_the_bloom_read(book: Book) -> None:
    block = book.block()
    book.add("growth_stage", block=block, season=2020, date=day("2020-06-12"), code="65")
    lots(book, block, 2020, "lag_phase", [60, 62], "2020-08-05")
    lots(book, block, 2021, "lag_phase", [60, 62], "2021-08-05", days_after_bloom=51)
    assert counts(book, 2020, "2020-08-10").days_after_bloom == {"lag_phase": 54}
    assert counts(book, 2020, "2020-08-10").bloom_on == day("2020-06-12")
    assert counts(book, 2021, "2021-08-10").days_after_bloom == {"lag_phase": 51}


def test_a_past_season_has_its_crop_its_weights_and_its_close(book: Book) -> None:
    block = book.block(positions=1000)
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01")
    lots(book, block, 2020, "lag_phase", [60, 62], "2020-08-05")
    lots(book, block, 2020, "harvest", [120, 126], "2020-09-18")
    picked(book, block, 2020, 2600)
    told = past(book, 2020)
    assert (told.crop_t, told.picked_t, told.closed_on) == (2.6, 2.6, day("2020-09-25"))
    assert told.harvest_weight is not None
    assert told.harvest_weight.value == pytest.approx(123)
    assert not told.from_crop
    assert told.weights["lag_phase"].value == pytest.approx(61)


def test_without_lots_a_crop_picked_by_hand_gives_the_weight_and_one_by_machine_does_not(book: Book) -> None:
    block = book.block(positions=1000)
    for season, how in ((2020, "hand"), (2021, "machine")):
        clusters(book, block, season, [20, 22, 24], f"{season}-07-01")
        picked(book, block, season, 2640, picked=how)
    by_hand, by_machine = past(book, 2020), past(book, 2021)
    assert by_hand.harvest_weight is not None
    assert by_hand.harvest_weight.value == pytest.approx(120)
    assert by_hand.from_crop
    assert (by_machine.harvest_weight, by_machine.by_machine) == (None, True)


def test_fruit_that_fell_after_the_count_gives_no_weight(book: Book) -> None:
    block = book.block(positions=1000)
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01")
    book.add("event", block=block, season=2020, date=day("2020-07-20"), what="hail", share_hit_percent=30.0)
    picked(book, block, 2020, 1500)
    assert past(book, 2020).harvest_weight is None


def test_fruit_left_on_the_vine_is_crop_and_not_picked(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2020, "2020-09-20", 1800)
    book.close(block, 2020, "2020-09-25", fruit_left_milli=200_000)
    told = past(book, 2020)
    assert (told.crop_t, told.picked_t) == (2.0, 1.8)


def test_moments_are_the_days_of_counts_before_picking_of_closed_seasons(book: Book) -> None:
    block = book.block()
    for season in (2020, 2021):
        sample = book.sample(block, season, "shoot_tally", f"{season}-05-20")
        book.vines("shoot_tally", sample, [{"count_shoots": 12}])
        clusters(book, block, season, [20, 22, 24], f"{season}-07-01")
        lots(book, block, season, "lag_phase", [60, 62], f"{season}-08-05")
        lots(book, block, season, "harvest", [120, 126], f"{season}-09-{18 + season - 2018}")
    picked(book, block, 2020, 2600)
    picked(book, block, 2021, 2600)
    moments, stood = CropBook(book.connection).moments(["A1"])
    told = {(one.season, one.stage): one.on.isoformat()[5:] for one in moments}
    assert told == {
        (2020, "bud_break"): "05-20", (2020, "set"): "07-01", (2020, "lag_phase"): "08-05",
        (2020, "near_harvest"): "09-20",
        (2021, "bud_break"): "05-20", (2021, "set"): "07-01", (2021, "lag_phase"): "08-05",
    }  # fmt: skip
    assert [one.on for one in stood] == [one.on for one in moments]


def test_an_open_season_is_no_moment_and_has_no_outcome(book: Book) -> None:
    block = book.block()
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01")
    assert CropBook(book.connection).moments(())[0] == []
    assert crop_facts(book.connection, "A1", 2020, day("2020-07-02"))[1].outcome is None


def test_a_block_or_season_that_is_not_there_is_named(book: Book) -> None:
    book.block()
    with pytest.raises(WordsError, match="no block 'A9'"):
        crop_facts(book.connection, "A9", 2020, day("2020-07-02"))
    with pytest.raises(WordsError, match="lies near season 2090"):
        crop_facts(book.connection, "A1", 2090, day("2090-07-02"))


def test_sampled_rows_of_a_census_carry_their_error(book: Book) -> None:
    block = book.block(positions=1000, census=None)
    for row, bearing in enumerate((45, 48, 50, 41), 1):
        book.add(
            "vine_census", block=block, date=day("2020-02-01"), row=row, bearing=bearing, young=0, missing=50 - bearing,
            counted="sampled_rows",
        )  # fmt: skip
    clusters(book, block, 2020, [20, 22, 24], "2020-07-01")
    vines = counts(book, 2020, "2020-07-02").vines
    assert vines is not None
    assert vines.value == pytest.approx(920)
    assert (vines.unit, vines.n) == ("row", 4)
    assert vines.se is not None
    assert vines.se > 10
