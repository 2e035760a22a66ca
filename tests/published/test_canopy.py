"""Point quadrat, shoot density and growth stages against what references give; see canopy.toml for the rest."""

from __future__ import annotations

import pytest

from vinebook.formulas.area import planted_area_ha, vines_per_acre
from vinebook.formulas.canopy import gap_percent, interior_percent, leaf_layer_number, probe_counts
from vinebook.kinds.field import BBCH_CODES
from vinebook.quantities import US_OF_METRIC

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
