"""From a weight in the season to one at harvest: growth factors, what they were, and what the next may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, numbers, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

G_PER_T = 1_000_000.0
LAG_PHASE_DAYS = (50, 55)
"""Days from full bloom; S. Price, Oregon, early 1990s, reported by W. Wolfe."""


def growth_factor(harvest_cluster_g: ArrayLike, cluster_now_g: ArrayLike) -> FloatArray:
    """Give cluster mass at harvest ÷ cluster mass at a stage before it.

    Both of hand-cut clusters: machine-picked fruit lacks the rachis.

    Parameters
    ----------
    harvest_cluster_g : array_like
        Mass of a cluster at harvest [g], any shape.
    cluster_now_g : array_like
        Mass of a cluster at the stage [g].

    Returns
    -------
    ndarray
        Growth factor [1], broadcast shape; NaN where `cluster_now_g` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Fiola, University of Maryland Extension, Crop Estimation: lag and harvest weights, kept per block.

    Examples
    --------
    >>> print(growth_factor(150, 75))
    2.0
    """
    return quotient(not_negative("harvest_cluster_g", harvest_cluster_g), not_negative("cluster_now_g", cluster_now_g))


def crop_to_come_t(
    vines_bearing: ArrayLike,
    clusters_per_vine: ArrayLike,
    cluster_now_g: ArrayLike,
    factor: ArrayLike = 2.0,
    share_picked: ArrayLike = 1.0,
) -> FloatArray:
    """Give the crop to come: bearing vines × clusters per vine × cluster mass now × growth factor × share picked.

    Parameters
    ----------
    vines_bearing : array_like
        Vines that bear [1], any shape.
    clusters_per_vine : array_like
        Clusters on a bearing vine [1].
    cluster_now_g : array_like
        Mass of a cluster at the stage [g].
    factor : array_like, default 2.0
        Growth factor from that stage to harvest [1]; the default is the rule of thumb for lag phase.
    share_picked : array_like, default 1.0
        Share of the crop that is picked [1].

    Returns
    -------
    ndarray
        Crop to come [t], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Price, Oregon, early 1990s, as reported by Wolfe, Predicting wine grape crops, Good Fruit Grower; Fiola, University
    of Maryland Extension, Crop Estimation.

    Examples
    --------
    >>> print(crop_to_come_t(1000, 30, 62.5))
    3.75
    """
    crop = not_negative("vines_bearing", vines_bearing) * not_negative("clusters_per_vine", clusters_per_vine)
    crop = crop * not_negative("cluster_now_g", cluster_now_g) * not_negative("factor", factor)
    return as_given(crop * not_negative("share_picked", share_picked) / G_PER_T)


def days_off_lag_phase(days_after_bloom: ArrayLike) -> FloatArray:
    """Give how many days a weighing lies before (below zero) or after (above zero) the days of lag phase.

    Parameters
    ----------
    days_after_bloom : array_like
        Days from full bloom to the weighing [d], any shape.

    Returns
    -------
    ndarray
        Days before day 50, below zero, or after day 55 [d]; 0 between them.

    Raises
    ------
    ValueError
        If `days_after_bloom` is infinite.

    References
    ----------
    Price, Oregon, as reported by Wolfe: lag phase 50-55 days after bloom. Maryland has about 55 days after first bloom
    (Fiola), a textbook chapter 50-60.

    Examples
    --------
    >>> print(days_off_lag_phase([47, 50, 55, 60]))
    [-3.  0.  0.  5.]
    """
    days = numbers("days_after_bloom", days_after_bloom)
    first, last = LAG_PHASE_DAYS
    return as_given(np.minimum(days - first, 0) + np.maximum(days - last, 0))


def estimate_error_percent(estimate: ArrayLike, crop: ArrayLike) -> FloatArray:
    """Give how far an estimate lay from the crop that came: above zero where too much was expected.

    Parameters
    ----------
    estimate : array_like
        Crop expected [any mass unit], any shape.
    crop : array_like
        Crop that came [same unit].

    Returns
    -------
    ndarray
        Estimate less crop [% of the crop], broadcast shape; NaN where `crop` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Dunn, 2016, Yield prediction: any closer to getting it right? (industry error as percent of the crop).

    Examples
    --------
    >>> print(f"{estimate_error_percent(3.3, 3.0):.0f}")
    10
    """
    came = not_negative("crop", crop)
    return as_given(100 * quotient(not_negative("estimate", estimate) - came, came))
