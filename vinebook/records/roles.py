"""Roles of a book on PostgreSQL: the SQL that gives recorders and readers their rights, and whether it still holds.

The group roles are named for the database, so that several books on one server do not collide. They cannot log in;
people's logins are made members of them. No password is made or known here.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import text

from vinebook.errors import BookReadOnlyError, DatabaseError, WordsError
from vinebook.records.grants import BOOK_TABLES, DUTIES, EVERYBODY, Grant, grants_to, literal, quoted, table_rights
from vinebook.records.guards import postgresql_guards

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection

LONGEST_NAME = 63
"""Bytes of a name that PostgreSQL keeps."""
IN_A_FILE = "a book in a file has no roles: whoever may write the file may do everything"
_FUNCTIONS = tuple(name for name, words in postgresql_guards().items() if words[0].startswith("CREATE FUNCTION"))
_WIDTH = 110
_HERE = """
SELECT current_database(), n.nspname, current_user, pg_get_userbyid(c.relowner),
pg_has_role(current_user, c.relowner, 'USAGE') FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
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
_MEMBERS = """
SELECT pg_get_userbyid(m.member), r.rolcanlogin FROM pg_auth_members m JOIN pg_roles r ON r.oid = m.member
WHERE m.roleid = (SELECT oid FROM pg_roles WHERE rolname = :role) ORDER BY 1
"""
_UNFIT = """
SELECT rolname, concat_ws(', ', CASE WHEN rolcanlogin THEN 'can log in' END, CASE WHEN rolsuper THEN 'is superuser' END,
CASE WHEN rolcreaterole THEN 'may make roles' END, CASE WHEN rolcreatedb THEN 'may make databases' END,
CASE WHEN rolreplication THEN 'may replicate' END, (SELECT 'belongs to ' || string_agg(pg_get_userbyid(m.roleid), ', ')
FROM pg_auth_members m WHERE m.member = r.oid)) FROM pg_roles r WHERE rolname = ANY(:roles) ORDER BY 1
"""
_MAKES_ROLES = "SELECT rolcreaterole OR rolsuper FROM pg_roles WHERE rolname = current_user"
_STRONGER = """
SELECT r.rolname, r.rolsuper FROM pg_roles r WHERE r.rolcanlogin AND r.rolname <> :owner AND (r.rolsuper OR EXISTS (
  SELECT FROM pg_class c WHERE c.relnamespace = to_regnamespace(quote_ident(:schema)) AND c.relname = ANY(:tables)
  AND has_table_privilege(r.oid, c.oid, 'UPDATE, DELETE, TRUNCATE, TRIGGER, REFERENCES'))) ORDER BY 1
"""


@dataclass(frozen=True, slots=True)
class People:
    """Logins to be given a role, or none; each stands in one of these at most."""

    recorders: tuple[str, ...] = ()
    readers: tuple[str, ...] = ()
    neither: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """All of them."""
        return (*self.recorders, *self.readers, *self.neither)


@dataclass(frozen=True, slots=True)
class Held:
    """Who has which role of a book.

    Attributes
    ----------
    owner : login that owns the book.
    roles : name of the role of each duty.
    members : logins and groups that have it, by duty.
    superusers : logins that no right binds.
    differences : how the grants of the database are not what they should be, in words.
    """

    owner: str
    roles: dict[str, str]
    members: dict[str, tuple[str, ...]]
    superusers: tuple[str, ...]
    differences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Here:
    """The database, schema and people of a connection."""

    database: str
    schema: str
    user: str
    owner: str
    is_owner: bool

    def roles(self) -> dict[str, str]:
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


