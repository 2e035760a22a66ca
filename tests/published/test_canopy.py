"""Point quadrat, shoot density and growth stages against what references give; see canopy.toml for the rest."""

from __future__ import annotations

import pytest

from vinebook.advice.bands import judged
from vinebook.formulas.area import planted_area_ha, vines_per_acre
from vinebook.formulas.canopy import gap_percent, interior_percent, leaf_layer_number, probe_counts
from vinebook.formulas.nodes import clusters_per_shoot, noncount_shoot_percent
from vinebook.kinds.field import BBCH_CODES
from vinebook.quantities import US_OF_METRIC
from vinebook.seasons.context import BlockContext
from vinebook.seasons.model import Figure

TEN = ["LL", "LCL", "G", "L", "LLCL", "C", "LLL", "G", "LC", "CLL"]
FIFTY = [
    word
    for word, probes in {"G": 15, "L": 8, "LL": 9, "LLL": 4, "LC": 4, "LCL": 5, "LLCL": 2, "C": 3}.items()
    for _ in range(probes)
]


@pytest.mark.parametrize(
    ("probes", "sums", "shares"),
    [(TEN, (2, 14, 5, 3, 2), (20.0, 1.40, 21.43, 40.0)), (FIFTY, (15, 58, 14, 6, 7), (30.0, 1.16, 10.34, 50.0))],
)
def test_a_transect_gives_the_indices_counted_by_hand(
    probes: list[str], sums: tuple[int, ...], shares: tuple[float, ...]
) -> None:
    gaps, leaves, clusters, interior_leaves, interior_clusters = (int(each.sum()) for each in probe_counts(probes))
    assert (gaps, leaves, clusters, interior_leaves, interior_clusters) == sums
    worked_out = (
        gap_percent(gaps, len(probes)),
        leaf_layer_number(leaves, len(probes)),
        interior_percent(interior_leaves, leaves),
        interior_percent(interior_clusters, clusters),
    )
    assert worked_out == pytest.approx(shares, abs=0.005)


def test_stems_are_left_out_and_a_lone_contact_is_exterior() -> None:
    counts = probe_counts(["SLS", "S", "LSL", "CCL", "C", ""])
    assert counts.gaps.tolist() == [0, 1, 0, 0, 0, 1]
    assert counts.leaves.tolist() == [1, 0, 2, 1, 0, 0]
    assert counts.interior_leaves.tolist() == [0] * 6
    assert counts.interior_clusters.tolist() == [0, 0, 0, 1, 0, 0]


def test_without_leaves_clusters_or_probes_there_is_no_share() -> None:
    assert interior_percent(0, 0) != interior_percent(0, 0)
    assert gap_percent(0, 0) != gap_percent(0, 0)
    assert leaf_layer_number(0, 0) != leaf_layer_number(0, 0)


@pytest.mark.parametrize("word", ["LXL", "LGL", "l", "GG"])
def test_an_unknown_letter_is_refused(word: str) -> None:
    with pytest.raises(ValueError, match="letters L, C and S"):
        probe_counts([word])


def test_shoot_density_converts_as_printed() -> None:
    factor = US_OF_METRIC["shoots/m"].factor
    assert [density * factor for density in (15, 10, 12, 18, 30)] == pytest.approx(
        [4.57, 3.05, 3.66, 5.49, 9.14], abs=0.005
    )
    assert [density / factor for density in (3, 4, 5, 6)] == pytest.approx([9.84, 13.12, 16.40, 19.69], abs=0.005)


def test_yield_per_foot_of_row_converts_as_printed() -> None:
    """American Vineyard Foundation, crop load study in Oregon: 1.13 lb a foot in 2017, 0.93 on average of six years."""
    factor = US_OF_METRIC["kg/m"].factor
    assert [per_ft / factor for per_ft in (1.13, 0.93)] == pytest.approx([1.682, 1.384], abs=0.0005)


def test_non_count_shoots_bear_their_share_of_the_clusters() -> None:
    """20 shoots with 40 clusters: 12 count shoots bear 30, 8 non-count shoots 10; the counts are invented."""
    of_shoots = float(noncount_shoot_percent(12, 0, 8))
    assert 100 - of_shoots == pytest.approx(60)
    assert of_shoots * clusters_per_shoot(10, 8) / clusters_per_shoot(40, 20) == pytest.approx(25)


@pytest.mark.parametrize(
    ("figure", "unit", "value", "reading"),
    [
        ("leaf_layer_number", "layers", 1.0, "within"),
        ("leaf_layer_number", "layers", 1.5, "within"),
        ("leaf_layer_number", "layers", 1.51, "above"),
        ("interior_cluster_share", "%", 40.0, "within"),
        ("interior_cluster_share", "%", 40.1, "above"),
        ("leaf_area_to_fruit", "m²/kg", 0.4, "below"),
        ("leaf_area_to_fruit", "m²/kg", 0.6, "not judged"),
        ("leaf_area_to_fruit", "m²/kg", 1.0, "within"),
        ("leaf_area_to_fruit", "m²/kg", 1.5, "not judged"),
        ("leaf_area_to_fruit", "m²/kg", 2.5, "above"),
        ("gap_share", "%", 40.0, "not judged"),
    ],
)
def test_a_canopy_reads_by_one_named_guideline(figure: str, unit: str, value: float, reading: str) -> None:
    """WineSkills: leaf layers 1 to 1.5, 60 % of clusters exposed, leaf to fruit in classes with holes at 5–8 and 12–20.

    For gaps it gives one number, 40 %, and no band; one number judges nothing.
    """
    block = BlockContext(((2000, None, "Grey Hen"),), ((2000, 1),), (), "WineSkills")
    known = Figure(block="A1", season=2019, figure=figure, unit=unit, value=value, low=None, high=None)
    assert judged(known, block).reading == reading


def test_a_square_acre_holds_399_vines_where_the_formula_gives_396() -> None:
    """University of New Hampshire, kiwiberry guide: 19 rows of 210 ft at 11 ft, 10 ft in the row."""
    assert vines_per_acre(11, 10) == pytest.approx(396, abs=0.5)
    acre_ha = 0.40468564224
    assert planted_area_ha(399, 11 * 0.3048, 10 * 0.3048) / acre_ha == pytest.approx(399 / 396)


SOUGHT = [f"{number:02}" for number in range(100)]
PUBLISHED_BBCH = [
    *("00", "01", "03", "05", "07", "09"),
    *("11", "12", "13", "14", "15", "16", "17", "18", "19"),
    *("53", "55", "57", "60", "61", "62", "63", "64", "65", "66", "67", "68", "69"),
    *("71", "73", "75", "77", "79", "81", "83", "85", "89", "91", "92", "93", "95", "97", "99"),
]


def test_the_growth_stages_are_those_of_the_published_list() -> None:
    """Lorenz et al. 1994/1995; Meier, BBCH monograph."""
    assert sorted(BBCH_CODES) == PUBLISHED_BBCH
    not_listed = "02 04 06 08 10 50 51 52 54 56 58 59 70 72 74 76 78 80 82 84 86 87 88 90 94 96 98"
    left_over = [code for code in SOUGHT if code not in BBCH_CODES and code[0] not in "234"]
    assert left_over == not_listed.split(" ")
    assert "9" not in BBCH_CODES
