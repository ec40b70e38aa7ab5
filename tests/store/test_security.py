"""What PostgreSQL itself does with what its users record: it derives what follows, and the tool would have the same.

The audit, which works out everything from the journal by the tool's own code, is the judge of what the database wrote.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import MISSING, fields, replace
from pathlib import Path

import psycopg
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import make_url

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import load
from cfgtrack.answers.transfer import take_in
from cfgtrack.model.definition import Definition
from cfgtrack.model.item import _CLASSES
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import ROLES, Contact, InternalLink, Node, Port, Thermal
from cfgtrack.model.people import Person
from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.guards import wrong_guards
from cfgtrack.store.journal import Journal, open_journal, system_clock
from cfgtrack.store.security import apply, grants
from tests.model.test_people import AREAS, THINGS, plant
from tests.store.conftest import Server
from tests.store.world import CANDIDATES, DEFINITION, START

USER = "user_clerk"


def as_user(server: Server, url: str) -> str:
    """Return the URL of a database as another user opens it, who is known to the server."""
    with suppress(psycopg.errors.DuplicateObject):
        server.admin.execute(f"CREATE ROLE {USER} LOGIN")
    return make_url(url).set(username=USER).render_as_string(hide_password=False)


CLERK = Person("CLERK", roles=frozenset({"record", "correct", "define", "administer"}), user=USER)


def open_to_the_clerk(server: Server, url: str) -> str:
    """Let the clerk do what goes with his roles; return the URL as he opens it."""
    mine = as_user(server, url)
    with open_journal(url, clock=system_clock) as journal:
        journal.load(replace(DEFINITION, initial=(), people={"CLERK": CLERK}), by=None, recorder=None)
        apply(journal.database, grants(journal.database, journal.plant()).statements)
    return mine


def _faults(url: str) -> list[str]:
    with open_journal(url, clock=system_clock) as journal:
        return [fault.sentence for fault in audit(journal.database).faults]


def test_nobody_calls_the_functions_behind_the_policies(server: Server) -> None:
    """Of all that the journal's own functions are, everybody may call what the policies ask, and nothing else."""
    sql = (
        "SELECT proname, has_function_privilege('public', oid, 'EXECUTE') FROM pg_proc"
        " WHERE proname LIKE 'cfgtrack%' AND pronamespace = current_schema()::regnamespace"
    )
    with open_journal(server.fresh(), clock=system_clock) as journal:
        found = {str(name): bool(may) for name, may in journal.database.rows(sql)}
    assert len(found) > 50
    assert [name for name, may in found.items() if may] == ["cfgtrack_may_look"]


@pytest.mark.parametrize("seed", range(3))
def test_what_follows_is_what_the_tool_would_derive(seed: int, server: Server) -> None:
    """Of random actions, late ones and corrections, by a user of whom the server writes what follows."""
    url = server.fresh()
    with open_journal(url, clock=system_clock) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    drawn, recorded = random.Random(seed), list[str]()
    with open_journal(open_to_the_clerk(server, url), clock=system_clock) as journal:
        assert journal.database.is_restricted
        for number in range(150):
            when = START + 10 + drawn.randrange(1000)
            action = replace(drawn.choice(CANDIDATES), id=f"E{number}", happened=when)
            if recorded and drawn.random() < 0.25:
                action = replace(action, supersedes=drawn.choice(recorded), reason="so")
            with suppress(Refused):
                journal.record([action])
                recorded.append(action.id)
    assert len(recorded) > 20
    assert _faults(url) == []


def test_the_demo_is_recorded_by_a_user(server: Server, tmp_path: Path) -> None:
    """Sites, readings, outings, locks, corrections and revisions of the demo: loaded and imported by a mere user."""
    demo = Path(__file__).parents[2] / "demo"
    url = server.fresh()
    mine = open_to_the_clerk(server, url)
    asking = Asking(mine, by="survey", recorder="CLERK", clock=system_clock)
    load(asking, [demo / "hardware.toml"])
    done = take_in(asking, str(demo / "as-run.csv"))
    assert done.recorded > 100
    assert _faults(url) == []


