"""Cells of a package: the guard is one to one, values are read strictly, and pages give back what was written."""

from __future__ import annotations

import csv
import hashlib
import io
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from sqlalchemy import Column

from vinebook.exchange.package import free_text, package_tables
from vinebook.exchange.package_cells import GUARDED, CellError, guarded, read_cell, reader_of, unguarded
from vinebook.exchange.package_folder import Disagreements
from vinebook.exchange.package_rows import LONGEST_ROW_BYTES, UnreadableError, _plain_columns, pages_of
from vinebook.exchange.package_writing import _in_base64
from vinebook.records.tables import ENTRY, METADATA, TABLES
from vinebook.records.types import Bytes

TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
WILD = st.one_of(TEXTS, st.text("'=+-@\t\r\n\",;\u2028\u0085\u202e ab", max_size=8))


@given(WILD)
@example("'")
@example("")
@example("''=1")
def test_taking_the_guard_off_gives_the_text_back(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert guarded(text)
    assert not guarded(text).startswith(tuple(sign for sign in GUARDED if sign != "'"))


@given(st.lists(st.one_of(st.none(), st.binary(min_size=1, max_size=20)), min_size=1, max_size=10))
def test_bytes_of_a_table_come_back(values: list[bytes | None]) -> None:
    column = Column("picture", Bytes)
    cells = [[cell or "" for cell in row] for row in _in_base64([tuple(values)], list(range(len(values))))]
    assert reader_of(column)(cells[0]) == values
    with pytest.raises(CellError, match="no base64"):
        read_cell(column, "no base64")


@given(WILD, WILD)
def test_two_texts_never_have_one_cell(one: str, other: str) -> None:
    assert (guarded(one) == guarded(other)) == (one == other)


@given(st.lists(st.one_of(st.none(), WILD.filter(bool)), min_size=1, max_size=30))
def test_a_column_of_texts_is_read_as_it_was_written(texts: list[str | None]) -> None:
    column = TABLES["event"].c["words"]
    assert reader_of(column)(["" if text is None else guarded(text) for text in texts]) == texts


@given(st.lists(st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=False)), min_size=1, max_size=30))
def test_a_number_is_read_to_its_last_bit(numbers: list[float | None]) -> None:
    column = TABLES["planting"].c["row_spacing_m"]
    read = reader_of(column)(["" if number is None else repr(number) for number in numbers])
    assert [repr(number) for number in read] == [repr(number) for number in numbers]


@given(st.lists(st.one_of(st.none(), st.integers(-(2**63), 2**63 - 1)), min_size=1, max_size=30))
def test_a_whole_number_is_read_exactly(numbers: list[int | None]) -> None:
    column = TABLES["cluster_tally"].c["record"]
    assert reader_of(column)(["" if number is None else str(number) for number in numbers]) == numbers


@pytest.mark.parametrize(
    ("table", "column", "cell"),
    [
        ("cluster_tally", "clusters", cell)
        for cell in ("x", "1.0", "07", "+7", " 7", "1_000", "\u0661", "0x1", "9" * 30, "9" * 5000, "-0")
    ]
    + [("cluster_tally", "record", ""), ("sample", "season", str(2**31))]
    + [
        ("planting", "row_spacing_m", cell)
        for cell in ("x", "1", "1,5", "nan", "inf", "-inf", "1.50", "1e5", "1_0.0", "\u0661.5")
    ]
    + [("event", "date", cell) for cell in ("2022-13-01", "20220101", "2022-1-1", "01.02.2022", "\u0662022-01-01")],
)
def test_a_cell_that_is_no_value_of_its_column_is_refused(table: str, column: str, cell: str) -> None:
    with pytest.raises(CellError) as caught:
        read_cell(TABLES[table].c[column], cell)
    assert caught.value.what
    assert caught.value.expected
    assert len(caught.value.what) < 100


def test_every_column_of_a_package_has_a_reader() -> None:
    for table in METADATA.sorted_tables:
        for column in table.columns:
            assert callable(reader_of(column))


def test_every_text_that_people_write_is_guarded() -> None:
    for table in package_tables():
        guards = {column.name for column in free_text(table)}
        if table.name in TABLES:
            assert {"amended_at", "struck_at"} <= guards
    assert {"by", "subject", "body"} <= {column.name for column in free_text(ENTRY)}
    assert "state" not in {column.name for column in free_text(TABLES["cluster_tally"])}


@given(st.lists(st.tuples(*[WILD.filter(bool)] * 8), min_size=1, max_size=40), st.integers(1, 400))
def test_rows_come_back_from_a_file_of_any_page_size(rows: list[tuple[str, ...]], size: int) -> None:
    page = io.StringIO(newline="")
    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(column.name for column in ENTRY.columns)
    numbered = [(at, *row) for at, row in enumerate(rows, 1)]
    writer.writerows((at, *map(guarded, row)) for at, row in enumerate(rows, 1))
    wrong = Disagreements()
    read: list[tuple[Any, ...]] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("vinebook.exchange.package_rows.PAGE_BYTES", size)
        for part in pages_of(io.BytesIO(page.getvalue().encode()), hashlib.sha256(), ENTRY, "entry.csv", wrong):
            read += list(zip(*part.columns, strict=True))
            assert len(part.lines()) == len(part.columns[0])
    assert read == numbered
    assert wrong.found == []


def test_a_row_without_end_is_not_read_into_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vinebook.exchange.package_rows.LONGEST_ROW_BYTES", 10_000)
    assert LONGEST_ROW_BYTES > 10_000
    monkeypatch.setattr("vinebook.exchange.package_rows.PAGE_BYTES", 1000)
    headings = ",".join(column.name for column in ENTRY.columns)
    for data in (f'{headings}\r\n1,"' + "x\n" * 20_000, headings + "x" * 40_000):
        stream, wrong = io.BytesIO(data.encode()), Disagreements()
        with pytest.raises(UnreadableError):
            list(pages_of(stream, hashlib.sha256(), ENTRY, "entry.csv", wrong))
        assert "does not end" in str(wrong.found[0])
        assert stream.tell() < 13_000


CELLS = st.text(st.sampled_from("ab1 '\"\r\n,\0\u2028\u0085"), max_size=4)


@given(st.lists(st.lists(CELLS, min_size=2, max_size=3), max_size=4), st.sampled_from(["\r\n", "\n", "\r"]))
@example([["a", "1"], ["b", ""]], "\r\n")
@example([["a", "1"], ["b"]], "\n")
def test_lines_without_quotes_are_what_the_csv_module_reads(rows: list[list[str]], end: str) -> None:
    text = "".join(",".join(row) + end for row in rows)
    columns = _plain_columns(text, 2)
    if columns:
        assert list(map(list, zip(*columns, strict=True))) == list(
            csv.reader(io.StringIO(text, newline=""), strict=True)
        )


def test_plain_lines_are_read_without_the_csv_module() -> None:
    assert _plain_columns("a,1\r\nb,\r\n", 2) == [["a", "b"], ["1", ""]]
    for other in ('a,"1"\r\n', "a\r\n", "a,1,2\r\n", "a,1", "a\r,1\r\n", "a,\0\r\n", "\r\na,1\r\n", ""):
        assert _plain_columns(other, 2) == []
