"""A block's history: its facts, figures and the state of the book, from one snapshot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from vinebook.errors import WordsError
from vinebook.records.tables import ENTRY, TABLES
from vinebook.seasons.carried import figures_with_carried, predecessors_of_all
from vinebook.seasons.context import BlockContext, JudgingContext, Target
from vinebook.seasons.figures import date_of
from vinebook.seasons.model import (
    BlockHistory,
    CensusFacts,
    EventFacts,
    PlantingFacts,
    RelatedBlock,
    TrainingFacts,
    VineyardFacts,
    VisitFacts,
)
from vinebook.seasons.places import Censuses, live, read_blocks, read_censuses
from vinebook.seasons.told import facts_beside_figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection, RowMapping

    from vinebook.seasons.model import Figure


def block_number(connection: Connection, code: str) -> int:
    """Give the permanent number of a block by its code.

    Raises
    ------
    WordsError : no live block has that code.
    """
    table = TABLES["block"]
    number = connection.scalar(select(table.c.record).where(table.c.code == code, live(table)))
    if number is None:
        raise WordsError(f"there is no block {code} in this book", "`vinebook list block` shows the codes")
    return int(number)


def block_head(connection: Connection, code: str) -> tuple[str, str, str]:
    """Give a block's name, its vineyard's name and the units that it prefers.

    Raises
    ------
    WordsError : no live block has that code.
    """
    block, vineyard = TABLES["block"], TABLES["vineyard"]
    found = connection.execute(
        select(block.c.name, vineyard.c.name.label("vineyard"), vineyard.c.units)
        .join(vineyard, vineyard.c.record == block.c.vineyard)
        .where(block.c.record == block_number(connection, code))
    ).one()
    return found.name or "", found.vineyard, found.units


def block_history(connection: Connection, code: str, only: Sequence[int] | None = None) -> BlockHistory:
    """Give all that a block's history tells; its figures carry no bands yet.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    code : the block's code.
    only : harvest years whose figures are wanted, none of them where it is empty; None takes all.

    Raises
    ------
    WordsError : no live block has that code.
    """
    number = block_number(connection, code)
    block = _rows(connection, "block", TABLES["block"].c.record == number)[0]
    vineyard = _rows(connection, "vineyard", TABLES["vineyard"].c.record == block["vineyard"])[0]
    figures: tuple[Figure, ...] = ()
    if only is None or only:
        figures = tuple(figures_with_carried(connection, [number], None if only is None else list(only)))
    seasons = sorted({figure.season for figure in figures})
    entry = connection.execute(select(ENTRY).order_by(ENTRY.c.number.desc()).limit(1)).mappings().first()
    return BlockHistory(
        vineyard=_vineyard(vineyard),
        code=block["code"],
        name=block["name"] or "",
        row_direction_degrees=block["row_direction_degrees"],
        surveyed_area_ha=block["surveyed_area_ha"],
        from_season=block["from_season"],
        to_season=block["to_season"],
        field_blend=block["field_blend"] or "",
        predecessors=_related(connection, number, "block", "predecessor"),
        successors=_related(connection, number, "predecessor", "block"),
        plantings=tuple(_planting(row) for row in _of_block(connection, "planting", number, "from_season")),
        trainings=tuple(_training(row) for row in _of_block(connection, "training", number, "from_season")),
        censuses=_censuses(read_censuses(connection, read_blocks(connection, [number]))),
        visits=tuple(_visit(row) for row in _of_block(connection, "pruning_visit", number, "season")),
        events=tuple(_event(row) for row in _of_block(connection, "event", number, "date")),
        seasons=tuple(range(seasons[0], seasons[-1] + 1)) if seasons else (),
        figures=figures,
        seal="" if entry is None else entry["hash"],
        entries=0 if entry is None else entry["number"],
        as_of="" if entry is None else entry["at"],
        record=number,
        **facts_beside_figures(connection, number),
    )


def judging_context(connection: Connection, blocks: list[int] | None) -> JudgingContext:
    """Give what figures of blocks are judged by: cultivars, curtains, targets and chosen sets of bands.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    blocks : permanent numbers of blocks, or None for all.
    """
    block, vineyard = TABLES["block"], TABLES["vineyard"]
    statement = (
        select(block.c.record, block.c.code, block.c.vineyard, vineyard.c.band_set)
        .join(vineyard, vineyard.c.record == block.c.vineyard)
        .where(live(block))
    )
    if blocks is not None:
        statement = statement.where(block.c.record.in_(blocks))
    rows = connection.execute(statement).fetchall()
    before = predecessors_of_all(connection)
    line = None if blocks is None else _with_predecessors(blocks, before)
    cultivars = _by_block(connection, "planting", line, ("from_season", "to_season", "cultivar"))
    curtains = _by_block(connection, "training", line, ("from_season", "curtains"))
    targets = _targets(connection)
    return JudgingContext(
        {
            code: BlockContext(
                tuple(_of_line(number, cultivars, before)),
                tuple(_of_line(number, curtains, before)),
                (*targets.get(("block", number), ()), *targets.get(("vineyard", owner), ())),
                band_set or "",
            )
            for number, code, owner, band_set in rows
        }
    )


def _with_predecessors(blocks: list[int], before: dict[int, list[int]]) -> list[int]:
    """Give blocks with all that came before them."""
    found: dict[int, None] = {}
    waiting = list(blocks)
    while waiting:
        number = waiting.pop()
        if number not in found:
            found[number] = None
            waiting += before.get(number, ())
    return list(found)


def _of_line(
    number: int, facts: dict[int, list[Any]], before: dict[int, list[int]], seen: frozenset[int] = frozenset()
) -> list[Any]:
    """Give a fact of a block over its seasons, by which figures that it took over are judged too.

    A fact of several predecessors counts where it is the same in all of them. Later ones win.
    """
    parents = [parent for parent in before.get(number, ()) if parent not in seen]
    earlier = [_of_line(parent, facts, before, seen | {number}) for parent in parents]
    if len({fact[-1] for one in earlier for fact in one}) > 1 and len(earlier) > 1:
        earlier = []
    return [*(earlier[0] if earlier else ()), *facts.get(number, ())]


def _by_block(
    connection: Connection, kind: str, blocks: list[int] | None, fields: tuple[str, ...]
) -> dict[int, list[Any]]:
    table = TABLES[kind]
    statement = select(table.c.block, *(table.c[name] for name in fields)).where(live(table))
    if blocks is not None:
        statement = statement.where(table.c.block.in_(blocks))
    found: dict[int, list[Any]] = {}
    for number, *values in connection.execute(statement):
        found.setdefault(number, []).append(tuple(values))
    return found


def _targets(connection: Connection) -> dict[tuple[str, int], list[Target]]:
    found: dict[tuple[str, int], list[Target]] = {}
    for row in _rows(connection, "target_band"):
        is_of_block = row["block"] is not None
        owner = ("block", row["block"]) if is_of_block else ("vineyard", row["vineyard"])
        found.setdefault(owner, []).append(
            Target(row["figure"], row["low"], row["high"], row["from_season"], row["source"], is_of_block)
        )
    return found


def _rows(connection: Connection, kind: str, *conditions: Any) -> Sequence[RowMapping]:  # noqa: ANN401 - SQL conditions
    table = TABLES[kind]
    return connection.execute(select(table).where(live(table), *conditions)).mappings().all()


def _of_block(connection: Connection, kind: str, number: int, order: str) -> Sequence[RowMapping]:
    table = TABLES[kind]
    statement = select(table).where(live(table), table.c.block == number).order_by(table.c[order], table.c.record)
    return connection.execute(statement).mappings().all()


def _related(connection: Connection, number: int, mine: str, other: str) -> tuple[RelatedBlock, ...]:
    table, block = TABLES["predecessor"], TABLES["block"]
    statement = (
        select(block.c.code, block.c.name, table.c.how)
        .join(block, block.c.record == table.c[other])
        .where(live(table), live(block), table.c[mine] == number)
    )
    found = [RelatedBlock(code, name or "", how) for code, name, how in connection.execute(statement)]
    return tuple(sorted(found, key=lambda related: related.code))


def _vineyard(row: RowMapping) -> VineyardFacts:
    words = ("place", "grower", "address", "register_numbers", "geographical_indication", "band_set")
    return VineyardFacts(
        name=row["name"],
        hemisphere=row["hemisphere"],
        units=row["units"],
        **{name: row[name] or "" for name in words},
    )


def _planting(row: RowMapping) -> PlantingFacts:
    return PlantingFacts(
        from_season=row["from_season"],
        to_season=row["to_season"],
        cultivar=row["cultivar"],
        clone=row["clone"] or "",
        rootstock=row["rootstock"] or "",
        year_planted=row["year_planted"],
        grafted_over_in=row["grafted_over_in"],
        row_spacing_m=row["row_spacing_m"],
        vine_spacing_m=row["vine_spacing_m"],
        positions=row["positions"],
    )


def _training(row: RowMapping) -> TrainingFacts:
    return TrainingFacts(
        from_season=row["from_season"],
        trained=row["trained"],
        pruned=row["pruned"],
        arms=row["arms"],
        curtains=row["curtains"],
        shoot_position=row["shoot_position"] or "",
        cordon_length_m=row["cordon_length_m"],
        wire_height_m=row["wire_height_m"],
        trade_name=row["trade_name"] or "",
    )


def _visit(row: RowMapping) -> VisitFacts:
    return VisitFacts(
        season=row["season"],
        started_on=row["started_on"],
        finished_on=row["finished_on"],
        pruned=row["pruned"],
        nodes_to_keep=row["nodes_to_keep"],
        tolerance=row["tolerance"],
        wood_weighed=row["wood_weighed"] or "",
        note=row["note"] or "",
    )


def _event(row: RowMapping) -> EventFacts:
    return EventFacts(row["season"], row["date"], row["what"], row["share_hit_percent"], row["words"] or "")


def _censuses(censuses: Censuses) -> tuple[CensusFacts, ...]:
    """Give the censuses of a block by date, the lines of parts or rows of one date added up, as counted."""
    numbers = (censuses.bearing, censuses.young, censuses.missing, censuses.positions)
    counts = np.stack(numbers, axis=1).astype(np.int64).tolist()
    return tuple(
        CensusFacts(date_of(day), bearing, young, missing, positions, "sampled_rows" if is_sampled else "full")
        for day, (bearing, young, missing, positions), is_sampled in zip(
            censuses.day.tolist(), counts, censuses.is_sampled.tolist(), strict=True
        )
    )
