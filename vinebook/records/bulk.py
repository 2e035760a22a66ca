"""Many rows at once, on each database by its fastest plain way."""

from __future__ import annotations

from contextlib import closing
from itertools import chain
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from sqlalchemy import Connection, Table

VALUES_OF_A_STATEMENT = 800
"""Values that one statement takes on SQLite, which costs half of a statement for each row; some builds take 999."""


def insert_rows(connection: Connection, table: str, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> None:
    """Insert rows of stored values: many in a statement on SQLite, COPY on PostgreSQL.

    Parameters
    ----------
    connection : a writing connection.
    table : name of the table.
    columns : names of the columns, in the order of the values.
    rows : tuples of stored values; dates are ISO text.

    Raises
    ------
    IntegrityError : of the driver, where a key stands twice; SQLAlchemy's on SQLite.
    """
    if connection.dialect.name == "sqlite":
        _insert_into_file(connection, table, columns, list(chain.from_iterable(rows)))
    else:
        _copy_to_server(connection, table, columns, rows)


def insert_columns(connection: Connection, table: str, columns: Sequence[str], values: Sequence[Sequence[Any]]) -> None:
    """Insert rows whose values are given column by column; all else as `insert_rows`.

    Parameters
    ----------
    values : of each column, equally many.
    """
    if connection.dialect.name == "sqlite":
        flat: list[Any] = [None] * sum(map(len, values))
        for at, column in enumerate(values):
            flat[at :: len(values)] = column
        _insert_into_file(connection, table, columns, flat)
    else:
        _copy_to_server(connection, table, columns, zip(*values, strict=True))


def _copy_to_server(
    connection: Connection, table: str, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]
) -> None:
    raw: Any = connection.connection.driver_connection
    with raw.cursor() as cursor, cursor.copy(f'COPY "{table}" ({_named(columns)}) FROM STDIN') as copy:
        for row in rows:
            copy.write_row(row)


def _insert_into_file(connection: Connection, table: str, columns: Sequence[str], values: list[Any]) -> None:
    """Insert values that stand row after row: as many at once as a statement takes, and what is left row by row."""
    width = len(columns)
    words, marks = f'INSERT INTO "{table}" ({_named(columns)}) VALUES', f"({', '.join('?' * width)})"
    some = max(1, VALUES_OF_A_STATEMENT // width)
    whole = len(values) // (some * width) * some * width
    for upto, begun, rows in ((whole, 0, some), (len(values), whole, 1)):
        groups = [tuple(values[at : at + rows * width]) for at in range(begun, upto, rows * width)]
        if groups:
            connection.exec_driver_sql(f"{words} {', '.join([marks] * rows)}", groups)


def _named(columns: Sequence[str]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def select_pages(connection: Connection, query: str, rows: int) -> Iterator[list[tuple[Any, ...]]]:
    """Give rows as the driver gives them, page by page: memory stays flat.

    Parameters
    ----------
    connection : a reading connection.
    query : SQL without parameters.
    rows : most rows of a page.
    """
    raw: Any = connection.connection.driver_connection
    with closing(raw.cursor() if connection.dialect.name == "sqlite" else raw.cursor(name="pages")) as cursor:
        cursor.execute(query)
        while page := cursor.fetchmany(rows):
            yield page


def rows_by_key(
    connection: Connection, table: Table, columns: Sequence[str], key: Sequence[str], keys: Sequence[Sequence[Any]]
) -> list[tuple[Any, ...] | None]:
    """Give the live rows that some keys name, in the order of the keys; None where there is none.

    A large file names thousands of records: on a server they are asked for in one statement, in a file one by one, past
    the layers whose cost is that of a hundred such look-ups.

    Parameters
    ----------
    connection : an open connection.
    table : the table.
    columns : what is wanted of each row.
    key : columns of a unique key of live rows.
    keys : their values; dates are ISO text.
    """
    shown = ", ".join(f't."{column}"' for column in columns)
    if connection.dialect.name == "sqlite":
        raw: Any = connection.connection.driver_connection
        same = " AND ".join(f't."{column}" = ?' for column in key)
        query = f'SELECT {shown} FROM "{table.name}" t WHERE {same} AND t.struck_at IS NULL'
        return [raw.execute(query, values).fetchone() for values in keys]
    found: list[tuple[Any, ...] | None] = [None] * len(keys)
    if keys:
        types = (table.c[column].type.compile(connection.dialect) for column in key)
        arrays = ", ".join(f"CAST(%s AS {name}[])" for name in types)
        names = ", ".join(f"k{number}" for number in range(len(key)))
        same = " AND ".join(f't."{column}" = wanted.k{number}' for number, column in enumerate(key))
        # The limit holds the server to the index, key by key: in a new book it has no statistics to find that by.
        query = (
            f"SELECT wanted.place, t.* FROM unnest({arrays}) WITH ORDINALITY AS wanted({names}, place)"
            f' CROSS JOIN LATERAL (SELECT {shown} FROM "{table.name}" t WHERE {same} AND t.struck_at IS NULL LIMIT 1) t'
        )
        arrays_of_keys = tuple(list(values) for values in zip(*keys, strict=True))
        for place, *row in connection.exec_driver_sql(query, arrays_of_keys):
            found[place - 1] = tuple(row)
    return found