def require_owner(connection: Connection, book: str, doing: str) -> None:
    """Refuse on a server what only the owner of a book may do; a file knows no owner.

    Parameters
    ----------
    connection : a connection to the book.
    book : its name, as it may be shown.
    doing : what is to be done to it, "upgraded" say.

    Raises
    ------
    BookReadOnlyError : who is logged in does not own it.
    """
    if connection.dialect.name != "postgresql":
        return
    here = _here(connection)
    if not here.is_owner:
        raise BookReadOnlyError(
            f"{book} is {doing} by its owner, {here.owner}, and not by {here.user}",
            "log in as the owner, or ask them (`vinebook guide roles`)",
        )


def role_statements(connection: Connection, people: People) -> list[str]:
    """Give the SQL that makes the roles of a book, bounds them anew and gives them to people.

    Done twice, it does no more than once. Rights that the roles or everybody had before are taken away first.

    Raises
    ------
    WordsError : a login is not there, stands twice, or is the owner; the book is in a file.
    DatabaseError : another role has the name of one of these.
    """
    here = _of_server(connection)
    _check_people(connection, here, people)
    _check_names(connection, here)
    roles = here.roles()
    made = [_make_role(here, role) for role in roles.values()]
    return [*made, *_bounds(here), *_memberships(connection, here, people)]


def printed_roles(connection: Connection, people: People) -> str:
    """Give `role_statements` as a script for psql, in one transaction that runs in its own database only."""
    here = _of_server(connection)
    wrong = f"this script is for the database {here.database}"
    check = f"IF current_database() <> {literal(here.database)} THEN RAISE EXCEPTION '%', {literal(wrong)}; END IF;"
    statements = ["BEGIN", "SET LOCAL client_min_messages = error", _do(check), *role_statements(connection, people)]
    head = (
        f"-- Roles of the vinebook book in the database {_comment(here.database)}, owned by {_comment(here.owner)}.",
        "-- Run it in psql as the owner, who needs CREATEROLE where the roles are not there yet, or as a superuser.",
        "-- No login and no password is made here: createuser --pwprompt NAME does it.",
        "\\set ON_ERROR_STOP on",
    )
    return "\n".join([*head, *(f"{words};" for words in (*statements, "COMMIT"))])


def give_roles(connection: Connection, book: str, people: People) -> Held:
    """Make the roles of a book, bound them and give them to people; the caller commits.

    Parameters
    ----------
    connection : a writing connection.
    book : its name, as it may be shown.
    people : logins to be given a role.

    Raises
    ------
    BookReadOnlyError : who is logged in does not own the book, or may not make roles.
    DatabaseError : what must be bounded belongs to somebody else.
    WordsError : as `role_statements`.
    """
    here = _of_server(connection)
    require_owner(connection, book, "given roles")
    if len(_unfit(connection, here)) < len(DUTIES) and not connection.scalar(text(_MAKES_ROLES)):
        raise BookReadOnlyError(
            f"{book}: its roles are not there yet, and {here.user} may not make any",
            "let a superuser of the server run what `vinebook roles` prints, once",
        )
    run_all(connection, role_statements(connection, people))
    return _checked(connection, here)


def renew_roles(connection: Connection) -> bool:
    """Bound the roles of a book anew, where it has any, and say whether it had; the caller commits.

    Raises
    ------
    DatabaseError : what must be bounded belongs to somebody else.
    """
    if connection.dialect.name != "postgresql":
        return False
    here = _here(connection)
    if len(_unfit(connection, here)) < len(DUTIES):
        return False
    run_all(connection, _bounds(here))
    _checked(connection, here)
    return True


def run_all(connection: Connection, statements: Iterable[str]) -> None:
    """Run statements as they stand."""
    connection.exec_driver_sql("SET LOCAL client_min_messages = error")
    for statement in statements:
        # The driver would read a % in a name as a mark.
        connection.exec_driver_sql(statement.replace("%", "%%"))


