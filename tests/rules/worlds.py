"""Small plants, histories and rules, drawn at random: every kind of link, mode and condition, in awkward company.

A case is drawn from one seed with the standard library's generator, whose draws are even; what fails is made small
by `shrunk`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Any

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.defect import all_defects, barrable, rectified
from cfgtrack.model.event import Event
from cfgtrack.model.hold import mate_of
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.lock import devices_on
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.possibility import resolve
from cfgtrack.model.quantity import Quantity
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.mode import Mode
from cfgtrack.rules.rule import Rule
from cfgtrack.rules.selection import REFERENCES, Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.locked import Locked
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.tagged import Tagged
from cfgtrack.rules.what.untagged import Untagged
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import ENDS, By
from cfgtrack.rules.when.within import Within
from tests.happening import happened

SECOND = 1_000_000
START = 1_000 * SECOND


def kind(name: str, medium: str, statuses: str, moves: str, **more: Any) -> Kind:
    """Return a kind from short texts: ``action:from,from:to`` a move, with ``!`` for each and ``*`` for a cycle."""
    made = {}
    for text in moves.split():
        action, sources, target = text.strip("!*").split(":")
        made[action] = Move(action, tuple(sources.split(",")), target, each="!" in text, cycle="*" in text)
    return Kind(name, medium, tuple(statuses.split()), made, **more)


KINDS = {
    k.id: k
    for k in (
        kind(
            "tube",
            "fluid",
            "capped demated mated open",
            "cap:demated:capped! uncap:capped:demated! mate:demated:mated* demate:mated:demated "
            "open:mated:open! shut:open:mated!",
            initial="demated",
            joined="mated",
            carries="open",
        ),
        kind("valve", "fluid", "shut open", "open:shut:open shut:open:shut", carries="open"),
        kind(
            "plug",
            "power",
            "apart mated",
            "mate:apart:mated* demate:mated:apart",
            joined="mated",
            carries="mated",
        ),
        kind("switch", "power", "off on", "switch-on:off:on switch-off:on:off", carries="on"),
        kind(
            "bolt",
            "hold",
            "released engaged torqued",
            "engage:released:engaged* torque:engaged,torqued:torqued release:engaged,torqued:released",
            joined="engaged",
            carries="engaged",
        ),
        kind(
            "grip",
            "hold",
            "free held",
            "grip:free:held let-go:held:free",
            joined="held",
            carries="held",
            flexible=True,
        ),
    )
}
MEDIA = {"fluid": Medium("fluid"), "power": Medium("power", upstream=True), "hold": Medium("hold")}
PORTS = (("F1", "tube"), ("F2", "tube"), ("V1", "valve"), ("P1", "plug"), ("P2", "plug"), ("S1", "switch"),
         ("B1", "bolt"), ("G1", "grip"))  # fmt: skip
PLACES = (
    Place("SITE"),
    Place("BASE", "SITE", holds=True, part="base"),
    Place("RACK", "SITE", holds=True, tags=frozenset({"stowage"}), lock_box=True),
    Place("SHELF", "RACK", holds=True),
    Place("HAND", "SITE", mobile=True, part="hand"),
    Place("BAG", "SITE", mobile=True, holds=True, tags=frozenset({"stowage"})),
    Place("POCKET", "BAG", holds=True),
)


@dataclass(frozen=True, slots=True)
class World:
    """One case: resolved events of a plant, another way on from event number `fork`, rules, and when to look."""

    plant: Plant
    events: tuple[Event, ...]
    fork: int
    other: tuple[Event, ...]
    rules: tuple[Rule, ...]
    end: int


def draw_world(seed: int) -> World:
    """Draw the case of a seed."""
    r = Random(seed)
    plant = _plant(r)
    now = Configuration(plant)
    events = _set_up(r, now)
    events += draw_history(r, now, START, r.randint(0, 24))
    fork = r.randint(0, len(events))
    then = Configuration(plant)
    for event in events[:fork]:
        then.apply(event)
    other = draw_history(r, then, events[fork - 1].happened if fork else START, r.randint(0, 8), "other-")
    rules = tuple(_rule(r, f"R{i}") for i in range(r.randint(4, 8)))
    last = max([START, *(e.happened for e in (*events, *other))])
    return World(plant, tuple(events), fork, tuple(other), rules, last + r.choice(GAPS))


def shrunk(world: World, fails: Callable[[World], bool]) -> World:
    """Return a smaller case that still fails: fewer rules, events and conditions."""
    smaller = True
    while smaller:
        smaller = False
        for one in _smaller(world):
            if fails(one):
                world, smaller = one, True
                break
    return world


def _smaller(world: World) -> Iterator[World]:
    for i in range(len(world.rules)):
        if len(world.rules) > 1:
            yield replace(world, rules=world.rules[:i] + world.rules[i + 1 :])
    for i in range(len(world.events)):
        left = world.events[:i] + world.events[i + 1 :]
        if _is_possible(world.plant, left):
            yield replace(world, events=left, fork=min(world.fork, i) if i < world.fork else world.fork)
    for i in range(len(world.other)):
        left = world.other[:i] + world.other[i + 1 :]
        if _is_possible(world.plant, (*world.events[: world.fork], *left)):
            yield replace(world, other=left)
    for i, rule in enumerate(world.rules):
        for part in _parts_of(rule.condition):
            yield replace(
                world, rules=(*world.rules[:i], replace(rule, condition=part), *world.rules[i + 1 :])
            )


def _parts_of(condition: Condition) -> tuple[Condition, ...]:
    if isinstance(condition, All | AnyOf):
        return condition.parts
    return (condition.part,) if isinstance(condition, Not) else ()


def _is_possible(plant: Plant, events: Sequence[Event]) -> bool:
    now = Configuration(plant)
    for event in events:
        if resolve(now, event) != event:
            return False
        now.apply(event)
    return True


# --- plants -------------------------------------------------------------------------------------------------------

GAPS = (0, 0, 0, SECOND - 1, SECOND, SECOND, SECOND + 1, 2 * SECOND)
LIMITS = (0, SECOND - 1, SECOND, 2 * SECOND, 3 * SECOND)
FLUID, POWER, HOLD = ("F1", "F2", "vol", "tank"), ("P1", "P2", "bus", "lamp"), ("B1", "G1")
NODES = (
    Node("vol", "fluid", litres=2.0),
    Node("tank", "fluid", roles=frozenset({"expansion"}), loop="A"),
    Node("bus", "power", roles=frozenset({"source"})),
    Node("lamp", "power", roles=frozenset({"load"}), tags=frozenset({"lamp"})),
)
FITTINGS = {
    "hand": Part("hand", ports={"GRIP": Port("GRIP", "grip")}),
    "base": Part(
        "base",
        ports={"B0": Port("B0", "bolt"), "P0": Port("P0", "plug"), "F0": Port("F0", "tube")},
        nodes={"bus": Node("bus", "power", roles=frozenset({"source"})), "tank": NODES[1]},
        links=(InternalLink("bus", "P0"), InternalLink("F0", "tank")),
    ),
}


def _plant(r: Random) -> Plant:
    """Draw a plant of two parts, a few units of them, and the places of `PLACES`."""
    parts = {p: _part(r, p) for p in ("pump", "panel")}
    homes = ("", "RACK", "BASE")
    units = [Unit(f"U{i}", r.choice(("pump", "panel")), home=r.choice(homes)) for i in range(r.randint(1, 4))]
    return Plant(MEDIA, KINDS, {**FITTINGS, **parts}, {u.id: u for u in units}, {p.id: p for p in PLACES})


def _part(r: Random, name: str) -> Part:
    ports = [p for p in PORTS if r.random() < 0.75]
    nodes = [n for n in NODES if r.random() < 0.5]
    names = {*(p for p, _ in ports), *(n.name for n in nodes)}
    pairs = [
        (a, b) for group in (FLUID, POWER, HOLD) for a in group for b in group if a != b and {a, b} <= names
    ]
    gates = ["", "", *(p for p, _ in ports if p in ("V1", "S1", "F1"))]
    links = [
        InternalLink(*r.choice(pairs), r.choice(gates), r.random() < 0.3)
        for _ in range(r.randint(0, 6))
        if pairs
    ]
    return Part(
        name,
        ports={n: Port(n, k, cycles=1, torque=(1.0, 2.0) if k == "bolt" else None) for n, k in ports},
        nodes={n.name: n for n in nodes},
        links=tuple(links),
        trapped=r.choice((None, 1.0)),
        tags=frozenset({"spare"}) if name == "panel" else frozenset(),
    )


# --- histories ----------------------------------------------------------------------------------------------------

Draft = tuple[str, tuple[str, ...], dict[str, Any]]
"""An action, its subjects, and further fields of the event."""


def _set_up(r: Random, now: Configuration) -> list[Event]:
    """Put most units where they can be joined to each other."""
    events = []
    for unit in now.plant.units:
        if r.random() < 0.8:
            place = r.choice(("BASE", "BASE", "BASE", "RACK"))
            events.append(happened(now, Action(f"set-up-{unit}", "place", (unit,), START, place=place)))
            now.apply(events[-1])
    return events


def draw_history(r: Random, now: Configuration, time: int, length: int, name: str = "") -> list[Event]:
    """Draw possible events one by one; `now` goes along."""
    events: list[Event] = []
    for number in range(length):
        time += r.choice(GAPS)
        drafts = (_draft(r, now) for _ in range(4))
        tried = (resolve(now, Action(f"{name}E{number}", a, s, time, **more)) for a, s, more in drafts)
        resolved = next((t for t in tried if isinstance(t, Event)), None)
        if resolved is not None:
            now.apply(resolved)
            events.append(resolved)
    return events


def _draft(r: Random, now: Configuration) -> Draft:
    """Draw something that is likely to be possible now."""
    plant = now.plant
    ports = [p for o in (*plant.units, "BASE", "HAND") for p in plant.ports_of(o)]
    joins, others = _moves(now, ports)
    movable = [*plant.units, "HAND", "BAG"]
    port, unit, place = r.choice(ports), r.choice(movable), r.choice(PLACES).id
    found = plant.port(port)
    assert found is not None
    torque = Quantity(r.choice((1.5, 3.0)), "N*m", 1.5, "torque")
    choices: list[Draft] = [
        ("place", (r.choice([*plant.units]),), {"place": "BASE"}),
        ("place", (unit,), {"place": place}),
        ("as-found", (unit,), {"place": place}),
        ("as-found", (port,), {"status": r.choice(found[1].statuses)}),
        ("measure", (port,), {"values": {"torque": torque}}),
        ("inspect", (r.choice((port, unit)),), {}),
        (r.choice(("begin", "end")), (), {"outing": "1"}),
        *([r.choice(joins)] * 6 if joins else []),
        *([r.choice(others)] * 6 if others else []),
        *([_device(r, now, ports)] * 3),
    ]
    return _defect(r, now, ports) if r.random() < _FAILS else r.choice(choices)


def _device(r: Random, now: Configuration, ports: Sequence[str]) -> Draft:
    """Draw something that is done with a lock or a tag, mostly on what takes locks, or with one that hangs there."""
    gates = [p for p in ports if p.endswith((":V1", ":S1"))] or list(ports)
    hung = [(thing, one) for thing in now.with_devices() for one in devices_on(now, thing)]
    if hung and r.random() < 0.5:
        thing, one = r.choice(hung)
        if r.random() < 0.3:
            return "transfer", (thing, one.holder, r.choice(("HAND", "BAG"))), {}
        return ("untag" if one.is_tag else "unlock"), (thing, one.holder), {}
    thing = r.choice((*gates, "RACK"))
    return r.choice(("lock", "lock", "tag")), (thing, r.choice(("HAND", "BAG", "RACK"))), {}


_FAILS = 0.04
"""So often something can't be done any more, or can again."""


