"""Draws are fair, seeded and repeatable; shares add up; walks turn at the end of a row; precision is what comes."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.published.test_vine_grid import GRID, VINES
from vinebook.formulas.drawing import drawn_at_random, places_met, random_start, shared_out, walking_order
from vinebook.formulas.precision import expected_half_width, least_size, panel_cv, pooled_cv
from vinebook.formulas.quantiles import t_quantile
from vinebook.formulas.sampling import stratified_mean, systematic_positions

SETS = 10_000


def test_every_pair_of_five_comes_up_alike_often() -> None:
    pairs = Counter(tuple(drawn_at_random(5, 2, seed).tolist()) for seed in range(SETS))
    assert len(pairs) == 10
    # Four standard deviations of a count of 1000.
    assert all(abs(count - 1000) < 4 * np.sqrt(1000 * 0.9) for count in pairs.values())


def test_every_start_comes_up_alike_often() -> None:
    starts = Counter(random_start(7, seed) for seed in range(7000))
    assert sorted(starts) == [1, 2, 3, 4, 5, 6, 7]
    assert all(abs(count - 1000) < 4 * np.sqrt(1000 * 6 / 7) for count in starts.values())


def test_a_recorded_seed_draws_the_same_vines_again() -> None:
    assert drawn_at_random(1404, 6, 7).tolist() == drawn_at_random(1404, 6, 7).tolist()
    # These stand in books that were kept: another outcome would be another draw.
    assert drawn_at_random(100, 5, 7).tolist() == [7, 33, 38, 97, 99]
    assert random_start(43, 106247) == 22


@given(st.integers(2, 300), st.integers(0, 10**9), st.data())
def test_a_larger_draw_of_a_seed_holds_the_smaller(population: int, seed: int, data: st.DataObject) -> None:
    more = data.draw(st.integers(1, population))
    fewer = data.draw(st.integers(0, more))
    large, small = drawn_at_random(population, more, seed), drawn_at_random(population, fewer, seed)
    assert set(small.tolist()) <= set(large.tolist())
    assert len(set(large.tolist())) == more
    assert large.min() >= 1
    assert large.max() <= population


def test_parts_do_not_share_their_chance() -> None:
    assert drawn_at_random(1000, 10, 7, 0).tolist() != drawn_at_random(1000, 10, 7, 1).tolist()


@pytest.mark.parametrize(("population", "drawn", "seed"), [(5, 6, 0), (5, -1, 0), (5, 2, -1)])
def test_a_draw_that_cannot_be_is_refused(population: int, drawn: int, seed: int) -> None:
    with pytest.raises(ValueError, match="must"):
        drawn_at_random(population, drawn, seed)


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=12), st.integers(0, 400))
def test_shares_add_up_and_no_part_is_left_out(weights: list[int], more: int) -> None:
    drawn = 2 * len(weights) + more
    shares = shared_out(drawn, weights)
    assert shares.sum() == drawn
    assert shares.min() >= 2


def test_parts_of_one_size_share_alike() -> None:
    assert shared_out(20, [300, 300, 300, 300]).tolist() == [5, 5, 5, 5]
    with pytest.raises(ValueError, match="least"):
        shared_out(7, [1, 1, 1, 1])
    with pytest.raises(ValueError, match="zero"):
        shared_out(8, [0, 0])


def test_a_walk_goes_up_one_row_and_down_the_next_that_holds_a_vine() -> None:
    row, vine = [1, 1, 4, 4, 9], [3, 40, 2, 50, 8]
    order = walking_order(row, vine)
    assert [(row[at], vine[at]) for at in order] == [(1, 3), (1, 40), (4, 50), (4, 2), (9, 8)]


def test_a_row_numbered_from_the_other_end_is_walked_the_other_way() -> None:
    order = walking_order([1, 1, 2, 2], [3, 40, 2, 50], [False, False, True, True])
    assert order.tolist() == [0, 1, 2, 3]


def test_a_step_meets_only_places_without_a_common_factor() -> None:
    for period in range(1, 13):
        for step in range(1, 40):
            met = {position % period for position in range(0, step * period * 2, step)}
            assert places_met(step, period) == len(met)


@given(st.floats(0.02, 1.5), st.floats(0.01, 0.9), st.integers(4, 3000), st.integers(1, 2))
def test_the_fewest_vines_are_enough_and_one_fewer_is_not(cv: float, error: float, population: int, parts: int) -> None:
    least = least_size(cv, error, population, parts=parts)
    assert expected_half_width(cv, least, population, parts=parts) <= error * (1 + 1e-9)
    if least > 2 * parts:
        assert expected_half_width(cv, least - 1, population, parts=parts) > error * (1 - 1e-9)


def test_about_four_samples_in_ten_come_out_wider_than_expected() -> None:
    n, cv = 20, float(VINES.std(ddof=1) / VINES.mean())
    expected = float(expected_half_width(cv, n, len(VINES)))
    t = float(t_quantile(n - 1))
    wider = 0
    for seed in range(4000):
        drawn = VINES[drawn_at_random(len(VINES), n, seed) - 1]
        half = t * drawn.std(ddof=1) / np.sqrt(n) * np.sqrt(1 - n / len(VINES))
        wider += half / drawn.mean() > expected
    assert 0.37 < wider / 4000 < 0.47


def test_panels_of_the_grid_differ_as_their_likeness_says() -> None:
    # Panels of three neighbours down a column; its likeness from the mean squares between and within them.
    panels = np.array(
        [
            GRID[at : at + 3, column]
            for column in range(5)
            for at in range(0, 29, 3)
            if not np.isnan(GRID[at : at + 3, column]).any()
        ]
    )
    within = ((panels - panels.mean(axis=1, keepdims=True)) ** 2).sum() / (len(panels) * 2)
    between = 3 * panels.mean(axis=1).var(ddof=1)
    likeness = (between - within) / (between + 2 * within)
    assert 0.3 < likeness < 0.5
    total = (between + 2 * within) / 3
    cv = np.sqrt(total) / panels.mean()
    assert panel_cv(cv, 3, likeness) == pytest.approx(panels.mean(axis=1).std(ddof=1) / panels.mean(), rel=1e-12)


def test_samples_pool_by_their_degrees_of_freedom() -> None:
    assert pooled_cv([30, 40], [5, 5]) == pytest.approx(np.sqrt((900 + 1600) / 2))
    assert pooled_cv([30, 40], [0, 9]) == pytest.approx(40)
    assert np.isnan(pooled_cv([30], [0]))


def test_columns_drawn_for_themselves_beat_draws_of_the_whole_grid() -> None:
    columns = [column[~np.isnan(column)] for column in GRID.T]
    simple, by_columns = [], []
    for seed in range(2000):
        simple.append(VINES[drawn_at_random(125, 25, seed) - 1].mean())
        means = [
            column[drawn_at_random(25, 5, seed, stream) - 1].mean() for stream, column in enumerate(columns, start=1)
        ]
        by_columns.append(float(stratified_mean([25] * 5, means)))
    assert np.mean(simple) == pytest.approx(5.944, abs=0.04)
    assert np.mean(by_columns) == pytest.approx(5.944, abs=0.04)
    # The standard errors that the variances of the grid give: 0.4624 and 0.3687.
    assert np.std(simple) == pytest.approx(0.4624222, rel=0.06)
    assert np.std(by_columns) == pytest.approx(0.3686661, rel=0.06)


def test_a_random_start_gives_one_of_the_five_systematic_totals_of_the_grid() -> None:
    totals = {5 * VINES[systematic_positions(125, 5, random_start(5, seed)) - 1].sum() for seed in range(100)}
    assert totals == {837.5, 745.0, 725.0, 682.5}
