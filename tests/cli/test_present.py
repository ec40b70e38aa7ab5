"""Recording in the present: a clock that runs, nobody who says `--at`."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest

from cfgtrack.model.time import parse_instant
from tests.cli.conftest import Command
from tests.store.conftest import Server

BEFORE = "2031-05-01T08:30:00Z"
CONSOLES = ("ada", "ben", "cleo", "dirk")

PLANT = """
title = "Four sheds"

[[part]]
id = "shed"
port = [
    { name = "V", kind = "valve" },
    { name = "K", kind = "switch" },
    { name = "J", kind = "electrical-connector" },
    { name = "B", kind = "bolt", torque = ["20 N*m", "30 N*m"] },
]
node = [{ name = "BUS", medium = "power", source = true }]
link = [{ a = "BUS", b = "J", gate = "K" }]

[[part]]
id = "fan"
port = [{ name = "J", kind = "electrical-connector" }, { name = "B", kind = "bolt" }]
node = [{ name = "MOTOR", medium = "power", load = true }]
link = [{ a = "J", b = "MOTOR" }]

[[place]]
id = "SITE"
holds = true
"""
OF_EACH = """
[[place]]
id = "SHED-{n}"
parent = "SITE"
part = "shed"
[[place]]
id = "DESK-{n}"
parent = "SITE"
holds = true
[[unit]]
id = "FAN-{n}"
part = "fan"
[[unit]]
id = "LADDER-{n}"
part = "fan"
"""
INITIAL = """
[initial]
at = 2026-01-05T08:00:00Z
by = "survey"
joined = [{joined}]
[initial.status]
{status}
[initial.place]
{place}
"""
RULES = """
title = "Shed rules"
[[rule]]
id = "dead-before-touch"
title = "No live connector is touched"
hazard = "electric shock"
severity = 2
source = "common practice"
mode = "at"
at = { action = ["mate", "demate"], kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }
[[rule]]
id = "fan-runs"
title = "A fan is off for an hour at most"
hazard = "it gets hot"
severity = 3
source = "common practice"
mode = "always"
tolerance = "1 h"
scope = { load = true, part = "fan", at = "SHED-*" }
condition = { path = "power", from = "it", to = { source = true } }
"""


def plant() -> str:
    """Return the plant: for each console a shed of its own with a fan that runs, and a ladder."""
    numbers = range(len(CONSOLES))
    joined = ", ".join(f'["FAN-{n}:{p}", "SHED-{n}:{p}"]' for n in numbers for p in "JB")
    status = "\n".join(f'"SHED-{n}:V" = "open"\n"SHED-{n}:K" = "on"' for n in numbers)
    place = "\n".join(f'"FAN-{n}" = "SHED-{n}"\n"LADDER-{n}" = "SHED-{n}"' for n in numbers)
    return (
        PLANT
        + "".join(OF_EACH.format(n=n) for n in numbers)
        + INITIAL.format(joined=joined, status=status, place=place)
    )


def day(n: int) -> list[list[str]]:
    """Return what one console records in a day: 25 events, its own and some on what all share."""
    lines = (
        ["begin", f"DAY-{n}"],
        ["shut", f"SHED-{n}:V"],
        ["open", f"SHED-{n}:V"],
        ["de-energise", f"SHED-{n}:K"],
        ["measure", f"FAN-{n}:J", "voltage=0 V", "--basis", "measured"],
        ["demate", f"FAN-{n}:J"],
        ["cap", f"FAN-{n}:J"],
        ["remark", "SITE", "quiet here"],
        ["uncap", f"FAN-{n}:J"],
        ["mate", f"FAN-{n}:J", f"SHED-{n}:J"],
        ["energise", f"SHED-{n}:K"],
        ["inspect", f"FAN-{n}"],
        ["remark", f"FAN-{n}", "hums"],
        ["withdraw", "@12", "--reason", "it was the ladder"],
        ["as-found", f"SHED-{n}:V", "shut"],
        ["explain", "@14", "--reason", "the cleaner shut it"],
        ["open", f"SHED-{n}:V"],
        ["approve", "--rule", "dead-before-touch", "--do", f"demate FAN-{n}:J", "--reason", "a cool day"],
        ["torque", f"FAN-{n}:B", "torque=22 N*m"],
        ["correct", "@18", "torque", f"FAN-{n}:B", "torque=24 N*m", "--reason", "misread"],
        ["place", f"LADDER-{n}", "at", f"DESK-{n}"],
        ["inspect", "SITE"],
        ["record", "place", f"LADDER-{n}", "at", f"SHED-{n}"],
        ["measure", "SITE", "temperature=21 degC"],
        ["end", f"DAY-{n}"],
    )
    return [list(line) for line in lines]


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, empty: Command) -> str:
    """The place of a new database, in SQLite and in PostgreSQL."""
    if request.param == "sqlite":
        return str(empty.db)
    server: Server = request.getfixturevalue("server")
    return server.empty()


def test_a_day_in_the_present(database: str, empty: Command) -> None:
    """Four consoles record a hundred events side by side, none says when: all are taken, each at its own moment."""
    files = empty.file("plant.toml", plant()), empty.file("rules.toml", RULES)
    for words in (["load", str(files[0])], ["rules", "load", str(files[1])]):
        command = [sys.executable, "-m", "cfgtrack", "--db", database, *words]
        subprocess.run(command, check=True, capture_output=True)
    consoles = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.cli.console", database, name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in CONSOLES
    ]
    for n, console in enumerate(consoles):
        assert console.stdin is not None
        console.stdin.write("".join(json.dumps(line) + "\n" for line in day(n)))
        console.stdin.close()
    answers = []
    for console in consoles:
        assert console.stdout is not None
        answers.append([json.loads(line) for line in console.stdout])
        console.stdout.close()
        assert console.wait() == 0
    for said in (a for each in answers for a in each):
        assert (said["status"], said["crash"]) == (0, None), said
        event = json.loads(said["out"])["event"]
        if not event.get("supersedes"):
            assert said["before"] <= parse_instant(event["happened"]) <= said["after"]
        assert said["before"] <= parse_instant(event["known"]) <= said["after"]
    assert [len(each) for each in answers] == [25] * 4
    assert sum(len(each) for each in answers) == 100

    # Side by side they were: no console had finished before another began.
    assert max(each[0]["before"] for each in answers) < min(each[-1]["after"] for each in answers)

    log = [
        line
        for line in ask(database, "history")["history"]
        if line["action"] != "define" and line["by"] != "survey"
    ]
    assert sorted(line["id"] for line in log) == sorted(
        json.loads(a["out"])["event"]["id"] for each in answers for a in each
    )
    known = [parse_instant(line["known"]) for line in log]
    assert known == sorted(set(known))
    for n, name in enumerate(CONSOLES):
        assert ask(database, "state", f"FAN-{n}")["state"]["place"][0] == f"SHED-{n}"
        mine = [line["happened"] for line in log if line["by"] == name and not line.get("supersedes")]
        assert mine == sorted(mine)
    assert ask(database, "audit")["sound"]
    assert ask(database, "findings")["findings"] == []
    assert ask(database, "findings")["discrepancies"] == []


def ask(database: str, *words: str) -> Any:
    """Return what the command answers now, as JSON."""
    command = [sys.executable, "-m", "cfgtrack", "--db", database, "--json", *words]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert done.returncode in (0, 3), done.stderr
    return json.loads(done.stdout)


PRESENT = {
    "remark": ("remark", "PUMP-1", "hums"),
    "record": ("record", "cap", "PUMP-1:F2"),
    "an action": ("inspect", "PUMP-1"),
    "withdraw": ("withdraw", "E1", "--reason", "it was the other one"),
    "explain": ("explain", "E2", "--reason", "the drawing is old"),
    "approve": (
        "approve",
        "NAMED",
        "--do",
        "shut HALL:V1",
        "--reason",
        "drained",
        "--by",
        "ina",
    ),
}


@pytest.mark.parametrize("words", PRESENT)
def test_no_time_said_is_now(words: str, cfgtrack: Command) -> None:
    """After a last event in the past, what is recorded without --at happened now: the one look at the clock."""
    cfgtrack.ok("measure", "PUMP-1:VOL", "pressure=2 bar", "--at", BEFORE, "--id", "E1")
    cfgtrack.ok("as-found", "HALL:K1", "off", "--at", BEFORE, "--id", "E2")
    code = cfgtrack.naming("expansion", "--do", "shut HALL:V1")[1]
    said = (("--finding", code) if word == "NAMED" else (word,) for word in PRESENT[words])
    answer = cfgtrack("--json", *(word for words in said for word in words))
    assert answer.status == 0, answer.err
    event = answer.json["event"]
    assert parse_instant(event["happened"]) < parse_instant(event["known"]) <= next(cfgtrack.ticks)
    assert event["happened"].startswith("2031-05-01T09:0")


def test_a_record_ahead_of_the_clock(cfgtrack: Command) -> None:
    """An event said to be of tomorrow makes the present unsure: then --at is asked for, until it is put right."""
    cfgtrack.ok("inspect", "PUMP-1", "--at", "2031-05-02T09:00:00Z", "--id", "E1")
    answer = cfgtrack("inspect", "PUMP-2")
    assert answer.status == 2
    assert "say when it happened: the last recorded event, E1, is of 2031-05-02T09:00:00Z" in answer.err
    cfgtrack.ok("withdraw", "E1", "--reason", "a day too late")
    cfgtrack.ok("inspect", "PUMP-2")


def test_a_fast_clock_elsewhere_stops_nobody(cfgtrack: Command) -> None:
    """What a console with a fast clock recorded in its present doesn't keep the others from recording in theirs."""
    slow = cfgtrack.ticks
    ahead = next(slow) + 3_600_000_000
    cfgtrack.ticks = iter(range(ahead, ahead + 100))
    cfgtrack.ok("inspect", "PUMP-1")
    cfgtrack.ticks = slow
    answer = cfgtrack("--json", "inspect", "PUMP-2")
    assert answer.status == 0, answer.err
    assert parse_instant(answer.json["event"]["happened"]) < ahead


