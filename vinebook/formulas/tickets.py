"""Weigh tickets, and must figures over loads."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, numbers, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from vinebook.formulas._inputs import FloatArray


def rounded_to_scale(mass: ArrayLike, interval: ArrayLike) -> NDArray[Any]:
    """Give a mass as a scale prints it: to the nearest interval, halves up.

    Whole numbers (thousandths of the printed unit) stay whole and are rounded exactly.

    Parameters
    ----------
    mass : array_like
        Mass before rounding [any mass unit], any shape.
    interval : array_like
        Scale interval [same unit].

    Returns
    -------
    ndarray
        Mass as printed [same unit], broadcast shape, integer where both inputs are.

    Raises
    ------
    ValueError
        If `mass` is negative, `interval` not above zero, or an input infinite.

    References
    ----------
    Measurement Canada, Laboratory manual for non-automatic weighing devices, part 2 section 8, LG-8.01.

    Examples
    --------
    >>> print(rounded_to_scale(45_006, 10))
    45010
    """
    masses, steps = np.asarray(mass), np.asarray(interval)
    not_negative("mass", masses)
    if (numbers("interval", steps) <= 0).any():
        raise ValueError("interval must be above zero")
    if masses.dtype.kind in "iu" and steps.dtype.kind in "iu":
        exact: NDArray[Any] = ((2 * masses + steps) // (2 * steps) * steps)[()]
        return exact
    return as_given(np.floor(numbers("mass", masses) / steps + 0.5) * steps)


def ticket_net(gross: ArrayLike, tare: ArrayLike, interval: ArrayLike) -> NDArray[Any]:
    """Give the net of a ticket: the difference of gross and tare, each rounded to the scale interval.

    A net that was kept apart is never rounded by itself: the printed figures must add up.

    Parameters
    ----------
    gross : array_like
        Gross before rounding [any mass unit], any shape.
    tare : array_like
        Tare before rounding [same unit].
    interval : array_like
        Scale interval [same unit].

    Returns
    -------
    ndarray
        Net as printed [same unit], broadcast shape, integer where all inputs are.

    Raises
    ------
    ValueError
        If `gross` or `tare` is negative, `interval` not above zero, or the tare exceeds the gross.

    References
    ----------
    Measurement Canada, Laboratory manual for non-automatic weighing devices, part 2 section 8, LG-8.01.

    Examples
    --------
    >>> print(ticket_net(45_006, 20_004, 10))
    25010
    """
    net: NDArray[Any] = rounded_to_scale(gross, interval) - rounded_to_scale(tare, interval)
    if (np.asarray(net) < 0).any():
        raise ValueError("tare exceeds gross")
    return net


def mass_weighted_mean(values: ArrayLike, masses_kg: ArrayLike) -> FloatArray:
    """Give the mean of must figures over loads, weighted by mass. Not for pH, which is a mean of readings.

    Parameters
    ----------
    values : array_like
        Must figure of each load [°Brix or g/L], loads on the last axis; NaN for a load without one.
    masses_kg : array_like
        Net mass of each load [kg].

    Returns
    -------
    ndarray
        Weighted mean [unit of `values`] of the loads that have a value, shape without the last axis; NaN where none
        has one.

    Raises
    ------
    ValueError
        If a mass is negative, or an input infinite.

    References
    ----------
    California Department of Food and Agriculture, Final Grape Crush Report 2003 (tables of weighted average °Brix).

    Examples
    --------
    >>> print(mass_weighted_mean([22.0, 24.0, float("nan")], [3000, 1000, 500]))
    22.5
    """
    figures, masses = np.broadcast_arrays(numbers("values", values), not_negative("masses_kg", masses_kg))
    known = ~np.isnan(figures)
    weights = np.where(known, masses, 0.0)
    return quotient(np.sum(weights * np.where(known, figures, 0.0), axis=-1), np.sum(weights, axis=-1))
