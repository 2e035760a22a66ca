"""Fill a book with block-seasons, straight into its tables: ``fill_book.py BOOK SEASONS VINES``.

Every block gets, in every season, a sample of each kind below with so many vines, a load and a close. Prints what went
in as JSON: rows, and the sums that figures and aggregates are held to.
"""

from __future__ import annotations

import json
import random
import sqlite3
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FIRST_SEASON = 2004
TALLY = 1_000
KG_IN_MG = 1_000_000
DATES = {"pruned_vine": "01-15", "shoot_tally": "05-20", "cluster_tally": "06-10", "vine_harvest": "09-12"}
Values = tuple[int, ...]


def pruned_vine(dice: random.Random, usual: float) -> Values:
    """Give spurs, count nodes on spurs, canes weighed and prunings."""
    spurs = dice.randint(10, 16)
    return spurs, 2 * spurs, 2 * spurs, round(KG_IN_MG * usual * dice.uniform(0.5, 1.5))


def shoot_tally(dice: random.Random, usual: float) -> Values:
    """Give count shoots, double shoots, non-count shoots and blind nodes."""
    blind = dice.randint(0, 4)
    return round(26 * usual) - blind, dice.randint(0, 3), dice.randint(0, 6), blind


def cluster_tally(dice: random.Random, usual: float) -> Values:
    """Give clusters."""
    return (dice.randint(20, 40) + round(10 * usual),)


def vine_harvest(dice: random.Random, usual: float) -> Values:
    """Give clusters and mass."""
    clusters = dice.randint(20, 40) + round(10 * usual)
    return clusters, round(clusters * KG_IN_MG * dice.uniform(0.08, 0.16))


KINDS: dict[str, tuple[str, Callable[[random.Random, float], Values]]] = {
    "pruned_vine": ("spurs, nodes_on_spurs, canes_weighed, prunings_mg", pruned_vine),
    "shoot_tally": ("count_shoots, double_shoots, noncount_shoots, blind_nodes", shoot_tally),
    "cluster_tally": ("clusters", cluster_tally),
    "vine_harvest": ("clusters, mass_mg", vine_harvest),
}


class Filler:
    """Fills one book."""

    def __init__(self, raw: sqlite3.Connection, seasons: int, vines: int) -> None:
        self.raw = raw
        self.seasons = seasons
        self.vines = vines
        self.dice = random.Random(f"{seasons} {vines}")  # noqa: S311 - seeded counts need no cryptography
        self.record = 1_000_000
        self.sums = dict.fromkeys(KINDS, 0)
        self.net_milli = 0

    def take(self) -> int:
        """Give a new permanent number."""
        self.record += 1
        return self.record

    def rows(self, sample: int, make: Callable[[random.Random, float], Values], kind: str) -> Iterator[tuple[int, ...]]:
        """Give the vines of a sample; the last value of each is summed."""
        usual = self.dice.uniform(0.4, 1.2)
        for number in range(self.vines):
            values = make(self.dice, usual)
            self.sums[kind] += values[-1]
            yield (self.take(), sample, number % 40 + 1, number // 40 + 1, *values, TALLY, number + 2)

    def season(self, season: int, blocks: list[int]) -> None:
        """Add a season of all blocks."""
        for kind, (columns, make) in KINDS.items():
            extra = ", pruned_by, wood" if kind == "pruned_vine" else ""
            given = ", 'crew', 'complete'" if kind == "pruned_vine" else ""
            into = (
                f'INSERT INTO {kind} (record, sample, "row", vine, {columns}, tally, line, state{extra})'
                f" VALUES (?, ?, ?, ?, {', '.join('?' * len(columns.split(',')))}, ?, ?, 'bearing'{given})"
            )
            for block in blocks:
                sample = self.take()
                date = f"{season}-{DATES[kind]}"
                self.raw.execute(
                    "INSERT INTO sample (record, counts, block, season, date, part, thinning, chosen, counted_by,"
                    " tally, line) VALUES (?, ?, ?, ?, ?, 'all', 'before', 'random', 'KL', ?, 2)",
                    (sample, kind, block, season, date, TALLY),
                )
                self.raw.executemany(into, self.rows(sample, make, kind))
        for block in blocks:
            self.harvest(season, block)

    def harvest(self, season: int, block: int) -> None:
        """Add a load of one block, and close its harvest."""
        load, net = self.take(), self.dice.randint(4_000, 9_000) * 1_000
        self.net_milli += net
        self.raw.execute(
            "INSERT INTO load (record, issuer, season, number, date, basis, net_milli, deductions_milli, refused_milli,"
            " mass_unit, tally, line) VALUES (?, 'Weighbridge', ?, ?, ?, 'net_as_given', ?, 0, 0, 'kg', ?, 2)",
            (load, season, str(load), f"{season}-09-14", net, TALLY),
        )
        self.raw.execute(
            "INSERT INTO load_part (record, load, block, pick, split, picked, purpose, mass_unit, tally, line)"
            " VALUES (?, ?, ?, 1, 'whole', 'hand', 'still', 'kg', ?, 2)",
            (self.take(), load, block, TALLY),
        )
        self.raw.execute(
            "INSERT INTO harvest_close (record, block, season, finished_on, fruit_left_milli, fruit_left_by, mass_unit,"
            " tally, line) VALUES (?, ?, ?, ?, 0, 'weighed', 'kg', ?, 2)",
            (self.take(), block, season, f"{season}-09-20", TALLY),
        )


def main(book: str, seasons: int, vines: int) -> None:
    """Fill a book in one transaction."""
    raw = sqlite3.connect(book, isolation_level=None)
    raw.execute("PRAGMA foreign_keys = ON")
    raw.execute("BEGIN IMMEDIATE")
    raw.execute(
        'INSERT INTO tally (number, name, kind, source, size, sha256, at, "by")'
        " VALUES (?, 'benchmark', 'sample', 'typed', 0, '', '', 'KL')",
        (TALLY,),
    )
    blocks = [record for (record,) in raw.execute("SELECT record FROM block ORDER BY code")]
    filler = Filler(raw, seasons, vines)
    for season in range(FIRST_SEASON, FIRST_SEASON + seasons):
        filler.season(season, blocks)
    raw.execute("COMMIT")
    raw.execute("ANALYZE")
    raw.close()
    rows = len(blocks) * seasons * vines * len(KINDS)
    print(json.dumps({"rows": rows, "sums": filler.sums, "net_milli": filler.net_milli}))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
