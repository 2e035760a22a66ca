"""The canopy as a rod meets it, and shoots along it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vinebook.formulas._inputs import as_given, not_negative, positive, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from vinebook.formulas._inputs import FloatArray

GAP = "G"
_CONTACTS = re.compile("[LCS]*")


class ProbeCounts(NamedTuple):
    """What probes met, probe by probe.

    Parameters
    ----------
    gaps : ndarray
        1 where the rod met neither leaf nor cluster, else 0 [1].
    leaves, clusters : ndarray
        Contacts with leaves and clusters [1].
    interior_leaves, interior_clusters : ndarray
        Those of them between the first and the last contact of their probe [1].
    """

    gaps: NDArray[np.int64]
    leaves: NDArray[np.int64]
    clusters: NDArray[np.int64]
    interior_leaves: NDArray[np.int64]
    interior_clusters: NDArray[np.int64]


def probe_counts(contacts: ArrayLike) -> ProbeCounts:
    """Count what probes met; the first, the last and a lone contact of a probe are exterior.

    Stems are left out before anything is counted: a probe that met stems only is a gap. In CCL the second cluster is
    interior, although it hangs in the fruit zone.

    Parameters
    ----------
    contacts : array_like
        Contacts of each probe in order, as letters [1]: L leaf, C cluster, S stem; G or nothing for a gap.

    Returns
    -------
    ProbeCounts
        Counts [1], one a probe.

    Raises
    ------
    ValueError
        If a letter is none of these.

    References
    ----------
    Smart and Robinson, 1991, Sunlight into Wine (from memory: which contact is exterior).

    Examples
    --------
    >>> counts = probe_counts(["LL", "LCL", "G", "L"])
    >>> print(counts.leaves.sum(), counts.interior_clusters.sum(), counts.gaps.sum())
    5 1 1
    """
    words, back = np.unique(np.atleast_1d(np.asarray(contacts, dtype=np.str_)), return_inverse=True)
    rows = np.array([_count(str(word)) for word in words], dtype=np.int64).reshape(-1, 5)
    return ProbeCounts(*rows[back.reshape(-1)].T)


def _count(word: str) -> tuple[int, int, int, int, int]:
    if word == GAP:
        word = ""
    if not _CONTACTS.fullmatch(word):
        raise ValueError(f"contacts must be letters L, C and S, or G alone: {word}")
    met = word.replace("S", "")
    inside = met[1:-1]
    return int(not met), met.count("L"), met.count("C"), inside.count("L"), inside.count("C")


def gap_percent(gaps: ArrayLike, probes: ArrayLike) -> FloatArray:
    """Give the share of probes that met nothing.

    Parameters
    ----------
    gaps : array_like
        Probes that met neither leaf nor cluster [1], any shape.
    probes : array_like
        All probes [1].

    Returns
    -------
    ndarray
        Gaps [%], broadcast shape; NaN without a probe.

    Raises
    ------
    ValueError
        If an input is negative or infinite, or there are more gaps than probes.

    References
    ----------
    WineSkills, Assessing canopy quality.

    Examples
    --------
    >>> print(gap_percent(2, 10))
    20.0
    """
    return _percent("gaps", gaps, "probes", probes)


def leaf_layer_number(leaves: ArrayLike, probes: ArrayLike) -> FloatArray:
    """Give leaf contacts per probe; gaps stay in the denominator.

    Parameters
    ----------
    leaves : array_like
        Contacts with leaves [1], any shape.
    probes : array_like
        All probes, gaps included [1].

    Returns
    -------
    ndarray
        Leaf layers [1], broadcast shape; NaN without a probe.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    WineSkills, Assessing canopy quality.

    Examples
    --------
    >>> print(leaf_layer_number(14, 10))
    1.4
    """
    return as_given(quotient(not_negative("leaves", leaves), not_negative("probes", probes)))


def interior_percent(interior: ArrayLike, contacts: ArrayLike) -> FloatArray:
    """Give the share of leaves, or of clusters, that are interior.

    Parameters
    ----------
    interior : array_like
        Contacts between the first and the last of their probe [1], any shape.
    contacts : array_like
        All contacts of that kind [1].

    Returns
    -------
    ndarray
        Interior contacts [%], broadcast shape; NaN without a contact: no leaf means no share, not none.

    Raises
    ------
    ValueError
        If an input is negative or infinite, or there are more interior contacts than contacts.

    References
    ----------
    Smart and Robinson, 1991, Sunlight into Wine (from memory).

    Examples
    --------
    >>> print(f"{interior_percent(3, 14):.2f}")
    21.43
    """
    return _percent("interior", interior, "contacts", contacts)


def shoot_density_per_m(shoots: ArrayLike, canopy_m: ArrayLike) -> FloatArray:
    """Give shoots, or nodes, per metre of canopy.

    Parameters
    ----------
    shoots : array_like
        Shoots or nodes [1], any shape.
    canopy_m : array_like
        Canopy that bears them [m].

    Returns
    -------
    ndarray
        Shoots per metre [1/m], broadcast shape.

    Raises
    ------
    ValueError
        If `shoots` is negative, `canopy_m` not above zero, or an input infinite.

    References
    ----------
    Smart, trade article in Wines & Vines: 24 nodes on 5 ft.

    Examples
    --------
    >>> print(f"{shoot_density_per_m(24, 5 * 0.3048):.2f}")
    15.75
    """
    return as_given(not_negative("shoots", shoots) / positive("canopy_m", canopy_m))


def shoot_spacing_cm(shoots_per_m: ArrayLike) -> FloatArray:
    """Give the distance between shoots that stand evenly.

    Parameters
    ----------
    shoots_per_m : array_like
        Shoots per metre of canopy [1/m], any shape.

    Returns
    -------
    ndarray
        Distance [cm], same shape.

    Raises
    ------
    ValueError
        If `shoots_per_m` is not above zero or infinite.

    References
    ----------
    Arithmetic; 15 shoots a metre stand 6.67 cm apart, 18 stand 5.56 cm apart.

    Examples
    --------
    >>> print(f"{shoot_spacing_cm(15):.2f}")
    6.67
    """
    return as_given(100.0 / positive("shoots_per_m", shoots_per_m))


def leaf_height_needed_m(row_spacing_m: ArrayLike, share_of_row: ArrayLike) -> FloatArray:
    """Give the height of foliage that a rule asks for, as a share of the distance between rows.

    Parameters
    ----------
    row_spacing_m : array_like
        Distance between rows [m], any shape.
    share_of_row : array_like
        Height asked for, as a share of it [1].

    Returns
    -------
    ndarray
        Least height of foliage [m], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    French decree amending that of 5 January 1944: foliage at least 0.6 times the distance between rows.

    Examples
    --------
    >>> print(f"{leaf_height_needed_m(1.2, 0.6):.2f}")
    0.72
    """
    return as_given(not_negative("row_spacing_m", row_spacing_m) * not_negative("share_of_row", share_of_row))


def _percent(part_name: str, part: ArrayLike, whole_name: str, whole: ArrayLike) -> FloatArray:
    top, bottom = not_negative(part_name, part), not_negative(whole_name, whole)
    if (top > bottom).any():
        raise ValueError(f"{part_name} must not exceed {whole_name}")
    return as_given(100.0 * quotient(top, bottom))
