"""Who may do what: roles x commands x parts of the plant, through the tool, in plain SQL, and as a page of plain code.

The three must agree on a real PostgreSQL. The page is `is_allowed` with the two tables above it; the SQL is written
here by hand, with the hashes of RFC 6962 computed by hashlib: nothing of the tool is asked for it.
"""

from __future__ import annotations

import hashlib
import json
import re
import shlex
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any, NamedTuple, cast

import psycopg
import pytest

from cfgtrack.folders import top_folder
from cfgtrack.model.time import SECOND
from tests.cli.asked import all_commands, command_of
from tests.cli.conftest import Answer, Command
from tests.cli.needed_roles import NEEDS
from tests.cli.peopled import CONFINED, FOUND, INSIDE, OUTSIDE, PEOPLE, RULE, TEXT, Plant, peopled
from tests.store.conftest import Server
from tests.store.plain_sql import INTO_ITEM, Spelled, insert_around, insert_event, insert_load, said


def is_allowed(person: str, role: str, thing: str) -> bool:
    """Return whether somebody may do what needs a role, to a thing ("" for what is about the whole plant)."""
    if role == "":
        return True
    if role == "look":
        return PEOPLE[person] != ()
    if role not in PEOPLE[person]:
        return False
    return person not in CONFINED or thing in ("", INSIDE)


@pytest.fixture
def plant(server: Server, empty: Command) -> Plant:
    """The tiny plant with people, on a server that lets them do what goes with their roles."""
    return peopled(server, empty)


# --- what is done, by a command and in SQL ----------------------------------------------------------------------------

Words = Callable[[Plant, str], tuple[object, ...]]
Sql = Callable[[psycopg.Connection[Any], Plant, str], object]


class Deed(NamedTuple):
    """What a command does, and the same in SQL; what it is about, "" for the whole plant."""

    command: str
    thing: str
    words: Words
    sql: Sql

    @property
    def role(self) -> str:
        """The role that it needs."""
        return "administer" if self.command == "load people" else NEEDS[self.command]


LOOKED_AT = """
[[outing]]
id = "W1"
[[outing.track]]
name = "REC"
steps = [{ do = "shut HALL:V1", takes = "1 min" }, { do = "open HALL:V1", takes = "1 min" }]
"""


def looking(command: str, table: str, *words: object) -> Deed:
    """Return a question, and the table that it is answered from."""

    def read(db: psycopg.Connection[Any], plant: Plant, person: str) -> None:
        del plant, person
        found = db.execute(f"SELECT count(*) FROM {table}").fetchone()
        if found is None or not found[0]:
            raise psycopg.errors.InsufficientPrivilege("nothing is seen")

    def typed(plant: Plant, person: str) -> tuple[object, ...]:
        del person
        files = {
            "OUT": plant.command.folder / f"{plant.new('out')}.svg",
            "RULES": plant.command.folder / "rules.toml",
            "PLAN": plant.command.file("looked-at.toml", LOOKED_AT),
        }
        return (*command.split(), *(files.get(str(word), word) for word in words))

    return Deed(command, "", typed, read)


def recording(
    command: str, thing: str, action: str, *words: str, old: tuple[str, ...] = (), **more: str
) -> Deed:
    """Return what records an event; OLD stands for one that the owner recorded (`old`)."""
    subjects = (thing,) if thing and action not in ("withdraw", "explain") else ()

    def told(plant: Plant, text: str) -> str:
        return plant.old(*old) if text == "OLD" else text

    def typed(plant: Plant, person: str) -> tuple[object, ...]:
        del person
        return (*command.split(), *(told(plant, word) for word in words))

    def insert(db: psycopg.Connection[Any], plant: Plant, person: str) -> None:
        fields = {name: told(plant, text) for name, text in more.items()}
        insert_event(db, said(action, person, plant.new(), *subjects, **fields))

    return Deed(command, thing, typed, insert)


def at(thing: str) -> Iterator[Deed]:
    """Yield what can be done at one thing as at another."""
    old = ("inspect", thing)
    yield recording("record", thing, "inspect", "inspect", thing)
    yield recording(
        "correct", thing, "inspect", "OLD", *old, "--reason", "x", old=old, supersedes="OLD", reason="x"
    )
    yield recording(
        "withdraw", thing, "withdraw", "OLD", "--reason", "x", old=old, withdraws="OLD", reason="x"
    )

    def imported(plant: Plant, person: str) -> tuple[object, ...]:
        del person
        return "import", plant.file(
            f"id,at,action,subject\n{plant.new()},2021-05-01T10:00:00Z,inspect,{thing}\n", "csv"
        )

    yield Deed("import", thing, imported, recording("import", thing, "remark", remark="x").sql)


def defining(
    command: str, sort: str, text: str, item: dict[str, object], action: str = "define", **more: str
) -> Deed:
    """Return a load of one item, as a file has it (`text`) and as the journal does; ID stands for its id."""

    def typed(plant: Plant, person: str) -> tuple[object, ...]:
        del person
        more = ("--accept", "x") if command == "rules load" else ()
        return (
            *command.removesuffix(" people").split(),
            plant.file(text.replace("ID", plant.new("I"))),
            *more,
        )

    def insert(db: psycopg.Connection[Any], plant: Plant, person: str) -> None:
        insert_load(db, person, sort, {"id": plant.new("I"), **item}, action, **more)

    return Deed(command, "", typed, insert)


