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
_SIGNED = "an entry is signed by who is logged in (%), not by %"
_COUNTS = "the counters of a book only rise"
_FUNCTION = "RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS"
"""No table or function of who writes comes before those that a guard means."""


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
    refuse = f"CREATE FUNCTION vinebook_refuse() {_FUNCTION} $$BEGIN RAISE EXCEPTION '%', TG_ARGV[0]; END$$"
    follows = (
        f"CREATE FUNCTION vinebook_follows() {_FUNCTION} $$DECLARE last record; BEGIN "
        "EXECUTE format('SELECT number, hash FROM %I.%I ORDER BY number DESC LIMIT 1', TG_TABLE_SCHEMA, TG_TABLE_NAME) "
        "INTO last; IF NEW.number IS DISTINCT FROM coalesce(last.number, 0) + 1 OR NEW.previous_hash "
        f"IS DISTINCT FROM coalesce(last.hash, '{NO_HASH}') THEN RAISE EXCEPTION '{_CHAIN}'; END IF; RETURN NEW; END$$"
    )
    # An import copies entries that others signed: into a table that its own transaction made.
    signed = (
        f"CREATE FUNCTION vinebook_signed() {_FUNCTION} $$BEGIN IF NEW.db_user IS DISTINCT FROM session_user AND "
        "pg_current_xact_id()::xid IS DISTINCT FROM (SELECT xmin FROM pg_class WHERE oid = TG_RELID) "
        f"THEN RAISE EXCEPTION '{_SIGNED}', session_user, NEW.db_user; END IF; RETURN NEW; END$$"
    )
    counts = (
        f"CREATE FUNCTION vinebook_counts() {_FUNCTION} $$BEGIN IF NEW.next_record < OLD.next_record OR "
        f"NEW.next_tally < OLD.next_tally THEN RAISE EXCEPTION '{_COUNTS}'; END IF; RETURN NEW; END$$"
    )
    guards: dict[str, list[str]] = {
        "vinebook_refuse": [refuse],
        "vinebook_follows": [follows],
        "vinebook_signed": [signed],
        "vinebook_counts": [counts],
    }

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
    # A replica that is fed row by row takes entries as they were signed.
    guards["entry_is_signed"] = [
        "CREATE TRIGGER entry_is_signed BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION vinebook_signed()"
    ]
    # A recorder has the right to move them; a permanent number that is given twice could never be put right.
    guards["book_counts_on"] = [
        "CREATE TRIGGER book_counts_on BEFORE UPDATE ON book FOR EACH ROW EXECUTE FUNCTION vinebook_counts()",
        "ALTER TABLE book ENABLE ALWAYS TRIGGER book_counts_on",
    ]
    for table in KINDS:
        add(table, "stays", "DELETE", _STRUCK)
        add(table, "is_kept", "TRUNCATE", _STRUCK)
        add(table, "keeps", "UPDATE OF record, tally, line", _FIXED)
    return guards
