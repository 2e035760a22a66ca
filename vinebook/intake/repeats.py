"""Which rows of a tally have a key that stands already: told once per earlier file, with lines and counts.

Used only when a load met such a key: the call is read a second time into a table without keys, and SQL says
which rows repeat which. Nothing of that second reading is kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import text

from vinebook.records.bulk import insert_rows
from vinebook.records.readings import reading_head
from vinebook.records.tables import LIVE, TABLES, key_columns, stored_columns

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection

    from vinebook.intake.faults import Faults
    from vinebook.kinds.field import Kind

INCOMING = "incoming"


class RepeatedKeys:
    """Takes the rows of one tally aside, tells which keys stand twice, and puts the others in."""

    def __init__(
        self,
        connection: Connection,
        kind: Kind,
        faults: Faults,
        file: str,
        numbers: dict[int, str],
        *,
        is_typed: bool = False,
        row_word: str = "line",
    ) -> None:
        self._is_typed = is_typed
        self._row_word = row_word
        self._connection = connection
        self._kind = kind
        self._faults = faults
        self._file = file
        self._numbers = numbers
        self._columns: Sequence[str] = ("record", *stored_columns(kind), "tally", "line")
        names = ", ".join(f'"{column}"' for column in self._columns)
        connection.execute(text(f"DROP TABLE IF EXISTS {INCOMING}"))
        connection.execute(text(f'CREATE TEMPORARY TABLE {INCOMING} AS SELECT {names} FROM "{kind.name}" WHERE 1 = 0'))

    def take(self, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> None:
        """Take rows aside."""
        insert_rows(self._connection, INCOMING, columns, rows)

    def settle(self) -> None:
        """Tell every repeated key and put the rows without one into the kind's table."""
        self._tell_within()
        self._tell_earlier()
        names = ", ".join(f'"{column}"' for column in self._columns)
        first = ", ".join(f'"{column}"' for column in key_columns(self._kind))
        self._connection.execute(
            text(
                f'INSERT INTO "{self._kind.name}" ({names}) SELECT {names} FROM {INCOMING} i '
                f'WHERE NOT EXISTS (SELECT 1 FROM "{self._kind.name}" t WHERE {self._same_key("i", "t")} AND t.{LIVE}) '
                f"AND i.line IN (SELECT min(line) FROM {INCOMING} GROUP BY {first})"
            )
        )

    def _same_key(self, one: str, other: str) -> str:
        table = TABLES[self._kind.name]
        pairs = []
        for column in key_columns(self._kind):
            left, right = f'{one}."{column}"', f'{other}."{column}"'
            if table.c[column].nullable:
                left, right = f"coalesce({left}, 0)", f"coalesce({right}, 0)"
            pairs.append(f"{left} = {right}")
        return " AND ".join(pairs)

    def _tell_within(self) -> None:
        keys = ", ".join(f'"{column}"' for column in key_columns(self._kind))
        rows = self._connection.execute(
            text(
                f"SELECT line, first_line FROM (SELECT line, min(line) OVER (PARTITION BY {keys}) AS first_line "
                f"FROM {INCOMING}) AS lines WHERE line <> first_line ORDER BY line"
            )
        )
        for line, first in rows:
            what = f"has the same key as {self._row_word} {first} ({', '.join(self._kind.key)})"
            self._faults.add(self._file, line, "", what, "each key once")

    def _tell_earlier(self) -> None:
        others = [column for column in stored_columns(self._kind) if column not in key_columns(self._kind)]
        equal = " AND ".join(f'(i."{c}" = t."{c}" OR (i."{c}" IS NULL AND t."{c}" IS NULL))' for c in others) or "1 = 1"
        rows = self._connection.execute(
            text(
                f"SELECT t.tally, count(*), sum(CASE WHEN {equal} THEN 1 ELSE 0 END), min(i.line), max(i.line), "
                f'min(t.line), max(t.line) FROM {INCOMING} i JOIN "{self._kind.name}" t ON {self._same_key("i", "t")} '
                f"WHERE t.{LIVE} GROUP BY t.tally ORDER BY t.tally"
            )
        ).all()
        for tally, count, same, first, last, theirs_first, theirs_last in rows:
            lines = _told_rows(self._row_word, first, last)
            theirs = _told_rows(self._word_of(tally), theirs_first, theirs_last)
            if self._is_typed:
                key = ", ".join(self._kind.key)
                with_values = "with the same values" if same else "with other values"
                what = f"this {key} came in with {self._told(tally)} ({theirs}) {with_values}"
                cure = f"a record that is not in the book yet, or `{self._kind.corrected_by}`"
                self._faults.add(self._file, first, "", what, cure)
                continue
            what = (
                f"{count} {'row has a key' if count == 1 else 'rows have keys'} ({lines}) that came in with "
                f"{self._told(tally)} ({theirs}): {same} equal, {count - same} different"
            )
            self._faults.add(self._file, first, "", what, "rows that are not in the book yet")

    def _word_of(self, tally: int) -> str:
        """Give what a row is called where an earlier tally was a file of text, or a sheet."""
        return "row" if reading_head(self._connection, tally).get("sheet") else "line"

    def _told(self, tally: int) -> str:
        if tally in self._numbers:
            return self._numbers[tally]
        row = self._connection.execute(text('SELECT name, at, "by" FROM tally WHERE number = :n'), {"n": tally}).one()
        return f"{row[0]}, loaded {row[1][:10]} by {row[2]}"


def _told_rows(word: str, first: int, last: int) -> str:
    return f"{word}s {first} to {last}" if last > first else f"{word} {first}"
