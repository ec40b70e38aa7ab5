"""Every command of the command line, once, in a session that leads through all of them, and what each of them leaves.

What is broken off - by a kill, by a full disk - is one of these steps, on a copy of the folder as it was before it. A
command that isn't among them fails a test; that one writes is seen, not said.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path
from typing import Any

import click

from cfgtrack.cli.main import main
from cfgtrack.cli.session import Session
from cfgtrack.model.time import SECOND, parse_instant
from tests.campaign.hostile import GRAPH, TWO_LISTS
from tests.cli.conftest import Answer, Command
from tests.cli.verbs import BEFORE_ALL, VERB_LINES, VERB_ORDER

STOPS = """
[[outing]]
id = "W9"
[[outing.track]]
name = "ann"
steps = [{ id = "1", do = "inspect BOX-1" }, { id = "2", do = "inspect BOX-2" }]
"""

SHOP = Path(__file__).parents[1] / "cli"
RELEASED = Path(__file__).parents[1] / "store" / "released" / "0001.sql"
PLAN = """
[[outing]]
id = "W9"
[[outing.track]]
name = "ann"
steps = [
    { id = "look", do = "inspect BOX-1" },
    { id = "again", do = "inspect WALL" },
    { id = "home", do = "inspect BOX-2" },
    { id = "last", do = "inspect SHELF" },
]
"""
"""A short plan."""

ALWAYS = ("rebuild",)
"""What writes the same again."""


def at(minute: int) -> str:
    """Return the time so many minutes after ten."""
    return f"2031-05-01T{10 + minute // 60:02}:{minute % 60:02}:00Z"


class Console(Command):
    """The command in a folder of which all is: the database, what the console remembers, the keys. It can be copied."""

    def __init__(self, folder: Path, tick: int = 0) -> None:
        super().__init__(folder)
        self.state, self.config = folder / "state", folder / "config"
        self.ticks = _standing(tick)


def _standing(tick: int) -> Iterator[int]:
    """Yield the time of a step, at each look: so the same again is the same, whenever it was broken off."""
    return repeat(parse_instant("2031-05-01T19:00:00Z") + tick * 60 * SECOND)


@dataclass
class Step:
    """One command line of the session: which command, its words, and the folder as it was before it.

    `{folder}` in a word is the folder. `number` sets the clock. `writes`: something is otherwise after it.
    """

    command: str
    words: tuple[str, ...]
    number: int
    before: Path
    status: int = 0
    writes: bool = False
    seen_before: dict[str, Any] = field(default_factory=dict)
    seen_after: dict[str, Any] = field(default_factory=dict)

    def console(self, folder: Path) -> Console:
        """Return the console on a copy of the folder as it was before this step, at the time of the step."""
        shutil.copytree(self.before, folder)
        return Console(folder, self.number)

    def said(self, folder: Path) -> list[str]:
        """Return the words of the command line, in that folder."""
        return [word.replace("{folder}", str(folder)) for word in self.words]


def command_names() -> set[str]:
    """Return the name of every command of the command line, those of groups with the group's, the actions too."""

    def walk(group: click.Group, context: click.Context) -> Iterator[str]:
        for name in group.list_commands(context):
            found = group.get_command(context, name)
            if isinstance(found, click.Group):
                yield from (f"{name} {inner}" for inner in walk(found, click.Context(found, parent=context)))
                if found.invoke_without_command:
                    yield name
            else:
                yield name

    return {*walk(main, click.Context(main))}


WORK = """
[[outing]]
id = "W9"
[[outing.track]]
name = "ANN"
steps = [{ id = "1", do = "inspect BOX-1" }]
"""


# --- the session ------------------------------------------------------------------------------------------------------


def session(folder: Path) -> list[Step]:
    """Hold the session in a folder; return its steps, each with a copy of the folder as it was before it."""
    here = folder / "session"
    here.mkdir()
    console = Console(here)
    steps: list[Step] = []

    def do(command: str, *more: str, status: int | None = 0) -> Answer:
        step = Step(command, (*command.split(), *more), len(steps), folder / f"before-{len(steps)}")
        _close(here)
        shutil.copytree(here, step.before)
        step.seen_before = seen(here)
        console.ticks = _standing(step.number)
        answer = console(*step.said(here))
        assert answer.status in ((0, 3) if status is None else (status,)), (step.words, answer)
        step.status = answer.status
        _close(here)
        step.seen_after = seen(here)
        step.writes = command in ALWAYS or step.seen_before != step.seen_after
        steps.append(step)
        return answer

    _write_files(here)
    _describe(do, here)
    do(*BEFORE_ALL, "--at", at(0), "--id", "V-0")
    for minute, verb in enumerate(VERB_ORDER):
        do(verb, *VERB_LINES[verb], "--at", at(minute), "--id", f"V-{verb}", status=None)
    _amend(do)
    _plan(do)
    _ask(do)
    _keep(do, here)
    return steps


