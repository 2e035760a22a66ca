"""A statement for the winery: its loads of a season, what they came from and what was done there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.quantities import plain_mass
from vinebook.reports.appendix import band_sources, example_to_follow
from vinebook.reports.frame import PROGRAM, make_frame, record_of
from vinebook.reports.numbers import Units, with_unit
from vinebook.reports.render import Page, fill_template
from vinebook.reports.statement_block import cultivar_of, section_of
from vinebook.reports.statement_masses import MUST, mass_columns, name_of_tonne, sums_of, write_mass
from vinebook.reports.tables import Cell, Column, Table
from vinebook.reports.words import join_words, make_printable, typeable, write_day
from vinebook.seasons.commands import command_of_ticket, key_of_ticket

if TYPE_CHECKING:
    from collections.abc import Callable

    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import VineyardFacts
    from vinebook.seasons.statement_model import BlockStatement, Statement


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
    records = {block.code: block.record for block in statement.blocks}
    command = example_to_follow([one for block in statement.blocks for one in block.figures], records)
    ticket = _ticket(statement)
    statement, warnings = make_printable(statement)
    title = f"Statement for {statement.consignee.name}, season {statement.season}"
    grower = _one_of(statement, lambda vineyard: vineyard.grower)
    # A statement of one block names it wherever several of them lie in one pile.
    only = f"{statement.blocks[0].code} {statement.blocks[0].name}".strip() if len(statement.blocks) == 1 else ""
    frame = make_frame(
        title=title,
        foot=", ".join(filter(None, (statement.consignee.name, only, f"season {statement.season}"))),
        called=only,
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
        "sections": [section_of(block, statement, units) for block in statement.blocks],
        "unsplit": _unsplit(statement),
        "bands": band_sources(tuple(one for block in statement.blocks for one in block.figures), units),
        "command": command,
        "ticket": ticket,
        "has_estimates": any(block.estimates for block in statement.blocks),
    }
    return Page(fill_template("statement.html", values), {}, warnings, made_at=frame.record.moment)


def _ticket(statement: Statement) -> str:
    """Give the words that print the life of the first load, "" where nothing was delivered."""
    loads = [load for block in statement.blocks for load in block.loads]
    if not loads:
        return ""
    key = key_of_ticket(loads[0].issuer, statement.season, loads[0].number)
    return command_of_ticket(typeable(key, loads[0].record))


def _one_of(statement: Statement, word: Callable[[VineyardFacts], str]) -> str:
    """Give what the vineyards of a statement say, each once."""
    return ", ".join(dict.fromkeys(filter(None, (word(block.vineyard) for block in statement.blocks))))


def _from(statement: Statement) -> list[tuple[str, str]]:
    asked: tuple[tuple[str, Callable[[VineyardFacts], str]], ...] = (
        ("From", lambda vineyard: vineyard.grower or vineyard.name),
        ("Address", lambda vineyard: vineyard.address),
        ("Registers", lambda vineyard: vineyard.register_numbers),
        ("Vineyard", lambda vineyard: ", ".join(filter(None, (vineyard.name, vineyard.place)))),
        ("Indication", lambda vineyard: vineyard.geographical_indication),
    )
    return [(name, text) for name, word in asked if (text := _one_of(statement, word))]


def _to(statement: Statement) -> list[tuple[str, str]]:
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
        words += f"{write_mass(sum(load.picked_kg for load in loads), units)} net"
        if not (refused or deducted):
            words += ", all of it accepted"
        if refused or deducted:
            less = [
                f"{write_mass(kg, units)} {name}" for kg, name in ((refused, "refused"), (deducted, "deducted")) if kg
            ]
            words += f", {join_words(less)}, {write_mass(sum(load.accepted_kg for load in loads), units)} accepted"
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


def _summary(statement: Statement, units: Units) -> Table:
    tonne = name_of_tonne(units)
    every = [load for block in statement.blocks for load in block.loads]
    columns = (
        Column("Block", width=2.4),
        Column("Cultivar", width=2.0),
        Column("Loads", "", 0.7, is_number=True),
        *mass_columns(every, tonne, 1.0),
        *MUST,
    )
    rows = [
        (
            Cell(f"{block.code} {block.name}".strip()),
            Cell(cultivar_of(block)),
            *sums_of(block.loads, units, every),
        )
        for block in statement.blocks
        if block.loads
    ]
    if len(rows) > 1:
        rows.append((Cell("All"), Cell(""), *sums_of(every, units, every)[: -len(MUST)], Cell(""), Cell(""), Cell("")))
    return Table("The loads by block", columns, tuple(rows), has_total=len(rows) > 1)


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
