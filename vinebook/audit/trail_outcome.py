"""What was done after a decision and what came of it: met, missed or pending, each with the figure and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from vinebook.records.tables import TABLES
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.row_model import usual_tolerance
from vinebook.seasons.trail_model import DoneTold, OutcomeTold

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy import Connection, RowMapping

    from vinebook.seasons.figures import Key
    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import RowsBehind
    from vinebook.seasons.tracing import Tracer
    from vinebook.seasons.trail_model import Kept, Verdict

WORK_OF = {
    "shoot_thinning": "shoot_thinning",
    "leaf_removal": "cluster_zone_leaf_removal",
    "cluster_thinning": "cluster_thinning",
}
"""The pass of canopy work that carries a decision out."""
CAME = ("crop", "yield_per_vine", "yield_per_ha", "prunings_per_vine", "yield_to_prunings")
"""What is set beside every decision once it is there: harvest, the next prunings, and their ratio."""


@dataclass(frozen=True, slots=True)
class Looking:
    """What the outcome of a decision is looked up in.

    Attributes
    ----------
    connection : a connection with one read snapshot.
    tracer : of the same.
    figures : of the decision's block and season, as they stand.
    """

    connection: Connection
    tracer: Tracer
    figures: Mapping[tuple[int, Key], Figure]

    def figure(self, season: int, name: str) -> Figure | None:
        """Give the figure of a season that stands for the whole: of all bearers and picks, at harvest."""
        found = self.figures.get((season, (name, None, None, None, None)))
        return found or self.figures.get((season, (name, None, None, "harvest", None)))

    def behind(self, figure: Figure | None) -> tuple[RowsBehind, ...]:
        """Give the rows behind a figure."""
        return () if figure is None else self.tracer.traced(figure).rows

    def row(self, kind: str, record: int) -> tuple[RowsBehind, ...]:
        """Give one row with its file and line."""
        return self.tracer.described({kind: ((record, record),)})


def done_of(looking: Looking, decision: RowMapping) -> tuple[DoneTold, ...]:
    """Tell what was done after a decision (its row)."""
    decides = decision["decides"]
    if decides in WORK_OF:
        return _work(looking, decision, WORK_OF[decides])
    tell = {
        "nodes_to_keep": _pruning,
        "pruning_form": _form,
        "replanting": _planting,
        "spur_spacing": _spacing,
    }.get(decides)
    return () if tell is None else tell(looking, decision)


def days(first: object, last: object) -> str:
    """Give the days from one to another in words."""
    return f"{first}" if last is None or last == first else f"{first} to {last}"


def _visit(looking: Looking, decision: RowMapping) -> RowMapping | None:
    visit = TABLES["pruning_visit"]
    query = select(visit).where(
        visit.c.block == decision["block"], visit.c.season == decision["season"], visit.c.struck_at.is_(None)
    )
    return looking.connection.execute(query).mappings().first()


def _pruning(looking: Looking, decision: RowMapping) -> tuple[DoneTold, ...]:
    """Set the crew's pruning beside the level decided."""
    visit, level = _visit(looking, decision), decision["value"]
    kept = looking.figure(decision["season"], "nodes_per_vine")
    told = []
    tolerance = None
    if visit is not None:
        tolerance = visit["tolerance"]
        ordered = visit["nodes_to_keep"]
        words = f"pruned to {visit['pruned']}"
        if ordered is not None:
            words += f"; ordered {ordered:g} nodes" + ("" if tolerance is None else f" ± {tolerance:g}")
        same = level is None or ordered is None or ordered == level
        why = "" if same else f"the visit ordered {ordered:g}, the decision says {level:g}"
        verdict: Kept = "done" if same else "not kept"
        happened = days(visit["started_on"], visit["finished_on"])
        rows = looking.row("pruning_visit", visit["record"])
        told.append(DoneTold("pruning visit", happened, words, None, verdict, why, rows))
    if kept is None or kept.value is None:
        why = "no pruned vine of the crew is in the book yet" if kept is None else kept.note
        return (*told, DoneTold("the crew kept", "", "", kept, "pending" if visit is None else "unknown", why))
    verdict, why = kept_verdict(kept, level, tolerance)
    return (*told, DoneTold("the crew kept", _counted_on(kept), "", kept, verdict, why, looking.behind(kept)))


def _counted_on(figure: Figure) -> str:
    """Give the date in a figure's basis, where it names one."""
    parts = figure.basis.split("; ")
    return next((part for part in parts if len(part) == len("2024-01-31") and part[4] == "-"), "")


