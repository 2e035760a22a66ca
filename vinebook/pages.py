"""From a book to the page of each report, before it is set."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from vinebook.errors import ReportError, WordsError
from vinebook.reports.wanted import WHATS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from sqlalchemy import Connection

    from vinebook.records.book import Book
    from vinebook.reports.archive import Enclosure
    from vinebook.reports.render import Page
    from vinebook.reports.wanted import Units, Wanted
    from vinebook.seasons.model import BlockHistory, Figure

    Made = tuple[Page, Callable[[], tuple[Enclosure, ...]]]


def history_of(connection: Connection, block: str, only: Sequence[int] | None = None) -> BlockHistory:
    """Give all that a block's history tells, its figures judged.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : key of the block.
    only : harvest years whose figures are wanted, none of them where it is empty; None takes all.

    Raises
    ------
    WordsError : no such block.
    """
    from vinebook.advice.bands import judge
    from vinebook.records.keys import code_of_block
    from vinebook.seasons.history import block_history, block_number, judging_context

    code = code_of_block(connection, block)
    record, told = block_number(connection, code), block_history(connection, code, only)
    context = judging_context(connection, [record])
    return dataclasses.replace(told, figures=tuple(judge(told.figures, context)))


def page_of(connection: Connection, wanted: Wanted, begin: Callable[[Page], None] | None = None) -> Page:
    """Make the page of a report, with its figures and rows to go inside it.

    Parameters
    ----------
    connection : a connection with one read snapshot: figures, rows and seal are of one moment.
    wanted : what was asked for.
    begin : takes the page before its figures and rows are made, so that it is laid out meanwhile.

    Raises
    ------
    WordsError, ReportError
    """
    page, enclosed = _made(connection, wanted)
    if begin is not None:
        begin(page)
    return dataclasses.replace(page, enclosures=enclosed())


def _made(connection: Connection, wanted: Wanted) -> Made:
    """Make the page of a report, and say how to make what goes inside it."""
    match wanted.what:
        case "history":
            return _history_page(connection, wanted)
        case "statement":
            return _statement_page(connection, wanted)
        case "trail":
            return _trail_page(connection, wanted)
        case "overview":
            return _overview_page(connection, wanted)
        case "sheet":
            return _sheet_page(connection, wanted)
        case "card":
            return _card_page(connection, wanted)
    raise WordsError(f"{wanted.what!r} is not a report", f"one of: {', '.join(WHATS)}")


def _history_page(connection: Connection, wanted: Wanted) -> Made:
    from vinebook.exchange.enclosed import rows_of_block
    from vinebook.reports.history import history_page

    block = _one_block(wanted)
    told = history_of(connection, block)
    page = history_page(told, units=wanted.units or _own_units(told.vineyard.units), paper=wanted.paper)
    return page, _enclosed(told.figures, rows_of_block(connection, block))


def _statement_page(connection: Connection, wanted: Wanted) -> Made:
    from vinebook.kinds import KINDS
    from vinebook.records.keys import code_of_block, find_record, join_key
    from vinebook.reports.statement import statement_page
    from vinebook.seasons import statement

    consignee = find_record(connection, KINDS["consignee"], wanted.to)
    name = statement.consignee_facts(connection, consignee).name
    season = wanted.season or statement.latest_season_of(connection, consignee, name)
    concerned = statement.blocks_of(connection, consignee, name, season)
    blocks = tuple(join_key([code_of_block(connection, block)]) for block in wanted.blocks) or concerned
    for block in blocks:
        if block not in concerned:
            raise ReportError(
                f"nothing of block {block} went to {name} in {season}, and no estimate of it was given to it",
                f"blocks of that season: {', '.join(concerned)}",
            )
    # A block's figures are worked out only where they are asked for.
    told = statement.statement_of(
        connection,
        consignee,
        season,
        [history_of(connection, block, [season] if wanted.shows else []) for block in blocks],
        shows=wanted.shows,
        share_percent=wanted.share_percent,
    )
    units = wanted.units or _own_units(told.blocks[0].vineyard.units)
    page = statement_page(told, units=units, paper=wanted.paper)
    page = dataclasses.replace(page, warnings=(*page.warnings, *statement.words_of_others(connection, consignee, told)))
    figures = [figure for block in told.blocks for figure in block.figures]
    return page, _enclosed(figures, statement.rows_told(told))


def _trail_page(connection: Connection, wanted: Wanted) -> Made:
    from vinebook.audit.trail import trail_of
    from vinebook.exchange.enclosed import rows_of_block
    from vinebook.records.keys import code_of_block
    from vinebook.reports.trail import trail_page
    from vinebook.seasons.history import block_head, block_number

    block = _one_block(wanted)
    code = code_of_block(connection, block)
    name, vineyard, units = block_head(connection, code)
    told = trail_of(connection, [block], first=wanted.season, last=wanted.season)
    page = trail_page(
        told,
        name,
        vineyard,
        record=block_number(connection, code),
        units=wanted.units or _own_units(units),
        paper=wanted.paper,
    )
    figures = [one.then for decision in told.decisions for one in decision.evidence]
    return page, _enclosed(figures, rows_of_block(connection, block))


def _one_block(wanted: Wanted) -> str:
    if len(wanted.blocks) != 1:
        raise WordsError(f"a {wanted.what} is of one block", "name one; several are bound, or printed each by itself")
    return wanted.blocks[0]


def _overview_page(connection: Connection, wanted: Wanted) -> Made:
    from vinebook.advice.bands import judge
    from vinebook.records.keys import code_of_block
    from vinebook.reports.overview import overview_page
    from vinebook.seasons import overview
    from vinebook.seasons.figures import figures_of
    from vinebook.seasons.history import judging_context

    season = wanted.season or overview.latest_closed_season(connection)
    blocks = overview.blocks_in(connection, season, tuple(code_of_block(connection, one) for one in wanted.blocks))
    records = list(blocks)
    judged = judge(figures_of(connection, records, [season]), judging_context(connection, records))
    told = overview.overview_of(connection, season, blocks, judged)
    own = {block.units for block in told.blocks}
    units = wanted.units or _own_units(own.pop() if len(own) == 1 else "metric")
    page = overview_page(told, units=units, paper=wanted.paper)
    figures = [figure for block in told.blocks for figure in block.figures]
    return page, _enclosed(figures, [])


def _sheet_page(connection: Connection, wanted: Wanted) -> Made:
    from vinebook.exchange.forms import form_csv
    from vinebook.kinds import KINDS
    from vinebook.records.drawn import kept_draw, rows_to_fill
    from vinebook.records.nearest import one_of
    from vinebook.reports.languages import speech_of
    from vinebook.reports.sheet import COUNTED, SheetTold, sheet_page, with_form
    from vinebook.seasons.history import block_history
    from vinebook.seasons.in_the_row import vines_of
    from vinebook.seasons.row_model import planting_in, training_in
    from vinebook.seasons.spread import DRAWN_FOR

    drawn = kept_draw(connection, wanted.draw) if wanted.draw else None
    code = _one_block(wanted) if drawn is None else drawn.block
    season = wanted.season if drawn is None else drawn.season
    count = wanted.count or (DRAWN_FOR[drawn.figure].kind if drawn is not None else "")
    if not count:
        raise WordsError("what is counted on the sheet?", f"--count with one of: {', '.join(COUNTED)}")
    if count not in COUNTED:
        whose = f"; draw {wanted.draw} is for {drawn.figure}" if drawn is not None and not wanted.count else ""
        raise WordsError(f"there is no counting sheet of {count!r}{whose}", f"--count with {one_of(count, COUNTED)}")
    if season is None:
        raise WordsError("no season was named", "--season YEAR: the year of the harvest")
    told = block_history(connection, code)
    units = wanted.units or _own_units(told.vineyard.units)
    kind = KINDS[count]
    vines, numbered_from = ((), "") if drawn is None else vines_of(connection, drawn)
    planting = planting_in(told, season)
    sheet = SheetTold(
        told,
        season,
        count,
        tuple((f.name, f.us if units == "us" else f.metric) for f in kind.fields if f.name not in ("row", "vine")),
        vines,
        numbered_from,
        "" if drawn is None else drawn.key,
        "" if drawn is None else drawn.chosen,
        training_in(told, season),
        "" if planting is None else planting.cultivar,
        kind.part == "dormant",
    )
    page = sheet_page(sheet, speech_of(wanted.language, units), paper=wanted.paper)
    form = form_csv(kind, units, () if drawn is None else rows_to_fill(drawn, kind))
    return page, lambda: with_form(page, count, form).enclosures


def _card_page(connection: Connection, wanted: Wanted) -> Made:
    from vinebook.advice.nodes_model import Wishes as NoWishes
    from vinebook.advice.nodes_to_keep import nodes_to_keep
    from vinebook.exchange.enclosed import rows_of_block
    from vinebook.reports.card import CardTold, card_page
    from vinebook.reports.languages import speech_of
    from vinebook.seasons.history import block_number, judging_context
    from vinebook.seasons.in_the_row import order_of
    from vinebook.seasons.pruning_facts import pruning_facts

    code = _one_block(wanted)
    season = wanted.season
    if season is None:
        raise WordsError("no season was named", "--season YEAR: the season that the nodes are for")
    told = history_of(connection, code)
    order = order_of(connection, told, season)
    number = block_number(connection, code)
    wishes = dataclasses.replace(wanted.wishes or NoWishes(), keep=order.nodes)
    facts = pruning_facts(connection, number, code, season)
    nodes = nodes_to_keep(told, facts, judging_context(connection, [number]).of(code), wishes)
    if nodes.plan is None:
        raise ReportError(f"the {order.nodes} nodes of {code} cannot be drawn on a vine", nodes.plan_missing)
    units = wanted.units or _own_units(told.vineyard.units)
    page = card_page(
        CardTold(told, season, order, nodes, nodes.plan),
        speech_of(wanted.language, units),
        units=units,
        paper=wanted.paper,
    )
    kinds = ("decision", "pruning_visit", "training", "planting")
    return page, _enclosed([], rows_of_block(connection, code, kinds=kinds))


def concerned_blocks(book: Book, to: str, season: int | None) -> tuple[str, ...]:
    """Give the keys of blocks that a statement tells of.

    Parameters
    ----------
    book : an open book.
    to : name of the consignee.
    season : harvest year; the latest that concerns it where None.

    Raises
    ------
    WordsError, ReportError
    """
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record
    from vinebook.seasons import statement

    with book.reading() as connection:
        consignee = find_record(connection, KINDS["consignee"], to)
        name = statement.consignee_facts(connection, consignee).name
        return statement.blocks_of(
            connection, consignee, name, season or statement.latest_season_of(connection, consignee, name)
        )


def ordered_blocks(book: Book, season: int) -> tuple[str, ...]:
    """Give the codes of the blocks whose nodes are decided for a season.

    Raises
    ------
    ReportError : there is none.
    """
    from vinebook.seasons.in_the_row import blocks_with_orders

    with book.reading() as connection:
        codes = blocks_with_orders(connection, season)
    if not codes:
        raise ReportError(f"no nodes are decided for {season}", "`vinebook decide` records a decision")
    return codes


def _own_units(units: str) -> Units:
    return "us" if units == "us" else "metric"


def _enclosed(figures: Iterable[Figure], rows: Iterable[tuple[str, str]]) -> Callable[[], tuple[Enclosure, ...]]:
    """Say how to make what goes inside a page; the rows are read when it is made."""
    from vinebook.reports.archive import enclosures_of

    return lambda: enclosures_of(figures, rows)
