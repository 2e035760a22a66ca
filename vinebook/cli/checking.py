"""`check`: what looks wrong in the book, worst first."""

from __future__ import annotations

import json
import sys
from itertools import groupby
from typing import TYPE_CHECKING, Any, Literal

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.errors import WordsError

if TYPE_CHECKING:
    from vinebook.audit.check import CheckFinding, CheckReport
    from vinebook.cli.settings import Settings
    from vinebook.records.book import Book

FORMAT = 1
"""Number of the JSON; raised when the meaning of a key changes."""
SHOWN = 10
"""Findings of one rule that a table shows."""
HEADINGS = ("severity", "rule", "blocks", "seasons", "kind", "key", "record", "found", "why")


@click.command("check", short_help="Say what looks wrong, worst first.")
@click.argument("blocks", metavar="[BLOCK]...", nargs=-1, shell_complete=complete_block)
@click.option(
    "--season",
    type=click.IntRange(1800, 2200),
    metavar="YEAR",
    shell_complete=complete_season,
    help="Only of this season.",
)
@click.option("--list", "lists", is_flag=True, help="List the rules.")
@click.option("--explain", metavar="RULE", help="Explain a rule: what it looks for, why, its limits and their source.")
@click.option("--silence", metavar="RULE", help="Silence a rule for a block, with the reason.")
@click.option("--block", metavar="CODE", shell_complete=complete_block, help="Block to silence it for.")
@click.option("--reason", metavar="WHY", default="", help="Why the rule does not apply there.")
@click.option("--strict", is_flag=True, help="Exit status 1 when something was found.")
@with_settings
def check_command(
    settings: Settings,
    blocks: tuple[str, ...],
    season: int | None,
    lists: bool,
    explain: str | None,
    silence: str | None,
    block: str | None,
    reason: str,
    strict: bool,
) -> None:
    """Say what looks wrong in each BLOCK (the whole book without one), worst first.

    Each finding has its row, its rule and why it matters. It changes nothing: what is unusual may be true. A rule
    that does not apply to a block is silenced there, with a reason that is kept in the journal.

    \b
    Examples:
      vinebook check A1 --season 2024
      vinebook check --explain old_census
      vinebook check --silence hand_picked --block A1 --reason 'trial vines'
    """
    asked = [lists, explain is not None, silence is not None]
    if sum(asked) > 1:
        raise WordsError("--list, --explain and --silence do not go together", "one of them at a time")
    if any(asked) and (blocks or season is not None or strict):
        raise WordsError("--list, --explain and --silence take no BLOCK, --season or --strict", "leave these out")
    if silence is None and (block is not None or reason):
        raise WordsError("--block and --reason belong to --silence RULE", "name a block to check without --block")
    if lists:
        _list(settings)
    elif explain is not None:
        _explain(settings, explain)
    elif silence is not None:
        _silence(settings, silence, block, reason)
    elif _check(settings, blocks, season) and strict:
        click.get_current_context().exit(1)


def _list(settings: Settings) -> None:
    from vinebook.audit.check import RULES
    from vinebook.cli.tables import print_rows

    rows = [(rule.severity, rule.name, rule.looks_for, rule.why, rule.limits, rule.source) for rule in RULES.values()]
    if settings.format in (None, "table"):
        wide = max(map(len, RULES))
        for severity, name, looks_for, *_ in rows:
            say(f"{severity:<11}  {name:<{wide}}  {looks_for}", indent=15 + wide)
    else:
        print_rows(("severity", "rule", "looks_for", "why", "limits", "source"), rows, settings.format or "csv")


def _explain(settings: Settings, name: str) -> None:
    from vinebook.audit.check import rule_named
    from vinebook.audit.check_page import explained

    rule = rule_named(name)
    told = [("rule", rule.name), ("severity", rule.severity), *explained(rule)]
    if settings.format == "json":
        click.echo(json.dumps(dict(told), ensure_ascii=False, indent=1))
    else:
        for heading, words in told:
            say(f"{heading:<14}  {words}", indent=16)


