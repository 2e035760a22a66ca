"""Words of a page, the notes under tables, and which characters the faces can print."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from tests.reports import histories
from vinebook.errors import SystemLibraryError
from vinebook.reports import fonts, marks, story, words
from vinebook.reports.marks import Notes
from vinebook.reports.tables import SeasonFigures
from vinebook.reports.words import inside_sentence, join_words, make_printable, read_moment, write_days, write_seasons
from vinebook.seasons.model import Figure
from vinebook.seasons.notes import NOTES, Note, words_of

if TYPE_CHECKING:
    from pathlib import Path


def figure(season: int, value: float | None = 1.0, **more: object) -> Figure:
    return replace(Figure("B1", season, "nodes_per_vine", value, "nodes"), **more)  # type: ignore[arg-type]


def test_seasons_are_written_as_runs() -> None:
    assert write_seasons([2016, 2013, 2014, 2015, 2018, 2020, 2021]) == "2013–2016, 2018, 2020, 2021"
    assert write_seasons([]) == ""


def test_days_share_what_they_have_in_common() -> None:
    day = dt.date
    assert write_days(day(2017, 1, 14), day(2017, 1, 23)) == "14–23\u00a0January 2017"
    assert write_days(day(2017, 1, 14), day(2017, 2, 3)) == "14\u00a0January – 3\u00a0February 2017"
    assert write_days(day(2016, 12, 28), day(2017, 1, 3)) == "28\u00a0December 2016 – 3\u00a0January 2017"
    assert write_days(day(2017, 1, 14), None) == "14\u00a0January 2017"


def test_a_moment_is_read_as_utc_to_the_second() -> None:
    moment = dt.datetime(2025, 2, 3, 16, 20, tzinfo=dt.UTC)
    assert read_moment("2025-02-03T16:20:00.123456Z") == moment
    assert read_moment("2025-02-03T18:20:00+02:00") == moment
    assert read_moment("2025-02-03T16:20:00") == moment
    assert read_moment("yesterday") is None


def test_words_are_joined_as_a_sentence_does() -> None:
    assert [join_words(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


def test_small_samples_unclear_readings_and_hand_picked_vines_carry_their_marks() -> None:
    notes = Notes()
    assert notes.mark(figure(2020, note=NOTES[Note.FEW], low=0.5, high=2.0, reading="not clear"), 2020) == "†‡"
    assert notes.mark(figure(2021, chosen="hand_picked"), 2021) == "§"
    assert notes.mark(figure(2022, low=0.5, high=2.0), 2022) == ""
    assert [mark for mark, _ in notes.lines] == ["†", "‡", "§"]


def test_notes_that_differ_only_by_season_share_a_letter() -> None:
    notes = Notes()
    for season in (2013, 2014, 2016):
        why = f"pending: the wood of {season} is weighed at the pruning that sets {season + 1}"
        assert notes.mark(figure(season, None, status="pending", note=why), season) == "a"
    assert notes.mark(None, 2015) == "b"
    assert notes.lines[0] == (
        "a",
        "pending: the wood of that season is weighed at the pruning that sets the next season",
    )


def test_a_date_in_a_note_stays_a_date() -> None:
    notes = Notes()
    for season in (2013, 2014):
        notes.letter(f"the only census was taken later, on {season}-08-20", season)
    assert [text for _, text in notes.lines] == [
        "the only census was taken later, on 2013-08-20",
        "the only census was taken later, on 2014-08-20",
    ]


def test_the_twenty_seventh_note_has_a_mark_of_its_own() -> None:
    notes = Notes()
    found = [notes.letter(f"note {'x' * number}", 2020) for number in range(28)]
    assert found[25:] == ["z", "aa", "bb"]
    assert len({mark for mark, _ in notes.lines}) == 28


def test_a_value_that_is_missing_always_says_why() -> None:
    notes = Notes()
    assert notes.mark(figure(2020, None, status="unknown"), 2020) == "a"
    assert notes.lines == [("a", "unknown: nothing was counted or weighed for it")]


def test_the_first_page_tells_the_last_complete_season_and_what_is_pending() -> None:
    history = histories.twelve_seasons()
    told = story.tell_last_season(history, SeasonFigures(history.figures), "metric")
    assert told.startswith("In 2023, the last complete season, the block bore ")
    told = told.replace("\u00a0", " ")
    assert "yield to prunings was 7.5 (interval 6.8 to 8.2)" in told
    assert told.endswith("within the band of 4 to 10 (Kliewer & Dokoozlian 2005).")
    assert story.tell_pending(history) == (
        "2024 is partial: the harvest is not closed; yield to prunings of 2024 and 3 figures more are pending: "
        "the wood of 2024 is weighed at the pruning that sets 2025."
    )


def test_a_block_without_seasons_or_without_values_says_so() -> None:
    empty, pending = histories.no_seasons(), histories.all_pending()
    assert (
        story.tell_last_season(empty, SeasonFigures(()), "metric") == "No season of this block has been recorded yet."
    )
    assert story.tell_pending(empty) == ""
    assert story.tell_last_season(pending, SeasonFigures(pending.figures), "metric").startswith("No season is complete")


def test_open_figures_are_gathered_by_their_reason() -> None:
    rows = story.open_rows(histories.twelve_seasons().figures, "metric")
    assert [row[0] for row in rows] == ["partial", "pending", "unknown"]
    assert rows[2][1:] == (
        "The pruning that set 2022 weighed no wood",
        "Prunings per vine, prunings per metre, cane weight and yield to prunings",
        "2021",
    )


def test_each_open_figure_stands_beside_its_own_seasons() -> None:
    missing = [
        Figure("B1", season, name, None, "g", status="unknown", note=f"not counted in {season}")
        for name, seasons in (
            ("cluster_weight", (2018, 2020)),
            ("berry_weight", (2018, 2020)),
            ("cane_weight", (2019,)),
        )
        for season in seasons
    ]
    assert story.open_rows(tuple(missing), "metric") == [
        ("unknown", "Not counted in that season", "Cluster weight and berry weight", "2018, 2020"),
        ("", "", "Cane weight", "2019"),
    ]


def test_spurs_are_not_missed_where_a_block_is_pruned_to_canes() -> None:
    none_kept = Figure("B1", 2020, "spurs_per_vine", None, "spurs", status="unknown", note=NOTES[Note.NO_SPURS])
    uncounted = replace(none_kept, season=2021, note="not counted in 2021")
    assert story.open_rows((none_kept, uncounted), "metric") == []
    known = replace(none_kept, season=2019, status="known", note="", value=8.0)
    assert [row[3] for row in story.open_rows((known, none_kept, uncounted), "metric")] == ["2021"]


def test_fixed_marks_say_what_the_seasons_floor_says() -> None:
    for note in (Note.FEW, Note.FEW_LOTS, Note.FEW_PROBED):
        assert marks.fixed_marks(figure(2020, low=0.5, high=2.0, note=words_of(note, {}))) == ["†"]
    by_hand = figure(2020, chosen="hand_picked", note=words_of(Note.HAND_PICKED, {}))
    assert marks.fixed_marks(by_hand) == ["§"]
    for note in (Note.FEW, Note.FEW_LOTS, Note.FEW_PROBED, Note.HAND_PICKED):
        assert marks.other_note(figure(2020, note=words_of(note, {}))) == ""
    others = set(Note) - {Note.FEW, Note.FEW_LOTS, Note.FEW_PROBED}
    named = ("season", "next", "census", "tickets", "open_tickets", "set_aside", "young")
    facts: dict[str, object] = dict.fromkeys(named, "")
    assert not any("†" in marks.fixed_marks(figure(2020, note=words_of(note, facts))) for note in others)


def test_a_mark_that_a_whole_column_carries_stands_in_its_heading() -> None:
    few = figure(2020, low=0.5, high=2.0, note=NOTES[Note.FEW])
    sure = figure(2020, low=0.5, high=2.0)
    bare = figure(2020, note="all counts are equal or zero, hence no interval")
    assert marks.marks_of_column([(few, "†"), (few, "†‡"), (bare, "a"), (None, "b")]) == (["", "‡", "a", "b"], "†")
    assert marks.marks_of_column([(few, "†"), (sure, "")]) == (["†", ""], "")
    assert marks.marks_of_column([(few, "†")]) == (["†"], "")


def test_characters_without_a_glyph_are_replaced_and_named() -> None:
    vineyard = replace(histories.one_season().vineyard, name="Höhe 漢 Łąka", place="a\n b\x07")
    cleaned, warnings = make_printable(vineyard)
    assert cleaned.name == "Höhe ■ Łąka"
    assert cleaned.place == "a b■"
    assert [line.split(",")[0] for line in warnings] == [
        "no glyph for U+6F22 CJK UNIFIED IDEOGRAPH-6F22",
        "no glyph for U+0007 control character",
    ]
    assert [line.partition(" in ")[2] for line in warnings] == ["“Höhe [U+6F22] Łąka”", "“a b[U+0007]”"]


def test_facts_that_can_be_printed_stay_as_they_are() -> None:
    history = histories.five_seasons()
    cleaned, warnings = make_printable(history)
    assert cleaned is history
    assert warnings == ()


def test_all_faces_hold_the_same_characters_and_our_own_signs() -> None:
    from fontTools.ttLib import TTFont

    held = [set(TTFont(fonts.faces_folder() / face).getBestCmap()) for face in fonts.FACES]
    assert held[0] == held[1] == held[2]
    assert fonts.missing_glyphs("–−×÷°²†‡§·“”’…■±⁰¹²³⁴⁵⁶⁷⁸⁹") == []
    assert len({fonts.width_em(digit) for digit in "0123456789−"}) == 1


def test_a_missing_face_is_named_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts, "find_spec", lambda _name: None)
    with pytest.raises(SystemLibraryError) as caught:
        fonts.faces_folder()
    assert "font-source-sans-pro" in caught.value.hint


def test_the_list_of_faces_is_the_same_each_time_and_goes_where_it_can(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FONTCONFIG_FILE", "")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    first = fonts.use_only_our_faces()
    assert first.is_relative_to(tmp_path)
    assert fonts.use_only_our_faces() == first
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    monkeypatch.setenv("HOME", str(tmp_path / "file"))
    elsewhere = fonts.use_only_our_faces()
    assert not elsewhere.is_relative_to(tmp_path / "file")


def test_a_figure_known_by_pick_alone_is_not_called_never_counted() -> None:
    mean = Figure("B1", 2020, "ph", None, "", status="unknown", note="picks of several purposes have no common mean")
    by_pick = replace(mean, value=3.2, status="known", note="", pick=1)
    assert SeasonFigures((mean,)).is_missed("ph", (2020,))
    assert not SeasonFigures((mean, by_pick, replace(by_pick, pick=2))).is_missed("ph", (2020,))
    assert [inside_sentence(title) for title in ("pH", "Berry weight")] == ["pH", "berry weight"]


def test_pages_of_a_journal_stand_with_an_en_dash_that_no_line_ends_with() -> None:
    said = words.cite("Journal 56: 170-181, abstract; Other 4(3): 60-2")
    assert said == "Journal 56: 170–\u2060181, abstract; Other 4(3): 60–\u20602"
    for text in (
        "News 178, 2011-08-05",
        "target of the block from 2014: 10-12 bins",
        "HortScience 41: 1011",
        "ABC-12: x",
    ):
        assert words.cite(text) == text
