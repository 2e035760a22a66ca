"""What recorder and reader may not do by plain SQL, tried by logging in as each: table by table, and ways round."""

from __future__ import annotations

from contextlib import nullcontext

import psycopg
import pytest
from psycopg import errors

from tests.team import OUTSIDER, Team
from vinebook.kinds import KINDS
from vinebook.records.grants import BOOK_TABLES, COUNTERS, corrected_columns
from vinebook.records.guards import GROWING
from vinebook.records.role_catalogue import roles_held
from vinebook.records.tables import METADATA

pytestmark = pytest.mark.postgresql
BOTH = ("recorder", "reader")


def refused(connection: psycopg.Connection, statement: str, *kinds: type[psycopg.Error]) -> str:
    """Run a statement that must be refused for want of a right, and give the server's words."""
    within = nullcontext() if connection.autocommit else connection.transaction()
    with pytest.raises(kinds or errors.InsufficientPrivilege) as caught, within:
        connection.execute(statement.encode())
    return str(caught.value)


def all_tables() -> list[str]:
    """Give every table of a book, the one of migrations too, as the definitions have them."""
    return [*METADATA.tables, "alembic_version"]


def columns_of(table: str) -> list[str]:
    """Give the columns of a table."""
    return ["version_num"] if table == "alembic_version" else [column.name for column in METADATA.tables[table].columns]


def test_no_table_is_left_out_of_the_grants(team: Team) -> None:
    with team.connect("owner") as connection:
        held = connection.execute("SELECT tablename::text FROM pg_tables WHERE schemaname = 'public'").fetchall()
    assert {name for (name,) in held} == set(BOOK_TABLES) == set(all_tables())


@pytest.mark.parametrize("who", BOTH)
def test_nobody_but_the_owner_deletes_or_empties_any_table_or_changes_what_is_kept(team: Team, who: str) -> None:
    with team.connect(who) as connection:
        for table in all_tables():
            connection.execute(f'SELECT count(*) FROM "{table}"'.encode())
            for statement in (
                f'DELETE FROM "{table}"',
                f'TRUNCATE "{table}"',
                f'TRUNCATE "{table}" CASCADE',
                f'ALTER TABLE "{table}" DISABLE TRIGGER ALL',
                f'ALTER TABLE "{table}" DISABLE TRIGGER USER',
                f'ALTER TABLE "{table}" ADD COLUMN more text',
                f'ALTER TABLE "{table}" OWNER TO {OUTSIDER}',
                f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY',
                f'DROP TABLE "{table}"',
                f'CREATE INDEX ON "{table}" ((1))',
                f'CREATE TRIGGER more BEFORE INSERT ON "{table}" FOR EACH ROW EXECUTE FUNCTION vinebook_refuse()',
                f'CREATE RULE more AS ON INSERT TO "{table}" DO INSTEAD NOTHING',
                f'LOCK TABLE "{table}" IN ACCESS EXCLUSIVE MODE',
                f"COMMENT ON TABLE \"{table}\" IS 'x'",
            ):
                assert "denied" in (told := refused(connection, statement)) or "must be owner" in told, statement
            # Of a right that one may not hand on PostgreSQL hands on nothing, with a warning.
            connection.execute(f'GRANT ALL ON "{table}" TO {OUTSIDER}'.encode())
        for table in (*GROWING, "alembic_version"):
            for column in columns_of(table):
                refused(connection, f'UPDATE "{table}" SET "{column}" = "{column}"')
    with team.desk("owner").book.reading() as asked:
        assert roles_held(asked).differences == ()


def test_a_recorder_updates_what_corrections_change_and_nothing_else(team: Team) -> None:
    with team.connect("recorder") as connection:
        for name, kind in KINDS.items():
            for column in columns_of(name):
                statement = f'UPDATE "{name}" SET "{column}" = "{column}" WHERE false'
                if column in corrected_columns(kind):
                    connection.execute(statement.encode())
                else:
                    refused(connection, statement)
        for column in columns_of("book"):
            statement = f'UPDATE book SET "{column}" = "{column}"'
            if column in COUNTERS:
                connection.execute(statement.encode())
            else:
                refused(connection, statement)
        for table in ("book", "alembic_version"):
            refused(connection, f"INSERT INTO {table} DEFAULT VALUES")


def test_a_recorder_never_touches_a_number_a_file_a_line_or_a_key() -> None:
    for name, kind in KINDS.items():
        fixed = {"record", "tally", "line", "sample", "counts", "mass_unit", *kind.key} - {"load"}
        assert fixed.isdisjoint(corrected_columns(kind)), name
        assert "struck_at" in corrected_columns(kind)
    assert corrected_columns(KINDS["load"]) == corrected_columns(KINDS["evidence"]) == ("struck_at",)


