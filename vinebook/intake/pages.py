"""One tally read page by page: texts to stored rows, column by column, every fault with its line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from vinebook.intake.cells import CellReader, DecimalSigns, Fault, told_unusual
from vinebook.intake.lookups import RecordOf, RefusedKeys, SampleOf, SeasonOf
from vinebook.intake.rules import broken_rules
from vinebook.intake.tally_file import PageColumns, UnreadableError, lines_of
from vinebook.kinds import KINDS
from vinebook.kinds.form import own_fields, parent_columns, sample_fields

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from sqlalchemy import Connection

    from vinebook.intake.faults import Faults
    from vinebook.intake.lookups import Conventions
    from vinebook.intake.tally_file import TallyFile
    from vinebook.kinds.field import Field

PAGE_ROWS = 8192


@dataclass(slots=True)
class Page:
    """Accepted rows of a page.

    Attributes
    ----------
    lines : line of each row.
    columns : stored values, one sequence for each stored column of the kind.
    samples : samples met for the first time, as (permanent number, line, values by column).
    """

    lines: list[int]
    columns: list[Sequence[Any]]
    samples: list[tuple[int, int, dict[str, Any]]]


class TallyReader:
    """Reads one tally.

    Attributes
    ----------
    rows : rows accepted so far.
    """

    def __init__(
        self,
        connection: Connection,
        tally: TallyFile,
        faults: Faults,
        refused: dict[str, RefusedKeys],
        take_record: Callable[[], int],
        conventions: Conventions,
    ) -> None:
        self._connection = connection
        self._tally = tally
        self._kind = tally.kind
        self._faults = faults
        self._refused = refused
        self._conventions = conventions
        self._signs = DecimalSigns(tally.delimiter)
        self._headings = {column.field.name: column.heading for column in tally.columns}
        self._units = {column.field.name: column.unit for column in tally.columns}
        fields = (*(sample_fields(self._kind) if self._kind.sampled else ()), *own_fields(self._kind))
        self._cells: dict[tuple[str, str], CellReader] = {}
        self._fields = {field.name: field for field in fields}
        self._records = self._record_readers()
        self._seasons = (
            SeasonOf(self._reader(self._fields["season"]), self._kind.part)
            if "season" in self._fields and not self._kind.sampled
            else None
        )
        self._samples = self._sample_reader(take_record) if self._kind.sampled else None
        self._needs_dates_season = bool(self._kind.part) and not self._kind.sampled
        self._met = 0
        self.rows = 0

    def pages(self, keep: Callable[[bytes], None]) -> Iterator[Page]:
        """Give the accepted rows page by page; faults go where the reader was told."""
        name = self._tally.name
        try:
            for line, rows, is_plain in self._tally.pages(PAGE_ROWS, keep):
                page = self._page(line, rows, is_plain=is_plain)
                self.rows += len(page.lines)
                yield page
                for reader in self._cells.values():
                    reader.forget_when_full()
        except UnreadableError as trouble:
            self._faults.add(name, trouble.line, "", trouble.what, trouble.expected)
            self._faults.unread.add(self._kind.name)
            return
        if self._signs.are_mixed:
            comma, point = self._signs.seen[","], self._signs.seen["."]
            self._faults.add(
                name,
                0,
                "",
                f"has numbers with a comma ({comma}) and with a point ({point})",
                "one decimal sign in a file",
            )
        if not self._met and not self._faults.has(name):
            self._faults.add(name, 0, "", "has headings and no rows", "at least one row")

    def _reader(self, field: Field, units: str = "metric") -> CellReader:
        unit = self._units.get(field.name, "") or (
            field.us if units == "us" else field.metric if units == "metric" else ""
        )
        key = (field.name, unit)
        if key not in self._cells:
            self._cells[key] = CellReader(field, self._signs, unit)
        return self._cells[key]

    def _record_readers(self) -> dict[str, RecordOf]:
        readers = {}
        for field in self._kind.fields:
            if field.type == "ref":
                parent = KINDS[field.refers]
                fields = parent_columns(field) if len(parent.key) > 1 else (parent.field(parent.key[0]),)
                readers[field.name] = self._record_of(field, [self._key_reader(one) for one in fields])
        return readers

    def _key_reader(self, field: Field) -> CellReader | RecordOf:
        """Give what reads a part of a parent's key; the part may itself name a record by a key of one part."""
        if field.type != "ref":
            return CellReader(field, self._signs)
        named = KINDS[field.refers]
        return self._record_of(field, [CellReader(named.field(named.key[0]), self._signs)])

    def _record_of(self, field: Field, columns: Sequence[CellReader | RecordOf]) -> RecordOf:
        refused = self._refused.setdefault(field.refers, RefusedKeys())
        refused.is_partial = field.refers in self._faults.unread
        return RecordOf(self._connection, KINDS[field.refers], columns, required=field.required, refused=refused)

    def _sample_reader(self, take_record: Callable[[], int]) -> SampleOf:
        names = tuple(
            column.field.name
            for column in self._tally.columns
            if column.field.name in {f.name for f in sample_fields(self._kind)}
        )
        readers = {field.name: self._reader(field) for field in KINDS["sample"].fields if field.name != "block"}
        block = KINDS["sample"].field("block")
        blocks = self._record_of(block, [CellReader(KINDS["block"].field("code"), self._signs)])
        return SampleOf(self._connection, self._kind, names, readers, blocks, self._conventions, take_record)

    def _page(self, first_line: int, rows: list[list[str]] | PageColumns, *, is_plain: bool) -> Page:
        lines, texts = self._shaped(first_line, rows, is_plain=is_plain)
        self._met += len(lines)
        bad: set[int] = set()
        values: dict[str, Sequence[Any]] = {}
        samples: Sequence[Any] = ()
        if self._samples is not None:
            samples = self._read_samples(self._samples, texts, lines, bad)
        conventions = self._conventions_of(texts, samples, len(lines))
        for field in self._kind.fields:
            if field.type == "ref":
                values[field.name] = self._read_refs(field, texts, lines, bad)
            elif field.name != "season" or not self._needs_dates_season:
                values[field.name] = self._read(field, texts, lines, bad, conventions)
        if self._needs_dates_season:
            values["season"] = self._read_seasons(texts, values, lines, bad)
        # Where a cell could not be read, its row is not asked what it means.
        asked = _without(values, bad) if bad else values
        for at, column, what, expected in broken_rules(self._kind.rules, asked, len(lines)):
            if at not in bad:
                bad.add(at)
                self._faults.add(self._tally.name, lines[at], self._headings.get(column, column), what, expected)
        columns = self._stored(values, samples, lines, bad, conventions)
        made = self._made_samples(samples, lines)
        if bad:
            self._remember_refused(values, bad)
            kept = [at for at in range(len(lines)) if at not in bad]
            lines = [lines[at] for at in kept]
            columns = [[column[at] for at in kept] for column in columns]
        return Page(lines, columns, made)

    def _shaped(
        self, first_line: int, rows: list[list[str]] | PageColumns, *, is_plain: bool
    ) -> tuple[list[int], dict[str, Sequence[str]]]:
        """Give lines and texts by field, rows of a wrong length told and left out, empty rows left out."""
        width = len(self._tally.columns)
        if isinstance(rows, PageColumns):
            if min(rows.columns[0]).strip():
                lines = list(range(first_line, first_line + rows.rows))
                fields = [column.field.name for column in self._tally.columns]
                return lines, dict(zip(fields, rows.columns, strict=True))
            rows = [list(row) for row in zip(*rows.columns, strict=True)]
        if self._tally.blank_columns:
            rows = [_trimmed(row, width) for row in rows]
        lines = list(range(first_line, first_line + len(rows)))
        if not is_plain or set(map(len, rows)) != {width}:
            lines, rows = self._mended(first_line, rows, width)
        columns = list(zip(*rows, strict=True)) if rows else [()] * width
        # Blank sorts before all else, so the least cell of the first column tells whether a row may be empty.
        if rows and not min(columns[0]).strip():
            blank = [at for at, row in enumerate(rows) if not any(cell.strip() for cell in row)]
            if blank:
                dropped = set(blank)
                lines = [line for at, line in enumerate(lines) if at not in dropped]
                rows = [row for at, row in enumerate(rows) if at not in dropped]
                columns = list(zip(*rows, strict=True)) if rows else [()] * width
        return lines, {column.field.name: texts for column, texts in zip(self._tally.columns, columns, strict=True)}

    def _mended(self, first_line: int, rows: list[list[str]], width: int) -> tuple[list[int], list[list[str]]]:
        lines, kept = [], []
        line = first_line
        for row in rows:
            if len(row) == width:
                lines.append(line)
                kept.append(row)
            elif any(cell.strip() for cell in row):
                cells = f"has {len(row)} {'cell' if len(row) == 1 else 'cells'}"
                told = (cells, f"{width}, as in the headings")
                if self._tally.sheet:
                    told = ("has something to the right of the headings", "nothing there, or a heading above it")
                self._faults.add(self._tally.name, line, "", *told)
                self._faults.unread.add(self._kind.name)
            # A row of a workbook is one row, however many lines its cells hold.
            line += 1 if self._tally.sheet else lines_of(row)
        return lines, kept

    def _conventions_of(self, texts: dict[str, Sequence[str]], samples: Sequence[Any], rows: int) -> list[Any] | None:
        """Give the convention of each row where the book's vineyards differ, else None."""
        if self._conventions.units and self._conventions.hemisphere:
            return None
        of = self._conventions.of
        if self._samples is not None:
            blocks = self._samples.block_of
            return [of("block", blocks.get(sample)) if isinstance(sample, int) else None for sample in samples]
        for name in ("block", "vineyard"):
            if name in self._records and name in texts:
                records = self._records[name]
                return [of(name, records[text]) for text in texts[name]]
        return [of("", None)] * rows

    def _read(
        self,
        field: Field,
        texts: dict[str, Sequence[str]],
        lines: list[int],
        bad: set[int],
        conventions: list[Any] | None,
    ) -> Sequence[Any]:
        cells = texts.get(field.name)
        by_row = (
            bool(field.dimension)
            and field.metric != field.us
            and not self._units.get(field.name)
            and conventions is not None
        )
        if cells is None:
            cells = [""] * len(lines)
        if by_row and conventions is not None:
            readers = [self._reader(field, convention.units if convention else "metric") for convention in conventions]
            values: list[Any] = [reader[text] for reader, text in zip(readers, cells, strict=True)]
            used = list({id(reader): reader for reader in readers}.values())
        else:
            reader = self._reader(field, self._conventions.units or "metric")
            values = [reader[text] for text in cells]
            used = [reader]
        if any(reader.has_faults for reader in used):
            self._tell(field.name, values, lines, bad)
        if any(reader.unusual for reader in used):
            unusual = {text: bounds for reader in used for text, bounds in reader.unusual.items()}
            for at, text in enumerate(cells):
                if text in unusual:
                    heading = self._headings.get(field.name, field.name)
                    self._faults.warn(self._tally.name, lines[at], heading, told_unusual(field, text), unusual[text])
        return values

    def _read_refs(
        self, field: Field, texts: dict[str, Sequence[str]], lines: list[int], bad: set[int]
    ) -> Sequence[Any]:
        records = self._records[field.name]
        names = [column.name for column in parent_columns(field)]
        columns = [texts.get(name, [""] * len(lines)) for name in names]
        keys: Sequence[Any] = columns[0] if len(names) == 1 else list(zip(*columns, strict=True))
        records.look_ahead(keys)
        values = [records[key] for key in keys]
        if records.has_faults:
            self._tell(names[0] if len(names) == 1 else field.name, values, lines, bad)
        return values

    def _read_seasons(
        self, texts: dict[str, Sequence[str]], values: dict[str, Sequence[Any]], lines: list[int], bad: set[int]
    ) -> Sequence[Any]:
        assert self._seasons is not None  # noqa: S101 - kinds with a part have a season
        rows = len(lines)
        cells = texts.get("season", [""] * rows)
        dates: list[Any] = [None] * rows
        for name in reversed(self._kind.dated_by):
            dates = [value if isinstance(value, str) else date for value, date in zip(values[name], dates, strict=True)]
        of = self._conventions.of
        where = "block" if "block" in values else "vineyard"
        hemispheres = [of(where, record).hemisphere for record in values[where]]
        seasons = [self._seasons[key] for key in zip(cells, dates, hemispheres, strict=True)]
        if self._seasons.has_faults:
            # Where the date could not be read, a missing season is no fault of its own.
            seasons = [
                Fault("") if isinstance(season, Fault) and at in bad and not cells[at].strip() else season
                for at, season in enumerate(seasons)
            ]
            self._tell("season", seasons, lines, bad)
        return seasons

    @property
    def blocks(self) -> dict[int, int]:
        """Block of each sample that the tally holds rows of."""
        return {} if self._samples is None else self._samples.block_of

    def _tell(self, name: str, values: Sequence[Any], lines: list[int], bad: set[int]) -> None:
        for at, value in enumerate(values):
            if isinstance(value, Fault):
                bad.add(at)
                if value.what:
                    self._faults.add(
                        self._tally.name, lines[at], self._headings.get(name, name), value.what, value.expected
                    )

    def _read_samples(
        self, samples: SampleOf, texts: dict[str, Sequence[str]], lines: list[int], bad: set[int]
    ) -> Sequence[Any]:
        keys = list(zip(*(texts[name] for name in samples.names), strict=True))
        samples.look_ahead(keys)
        found = [samples[key] for key in keys]
        if samples.faults:
            self._tell_samples(lines, keys, found, bad)
        for key, name, text, bounds in samples.unusual:
            line, what = lines[keys.index(key)], told_unusual(KINDS["sample"].field(name), text)
            self._faults.warn(self._tally.name, line, self._headings.get(name, name), what, bounds)
        samples.unusual.clear()
        return found

    def _made_samples(self, samples: Sequence[Any], lines: list[int]) -> list[tuple[int, int, dict[str, Any]]]:
        """Give the samples that this page brought, each with the line on which it stands first."""
        if self._samples is None or not self._samples.made:
            return []
        first = dict(zip(reversed(samples), reversed(lines), strict=True))
        made = [(record, first[record], values) for record, values in self._samples.made]
        self._samples.made.clear()
        return made

    def _tell_samples(
        self, lines: list[int], keys: list[tuple[str, ...]], samples: Sequence[Any], bad: set[int]
    ) -> None:
        assert self._samples is not None  # noqa: S101 - only sampled kinds come here
        for at, sample in enumerate(samples):
            if isinstance(sample, Fault):
                bad.add(at)
                for name, fault in self._samples.faults[keys[at]]:
                    if fault.what:
                        self._faults.add(
                            self._tally.name, lines[at], self._headings.get(name, name), fault.what, fault.expected
                        )

    def _stored(
        self,
        values: dict[str, Sequence[Any]],
        samples: Sequence[Any],
        lines: list[int],
        bad: set[int],
        conventions: list[Any] | None,
    ) -> list[Sequence[Any]]:
        columns: list[Sequence[Any]] = [samples] if self._kind.sampled else []
        tickets: list[Sequence[Any]] = []
        for field in self._kind.fields:
            column = values[field.name]
            if field.type == "ticket":
                tickets.append(column)
                columns.append([value[0] if isinstance(value, tuple) else None for value in column])
            elif field.type == "counts":
                columns.append([value[0] if isinstance(value, tuple) else None for value in column])
                columns.append([value[1] if isinstance(value, tuple) else None for value in column])
            else:
                columns.append(column)
        if tickets:
            columns.append(self._ticket_units(tickets, lines, bad, conventions))
        return columns

    def _ticket_units(
        self, tickets: list[Sequence[Any]], lines: list[int], bad: set[int], conventions: list[Any] | None
    ) -> list[str]:
        units: list[str] = []
        for at, row in enumerate(zip(*tickets, strict=True)):
            found = sorted({value[1] for value in row if isinstance(value, tuple) and value[1]})
            if len(found) > 1 and at not in bad:
                bad.add(at)
                self._faults.add(
                    self._tally.name, lines[at], "", f"has masses in {' and in '.join(found)}", "one unit on one ticket"
                )
            usual = conventions[at].units if conventions and conventions[at] else self._conventions.units
            units.append(found[0] if found else "lb" if usual == "us" else "kg")
        return units

    def _remember_refused(self, values: dict[str, Sequence[Any]], bad: set[int]) -> None:
        """Keep the keys of refused rows, so that what names them is not faulted once more."""
        names = [name for name in self._kind.key if name in values]
        keys = self._refused.setdefault(self._kind.name, RefusedKeys()).keys
        for at in bad:
            key = tuple(values[name][at] for name in names)
            keys.add(key[0] if len(key) == 1 else key)


def _trimmed(row: list[str], width: int) -> list[str]:
    """Give a row without its cells beyond the headings, where these are empty."""
    beyond = row[width:]
    # A line break in such a cell still counts as a line of the file.
    return row[:width] if beyond and not "".join(beyond).strip(" \t") else row


def _without(values: dict[str, Sequence[Any]], bad: set[int]) -> dict[str, Sequence[Any]]:
    return {name: [None if at in bad else value for at, value in enumerate(column)] for name, column in values.items()}