IN_FORCE = """
[[outing]]
id = "W1"
[[outing.track]]
name = "REC"
steps = [{ id = "ID", do = "measure PUMP-1 temperature=20degC", takes = "1 min" }]
"""


def planned(plant: Plant) -> tuple[str, str]:
    """Return the step of a plan that the owner adopted, and of which nothing is done, and the event that adopted it."""
    if "plan" not in plant.held:
        step, event = plant.new("S"), plant.new("ADOPT")
        file = plant.file(IN_FORCE.replace("ID", step))
        plant.owner("plan", "adopt", file, "--recorder", "LEAD", "--id", event)
        plant.held |= {"step": step, "plan": event}
    return plant.held["step"], plant.held["plan"]


def of_plan(command: str, thing: str, action: str, *words: str, **more: object) -> Deed:
    """Return what is done with the plan in force, or without an action a question about it.

    STEP stands for its step, ADOPTED for what adopted it.
    """

    def typed(plant: Plant, person: str) -> tuple[object, ...]:
        del person
        meant = dict(zip(("STEP", "ADOPTED"), planned(plant), strict=True))
        return (*command.split(), *(meant.get(word, word) for word in words))

    def insert(db: psycopg.Connection[Any], plant: Plant, person: str) -> None:
        step, plan = planned(plant)
        of_step = {} if action == "abandon" else {"step": step, "plan": plan}
        insert_event(db, said(action, person, plant.new(), *filter(None, [thing]), **of_step, **more))

    return Deed(command, thing, typed, insert if action else looking(command, "event").sql)


def adopting(plant: Plant, person: str) -> tuple[object, ...]:
    """Return how a plan is adopted."""
    del person
    return "plan", "adopt", plant.file(IN_FORCE.replace("ID", plant.new("S")))


def adopted(db: psycopg.Connection[Any], plant: Plant, person: str) -> None:
    """Adopt a plan in SQL."""
    text = IN_FORCE.replace("ID", plant.new("S"))
    body = {"name": "plan.toml", "sha256": hashlib.sha256(text.encode()).hexdigest(), "text": text}
    insert_event(db, said("adopt", person, plant.new(), body=body))


def by_owner(command: str, statement: str, *words: object) -> Deed:
    """Return what only the owner of the tables may do."""

    def typed(plant: Plant, person: str) -> tuple[object, ...]:
        del plant, person
        return (command, *words)

    return Deed(command, "", typed, lambda db, *_: db.execute(statement))


def approved(plant: Plant, person: str) -> tuple[object, ...]:
    """Return how an exception is approved, to what parting PUMP-1 would break."""
    named = (word for one in plant.would_find("demate PUMP-1:J1") for word in ("--finding", one))
    return "approve", *named, "--do", "demate PUMP-1:J1", "--by", person, "--reason", plant.new()


def acknowledged(plant: Plant, person: str) -> tuple[object, ...]:
    """Return how a finding of the past is acknowledged."""
    del person
    return "acknowledge", plant.finding(), "--reason", "x"


APPROVAL = {"fingerprints": ["0123456789ab"], "rule": "x"}

DEEDS: tuple[Deed, ...] = (
    looking("plant", "item"),
    looking("vet", "item"),
    looking("way", "item", "--want", "HALL:V1 open"),
    looking("rules list", "item"),
    looking("rules show", "item"),
    looking("rules explain", "item", "expansion"),
    looking("rules try", "item", "RULES"),
    looking("state", "change", "PUMP-1"),
    looking("history", "touch", "PUMP-1"),
    looking("diff", "change", "2021-05-01T08:00:00Z", "2021-05-01T09:00:00Z"),
    looking("remarks", "event", "PUMP-1"),
    looking("draw", "change", "--loop", "A", "-o", "OUT"),
    looking("check", "change", "--do", "inspect PUMP-1"),
    looking("can", "change", "PUMP-1:J1"),
    looking("without", "change", "HALL:V1"),
    looking("isolate", "change", "PUMP-1"),
    looking("segments", "change", "fluid"),
    looking("checks", "event"),
    looking("compare", "change", "PLAN", "PLAN"),
    looking("mend", "change", "PLAN"),
    looking("findings", "event"),
    looking("review", "event"),
    looking("stops", "event", "PLAN"),
    looking("leave", "event"),
    looking("failures", "event", "PLAN"),
    looking("orders", "event", "PLAN"),
    looking("durations", "event", "PLAN", "--samples", "9"),
    looking("which", "event", "--for", "PUMP-1"),
    looking("complete", "event", "PLAN"),
    looking("plan list", "event"),
    of_plan("plan show", "", ""),
    of_plan("progress", "", ""),
    of_plan("left", "", ""),
    looking("audit", "tree_head"),
    looking("head", "tree_head"),
    looking("prove", "event", "initial:PUMP-1"),
    looking("backup", "event", "OUT"),
    looking("export", "event", "--form", "csv", "-o", "OUT"),
    *at(INSIDE),
    *at(OUTSIDE),
    recording("explain", "HALL:V1", "explain", "OLD", "--reason", "x", old=FOUND, explains="OLD", reason="x"),
    Deed(
        "approve",
        "",
        approved,
        lambda db, plant, person: insert_event(
            db, said("approve", person, plant.new(), "PUMP-1:J1", body=APPROVAL, by=person, reason="x")
        ),
    ),
    Deed(
        "acknowledge",
        "",
        acknowledged,
        lambda db, plant, person: insert_event(
            db, said("acknowledge", person, plant.new(), acknowledges="0123456789ab", reason="x")
        ),
    ),
    of_plan("done", INSIDE, "inspect", "STEP", "--revision", "ADOPTED"),
    of_plan("skip", "", "skip", "STEP", "--revision", "ADOPTED", "--reason", "x", reason="x"),
    Deed("plan adopt", "", adopting, adopted),
    of_plan("plan drop", "", "abandon", "--reason", "x", reason="x"),
    defining("load", "place", '[[place]]\nid = "ID"\n', {}),
    defining("load people", "person", '[[person]]\nid = "ID"\n', {}),
    defining("rules load", "rules", RULE, {"text": RULE}),
    Deed(
        "rules drop",
        "",
        lambda plant, _: ("rules", "drop", plant.dropped()),
        lambda db, plant, person: insert_load(db, person, "rules", {"id": plant.new("R"), "text": ""}),
    ),
    Deed(
        "retire",
        "",
        lambda plant, _: ("retire", plant.unit(), "--reason", "x"),
        lambda db, plant, person: insert_load(
            db, person, "retired", {"id": plant.unit()}, "retire", reason="x"
        ),
    ),
    by_owner("rebuild", "DELETE FROM touch"),
    by_owner("grant", "ALTER TABLE event DISABLE ROW LEVEL SECURITY"),
    by_owner("migrate", "ALTER TABLE event ADD COLUMN more text"),
)


