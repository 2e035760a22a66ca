"""`trail`: from evidence to outcome for a block, and from a weigh ticket back to the vines."""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.given import YEAR
from vinebook.cli.settings import with_settings
from vinebook.errors import WordsError
from vinebook.quantities import plain_mass

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vinebook.cli.settings import Settings
    from vinebook.seasons.model import Figure
    from vinebook.seasons.rows_told import RowsBehind
    from vinebook.seasons.trail_model import Balance, Correction, DecisionTold, Source, TicketTrail, Trail

FORMAT = 1
"""Number of the trail's JSON; raised when the meaning of a key changes."""
HEADINGS = (
    *("block", "season", "subject", "step", "happened_on", "recorded_at", "by", "what", "then", "now", "unit"),
    *("verdict", "words", "records", "files"),
)


@click.command("trail", short_help="Follow decisions, or a weigh ticket, from evidence to outcome.")
@click.argument("what", metavar="[BLOCK | TICKET]", required=False, shell_complete=complete_block)
@click.option("--season", type=YEAR, metavar="YEAR", shell_complete=complete_season, help="Only this harvest year.")
@click.option("--from", "first", type=YEAR, metavar="YEAR", help="First season.")
@click.option("--to", "last", type=YEAR, metavar="YEAR", help="Last season.")
@click.option("--rows", is_flag=True, help="Every figure of the evidence with its rows, files and lines.")
@click.option("--duties", is_flag=True, help="Of a ticket: what rules ask for, and where its trail shows it.")
@with_settings
def trail_command(
    settings: Settings,
    what: str | None,
    season: int | None,
    first: int | None,
    last: int | None,
    *,
    rows: bool,
    duties: bool,
) -> None:
    """Follow the decisions of a BLOCK (all without one) from evidence to outcome, or a weigh TICKET.

    A decision stands with the figures that it saw, as they stood then; with what was corrected since; with what was
    done; and with what came: met, missed or pending. The mass balance of each season follows. A ticket is followed
    back to block, rows, vines and certificates and on to who took the fruit. What happened stands beside when it was
    recorded; every row has its file and line.

    \b
    Examples:
      vinebook trail A1 --season 2024
      vinebook trail --from 2022 --to 2025
      vinebook trail 'Weighbridge/2024/118'
      vinebook trail 118 --duties
    """
    from vinebook.records.listing import units_of_book

    if season is not None and (first is not None or last is not None):
        raise WordsError("--season names one season, --from and --to several", "one or the other")
    book = settings.open()
    with book.reading() as connection:
        is_ticket = what is not None and _is_ticket(connection, what)
        units: Literal["metric", "us"] = "us" if (settings.units or units_of_book(connection)) == "us" else "metric"
    if is_ticket or duties:
        if what is None or not is_ticket:
            raise WordsError("--duties is for a weigh ticket", "vinebook trail TICKET --duties")
        if season is not None or first is not None or last is not None:
            raise WordsError("a ticket has its own season", "leave --season, --from and --to out")
        _ticket(settings, what, units, duties=duties)
        return
    from vinebook.api import trail

    told = trail(book, [what] if what else [], first=first or season, last=last or season)
    match settings.format:
        case "json":
            click.echo(json.dumps({"format": FORMAT, "trail": plain(told)}, ensure_ascii=False, indent=1))
        case "csv":
            from vinebook.cli.tables import print_rows

            print_rows(HEADINGS, _flat(told), "csv")
        case _:
            from vinebook.cli.trail_lines import trail_lines

            for line in trail_lines(told, units, rows=rows):
                click.echo(line)


def _is_ticket(connection: Any, words: str) -> bool:  # noqa: ANN401 - a connection
    """Say whether words name a ticket rather than a block."""
    from vinebook.audit.trail_ticket import find_ticket, is_block

    if is_block(connection, words):
        return False
    find_ticket(connection, words)
    return True


def _ticket(settings: Settings, words: str, units: Literal["metric", "us"], *, duties: bool) -> None:
    from vinebook.api import ticket_trail
    from vinebook.cli.tables import print_rows

    told = ticket_trail(settings.open(), words)
    if duties:
        from vinebook.audit.trail_duties import duties_of

        found = duties_of(told)
        if settings.format in ("json", "csv"):
            rows = [[one.rule, one.asks, one.state, one.words] for one in found]
            print_rows(("rule", "asks", "state", "words"), rows, settings.format)
            return
        from vinebook.cli.trail_lines import duty_lines

        for line in duty_lines(found):
            click.echo(line)
        return
    match settings.format:
        case "json":
            click.echo(json.dumps({"format": FORMAT, "ticket": plain(told)}, ensure_ascii=False, indent=1))
        case "csv":
            print_rows(HEADINGS, _flat_ticket(told), "csv")
        case _:
            from vinebook.cli.ticket_lines import ticket_lines

            for line in ticket_lines(told, units):
                click.echo(line)


def plain(told: Any) -> Any:  # noqa: ANN401 - any of the trail's data
    """Give a trail as plain values for JSON; its numbers are metric."""
    if dataclasses.is_dataclass(told):
        found = {field.name: plain(getattr(told, field.name)) for field in dataclasses.fields(told)}
        return found | ({"is_changed": told.is_changed} if hasattr(told, "is_changed") else {})
    if isinstance(told, tuple | list):
        return [plain(one) for one in told]
    if isinstance(told, dict):
        return {key: plain(value) for key, value in told.items()}
    return told


