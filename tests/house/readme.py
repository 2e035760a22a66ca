"""Runs the console blocks of README.md in a folder of their own, and can write their output anew.

``python -m tests.house.readme`` writes README.md with what the commands print today.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)
HASH = re.compile(r"\b[0-9a-f]{64}\b")
MOMENT = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z")


def steady(text: str) -> str:
    """Give a text with what differs from run to run taken out."""
    return MOMENT.sub("TIME", HASH.sub("HASH", text))


def commands_of(block: str) -> list[str]:
    """Give the commands of a console block."""
    return [line[2:] for line in block.splitlines() if line.startswith("$ ")]


def run_in(folder: Path, command: str) -> str:
    """Run one command as a person would and give what it prints, errors included."""
    environment = {
        **os.environ,
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(TOP),
        "COLUMNS": "80",
        "VINEBOOK_BY": "R. Quill",
    }
    environment.pop("VINEBOOK_BOOK", None)
    command = re.sub(r"^vinebook\b", lambda _: f"{shlex.quote(sys.executable)} -m vinebook", command)
    done = subprocess.run(  # noqa: S602 - the commands are those of our own README
        command,
        shell=True,
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return done.stdout


def printed_anew(readme: str) -> str:
    """Give README with the output of every console block as it is today."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(TOP / "demo" / "first", folder / "demo" / "first")

        def anew(block: re.Match[str]) -> str:
            parts = []
            for command in commands_of(block[1]):
                output = run_in(folder, command).rstrip("\n")
                parts.append(f"$ {command}\n{output}\n" if output else f"$ {command}\n")
            return f"```console\n{''.join(parts)}```"

        return BLOCK.sub(anew, readme)


if __name__ == "__main__":
    page = TOP / "README.md"
    page.write_text(printed_anew(page.read_text(encoding="utf-8")), encoding="utf-8")