def test_every_command_says_which_role_it_needs() -> None:
    """A new command without an entry fails here, and so does one that needs a journal and is tried by nobody."""
    assert {command_of(words.split()) for words in all_commands()} == NEEDS.keys()
    tried = {deed.command for deed in DEEDS} - {"load people"} | {
        "restore"
    }  # restored is what isn't there yet
    assert tried == {command for command, role in NEEDS.items() if role}


def _was_let(answer: Answer) -> bool:
    """Return whether a command was allowed: else it says that it wasn't, and ends with 3."""
    if ": not-allowed: " in answer.err or ": approval: " in answer.err:
        assert (answer.status, answer.out) == (3, ""), answer
        return False
    assert answer.status in (0, 3), answer
    return True


@pytest.mark.parametrize("person", PEOPLE)
def test_the_matrix(person: str, plant: Plant) -> None:
    """Through the tool, in plain SQL and on the page somebody may do the same; and the record is sound."""
    page, tool, plain = {}, {}, {}
    for deed in DEEDS:
        key = (deed.command, deed.thing)
        page[key] = is_allowed(person, deed.role, deed.thing)
        if deed.role in ("approve", "record") and deed.thing == "HALL:V1":
            page[key] = is_allowed(person, deed.role, OUTSIDE)
        answer = plant.as_(person, *deed.words(plant, person))
        tool[key] = _was_let(answer)
        if tool[key]:
            plant.held.clear()
        with plant.sql(person) as db:
            plain[key] = False
            with suppress(psycopg.errors.InsufficientPrivilege):
                deed.sql(db, plant, person)
                db.commit()
                plain[key] = True
        if plain[key]:
            plant.held.clear()
    assert tool == page
    assert plain == page
    assert plant.owner("audit").startswith("sound")


def test_a_check_is_kept_by_who_records(plant: Plant) -> None:
    """Who may record keeps a check, and what the server takes of it is what the tool made; who only looks can't.

    A text that isn't what its sha256 says is not taken in plain SQL either.
    """
    path = plant.command.file("kept.toml", LOOKED_AT)
    assert plant.as_("LOT", "check", path, "--keep").status == 3
    assert "as kept, in event" in plant.as_("REC", "check", path, "--keep").out
    [kept] = json.loads(plant.as_("LOT", "checks", "--json").out)["checks"]
    assert kept["check"]["recorder"] == "REC"
    with plant.sql("REC") as db, pytest.raises(psycopg.errors.InsufficientPrivilege, match="a check is kept"):
        insert_event(
            db, said("keep-check", "REC", plant.new(), body={"name": "x", "text": "y", "sha256": "z"})
        )
    assert plant.owner("audit").startswith("sound")


# --- what nobody may do, whatever his roles ---------------------------------------------------------------------------


class Abuse(NamedTuple):
    """What somebody tries in plain SQL, who may record or define, and must not be let."""

    person: str
    does: Callable[[psycopg.Connection[Any], Plant], object]


def _event(person: str, *subjects: str, action: str = "inspect", **more: object) -> dict[str, object]:
    return said(action, person, "ABUSE", *subjects, **more)


def _inserted(person: str, event: dict[str, object], **other: object) -> Abuse:
    return Abuse(person, lambda db, _: insert_event(db, event, **other))


def _told(person: str, *statements: str) -> Abuse:
    def tell(db: psycopg.Connection[Any], _: Plant) -> None:
        for statement in statements:
            db.execute(statement)

    return Abuse(person, tell)


def _known(db: psycopg.Connection[Any], off: int) -> None:
    """Say that something became known at another time than the server's clock tells."""
    row = db.execute("SELECT (extract(epoch FROM clock_timestamp()) * 1000000)::bigint").fetchone()
    assert row is not None
    insert_event(db, _event("REC", "PUMP-1"), known=row[0] + off)