def _balanced(balance: Balance) -> str:
    accepted, refused, deducted, left, crop = (
        plain_mass(mass)
        for mass in (
            balance.accepted_kg,
            balance.refused_kg,
            balance.deducted_kg,
            balance.left_kg,
            balance.crop_kg,
        )
    )
    return f"accepted {accepted} + refused {refused} + deducted {deducted} = picked; left {left}; crop {crop}"


def _flat(trail: Trail) -> Iterator[list[Any]]:
    """Give a trail as lines of one table, in the order of the steps."""
    for decision in trail.decisions:
        yield from _flat_decision(decision)
    for one in trail.balances:
        row = _row(one.block, one.season, "", "balance", what="picked", unit="kg", words=_balanced(one))
        row[HEADINGS.index("now")] = one.picked_kg
        yield row
    for step in trail.corrections:
        yield _flat_correction("", "", "", step)


def _row(block: object, season: object, subject: str, step: str, **given: object) -> list[Any]:
    named = {"block": block, "season": season, "subject": subject, "step": step, **given}
    return [named.get(heading) for heading in HEADINGS]


def _flat_decision(decision: DecisionTold) -> Iterator[list[Any]]:
    at = decision.block, decision.season, decision.source.key
    for one in decision.evidence:
        yield _row(
            decision.block,
            one.then.season,
            decision.source.key,
            "evidence",
            recorded_at=decision.source.recorded_at,
            what=_name(one.then),
            then=one.then.value if one.then.value is not None else one.then.status,
            now=None if one.now is None else one.now.value if one.now.value is not None else one.now.status,
            unit=one.then.unit,
            words=one.then.basis or one.then.note,
            **_places(one.rows),
        )
    yield _row(
        *at,
        "decision",
        happened_on=decision.decided_on,
        by=decision.decided_by,
        what=decision.decides,
        then=decision.value,
        verdict=decision.state,
        words=f"{decision.words}; reason: {decision.reason}",
        **_source(decision.source),
    )
    for step in decision.corrections:
        yield _flat_correction(*at, step)
    for done in decision.done:
        figure = done.figure
        yield _row(
            *at,
            "done",
            happened_on=done.happened_on,
            what=done.what,
            now=None if figure is None else figure.value,
            unit=None if figure is None else figure.unit,
            verdict=done.verdict,
            words="; ".join(filter(None, (done.words, done.why))),
            **_places(done.rows),
        )
    for came in decision.outcome:
        expected = f"{came.expected_low if came.expected_low is not None else ''}–{came.expected_high or ''}"
        yield _row(
            *at,
            "outcome",
            what=came.figure,
            then=expected if came.verdict else None,
            now=None if came.now is None else came.now.value if came.now.value is not None else came.now.status,
            unit=came.unit,
            verdict=came.verdict,
            words=came.why,
            **_places(came.rows),
        )


def _name(figure: Figure) -> str:
    where = [str(part) for part in (figure.bearer, figure.position, figure.stage, figure.pick) if part is not None]
    return f"{figure.figure} ({', '.join(where)})" if where else figure.figure


def _places(rows: Sequence[RowsBehind]) -> dict[str, Any]:
    from vinebook.cli.trail_lines import files_in_words
    from vinebook.seasons.rows_told import rows_in_words

    return {"records": rows_in_words(rows), "files": files_in_words(rows)}


def _source(source: Source) -> dict[str, Any]:
    return {
        "recorded_at": source.recorded_at,
        "records": f"{source.kind} {source.record}",
        "files": f"{source.file} {source.line}",
    }


def _flat_correction(block: object, season: object, subject: str, step: Correction) -> list[Any]:
    return _row(
        block,
        season,
        subject,
        "correction",
        recorded_at=step.at,
        by=step.by,
        what=f"{step.action} {step.kind} {step.key}",
        words=f"{step.what}; reason: {step.reason}" if step.what else f"reason: {step.reason}",
        records=f"{step.kind} {step.record}",
    )


def _flat_ticket(trail: TicketTrail) -> Iterator[list[Any]]:
    key = trail.source.key
    yield _row(
        None,
        trail.season,
        key,
        "ticket",
        happened_on=trail.date,
        by=trail.source.entered_by,
        what="net",
        now=trail.masses["net"],
        unit=trail.mass_unit,
        verdict=trail.state,
        words=f"from {trail.grower.name or trail.vineyard} to {trail.consignee.name}",
        **_source(trail.source),
    )
    for part in trail.parts:
        words = "; ".join(filter(None, (part.cultivar, part.clone, part.rootstock, *part.rows_of_block)))
        yield _row(
            part.block,
            trail.season,
            key,
            "part",
            happened_on=trail.date,
            by=part.source.entered_by,
            what=f"pick {part.pick}, {part.picked}, {part.purpose}",
            now=part.mass_kg,
            unit="kg",
            words=words,
            **_source(part.source),
        )
        for one in part.certificates:
            yield _row(
                part.block,
                trail.season,
                key,
                "certification",
                happened_on=one.valid_from,
                what=f"{one.scheme} {one.certificate}".strip(),
                verdict=one.status,
                **_source(one.source),
            )
    for step in trail.corrections:
        yield _flat_correction(None, trail.season, key, step)
    for balance in trail.balances:
        yield _row(
            balance.block,
            balance.season,
            key,
            "balance",
            what="picked",
            now=balance.picked_kg,
            unit="kg",
            words=_balanced(balance),
        )
