"""The vine grid of 1932: sums, strata, systematic draws, sizes and yields, as the data's own arithmetic gives them.

The values are the data set's. The expected numbers were worked out from them by independent code (DERIVED); the one
that the data set's help page prints is the coefficient of variation, 43.4 %, which is 43.49 % with its last digit cut.
"""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from vinebook.formulas.area import planted_area_ha, vines_per_acre
from vinebook.formulas.harvest import yield_t_per_ha
from vinebook.formulas.moments import mean_of_sums, variance_of_sums
from vinebook.formulas.quantiles import normal_quantile
from vinebook.formulas.sample_sizes import size_for_relative_error
from vinebook.formulas.sampling import (
    coefficient_of_variation,
    finite_correction,
    standard_error_of_mean,
    stratified_mean,
    stratified_variance,
    systematic_positions,
)
from vinebook.quantities import POUND_KG, TON_PER_ACRE_T_PER_HA

FOLDER = Path(__file__).parent
FOOT_M = 0.3048


def read_grid() -> np.ndarray:
    """Give the grid, 31 rows by 5 columns [lb], NaN for a missing vine."""
    grid = np.full((31, 5), np.nan)
    with (FOLDER / "vine_grid_1932.csv").open(encoding="utf-8", newline="") as file:
        for line in csv.DictReader(file):
            if line["yield_lb"]:
                grid[int(line["row"]) - 1, int(line["column"]) - 1] = float(line["yield_lb"])
    return grid


GRID = read_grid()
VINES = GRID.T[~np.isnan(GRID.T)]
HALF_POUNDS = np.rint(VINES * 2).astype(np.int64)


def test_the_grid_names_its_source_and_licence() -> None:
    about = tomllib.loads((FOLDER / "vine_grid_1932.toml").read_text(encoding="utf-8"))
    assert "Strickland" in about["source"]
    assert about["licence"] == "MIT"


def test_the_grid_holds_125_vines_and_30_gaps() -> None:
    with (FOLDER / "vine_grid_1932.csv").open(encoding="utf-8", newline="") as file:
        assert sum(1 for _ in csv.DictReader(file)) == 155
    assert len(VINES) == 125
    missing_rows = [int(row) + 1 for row in np.flatnonzero(np.isnan(GRID).all(axis=1))]
    assert missing_rows == [14, 21, 22, 23, 27, 28]
    assert np.isnan(GRID).sum() == 30
    assert (VINES.min(), float(np.median(VINES)), VINES.max()) == (1.5, 5.5, 16.5)
    assert int((VINES % 1 == 0.5).sum()) == 100


def test_mean_and_variance_follow_from_the_sums() -> None:
    assert VINES.sum() == 743.0
    assert (VINES**2).sum() == 5245.0
    mean = mean_of_sums(125, 743.0)
    variance = variance_of_sums(125, 743.0, 5245.0)
    assert mean == pytest.approx(5.944, abs=1e-12)
    assert variance == pytest.approx(6.682322580645161, rel=1e-15)
    assert np.sqrt(variance) == pytest.approx(2.5850188743305456, rel=1e-15)
    assert 100 * coefficient_of_variation(mean, variance) == pytest.approx(43.48955, abs=5e-6)


def test_half_pounds_as_whole_numbers_give_the_same_variance() -> None:
    total, squares = int(HALF_POUNDS.sum()), int((HALF_POUNDS**2).sum())
    assert variance_of_sums(125, total, squares) / 4 == pytest.approx(6.682322580645161, rel=1e-15)


def test_each_column_has_its_mean_and_variance() -> None:
    total = np.nansum(GRID, axis=0)
    squares = np.nansum(GRID**2, axis=0)
    assert total.tolist() == [98, 139, 131, 156, 219]
    assert mean_of_sums(25, total) == pytest.approx([3.92, 5.56, 5.24, 6.24, 8.76])
    variances = [1.5975, 3.4858333, 4.0233333, 1.8566667, 10.2733333]
    assert variance_of_sums(25, total, squares) == pytest.approx(variances, abs=5e-8)


