"""Sheets of the appendix packed into columns: nothing lost, nothing too high, long ones cut between rows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.reports import histories
from vinebook.reports.appendix import CELL_SHARES, NARROWEST_PT, Sheet, figure_sheets, undated, without_repeats
from vinebook.reports.marks import FEWER
from vinebook.reports.packing import lines_of, pack_sheets, sheet_height
from vinebook.reports.tables import Cell
from vinebook.seasons.model import Figure

WIDTH_PT, PAGE_PT = 493.0, 740.0


def sheet(name: str, rows: int, words: str = "") -> Sheet:
    cells = tuple((Cell(str(2000 + i)), Cell("1.2"), Cell("1.0–1.4"), Cell("9"), Cell(words)) for i in range(rows))
    return Sheet(name, "kg", "What it is.", cells)


def rows_of(sheets: list[Sheet]) -> list[tuple[str, str]]:
    return [(one.title.removesuffix(", continued"), row[0].text) for one in sheets for row in one.rows]


@pytest.mark.parametrize("rows", [[1], [3, 3, 3], [12] * 9, [25] * 20, [200], [5, 120, 5], [61, 62, 63]])
def test_no_row_is_lost_and_no_column_is_higher_than_its_page(rows: list[int]) -> None:
    sheets = [sheet(f"sheet {number}", count) for number, count in enumerate(rows)]
    spreads = pack_sheets(sheets, WIDTH_PT, PAGE_PT, PAGE_PT - 80)
    assert rows_of([one for spread in spreads for column in spread.columns for one in column]) == rows_of(sheets)
    for number, spread in enumerate(spreads):
        for column in spread.columns:
            height = sum(sheet_height(one, WIDTH_PT) for one in column)
            assert height <= PAGE_PT - (0 if number else 80)


def test_the_last_page_is_balanced() -> None:
    (spread,) = pack_sheets([sheet(str(number), 5) for number in range(6)], WIDTH_PT, PAGE_PT, PAGE_PT)
    assert [len(column) for column in spread.columns] == [2, 2, 2]


def test_a_row_of_many_words_counts_its_lines() -> None:
    one, other = sheet("a", 1), sheet("a", 1, "word " * 40)
    assert sheet_height(other, WIDTH_PT) > sheet_height(one, WIDTH_PT) + 5 * 10
    assert lines_of("W" * 100, 50, 7.5) > 10
    assert lines_of("", 50, 7.5) == 1


def test_equal_neighbours_stand_in_one_row_and_dates_are_never_merged_away() -> None:
    def area(season: int, basis: str) -> Figure:
        return Figure("B1", season, "planted_area", 1.5, "ha", chosen="all", basis=basis)

    merged = figure_sheets(tuple(area(season, "positions × spacings") for season in (2018, 2019, 2020, 2022)), "metric")
    assert [row[0].text for row in merged[0].rows] == ["2018–2020", "2022"]
    dated = figure_sheets(tuple(area(season, f"census of {season}-02-20") for season in (2018, 2019)), "metric")
    assert [(row[0].text, row[4].text) for row in dated[0].rows] == [("2018", "2018-02-20"), ("2019", "2019-02-20")]
    assert undated("census of 2018-02-20") == "census of the date below"
    assert dated[0].about.endswith("Basis: census of the date below. Name: planted_area.")
    assert undated("crop ÷ bearing vines; 2018-09-20; census of 2018-02-20") == "crop ÷ bearing vines; census in force"


def test_a_note_of_several_rows_is_told_once() -> None:
    base = Figure("B1", 2018, "crop", 1.5, "t", note="part of the crop was judged by eye, hence no interval")
    other = replace(base, season=2020, note="a note that stands once in the whole sheet")
    (sheet_of_crop,) = figure_sheets((base, replace(base, season=2019, value=1.7), other), "metric")
    assert [(row[4].text, row[4].mark) for row in sheet_of_crop.rows] == [
        ("", "a"),
        ("", "a"),
        ("", "b"),
    ]
    assert sheet_of_crop.notes == (
        ("a", "part of the crop was judged by eye, hence no interval"),
        ("b", "a note that stands once in the whole sheet"),
    )


def test_a_pick_or_a_bearer_that_says_the_same_as_the_whole_is_not_repeated() -> None:
    whole = Figure("B1", 2018, "soluble_solids", 22.5, "°Brix", n=2)
    other = replace(whole, season=2019, value=23.0)
    figures = (whole, replace(whole, pick=1), other, replace(other, pick=1, n=1), replace(other, pick=2, n=1, value=24))
    assert without_repeats(figures) == [whole, other, figures[3], figures[4]]
    nodes = Figure("B1", 2018, "nodes_per_vine", 18.0, "nodes", low=17.0, high=19.0, n=10)
    assert without_repeats((nodes, replace(nodes, bearer="spur"))) == [nodes]


def test_a_cut_sheet_keeps_the_notes_of_its_own_rows() -> None:
    rows = tuple((Cell(str(i)), Cell("1"), Cell(""), Cell(""), Cell("", "a" if i < 5 else "b")) for i in range(150))
    long = Sheet("long", "kg", "What it is.", rows, (("a", "first"), ("b", "then")))
    (spread,) = pack_sheets([long], WIDTH_PT, PAGE_PT, PAGE_PT)
    parts = [one for column in spread.columns for one in column]
    assert parts[0].notes == (("a", "first"), ("b", "then"))
    assert parts[-1].notes == (("b", "then"),)


def test_a_figure_without_any_value_has_no_sheet() -> None:
    assert figure_sheets(histories.all_pending().figures, "metric") == []


def seasons_in(text: str) -> set[int]:
    """Read the seasons of a row back: "2018–2020, 2022"."""
    found: set[int] = set()
    for run in text.split(", "):
        first, _, last = run.partition("–")
        found |= set(range(int(first), int(last or first) + 1))
    return found


def test_every_season_with_a_value_stands_in_the_appendix() -> None:
    figures = tuple(f for f in histories.hostile().figures if f.position is None)
    for name in dict.fromkeys(f.figure for f in figures):
        (found,) = figure_sheets(tuple(f for f in figures if f.figure == name), "metric")
        told = [season for row in found.rows for season in sorted(seasons_in(row[0].text))]
        assert told == [f.season for f in figures if f.figure == name]


def test_what_follows_never_stands_alone_on_the_last_page() -> None:
    sheets = [sheet(str(number), 15) for number in range(9)]
    assert len(pack_sheets(sheets, WIDTH_PT, PAGE_PT, PAGE_PT)) == 1
    spreads = pack_sheets(sheets, WIDTH_PT, PAGE_PT, PAGE_PT, 150.0)
    assert rows_of([one for spread in spreads for column in spread.columns for one in column]) == rows_of(sheets)
    assert len(spreads) == 2
    assert max(sum(sheet_height(one, WIDTH_PT) for one in column) for column in spreads[-1].columns) < PAGE_PT - 150


def test_another_basis_or_choice_is_told_under_the_sheet() -> None:
    base = Figure("B1", 2018, "crop", 1.5, "t", chosen="all", basis="loads; 2018-09-20")
    others = (
        replace(base, season=2019, basis="loads; 2019-09-21"),
        replace(base, season=2020, basis="bins; 2020-09-22"),
    )
    (one,) = figure_sheets((base, *others), "metric")
    assert one.about.endswith("Chosen: full count. Basis: loads. Name: crop.")
    assert [(row[-1].text, row[-1].mark) for row in one.rows] == [
        ("2018-09-20", ""),
        ("2019-09-21", ""),
        ("2020-09-22", "a"),
    ]
    assert one.notes == (("a", "basis: bins"),)


def test_no_sheet_of_the_last_page_is_cut_into_a_lone_row() -> None:
    notes = tuple((letter, "a long note that takes its room under each piece of the sheet " * 3) for letter in "ab")
    one = replace(sheet("short", 6), notes=notes)
    one = replace(one, rows=tuple((*row[:-1], Cell("", "ab"[at % 2])) for at, row in enumerate(one.rows)))
    for count in (4, 5, 6, 7):
        (spread,) = pack_sheets([replace(one, rows=one.rows[:count])], WIDTH_PT, PAGE_PT, PAGE_PT)
        assert min(len(piece.rows) for column in spread.columns for piece in column) >= 3


def test_a_season_with_its_pick_stands_in_one_line() -> None:
    whole = Figure("B1", 2018, "soluble_solids", 22.5, "°Brix", n=2)
    figures = tuple(replace(whole, season=2018 + pick, pick=pick, value=20.0 + pick) for pick in (1, 2, 10))
    (one,) = figure_sheets(figures, "metric")
    assert [row[0].text for row in one.rows] == ["2019 pick 1", "2020 pick 2", "2028 pick 10"]
    assert all(lines_of(row[0].text, one.shares[0] * NARROWEST_PT - 2, 7.5) == 1 for row in one.rows)


def test_a_date_and_its_letters_stand_in_one_line_where_other_columns_have_room() -> None:
    base = Figure("B1", 2018, "crop", 1.5, "t", chosen="all", basis="loads; 2018-09-20")
    others = (
        replace(base, season=2019, basis="bins; 2019-09-21", note="part of it was judged by eye"),
        replace(base, season=2020, basis="loads; 2020-09-22", note="part of it was judged by eye"),
    )
    (one,) = figure_sheets((base, *others), "metric")
    assert one.rows[1][-1] == Cell("2019-09-21", "a,b")
    assert one.shares[-1] > CELL_SHARES[-1]
    assert sum(one.shares) == pytest.approx(1)
    assert lines_of("2019-09-21 a,b", one.shares[-1] * NARROWEST_PT - 4.5, 7.5) == 1


def test_letters_of_a_row_stand_in_their_order() -> None:
    first = Figure("B1", 2018, "crop", 1.5, "t", chosen="all", note="judged by eye")
    both = replace(first, season=2019, note="first crop; judged by eye")
    (one,) = figure_sheets((first, both), "metric")
    assert [row[-1].mark for row in one.rows] == ["a", "a,b"]
    assert one.notes == (("a", "judged by eye"), ("b", "first crop"))


def test_how_much_hand_picked_vines_differ_stands_under_the_sheet_not_in_its_narrow_column() -> None:
    spread = "standard deviation between vines 3.97 clusters"
    base = Figure("B1", 2018, "clusters_per_vine", 21.0, "clusters", n=12, chosen="hand_picked", note=spread)
    (one,) = figure_sheets((replace(base, basis="latest cluster tally; 2018-07-01"),), "metric")
    assert one.rows[0][-1] == Cell("2018-07-01", "a")
    assert one.notes == (("a", spread),)


def test_a_mark_beside_n_keeps_its_distance_from_the_date() -> None:
    few = Figure("B1", 2018, "budbreak", 95.0, "%", low=92.0, high=97.0, n=5, chosen="random", basis="x; 2018-05-24")
    marked, plain = (figure_sheets((replace(few, note=note),), "metric")[0] for note in (min(FEWER), ""))
    assert marked.rows[0][3].mark
    assert (marked.is_marked, plain.is_marked) == (True, False)


def test_seasons_without_a_value_keep_their_line_beside_long_notes() -> None:
    base = Figure("B1", 2018, "crop", 1.5, "t", chosen="all", basis="loads; 2018-09-20")
    missing = Figure(
        "B1", 2019, "crop", None, "t", status="unknown", note="unknown: nothing was weighed in any of them"
    )
    judged = replace(base, season=2022, basis="bins; 2022-09-21", note="part of it was judged by eye")
    before = (replace(base, season=2017, value=1.2), base)
    (one,) = figure_sheets((*before, missing, replace(missing, season=2020), judged), "metric")
    assert one.rows[2][0].text == "2019, 2020"
    assert one.rows[3][-1].mark == "b,c"
    assert lines_of("2019, 2020", one.shares[0] * NARROWEST_PT - 2, 7.5) == 1


def test_a_reading_of_two_words_stays_together() -> None:
    sheets = figure_sheets(histories.twelve_seasons().figures, "metric")
    said = [row[-1].text for sheet in sheets for row in sheet.rows if "clear" in row[-1].text]
    assert said
    assert all("not\u00a0clear" in text for text in said)
