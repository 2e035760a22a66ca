"""Triggers that stop accidents: the journal and kept files only grow, rows are struck and never deleted.

They stop accidents, not somebody who may drop triggers; a seal kept elsewhere shows that.
"""

from __future__ import annotations

from vinebook.kinds import KINDS
from vinebook.records.journal import NO_HASH

GROWING = ("entry", "tally", "reading", "tally_bytes", "reading_bytes")
"""Tables that only grow."""
_GROWS = "the journal and the kept files only grow"
_STRUCK = "rows are struck, never deleted"
_FIXED = "a row keeps its permanent number, file and line"
_CHAIN = "an entry follows the newest one and holds its hash"


def sqlite_guards() -> dict[str, str]:
    """Give the triggers of a SQLite book by name."""
    guards: dict[str, str] = {}

    def add(table: str, name: str, event: str, words: str, when: str = "") -> None:
        full = f"{table}_{name}"
        guards[full] = (
            f"CREATE TRIGGER {full} BEFORE {event} ON \"{table}\"{when} BEGIN SELECT RAISE(ABORT, '{words}'); END"
        )

    for table in GROWING:
        add(table, "keeps", "UPDATE", _GROWS)
        add(table, "stays", "DELETE", _GROWS)
    add(
        "entry",
        "follows",
        "INSERT",
        _CHAIN,
        " WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM entry) OR NEW.previous_hash IS NOT "
        f"coalesce((SELECT hash FROM entry WHERE number = NEW.number - 1), '{NO_HASH}')",
    )
    add("tally", "is_new", "INSERT", _GROWS, " WHEN EXISTS (SELECT 1 FROM tally WHERE number = NEW.number)")
    add("reading", "is_new", "INSERT", _GROWS, " WHEN EXISTS (SELECT 1 FROM reading WHERE tally = NEW.tally)")
    for table in ("tally_bytes", "reading_bytes"):
        add(
            table,
            "is_new",
            "INSERT",
            _GROWS,
            f" WHEN EXISTS (SELECT 1 FROM {table} WHERE tally = NEW.tally AND part = NEW.part)",
        )
    for table in KINDS:
        add(table, "stays", "DELETE", _STRUCK)
        add(table, "keeps", "UPDATE OF record, tally, line", _FIXED)
    return guards


def postgresql_guards() -> dict[str, list[str]]:
    """Give the functions and triggers of a PostgreSQL book by name, each as statements."""
    refuse = (
        "CREATE FUNCTION vinebook_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        "$$BEGIN RAISE EXCEPTION '%', TG_ARGV[0]; END$$"
    )
    follows = (
        "CREATE FUNCTION vinebook_follows() RETURNS trigger LANGUAGE plpgsql AS $$BEGIN "
        "IF NEW.number IS DISTINCT FROM (SELECT coalesce(max(number), 0) + 1 FROM entry) OR NEW.previous_hash "
        f"IS DISTINCT FROM coalesce((SELECT hash FROM entry WHERE number = NEW.number - 1), '{NO_HASH}') "
        f"THEN RAISE EXCEPTION '{_CHAIN}'; END IF; RETURN NEW; END$$"
    )
    guards: dict[str, list[str]] = {"vinebook_refuse": [refuse], "vinebook_follows": [follows]}

    def add(table: str, name: str, event: str, words: str) -> None:
        full = f"{table}_{name}"
        runs = f"FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('{words}')"
        guards[full] = [
            f'CREATE TRIGGER {full} BEFORE {event} ON "{table}" {runs}',
            f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER {full}',
        ]

    for table in GROWING:
        add(table, "keeps", "UPDATE", _GROWS)
        add(table, "stays", "DELETE", _GROWS)
        add(table, "is_kept", "TRUNCATE", _GROWS)
    guards["entry_follows"] = [
        "CREATE TRIGGER entry_follows BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION vinebook_follows()",
        "ALTER TABLE entry ENABLE ALWAYS TRIGGER entry_follows",
    ]
    for table in KINDS:
        add(table, "stays", "DELETE", _STRUCK)
        add(table, "is_kept", "TRUNCATE", _STRUCK)
        add(table, "keeps", "UPDATE OF record, tally, line", _FIXED)
    return guards