def _defect(r: Random, now: Configuration, ports: Sequence[str]) -> Draft:
    """Draw something that can't be done any more, or mostly, where there is one, what rectifies it."""
    stands = all_defects(now)
    if stands and r.random() < 0.7:
        one = rectified(r.choice(stands))
        return "rectify", one.subjects, {"bars": one.bars, "status": one.status}
    thing = r.choice(ports)
    can = [*barrable(now.plant, thing)]
    return "defect", (thing,), {"bars": r.choice(can), "status": r.choice(("seized", "worn"))}


def _moves(now: Configuration, ports: Sequence[str]) -> tuple[list[Draft], list[Draft]]:
    """Return (what would join two halves, by deed or as found; what else the ladders allow)."""
    joins: list[Draft] = []
    others: list[Draft] = []
    for port in ports:
        found = now.plant.port(port)
        assert found is not None
        for action, move in found[1].moves.items():
            if now.state(port).value not in move.sources:
                continue
            if not found[1].joins(move):
                others.append((action, (port,), {}))
                continue
            mates = [p for p in ports if p != port and (f := now.plant.port(p)) and f[1] is found[1]]
            joins += [(action, (port, m), {}) for m in mates if mate_of(now, m) is None] * 3
            joins += [("as-found", (port, m), {"status": found[1].joined}) for m in mates]
    return joins, others


