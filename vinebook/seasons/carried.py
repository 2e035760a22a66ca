"""What a block takes over from the blocks before it.

Figures per vine and per metre carry over, labelled; tonnes, vines and areas never do, and nothing per vine crosses a
replant. A merger takes its predecessors together (`merging.py`).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.kinds import KINDS
from vinebook.records.keys import find_record
from vinebook.records.tables import TABLES
from vinebook.seasons.bridging import bridged, picked_otherwise
from vinebook.seasons.catalogue import CARRIED, FIGURES, WOOD_FIGURES
from vinebook.seasons.figures import figures_of
from vinebook.seasons.merging import Estimate, Line, Taken, key_of, merge_lines
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from sqlalchemy import Connection

    from vinebook.seasons.model import Figure

ORDER = {name: number for number, name in enumerate(FIGURES)}
OWN_PART = "part of another block is in it, and how much of it is not recorded"


def figures_with_carried(
    connection: Connection, blocks: list[int] | None, seasons: list[int] | None
) -> Iterator[Figure]:
    """Give every figure of blocks and seasons, those taken over from earlier blocks included.

    In the order of block code, season and catalogue. Bands and readings are not set.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    blocks : permanent numbers of blocks, or None for all.
    seasons : harvest years, or None for all.
    """
    heirs = _heirs(connection, blocks)
    own = figures_of(connection, blocks, seasons)
    if not heirs:
        yield from own
        return
    waiting = sorted(heirs)
    for code, group in groupby(own, key=lambda figure: figure.block):
        while waiting and waiting[0] < code:
            yield from with_carried(connection, heirs[waiting.pop(0)], (), seasons)
        if waiting and waiting[0] == code:
            yield from with_carried(connection, heirs[waiting.pop(0)], tuple(group), seasons)
        else:
            yield from group
    for code in waiting:
        yield from with_carried(connection, heirs[code], (), seasons)


def figures_of_codes(connection: Connection, codes: Sequence[str], seasons: Sequence[int]) -> list[Figure]:
    """Give the figures of blocks, named by their codes, and seasons, those taken over included.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    codes : block codes; none takes all.
    seasons : harvest years; none takes all.

    Raises
    ------
    WordsError : no such block.
    """
    numbers = [find_record(connection, KINDS["block"], code) for code in codes]
    return list(figures_with_carried(connection, numbers or None, list(seasons) or None))


def with_carried(
    connection: Connection, number: int, own: tuple[Figure, ...], seasons: Sequence[int] | None = None
) -> tuple[Figure, ...]:
    """Give a block's figures with those that it takes over, by season and catalogue.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    number : permanent number of the block.
    own : the block's own figures of the seasons asked for.
    seasons : harvest years, or None for all.
    """
    everything = own if seasons is None else tuple(figures_of(connection, [number], None))
    inherited, everything, _ = _joined(connection, number, everything, frozenset())
    own_keys = {key_of(figure) for figure in everything}
    taken = [_labelled(one) for one in inherited if key_of(one.figure) not in own_keys]
    found = [figure for figure in (*taken, *everything) if seasons is None or figure.season in seasons]
    return tuple(sorted(found, key=lambda figure: (figure.season, ORDER[figure.figure])))


def predecessors_of_all(connection: Connection) -> dict[int, list[int]]:
    """Give the blocks whose vines each block has; a replant has other vines."""
    table = TABLES["predecessor"]
    statement = select(table.c.block, table.c.predecessor).where(live(table), table.c.how != "replant")
    found: dict[int, list[int]] = {}
    for block, parent in connection.execute(statement.order_by(table.c.block, table.c.predecessor)):
        found.setdefault(int(block), []).append(int(parent))
    return found


def parents_of(connection: Connection, number: int) -> list[int]:
    """Give the blocks that a block takes figures over from."""
    return [parent for parent, _ in _predecessors_of(connection, number)]


def _predecessors_of(connection: Connection, number: int) -> list[tuple[int, str]]:
    """Give the blocks whose vines a block has, with how they became it."""
    table = TABLES["predecessor"]
    statement = (
        select(table.c.predecessor, table.c.how)
        .where(live(table), table.c.block == number, table.c.how != "replant")
        .order_by(table.c.predecessor)
    )
    return [(int(parent), how) for parent, how in connection.execute(statement)]


def _heirs(connection: Connection, blocks: list[int] | None) -> dict[str, int]:
    """Give code and number of the blocks that take anything over."""
    table, block = TABLES["predecessor"], TABLES["block"]
    statement = (
        select(block.c.code, block.c.record)
        .join(table, table.c.block == block.c.record)
        .where(live(table), live(block), table.c.how != "replant")
        .distinct()
    )
    if blocks is not None:
        statement = statement.where(block.c.record.in_(blocks))
    return {code: int(number) for code, number in connection.execute(statement)}


def _labelled(taken: Taken) -> Figure:
    label = f"carried over from {taken.origin}"
    if taken.figure.value is None:
        label = f"not {label}"
    return replace(taken.figure, note="; ".join(filter(None, (label, taken.figure.note))))


def _beginning(connection: Connection, number: int, own: Iterable[Figure]) -> tuple[str, int]:
    """Give a block's code and its first season; wood weighed of the season before does not make one."""
    block = TABLES["block"]
    code, first = connection.execute(select(block.c.code, block.c.from_season).where(block.c.record == number)).one()
    return code, min([first, *(figure.season for figure in own if figure.figure not in WOOD_FIGURES)])


