"""The counting sheet: drawn vines for clipboard and pencil, thirty to a page, in the order of the form."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from vinebook.reports import fonts
from vinebook.reports.counts_drawing import draw_what_counts
from vinebook.reports.frame import PROGRAM
from vinebook.reports.in_the_row import BOLD, cut, made_from, row_frame
from vinebook.reports.languages import Speech, mark
from vinebook.reports.paper import FORMATS, PT_OF_MM
from vinebook.reports.render import Page, fill_template
from vinebook.reports.words import make_printable

if TYPE_CHECKING:
    from vinebook.reports.numbers import Units
    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import BlockHistory, TrainingFacts
    from vinebook.seasons.row_model import VineToCount

LINES = 30
"""Lines of a page."""
ROW_MM: dict[Paper, float] = {"a4": 7.4, "letter": 6.8}
MARGIN_MM = 49.0
"""Width of the margin with the drawing."""
LINES_OF_A_VINE = {"node_tally": 6, "bearer": 6}
"""Lines that a vine takes where a row of the tally is not a vine but a part of one."""

COLUMNS = {
    "state": mark("State"),
    "spurs": mark("Spurs"),
    "canes": mark("Canes"),
    "renewal_spurs": mark("Renewal spurs"),
    "nodes_on_spurs": mark("Nodes on spurs"),
    "nodes_on_canes": mark("Nodes on canes"),
    "nodes_on_renewal_spurs": mark("Nodes on renewal spurs"),
    "canes_weighed": mark("Canes weighed"),
    "prunings": mark("Prunings"),
    "count_shoots": mark("Count shoots"),
    "double_shoots": mark("Double shoots"),
    "noncount_shoots": mark("Non-count shoots"),
    "blind_nodes": mark("Blind nodes"),
    "bearer": mark("Bearer"),
    "bearer_number": mark("Its number"),
    "position": mark("Position"),
    "shoots": mark("Shoots"),
    "clusters": mark("Clusters"),
    "mass": mark("Mass"),
    "arm": mark("Arm"),
    "distance": mark("Distance"),
    "nodes": mark("Nodes"),
}
"""What a field of the form is called on the sheet."""
NOT_SUMMED = ("state", "bearer", "bearer_number", "position", "arm", "distance")
FOR_THE_WHOLE = ("pruned_by", "wood")
"""Fields that are alike for all vines of a sheet: they are ticked once, at its head."""
ONLY_OF_CANES = ("canes", "renewal_spurs", "nodes_on_canes", "nodes_on_renewal_spurs")
ONLY_OF_SPURS = ("spurs", "nodes_on_spurs")

COUNTED = {
    "pruned_vine": mark("Pruned vines: nodes kept and wood cut"),
    "shoot_tally": mark("Shoots"),
    "cluster_tally": mark("Clusters"),
    "node_tally": mark("Shoots and clusters, node by node"),
    "vine_harvest": mark("Fruit of vines picked one by one"),
    "bearer": mark("Spurs and canes along the arms"),
}
"""What is counted, in words; the kinds that have a sheet."""
CHOSEN = {
    "random": mark("vines drawn at random"),
    "every_kth": mark("every k-th vine"),
    "panels": mark("panels drawn at random"),
}
HOW_TO = {
    "pruned_vine": (
        mark("Count what is left on the vine: every clear node of spurs and canes. The basal bud never counts."),
        mark("Weigh only one-year-old canes cut from this vine, all of them, and write how many they were."),
    ),
    "shoot_tally": (
        mark("Count shoots = count nodes with at least one shoot. A second shoot of the same node is a double."),
        mark("Shoots from the basal bud or from old wood are non-count shoots."),
        mark("Check on the vine: count shoots + blind nodes = nodes left at pruning."),
    ),
    "cluster_tally": (
        mark("Count every cluster of the vine, on count and on non-count shoots; a wing is not a cluster of its own."),
    ),
    "node_tally": (
        mark("One line is one node: 0 is the basal bud, then 1, 2, 3 from the base; old wood is OW."),
        mark("Write a blind node too: shoots 0. Clusters shoot by shoot: 2+1."),
    ),
    "vine_harvest": (mark("Pick all of the vine, count its clusters and weigh them."),),
    "bearer": (
        mark("Walk out along each arm from the head and write every spur, then the end of the arm."),
        mark("Distance is from the head along the arm to the middle of the spur."),
    ),
}
WITH_NODES = ("pruned_vine", "shoot_tally", "node_tally", "bearer", "cluster_tally", "vine_harvest")


@dataclass(frozen=True, slots=True)
class SheetTold:
    """What a sheet is made of.

    Attributes
    ----------
    history : the block.
    season : season that is counted in.
    kind : kind of record that is counted.
    fields : its fields behind row and vine, in the order of the form, each with its unit or "".
    vines : drawn vines in walking order; empty for a sheet to fill in.
    numbered_from : end that vines are numbered from, "" where not known.
    draw_key, chosen : key of the draw and how vines were chosen; "" without a draw.
    training : training in force, None where none is recorded.
    cultivar : of the planting in force, "" where none is recorded.
    dormant : whether the count belongs to the pruning.
    """

    history: BlockHistory
    season: int
    kind: str
    fields: tuple[tuple[str, str], ...]
    vines: tuple[VineToCount, ...] = ()
    numbered_from: str = ""
    draw_key: str = ""
    chosen: str = ""
    training: TrainingFacts | None = None
    cultivar: str = ""
    dormant: bool = False


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the sheet: where it stands, "" where it is to be filled in, and what rule is over it."""

    number: str
    row: str
    vine: str
    panel: str
    rule: str


