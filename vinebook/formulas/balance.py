"""Crop against wood and leaf."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.formulas._inputs import as_given, not_negative, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

G_PER_KG = 1000.0


def yield_to_prunings(crop_kg: ArrayLike, prunings_kg: ArrayLike) -> FloatArray:
    """Give crop ÷ prunings: the crop of a season over the wood of that same season, weighed at the pruning after it.

    Values far above the usual bands are real (54.8 on minimally pruned vines): they are flagged elsewhere and never
    refused. It is a ratio of totals or means, not the mean of ratios of single vines.

    Parameters
    ----------
    crop_kg : array_like
        Crop per bearing vine, or of the same vines in all [kg], any shape.
    prunings_kg : array_like
        One-year-old prunings on the same basis [kg].

    Returns
    -------
    ndarray
        Yield to prunings [kg/kg], broadcast shape; NaN where `prunings_kg` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Komm and Moyer, Washington State University EM086E (definition); Kliewer and Dokoozlian, 2005, American Journal of
    Enology and Viticulture 56: 170-181, table 4.

    Examples
    --------
    >>> print(f"{yield_to_prunings(9.8, 1.30):.1f}")
    7.5
    """
    return quotient(not_negative("crop_kg", crop_kg), not_negative("prunings_kg", prunings_kg))


def cane_weight_g(prunings_kg: ArrayLike, canes: ArrayLike) -> FloatArray:
    """Give the mean mass of a cane: prunings ÷ canes weighed.

    Parameters
    ----------
    prunings_kg : array_like
        Prunings [kg], any shape.
    canes : array_like
        Canes they consist of [1].

    Returns
    -------
    ndarray
        Mass of a cane [g], broadcast shape; NaN where `canes` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Kliewer and Dokoozlian, 2005, American Journal of Enology and Viticulture 56: 170-181, table 4 (inputs).

    Examples
    --------
    >>> print(f"{cane_weight_g(1.30, 36):.1f}")
    36.1
    """
    return quotient(G_PER_KG * not_negative("prunings_kg", prunings_kg), not_negative("canes", canes))


def leaf_area_to_fruit_m2_per_kg(leaf_area_m2: ArrayLike, crop_kg: ArrayLike) -> FloatArray:
    """Give leaf area ÷ crop. One m²/kg is 10 cm²/g.

    Parameters
    ----------
    leaf_area_m2 : array_like
        Leaf area per vine, laterals included [m²], any shape.
    crop_kg : array_like
        Crop per vine [kg].

    Returns
    -------
    ndarray
        Leaf area to fruit [m²/kg], broadcast shape; NaN where `crop_kg` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Kliewer and Dokoozlian, 2005, American Journal of Enology and Viticulture 56: 170-181, table 4.

    Examples
    --------
    >>> print(f"{leaf_area_to_fruit_m2_per_kg(16.2, 9.8):.2f}")
    1.65
    """
    return quotient(not_negative("leaf_area_m2", leaf_area_m2), not_negative("crop_kg", crop_kg))


def per_metre(amount_per_vine: ArrayLike, length_m_per_vine: ArrayLike) -> FloatArray:
    """Give an amount per vine as an amount per metre of its row or of its canopy.

    The caller says which length it is: a divided canopy has more canopy than row.

    Parameters
    ----------
    amount_per_vine : array_like
        Shoots, nodes or mass per bearing vine [1 or kg], any shape.
    length_m_per_vine : array_like
        Row or canopy of a vine [m].

    Returns
    -------
    ndarray
        Amount per metre [1/m or kg/m], broadcast shape; NaN where the length is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    American Vineyard Foundation, influence of canopy density, Chardonnay 1996-1998 (14 to 40 shoots per vine).

    Examples
    --------
    >>> print(f"{per_metre(14, 1.524):.1f}")
    9.2
    """
    amount = not_negative("amount_per_vine", amount_per_vine)
    return as_given(quotient(amount, not_negative("length_m_per_vine", length_m_per_vine)))
