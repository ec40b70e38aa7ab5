"""The tiny plant with people in it, on a PostgreSQL server that knows each of them as a user."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path
from typing import Any

import psycopg
from sqlalchemy import make_url

from tests.cli import world
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

TEXT = world.PLANT.replace("2031-", "2021-") + "".join(
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
            self.owner("load", self.file(TEXT + text), "--recorder", "LEAD")
        return self.held["unit"]

    def dropped(self) -> str:
        """Return a file of rules that the owner keeps."""
        if "rules" not in self.held:
            file = self.file(RULE.replace("ID", self.new("R")))
            self.held["rules"] = Path(file).name
            self.owner("rules", "load", file, "--recorder", "LEAD")
        return self.held["rules"]

    def would_find(self, action: str) -> list[str]:
        """Return the fingerprints of what an action would break."""
        found = self.command("--db", self.url, "--json", "check", "--do", action).json
        return [name for one in found["check"]["new"] for name in one["fingerprints"]]

    def finding(self) -> str:
        """Return a finding of the past: a live connector was touched."""
        if "finding" not in self.held:
            self.owner("demate", "PUMP-1:J1", "--recorder", "LEAD")
            self.owner("mate", "PUMP-1:J1", "HALL:J1", "--recorder", "LEAD")
            found = json.loads(self.command("--db", self.url, "--json", "review").out)
            self.held["finding"] = found["findings"][0]["fingerprints"][0]
        return self.held["finding"]


def peopled(server: Server, command: Command) -> Plant:
    """Return the tiny plant with people, in a new database of a server that lets them do what goes with their roles."""
    known = {name for (name,) in server.admin.execute("SELECT rolname FROM pg_roles").fetchall()}
    for name in PEOPLE:
        if f"user_{name.lower()}" not in known:
            server.admin.execute(f"CREATE ROLE user_{name.lower()} LOGIN")
    # The server stamps what is recorded, by its own clock, and believes no other.
    command.ticks = (time.time_ns() // 1000 for _ in repeat(None))
    found = Plant(command, server.empty())
    # The owner of the tables is no person of the plant: he says that he is LEAD.
    lead = '\n[[person]]\nid = "LEAD"\nroles = ["record", "correct", "define", "approve"]\n'
    found.owner("load", command.file("plant.toml", TEXT + lead + CONFINING), "--by", "survey")
    found.owner("rules", "load", command.file("rules.toml", world.RULES), "--recorder", "LEAD")
    found.owner("grant")
    return found