@dataclass(frozen=True, slots=True)
class _Column:
    """A column to write in: its name, its unit, its width in mm, whether it has a sum."""

    name: str
    unit: str
    width_mm: float
    is_summed: bool


def sheet_page(
    told: SheetTold,
    speech: Speech,
    *,
    units: Units = "metric",
    paper: Paper = "a4",
    program: str = PROGRAM,
) -> Page:
    """Make the pages of a counting sheet.

    Parameters
    ----------
    told : what it is made of.
    speech : the crew's language.
    units : units of the columns; they are those of `told.fields`.
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    del units
    told, warnings = make_printable(told)
    history = told.history
    name = f"{history.code} {history.name}".strip()
    counted = speech(COUNTED[told.kind])
    number = told.draw_key
    frame = row_frame(
        title=speech("Sheet %(number)s", number=number) if number else speech("Sheet to fill in: %(name)s", name=name),
        foot=f"{name} · {number or told.season} · {counted}",
        description=f"{counted}, {name}, {told.season}",
        author=history.vineyard.grower,
        paper=paper,
        seal=(history.seal, history.entries, history.as_of),
        speech=speech,
        program=program,
        warnings=warnings,
    )
    width_mm = FORMATS[paper].width_mm - 2 * frame.format.side_mm - MARGIN_MM - 4
    has_panels = any(vine.panel for vine in told.vines)
    columns = _columns(told, speech, width_mm - (8 + 14 + 14 + (13 if has_panels else 0)))
    lines = _lines(told)
    pages = [lines[at : at + LINES] for at in range(0, len(lines), LINES)]
    is_cane = told.training is not None and told.training.pruned == "cane"
    picture = draw_what_counts(
        MARGIN_MM * PT_OF_MM,
        speech,
        is_cane=is_cane,
        is_hanging=told.training is not None and told.training.shoot_position == "down",
    )
    width = frame.format.text_width_pt
    about = [counted, speech("season %(season)s", season=told.season), told.cultivar]
    about.append(speech(CHOSEN[told.chosen]) if told.chosen in CHOSEN else "")
    values = {
        "_": speech,
        "frame": frame,
        "told": told,
        "name": cut(name, 19 * BOLD, width - (fonts.width_em(number) + 1) * 19 * BOLD),
        "subtitle": cut(" · ".join(part for part in about if part), 10.5, width),
        "numbered_from": cut(told.numbered_from, 8.5, 110),
        "counted": counted,
        "columns": columns,
        "pages": pages,
        "has_panels": has_panels,
        "has_state": any(field == "state" for field, _unit in told.fields),
        "row_mm": ROW_MM[paper],
        "width_mm": width_mm,
        "margin_mm": MARGIN_MM,
        "how_to": [speech(words) for words in HOW_TO[told.kind]],
        "alt": speech(
            "A spur with count nodes 1 to 3 and the basal bud 0; count, double and non-count shoots, a blind node, "
            "and a renewal spur beside it."
        ),
        "type_in": f"vinebook form {told.kind} --draw {number} -o {number.replace('/', '-')}.csv" if number else "",
        "made_from": made_from(frame, speech),
        "vines": len(told.vines),
    }
    return Page(fill_template("sheet.html", values), {"counts.svg": picture}, warnings, made_at=frame.record.moment)


def _columns(told: SheetTold, speech: Speech, room_mm: float) -> list[_Column]:
    """Give the columns to write in; those that the training rules out are left out."""
    pruned = told.training.pruned if told.training is not None else "mixed"
    out = {"spur": ONLY_OF_CANES, "cane": ONLY_OF_SPURS}.get(pruned, ()) if told.kind == "pruned_vine" else ()
    shown = [(name, unit) for name, unit in told.fields if name not in out and name not in FOR_THE_WHOLE]
    narrow = {"state": 12.0}
    rest = room_mm - sum(narrow.get(name, 0.0) for name, _unit in shown)
    share = rest / max(sum(name not in narrow for name, _unit in shown), 1)
    return [
        _Column(speech(COLUMNS[name]), unit, narrow.get(name, share), name not in NOT_SUMMED) for name, unit in shown
    ]


def _lines(told: SheetTold) -> list[_Line]:
    """Give the lines of all pages; a rule marks where another row or panel begins."""
    times = LINES_OF_A_VINE.get(told.kind, 1)
    if not told.vines:
        return [_Line("", "", "", "", "") for _ in range(LINES)]
    lines: list[_Line] = []
    before: VineToCount | None = None
    for vine in told.vines:
        rule = ""
        if before is not None and vine.row != before.row:
            rule = "row"
        elif before is not None and told.chosen == "panels" and vine.panel != before.panel:
            rule = "panel"
        panel = f"{vine.panel} · {vine.place}" if vine.panel else ""
        first = _Line(str(vine.number), str(vine.row), str(vine.vine), panel, rule or ("vine" if times > 1 else ""))
        lines += [first, *[_Line("", "", "", "", "") for _ in range(times - 1)]]
        before = vine
    return lines


def with_form(page: Page, kind: str, text: str) -> Page:
    """Give a sheet with the form that it is typed into inside it.

    Parameters
    ----------
    page : the sheet.
    kind : kind of record.
    text : the form as CSV.
    """
    from vinebook.reports.archive import Enclosure

    form = Enclosure(f"{kind}.csv", "The form of this sheet, its vines filled in", text.encode())
    return replace(page, enclosures=(form,))
