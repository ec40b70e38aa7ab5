"""Sessions that ask every question with --json, in every situation that makes an answer another shape."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
import tomllib
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest

from cfgtrack.cli.main import COMMANDS, VERBS, main
from cfgtrack.model.time import DAY, HOUR, parse_instant
from cfgtrack.rules.what.custom import ENTRY_POINTS
from cfgtrack.store.journal import create
from tests.analysis.test_isolation import PLANT as SMALL_PLANT
from tests.analysis.test_vetting import CASES as CASES_TO_VET
from tests.analysis.test_vetting import RULE, SOUND, changed, nowhere_to_go
from tests.cli import world
from tests.cli.conftest import Command
from tests.cli.published import answer_of
from tests.cli.verbs import BEFORE_ALL, VERB_LINES, VERB_ORDER
from tests.demo.as_run import DEMO, FAULTY, PROMISES
from tests.model.test_presence import WORLD

OTHER_FORM = {
    "export": "it writes rows, each by a schema of its own, or an open standard's",
    "completion": "it prints a script for the shell",
    "man": "it prints a page for man(1)",
    "prove": "its proof has a schema of its own, and is compared with it here",
}
"""The commands that print no answer of `answers.schema.json`, and why."""


def all_commands() -> list[str]:
    """Return every command that the command line offers; of a group, the commands in it."""
    found: list[str] = []
    context = click.Context(main)
    for name in (*(name for names in COMMANDS.values() for name in names), *VERBS):
        command = main.get_command(context, name)
        below = command.list_commands(context) if isinstance(command, click.Group) else []
        found += [name] if getattr(command, "invoke_without_command", False) else []
        found += [f"{name} {inner}" for inner in below] or [name]
    return found


def command_of(words: Sequence[str]) -> str:
    """Return the command whose answer these words ask for: an action that is a command answers as record."""
    if words[0] in ("rules", "key", "plan") or [*words[:2]] == ["head", "forget"]:
        return " ".join(words[:2])
    return "record" if words[0] in VERBS else words[0]


@dataclass(frozen=True, slots=True)
class Asked:
    """A question that was asked with --json, and its answer."""

    words: tuple[str, ...]
    answer: Any
    beware: bool = False

    @property
    def command(self) -> str:
        """The command whose schema the answer follows."""
        return command_of(self.words)

    @property
    def schema(self) -> str:
        """The name of that schema: another one where the journal isn't to be believed."""
        return "distrusted" if self.beware else answer_of(self.command)


class Asker(Command):
    """Asks with --json, and keeps what was answered. `url`: another database than the folder's own."""

    def __init__(self, folder: Path, url: str = "") -> None:
        folder.mkdir()
        super().__init__(folder)
        self.asked: list[Asked] = []
        self.also = ("--db", url) if url else ()

    def ask(self, *words: object, status: int = 0, stdin: str | None = None) -> Any:
        """Ask a question that must be answered, with this exit status; return the answer."""
        said = self(*words, "--json", *self.also, stdin=stdin)
        assert said.status == status, f"{words}: {said.status}\n{said.out}{said.err}"
        told, answer = tuple(str(word) for word in words), said.json
        if "beware" in answer:
            self.asked.append(Asked(told, answer, beware=True))
            answer = answer["answer"]
        self.asked.append(Asked(told, answer))
        return answer

    def do(self, minute: int, *words: object, **more: Any) -> Any:
        """Record an action so many minutes after ten."""
        return self.ask(*words, "--at", at(minute), **more)

    def tamper(self, *statements: str) -> None:
        """Change the database as somebody would who knows SQLite: triggers off, then on again."""
        with closing(sqlite3.connect(self.db)) as connection:
            triggers = connection.execute(
                "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
            ).fetchall()
            for name, _, _ in triggers:
                connection.execute(f"DROP TRIGGER {name}")
            for statement in ("PRAGMA foreign_keys = OFF", *statements):
                connection.execute(statement)
            tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
            for _, table, sql in triggers:
                if table in tables:
                    connection.execute(sql)
            connection.commit()


def at(minute: int) -> str:
    """Return the time so many minutes after ten."""
    return f"2031-05-01T{10 + minute // 60:02}:{minute % 60:02}:00Z"


FOLDER = Path(__file__).parent
CASES = FOLDER.parent / "rules" / "cases"

EXCHANGE = """
title = "Try everything"
[[outing]]
id = "W1"
start = 2031-05-01T10:05:00Z
budget = "5 min"
[[outing.track]]
name = "ann"
steps = [
    {{ id = "off", do = "de-energise WALL:K", takes = "1 min" }},
    {{ id = "on", do = "energise WALL:K", takes = "1 min" }},
    {steps}
    {{ id = "last", do = "demate BOX-1:J" }},
]
[[outing]]
id = "W2"
[[outing.track]]
name = "ann"
steps = [{{ id = "late", do = "shut WALL:V", takes = "40 min" }}]
"""

ORDER = """
[[outing]]
id = "W1"
[[outing.track]]
name = "ann"
steps = [
    { id = "apart", do = "demate BOX-1:J", takes = "1 min" },
    { id = "off", do = "de-energise WALL:K", takes = "2 min" },
    { id = "on", do = "energise WALL:K", takes = "2 min" },
]
"""
WAIT = ORDER.replace('{ id = "off"', ']\n[[outing.track]]\nname = "bea"\nsteps = [\n{ id = "off"')

BARE = """
[[outing]]
id = "N"
[[outing.track]]
name = "rack"
steps = [{{ id = "shut", do = "shut {valve}", by = "{who}", takes = ["1 min", "2 min", "12 min"] }}]
[[outing.track]]
name = "bay"
steps = [{{ id = "open", do = "open {valve}", by = "{who}" }}]
"""
"""A plan for the demo's tower without titles and budgets, in which one does the work of two tracks."""

IMPOSSIBLE = {
    "not-mates": "demate BOX-1:F from WALL:F2",
    "status": "uncap BOX-1:F",
    "same": "mate BOX-2:F to BOX-2:F",
    "one-owner": "mate WALL:F3 to WALL:F2",
    "kind": "mate BOX-2:F to BOX-2:J",
    "size": "mate BOX-2:F to WALL:F2",
    "keying": "mate BOX-2:J to WALL:J2",
    "gender": "mate BOX-2:J to WALL:J3",
    "not-here": "engage BOX-2:B1 to WALL:B2",
    "by-whom": "lift BOX-2",
    "already": "place BOX-2 at SHELF",
    "inside-itself": "place ANN at POCKET",
    "facing": "place PLATE-1 at WALL",
    "full": "place PLATE-1 at SHELF",
    "tied": "place BOX-1 at WARM",
    "action": "mate BOX-2:F to WALL:V",
    "subjects": "engage BOX-2:B1",
}
"""A step that can't be done for each reason, as the shop stands at first."""

CRASHES = """
class Crashes:
    media = frozenset()
    def holds(self, world, items, settings):
        raise ZeroDivisionError("nobody can judge this")
    def why(self, world, items, settings):
        return ""
"""


def install_condition(folder: Path, patch: pytest.MonkeyPatch) -> None:
    """Install a package whose condition crashes, as anybody may install one."""
    (folder / "crashing_condition.py").write_text(CRASHES)
    info = folder / "crashing_condition-1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: crashing-condition\nVersion: 1\n")
    (info / "entry_points.txt").write_text(f"[{ENTRY_POINTS}]\ncrashes = crashing_condition:Crashes\n")
    patch.syspath_prepend(folder)


# --- the sessions -------------------------------------------------------------------------------------------------


def _shop(s: Asker) -> None:
    """Load the shop with its rules."""
    s.ask("load", FOLDER / "shop.toml", "--by", "survey")
    s.ask("rules", "load", FOLDER / "shop-rules.toml")


def describing(s: Asker) -> None:
    """Load, load again, load what differs; keep rules, change and drop them; ask what is defined."""
    plant = s.file("shop.toml", (FOLDER / "shop.toml").read_text())
    s.ask("load", plant, "--dry-run")
    s.ask("load", plant)
    s.ask("load", plant)
    changed = {
        'id = "mark"\n': 'id = "mark"\ntitle = "Marks"\n',
        'id = "pin"\n': 'id = "pin"\ntitle = "A pin"\n',
        'title = "Box"': 'title = "Big box"',
        'title = "the first"': "",
        'id = "WARM"': 'id = "WARM"\ntitle = "Warm"',
        '[[unit]]\nid = "PLATE-2"\npart = "plate"\n': "",
    }
    text = plant.read_text()
    for old, new in changed.items():
        assert old in text
        text = text.replace(old, new)
    s.ask("load", s.file("shop.toml", text), "--dry-run")
    s.ask("load", plant)
    more = 'place = [{ id = "YARD" }]\nunit = [{ id = "PLATE-9", part = "slab" }]\npart = [{ id = "slab" }]\n'
    kinds = 'medium = [{ id = "air" }]\n[[kind]]\nid = "flag"\nmedium = "air"\nstatuses = ["up"]\ncarries = "up"\n'
    s.ask("load", s.file("more.toml", more + kinds))
    s.ask("plant")
    rules = s.file("shop-rules.toml", (FOLDER / "shop-rules.toml").read_text())
    s.ask("rules", "load", rules, "--dry-run")
    s.ask("rules", "load", rules)
    s.ask("rules", "load", rules)
    s.ask("rules", "load", s.file("shop-rules.toml", rules.read_text().replace("it leaks", "it drips")))
    s.ask("rules", "list")
    s.ask("rules", "show")
    s.ask("rules", "show", "shop-rules.toml")
    for rule in ("expansion", "capped", "dead", "on-again"):
        s.ask("rules", "explain", rule)
    s.ask("rules", "try", rules)
    s.ask("rules", "starter")
    s.ask("rules", "drop", "shop-rules.toml", status=3)
    s.ask("rules", "drop", "shop-rules.toml", "--accept", "they stand in another file")
    s.ask("rules", "load", s.file("other.toml", rules.read_text()))
    s.ask("rules", "list")


def redefining(s: Asker) -> None:
    """Load what guards less, what no longer fits a mate, what leaves things out: refused, then accepted."""
    _shop(s)
    changes = {
        'name = "F", kind = "fluid-disconnect", size = "1/2 in", title': 'name = "F", kind = "fluid-disconnect", '
        'size = "3/4 in", title',
        'keying = "A", gender = "plug"': 'keying = "B", gender = "socket"',
        "[[unit]]\n"
        'id = "BOX-1"\n'
        'part = "box"\n'
        'home = "SHELF"\n'
        'title = "the first"\n'
        'aliases = ["=A1+K1 Kühler #1", "A"]\n'
        'attributes = { coating = "zinc", spare = false, length = "3 m", made = 2029-02-28 }\n': "",
        '"BOX-1" = { at = "WALL", facing = "up" }, ': "",
        '[["BOX-1:F", "WALL:F"], ["BOX-1:J", "WALL:J"], ["BOX-1:B1", "WALL:B1"]]': '[["HOSE-1:A", "WALL:F3"]]',
    }
    text = (FOLDER / "shop.toml").read_text()
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    plant = s.file("other.toml", text)
    s.ask("load", plant, "--dry-run", status=3)
    s.ask("load", plant, status=3)
    s.ask("load", plant, "--accept", "so it was built")
    s.ask("load", plant)
    disconnect = 'name = "F", kind = "fluid-disconnect", size'
    valved = text.replace(disconnect, disconnect.replace("fluid", "valved"), 1)
    s.ask("load", s.file("valved.toml", valved), "--dry-run", status=3)
    more = '[[unit]]\nid = "HOSE-2"\npart = "hose"\n[initial]\nat = 2031-05-01T08:00:00Z\n'
    s.ask("load", s.file("more.toml", text.replace("[initial]\nat = 2031-05-01T08:00:00Z\n", more).replace(
        "joined = [", 'joined = [["HOSE-2:A", "HOSE-2:B"], ')))  # fmt: skip
    rigid = text.replace('id = "hose"\nflexible = true', 'id = "hose"')
    bent = s.file("bent.toml", rigid.replace('joined = [["HOSE-1:A", "WALL:F3"]]\n', ""))
    s.ask("load", bent, "--dry-run", status=3)
    bare = text.replace(', title = "Inlet", cycles = 9', "").replace(
        'kind = "fluid-disconnect" },', 'kind = "fluid-disconnect", title = "Top" },'
    )
    s.ask("load", s.file("bare.toml", bare), "--dry-run")
    dry = s.file("dry.toml", text.replace('litres = "2 l", ', ""))
    s.ask("load", dry, "--dry-run", status=3)
    s.ask("history")
    rules = (FOLDER / "shop-rules.toml").read_text()
    lower = rules.replace(
        'hazard = "electric shock"\nseverity = 1', 'hazard = "electric shock"\nseverity = 3'
    )
    s.ask("rules", "load", s.file("shop-rules.toml", lower), status=3)
    s.ask("rules", "load", s.folder / "shop-rules.toml", "--accept", "it is 24 V")


