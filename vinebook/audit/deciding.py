"""Recording a decision: the choice with its reason, and the figures that stood then, frozen as its evidence."""

from __future__ import annotations

import csv
import datetime as dt
import tempfile
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from vinebook.advice.bands import judge
from vinebook.errors import CorrectionError, FindingsError, WordsError
from vinebook.intake.load import load_made
from vinebook.intake.typed import add_record
from vinebook.kinds import KINDS
from vinebook.kinds.form import tally_fields
from vinebook.kinds.places import BANDED_FIGURES
from vinebook.quantities import GROWING, season_of
from vinebook.records.keys import find_record, key_of, split_key
from vinebook.records.nearest import one_of
from vinebook.records.tables import TABLES
from vinebook.seasons.carried import figures_of_codes
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.history import judging_context
from vinebook.seasons.rows_told import rows_in_words
from vinebook.seasons.tracing import rows_behind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection

    from vinebook.errors import Finding
    from vinebook.intake.load import LoadReport
    from vinebook.records.book import Book
    from vinebook.seasons.model import Figure
    from vinebook.seasons.tracing import Traced

SEASONS_BEFORE = 3
"""A decision rests on the figures of this many seasons before the one that it is for, and on those of that season."""
NO_EVIDENCE = "none"
PAGE_NAME = "evidence"


