"""Entries are signed: on PostgreSQL nobody writes another's name into db_user, and counters only rise.

Written out in full, so that it stays what it was. A book in a file knows no login and stays as it is; no row changes.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

POSTGRESQL_GUARDS = (
    "CREATE OR REPLACE FUNCTION vinebook_refuse() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$BEGIN RAISE EXCEPTION '%', TG_ARGV[0]; END$$",
    "CREATE OR REPLACE FUNCTION vinebook_follows() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$DECLARE last record; BEGIN EXECUTE format('SELECT number, hash FROM %I.%I ORDER BY number DESC LIMIT 1', TG_TABLE_SCHEMA, TG_TABLE_NAME) INTO last; IF NEW.number IS DISTINCT FROM coalesce(last.number, 0) + 1 OR NEW.previous_hash IS DISTINCT FROM coalesce(last.hash, '0000000000000000000000000000000000000000000000000000000000000000') THEN RAISE EXCEPTION 'an entry follows the newest one and holds its hash'; END IF; RETURN NEW; END$$",
    "CREATE FUNCTION vinebook_signed() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$BEGIN IF NEW.db_user IS DISTINCT FROM session_user AND pg_current_xact_id()::xid IS DISTINCT FROM (SELECT xmin FROM pg_class WHERE oid = TG_RELID) THEN RAISE EXCEPTION 'an entry is signed by who is logged in (%), not by %', session_user, NEW.db_user; END IF; RETURN NEW; END$$",
    "CREATE FUNCTION vinebook_counts() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog, pg_temp AS $$BEGIN IF NEW.next_record < OLD.next_record OR NEW.next_tally < OLD.next_tally THEN RAISE EXCEPTION 'the counters of a book only rise'; END IF; RETURN NEW; END$$",
    "CREATE TRIGGER book_counts_on BEFORE UPDATE ON book FOR EACH ROW EXECUTE FUNCTION vinebook_counts()",
    "ALTER TABLE book ENABLE ALWAYS TRIGGER book_counts_on",
    "CREATE TRIGGER entry_is_signed BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION vinebook_signed()",
)


def upgrade() -> None:
    """Make the guards anew, so that no table of one's own misleads them, and add those of name and counters."""
    if op.get_bind().dialect.name == "postgresql":
        for guard in POSTGRESQL_GUARDS:
            op.execute(sa.text(guard))
