"""What may be done next: all that is possible and nothing else, each marked as a check would mark it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Start, check, one_step
from cfgtrack.analysis.options import MOST_MATES, MOST_PLACES, candidates, options, try_action
from cfgtrack.answers.encode import json_of
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.action import LIFT, PLACE, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Plant, Unit, owner_of
from cfgtrack.model.possibility import resolve
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance
from cfgtrack.rules.when.by import By
from tests.happening import happened
from tests.model.test_presence import after as works

WORLD = Path(__file__).parents[1] / "rules" / "cases" / "world.toml"
STARTER = resources.files("cfgtrack.rules") / "starter.toml"
MINUTE = 60_000_000


@cache
def world() -> tuple[Configuration, RuleSet]:
    """Return the world of the starter set's cases as it begins, and the starter set but for what ends judge."""
    definition = parse_definition({"world.toml": WORLD.read_text(encoding="utf-8")})
    now = Configuration(definition.plant())
    for event in definition.initial:
        now.apply(happened(now, event))
    rules = parse_rules({"starter.toml": STARTER.read_text(encoding="utf-8")}, now.plant).rules
    return now, RuleSet(tuple(rule for rule in rules if not isinstance(rule.mode, By)))


def walked(steps: list[int]) -> tuple[Start, Configuration]:
    """Return where a walk through what may be done has led: each number picks a thing and something to do to it."""
    begin, _ = world()
    now, history = begin.fork(), []
    things = [*begin.plant.owners()]
    for number, pick in enumerate(steps):
        time = number * MINUTE
        events = list(candidates(now, things[pick % len(things)], time, []))
        if events:
            event = replace(events[pick // len(things) % len(events)], id=f"E{number}")
            now.apply(event)
            history.append(event)
    return Start(begin, tuple(history), began=0, start=len(steps) * MINUTE), now


def choice(event: Event) -> tuple[Any, ...]:
    """Return what makes an action a choice of its own: a pair is the same pair from either half."""
    return event.action, frozenset(event.subjects), event.peer, event.place, event.facing


def tried(now: Configuration, ports: list[str]) -> Iterator[Action]:
    """Yield every action of every kind on every pair of ports of which one is given."""
    plant = now.plant
    actions = {action for kind in plant.kinds.values() for action in kind.moves}
    every = [port for owner in plant.owners() for port in plant.ports_of(owner)]
    for action in sorted(actions):
        for port in ports:
            yield Action("", action, (port,), 0)
            yield from (Action("", action, (port, other), 0) for other in every)


def moved(now: Configuration, thing: str) -> Iterator[Action]:
    """Yield a thing's being taken to every place, every way round; it is lifted by what is mobile."""
    for place in now.plant.places.values():
        action = LIFT if place.mobile else PLACE
        for facing in (*place.facings, None):
            yield Action("", action, (thing,), 0, place=place.id, facing=facing)


WALKS = st.lists(st.integers(0, 2**24), max_size=8)


@given(WALKS, st.integers(0, 100))
@settings(max_examples=100)
def test_all_that_is_possible_and_nothing_else(walk, pick):
    """What is offered for a thing is what the laws of possibility let through of all actions on it, each once."""
    _, now = walked(walk)
    things = [*now.plant.owners()]
    thing = things[pick % len(things)]
    actions = [*tried(now, now.plant.ports_of(thing)), *moved(now, thing)]
    possible = {choice(e) for a in actions if isinstance(e := resolve(now, a), Event)}
    cut: list[str] = []
    offered = [choice(e) for e in candidates(now, thing, 0, cut)]
    assert cut == []
    assert len(offered) == len(set(offered))
    assert set(offered) == possible


@given(WALKS)
@settings(max_examples=50)
def test_a_port_alone(walk):
    """What is offered for a port is what is offered for its owner and concerns that port."""
    _, now = walked(walk)
    for port in ("PUMP-1:J1", "HOSE-1:A", "BAY:F1", "ANN:HAND", "BAY:V1"):
        whole = {choice(e) for e in candidates(now, owner_of(port), 0, []) if port in e.subjects}
        assert {choice(e) for e in candidates(now, port, 0, [])} == whole


def told(finding: Finding) -> tuple[Any, ...]:
    """Return all that a finding tells, but for the name of the event and of the step, and what only a check tells."""
    untold = ("event", "step", "mix", "hinges_on", "follows", "untraced")
    return tuple(sorted((k, str(v)) for k, v in json_of(finding).items() if k not in untold))


@given(WALKS, st.integers(0, 100))
@settings(max_examples=80)
def test_marked_as_a_check_marks_it(walk, pick):
    """What an option would break, and the clocks it would start, are what a check of that one action tells."""
    begin, now = walked(walk)
    _, rules = world()
    things = [*now.plant.owners()]
    for option in options(rules, begin, things[pick % len(things)])[0]:
        report = check(rules, begin, one_step(option.event))
        assert [told(f) for f in option.findings] == [told(f) for f in report.new]
        assert option.started == report.steps[0].started


def held(value: Any) -> Any:
    """Return a copy of tables within tables, in which order and what is empty don't count."""
    if not isinstance(value, dict):
        return value
    return {k: copy for k, v in value.items() if (copy := held(v)) not in ({}, ())}


def plain(attributes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the attributes that are tables or scalars: what an engine and its runners remember.

    But for where an engine was marked first: that stays so, and is about no event.
    """
    kept = (dict, int, tuple, frozenset)
    return {
        k: v
        for k, v in attributes.items()
        if isinstance(v, kept) and not isinstance(v, bool | defaultdict) and k != "_first_noted"
    }


def tables(engine: Engine) -> list[Any]:
    """Return all that an engine holds that an event may change."""
    world, now = engine.world, engine.world.configuration
    return [
        [held(plain(vars(one))) for one in (engine, *engine.runners)],
        [held(getattr(now, name)) for name in ("_states", "_standing", "cycles", "values")],
        [world.now, world._stamp, held(world._done)],
        [(held(f.graph.out), held(f.graph.into), held(f._held)) for f in world.flows.values()],
        [{t: frozenset(r) for t, r in f._reaches.items()} for f in world.flows.values()],
        [held(tally) for tally in world.tallies.known.values()],
    ]


def answers(engine: Engine) -> list[Any]:
    """Return all that an engine tells."""
    return [
        [json_of(f) for f in engine.findings()],
        [json_of(c) for c in engine.clocks()],
    ]


@given(WALKS, WALKS)
@settings(max_examples=80)
def test_the_engine_is_left_as_it_was(walk, more):
    """After everything has been tried, the engine holds what it held, and goes on as if nothing had been."""
    begin, now = walked(walk)
    _, rules = world()
    engine, other = (Engine(rules, begin.configuration.fork(), start=0) for _ in range(2))
    for one in (engine, other):
        for event in begin.history:
            one.step(event)
        one.finish(begin.start)
    engine.mark()  # from the first mark on an engine keeps how many breaches were noted by then
    before = tables(engine), answers(engine)
    for thing in now.plant.owners():
        for event in candidates(now, thing, begin.start, []):
            try_action(engine, event)
    assert (tables(engine), answers(engine)) == before
    then, _ = walked([*walk, *more])
    for one in (engine, other):
        for event in then.history[len(begin.history) :]:
            one.step(event)
        one.finish(then.start + 100 * MINUTE)
    assert answers(engine) == answers(other)


def test_under_a_variance():
    """What an option breaks under a variance is shown apart, and then it is allowed."""
    begin, rules = world()
    start = Start(begin)
    plain = {o.event.action: o for o in options(rules, start, "PUMP-1:J1")[0]}
    codes = {f.rule: frozenset(f.fingerprints) for o in plain.values() for f in o.findings}
    live = Variance("V", "chief", "no other way", 0, codes["dead-before-touch"])
    quiet = Variance("W", "chief", "no meter", 0, codes["absence-verified"])
    excused = {o.event.action: o for o in options(rules, start, "PUMP-1:J1", variances=(live, quiet))[0]}
    (action,) = plain
    assert {f.rule for f in plain[action].findings} == {"dead-before-touch", "absence-verified"}
    assert not excused[action].findings
    assert {(f.rule, f.variance) for f in excused[action].excused} == {
        ("dead-before-touch", "V"),
        ("absence-verified", "W"),
    }


def test_too_many_to_list():
    """Of very many partners and places the nearest are listed, and it is said that there are more."""
    begin, _ = world()
    kinds = begin.plant.kinds
    part = Part("p", ports={"A": Port("A", "tether")})
    places = {
        p.id: p for p in (Place("SITE"), Place("BAY", "SITE"), *(Place(f"P{i}", "SITE") for i in range(30)))
    }
    units = {f"U{i}": Unit(f"U{i}", "p") for i in range(30)}
    now = Configuration(Plant(begin.plant.media, kinds, {"p": part}, units, places))
    for i in range(30):
        now.apply(Event(f"E{i}", PLACE, (f"U{i}",), 0, place="BAY" if i in (0, 29) else f"P{i}"))
    cut: list[str] = []
    events = list(candidates(now, "U0", 0, cut))
    mates = [e.subjects[1] for e in events if e.action == "engage"]
    assert len(mates) == MOST_MATES
    assert mates[0] == "U29:A"
    assert len([e for e in events if e.action == PLACE]) == MOST_PLACES
    assert cut == ["U0:A", "U0"]


@pytest.mark.parametrize("thing", ["NOBODY", "PUMP-1:NOTHING"])
def test_unknown(thing):
    """What is no unit, place, port or node has no options."""
    with pytest.raises(KeyError):
        list(candidates(world()[0], thing, 0, []))


FITTINGS = {
    "OURS": 'kind = "fluid-disconnect", size = "1/2 in", keying = "supply", gender = "plug"',
    "BARE": 'kind = "fluid-disconnect"',
    "FITS": 'kind = "fluid-disconnect", size = "1/2 in", keying = "supply", gender = "socket"',
    "ANY-SIZE": 'kind = "fluid-disconnect", keying = "supply", gender = "socket"',
    "ANY-KEY": 'kind = "fluid-disconnect", size = "1/2 in", gender = "socket"',
    "WIDE": 'kind = "fluid-disconnect", size = "3/4 in", keying = "supply", gender = "socket"',
    "RETURN": 'kind = "fluid-disconnect", size = "1/2 in", keying = "return", gender = "socket"',
    "PLUG": 'kind = "fluid-disconnect", size = "1/2 in", keying = "supply", gender = "plug"',
    "VALVED": 'kind = "valved-disconnect", size = "1/2 in", keying = "supply", gender = "socket"',
    "POWER": 'kind = "electrical-connector", size = "1/2 in", keying = "supply", gender = "socket"',
}
RIG = """
[[part]]
id = "rig"
port = [%s]
[[part]]
id = "one"
flexible = true
port = [%s]
[[unit]]
id = "A"
part = "one"
[[unit]]
id = "B"
part = "rig"
"""


@pytest.mark.parametrize(
    ("port", "mates"),
    [
        ("OURS", {"BARE", "FITS", "ANY-SIZE", "ANY-KEY"}),
        ("BARE", {"BARE", "OURS", "FITS", "ANY-SIZE", "ANY-KEY", "WIDE", "RETURN", "PLUG"}),
        ("WIDE", {"BARE"}),
        ("RETURN", {"BARE"}),
        ("ANY-SIZE", {"OURS", "BARE", "PLUG"}),
    ],
)
def test_only_what_fits_is_offered(port, mates):
    """A half is offered the halves of its kind whose size, keying and gender don't contradict its own, and no other."""
    rows = {name: f'{{ name = "{name}", {fields} }}' for name, fields in FITTINGS.items()}
    now = Configuration(parse_definition({"rig.toml": RIG % (", ".join(rows.values()), rows[port])}).plant())
    cut: list[str] = []
    offered = [e for e in candidates(now, f"A:{port}", 0, cut) if e.action == "mate"]
    assert cut == []
    assert {e.subjects[1] for e in offered} == {f"B:{mate}" for mate in mates}


def offered(now, thing, by=None):
    """Return what is offered, each with those who are there to do it."""
    begin = Start(configuration=now, began=0, start=MINUTE)
    found, _ = options(RuleSet(()), begin, thing, by=by)
    return {phrase(one.event): one.by for one in found}


def test_what_is_offered_is_offered_to_who_is_there():
    """In a plant with sites: what somebody there could do, and by whom; asked for one, what he could do."""
    now = works()
    assert offered(now, "X:V") == {"open X:V": ("ANN", "DAN", "CRANE")}
    assert offered(now, "X:V", by="DAN") == {"open X:V": ("DAN",)}
    assert offered(now, "Y:F") == {}
    assert offered(now, "Y:V") == {"open Y:V": ("DAN",)}
    assert offered(now, "Y:V", by="ANN") == {}
    # A bag could do it too, were it asked for; unasked, whoever has hands is offered.
    assert offered(now, "X:V", by="BAG") == {"open X:V": ("BAG",)}


def test_whoever_moves_is_offered_to_go_himself():
    """Somebody may go anywhere by himself; a unit may be put down only at its site, or in hands that are there."""
    now = works()
    assert {by for what, by in offered(now, "ANN").items() if what == "place ANN at ROOF"} == {("ANN",)}
    assert set(offered(now, "X", by="ANN")) >= {"place X at SEAT", "lift X by ANN", "lift X by CRANE"}
    assert not {what for what in offered(now, "X") if what.endswith(("STORE", "ROOF", "SHELF", "CONTROL"))}
