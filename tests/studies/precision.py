"""Two further studies: how far ratios and products lie off on average, and whether a sample is as narrow as wanted."""

from __future__ import annotations

import csv
import functools
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tests.studies.populations import Population
from vinebook.formulas.intervals import log_t_interval
from vinebook.formulas.precision import least_size
from vinebook.formulas.sampling import finite_correction, standard_error_of_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

BIAS_FILE = Path(__file__).parent / "bias.csv"
SIZES_FILE = Path(__file__).parent / "sizes.csv"
POSITIONS = 400
PILOT = 10
BIAS_SIZES = (3, 5, 10, 20, 50)
WITHIN = ((0.2, 0.1), (0.3, 0.1), (0.4, 0.15), (0.4, 0.2), (0.6, 0.2))
CHUNK = 1_000


@dataclass(frozen=True, slots=True)
class Bias:
    """How far an estimate lies off on average, in percent of the truth, with the error of the simulation.

    Attributes
    ----------
    estimate : "ratio of sums" or "mean of ratios" of y to x on the same vines, "product, two samples", or "product,
        same vines".
    cv : of either of the two numbers, lognormal.
    likeness : correlation of the two on the log scale.
    """

    estimate: str
    cv: float
    likeness: float
    n: int
    draws: int
    bias_percent: float
    error_percent: float


@dataclass(frozen=True, slots=True)
class Realised:
    """What the rule for the number of vines brought.

    Attributes
    ----------
    cv, within : spread of the vines, and half width wanted, as fractions.
    cv_from : whether the spread was known or comes from a sample of ten vines.
    vines : number that the rule gives; the median where it differs from sample to sample.
    wider_percent : samples whose interval came out wider than wanted.
    much_wider_percent : those wider by more than a quarter.
    near_percent : samples whose mean lies within the wanted distance of the truth.
    """

    cv: float
    within: float
    cv_from: str
    vines: int
    draws: int
    wider_percent: float
    much_wider_percent: float
    near_percent: float


def _rng(*names: object) -> np.random.Generator:
    return np.random.default_rng(zlib.crc32(repr(names).encode()))


def biases(draws: int) -> Iterator[Bias]:
    """Try ratios and products of two numbers counted on vines.

    Parameters
    ----------
    draws : samples of each cell.
    """
    for cv in (0.2, 0.4, 0.8):
        for likeness in (0.0, 0.6):
            for n in BIAS_SIZES:
                yield from _biases(cv, likeness, n, draws)


def _biases(cv: float, likeness: float, n: int, draws: int) -> Iterator[Bias]:
    rng = _rng("bias", cv, likeness, n)
    spread = np.sqrt(np.log1p(cv**2))
    first, second = rng.standard_normal((2, draws, n))
    second = likeness * first + np.sqrt(1 - likeness**2) * second
    x, y = (np.exp(spread * each - spread**2 / 2) for each in (first, second))
    estimates = {
        "ratio of sums": y.sum(axis=1) / x.sum(axis=1),
        "mean of ratios": (y / x).mean(axis=1),
        "product, same vines": x.mean(axis=1) * y.mean(axis=1),
    }
    for name, values in estimates.items():
        off = 100 * (values - 1)
        error = float(off.std(ddof=1) / np.sqrt(draws))
        yield Bias(name, cv, likeness, n, draws, round(float(off.mean()), 2), round(error, 2))


def realised(draws: int) -> Iterator[Realised]:
    """Draw as many vines as the rule says and see how precise the mean is.

    Parameters
    ----------
    draws : samples of each cell.
    """
    for cv, within in WITHIN:
        for cv_from in ("known", f"{PILOT} vines"):
            yield _realised(cv, within, cv_from, draws)


@functools.cache
def _asked(cv: float, within: float) -> int:
    return least_size(cv, within, POSITIONS)


def _realised(cv: float, within: float, cv_from: str, draws: int) -> Realised:
    rng = _rng("sizes", cv, within, cv_from)
    vines = Population("gamma", cv)
    sizes, half, off = [], [], []
    for first in range(0, draws, CHUNK):
        many = min(CHUNK, draws - first)
        block = vines.drawn(rng, (many, POSITIONS))
        pilot = vines.drawn(rng, (many, PILOT))
        spread = np.full(many, cv) if cv_from == "known" else pilot.std(axis=1, ddof=1) / pilot.mean(axis=1)
        size = np.array([_asked(round(float(one), 2), within) for one in spread])
        drawn = np.arange(POSITIONS) < size[:, None]
        mean = (block * drawn).sum(axis=1) / size
        variance = (((block - mean[:, None]) ** 2) * drawn).sum(axis=1) / (size - 1)
        low, high = log_t_interval(
            mean, standard_error_of_mean(variance, size, finite_correction(size, POSITIONS)), size - 1
        )
        sizes.append(size)
        half.append(np.log(high / low) / 2)
        off.append(np.abs(mean / block.mean(axis=1) - 1))
    widths, distances = np.concatenate(half), np.concatenate(off)
    wider, much_wider, near = (
        round(100 * float(which.mean()), 1) for which in (widths > within, widths > 1.25 * within, distances <= within)
    )
    return Realised(cv, within, cv_from, int(np.median(np.concatenate(sizes))), draws, wider, much_wider, near)


def write_rows(rows: Iterable[Bias | Realised], path: Path) -> None:
    """Keep results."""
    found = list(rows)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(type(found[0]).__slots__)
        writer.writerows([getattr(one, name) for name in type(found[0]).__slots__] for one in found)


def read_biases() -> list[Bias]:
    """Give the kept results on bias."""
    with BIAS_FILE.open(encoding="utf-8", newline="") as file:
        return [
            Bias(
                line["estimate"],
                float(line["cv"]),
                float(line["likeness"]),
                int(line["n"]),
                int(line["draws"]),
                float(line["bias_percent"]),
                float(line["error_percent"]),
            )
            for line in csv.DictReader(file)
        ]


def read_realised() -> list[Realised]:
    """Give the kept results on the number of vines."""
    with SIZES_FILE.open(encoding="utf-8", newline="") as file:
        return [
            Realised(
                float(line["cv"]),
                float(line["within"]),
                line["cv_from"],
                int(line["vines"]),
                int(line["draws"]),
                float(line["wider_percent"]),
                float(line["much_wider_percent"]),
                float(line["near_percent"]),
            )
            for line in csv.DictReader(file)
        ]
