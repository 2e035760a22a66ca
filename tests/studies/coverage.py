"""Where the 95 % intervals hold what they say: many samples of known populations, by method, size, spread and skew.

`python -m tests.studies.coverage` runs every cell with 10,000 draws, some minutes on one core, and writes the results
and the guide's page `coverage`. A cell's chance depends on its name alone, so that a run repeats itself.
"""

from __future__ import annotations

import argparse
import csv
import functools
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tests.studies import methods
from tests.studies.populations import LIKE_VINES, WILDER

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from tests.studies.methods import Ends
    from tests.studies.populations import Population

    Tried = Callable[[np.random.Generator, int, int], Ends]

RESULTS = Path(__file__).parent / "coverage.csv"
LONG_DRAWS = 10_000
CHUNK = 2_000
ENOUGH_PERCENT = 93.0
SIZES = (3, 4, 5, 6, 8, 10, 15, 20, 30, 50, 100)
SIZES_IN_BLOCK = (3, 4, 5, 6, 8, 10, 15, 20, 30, 50)
SIZES_OF_PARTS = (6, 8, 10, 15, 20, 30, 50, 100)
SEASONS = (3, 4, 5, 8, 12)
FEW = (5, 10, 20)


@dataclass(frozen=True, slots=True)
class Method:
    """A way to an interval and the cells it is tried in.

    Attributes
    ----------
    words : what it is.
    unit : what n counts.
    like, wild : what is drawn from, by name: like the vines of a block, and wilder.
    is_used : whether the book prints such intervals; the others show what would come of them.
    """

    name: str
    words: str
    unit: str
    sizes: tuple[int, ...]
    like: Mapping[str, Tried]
    wild: Mapping[str, Tried]
    is_used: bool = True


@dataclass(frozen=True, slots=True)
class Result:
    """How often a cell's intervals held the truth, in percent of those that had two ends, and how many had none."""

    method: str
    drawn_from: str
    is_like: bool
    n: int
    draws: int
    covers_percent: float
    without_percent: float


def _over_populations(
    name: str, words: str, unit: str, sizes: tuple[int, ...], of: methods.OfPopulation, *, is_used: bool = True
) -> Method:
    like, wild = (
        {one.name: functools.partial(_call, of, one) for one in group}
        for group in (LIKE_VINES, WILDER if is_used else ())
    )
    return Method(name, words, unit, sizes, like, wild, is_used)


def _call(of: methods.OfPopulation, population: Population, rng: np.random.Generator, draws: int, n: int) -> Ends:
    return of(rng, draws, n, population)


def _shares(pairs: Iterable[tuple[float, float]]) -> Mapping[str, Tried]:
    return {
        f"share {100 * of:g} %, likeness {likeness:g}": functools.partial(methods.share, of_nodes=of, likeness=likeness)
        for of, likeness in pairs
    }


METHODS = (
    _over_populations("log t", "mean of vines, t on the log scale", "vines", SIZES, methods.log_t),
    _over_populations("plain t", "mean of vines, plain t", "vines", SIZES, methods.plain_t),
    _over_populations(
        "finite", "mean of vines drawn from 60, log t with 1 - n / N", "vines", SIZES_IN_BLOCK, methods.finite
    ),
    _over_populations(
        "panels", "panel totals ÷ vines, panels of 5 with likeness 0.3, log t", "panels", SIZES, methods.panels
    ),
    _over_populations("parts", "three parts weighted, log t", "vines of all parts", SIZES_OF_PARTS, methods.parts),
    _over_populations("fieller", "ratio on the same vines, paired Fieller", "vines", SIZES, methods.fieller),
    _over_populations("log ratio", "ratio of two samples, log scale", "vines of each", SIZES, methods.log_ratio),
    _over_populations("product", "product of three samples, log scale", "vines of each", SIZES, methods.product),
    Method(
        "share",
        "share of 12 to 20 nodes a vine, Wilson ÷ design effect",
        "vines",
        SIZES,
        _shares(((0.5, 0.1), (0.8, 0.1), (0.9, 0.05), (0.95, 0.1))),
        _shares(((0.9, 0.2), (0.98, 0.1))),
    ),
    _over_populations(
        "alike, Fieller", "clusters per node at a position, Fieller", "vines", SIZES, methods.alike_fieller
    ),
    _over_populations(
        "alike, positions", "clusters per node over positions, log t", "vines", SIZES, methods.alike_positions
    ),
    _over_populations(
        "seasons", "mean over seasons of 10 vines, the season as unit", "seasons", SEASONS, methods.seasons_as_units
    ),
    _over_populations(
        "nodes as units", "30 nodes a vine, each its own unit", "vines", FEW, methods.shoots_as_units, is_used=False
    ),
    _over_populations(
        "vines of all seasons",
        "10 vines a season, each its own unit",
        "seasons",
        SEASONS,
        methods.vines_as_units,
        is_used=False,
    ),
)


