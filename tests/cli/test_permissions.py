"""Who may do what: roles x commands x parts of the plant, through the tool, in plain SQL, and as a page of plain code.

The three must agree on a real PostgreSQL. The page is `is_allowed` with the two tables above it; the SQL is written
here by hand, with the hashes of RFC 6962 computed by hashlib: nothing of the tool is asked for it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import psycopg
import pytest
from sqlalchemy import make_url

from cfgtrack.answers.roles import NEEDS
from tests.cli import world
from tests.cli.asked import all_commands, command_of
from tests.cli.conftest import Answer, Command
from tests.store.conftest import Server

PEOPLE: dict[str, tuple[str, ...]] = {
    "NIL": (),
    "LOT": ("look",),
    "REC": ("record",),
    "COR": ("correct",),
    "APP": ("approve",),
    "DEF": ("define",),
    "ADM": ("administer",),
    "PIA": ("record", "correct", "approve"),
}
"""Everybody, and his roles."""

CONFINED = ("PIA",)
"""Who may only do so at PUMP-1, and at what it is joined to."""

INSIDE, OUTSIDE = "PUMP-1", "PUMP-2"
FOUND = ("as-found", "HALL:V1", "shut")
"""What contradicts the record, by which it is open."""

TEXT = world.PLANT + "".join(
    f'\n[[person]]\nid = "{name}"\nroles = {json.dumps(roles)}\nuser = "user_{name.lower()}"\n'
    for name, roles in PEOPLE.items()
)
CONFINING = """
[[permission]]
id = "pia"
who = "PIA"
may = ["record", "correct", "approve"]
on = { id = ["PUMP-1", "HALL:J1"] }
"""


def is_allowed(person: str, role: str, thing: str) -> bool:
    """Return whether somebody may do what needs a role, to a thing ("" for what is about the whole plant)."""
    if role == "":
        return True
    if role == "look":
        return PEOPLE[person] != ()
    if role not in PEOPLE[person]:
        return False
    return person not in CONFINED or thing in ("", INSIDE)


RULE = """
[[rule]]
id = "ID"
title = "The valve is open"
hazard = "it bursts"
severity = 3
source = "common practice"
mode = "always"
condition = { status = "HALL:V1", is = "open" }
"""


@dataclass
class Plant:
    """A plant on a server: the command of its owner, and that of everybody."""

    command: Command
    url: str
    number: int = 0
    held: dict[str, str] = field(default_factory=dict)

    def of(self, person: str) -> str:
        """Return the URL as somebody opens it."""
        user = make_url(self.url).set(username=f"user_{person.lower()}")
        return user.render_as_string(hide_password=False)

    def as_(self, person: str, *words: object) -> Answer:
        """Run a command line as somebody."""
        return self.command("--db", self.of(person), *words)

    def owner(self, *words: object) -> str:
        """Run a command line as the owner of the tables; return its answer."""
        return self.command.ok("--db", self.url, *words)

    def sql(self, person: str) -> psycopg.Connection[Any]:
        """Return a connection of somebody's, as psql has it."""
        return psycopg.connect(self.of(person))

    def new(self, what: str = "N") -> str:
        """Return a name that nothing has yet."""
        self.number += 1
        return f"{what}-{self.number}"

    def old(self, *words: str) -> str:
        """Return an event that the owner recorded, and nobody has corrected."""
        said = " ".join(words)
        if said not in self.held:
            self.held[said] = self.new("OLD")
            self.owner(*words, "--id", self.held[said], "--recorder", "LEAD")
        return self.held[said]

    def file(self, text: str, suffix: str = "toml") -> str:
        """Write a file of a new name."""
        return str(self.command.file(f"{self.new('f')}.{suffix}", text))

    def unit(self) -> str:
        """Return a unit that the owner defined, and nobody has retired."""
        if "unit" not in self.held:
            self.held["unit"] = self.new("U")
            text = f'[[unit]]\nid = "{self.held["unit"]}"\npart = "pump"\n'
            self.owner("load", self.file(world.PLANT + text), "--recorder", "LEAD")
        return self.held["unit"]

    def dropped(self) -> str:
        """Return a file of rules that the owner keeps."""
        if "rules" not in self.held:
            file = self.file(RULE.replace("ID", self.new("R")))
            self.held["rules"] = Path(file).name
            self.owner("rules", "load", file, "--recorder", "LEAD")
        return self.held["rules"]

    def finding(self) -> str:
        """Return a finding of the past: a live connector was touched."""
        if "finding" not in self.held:
            self.owner("demate", "PUMP-1:J1", "--recorder", "LEAD")
            self.owner("mate", "PUMP-1:J1", "HALL:J1", "--recorder", "LEAD")
            found = json.loads(self.command("--db", self.url, "--json", "review").out)
            self.held["finding"] = found["findings"][0]["fingerprints"][0]
        return self.held["finding"]


@pytest.fixture(scope="module")
def users(server: Server) -> None:
    """Make everybody a user of the server: what they may do there is nothing yet."""
    for name in PEOPLE:
        server.admin.execute(f"CREATE ROLE user_{name.lower()} LOGIN")


