"""What keeps the journal append-only in the database itself: compared, word by word, with what the migrations made.

A trigger that is called right and does nothing, a function that was emptied, a rule that swallows what is written: each
has a name and a text, and a text that isn't the one below is told. A test holds these to a migrated database.
"""

# ruff: noqa: S608 - the only text put into a statement is the condition written here
from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from cfgtrack.folders import top_folder
from cfgtrack.store.database import Database
from cfgtrack.store.security import granted, shipped

_KEPT = ("event", "item", "tree_head")
_REFUSES = "BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"

SQLITE_TRIGGERS: Mapping[str, str] = {
    **{
        f"{table}_no_{verb}": f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} {_REFUSES}"
        for table in _KEPT
        for verb in ("update", "delete")
    },
    "item_comes_new": (
        "CREATE TRIGGER item_comes_new BEFORE INSERT ON item WHEN EXISTS"
        " (SELECT 1 FROM item WHERE sort = NEW.sort AND id = NEW.id AND load = NEW.load)"
        f" {_REFUSES}"
    ),
    "tree_head_comes_last": (
        "CREATE TRIGGER tree_head_comes_last BEFORE INSERT ON tree_head WHEN NEW.number <="
        f" (SELECT max(number) FROM tree_head) {_REFUSES}"
    ),
}
"""SQLite's triggers, by name, each with its text."""

POSTGRESQL_TRIGGERS: Mapping[str, str] = {
    **{
        f"{table}_append_only": (
            f"CREATE TRIGGER {table}_append_only BEFORE DELETE OR UPDATE OR TRUNCATE ON {table}"
            " FOR EACH STATEMENT EXECUTE FUNCTION append_only()"
        )
        for table in _KEPT
    },
    "event_taken_in": (
        "CREATE TRIGGER event_taken_in AFTER INSERT ON event FOR EACH ROW"
        " WHEN (row_security_active('event'::regclass::oid)) EXECUTE FUNCTION cfgtrack_take_in()"
    ),
    "item_taken_in": (
        "CREATE TRIGGER item_taken_in AFTER INSERT ON item FOR EACH ROW"
        " WHEN (row_security_active('item'::regclass::oid)) EXECUTE FUNCTION cfgtrack_take_item()"
    ),
    **{
        name: (
            f"CREATE CONSTRAINT TRIGGER {name} AFTER {verb} ON {table} DEFERRABLE INITIALLY DEFERRED FOR EACH ROW"
            f" WHEN (row_security_active('{table}'::regclass::oid)) EXECUTE FUNCTION {function}()"
        )
        for name, verb, table, function in (
            ("event_closed", "INSERT", "event", "cfgtrack_close"),
            ("change_ended", "UPDATE", "change", "cfgtrack_end"),
        )
    },
}
"""PostgreSQL's triggers, by name, each as the server spells it."""

_APPEND_ONLY = "plpgsql: BEGIN RAISE EXCEPTION 'the journal is append-only'; END"

POLICIES: Mapping[str, str] = {
    **{
        f"{table}_looked_at": f"{table} SELECT to public using SELECT cfgtrack_may_look AS cfgtrack_may_look"
        for table in ("event", "item", "tree_head", "touch", "change", "checkpoint", "settled")
    },
    "event_recorded": "event INSERT to public with check login = SESSION_USER",
    "item_defined": "item INSERT to public with check true",
    "change_ended": "change UPDATE to public using until = 9223372036854775807 with check true",
}
"""PostgreSQL's policies, by name, each as the server spells it but for casts and brackets."""


