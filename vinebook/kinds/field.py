"""What a kind of record and its fields are, as plain data. Imports nothing of the house."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FieldType = Literal[
    "code",
    "text",
    "count",
    "number",
    "measure",
    "ticket",
    "date",
    "season",
    "choice",
    "ref",
    "position",
    "counts",
    "contacts",
]
"""How a field is written and kept.

code: a short name, part of a key. text: words in one line. count: a whole number, 0 or more.
number: a bare number. measure: a number with a unit, kept in one metric unit. ticket: a printed mass,
kept as thousandths of the printed unit beside the unit. date: ISO. season: harvest year. choice: one of
a list. ref: the key of another record, kept as its permanent number. position: a node position (0 basal,
1, 2, …, "old wood" kept as -1). counts: whole numbers joined by "+", kept as written beside their sum. contacts: the
letters L, C and S in order, or G alone.
"""

Part = Literal["dormant", "growing"]
HEAVIEST_MG = 1_000_000_000
"""A tonne: no vine or lot of a sample weighs more, and its square still fits 64 bits."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a kind.

    Attributes
    ----------
    name : heading in tallies and forms, name in the API.
    type : see `FieldType`.
    help : one sentence for the person who fills it in.
    required : True where an empty cell is refused.
    choices : accepted words of a choice.
    refers : the kind that a ref names.
    low, high : bounds of the possible, in the stored unit; outside is refused.
    usual : bounds of the usual, in the stored unit; outside loads with a warning.
    longest : most characters of a text where it is not the usual number.
    default : value taken where the cell or column is missing; None keeps the field empty.
    dimension : of a measure or ticket: mass, length, area, share, sugar, acidity, angle.
    metric, us : unit of a bare number where the vineyard's units are metric or US.
    stored : unit of the stored column of a measure; it ends the column's name.
    """

    name: str
    type: FieldType
    help: str
    required: bool = False
    choices: tuple[str, ...] = ()
    refers: str = ""
    low: float | None = None
    high: float | None = None
    usual: tuple[float, float] | None = None
    default: str | None = None
    longest: int | None = None
    dimension: str = ""
    metric: str = ""
    us: str = ""
    stored: str = ""

    @property
    def column(self) -> str:
        """Name of the stored column, its unit included."""
        if self.type == "measure":
            return f"{self.name}_{COLUMN_SUFFIX[self.stored]}"
        if self.type == "ticket":
            return f"{self.name}_milli"
        return self.name

    @property
    def is_key_text(self) -> bool:
        """Whether the field holds one-line text that no formula may stand in."""
        return self.type in ("code", "choice", "position")


BBCH_CODES = (
    *("00", "01", "03", "05", "07", "09"),
    *(f"1{leaves}" for leaves in range(1, 10)),
    *("53", "55", "57"),
    *("60", "61", "62", "63", "64", "65", "66", "67", "68", "69"),
    *("71", "73", "75", "77", "79", "81", "83", "85", "89"),
    *("91", "92", "93", "95", "97", "99"),
)
"""BBCH codes for grapevine: Lorenz et al. 1994/1995; Meier, BBCH monograph."""

COLUMN_SUFFIX = {
    "mg": "mg",
    "m": "m",
    "m2": "m2",
    "ha": "ha",
    "%": "percent",
    "°Brix": "brix",
    "g/L": "g_per_l",
    "°": "degrees",
}
"""How the stored unit of a measure ends its column's name."""


@dataclass(frozen=True, slots=True)
class Needs:
    """`field` must be filled where `when` holds one of `values`."""

    field: str
    when: str
    values: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Bars:
    """`field` must be empty or 0 where `when` holds one of `values`."""

    field: str
    when: str
    values: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class SumIs:
    """`parts` add up to `total` where all are filled."""

    parts: tuple[str, ...]
    total: str
    why: str


@dataclass(frozen=True, slots=True)
class NotAbove:
    """`field` is at most `limit` (a field of the row) where both are filled."""

    field: str
    limit: str
    why: str


@dataclass(frozen=True, slots=True)
class OneOf:
    """At least one of `fields` is filled (exactly one where `exactly`)."""

    fields: tuple[str, ...]
    why: str
    exactly: bool = False


@dataclass(frozen=True, slots=True)
class Together:
    """All of `fields` are filled or none."""

    fields: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class DifferenceIs:
    """`total` − `part` = `rest`, exactly, where all three are filled."""

    total: str
    part: str
    rest: str
    why: str


@dataclass(frozen=True, slots=True)
class OneOfWhere:
    """`field` is one of `accepted` where `when` holds one of `values`."""

    field: str
    when: str
    values: tuple[str, ...]
    accepted: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class ListLengthIs:
    """The counts field `field` has as many numbers as `count` says (none where it is 0)."""

    field: str
    count: str
    why: str


