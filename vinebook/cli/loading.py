"""`load`: tallies in."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from vinebook.cli.completion import complete_kind
from vinebook.cli.settings import with_settings
from vinebook.cli.wrapping import say
from vinebook.errors import WordsError, grouped

if TYPE_CHECKING:
    from vinebook.cli.settings import Settings
    from vinebook.intake.load import LoadReport
    from vinebook.intake.striking import Replaced

LONGEST_SIZE = 18
"""Digits of a size."""
SIZES = {"": 1, "K": 1024, "M": 1024**2, "G": 1024**3}


@click.command("load", short_help="Read tallies into the book: all of them or none.")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path())
@click.option("--dry-run", is_flag=True, help="Read and check everything, store nothing.")
@click.option(
    "--kind", metavar="KIND", shell_complete=complete_kind, help="Kind of all files, where headings fit more than one."
)
@click.option("--max-size", metavar="SIZE", default="256M", show_default=True, help="Largest file, such as 500M or 2G.")
@click.option(
    "--replaces", metavar="FILE", help="Strike the rows of this earlier file (name or number) in the same step."
)
@click.option("--reason", metavar="WHY", default="", help="Why an earlier file is replaced.")
@click.option("--also-amended", is_flag=True, help="Strike rows of the earlier file that were amended since, too.")
@with_settings
def load_command(
    settings: Settings,
    files: tuple[str, ...],
    dry_run: bool,
    kind: str | None,
    max_size: str,
    replaces: str | None,
    reason: str,
    also_amended: bool,
) -> None:
    """Read tally files (CSV, or XLSX workbooks) into the book.

    Several files may be named in any order; they are read in the order their kinds need. Either the whole
    call comes in or nothing does, and every fault is told by file, line and column, or sheet and cell. Each file
    is kept in the book as it came. The same bytes a second time change nothing.

    \b
    Examples:
      vinebook load places/*.csv counts-2024.csv
      vinebook load --dry-run prunings.csv counts.xlsx
      vinebook load mended.csv --replaces counts-2024.csv --reason 'wrong rows'
    """
    from vinebook.api import load, replace

    book, size = settings.open(), _bytes(max_size)
    replaced = None
    if replaces is None:
        _refuse_lone(reason, also_amended)
        report = load(
            book, files, by=settings.who, kind=kind, dry_run=dry_run, max_bytes=size, progress=settings.progress()
        )
    else:
        if len(files) != 1:
            raise WordsError("one file replaces one earlier file", "name one file with --replaces")
        report, replaced = replace(
            book,
            files[0],
            replaces,
            reason=reason,
            by=settings.who,
            also_amended=also_amended,
            kind=kind,
            dry_run=dry_run,
            max_bytes=size,
            progress=settings.progress(),
        )
    _tell(settings, report, replaced)


def _tell(settings: Settings, report: LoadReport, replaced: Replaced | None) -> None:
    """Say what came in, what is unusual in it, and which drawn vines were visited."""
    for words in grouped(report.warnings):
        say(f"warning: {words}", indent=2, err=True)
    if report.warnings_beyond:
        click.echo(f"… and {report.warnings_beyond:,} more warnings", err=True)
    if settings.format == "json":
        click.echo(json.dumps(_as_json(report), ensure_ascii=False, indent=1))
        return
    if replaced is not None:
        numbers = ", ".join(map(str, replaced.tallies or (replaced.tally,)))
        tallies = f"{'tallies' if len(replaced.tallies) > 1 else 'tally'} {numbers}"
        settings.say(f"struck {_counted(replaced.rows, 'row')} of {replaced.name} ({tallies})")
    for tally in report.tallies:
        if tally.already:
            settings.say(f"{tally.name}: the same bytes came in {tally.already}; nothing done")
            continue
        with_samples = f", {_counted(tally.samples, 'new sample')}" if tally.samples else ""
        again = f"; the same bytes came in {tally.again}" if tally.again else ""
        settings.say(f"{tally.name}: {tally.kind}, {_counted(tally.rows, 'row')}{with_samples}{again}")
    for note in report.notes:
        settings.say(note)
    if not report.stored:
        settings.say("dry run: nothing was stored")


def _refuse_lone(reason: str, also_amended: bool) -> None:
    if reason or also_amended:
        raise WordsError("nothing is replaced", "name the earlier file with --replaces")


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _as_json(report: LoadReport) -> dict[str, object]:
    return {
        "stored": report.stored,
        "seal": report.seal,
        "tallies": [{name: getattr(tally, name) for name in tally.__dataclass_fields__} for tally in report.tallies],
        "warnings": [str(warning) for warning in report.warnings],
        "notes": report.notes,
    }


def _bytes(words: str) -> int:
    number, unit = words.strip().upper().removesuffix("B"), ""
    if number[-1:] in SIZES and number:
        number, unit = number[:-1], number[-1]
    if not number.isdecimal() or len(number) > LONGEST_SIZE or not int(number):
        raise WordsError(f"{words!r} is not a size", "a number of bytes, or one such as 500M or 2G")
    return int(number) * SIZES[unit]