def postgresql_functions() -> Mapping[str, str]:
    """Return what PostgreSQL's triggers and policies call, by name and arguments, each with its language and text."""
    found = {"append_only()": _APPEND_ONLY}
    # A later file says anew what an earlier one said.
    files = sorted((top_folder("schema") / "postgresql").glob("*.sql"))
    sql = "\n".join(one.read_text(encoding="utf-8") for one in files)
    for name, arguments, head, body in _FUNCTION.findall(sql):
        form = re.search(r"LANGUAGE (\w+)( IMMUTABLE| STABLE)?( VOLATILE)?( SECURITY DEFINER)?", head)
        assert form is not None, head
        settings = re.findall(r"SET (\w+) = (.*?)(?= SET|$)", " ".join(head.split()))
        said = f"{form[1]}{(form[2] or '').lower()}{(form[4] or '').lower()}: {_spaced(body)}"
        if settings:
            said += f" ({', '.join('='.join(pair) for pair in settings)})"
        found[f"{name}({arguments})"] = said
    return found


_FUNCTION = re.compile(
    r"^CREATE (?:OR REPLACE )?FUNCTION (\w+)\((.*?)\) RETURNS (.*?) AS \$\$(.*?)\$\$;$",
    re.MULTILINE | re.DOTALL,
)

COLUMNS: Mapping[str, str] = {
    "event": "number! id! happened! known! turn! action! corrects body! leaf! signed login",
    "item": "sort! id! load! body",
    "tree_head": "number! known! root! frontier!",
    "touch": "owner! happened! number!",
    "change": "subject! aspect! happened! turn! number! known! until! value! other cycle!",
    "checkpoint": "at! events! known! shape! memory!",
    "settled": "at! place! body!",
    "alembic_version": "version_num!",
}
"""The columns of each table; those with ! are never empty."""

_NUMBERS = frozenset(
    {"number", "happened", "known", "turn", "corrects", "load", "until", "cycle", "at", "events", "place"}
)
_BYTES = frozenset({"leaf", "root", "frontier", "memory"})
_TYPES = {
    "numbers": {"INTEGER", "BIGINT", "bigint", "integer"},
    "bytes": {"BLOB", "bytea"},
    "text": {"VARCHAR", "VARCHAR(32)", "character varying", "character varying(32)"},
}
"""What each database calls a column of a sort. A text in a column that became one of numbers is kept as a number."""

UNIQUE: Mapping[str, frozenset[str]] = {
    "event": frozenset({"number", "id", "known", "corrects"}),
    "item": frozenset({"sort id load"}),
    "tree_head": frozenset({"number"}),
    "touch": frozenset({"owner happened number"}),
    "change": frozenset({"subject aspect happened turn number"}),
    "checkpoint": frozenset({"at"}),
    "settled": frozenset({"at place"}),
    "alembic_version": frozenset({"version_num"}),
}
"""What no two rows of a table have alike."""

INDEXES: Mapping[str, str] = {
    "event_in_order": "event happened turn number",
    "event_of_action": "event action happened",
    "change_of_place": "change value subject",
}
"""What is looked up fast: the name of the index, its table and its columns."""


class Wrong(NamedTuple):
    """Something that isn't as the migrations made it: the code of the fault, and a sentence."""

    code: str
    sentence: str


def wrong_guards(database: Database) -> Iterator[Wrong]:
    """Yield what is wrong with the triggers and functions that refuse changes, and what was put beside them."""
    if database.is_file:
        yield from _wrong_triggers(SQLITE_TRIGGERS, _sqlite_triggers(database))
        return
    yield from _wrong_triggers(POSTGRESQL_TRIGGERS, _postgresql_triggers(database))
    yield from _wrong_functions(database)
    yield from _wrong_policies(database)
    yield from _wrong_grants(database)
    yield from _overridden(database)


def _wrong_triggers(wanted: Mapping[str, str], found: Mapping[str, str]) -> Iterator[Wrong]:
    for name, text in sorted(wanted.items()):
        if name not in found:
            yield Wrong("unguarded", f"the database no longer refuses changes: its trigger {name} is gone")
        elif _spaced(found[name]) != _spaced(text):
            sentence = (
                f"the trigger {name} is not the one that refuses changes: it is {_spaced(found[name])!r}"
            )
            yield Wrong("unguarded", sentence)
    for name in sorted(found.keys() - wanted.keys()):
        sentence = f"the trigger {name} is none of this program's: it is {_spaced(found[name])!r}"
        yield Wrong("foreign", sentence)