SIDE_BY_SIDE = """
[[outing]]
id = "side"
[[outing.track]]
name = "ann"
steps = [{ id = "1", do = "inspect BOX-1" }]
[[outing.track]]
name = "bea"
steps = [{ id = "2", do = "inspect BOX-2" }]
"""


def _write_files(here: Path) -> None:
    shop, rules = ((SHOP / name).read_text() for name in ("shop.toml", "shop-rules.toml"))
    # The condition `crashes` is installed by the test that needs it.
    kept = [rule for rule in rules.split("[[rule]]") if 'custom = "crashes"' not in rule]
    rows = [f"{at(60)},inspect,BOX-1,I{n}" for n in range(40)]
    files = {
        "side.toml": SIDE_BY_SIDE,
        "shop.toml": shop,
        "rules.toml": "[[rule]]".join(kept),
        "units.csv": TWO_LISTS[0],
        "joints.csv": TWO_LISTS[1],
        "net.graphml": GRAPH,
        "plan.toml": PLAN,
        "work.toml": WORK,
        "stops.toml": STOPS,
        "rows.csv": "\n".join(["at,action,subject,id", *rows]) + "\n",
    }
    for name, text in files.items():
        (here / name).write_text(text)


def _describe(do: Any, here: Path) -> None:
    key = json.loads(do("key new", "IDA", "--json").out)["key"]
    do("key list")
    do("new", "{folder}/fresh", "--units", "{folder}/units.csv", "--joints", "{folder}/joints.csv")
    do("convert", "{folder}/net.graphml", "--to", "{folder}/made")
    with (here / "shop.toml").open("a") as file:
        file.write(f'\n[[person]]\nid = "IDA"\nkey = "{key}"\n')
    do("load", "{folder}/shop.toml", "--by", "survey")
    do("plant")
    do("vet", status=None)
    do("rules load", "{folder}/rules.toml")
    do("rules list")
    do("rules show")
    do("rules starter")
    do("rules explain", "expansion")
    do("rules try", "{folder}/rules.toml", status=None)


def _amend(do: Any) -> None:
    do("record", "demate", "BOX-1:J", "--at", at(40), "--id", "D1", status=None)
    do("explain", "V-as-found", "--reason", "capped by the maker", "--at", at(41), "--id", "X1")
    found = json.loads(do("review", "--json", status=None).out)["findings"]
    live = next(one["fingerprints"][0] for one in found if one["rule"] == "dead")
    do("acknowledge", live, "--reason", "it was dead", "--by", "lead", "--at", at(42), "--id", "K1")
    do("approve", "--finding", live, "--by", "lead", "--reason", "dead", "--at", at(43), "--id", "A1")
    do("correct", "V-remark", "remark", "BOX-1", "hums less", "--at", at(28), "--reason", "typo", "--id", "C1",
       status=None)  # fmt: skip
    do("withdraw", "V-measure", "--reason", "another box", "--id", "W1")
    do("retire", "PLATE-2", "--reason", "bent", "--at", at(44), "--id", "R1")
    do("import", "{folder}/rows.csv", "--rejects", "{folder}/rejects.csv", status=None)


def _ask(do: Any) -> None:
    for command, *more in (
        ("state",), ("history",), ("diff", at(0), at(50)), ("remarks", "BOX-1"), ("reference", "thread", "M16"),
        ("check", "--do", "mate BOX-1:J WALL:J"), ("can", "BOX-1"), ("findings",), ("audit",), ("head",),
        ("leave",), ("stops", "{folder}/stops.toml"), ("failures", "{folder}/stops.toml"),
    ):  # fmt: skip
        do(command, *more, status=None)
    do("durations", "{folder}/work.toml", "--samples", "20")
    do("which", "--for", "BOX-1")
    plan = "{folder}/plan.toml"
    for command, *more in (
        ("without", "WALL:V"), ("isolate", "BOX-1"), ("segments", "fluid"), ("checks",),
        ("compare", plan, plan), ("mend", plan, "-o", "{folder}/mended.toml"),
        ("complete", plan, "-o", "{folder}/completed.toml"),
    ):  # fmt: skip
        do(command, *more, status=None)
    do("orders", "{folder}/side.toml", status=None)
    do("way", "--want", "WALL:V shut", "--most", "20", "--seconds", "1", status=4)
    do("rules drop", "rules.toml", "--accept", "an exercise", status=None)
    do("draw", "-o", "{folder}/plant.dot")
    do("export", "--form", "archive", "-o", "{folder}/all.jsonl")


def _plan(do: Any) -> None:
    """Go through the commands about a plan."""
    do("plan adopt", "{folder}/plan.toml", "--at", at(70), "--id", "P1")
    do("plan show")
    do("plan list")
    do("done", "look", "again", "--at", at(80))
    do("skip", "home", "--reason", "no time", "--at", at(81))
    do("progress", status=None)
    do("left", "-o", "{folder}/left.toml")
    do("plan drop", "--reason", "an exercise", "--at", at(82), "--id", "P2")


