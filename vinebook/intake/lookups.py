"""What the cells of a tally name in the book: records, vineyards' units and hemispheres, samples, seasons."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, select

from vinebook.intake.cells import CellReader, Fault, quoted, with_article
from vinebook.kinds import SAMPLE
from vinebook.quantities import months_outside, season_of
from vinebook.records.keys import NAMED
from vinebook.records.nearest import near_names
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from sqlalchemy import Connection, Select, Table

    from vinebook.kinds.field import Kind

FARTHEST_MONTHS = 12
BESIDE_THE_KEY = ("panel_size", "draw", "seed")
"""Columns of a sample that do not name it, and in which its rows must agree."""


@dataclass(frozen=True, slots=True)
class Convention:
    """What a vineyard takes for granted: units of bare numbers, and hemisphere."""

    units: str
    hemisphere: str


class Conventions:
    """The conventions of the book's vineyards, by vineyard and by block.

    Attributes
    ----------
    units, hemisphere : where all vineyards agree, else "".
    """

    def __init__(self, connection: Connection) -> None:
        vineyard, self._block = TABLES["vineyard"], TABLES["block"]
        self._connection = connection
        rows = connection.execute(
            select(vineyard.c.record, vineyard.c.units, vineyard.c.hemisphere, vineyard.c.name).where(
                vineyard.c.struck_at.is_(None)
            )
        ).all()
        self.by_vineyard = {row.record: Convention(row.units, row.hemisphere) for row in rows}
        self.in_words = {
            row.name: {"units": row.units, "hemisphere": row.hemisphere}
            for row in sorted(rows, key=lambda row: row.name)
        }
        units = {convention.units for convention in self.by_vineyard.values()}
        hemispheres = {convention.hemisphere for convention in self.by_vineyard.values()}
        self.units = units.pop() if len(units) == 1 else ""
        self.hemisphere = hemispheres.pop() if len(hemispheres) == 1 else ""
        self._by_block: dict[int, Convention] = {}

    def of_block(self, record: int) -> Convention:
        """Give the convention of a block's vineyard."""
        found = self._by_block.get(record)
        if found is None:
            vineyard = self._connection.scalar(select(self._block.c.vineyard).where(self._block.c.record == record))
            found = self.by_vineyard[vineyard]
            self._by_block[record] = found
        return found

    def of(self, kind: str, record: object) -> Convention:
        """Give the convention of a block or vineyard; what all agree on where it is not known."""
        if isinstance(record, int):
            return self.of_block(record) if kind == "block" else self.by_vineyard[record]
        return Convention(self.units, self.hemisphere)


@dataclass(slots=True)
class RefusedKeys:
    """Keys of the refused rows of a kind.

    Attributes
    ----------
    keys : a value, or a tuple of values where the key is of several.
    is_partial : True where rows could not be read so far as to tell their keys.
    """

    keys: set[Any] = dataclass_field(default_factory=set)
    is_partial: bool = False


class RecordOf(dict[Any, Any]):
    """Permanent numbers by the text, or tuple of texts, that names a record; fills itself.

    Keys of refused rows name nothing either, but that fault was told where the row stands: theirs is empty, as is
    that of every missing record where not all rows of its kind could be read.

    Attributes
    ----------
    has_faults : True once a text named nothing.
    """

    def __init__(
        self,
        connection: Connection,
        parent: Kind,
        readers: Sequence[CellReader | RecordOf],
        *,
        required: bool,
        refused: RefusedKeys | None = None,
    ) -> None:
        super().__init__()
        self._connection = connection
        self._parent = parent
        self._label = parent.name.replace("_", " ")
        self._table = TABLES[parent.name]
        self._readers = readers
        self._required = required
        self._refused = refused or RefusedKeys()
        self.has_faults = False

    def __missing__(self, words: Any) -> Any:  # noqa: ANN401 - a text or a tuple of texts
        value = self._find(words)
        if isinstance(value, Fault):
            self.has_faults = True
        self[words] = value
        return value

    def _find(self, words: Any) -> int | Fault | None:  # noqa: ANN401
        texts = words if isinstance(words, tuple) else (words,)
        if not any(text.strip() for text in texts):
            return Fault("is empty", f"the key of {with_article(self._label)}") if self._required else None
        values = []
        for reader, text in zip(self._readers, texts, strict=True):
            value = reader[text]
            if isinstance(value, Fault):
                # A record that is not there is named already.
                if len(texts) == 1 or isinstance(reader, RecordOf):
                    return value
                return Fault(f"{reader.field.name} {value.what}", value.expected)
            values.append(value)
        key = values[0] if len(values) == 1 else tuple(values)
        found = None
        if None not in values:
            found = self._connection.scalar(self._by_key, dict(zip(self._parent.key, values, strict=True)))
        if found is not None:
            return int(found)
        if self._refused.is_partial or key in self._refused.keys:
            return Fault("")
        words = (
            str(text).strip() if isinstance(reader, RecordOf) else str(value)
            for reader, text, value in zip(self._readers, texts, values, strict=True)
        )
        key_words = quoted("/".join(words))
        near = near_names(str(key), self._codes) if self._parent.name in NAMED else []
        meant = f", {' or '.join(near)} perhaps" if near else ""
        hint = f"the key of {with_article(self._label)}{meant}; `vinebook list {self._parent.name}` prints them"
        return Fault(f"no {self._label} {key_words} is in the book", hint)

    @cached_property
    def _by_key(self) -> Select[Any]:
        return _live_by_key(self._table, self._parent, "record")

    @cached_property
    def _codes(self) -> list[str]:
        """The keys of the parent's live rows, to name what a person may have meant."""
        column = self._table.c[self._parent.key[0]]
        return list(self._connection.execute(select(column).where(self._table.c.struck_at.is_(None))).scalars())