def _shadowed(db: psycopg.Connection[Any], _: Plant) -> None:
    """Put a table of one's own in the way of the functions, in which one has every role."""
    db.execute("CREATE TEMP TABLE item (sort text, id text, load bigint, body text)")
    db.execute("INSERT INTO item SELECT * FROM public.item WHERE sort <> 'person'")
    roles = json.dumps({"id": "REC", "roles": ["approve", "define", "record"], "user": "user_rec"})
    db.execute("INSERT INTO item VALUES ('person', 'REC', 1, %s)", [roles])
    insert_event(db, _event("REC", "PUMP-1", action="approve", body=APPROVAL))


def _added(db: psycopg.Connection[Any], plant: Plant) -> None:
    """Add an item to a load of one's own that was committed."""
    number = insert_load(db, "DEF", "place", {"id": plant.new("P")})
    db.commit()
    db.execute("INSERT INTO item VALUES ('place', 'MORE', %s, '{}')", [number])


def _loose(db: psycopg.Connection[Any], _: Plant) -> None:
    """Bring an item with what defines nothing."""
    number = insert_event(db, _event("REC", "PUMP-1"))
    db.execute("INSERT INTO item VALUES ('person', 'REC', %s, '{}')", [number])


def _hollow(db: psycopg.Connection[Any], _: Plant) -> None:
    """Commit to items, and have that looked at before they are there."""
    db.execute("SET CONSTRAINTS ALL IMMEDIATE")
    insert_load(db, "DEF", "place", {"id": "HOLLOW"})


RAISED: dict[str, object] = {"id": "REC", "roles": ["administer", "record"], "user": "user_rec"}
"""The item that REC would write of himself."""


def _committed(sort: str, item: dict[str, object]) -> dict[str, object]:
    """Return the body of a load of one item."""
    told = json.dumps({sort: {str(item["id"]): item}}, separators=(",", ":"), sort_keys=True)
    return {"count": 1, "items": hashlib.sha256(told.encode()).hexdigest()}


def _ordered(way: str) -> Abuse:
    """Return an item that raises REC, on an event of his own, in another order than a load has."""
    text = json.dumps(RAISED, separators=(",", ":"), sort_keys=True)

    def of_what(db: psycopg.Connection[Any], event: dict[str, object]) -> tuple[int, str]:
        spelled = Spelled(db)
        return insert_event(cast("psycopg.Connection[Any]", spelled), event), spelled.text

    def does(db: psycopg.Connection[Any], _: Plant) -> None:
        event = _event("REC", "PUMP-1")
        if way == "item first":
            number, insertion = of_what(db, event)
            db.execute(INTO_ITEM, ["person", "REC", number, text])
            db.execute(insertion)
        elif way == "closed first":
            number = insert_event(db, event)
            db.execute("SET CONSTRAINTS ALL IMMEDIATE")
            db.execute(INTO_ITEM, ["person", "REC", number, text])
        elif way == "one statement":
            number, insertion = of_what(db, event)
            into = INTO_ITEM.replace("VALUES (%s, %s, %s, %s)", "SELECT %s, %s, %s, %s FROM e")
            db.execute(f"WITH e AS ({insertion} RETURNING number) {into}", ["person", "REC", number, text])
        elif way == "block":
            number, insertion = of_what(db, event)
            item = psycopg.ClientCursor(db).mogrify(INTO_ITEM, ["person", "REC", number, text])
            db.execute(f"DO $do$ BEGIN {insertion}; SET CONSTRAINTS ALL IMMEDIATE; {item}; END $do$")
        elif way == "savepoint":
            insert_event(db, _event("REC", "PUMP-1", action="define", body=_committed("person", RAISED)))
            db.execute("SAVEPOINT s")
            db.execute("ROLLBACK TO s")
            number = insert_event(db, {**event, "id": "ABUSE-2"})
            db.execute(INTO_ITEM, ["person", "REC", number, text])
        elif way == "view":
            number = insert_event(db, event)
            db.execute("CREATE TEMP VIEW v AS SELECT * FROM public.item")
            db.execute("SET CONSTRAINTS ALL IMMEDIATE")
            db.execute(INTO_ITEM.replace("item", "v", 1), ["person", "REC", number, text])
        else:
            number, insertion = of_what(db, event)
            db.execute("CREATE TEMP TABLE t (a int)")
            item = psycopg.ClientCursor(db).mogrify(INTO_ITEM, ["person", "REC", number, text])
            db.execute(f"CREATE RULE r AS ON INSERT TO t DO ALSO ({insertion}; {item})")
            db.execute("INSERT INTO t VALUES (1)")

    return Abuse("REC", does)


def _around(person: str, sort: str, item: dict[str, object], event: dict[str, object]) -> Abuse:
    return Abuse(person, lambda db, _: insert_around(db, event, sort, item))


def _loaded(person: str, sort: str, item: dict[str, object]) -> Abuse:
    return Abuse(person, lambda db, _: insert_load(db, person, sort, item))


BAR: dict[str, object] = {"dimension": "pressure", "shown": 1, "unit": "bar", "value": 100000}
TOLD, MORE = {**BAR, "value": "100000"}, {**BAR, "sure": True}
TABLES = ("event", "item", "tree_head", "touch", "change", "checkpoint", "settled", "alembic_version")
_NEXT = "(SELECT max(number) + 1 FROM event)"
_MATED = {"moved": ["PUMP-2"], "place": "STORE"}