@dataclass(frozen=True, slots=True)
class Choice:
    """What is decided; the texts are those of a tally.

    Attributes
    ----------
    decides, words, reason : what is decided, in words, and why.
    value : the number decided, where it is one.
    decided_by, decided_on : by whom and when; whoever enters it, today.
    expect : figure, low and high by which the outcome will be judged.
    review_on : day on which the outcome will be looked at.
    """

    decides: str
    words: str
    reason: str
    value: str = ""
    decided_by: str = ""
    decided_on: str = ""
    expect: tuple[str, str, str] | None = None
    review_on: str = ""


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision that was recorded.

    Attributes
    ----------
    record, key : of the decision.
    frozen : figures kept as its evidence; `first_season` and `last_season` are theirs, 0 where there are none.
    superseded : key of the decision that it supersedes, or "".
    """

    record: int
    key: str
    frozen: int
    first_season: int
    last_season: int
    superseded: str
    warnings: tuple[Finding, ...]


def decide(
    book: Book,
    block: str | None,
    season: int | None,
    choice: Choice,
    *,
    by: str,
    evidence: Sequence[str] = (),
    supersedes: str | None = None,
) -> Decided:
    """Record a decision, and freeze the figures that stand now as its evidence, in one step.

    Later corrections do not change what a decision saw.

    Parameters
    ----------
    book : an open book.
    block, season : what it is for; may be None where an earlier decision is superseded.
    choice : what is decided.
    by : who enters it.
    evidence : figures to keep, as FIGURE or FIGURE/SEASON; none keeps all that are known or pending of the last
        seasons; "none" keeps none.
    supersedes : key of the decision that this one takes the place of; its reason is that of the choice.

    Raises
    ------
    WordsError : no such block, decision or figure, or the season lies outside the block's.
    CorrectionError : the season is over, or there is no figure to rest on.
    FindingsError : what else is wrong, by field.
    """
    wanted = _wanted(evidence)
    if choice.expect is not None and choice.expect[0] not in BANDED_FIGURES.split():
        raise WordsError(
            f"{choice.expect[0]!r} is not a figure that can be expected",
            one_of(choice.expect[0], BANDED_FIGURES.split()),
        )
    with book.reading() as connection:
        if supersedes is not None:
            block, season = _of_earlier(connection, supersedes, block, season)
        if block is None or season is None:
            raise WordsError("a decision is for a block and a season", "vinebook decide BLOCK --season YEAR …")
        record = find_record(connection, KINDS["block"], block)
        day = _day(choice.decided_on)
        _check_season(connection, record, block, season, day)
        number = _next_number(connection, record, season)
    expect = choice.expect or ("", "", "")
    given = {
        "block": block,
        "season": str(season),
        "decided_on": day.isoformat(),
        "decides": choice.decides,
        "value": choice.value,
        "words": choice.words,
        "reason": choice.reason,
        "decided_by": choice.decided_by or by,
        **dict(zip(("expected_figure", "expected_low", "expected_high"), expect, strict=True)),
        "review_on": choice.review_on,
    }
    freezing = _Freezing(block, season, wanted, by)
    texts = {name: text for name, text in given.items() if text}
    reason = choice.reason if supersedes else ""
    while True:
        numbered = {**texts, "number": str(number)}
        try:
            report = add_record(book, "decision", numbered, by=by, supersedes=supersedes, reason=reason, also=freezing)
            break
        except FindingsError as refused:
            with book.reading() as connection:
                later = _next_number(connection, record, season)
            if later > number:
                # Somebody else decided meanwhile, and has the number that was meant for this one.
                number = later
                continue
            found = [replace(finding, file="decide", column=_option(finding.column)) for finding in refused.findings]
            raise FindingsError(found, refused.beyond, hint="mend the words named above and try again") from None
    seasons = [figure.season for figure in freezing.figures] or [0]
    return Decided(
        freezing.record,
        freezing.key,
        len(freezing.figures),
        min(seasons),
        max(seasons),
        supersedes or "",
        tuple(report.warnings),
    )


def _next_number(connection: Connection, block: int, season: int) -> int:
    """Give the number of the next decision for a block and season; those that were struck keep theirs."""
    decision = TABLES["decision"].c
    newest = connection.scalar(
        select(func.max(decision.number)).where(decision.block == block, decision.season == season)
    )
    return 1 + int(newest or 0)


def _option(column: str) -> str:
    """Give the option that a field of the decision is given by."""
    return "--expect" if column.startswith("expected_") else f"--{column.replace('_', '-')}"


def _day(words: str) -> dt.date:
    if not words:
        return dt.datetime.now().astimezone().date()
    try:
        return dt.date.fromisoformat(words)
    except ValueError as trouble:
        raise WordsError(f"{words!r} is not a date written year-month-day", "such as 2024-01-12") from trouble


def _wanted(evidence: Sequence[str]) -> list[tuple[str, int | None]] | None:
    """Give figures and seasons that were named; none for no evidence at all, None for what stands by itself."""
    if not evidence:
        return None
    if NO_EVIDENCE in evidence:
        if len(evidence) > 1:
            raise WordsError(f"{NO_EVIDENCE} stands alone: it keeps no evidence", "name figures, or none at all")
        return []
    wanted: list[tuple[str, int | None]] = []
    for words in evidence:
        name, slash, season = words.partition("/")
        if name not in FIGURES:
            raise WordsError(f"{name!r} is not a figure", one_of(name, FIGURES))
        if slash and not (season.isascii() and season.isdigit() and len(season) == len("2024")):
            raise WordsError(f"{words!r} is not FIGURE/SEASON", f"such as {name}/2024")
        wanted.append((name, int(season) if slash else None))
    return wanted


def _of_earlier(connection: Connection, key: str, block: str | None, season: int | None) -> tuple[str, int]:
    """Give block and season of an earlier decision; refuse others than were named."""
    decision = TABLES["decision"]
    record = find_record(connection, KINDS["decision"], key)
    words = key_of(connection, KINDS["decision"], record)
    of_block, of_season, _ = split_key(words)
    struck_at = connection.scalar(select(decision.c.struck_at).where(decision.c.record == record))
    if struck_at is not None:
        raise CorrectionError(
            f"decision {words} was struck or superseded already, at {struck_at}", "name the decision that is in force"
        )
    if (block or of_block, season or int(of_season)) != (of_block, int(of_season)):
        raise WordsError(
            f"decision {words} is for {of_block} {of_season}, not for {block or of_block} {season or of_season}",
            "a decision is superseded by one for the same block and season",
        )
    return of_block, int(of_season)


def _check_season(connection: Connection, record: int, code: str, season: int, day: dt.date) -> None:
    """Refuse a season that the block has not, or that is over."""
    block, vineyard, close = TABLES["block"], TABLES["vineyard"], TABLES["harvest_close"]
    first, last, hemisphere = connection.execute(
        select(block.c.from_season, block.c.to_season, vineyard.c.hemisphere)
        .join(vineyard, vineyard.c.record == block.c.vineyard)
        .where(block.c.record == record)
    ).one()
    if season < first or (last is not None and season > last):
        held = f"from {first} on" if last is None else f"from {first} to {last}"
        raise WordsError(f"block {code} has no season {season}: it stands {held}", "name a season that the block has")
    hint = (
        "name the season that the decision is for; one that was made then and only comes to paper now goes in with "
        "`vinebook add decision`, and no evidence is frozen for it"
    )
    closed = connection.scalar(
        select(close.c.finished_on).where(
            close.c.block == record, close.c.season == season, close.c.struck_at.is_(None)
        )
    )
    if closed is not None:
        raise CorrectionError(f"the season {season} of {code} is over: its harvest finished on {closed}", hint)
    if season_of(day, hemisphere, GROWING) > season:
        raise CorrectionError(f"the season {season} of {code} was over on {day}", hint)


def standing_figures(
    connection: Connection, code: str, season: int, wanted: Sequence[tuple[str, int | None]] | None
) -> list[Figure]:
    """Give the figures that bear on a decision for a block and season, judged.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    code, season : of the decision.
    wanted : figures by name, and season or None; None for all that are known, partial or pending.
    """
    seasons = list(range(season - SEASONS_BEFORE, season + 1))
    more = {named for _, named in wanted or () if named is not None}
    found = figures_of_codes(connection, [code], sorted({*seasons, *more}))
    if wanted is None:
        # What the season decided for waits for is no evidence: it has not begun.
        kept = [
            figure
            for figure in found
            if figure.status in ("known", "partial") or (figure.status == "pending" and figure.season < season)
        ]
    else:
        pairs = {(name, of) for name, named in wanted for of in ([named] if named is not None else seasons)}
        kept = [figure for figure in found if (figure.figure, figure.season) in pairs]
    return list(judge(kept, judging_context(connection, None)))


class _Freezing:
    """Freezes the figures that stand as the evidence of the decision that was just read."""

    def __init__(self, code: str, season: int, wanted: list[tuple[str, int | None]] | None, by: str) -> None:
        self._code = code
        self._season = season
        self._wanted = wanted
        self._by = by
        self.figures: list[Figure] = []
        self.record = 0
        self.key = ""

    def before(self, connection: Connection, at: str) -> None:
        """Look that there is something to rest on."""
        del at
        if self._wanted == []:
            return
        self.figures = standing_figures(connection, self._code, self._season, self._wanted)
        found = {figure.figure for figure in self.figures}
        for name, season in self._wanted or ():
            if name not in found or (season is not None and all(f.season != season for f in self.figures)):
                when = season or f"{self._season - SEASONS_BEFORE} to {self._season}"
                raise CorrectionError(
                    f"there is no {name} of {self._code} for {when}",
                    f"`vinebook figures {self._code}` prints what there is",
                )
        if not self.figures:
            raise CorrectionError(
                f"no figure of {self._code} for {self._season - SEASONS_BEFORE} to {self._season} stands in the book, "
                "so the decision would rest on nothing",
                "load what was counted first, or say `--evidence none`",
            )

    def after(self, connection: Connection, at: str, report: LoadReport) -> None:
        """Keep the figures beside the decision."""
        table = TABLES["decision"]
        found = connection.scalar(select(table.c.record).where(table.c.tally == report.tallies[0].number))
        self.record = int(found or 0)
        self.key = key_of(connection, KINDS["decision"], self.record)
        if not self.figures:
            return
        traced = rows_behind(connection, self.figures)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / PAGE_NAME
            with path.open("w", encoding="utf-8", newline="") as page:
                writer = csv.writer(page, lineterminator="\n")
                headings = [field.name for field in tally_fields(KINDS["evidence"])]
                writer.writerow(headings)
                owner = dict(zip(("block", "season", "number"), split_key(self.key), strict=True))
                for item, one in enumerate(traced, start=1):
                    row = {**owner, "item": str(item), **_texts(one)}
                    writer.writerow(row[name] for name in headings)
            load_made(connection, path, "evidence", by=self._by, at=at)


def _texts(traced: Traced) -> dict[str, str]:
    """Give a figure and its rows as the texts of a page."""
    figure, band = traced.figure, traced.figure.band
    numbers = {
        **{name: getattr(figure, name) for name in ("value", "low", "high", "level")},
        "band_low": None if band is None else band.low,
        "band_high": None if band is None else band.high,
    }
    return {
        "of_season": str(figure.season),
        **{name: getattr(figure, name) or "" for name in ("figure", "bearer", "position", "stage")},
        **{name: "" if (count := getattr(figure, name)) is None else str(count) for name in ("pick", "n")},
        **{name: _plain(number) for name, number in numbers.items()},
        **{name: getattr(figure, name) for name in ("unit", "per", "chosen", "basis", "status", "note", "reading")},
        "band_name": "" if band is None else band.name,
        "band_source": "" if band is None else band.source,
        "carried_from": ", ".join(traced.carried_from),
        "rows": rows_in_words(traced.rows),
    }


def _plain(number: float | None) -> str:
    """Give a number in full, without an exponent; reading it again gives the same."""
    return "" if number is None else format(Decimal(repr(number)), "f")
