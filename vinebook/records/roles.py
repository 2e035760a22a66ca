"""Roles of a book on PostgreSQL: the SQL that gives recorders and readers their rights, and whether it still holds.

The group roles are named for the database, so that several books on one server do not collide. They cannot log in;
people's logins are made members of them. No password is made or known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import text

from vinebook.errors import BookReadOnlyError, DatabaseError, WordsError
from vinebook.records.grants import BOOK_TABLES, DUTIES, EVERYBODY, grants_to, literal, quoted, table_rights
from vinebook.records.role_catalogue import (
    FUNCTIONS,
    MEMBERS,
    granted,
    here_of,
    is_strange,
    on_server,
    roles_held,
    unfit_roles,
    wrong_grants,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy import Connection

    from vinebook.records.book import Book
    from vinebook.records.role_catalogue import Held, Here

_WIDTH = 110
_MAKES_ROLES = "SELECT rolcreaterole OR rolsuper FROM pg_roles WHERE rolname = current_user"


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
    here = here_of(connection)
    if not here.is_owner:
        raise BookReadOnlyError(
            f"{book} is {doing} by its owner, {here.owner}, and not by {here.user}",
            "log in as the owner, or ask them (`vinebook guide roles`)",
        )


def act_as_owner(connection: Connection) -> None:
    """Let what a transaction makes belong to the owner of the book, whoever is logged in; entries keep the login.

    Parameters
    ----------
    connection : a writing connection to a book, of somebody whom `require_owner` let pass.
    """
    if connection.dialect.name == "postgresql":
        run_all(connection, [f"SET LOCAL ROLE {quoted(here_of(connection).owner)}"])


def role_statements(connection: Connection, people: People) -> list[str]:
    """Give the SQL that makes the roles of a book, bounds them anew and gives them to people.

    Done twice, it does no more than once. Rights that the roles or everybody had before are taken away first, and
    anybody's else who may write.

    Raises
    ------
    WordsError : a login is not there, stands twice, or is the owner; the book is in a file.
    DatabaseError : another role has the name of one of these.
    """
    here = on_server(connection)
    _check_people(connection, here, people)
    _check_names(connection, here)
    roles = here.roles()
    made = [_make_role(here, role) for role in roles.values()]
    return [*made, *_bounds(connection, here), *_memberships(connection, here, people)]


def printed_roles(connection: Connection, people: People) -> str:
    """Give `role_statements` as a script for psql, in one transaction that runs in its own database only."""
    here = on_server(connection)
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


def apply_roles(book: Book, people: People) -> Held:
    """Give the roles of a book in one step; who does not own it is told so before anybody is waited for.

    Raises
    ------
    BookReadOnlyError, DatabaseError, WordsError : as `give_roles`.
    """
    with book.reading() as connection:
        on_server(connection)
        require_owner(connection, book.name, "given roles")
    with book.writing(doing="roles") as connection:
        return give_roles(connection, book.name, people)


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
    here = on_server(connection)
    require_owner(connection, book, "given roles")
    if len(unfit_roles(connection, here)) < len(DUTIES) and not connection.scalar(text(_MAKES_ROLES)):
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
    here = here_of(connection)
    if len(unfit_roles(connection, here)) < len(DUTIES):
        return False
    run_all(connection, _bounds(connection, here))
    _checked(connection, here)
    return True


def run_all(connection: Connection, statements: Iterable[str]) -> None:
    """Run statements as they stand."""
    connection.exec_driver_sql("SET LOCAL client_min_messages = error")
    for statement in statements:
        # The driver would read a % in a name as a mark.
        connection.exec_driver_sql(statement.replace("%", "%%"))


def _comment(name: str) -> str:
    return " ".join(quoted(name).split())


def _do(body: str) -> str:
    tag = "$vinebook$"
    while tag in body:
        tag = f"{tag[:-1]}_$"
    return f"DO {tag}BEGIN {body} END{tag}"


def _make_role(here: Here, role: str) -> str:
    """Give the statement that makes a role where it is not there; the owner may give it to people from then on."""
    name, owner = quoted(role), here.owner
    return _do(
        f"IF NOT EXISTS (SELECT FROM pg_catalog.pg_roles WHERE rolname = {literal(role)}) THEN "
        f"CREATE ROLE {name} NOLOGIN; IF current_user <> {literal(owner)} THEN "
        f"GRANT {name} TO {quoted(owner)} WITH ADMIN OPTION; END IF; END IF;"
    )


def _bounds(connection: Connection, here: Here) -> list[str]:
    """Take away what everybody and the roles may do, and whatever else writes; then grant what each duty needs."""
    roles = here.roles()
    strangers = {grant.to for grant in granted(connection, here) if is_strange(grant, here)}
    named = ", ".join(map(quoted, [*roles.values(), *sorted(strangers - {EVERYBODY, *roles.values()})]))
    objects: dict[str, Sequence[str]] = {"database": [""], "schema": [""], "table": BOOK_TABLES, "function": FUNCTIONS}
    statements = [
        _filled(f"REVOKE ALL ON {on.upper()} ", here.objects(on, names), f" FROM {EVERYBODY}, {named} CASCADE")
        for on, names in objects.items()
    ]
    if not here.owns_database:
        # What everybody had, the owner of the book may have had with them.
        statements += [
            f"GRANT ALL ON {on.upper()} {here.objects(on, [''])[0]} TO {quoted(here.owner)}"
            for on in ("database", "schema")
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


def _memberships(connection: Connection, here: Here, people: People) -> list[str]:
    roles = here.roles()
    held = {duty: {name for name, _ in connection.execute(text(MEMBERS), {"role": roles[duty]})} for duty in DUTIES}
    wanted = [("recorder", name) for name in people.recorders] + [("reader", name) for name in people.readers]
    statements = [f"GRANT {quoted(roles[duty])} TO {quoted(name)}" for duty, name in wanted]
    left = [(duty, name) for duty in DUTIES for name in people.names if name in held[duty]]
    dismissed = [pair for pair in left if pair not in wanted]
    return [*statements, *(f"REVOKE {quoted(roles[duty])} FROM {quoted(name)}" for duty, name in dismissed)]


def _check_people(connection: Connection, here: Here, people: People) -> None:
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


def _check_names(connection: Connection, here: Here) -> None:
    for role, words in unfit_roles(connection, here).items():
        if words:
            raise DatabaseError(
                f"there is a role {role} on this server already, and it {words}: it is none that a book's people share",
                "rename or mend that role, then run this again",
            )


def _checked(connection: Connection, here: Here) -> Held:
    """Give who has which role, where what was granted is what should be: PostgreSQL only warns if it grants nothing."""
    held = roles_held(connection)
    wrong = wrong_grants(connection, here)
    if wrong:
        raise DatabaseError(
            f"the roles cannot be bounded by {here.user}, who does not own all of it: {wrong[0]}",
            "let a superuser of the server run what `vinebook roles` prints",
        )
    return held