ABUSES: dict[str, Abuse] = {
    "in another's name": _inserted("REC", _event("DEF", "PUMP-1")),
    "in nobody's name": _inserted("REC", {k: v for k, v in _event("", "PUMP-1").items() if k != "recorder"}),
    "as another user": _inserted("REC", _event("REC", "PUMP-1"), login="user_def"),
    "as no user": _inserted("REC", _event("REC", "PUMP-1"), login=None),
    "signed by another": _inserted("REC", _event("REC", "PUMP-1"), signed='{"by":"DEF"}'),
    "another leaf": _inserted("REC", _event("REC", "PUMP-1"), leaf=bytes(32)),
    "a later number": _inserted("REC", _event("REC", "PUMP-1"), number=1_000),
    "known before": _inserted("REC", _event("REC", "PUMP-1"), known=1),
    "known a second ago": Abuse("REC", lambda db, _: _known(db, -SECOND)),
    "known in a minute": Abuse("REC", lambda db, _: _known(db, 60 * SECOND)),
    "another turn": _inserted("REC", _event("REC", "PUMP-1"), turn=1),
    "corrects in silence": _inserted("REC", _event("REC", "PUMP-1"), corrects=1),
    "another id": _inserted("REC", _event("REC", "PUMP-1"), id="OTHER"),
    "another action": _inserted("REC", _event("REC", "PUMP-1"), action="remark"),
    "another time": _inserted("REC", _event("REC", "PUMP-1"), happened=1),
    "with blanks": _inserted("REC", _event("REC", "PUMP-1"), body='{ "id": "ABUSE" }'),
    "no JSON": _inserted("REC", _event("REC", "PUMP-1"), body="{"),
    "a field that there isn't": _inserted("REC", _event("REC", "PUMP-1", colour="red")),
    "a text for a list": _inserted("REC", {**_event("REC"), "subjects": "PUMP-1"}),
    "a number for a text": _inserted("REC", _event("REC", "PUMP-1", remark=7)),
    "no such unit": _inserted("REC", _event("REC", "PUMP-9")),
    "no such place": _inserted("REC", _event("REC", "PUMP-1", action="place", place="NOWHERE")),
    "no such mate": _inserted(
        "REC", _event("REC", "PUMP-1:F1", action="as-found", status="mated", peer="X:F")
    ),
    "carried to nowhere": _inserted(
        "REC", _event("REC", "PUMP-1", action="place", place="STORE", carried={"PUMP-2": "X"})
    ),
    "nothing to explain": _inserted("REC", _event("REC", action="explain", explains="X")),
    "guessed": _inserted("REC", _event("REC", "PUMP-1", basis="guessed")),
    "no such quantity": _inserted("REC", _event("REC", "PUMP-1", action="measure", values={"charm": BAR})),
    "in another dimension": _inserted("REC", _event("REC", "PUMP-1", action="measure", values={"mass": BAR})),
    "a number that is a text": _inserted(
        "REC", _event("REC", "PUMP-1", action="measure", values={"pressure": TOLD})
    ),
    "a value with more": _inserted(
        "REC", _event("REC", "PUMP-1", action="measure", values={"pressure": MORE})
    ),
    "no such port": _inserted("REC", _event("REC", "PUMP-1:X", action="open")),
    "no such move": _inserted("REC", _event("REC", "PUMP-1:F1", action="open")),
    "of the beginning": _inserted("REC", _event("REC", "PUMP-1", initial=True)),
    "approves": _inserted("REC", _event("REC", "PUMP-1", action="approve", body=APPROVAL)),
    "approves as another": _inserted(
        "APP", _event("APP", "PUMP-1", action="approve", body=APPROVAL, by="PIA")
    ),
    "withdraws a definition": _inserted("COR", _event("COR", action="withdraw", withdraws="define:1")),
    "takes along from outside": _inserted("PIA", _event("PIA", "PUMP-1", action="place", **_MATED)),
    "parts what is outside": _inserted("PIA", _event("PIA", "PUMP-1", parted=["PUMP-2:F1"])),
    "withdraws what is outside": Abuse(
        "PIA",
        lambda db, plant: insert_event(
            db, _event("PIA", action="withdraw", withdraws=plant.old("inspect", OUTSIDE))
        ),
    ),
    "defines people": Abuse(
        "DEF", lambda db, _: insert_load(db, "DEF", "person", {"id": "DEF", "roles": ["approve"]})
    ),
    "defines permissions": Abuse("DEF", lambda db, _: insert_load(db, "DEF", "permission", {"id": "pia"})),
    "sets": Abuse("DEF", lambda db, _: insert_load(db, "DEF", "setting", {"id": "unsigned-events"})),
    "defines without items": _inserted("DEF", _event("DEF", action="define", body={"items": "0" * 64})),
    "adds to a load": Abuse("DEF", _added),
    "items of no load": Abuse("REC", _loose),
    "looked at too early": Abuse("DEF", _hollow),
    "raises himself around a closed event": _around("REC", "person", RAISED, _event("REC", "PUMP-1")),
    "widens his part around a closed event": _around(
        "PIA",
        "permission",
        {"id": "pia", "may": ["record"], "on": {}, "who": ["PIA"]},
        _event("PIA", "PUMP-1"),
    ),
    "sets around a closed event": _around(
        "REC", "setting", {"id": "unsigned-events", "value": "refused"}, _event("REC", "PUMP-1")
    ),
    "raises himself around a load": _around(
        "DEF",
        "person",
        {**RAISED, "id": "DEF", "user": "user_def"},
        _event("DEF", action="define", body=_committed("person", RAISED)),
    ),
    **{
        f"raises himself, {way}": _ordered(way)
        for way in ("item first", "closed first", "one statement", "block", "savepoint", "view", "rule")
    },
    "a person that is none": _loaded("ADM", "person", {"id": "X", "roles": "x"}),
    "a role that there isn't": _loaded("ADM", "person", {"id": "X", "roles": ["king"]}),
    "two people of one user": _loaded("ADM", "person", {"id": "X", "roles": ["record"], "user": "user_rec"}),
    "nobody administers": _loaded("ADM", "person", {"id": "ADM", "roles": ["record"], "user": "user_adm"}),
    "a permission of nothing": _loaded(
        "ADM", "permission", {"id": "x", "may": ["define"], "on": {}, "who": ["REC"]}
    ),
    "a setting of nothing": _loaded("ADM", "setting", {"id": "unsigned-events", "value": "perhaps"}),
    "an item of no sort": _loaded("DEF", "frob", {"id": "X"}),
    "a unit of no part": _loaded("DEF", "unit", {"id": "PUMP-1", "part": "nope"}),
    "a unit with more": _loaded("DEF", "unit", {"id": "PUMP-1", "part": "pump", "colour": "red"}),
    "a part with a port of more": _loaded(
        "DEF", "part", {"id": "pump", "ports": [{"colour": "red", "kind": "tie", "name": "T"}]}
    ),
    "a part with a port of nothing": _loaded("DEF", "part", {"id": "pump", "ports": [7]}),
    "a place in itself": _loaded("DEF", "place", {"id": "HALL", "parent": "HALL"}),
    "moves what stays": _inserted("REC", _event("REC", "HALL", action="place", place="STORE")),
    "into what is no place": _inserted("REC", _event("REC", "PUMP-1", action="place", place="PUMP-2")),
    "a time between two": _inserted("REC", _event("REC", "PUMP-1", clock=1.5)),
    "a clock without end": _inserted("REC", _event("REC", "PUMP-1", clock=1e300)),
    "in a far year": _inserted("REC", {**_event("REC", "PUMP-1"), "happened": 2**53}),
    "in no year": _inserted("REC", {**_event("REC", "PUMP-1"), "happened": -62135596800000001}),
    "hands over what is no head": _inserted(
        "REC", _event("REC", action="begin", outing="O", body={"head": "zz"})
    ),
    "hands over another record": _inserted(
        "REC",
        _event("REC", action="begin", outing="O", body={"head": {"root": "0" * 64, "size": 1}}),
    ),
    "with a body": _inserted("REC", _event("REC", "PUMP-1", body={"x": 1})),
    "approves a number": _inserted(
        "APP", _event("APP", "PUMP-1", action="approve", by="APP", reason="x", body={"fingerprints": 7})
    ),
    "approves without end": _inserted(
        "APP",
        _event("APP", "PUMP-1", action="approve", by="APP", reason="x", body={**APPROVAL, "end": 1e300}),
    ),
    "one thing twice": _inserted("REC", _event("REC", "PUMP-1:F1", "PUMP-1:F1", action="mate")),
    "without an id": _inserted("REC", {**_event("REC", "PUMP-1"), "id": ""}),
    "tables of his own": Abuse("REC", _shadowed),
    "a head": _told(
        "REC", "INSERT INTO tree_head SELECT number, known, leaf, leaf FROM event WHERE number = 2"
    ),
    "a touch": _told("REC", "INSERT INTO touch VALUES ('PUMP-1', 1, 1)"),
    "a change": _told(
        "REC", "INSERT INTO change SELECT subject, aspect, 1, 1, 1, 1, 9, value, other, cycle FROM change"
    ),
    "what rules remember": _told("REC", "INSERT INTO checkpoint VALUES (1, 1, 1, 'x', '')"),
    "what is settled": _told("REC", "INSERT INTO settled VALUES (1, 1, 'x')"),
    "a value": _told("COR", "UPDATE change SET value = 'shut' WHERE subject = 'HALL:V1'"),
    "an end without a correction": _told("COR", "UPDATE change SET until = 5 WHERE subject = 'HALL:V1'"),
    **{
        f"updates {table}": _told("ADM", f"UPDATE {table} SET {column} = {column}")
        for table, column in (
            ("event", "body"),
            ("item", "body"),
            ("tree_head", "root"),
            ("touch", "owner"),
            ("checkpoint", "memory"),
            ("settled", "body"),
            ("alembic_version", "version_num"),
        )
    },
    **{f"deletes from {table}": _told("ADM", f"DELETE FROM {table}") for table in TABLES},
    **{f"truncates {table}": _told("ADM", f"TRUNCATE {table}") for table in TABLES},
    "disables triggers": _told("ADM", "ALTER TABLE event DISABLE TRIGGER ALL"),
    "drops a trigger": _told("ADM", "DROP TRIGGER event_taken_in ON event"),
    "makes a trigger": _told(
        "ADM", "CREATE TRIGGER t AFTER INSERT ON event EXECUTE FUNCTION cfgtrack_close()"
    ),
    "drops a policy": _told("ADM", "DROP POLICY event_recorded ON event"),
    "makes a policy": _told("ADM", "CREATE POLICY p ON event"),
    "makes a rule": _told("ADM", "CREATE RULE r AS ON INSERT TO event DO INSTEAD NOTHING"),
    "replaces a function": _told(
        "ADM", "CREATE OR REPLACE FUNCTION cfgtrack_may_look() RETURNS boolean AS 'SELECT true' LANGUAGE sql"
    ),
    "makes a function": _told(
        "ADM",
        "CREATE FUNCTION public.cfgtrack_person(name, bigint) RETURNS jsonb"
        " AS 'SELECT NULL::jsonb' LANGUAGE sql",
    ),
    "calls a function": _told("ADM", "SELECT cfgtrack_derive(e, '{}', e) FROM event e"),
    "becomes the owner": _told("ADM", "SET ROLE postgres"),
    "logs in as the owner": _told("ADM", "SET SESSION AUTHORIZATION postgres"),
    "is a replica": _told("ADM", "SET session_replication_role = replica"),
    "raises himself": _told("ADM", "ALTER ROLE user_adm SUPERUSER"),
    "goes round the policies": _told("NIL", "SET row_security = off", "SELECT count(*) FROM event"),
}
"""What must not be let, by what it is."""


