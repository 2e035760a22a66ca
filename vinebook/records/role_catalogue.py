"""What the server says of a book's roles: who has them, what is granted, and how that differs from what should be."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import text

from vinebook.errors import WordsError
from vinebook.records.grants import BOOK_TABLES, DUTIES, EVERYBODY, Grant, grants_to, quoted
from vinebook.records.guards import postgresql_guards

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection

LONGEST_NAME = 63
"""Bytes of a name that PostgreSQL keeps."""
IN_A_FILE = "a book in a file has no roles: whoever may write the file may do everything"
FUNCTIONS = tuple(name for name, words in postgresql_guards().items() if words[0].startswith("CREATE FUNCTION"))
"""The functions of a book's guards."""
_HERE = """
SELECT current_database(), n.nspname, current_user, pg_get_userbyid(c.relowner),
pg_has_role(current_user, c.relowner, 'USAGE'),
(SELECT datdba = c.relowner FROM pg_database WHERE datname = current_database())
FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE c.oid = 'entry'::regclass
"""
_GRANTED = """
WITH held AS (
  SELECT 'database' AS "on", '' AS name, '' AS col, datdba AS owner, coalesce(datacl, acldefault('d', datdba)) AS acl
  FROM pg_database WHERE datname = current_database()
  UNION ALL SELECT 'schema', '', '', nspowner, coalesce(nspacl, acldefault('n', nspowner))
  FROM pg_namespace WHERE nspname = :schema
  UNION ALL SELECT 'table', relname, '', relowner, relacl FROM pg_class
  WHERE relnamespace = to_regnamespace(quote_ident(:schema)) AND relname = ANY(:tables)
  UNION ALL SELECT 'table', c.relname, a.attname, c.relowner, a.attacl FROM pg_attribute a JOIN pg_class c
  ON c.oid = a.attrelid WHERE c.relnamespace = to_regnamespace(quote_ident(:schema)) AND c.relname = ANY(:tables)
  UNION ALL SELECT 'function', proname, '', proowner, coalesce(proacl, acldefault('f', proowner)) FROM pg_proc
  WHERE pronamespace = to_regnamespace(quote_ident(:schema)) AND proname = ANY(:functions)
)
SELECT held."on", held.name, a.privilege_type || CASE WHEN a.is_grantable THEN ' WITH GRANT OPTION' ELSE '' END,
held.col, CASE a.grantee WHEN 0 THEN :everybody ELSE pg_get_userbyid(a.grantee) END
FROM held, aclexplode(held.acl) a WHERE a.grantee <> held.owner
"""
MEMBERS = """
SELECT pg_get_userbyid(m.member), r.rolcanlogin FROM pg_auth_members m JOIN pg_roles r ON r.oid = m.member
WHERE m.roleid = (SELECT oid FROM pg_roles WHERE rolname = :role) ORDER BY 1
"""
_UNFIT = """
SELECT rolname, concat_ws(', ', CASE WHEN rolcanlogin THEN 'can log in' END, CASE WHEN rolsuper THEN 'is superuser' END,
CASE WHEN rolcreaterole THEN 'may make roles' END, CASE WHEN rolcreatedb THEN 'may make databases' END,
CASE WHEN rolreplication THEN 'may replicate' END, (SELECT 'belongs to ' || string_agg(pg_get_userbyid(m.roleid), ', ')
FROM pg_auth_members m WHERE m.member = r.oid)) FROM pg_roles r WHERE rolname = ANY(:roles) ORDER BY 1
"""
_STRONGER = """
SELECT r.rolname, r.rolsuper, pg_has_role(r.oid, :owner, 'MEMBER') FROM pg_roles r
WHERE r.rolcanlogin AND r.rolname <> :owner AND (r.rolsuper OR EXISTS (
  SELECT FROM pg_class c WHERE c.relnamespace = to_regnamespace(quote_ident(:schema)) AND c.relname = ANY(:tables)
  AND has_table_privilege(r.oid, c.oid, 'UPDATE, DELETE, TRUNCATE, TRIGGER, REFERENCES'))) ORDER BY 1
"""


@dataclass(frozen=True, slots=True)
class Held:
    """Who has which role of a book.

    Attributes
    ----------
    owner : login that owns the book.
    roles : name of the role of each duty.
    owners : logins that belong to the owner, and may do all that it may.
    members : logins and groups that have it, by duty.
    superusers : logins that no right binds.
    differences : how the grants of the database are not what they should be, in words.
    """

    owner: str
    owners: tuple[str, ...]
    roles: dict[str, str]
    members: dict[str, tuple[str, ...]]
    superusers: tuple[str, ...]
    differences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Here:
    """Where a connection leads: database and schema of the book, who is logged in, and who owns what."""

    database: str
    schema: str
    user: str
    owner: str
    is_owner: bool
    owns_database: bool

    def roles(self) -> dict[str, str]:
        """Give the name of the role of each duty."""
        return {duty: role_name(self.database, duty) for duty in DUTIES}

    def objects(self, on: str, names: Iterable[str]) -> list[str]:
        """Give objects of one sort as SQL names them."""
        if on in ("database", "schema"):
            return [quoted(self.database if on == "database" else self.schema)]
        tail = "()" if on == "function" else ""
        return [f"{quoted(self.schema)}.{quoted(name)}{tail}" for name in names]


