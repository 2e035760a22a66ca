"""Where the tables of a history begin."""

from __future__ import annotations

from vinebook.reports.tables import CROP_AND_WOOD, VINES_AND_SHOOTS, SeasonFigures, season_table
from vinebook.seasons.model import Figure


def test_the_season_before_the_record_stands_only_in_the_table_of_its_wood() -> None:
    figures = SeasonFigures(
        [
            Figure("A1", 2015, "prunings_per_vine", 1.0, "kg", note="before the record's first season"),
            Figure("A1", 2016, "prunings_per_vine", 1.1, "kg"),
            Figure("A1", 2016, "vines_bearing", 900.0, "vines"),
        ]
    )
    wood = season_table("Wood", CROP_AND_WOOD, figures, (2015, 2016), "metric")
    vines = season_table("Vines", VINES_AND_SHOOTS, figures, (2015, 2016), "metric")
    assert wood is not None
    assert vines is not None
    assert [row[0].text for row in wood.rows] == ["2015", "2016"]
    assert [row[0].text for row in vines.rows] == ["2016"]
