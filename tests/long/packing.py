"""Tens of thousands of damaged data packages at `import`: each is refused by place, or comes in as the same book.

    python tests/long/packing.py [HOW_MANY [SEED]]

It prints how many of each way were refused, how many came in equal, and how many were no damage after all. The tables
of each new book are laid by the statements that the migrations left behind in the first: nothing of them is damaged
here, and running the migrations was half of the time.
"""

from __future__ import annotations

import contextlib
import random
import sqlite3
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING
from unittest import mock

from tests.desk import Desk
from tests.exchange.damaging import Damager
from tests.exchange.packed import pack
from vinebook.api import export_package
from vinebook.records import schema
from vinebook.records.schema import make_book

if TYPE_CHECKING:
    from sqlalchemy import Connection

PACKAGES = 20_000
TOLD_EVERY = 200


def main() -> None:
    """Damage and import."""
    packages = int(sys.argv[1]) if len(sys.argv) > 1 else PACKAGES
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    chance = random.Random(seed)  # noqa: S311 - seeded damage needs no cryptography
    came: Counter[tuple[str, str]] = Counter()
    wrong: list[str] = []
    begun = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="vinebook-packing-") as name, contextlib.ExitStack() as stack:
        folder = Path(name)
        make_book(str(folder / "book.db"), by="KL")
        desk = Desk(str(folder / "book.db"), folder)
        pack(desk, seed=seed, corrections=20)
        export_package(desk.book, folder / "whole")
        (folder / "work").mkdir()
        damager = Damager(folder / "whole", folder / "work", chance)
        ways = list(damager.ways)
        laid = _laid_tables(folder / "book.db")

        def lay(connection: Connection) -> None:
            for statement in laid:
                connection.exec_driver_sql(statement)

        stack.enter_context(mock.patch.object(schema, "_migrate", lay))
        for at in range(packages):
            way = ways[at % len(ways)]
            try:
                came[way, damager.once(way)] += 1
            except Exception:  # noqa: BLE001 - whatever it is, it is what this run looks for
                came[way, "wrong"] += 1
                wrong.append(f"{way}, package {at}:\n{traceback.format_exc()}")
                print(wrong[-1], file=sys.stderr, flush=True)
            if at % TOLD_EVERY == TOLD_EVERY - 1:
                print(f"{at + 1:,} packages in {time.monotonic() - begun:,.0f} s: {_totals(came)}", flush=True)
    for way in ways:
        told = ", ".join(f"{count:,} {what}" for (of, what), count in sorted(came.items()) if of == way)
        print(f"{way:<12} {told}")
    print(f"{packages:,} packages in {time.monotonic() - begun:,.0f} s: {_totals(came)}")
    if wrong:
        sys.exit(f"{len(wrong):,} packages ended badly (seed {seed})")


def _laid_tables(book: Path) -> list[str]:
    """Give the statements that lay the tables and guards of a book, and the row that names its schema."""
    found = (
        "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' "
        "ORDER BY type = 'trigger', rowid"
    )
    with contextlib.closing(sqlite3.connect(book)) as raw:
        statements = [words for (words,) in raw.execute(found)]
    return [*statements, f"INSERT INTO alembic_version VALUES ('{schema.HEAD}')"]


def _totals(came: Counter[tuple[str, str]]) -> str:
    totals = Counter(dict.fromkeys(("refused", "equal", "same", "wrong"), 0))
    for (_, what), count in came.items():
        totals[what] += count
    return ", ".join(f"{count:,} {what}" for what, count in totals.items())


if __name__ == "__main__":
    main()