def _plant(url: str, command: Command) -> Plant:
    """Return the tiny plant with people, in a new database, where there is nothing yet to be granted."""
    found = Plant(command, url)
    # The owner of the tables is no person of the plant: he says that he is LEAD, or ADM.
    lead = '\n[[person]]\nid = "LEAD"\nroles = ["record", "correct", "define", "approve"]\n'
    found.owner("load", command.file("plant.toml", TEXT + lead + CONFINING), "--by", "survey")
    found.owner("rules", "load", command.file("rules.toml", world.RULES), "--recorder", "LEAD")
    return found


@pytest.fixture
def plant(server: Server, users: None, empty: Command) -> Plant:
    """The tiny plant with people, on a server that lets them do what goes with their roles."""
    del users
    found = _plant(server.empty(), empty)
    found.owner("grant")
    return found


# --- the same in plain SQL --------------------------------------------------------------------------------------------


def said(action: str, person: str, name: str, *subjects: str, **more: object) -> dict[str, object]:
    """Return what an event says, as the journal writes it down."""
    told = {"id": name, "action": action, "happened": MOMENT, "recorder": person, **more}
    return {**told, "subjects": list(subjects)} if subjects else told


MOMENT = 1_935_400_000_000_000
"""2031-05-01T11:06:40Z, after all that the owner recorded."""


def insert_event(db: psycopg.Connection[Any], event: dict[str, object], **other: object) -> int:
    """Insert an event by hand, each column as it has to be but for what is `other`; return its number."""
    last = db.execute("SELECT number, known FROM event ORDER BY number DESC LIMIT 1").fetchone() or (0, 0)
    number, known = last[0] + 1, max(last[1] + 1, MOMENT)
    body = json.dumps(event, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    login = db.info.user
    leaf = f'{{"event":{body},"known":{known},"login":{json.dumps(login)},"number":{number},"version":3}}'
    named = event.get("supersedes") or event.get("withdraws")
    target = db.execute("SELECT number, happened, turn FROM event WHERE id = %s", [named]).fetchone()
    turn = target[2] if target and "supersedes" in event and target[1] == event["happened"] else number
    row = {
        "number": number,
        "id": event["id"],
        "happened": event["happened"],
        "known": known,
        "turn": turn,
        "action": event["action"],
        "corrects": target and target[0],
        "body": body,
        "leaf": hashlib.sha256(b"\0" + leaf.encode()).digest(),
        "signed": None,
        "login": login,
        **other,
    }
    marks = ", ".join(f"%({name})s" for name in row)
    db.execute(f"INSERT INTO event ({', '.join(row)}) VALUES ({marks})", row)
    return int(number)


def insert_load(
    db: psycopg.Connection[Any],
    person: str,
    sort: str,
    item: dict[str, object],
    action: str = "define",
    **more: object,
) -> None:
    """Insert a load of one item, as `insert_event` does."""
    name = str(item["id"])
    text = json.dumps(item, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    commits = hashlib.sha256(json.dumps({sort: {name: item}}, separators=(",", ":"), sort_keys=True).encode())
    body = {"count": 1, "items": commits.hexdigest()}
    number = insert_event(db, said(action, person, f"{action}-{name}", body=body, **more))
    db.execute("INSERT INTO item (sort, id, load, body) VALUES (%s, %s, %s, %s)", [sort, name, number, text])


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
            f"id,at,action,subject\n{plant.new()},2031-05-01T10:00:00Z,inspect,{thing}\n", "csv"
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


def by_owner(command: str, statement: str, *words: object) -> Deed:
    """Return what only the owner of the tables may do."""

    def typed(plant: Plant, person: str) -> tuple[object, ...]:
        del plant, person
        return (command, *words)

    return Deed(command, "", typed, lambda db, *_: db.execute(statement))


def approved(plant: Plant, person: str) -> tuple[object, ...]:
    """Return how an exception is approved, at what PUMP-1 is joined to."""
    return (
        "approve",
        "--rule",
        "dead-before-touch",
        "--do",
        "demate PUMP-1:J1",
        "--by",
        person,
        "--reason",
        plant.new(),
    )


def acknowledged(plant: Plant, person: str) -> tuple[object, ...]:
    """Return how a finding of the past is acknowledged."""
    del person
    return "acknowledge", plant.finding(), "--reason", "x"


APPROVAL = {"fingerprints": ["0123456789ab"], "rule": "x"}

DEEDS: tuple[Deed, ...] = (
    looking("plant", "item"),
    looking("vet", "item"),
    looking("rules list", "item"),
    looking("rules show", "item"),
    looking("rules explain", "item", "expansion"),
    looking("rules try", "item", "RULES"),
    looking("state", "change", "PUMP-1"),
    looking("history", "touch", "PUMP-1"),
    looking("diff", "change", "2031-05-01T08:00:00Z", "2031-05-01T09:00:00Z"),
    looking("remarks", "event", "PUMP-1"),
    looking("draw", "change", "--loop", "A", "-o", "OUT"),
    looking("check", "change", "--do", "inspect PUMP-1"),
    looking("can", "change", "PUMP-1:J1"),
    looking("findings", "event"),
    looking("review", "event"),
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
    if "not-allowed" in answer.err:
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
