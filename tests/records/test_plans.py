"""How the hot queries are answered, on each database with statistics of a book large enough to plan by."""

from __future__ import annotations

import json
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import event, text

from tests.conftest import BOTH
from tests.seasons.books import Book
from vinebook.audit.changes import Changes
from vinebook.audit.replay import Replay
from vinebook.kinds import KINDS
from vinebook.records import journal
from vinebook.records.bulk import insert_rows, rows_by_key
from vinebook.records.engine import engine_for
from vinebook.records.keys import find_record
from vinebook.records.listing import listed_rows
from vinebook.records.readings import kept_bytes
from vinebook.records.tables import READING_BYTES, TABLES, TALLY
from vinebook.seasons.arrays import season_arrays

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from sqlalchemy import Connection

    from tests.postgresql import Server

BLOCKS, SEASONS, VINES = 150, 20, 8
FIRST = 2010
COUNTED: dict[str, tuple[tuple[str, ...], tuple[Any, ...], str]] = {
    "pruned_vine": (
        ("spurs", "nodes_on_spurs", "prunings_mg", "state", "pruned_by", "wood"),
        (12, 24, 900_000, "bearing", "crew", "complete"),
        "01-15",
    ),
    "shoot_tally": (
        ("count_shoots", "double_shoots", "noncount_shoots", "blind_nodes", "state"),
        (20, 1, 2, 4, "bearing"),
        "05-20",
    ),
    "cluster_tally": (("clusters", "state"), (30, "bearing"), "06-10"),
    "vine_harvest": (("clusters", "mass_mg", "state"), (30, 3_000_000, "bearing"), "09-12"),
}
"""Columns, values and day of the rows of each counted kind."""
LARGE = ("sample", *COUNTED, "load", "load_part", "harvest_close", "tally", "reading_bytes", "entry")
"""Tables that grow with the years."""


@pytest.fixture(scope="module", params=BOTH)
def planned(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Connection]:
    """Give a connection to a book with many rows and fresh statistics."""
    if request.param == "sqlite":
        path = tmp_path_factory.mktemp("plans") / "book.db"
        template: Path = request.getfixturevalue("sqlite_template")
        path.write_bytes(template.read_bytes())
        url = str(path)
    else:
        server: Server = request.getfixturevalue("postgresql_server")
        url = server.create("plans", request.getfixturevalue("postgresql_template"))
    engine = engine_for(url)
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        fill(connection)
        connection.execute(text("ANALYZE"))
    if request.param == "postgresql":
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            # What a server does by itself soon after a load: note which pages hold live rows alone.
            connection.execute(text("VACUUM"))
    with engine.connect() as connection:
        if request.param == "postgresql":
            # As on solid-state disks; by default a page here and there is held to cost as much as four in a row.
            connection.execute(text("SET LOCAL random_page_cost = 1.1"))
        yield connection
    if request.param == "postgresql":
        server.drop("plans")


def fill(connection: Connection) -> None:
    """Fill a book: every block with a sample of each kind, a load and a close in every season."""
    book = Book(connection)
    blocks = [book.block(f"B{number:03d}") for number in range(BLOCKS)]
    record = iter(range(10_000, 10_000_000))
    seasons = range(FIRST, FIRST + SEASONS)
    for kind, (columns, values, day) in COUNTED.items():
        samples = [
            (next(record), kind, block, season, f"{season}-{day}", "all", "before", "random", "KL", 1, 2)
            for season in seasons
            for block in blocks
        ]
        about = ("record", "counts", "block", "season", "date", "part", "thinning", "chosen", "counted_by")
        insert_rows(connection, "sample", (*about, "tally", "line"), samples)
        vines = [
            (next(record), sample[0], 1, vine, *values, 1, 2) for sample in samples for vine in range(1, VINES + 1)
        ]
        insert_rows(connection, kind, ("record", "sample", "row", "vine", *columns, "tally", "line"), vines)
    for season in seasons:
        for block in blocks:
            book.close(block, season, f"{season}-09-20")
    numbers = [(next(record), block, season) for season in seasons for block in blocks]
    insert_rows(
        connection,
        "load",
        (*("record", "issuer", "season", "number", "date", "basis", "net_milli", "deductions_milli"),
         *("refused_milli", "mass_unit", "tally", "line")),
        [
            (load, "W", season, str(load), f"{season}-09-14", "net_as_given", 5_000_000, 0, 0, "kg", 1, 2)
            for load, _, season in numbers
        ],
    )  # fmt: skip
    insert_rows(
        connection,
        "load_part",
        ("record", "load", "block", "pick", "split", "picked", "purpose", "mass_unit", "tally", "line"),
        [(next(record), load, block, 1, "whole", "hand", "still", "kg", 1, 2) for load, block, _ in numbers],
    )
    blank = {column.name: 1 if column.type.python_type is int else "" for column in TALLY.columns}
    many = [tuple((blank | {"number": number, "source": "file"}).values()) for number in range(2, 1500)]
    insert_rows(connection, "tally", list(blank), many)
    insert_rows(
        connection, "reading_bytes", ("tally", "part", "bytes"), [(number, 0, b"x" * 200) for number in range(1, 1500)]
    )
    for _ in range(300):
        journal.append(connection, by="KL", action="note", subject="x", body={"words": "y" * 200})


@contextmanager
def heard(connection: Connection) -> Iterator[list[tuple[str, Any]]]:
    """Give the list of queries that are asked meanwhile, those past SQLAlchemy included."""
    seen: list[tuple[str, Any]] = []
    if connection.dialect.name == "sqlite":
        raw: Any = connection.connection.driver_connection
        raw.set_trace_callback(lambda sql: seen.append((sql, ())))
        yield seen
        raw.set_trace_callback(None)
        return

    def hear(_c: object, _cursor: object, sql: str, parameters: Any, *_: object) -> None:  # noqa: ANN401
        seen.append((sql, parameters))

    event.listen(connection, "before_cursor_execute", hear)
    yield seen
    event.remove(connection, "before_cursor_execute", hear)