Rule = Needs | Bars | SumIs | NotAbove | OneOf | Together | DifferenceIs | OneOfWhere | ListLengthIs


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of record, and the table, form, checks and page that follow from it.

    Attributes
    ----------
    name : table, form and CLI word; singular.
    one_row : what one row is, after "One row is".
    fields : in the order of the form.
    key : names of the fields that name a row within the book.
    part : dormant or growing where a date gives the season; "" where rows have no season.
    dated_by : the date field that gives the season, in order of preference.
    sampled : True where rows are vines or lots of a sample, whose columns stand in the same tally.
    rules : what must hold within a row.
    aggregates : fields that a covering index carries behind the key, so that figures need no table read.
    superseded : True where a wrong row is superseded by a correction, never amended.
    made : True where only the program makes rows, in the step of another record: no form, no tally, no amending.
    version : raised when the meaning of a field changes.
    """

    name: str
    one_row: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]
    part: Part | Literal[""] = ""
    dated_by: tuple[str, ...] = ()
    sampled: bool = False
    rules: tuple[Rule, ...] = ()
    aggregates: tuple[str, ...] = ()
    superseded: bool = False
    made: bool = False
    version: int = 1

    def field(self, name: str) -> Field:
        """Give the field of that name, or raise KeyError."""
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)

    @property
    def corrected_by(self) -> str:
        """The command that corrects a record of this kind."""
        if not self.superseded:
            return "vinebook amend"
        return f"vinebook {'decide' if self.name == 'decision' else f'add {self.name}'} --supersedes KEY"

    @property
    def a_name(self) -> str:
        """Its name with the article: a load, an event."""
        return f"an {self.name}" if self.name[0] in "aeiou" else f"a {self.name}"

    @property
    def has_tickets(self) -> bool:
        """Whether rows hold printed masses, hence a `mass_unit` column."""
        return any(field.type == "ticket" for field in self.fields)


def code(name: str, help: str, **more: object) -> Field:  # noqa: A002 - a field's help is called help
    """Make a code field."""
    return Field(name, "code", help, **more)  # type: ignore[arg-type]


def text(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a text field."""
    return Field(name, "text", help, **more)  # type: ignore[arg-type]


def count(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a count field."""
    return Field(name, "count", help, **{"low": 0, **more})  # type: ignore[arg-type]


def choice(name: str, choices: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a choice field; `choices` are words separated by blanks."""
    return Field(name, "choice", help, choices=tuple(choices.split()), **more)  # type: ignore[arg-type]


def number(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a number field."""
    return Field(name, "number", help, **more)  # type: ignore[arg-type]


def date(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a date field."""
    return Field(name, "date", help, **more)  # type: ignore[arg-type]


def season(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a season field."""
    return Field(name, "season", help, **{"low": 1800, "high": 2200, **more})  # type: ignore[arg-type]


def ref(name: str, help: str, refers: str = "", **more: object) -> Field:  # noqa: A002
    """Make a field that names another record."""
    return Field(name, "ref", help, refers=refers or name, **more)  # type: ignore[arg-type]


def sample_mass(name: str, help: str, metric: str = "kg", us: str = "lb", **more: object) -> Field:  # noqa: A002
    """Make a mass weighed on a sample, kept in whole milligrams."""
    return Field(
        name,
        "measure",
        help,
        **{"dimension": "mass", "metric": metric, "us": us, "stored": "mg", "low": 0, "high": HEAVIEST_MG, **more},  # type: ignore[arg-type]
    )


def ticket(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a printed mass, kept as thousandths of the printed unit."""
    return Field(name, "ticket", help, **{"dimension": "mass", "metric": "kg", "us": "lb", "low": 0, **more})  # type: ignore[arg-type]


def length(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a length, kept in metres."""
    return Field(
        name,
        "measure",
        help,
        **{"dimension": "length", "metric": "m", "us": "ft", "stored": "m", "low": 0, **more},  # type: ignore[arg-type]
    )


def area(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make an area, kept in hectares."""
    return Field(
        name,
        "measure",
        help,
        **{"dimension": "area", "metric": "ha", "us": "acre", "stored": "ha", "low": 0, **more},  # type: ignore[arg-type]
    )


def share(name: str, help: str, **more: object) -> Field:  # noqa: A002
    """Make a share, kept in percent."""
    given = {"dimension": "share", "metric": "%", "us": "%", "stored": "%", "low": 0, "high": 100, **more}
    return Field(name, "measure", help, **given)  # type: ignore[arg-type]
