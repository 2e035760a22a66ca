"""Crop from its components, and how far it lies from the crop weighed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.formulas._inputs import as_given, fraction, not_negative, quotient

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from vinebook.formulas._inputs import FloatArray

G_PER_KG = 1000.0
G_PER_T = 1_000_000.0


def bearing_vines(positions: ArrayLike, missing_share: ArrayLike) -> FloatArray:
    """Give the vines that bear, from positions less the share that is missing or does not bear.

    Parameters
    ----------
    positions : array_like
        Vine positions [1], any shape.
    missing_share : array_like
        Share missing or not bearing, as a fraction [1].

    Returns
    -------
    ndarray
        Bearing vines, not rounded [1], broadcast shape.

    Raises
    ------
    ValueError
        If `positions` is negative, or `missing_share` not between 0 and 1.

    References
    ----------
    Dami, Ohio State University, How to Estimate Grape Yields: 6 by 9 ft, 807 vines per acre, 5 % missing.

    Examples
    --------
    >>> print(f"{bearing_vines(807, 0.05):.0f}")
    767
    """
    return as_given(not_negative("positions", positions) * (1 - fraction("missing_share", missing_share)))


def cluster_weight_g(mass_kg: ArrayLike, clusters: ArrayLike) -> FloatArray:
    """Give the mean mass of a cluster: mass of the lots ÷ their clusters.

    Parameters
    ----------
    mass_kg : array_like
        Mass of the weighed lots [kg], any shape.
    clusters : array_like
        Clusters in them [1].

    Returns
    -------
    ndarray
        Mass of a cluster, rachis included [g], broadcast shape; NaN where `clusters` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Kliewer and Dokoozlian, 2005, American Journal of Enology and Viticulture 56: 170-181, table 4 (inputs).

    Examples
    --------
    >>> print(f"{cluster_weight_g(9.8, 69):.0f}")
    142
    """
    return quotient(G_PER_KG * not_negative("mass_kg", mass_kg), not_negative("clusters", clusters))


def berries_per_cluster(cluster_weight_g: ArrayLike, berry_weight_g: ArrayLike) -> FloatArray:
    """Give cluster mass ÷ berry mass. The rachis is in it, about one berry in twenty.

    Parameters
    ----------
    cluster_weight_g : array_like
        Mass of a cluster [g], any shape.
    berry_weight_g : array_like
        Mass of a berry [g].

    Returns
    -------
    ndarray
        Berries per cluster [1], broadcast shape; NaN where `berry_weight_g` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Oakville trial of spur, hedge and minimal pruning, 1988-1991, four-year means (item of the Sonoma County Library).

    Examples
    --------
    >>> print(f"{berries_per_cluster(120, 1.19):.1f}")
    100.8
    """
    return quotient(not_negative("cluster_weight_g", cluster_weight_g), not_negative("berry_weight_g", berry_weight_g))


def berry_loss_kg_per_vine(
    clusters_per_vine: ArrayLike, berries_per_cluster: ArrayLike, loss_g_per_berry: ArrayLike
) -> FloatArray:
    """Give the crop that lighter berries cost a vine.

    Parameters
    ----------
    clusters_per_vine : array_like
        Clusters on a vine [1], any shape.
    berries_per_cluster : array_like
        Berries in a cluster [1].
    loss_g_per_berry : array_like
        Mass missing from each berry [g].

    Returns
    -------
    ndarray
        Crop lost [kg per vine], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Martinson and Gerling (editors), 2016, Veraison to Harvest 1, Cornell University.

    Examples
    --------
    >>> print(berry_loss_kg_per_vine(80, 30, 0.5))
    1.2
    """
    berries = not_negative("clusters_per_vine", clusters_per_vine)
    berries = berries * not_negative("berries_per_cluster", berries_per_cluster)
    return as_given(berries * not_negative("loss_g_per_berry", loss_g_per_berry) / G_PER_KG)


def yield_kg_per_vine_of_components(
    shoots_per_vine: ArrayLike, clusters_per_shoot: ArrayLike, cluster_weight_g: ArrayLike
) -> FloatArray:
    """Give the yield of a vine from its components: shoots × clusters per shoot × cluster mass.

    A product of means: where a trial's own means do not close it says so and corrects nothing.

    Parameters
    ----------
    shoots_per_vine : array_like
        Shoots on a vine [1], any shape.
    clusters_per_shoot : array_like
        Clusters on a shoot [1].
    cluster_weight_g : array_like
        Mass of a cluster [g].

    Returns
    -------
    ndarray
        Yield [kg per vine], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Oakville trial of spur, hedge and minimal pruning, 1988-1991, four-year means (item of the Sonoma County Library).

    Examples
    --------
    >>> print(f"{yield_kg_per_vine_of_components(72, 121 / 72, 120):.2f}")
    14.52
    """
    clusters = not_negative("shoots_per_vine", shoots_per_vine)
    clusters = clusters * not_negative("clusters_per_shoot", clusters_per_shoot)
    return as_given(clusters * not_negative("cluster_weight_g", cluster_weight_g) / G_PER_KG)


def crop_t_of_components(
    vines_bearing: ArrayLike, clusters_per_vine: ArrayLike, cluster_weight_g: ArrayLike
) -> FloatArray:
    """Give the crop of a block: bearing vines × clusters per vine × cluster mass.

    Parameters
    ----------
    vines_bearing : array_like
        Vines that bear [1], any shape.
    clusters_per_vine : array_like
        Clusters on a bearing vine [1].
    cluster_weight_g : array_like
        Mass of a cluster [g].

    Returns
    -------
    ndarray
        Crop [t], broadcast shape.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Dami, Ohio State University, How to Estimate Grape Yields (tons per acre = vines × clusters × lb ÷ 2000).

    Examples
    --------
    >>> print(crop_t_of_components(1000, 30, 125))
    3.75
    """
    clusters = not_negative("vines_bearing", vines_bearing) * not_negative("clusters_per_vine", clusters_per_vine)
    return as_given(clusters * not_negative("cluster_weight_g", cluster_weight_g) / G_PER_T)


def yield_t_per_ha(crop_t: ArrayLike, area_ha: ArrayLike) -> FloatArray:
    """Give crop ÷ area. The caller says whether the area is planted or surveyed.

    Parameters
    ----------
    crop_t : array_like
        Crop [t], any shape.
    area_ha : array_like
        Area [ha].

    Returns
    -------
    ndarray
        Yield [t/ha], broadcast shape; NaN where `area_ha` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Strickland, 1932, A vine uniformity trial, Journal of Agriculture, Victoria 30: 584-593 (inputs).

    Examples
    --------
    >>> print(yield_t_per_ha(18.0, 1.5))
    12.0
    """
    return quotient(not_negative("crop_t", crop_t), not_negative("area_ha", area_ha))


def component_check_percent(crop_of_components: ArrayLike, crop: ArrayLike) -> FloatArray:
    """Give how far the crop worked out from counts lies from the crop: a warning, never a correction.

    Parameters
    ----------
    crop_of_components : array_like
        Crop from shoots, clusters per shoot and cluster mass [any mass unit], any shape.
    crop : array_like
        Crop weighed [same unit].

    Returns
    -------
    ndarray
        Difference, components less crop [% of the crop], broadcast shape; NaN where `crop` is 0.

    Raises
    ------
    ValueError
        If an input is negative or infinite.

    References
    ----------
    Oakville trial of spur, hedge and minimal pruning, 1988-1991: the third treatment does not close.

    Examples
    --------
    >>> print(f"{component_check_percent(24.302, 21.3):.1f}")
    14.1
    """
    weighed = not_negative("crop", crop)
    return as_given(100 * quotient(not_negative("crop_of_components", crop_of_components) - weighed, weighed))