# --- rules --------------------------------------------------------------------------------------------------------

ACTIONS = ("mate", "demate", "open", "shut", "cap", "switch-on", "switch-off", "engage", "release", "torque",
           "place", "measure", "inspect", "as-found", "begin", "end", "lock", "unlock", "tag")  # fmt: skip
FREE = (
    Selection(),
    Selection(ids=("U0",)),
    Selection(ids=("U0",)),
    Selection(ids=("U0:F1",)),
    Selection(ids=("U1:P1",)),
    Selection(ids=("U0:B1", "U0:V1")),
    Selection(kinds=("tube",)),
    Selection(kinds=("plug",), parts=("pump",)),
    Selection(kinds=("valve", "switch")),
    Selection(ids=("U*:F1", "U*:P?")),
    Selection(ids=("U1:*", "RACK")),
    Selection(parts=("pump",)),
    Selection(parts=("pa*", "hand"), what=("port", "place")),
    Selection(kinds=("tube", "plug")),
    Selection(kinds=("bolt",), parts=("pump",)),
    Selection(media=("power",)),
    Selection(source=True),
    Selection(load=True),
    Selection(load=False, media=("power",)),
    Selection(liquid=True),
    Selection(expansion=True),
    Selection(loops=("A",)),
    Selection(tags=("spare",)),
    Selection(tags=("spare", "lamp"), what=("port", "node")),
    Selection(what=("unit",)),
    Selection(what=("place",)),
    Selection(mobile=True),
    Selection(places=("RACK",)),
    Selection(what=("unit",), at=("RACK",)),
    Selection(what=("port",), at=("#stowage", "HAND")),
    Selection(what=("node",), at=("BASE",)),
)
ATS = (("RACK",), ("home",), ("#stowage",), ("BASE", "S*"), ("HAND",))
BOUNDS = ((1, None), (2, None), (None, 0), (None, 1), (1, 2), (0, 3))
RANGES = ((None, 1.0), (1.0, None), (1.0, 2.0), (None, 0.0), (2.0, None))
ENDPOINTS = {
    "fluid": Selection(expansion=True),
    "power": Selection(source=True),
    "hold": Selection(what=("place",), mobile=False),
}


