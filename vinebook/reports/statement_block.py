"""One block in a statement: what it is, its loads and picks, estimates, work and figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.quantities import plain_mass
from vinebook.reports.numbers import (
    EN_DASH,
    Units,
    in_words_of,
    quantity,
    shown,
    unit_per,
    unit_shown,
    with_unit,
    with_words_of,
    write_band,
    write_number,
)
from vinebook.reports.statement_masses import MUST, mass_columns, name_of_tonne, sums_of
from vinebook.reports.story import PRUNED, TRAINED
from vinebook.reports.tables import Cell, Column, Table
from vinebook.reports.words import begin_sentence, inside_sentence, join_words, write_day, write_days
from vinebook.seasons.catalogue import FIGURES

if TYPE_CHECKING:
    from vinebook.seasons.model import Figure
    from vinebook.seasons.statement_model import BlockStatement, LoadShare, Statement

Fact = tuple[str, str]
PURPOSES = {
    "still": "still wine",
    "sparkling": "sparkling wine",
    "late": "late harvest",
    "frozen": "picked frozen",
    "table": "table grapes",
    "other": "other",
}
SPLIT = {"whole": "", "weighed": "weighed apart", "bins": "by bins", "by_eye": "by eye"}
STAGES = {
    "bud_break": "at bud break",
    "set": "after set",
    "lag_phase": "at lag phase",
    "veraison": "at veraison",
    "near_harvest": "near harvest",
}
STATUS = {"certified": "certified", "in_conversion": "in conversion", "none": "not certified"}
SHARE_OF_WHOLE = 100.0


@dataclass(frozen=True, slots=True)
class Section:
    """One block of a statement as its template takes it."""

    code: str
    name: str
    cultivar: str
    facts: tuple[list[Fact], list[Fact]]
    told: str
    tables: tuple[Table, ...]


def cultivar_of(block: BlockStatement) -> str:
    """Name what a block is planted to."""
    return ", ".join(dict.fromkeys(planting.cultivar for planting in block.plantings)) or EN_DASH


def section_of(block: BlockStatement, statement: Statement, units: Units) -> Section:
    """Give one block of a statement as its template takes it."""
    made = (
        _picks(block, units),
        _loads(block, units),
        _estimates(block, statement, units),
        _passes(block),
        _figures(block, units),
    )
    return Section(
        block.code,
        block.name,
        cultivar_of(block),
        _identity(block, statement, units),
        _harvest(block),
        tuple(table for table in made if table is not None),
    )


def _identity(block: BlockStatement, statement: Statement, units: Units) -> tuple[list[Fact], list[Fact]]:
    left: list[Fact] = []
    right: list[Fact] = []
    for planting in block.plantings:
        left.append(("Cultivar", planting.cultivar))
        if planting.clone:
            left.append(("Clone", planting.clone))
        if planting.rootstock:
            left.append(("Rootstock", planting.rootstock))
        if planting.year_planted:
            grafted = f", grafted over {planting.grafted_over_in}" if planting.grafted_over_in else ""
            left.append(("Planted", f"{planting.year_planted}{grafted}"))
    if block.field_blend:
        left.append(("Field blend", block.field_blend))
    area_ha = sum(one.positions * one.row_spacing_m * one.vine_spacing_m / 10_000 for one in block.plantings)
    if area_ha:
        right.append(("Area", f"{quantity(area_ha, 'ha', units)} planted"))
    elif block.surveyed_area_ha is not None:
        right.append(("Area", f"{quantity(block.surveyed_area_ha, 'ha', units)} by survey"))
    if block.training:
        words = (TRAINED.get(block.training.trained, ""), PRUNED.get(block.training.pruned, ""))
        right.append(("Training", ", ".join(filter(None, (*words, block.training.trade_name)))))
    right.append(("Standing", _standing(block, statement)))
    return left, right


def _standing(block: BlockStatement, statement: Statement) -> str:
    """Give the certification in force while the fruit was weighed, else while the estimate was given."""
    days = [load.date for load in block.loads] or [one.date for one in block.estimates]
    if not days:
        return "no certification is recorded"
    first, last = min(days), max(days)
    held = [
        f"{one.scheme}: {STATUS.get(one.status, one.status)}"
        + (f", certificate {one.certificate}" if one.certificate else "")
        + f", from {write_day(one.valid_from)}"
        + (f" to {write_day(one.valid_to)}" if one.valid_to else "")
        for one in block.certifications
        if one.valid_from <= last and (one.valid_to is None or one.valid_to >= first)
    ]
    return "; ".join(held) or f"no certification is recorded for {statement.season}"


def _harvest(block: BlockStatement) -> str:
    if block.closed_on:
        return f"Harvest closed on {write_day(block.closed_on)}."
    return "Harvest not closed." if block.loads else ""


def _picks(block: BlockStatement, units: Units) -> Table | None:
    """Give the picks of a block where it had several, or several purposes."""
    groups: dict[tuple[int, str, str], list[LoadShare]] = {}
    for load in block.loads:
        groups.setdefault((load.pick, load.purpose, load.picked_by), []).append(load)
    if len(groups) < 2:
        return None
    tonne = name_of_tonne(units)
    columns = (
        Column("Pick", width=0.6),
        Column("For", width=1.5),
        Column("Picked by", width=1.0),
        Column("Days", width=2.4),
        Column("Loads", "", 0.7, is_number=True),
        *mass_columns(block.loads, tonne, 1.0),
        *MUST,
    )
    rows = tuple(
        (
            Cell(str(pick)),
            Cell(PURPOSES.get(purpose, purpose)),
            Cell(picked_by),
            Cell(write_days(min(load.date for load in loads), max(load.date for load in loads))),
            *sums_of(loads, units, block.loads),
        )
        for (pick, purpose, picked_by), loads in sorted(groups.items())
    )
    return Table("Picks", columns, rows)


def _loads(block: BlockStatement, units: Units) -> Table | None:
    if not block.loads:
        return None
    tonne = name_of_tonne(units)
    notes: list[tuple[str, str]] = []
    marks = iter("abcdefghijklmnopqrstuvwxyz")
    by_text: dict[str, str] = {}

    def mark(load: LoadShare) -> str:
        words = [load.corrects, f"refused: {load.refused_reason}" if load.refused_reason else ""]
        if load.split != "whole":
            words.append(f"this block’s share of the load, {SPLIT.get(load.split, load.split)}")
        if load.certification:
            words.append(f"certification as it stood: {load.certification}")
        text = "; ".join(filter(None, words))
        if not text:
            return ""
        if text not in by_text:
            by_text[text] = next(marks, "*")
            notes.append((by_text[text], begin_sentence(text)))
        return by_text[text]

    one_way = len({(load.picked_by, load.purpose) for load in block.loads}) == 1
    columns = (
        Column("Day", width=2.0),
        Column("Ticket", width=1.3),
        *(() if one_way else (Column("Pick, for", width=1.6),)),
        Column("Gross", "as printed", 1.1, is_number=True),
        Column("Tare", "as printed", 1.1, is_number=True),
        Column("Net", "as printed", 1.1, is_number=True, pad_pt=6),
        *mass_columns(block.loads, tonne, 1.0),
        *MUST,
    )

    def printed(mass: float | None, unit: str) -> str:
        return EN_DASH if mass is None else with_unit(plain_mass(mass), unit)

    rows = tuple(
        (
            Cell(write_day(load.date)),
            Cell(load.number),
            *(() if one_way else (Cell(f"{load.pick}, {PURPOSES.get(load.purpose, load.purpose)}"),)),
            Cell(printed(load.gross, load.unit)),
            Cell(printed(load.tare, load.unit)),
            Cell(printed(load.net, load.unit), mark(load), pad_pt=0),
            *sums_of([load], units, block.loads)[1:],
        )
        for load in block.loads
    )
    issuers = join_words(list(dict.fromkeys(load.issuer for load in block.loads)))
    first = block.loads[0]
    title = f"Loads, weighed by {issuers}"
    if one_way:
        title += f"; picked by {first.picked_by} for {PURPOSES.get(first.purpose, first.purpose)}"
    return Table(title, columns, rows, notes=tuple(notes))


def _estimates(block: BlockStatement, statement: Statement, units: Units) -> Table | None:
    if not block.estimates:
        return None
    tonne = name_of_tonne(units)
    share = statement.share_percent
    columns = (
        Column("Given on", width=1.7),
        Column("Stage", width=1.5),
        Column("Crop expected", tonne, 1.2, is_number=True),
        Column("Interval", tonne, 1.3, is_number=True),
        *(() if share is None else (Column(f"{share:g}% of it", tonne, 1.0, is_number=True),)),
        Column("How", width=4.0),
    )
    rows = tuple(
        (
            Cell(write_day(one.date)),
            Cell(begin_sentence(STAGES.get(one.stage, one.stage))),
            Cell(_in_tonnes(one.estimate_t, units)),
            Cell(
                EN_DASH
                if one.low_t is None or one.high_t is None
                else f"{_in_tonnes(one.low_t, units)}{EN_DASH}{_in_tonnes(one.high_t, units)}"
                + (f", {one.level:g}%" if one.level else "")
            ),
            *(() if share is None else (Cell(_in_tonnes(one.estimate_t * share / SHARE_OF_WHOLE, units)),)),
            Cell(begin_sentence(one.method)),
        )
        for one in block.estimates
    )
    return Table("Crop expected, as it was given to you", columns, rows)


def _in_tonnes(tonnes: float, units: Units) -> str:
    return write_number(tonnes * unit_shown("t", units)[1], 2)


def _passes(block: BlockStatement) -> Table | None:
    if not block.passes:
        return None
    columns = (
        Column("Work", width=2.4),
        Column("Days", width=2.4),
        Column("Side", width=1.6),
        Column("Extent", width=2.0),
        Column("By", width=1.0),
    )
    rows = tuple(
        (
            Cell(begin_sentence(one.work.replace("_", " ").replace("cluster zone", "cluster-zone"))),
            Cell(write_days(one.started_on, one.finished_on)),
            Cell(one.side or EN_DASH),
            Cell(one.extent or EN_DASH),
            Cell(one.done_by or EN_DASH),
        )
        for one in block.passes
    )
    return Table("Work in the canopy", columns, rows)


def _figures(block: BlockStatement, units: Units) -> Table | None:
    told = [
        with_words_of(figure, units)
        for figure in block.figures
        if figure.value is not None or figure.status == "pending"
    ]
    if not told:
        return None
    columns = (
        Column("Figure", width=2.2),
        Column("Value", "", 0.9, is_number=True),
        Column("95% interval", "", 1.2, is_number=True, pad_pt=6),
        Column("Unit", width=2.1),
        Column("n", "", 0.4, is_number=True, pad_pt=6),
        Column("Band and reading", width=3.3),
    )
    rows = []
    for figure in told:
        numbers = shown(figure, units)
        band = f"{write_band(figure.band, figure.unit, units)}, {figure.band.name}" if figure.band else ""
        rows.append(
            (
                Cell(_titled(figure, units)),
                Cell(numbers.text),
                Cell(numbers.interval),
                Cell(unit_per(numbers.unit, figure.per)),
                Cell(EN_DASH if figure.n is None else str(figure.n)),
                Cell(
                    begin_sentence(inside_sentence(figure.note)) or figure.status
                    if figure.value is None
                    else begin_sentence(f"{figure.reading}: {band}")
                    if band
                    else EN_DASH
                ),
            )
        )
    return Table("Yield and balance of the block", columns, tuple(rows))


def _titled(figure: Figure, units: Units) -> str:
    words = (
        in_words_of(FIGURES[figure.figure].title, units),
        (figure.bearer or "").replace("_", " "),
        figure.stage or "",
    )
    return ", ".join(filter(None, words))
