"""Small books for tests: rows put straight into tables made from the kinds, in memory."""

from __future__ import annotations

import datetime as dt
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, create_engine, event, insert
from sqlalchemy.pool import StaticPool

from vinebook.kinds import KINDS
from vinebook.records.tables import METADATA, TABLES, TALLY
from vinebook.seasons.figures import figures_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from vinebook.seasons.model import Figure

KG = 1_000_000
"""Milligrams in a kilogram."""


class Book:
    """A book in memory with short ways to fill it."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.next = 1
        self.lines = 0
        blank = {column.name: 1 if column.type.python_type is int else "" for column in TALLY.columns}
        connection.execute(insert(TALLY).values(**blank | {"number": 1, "source": "typed"}))
        self.vineyard = self.add("vineyard", name="Stony Ridge", hemisphere="north", units="metric")

    def add(self, kind: str, **values: object) -> int:
        """Add one row; defaults of the kind are filled in; gives its permanent number."""
        record = self.next
        self.next += 1
        self.lines += 1
        given: dict[str, Any] = {}
        for field in KINDS[kind].fields:
            if field.default is not None:
                given[field.column] = int(field.default) if field.type in ("count", "ticket") else field.default
        if KINDS[kind].has_tickets:
            given["mass_unit"] = "kg"
        given |= values
        self.connection.execute(insert(TABLES[kind]).values(record=record, tally=1, line=self.lines, **given))
        return record

    def block(
        self,
        code: str = "A1",
        *,
        vineyard: int | None = None,
        positions: int = 1000,
        bearing: int | None = None,
        census: str | None = "2015-06-01",
        curtains: int | None = 1,
        vine_m: float = 2.0,
        row_m: float = 3.0,
        from_season: int = 2010,
    ) -> int:
        """Add a block with planting, training and census."""
        block = self.add("block", vineyard=vineyard or self.vineyard, code=code, from_season=from_season)
        self.add(
            "planting",
            block=block,
            from_season=from_season,
            cultivar="Grey Hen",
            row_spacing_m=row_m,
            vine_spacing_m=vine_m,
            positions=positions,
        )
        if curtains:
            self.add(
                "training", block=block, from_season=from_season, trained="cordon", curtains=curtains, pruned="spur"
            )
        if census:
            standing = positions if bearing is None else bearing
            self.add(
                "vine_census", block=block, date=day(census), bearing=standing, young=0, missing=positions - standing
            )
        return block

    def sample(self, block: int, season: int, counts: str, date: str, chosen: str = "random", **more: object) -> int:
        """Add a sample."""
        given = {"counted_by": "AB", **more}
        return self.add("sample", block=block, season=season, counts=counts, date=day(date), chosen=chosen, **given)

    def vines(self, kind: str, sample: int, rows: Iterable[Mapping[str, object]], row: int = 1) -> None:
        """Add vines of one row of the block, one after another; a row's own `row` and `vine` win."""
        for number, values in enumerate(rows, start=1):
            self.add(kind, sample=sample, **{"row": row, "vine": number, **values})

    def wood(
        self, block: int, season: int, kg: Iterable[float], date: str, chosen: str = "random", **more: object
    ) -> int:
        """Add pruned vines that set a season, with their prunings."""
        sample = self.sample(block, season, "pruned_vine", date, chosen, **more)
        self.vines("pruned_vine", sample, ({"prunings_mg": round(mass * KG)} for mass in kg))
        return sample

    def fruit(
        self, block: int, season: int, kg: Iterable[float], date: str, chosen: str = "random", **more: object
    ) -> int:
        """Add vines picked alone."""
        sample = self.sample(block, season, "vine_harvest", date, chosen, **more)
        self.vines("vine_harvest", sample, ({"mass_mg": round(mass * KG)} for mass in kg))
        return sample

    def load(self, shares: dict[int, int | None], season: int, date: str, net: int, **more: object) -> int:
        """Add a load of `net` printed units (thousandths are made here) and its shares by block."""
        part = {name: more.pop(name) for name in ("split", "purpose", "picked", "pick") if name in more}
        record = self.add(
            "load",
            **{
                "date": day(date),
                "season": season,
                "issuer": "Weighbridge",
                "number": str(self.next),
                "basis": "net_as_given",
                "net_milli": net * 1000,
                **more,
            },
        )
        for block, mass in shares.items():
            self.add(
                "load_part",
                load=record,
                block=block,
                mass_milli=None if mass is None else mass * 1000,
                **{"picked": "hand", "split": "whole" if mass is None else "weighed", **part},
            )
        return record

    def close(self, block: int, season: int, date: str, **more: object) -> int:
        """Close a harvest."""
        return self.add("harvest_close", block=block, season=season, finished_on=day(date), **more)

    def figures(self, block: int | None = None, season: int | None = None) -> list[Figure]:
        """Give the figures of a block and season, or all."""
        return list(
            figures_of(self.connection, None if block is None else [block], None if season is None else [season])
        )

    def figure(self, block: int, season: int, name: str, **where: object) -> Figure:
        """Give one figure."""
        found = [
            figure
            for figure in self.figures(block, season)
            if figure.figure == name
            and all(getattr(figure, key) == where.get(key) for key in ("bearer", "position", "pick"))
            and ("stage" not in where or figure.stage == where["stage"])
        ]
        if "stage" not in where and len(found) > 1:
            found = [figure for figure in found if figure.stage == "harvest"]
        assert len(found) == 1, (name, found)
        return found[0]


def day(text: str) -> dt.date:
    """Give a date."""
    return dt.date.fromisoformat(text)


def value_of(figure: Figure) -> float:
    """Give the value of a figure that has one."""
    assert figure.value is not None, figure
    return figure.value


def interval_of(figure: Figure) -> tuple[float, float]:
    """Give the interval of a figure that has one."""
    assert figure.low is not None, figure
    assert figure.high is not None, figure
    return figure.low, figure.high


_FREE: list[Engine] = []
"""Empty books in memory that no test uses at the moment; making the tables takes longer than most tests."""


def _empty_engine() -> Engine:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    event.listen(engine, "connect", lambda raw, _: raw.execute("PRAGMA foreign_keys = ON"))
    METADATA.create_all(engine)
    return engine


@contextmanager
def new_book() -> Iterator[Book]:
    """Open a new book in memory, foreign keys on; it is empty again afterwards."""
    engine = _FREE.pop() if _FREE else _empty_engine()
    with engine.connect() as connection:
        yield Book(connection)
        connection.rollback()
    _FREE.append(engine)
