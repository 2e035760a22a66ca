"""The section on spurs and canes: a table by season, small charts, and the latest measured cordon drawn to scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.reports import drawing
from vinebook.reports.figure_charts import Chart, Grid, season_grid, seasons_with
from vinebook.reports.numbers import Units, with_unit
from vinebook.reports.svg import INK
from vinebook.reports.tables import Table, Wish, season_table
from vinebook.reports.words import join_words, write_day

if TYPE_CHECKING:
    from vinebook.reports.tables import SeasonFigures
    from vinebook.seasons.model import BearerFacts, BlockHistory, MeasuredVine

WISHES = (
    Wish("spurs_per_vine", "Spurs", "Wood kept"),
    Wish("canes_per_vine", "Canes", "Wood kept"),
    Wish("spur_spacing", "Spacing", "Along the arms"),
    Wish("spur_spacing_within_share", "Gaps within", "Along the arms"),
    Wish("longest_bare_cordon", "Longest bare", "Along the arms"),
    Wish("shoots_per_spur", "Shoots", "Shoots"),
    Wish("bud_mortality", "Dead buds", "Buds"),
)
OF_THE_SECTION = (
    "spur_spacing",
    "spur_spacing_within_share",
    "longest_bare_cordon",
    "shoots_per_spur",
    "bud_mortality",
)
CHARTS = tuple((name, INK) for name in OF_THE_SECTION if name != "spur_spacing_within_share")


@dataclass(frozen=True, slots=True)
class Spurs:
    """What the section shows; a part that the block has no rows for is empty.

    Attributes
    ----------
    table : a row a season.
    charts : small charts by season.
    cordon : the drawing.
    """

    table: Table | None
    charts: Grid
    cordon: Chart | None

    @property
    def images(self) -> list[Chart]:
        """All pictures of the section."""
        return [*self.charts.charts, *([self.cordon] if self.cordon else [])]


def spurs_section(history: BlockHistory, figures: SeasonFigures, units: Units, width_pt: float) -> Spurs | None:
    """Make the section; None where nothing of it was counted.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    width_pt : width of the text column.
    """
    seasons = seasons_with(OF_THE_SECTION, figures, history.seasons)
    if not seasons and history.cordon is None:
        return None
    table = (
        season_table("Spurs and canes by season", WISHES, figures, seasons, units, names_missed=False)
        if seasons
        else None
    )
    charts = season_grid(CHARTS, figures, history.seasons, units, width_pt)
    return Spurs(table, charts, _cordon(history, units, width_pt))


def _cordon(history: BlockHistory, units: Units, width_pt: float) -> Chart | None:
    vine = history.cordon
    if vine is None:
        return None
    arms = arms_of(vine)
    if not arms:
        return None
    bare = max(
        ((*arm.longest_bare_m, arm.name) for arm in arms if arm.longest_bare_m),
        key=lambda stretch: stretch[1] - stretch[0],
        default=None,
    )
    trained = [t for t in history.trainings if t.from_season <= vine.season]
    is_hanging = bool(trained) and trained[-1].shoot_position == "down"
    unit = "cm" if units == "metric" else "in"
    longest = ""
    if bare is not None:
        length = with_unit(drawing.length_words(bare[1] - bare[0], units), unit)
        longest = f"the longest bare stretch, shaded, is {length} on {bare[2]}"
    counted = _counted(vine)
    said = "; ".join(part for part in (counted, longest) if part)
    of = (
        f"the median of {vine.of_vines} measured vines by its spur spacing"
        if vine.of_vines > 1
        else "the vine measured"
    )
    note = f"Row {vine.row}, vine {vine.vine}, {write_day(vine.date)}: {of}. {said[:1].upper()}{said[1:]}."
    return Chart(
        "cordon.svg",
        f"A cordon of {vine.season}, to scale",
        f"dimensions in {'centimetres' if units == 'metric' else 'inches'}",
        f"Drawing of a vine with {join_words([_arm_words(arm, units) for arm in arms])}. {note}",
        drawing.draw_cordons(arms, width_pt, units, longest=bare, is_hanging=is_hanging),
        note,
    )


def arms_of(vine: MeasuredVine) -> tuple[drawing.Arm, ...]:
    """Give the arms of a vine as they are drawn; bearers of the head have no place on them.

    Parameters
    ----------
    vine : the vine.
    """
    found: dict[int, list[BearerFacts]] = {}
    for bearer in vine.bearers:
        if bearer.arm and bearer.distance_m is not None:
            found.setdefault(bearer.arm, []).append(bearer)
    return tuple(
        drawing.Arm(
            f"arm {number}",
            next((b.distance_m for b in bearers if b.what == "end_of_arm"), None),
            tuple(_drawn(b) for b in bearers if b.what != "end_of_arm"),
        )
        for number, bearers in sorted(found.items())
    )


def _drawn(bearer: BearerFacts) -> drawing.Bearer:
    nodes = bearer.nodes if bearer.nodes is not None else bearer.count_shoots or 1
    shoots = None
    if bearer.count_shoots is not None:
        shoots = drawing.Shoots(
            bearer.count_shoots,
            bearer.double_shoots or 0,
            bearer.noncount_shoots or 0,
            max(nodes - bearer.count_shoots, 0),
        )
    return drawing.Bearer(bearer.distance_m or 0.0, nodes, shoots, is_cane=bearer.what == "cane")


def _counted(vine: MeasuredVine) -> str:
    """Say how many bearers the vine has and what grew on them."""
    bearers = [b for b in vine.bearers if b.what != "end_of_arm"]
    parts = []
    for what, one, many in (
        ("spur", "spur", "spurs"),
        ("cane", "cane", "canes"),
        ("renewal_spur", "renewal spur", "renewal spurs"),
        ("head_spur", "spur on the head", "spurs on the head"),
    ):
        number = sum(b.what == what for b in bearers)
        if number:
            parts.append(f"{number} {one if number == 1 else many}")
    words = join_words(parts)
    if all(b.count_shoots is not None for b in bearers) and bearers:
        count = sum(b.count_shoots or 0 for b in bearers)
        double = sum(b.double_shoots or 0 for b in bearers)
        noncount = sum(b.noncount_shoots or 0 for b in bearers)
        words += f" with {count} count, {double} double and {noncount} non-count shoots"
    return words


def _arm_words(arm: drawing.Arm, units: Units) -> str:
    places = ", ".join(drawing.length_words(bearer.at_m, units) for bearer in arm.bearers)
    end = f", its end at {drawing.length_words(arm.end_m, units)}" if arm.end_m else ""
    return f"{arm.name}, bearers at {places or 'no place'}{end}"
