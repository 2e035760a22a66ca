"""The quantile of Student's t against SciPy's, over all degrees of freedom that figures may have, and beyond."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from vinebook.formulas.quantiles import normal_quantile, t_quantile

WHOLE = np.arange(1.0, 3000.0)
BROKEN = np.random.default_rng(24).uniform(0.5, 400.0, 2000)
LARGE = np.array([1e4, 123_456.7, 1e6, 1e9, 1e15, 1e300])


@pytest.mark.parametrize("level", [5, 50, 80, 90, 95, 99, 99.9, 99.9999])
@pytest.mark.parametrize("df", [WHOLE, BROKEN, LARGE], ids=["whole", "broken", "large"])
def test_t_is_scipys_to_twelve_digits(df: np.ndarray, level: float) -> None:
    expected = stats.t.isf((100 - level) / 200, df)
    np.testing.assert_allclose(t_quantile(df, level), expected, rtol=1e-12)


@pytest.mark.parametrize("level", [5, 50, 95, 99.9999])
def test_the_normal_quantile_is_scipys(level: float) -> None:
    assert normal_quantile(level) == pytest.approx(stats.norm.isf((100 - level) / 200), rel=1e-14)


def test_one_and_two_degrees_of_freedom_have_closed_forms() -> None:
    assert t_quantile(1) == pytest.approx(np.tan(0.475 * np.pi), rel=1e-13)
    assert t_quantile(2) == pytest.approx(0.95 * np.sqrt(2 / (4 * 0.975 * 0.025)), rel=1e-13)


def test_an_infinite_df_is_the_normal_one_and_none_is_undefined() -> None:
    found = t_quantile([np.inf, 0.0, -1.0, np.nan, 24.0])
    assert found[0] == normal_quantile()
    assert np.isnan(found[1:4]).all()
    assert found[4] == t_quantile(24)


def test_shapes_are_kept() -> None:
    assert np.shape(t_quantile([[3, 4, 3], [24, 3, 5]])) == (2, 3)
    assert np.shape(t_quantile([])) == (0,)
    assert np.ndim(t_quantile(7)) == 0


def test_a_quantile_does_not_depend_on_those_it_is_asked_with() -> None:
    df = np.concatenate([BROKEN, WHOLE[:200]])
    assert t_quantile(df)[::50].tolist() == [float(t_quantile(one)) for one in df[::50]]
