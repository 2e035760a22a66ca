"""The tables that the kinds give and the tables that the migrations make are the same, looked at in live databases."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import inspect

from vinebook.records.engine import engine_for
from vinebook.records.guards import postgresql_guards, sqlite_guards
from vinebook.records.schema import HEAD, make_book
from vinebook.records.tables import METADATA
from vinebook.resources import migrations_folder

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Connection

    from tests.postgresql import Server

POSTGRESQL_TEXTS = {
    "columns": (
        "SELECT c.relname, a.attname, a.attnum, format_type(a.atttypid, a.atttypmod), a.attnotnull, "
        "pg_get_expr(d.adbin, d.adrelid), col_description(c.oid, a.attnum) "
        "FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid LEFT JOIN pg_attrdef d ON d.adrelid = c.oid "
        "AND d.adnum = a.attnum WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace AND a.attnum > 0"
    ),
    "constraints": (
        "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint "
        "WHERE connamespace = 'public'::regnamespace"
    ),
    "indexes": "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "triggers": (
        "SELECT tgrelid::regclass::text, tgname, tgenabled::text, pg_get_triggerdef(oid) FROM pg_trigger "
        "WHERE NOT tgisinternal"
    ),
    "functions": (
        "SELECT proname, '', pg_get_functiondef(oid) FROM pg_proc WHERE pronamespace = 'public'::regnamespace"
    ),
}


def normalised(sql: str | None) -> str:
    """Give a statement without the accidents of its writing: blanks, needless quotes, case of words, CHECK order."""
    words = re.sub(r"\s+", " ", (sql or "").replace('"', "")).strip()
    return re.sub(r"\s*([(),])\s*", r"\1", words).upper()


def parts_of_table(sql: str) -> set[str]:
    """Give the columns and constraints of a CREATE TABLE, in whichever order, and what stands behind them."""
    words = normalised(sql)
    inner, behind = words[words.index("(") + 1 : words.rindex(")")], words[words.rindex(")") + 1 :]
    parts, depth, part = set(), 0, ""
    for sign in inner:
        depth += (sign == "(") - (sign == ")")
        if sign == "," and not depth:
            parts.add(part)
            part = ""
        else:
            part += sign
    return {*parts, part, f"BEHIND: {behind.strip()}"}


def shape_of(connection: Connection) -> dict[str, Any]:
    """Give everything that a schema is, as the database itself tells it."""
    shape: dict[str, Any] = {}
    if connection.dialect.name == "postgresql":
        for what, query in POSTGRESQL_TEXTS.items():
            for table, name, *rest in connection.exec_driver_sql(query).all():
                if table != "alembic_version":
                    shape[f"{what} {table} {name}"] = [normalised(str(one)) for one in rest]
        return shape
    query = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
    for kind, name, sql in connection.exec_driver_sql(query).all():
        if name != "alembic_version":
            shape[f"{kind} {name}"] = parts_of_table(sql) if kind == "table" else normalised(sql)
    for name, *rest in connection.exec_driver_sql("PRAGMA table_list").all():
        _ = name
        if rest[0] != "alembic_version" and not rest[0].startswith("sqlite_"):
            shape[f"list {rest[0]}"] = rest
            shape[f"columns {rest[0]}"] = connection.exec_driver_sql(f'PRAGMA table_info("{rest[0]}")').all()
    return shape


def make_from_kinds(url: str) -> None:
    """Make the tables and guards as METADATA and guards.py say."""
    engine = engine_for(url, making=True)
    with engine.connect() as connection, connection.execution_options(writes=True).begin():
        METADATA.create_all(connection)
        if connection.dialect.name == "postgresql":
            statements = [statement for guard in postgresql_guards().values() for statement in guard]
        else:
            statements = list(sqlite_guards().values())
        for statement in statements:
            # exec_driver_sql would read a % of PL/pgSQL as a mark.
            connection.exec_driver_sql(
                statement.replace("%", "%%") if connection.dialect.name != "sqlite" else statement
            )
    engine.dispose()


def shape_at(url: str, *statements: str) -> dict[str, Any]:
    """Give the shape of a database after some statements, which are rolled back."""
    engine = engine_for(url)
    with engine.connect() as connection:
        transaction = connection.execution_options(writes=True).begin()
        for statement in statements:
            connection.exec_driver_sql(statement)
        shape = shape_of(connection)
        transaction.rollback()
    engine.dispose()
    return shape


@pytest.fixture
def migrated(empty_url: str) -> str:
    make_book(empty_url, by="KL")
    return empty_url


@pytest.fixture
def from_kinds(migrated: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    if not migrated.startswith("postgresql"):
        make_from_kinds(str(tmp_path / "kinds.db"))
        yield str(tmp_path / "kinds.db")
        return
    server: Server = request.getfixturevalue("postgresql_server")
    url = server.create("from_kinds")
    make_from_kinds(url)
    yield url
    server.drop("from_kinds")


def test_kinds_and_migrations_make_the_same_schema(migrated: str, from_kinds: str) -> None:
    one, other = shape_at(migrated), shape_at(from_kinds)
    assert len(one) > 100
    assert {name: (one.get(name), other.get(name)) for name in {*one, *other} if one.get(name) != other.get(name)} == {}


SQLITE_DRIFTS = [
    "ALTER TABLE block ADD COLUMN soil TEXT",
    "DROP TRIGGER entry_follows",
    "DROP INDEX uq_block_key",
    "CREATE INDEX ix_more ON block (name)",
    "CREATE TABLE extra (a TEXT) STRICT",
    "DROP TABLE event",
]
POSTGRESQL_DRIFTS = [
    "ALTER TABLE block ADD COLUMN soil text",
    "ALTER TABLE block ALTER COLUMN name SET NOT NULL",
    "ALTER TABLE block DROP CONSTRAINT ck_block_row_direction_degrees_is_possible",
    "ALTER TABLE entry DISABLE TRIGGER entry_follows",
    "ALTER TABLE entry ENABLE TRIGGER entry_keeps",
    "DROP TRIGGER entry_is_kept ON entry",
    "DROP TRIGGER entry_is_signed ON entry",
    "ALTER FUNCTION vinebook_follows() RESET search_path",
    "DROP INDEX uq_block_key",
    "COMMENT ON COLUMN block.name IS 'another'",
    "CREATE OR REPLACE FUNCTION vinebook_refuse() RETURNS trigger LANGUAGE plpgsql AS $$BEGIN RETURN NULL; END$$",
]


@pytest.mark.parametrize("statement", SQLITE_DRIFTS)
def test_the_comparison_sees_a_drift_on_sqlite(sqlite_book: str, statement: str) -> None:
    assert shape_at(sqlite_book, statement) != shape_at(sqlite_book)


@pytest.mark.postgresql
@pytest.mark.parametrize("statement", POSTGRESQL_DRIFTS)
def test_the_comparison_sees_a_drift_on_postgresql(postgresql_book: str, statement: str) -> None:
    assert shape_at(postgresql_book, statement) != shape_at(postgresql_book)


def test_the_comparison_sees_a_check_that_says_something_else(sqlite_book: str) -> None:
    changed = "UPDATE sqlite_master SET sql = replace(sql, '<= 360', '<= 361') WHERE name = 'block'"
    found = shape_at(sqlite_book, "PRAGMA writable_schema = ON", changed)
    expected = shape_at(sqlite_book)
    assert {name for name in expected if found.get(name) != expected[name]} == {"table block"}


def test_every_table_of_sqlite_is_strict(sqlite_book: str) -> None:
    engine = engine_for(sqlite_book)
    with engine.connect() as connection:
        strict = {row[1]: row[5] for row in connection.exec_driver_sql("PRAGMA table_list").all()}
    engine.dispose()
    assert {name for name in METADATA.tables if strict[name] != 1} == set()


def test_every_name_of_a_constraint_is_ours(book_url: str) -> None:
    engine = engine_for(book_url)
    with engine.connect() as connection:
        looked = inspect(connection)
        for table in METADATA.tables:
            names = [key["name"] for key in looked.get_foreign_keys(table)] + [looked.get_pk_constraint(table)["name"]]
            names += [check["name"] for check in looked.get_check_constraints(table)]
            assert all(name and re.match(r"(pk|fk|ck)_", name) for name in names), (table, names)
            assert all(key["options"].get("ondelete") == "RESTRICT" for key in looked.get_foreign_keys(table))
    engine.dispose()


def test_the_literal_head_is_the_newest_migration() -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    folder = ScriptDirectory.from_config(config)
    assert folder.get_heads() == [HEAD]
    assert [script.revision for script in folder.walk_revisions()] == sorted(
        (path.name[:4] for path in (migrations_folder() / "versions").glob("0*.py")), reverse=True
    )


def test_migrations_import_nothing_of_ours() -> None:
    for path in (migrations_folder() / "versions").glob("*.py"):
        assert "vinebook" not in re.sub(r"vinebook_(refuse|follows|signed|counts)|\"[^\"]*\"", "", path.read_text())
