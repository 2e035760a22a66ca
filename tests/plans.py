"""How a database answers what is asked: the steps of its plans, and which of them read large tables whole."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from sqlalchemy import event

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy import Connection

LARGE = (
    "sample",
    "pruned_vine",
    "shoot_tally",
    "cluster_tally",
    "vine_harvest",
    "load",
    "load_part",
    "harvest_close",
    "tally",
    "reading_bytes",
    "entry",
)
"""Tables that grow with the years."""
FEW = 5
"""For so many rows a table may be read anew each time."""


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


def read_again(connection: Connection, act: Callable[[], object]) -> list[str]:
    """Give what an act reads from end to end for each row of something else: the work of two years would be four."""
    with heard(connection) as seen:
        act()
    found: list[str] = []
    for sql, parameters in seen:
        if sql.lstrip().upper().startswith(("SELECT", "WITH")):
            found += [f"{step} in {sql}" for step in again_by_plan(connection, sql, parameters)]
    return found


def again_by_plan(connection: Connection, sql: str, parameters: Any = ()) -> list[str]:  # noqa: ANN401 - a driver's
    """Give the scans of a query's plan that are done for each row of something else."""
    if connection.dialect.name == "sqlite":
        rows = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").fetchall()
        return list(_scans_again([(row[0], row[1], row[3]) for row in rows]))
    [plan] = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {sql}", parameters).scalar_one()
    return list(_reads_again(plan["Plan"], is_again=False))


def _scans_again(rows: list[tuple[int, int, str]]) -> Iterator[str]:
    """Give the scans of SQLite's plan that stand in a loop: behind another table, or in what is asked for each row."""
    looped: set[int] = set()
    tables: set[int] = set()
    for number, above, step in rows:
        if step.startswith(("CORRELATED", "EXISTS")) or above in looped:
            looped.add(number)
        if step.startswith(("SCAN", "SEARCH")):
            name = step.split()[1]
            is_large = name in LARGE or name.startswith(("anon", "unit", "("))
            if step.startswith("SCAN") and is_large and (above in tables or above in looped):
                yield step
            tables.add(above)


def _reads_again(node: dict[str, Any], *, is_again: bool) -> Iterator[str]:
    """Give the scans of the server's plan that stand in a loop over more rows than a few."""
    if is_again and node["Node Type"] == "Seq Scan" and node["Relation Name"] in LARGE:
        yield " ".join(("Seq Scan", node["Relation Name"]))
    inner = node.get("Plans", ())
    is_loop = node["Node Type"] == "Nested Loop" and inner[0]["Plan Rows"] > FEW
    for at, one in enumerate(inner):
        for_each_row = one.get("Parent Relationship") == "SubPlan" and "hashed SubPlan" not in node.get("Filter", "")
        yield from _reads_again(one, is_again=is_again or for_each_row or (is_loop and at == 1))


def index_used(steps: list[str], *words: str) -> bool:
    """Say whether a step holds all words."""
    return any(all(word in step for word in words) for step in steps)
