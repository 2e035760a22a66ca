"""Books and tallies of an invented vineyard for the benchmarks, in any size; the numbers are seeded."""

from __future__ import annotations

import csv
import random
from typing import TYPE_CHECKING

from tests.benchmarks.measuring import VINEBOOK, run

if TYPE_CHECKING:
    from pathlib import Path

FIRST_SEASON = 2004
CLUSTER_HEADINGS = ("block", "date", "thinning", "chosen", "counted_by", "row", "vine", "state", "clusters")
ROWS_OF_VINES, VINES_IN_ROW = 40, 60
FEW = 100
"""One sampled vine in so many is missing or young."""


def write(path: Path, headings: tuple[str, ...], rows: list[tuple[object, ...]]) -> Path:
    """Write a small tally."""
    with path.open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(headings)
        writer.writerows(rows)
    return path


def code_of(block: int) -> str:
    """Give the code of a block by its number from 0."""
    return f"B{block + 1:04d}"


def write_places(folder: Path, blocks: int) -> list[Path]:
    """Write the tallies of a vineyard with so many blocks, each with planting, training and census."""
    codes = [code_of(block) for block in range(blocks)]
    positions = ROWS_OF_VINES * VINES_IN_ROW
    return [
        write(
            folder / "vineyard.csv",
            ("name", "hemisphere", "units", "grower"),
            [("Quarry Bend", "north", "metric", "A. Grower")],
        ),
        write(
            folder / "block.csv",
            ("vineyard", "code", "name", "from_season"),
            [("Quarry Bend", code, f"Block {code}", FIRST_SEASON) for code in codes],
        ),
        write(
            folder / "planting.csv",
            (
                "block",
                "from_season",
                "cultivar",
                "year_planted",
                "row_spacing [m]",
                "vine_spacing [m]",
                "positions",
            ),
            [(code, FIRST_SEASON, "Syrah", FIRST_SEASON - 6, "2.5", "1.5", positions) for code in codes],
        ),
        write(
            folder / "training.csv",
            (
                "block",
                "from_season",
                "trained",
                "arms",
                "curtains",
                "shoot_position",
                "cordon_length [m]",
                "pruned",
            ),
            [(code, FIRST_SEASON, "cordon", 2, 1, "up", "1.4", "spur") for code in codes],
        ),
        write(
            folder / "vine_census.csv",
            ("block", "date", "bearing", "young", "missing"),
            [(code, f"{FIRST_SEASON}-03-01", positions - 70, 40, 30) for code in codes],
        ),
    ]


def new_book(folder: Path, name: str, blocks: int) -> Path:
    """Make a book with so many blocks by the commands that a person would type."""
    places = folder / f"places_{blocks}"
    places.mkdir(exist_ok=True)
    run([*VINEBOOK, "--book", name, "new"], folder)
    run([*VINEBOOK, "--book", name, "load", *write_places(places, blocks)], folder)
    return folder / name


def write_clusters(path: Path, rows: int, samples: int, blocks: int) -> int:
    """Write a cluster tally with so many rows in so many samples, and give the sum of its clusters.

    Each sample is a block in a season, its vines in the order in which one walks: by row, then by vine.
    """
    dice = random.Random(f"clusters {rows} {samples}")  # noqa: S311 - seeded counts need no cryptography
    total = 0
    places = [(row, vine) for row in range(1, ROWS_OF_VINES + 1) for vine in range(1, VINES_IN_ROW + 1)]
    with path.open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(CLUSTER_HEADINGS)
        for number in range(samples):
            season, block = divmod(number, blocks)
            size = rows * (number + 1) // samples - rows * number // samples
            date = f"{FIRST_SEASON + season}-06-{1 + block % 28:02d}"
            usual = dice.uniform(18, 45)
            page = []
            for row, vine in sorted(dice.sample(places, size)):
                chance = dice.random() * FEW
                state = "missing" if chance < 1 else "young" if chance < 2 else "bearing"
                clusters: int | str = ""
                if state == "bearing":
                    clusters = max(0, round(dice.gauss(usual, usual / 3)))
                    total += clusters
                page.append((code_of(block), date, "before", "random", "KL", row, vine, state, clusters))
            writer.writerows(page)
    return total