def _spaced(text: str) -> str:
    """Return a text with single blanks. Inside quotes too: what is compared quotes no other."""
    return " ".join(text.split())


def _sqlite_triggers(database: Database) -> dict[str, str]:
    rows = database.rows("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    return {str(name): str(sql) for name, sql in rows}


def _postgresql_triggers(database: Database) -> dict[str, str]:
    # Without a table of ours in the way, a trigger is somebody else's affair.
    rows = database.rows(
        "SELECT t.tgname, pg_get_triggerdef(t.oid, true), t.tgenabled FROM pg_trigger t"
        " JOIN pg_class c ON c.oid = t.tgrelid WHERE NOT t.tgisinternal"
        " AND c.relnamespace = current_schema()::regnamespace"
    )
    # O and A fire for everybody; R only in a replica, D never.
    spelled = {"R": " (only in a replica)", "D": " (disabled)"}
    return {str(name): f"{text}{spelled.get(_letter(enabled), '')}" for name, text, enabled in rows}


def _letter(char: object) -> str:
    return char.decode() if isinstance(char, bytes) else str(char)


def _wrong_functions(database: Database) -> Iterator[Wrong]:
    rows = database.rows(
        "SELECT p.proname || '(' || pg_get_function_identity_arguments(p.oid) || ')', l.lanname, p.provolatile,"
        " p.prosecdef, p.prosrc, p.proconfig, n.nspname = current_schema(),"
        " p.proowner = (SELECT relowner FROM pg_class WHERE oid = 'event'::regclass), quote_ident(current_schema())"
        " FROM pg_proc p JOIN pg_language l ON l.oid = p.prolang JOIN pg_namespace n ON n.oid = p.pronamespace"
        " WHERE (n.nspname = current_schema() AND p.proname LIKE 'cfgtrack\\_%')"
        " OR p.oid IN (SELECT t.tgfoid FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
        " WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace)"
    )
    wanted, there = postgresql_functions(), set()
    for name, language, volatile, definer, source, settings, is_here, is_owners, schema in rows:
        if name not in wanted:
            if name.startswith("cfgtrack_"):
                yield Wrong("foreign", f"the function {name} is none of this program's")
            continue  # of a foreign trigger, or of one that was changed: that is told
        there.add(name)
        found = f"{language}{_VOLATILITY[_letter(volatile)]}{' security definer' if definer else ''}: {_spaced(source)}"
        if settings:
            found += f" ({', '.join(settings)})"
        if found != wanted[name].replace("{schema}", schema) or not is_here or not is_owners:
            yield Wrong(
                "unguarded", f"the function {name} is not the one that refuses changes: it is {found!r}"
            )
    for name in sorted(wanted.keys() - there):
        yield Wrong("unguarded", f"the function {name} is gone")


_VOLATILITY = {"i": " immutable", "s": " stable", "v": ""}


def _wrong_policies(database: Database) -> Iterator[Wrong]:
    rows = database.rows(
        "SELECT policyname, tablename, cmd, permissive, roles::text, qual, with_check FROM pg_policies"
        " WHERE schemaname = current_schema()"
    )
    found = {}
    for name, table, command, permissive, roles, using, check in rows:
        said = f"{table} {command} to {roles.strip('{}')}"
        said += "" if using is None else f" using {_bare(using)}"
        said += "" if check is None else f" with check {_bare(check)}"
        found[name] = said if permissive == "PERMISSIVE" else f"{said} (restrictive)"
    for name, text in POLICIES.items():
        if name not in found:
            yield Wrong("unguarded", f"the policy {name} is gone")
        elif _spaced(found[name]) != text:
            yield Wrong(
                "unguarded", f"the policy {name} is not the one that was shipped: it is {found[name]!r}"
            )
    for name in sorted(found.keys() - POLICIES.keys()):
        yield Wrong("foreign", f"the policy {name} is none of this program's: it is {found[name]!r}")
    open_to_all = database.rows(
        "SELECT c.relname FROM pg_class c WHERE c.relnamespace = current_schema()::regnamespace"
        " AND c.relkind = 'r' AND c.relname <> 'alembic_version' AND NOT c.relrowsecurity"
    )
    watched = {text.split()[0] for text in POLICIES.values()}
    for (table,) in open_to_all:
        if table in watched:
            yield Wrong(
                "unguarded", f"the rows of the table {table} are no longer kept from whoever may not look"
            )


def _bare(expression: str) -> str:
    """Return an expression as the server spells it without casts and brackets, which differ from version to version."""
    return _spaced(re.sub(r"""::\w+(?: varying)?|[()'"]""", " ", expression))


def _wrong_grants(database: Database) -> Iterator[Wrong]:
    for one in sorted(granted(database)):
        if one not in shipped(one.user) or one.user == "PUBLIC":
            of = f" ({one.column})" if one.column else ""
            sentence = f"{one.user} may {one.what}{of} on {one.table}, which no role of this program gives"
            yield Wrong("foreign", f"{sentence}: `cfgtrack grant` takes it back")
    for (name,) in database.rows(
        "SELECT current_schema()::text WHERE has_schema_privilege('public', current_schema(), 'CREATE')"
    ):
        yield Wrong(
            "foreign", f"everybody may make functions in the schema {name}: `cfgtrack grant` takes that back"
        )


_OVERRIDES = {
    "the rule {} of the table {} is none of this program's": (
        "SELECT r.rulename, c.relname FROM pg_rewrite r JOIN pg_class c ON c.oid = r.ev_class"
        " WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r'"
    ),
    "the rows of the table {} are hidden from whoever no policy of it names": (
        "SELECT c.relname FROM pg_class c WHERE c.relnamespace = current_schema()::regnamespace"
        " AND c.relkind = 'r' AND (c.relforcerowsecurity OR (c.relrowsecurity AND c.relname = 'alembic_version'))"
    ),
    "the table {} gives its rows out as those of {}": (
        "SELECT i.inhrelid::regclass::text, c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhparent"
        " WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r'"
    ),
    "the setting {} of {} keeps triggers from firing": (
        "SELECT setting, coalesce(r.rolname, 'everybody') FROM pg_db_role_setting s"
        " LEFT JOIN pg_roles r ON r.oid = s.setrole CROSS JOIN unnest(s.setconfig) AS setting"
        " WHERE s.setdatabase IN (0, (SELECT oid FROM pg_database WHERE datname = current_database()))"
        " AND setting LIKE 'session_replication_role=%' AND setting <> 'session_replication_role=origin'"
    ),
}
"""What makes PostgreSQL do something else than it is told, or not do it: how it is said, and where it is found."""


def _overridden(database: Database) -> Iterator[Wrong]:
    for sentence, sql in _OVERRIDES.items():
        for row in database.rows(sql):
            yield Wrong("foreign", sentence.format(*row))


def wrong_structure(database: Database) -> Iterator[Wrong]:
    """Yield what is wrong with the tables themselves: their columns, what is unique in them, how they are looked up."""
    look = _sqlite_table if database.is_file else _postgresql_table
    for table, columns in COLUMNS.items():
        found = look(database, table)
        if not found.columns:
            yield Wrong("structure", f"the table {table} is gone")
            continue
        if found.columns != columns:
            sentence = f"the table {table} has other columns than it was made with: {found.columns}"
            yield Wrong("structure", sentence)
        for name, kind in found.types.items():
            wanted = "numbers" if name in _NUMBERS else "bytes" if name in _BYTES else "text"
            if kind not in _TYPES[wanted]:
                yield Wrong("structure", f"the column {name} of {table} was made for {wanted}, and is {kind}")
        for more in sorted(found.unique - UNIQUE[table]):
            yield Wrong(
                "foreign",
                f"the table {table} refuses a second row of one {more}: that is none of this program's",
            )
        for less in sorted(UNIQUE[table] - found.unique):
            yield Wrong("structure", f"the table {table} takes a second row of one {less}")
        for check in found.checks:
            yield Wrong(
                "foreign", f"the table {table} has a condition that is none of this program's: {check}"
            )
        for name, of in INDEXES.items():
            if of.split()[0] == table and found.indexes.get(name) != of:
                yield Wrong("structure", f"the index {name} is not as it was made, or is gone")


class _Table(NamedTuple):
    columns: str
    unique: frozenset[str]
    indexes: dict[str, str]
    checks: list[str]
    types: dict[str, str]


def _sqlite_table(database: Database, table: str) -> _Table:
    columns, key = [], {}
    checks, types = [], {}
    for _, name, kind, filled, default, place, hidden in database.rows(f"PRAGMA table_xinfo({table})"):
        types[str(name)] = str(kind)
        columns.append(f"{name}!" if filled else str(name))
        if place:
            key[place] = str(name)
        if default is not None or hidden:
            checks.append(f"a value of its own for {name}")
    unique = {" ".join(key[place] for place in sorted(key))} if key else set()
    indexes = {}
    for _, name, is_unique, *_ in database.rows(f"PRAGMA index_list({table})"):
        of = " ".join(
            str(row[2]) for row in database.rows("SELECT * FROM pragma_index_info(:name)", {"name": name})
        )
        if is_unique:
            unique.add(of)
        else:
            indexes[str(name)] = f"{table} {of}"
    sql = database.row("SELECT sql FROM sqlite_master WHERE type = 'table' AND name = :name", {"name": table})
    if sql is not None:
        checks += re.findall(r"\b(?:CHECK|COLLATE)\b", str(sql[0]).upper())
    return _Table(" ".join(columns), frozenset(unique), indexes, checks, types)


def _postgresql_table(database: Database, table: str) -> _Table:
    here = "c.relnamespace = current_schema()::regnamespace AND c.relname = :table"
    columns = database.rows(
        "SELECT a.attname, a.attnotnull, a.atthasdef, format_type(a.atttypid, a.atttypmod)"
        " FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid"
        f" WHERE {here} AND a.attnum > 0 AND NOT a.attisdropped ORDER BY a.attnum",
        {"table": table},
    )
    keys = database.rows(
        "SELECT x.relname, i.indisunique, i.indisvalid AND i.indimmediate, array(SELECT a.attname FROM"
        " unnest(i.indkey) WITH ORDINALITY AS k(n, at) JOIN pg_attribute a ON a.attrelid = i.indrelid"
        " AND a.attnum = k.n ORDER BY k.at)::text[] FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid"
        f" JOIN pg_class x ON x.oid = i.indexrelid WHERE {here}",
        {"table": table},
    )
    checks = database.rows(
        "SELECT pg_get_constraintdef(k.oid) FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid"
        f" WHERE {here} AND k.contype IN ('c', 'x') ORDER BY k.conname",
        {"table": table},
    )
    told = [str(check) for (check,) in checks]
    told += [f"a value of its own for {name}" for name, _, default, _ in columns if default]
    named = " ".join(f"{name}!" if filled else str(name) for name, filled, *_ in columns)
    unique = frozenset(" ".join(of) for _, is_unique, counts, of in keys if is_unique and counts)
    indexes = {
        str(name): " ".join([table, *of]) for name, is_unique, counts, of in keys if counts and not is_unique
    }
    return _Table(named, unique, indexes, told, {str(name): str(kind) for name, *_, kind in columns})