def kept_verdict(kept: Figure, level: float | None, tolerance: float | None) -> tuple[Kept, str]:
    """Judge the nodes that the crew kept against the level decided.

    Parameters
    ----------
    kept : nodes per bearing vine, with a value.
    level, tolerance : nodes decided, and how many more or fewer pass; None where not said.
    """
    if level is None or kept.value is None:
        return "unknown", "the decision names no number"
    off = kept.value - level
    if tolerance is not None:
        inside = abs(off) <= tolerance
        words = f"{abs(off):.1f} {'more' if off > 0 else 'fewer'} than {level:g}, {tolerance:g} pass"
        return ("kept" if inside else "not kept"), words
    if kept.low is None or kept.high is None:
        passes = usual_tolerance(level)
        words = (
            f"{abs(off):.1f} {'more' if off > 0 else 'fewer'} than {level:g}; no tolerance is recorded, {passes:g} pass"
        )
        return ("kept" if abs(off) <= passes else "not kept"), words
    inside = kept.low <= level <= kept.high
    words = (
        f"{level:g} lies {'within' if inside else 'outside'} the interval of the count; the visit names no tolerance"
    )
    return ("kept" if inside else "not kept"), words


def _form(looking: Looking, decision: RowMapping) -> tuple[DoneTold, ...]:
    visit = _visit(looking, decision)
    if visit is None:
        return (DoneTold("pruning visit", "", "", None, "pending", "no pruning visit is in the book yet"),)
    happened = days(visit["started_on"], visit["finished_on"])
    rows = looking.row("pruning_visit", visit["record"])
    return (DoneTold("pruning visit", happened, f"pruned to {visit['pruned']}", None, "done", "", rows),)


def _work(looking: Looking, decision: RowMapping, work: str) -> tuple[DoneTold, ...]:
    table = TABLES["canopy_work"]
    query = (
        select(table)
        .where(table.c.block == decision["block"], table.c.season == decision["season"])
        .where(table.c.work == work, table.c.struck_at.is_(None))
        .order_by(table.c.started_on)
    )
    told = []
    for row in looking.connection.execute(query).mappings():
        words = ", ".join(str(row[name]) for name in ("extent", "side", "rows_done", "done_by") if row[name])
        happened = days(row["started_on"], row["finished_on"])
        rows = looking.row("canopy_work", row["record"])
        told.append(DoneTold(work.replace("_", " "), happened, words, None, "done", "", rows))
    if told:
        return tuple(told)
    what = work.replace("_", " ")
    return (DoneTold(what, "", "", None, "unknown", f"no pass of {what} is recorded for {decision['season']}"),)


def _planting(looking: Looking, decision: RowMapping) -> tuple[DoneTold, ...]:
    table = TABLES["planting"]
    query = (
        select(table)
        .where(table.c.block == decision["block"], table.c.from_season >= decision["season"])
        .where(table.c.struck_at.is_(None))
        .order_by(table.c.from_season)
    )
    row = looking.connection.execute(query).mappings().first()
    if row is None:
        return (DoneTold("planting", "", "", None, "pending", "no planting from that season on is in the book yet"),)
    rows = looking.row("planting", row["record"])
    words = f"{row['cultivar']}, from season {row['from_season']}"
    return (DoneTold("planting", str(row["year_planted"] or ""), words, None, "done", "", rows),)


def _spacing(looking: Looking, decision: RowMapping) -> tuple[DoneTold, ...]:
    found = looking.figure(decision["season"], "spur_spacing")
    if found is None or found.value is None:
        return (DoneTold("spur spacing", "", "", None, "pending", "no spur of that season was measured yet"),)
    return (DoneTold("spur spacing", _counted_on(found), "", found, "done", "", looking.behind(found)),)


def outcome_of(looking: Looking, decision: RowMapping) -> tuple[OutcomeTold, ...]:
    """Tell what came of the season decided for: the figure that was expected first, then harvest and prunings.

    Parameters
    ----------
    looking : where to look.
    decision : its row.
    """
    season, expected = decision["season"], decision["expected_figure"]
    names = [*([expected] if expected else []), *(name for name in CAME if name != expected)]
    told = []
    for name in names:
        now = looking.figure(season, name)
        low = decision["expected_low"] if name == expected else None
        high = decision["expected_high"] if name == expected else None
        verdict, why = (None, "") if name != expected else judged(now, low, high, season)
        if name != expected and (now is None or now.value is None):
            why = f"the season {season} has no record yet" if now is None else now.note
        rows = looking.behind(now)
        told.append(OutcomeTold(name, FIGURES[name].unit, low, high, now, verdict, why, rows))
    return tuple(told)


def judged(now: Figure | None, low: float | None, high: float | None, season: int) -> tuple[Verdict, str]:
    """Judge a figure against what was expected of it.

    Parameters
    ----------
    now : the figure; None where the season has no record.
    low, high : what was expected; None where that side is open.
    season : the season, for the words.

    Returns
    -------
    The verdict by the figure's value, and why; where its interval crosses a limit the words say so.
    """
    if now is None:
        return "pending", f"the season {season} has no record yet"
    if now.status in ("pending", "partial"):
        return "pending", now.note
    if now.value is None:
        return "unknown", now.note
    below, above = low is not None and now.value < low, high is not None and now.value > high
    verdict: Verdict = "missed" if below or above else "met"
    why = "below what was expected" if below else "above what was expected" if above else "within what was expected"
    if now.low is None or now.high is None:
        return verdict, why
    crosses = any(limit is not None and now.low < limit < now.high for limit in (low, high))
    return (
        verdict,
        f"{why}; its interval crosses a limit, so a count of more vines could say otherwise" if crosses else why,
    )
