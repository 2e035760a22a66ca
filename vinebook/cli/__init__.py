"""What people type. The only place that knows click; each command is imported when it is called."""

from __future__ import annotations

import atexit
import gc
import importlib
import io
import os
import sys
from pathlib import Path
from typing import Any

import click

from vinebook import __version__
from vinebook.cli.settings import Settings, shared_options
from vinebook.errors import FindingsError, VinebookError, grouped

COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("books", "Make an empty book."),
    "upgrade": ("books", "Bring a book up to date, after a copy."),
    "form": ("forms", "Print an empty form, or write one for each kind."),
    "load": ("loading", "Read tallies into the book: all of them or none."),
    "add": ("correcting", "Add one record, typed by hand."),
    "amend": ("correcting", "Amend fields of one record, with a reason."),
    "strike": ("correcting", "Strike one record, with a reason."),
    "list": ("listing", "List the records of a kind with their keys."),
    "show": ("listing", "Show one record and where it came from."),
    "figures": ("figures", "Work out the figures of blocks and seasons."),
    "draw": ("drawing", "Choose vines to count; how many are enough."),
    "nodes": ("nodes", "Say how many nodes to keep: the record, and five ways."),
    "fruitfulness": ("fruitfulness", "Say where the fruit sits: by node, spur against cane."),
    "crop": ("crop", "Say how much crop is coming, and how earlier estimates did."),
    "report": ("reports", "Print what people hand on, as PDF."),
    "decide": ("deciding", "Record a decision, and freeze the figures it rests on."),
    "trail": ("trail", "Follow decisions, or a weigh ticket, from evidence to outcome."),
    "tickets": ("tickets", "Sum weigh tickets: by consignee, day, pick, block or ticket."),
    "check": ("checking", "Say what looks wrong, worst first."),
    "verify": ("verifying", "Check that journal, kept files and tables agree."),
    "export": ("packages", "Write the book as a data package: CSV, JSON and the kept files."),
    "import": ("packages", "Make a book from a data package, and verify it."),
    "backup": ("copies", "Copy the book while it is in use, and verify the copy."),
    "restore": ("copies", "Bring a verified copy back as the book."),
    "roles": ("roles", "Say who may do what in a book on PostgreSQL."),
    "guide": ("guide", "Read the documentation pages."),
}
"""Every command: the module that holds it, and its line in the help."""


class LazyGroup(click.Group):
    """A group that knows its commands by name and imports one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - the signature is click's
        """Give the commands in the order in which one meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import a command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"vinebook.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, f"{cmd_name}_command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the commands' lines without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command, or name the nearest ones."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            import difflib

            near = difflib.get_close_matches(name, COMMANDS, n=2)
            hint = f" Did you mean {' or '.join(near)}?" if near else " `vinebook --help` lists them."
            ctx.fail(f"there is no command {name!r}.{hint}")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - the signature is click's
        """Run a command; what stops it is told in words and an exit status."""
        try:
            done = super().invoke(ctx)
            sys.stdout.flush()
        except VinebookError as trouble:
            tell(trouble)
            ctx.exit(trouble.exit_status)
        except BrokenPipeError:
            _drop_output()
            ctx.exit(0)
        except KeyboardInterrupt:
            _wipe_progress()
            click.echo("stopped; nothing was stored by the step that was under way", err=True)
            ctx.exit(130)
        except OSError as trouble:
            _tell_system(trouble)
            ctx.exit(1)
        return done


def _tell_system(trouble: OSError) -> None:
    """Write what the system refused."""
    where = f"{trouble.filename}: " if trouble.filename else ""
    click.echo(f"vinebook: {where}{trouble.strerror or trouble}", err=True)
    _drop_output()


def _drop_output() -> None:
    """Send what is still to be printed nowhere, so that closing a broken output brings no second error."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError:
        # There is no output behind it to drop.
        return


def _wipe_progress() -> None:
    """Take away the line of a progress that stopped on its way."""
    if sys.stderr.isatty():
        click.echo("\r\033[K", nl=False, err=True)


def tell(trouble: VinebookError) -> None:
    """Write an error for a person, wrapped on a terminal."""
    from vinebook.cli.wrapping import say

    _wipe_progress()
    if isinstance(trouble, FindingsError):
        for words in grouped(trouble.findings):
            say(words, indent=2, err=True)
        if trouble.beyond:
            click.echo(f"… and {trouble.beyond:,} more", err=True)
        if trouble.faultless:
            say(f"no fault in: {', '.join(trouble.faultless)}", indent=2, err=True)
    for difference in getattr(trouble, "differences", ()):
        say(difference, indent=2, err=True)
    say(f"vinebook: {trouble.message}", indent=2, err=True)
    if trouble.hint:
        say(f"  {trouble.hint}", indent=2, err=True)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@shared_options
@click.version_option(__version__, message="vinebook %(version)s")
@click.pass_context
def vinebook(ctx: click.Context, /, **given: Any) -> None:  # noqa: ANN401 - options by name
    """Keep the record of wine-grape blocks, season after season.

    A book (one file) holds vineyards, blocks and everything counted, weighed, cut and picked. Tallies go in
    with `load`, figures come out with `figures`, and `report` prints what people hand on.

    \b
    A first round:
      vinebook new                         an empty book, vinebook.db
      vinebook form vineyard block         which headings a tally has
      vinebook load places.csv counts.csv  tallies in, in any order
      vinebook figures A1                  what the counts mean
      vinebook report history A1 -o a1.pdf
    """
    ctx.obj = Settings().changed(given)


def main() -> None:
    """Run the command line; even a fault of our own is told in words, unless VINEBOOK_TRACEBACK is set."""
    # Vinebook multiplies no matrices: the threads that numpy would start for that only cost start-up.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Imports leave no garbage: looking for it every 700 objects takes a tenth of a short command.
    gc.set_threshold(50_000)
    # Nor does a program that ends: tidying up every module that was loaded takes another fifth.
    atexit.register(gc.freeze)
    # A stream that whoever started us has closed is None: nothing is read there, and the book must not take its place.
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - stays open
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a sign shows its number.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        vinebook(prog_name="vinebook")
    except OSError as trouble:
        _tell_system(trouble)
        sys.exit(1)
    except Exception as trouble:
        if os.environ.get("VINEBOOK_TRACEBACK"):
            raise
        click.echo(f"vinebook: a fault of the program itself: {type(trouble).__name__}: {trouble}", err=True)
        click.echo("  set VINEBOOK_TRACEBACK=1, run it again, and report what it prints", err=True)
        sys.exit(1)
