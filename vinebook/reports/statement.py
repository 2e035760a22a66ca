"""A statement for the winery: its loads of a season, what they came from and what was done there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.formulas.tickets import mass_weighted_mean
from vinebook.quantities import plain_mass
from vinebook.reports.appendix import band_sources, example_to_follow
from vinebook.reports.frame import PROGRAM, make_frame, record_of
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
from vinebook.reports.render import Page, fill_template
from vinebook.reports.story import PRUNED, TRAINED
from vinebook.reports.tables import Cell, Column, Table
from vinebook.reports.words import begin_sentence, inside_sentence, join_words, make_printable, write_day, write_days
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.commands import command_of_ticket

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import Figure, VineyardFacts
    from vinebook.seasons.statement import BlockStatement, LoadShare, Statement

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
KG_OF_T = 1000.0
SHARE_OF_WHOLE = 100.0


@dataclass(frozen=True, slots=True)
class _Section:
    """One block of a statement as its template takes it."""

    code: str
    name: str
    cultivar: str
    facts: tuple[list[Fact], list[Fact]]
    told: str
    tables: tuple[Table, ...]


def statement_page(
    statement: Statement, *, units: Units = "metric", paper: Paper = "a4", program: str = PROGRAM
) -> Page:
    """Make the page of a statement.

    Parameters
    ----------
    statement : all that is told, from one snapshot of the book.
    units : "metric" or "us"; tickets keep the units that they were printed in.
    paper : "a4" or "letter".
    program : name and version of the program.
    """
    statement, warnings = make_printable(statement)
    title = f"Statement for {statement.consignee.name}, season {statement.season}"
    grower = _one_of(statement, lambda vineyard: vineyard.grower)
    frame = make_frame(
        title=title,
        foot=f"{statement.consignee.name}, season {statement.season}",
        description=f"{title}: {join_words([block.code for block in statement.blocks])}",
        author=grower,
        paper=paper,
        record=record_of(statement.seal, statement.entries, statement.as_of),
        warnings=warnings,
        program=program,
    )
    values = {
        "frame": frame,
        "statement": statement,
        "parties": (_from(statement), _to(statement)),
        "told": _told(statement, units),
        "summary": _summary(statement, units) if len(statement.blocks) > 1 else None,
        "sections": [_section(block, statement, units) for block in statement.blocks],
        "unsplit": _unsplit(statement),
        "bands": band_sources(tuple(one for block in statement.blocks for one in block.figures), units),
        "command": example_to_follow([one for block in statement.blocks for one in block.figures]),
        "ticket": _ticket(statement),
        "has_estimates": any(block.estimates for block in statement.blocks),
    }
    return Page(fill_template("statement.html", values), {}, warnings, made_at=frame.record.moment)


def _ticket(statement: Statement) -> str:
    """Give the words that print the life of the first load, "" where nothing was delivered."""
    loads = [load for block in statement.blocks for load in block.loads]
    return command_of_ticket(loads[0].issuer, statement.season, loads[0].number) if loads else ""


def _one_of(statement: Statement, word: Callable[[VineyardFacts], str]) -> str:
    """Give what the vineyards of a statement say, each once."""
    return ", ".join(dict.fromkeys(filter(None, (word(block.vineyard) for block in statement.blocks))))


def _from(statement: Statement) -> list[Fact]:
    asked: tuple[tuple[str, Callable[[VineyardFacts], str]], ...] = (
        ("From", lambda vineyard: vineyard.grower or vineyard.name),
        ("Address", lambda vineyard: vineyard.address),
        ("Registers", lambda vineyard: vineyard.register_numbers),
        ("Vineyard", lambda vineyard: ", ".join(filter(None, (vineyard.name, vineyard.place)))),
        ("Indication", lambda vineyard: vineyard.geographical_indication),
    )
    return [(name, text) for name, word in asked if (text := _one_of(statement, word))]


def _to(statement: Statement) -> list[Fact]:
    consignee = statement.consignee
    facts = [("To", consignee.name), ("Address", consignee.address), ("Registers", consignee.register_numbers)]
    facts.append(("Season", f"{statement.season}, the year of harvest"))
    if statement.share_percent is not None:
        facts.append(("Promised", f"{statement.share_percent:g}% of the crop of each block"))
    return [(name, text) for name, text in facts if text]


def _told(statement: Statement, units: Units) -> list[str]:
    loads = [load for block in statement.blocks for load in block.loads]
    sentences: list[str] = []
    if loads:
        tickets = len({(load.issuer, load.number) for load in loads})
        words = f"{tickets} {'load' if tickets == 1 else 'loads'} of {_blocks(statement, lambda b: bool(b.loads))}: "
        refused, deducted = sum(load.refused_kg for load in loads), sum(load.deducted_kg for load in loads)
        words += f"{_mass(sum(load.picked_kg for load in loads), units)} net"
        if not (refused or deducted):
            words += ", all of it accepted"
        if refused or deducted:
            less = [f"{_mass(kg, units)} {name}" for kg, name in ((refused, "refused"), (deducted, "deducted")) if kg]
            words += f", {join_words(less)}, {_mass(sum(load.accepted_kg for load in loads), units)} accepted"
        sentences.append(f"{words}.")
    if statement.unsplit:
        count = len(statement.unsplit)
        words = f"{count} {'load' if count == 1 else 'loads'}{' more' if loads else ''}"
        sentences.append(f"{words} {'is' if count == 1 else 'are'} not given to blocks yet and in none of these sums.")
    open_blocks = [block.code for block in statement.blocks if block.closed_on is None]
    closed = [block for block in statement.blocks if block.closed_on is not None]
    if closed and not open_blocks:
        sentences.append("The harvest of " + ("these blocks" if len(closed) > 1 else "this block") + " is closed.")
    elif open_blocks:
        sentences.append(
            f"The harvest of {join_words(open_blocks)} is not closed: more may come, and the sums are not final."
        )
    return sentences


def _blocks(statement: Statement, has: Callable[[BlockStatement], bool]) -> str:
    codes = [block.code for block in statement.blocks if has(block)]
    return f"block {codes[0]}" if len(codes) == 1 else f"blocks {join_words(codes)}"


def _mass(kg: float, units: Units) -> str:
    """Write a mass to a thousandth of a ton, as exactly as it was weighed."""
    name, factor = unit_shown("t", units)
    return with_unit(write_number(kg / KG_OF_T * factor, 3), name)


def _tonnes(kg: float, units: Units) -> Cell:
    _, factor = unit_shown("t", units)
    return Cell(write_number(kg / KG_OF_T * factor, 3))


def _tonne(units: Units) -> str:
    return unit_shown("t", units)[0]


def _must(loads: Iterable[LoadShare]) -> tuple[Cell, Cell, Cell]:
    """Give the must figures of loads: solids and acidity weighted by mass, pH the mean of its readings."""
    loads = list(loads)

    def weighted(values: Sequence[float | None], decimals: int) -> Cell:
        known = [(value, load.picked_kg) for value, load in zip(values, loads, strict=True) if value is not None]
        mean = float(mass_weighted_mean([v for v, _ in known], [m for _, m in known])) if known else math.nan
        return Cell(write_number(mean, decimals))

    acidities = [load.ph for load in loads if load.ph is not None]
    return (
        weighted([load.soluble_solids_brix for load in loads], 1),
        Cell(write_number(sum(acidities) / len(acidities), 2) if acidities else EN_DASH),
        weighted([load.titratable_acidity_g_per_l for load in loads], 1),
    )


MUST = (
    Column("Solids", "°Brix", 0.8, is_number=True),
    Column("pH", "", 0.6, is_number=True),
    Column("Acidity", "g/L", 0.8, is_number=True),
)


def _balance(loads: Sequence[LoadShare], tonne: str, width: float) -> tuple[Column, ...]:
    """Give the columns of what was weighed; refused and deducted stand only where something was."""
    heads = ("Net", "Refused", "Deducted", "Accepted") if _is_reduced(loads) else ("Net",)
    return tuple(Column(head, tonne, width, is_number=True) for head in heads)


def _is_reduced(loads: Sequence[LoadShare]) -> bool:
    return any(load.refused_kg or load.deducted_kg for load in loads)


def _summary(statement: Statement, units: Units) -> Table:
    tonne = _tonne(units)
    every = [load for block in statement.blocks for load in block.loads]
    columns = (
        Column("Block", width=2.4),
        Column("Cultivar", width=2.0),
        Column("Loads", "", 0.7, is_number=True),
        *_balance(every, tonne, 1.0),
        *MUST,
    )
    rows = [
        (
            Cell(f"{block.code} {block.name}".strip()),
            Cell(_cultivar(block)),
            *_sums(block.loads, units, every),
        )
        for block in statement.blocks
        if block.loads
    ]
    if len(rows) > 1:
        rows.append((Cell("All"), Cell(""), *_sums(every, units, every)[: -len(MUST)], Cell(""), Cell(""), Cell("")))
    return Table("The loads by block", columns, tuple(rows))


def _sums(loads: Sequence[LoadShare], units: Units, among: Sequence[LoadShare]) -> tuple[Cell, ...]:
    """Give number of tickets, masses and must figures of loads, in the columns that `among` them all need."""
    masses = [sum(load.picked_kg for load in loads)]
    if _is_reduced(among):
        masses += [
            sum(load.refused_kg for load in loads),
            sum(load.deducted_kg for load in loads),
            sum(load.accepted_kg for load in loads),
        ]
    tickets = len({(load.issuer, load.number) for load in loads})
    return (Cell(str(tickets)), *(_tonnes(kg, units) for kg in masses), *_must(loads))


def _cultivar(block: BlockStatement) -> str:
    return ", ".join(dict.fromkeys(planting.cultivar for planting in block.plantings)) or EN_DASH


def _section(block: BlockStatement, statement: Statement, units: Units) -> _Section:
    made = (
        _picks(block, units),
        _loads(block, units),
        _estimates(block, statement, units),
        _passes(block),
        _figures(block, units),
    )
    return _Section(
        block.code,
        block.name,
        _cultivar(block),
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
    tonne = _tonne(units)
    columns = (
        Column("Pick", width=0.6),
        Column("For", width=1.5),
        Column("Picked by", width=1.0),
        Column("Days", width=2.4),
        Column("Loads", "", 0.7, is_number=True),
        *_balance(block.loads, tonne, 1.0),
        *MUST,
    )
    rows = tuple(
        (
            Cell(str(pick)),
            Cell(PURPOSES.get(purpose, purpose)),
            Cell(picked_by),
            Cell(write_days(min(load.date for load in loads), max(load.date for load in loads))),
            *_sums(loads, units, block.loads),
        )
        for (pick, purpose, picked_by), loads in sorted(groups.items())
    )
    return Table("Picks", columns, rows)


def _loads(block: BlockStatement, units: Units) -> Table | None:
    if not block.loads:
        return None
    tonne = _tonne(units)
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
        *_balance(block.loads, tonne, 1.0),
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
            *_sums([load], units, block.loads)[1:],
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
    tonne = _tonne(units)
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


def _unsplit(statement: Statement) -> Table | None:
    if not statement.unsplit:
        return None
    columns = (
        Column("Day", width=1.6),
        Column("Ticket", width=2.4),
        Column("Net", "as printed", 1.2, is_number=True, pad_pt=6),
        Column("Blocks in it", width=3.0),
    )
    rows = tuple(
        (
            Cell(write_day(load.date)),
            Cell(f"{load.issuer}, {load.number}"),
            Cell(with_unit(plain_mass(load.net), load.unit)),
            Cell(join_words(list(load.blocks)) or "not named yet"),
        )
        for load in statement.unsplit
    )
    return Table("Loads that are not given to blocks yet", columns, rows)