def _all_rows(plant: Plant) -> list[object]:
    """Return every row of every table, as the owner of them sees it."""
    with psycopg.connect(plant.url) as db:
        return [
            db.execute(f"SELECT * FROM {table} ORDER BY 1, 2").fetchall() if table != TABLES[-1] else []
            for table in TABLES
        ]


def _let_in(plant: Plant, function: str, insert: Callable[[psycopg.Connection[Any]], object]) -> None:
    """Have a server take what one function of it would refuse: as a server did that knew less."""
    files = sorted((top_folder("schema") / "postgresql").glob("*.sql"))
    sql = "\n".join(one.read_text(encoding="utf-8") for one in files).replace("OR REPLACE ", "")
    *_, found = re.finditer(
        rf"CREATE FUNCTION ({function}\(.*?\)) (RETURNS .*?) AS \$\$.*?END \$\$;", sql, re.DOTALL
    )
    with psycopg.connect(plant.url, autocommit=True) as owner:
        owner.execute(f"CREATE OR REPLACE FUNCTION {found[1]} {found[2]} AS $$ BEGIN END $$")
        with plant.sql("REC") as db:
            insert(db)
            db.commit()
        owner.execute(found[0].replace("CREATE", "CREATE OR REPLACE", 1))


def test_what_cant_be_followed_has_a_name_and_a_way_out(plant: Plant) -> None:
    """An event that moves a hall is told, with whose it is, by every answer and the audit; what is done is recorded,
    and a withdrawal ends it."""
    odd = _event("REC", "HALL", action="place", place="STORE")
    _let_in(plant, "cfgtrack_expect_standing", lambda db: insert_event(db, odd))
    for words in ("findings", "state", "check --do 'inspect PUMP-1'", "review", "can PUMP-1:J1"):
        answer = plant.command("--db", plant.url, *shlex.split(words))
        assert answer.status == 4, answer
        assert "unfollowable: event ABUSE can't be followed" in answer.err
        assert "`cfgtrack withdraw ABUSE --reason" in answer.err
    audited = plant.owner("audit")
    assert (
        "event ABUSE, which the login user_rec recorded, can't be followed: HALL is nothing that" in audited
    )
    assert "event ABUSE can't be followed" in plant.as_("REC", "inspect", "PUMP-1").err
    plant.owner("withdraw", "ABUSE", "--reason", "x", "--recorder", "LEAD")
    plant.owner("findings")
    assert "can't be followed" not in plant.owner("audit")
    assert "can't be followed" not in plant.as_("REC", "inspect", "PUMP-1").err


