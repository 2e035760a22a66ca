"""Crop, delivered fruit and yields, and the census they rest on."""

from __future__ import annotations

import math

import pytest
from scipy.stats import t as student

from tests.seasons.books import Book, day, interval_of


def test_crop_holds_what_was_refused_and_left_and_delivered_does_not(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 9000, refused_milli=500_000, deductions_milli=100_000)
    book.close(block, 2019, "2019-09-25", fruit_left_milli=300_000, fruit_left_by="weighed")
    assert book.figure(block, 2019, "crop").value == pytest.approx(9.3)
    assert book.figure(block, 2019, "delivered").value == pytest.approx(8.4)
    assert book.figure(block, 2019, "yield_per_vine").value == pytest.approx(9.3)
    assert book.figure(block, 2019, "yield_per_ha").value == pytest.approx(9.3 / 0.6)


def test_refused_fruit_falls_on_the_parts_of_a_load_by_their_mass(book: Book) -> None:
    a, b = book.block("A1"), book.block("B1")
    book.load({a: 6000, b: 3000}, 2019, "2019-09-20", 9000, refused_milli=900_000)
    for block in (a, b):
        book.close(block, 2019, "2019-09-25")
    assert book.figure(a, 2019, "delivered").value == pytest.approx(5.4)
    assert book.figure(b, 2019, "delivered").value == pytest.approx(2.7)


def test_a_load_that_is_not_split_blocks_the_close_of_each(book: Book) -> None:
    a, b = book.block("A1"), book.block("B1")
    book.load({a: None, b: None}, 2019, "2019-09-20", 9000, number="77")
    for block in (a, b):
        book.close(block, 2019, "2019-09-25")
        figure = book.figure(block, 2019, "crop")
        assert figure.status == "partial"
        assert figure.note == "a load holds several blocks and is not split: Weighbridge 77"
        assert book.figure(block, 2019, "yield_to_prunings").value is None


def test_tickets_in_several_units_add_up(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 2, mass_unit="ton")
    book.load({block: None}, 2019, "2019-09-21", 1000, mass_unit="lb")
    book.load({block: None}, 2019, "2019-09-22", 3, mass_unit="t")
    book.close(block, 2019, "2019-09-25")
    assert book.figure(block, 2019, "crop").value == pytest.approx(2 * 0.90718474 + 0.45359237 + 3)


def test_a_missing_harvest_is_waited_for_until_a_later_one_closes(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2019, "cluster_tally", "2019-07-01")
    book.vines("cluster_tally", sample, [{"clusters": 40}])
    assert book.figure(block, 2019, "crop").status == "pending"
    book.close(block, 2021, "2021-09-25")
    assert book.figure(block, 2019, "crop").status == "unknown"
    assert book.figure(block, 2020, "crop").status == "unknown", "a season without a record lies in between"


def test_fruit_of_young_vines_is_said_above_five_percent(book: Book) -> None:
    block = book.block(census=None)
    book.add("vine_census", block=block, date=day("2019-05-01"), bearing=900, young=60, missing=40)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_vine")
    assert figure.value == pytest.approx(10.0)
    assert figure.note == "the fruit of young vines, 6 % of the vines, is in the crop"


def test_the_census_in_force_is_the_latest_before_the_first_load(book: Book) -> None:
    block = book.block(census="2018-05-01", bearing=950)
    book.add("vine_census", block=block, date=day("2019-09-20"), bearing=900, young=0, missing=100)
    book.add("vine_census", block=block, date=day("2019-09-21"), bearing=100, young=0, missing=900)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_vine")
    assert figure.value == pytest.approx(10.0)
    assert "census of 2019-09-20" in figure.basis


def test_a_census_taken_later_is_said(book: Book) -> None:
    block = book.block(census="2022-05-01", bearing=900)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_vine")
    assert figure.value == pytest.approx(10.0)
    assert figure.note == "the only census was taken later, on 2022-05-01"


def test_without_a_census_there_is_no_yield_per_vine(book: Book) -> None:
    block = book.block(census=None)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_vine")
    assert (figure.value, figure.status, figure.note) == (None, "unknown", "no vine census is in the book")
    assert book.figure(block, 2019, "yield_per_ha").value == pytest.approx(15.0)