def run(draws: int, names: Sequence[str] = ()) -> Iterator[Result]:
    """Try every cell of the methods named, or of all.

    Parameters
    ----------
    draws : samples of each cell.
    names : of methods; none takes all.
    """
    for method in METHODS:
        if names and method.name not in names:
            continue
        for is_like, group in ((True, method.like), (False, method.wild)):
            for drawn_from, ends_of in group.items():
                for n in method.sizes:
                    yield _tried(method, drawn_from, is_like, ends_of, n, draws)


def _tried(
    method: Method,
    drawn_from: str,
    is_like: bool,
    ends_of: Tried,
    n: int,
    draws: int,
) -> Result:
    rng = np.random.default_rng(zlib.crc32(f"{method.name}, {drawn_from}, {n}".encode()))
    held = given = 0
    for first in range(0, draws, CHUNK):
        low, high, truth = np.broadcast_arrays(*ends_of(rng, min(CHUNK, draws - first), n))
        has = np.isfinite(low) & np.isfinite(high)
        given += int(has.sum())
        held += int((has & (low <= truth) & (truth <= high)).sum())
    return Result(
        method.name, drawn_from, is_like, n, draws, round(100 * held / given, 2), round(100 * (1 - given / draws), 2)
    )


def least_size(results: Iterable[Result], method: str, *, is_like: bool) -> int | None:
    """Give the least n from which on every population of a group is covered by 93 % or more; None where none is.

    Parameters
    ----------
    results : cells.
    method : its name.
    is_like : the group: like vines, or wilder.
    """
    mine = [one for one in results if one.method == method and one.is_like == is_like]
    least = None
    for n in sorted({one.n for one in mine}, reverse=True):
        if min(one.covers_percent for one in mine if one.n == n) < ENOUGH_PERCENT:
            break
        least = n
    return least


def read_results(path: Path = RESULTS) -> list[Result]:
    """Give the results of the long run that are kept beside the study."""
    with path.open(encoding="utf-8", newline="") as file:
        return [
            Result(
                line["method"],
                line["drawn_from"],
                line["is_like"] == "True",
                int(line["n"]),
                int(line["draws"]),
                float(line["covers_percent"]),
                float(line["without_percent"]),
            )
            for line in csv.DictReader(file)
        ]


def write_results(results: Iterable[Result], path: Path = RESULTS) -> None:
    """Keep results."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(Result.__slots__)
        writer.writerows([getattr(one, name) for name in Result.__slots__] for one in results)


def main() -> None:
    """Run all, keep the results and write the guide's page."""
    from tests.studies.coverage_page import write_page
    from tests.studies.forecasts import LONG_HISTORIES, forecasts, write_forecasts
    from tests.studies.precision import BIAS_FILE, SIZES_FILE, biases, realised, write_rows

    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--draws", type=int, default=LONG_DRAWS)
    draws = reader.parse_args().draws
    write_results(run(draws))
    write_rows(biases(draws), BIAS_FILE)
    write_rows(realised(draws), SIZES_FILE)
    write_forecasts(forecasts(min(draws, LONG_HISTORIES)))
    write_page()


if __name__ == "__main__":
    main()
