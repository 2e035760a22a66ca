"""How often the predictive interval of a growth factor holds the factor that came, over many simulated histories."""

from __future__ import annotations

import csv
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas.prediction import predict_log, prediction_interval
from vinebook.formulas.quantiles import t_quantile

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FORECAST_FILE = Path(__file__).parent / "forecasts.csv"
LONG_HISTORIES = 5_000
SEASONS = (1, 2, 3, 8)
BLOCKS = (1, 10, 40)
LEVELS = (80.0, 95.0)
SAMPLING_SD = 0.06
"""Of a factor from two samples of clusters, on the log scale: about 20 lots with a spread of 20 % each time."""
MOST_NUMBERS = 1_500_000
"""Histories are taken in parts so small that an array over the grid of spreads holds no more numbers than this."""
GRID = 360


@dataclass(frozen=True, slots=True)
class World:
    """What factors are like: their centre, and standard deviations between seasons, blocks, and of the rest (log)."""

    name: str
    centre: float
    season_sd: float
    block_sd: float
    rest_sd: float


WORLDS = (
    World("as the prior has it", 2.0, 0.14, 0.10, 0.10),
    World("seasons differ more", 1.7, 0.25, 0.08, 0.08),
)


@dataclass(frozen=True, slots=True)
class Forecast:
    """How often the interval held the factor of a block in a new season.

    Attributes
    ----------
    way : "seasons as repeats", as the book does it, or "block-seasons pooled", as it does not.
    covers_percent : histories whose interval held it, of those that have one.
    half_width_percent : half width of the interval, the median, in percent of its middle.
    """

    way: str
    world: str
    seasons: int
    blocks: int
    level: float
    histories: int
    covers_percent: float
    half_width_percent: float


def forecasts(histories: int, worlds: Iterable[World] = WORLDS) -> Iterator[Forecast]:
    """Try every number of seasons and blocks in every world.

    Parameters
    ----------
    histories : simulated histories of each cell.
    worlds : what factors are like.
    """
    for world in worlds:
        for seasons in SEASONS:
            for blocks in BLOCKS:
                yield from _forecasts(world, seasons, blocks, histories)


def _forecasts(world: World, seasons: int, blocks: int, histories: int) -> Iterator[Forecast]:
    rng = np.random.default_rng(zlib.crc32(f"{world.name}, {seasons}, {blocks}".encode()))
    part = max(1, MOST_NUMBERS // (GRID * (seasons + 1) * max(blocks, seasons + 1)))
    held: dict[tuple[str, float], list[NDArray[np.bool_]]] = {}
    widths: dict[tuple[str, float], list[Floats]] = {}
    for first in range(0, histories, part):
        many = min(part, histories - first)
        of_season = rng.normal(0, world.season_sd, (many, seasons + 1, 1))
        of_block = rng.normal(0, world.block_sd, (many, 1, blocks))
        true = np.log(world.centre) + of_season + of_block + rng.normal(0, world.rest_sd, (many, seasons + 1, blocks))
        seen = true[:, :-1] + rng.normal(0, SAMPLING_SD, (many, seasons, blocks))
        came = true[:, -1, 0]
        prediction = predict_log(seen, SAMPLING_SD**2, block=0)
        flat = seen.reshape(many, -1)
        for level in LEVELS:
            found = prediction_interval(prediction, level)
            ends = [("seasons as repeats", found.low, found.high)]
            if flat.shape[1] > 1:
                spread = flat.std(axis=1, ddof=1) * np.sqrt(1 + 1 / flat.shape[1])
                half = t_quantile(flat.shape[1] - 1, level) * spread
                ends.append(("block-seasons pooled", flat.mean(axis=1) - half, flat.mean(axis=1) + half))
            for way, low, high in ends:
                held.setdefault((way, level), []).append((low <= came) & (came <= high))
                widths.setdefault((way, level), []).append(np.asarray(100 * np.expm1((high - low) / 2)))
    for (way, level), parts in held.items():
        covers = 100 * float(np.concatenate(parts).mean())
        width = float(np.median(np.concatenate(widths[way, level])))
        yield Forecast(way, world.name, seasons, blocks, level, histories, round(covers, 1), round(width, 1))


def write_forecasts(rows: Iterable[Forecast], path: Path = FORECAST_FILE) -> None:
    """Keep results."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(Forecast.__slots__)
        writer.writerows([getattr(one, name) for name in Forecast.__slots__] for one in rows)


def read_forecasts() -> list[Forecast]:
    """Give the kept results."""
    with FORECAST_FILE.open(encoding="utf-8", newline="") as file:
        return [
            Forecast(
                line["way"],
                line["world"],
                int(line["seasons"]),
                int(line["blocks"]),
                float(line["level"]),
                int(line["histories"]),
                float(line["covers_percent"]),
                float(line["half_width_percent"]),
            )
            for line in csv.DictReader(file)
        ]
