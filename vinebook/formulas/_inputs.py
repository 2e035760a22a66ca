"""What the formulas ask of their inputs, and how they divide."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

FloatArray: TypeAlias = NDArray[np.float64]


def numbers(name: str, values: ArrayLike) -> FloatArray:
    """Give values as float64; infinite ones raise ValueError, NaN stands for an undefined value."""
    array = np.asarray(values, dtype=np.float64)
    if np.isinf(array).any():
        raise ValueError(f"{name} must be finite")
    return array


def not_negative(name: str, values: ArrayLike) -> FloatArray:
    """Give values as float64, refusing those below zero."""
    array = numbers(name, values)
    if (array < 0).any():
        raise ValueError(f"{name} must not be negative")
    return array


def positive(name: str, values: ArrayLike) -> FloatArray:
    """Give values as float64, refusing zero and those below."""
    array = numbers(name, values)
    if (array <= 0).any():
        raise ValueError(f"{name} must be above zero")
    return array


def fraction(name: str, values: ArrayLike) -> FloatArray:
    """Give values as float64, refusing those outside 0 to 1."""
    array = numbers(name, values)
    if ((array < 0) | (array > 1)).any():
        raise ValueError(f"{name} must lie between 0 and 1")
    return array


def sample_size(name: str, values: ArrayLike) -> FloatArray:
    """Give numbers of vines, panels or loads as float64, refusing negative and fractional ones."""
    array = not_negative(name, values)
    if ((array != np.floor(array)) & ~np.isnan(array)).any():
        raise ValueError(f"{name} must be whole")
    return array


def population_size(drawn: FloatArray, population: ArrayLike) -> FloatArray:
    """Give a population as float64, infinite allowed, refusing one smaller than its sample."""
    array = np.asarray(population, dtype=np.float64)
    if (array <= 0).any():
        raise ValueError("population must be above zero")
    if (drawn > array).any():
        raise ValueError("drawn must not exceed population")
    return array


def possible_covariance(covariance: FloatArray, x: FloatArray, v_x: FloatArray, y: FloatArray, v_y: FloatArray) -> None:
    """Refuse a covariance that two variances do not allow, by more than the rounding of sums near x and y."""
    if (np.abs(covariance) > np.sqrt(v_x * v_y) * (1 + 1e-9) + 1e-9 * np.abs(x * y)).any():
        raise ValueError("covariance is larger than the two variances allow")


def quotient(numerator: ArrayLike, denominator: ArrayLike) -> FloatArray:
    """Divide, giving NaN where the denominator is zero."""
    top, bottom = np.broadcast_arrays(np.asarray(numerator, np.float64), np.asarray(denominator, np.float64))
    result = np.full(top.shape, np.nan)
    np.divide(top, bottom, out=result, where=bottom != 0)
    return as_given(result)


def as_given(array: NDArray[Any]) -> FloatArray:
    """Give a scalar for scalars and an array for arrays."""
    given: FloatArray = np.asarray(array, dtype=np.float64)[()]
    return given


def exact_sums(**sums: ArrayLike) -> tuple[tuple[int, ...], list[NDArray[Any]]]:
    """Give the shape of the sums together, and each as a flat array that does not overflow.

    Whole numbers become Python integers, so that products of them are exact. As soon as one of the sums has
    fractions all become long doubles.
    """
    arrays = np.broadcast_arrays(*(np.asarray(value) for value in sums.values()))
    for name, array in zip(sums, arrays, strict=True):
        if array.dtype.kind not in "iufO":
            raise ValueError(f"{name} must be numbers")
        if array.dtype.kind == "f" and np.isinf(array).any():
            raise ValueError(f"{name} must be finite")
    if all(array.dtype.kind in "iu" or _is_whole_objects(array) for array in arrays):
        return arrays[0].shape, [_python_integers(array) for array in arrays]
    return arrays[0].shape, [array.astype(np.longdouble).reshape(-1) for array in arrays]


def spread_of_sums(spread: NDArray[Any], scale: NDArray[Any]) -> NDArray[Any]:
    """Give a sum of squared deviations, refusing one below zero by more than rounding."""
    allowed = 0 if spread.dtype == object else 1e-12 * np.abs(scale)
    if (spread < -allowed).any():
        raise ValueError("the sums cannot belong to the same sample: the spread comes out negative")
    clipped: NDArray[Any] = np.where((spread < 0).astype(bool), 0, spread)
    return clipped


def divided(numerator: NDArray[Any], denominator: NDArray[Any], shape: tuple[int, ...]) -> FloatArray:
    """Divide exact sums once, at the end, giving NaN where the denominator is not above zero."""
    defined = (denominator > 0).astype(bool)
    safe = np.where(defined, denominator, 1)
    return as_given(np.where(defined, (numerator / safe).astype(np.float64), np.nan).reshape(shape))


def whole(name: str, values: NDArray[Any]) -> NDArray[Any]:
    """Give exact sample sizes, refusing negative and fractional ones."""
    if values.dtype != object:
        sample_size(name, values)
    elif (values < 0).any():
        raise ValueError(f"{name} must not be negative")
    return values


def _is_whole_objects(array: NDArray[Any]) -> bool:
    return array.dtype == object and all(value == int(value) for value in array.reshape(-1))


def _python_integers(array: NDArray[Any]) -> NDArray[Any]:
    flat = array.reshape(-1)
    if flat.dtype != object:
        return flat.astype(object)
    whole_numbers = np.empty(flat.shape, dtype=object)
    whole_numbers[:] = [int(value) for value in flat]
    return whole_numbers
