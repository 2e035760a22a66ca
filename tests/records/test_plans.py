"""How the hot queries are answered, on each database with statistics of a book large enough to plan by."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text

from tests.conftest import BOTH
from tests.plans import again_by_plan, index_used, read_again, read_whole, steps_of
from tests.seasons.books import Book
from vinebook.audit.changes import Changes
from vinebook.audit.check import check
from vinebook.audit.replay import Replay
from vinebook.exchange.package_cells import selected
from vinebook.kinds import KINDS
from vinebook.records import journal
from vinebook.records.bulk import insert_rows, rows_by_key
from vinebook.records.engine import engine_for
from vinebook.records.keys import find_record
from vinebook.records.listing import listed_rows
from vinebook.records.readings import kept_bytes
from vinebook.records.tables import READING_BYTES, TABLES, TALLY
from vinebook.seasons.arrays import season_arrays
from vinebook.seasons.carried import figures_with_carried
from vinebook.seasons.harvest import unsplit_tickets
from vinebook.seasons.history import block_history
from vinebook.seasons.overview import blocks_in, overview_of
from vinebook.seasons.places import read_blocks
from vinebook.seasons.tickets import delivered

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from sqlalchemy import Connection

    from tests.postgresql import Server
    from vinebook.seasons.tickets import Delivered

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
SEASON = FIRST + 5


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


def test_a_table_read_again_for_each_row_is_seen(planned: Connection) -> None:
    if planned.dialect.name == "postgresql":
        planned.execute(text("SET LOCAL enable_material = off"))
    # The plans are asked for alone: the answers would take as long as they are bad.
    joined = "SELECT count(*) FROM sample JOIN load ON load.line + sample.line > load.season + sample.block"
    asked = "SELECT (SELECT count(*) FROM load WHERE load.mass_unit <> block.code) FROM block"
    assert again_by_plan(planned, joined)
    assert again_by_plan(planned, asked)
    if planned.dialect.name == "postgresql":
        planned.execute(text("SET LOCAL enable_material = on"))


def whole(act: Callable[[Connection], Iterable[object]]) -> Callable[[Connection], object]:
    """Give an act that takes all that another streams."""
    return lambda connection: list(act(connection))


WHOLE: dict[str, Callable[[Connection], object]] = {
    "figures of a season": whole(lambda connection: figures_with_carried(connection, None, [SEASON])),
    "figures of all": whole(lambda connection: figures_with_carried(connection, None, None)),
    "overview": lambda connection: overview_of(connection, SEASON, blocks_in(connection, SEASON), ()),
    "tickets of a season": lambda connection: delivered(connection, "consignee", seasons=[SEASON]),
    "tickets of all": lambda connection: delivered(connection, "block"),
    "check": check,
    "loads that are not split": lambda connection: unsplit_tickets(connection, read_blocks(connection, None)),
    "list of a kind": whole(lambda connection: listed_rows(
        connection, "cluster_tally", block=None, season=None, struck=False, units="metric")[1]),
}  # fmt: skip
"""What reads a season or the whole book."""


@pytest.mark.parametrize("what", WHOLE)
def test_who_reads_much_reads_each_table_once(planned: Connection, what: str) -> None:
    assert read_again(planned, lambda: WHOLE[what](planned)) == []


def test_tickets_of_one_block_read_no_other_loads(planned: Connection) -> None:
    block = block_of(planned)
    sums: list[Delivered] = []

    def add_up() -> None:
        sums.extend(delivered(planned, "block", blocks=[block]))

    steps = steps_of(planned, add_up)
    assert [(one.group, len(one.loads)) for one in sums] == [("B030", 1)] * SEASONS
    assert read_whole(steps) == []


def test_the_history_of_one_block_reads_no_large_table_whole(planned: Connection) -> None:
    steps = steps_of(planned, lambda: block_history(planned, "B030"))
    assert read_whole([step for step in steps if step != "SCAN entry"]) == []


def test_the_journal_is_read_from_its_first_entry_on_without_sorting(planned: Connection) -> None:
    if planned.dialect.name == "postgresql":
        # A short journal is sooner read and sorted; what is held to here is that a long one need not be.
        planned.execute(text("SET LOCAL enable_sort = off"))
    read: list[journal.Entry] = []
    steps = steps_of(planned, lambda: read.extend(journal.entries(planned)))
    if planned.dialect.name == "postgresql":
        planned.execute(text("SET LOCAL enable_sort = on"))
    assert [entry.number for entry in read] == list(range(1, len(read) + 1))
    assert len(read) > 300
    assert index_used(steps, "pk_entry") or steps == ["SCAN entry"]
    assert not index_used(steps, "Sort")


@pytest.mark.parametrize("kind", [*COUNTED, "sample", "load"])
def test_a_table_is_written_out_along_its_numbers(planned: Connection, kind: str) -> None:
    if planned.dialect.name == "postgresql":
        # Sooner read and sorted while memory holds it; what is held to here is that it need not be.
        planned.execute(text("SET LOCAL enable_sort = off"))
    statement = selected(TABLES[kind], planned.dialect.name)
    rows: list[object] = []
    steps = steps_of(planned, lambda: rows.extend(planned.exec_driver_sql(statement)))
    assert len(rows) >= BLOCKS * SEASONS
    if planned.dialect.name == "postgresql":
        planned.execute(text("SET LOCAL enable_sort = on"))
    assert steps in ([f"SCAN {kind}"], [f"Index Scan {kind} pk_{kind}"])


def test_a_record_is_found_by_its_key_alone(planned: Connection) -> None:
    key = f"B030/{SEASON}/shoot_tally/{SEASON}-05-20/before/all/random/KL"
    found: list[int] = []
    steps = steps_of(planned, lambda: found.append(find_record(planned, KINDS["sample"], key)))
    assert found
    assert read_whole(steps) == []