def test_the_server_and_the_tool_mean_the_same_part_of_the_plant(server: Server) -> None:
    """Every area that is written down by hand covers there what it covers here."""
    found = plant()
    url = server.fresh()
    kinds = {name: Kind(name, "fluid", ("off", "on"), {}) for name in ("valve", "plug")}
    whole = Definition(
        media={"fluid": Medium("fluid")},
        kinds=kinds,
        parts=found.parts,
        units=found.units,
        places=found.places,
    )
    with open_journal(url, clock=system_clock) as journal:
        journal.load(whole, by=None, recorder=None)
    with psycopg.connect(url) as db:
        for area, covered in AREAS.items():
            fields = {
                name: getattr(area, name) for name in ("ids", "parts", "kinds", "places", "loops", "tags")
            }
            said = json.dumps({name: values for name, values in fields.items() if values})
            rows = db.execute(
                "SELECT thing FROM unnest(%s::text[]) AS thing WHERE cfgtrack_covers(%s, thing, 9e18::bigint, true)",
                [[*THINGS], said],
            )
            assert {thing for (thing,) in rows} == covered, area


def test_the_server_knows_the_fields_of_every_item(server: Server) -> None:
    """What an item may have in plain SQL is what it has here; and what must be there is what has no default."""
    with psycopg.connect(server.fresh()) as db:
        inner = {"move": Move, "contact": Contact, "port": Port, "node": Node, "link": InternalLink}
        for sort, made in {**_CLASSES, **inner, "thermal": Thermal}.items():
            row = db.execute("SELECT cfgtrack_fields(%s)", [sort]).fetchone()
            assert row is not None
            here = {one.name: one for one in fields(made) if one.init}
            names = (here.keys() - {"roles"}) | {*ROLES} if made is Node else here.keys()
            assert row[0].keys() == names
            assert {name for name, form in row[0].items() if form.endswith("!")} == {
                name
                for name, one in here.items()
                if one.default is MISSING and one.default_factory is MISSING
            }


@pytest.fixture(scope="module")
def owners(server: Server) -> Iterator[psycopg.Connection[tuple[object, ...]]]:
    """A connection of the owner of a journal's tables."""
    with psycopg.connect(server.fresh(), autocommit=True) as connection:
        yield connection


@given(values=st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1))
@settings(max_examples=60)
def test_numbers_are_written_as_the_tool_writes_them(
    values: list[float], owners: psycopg.Connection[tuple[object, ...]]
) -> None:
    """In canonical JSON as RFC 8785 asks, and in a state as Python's shortest text that reads as the same number."""
    texts = [json.dumps(value) for value in values]
    rows = owners.execute(
        "SELECT cfgtrack_number(t), cfgtrack_reading(t)"
        " FROM unnest(%s::text[]) WITH ORDINALITY AS n(t, at) ORDER BY at",
        [texts],
    ).fetchall()
    assert [row[0] for row in rows] == [canonical_json({"": value})[4:-1].decode() for value in values]
    assert [row[1] for row in rows] == [
        repr(value) if value else "0.0" for value in values if not math.isnan(value)
    ]


_TEXTS = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"], max_codepoint=0xD7FF))


@given(
    value=st.recursive(
        _TEXTS | st.booleans() | st.none() | st.integers(1 - 2**53, 2**53 - 1),
        lambda inner: st.lists(inner) | st.dictionaries(_TEXTS, inner),
        max_leaves=20,
    )
)
@settings(max_examples=100)
def test_json_is_canonical_as_the_tool_has_it(
    value: object, owners: psycopg.Connection[tuple[object, ...]]
) -> None:
    """However it is written, the server makes the same canonical JSON of it as the tool (RFC 8785)."""
    row = owners.execute(
        "SELECT cfgtrack_canonical(%s::json)", [json.dumps({"": value}, indent=1)]
    ).fetchone()
    assert row == (canonical_json({"": value}).decode(),)


