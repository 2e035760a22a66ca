"""Keeps a book of an earlier schema: the program of that day makes it, with rows in every table it had.

``python -m tests.records.keeping COMMIT`` takes the newest commit of that schema, runs its own command line, and keeps
`full_NNNN.db.gz`, what it said of the book in `full_NNNN.json`, and `full_NNNN.zip` where it could export a package.
Run it before a migration is added; a test asks for it.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import os
import re
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

KEPT = Path(__file__).parent
TOP = KEPT.parents[1]
EXAMPLES = """
import sys
from pathlib import Path
from vinebook.kinds.examples import EXAMPLES
out, had = Path(sys.argv[1]), {path.stem for path in Path("demo/first").glob("*.csv")}
for kind, text in EXAMPLES.items():
    if kind not in had:
        (out / f"{kind}.csv").write_text(text, encoding="utf-8")
"""
"""Writes the old program's own example of each kind that `demo/first` has no tally of."""
OLD_GATE = "vineyard,code,name,row_direction,from_season\nFirst Light,A0,Old Gate,20,1990\n"
"""The block that the examples name as the earlier one."""
LATER = "block,date,chosen,counted_by,row,vine,state,clusters\nA1,2024-08-01,random,RQ,2,7,bearing,21\n"
STEPS = (
    ("amend", "event", "A1/2024-06-18/hail", "share_hit=15", "--reason", "walked the rows again"),
    ("strike", "maturity_sample", "A1/2024-09-12/1", "--reason", "another block's berries"),
    (
        "add",
        "load",
        "--supersedes",
        "Bell Lane scale/2024/121",
        "--reason",
        "misread",
        "number=121A",
    ),
)
_OF_2025 = ("A1", "--season", "2025", "--decided-on", "2025-01-22", "--reason", "strong wood")
DECISION = (("decide", *_OF_2025, "--decides", "nodes_to_keep", "--value", "26", "--words", "26 nodes"),)
"""Freezes evidence; the first two schemas had no such table and no such command."""


def keep(commit: str) -> str:
    """Make and keep the book of the program of a commit; give its schema."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        old, tallies, book = folder / "old", folder / "tallies", folder / "book.db"
        packed = subprocess.run(["git", "archive", commit], cwd=TOP, stdout=subprocess.PIPE, check=True).stdout
        with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
            archive.extractall(old, filter="data")
        kept = ("PATH", "HOME", "LANG")
        environment = {name: value for name, value in os.environ.items() if name in kept}
        environment |= {"PYTHONPATH": str(old), "VINEBOOK_BOOK": str(book), "VINEBOOK_BY": "R. Quill"}

        def run(*words: str) -> str:
            done = subprocess.run(
                [sys.executable, *words], cwd=old, env=environment, stdout=subprocess.PIPE, text=True, check=True
            )
            return done.stdout

        def vinebook(*words: str) -> str:
            return run("-m", "vinebook", *words)

        tallies.mkdir()
        run("-c", EXAMPLES, str(tallies))
        (tallies / "block.csv").write_text(OLD_GATE, encoding="utf-8")
        (tallies / "later.csv").write_text(LATER, encoding="utf-8")
        vinebook("new")
        vinebook("load", *map(str, sorted((old / "demo" / "first").glob("*.csv"))))
        vinebook("load", *map(str, sorted(tallies.glob("*.csv"))))
        commands = vinebook("--help")
        for step in (*STEPS, *(DECISION if "  decide " in commands else ())):
            vinebook(*step)
        told = vinebook("verify")
        text = (old / "vinebook" / "records" / "schema.py").read_text(encoding="utf-8")
        schema = _found(r'^HEAD = "(\d{4})"', text)
        said = {
            "commit": commit,
            "seal": _found(r"\b([0-9a-f]{64})\b", told),
            "verify": told.splitlines()[0],
            "figures": json.loads(vinebook("figures", "--format", "json")),
        }
        (KEPT / f"full_{schema}.json").write_text(json.dumps(said, indent=1) + "\n", encoding="utf-8")
        vinebook("backup", str(folder / "whole.db"))
        (KEPT / f"full_{schema}.db.gz").write_bytes(gzip.compress((folder / "whole.db").read_bytes(), mtime=0))
        if "  export " in commands:
            vinebook("export", str(folder / "package"))
            with zipfile.ZipFile(KEPT / f"full_{schema}.zip", "w", zipfile.ZIP_DEFLATED) as package:
                for path in sorted((folder / "package").rglob("*")):
                    package.write(path, path.relative_to(folder / "package"))
    return schema


def _found(pattern: str, text: str) -> str:
    found = re.search(pattern, text, re.MULTILINE)
    if found is None:
        message = f"nothing like {pattern} in {text}"
        raise ValueError(message)
    return found[1]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("commit", help="the newest commit of the schema")
    print(keep(parser.parse_args().commit))