def test_sampled_rows_give_the_yield_an_interval(book: Book) -> None:
    block = book.block(census=None, positions=1000)
    rows = [(45, 5), (40, 10), (48, 2), (43, 7)]
    for number, (bearing, missing) in enumerate(rows, start=1):
        book.add(
            "vine_census",
            block=block,
            date=day("2019-05-01"),
            row=number,
            counted="sampled_rows",
            bearing=bearing,
            young=0,
            missing=missing,
        )
    book.load({block: None}, 2019, "2019-09-20", 8800)
    book.close(block, 2019, "2019-09-25")
    vines = book.figure(block, 2019, "vines_bearing")
    assert vines.value == pytest.approx(880)
    assert vines.n == 4
    residual = sum((bearing - 0.88 * 50) ** 2 for bearing, _ in rows) / 3
    se = math.sqrt((1 - 200 / 1000) * residual / 4) / 50 * 1000
    half = student.ppf(0.975, 3) * se / 880
    figure = book.figure(block, 2019, "yield_per_vine")
    assert figure.value == pytest.approx(10.0)
    assert figure.low == pytest.approx(10.0 * math.exp(-half))
    assert figure.high == pytest.approx(10.0 * math.exp(half))
    assert "sampled rows" in figure.note
    book.wood(block, 2020, [1.0, 1.1, 0.9, 1.0, 1.2, 0.8], "2020-01-10")
    widths = []
    for name in ("yield_to_prunings", "prunings_per_vine"):
        low, high = interval_of(book.figure(block, 2019, name))
        widths.append(high / low)
    assert widths[0] > widths[1], "the census adds its variance"


def test_several_full_rows_make_one_census(book: Book) -> None:
    block = book.block(census=None)
    for number, bearing in enumerate((400, 500), start=1):
        book.add("vine_census", block=block, date=day("2019-05-01"), row=number, bearing=bearing, young=0, missing=10)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "vines_bearing")
    assert (figure.value, figure.low, figure.chosen) == (900, None, "all")


def test_yield_per_metre_counts_every_curtain(book: Book) -> None:
    block = book.block(curtains=2, bearing=900)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    assert book.figure(block, 2019, "yield_per_m").value == pytest.approx(10.0 / 4.0)
    assert book.figure(block, 2019, "yield_per_m_planted").value == pytest.approx(9000 / 2000)


def test_without_training_a_figure_is_per_metre_of_row(book: Book) -> None:
    block = book.block(curtains=None)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_m")
    assert figure.value == pytest.approx(4.5)
    assert figure.per == "m of row"
    assert "no training is recorded" in figure.note


def test_vines_without_a_row_canopy_have_no_figure_per_metre(book: Book) -> None:
    block = book.block(curtains=None)
    book.add("training", block=block, from_season=2010, trained="head", shoot_position="free", pruned="spur")
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_m")
    assert (figure.value, figure.status) == (None, "unknown")


def test_a_split_by_eye_gives_the_ratio_no_interval(book: Book) -> None:
    a, b = book.block("A1"), book.block("B1")
    book.load({a: 6000, b: 3000}, 2019, "2019-09-20", 9000, split="by_eye")
    book.close(a, 2019, "2019-09-25")
    book.wood(a, 2020, [1.0, 1.1, 0.9, 1.0, 1.2, 0.8], "2020-01-10")
    figure = book.figure(a, 2019, "yield_to_prunings")
    assert figure.value == pytest.approx(6.0)
    assert figure.low is None
    assert "by eye" in figure.note


