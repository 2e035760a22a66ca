"""Vines, rows and canopy on an area, from spacings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.formulas._inputs import as_given, not_negative, positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

M2_PER_HA = 10_000.0
FT2_PER_ACRE = 43_560.0


def vines_per_ha(row_spacing_m: ArrayLike, vine_spacing_m: ArrayLike) -> FloatArray:
    """Give vine positions per hectare from the spacings.

    It leaves out headlands and the ends of rows: a counted block need not agree. Spacings in feet are converted
    exactly before they are divided, never from metres that were rounded to a tenth.

    Parameters
    ----------
    row_spacing_m : array_like
        Distance between rows [m], any shape.
    vine_spacing_m : array_like
        Distance between vines in the row [m].

    Returns
    -------
    ndarray
        Positions per hectare, not rounded [1/ha], broadcast shape.

    Raises
    ------
    ValueError
        If a spacing is not above zero or infinite.

    References
    ----------
    BC Wine Grape Council, Best Practices Guide, Crop estimation, table of vines per acre and hectare.

    Examples
    --------
    >>> print(f"{vines_per_ha(9 * 0.3048, 6 * 0.3048):.0f}")
    1993
    """
    row_m, vine_m = positive("row_spacing_m", row_spacing_m), positive("vine_spacing_m", vine_spacing_m)
    return as_given(M2_PER_HA / (row_m * vine_m))


def vines_per_acre(row_spacing_ft: ArrayLike, vine_spacing_ft: ArrayLike) -> FloatArray:
    """Give vine positions per acre from the spacings.

    It leaves out headlands and the ends of rows: a counted block need not agree.

    Parameters
    ----------
    row_spacing_ft : array_like
        Distance between rows [ft], any shape.
    vine_spacing_ft : array_like
        Distance between vines in the row [ft].

    Returns
    -------
    ndarray
        Positions per acre, not rounded [1/acre], broadcast shape.

    Raises
    ------
    ValueError
        If a spacing is not above zero or infinite.

    References
    ----------
    BC Wine Grape Council, Best Practices Guide, Crop estimation, table of vines per acre and hectare.

    Examples
    --------
    >>> print(f"{vines_per_acre(9, 6):.0f}")
    807
    """
    row_ft, vine_ft = positive("row_spacing_ft", row_spacing_ft), positive("vine_spacing_ft", vine_spacing_ft)
    return as_given(FT2_PER_ACRE / (row_ft * vine_ft))


def row_m_per_ha(row_spacing_m: ArrayLike) -> FloatArray:
    """Give the length of row on one hectare.

    Parameters
    ----------
    row_spacing_m : array_like
        Distance between rows [m], any shape.

    Returns
    -------
    ndarray
        Row [m/ha], shape of `row_spacing_m`.

    Raises
    ------
    ValueError
        If `row_spacing_m` is not above zero or infinite.

    References
    ----------
    Arithmetic: 10,000 m² divided by the spacing.

    Examples
    --------
    >>> print(row_m_per_ha(2.5))
    4000.0
    """
    return as_given(M2_PER_HA / positive("row_spacing_m", row_spacing_m))


def row_ft_per_acre(row_spacing_ft: ArrayLike) -> FloatArray:
    """Give the length of row on one acre.

    Parameters
    ----------
    row_spacing_ft : array_like
        Distance between rows [ft], any shape.

    Returns
    -------
    ndarray
        Row [ft/acre], shape of `row_spacing_ft`.

    Raises
    ------
    ValueError
        If `row_spacing_ft` is not above zero or infinite.

    References
    ----------
    Arithmetic: 43,560 square feet divided by the spacing.

    Examples
    --------
    >>> print(row_ft_per_acre(9))
    4840.0
    """
    return as_given(FT2_PER_ACRE / positive("row_spacing_ft", row_spacing_ft))


def planted_area_ha(positions: ArrayLike, row_spacing_m: ArrayLike, vine_spacing_m: ArrayLike) -> FloatArray:
    """Give the planted area: positions times row spacing times vine spacing.

    Empty places count; headlands do not. It stands beside a surveyed area and does not replace it.

    Parameters
    ----------
    positions : array_like
        Vine positions, missing ones included [1], any shape.
    row_spacing_m : array_like
        Distance between rows [m].
    vine_spacing_m : array_like
        Distance between vines in the row [m].

    Returns
    -------
    ndarray
        Area [ha], broadcast shape.

    Raises
    ------
    ValueError
        If `positions` is negative, a spacing not above zero, or an input infinite.

    References
    ----------
    Arithmetic: the inverse of `vines_per_ha`.

    Examples
    --------
    >>> print(planted_area_ha(4000, 2.5, 1.0))
    1.0
    """
    row_m, vine_m = positive("row_spacing_m", row_spacing_m), positive("vine_spacing_m", vine_spacing_m)
    return as_given(not_negative("positions", positions) * row_m * vine_m / M2_PER_HA)


def area_of_rows_ha(rows: ArrayLike, row_spacing_m: ArrayLike, row_length_m: ArrayLike) -> FloatArray:
    """Give the area of equal rows: rows times spacing times length.

    Parameters
    ----------
    rows : array_like
        Rows [1], any shape.
    row_spacing_m : array_like
        Distance between rows [m].
    row_length_m : array_like
        Length of a row [m].

    Returns
    -------
    ndarray
        Area [ha], broadcast shape.

    Raises
    ------
    ValueError
        If `rows` or `row_length_m` is negative, `row_spacing_m` not above zero, or an input infinite.

    References
    ----------
    A winery's planting log of 2004: 36 rows at 9 ft, 400 ft long, are 2.98 acres.

    Examples
    --------
    >>> print(f"{area_of_rows_ha(36, 9 * 0.3048, 400 * 0.3048):.3f}")
    1.204
    """
    length_m = not_negative("rows", rows) * not_negative("row_length_m", row_length_m)
    return as_given(length_m * positive("row_spacing_m", row_spacing_m) / M2_PER_HA)


def canopy_m_per_vine(vine_spacing_m: ArrayLike, curtains: ArrayLike) -> FloatArray:
    """Give the canopy length of a vine: vine spacing times curtains.

    A divided canopy counts every curtain. Vines without a row canopy have none: give NaN for them.

    Parameters
    ----------
    vine_spacing_m : array_like
        Distance between vines in the row [m], any shape.
    curtains : array_like
        Curtains of the canopy [1].

    Returns
    -------
    ndarray
        Canopy per vine [m], broadcast shape.

    Raises
    ------
    ValueError
        If `vine_spacing_m` or `curtains` is not above zero or infinite.

    References
    ----------
    Smart and Robinson, 1991, Sunlight into Wine (from memory); the factor 2 follows from the table of six training
    systems in the American Journal of Enology and Viticulture (Kliewer and Dokoozlian, 2005, 56: 170-181, table 3).

    Examples
    --------
    >>> print(canopy_m_per_vine(2.0, 2))
    4.0
    """
    return as_given(positive("vine_spacing_m", vine_spacing_m) * positive("curtains", curtains))