def _keep(do: Any, here: Path) -> None:
    (here / "proof.json").write_text(do("prove", "D1").out)
    do("verify", "{folder}/proof.json", "--kept", do("head").out.strip())
    do("backup", "{folder}/copy.db")
    do("restore", "{folder}/all.jsonl", "--db", "{folder}/restored.db")
    do("rebuild")
    do("grant", status=4)  # a file has no users
    with closing(sqlite3.connect(here / "old.db")) as old:
        old.executescript(RELEASED.read_text())
    do("migrate", "--db", "{folder}/old.db")
    do("head forget", "--reason", "an exercise")
    do("completion", "bash")
    do("man")


# --- what is there ----------------------------------------------------------------------------------------------------

RECORDED = {
    "event": "SELECT number, id, happened, turn, action, corrects, body FROM event ORDER BY number",
    "item": "SELECT sort, id, load, body FROM item ORDER BY load, sort, id",
    "touch": "SELECT owner, happened, number FROM touch ORDER BY number, owner, happened",
    "change": "SELECT subject, aspect, happened, turn, number, value, other FROM change"
    " ORDER BY number, subject, aspect",
}
"""What must be there as a whole or not at all. When it became known, and so its leaf, is each record's own."""


def seen(folder: Path) -> dict[str, Any]:
    """Return what is in a folder: of a database what is recorded and derived, of what a console remembers what it

    has forgotten, of keys whose they are, of any other file its bytes. What begins with a dot is nobody's.
    """
    found: dict[str, Any] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if (
            path.is_dir()
            or path.name.startswith(".")
            or path.name.endswith(("-wal", "-shm", "-journal", ".lock"))
        ):
            continue
        if path.suffix == ".db":
            found[name] = recorded(path)
        elif path.name in ("heads.log", "plans.json"):
            continue  # they grow with what is seen
        elif path.name == "heads.json":
            found[name] = len(json.loads(path.read_bytes())["forgotten"])
        elif path.suffix == ".pem":
            found["keys"] = found.get("keys", 0) + (len(path.read_bytes()) > 100)
        else:
            found[name] = path.read_bytes().replace(str(folder).encode(), b"{folder}")
    return {name: what for name, what in found.items() if what}


def recorded(path: Path) -> Any:
    """Return what a journal holds, derived rows too, and the revision of its schema; None where that is nothing."""
    with closing(sqlite3.connect(path)) as opened:
        tables = {name for (name,) in opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not {*RECORDED, "alembic_version"} <= tables:
            return None
        revision = opened.execute("SELECT version_num FROM alembic_version").fetchall()
        rows = {table: opened.execute(sql).fetchall() for table, sql in RECORDED.items()}
        return (revision, rows) if any(rows.values()) else None


def _close(folder: Path) -> None:
    """Have all of each journal in its file, so that it can be copied."""
    for path in folder.glob("*.db"):
        with closing(sqlite3.connect(path)) as opened:
            opened.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def parts_left(folder: Path) -> list[str]:
    """Return what was left of something that was broken off: hidden, and nobody's."""
    return [str(path.relative_to(folder)) for path in folder.rglob(".*") if path.is_file()]


@dataclass
class Child:
    """A command line that runs in a process of its own: that process, and where to read what it says."""

    process: int
    out: int
    err: int

    def end(self) -> tuple[int, str, str]:
        """Wait for it; return its exit status or, below zero, the signal that ended it, and what it said."""
        said = []
        for pipe in (self.out, self.err):
            with os.fdopen(pipe, encoding="utf-8", errors="replace") as source:
                said.append(source.read())
        return os.waitstatus_to_exitcode(os.waitpid(self.process, 0)[1]), *said  # type: ignore[return-value]


def in_child(console: Console, words: list[str], before: Callable[[], None] | None = None) -> Child:
    """Run a command line in a process of its own, after `before` was called there."""
    (out, write_out), (err, write_err) = os.pipe(), os.pipe()
    child = os.fork()
    if child:
        os.close(write_out)
        os.close(write_err)
        return Child(child, out, err)
    status = 1
    try:
        os.dup2(write_out, 1)
        os.dup2(write_err, 2)
        for end in (out, err, write_out, write_err):
            os.close(end)
        if before is not None:
            before()
        status = _run(console, words)
    finally:
        os._exit(status)


def _run(console: Console, words: list[str]) -> int:
    """Run a command line as the shell would: what it says goes out when it says it."""
    os.environ.update(
        CFGTRACK_DB=str(console.db), XDG_STATE_HOME=str(console.state), XDG_CONFIG_HOME=str(console.config)
    )
    sys.stdin, sys.stdout, sys.stderr = (
        os.fdopen(fd, mode, encoding="utf-8") for fd, mode in enumerate(("r", "w", "w"))
    )
    try:
        main(words, obj=Session(clock=lambda: next(console.ticks)), prog_name="cfgtrack")
    except SystemExit as end:
        sys.stdout.flush()
        sys.stderr.flush()
        return int(end.code or 0)
    except BaseException:  # noqa: BLE001 - a bug: told as Python would
        traceback.print_exc()
        sys.stderr.flush()
    return 1