class SeasonOf(dict[tuple[str, str | None, str], Any]):
    """Seasons by (text of the season cell, ISO date, hemisphere); fills itself."""

    def __init__(self, reader: CellReader, part: str) -> None:
        super().__init__()
        self._reader = reader
        self._part = part
        self.has_faults = False

    def __missing__(self, given: tuple[str, str | None, str]) -> Any:  # noqa: ANN401
        value = self._find(*given)
        if isinstance(value, Fault):
            self.has_faults = True
        self[given] = value
        return value

    def _find(self, text: str, date: str | None, hemisphere: str) -> int | Fault:
        season = self._reader[text]
        if isinstance(season, Fault):
            return season
        if date is None:
            return Fault("is empty", "a harvest year") if season is None else int(season)
        day = dt.date.fromisoformat(date)
        if season is None:
            if not hemisphere:
                return Fault("is empty", "a harvest year, as no hemisphere is known that would give it")
            return season_of(day, hemisphere, self._part)
        hemispheres = [hemisphere] if hemisphere else ["north", "south"]
        away = min(months_outside(day, season, one) for one in hemispheres)
        if away > FARTHEST_MONTHS:
            return Fault(
                f"the date {date} lies {away} months outside season {season}", "a date within 12 months of the season"
            )
        return int(season)


class SampleOf(dict[tuple[str, ...], Any]):
    """Samples by the texts of their columns; finds a sample in the book or makes a new one.

    Attributes
    ----------
    names : columns of the tally that describe the sample, in the order of the texts.
    made : new samples as stored values, in the order in which they were first met.
    unusual : samples met since last told with a value outside its usual bounds: texts, column, text, bounds.
    block_of : block of each sample.
    faults : what is wrong, by the texts: pairs of column and fault.
    """

    def __init__(
        self,
        connection: Connection,
        kind: Kind,
        names: tuple[str, ...],
        readers: Mapping[str, CellReader],
        blocks: RecordOf,
        conventions: Conventions,
        take: Callable[[], int],
    ) -> None:
        super().__init__()
        self._connection = connection
        self._kind = kind
        self.names = names
        self._readers = readers
        self._blocks = blocks
        self._conventions = conventions
        self._take = take
        self._seasons = SeasonOf(readers["season"], kind.part)
        self._known: dict[tuple[Any, ...], tuple[int, tuple[Any, ...]]] = {}
        self.made: list[tuple[int, dict[str, Any]]] = []
        self.unusual: list[tuple[tuple[str, ...], str, str, str]] = []
        self.block_of: dict[int, int] = {}
        self.faults: dict[tuple[str, ...], list[tuple[str, Fault]]] = {}

    def __missing__(self, texts: tuple[str, ...]) -> Any:  # noqa: ANN401
        values: dict[str, Any] = {}
        faults: list[tuple[str, Fault]] = []
        given = dict(zip(self.names, texts, strict=True))
        for field in SAMPLE.fields:
            reader = self._blocks if field.name == "block" else self._readers[field.name]
            if field.name != "season":
                text = given.get(field.name, "")
                values[field.name] = reader[text]
                if isinstance(reader, CellReader) and text in reader.unusual:
                    self.unusual.append((texts, field.name, text.strip(), reader.unusual[text]))
        if not any(isinstance(values[name], Fault) for name in ("block", "date")):
            hemisphere = self._conventions.of_block(values["block"]).hemisphere
            values["season"] = self._seasons[given.get("season", ""), values["date"], hemisphere]
        else:
            values["season"] = self._readers["season"][given.get("season", "")]
        faults.extend((name, value) for name, value in values.items() if isinstance(value, Fault))
        if not faults and values["chosen"] == "panels" and values["panel_size"] is None:
            fault = Fault("is empty where chosen is panels", "vine positions in a panel, as the panel is the unit")
            faults.append(("panel_size", fault))
        record: Any = None
        if not faults:
            record = self._record(values, faults)
        if faults:
            self.faults[texts] = faults
            record = Fault("")
        self[texts] = record
        return record

    def _record(self, values: dict[str, Any], faults: list[tuple[str, Fault]]) -> int | None:
        values["counts"] = self._kind.name
        key = tuple(values[name] for name in SAMPLE.key)
        rest = tuple(values[name] for name in BESIDE_THE_KEY)
        known = self._known.get(key) or self._in_book(key)
        if known is None:
            record = self._take()
            self.made.append((record, values))
        else:
            record, earlier = known
            if rest != earlier:
                pairs = zip(BESIDE_THE_KEY, rest, earlier, strict=True)
                faults.extend(
                    (name, Fault(f"is {_told(now)}, and {_told(then)} in other rows of this sample", "one value"))
                    for name, now, then in pairs
                    if now != then
                )
                return None
        self._known[key] = record, rest
        self.block_of[record] = values["block"]
        return record

    def _in_book(self, key: tuple[Any, ...]) -> tuple[int, tuple[Any, ...]] | None:
        row = self._connection.execute(self._by_key, dict(zip(SAMPLE.key, key, strict=True))).first()
        return None if row is None else (int(row[0]), tuple(row[1:]))

    @cached_property
    def _by_key(self) -> Select[Any]:
        return _live_by_key(TABLES["sample"], SAMPLE, "record", *BESIDE_THE_KEY)


def _live_by_key(table: Table, kind: Kind, *columns: str) -> Select[Any]:
    """Give the query of a live row by the columns of its key; made once, as making it costs more than asking it."""
    query = select(*(table.c[name] for name in columns)).where(table.c.struck_at.is_(None))
    return query.where(*(table.c[name] == bindparam(name) for name in kind.key))


def _told(value: object) -> str:
    return "empty" if value is None else str(value)