def vetting(s: Asker) -> None:
    """Have definitions looked at in which each check finds something, and one in which none does."""
    rules = s.file("few.toml", RULE)
    s.ask("vet", s.file("sound.toml", SOUND), "--rules", rules)
    for number, (_, changes, _) in enumerate(CASES_TO_VET.values()):
        s.ask("vet", s.file(f"doubtful-{number}.toml", changed(*changes)), "--rules", rules, status=3)
    s.ask("vet", s.file("nowhere.toml", nowhere_to_go()), status=3)
    _shop(s)
    s.ask("vet", status=3)
    s.ask("rules", "load", s.file("idle.toml", RULE))


def recording(s: Asker) -> None:
    """Record actions: possible, forbidden, late, excused, found otherwise; correct, withdraw, explain, approve."""
    _shop(s)
    s.do(0, "remark", "box", "bolt B1 galls", "--by", "Ann", "--id", "R1")
    s.do(1, "cap", "BOX-2:F", "--by", "Ann", "--basis", "witnessed", "--outing", "W1")
    s.ask("state", "BOX-1")
    s.do(2, "demate", "BOX-1:J", "--dry-run")
    s.do(2, "demate", "BOX-1:J", "--id", "E1")
    s.do(2, "demate", "BOX-1:J", "--id", "E1")
    s.do(3, "grip", "BOX-2:H", "ANN:HAND")
    s.do(4, "lift", "BOX-2")
    s.ask("state", "BOX-2")
    s.ask("state", "ANN")
    s.ask("state")
    s.do(5, "place", "BOX-2", "at", "WALL", "facing", "up")
    s.do(5, "mate", "BOX-2:R", "WALL:R")
    s.do(6, "as-found", "BOX-2:R", "mated", "--value", "clearance=1 mm", "--basis", "measured")
    s.do(7, "open", "BOX-2:R")
    s.do(8, "as-found", "WALL:F3", "capped", "--id", "F1")
    s.do(9, "as-found", "WALL:R", "demated", "--id", "F2")
    s.do(10, "as-found", "PLATE-1", "facing=up", "at", "WALL", "--id", "F3")
    s.do(11, "explain", "F1", "--reason", "capped by the maker", "--by", "Ann")
    s.do(12, "begin", "W1")
    s.do(13, "inspect", "BOX-1")
    s.do(14, "record", "push", "WALL:P")
    s.do(15, "place", "FRAIL-1", "at", "WARM")
    live = s.naming("dead", "--do", "mate BOX-1:J WALL:J")
    s.do(16, "approve", *live, "--by", "lead", "--reason", "dead")
    s.do(17, "mate", "BOX-1:J", "WALL:J")
    s.do(18, "engage", "BOX-1:B2", "WALL:B2")
    s.do(18, "release", "BOX-1:B1")
    s.do(18, "torque", "BOX-1:B2", "torque=99 N*m")
    s.do(19, "shut", "WALL:V", "--id", "E2")
    s.do(20, "de-energise", "WALL:K", "--id", "E3")
    s.do(20, "record", "inspect", "WALL")
    finding = s.ask("findings", "--at", at(59), status=3)["findings"][0]["fingerprints"][0]
    s.do(60, "approve", "--finding", finding, "--from", at(0), "--until", at(90), "--by", "lead",
         "--reason", "drained")  # fmt: skip
    s.do(61, "uncap", "BOX-2:F", "--id", "E4")
    s.do(62, "end", "W1")
    s.do(17, "inspect", "WALL:F", "--id", "late")
    s.ask("correct", "E1", "demate", "BOX-1:J", "--by", "Ben", "--reason", "not Ann", "--id", "E1a")
    s.ask("correct", "E4", "uncap", "BOX-2:F", "--reason", "earlier", "--dry-run", "--at", at(60))
    swapped = ("--and", "E3", "shut WALL:V", "--reason", "the other way round", "--dry-run")
    s.ask("correct", "E2", "de-energise", "WALL:K", *swapped)
    s.do(63, "record", "uncap", "BOX-2:F", "--supersedes", "E4", "--reason", "later")
    s.do(64, "withdraw", "late", "--reason", "it was not so")
    s.do(65, "withdraw", "E3", "--reason", "it was not so", "--dry-run")
    s.do(66, "explain", "F2", "--reason", "it fell off", "--dry-run")
    s.do(66, "approve", "--finding", finding, "--by", "lead", "--reason", "x", "--dry-run")
    _every_quantity(s)
    _ask_all(
        s,
        "BOX-1",
        "BOX-2",
        "BOX-2:R",
        "BOX-1:VOL",
        "BOX-1:C",
        "WALL",
        "SHELF",
        "ANN",
        "BAG",
        "PLATE-2",
        "HOSE-1",
    )


def _every_quantity(s: Asker) -> None:
    units = {"angle": "deg", "clearance": "mm", "count": "", "current": "A", "energy": "J",
             "flow": "l/min", "force": "N", "gap": "mm", "insulation-resistance": "Mohm",
             "leak-rate": "Pa*m^3/s", "length": "m", "level": "%", "mass": "kg", "power": "W", "preload": "N",
             "pressure": "bar", "resistance": "ohm", "temperature": "degC", "time": "s", "torque": "N*m",
             "turns": "", "voltage": "V", "volume": "l"}  # fmt: skip
    s.do(70, "measure", "BOX-1", *(f"{name}=1.5 {unit}".strip() for name, unit in units.items()))


def _ask_all(s: Asker, *things: str) -> None:
    """Ask every question about the whole, and about some things."""
    s.ask("state")
    s.ask("state", "--at", at(25))
    s.ask("state", "--no-clocks")
    s.ask("state", "--at", "2031-04-01T00:00:00Z")
    for thing in things:
        s.ask("state", thing)
        s.ask("history", thing)
        s.ask("remarks", thing)
    s.ask("history")
    s.ask("history", "box")
    s.ask("diff", "2031-05-01T07:00:00Z", at(55))
    s.ask("diff", at(55), "2031-05-01T07:00:00Z")
    s.ask("diff", at(0))
    s.ask("review", status=3)
    s.ask("findings", "--at", at(25), status=3)
    s.ask("findings", status=3)
    s.ask("can", "BOX-1", "--at", at(30))
    s.ask("can", "BOX-2")
    s.ask("rules", "try", FOLDER / "shop-rules.toml", status=3)
    s.ask("check", "--do", "mate BOX-2:J to WALL:J", status=3)


def clocks(s: Asker) -> None:
    """Clocks with a limit and without one, that start, run, are stopped in time, and run out."""
    _shop(s)
    s.ask("import", s.file("none.csv", "at,action,subject\n"))
    s.do(0, "place", "BOX-2", "at", "WARM")
    s.ask("findings", "--at", at(1), status=3)
    s.ask("state", "BOX-2")
    s.ask("state")
    back = EXCHANGE.replace("{steps}", "").replace("{{", "{").replace("}}", "}")
    back = back.replace("demate BOX-1:J", "place BOX-2 at SHELF")
    s.ask("check", s.file("back.toml", back), "--at", at(1), status=3)
    s.ask("draw", "--timeline", "--plan", s.folder / "back.toml", "--at", at(1))
    again = ORDER.replace("demate BOX-1:J", "place BOX-2 at SHELF").replace(
        "energise WALL:K", "place BOX-2 at WARM"
    )
    again = again.replace("de-place BOX-2 at WARM", "place BOX-2 at COLD")
    s.ask("draw", "--timeline", "--plan", s.file("again.toml", again), "--at", at(1))
    s.ask("can", "BOX-2")
    s.do(2, "place", "PLATE-2", "at", "COLD")
    s.do(3, "place", "BOX-2", "at", "COLD")
    s.do(4, "de-energise", "WALL:K")
    s.do(5, "shut", "WALL:V")
    s.do(6, "place", "FRAIL-1", "at", "COLD", status=0)
    for minute in (7, 20, 200):
        s.ask("findings", "--at", at(minute), status=3)
        s.ask("state", "BOX-1", "--at", at(minute))
    s.ask("review", "--at", at(200), status=3)
    s.ask("check", "--do", "energise WALL:K", "--at", at(7), status=3)
    s.ask("check", "--do", "open WALL:V", "--at", at(200), status=3)
    s.ask("draw", "--timeline", "--plan", s.file("order.toml", ORDER), "--at", at(200))
    s.ask("draw", "--timeline", "--plan", s.file("order.toml", ORDER), "--at", at(7))
    s.do(210, "energise", "WALL:K")
    s.ask("review", status=3)
    # The record is ahead of this clock: every answer about now says so.
    for words in (("plant",), ("audit",), ("head",), ("rules", "list"), ("rules", "show")):
        s.ask(*words)
    s.ask("vet", status=3)
    s.ask("import", s.file("one.csv", f"at,action,subject\n{at(211)},inspect,BOX-1\n"))
    s.do(212, "begin", "W9")
    s.do(213, "inspect", "BOX-1")
    s.ask("draw", "--timeline", "--as-run", "--at", at(214))


def checking(s: Asker) -> None:
    """Check a sequence with a step that is impossible for every reason, an outing over its budget, one too late."""
    _shop(s)
    s.ask("check", "--do", "cap WALL:F2")
    s.ask("check", "--do", "demate BOX-1:J", status=3)
    for code, words in IMPOSSIBLE.items():
        report = s.ask("check", "--do", words, status=3)
        assert code in [reason["code"] for f in report["check"]["new"] for reason in f["reasons"]], words
    for name, plan, how in (("order", ORDER, "before"), ("wait", WAIT, "waits_for")):
        report = s.ask("check", s.file(f"{name}.toml", plan), "--at", at(3), status=3)
        dead = next(f for f in report["check"]["new"] if f["rule"] == "dead")
        assert any(cure[how] is not None for cure in dead["cures"]), dead["cures"]
    live = EXCHANGE.format(steps="").replace(
        '{ id = "off", do = "de-energise WALL:K", takes = "1 min" },', ""
    )
    live = live.replace('{ id = "on"', '{ id = "out", do = "demate BOX-1:J" }, { id = "on"')
    live = live.replace('{ id = "last", do = "demate BOX-1:J" },', "")
    new = s.ask("check", s.file("live.toml", live), "--at", at(3), status=3)["check"]["new"]
    live_at = [one["step"] for one in new].index("out")
    assert [one["step"] for one in new if one["follows"] == live_at + 1] == ["on"]
    steps = "".join(f'{{ id = "{code}", do = "{words}" }},\n' for code, words in IMPOSSIBLE.items())
    bad = s.file("bad.toml", EXCHANGE.format(steps=steps))
    report = s.ask("check", bad, status=3)
    s.ask("check", bad, "--steps", "--at", at(3), status=3)
    is_live = s.naming("dead", "--do", "demate BOX-1:J")
    s.do(4, "approve", *is_live, "--by", "lead", "--reason", "tested dead")
    late = next(f["fingerprints"][0] for f in report["check"]["new"] if f["rule"] == "budget")
    s.do(4, "approve", "--finding", late, "--plan", bad, "--by", "lead", "--reason", "enough air")
    s.do(4, "remark", "WALL:K", "stiff")
    s.ask("check", bad, status=3)
    s.ask("check", s.file("empty.toml", '[[outing]]\nid = "W1"\n'), "--rules", FOLDER / "shop-rules.toml",
          status=3)  # fmt: skip
    s.ask("can", "BOX-1")
    s.ask("can", "BOX-1:J")
    s.ask("can", "ANN")
    many = "".join(f'[[place]]\nid = "P{n}"\n' for n in range(30))
    s.ask("load", s.file("many.toml", many))
    s.ask("can", "PLATE-1")


PACES = """
leaves_open = ["{open}", "000000000000"]
[[outing]]
id = "W1"
start = 2031-05-01T11:00:00Z
budget = "2 h"
[[outing.track]]
name = "ann"
steps = [
    {{ id = "walk", do = "inspect BOX-1", takes = ["10 min", "30 min", "50 min"] }},
    {{ id = "off", do = "de-energise WALL:K", takes = "0 min" }},
]
[[outing.track]]
name = "ben"
steps = [
    {{ id = "look", do = "inspect WALL", takes = ["60 min", "80 min", "100 min"] }},
    {{ id = "on", do = "energise WALL:K", takes = "0 min" }},
    {{ id = "mend", do = "cap BOX-2:F", takes = "5 min" }},
]
[[outing]]
id = "W2"
start = 2031-05-01T12:40:00Z
[[outing.track]]
name = "ann"
steps = [{{ id = "out", do = "de-energise WALL:K", takes = "2 min" }}]
[[outing.track]]
name = "ben"
steps = [{{ id = "part", do = "demate BOX-1:J", takes = ["1 min", "4 min", "4 min"] }}]
[[leaves_running]]
clock = "warm"
of = "BOX-2"
outing = "W3"
start = 2031-05-01T13:00:00Z
"""


