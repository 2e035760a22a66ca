"""Random corrections of a book, as people make them: many are refused, and what is done must verify."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.desk import cluster_rows, places
from vinebook.errors import VinebookError
from vinebook.intake.amending import amend
from vinebook.intake.striking import strike
from vinebook.intake.typed import add_record, replace_tally

if TYPE_CHECKING:
    import random

    from tests.desk import Desk

REASON = "typo"


def fill(desk: Desk, rows: int = 5) -> None:
    """Load a vineyard, blocks, samples of both kinds of tally, loads and parts."""
    places(desk)
    nodes = "block,date,chosen,counted_by,row,vine,bearer,bearer_number,position,shoots,clusters\n"
    desk.load_texts(
        clusters=cluster_rows([(1, vine, vine) for vine in range(1, rows + 1)]),
        nodes=nodes
        + "".join(
            f"A1,2022-12-05,random,KL,{row},1,spur,1,{at},2,1+1\n" for row in range(1, rows + 1) for at in (0, 1)
        ),
        load="date,issuer,number,basis,net\n"
        + "".join(f"2023-03-01,Scale,{at},net_as_given,800\n" for at in range(rows)),
        part="issuer,season,number,block,mass,split,picked\n"
        + "".join(f"Scale,2023,{at},{block},400,weighed,hand\n" for at in range(rows) for block in ("A1", "A2")),
        event="block,date,what,share_hit,words\n"
        + "".join(f"A1,2022-11-{at + 1:02},frost,12.5,low ground\n" for at in range(rows)),
        planting="block,from_season,cultivar,row_spacing,vine_spacing,positions\nA1,2015,Grey Hen,2.5,1.8,400\n",
    )


class Corrector:
    """Corrects a book at random, step after step.

    Attributes
    ----------
    done : what was done, by kind of correction.
    """

    def __init__(self, desk: Desk, chance: random.Random) -> None:
        self._desk = desk
        self._chance = chance
        self._made = 100
        self.done: dict[str, int] = {}

    def step(self) -> None:
        """Try one correction; what the record refuses is left."""
        name = self._chance.choice(["amend", "amend", "strike", "with_rows", "supersede", "replace", "add", "load"])
        try:
            getattr(self, f"_{name}")()
        except VinebookError:
            return
        self.done[name] = self.done.get(name, 0) + 1

    def _record(self, kind: str) -> str:
        rows = self._desk.stored(kind)
        return f"#{self._chance.choice(rows)['record']}"

    def _amend(self) -> None:
        kind, changes = self._chance.choice(
            [
                ("cluster_tally", {"clusters": str(self._chance.randrange(50))}),
                ("event", {"share_hit": str(self._chance.randrange(99))}),
                ("event", {"words": self._chance.choice(["", "hollow", 'ü, "x"', "low ground"])}),
                ("node_tally", {"clusters": f"{self._chance.randrange(3)}+{self._chance.randrange(3)}"}),
                ("load_part", {"mass": str(self._chance.randrange(450))}),
                ("sample", {"seed": str(self._chance.randrange(9))}),
                ("planting", {"row_spacing": f"{self._chance.uniform(1, 4)!r}"}),
                ("block", {"surveyed_area": self._chance.choice(["", "1.25"])}),
            ]
        )
        amend(self._desk.book, kind, self._record(kind), changes, reason=REASON, by="RM")

    def _strike(self) -> None:
        kind = self._chance.choice(["cluster_tally", "event", "node_tally", "load_part", "load", "sample"])
        strike(self._desk.book, kind, self._record(kind), reason=REASON, by="RM")

    def _with_rows(self) -> None:
        kind = self._chance.choice(["load", "sample"])
        strike(self._desk.book, kind, self._record(kind), reason=REASON, by="RM", with_rows=True)

    def _supersede(self) -> None:
        self._made += 1
        net = str(self._chance.randrange(700, 1000))
        values = {
            "date": "2023-03-01",
            "issuer": "Scale",
            "number": str(self._made),
            "basis": "net_as_given",
            "net": net,
        }
        add_record(self._desk.book, "load", values, by="RM", supersedes=self._record("load"), reason=REASON)

    def _counts(self) -> str:
        self._made += 1
        vines = self._chance.sample(range(1, 9), 3)
        day = self._chance.choice(["2022-12-05", "2022-12-06"])
        return cluster_rows([(self._chance.randrange(1, 4), vine, self._made) for vine in vines], f"A1,{day},random,KL")

    def _replace(self) -> None:
        path = self._desk.write(f"mended-{self._made}.csv", self._counts())
        number = self._chance.randrange(1, 20)
        also = self._chance.random() < 0.5
        replace_tally(self._desk.book, path, f"#{number}", reason=REASON, by="RM", also_amended=also)

    def _add(self) -> None:
        values = {"block": "A1", "date": f"2022-10-{self._chance.randrange(1, 30):02}", "what": "hail"}
        add_record(self._desk.book, "event", values, by="RM")

    def _load(self) -> None:
        self._desk.load(self._desk.write(f"counts-{self._made}.csv", self._counts()))
