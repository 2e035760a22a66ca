"""`decide`: a choice with its reason, and the figures that stood then as its evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_block, complete_season
from vinebook.cli.given import YEAR
from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.kinds.given import DECISION

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings


@click.command("decide", short_help="Record a decision, and freeze the figures it rests on.")
@click.argument("block", metavar="[BLOCK]", required=False, shell_complete=complete_block)
@click.option("--season", type=YEAR, metavar="YEAR", shell_complete=complete_season, help="Season that it is for.")
@click.option(
    "--decides",
    type=click.Choice(DECISION.field("decides").choices),
    metavar="WHAT",
    help=f"What is decided: {', '.join(DECISION.field('decides').choices)}.",
)
@click.option("--value", default="", metavar="NUMBER", help="The number decided, such as nodes a vine.")
@click.option("--words", default="", metavar="WORDS", help="The decision in words.")
@click.option("--reason", default="", metavar="WHY", help="Why; also why an earlier one is superseded.")
@click.option("--decided-by", default="", metavar="NAME", help="By whom; else who enters it (--by).")
@click.option("--decided-on", default="", metavar="DATE", help="When; else today.")
@click.option(
    "--expect", nargs=3, metavar="FIGURE LOW HIGH", help="What is expected, in the figure's metric unit: 5 8."
)
@click.option("--review-on", default="", metavar="DATE", help="When the outcome will be looked at.")
@click.option(
    "--evidence",
    multiple=True,
    metavar="FIGURE[/YEAR]",
    help="Keep this figure as evidence, not all; may stand several times; `none` keeps none.",
)
@click.option("--supersedes", metavar="KEY", help="The earlier decision that this one takes the place of.")
@with_settings
def decide_command(
    settings: Settings,
    block: str | None,
    season: int | None,
    decides: str | None,
    value: str,
    words: str,
    reason: str,
    decided_by: str,
    decided_on: str,
    expect: tuple[str, str, str] | None,
    review_on: str,
    evidence: tuple[str, ...],
    supersedes: str | None,
) -> None:
    """Record a decision for a BLOCK and season, with its reason.

    The block's figures that are known or pending now, of the three seasons before and of that season, are frozen
    beside it with the rows they came from. What is corrected later does not change what the decision saw; `trail`
    shows both.

    \b
    Examples:
      vinebook decide A1 --season 2025 --decides nodes_to_keep --value 24 \\
        --words '24 nodes on spurs of two' --reason 'ratio within its band' \\
        --expect yield_to_prunings 4 7 --review-on 2026-02-15
      vinebook decide --supersedes A1/2025/1 --value 22 --words '22 nodes' \\
        --reason 'a tenth of the buds is dead'
    """
    from vinebook.api import decide
    from vinebook.audit.deciding import Choice

    choice = Choice(decides or "", words, reason, value, decided_by, decided_on, expect, review_on)
    book = settings.open()
    done = decide(book, block, season, choice, by=settings.who, evidence=evidence, supersedes=supersedes)
    for warning in done.warnings:
        say(f"warning: {warning}", err=True)
    took = f", which supersedes {done.superseded}" if done.superseded else ""
    seasons = f"{done.first_season} to {done.last_season}"
    kept = f"{done.frozen} figures of {seasons} frozen as its evidence" if done.frozen else "no evidence was frozen"
    settings.say(f"decided {done.key} (#{done.record}){took}; {kept}")
