"""The guide's page on coverage is what the studies found, and the least n of the figures follows from them."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from tests.studies.coverage import (
    ENOUGH_PERCENT,
    METHODS,
    Result,
    least_size,
    read_results,
    run,
)
from tests.studies.coverage_page import coverage_page
from tests.studies.forecasts import BLOCKS, LEVELS, SEASONS, WORLDS, forecasts, read_forecasts
from tests.studies.populations import LIKE_VINES, WILDER, Population
from tests.studies.precision import biases, read_biases, read_realised, realised
from vinebook.resources import guide_folder
from vinebook.seasons.sufficing import EVEN_CV, LEAST, LEAST_SEASONS, METHODS_OF, Way

RENEW = "run `python -m tests.studies.coverage`, some minutes, to do the studies again and write the page anew"
LEAST_DRAWS = 5_000
FEW_DRAWS = 600
ERRORS = 4.5
"""A short run may lie this many of its own errors off: some hundreds of cells are looked at."""


def test_the_page_is_what_the_studies_found() -> None:
    assert (guide_folder() / "coverage.md").read_text(encoding="utf-8") == coverage_page(), RENEW


def test_every_cell_was_tried_often_enough() -> None:
    cells = {(one.method, one.drawn_from, one.n) for one in read_results()}
    wanted = {
        (method.name, name, n)
        for method in METHODS
        for group in (method.like, method.wild)
        for name in group
        for n in method.sizes
    }
    assert cells == wanted, RENEW
    assert min(one.draws for one in read_results()) >= LEAST_DRAWS
    assert min(one.draws for one in read_biases()) >= LEAST_DRAWS
    assert min(one.draws for one in read_realised()) >= LEAST_DRAWS


@functools.cache
def short_run(method: str) -> tuple[Result, ...]:
    """Give the cells of a method, tried a few hundred times."""
    return tuple(run(FEW_DRAWS, [method]))


@pytest.mark.parametrize("method", [method.name for method in METHODS])
def test_a_short_run_agrees_with_the_long_one(method: str) -> None:
    kept = {(one.drawn_from, one.n): one.covers_percent for one in read_results() if one.method == method}
    for one in short_run(method):
        share = kept[one.drawn_from, one.n] / 100
        given = FEW_DRAWS * (1 - one.without_percent / 100)
        error = 100 * np.sqrt(max(share * (1 - share), 0.002) / given)
        assert abs(one.covers_percent - 100 * share) < ERRORS * error, (one, share)


@pytest.mark.parametrize("way", list(LEAST))
def test_the_least_n_of_the_figures_is_the_one_shown(way: Way) -> None:
    for is_like, number in zip((True, False), LEAST[way], strict=True):
        shown = [least_size(read_results(), method, is_like=is_like) for method in METHODS_OF[way]]
        assert None not in shown
        assert max(n for n in shown if n is not None) == number


def test_three_seasons_are_enough_for_an_interval_over_seasons() -> None:
    assert least_size(read_results(), "seasons", is_like=False) == LEAST_SEASONS


def test_parts_hold_from_two_vines_of_each_on() -> None:
    assert least_size(read_results(), "parts", is_like=True) == 6


def test_units_that_are_alike_are_never_enough_when_that_is_left_out() -> None:
    for method in ("nodes as units", "vines of all seasons"):
        assert max(one.covers_percent for one in read_results() if one.method == method) < 80


def test_plain_t_covers_what_is_known_of_it() -> None:
    known = {5: 88, 10: 90, 20: 91, 50: 93}
    found = {
        one.n: one.covers_percent
        for one in read_results()
        if one.method == "plain t" and one.drawn_from == Population("lognormal", 0.8).name
    }
    assert all(abs(found[n] - covers) <= 1 for n, covers in known.items())
    skewed = {
        one.n: one.covers_percent
        for one in read_results()
        if one.method == "plain t" and one.drawn_from == Population("skew 2", 0.4).name
    }
    assert skewed[30] < ENOUGH_PERCENT <= skewed[50]


@pytest.mark.parametrize("population", [*LIKE_VINES, *WILDER], ids=lambda one: f"{one.shape}, {one.name}")
def test_a_population_has_the_mean_spread_and_skew_that_it_names(population: Population) -> None:
    drawn = population.drawn(np.random.default_rng(5), (1_000_000,))
    about = drawn - drawn.mean()
    assert drawn.mean() == pytest.approx(1, abs=0.005)
    assert drawn.std() == pytest.approx(population.cv, rel=0.01)
    assert (about**3).mean() / drawn.std() ** 3 == pytest.approx(population.skew, abs=0.25)


def test_what_counts_as_even_parts_the_two_groups() -> None:
    assert max(one.cv for one in LIKE_VINES) < EVEN_CV < max(one.cv for one in WILDER)


def test_the_bias_of_a_ratio_of_sums_goes_with_one_over_n_and_a_mean_of_ratios_keeps_its_own() -> None:
    found = {(one.estimate, one.cv, one.likeness, one.n): one for one in read_biases()}
    # To first order (v_x - c) / n; both lognormal, independent: c = 0.
    for n in (10, 20, 50):
        one = found["ratio of sums", 0.4, 0.0, n]
        assert one.bias_percent == pytest.approx(100 * 0.4**2 / n, abs=0.25 + 4 * one.error_percent)
    for n in (3, 50):
        one = found["mean of ratios", 0.4, 0.0, n]
        assert one.bias_percent == pytest.approx(100 * 0.4**2, abs=0.4 + 4 * one.error_percent)


def test_short_runs_of_bias_and_precision_agree_with_the_long_ones() -> None:
    kept = {(one.estimate, one.cv, one.likeness, one.n): one for one in read_biases()}
    for bias in biases(FEW_DRAWS):
        one = kept[bias.estimate, bias.cv, bias.likeness, bias.n]
        # Ratios of few vines have long tails: their own error is uncertain too.
        assert abs(bias.bias_percent - one.bias_percent) < 6 * max(bias.error_percent, 4 * one.error_percent)
    told = {(one.cv, one.within, one.cv_from): one for one in read_realised()}
    for precise in realised(FEW_DRAWS):
        long = told[precise.cv, precise.within, precise.cv_from]
        assert abs(precise.vines - long.vines) <= 1
        assert precise.wider_percent == pytest.approx(long.wider_percent, abs=9.5)


def test_about_four_samples_in_ten_come_out_wider_where_the_spread_is_known() -> None:
    wider = [one.wider_percent for one in read_realised() if one.cv_from == "known"]
    assert min(wider) > 35
    assert max(wider) < 45


def test_a_forecast_was_tried_in_every_history() -> None:
    own = [one for one in read_forecasts() if one.way == "seasons as repeats"]
    assert {(one.world, one.seasons, one.blocks, one.level) for one in own} == {
        (world.name, seasons, blocks, level)
        for world in WORLDS
        for seasons in SEASONS
        for blocks in BLOCKS
        for level in LEVELS
    }
    assert min(one.histories for one in own) >= LEAST_DRAWS


def test_a_short_run_of_forecasts_agrees_with_the_long_one() -> None:
    kept = {(one.way, one.world, one.seasons, one.blocks, one.level): one.covers_percent for one in read_forecasts()}
    few = 60
    for one in forecasts(few):
        share = kept[one.way, one.world, one.seasons, one.blocks, one.level] / 100
        error = 100 * np.sqrt(max(share * (1 - share), 0.01) / few)
        assert abs(one.covers_percent - 100 * share) < ERRORS * error, one


def test_forecasts_hold_where_factors_are_as_the_prior_has_them() -> None:
    own = [one for one in read_forecasts() if one.way == "seasons as repeats" and one.world == WORLDS[0].name]
    assert all(one.covers_percent >= one.level for one in own)


def test_block_seasons_pooled_fall_short_with_few_seasons_and_many_blocks() -> None:
    pooled = [
        one.covers_percent
        for one in read_forecasts()
        if one.way == "block-seasons pooled" and one.seasons <= 2 and one.blocks >= 10 and one.level > 90
    ]
    assert pooled
    assert max(pooled) < 93