def test_a_reader_writes_nothing(team: Team) -> None:
    with team.connect("reader") as connection:
        for table in METADATA.tables.values():
            refused(connection, f'INSERT INTO "{table.name}" DEFAULT VALUES')
            for column in columns_of(table.name):
                refused(connection, f'UPDATE "{table.name}" SET "{column}" = "{column}"')
            refused(connection, f'SELECT * FROM "{table.name}" FOR UPDATE')
        refused(connection, "CREATE TEMPORARY TABLE mine (a integer)")


WAYS_ROUND = [
    "SET session_replication_role = replica",
    f"SET SESSION AUTHORIZATION {OUTSIDER}",
    "SET ROLE vinebook_owner",
    "CREATE TABLE more (a integer)",
    "CREATE VIEW more AS SELECT 1",
    "CREATE FUNCTION more() RETURNS integer LANGUAGE sql AS 'SELECT 1'",
    "CREATE SCHEMA more",
    "CREATE EXTENSION file_fdw",
    "CREATE ROLE more",
    "CREATE DATABASE more",
    "CREATE PUBLICATION more FOR ALL TABLES",
    "CREATE EVENT TRIGGER more ON ddl_command_start EXECUTE FUNCTION vinebook_refuse()",
    "DROP FUNCTION vinebook_follows() CASCADE",
    "DROP TRIGGER entry_is_signed ON entry",
    "ALTER FUNCTION vinebook_signed() RESET ALL",
    "CREATE OR REPLACE FUNCTION public.vinebook_signed() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NEW; END'",
    "ALTER SCHEMA public RENAME TO other",
    "DROP SCHEMA public CASCADE",
    "ALTER SYSTEM SET fsync = off",
    "COPY entry TO PROGRAM 'true'",
    "COPY entry FROM PROGRAM 'true'",
    "COPY entry TO '/dev/null'",
    "SELECT pg_read_file('/etc/passwd')",
    f"GRANT vinebook_owner TO {OUTSIDER}",
    "SECURITY LABEL ON TABLE entry IS 'x'",
]


@pytest.mark.parametrize("who", BOTH)
def test_no_way_leads_round(team: Team, who: str) -> None:
    with psycopg.connect(team.url(who), autocommit=True) as connection:
        for statement in WAYS_ROUND:
            kinds = (errors.InsufficientPrivilege, *([errors.InvalidParameterValue] if "LABEL" in statement else []))
            refused(connection, statement, *kinds)
        for role in (f"{team.database}_recorder", f"{team.database}_reader"):
            refused(connection, f'GRANT "{role}" TO {OUTSIDER}')
            refused(connection, f'ALTER ROLE "{role}" LOGIN')
        refused(connection, f'ALTER DATABASE "{team.database}" SET session_replication_role = replica')


def test_who_has_no_role_does_not_come_in(team: Team) -> None:
    with pytest.raises(psycopg.OperationalError, match="permission denied for database"):
        team.connect("outsider")


def test_no_table_of_ones_own_misleads_the_chain(team: Team) -> None:
    fake = "0" * 63 + "1"
    row = f"(7, 'at', 'by', session_user, 'load', 'x', '{{}}', '{fake}', '{fake}')"
    with team.connect("recorder") as connection:
        connection.execute("CREATE TEMPORARY TABLE entry (LIKE public.entry)")
        connection.execute(f"INSERT INTO pg_temp.entry VALUES (6, '', '', '', '', '', '', '', '{fake}')".encode())
        told = refused(connection, f"INSERT INTO public.entry VALUES {row}", errors.RaiseException)
    assert "an entry follows the newest one" in told


@pytest.mark.parametrize("claimed", ["vinebook_owner", "sqlite", "", "rquill "])
@pytest.mark.parametrize("who", ["recorder", "owner"])
def test_nobody_signs_with_anothers_name(team: Team, who: str, claimed: str) -> None:
    if who == "owner" and claimed == "vinebook_owner":
        claimed = "rquill"
    with team.connect(who) as connection:
        previous = connection.execute("SELECT hash FROM entry ORDER BY number DESC LIMIT 1").fetchone()
        assert previous is not None
        row = f"(2, 'at', 'by', '{claimed}', 'load', 'x', '{{}}', '{previous[0]}', '{'1' * 64}')"
        assert "an entry is signed by who is logged in" in refused(
            connection, f"INSERT INTO entry VALUES {row}", errors.RaiseException
        )


def test_an_entry_holds_the_login_whatever_role_it_took(team: Team) -> None:
    team.desk("recorder").load_texts(consignee="name\nBell Lane Cellar\n")
    with team.connect("recorder") as connection:
        connection.execute(f'SET ROLE "{team.database}_recorder"'.encode())
        name = connection.execute("SELECT session_user::text, (SELECT db_user FROM entry WHERE number = 2)").fetchone()
    assert name == ("rquill", "rquill")