def test_drawing_more_vines_narrows_the_standard_error() -> None:
    variance = variance_of_sums(125, 743.0, 5245.0)
    drawn = np.array([10, 20, 25, 30])
    errors = standard_error_of_mean(variance, drawn, finite_correction(drawn, 125))
    assert errors == pytest.approx([0.7840750, 0.5297712, 0.4624222, 0.4114432], abs=5e-8)


def test_columns_as_strata_beat_a_simple_sample() -> None:
    variances = variance_of_sums(25, np.nansum(GRID, axis=0), np.nansum(GRID**2, axis=0))
    of_means = standard_error_of_mean(variances, 5, finite_correction(5, 25)) ** 2
    weights = np.full(5, 25)
    assert np.sqrt(stratified_variance(weights, of_means)) == pytest.approx(0.3686661, abs=5e-8)
    assert stratified_mean(weights, np.nansum(GRID, axis=0) / 25) == pytest.approx(5.944)


def test_every_fifth_vine_gives_the_five_systematic_means() -> None:
    sums = [VINES[systematic_positions(125, 5, start) - 1].sum() for start in range(1, 6)]
    assert sums == [167.5, 149.0, 145.0, 136.5, 145.0]
    assert mean_of_sums(25, sums) == pytest.approx([6.70, 5.96, 5.80, 5.46, 5.80])
    assert (5 * np.array(sums)).tolist() == [837.5, 745, 725, 682.5, 725]


def test_sample_sizes_follow_from_the_variation() -> None:
    cv = coefficient_of_variation(5.944, 6.682322580645161)
    errors = np.array([0.05, 0.10, 0.15, 0.20])
    unlimited = size_for_relative_error(cv, errors, normal_quantile(95))
    assert unlimited == pytest.approx([290.620, 72.655, 32.291, 18.164], abs=5e-4)
    assert np.ceil(size_for_relative_error(cv, errors, normal_quantile(95), 125)).tolist() == [88, 46, 26, 16]


def test_bearing_vines_and_planted_places_give_different_yields() -> None:
    crop_t = 743.0 * float(POUND_KG) / 1000
    bearing, places = (planted_area_ha(vines, 10 * FOOT_M, 8 * FOOT_M) for vines in (125, 155))
    per_ton = float(TON_PER_ACRE_T_PER_HA)
    assert yield_t_per_ha(crop_t, bearing) / per_ton == pytest.approx(1.618254, abs=5e-7)
    assert yield_t_per_ha(crop_t, places) / per_ton == pytest.approx(1.305044, abs=5e-7)
    assert vines_per_acre(10, 8) == pytest.approx(544.5)


def test_two_way_sums_of_squares_show_the_strong_column() -> None:
    rows = GRID[~np.isnan(GRID).any(axis=1)]
    n_rows, n_columns = rows.shape
    total = ((rows - rows.mean()) ** 2).sum()
    of_rows = n_columns * variance_of_sums(n_rows, rows.mean(axis=1).sum(), (rows.mean(axis=1) ** 2).sum())
    of_columns = n_rows * variance_of_sums(n_columns, rows.mean(axis=0).sum(), (rows.mean(axis=0) ** 2).sum())
    assert total == pytest.approx(828.608, abs=5e-4)
    assert of_rows * (n_rows - 1) == pytest.approx(130.708, abs=5e-4)
    assert of_columns * (n_columns - 1) == pytest.approx(318.928, abs=5e-4)
    error = total - of_rows * (n_rows - 1) - of_columns * (n_columns - 1)
    mean_square = error / ((n_rows - 1) * (n_columns - 1))
    assert mean_square == pytest.approx(3.947625, abs=5e-7)
    assert of_rows / mean_square == pytest.approx(1.37961, abs=5e-6)
    assert of_columns / mean_square == pytest.approx(20.19746, abs=5e-6)