TAMPERED = {
    "ALTER TABLE event DISABLE ROW LEVEL SECURITY": "the rows of the table event are no longer kept",
    "ALTER TABLE touch FORCE ROW LEVEL SECURITY": "the rows of the table touch are hidden",
    "DROP POLICY event_recorded ON event": "the policy event_recorded is gone",
    "ALTER POLICY event_recorded ON event WITH CHECK (true)": "the policy event_recorded is not the one",
    "CREATE POLICY all_of_it ON change USING (true)": "the policy all_of_it is none of this program's",
    "ALTER TABLE event DISABLE TRIGGER event_taken_in": "the trigger event_taken_in is not the one",
    "DROP TRIGGER event_closed ON event": "its trigger event_closed is gone",
    "CREATE OR REPLACE FUNCTION cfgtrack_may_look() RETURNS boolean LANGUAGE sql STABLE SECURITY DEFINER"
    " AS 'SELECT true'": "the function cfgtrack_may_look() is not the one",
    "ALTER FUNCTION cfgtrack_take_in() RESET ALL": "the function cfgtrack_take_in() is not the one",
    "ALTER FUNCTION cfgtrack_take_in() SECURITY INVOKER": "the function cfgtrack_take_in() is not the one",
    "DROP FUNCTION cfgtrack_now() CASCADE": "the function cfgtrack_now() is gone",
    "CREATE FUNCTION cfgtrack_has(jsonb, name) RETURNS boolean LANGUAGE sql AS 'SELECT true'": "none of this program's",
    "GRANT SELECT ON event TO PUBLIC": "PUBLIC may SELECT on event",
    "GRANT INSERT ON change TO user_clerk": "user_clerk may INSERT on change",
    "GRANT UPDATE (value) ON change TO user_clerk": "user_clerk may UPDATE (value) on change",
    "GRANT CREATE ON SCHEMA public TO PUBLIC": "everybody may make functions in the schema public",
    "CREATE VIEW leak AS SELECT * FROM event; GRANT SELECT ON leak TO user_clerk": "user_clerk may SELECT on leak",
}


@pytest.mark.parametrize("statement", TAMPERED)
def test_the_audit_tells_what_was_done_to_the_guards(statement: str, server: Server) -> None:
    """Whoever may change what keeps people to their roles is told by the next audit, whatever he did to it."""
    url = server.fresh()
    as_user(server, url)
    with open_journal(url, clock=system_clock) as journal:
        assert list(wrong_guards(journal.database)) == []
        journal.database.raw.execute(statement)
        assert any(TAMPERED[statement] in wrong.sentence for wrong in wrong_guards(journal.database))


def test_grants_follow_the_roles(server: Server) -> None:
    """They are said once; who loses his roles loses them, and so does everybody whom no role gives anything."""
    url = server.fresh()
    mine = open_to_the_clerk(server, url)

    def said(journal: Journal) -> tuple[str, ...]:
        return grants(journal.database, journal.plant()).statements

    with open_journal(url, clock=system_clock) as journal:
        assert said(journal) == ()
        boss = Person("BOSS", roles=frozenset({"administer"}), user="user_boss")
        clerk = replace(CLERK, roles=frozenset({"look"}))
        more = replace(DEFINITION, initial=(), people={"BOSS": boss, "CLERK": clerk})
        journal.load(more, by=None, recorder="CLERK")
        assert grants(journal.database, journal.plant()).missing == ("user_boss",)
        taken = [one for one in said(journal) if one.startswith("REVOKE")]
        assert taken == [
            f'REVOKE {what} ON "public"."{table}" FROM "{USER}"'
            for table, what in (("change", 'UPDATE ("until")'), ("event", "INSERT"), ("item", "INSERT"))
        ]
        apply(journal.database, said(journal))
        assert list(wrong_guards(journal.database)) == []
    with (
        open_journal(mine, clock=system_clock) as journal,
        pytest.raises(Refused, match="only the owner of the tables may"),
    ):
        apply(journal.database, ())