def roles_held(connection: Connection) -> Held:
    """Say who has which role of a book, and what differs from the rights that they should have.

    Raises
    ------
    WordsError : the book is in a file.
    """
    here = _of_server(connection)
    members = {
        duty: tuple(name for name, _ in connection.execute(text(_MEMBERS), {"role": role}) if name != here.owner)
        for duty, role in here.roles().items()
    }
    superusers, stronger = [], []
    given = {"owner": here.owner, "tables": list(BOOK_TABLES), "schema": here.schema}
    for name, is_super in connection.execute(text(_STRONGER), given):
        if is_super:
            superusers.append(name)
        else:
            stronger.append(f"{name} may change or empty tables of the book by a right that is none of these roles'")
    unfit = _unfit(connection, here)
    found = [f"there is no role {role}" for role in here.roles().values() if role not in unfit]
    found += [f"role {role} {words}" for role, words in unfit.items() if words]
    found += _wrong_grants(connection, here)
    return Held(here.owner, here.roles(), members, tuple(superusers), (*found, *stronger))


def _here(connection: Connection) -> _Here:
    return _Here(*connection.execute(text(_HERE)).one())


def _of_server(connection: Connection) -> _Here:
    if connection.dialect.name != "postgresql":
        raise WordsError(
            IN_A_FILE,
            "give the file and its folder the rights that you want, or bring the book to PostgreSQL "
            "with `vinebook export` and `import`",
        )
    return _here(connection)


def _comment(name: str) -> str:
    return " ".join(quoted(name).split())


def _do(body: str) -> str:
    tag = "$vinebook$"
    while tag in body:
        tag = f"{tag[:-1]}_$"
    return f"DO {tag}BEGIN {body} END{tag}"


def _make_role(here: _Here, role: str) -> str:
    """Give the statement that makes a role where it is not there; the owner may give it to people from then on."""
    name, owner = quoted(role), here.owner
    return _do(
        f"IF NOT EXISTS (SELECT FROM pg_catalog.pg_roles WHERE rolname = {literal(role)}) THEN "
        f"CREATE ROLE {name} NOLOGIN; IF current_user <> {literal(owner)} THEN "
        f"GRANT {name} TO {quoted(owner)} WITH ADMIN OPTION; END IF; END IF;"
    )


def _bounds(here: _Here) -> list[str]:
    """Take away what everybody and the roles may do, and grant what each duty needs."""
    roles = here.roles()
    named = ", ".join(quoted(role) for role in roles.values())
    objects: dict[str, Sequence[str]] = {"database": [""], "schema": [""], "table": BOOK_TABLES, "function": _FUNCTIONS}
    statements = [
        _filled(f"REVOKE ALL ON {on.upper()} ", here.objects(on, names), f" FROM {EVERYBODY}, {named}")
        for on, names in objects.items()
    ]
    alike: dict[tuple[str, str, str], list[str]] = {}
    for duty, role in roles.items():
        for grant in grants_to(duty, role):
            if not grant.column:
                alike.setdefault((grant.on, grant.verb, role), []).append(grant.name)
    for (on, verb, role), names in alike.items():
        statements.append(_filled(f"GRANT {verb} ON {on.upper()} ", here.objects(on, names), f" TO {quoted(role)}"))
    for duty, role in roles.items():
        for table in BOOK_TABLES:
            for verb, columns in table_rights(table, duty).items():
                if columns:
                    (place,) = here.objects("table", [table])
                    to = f") ON TABLE {place} TO {quoted(role)}"
                    statements.append(_filled(f"GRANT {verb} (", list(map(quoted, columns)), to))
    return statements


def _filled(head: str, parts: Sequence[str], tail: str) -> str:
    """Give a statement in lines that are not too long, broken between its parts."""
    lines, line = [], head
    for at, part in enumerate(parts):
        words = part + (", " if at + 1 < len(parts) else tail)
        if len(line) + len(words) > _WIDTH and line != head:
            lines.append(line.rstrip())
            line = "  "
        line += words
    return "\n".join([*lines, line])