def test_must_figures_of_several_purposes_have_no_common_mean(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-08-20", 1000, purpose="sparkling", soluble_solids_brix=18.0, ph=3.0)
    book.load({block: None}, 2019, "2019-09-20", 3000, pick=2, soluble_solids_brix=24.0, ph=3.5)
    book.load({block: None}, 2019, "2019-09-21", 1000, pick=2, soluble_solids_brix=22.0, ph=3.6)
    book.close(block, 2019, "2019-09-25")
    assert book.figure(block, 2019, "soluble_solids", pick=1).value == 18.0
    second = book.figure(block, 2019, "soluble_solids", pick=2)
    assert second.value == pytest.approx(23.5)
    assert second.n == 2
    assert book.figure(block, 2019, "ph", pick=2).value == pytest.approx(3.55), "pH is a mean of readings"
    season = book.figure(block, 2019, "soluble_solids")
    assert (season.value, season.note) == (None, "picks of several purposes have no common mean")


def test_a_change_from_hand_to_machine_is_marked(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2018, "2018-09-20", 9000)
    book.load({block: None}, 2019, "2019-09-20", 9000, picked="machine")
    book.close(block, 2019, "2019-09-25")
    assert "picked by machine" in book.figure(block, 2019, "crop").note


def test_a_struck_load_does_not_count(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.load({block: None}, 2019, "2019-09-20", 500, struck_at="2019-10-01T00:00:00Z")
    book.close(block, 2019, "2019-09-25")
    assert book.figure(block, 2019, "crop").value == pytest.approx(9.0)


def test_a_line_for_a_part_stands_above_the_lines_of_its_rows(book: Book) -> None:
    block = book.block(census=None)
    given = {"block": block, "date": day("2019-05-01"), "young": 0, "missing": 0}
    book.add("vine_census", part="low", bearing=500, **given)
    book.add("vine_census", part="low", row=3, bearing=50, **given)
    book.add("vine_census", part="high", row=1, bearing=100, **given)
    book.add("vine_census", part="high", row=2, bearing=150, **given)
    book.close(block, 2019, "2019-09-25")
    assert book.figure(block, 2019, "vines_bearing").value == 750


def test_a_later_census_of_the_vines_that_replaced_them_does_not_count_the_old_ones(book: Book) -> None:
    block = book.add("block", vineyard=book.vineyard, code="R1", from_season=2000)
    plant = {"block": block, "row_spacing_m": 3.0, "vine_spacing_m": 2.0}
    book.add("planting", from_season=2000, to_season=2019, cultivar="Grey Hen", positions=1000, **plant)
    book.add("planting", from_season=2020, cultivar="White Hen", year_planted=2020, positions=1500, **plant)
    book.add("vine_census", block=block, date=day("2023-06-01"), bearing=1400, young=0, missing=100)
    book.load({block: None}, 2019, "2019-09-20", 9000)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "yield_per_vine")
    assert (figure.value, figure.note) == (None, "no vine census is in the book")


def test_vines_measured_anew_after_a_replant_are_not_counted_by_the_census_before_it(book: Book) -> None:
    block = book.add("block", vineyard=book.vineyard, code="R1", from_season=2000)
    plant = {"block": block, "row_spacing_m": 3.0, "vine_spacing_m": 2.0}
    book.add("planting", from_season=2000, cultivar="Grey Hen", positions=1000, **plant)
    book.add("planting", from_season=2015, cultivar="White Hen", year_planted=2015, positions=1500, **plant)
    book.add("planting", from_season=2020, cultivar="White Hen", year_planted=2015, positions=1510, **plant)
    book.add("vine_census", block=block, date=day("2012-06-01"), bearing=900, young=0, missing=100)
    book.load({block: None}, 2021, "2021-09-20", 9000)
    book.close(block, 2021, "2021-09-25")
    assert book.figure(block, 2021, "yield_per_vine").value is None
    book.add("vine_census", block=block, date=day("2018-06-01"), bearing=1500, young=0, missing=0)
    assert book.figure(block, 2021, "yield_per_vine").value == pytest.approx(6.0)


def test_a_line_that_sums_up_sampled_rows_is_expanded_to_the_block_without_an_interval(book: Book) -> None:
    block = book.block(census=None, positions=1000)
    given = {"block": block, "date": day("2019-05-01"), "counted": "sampled_rows"}
    book.add("vine_census", bearing=180, young=0, missing=20, **given)
    book.close(block, 2019, "2019-09-25")
    figure = book.figure(block, 2019, "vines_bearing")
    assert figure.value == pytest.approx(900)
    assert (figure.low, figure.n) == (None, None)
    assert "sampled rows" in figure.note


@pytest.mark.parametrize("names_vineyard", [True, False])
def test_no_crop_is_zero_while_a_ticket_of_the_vineyard_has_no_block(book: Book, names_vineyard: bool) -> None:
    block = book.block()
    given = {"vineyard": book.vineyard} if names_vineyard else {}
    book.load({}, 2019, "2019-09-20", 9000, number="7", **given)
    book.close(block, 2019, "2019-09-25")
    crop = book.figure(block, 2019, "crop")
    assert crop.status == "partial"
    assert crop.note == "fruit of 2019 is weighed and not yet given to blocks: Weighbridge 7"
    assert book.figure(block, 2019, "yield_per_ha").status == "partial"
    book.close(block, 2020, "2020-09-25")
    assert book.figure(block, 2020, "crop").status == "known"


def test_no_crop_is_zero_while_a_ticket_of_the_vineyard_is_not_split_to_its_net(book: Book) -> None:
    a, b, c = book.block("A1"), book.block("B1"), book.block("C1")
    book.load({a: 6000, b: 2999}, 2019, "2019-09-20", 9000, number="7", vineyard=book.vineyard)
    for block in (a, b, c):
        book.close(block, 2019, "2019-09-25")
    assert [book.figure(block, 2019, "crop").status for block in (a, b, c)] == ["known", "known", "partial"]
    assert "Weighbridge 7" in book.figure(c, 2019, "crop").note


def test_a_crop_is_zero_where_every_ticket_of_the_vineyard_has_its_blocks(book: Book) -> None:
    a, b = book.block("A1"), book.block("B1")
    elsewhere = book.add("vineyard", name="Far Ridge", hemisphere="north", units="metric")
    book.load({a: 6000}, 2019, "2019-09-20", 6000, vineyard=book.vineyard)
    book.load({a: None}, 2019, "2019-09-21", 5000)
    book.load({}, 2019, "2019-09-21", 5000, vineyard=elsewhere)
    book.close(b, 2019, "2019-09-25")
    crop = book.figure(b, 2019, "crop")
    assert (crop.value, crop.status, crop.note) == (0.0, "known", "the harvest was closed without fruit")


def test_must_figures_are_weighted_by_mass_and_ph_is_a_mean_of_readings(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 3000, soluble_solids_brix=22.0, ph=3.2, titratable_acidity_g_per_l=8.0)
    book.load({block: None}, 2019, "2019-09-21", 1000, soluble_solids_brix=24.0, ph=3.6)
    book.load({block: None}, 2019, "2019-09-22", 500)
    book.close(block, 2019, "2019-09-25")
    solids, ph, acidity = (book.figure(block, 2019, name) for name in ("soluble_solids", "ph", "titratable_acidity"))
    assert solids.value == pytest.approx((3 * 22.0 + 1 * 24.0) / 4)
    assert solids.n == 2
    assert ph.value == pytest.approx(3.4)
    assert ph.n == 2
    assert acidity.value == pytest.approx(8.0)
    assert acidity.n == 1
    assert "weighted by mass" in solids.basis
    assert "mean of the readings" in ph.basis


def test_a_load_of_two_blocks_weighs_in_each_by_the_share_of_that_block(book: Book) -> None:
    one, two = book.block("A1"), book.block("B1")
    book.load({one: 3000, two: 1000}, 2019, "2019-09-20", 4000, soluble_solids_brix=20.0)
    book.load({one: None}, 2019, "2019-09-21", 1000, soluble_solids_brix=24.0)
    book.load({two: None}, 2019, "2019-09-21", 1000, soluble_solids_brix=24.0)
    for block, value in ((one, (3 * 20.0 + 24.0) / 4), (two, (20.0 + 24.0) / 2)):
        book.close(block, 2019, "2019-09-25")
        assert book.figure(block, 2019, "soluble_solids").value == pytest.approx(value)


def test_must_figures_of_tickets_in_pounds_and_kilograms_have_one_mean(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 1000, soluble_solids_brix=20.0)
    book.load({block: None}, 2019, "2019-09-21", 1000, mass_unit="lb", soluble_solids_brix=24.0)
    book.close(block, 2019, "2019-09-25")
    expected = (1000 * 20.0 + 453.59237 * 24.0) / 1453.59237
    assert book.figure(block, 2019, "soluble_solids").value == pytest.approx(expected)


def test_a_pick_of_two_purposes_has_no_common_must_figure(book: Book) -> None:
    block = book.block()
    book.load({block: None}, 2019, "2019-09-20", 1000, soluble_solids_brix=20.0)
    book.load({block: None}, 2019, "2019-09-20", 1000, purpose="late", soluble_solids_brix=30.0)
    book.close(block, 2019, "2019-09-25")
    pick = book.figure(block, 2019, "soluble_solids", pick=1)
    assert (pick.value, pick.status) == (None, "unknown")
    assert pick.note == "picks of several purposes have no common mean"