@pytest.mark.parametrize(
    "words",
    [
        ("state", "PUMP-1"),
        ("diff", "2031-05-01T08:00:00Z"),
        ("check", "--do", "demate PUMP-1:J1"),
        ("can", "PUMP-1"),
        ("findings",),
        ("history",),
    ],
    ids=lambda words: words[0],
)
def test_a_question_looks_at_the_clock_once(words: tuple[str, ...], cfgtrack: Command) -> None:
    """A question is asked in one present, however many parts its answer has."""
    cfgtrack.ticks = iter([next(cfgtrack.ticks)])
    assert cfgtrack(*words).status in (0, 3)


def test_a_clock_behind_the_record_is_told(cfgtrack: Command) -> None:
    """Where others recorded well after what this clock says, one clock is wrong: recorded, and told."""
    slow = cfgtrack.ticks
    ahead = next(slow) + 3_600_000_000
    cfgtrack.ticks = iter(range(ahead, ahead + 100))
    assert cfgtrack("inspect", "PUMP-1").err == ""
    cfgtrack.ticks = slow
    answer = cfgtrack("inspect", "PUMP-2")
    assert answer.status == 0
    assert answer.err.startswith("clock: this one says 2031-05-01T09:00:")
    assert "1 h" in answer.err or "59 min" in answer.err


def test_a_clock_before_the_record_began(cfgtrack: Command) -> None:
    """A clock that says a time before the record was begun can't be right: then --at is asked for."""
    cfgtrack.ticks = iter(range(100))
    answer = cfgtrack("inspect", "PUMP-2")
    assert (answer.status, answer.out) == (2, "")
    assert "this clock says 1970-01-01T00:00:00" in answer.err
    assert cfgtrack("inspect", "PUMP-2", "--at", BEFORE).status == 0
