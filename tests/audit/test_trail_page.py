"""The guide's page on trails ends with the tables of duties as the code has them."""

from __future__ import annotations

from vinebook.audit.trail_duties import duties_page
from vinebook.resources import guide_folder

RENEW = "run `python -m tests.audit.test_trail_page` to write the tables anew"
FIRST_TABLE = "### "


def test_the_page_is_current() -> None:
    page = (guide_folder() / "trail.md").read_text(encoding="utf-8")
    assert page[page.index(FIRST_TABLE) :] == duties_page(), RENEW


if __name__ == "__main__":
    path = guide_folder() / "trail.md"
    before = path.read_text(encoding="utf-8")
    path.write_text(before[: before.index(FIRST_TABLE)] + duties_page(), encoding="utf-8")
