"""What the cells of a tally name in the book: records, vineyards' units and hemispheres, samples, seasons."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.intake.cells import CellReader, Fault, quoted, with_article
from vinebook.kinds import SAMPLE
from vinebook.quantities import months_outside, season_of
from vinebook.records.bulk import rows_by_key
from vinebook.records.keys import NAMED
from vinebook.records.nearest import near_names
from vinebook.records.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from sqlalchemy import Connection

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
        if record not in self._by_block:
            # All at once: a tally of a season names most blocks of a book.
            for block, vineyard in self._connection.execute(select(self._block.c.record, self._block.c.vineyard)):
                if vineyard in self.by_vineyard:
                    self._by_block[block] = self.by_vineyard[vineyard]
        return self._by_block[record]

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
        self.look_ahead([words])
        return self[words]

    def look_ahead(self, all_words: Iterable[Any]) -> None:
        """Find many records at once, by the texts of a page, say.

        Parameters
        ----------
        all_words : texts, or tuples of texts; those that were looked for before are passed over.
        """
        new = [words for words in dict.fromkeys(all_words) if words not in self]
        for at, reader in enumerate(self._readers):
            if isinstance(reader, RecordOf):
                reader.look_ahead(_texts_of(words)[at] for words in new)
        keys: dict[Any, tuple[Any, ...]] = {}
        for words in new:
            key = self._key(_texts_of(words))
            if isinstance(key, tuple):
                keys[words] = key
            else:
                self._take(words, key)
        asked = {words: key for words, key in keys.items() if None not in key}
        rows = rows_by_key(self._connection, self._table, ("record",), self._parent.key, list(asked.values()))
        found = dict(zip(asked, rows, strict=True))
        for words, key in keys.items():
            row = found.get(words)
            self._take(words, self._nothing(_texts_of(words), key) if row is None else int(row[0]))

    def _take(self, words: Any, value: int | Fault | None) -> None:  # noqa: ANN401
        if isinstance(value, Fault):
            self.has_faults = True
        self[words] = value

    def _key(self, texts: tuple[str, ...]) -> tuple[Any, ...] | Fault | None:
        """Give the values of a key as the book keeps them; None where the cells are empty and may be."""
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
        return tuple(values)

    def _nothing(self, texts: tuple[str, ...], key: tuple[Any, ...]) -> Fault:
        """Give the fault of a key that names no record."""
        one = key[0] if len(key) == 1 else key
        if self._refused.is_partial or one in self._refused.keys:
            return Fault("")
        words = (
            str(text).strip() if isinstance(reader, RecordOf) else str(value)
            for reader, text, value in zip(self._readers, texts, key, strict=True)
        )
        key_words = quoted("/".join(words))
        near = near_names(str(one), self._codes) if self._parent.name in NAMED else []
        meant = f", {' or '.join(near)} perhaps" if near else ""
        hint = f"the key of {with_article(self._label)}{meant}; `vinebook list {self._parent.name}` prints them"
        return Fault(f"no {self._label} {key_words} is in the book", hint)

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
        self._read: dict[tuple[str, ...], tuple[dict[str, Any], list[tuple[str, Fault]]]] = {}
        self._known: dict[tuple[Any, ...], tuple[int, tuple[Any, ...]]] = {}
        self.made: list[tuple[int, dict[str, Any]]] = []
        self.unusual: list[tuple[tuple[str, ...], str, str, str]] = []
        self.block_of: dict[int, int] = {}
        self.faults: dict[tuple[str, ...], list[tuple[str, Fault]]] = {}

    def __missing__(self, texts: tuple[str, ...]) -> Any:  # noqa: ANN401
        if texts not in self._read:
            self.look_ahead([texts])
        values, faults = self._read.pop(texts)
        record: Any = None
        if not faults:
            record = self._record(values, faults)
        if faults:
            self.faults[texts] = faults
            record = Fault("")
        self[texts] = record
        return record

    def look_ahead(self, all_texts: Iterable[tuple[str, ...]]) -> None:
        """Read the texts of many samples, and find at once those that are in the book.

        Parameters
        ----------
        all_texts : texts of a page's samples; those that were looked for before are passed over.
        """
        new = [texts for texts in dict.fromkeys(all_texts) if texts not in self]
        if "block" in self.names:
            at = self.names.index("block")
            self._blocks.look_ahead(texts[at] for texts in new)
        keys = []
        for texts in new:
            values, faults = self._read[texts] = self._values(texts)
            if not faults:
                keys.append(tuple(values[name] for name in SAMPLE.key))
        keys = [key for key in dict.fromkeys(keys) if key not in self._known]
        rows = rows_by_key(self._connection, TABLES["sample"], ("record", *BESIDE_THE_KEY), SAMPLE.key, keys)
        self._known |= {
            key: (int(row[0]), tuple(row[1:])) for key, row in zip(keys, rows, strict=True) if row is not None
        }

    def _values(self, texts: tuple[str, ...]) -> tuple[dict[str, Any], list[tuple[str, Fault]]]:
        """Give the stored values of a sample, and what is wrong with its texts."""
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
        values["counts"] = self._kind.name
        return values, faults

    def _record(self, values: dict[str, Any], faults: list[tuple[str, Fault]]) -> int | None:
        key = tuple(values[name] for name in SAMPLE.key)
        rest = tuple(values[name] for name in BESIDE_THE_KEY)
        known = self._known.get(key)
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


def _texts_of(words: Any) -> tuple[str, ...]:  # noqa: ANN401 - a text or a tuple of texts
    return words if isinstance(words, tuple) else (words,)


def _told(value: object) -> str:
    return "empty" if value is None else str(value)
