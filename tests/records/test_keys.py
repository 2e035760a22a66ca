"""A key that `list` prints is the key that `show` takes, whatever stands in its parts."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.desk import BLOCKS, SOUTH, Desk
from vinebook.errors import WordsError
from vinebook.kinds import KINDS, LOADED_KINDS, MADE_KINDS
from vinebook.records.keys import find_record, join_key, key_labels, key_of, split_key
from vinebook.records.listing import shown_record
from vinebook.records.tables import TABLES, key_columns

if TYPE_CHECKING:
    from pathlib import Path

# What intake lets through as a code: no slash at an end, no "-" at the beginning.
CODES = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=8).filter(
    lambda code: not code.startswith(("/", "-", "#")) and not code.endswith("/")
)


@given(st.lists(CODES | st.none() | st.integers() | st.dates(), min_size=1, max_size=6))
def test_a_joined_key_splits_into_its_parts(parts: list[object]) -> None:
    assert split_key(join_key(parts)) == ["-" if part is None else str(part) for part in parts]


def test_every_kind_has_a_table_with_its_key() -> None:
    for kind in KINDS.values():
        assert set(key_columns(kind)) <= set(TABLES[kind.name].c.keys())
        assert len(key_labels(kind)) >= len(kind.key)
    assert set(TABLES) == set(KINDS) == {*LOADED_KINDS, *MADE_KINDS, "sample"}


def test_every_field_has_its_column() -> None:
    for kind in KINDS.values():
        own = {field.column for field in kind.fields} | {
            f"{field.name}_each" for field in kind.fields if field.type == "counts"
        }
        extra = set(TABLES[kind.name].c.keys()) - own
        assert extra - {"amended_at"} == {
            "record",
            "tally",
            "line",
            "struck_at",
            *(["sample"] if kind.sampled else []),
            *(["counts"] if kind.name == "sample" else []),
            *(["mass_unit"] if kind.has_tickets else []),
        }


def test_what_is_named_is_loaded_before_what_names_it() -> None:
    order = list(KINDS)
    for kind in KINDS.values():
        for field in kind.fields:
            if field.type == "ref" and field.refers != kind.name:
                assert order.index(field.refers) < order.index(kind.name)


@pytest.fixture
def desk(book_url: str, tmp_path: Path) -> Desk:
    desk = Desk(book_url, tmp_path)
    desk.load_texts(
        vineyard=SOUTH,
        block=BLOCKS + "Low Terrace,B/1//x,2015\nLow Terrace,'; DROP TABLE block; --,2015\nLow Terrace,🍇 עמק,2015\n",
        event="block,date,what\nA1,2022-11-02,frost\nB/1//x,2022-11-02,hail\n",
        band="vineyard,block,figure,low,from_season,source\n"
        "Low Terrace,,nodes_per_vine,10,2015,us\n,A1,nodes_per_vine,10,2015,us\n",
        clusters="block,date,chosen,counted_by,row,vine,clusters\nA1,2022-12-05,random,KL,1,1,5\n",
    )
    return desk


def test_every_key_finds_its_record(desk: Desk) -> None:
    found = 0
    for name, kind in KINDS.items():
        for row in desk.listed(name):
            key = next(iter(row.values()))
            with desk.book.reading() as connection:
                assert find_record(connection, kind, key) == row["record"]
                assert find_record(connection, kind, f"#{row['record']}") == row["record"]
                assert key_of(connection, kind, row["record"]) == key
                told = shown_record(connection, name, key, units="us")
            assert told["key"] == key
            assert "KL" in told["entered"]
            found += 1
    assert found == 13 - 1


@pytest.mark.parametrize(
    ("kind", "key", "words"),
    [
        ("block", "Z9", "there is no block Z9"),
        ("block", "#999", "there is no block #999"),
        ("block", f"#{'9' * 30}", "there is no block #9"),
        ("block", "A1/A2", "is not the key of a block"),
        ("block", "", "the key of a block is empty"),
        ("block", "' OR 1=1 --", "there is no block"),
        ("event", "A1/2022-13-45/frost", "'2022-13-45' is not a date"),
        ("event", "A1/2022-11-02", "expected 3 parts"),
        ("cluster_tally", "A1/x/cluster_tally/2022-12-05/before/all/random/KL/1/1", "'x' is not a whole number"),
        ("cluster_tally", f"A1/{'9' * 40}/cluster_tally/2022-12-05/before/all/random/KL/1/1", "is not a whole number"),
        ("harvest", "A1", "'harvest' is not a kind of record"),
    ],
)
def test_a_key_that_names_nothing_is_refused_in_words(desk: Desk, kind: str, key: str, words: str) -> None:
    with desk.book.reading() as connection, pytest.raises(WordsError) as caught:
        shown_record(connection, kind, key, units="metric")
    assert words in f"{caught.value.message} {caught.value.hint}"


def test_a_name_typed_as_it_is_finds_its_record_too(desk: Desk) -> None:
    desk.load_texts(consignee="name\nMill/House\n", more="vineyard,code,from_season\nLow Terrace,B/1,2015\n")
    with desk.book.reading() as connection:
        named = {row["code"]: row["record"] for row in desk.listed("block")}
        assert find_record(connection, KINDS["block"], "B/1") == named["B//1"]
        # Read as a key these words name B/1, and so they do where both are there.
        assert find_record(connection, KINDS["block"], "B//1") == named["B//1"]
        assert find_record(connection, KINDS["block"], "B/1//x") == named["B//1////x"]
        assert find_record(connection, KINDS["consignee"], "Mill/House") == desk.stored("consignee")[0]["record"]


def test_dates_come_back_as_dates(desk: Desk) -> None:
    assert desk.stored("event")[0]["date"] == dt.date(2022, 11, 2)