def _selection(r: Random) -> Selection:
    if r.random() < 0.4:
        return r.choice(FREE)
    if r.random() < 0.7:
        return Selection(of="it")
    media = r.choice(((), (), ("fluid",), ("power",)))
    return Selection(of=r.choice(REFERENCES), media=media, at=r.choice(((), (), ("#stowage",))))


def _actions(r: Random) -> tuple[str, ...]:
    return tuple(r.sample(ACTIONS, r.randint(1, 8)))


def _what(r: Random) -> tuple[tuple[str, ...], tuple[str, ...]]:
    among = tuple(dict.fromkeys(s for k in KINDS.values() for s in k.statuses if r.random() < 0.5))
    return r.choice(((among, ()), (among, ()), ((), r.choice(ATS)), (among, r.choice(ATS))))


def _ends(r: Random) -> tuple[str, Selection, Selection]:
    medium = r.choice(tuple(MEDIA))
    end = ENDPOINTS[medium] if r.random() < 0.6 else _selection(r)
    return medium, _selection(r), end


def _atom(r: Random) -> Condition:
    sort = r.choice((Path, NoPath, Status, Count, Value, Done, Locked))
    if sort is Locked:
        return _hanging(r)
    if sort in (Path, NoPath):
        return sort(*_ends(r))
    if sort is Status:
        return Status(_selection(r), *_what(r))
    if sort is Count:
        least, most = r.choice(BOUNDS)
        medium, start, end = _ends(r)
        if r.random() < 0.5:
            return Count(start, least=least, most=most, medium=medium, end=end)
        return Count(start, *_what(r), least, most)
    if sort is Value:
        quantity = r.choice(("torque", "torque", "cycles", "elapsed", "elapsed"))
        elapsed = quantity == "elapsed"
        rated = not elapsed and r.random() < 0.5
        since = _actions(r) if elapsed or (quantity == "torque" and r.random() < 0.4) else ()
        max_age = r.choice((None, *LIMITS)) if quantity == "torque" else None
        low, high = r.choice(RANGES)
        unmeasured = r.random() < 0.5
        return Value(_selection(r), quantity, low, high, rated, unmeasured, since, max_age=max_age)
    since, quantity = r.choice(((), _actions(r))), r.choice(("", "", "torque"))
    return Done(_selection(r), _actions(r), since, quantity, r.choice((None, None, *LIMITS)))


