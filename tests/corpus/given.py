"""The parts of the corpus that are given, not drawn: the demo, the sessions and cases of the tests, what is refused."""

from __future__ import annotations

import shlex
import shutil
import sys
import tomllib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import partial
from types import SimpleNamespace
from typing import Any, cast

from tests.corpus.paper import CHECKOUT, Paper, toml
from tests.corpus.refusals import PLACES_OF_REFUSAL

Part = Callable[[Paper], None]

# --- the demo -----------------------------------------------------------------------------------------------------


def demo(t: Paper) -> None:
    """Run what demo/run runs, then ask everything that can be asked of its database."""
    shutil.copytree(CHECKOUT / "demo", t.folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("out"))
    (t.folder / "out").mkdir(exist_ok=True)
    elsewhere = False  # on a copy of the database in a file, which is not what a URL names
    for line in (t.folder / "run").read_text(encoding="utf-8").splitlines():
        if line.startswith("export CFGTRACK_DB=$PWD/"):
            t.db = line.partition("$PWD/")[2]
            elsewhere = "what-if" in line
        elif line.startswith("cfgtrack ") and not (t.url and elsewhere):
            words = shlex.split(line)[1:]
            t(*words[words[0].isdigit() :])
    _ask_the_demo(t)


def _ask_the_demo(t: Paper) -> None:
    hardware, promises = (
        tomllib.loads((t.folder / name).read_text(encoding="utf-8"))
        for name in ("hardware.toml", "promises.toml")
    )
    units, places = ([one["id"] for one in hardware[sort]] for sort in ("unit", "place"))
    failed, spare = (promises["exchanged"][which] for which in ("failed", "spare"))
    told = {thing for fault in promises["fault"] for thing in fault["subjects"]}
    ports = sorted(thing.removeprefix(f"{failed}:") for thing in told if thing.startswith(f"{failed}:"))
    loop = next(one["loop"] for one in hardware["unit"] if one["id"] == failed)
    things = [*units, *(f"{spare}:{port}" for port in ports), *places]
    moments = (
        (),
        ("--at", "2025-10-13T14:48:00Z"),
        ("--at", "2025-11-01T00:00:00Z"),
        ("--at", "2025-10-01T00:00:00Z", "--known-at", "2031-05-05T09:00:05Z"),
    )
    for moment in moments:
        for words in (("state",), ("findings",), ("review",), ("plant",), ("remarks", failed)):
            t.both(*words, *moment)
        t.both("can", f"{spare}:{ports[0]}", *moment)
        t("can", failed, *moment)
        for port in ports:
            t("check", "--do", f"demate {failed}:{port}", *moment, "--json")
    for thing in things:
        t("state", thing)
        t("state", thing, "--json", "--at", "2025-10-13T14:48:00Z")
        t("history", thing)
        t("remarks", thing)
    for thing in things[:4]:
        t.both("can", thing)
    t.both("history")
    t("history", "--from", "2025-10-01T00:00:00Z", "--to", "2025-10-14T00:00:00Z", "--json")
    t.both("diff", "2025-10-13T14:48:00Z", "2025-10-16T00:00:00Z")
    t.both("diff", "2025-09-01T00:00:00Z")
    now = ("--at", "2025-11-01T00:00:00Z")
    for plan in ("exchange.toml", "exchange-faulty.toml"):
        t("check", plan, *now, "--json")
        t("check", plan, *now, "--steps")
    t("check", "exchange.toml")
    _about_the_rules(t)
    for scope in (f"--loop {loop}", "--medium power", "--places", f"--unit {failed} --hops 2", ""):
        t("draw", *scope.split())
        t("draw", *scope.split(), *now, "--form", "svg")
    for form in ("csv", "jsonl", "archive", "ocel"):
        t("export", "--form", form)
    t("export", "--form", "csv", "--in-effect")
    _keep(t, promises["journal"]["late"][0])
    for table in ("thread", "tightening", "fluid", "surface", "class"):
        t.both("reference", table)


def _about_the_rules(t: Paper) -> None:
    for words in (("list",), ("show",), ("starter",)):
        t.both("rules", *words)
    for rule in t("rules", "list", "--json").json["rules"]:
        t("rules", "explain", rule["id"])
    t("rules", "try", "rules.toml", "--json")


def _keep(t: Paper, event: str) -> None:
    """Ask what keeps a record in order."""
    for words in (("audit",), ("head",), ("rebuild",), ("migrate",)):
        t.both(*words)
    t("verify", t.file("proof.json", t("prove", event).out))
    kept = t("head", "--json").json["head"]["text"]
    t.both("audit", "--kept", kept)
    t("prove", "--kept", kept)
    for shell in ("bash", "zsh", "fish"):
        t("completion", shell)


# --- sessions of the tests ----------------------------------------------------------------------------------------