def deciding(s: Asker) -> None:
    """Verdicts on what was broken before, on what is left open or running, and on quick and slow steps."""
    _shop(s)
    s.do(0, "begin", "W0")
    s.do(2, "demate", "BOX-1:J")
    s.do(3, "mate", "BOX-1:J", "WALL:J")
    s.do(4, "end", "W0")
    s.do(5, "record", "push", "WALL:P")
    for finding in s.ask("findings", status=3)["findings"]:
        if finding["rule"] == "not-marked":
            plan = s.file("paces.toml", PACES.format(open=finding["fingerprints"][0]))
    told = s.ask("check", plan, status=3)["check"]
    mixes = {(f["rule"], f["mix"], f["hinges_on"]) for f in told["new"]}
    assert mixes >= {
        ("on-again", "a mix", "several together"),
        ("overlap", "all high", "look"),
        ("dead", "all low", "part"),
    }
    s.ask("check", plan, "--rules", s.file("other.toml", (FOLDER / "shop-rules.toml").read_text() + OTHER_RULE),
          status=3)  # fmt: skip
    s.ask("check", "--do", "inspect BOX-1", "--rules", s.file("one.toml", OTHER_RULE), status=0)
    s.ask("check", "--do", "place FRAIL-1 at WARM", "--rules", s.file("crash.toml", CRASHING_RULE), status=4)


OTHER_RULE = """
[[rule]]
id = "dead-too"
title = "No live connector is parted"
hazard = "electric shock"
severity = 1
source = "common practice"
mode = "at"
at = { action = "demate", kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }

[[rule]]
id = "on-or-off"
title = "The switch isn't off for more than two hours"
hazard = "it freezes"
severity = 3
source = "common practice"
mode = "always"
tolerance = "2 h"
condition = { any = [{ status = "WALL:K", is = "on" }] }

[[rule]]
id = "on-the-wall"
title = "The box is on the wall"
hazard = "it falls"
severity = 1
source = "common practice"
mode = "always"
condition = { status = "BOX-1", at = "WALL" }
"""

CRASHING_RULE = """
[[rule]]
id = "may-crash"
title = "What nobody can judge"
hazard = "unknown"
severity = 2
source = "common practice"
mode = "at"
at = { action = "place", id = "FRAIL-1" }
condition = { custom = "crashes", of = "FRAIL-1" }
"""


TWO_TRACKS = """
title = "Side by side"
[[outing]]
id = "W1"
start = 2031-05-01T11:00:00Z
[[outing.track]]
name = "ann"
steps = [
    { id = "off", do = "de-energise WALL:K", takes = "2 min" },
    { id = "look", do = "inspect WALL", takes = "1 min" },
    { id = "shut", do = "shut WALL:V", takes = "1 min" },
    { id = "open", do = "open WALL:V", takes = "1 min", after = ["note", "part"] },
]
[[outing.track]]
name = "ben"
steps = [
    { id = "part", do = "demate BOX-1:J", takes = "1 min", after = ["off"] },
    { id = "note", do = "inspect BOX-2", takes = "30 min", after = ["look"] },
]
"""
OPEN_AGAIN = """
[[rule]]
id = "open-again"
title = "The valve is open again within the hour"
hazard = "it gets cold"
severity = 3
source = "common practice"
mode = "within"
within = "20 min"
trigger = { action = "shut", id = "WALL:V" }
condition = { status = "WALL:V", is = "open" }
"""


ENDS_OPEN = """
[[rule]]
id = "ends-open"
title = "The valve is open at the end"
hazard = "it gets cold"
severity = 3
source = "common practice"
mode = "by"
by = "outing"
condition = { status = "WALL:V", is = "open" }
"""
EITHER = """
[[rule]]
id = "either"
title = "The valve is open or the switch is on"
hazard = "it gets cold"
severity = 3
source = "common practice"
mode = "always"
tolerance = "20 h"
condition = { any = [{ status = "WALL:V", is = "open" }, { status = "WALL:K", is = "on" }] }
"""
TURNS = """
[[outing]]
id = "W1"
start = 2031-05-01T11:00:00Z
[[outing.track]]
name = "ann"
steps = [
    { do = "shut WALL:V", takes = "1 min" },
    { do = "open WALL:V", takes = "1 min" },
    { do = "shut WALL:V", takes = "1 min" },
    { id = "open", do = "open WALL:V", takes = "1 min" },
]
[[outing.track]]
name = "bea"
steps = [
    { do = "de-energise WALL:K", takes = "1 min", after = ["open"] },
    { do = "energise WALL:K", takes = "1 min" },
    { do = "de-energise WALL:K", takes = "1 min" },
    { do = "energise WALL:K", takes = "1 min" },
]
"""


def ordering(s: Asker) -> None:
    """Every order of a sequence: a bad one, the waits that cure it, those not needed, a clock, and one cut short."""
    _shop(s)
    dead = ("--rules", s.file("dead.toml", DEAD), "--at", at(3))
    plan = s.file("plan.toml", TWO_TRACKS)
    found = s.ask("orders", plan, *dead, "--waits")["orders"]
    told = {(one["step"], one["waits_for"]): one["needed"] for one in found["waits"]}
    assert told == {
        ("part", "off"): True,
        ("note", "look"): False,
        ("open", "note"): False,
        ("open", "part"): False,
    }
    assert s.ask("check", plan, "--every-order", *dead)["orders"]["verdict"] == "clear"
    loose = s.file("loose.toml", TWO_TRACKS.replace(', after = ["off"]', ""))
    found = s.ask("orders", loose, *dead, status=3)["orders"]
    assert (found["bad"]["steps"], found["cure"]) == (["part"], [{"step": "part", "waits_for": "off"}])
    s.ask("check", loose, "--every-order", *dead, status=3)
    late = s.ask("orders", plan, "--rules", s.file("late.toml", OPEN_AGAIN), "--at", at(3), status=3)[
        "orders"
    ]
    assert (late["bad"]["fault"]["clock"], late["bad"]["fault"]["started"]) == ("open-again", "shut")
    assert late["bad"]["fault"]["elapsed_seconds"] > late["bad"]["fault"]["limit_seconds"] == 1200
    s.ask("orders", plan, *dead, "--most", "1", status=4)
    never = s.file("never.toml", OPEN_AGAIN.replace("20 min", "1 s"))
    assert s.ask("orders", plan, "--rules", never, "--at", at(3), status=3)["orders"]["cure"] is None
    crashing = s.file(
        "crashing.toml", CRASHING_RULE.replace('action = "place", id = "FRAIL-1"', 'action = "demate"')
    )
    assert s.ask("orders", plan, "--rules", crashing, "--at", at(3), status=4)["orders"]["crashed"]
    ends_open = s.file("ends-open.toml", ENDS_OPEN)
    shut = s.file("shut.toml", _plan('do = "shut WALL:V"'))
    at_end = s.ask("orders", shut, "--rules", ends_open, "--at", at(3), status=3)["orders"]["bad"]["fault"]
    assert at_end["step"] is None
    # As many situations as the plan has steps: enough for it as it is, and not without its wait.
    either = ("--rules", s.file("either.toml", EITHER), "--at", at(3), "--waits", "--most", "8")
    waits = s.ask("orders", s.file("turns.toml", TURNS), *either, status=4)["orders"]["waits"]
    assert [one["needed"] for one in waits] == [None]
    s.ask("orders", plan, *dead, "--known-at", "2040-01-01T00:00:00Z")
    # A condition in Python may ask for anything.
    assert s.ask("orders", plan, "--at", at(3), status=3)["orders"]["unjudged"]
    s.ask("orders", s.file("bare.toml", '[[outing]]\nid = "W1"\n'), *dead)


def drawing(s: Asker) -> None:
    """Draw into a file of each form, and as text."""
    _shop(s)
    for form in ("svg", "png", "pdf", "dot", "graphml"):
        s.ask("draw", "--medium", "power", "-o", s.folder / f"power.{form}")
    for form in ("svg", "dot"):
        s.ask("draw", "--unit", "BOX-1", "--form", form)
    s.ask("draw", "--form", "graphml")


def drawing_in_time(s: Asker) -> None:
    """Draw plans and outings over time, plans frame by frame, and what differs between two times."""
    s.ask("load", DEMO / "hardware.toml", "--by", "survey")
    s.ask("rules", "load", DEMO / "rules.toml")
    s.ask("import", DEMO / "as-run.csv")
    evening = ("--at", "2025-11-01T00:00:00Z")
    plan = tomllib.loads(FAULTY.read_text(encoding="utf-8"))["outing"]
    night = plan[1]["id"]
    shuts = (
        (step["do"].split()[1], track["by"])
        for track in plan[1]["track"]
        for step in track["steps"]
        if step.get("do", "").startswith("shut ")
    )
    valve, who = next(shuts)
    rows = csv.DictReader((DEMO / "as-run.csv").read_text(encoding="utf-8").splitlines())
    visit = list(dict.fromkeys(row["outing"] for row in rows if row["outing"]))[1]
    earlier = ("--against", "2025-09-01T00:00:00Z", "--unit", PROMISES["exchanged"]["failed"], *evening)
    s.ask("draw", *earlier)
    for form in ("svg", "pdf"):
        s.ask("draw", *earlier, "-o", s.folder / f"later.{form}")
    faulty = ("--plan", FAULTY, *evening)
    s.ask("draw", "--timeline", *faulty, "--stops")
    s.ask("draw", "--timeline", *faulty, "--outing", night, "--page", "A4", "-o", s.folder / "night.pdf")
    s.ask("draw", "--timeline", "--as-run", "--outing", visit, *evening)
    s.ask("draw", "--strip", *faulty, "--loop", "EAST", "--outing", night)
    bare = s.file("bare.toml", BARE.format(valve=valve, who=who))
    later = ("--plan", bare, "--at", "2025-11-01T00:00:00Z", "--known-at", "2040-01-01T00:00:00Z")
    s.ask("draw", "--timeline", *later)
    s.ask("draw", "--strip", *later)


def keeping(s: Asker) -> None:
    """Head, proof, audit, backup, archive, restore, rebuild, migrate."""
    _shop(s)
    s.do(0, "cap", "BOX-2:F", "--id", "E1")
    kept = s.ask("head")["head"]["text"]
    s.do(1, "uncap", "BOX-2:F", "--id", "E2")
    s.ask("audit")
    s.ask("audit", "--kept", kept, "--no-state")
    short = s.ask("head")["head"]["short"]
    s.ask("audit", "--kept", short)
    for name, words in (("inclusion", ("E1",)), ("consistency", ("--kept", kept))):
        proof = s.file(f"{name}.json", json.dumps(s.ask("prove", *words)))
        s.ask("verify", proof, status=4)
        s.ask("verify", proof, "--kept", s("head").out.strip())
        s.ask("verify", proof, "--kept", kept, status=0 if name == "consistency" else 3)
        s.ask("verify", proof, "--kept", short)
        s.ask("verify", proof, "--kept", "1 " + "00" * 32, status=3)
    # When the head became known is no part of what a proof proves: somebody may have written anything there.
    proof = s.ask("prove", "E1")
    odd = {**proof, "head": {**proof["head"], "known": 2**62}}
    s.ask("verify", s.file("odd.json", json.dumps(odd)), status=4)
    s.ask("rebuild")
    s.ask("migrate")
    s.ask("backup", s.folder / "copy.db")
    s.ok("export", "--form", "archive", "-o", s.folder / "copy.jsonl")
    for number, source in enumerate(("copy.db", "copy.jsonl")):
        s.db = s.folder / f"restored-{number}.db"
        s.ask("restore", s.folder / source)
        s.ask("audit", "--kept", kept)


FAULTS = {
    "leaf": "UPDATE event SET leaf = zeroblob(32) WHERE id = 'E1'",
    "content": "UPDATE event SET body = '{' WHERE id = 'E1'",
    "columns": "UPDATE event SET happened = happened + 1 WHERE id = 'E1'",
    "order": "UPDATE event SET turn = 1 WHERE id = 'E2'",
    "gap": "DELETE FROM event WHERE id = 'E1'",
    "correction": "UPDATE event SET corrects = NULL WHERE id = 'E2'",
    "definition": "DELETE FROM item WHERE id = 'BAG'",
    "tree-head": "UPDATE tree_head SET root = zeroblob(32) WHERE number = (SELECT max(number) FROM tree_head)",
    "state": "DELETE FROM touch WHERE owner = 'BOX-2'",
    "foreign": "CREATE TRIGGER mine BEFORE INSERT ON event BEGIN SELECT 1; END",
    "structure": "DROP INDEX event_in_order",
    "not-a-journal": "DROP TABLE tree_head",
}
"""What somebody who knows SQLite may do to a database, and what the audit calls it."""


