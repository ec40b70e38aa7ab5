"""What a PostgreSQL server lets each of its users do with a journal: the grants that go with the roles of people.

The rest is in the database itself, made by the migrations: policies say which rows somebody sees, a trigger holds every
event against the people and permissions of the plant, and writes what follows from it (`schema/postgresql`). Superusers
and the owner of the tables are above all that: whoever set up the database administers it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from cfgtrack.model.people import LOOK
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import NoAnswer, Problem, Refused
from cfgtrack.store.database import Database
from cfgtrack.store.permit import NOT_ALLOWED

READ = ("event", "item", "tree_head", "touch", "change", "checkpoint", "settled", "alembic_version")
"""The tables that whoever may look reads; which rows of them, the policies say."""

WRITTEN = ("event", "item")
"""The tables that whoever writes adds to. What follows from it the database writes."""


class Privilege(NamedTuple):
    """That a user may do something with a table, or with one column of it."""

    user: str
    table: str
    column: str
    what: str


def shipped(user: str) -> frozenset[Privilege]:
    """Return all that a user may have been granted."""
    return frozenset(
        [
            *(Privilege(user, table, "", "SELECT") for table in READ),
            *(Privilege(user, table, "", "INSERT") for table in WRITTEN),
            Privilege(user, "change", "until", "UPDATE"),
        ]
    )


def granted(database: Database) -> set[Privilege]:
    """Return what users other than the owner of each table have been granted on it; of everybody as user PUBLIC."""
    rows = database.rows(
        "SELECT coalesce(r.rolname, 'PUBLIC'), c.relname, '', a.privilege_type FROM pg_class c"
        " CROSS JOIN aclexplode(c.relacl) a LEFT JOIN pg_roles r ON r.oid = a.grantee"
        " WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind IN ('r', 'v', 'm', 'p', 'f')"
        " AND a.grantee <> c.relowner"
        " UNION ALL SELECT coalesce(r.rolname, 'PUBLIC'), c.relname, t.attname, a.privilege_type"
        " FROM pg_attribute t JOIN pg_class c ON c.oid = t.attrelid CROSS JOIN aclexplode(t.attacl) a"
        " LEFT JOIN pg_roles r ON r.oid = a.grantee"
        " WHERE c.relnamespace = current_schema()::regnamespace AND a.grantee <> c.relowner"
    )
    return {Privilege(*map(str, row)) for row in rows}


class Grants(NamedTuple):
    """The statements that give each user what goes with his person's roles, and the users that the server lacks."""

    statements: tuple[str, ...]
    missing: tuple[str, ...]


def grants(database: Database, plant: Plant) -> Grants:
    """Return what has to be said to the server, so that it lets people do what they may, and nobody else anything."""
    if database.is_file:
        sentence = "this is a file: whoever may write it may write anything in it, and no grant changes that"
        raise NoAnswer(Problem(database.where, "no-server", sentence))
    there = {str(name) for (name,) in database.rows("SELECT rolname FROM pg_roles")}
    users = {one.user: one.roles for one in plant.people.values() if one.user and one.roles}
    wanted = frozenset[Privilege]()
    for user in users.keys() & there:
        mine = shipped(user)
        writes = users[user] != {LOOK}
        wanted |= mine if writes else {one for one in mine if one.what == "SELECT"}
    found = granted(database)
    sql = "SELECT rolname FROM pg_roles WHERE NOT has_schema_privilege(rolname, current_schema(), 'USAGE')"
    outside = {str(name) for (name,) in database.rows(sql)}
    row = database.row(
        "SELECT current_schema()::text, has_schema_privilege('public', current_schema(), 'CREATE')"
    )
    assert row is not None
    schema, everybody_makes = _quoted(row[0]), bool(row[1])
    said = [f"REVOKE CREATE ON SCHEMA {schema} FROM PUBLIC"] if everybody_makes else []
    said += _spelled(found - wanted, schema, "REVOKE", "FROM")
    said += (
        f"GRANT USAGE ON SCHEMA {schema} TO {_quoted(user)}"
        for user in sorted(users.keys() & there & outside)
    )
    said += _spelled(wanted - found, schema, "GRANT", "TO")
    return Grants(tuple(said), tuple(sorted(users.keys() - there)))


def _spelled(
    privileges: set[Privilege] | frozenset[Privilege], schema: str, verb: str, way: str
) -> Iterator[str]:
    for user, table, column, what in sorted(privileges):
        of = f" ({_quoted(column)})" if column else ""
        whose = "PUBLIC" if user == "PUBLIC" else _quoted(user)
        yield f"{verb} {what}{of} ON {schema}.{_quoted(table)} {way} {whose}"


def expect_look(database: Database) -> None:
    """Raise Refused where the server watches the user row by row, and lets him see none."""
    if not database.is_restricted:
        return
    row = database.row("SELECT cfgtrack_may_look()")
    if row is None or not row[0]:
        sentence = (
            f"the user {database.login} may look at nothing here: no person with a role is he; whoever administers the"
            " plant can say so"
        )
        raise Refused([Problem(database.where, NOT_ALLOWED, sentence)])


def _quoted(name: object) -> str:
    return '"' + str(name).replace('"', '""') + '"'


def apply(database: Database, statements: Sequence[str]) -> None:
    """Say statements to the server, all or none. Refused for whoever isn't the owner of the tables."""
    expect_owner(database)
    with database.writing():
        for statement in statements:
            database.execute(statement)


def expect_owner(database: Database) -> None:
    """Raise Refused where the server watches the user row by row: only the owner of the tables may do what follows."""
    if database.is_restricted:
        row = database.row(
            "SELECT pg_get_userbyid(relowner)::text FROM pg_class WHERE oid = 'event'::regclass"
        )
        owner = "" if row is None else str(row[0])
        sentence = f"the user {database.login} may not do that: only the owner of the tables may, {owner}"
        raise Refused([Problem(database.where, NOT_ALLOWED, sentence)])