def _memberships(connection: Connection, here: _Here, people: People) -> list[str]:
    roles = here.roles()
    held = {duty: {name for name, _ in connection.execute(text(_MEMBERS), {"role": roles[duty]})} for duty in DUTIES}
    wanted = [("recorder", name) for name in people.recorders] + [("reader", name) for name in people.readers]
    statements = [f"GRANT {quoted(roles[duty])} TO {quoted(name)}" for duty, name in wanted]
    left = [(duty, name) for duty in DUTIES for name in people.names if name in held[duty]]
    dismissed = [pair for pair in left if pair not in wanted]
    return [*statements, *(f"REVOKE {quoted(roles[duty])} FROM {quoted(name)}" for duty, name in dismissed)]


def _check_people(connection: Connection, here: _Here, people: People) -> None:
    twice = [name for name in people.names if people.names.count(name) > 1]
    if twice:
        raise WordsError(f"{twice[0]!r} is named twice", "a login has one role, or none")
    there = set(
        connection.execute(
            text("SELECT rolname FROM pg_roles WHERE rolname = ANY(:names)"), {"names": list(people.names)}
        ).scalars()
    )
    for name in people.names:
        if name == here.owner:
            raise WordsError(f"{name} owns the book and needs no role", "name another login")
        if name in here.roles().values():
            raise WordsError(f"{name} is itself a role of this book", "name the login of a person")
        if name not in there:
            raise WordsError(
                f"this server knows no login {name!r}",
                "make it first, with `createuser --pwprompt` say: vinebook makes no login and no password",
            )


def _unfit(connection: Connection, here: _Here) -> dict[str, str]:
    """Give what a group role may not be, in words, by each role that is there; "" where all is well."""
    rows = connection.execute(text(_UNFIT), {"roles": list(here.roles().values())})
    return {role: words or "" for role, words in rows}


def _check_names(connection: Connection, here: _Here) -> None:
    for role, words in _unfit(connection, here).items():
        if words:
            raise DatabaseError(
                f"there is a role {role} on this server already, and it {words}: it is none that a book's people share",
                "rename or mend that role, then run this again",
            )


def _checked(connection: Connection, here: _Here) -> Held:
    """Give who has which role, where what was granted is what should be: PostgreSQL only warns if it grants nothing."""
    held = roles_held(connection)
    wrong = _wrong_grants(connection, here)
    if wrong:
        raise DatabaseError(
            f"the roles cannot be bounded by {here.user}, who does not own all of it: {wrong[0]}",
            "let a superuser of the server run what `vinebook roles` prints",
        )
    return held


def _wrong_grants(connection: Connection, here: _Here) -> list[str]:
    """Compare what is granted with what should be, told once for all objects that differ alike."""
    roles = here.roles()
    given = {
        "tables": list(BOOK_TABLES),
        "functions": list(_FUNCTIONS),
        "everybody": EVERYBODY,
        "schema": here.schema,
    }
    found = {Grant(*row) for row in connection.execute(text(_GRANTED), given)}
    wanted = {grant for duty, role in roles.items() for grant in grants_to(duty, role)}
    ours = {EVERYBODY, *roles.values()}
    told: dict[tuple[str, str], list[str]] = {}
    for grant in sorted(wanted - found):
        told.setdefault((f"{grant.to} lacks {grant.verb}", grant.on), []).append(_told(grant))
    for grant in sorted(found - wanted):
        # Somebody else's right to look is the owner's own affair.
        if grant.to in ours or (grant.on == "table" and grant.verb != "SELECT"):
            told.setdefault((f"{grant.to} has {grant.verb}", grant.on), []).append(_told(grant))
    return [
        f"{words} on {f'the {on}' if on in ('database', 'schema') else f'{on} {_short(names)}'}"
        for (words, on), names in told.items()
    ]


def _told(grant: Grant) -> str:
    return f"{grant.name}.{grant.column}" if grant.column else grant.name


def _short(names: Sequence[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