TAGGED = """
[[unit]]
id = "PUMP-5"
part = "pump"
tags = ["stowage"]
"""
RETAG = f"""{TAGGED}
[[permission]]
id = "stow"
who = "PIA"
may = ["record"]
on = {{ tag = "stowage" }}

[[person]]
id = "TWO"
roles = ["define", "administer"]
"""
"""A permission that holds as far as a tag does."""


def test_who_defines_draws_no_part_of_a_permission(plant: Plant) -> None:
    """A unit that is there gets the tag of a permission from whoever administers: by a file as in plain SQL. One that
    is new may have it."""
    plant.owner("load", plant.file(TEXT + TAGGED), "--recorder", "LEAD")
    plant.owner("load", plant.file(TEXT + RETAG), "--recorder", "ADM")
    tagged = '\n[[unit]]\nid = "{}"\npart = "pump"\ntags = ["stowage"]\n'
    text = TEXT.replace('[[unit]]\nid = "PUMP-2"', '[[unit]]\nid = "PUMP-2"\ntags = ["stowage"]')
    assert text != TEXT
    answer = plant.as_("DEF", "load", plant.file(text + RETAG))
    assert (answer.status, answer.out) == (3, "")
    assert "it changes where permissions let people do something, at PUMP-2" in answer.err
    item: dict[str, object] = {"id": "PUMP-2", "part": "pump", "tags": ["stowage"]}
    with pytest.raises(psycopg.errors.InsufficientPrivilege, match="at PUMP-2"):
        _defined(plant, "unit", item)
    part = json.loads(_body(plant, "part", "pump"))
    with pytest.raises(psycopg.errors.InsufficientPrivilege, match="at PUMP-"):
        _defined(plant, "part", {**part, "tags": ["stowage"]})
    _defined(plant, "unit", {"id": "PUMP-3", "part": "pump", "tags": ["stowage"]})
    answer = plant.as_("DEF", "load", plant.file(TEXT + tagged.format("PUMP-4") + RETAG))
    assert answer.status == 0, answer
    # Who administers and defines may.
    plant.owner("load", plant.file(text + RETAG), "--recorder", "TWO")
    assert plant.owner("audit").startswith("sound")