def role_name(database: str, duty: str) -> str:
    """Give the name of the group role of a duty, for a database.

    >>> role_name("estate", "reader")
    'estate_reader'
    """
    name = f"{database}_{duty}"
    if len(name.encode()) <= LONGEST_NAME:
        return name
    tail = f"_{hashlib.sha256(database.encode()).hexdigest()[:8]}_{duty}"
    return database.encode()[: LONGEST_NAME - len(tail)].decode(errors="ignore") + tail


def here_of(connection: Connection) -> Here:
    """Say where a connection to a book on a server leads."""
    return Here(*connection.execute(text(_HERE)).one())


def on_server(connection: Connection) -> Here:
    """Say where a connection to a book leads.

    Raises
    ------
    WordsError : the book is in a file.
    """
    if connection.dialect.name != "postgresql":
        raise WordsError(
            IN_A_FILE,
            "give the file and its folder the rights that you want, or bring the book to PostgreSQL "
            "with `vinebook export` and `import`",
        )
    return here_of(connection)


def roles_held(connection: Connection) -> Held:
    """Say who has which role of a book, and what differs from the rights that they should have.

    Raises
    ------
    WordsError : the book is in a file.
    """
    here = on_server(connection)
    members = {
        duty: tuple(name for name, _ in connection.execute(text(MEMBERS), {"role": role}) if name != here.owner)
        for duty, role in here.roles().items()
    }
    superusers, owners, stronger = [], [], []
    given = {"owner": here.owner, "tables": list(BOOK_TABLES), "schema": here.schema}
    for name, is_super, is_owner in connection.execute(text(_STRONGER), given):
        if is_super:
            superusers.append(name)
        elif is_owner:
            owners.append(name)
        else:
            stronger.append(f"{name} may change or empty tables of the book by a right that is none of these roles'")
    unfit = unfit_roles(connection, here)
    found = [f"there is no role {role}" for role in here.roles().values() if role not in unfit]
    found += [f"role {role} {words}" for role, words in unfit.items() if words]
    found += wrong_grants(connection, here)
    return Held(here.owner, tuple(owners), here.roles(), members, tuple(superusers), (*found, *stronger))


def unfit_roles(connection: Connection, here: Here) -> dict[str, str]:
    """Give what a group role may not be, in words, by each role that is there; "" where all is well."""
    rows = connection.execute(text(_UNFIT), {"roles": list(here.roles().values())})
    return {role: words or "" for role, words in rows}


def wrong_grants(connection: Connection, here: Here) -> list[str]:
    """Compare what is granted with what should be, told once for all objects that differ alike."""
    roles = here.roles()
    found = granted(connection, here)
    wanted = {grant for duty, role in roles.items() for grant in grants_to(duty, role)}
    told: dict[tuple[str, str], list[str]] = {}
    for grant in sorted(wanted - found):
        told.setdefault((f"{grant.to} lacks {grant.verb}", grant.on), []).append(_told(grant))
    for grant in sorted(found - wanted):
        if is_strange(grant, here):
            told.setdefault((f"{grant.to} has {grant.verb}", grant.on), []).append(_told(grant))
    return [
        f"{words} on {f'the {on}' if on in ('database', 'schema') else f'{on} {_short(names)}'}"
        for (words, on), names in told.items()
    ]


def granted(connection: Connection, here: Here) -> set[Grant]:
    """Give every right to a part of the book that somebody has who does not own it."""
    given = {
        "tables": list(BOOK_TABLES),
        "functions": list(FUNCTIONS),
        "everybody": EVERYBODY,
        "schema": here.schema,
    }
    return {Grant(*row) for row in connection.execute(text(_GRANTED), given)}


def is_strange(grant: Grant, here: Here) -> bool:
    """Say whether a right must be one that we gave; somebody else's right to look is the owner's own affair."""
    ours = {EVERYBODY, *here.roles().values()}
    return grant.to in ours or (grant.on == "table" and grant.verb != "SELECT")


def _told(grant: Grant) -> str:
    return f"{grant.name}.{grant.column}" if grant.column else grant.name


def _short(names: Sequence[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
