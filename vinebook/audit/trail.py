"""The trail of blocks: each decision from the figures that stood then to what was done and what came."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import select

from vinebook.advice.bands import judge
from vinebook.audit.trail_corrections import Corrections, entry_of_tally, read_corrections, sources_of, touching
from vinebook.audit.trail_outcome import Looking, done_of, outcome_of
from vinebook.errors import WordsError
from vinebook.kinds import KINDS
from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records import journal
from vinebook.records.keys import code_of_block, keys_of
from vinebook.records.tables import TABLES
from vinebook.seasons.carried import parents_of, with_carried
from vinebook.seasons.figures import figures_in
from vinebook.seasons.history import block_number, judging_context
from vinebook.seasons.model import Band, Figure
from vinebook.seasons.rows_told import numbers_of, ranges_of, rows_of_words
from vinebook.seasons.tickets import delivered
from vinebook.seasons.tracing import Tracer, key_of_figure
from vinebook.seasons.trail_model import Balance, DecisionTold, EvidenceTold, Trail

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection, RowMapping

    from vinebook.seasons.figures import Key
    from vinebook.seasons.rows_told import Ranges, RowsBehind

FLOAT_NOISE = 1e-9
"""Figures that differ by less than this share are the same: sums may be added up in another order."""


def trail_of(
    connection: Connection, codes: Sequence[str], *, first: int | None = None, last: int | None = None
) -> Trail:
    """Give the trail of blocks over seasons.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    codes : keys of blocks; none takes all that have a decision.
    first, last : first and last season; None takes all.

    Raises
    ------
    WordsError : no such block, or the seasons run backwards.
    """
    if first is not None and last is not None and first > last:
        raise WordsError(f"the seasons run from {first} back to {last}", "--from the earlier --to the later one")
    # A key may write a stroke of the code twice, or be a permanent number: what follows goes by codes.
    codes = [code_of_block(connection, key) for key in codes]
    corrections = read_corrections(connection)
    decisions = _decisions(connection, codes, first, last)
    blocks = list(codes) or sorted({row["code"] for row in decisions})
    tracer = Tracer(connection, _seasons_looked_at(connection, decisions))
    figures = _Figures(connection, tracer)
    seasons: dict[str, set[int]] = {code: _seasons_of(connection, code, first, last) for code in blocks}
    for row in decisions:
        seasons[row["code"]].add(row["season"])
    teller = _Teller(connection, corrections, figures, tracer)
    told = tuple(teller.told(row) for row in decisions)
    balances: list[Balance] = []
    steps: dict[int, Any] = {}
    for code in blocks:
        number = block_number(connection, code)
        balances += balances_of(connection, code, number, sorted(seasons[code]))
        steps |= {step.entry: step for step in touching(connection, corrections, number, seasons[code])}
    newest = journal.newest(connection)
    return Trail(
        tuple(blocks),
        tuple(sorted({season for each in seasons.values() for season in each})),
        told,
        tuple(balances),
        tuple(steps[entry] for entry in sorted(steps)),
        "" if newest is None else newest.hash,
        0 if newest is None else newest.number,
        "" if newest is None else newest.at,
    )


def _seasons_of(connection: Connection, code: str, first: int | None, last: int | None) -> set[int]:
    """Give the seasons in question in which a block was picked or closed."""
    number = block_number(connection, code)
    part, load, close = TABLES["load_part"], TABLES["load"], TABLES["harvest_close"]
    queries = (
        select(load.c.season)
        .join(part, part.c.load == load.c.record)
        .where(part.c.block == number, part.c.struck_at.is_(None), load.c.struck_at.is_(None)),
        select(close.c.season).where(close.c.block == number, close.c.struck_at.is_(None)),
    )
    found = {int(season) for query in queries for season in connection.execute(query.distinct()).scalars()}
    return {season for season in found if (first or season) <= season <= (last or season)}


def _decisions(
    connection: Connection, codes: Sequence[str], first: int | None, last: int | None
) -> Sequence[RowMapping]:
    """Read the decisions of blocks and seasons, those that were struck or superseded too."""
    decision, block = TABLES["decision"], TABLES["block"]
    query = (
        select(decision, block.c.code)
        .join(block, block.c.record == decision.c.block)
        .order_by(block.c.code, decision.c.season, decision.c.number, decision.c.record)
    )
    if codes:
        query = query.where(decision.c.block.in_([block_number(connection, code) for code in codes]))
    if first is not None:
        query = query.where(decision.c.season >= first)
    if last is not None:
        query = query.where(decision.c.season <= last)
    return connection.execute(query).mappings().all()


def _seasons_looked_at(connection: Connection, decisions: Sequence[RowMapping]) -> dict[int, list[int]]:
    """Give the seasons of decisions and their evidence by block; one that takes figures over needs all of its own."""
    evidence, decision = TABLES["evidence"], TABLES["decision"]
    found: dict[int, set[int]] = defaultdict(set)
    for row in decisions:
        found[row["block"]].add(row["season"])
    query = (
        select(decision.c.block, evidence.c.of_season)
        .join(decision, decision.c.record == evidence.c.decision)
        .where(decision.c.block.in_(sorted(found)))
        .distinct()
    )
    for block, season in connection.execute(query):
        found[block].add(season)
    return {block: sorted(seasons) for block, seasons in found.items() if not parents_of(connection, block)}


def balances_of(connection: Connection, code: str, number: int, seasons: Sequence[int]) -> list[Balance]:
    """Give the mass balance of a block in each season.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    code, number : of the block.
    seasons : harvest years.
    """
    close = TABLES["harvest_close"]
    left: dict[int, float] = {}
    query = select(close.c.season, close.c.fruit_left_milli, close.c.mass_unit).where(
        close.c.block == number, close.c.struck_at.is_(None)
    )
    for season, milli, unit in connection.execute(query):
        left[season] = float(milli * UNITS_OF_DIMENSION["mass"][unit] / 1000)
    sums = {
        one.season: one
        for one in (delivered(connection, "block", seasons=list(seasons), blocks=[number]) if seasons else ())
        if one.group == code
    }
    told = []
    for season in seasons:
        one = sums.get(season)
        if one is None and season not in left:
            continue
        masses = (one.picked_kg, one.accepted_kg, one.refused_kg, one.deducted_kg) if one else (0, 0, 0, 0)
        picked, accepted, refused, deducted = (float(mass) for mass in masses)
        stays = left.get(season, 0.0)
        loads = len(one.loads) if one else 0
        told.append(
            Balance(
                code,
                season,
                loads,
                picked,
                accepted,
                refused,
                deducted,
                stays,
                picked + stays,
                is_closed=season in left,
            )
        )
    return told


class _Figures:
    """The figures of blocks as they stand now, worked out once for each block over the seasons that are looked at."""

    def __init__(self, connection: Connection, tracer: Tracer) -> None:
        self._connection = connection
        self._tracer = tracer
        self._held: dict[str, dict[int, dict[Key, Figure]]] = {}

    def of(self, code: str, seasons: Iterable[int]) -> dict[tuple[int, Key], Figure]:
        """Give the figures of a block by season and what names them."""
        if code not in self._held:
            held: dict[int, dict[Key, Figure]] = {}
            number = block_number(self._connection, code)
            own = tuple(figures_in(self._connection, self._tracer.arrays_of(number)))
            found = with_carried(self._connection, number, own)
            for figure in judge(found, judging_context(self._connection, None)):
                held.setdefault(figure.season, {})[key_of_figure(figure)] = figure
            self._held[code] = held
        held = self._held[code]
        wanted = sorted(set(seasons))
        return {(season, key): figure for season in wanted for key, figure in held.get(season, {}).items()}


class _Teller:
    """Tells one decision."""

    def __init__(self, connection: Connection, corrections: Corrections, figures: _Figures, tracer: Tracer) -> None:
        self._connection = connection
        self._corrections = corrections
        self._figures = figures
        self._tracer = tracer

    def told(self, row: RowMapping) -> DecisionTold:
        record, code, season = row["record"], row["code"], row["season"]
        connection = self._connection
        key = keys_of(connection, KINDS["decision"], [record])
        source = sources_of(connection, "decision", key)[record]
        evidence = self._evidence(record, code, entry_of_tally(connection, source.tally))
        touched = {entry for one in evidence for entry in one.corrections}
        state = "in force" if row["struck_at"] is None else "struck"
        if record in self._corrections.superseded:
            state = "superseded"
        looking = Looking(connection, self._tracer, self._figures.of(code, [season]))
        return DecisionTold(
            source=source,
            block=code,
            season=season,
            number=row["number"],
            decided_on=row["decided_on"].isoformat(),
            decided_by=row["decided_by"],
            decides=row["decides"],
            value=row["value"],
            words=row["words"],
            reason=row["reason"],
            expected_figure=row["expected_figure"] or "",
            expected_low=row["expected_low"],
            expected_high=row["expected_high"],
            review_on="" if row["review_on"] is None else row["review_on"].isoformat(),
            state=state,
            supersedes=self._corrections.supersedes.get(record, ""),
            superseded_by=self._corrections.superseded.get(record, ""),
            evidence=evidence,
            corrections=tuple(step for step in self._corrections.all if step.entry in touched),
            done=done_of(looking, row) if state == "in force" else (),
            outcome=outcome_of(looking, row) if state == "in force" else (),
        )

    def _evidence(self, decision: int, code: str, entry: int) -> tuple[EvidenceTold, ...]:
        table = TABLES["evidence"]
        query = select(table).where(table.c.decision == decision).order_by(table.c.item)
        rows = self._connection.execute(query).mappings().all()
        if not rows:
            return ()
        now = self._figures.of(code, {row["of_season"] for row in rows})
        then = [_figure(row, code) for row in rows]
        ranges = [rows_of_words(row["rows"] or "") for row in rows]
        traced = _traced_now(self._tracer, then, now)
        told = []
        seen: dict[str, tuple[RowsBehind, ...]] = {}
        for row, figure, mine in zip(rows, then, ranges, strict=True):
            at = (figure.season, key_of_figure(figure))
            words = row["rows"] or ""
            if words not in seen:
                seen[words] = self._tracer.described(mine)
            behind = seen[words]
            records = {number for pairs in mine.values() for number in numbers_of(pairs)}
            steps = self._corrections.after(entry, records, {each.tally for each in behind})
            gained, lost = _moved(self._tracer, mine, traced.get(at))
            current = now.get(at)
            told.append(
                EvidenceTold(
                    figure,
                    None if current is None else _same_where_noise(figure, current),
                    behind,
                    tuple(step.entry for step in steps),
                    gained,
                    lost,
                    row["carried_from"] or "",
                )
            )
        return tuple(told)


def _figure(row: RowMapping, code: str) -> Figure:
    """Give a figure as it was frozen."""
    band = None
    if row["band_name"] or row["band_source"]:
        band = Band(row["band_low"], row["band_high"], row["band_source"] or "", row["band_name"] or "")
    words: dict[str, Any] = {name: row[name] or "" for name in ("unit", "per", "chosen", "basis", "note")}
    numbers: dict[str, Any] = {
        name: row[name] for name in ("value", "low", "high", "level", "n", "bearer", "position", "stage", "pick")
    }
    return Figure(
        block=code,
        season=row["of_season"],
        figure=row["figure"],
        band=band,
        reading=cast("Any", row["reading"]),
        status=cast("Any", row["status"]),
        **numbers,
        **words,
    )


def _same_where_noise(then: Figure, now: Figure) -> Figure:
    """Give the figure of now with the numbers of then where they differ by noise alone."""
    same = {
        name: getattr(then, name)
        for name in ("value", "low", "high")
        if _is_noise(getattr(then, name), getattr(now, name))
    }
    return replace(now, **same)


def _is_noise(then: float | None, now: float | None) -> bool:
    return then is not None and now is not None and abs(then - now) <= FLOAT_NOISE * max(abs(then), abs(now))


def _traced_now(
    tracer: Tracer, then: Sequence[Figure], now: dict[tuple[int, Key], Figure]
) -> dict[tuple[int, Key], dict[str, Ranges]]:
    """Give the rows that figures rest on now, of those that read otherwise than then."""
    moved = []
    for figure in then:
        current = now.get((figure.season, key_of_figure(figure)))
        if current is not None:
            current = _same_where_noise(figure, current)
            if (figure.value, figure.low, figure.status) != (current.value, current.low, current.status):
                moved.append(current)
    found: dict[tuple[int, Key], dict[str, Ranges]] = {}
    for one in map(tracer.traced, moved):
        ranges: dict[str, list[tuple[int, int]]] = defaultdict(list)
        for rows in one.rows:
            ranges[rows.kind] += rows.numbers
        found[one.figure.season, key_of_figure(one.figure)] = {kind: tuple(pairs) for kind, pairs in ranges.items()}
    return found


def _moved(
    tracer: Tracer, then: dict[str, Ranges], now: dict[str, Ranges] | None
) -> tuple[tuple[RowsBehind, ...], tuple[RowsBehind, ...]]:
    """Give the rows that a figure gained and lost since."""
    if now is None:
        return (), ()

    def less(left: dict[str, Ranges], right: dict[str, Ranges]) -> tuple[RowsBehind, ...]:
        rest = {kind: numbers_of(left[kind]) - numbers_of(right.get(kind, ())) for kind in left}
        return tracer.described({kind: ranges_of(some) for kind, some in rest.items()})

    return less(now, then), less(then, now)
