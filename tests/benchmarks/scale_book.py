"""Tallies of an invented estate for many years, in any number of blocks: ``scale_book.py FOLDER BLOCKS``.

Each block has, in each of 20 seasons, four samples of 25 vines (wood, shoots, clusters, fruit), a load with its part,
and a close. Prints what went in as JSON: the files in the order of a load, rows, and sums that answers are held to.
"""

from __future__ import annotations

import csv
import json
import random
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.books import FIRST_SEASON, ROWS_OF_VINES, VINES_IN_ROW, code_of, write_places

if TYPE_CHECKING:
    from collections.abc import Iterator

SEASONS, VINES = 20, 25
CONSIGNEE = "Orvasket Cellars"
SAMPLED = ("pruned_vine", "shoot_tally", "cluster_tally", "vine_harvest")
HEADINGS = {
    "pruned_vine": "block,date,chosen,counted_by,row,vine,state,spurs,nodes_on_spurs,canes_weighed,prunings [kg]",
    "shoot_tally": (
        "block,date,chosen,counted_by,row,vine,state,count_shoots,double_shoots,noncount_shoots,blind_nodes"
    ),
    "cluster_tally": "block,date,thinning,chosen,counted_by,row,vine,state,clusters",
    "vine_harvest": "block,date,chosen,counted_by,row,vine,clusters,mass [kg]",
    "consignee": "name",
    "load": "date,issuer,number,basis,net [kg],consignee",
    "load_part": "issuer,season,number,block,pick,split,picked,purpose",
    "harvest_close": "block,finished_on,fruit_left [kg],fruit_left_by",
}
DAYS = {"pruned_vine": "01-15", "shoot_tally": "05-20", "cluster_tally": "06-10", "vine_harvest": "09-12"}


def counted(kind: str, dice: random.Random, usual: float) -> tuple[int | str, ...]:
    """Give what is counted on one vine; the last value is the one that is summed."""
    if kind == "pruned_vine":
        spurs = 10 + int(7 * dice.random())
        return spurs, 2 * spurs, 2 * spurs, f"{usual * (0.5 + dice.random()):.3f}"
    if kind == "shoot_tally":
        blind = int(5 * dice.random())
        return round(26 * usual) - blind, int(4 * dice.random()), int(7 * dice.random()), blind
    clusters = 20 + int(21 * dice.random()) + round(10 * usual)
    if kind == "cluster_tally":
        return (clusters,)
    return clusters, f"{clusters * (0.08 + 0.08 * dice.random()):.3f}"


class Estate:
    """Writes the tallies of one estate.

    Attributes
    ----------
    thousandths : by kind: the sum of the last value of its rows, in thousandths.
    """

    def __init__(self, folder: Path, blocks: int) -> None:
        self._folder = folder
        self._blocks = blocks
        self._dice = random.Random(f"estate {blocks}")  # noqa: S311 - seeded counts need no cryptography
        self._places = [(row, vine) for row in range(1, ROWS_OF_VINES + 1) for vine in range(1, VINES_IN_ROW + 1)]
        self.thousandths = dict.fromkeys((*SAMPLED, "load"), 0)

    def write(self) -> list[Path]:
        """Write every tally and give the paths in the order in which they are loaded."""
        seasons = range(FIRST_SEASON, FIRST_SEASON + SEASONS)
        files = [*write_places(self._folder, self._blocks), self._file("consignee", "all", iter([(CONSIGNEE,)]))]
        files += [self._file(kind, str(season), self._vines(kind, season)) for season in seasons for kind in SAMPLED]
        parts = ((*fields, 1, "whole", "hand", "still") for fields in self._blocks_of(seasons, "Weighbridge"))
        closes = (
            (code, f"{season}-09-20", 0, "weighed") for _, season, _, code in self._blocks_of(seasons, "Weighbridge")
        )
        return [
            *files,
            self._file("load", "all", self._loads(seasons)),
            self._file("load_part", "all", parts),
            self._file("harvest_close", "all", closes),
        ]

    def _file(self, kind: str, which: str, rows: Iterator[tuple[object, ...]]) -> Path:
        path = self._folder / f"{kind}_{which}.csv"
        with path.open("w", newline="") as stream:
            stream.write(HEADINGS[kind] + "\n")
            csv.writer(stream, lineterminator="\n").writerows(rows)
        return path

    def _vines(self, kind: str, season: int) -> Iterator[tuple[object, ...]]:
        dice, date = self._dice, f"{season}-{DAYS[kind]}"
        thinning = ("before",) if kind == "cluster_tally" else ()
        state = () if kind == "vine_harvest" else ("bearing",)
        total = 0
        for block in range(self._blocks):
            code, usual = code_of(block), dice.uniform(0.4, 1.2)
            # Every vine of a sample stands in its row once; one walks by row, then by vine.
            first = int(dice.random() * (len(self._places) - 90 * VINES))
            for row, vine in self._places[first : first + 90 * VINES : 90]:
                values = counted(kind, dice, usual)
                total += round(1000 * float(values[-1]))
                yield code, date, *thinning, "random", "KL", row, vine, *state, *values
        self.thousandths[kind] += total

    def _blocks_of(self, seasons: range, issuer: str) -> Iterator[tuple[str, int, int, str]]:
        for season in seasons:
            for block in range(self._blocks):
                yield issuer, season, block + 1, code_of(block)

    def _loads(self, seasons: range) -> Iterator[tuple[object, ...]]:
        for issuer, season, number, _ in self._blocks_of(seasons, "Weighbridge"):
            net = self._dice.randint(4_000, 9_000)
            self.thousandths["load"] += 1000 * net
            yield f"{season}-09-14", issuer, number, "net_as_given", net, CONSIGNEE


def main(folder: Path, blocks: int) -> None:
    """Write the tallies."""
    estate = Estate(folder, blocks)
    files = estate.write()
    told = {
        "files": [str(path) for path in files],
        "vines": blocks * SEASONS * VINES * len(SAMPLED),
        "rows": blocks * (4 + SEASONS * (VINES + 1) * len(SAMPLED) + SEASONS * 3) + 2,
        "thousandths": estate.thousandths,
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