def _defined(plant: Plant, sort: str, item: dict[str, object]) -> None:
    """Define an item in plain SQL, as DEF."""
    with plant.sql("DEF") as db:
        insert_load(db, "DEF", sort, item)
        db.commit()


def _body(plant: Plant, sort: str, name: str) -> str:
    with psycopg.connect(plant.url) as db:
        row = db.execute("SELECT body FROM item WHERE sort = %s AND id = %s", [sort, name]).fetchone()
    assert row is not None
    return str(row[0])


def test_a_definition_that_cant_be_read_leaves_what_was(plant: Plant) -> None:
    """A server that knew less took it: answers go on with the one before, and the audit names event and login."""
    part = json.loads(_body(plant, "part", "pump"))
    before = plant.owner("plant")
    loaded = {**part, "colour": "red"}
    _let_in(plant, "cfgtrack_expect_item", lambda _: _defined(plant, "part", loaded))
    assert plant.owner("plant").splitlines()[2:] == before.splitlines()[2:]
    plant.owner("findings")
    assert "part pump of event define-pump, which the login user_def recorded, can't be read" in plant.owner(
        "audit"
    )
    plant.owner("load", plant.file(TEXT), "--recorder", "LEAD")
    plant.owner("findings")


def test_rules_that_cant_be_read_are_told_and_dropped(plant: Plant) -> None:
    """SQL can't judge a text: answers name its file, the audit the event and login, and to drop it ends that."""
    _defined(plant, "rules", {"id": "odd.toml", "text": "garbage ["})
    answer = plant.command("--db", plant.url, "findings")
    assert answer.status == 2
    assert "odd.toml:1: syntax" in answer.err
    assert "the rules file odd.toml of event define-odd.toml, which the login user_def" in plant.owner(
        "audit"
    )
    plant.owner("rules", "drop", "odd.toml", "--recorder", "LEAD")
    plant.owner("findings")
    assert "odd.toml" not in plant.owner("audit")


def test_an_item_that_came_with_no_load_is_told_with_its_login(plant: Plant) -> None:
    """It counts for nothing on the server, and the audit names the event and whose login wrote that."""
    with plant.sql("REC") as db:
        number = insert_event(db, _event("REC", "PUMP-1"))
        db.commit()
    text = json.dumps(RAISED, separators=(",", ":"), sort_keys=True)
    with psycopg.connect(plant.url) as owner:
        owner.execute(INTO_ITEM, ["person", "REC", number, text])
    with (
        plant.sql("REC") as db,
        pytest.raises(psycopg.errors.InsufficientPrivilege, match="hasn't the role"),
    ):
        insert_load(db, "REC", "person", RAISED)
    answer = plant.command("--db", plant.url, "audit")
    assert (
        "person REC came with an event that the login user_rec recorded that loads nothing"
        in answer.out + answer.err
    )
    assert "ABUSE" in answer.out + answer.err


def test_what_nobody_may_do_in_plain_sql(plant: Plant) -> None:
    """Each is refused by the server, at the latest when it is committed, and leaves every row as it was."""
    plant.old("inspect", OUTSIDE)
    before, let = _all_rows(plant), []
    for name, abuse in ABUSES.items():
        with suppress(psycopg.Error), plant.sql(abuse.person) as db:
            abuse.does(db, plant)
            db.commit()
            let.append(name)
        if name == "adds to a load":
            before = _all_rows(plant)  # of the load itself, which is allowed
    assert let == []
    assert _all_rows(plant) == before
    assert plant.owner("audit").startswith("sound")


def test_lost_keys_are_replaced_by_the_owner_alone(plant: Plant) -> None:
    """Who administers may load people, and may not load a key that nobody signed: the owner of the tables may."""
    key = "ed25519:d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"  # RFC 8032, 7.1, TEST 1
    strict = '\n[[setting]]\nid = "unsigned-events"\nvalue = "refused"\n'
    admin = next(name for name, roles in PEOPLE.items() if "administer" in roles)
    plant.as_(admin, "load", plant.file(TEXT + strict))
    file = plant.file(TEXT.replace(f'id = "{admin}"\n', f'id = "{admin}"\nkey = "{key}"\n') + strict)
    assert "unsigned" in plant.as_(admin, "load", file).err
    answer = plant.as_(admin, "load", file, "--keys-lost", "burned")
    assert (answer.status, answer.out) == (3, "")
    assert "only the owner of the tables may" in answer.err
    plant.owner("load", file, "--keys-lost", "burned", "--recorder", admin)
    audited = plant.owner("audit")
    assert audited.startswith("sound")
    assert "keys-lost" in audited
