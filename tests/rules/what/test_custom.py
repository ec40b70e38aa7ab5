"""Conditions in Python: the example of the documentation, the one that is built in, and those that go wrong."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import count
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.condition import NoVerdict
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.what import custom
from cfgtrack.rules.what.custom import Custom, find_custom
from cfgtrack.rules.world import World
from tests.happening import happened

HARDWARE = """
part = [{ id = "box", mass = "15 kg" }]
unit = [{ id = "BOX-1", part = "box" }, { id = "BOX-2", part = "box" }, { id = "BOX-3", part = "box" }]
place = [{ id = "SITE" }, { id = "SHELF", parent = "SITE", holds = true }]
"""
HEAD = 'title = "t"\nhazard = "h"\nseverity = 2\nsource = "common practice"\n'
NUMBER = count()
BOX = Selection(ids=("BOX-1",))


def documented() -> tuple[str, str, str]:
    """Return the module, the entry points and the condition of the example in the documentation."""
    assert custom.__doc__ is not None
    blocks = []
    for block in custom.__doc__.split("::\n\n")[1:]:
        lines = block.splitlines()
        end = next((i for i, line in enumerate(lines) if line and not line.startswith("    ")), len(lines))
        blocks.append(dedent("\n".join(lines[:end])).strip())
    module, points, condition = blocks
    return module, points, condition


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return what installs a package with one module and its entry points, under names that are used once."""

    def install(source: str, **conditions: str) -> dict[str, str]:
        number = next(NUMBER)
        (tmp_path / f"conditions_{number}.py").write_text(source, encoding="utf-8")
        info = tmp_path / f"conditions_{number}-1.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: conditions-{number}\nVersion: 1\n")
        names = {name: f"{name}-{number}" for name in conditions}
        points = [f"{names[name]} = conditions_{number}:{made}" for name, made in conditions.items()]
        (info / "entry_points.txt").write_text("\n".join([f"[{custom.ENTRY_POINTS}]", *points]) + "\n")
        monkeypatch.syspath_prepend(tmp_path)
        return names

    return install


def run(hardware: str, rules: str, *steps: str) -> Engine:
    """Return an engine after phrases that were done a second apart, and a second more."""
    plant = parse_definition({"plant.toml": hardware}).plant()
    now = Configuration(plant)
    engine = Engine(parse_rules({"rules.toml": rules}, plant), now.fork(), start=0)
    for second, words in enumerate(steps, 1):
        event = parse_phrase(split_phrase(words), plant, id=f"E{second}", happened=second * 1_000_000)
        outcome = happened(now, event)
        now.apply(outcome)
        engine.step(outcome)
    engine.finish((len(steps) + 1) * 1_000_000)
    return engine


def rule(name: str, mode: str, condition: str) -> str:
    """Return a rule as in a rules file."""
    return f'[[rule]]\nid = "{name}"\n{HEAD}{mode}\ncondition = {condition}\n'


# --- from another package -----------------------------------------------------------------------------------------


def test_the_documented_example(package):
    """The example of the documentation works as it stands: installed, named in a rules file, judged and explained."""
    module, points, condition = documented()
    name, _, target = points.splitlines()[1].replace('"', "").partition(" = ")
    names = package(module, **{name: target.partition(":")[2]})
    text = rule("load", 'mode = "always"', condition.removeprefix("condition = ").replace(name, names[name]))
    steps = [f"place BOX-{i} at SHELF" for i in (1, 2, 3)]
    assert run(HARDWARE, text, *steps[:2]).findings() == []
    (finding,) = run(HARDWARE, text, *steps).findings()
    assert (finding.time, finding.event) == (3_000_000, "E3")
    assert finding.reasons[0].text == "BOX-1, BOX-2, BOX-3 weigh 45 kg; at most 40 kg may"
    assert finding.reasons[0].beyond == ("BOX-1", "BOX-2", "BOX-3")