class _Asker(Paper):
    """What the sessions of tests/cli/asked.py take for the command: it fails no test, and asks for the text as well."""

    def ask(self, *words: object, status: int = 0, stdin: str | None = None) -> Any:
        """Ask a question, of those that change nothing for the text too; return its JSON."""
        if str(words[0]) in (
            "state",
            "findings",
            "review",
            "check",
            "can",
            "history",
            "diff",
            "remarks",
            "plant",
        ):
            self(*words)
        return self(*words, "--json", stdin=stdin).json

    def do(self, minute: int, *words: str, **more: Any) -> Any:
        """Record an action so many minutes after ten."""
        from tests.cli import asked

        return self.ask(*words, "--at", asked.at(minute), **more)

    def ok(self, *words: object, stdin: str | None = None) -> str:
        """Run a command line; return what it said."""
        return self(*words, stdin=stdin).out

    def tamper(self, *statements: str) -> None:
        """Change the database as somebody would who knows SQLite."""
        from tests.cli import asked

        asked.Asker.tamper(cast(Any, self), *statements)


def session(name: str, t: Paper) -> None:
    """Hold one session of tests/cli/asked.py."""
    from tests.cli import asked

    t.__class__ = _Asker
    t.db = t.db if t.url else t.folder / "plant.db"
    path = list(sys.path)
    patch = SimpleNamespace(syspath_prepend=lambda folder: sys.path.insert(0, str(folder)))
    asked.install_condition(t.folder, cast(Any, patch))
    asked.SESSIONS[name](cast(Any, t))
    sys.path[:] = path


SESSIONS = ("describing", "redefining", "vetting", "recording", "clocks", "checking", "deciding", "drawing", "keeping",
            "auditing", "importing", "starting", "looking_up", "at_the_bay", "every_verb")  # fmt: skip
NO_FILE = ("keeping", "auditing")
"""Sessions that need the database to be a file."""

# --- cases of the starter rules -----------------------------------------------------------------------------------

CASES = CHECKOUT / "tests" / "rules" / "cases"
BEGUN = datetime(2031, 5, 1, tzinfo=UTC)


def cases(file: str, t: Paper) -> None:
    """Ask each case of a file: as a plan that is checked, then as a record, one action after the other."""
    t("load", CASES / "world.toml", "--by", "survey")
    t("rules", "load", t.file("starter.toml", t("rules", "starter").out))
    for number, case in enumerate(tomllib.loads((CASES / file).read_text(encoding="utf-8"))["case"]):
        t.note(f"case {case['name']}")
        t.db = f"case-{number}.db"
        shutil.copy(t.folder / "plant.db", t.folder / t.db)
        lines = [line.split(maxsplit=1) for line in case["does"].strip().splitlines()]
        does = [(_microseconds(time), words) for time, words in lines]
        until = _microseconds(case["until"]) if "until" in case else does[-1][0]
        plan = t.file(f"case-{number}.toml", _plan(does))
        t.both("check", plan, "--at", _time(0))
        t("check", plan, "--steps", "--at", _time(0))
        for n, (time, words) in enumerate(does):
            t("record", *shlex.split(words), "--at", _time(time), "--id", f"E{n}")
        t.both("findings", "--at", _time(until))
        t.both("review", "--at", _time(until))
        t("state", "--at", _time(until), "--json")


def _plan(does: list[tuple[int, str]]) -> str:
    steps, last = [], 0
    for n, (time, words) in enumerate(does):
        if words.startswith(("begin ", "end ")):
            continue  # a sequence begins and ends its outings by itself
        steps.append({"id": f"S{n}", "do": words, "takes": f"{(time - last) / 1e6:.6f} s"})
        last = time
    told = ",\n  ".join(toml(step) for step in steps)
    return f'[[outing]]\nid = "W1"\nstart = {_time(0)}\n[[outing.track]]\nname = "ann"\nsteps = [\n  {told},\n]\n'


def _microseconds(text: str) -> int:
    hours, minutes, seconds = (*text.split(":"), "0")[:3]
    return int(((int(hours) * 60 + int(minutes)) * 60 + Fraction(seconds)) * 1_000_000)


def _time(microseconds: int) -> str:
    return (BEGUN + timedelta(microseconds=microseconds)).isoformat().replace("+00:00", "Z")


# --- all of it ----------------------------------------------------------------------------------------------------


def _parts() -> Iterator[tuple[str, Part]]:
    yield "demo", demo
    for name in SESSIONS:
        yield f"sessions/{name}", partial(session, name)
    for path in sorted(CASES.glob("*.toml")):
        if path.stem != "world":
            yield f"cases/{path.stem}", partial(cases, path.name)
    for name, part in PLACES_OF_REFUSAL.items():
        yield f"refusals/{name}", part
    yield "postgresql/demo", demo
    for name in SESSIONS:
        if name not in NO_FILE:
            yield f"postgresql/sessions/{name}", partial(session, name)


PARTS: dict[str, Part] = dict(_parts())
