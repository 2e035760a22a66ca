"""What an export is measured against: every table's rows by plain SQL through Python's csv, and nothing else.

Called as ``plain_export.py BOOK FOLDER``; prints how many tables it wrote. Kept bytes and readings are not written,
nothing is hashed, no text is looked at and no schema is told.
"""

from __future__ import annotations

import csv
import sqlite3
import sys
from pathlib import Path


def main(book: Path, folder: Path) -> None:
    """Write the tables of a book."""
    folder.mkdir()
    raw = sqlite3.connect(book)
    tables = [name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    written = 0
    for table in tables:
        if table.endswith("_bytes") or table == "alembic_version":
            continue
        cursor = raw.execute(f'SELECT * FROM "{table}" ORDER BY 1')
        with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream)
            writer.writerow(column[0] for column in cursor.description)
            writer.writerows(cursor)
        written += 1
    raw.close()
    print(written)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