def auditing(s: Asker) -> None:
    """Audit databases that somebody has changed, each in another way."""
    _shop(s)
    s.do(0, "cap", "BOX-2:F", "--id", "E1")
    s.do(1, "correct", "E1", "cap", "BOX-2:F", "--reason", "later", "--id", "E2")
    kept = s.ask("head")["head"]["text"]
    with closing(sqlite3.connect(s.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    whole = s.db.read_bytes()
    for code, statement in FAULTS.items():
        s.db.write_bytes(whole)
        s.tamper(statement)
        found = s.ask("audit", status=3)
        assert code in [fault["code"] for fault in found["faults"]], (code, found)
    s.db.write_bytes(whole)
    s.tamper("UPDATE event SET known = 9223372036854775807 WHERE id = 'E2'")
    s.ask("audit", status=3)
    s.db.write_bytes(whole)
    with closing(sqlite3.connect(s.db)) as connection:
        connection.execute("DROP TRIGGER event_no_update")
    s.ask("audit", status=3)
    s.db.write_bytes(whole)
    size, root, known = kept.split()
    s.ask("audit", "--kept", f"{size} {root[::-1]} {known}", status=3)
    s.ask("audit", "--kept", f"{int(size) + 1} {root} {known}", status=3)
    page = 4096
    for number in range(1, len(whole) // page):
        s.db.write_bytes(whole[: page * number] + b"\x07" * page + whole[page * (number + 1) :])
        if s("audit").status == 3:
            s.ask("audit", status=3)


def signing(s: Asker) -> None:
    """Sign, and audit what somebody has done to signatures; keys come and go."""
    made = [s.ask("key", "new", name) for name in ("IDA", "IDA", "UDO", "IDA")]
    keys = [one["key"] for one in made]
    s.ask("key", "list")
    plant = (FOLDER / "shop.toml").read_text()

    def load(key: str, *words: object) -> None:
        person = f'\n[[person]]\nid = "IDA"\nkey = "{key}"\n'
        setting = '\n[[setting]]\nid = "unsigned-events"\nvalue = "refused"\n'
        s.ask("load", s.file("signed.toml", plant + person + setting), "--by", "survey", *words)

    load(keys[0])
    s.do(0, "cap", "BOX-2:F", "--id", "E1")
    s.do(1, "begin", "NIGHT", "--id", "E2")
    s.ask("history")
    s.ask("audit")
    s.ask("verify", s.file("proof.json", json.dumps(s.ask("prove", "E1"))), status=4)
    load(keys[1], "--effective", "2031-05-01T09:00:01Z", "--reason", "lost before that")
    assert {one["code"] for one in s.ask("audit")["doubts"]} == {"revoked"}
    with closing(sqlite3.connect(s.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    whole = s.db.read_bytes()
    for code, statement in {
        "unsigned": "UPDATE event SET signed = NULL WHERE id = 'E1'",
        "signature": "UPDATE event SET signed = replace(signed, 'IDA', 'UDO') WHERE id = 'E1'",
        "handover": "UPDATE event SET body = replace(body, '\"size\":', '\"size\":1') WHERE id = 'E2'",
    }.items():
        s.db.write_bytes(whole)
        s.tamper(statement)
        found = s.ask("audit", status=3)
        assert code in [fault["code"] for fault in found["faults"]], (code, found)
    s.db.write_bytes(whole)
    for one in made[:2]:
        Path(one["file"]).write_bytes(b"")
    assert len(s.ask("key", "list")["damaged"]) == 2
    Path(made[3]["file"]).rename(s.db.with_name("kept.pem"))
    load(keys[3], "--effective", "2031-05-01T09:00:09Z", "--keys-lost", "burned")
    s.ask("history")
    assert "keys-lost" in {one["code"] for one in s.ask("audit")["doubts"]}


def timing(s: Asker) -> None:
    """Record by a clock that was set back, and by one that is far ahead; ask for the history, audit."""
    setting = '\n[[setting]]\nid = "clock-ahead"\nvalue = "27 d"\n'
    s.ask("load", s.file("strict.toml", (FOLDER / "shop.toml").read_text() + setting), "--by", "survey")
    right = next(s.ticks)
    s.ticks = iter(range(right - HOUR, right))
    assert s.do(0, "inspect", "BOX-1")["event"]["clock"] < 0
    s.ticks = iter(range(right + 400 * DAY, right + 401 * DAY))
    assert s.do(0, "inspect", "BOX-1", "--accept-clock", "2032-06-04")["event"]["clock"] > 400 * DAY - HOUR
    s.ask("history")
    s.ask("history", "BOX-1")
    assert [one["code"] for one in s.ask("audit")["doubts"]] == ["clock"] * 2


def watching(s: Asker) -> None:
    """Ask about journals that aren't what this console has seen of them."""
    _shop(s)
    with closing(sqlite3.connect(s.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    old = s.db.read_bytes()
    s.do(0, "cap", "BOX-2:F", "--id", "E1")
    with closing(sqlite3.connect(s.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    now = s.db.read_bytes()
    empty = s.folder / "empty.db"
    create(str(empty))

    def ask(*words: object) -> None:
        assert s.ask(*words, status=3) is not None
        assert s.asked[-2].beware

    s.db.write_bytes(old)
    ask("state")
    ask("audit")
    s.ask("head", "forget", "--reason", "restored")
    s.do(0, "inspect", "BOX-2", "--id", "E1")
    s.db.write_bytes(now)
    ask("head")
    s.ask("head", "forget", "--reason", "it was the other one")
    shutil.copy(empty, s.db)
    ask("head")
    ask("audit")
    s.db.write_bytes(now)
    s.tamper("UPDATE event SET leaf = zeroblob(32) WHERE number = 1")
    ask("head")
    ask("audit")
    s.db.write_bytes(now)
    s.tamper(f"UPDATE tree_head SET known = {2**62}")
    s.ask("head")
    s.db.write_bytes(now)
    (s.state / "cfgtrack" / "heads.json").write_text("{")
    ask("head")
    s.ask("head", "forget", "--reason", "the disk was full")
    s.ask("head")


SAID: tuple[dict[str, Any], ...] = (
    {"action": "juggle"},
    {},
    {"action": "cap", "subject": "BOX-2:F", "basis": "guessed"},
    {"action": "place", "subject": "BOX-2", "place": "NOWHERE"},
    {"action": "cap", "subject": "BOX-2:F", "place": "WARM"},
    {"action": "inspect"},
    {"action": "inspect", "subject": "BOX-7"},
    {"action": "inspect", "subject": "A:B:C"},
    {"action": "cap", "subject": "BOX-2:X"},
    {"action": "as-found", "subject": "BOX-2:F", "status": "lost"},
    {"action": "measure", "subject": "BOX-2", "values": "colour=1"},
    {"action": "measure", "subject": "BOX-2", "voltage": "1 kg"},
    {"action": "measure", "subject": "BOX-2:F", "cycles": "28"},
    {"action": "cap", "subject": "BOX-2:F", "colour": "red"},
    {"action": "cap", "subject": 7},
    {"action": "cap", "subject": "BOX-2:F", "at": "noon"},
    {"action": "measure", "subject": "BOX-2", "values": "voltage"},
    {"action": "measure", "subject": "BOX-2", "values": "voltage=1V voltage=2V"},
)
"""Rows as people may write them, each wrong in another way."""

WRITTEN: tuple[dict[str, Any], ...] = (
    {"id": "a\nb", "action": "inspect", "subjects": ["BOX-2"]},
    {"id": "w1", "action": "inspect", "subjects": ["BOX-2"], "happened": 2**53},
    {"id": "w2", "action": "inspect", "subjects": ["BOX-2"], "basis": "guessed"},
    {
        "id": "w3",
        "action": "inspect",
        "subjects": ["BOX-2"],
        "supersedes": "x",
        "withdraws": "y",
        "reason": "z",
    },
    {"id": "w4", "action": "inspect", "subjects": ["BOX-2"], "supersedes": "E1"},
    {"id": "w5", "action": "explain"},
    {"id": "w6", "action": "withdraw", "withdraws": "nothing", "reason": "z"},
    {"id": "w7", "action": "withdraw", "withdraws": "E1", "reason": "z"},
    {"id": "w8", "action": "withdraw", "withdraws": "E2", "reason": "z"},
    {"id": "w9", "action": "explain", "explains": "E3", "reason": "z"},
    {"id": "E3", "action": "inspect", "subjects": ["BOX-1"]},
    {"id": "w10", "action": "approve", "by": "x", "reason": "z", "body": {"rule": "dead", "start": 2**60}},
    {"id": "w11", "action": "inspect", "subjects": ["BOX-77"]},
    {"id": "w12", "action": "begin"},
    {"id": "w13", "action": "measure", "subjects": ["BOX-2"]},
    {"id": "w14", "action": "remark", "subjects": ["BOX-2"]},
    {"id": "w15", "action": "mate", "subjects": []},
    {"id": "w16", "action": "as-found", "subjects": ["BOX-2"]},
    {"id": "w17", "action": "approve", "by": "x", "reason": "z", "body": {}},
    {"id": "w18", "action": "acknowledge", "reason": "z"},
    {"id": "w19", "action": "remark", "subjects": ["BOX-2"], "remark": "half a pair \ud800"},
    {
        "id": "w20",
        "action": "inspect",
        "subjects": ["BOX-2"],
        "body": json.loads('{"a":' * 40 + "1" + "}" * 40),
    },
    {"id": "w21", "action": "cap", "subjects": ["BOX-2:F"], "moved": ["BOX-1"]},
    {"id": "w22", "action": "inspect", "subjects": ["BOX-2"], "initial": True},
)
"""Lines as another journal may have written them, each impossible in another way."""


def importing(s: Asker) -> None:
    """Import rows that can be taken, and rows that can't for every reason."""
    _shop(s)
    s.do(0, "cap", "BOX-2:F", "--id", "E1")
    s.do(1, "withdraw", "E1", "--reason", "not so", "--id", "E2")
    s.do(2, "inspect", "BOX-2", "--id", "E3")
    s.do(9, "mate", "HOSE-1:A", "WALL:F3", "--id", "E4")
    good = s.file("good.csv", f"at,action,subject,id\n{at(3)},inspect,BOX-1,G1\n{at(4)},inspect,BOX-1,G2\n")
    s.ask("import", good, "--dry-run")
    s.ask("import", good)
    s.ask("import", good)

    line = {"id": "G3", "action": "inspect", "subjects": ["BOX-1"], "happened": 1_935_396_000_000_000}
    s.ask("import", "-", stdin=json.dumps(line))
    s.ask("history", "BOX-1")

    def feed(text: str) -> None:
        s.ask("import", "-", "--rejects", s.folder / "rejects", stdin=text, status=3)

    feed("".join(json.dumps({"at": at(5), **row}) + "\n" for row in SAID))
    feed("".join(json.dumps({"happened": 1_935_396_000_000_000, **row}) + "\n" for row in WRITTEN))
    steps = [{"at": at(6), "action": "cap", "subject": "WALL:F3", "id": "collides"}]
    for n, words in enumerate(IMPOSSIBLE.values()):
        action, first, *rest = words.split()
        told = {"at": at(6), "id": f"i{n}", "action": action, "subject": first}
        if rest:
            told["place" if rest[0] == "at" else "subject2"] = rest[1]
        steps.append(told)
    feed("".join(json.dumps(step) + "\n" for step in steps))
    feed("{\n")
    feed('{"at": "x"\n')
    feed("at,action,colour,at\n")
    feed("at,subject\n")
    feed("green,red\n")
    feed("at,action,subject\n2031-04-30T10:00:00Z,inspect,BOX-1\n")
    feed(f"at,action,subject\n{at(7)},inspect\n{at(7)},inspect,BOX-1,more\n")
    feed("\n")


def starting(s: Asker) -> None:
    """Ask where nothing is recorded yet but the definition, and where all is well."""
    s.ask("load", s.file("plant.toml", 'place = [{ id = "SITE" }]\n'))
    for words in (
        ("state",),
        ("state", "SITE"),
        ("history",),
        ("plant",),
        ("audit",),
        ("head",),
        ("remarks", "SITE"),
    ):
        s.ask(*words)
    s.ask("rules", "list")
    s.ask("rules", "show")


def looking_up(s: Asker) -> None:
    """Look up reference data: what there is, each table, one entry of each, and what follows from it."""
    s.ask("reference")
    for table in s.ask("reference")["tables"]:
        for entry in s.ask("reference", table["table"])["entries"]:
            if entry["id"] in ("M16", "1/4-20", "lubricated", "8.8", "grade-5", "1", "4", "6", "water"):
                s.ask("reference", table["table"], entry["id"])
    of_water = ("reference", "fluid", "water")
    s.ask("reference", "thread", "M16", "--torque", "200 N*m", "--surface", "lubricated")
    s.ask("reference", "thread", "1/4-20", "--preload", "1500 lbf", "--surface", "zinc")
    for question in (("--warmed", "5 K"), ("--rise", "20 bar"), ("--rise", "90 bar")):
        s.ask(*of_water, *question)


def at_the_bay(s: Asker) -> None:
    """The starter set, on the world of its cases."""
    s.ask("load", CASES / "world.toml", "--by", "survey")
    text = s("rules", "starter").out
    s.ask("rules", "load", s.file("starter.toml", text))
    s.do(0, "place", "CELL-1", "at", "RACK")
    s.do(1, "shut", "BAY:V2")
    s.do(2, "demate", "PUMP-1:J1")
    s.do(3, "place", "FILTER-1", "at", "SHELF")
    s.do(4, "uncap", "FILTER-1:F1")
    s.do(4, "uncap", "BAY:F4")
    s.do(5, "mate", "FILTER-1:F1", "BAY:F4")
    for words in (
        ("state",),
        ("review",),
        ("findings", "--at", at(50)),
        ("can", "PUMP-1"),
        ("state", "PUMP-1"),
    ):
        s.ask(*words, status=3 if words[0] in ("review", "findings") else 0)
    for rule in ("trapped-clock", "held", "capped-at-end", "heater-after-stow"):
        s.ask("rules", "explain", rule)


def ruling(s: Asker) -> None:
    """Approve what a plan would break and what is recorded, acknowledge what was broken, and find older approvals."""
    _shop(s)
    s.do(-90, "demate", "BOX-1:J", "--by", "Ann")
    s.do(-80, "shut", "WALL:V")
    found = s.ask("review", "--at", at(-60), status=3)["findings"]
    live, *others = (code for f in found for code in f["fingerprints"])
    s.ask("acknowledge", live, "--reason", "it was dead, the switch is new", "--by", "lead")
    s.ask("acknowledge", live, *others, "--reason", "seen", "--at", at(-59))
    s.ask("approve", "--finding", live, "--from", at(-95), "--by", "lead", "--reason", "proved dead by hand")
    back = s.file("back.toml", EXCHANGE.format(steps="").replace("demate BOX-1:J", "mate BOX-1:J to WALL:J"))
    *live, _ = s.naming("dead", back)
    s.ask("approve", "--plan", back, *live, "--by", "lead", "--reason", "as above")
    old = {
        "happened": 1_935_396_000_000_000,
        "action": "approve",
        "subjects": ["BOX-1:*"],
        "reason": "so it was",
    }
    lines = [
        {**old, "id": "old1", "by": "lead", "body": {"rule": "dead"}},
        {**old, "id": "old2", "body": {"rule": "dead"}},
        {**old, "id": "old3", "subjects": ["BOX-1:J"], "body": {"fingerprint": "0123456789ab"}},
    ]
    s.ask("import", "-", stdin="".join(json.dumps(line) + "\n" for line in lines))
    s.ask("review", "--at", at(30), status=3)
    s.ask("findings", "--at", at(30), status=3)
    s.ask("history", "BOX-1")


WATCHED = """
[approvers]
critical = ["CHIEF", "SAFETY"]
[approvals]
catastrophic = 2

[[rule]]
id = "open"
title = "The valve is open"
hazard = "it bursts"
severity = 1
source = "common practice"
mode = "always"
condition = { status = { id = "WALL:V" }, is = "open" }

[[rule]]
id = "lit"
title = "The wall is powered"
hazard = "it freezes"
severity = 2
source = "common practice"
mode = "always"
condition = { status = { id = "WALL:K" }, is = "on" }
"""


def approving(s: Asker) -> None:
    """Approve as one of two and as the second, before and after the fact, too early and too late; take it back."""
    s.ask("load", FOLDER / "shop.toml", "--by", "survey")
    s.ask("rules", "load", s.file("watched.toml", WATCHED))
    s.ask(
        "rules",
        "load",
        s.file("watched.toml", WATCHED.replace("catastrophic = 2", "")),
        "--dry-run",
        status=3,
    )
    s.ask("rules", "explain", "open")
    s.ask("rules", "explain", "lit")
    shut, dark = ("--do", "shut WALL:V"), s.naming("lit", "--do", "de-energise WALL:K")
    valve, ann, ben = (
        s.naming("open", *shut),
        ("--by", "ANN", "--recorder", "desk", "--reason", "drained"),
        ("--by", "BEN", "--recorder", "BEN", "--reason", "seen"),
    )
    s.ask("approve", *valve, *ann, "--id", "V1", "--until", at(30))
    s.ask("check", *shut, status=3)
    s.ask("approve", "--second", "V1", *shut, *ben, "--id", "V2")
    s.ask("check", *shut)
    s.ask("approve", *dark, "--by", "CHIEF", "--reason", "for a minute", "--from", at(20))
    s.do(1, "shut", "WALL:V")
    s.do(1, "de-energise", "WALL:K")
    line = {"id": "sly", "action": "approve", "happened": parse_instant(at(1)), "by": "ANN"}
    code = dark[1]
    s.ask("import", "-", "--sure", stdin=json.dumps({**line, "body": {"fingerprints": [code]}}) + "\n")
    s.ask("findings", "--at", at(2), status=3)
    s.ask("findings", "--at", at(40), status=3)
    s.do(5, "open", "WALL:V")
    s.do(6, "shut", "WALL:V")
    s.ask("findings", "--at", at(7), status=3)
    s.do(50, "open", "WALL:V")
    s.ask("review", "--at", at(51), status=3)
    s.ask("withdraw", "V2", "--by", "BEN", "--reason", "it leaks")
    s.ask("withdraw", "sly", "--reason", "he may not")
    s.ask("review", "--at", at(51), status=3)


def every_verb(s: Asker) -> None:
    """Every action that is a command, on the tiny plant and what it lacks."""
    _shop(s)
    assert VERB_LINES.keys() == set(VERBS)
    s.do(0, *BEFORE_ALL)
    for minute, verb in enumerate(VERB_ORDER):
        s.do(minute, verb, *VERB_LINES[verb])


WORKING = """
[[rule]]
id = "pump-shut"
title = "A pump's valve is shut"
hazard = "it runs"
severity = 3
source = "common practice"
mode = "always"
tolerance = "9 h"
scope = { id = "X:V" }
condition = { status = "it", is = "shut" }
"""


DRAINS = "".join(
    f"""
[[rule]]
id = "drained-{name}"
title = "Drains are capped"
hazard = "it leaks"
severity = 3
source = "common practice"
mode = "always"
tolerance = "{tolerance}"
scope = {{ id = "BOX-*:D", may_be_empty = true }}
condition = {{ status = "it", is = ["mated", "capped"] }}
"""
    for name, tolerance in (("now", "0 s"), ("soon", "30000 d"))
)


def changing(s: Asker) -> None:
    """Revise, retire, take back: what is of the plant before and after."""
    _shop(s)
    text = (FOLDER / "shop.toml").read_text(encoding="utf-8")
    s.do(20, "inspect", "BOX-1")
    s.do(5, "retire", "PLATE-2", "--reason", "bent", "--id", "R1")
    s.do(5, "retire", "PLATE-2", "--reason", "bent", "--id", "R1")
    s.do(6, "retire", "PLATE-1", "--reason", "bent too", "--dry-run")
    drained = text.replace('{ name = "C", kind = "cover" }', '{ name = "D", kind = "fluid-disconnect" }')
    told = ("--effective", at(10), "--reason", "revision B: a drain", "--by", "Ann")
    file = s.file("drained.toml", drained)
    revised = s.ask("load", file, *told, "--dry-run")
    revised = s.ask("load", file, *told)["load"]["event"]
    s.ask("load", file)
    s.ask("load", file, *told[2:], "--effective", at(11), "--corrects", revised)
    s.ask("state", "PLATE-2")
    s.ask("state", "PLATE-2", "--at", at(1))
    s.ask("state")
    s.ask("state", "BOX-1", "--at", at(1))
    s.ask("diff", at(1), at(15))
    s.ask("history", "box")
    s.ask("history")
    s.ask("plant", "--at", at(1))
    s.do(21, "withdraw", "R1", "--reason", "it was another one")
    plain = s.file("plain.toml", text)
    s.ask("load", plain)
    s.do(15, "retire", "PLATE-2", "--reason", "bent")
    s.ask("load", plain, "--effective", at(16), "--reason", "straightened", "--back", "PLATE-2")
    s.ask("rules", "load", s.file("drains.toml", DRAINS))
    cut = s.file("cut.toml", drained.replace('["J", "HEAT"]', '["HEAT", "J"]'))
    s.ask("load", cut, "--effective", at(18), *told[2:])
    s.ask("diff", at(17), at(19))


def working(s: Asker) -> None:
    """Where a plant has sites: who may do what, who was found elsewhere, what comes along, what is torn."""
    s.ask("load", s.file("works.toml", WORLD))
    s.ask("rules", "load", s.file("works-rules.toml", WORKING))
    s.ask("can", "X:V")
    s.ask("can", "Y:V", "--by", "ANN")
    s.ask("can", "X")
    s.do(0, "open", "Y:V", "--by", "ANN")
    s.ask("findings", "--at", at(1))
    s.do(1, "place", "ANN", "at", "BAY", "--by", "ANN")
    s.do(2, "grip", "X:LUG", "with", "ANN:LEFT", "--by", "ANN")
    s.do(3, "place", "ANN", "at", "ROOF", "--by", "ANN")
    s.do(4, "shut", "Y:V", "--by", "somebody")
    s.do(5, "inspect", "Y", "--by", "ANN")
    s.do(6, "place", "ANN", "at", "BAY", "--by", "ANN")
    s.do(7, "mate", "H:P", "BAY:F", "--by", "ANN")
    s.do(8, "place", "H", "at", "ANN", "--by", "ANN")
    s.do(9, "place", "ANN", "at", "ROOF", "--by", "ANN")
    s.do(10, "demate", "H:P", "--by", "CRANE")
    s.do(11, "place", "H", "at", "ROOF", "--by", "ANN")
    s.ask("history", "H")
    s.ask("state", "H")
    s.ask("diff", at(9), at(12))
    s.do(12, "grip", "ROOF:RAIL", "with", "ANN:LEFT", "--by", "ANN")
    s.do(13, "engage", "ANN:LINE", "to", "ROOF:ANCHOR", "--by", "ANN")
    away = {"at": at(14), "action": "place", "subject": "ANN", "place": "BAY", "by": "ANN"}
    s.ask("import", "-", "--rejects", s.folder / "rejects", stdin=json.dumps(away), status=3)
    for words in ("inspect Y by ANN", "place ANN at BAY by=ANN"):
        report = s.ask("check", "--do", words, status=3)
        assert report["check"]["new"][0]["rule"] == "possible"
    step = '[{ id = "1", do = "place ANN at BAY" }]'
    plan = f'[[outing]]\nid = "W9"\n[[outing.track]]\nname = "ANN"\nsteps = {step}\n'
    report = s.ask("check", s.file("plan.toml", plan), status=3)
    assert report["check"]["doers_assumed"] == ["1"]


GRAPH = """<graphml><graph edgedefault="directed">
<node id="a"/><node id="b"/><edge source="a" target="b"/><hyperedge id="h"/>
</graph></graphml>
"""


def drafting(s: Asker) -> None:
    """Begin a plant: an empty one, one from two lists; convert a graph; see it first, then have it written."""
    s.ask("new", s.folder / "empty")
    units = s.file("units.csv", "name,kind,litres\nT,tank,9 l\nV,valve,\nC,cooler,2 l\n")
    joints = s.file("joints.csv", "a,b\nT,V\nV,C\n")
    s.ask("new", s.folder / "listed", "--units", units, "--joints", joints)
    s.ask("new", s.folder / "crossed", "--units", s.file("one.csv", "name\nX\n"), "--joints",
          s.file("none.csv", "a,b\n"), "--dry-run")  # fmt: skip
    graph = s.file("net.graphml", GRAPH)
    for words in (("--dry-run",), ("--at", at(0))):
        s.ask("convert", graph, "--to", s.folder / "graph", *words)


HARNESS = """
[[part]]
id = "box"
port = [{ name = "J", kind = "electrical-connector", contact = [
  { name = "1", title = "Plus", loop = "A", aliases = ["+24 V"], rated_current = "5 A" },
  { name = "2", medium = "data" } ] }]
node = [{ name = "bus", medium = "power", source = true }]
links = [["J:1", "bus"]]
[[part]]
id = "manifold"
port = [{ name = "F", kind = "fluid-disconnect", rated_pressure = "16 bar", contacts = ["1", "2"] }]
[[unit]]
id = "M"
part = "manifold"
[[unit]]
id = "ONE"
part = "box"
[[unit]]
id = "TWO"
part = "box"
[[unit]]
id = "THREE"
part = "box"
[initial]
at = 2031-05-01T08:00:00Z
joined = [["ONE:J", "TWO:J"]]
"""


CASE = """
[[part]]
id = "case"
port = [{ name = "J", kind = "electrical-connector", contact = [{ name = "1", medium = "data" }, { name = "2" }] }]
"""


def wiring(s: Asker) -> None:
    """Shells and their contacts, mated and not."""
    s.ask("load", s.file("harness.toml", HARNESS))
    for thing in ("ONE", "THREE", "ONE:J", "ONE:J:1", "THREE:J:2", "ONE:J:+24 V", "M:F:1"):
        s.ask("state", thing)
    other = HARNESS.replace('id = "TWO"\npart = "box"', 'id = "TWO"\npart = "case"').replace(
        '[[part]]\nid = "manifold"', CASE + '[[part]]\nid = "manifold"'
    )
    changed = s.file("other.toml", other)
    s.ask("vet", changed, status=3)
    s.ask("load", changed, "--dry-run", status=3)


LOCKERS = """
[[place]]
id = "BEN"
mobile = true
[[place]]
id = "KEYS"
lock_box = true
"""

LOCKED = """
[[rule]]
id = "breaker-locked"
title = "Before a connector is mated its breaker is locked"
hazard = "shock"
severity = 1
source = "common practice"
mode = "at"
at = { action = "mate", kind = "electrical-connector" }
condition = { locked = { id = "WALL:K" } }
[[rule]]
id = "tagged"
title = "What is tagged is left alone"
hazard = "shock"
severity = 1
source = "common practice"
mode = "at"
at = { action = "energise", what = "port" }
condition = { untagged = "it" }
"""


LEAVING = """
[[outing]]
id = "W1"
[[outing.track]]
name = "BEN"
steps = [{ id = "1", do = "tag BOX-1:J by BEN", takes = "1 min" }]
"""


def locking(s: Asker) -> None:
    """Lock, tag, hand over, cut; what is locked can't be energised, and whose lock it is alone takes it off."""
    _shop(s)
    s.ask("load", s.file("lockers.toml", LOCKERS))
    s.ask("rules", "load", s.file("locked.toml", LOCKED))
    s.ask("check", "--do", "lock WALL:K by ANN", status=3)
    s.do(1, "de-energise", "WALL:K", "--by", "ANN")
    s.do(1, "demate", "BOX-1:J", "--by", "ANN")
    missing = s.ask("check", "--do", "mate BOX-1:J WALL:J", status=3)
    cures = [cure for finding in missing["check"]["new"] for cure in finding["cures"]]
    assert any("lock WALL:K with ANN" in cure["text"] for cure in cures), missing
    s.ask("can", "WALL:K", "--by", "ANN")
    s.do(2, "lock", "WALL:K", "with", "KEYS", "--by", "ANN")
    s.do(3, "lock", "KEYS", "--by", "ANN", "--id", "L3")
    s.do(3, "lock", "WALL:K", "--by", "ANN")
    s.do(3, "tag", "WALL:K", "--by", "BEN")
    s.do(4, "transfer", "WALL:K", "from", "ANN", "to", "BEN", "--by", "ANN")
    for code, words in {
        "locked": "energise WALL:K by BEN",
        "not-yours": "unlock WALL:K from BEN by ANN",
        "boxed": "unlock WALL:K from KEYS by ANN",
        "no-lock": "unlock WALL:K by ANN",
        "already": "lock KEYS by ANN",
        "reason": "cut WALL:K from BEN by ANN",
    }.items():
        report = s.ask("check", "--do", words, status=3)
        assert code in [reason["code"] for f in report["check"]["new"] for reason in f["reasons"]], words
    left = s.ask("check", s.file("left.toml", LEAVING), status=3)["check"]["left_on"]
    assert {(one["holder"], one["event"]) for one in left} >= {("ANN", "L3"), ("BEN", "step:1")}
    for thing in ("WALL:K", "WALL", "ANN", "KEYS"):
        s.ask("state", thing)
        s.ask("can", thing)
        s.ask("history", thing)
    s.ask("state")
    s.do(6, "cut", "WALL:K", "from", "BEN", "--by", "ANN", "--reason", "Ben went home ill, and knows of it")
    s.do(7, "unlock", "KEYS", "--by", "ANN")
    s.do(8, "tag", "WALL:K", "--by", "ANN")
    s.do(9, "unlock", "WALL:K", "from", "KEYS", "--by", "BEN")
    found = s.do(10, "energise", "WALL:K", "--by", "BEN")
    assert [finding["rule"] for finding in found["findings"]].count("tagged") == 1
    s.ask("diff", at(1), at(4))
    s.ask("diff", at(5), at(10))
    rows = [
        {"at": at(5), "action": action, "subjects": subjects, "by": by}
        for action, subjects, by in (
            ("energise", ["WALL:K"], "BEN"),
            ("unlock", ["WALL:K", "BEN"], "ANN"),
            ("unlock", ["WALL:K", "KEYS"], "ANN"),
            ("unlock", ["WALL:K"], "ANN"),
            ("cut", ["WALL:K", "BEN"], "ANN"),
        )
    ]
    rows.append({"at": at(11), "action": "lock", "subjects": ["WALL:K"], "by": "ANN"})
    s.ask("import", "-", "--rejects", s.folder / "rejects", stdin="\n".join(map(json.dumps, rows)), status=3)


PLAN = """
title = "Box out"
[[outing]]
id = "W1"
start = 2031-05-01T10:00:00Z
budget = "1 h"
[[outing.track]]
name = "ann"
by = "ANN"
steps = [
    { id = "off", do = "de-energise WALL:K", takes = "5 min" },
    { id = "part", do = "demate BOX-1:J", takes = ["4 min", "5 min", "9 min"] },
    { id = "shut", do = "shut WALL:V", takes = "5 min" },
    { id = "again", do = "open WALL:V", takes = "5 min" },
    { id = "apart", do = "demate BOX-1:F", takes = "5 min" },
    { id = "cap", do = "cap BOX-1:F", takes = "5 min" },
]
[[outing.track]]
name = "bea"
steps = [
    { id = "turn", do = "torque BOX-1:B1 torque=\\"25 N*m\\"", by = "BEA", takes = "5 min" },
    { id = "read", do = "measure BOX-1 temperature=\\"20 degC\\"", by = "BEA", takes = "5 min" },
    { id = "look", do = "inspect BOX-2", takes = "5 min" },
    { id = "bolt", do = "engage BOX-1:B2 WALL:B2", takes = "5 min", after = ["part"] },
    { id = "turn-2", do = "torque BOX-1:B2 torque=\\"25 N*m\\"", takes = "5 min" },
    { id = "last", do = "inspect WALL", takes = "5 min" },
    { id = "far", do = "inspect WALL:F", takes = "5 min" },
    { id = "twice", do = "shut WALL:V" },
]
[[outing]]
id = "W2"
start = 2031-05-02T10:00:00Z
[[outing.track]]
name = "ann"
steps = [
    { id = "on", do = "energise WALL:K", takes = "5 min" },
    { id = "live", do = "mate BOX-1:J WALL:J" },
    { id = "dead", do = "demate BOX-1:J" },
    { id = "live-2", do = "mate BOX-1:J WALL:J" },
    { id = "end", do = "inspect WALL:K" },
]
[[outing]]
id = "W3"
[[outing.track]]
name = "ann"
steps = [{ id = "home", do = "place BOX-1 at WARM" }]
"""


def planning(s: Asker) -> None:
    """Adopt a plan and its next revision, do and skip its steps as planned and otherwise; ask how it goes."""
    _shop(s)
    plan = s.file("plan.toml", PLAN)
    s.ask("plan", "list")
    s.do(-30, "plan", "adopt", plan, "--dry-run")
    s.do(-30, "plan", "adopt", plan)
    s.do(-30, "plan", "adopt", plan)
    s.ask("plan", "show")
    s.ask("progress", "--at", at(-20))
    s.do(0, "begin", "W1")
    s.do(5, "done", "off", "--dry-run")
    s.do(5, "done", "off")
    s.do(6, "done", "off")
    s.do(16, "done", "part..shut")
    s.do(17, "torque", "BOX-1:B1", "torque=40 N*m", "step=turn")
    s.do(18, "measure", "BOX-1", "temperature=21 degC", "step=read", "--by", "BEN")
    s.do(18, "skip", "look", "again", "--reason", "no light", "--dry-run")
    s.do(18, "skip", "look", "home", "--reason", "no light")
    s.do(18, "skip", "look", "--reason", "no light")
    s.do(18, "remark", "BOX-2", "it is dusty")
    s.do(19, "done", "look")
    s.do(20, "inspect", "WALL", "step=far")
    s.ask("progress", "--at", at(20), status=3)
    s.do(21, "done", "last")
    s.do(25, "done", "bolt", "--sure")
    s.do(26, "torque", "BOX-1:B2", "step=turn-2")
    s.do(27, "inspect", "WALL:V", "step=again")
    s.do(27, "skip", "again", "--reason", "a look is enough")
    s.do(28, "cap", "BOX-2:F", "step=cap")
    s.do(28, "inspect", "WALL:F2")
    s.do(29, "inspect", "BOX-1", "--by", "ANN", "--outing", "W1")
    s.do(29, "inspect", "SHELF")
    s.do(29, "defect", "demate", "BOX-1:F", "seized")
    s.do(30, "as-found", "WALL:K", "on")
    s.do(31, "done", "on")
    s.do(31, "de-energise", "WALL:K")
    s.do(31, "done", "on")
    s.do(31, "done", "live")
    s.do(31, "done", "dead")
    s.do(
        31,
        "approve",
        *s.naming("dead", "--do", "mate BOX-1:J WALL:J"),
        "--by",
        "lead",
        "--reason",
        "it is 24 V",
    )
    s.do(31, "done", "live-2")
    _ask_how_it_goes(s)
    s.do(32, "inspect", "WALL:F", "step=far", "--outing", "W2")
    s.do(33, "end", "W1")
    s.ask("progress", "--at", at(33), status=3)
    _replan(s)


def _ask_how_it_goes(s: Asker) -> None:
    """Ask how the plan goes, what is left of it, and what is foreseen."""
    s.ask("progress", "--at", at(90), status=3)
    s.do(31, "rectify", "demate", "BOX-1:F", "seized")
    s.ask("left", "--at", at(31))
    s.ask("left", "--known-at", "2040-01-01T00:00:00Z")
    s.ask("progress", "--known-at", "2040-01-01T00:00:00Z", status=3)
    s.ask("plan", "show", "--at", at(31))
    s.ask("left", "--at", at(31), "-o", s.folder / "left.toml")
    s.ask("check", "--at", at(31), status=3)
    s.ask("state", "--at", at(31), "--after", "apart")
    s.ask("state", "BOX-1", "--at", at(31), "--after", "apart")
    s.ask("can", "BOX-1", "--at", at(31), "--after", "apart")
    s.ask("draw", "--at", at(31), "--after", "apart", "--form", "svg")
    for form in ("svg", "png"):
        s.ask("draw", "--form", form, "-o", s.folder / f"later.{form}", "--known-at", "2040-01-01T00:00:00Z")


def _replan(s: Asker) -> None:
    """Adopt another revision, and drop the plan."""
    changed = PLAN.replace("shut WALL:V", "open WALL:V").replace('id = "off"', 'id = "off-first"')
    s.do(34, "plan", "adopt", s.file("plan-2.toml", changed), "--by", "lead", "--id", "R2")
    s.ask("plan", "show", "R2")
    s.do(36, "withdraw", "R2", "--reason", "it is no plan", "--dry-run")
    s.do(37, "plan", "drop", "--reason", "it rains", "--dry-run")
    s.do(37, "plan", "drop", "--reason", "it rains")
    s.ask("plan", "list")
    s.ask("history")


def failing(s: Asker) -> None:
    """Something can't be done: it is refused from then on, told wherever one asks, and lifted again."""
    _shop(s)
    s.ask("load", s.file("lockers.toml", LOCKERS))
    s.ask("rules", "load", s.file("locked.toml", LOCKED))
    s.do(1, "de-energise", "WALL:K", "--by", "ANN")
    s.do(2, "defect", "energise", "WALL:K", "seized", "voltage=28 V", "--by", "ANN", "--id", "F1")
    s.do(2, "defect", "energise", "WALL:K", "damaged")
    s.do(2, "defect", "mate", "BOX-2:J", "WALL:J", "won't seat", "--by", "BEN")
    s.do(2, "defect", "BOX-2", "missing", "--id", "F2")
    for code, words in {
        "barred": "energise WALL:K by ANN",
        "no-defect": "rectify shut WALL:V by ANN",
        "several": "rectify WALL:K by ANN",
    }.items():
        report = s.ask("check", "--do", words, status=3)
        assert code in [reason["code"] for f in report["check"]["new"] for reason in f["reasons"]], words
    for thing in ("WALL:K", "WALL", "BOX-2", "BOX-2:J"):
        s.ask("state", thing)
        found = s.ask("can", thing)["barred"]
        assert found[0]["lifted_by"].startswith("rectify "), thing
        s.ask("history", thing)
    assert len(s.ask("state")["state"]["defects"]) == 4
    assert [one["event"] for one in s.ask("findings")["defects"]].count("F1") == 1
    plan = s.ask("check", "--do", "energise WALL:K by ANN", status=3)
    assert [one["values"]["voltage"]["shown"] for one in plan["defects"] if one["values"]] == [28.0]
    cures = [cure["text"] for finding in plan["check"]["new"] for cure in finding["cures"]]
    assert any("rectify energise WALL:K seized" in cure and " and rectify" in cure for cure in cures), cures
    rows = [
        {"at": at(3), "action": action, "subjects": subjects, "by": "ANN", **more}
        for action, subjects, more in (
            ("energise", ["WALL:K"], {}),
            ("rectify", ["WALL:K"], {}),
            ("rectify", ["WALL:V"], {"bars": "shut"}),
            ("defect", ["WALL:V"], {"bars": "shut", "status": "leaking"}),
        )
    ]
    s.ask("import", "-", "--rejects", s.folder / "rejects", stdin="\n".join(map(json.dumps, rows)), status=3)
    s.do(4, "rectify", "energise", "WALL:K", "damaged")
    s.do(4, "rectify", "WALL:K")
    s.do(5, "energise", "WALL:K", "--by", "ANN")
    s.ask("diff", at(1), at(3))
    s.ask("diff", at(3), at(5))


RECKONED = """
{title}
[[outing]]
id = "W1"
start = 2031-05-01T11:00:00Z
{budget}
[[outing.track]]
name = "one"
by = "ANN"
steps = [
    {{ id = "shut", do = "shut WALL:V", takes = ["5 min", "10 min", "20 min"] }},
    {{ id = "open", do = "open WALL:V", takes = "1 h" }},
]
[[outing.track]]
name = "two"
by = "ANN"
steps = [{{ id = "look", do = "inspect BOX-1", takes = ["1 min", "10 min", "20 min"] }}]
[[outing.track]]
name = "three"
steps = [
    {{ id = "off", do = "de-energise WALL:K", takes = ["20 min", "100 min", "120 min"] }},
    {{ id = "on", do = "energise WALL:K" }},
    {{ id = "warm", do = "measure BOX-1 temperature=20degC", takes = "1 min" }},
    {{ id = "part", do = "demate BOX-1:J", takes = "2 min" }},
    {{ id = "drip", do = "demate BOX-1:F", takes = "2 min" }},
    {{ id = "wait", do = "inspect WALL", takes = "30 min" }},
    {{ id = "again", do = "measure BOX-1 temperature=19degC", takes = "1 min" }},
]
"""

BOTH = """
[[rule]]
id = "both"
title = "Not both at once"
hazard = "it freezes and bursts"
severity = 2
source = "common practice"
mode = "within"
within = "30 min"
trigger = { turns_true = { all = [{ status = "WALL:V", is = "shut" }, { status = "WALL:K", is = "off" }] } }
condition = { status = "WALL:V", is = "open" }
[[rule]]
id = "fresh"
title = "How warm the box is, is known"
hazard = "it freezes"
severity = 3
source = "common practice"
mode = "always"
tolerance = "40 min"
scope = { id = "BOX-1" }
condition = { value = "it", quantity = "temperature", min = "-40 degC", max_age = "10 min", unmeasured = true }
"""


def reckoning(s: Asker) -> None:
    """How long a sequence takes: clocks of before it, at its end, in some orders alone; with and without budget."""
    _shop(s)
    rules = s.file("both.toml", (FOLDER / "shop-rules.toml").read_text() + BOTH)
    for name, title, budget in (
        ("a", 'title = "Dark and dry"', 'title = "By day"\nbudget = "2 h"'),
        ("b", "", ""),
    ):
        plan = s.file(f"{name}.toml", RECKONED.format(title=title, budget=budget))
        told = s.ask(
            "durations",
            plan,
            "--samples",
            "200",
            "--shape",
            "pert" if budget else "triangular",
            "--rules",
            rules,
        )
    s.ask("durations", plan, "--samples", "50", "--at", at(0), "--known-at", at(600))
    told = told["durations"]
    assert told["unsampled"] == ["fresh of BOX-1"]
    assert {one["rule"]: one["likely_seconds"] for one in told["limits"]}["both"] is None
    assert {(one["step"], one["rule"]) for one in told["breaking"]} >= {("part", "dead"), (None, "capped")}
    assert [one["step"] for one in told["doer_waits"]] == ["look"]
    assert told["assumed"] == ["on"]


CHOSEN = """
title = "The other box in"
[[outing]]
id = "W1"
start = 2031-05-01T11:00:00Z
[[outing.track]]
name = "ANN"
steps = [
    { id = "1", do = "lift BOX-2 by ANN", takes = "2 min" },
    { id = "2", do = "place BOX-2 at WARM", takes = "3 min" },
    { id = "3", do = "mate BOX-2:F WALL:F3", takes = "3 min" },
]
"""


BENCH = """
[[place]]
id = "BENCH"
parent = "SITE"
part = "wall"
tags = ["stowage"]
"""


def choosing(s: Asker) -> None:
    """Which unit, which place, which port: with a plan and without, tried and not, with defects and without."""
    _shop(s)
    s.ask(
        "load",
        s.file(
            "bench.toml", (FOLDER / "shop.toml").read_text().replace("\n[initial]", BENCH + "\n[initial]")
        ),
    )
    s.ask("inspect", "BOX-1")
    s.ask("remark", "BOX-1:J", "hums")
    s.ask("defect", "cap", "BOX-1:F", "leaking")
    asked = [
        ("--for", "BOX-2"), ("--for", "PLATE-1"), ("--for", "BOX-1"), ("--place-for", "BOX-2"),
        ("--port-for", "BOX-2:F"),
    ]  # fmt: skip
    plan = s.file("chosen.toml", CHOSEN)
    for words in asked:
        s.ask("which", *words)
        s.ask("which", plan, *words)
    s.ask("which", "--for", "BOX-2", "--do", "inspect BOX-2", "--check-out", "looked-first")
    s.ask("which", "--for", "BOX-2", "--at", at(0), "--known-at", at(600))
    s.ask("place", "BOX-2", "at", "COLD")
    assert s.ask("which", "--for", "BOX-1")["candidates"][0]["clocks"]
    s.ask("which", "--place-for", "PLATE-1", "--among", "SHELF")


STOPPING = """
[[rule]]
id = "expansion"
title = "All liquid reaches the accumulator"
hazard = "it bursts"
severity = 1
source = "common practice"
mode = "always"
scope = { liquid = true, id = "PUMP-1:*" }
condition = { path = "fluid", from = "it", to = { expansion = true } }

[[rule]]
id = "dead-before-touch"
title = "No live connector is touched"
hazard = "electric shock"
severity = 1
source = "29 CFR 1910.333(b)"
mode = "at"
at = { action = ["mate", "demate"], kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }

[[rule]]
id = "powered-again"
title = "The pump is powered again within an hour"
hazard = "it freezes"
severity = 3
source = "common practice"
mode = "within"
within = "1 h"
trigger = { action = "de-energise", id = "HALL:K1" }
condition = { path = "power", from = "PUMP-1:MOTOR", to = { source = true } }

[[rule]]
id = "ends-capped"
title = "Every open connector of a pump is capped"
hazard = "it gets wet"
severity = 2
source = "common practice"
mode = "by"
by = "outing"
scope = { part = "pump", kind = "electrical-connector", id = "PUMP-1:*" }
condition = { status = "it", is = ["capped", "mated"] }
"""


STOPS = """
title = "Take the pump's power off"
[[outing]]
id = "W1"
start = 2031-05-02T08:00:00Z
budget = "5 min"
[[outing.track]]
name = "ina"
steps = [
    { id = "off", do = "de-energise HALL:K1", takes = "1 min" },
    { id = "dead", do = 'measure PUMP-1:J1 voltage="0 V"', takes = "1 min" },
    { id = "part", do = "demate PUMP-1:J1", takes = "2 min" },
    { id = "again", do = "demate PUMP-1:J1", takes = "1 min" },
    { id = "cap", do = "cap PUMP-1:J1", takes = "1 min" },
]
[[outing.track]]
name = "ben"
steps = [{ id = "late", do = "inspect PUMP-2", after = ["part"], takes = "1 min" }]
[[outing]]
id = "W2"
start = 2031-05-02T08:45:00Z
[[outing.track]]
name = "ina"
steps = [
    { id = "uncap", do = "uncap PUMP-1:J1", takes = "1 min" },
    { id = "mate", do = "mate PUMP-1:J1 HALL:J1", takes = "1 min" },
    { id = "on", do = "energise HALL:K1", takes = "1 min" },
    { id = "off2", do = "de-energise HALL:K1", takes = "1 min" },
    { id = "on2", do = "energise HALL:K1", takes = "1 min" },
    { id = "shut", do = "shut HALL:V1", takes = "1 min" },
    { id = "open", do = "open HALL:V1", takes = "1 min" },
]
"""


COMING_IN = """
[[rule]]
id = "everybody-in"
title = "Everybody is in the control room"
hazard = "it gets cold"
severity = 2
source = "common practice"
mode = "by"
by = "outing"
scope = { mobile = true, part = "hands" }
condition = { status = "it", at = "CONTROL" }
"""


def stopping(s: Asker) -> None:
    """Where the work may stop, and what becomes of it when a step fails: with ways ahead, back and near by."""
    s.ask("load", s.file("plant.toml", world.PLANT))
    s.ask("rules", "load", s.file("rules.toml", STOPPING))
    plan = s.file("stops.toml", STOPS)
    points = s.ask("stops", plan)["stops"]["points"]
    assert {point["may"] for point in points} == {"yes", "until", "no"}
    s.ask("failures", plan)
    s.ask("failures", plan, "off")
    s.ask("draw", "--timeline", "--plan", plan, "--stops")
    s.ask("stops", s.file("untitled.toml", STOPS.replace('title = "Take the pump\'s power off"', "")))
    s.ask(
        "failures", s.file("untitled.toml", STOPS.replace('title = "Take the pump\'s power off"', "")), "off"
    )
    s.ask("leave", status=0)
    s.ask("begin", "W0")
    s.ask("de-energise", "HALL:K1")
    s.ask("demate", "PUMP-1:J1")
    s.ask("defect", "shut", "HALL:V1", "seized")
    assert s.ask("leave", status=3)["defects"]
    # By a watch that is twenty minutes ahead of this clock.
    s.ask("inspect", "PUMP-2", "--at", "2031-05-01T09:20:00Z")
    s.ask("leave", status=3)
    s.ask("stops", plan)
    s.ask("failures", plan, "off")


def coming_in(s: Asker) -> None:
    """May the work stop where people are out."""
    s.ask("load", s.file("works.toml", WORLD))
    s.ask("rules", "load", s.file("in.toml", COMING_IN))
    s.ask("leave", status=3)


def isolating(s: Asker) -> None:
    """Ask what isolates, what is cut off, what is joined as one, in a plant without sites and in one with one."""
    more = """
[[place]]
id = "BOX"
lock_box = true
[[place]]
id = "ANN"
mobile = true
[[part]]
id = "gauge"
port = [{ name = "D", kind = "data-connector" }]
node = [{ name = "DIAL", medium = "data", load = true }]
links = [["D", "DIAL"]]
[[unit]]
id = "GAUGE"
part = "gauge"
"""
    s.ask("load", s.file("small.toml", SMALL_PLANT.replace("\n[initial]\n", f"{more}\n[initial]\n")))
    s.ask("isolate", "PUMP", "--for", "ANN")
    s.ask("isolate", "PUMP", "--most", 3)
    s.ask("isolate", "HEATER:COIL")
    s.ask("isolate", "MAIN")
    s.ask("isolate", "GAUGE")
    s.ask("isolate", "MAIN:V")
    s.ask("isolate", "BOARD:J2", "--from", "BOARD:BUS2", status=3)
    s.ask("isolate", "DRUM", "--from", "tag=mains")
    s.ask("without", "BOARD:K3", "HEADER:VE")
    s.ask("without", "PUMP", "SHELF")
    s.ask("without", "MAIN", "--from", "MAIN")
    s.do(1, "shut", "MAIN:V")
    s.do(2, "lock", "MAIN:V", "with", "ANN")
    s.do(3, "demate", "PUMP:OUT")
    s.ask("isolate", "PUMP")
    s.do(4, "demate", "MAIN:A")
    s.ask("without", "MAIN:V")
    for medium in ("fluid", "power", "hold"):
        s.ask("segments", medium)
    s.ask("segments", "fluid", "--at", at(0))
    s.do(5, "record", "defect", "shut", "HEADER:V1", "seized")
    s.ask("isolate", "PUMP")


def isolating_at_a_site(s: Asker) -> None:
    """Ask what isolates where one must be somewhere to do it."""
    site = SMALL_PLANT.replace('id = "ROOM"\n', 'id = "ROOM"\nsite = true\n')
    s.ask(
        "load", s.file("small.toml", site.replace('{ PUMP = "SHELF" }', '{ PUMP = "SHELF", MAIN = "SHELF" }'))
    )
    s.ask("isolate", "HEADER")


DEAD, ON_AGAIN, LIT = (
    f"""
[[rule]]
id = "{name}"
title = "{title}"
hazard = "electric shock"
severity = 1
source = "common practice"
{rest}
"""
    for name, title, rest in (
        (
            "dead",
            "No live connector is touched",
            """mode = "at"
at = { action = ["mate", "demate"], kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }""",
        ),
        (
            "on-again",
            "The switch is on again within the hour",
            """mode = "within"
within = "1 h"
trigger = { turns_true = { status = "WALL:K", is = "off" } }
condition = { status = "WALL:K", is = "on" }""",
        ),
        (
            "lit",
            "The switch is off for two hours at most",
            """mode = "always"
tolerance = "2 h"
condition = { count = "WALL:K", is = "on", at_least = 1 }""",
        ),
    )
)


def _plan(*steps: str, more: str = "", start: str = "2031-05-01T10:30:00Z") -> str:
    """Return a sequence of one outing in which Ann does some steps, and what `more` adds."""
    told = "".join(f"    {{ {step} }},\n" for step in steps)
    began = f"start = {start}\n" if start else ""
    return f'[[outing]]\nid = "W1"\n{began}[[outing.track]]\nname = "ann"\nsteps = [\n{told}]\n{more}'


OFF, APART = 'id = "off", do = "de-energise WALL:K", takes = "2 min"', 'id = "apart", do = "demate BOX-1:J"'


ON = 'id = "on", do = "energise WALL:K", takes = "2 min"'


LATER = '[[outing]]\nid = "W2"\n[[outing.track]]\nname = "ann"\nsteps = [{ do = "cap WALL:F2", takes = "90 min" }]\n'


BEA = '[[outing.track]]\nname = "bea"\nsteps = [{ %s }]\n'


def relying(s: Asker) -> None:
    """Keep checks, change all that they stand on; compare revisions."""
    s.ask("load", FOLDER / "shop.toml", "--by", "survey")
    s.ask("rules", "load", s.file("dead.toml", DEAD))
    early = ("--at", at(5))
    look = s.file("look.toml", _plan('do = "inspect PLATE-2"', start=""))
    s.ask("check", look, *early, "--keep", status=4)
    good = s.file("good.toml", _plan(OFF, 'do = "inspect BOX-1"', APART))
    s.ask("check", good, *early, "--keep", "--by", "lead")
    bad = s.file("bad.toml", _plan(APART, 'do = "inspect BOX-1"', more=BEA % f'{OFF}, after = ["apart"]'))
    s.ask("check", bad, *early, "--keep", "--name", "again", status=3)
    s.ask("check", bad, *early, "--keep", "--name", "again", status=3)
    live = s.ask("check", bad, *early, status=3)["check"]["new"][0]["fingerprints"]
    named = [word for code in live for word in ("--finding", code)]
    s.do(
        4,
        "approve",
        *named,
        "--plan",
        bad,
        "--by",
        "lead",
        "--reason",
        "x",
        "--until",
        at(90),
        "--id",
        "A1",
    )
    s.ask("check", bad, *early, "--keep", "--name", "excused")
    s.ask("check", bad, *early, "--keep", "--name", "excused too")
    assert not s.ask("checks", "good", *early)["checks"][0]["stale"]
    s.do(4, "withdraw", "A1", "--reason", "no longer")
    s.ask("compare", good, bad, *early, status=3)
    s.ask("compare", bad, "good", *early)
    s.ask(
        "compare",
        good,
        s.file("never.toml", _plan('do = "uncap BOX-1:F"', APART, OFF, more=LATER)),
        *early,
        status=3,
    )
    s.ask("compare", look, good, *early)
    short = _plan(OFF, 'do = "inspect BOX-1"', APART).replace(
        "\n[[outing.track]]", '\nbudget = "1 min"\n[[outing.track]]', 1
    )
    s.ask("compare", good, s.file("short.toml", short), *early, status=3)
    s.ask("rules", "load", s.file("on-again.toml", ON_AGAIN + LIT))
    late = s.file("late.toml", _plan(OFF, 'do = "inspect BOX-1"', more=LATER))
    s.ask("compare", good, late, *early, status=3)
    more = (OFF, 'do = "inspect BOX-2"', 'do = "inspect BOX-1", takes = "3 min"', APART, ON)
    s.ask("compare", good, s.file("more.toml", _plan(*more, start="2031-05-01T10:40:00Z")), *early)
    s.ask("compare", s.folder / "more.toml", good, *early, status=3)
    s.do(6, "measure", "BOX-1", "temperature=20 degC")
    s.do(7, "cap", "WALL:F3", "--id", "C1")
    s.ask("correct", "C1", "cap", "WALL:F2", "--reason", "the other one")
    s.ask("load", s.file("yard.toml", '[[place]]\nid = "YARD"\n'))
    s.ask("retire", "PLATE-2", "--reason", "sold")
    s.ask("compare", good, good)
    s.ask("checks", status=3)
    s.ask("history")
    s.ask("checks", "good", *early, status=3)
    edited = s.ask("checks", "good", "--file", bad, *early, status=3)["checks"][0]["changes"]
    assert edited[0]["code"] == "file"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cfgtrack.answers.kept.__version__", "9")
        codes = {
            c["code"] for one in s.ask("checks", "--at", at(95), status=3)["checks"] for c in one["changes"]
        }
    assert codes == {
        "event",
        "corrected",
        "definition",
        "rules",
        "ruling",
        "approval",
        "passed",
        "tool",
        "unreadable",
    }


def mending(s: Asker) -> None:
    """Mend sequences: one that is clear, some that aren't, one that can't be."""
    s.ask("load", FOLDER / "shop.toml", "--by", "survey")
    s.ask("rules", "load", s.file("dead.toml", DEAD))
    early = ("--at", at(5))
    s.ask("mend", s.file("good.toml", _plan(OFF, APART)), *early)
    s.ask("mend", s.file("look.toml", _plan('do = "inspect BOX-1"')), *early, status=4)
    bad = {
        "order": _plan(APART, OFF),
        "wait": _plan(f'{APART}, takes = "1 min"', more=BEA % OFF),
        "circle": _plan(APART, more=BEA % f'{OFF}, after = ["apart"]'),
        "add": _plan(APART),
        "drop": _plan(OFF, 'id = "twice", do = "de-energise WALL:K"', APART),
    }
    for name, text in bad.items():
        s.ask("mend", s.file(f"{name}.toml", text), "-o", s.folder / f"{name}-mended.toml", *early)
    s.ask("mend", s.file("never.toml", _plan('do = "mate BOX-2:F to WALL:F2"')), *early, status=3)
    s.do(6, "inspect", "BOX-2")
    s.ask("mend", s.folder / "good.toml")


def completing(s: Asker) -> None:
    """Complete sequences: one that lacks nothing, one that lacks steps, one that can't be completed."""
    s.ask("load", FOLDER / "shop.toml", "--by", "survey")
    s.ask("rules", "load", s.file("dead.toml", DEAD))
    early = ("--at", at(5))
    s.ask("complete", s.file("good.toml", _plan(OFF, APART)), *early)
    s.ask("complete", s.file("look.toml", _plan('do = "inspect BOX-1"')), *early, status=4)
    s.ask("complete", s.file("less.toml", _plan(APART)), "-o", s.folder / "more.toml", *early)
    again = s.file("again.toml", _plan(OFF, APART, ON, 'do = "mate BOX-1:J WALL:J"'))
    added = s.ask("complete", again, *early, "--known-at", "2040-01-01T00:00:00Z")["added"]
    assert [one["after"] for one in added] == [["on"]]
    both = ENDS_OPEN.replace("condition = ", 'condition = { all = [{ status = "WALL:V", is = "shut" }, ')
    s.ask("complete", again, "--rules", s.file("both.toml", both.rstrip() + "] }\n"), *early, status=3)
    s.ask("complete", s.file("never.toml", _plan('do = "mate BOX-2:F to WALL:F2"')), *early, status=3)


FORBIDDING = """
title = "Never shut"
[[rule]]
id = "breathes"
title = "The loop breathes"
hazard = "It bursts."
severity = 1
source = "common practice"
mode = "always"
condition = { status = "HALL:V1", is = "open" }

[[rule]]
id = "dead"
title = "A connector is parted dead"
hazard = "Shock."
severity = 1
source = "common practice"
mode = "at"
at = { action = ["mate", "demate"], kind = "electrical-connector" }
condition = { status = "HALL:K1", is = "off" }
"""


def seeking(s: Asker) -> None:
    """A way is found, for one and for two, or forbidden, or impossible, or cut short; all is so already."""
    s.ask("load", s.file("plant.toml", world.PLANT), "--by", "survey")
    s.ask("rules", "load", s.file("forbidding.toml", FORBIDDING))
    goal = 'least = "time"\nby = ["ANN", "BEN"]\nwant = ["PUMP-1:J1 demated", "PUMP-1:B1 released"]\n'
    goal += '[takes]\ndemate = "3 min"\n"release bolt" = ["1 min", "2 min", "4 min"]\n'
    found = s.ask("way", s.file("goal.toml", goal), "-o", s.folder / "way.toml", "--at", at(1))
    assert {step["action"] for step in found["steps"]} == {
        "de-energise HALL:K1", "demate PUMP-1:J1", "release PUMP-1:B1"
    }  # fmt: skip
    assert (
        s.ask("check", s.folder / "way.toml", "--at", at(1))["check"]["verdict"]
        == found["verdict"]
        == "clear"
    )
    s.ask("way", "--want", "HALL:V1 open")
    assert s.ask("way", "--want", "HALL:V1 shut", status=3)["forbidden"][0]["rule"] == "breathes"
    assert "sizes" in s.ask("way", "--want", "PUMP-1:F2 mated to HALL:P2", status=3)["impossible"][0]
    swap = ("--swap", "PUMP-1", "PUMP-2", "--to", "STORE", "--keep", "HALL:K1")
    in_haste = ("--least", "time", "--by", "ANN", "--by", "BEN", "--most", "1")
    hasty = s.ask("way", *swap, *in_haste)
    assert not hasty["proved"]
    assert any(step["after"] for step in hasty["steps"])
    exchange = s.ask("way", *swap, "--known-at", "2040-01-01T00:00:00Z")
    assert exchange["proved"]
    assert exchange["steps"][-1]["action"] in ("energise HALL:K1", "mate PUMP-2:F1 to HALL:P1")


SESSIONS: dict[str, Callable[[Asker], None]] = {
    one.__name__: one
    for one in (
        describing, redefining, vetting, recording, clocks, checking, deciding, drawing,
        drawing_in_time, keeping, auditing, importing,
        starting, looking_up, at_the_bay, ruling, approving, every_verb, working, drafting, locking, wiring, changing,
        signing, watching, timing, failing, planning, reckoning, choosing, stopping, coming_in,
        isolating, isolating_at_a_site, relying, mending, ordering, seeking, completing,
    )
}  # fmt: skip


def granting(s: Asker) -> None:
    """On a server: people with roles, what goes with them, and what is recorded by whom the server knows."""
    people = "".join(
        f'\n[[person]]\nid = "{name}"\nroles = ["record", "administer"]\nuser = "{user}"\n'
        for name, user in (("LEAD", "postgres"), ("CLERK", "nobody-there"))
    )
    people += '\n[[permission]]\nid = "all"\nwho = "LEAD"\nmay = "record"\n'
    s.ask("load", s.file("plant.toml", world.PLANT + people), "--by", "survey")
    assert s.ask("grant", "--dry-run")["missing"] == ["nobody-there"]
    assert s.ask("grant")["granted"]
    s.do(1, "inspect", "PUMP-1")
    s.ask("history", "PUMP-1")
    row = json.dumps(
        {"id": "w", "at": at(2), "action": "inspect", "subjects": ["PUMP-1"], "recorder": "CLERK"}
    )
    s.ask("import", "-", "--rejects", s.folder / "rejects", stdin=row, status=3)
    with pytest.MonkeyPatch.context() as patch:
        # Somebody goes round the tool.
        patch.setattr("cfgtrack.store.permit.may", lambda *_: None)
        s.ask("withdraw", s.ask("history", "PUMP-1")["history"][-1]["id"], "--reason", "x")
    assert s.ask("audit")["logins"] == 2


def ask_everything(folder: Path, url: str) -> list[Asked]:
    """Hold every session, one on a server's empty database; return all that was asked and answered."""
    found: list[Asked] = []
    with pytest.MonkeyPatch.context() as patch:
        install_condition(folder, patch)
        for name, hold in SESSIONS.items():
            session = Asker(folder / name)
            hold(session)
            found += session.asked
    session = Asker(folder / "granting", url)
    granting(session)
    return [*found, *session.asked]
