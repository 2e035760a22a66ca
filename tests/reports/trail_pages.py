"""A book whose decisions were met, missed and superseded, and one that waits; its trail made still for kept pages."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, TypeVar, cast

from tests.audit.trails import choice, decided, harvest, settle, trail, visit, wood
from vinebook.audit.deciding import decide
from vinebook.intake.amending import amend
from vinebook.intake.typed import add_record

if TYPE_CHECKING:
    from tests.desk import Desk
    from vinebook.reports.render import Page
    from vinebook.seasons.trail_model import Trail

    Told = TypeVar("Told")

SEAL = "0123456789abcdef" * 4
RECORDED = "2026-01-02T03:04:05Z"
UNTOLD = "sold to nobody yet"
STILL = {"recorded_at": RECORDED, "at": RECORDED, "as_of": RECORDED, "seal": SEAL}


def tell_a_story(desk: Desk) -> Desk:
    """Decide for 2024 and 2025, pick, prune, correct; a decision of A2 that no page of A1 may tell."""
    settle(desk)
    decided(desk)
    decided(
        desk,
        2024,
        decides="cluster_thinning",
        value="",
        expect=("prunings_per_vine", "0.4", "0.5"),
        words="one a shoot",
    )
    desk.load_texts(**harvest(2024, 1800), wood25=wood("2025-01-12"), visit25=visit(2025, "2025-01-11"))
    last = desk.stored("pruned_vine")[25]["record"]
    amend(desk.book, "pruned_vine", f"#{last}", {"prunings": "0.3 kg"}, reason="the scale stood wrong", by="RM")
    first = decided(
        desk, 2025, value="16", decided_on="2025-01-08", expect=("yield_to_prunings", "3", "6"), words="sixteen nodes"
    )
    again = choice(value="18", decided_on="2025-01-09", words="18 nodes", reason="first word was hasty", expect=None)
    decide(desk.book, None, None, again, by="RQ", supersedes=first.key)
    decided(
        desk, 2025, decides="shoot_thinning", value="", expect=("yield_to_prunings", "5", "8"), review_on="2026-01-15"
    )
    hidden = choice(words=UNTOLD, decides="pruning_form", value="", expect=None)
    decide(desk.book, "A2", 2024, hidden, by="RQ")
    values = {"number": "2023-1A", "gross": "1950", "tare": "900", "net": "1050"}
    add_record(desk.book, "load", values, by="RM", supersedes="Bridge/2023/2023-1", reason="misread")
    return desk


def still(thing: Told) -> Told:
    """Give what was told with the times of this run put to one moment."""
    if isinstance(thing, tuple):
        return cast("Told", tuple(still(one) for one in thing))
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        changed = {
            field.name: STILL.get(field.name) or still(getattr(thing, field.name))
            for field in dataclasses.fields(thing)
        }
        return cast("Told", dataclasses.replace(thing, **changed))
    return thing


def story_of(desk: Desk) -> Trail:
    """Give the trail of A1, made still."""
    return still(trail(desk, "A1"))


def page_of_story(desk: Desk, units: str = "metric", paper: str = "a4") -> Page:
    """Give the page of A1's trail, made still."""
    from vinebook.reports.trail import trail_page

    return trail_page(
        story_of(desk),
        "Long Bank",
        "Low Terrace",
        units=units,  # type: ignore[arg-type]
        paper=paper,  # type: ignore[arg-type]
        program="vinebook 0",
    )