def _silence(settings: Settings, rule: str, block: str | None, reason: str) -> None:
    from vinebook.api import silence

    if block is None:
        raise WordsError("a rule is silenced for a block", "name it: --block CODE")
    silence(settings.open(), rule, block, reason, by=settings.who)
    settings.say(f"silenced {rule} for {block}; `vinebook strike silence {block}/{rule} --reason WHY` lifts it")


def _check(settings: Settings, blocks: tuple[str, ...], season: int | None) -> int:
    """Check and print; give how much was found."""
    from vinebook.api import check

    shows = not settings.quiet and sys.stderr.isatty()
    book = settings.open()
    report = check(
        book,
        blocks,
        season=season,
        units=_units(settings, book),
        progress=(lambda rule: click.echo(f"\r\033[K{rule}", nl=False, err=True)) if shows else None,
    )
    if shows:
        click.echo("\r\033[K", nl=False, err=True)
    match settings.format:
        case "json":
            _print_json(report)
        case "csv":
            from vinebook.cli.tables import print_rows

            print_rows(HEADINGS, (tuple(_flat(finding).values()) for finding in report.findings), "csv")
        case _:
            _print_table(report)
            settings.say(_summary(report))
    return len(report.findings)


def _units(settings: Settings, book: Book) -> Literal["metric", "us"]:
    """Give the units that were asked for, else for a table those of the book, else metric."""
    asked = settings.units
    if asked is None and settings.format in (None, "table"):
        from vinebook.records.listing import units_of_book

        with book.reading() as connection:
            asked = units_of_book(connection)
    return "us" if asked == "us" else "metric"


def _flat(finding: CheckFinding) -> dict[str, Any]:
    return {
        "severity": finding.severity,
        "rule": finding.rule,
        "blocks": ", ".join(finding.blocks),
        "seasons": finding.when,
        "kind": finding.kind,
        "key": finding.key,
        "record": f"#{finding.record}",
        "found": finding.found,
        "why": finding.why,
    }


def _print_json(report: CheckReport) -> None:
    click.echo(
        f'{{"format": {FORMAT}, "silenced": {json.dumps(dict(sorted(report.silenced.items())))}, "findings": [',
        nl=False,
    )
    for at, finding in enumerate(report.findings):
        told = _flat(finding) | {
            "blocks": list(finding.blocks),
            "seasons": list(finding.seasons),
            "record": finding.record,
        }
        click.echo(f"{',' if at else ''}\n {json.dumps(told, ensure_ascii=False)}", nl=False)
    click.echo("\n]}")


def _print_table(report: CheckReport) -> None:
    """Print findings under a heading for each rule."""
    for rule, grouped in groupby(report.findings, key=lambda finding: finding.rule):
        findings = list(grouped)
        click.echo(f"{findings[0].severity}: {rule} ({len(findings):,})")
        say(f"  {findings[0].why}", indent=2)
        for finding in findings[:SHOWN]:
            place = "  ".join(part for part in (", ".join(finding.blocks), finding.when) if part)
            say(f"    {place or 'book'}: {finding.found}", indent=6)
            say(f"      [{finding.kind} {finding.key}, #{finding.record}]", indent=7)
        if len(findings) > SHOWN:
            click.echo(f"    … and {len(findings) - SHOWN:,} more (--format csv has all)")


def _summary(report: CheckReport) -> str:
    from collections import Counter

    from vinebook.audit.check_rule import SEVERITIES

    counts = Counter(finding.severity for finding in report.findings)
    words = {"fault": "faults", "doubt": "doubts", "information": "for information"}
    parts = [
        f"{counts[severity]:,} {severity if counts[severity] == 1 and severity != 'information' else words[severity]}"
        for severity in SEVERITIES
        if counts[severity]
    ]
    told = ", ".join(parts) or "nothing looks wrong"
    silenced = report.silenced.total()
    return f"{told}; {silenced:,} silenced" if silenced else told