def steps_of(connection: Connection, act: Callable[[], object]) -> list[str]:
    """Give the steps of the plans of all that an act asks: how, which table, which index."""
    with heard(connection) as seen:
        act()
    steps: list[str] = []
    queries = [(sql, parameters) for sql, parameters in seen if sql.lstrip().upper().startswith(("SELECT", "WITH"))]
    assert queries
    for sql, parameters in queries:
        if connection.dialect.name == "sqlite":
            steps += [row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}")]
            continue
        [plan] = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {sql}", parameters).scalar_one()
        steps += list(_walk(plan["Plan"]))
    return steps


def _walk(node: dict[str, Any]) -> Iterator[str]:
    yield " ".join(str(node[key]) for key in ("Node Type", "Relation Name", "Index Name") if key in node)
    for inner in node.get("Plans", ()):
        yield from _walk(inner)


def read_whole(steps: list[str]) -> list[str]:
    """Give the steps that read a large table or an index of it from end to end."""
    return [
        step
        for step in steps
        for table in LARGE
        if step == f"Seq Scan {table}" or step.split(" USING")[0].split(" VIRTUAL")[0] == f"SCAN {table}"
    ]


def index_used(steps: list[str], *words: str) -> bool:
    """Say whether a step holds all words."""
    return any(all(word in step for word in words) for step in steps)


def block_of(connection: Connection) -> int:
    """Give a block in the middle of the book."""
    return find_record(connection, KINDS["block"], "B030")


def test_a_table_read_whole_is_seen(planned: Connection) -> None:
    steps = steps_of(planned, lambda: planned.execute(text("SELECT sum(line) FROM cluster_tally")).scalar())
    assert read_whole(steps)


def test_figures_of_one_block_read_no_large_table_whole(planned: Connection) -> None:
    block = block_of(planned)
    steps = steps_of(planned, lambda: season_arrays(planned, [block], None))
    assert read_whole(steps) == []
    for kind in COUNTED:
        # The server chooses between the covering index and that of the key; both begin with the sample.
        covered = index_used(steps, f"ix_{kind}_figures")
        assert covered or (planned.dialect.name == "postgresql" and index_used(steps, f"uq_{kind}_key"))


def test_sums_of_a_season_can_go_sample_by_sample(planned: Connection) -> None:
    if planned.dialect.name == "postgresql":
        # In a small book the server rightly reads the whole; what is held to here is that it need not.
        planned.execute(text("SET LOCAL enable_seqscan = off"))
    steps = steps_of(planned, lambda: season_arrays(planned, None, [FIRST + 5]))
    if planned.dialect.name == "postgresql":
        planned.execute(text("SET LOCAL enable_seqscan = on"))
    assert [step for step in read_whole(steps) if step.split()[-1] in COUNTED] == []
    for kind in COUNTED:
        assert index_used(steps, f"ix_{kind}_figures") or index_used(steps, f"uq_{kind}_key")


def test_keys_that_a_load_names_are_looked_up(planned: Connection) -> None:
    blocks = list(planned.execute(text("SELECT record FROM block ORDER BY record")).scalars())
    keys = [
        (block, FIRST + 3, "shoot_tally", f"{FIRST + 3}-05-20", "before", "all", "random", "KL") for block in blocks
    ]
    found: list[tuple[Any, ...] | None] = []

    def look_up() -> None:
        found.extend(
            rows_by_key(planned, TABLES["sample"], ("record",), KINDS["sample"].key, [*keys, (0, *keys[0][1:])])
        )

    steps = steps_of(planned, look_up)
    assert all(row is not None for row in found[:-1])
    assert found[-1] is None
    assert read_whole(steps) == []
    assert index_used(steps, "uq_sample_key")


def test_rows_of_a_tally_are_read_along_their_numbers(planned: Connection) -> None:
    head = {"sample_columns": ["counts", "block"], "columns": ["sample", "row", "vine", "clusters"]}
    reading = [json.dumps(head).encode() + b"\n"]
    first = planned.scalar(text("SELECT min(record) FROM cluster_tally"))
    tally = {"number": 1, "kind": "cluster_tally", "first_record": first + 500, "last_record": first + 600}
    told: list[str] = []
    steps = steps_of(planned, lambda: Replay(planned, tally, "x", Changes(), told.append).run(reading))
    assert len(told) == 101
    assert read_whole(steps) == []
    assert not index_used(steps, "Sort")
    assert not index_used(steps, "TEMP B-TREE")


def test_kept_bytes_are_read_part_by_part(planned: Connection) -> None:
    steps = steps_of(planned, lambda: list(kept_bytes(planned, READING_BYTES, 700)))
    assert read_whole(steps) == []


def test_the_newest_entry_is_read_alone(planned: Connection) -> None:
    steps = steps_of(planned, lambda: journal.newest(planned))
    assert read_whole([step for step in steps if step != "SCAN entry"]) == []
    assert not index_used(steps, "Sort")
    assert not index_used(steps, "TEMP B-TREE")


@pytest.mark.parametrize("kind", [*COUNTED, "harvest_close"])
def test_a_list_of_one_block_reads_its_rows_alone(planned: Connection, kind: str) -> None:
    steps = steps_of(
        planned,
        lambda: list(listed_rows(planned, kind, block="B030", season=None, struck=False, units="metric")[1]),
    )
    assert read_whole(steps) == []