def test_nobody_has_such_a_condition():
    """A name that is neither built in nor installed is unknown, and the rules file says so at its line."""
    with pytest.raises(BadInput, match="there is no condition in Python no-such: it is neither"):
        find_custom("no-such")
    with pytest.raises(BadInput, match="there is no condition in Python no-such"):
        run(HARDWARE, rule("r", 'mode = "always"', '{ custom = "no-such", of = "BOX-1" }'))


BROKEN = """
class NoWhy:
    media = frozenset()
    def holds(self, world, items, settings):
        return True

class NoStart:
    def __init__(self):
        raise OSError("no licence")
"""


@pytest.mark.parametrize(
    ("made", "says"),
    [("NoWhy", "it has no why"), ("NoStart", "OSError: no licence"), ("Nothing", "AttributeError")],
)
def test_what_is_no_condition(package, made, says):
    """An entry point that leads to something else, or that can't be loaded, is told with the reason."""
    names = package(BROKEN, it=made)
    with pytest.raises(BadInput, match=says) as caught:
        find_custom(names["it"])
    assert [p.code for p in caught.value.problems] == ["not-loadable"]


def test_two_packages_with_one_name(package, tmp_path):
    """Which of two conditions of one name is meant can't be told, so neither is taken."""
    names = package(BROKEN, it="NoWhy")
    other = tmp_path / "other-1.dist-info"
    other.mkdir()
    (other / "METADATA").write_text("Metadata-Version: 2.1\nName: other\nVersion: 1\n")
    (other / "entry_points.txt").write_text(f"[{custom.ENTRY_POINTS}]\n{names['it']} = os:getcwd\n")
    with pytest.raises(BadInput, match="more than one installed package") as caught:
        find_custom(names["it"])
    assert [p.code for p in caught.value.problems] == ["ambiguous"]


# --- no verdict -----------------------------------------------------------------------------------------------------

CRASHING = """
class Crashes:
    media = frozenset()
    def holds(self, world, items, settings):
        if world.configuration.state("BOX-1").value == settings.get("only", "SHELF"):
            raise ZeroDivisionError("nothing to share")
        return True
    def why(self, world, items, settings):
        return "never asked"

class Vague:
    media = frozenset()
    def holds(self, world, items, settings):
        return None
    def why(self, world, items, settings):
        raise KeyError("why")
"""


def world() -> World:
    """Return a world in which BOX-1 is on the shelf."""
    plant = parse_definition({"plant.toml": HARDWARE}).plant()
    now = Configuration(plant)
    now.apply(happened(now, parse_phrase(["place", "BOX-1", "at", "SHELF"], plant, id="E", happened=0)))
    return World(now, media=(), touched=None, now=0, trail=Trail())


def test_a_crash_is_no_verdict(package):
    """What a condition raises is no answer: it comes out as no verdict, with the error, its place and the cause."""
    names = package(CRASHING, crashes="Crashes", vague="Vague")
    with pytest.raises(
        NoVerdict, match=r"crashed: ZeroDivisionError: nothing to share \(conditions_\d+.py:6\)"
    ) as caught:
        Custom(names["crashes"], BOX).compile(world()).holds(None)
    assert isinstance(caught.value.__cause__, ZeroDivisionError)
    assert caught.value.reason().code == "crashed"
    with pytest.raises(NoVerdict, match="returned None, neither True nor False"):
        Custom(names["vague"], BOX).compile(world()).holds(None)
    with pytest.raises(NoVerdict, match="KeyError"):
        Custom(names["vague"], BOX).compile(world()).reasons(None, ())