def _line(connection: Connection, number: int, seen: frozenset[int]) -> Line:
    """Give a block with its own figures and all that it takes over."""
    inherited, own, vines = _joined(connection, number, tuple(figures_of(connection, [number], None)), seen)
    taken = {key_of(one.figure): one for one in inherited}
    taken |= {key_of(figure): Taken(figure, "", number) for figure in own}
    vines = vines | _vines(own)
    return Line(number, _beginning(connection, number, own)[0], taken, vines)


def _joined(
    connection: Connection, number: int, own: tuple[Figure, ...], seen: frozenset[int]
) -> tuple[list[Taken], tuple[Figure, ...], dict[int, Estimate]]:
    """Give what a block takes over, its own figures, and its bearing vines before its own seasons."""
    code, before = _beginning(connection, number, own)
    taken, vines = _inherited(connection, number, own, seen)
    if not taken:
        return taken, own, vines
    parents = _predecessors_of(connection, number)
    has_all_vines = all(how != "split" for _, how in parents)
    own = picked_otherwise(connection, number, [parent for parent, _ in parents], own, before)
    more, changed = bridged(taken, own, before=before, has_all_vines=has_all_vines)
    more = [replace(one, figure=replace(one.figure, block=code)) for one in more]
    known = {key_of(one.figure) for one in more}
    kept = [one for one in taken if key_of(one.figure) not in known]
    return [*kept, *more], tuple(changed.get(place, figure) for place, figure in enumerate(own)), vines


def _vines(figures: Iterable[Figure]) -> dict[int, Estimate]:
    """Give the bearing vines by season; wood of the season before a line's first is of the vines of the first."""
    figures = list(figures)
    known = {
        figure.season: Estimate(figure.value, figure.low or figure.value, figure.high or figure.value)
        for figure in figures
        if figure.figure == "vines_bearing" and figure.value
    }
    earliest = min((figure.season for figure in figures), default=0)
    if earliest not in known and earliest + 1 in known:
        known[earliest] = known[earliest + 1]
    return known


def _inherited(
    connection: Connection, number: int, own: tuple[Figure, ...], seen: frozenset[int]
) -> tuple[list[Taken], dict[int, Estimate]]:
    """Give what a block takes over for the seasons before its own first, and its bearing vines then."""
    code, before = _beginning(connection, number, own)
    parents = [(parent, how) for parent, how in _predecessors_of(connection, number) if parent not in seen]
    lines = sorted((_line(connection, parent, seen | {number}) for parent, _ in parents), key=lambda line: line.code)
    if not lines:
        return [], {}
    if len(lines) > 1:
        if any(how == "split" for _, how in parents):
            return _only_told(lines, before, code), {}
        return merge_lines(lines, before, code)
    (line,), ((_, how),) = lines, parents
    taken = [
        Taken(replace(one.figure, block=code), _origin(line, one, how), one.source)
        for one in line.taken.values()
        if one.figure.season < before and one.figure.figure in CARRIED and one.figure.value is not None
    ]
    if how != "split":
        return taken, {season: stand for season, stand in line.vines.items() if season < before}
    # Of a part of a block its own first census tells how many vines it had before.
    mine = _vines(own)
    return taken, {one.figure.season: mine[min(mine)] for one in taken} if mine else {}


def _origin(line: Line, taken: Taken, how: str) -> str:
    if taken.origin:
        return f"{taken.origin}, by way of {line.code}"
    return f"block {line.code}" + {"split": ", of which this was a part", "renaming": ", its earlier name"}.get(how, "")


def _only_told(lines: Sequence[Line], before: int, code: str) -> list[Taken]:
    """Say of a block made of parts of others that no mean can be taken."""
    origin = f"blocks {', '.join(line.code for line in lines)}"
    told: dict[object, Taken] = {}
    for line in lines:
        for key, one in line.taken.items():
            if one.figure.season < before and one.figure.figure in CARRIED and one.figure.value is not None:
                figure = replace(
                    one.figure, block=code, value=None, low=None, high=None, level=None, n=None, chosen="", basis="",
                    status="unknown", note=OWN_PART,
                )  # fmt: skip
                told.setdefault(key, Taken(figure, origin, 0))
    return list(told.values())
