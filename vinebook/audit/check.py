"""What looks wrong in a book: every rule run over one snapshot, worst first; silenced findings are counted."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Literal

from sqlalchemy import select

from vinebook.audit.check_rule import SEVERITIES, Rule, Scope, Severity, years
from vinebook.audit.check_rules_canopy import CANOPY_RULES
from vinebook.audit.check_rules_loads import LOAD_RULES
from vinebook.audit.check_rules_places import PLACE_RULES
from vinebook.audit.check_rules_samples import SAMPLE_RULES
from vinebook.audit.check_rules_seasons import SEASON_RULES, unknown_silences
from vinebook.errors import WordsError
from vinebook.intake.typed import add_record
from vinebook.kinds import KINDS
from vinebook.records.keys import find_record, join_key, keyed_select
from vinebook.records.nearest import one_of
from vinebook.records.tables import TABLES
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from sqlalchemy import Connection

    from vinebook.audit.check_rule import Hit
    from vinebook.intake.load import LoadReport
    from vinebook.records.book import Book

CHUNK = 500
"""Permanent numbers looked up at a time."""

_RULES = (*LOAD_RULES, *PLACE_RULES, *SAMPLE_RULES, *CANOPY_RULES, *SEASON_RULES)
_NAMES = frozenset(rule.name for rule in _RULES)
SILENCE_RULE = Rule(
    "silence_of_no_rule",
    "information",
    "Silences of a rule that there is not.",
    "The silence has no effect: the rule's name is misspelt, or of another version.",
    "",
    "",
    partial(unknown_silences, names=_NAMES | {"silence_of_no_rule"}),
)
RULES: dict[str, Rule] = {
    rule.name: rule for severity in SEVERITIES for rule in (*_RULES, SILENCE_RULE) if rule.severity == severity
}
"""Every rule by its name, worst first."""


@dataclass(frozen=True, slots=True)
class CheckFinding:
    """Something that looks wrong, with its row.

    Attributes
    ----------
    rule, severity : the rule that found it.
    blocks : codes of the blocks it concerns.
    seasons : harvest years it concerns.
    kind, key, record : the row it is about; the key as `list` prints it.
    found : what was found, in words.
    why : why it matters, one line.
    """

    rule: str
    severity: Severity
    blocks: tuple[str, ...]
    seasons: tuple[int, ...]
    kind: str
    key: str
    record: int
    found: str
    why: str

    @property
    def when(self) -> str:
        """The seasons in words."""
        return years(self.seasons)


@dataclass(slots=True)
class CheckReport:
    """What `check` found.

    Attributes
    ----------
    findings : worst first.
    silenced : findings that were silenced, by rule.
    """

    findings: list[CheckFinding] = field(default_factory=list)
    silenced: Counter[str] = field(default_factory=Counter)


def rule_named(name: str) -> Rule:
    """Give a rule by its name.

    Raises
    ------
    WordsError : there is none of that name.
    """
    if name not in RULES:
        raise WordsError(f"check has no rule {name!r}", one_of(name, RULES))
    return RULES[name]


def check_book(
    book: Book,
    blocks: Sequence[str] = (),
    *,
    season: int | None = None,
    today: dt.date | None = None,
    units: Literal["metric", "us"] = "metric",
    progress: Callable[[str], None] | None = None,
) -> CheckReport:
    """Run every rule over one snapshot of a book.

    Parameters
    ----------
    book : an open book.
    blocks : block codes; none takes all.
    season : keep only what concerns this harvest year, or None for all.
    today : the day on which one looks; this machine's where None.
    units : units in which findings are told; printed masses keep the unit of their ticket.
    progress : called with the name of each rule.

    Raises
    ------
    WordsError : no such block.
    """
    with book.reading() as connection:
        records = [find_record(connection, KINDS["block"], code) for code in blocks] or None
        return check(connection, records, season=season, today=today, units=units, progress=progress)


def check(
    connection: Connection,
    blocks: list[int] | None = None,
    *,
    season: int | None = None,
    today: dt.date | None = None,
    units: Literal["metric", "us"] = "metric",
    progress: Callable[[str], None] | None = None,
) -> CheckReport:
    """Run every rule over a snapshot; see `check_book`.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    blocks : permanent numbers of blocks, or None for all.
    season, today, units, progress : as for `check_book`.
    """
    # The day matters only for harvests that nobody closed; it is the person's own.
    scope = Scope(connection, blocks, today or dt.datetime.now().astimezone().date(), units)
    silences = _silences(connection)
    report = CheckReport()
    for rule in RULES.values():
        if progress is not None:
            progress(rule.name)
        hits = [hit for hit in rule.find(scope) if season is None or season in hit.seasons]
        report.findings += _told(scope, rule, hits, silences, report.silenced)
    return report


def _told(
    scope: Scope, rule: Rule, hits: Sequence[Hit], silences: set[tuple[int, str]], silenced: Counter[str]
) -> list[CheckFinding]:
    of_load = _blocks_of_loads(scope.connection, [hit.record for hit in hits if hit.kind == "load" and not hit.blocks])
    kept: list[tuple[Hit, tuple[int, ...]]] = []
    for hit in hits:
        blocks = hit.blocks or (of_load.get(hit.record, ()) if hit.kind == "load" else ())
        if blocks and all((block, rule.name) in silences for block in blocks):
            silenced[rule.name] += 1
        elif scope.blocks is None or not set(scope.blocks).isdisjoint(blocks):
            kept.append((hit, blocks))
    keys = {
        kind: _keys(scope.connection, kind, [hit.record for hit, _ in kept if hit.kind == kind])
        for kind in {hit.kind for hit, _ in kept}
    }
    found = [
        CheckFinding(
            rule.name,
            rule.severity,
            tuple(sorted(scope.code(block) for block in blocks)),
            hit.seasons,
            hit.kind,
            keys[hit.kind].get(hit.record, ""),
            hit.record,
            hit.found,
            rule.why,
        )
        for hit, blocks in kept
    ]
    return sorted(found, key=lambda finding: (finding.blocks, finding.seasons, finding.kind, finding.record))


def _silences(connection: Connection) -> set[tuple[int, str]]:
    table = TABLES["silence"]
    return {(block, rule) for block, rule in connection.execute(select(table.c.block, table.c.rule).where(live(table)))}


def _chunks(records: Iterable[int]) -> Iterable[list[int]]:
    held = sorted(set(records))
    return (held[start : start + CHUNK] for start in range(0, len(held), CHUNK))


def _blocks_of_loads(connection: Connection, loads: Sequence[int]) -> dict[int, tuple[int, ...]]:
    part = TABLES["load_part"]
    found: dict[int, tuple[int, ...]] = {}
    for chunk in _chunks(loads):
        statement = select(part.c.load, part.c.block).where(live(part), part.c.load.in_(chunk)).distinct()
        for load, block in connection.execute(statement):
            found[load] = (*found.get(load, ()), block)
    return found


def _keys(connection: Connection, kind: str, records: Sequence[int]) -> dict[int, str]:
    query, _ = keyed_select(KINDS[kind])
    record = TABLES[kind].c.record
    return {
        row[-1]: join_key(row[:-1])
        for chunk in _chunks(records)
        for row in connection.execute(query.add_columns(record).where(record.in_(chunk)))
    }


def silence(book: Book, rule: str, block: str, reason: str, *, by: str) -> LoadReport:
    """Silence a rule for a block: a record of kind `silence`, through the same intake, its reason in the journal.

    Parameters
    ----------
    book : an open book.
    rule : name of the rule.
    block : block code.
    reason : why the rule does not apply there.
    by : who acts.

    Raises
    ------
    WordsError : no such rule, or no reason.
    FindingsError : no such block, or it is silenced there already.
    """
    named = rule_named(rule)
    if not reason.strip():
        raise WordsError("a rule is silenced with a reason", "say why it does not apply: --reason WHY")
    return add_record(book, "silence", {"block": block, "rule": named.name, "reason": reason}, by=by)