MODES = {
    "always": 'mode = "always"',
    "at": 'mode = "at"\nat = { action = "inspect", id = "BOX-2" }',
    "within": 'mode = "within"\nwithin = "1 s"\ntrigger = { action = "place", id = "BOX-1", to = "SHELF" }',
    "by": 'mode = "by"\nby = "outing"',
}


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("turned", [False, True], ids=["plain", "not"])
def test_its_rule_has_no_verdict_and_the_others_have(package, mode, turned):
    """A rule whose condition crashes is neither kept nor broken, in any mode and under `not` too; the others go on."""
    names = package(CRASHING, crashes="Crashes")
    asked = f'{{ custom = "{names["crashes"]}", of = "BOX-1" }}'
    text = rule("crashes", MODES[mode], f"{{ not = {asked} }}" if turned else asked)
    text += rule("other", 'mode = "always"', '{ status = "BOX-1", at = "SITE" }')
    steps = [
        "place BOX-1 at SITE",
        "begin o",
        "place BOX-1 at SHELF",
        "inspect BOX-2",
        "end o",
        "inspect BOX-3",
    ]
    findings = run(HARDWARE, text, *steps).findings()
    unknown = [f for f in findings if f.no_verdict]
    assert {f.rule for f in unknown} == {"crashes"}
    assert len(unknown) == 1
    assert unknown[0].reasons[0].code == "crashed"
    assert "nothing to share" in unknown[0].reasons[0].text
    assert [f.rule for f in findings if f.rule == "other"] == ["other"]


