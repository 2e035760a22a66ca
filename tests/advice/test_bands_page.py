"""The guide's page on published bands is what they say."""

from __future__ import annotations

from vinebook.advice.bands import band_sets
from vinebook.advice.bands_page import bands_page
from vinebook.resources import guide_folder

RENEW = "run `python -m tests.advice.test_bands_page` to write the page anew"


def test_the_page_is_current() -> None:
    assert (guide_folder() / "bands.md").read_text(encoding="utf-8") == bands_page(), RENEW


def test_the_page_tells_every_band_with_source_and_mark() -> None:
    page = " ".join(bands_page().split())
    for one in band_sets().values():
        assert f"## {one.name} " in page
        for band in one.bands:
            assert f"**{band.figure}**" in page
            assert band.source in page
    assert "**prunings_per_m**: 0.5–1 kg/m = 0.336–0.672 lb/ft (single canopy)." in page
    assert "Sunlight into Wine (from memory)." in page
    assert "low is under 0.5, high over 2." in page


if __name__ == "__main__":
    (guide_folder() / "bands.md").write_text(bands_page(), encoding="utf-8")