def _hanging(r: Random) -> Condition:
    if r.random() < 0.25:
        return Untagged(_selection(r))
    return r.choice((Locked, Locked, Tagged))(_selection(r), r.choice(("", "", "HAND", "RACK")))


def _condition(r: Random, depth: int = 0) -> Condition:
    sort = r.choice((None, None, All, AnyOf, Not)) if depth < 2 else None
    if sort is None:
        return _atom(r)
    if sort is Not:
        return Not(_condition(r, depth + 1))
    parts = tuple(_condition(r, depth + 1) for _ in range(r.choice((0, 1, 2, 2, 3))))
    return All(parts) if sort is All else AnyOf(parts)


def _match(r: Random) -> ActionMatch:
    of = Selection() if r.random() < 0.5 else r.choice(FREE)
    return ActionMatch(_actions(r), of, r.choice(((), (), (), ("RACK",), ("#stowage",))))


def _mode(r: Random) -> Mode:
    sort = r.choice((Always, Always, At, Within, Within, Within, By))
    if sort is Always:
        return Always(r.choice((0, *LIMITS)))
    if sort is At:
        return At(_match(r), r.random() < 0.5)
    if sort is By:
        return By(r.choice(ENDS))
    limit = "trapped" if r.random() < 0.1 else r.choice(LIMITS)
    trigger = _match(r) if r.random() < 0.5 else _condition(r, 1)
    return Within(limit, trigger, r.random() < 0.5, _match(r) if r.random() < 0.5 else None)


def _rule(r: Random, name: str) -> Rule:
    scope = r.choice((None, r.choice(FREE), r.choice(FREE)))
    return Rule(name, "", "", r.randint(1, 4), "none", _mode(r), _condition(r), scope)