@pytest.mark.parametrize("turned", [False, True], ids=["plain", "not"])
def test_a_clock_that_runs_out_without_a_verdict(package, turned):
    """What can't be told at the deadline is not broken; it is late when it can be told and isn't so."""
    names = package(CRASHING, crashes="Crashes")
    asked = f'{{ custom = "{names["crashes"]}", of = "BOX-1" }}'
    text = rule("crashes", MODES["within"], f"{{ not = {asked} }}" if turned else asked)
    steps = ["place BOX-1 at SITE", "place BOX-1 at SHELF", *["inspect BOX-2"] * 3]
    (unknown,) = run(HARDWARE, text, *steps).findings()
    assert unknown.no_verdict
    found = run(HARDWARE, text, *steps, "place BOX-1 at SITE").findings()
    told = [(f.no_verdict, f.since // 1_000_000, f.deadline and f.deadline // 1_000_000) for f in found]
    assert told == [(True, 2, None), *([(False, 2, 3)] if turned else [])]


@pytest.mark.parametrize("scope", ["", 'scope = "BOX-1"\n'], ids=["whole", "by item"])
def test_no_verdict_from_the_start(package, scope):
    """Where a condition crashes before anything has happened that is said at once, and is over when it answers."""
    names = package(CRASHING, crashes="Crashes")
    condition = f'{{ custom = "{names["crashes"]}", of = "BOX-1", only = "" }}'
    text = rule("crashes", f'{scope}mode = "always"', condition)
    (unknown,) = run(HARDWARE, text).findings()
    assert (unknown.no_verdict, unknown.time, unknown.until) == (True, 0, None)
    (unknown,) = run(HARDWARE, text, "inspect BOX-2", "place BOX-1 at SHELF", "inspect BOX-2").findings()
    assert (unknown.no_verdict, unknown.time, unknown.until) == (True, 0, 2_000_000)


@pytest.mark.parametrize("mode", ["always", "within", "by"])
def test_no_verdict_is_remembered(package, mode):
    """An engine that goes on from what another remembered says no second time that there is no verdict, and ends it."""
    names = package(CRASHING, crashes="Crashes")
    plant = parse_definition({"plant.toml": HARDWARE}).plant()
    condition = f'{{ custom = "{names["crashes"]}", of = "BOX-1" }}'
    rules = parse_rules({"rules.toml": rule("crashes", MODES[mode], condition)}, plant)
    now, events = Configuration(plant), []
    steps = [
        "place BOX-1 at SHELF",
        "begin o",
        "inspect BOX-2",
        "end o",
        "place BOX-1 at SITE",
        "begin p",
        "end p",
    ]
    for second, words in enumerate(steps, 1):
        action = parse_phrase(split_phrase(words), plant, id=f"E{second}", happened=second * 1_000_000)
        events.append(happened(now, action))
        now.apply(events[-1])
    engine = Engine(rules, Configuration(plant), start=0)
    for event in events[:4]:
        engine.step(event)
    (unknown,) = (f for f in engine.findings() if f.no_verdict)
    assert unknown.until is None
    memory, settled = json.loads(json.dumps([engine.memory(), engine.take_settled()]))
    later = Engine(rules, engine.world.configuration.fork(), start=4_000_001, memory=memory)
    later.add_settled(settled)
    for event in events[4:]:
        later.step(event)
    later.finish(9_000_000)
    (unknown,) = (f for f in later.findings() if f.no_verdict)
    assert unknown.until == (7_000_000 if mode == "by" else 5_000_000)


# --- in the order of its pattern ------------------------------------------------------------------------------------


def joint(turns: Sequence[str]) -> str:
    """Return hardware with a lid and as many bolts as there are turns, all engaged."""
    patterns = [f', pattern = "{turn}"' if turn else "" for turn in turns]
    ports = [f'{{ name = "B{i}", kind = "bolt"{pattern} }}' for i, pattern in enumerate(patterns)]
    holes = [f'{{ name = "B{i}", kind = "bolt" }}' for i in range(len(turns))]
    status = [f'"LID:B{i}" = {{ is = "engaged", mate = "BASE:B{i}" }}' for i in range(len(turns))]
    return (
        f'[[part]]\nid = "lid"\nport = [{", ".join(ports)}]\n[[part]]\nid = "base"\nport = [{", ".join(holes)}]\n'
        '[[unit]]\nid = "LID"\npart = "lid"\n[[place]]\nid = "BASE"\npart = "base"\n'
        f'[initial]\nat = 2031-05-01T00:00:00Z\nplace = {{ LID = "BASE" }}\nstatus = {{ {", ".join(status)} }}\n'
    )


PATTERN = rule(
    "pattern",
    'mode = "at"\nat = { action = "torque", id = "LID:*" }',
    '{ custom = "tightening-order", of = "it" }',
)


def out_of_turn(turns: Sequence[str], order: Sequence[int]) -> dict[str, str]:
    """Return the bolts that are torqued before their turn, with the reason, when they are torqued in an order."""
    definition = parse_definition({"plant.toml": joint(turns)})
    plant = definition.plant()
    now = Configuration(plant)
    for event in definition.initial:
        now.apply(happened(now, event))
    engine = Engine(parse_rules({"rules.toml": PATTERN}, plant), now, start=definition.initial[0].happened)
    for i in order:
        event = parse_phrase(
            ["torque", f"LID:B{i}"], plant, id=f"E{i}", happened=definition.initial[0].happened
        )
        engine.step(happened(now, event))
    return {f.subjects[0]: f.reasons[0].text for f in engine.findings()}


@given(st.permutations(range(6)), st.permutations(range(6)))
def test_every_bolt_waits_for_those_before_it(turns, order):
    """Out of turn are exactly the bolts that are torqued while one with an earlier turn isn't yet."""
    early = {f"LID:B{b}" for n, b in enumerate(order) if any(turns[later] < turns[b] for later in order[n:])}
    assert set(out_of_turn([f"base/{t + 1}" for t in turns], order)) == early


@pytest.mark.parametrize(
    "order",
    [(1, 3, 2, 4), (1, 5, 3, 7, 2, 6, 4, 8), (1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12)],
    ids=["4 bolts", "8 bolts", "12 bolts"],
)
def test_cross_pattern(order):
    """The cross patterns of ASME PCC-1 (numbered clockwise; from memory) can be written as turns: in that order no bolt
    is early, and going round is.
    """
    turns = [f"base/{order.index(bolt + 1) + 1}" for bolt in range(len(order))]
    assert out_of_turn(turns, [bolt - 1 for bolt in order]) == {}
    assert out_of_turn(turns, range(len(order)))


def test_what_should_have_come_first():
    """The reason names the bolts that should have come first, of the same joint only."""
    early = out_of_turn(["base/1", "base/2", "base/10", "side/1", ""], [2, 3, 4, 0, 1])
    assert early == {"LID:B2": "not torqued yet, and their turn in this joint comes first: LID:B0, LID:B1"}
