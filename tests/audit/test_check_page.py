"""The guide's page on `check` is what the rules say."""

from __future__ import annotations

from vinebook.audit.check import RULES
from vinebook.audit.check_page import check_page
from vinebook.resources import guide_folder

RENEW = "run `python -m tests.audit.test_check_page` to write the page anew"


def test_the_page_is_current() -> None:
    assert (guide_folder() / "check.md").read_text(encoding="utf-8") == check_page(), RENEW


def test_the_page_tells_every_rule_with_its_limits_and_their_source() -> None:
    page = check_page()
    for rule in RULES.values():
        assert f"**{rule.name}**: {rule.looks_for}\n\n- why it matters: {rule.why}\n" in page
        assert not rule.limits or f"- limits: {rule.limits}\n" in page
        assert not rule.source or f"- source: {rule.source}\n" in page


if __name__ == "__main__":
    (guide_folder() / "check.md").write_text(check_page(), encoding="utf-8")
