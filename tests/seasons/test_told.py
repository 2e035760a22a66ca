"""What is told beside the figures: one measured vine, and the facts of work, stages, estimates and decisions."""

from __future__ import annotations

import pytest

from tests.seasons.books import Book, day
from vinebook.seasons.history import block_history
from vinebook.seasons.model import BearerFacts
from vinebook.seasons.told import mean_spacing_m, measured_vine


def measure(book: Book, sample: int, vine: int, places_cm: list[float], end_cm: float | None = 60.0) -> None:
    """Record the spurs of one arm of a vine, and its end unless it was not measured."""
    rows: list[dict[str, object]] = [{"bearer": "spur", "distance_m": at / 100, "nodes": 2} for at in places_cm]
    if end_cm is not None:
        rows.append({"bearer": "end_of_arm", "distance_m": end_cm / 100})
    for number, row in enumerate(rows, 1):
        book.add("bearer", sample=sample, row=1, vine=vine, bearer_number=number, arm=1, **row)


def test_the_median_vine_by_its_spacing_stands_for_the_sample(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2024, "bearer", "2024-05-26")
    measure(book, sample, 3, [10, 30, 50])
    measure(book, sample, 5, [10, 22, 34])
    measure(book, sample, 9, [10, 20, 30])
    found = measured_vine(book.connection, block)
    assert found is not None
    assert (found.season, found.date, found.row, found.vine, found.of_vines) == (2024, day("2024-05-26"), 1, 5, 3)
    assert [b.what for b in found.bearers] == ["spur", "spur", "spur", "end_of_arm"]
    assert [b.distance_m for b in found.bearers] == pytest.approx([0.10, 0.22, 0.34, 0.60])


def test_a_vine_measured_to_its_ends_comes_before_one_that_is_not(book: Book) -> None:
    block = book.block()
    sample = book.sample(block, 2024, "bearer", "2024-05-26")
    measure(book, sample, 3, [10, 22], end_cm=None)
    measure(book, sample, 5, [10, 40])
    found = measured_vine(book.connection, block)
    assert found is not None
    assert (found.vine, found.of_vines) == (5, 1)


def test_the_latest_sample_that_was_measured_along_an_arm_is_drawn(book: Book) -> None:
    block = book.block()
    measure(book, book.sample(block, 2023, "bearer", "2023-05-26"), 3, [10, 22])
    later = book.sample(block, 2024, "bearer", "2024-05-26")
    book.add("bearer", sample=later, row=1, vine=4, bearer_number=1, bearer="head_spur", nodes=2)
    found = measured_vine(book.connection, block)
    assert found is not None
    assert found.season == 2023


def test_without_two_spurs_on_an_arm_there_is_no_vine_to_draw(book: Book) -> None:
    block = book.block()
    assert measured_vine(book.connection, block) is None
    measure(book, book.sample(block, 2024, "bearer", "2024-05-26"), 3, [10])
    assert measured_vine(book.connection, block) is None


def test_spacing_is_the_mean_over_the_arms_and_two_spurs_at_one_place_are_one() -> None:
    def spur(arm: int, at_m: float | None) -> BearerFacts:
        return BearerFacts("spur", arm, at_m, 2, None, None, None)

    bearers = [spur(1, 0.1), spur(1, 0.1), spur(1, 0.2), spur(2, 0.0), spur(2, 0.3), spur(2, None), spur(0, 0.5)]
    assert mean_spacing_m(bearers) == pytest.approx(0.2)
    assert mean_spacing_m([]) is None


def test_a_history_carries_work_stages_estimates_and_decisions_of_its_block_alone(book: Book) -> None:
    block, other = book.block(), book.block(code="B2")
    for number in (block, other):
        book.add("canopy_work", block=number, season=2024, work="hedging", started_on=day("2024-07-01"), side="both")
        book.add("growth_stage", block=number, season=2024, date=day("2024-06-10"), scale="BBCH", code="09")
        book.add(
            "maturity_sample", block=number, season=2024, date=day("2024-09-10"), number=1, sampled="berries", ph=3.2
        )
        book.add("certification", block=number, scheme="Careful", status="certified", valid_from=day("2022-03-01"))
        book.add(
            "crop_estimate",
            block=number,
            season=2024,
            date=day("2024-08-09"),
            given_to="Winery",
            stage="set",
            method="by eye",
            estimate_milli=2500,
            low_milli=2000,
            high_milli=3000,
            level=80.0,
            mass_unit="ton",
        )
        book.add(
            "decision",
            block=number,
            season=2024,
            number=1,
            decided_on=day("2024-01-08"),
            decides="nodes_to_keep",
            value=16.0,
            words="16 nodes",
            reason="small wood",
            decided_by="HM",
        )
    history = block_history(book.connection, "A1")
    assert [(w.work, w.side, w.finished_on) for w in history.passes] == [("hedging", "both", None)]
    assert [(s.code, s.share_percent) for s in history.stages] == [("09", None)]
    assert [(r.ph, r.soluble_solids_brix) for r in history.ripening] == [(3.2, None)]
    assert [(c.status, c.certificate, c.valid_to) for c in history.certifications] == [("certified", "", None)]
    (estimate,) = history.estimates
    assert (estimate.estimate_t, estimate.low_t, estimate.high_t) == pytest.approx((2.26796185, 1.81436948, 2.72155422))
    (decision,) = history.decisions
    assert (decision.value, decision.reason, decision.expected_figure) == (16.0, "small wood", "")
