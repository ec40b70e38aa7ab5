"""Ratings of shells and their contacts, against networkx and a few lines of obvious code on random harnesses.

The reference gathers all halves that a pressure gets to from the joined wires, and looks at both sides of one joint
for a current.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from random import Random

import networkx as nx
import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import Quantity
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths
from cfgtrack.network.rating import Rated, current_of
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import IT, Selection
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.always import Always
from tests.happening import happened
from tests.network.test_contacts import MEDIA, graph_of, harness

CURRENTS = (None, None, 1.0, 5.0, 16.0)
PRESSURES = (None, 4e5, 1e6, 2.5e6)


def rated(r: Random) -> Plant:
    """Return a harness with ratings drawn for its shells, plain connectors and contacts."""
    plant = harness(r)
    parts = {}
    for part in plant.parts.values():
        ports = {}
        for name, port in part.ports.items():
            contacts = {
                n: replace(contact, rated_current=r.choice(CURRENTS)) for n, contact in port.contacts.items()
            }
            ports[name] = replace(
                port,
                contacts=contacts,
                rated_current=r.choice(CURRENTS),
                rated_pressure=r.choice(PRESSURES),
            )
        parts[part.id] = replace(part, ports=ports, flexible=True)
    return Plant(plant.media, plant.kinds, parts, plant.units, plant.places)


def halves(plant: Plant) -> Iterator[str]:
    """Yield every shell, plain connector and contact."""
    for unit in plant.units:
        yield from (*plant.ports_of(unit), *plant.contacts_of(unit))


def split(address: str) -> tuple[str, str, str]:
    """Return unit, port and contact of an address, the last "" of a port."""
    unit, port, *contact = address.split(":")
    return unit, port, "".join(contact)


def facing(now: Configuration, address: str) -> str | None:
    """Return what a half is mated to: of a contact the one of its name, or a connector that has no contacts."""
    unit, port, contact = split(address)
    mate = now.state(f"{unit}:{port}").other
    if mate is None or not contact:
        return mate
    there = now.plant.contacts_of(mate)
    return mate if not there else f"{mate}:{contact}" if f"{mate}:{contact}" in there else None


def current_rating(plant: Plant, address: str) -> Rated | None:
    """Return a half's own rated current: of a contact its shell's without one, of a shell the least inside."""
    unit, name, contact = split(address)
    port = plant.part_of(unit).ports[name]
    if contact and (own := port.contacts[contact].rated_current) is not None:
        return Rated(own, address)
    if port.rated_current is not None:
        return Rated(port.rated_current, f"{unit}:{name}")
    if contact:
        return None
    inside = {f"{address}:{c.name}": c.rated_current for c in port.contacts.values()}
    return min((Rated(value, of) for of, value in inside.items() if value is not None), default=None)


def lowest_current(now: Configuration, address: str) -> Rated | None:
    """Return the lower of the two sides of a joint."""
    sides = [address, facing(now, address)]
    found = [current_rating(now.plant, side) for side in sides if side is not None]
    return min((one for one in found if one is not None), default=None)


def pairs_of(now: Configuration) -> list[tuple[str, str]]:
    """Return what is mated."""
    return [(s, mate) for s, (_, mate, _) in now.touched() if mate is not None and s < mate]


def lowest_pressure(now: Configuration, graphs: dict[str, nx.Graph], address: str) -> Rated | None:
    """Return the least rated pressure of all shells and connectors whose contacts are joined to those of a half."""
    plant = now.plant
    mine = [a for a in halves(plant) if a == address or a.startswith(f"{address}:")]
    joined = {port_of(other) for graph in graphs.values() for one in mine if one in graph
              for other in nx.node_connected_component(graph, one) if port_of(other) in halves(plant)}  # fmt: skip
    joined.add(port_of(address))
    beside = facing(now, address)
    if beside is not None:
        joined.add(port_of(beside))
    known = ((plant.part_of(split(p)[0]).ports[split(p)[1]].rated_pressure, p) for p in joined)
    return min((Rated(value, of) for value, of in known if value is not None), default=None)


def port_of(address: str) -> str:
    """Return the port of a half."""
    return ":".join(address.split(":")[:2])


def history(r: Random, plant: Plant, *, measured: bool) -> list[Event]:
    """Return connectors mated and parted at random, and currents measured at any half."""
    now, events = Configuration(plant), list[Event]()
    ports = [port for unit in plant.units for port in plant.ports_of(unit)]
    ends = list(halves(plant))
    for number in range(14):
        free = [port for port in ports if now.state(port).other is None]
        made = pairs_of(now)
        if measured and r.random() < 0.5:
            current = Quantity(r.choice((0.5, 3.0, 9.0, 20.0)), "A", 0.0, "current")
            action = Action(
                f"e{number}", "measure", (r.choice(ends),), number // 2, values={"current": current}
            )
        elif made and (r.random() < 0.4 or len(free) < 2):
            action = Action(f"e{number}", "demate", r.choice(made), number // 2)
        else:
            action = Action(f"e{number}", "mate", tuple(r.sample(free, 2)), number // 2)
        if action.action == "mate" and len({split(s)[0] for s in action.subjects}) == 1:
            continue
        events.append(happened(now, action))
        now.apply(events[-1])
    return events


@pytest.mark.parametrize("seed", range(60))
def test_ratings_of_shells_and_contacts(seed: int) -> None:
    """Of every half the rated current is the lower of its joint's two, the rated pressure the least of all joined."""
    r = Random(seed)
    plant = rated(r)
    now = Configuration(plant)
    for event in history(r, plant, measured=False):
        now.apply(event)
        graphs = {medium: graph_of(plant, pairs_of(now), medium) for medium in MEDIA}
        paths = {medium: Paths(compile_network(plant, medium), now) for medium in MEDIA}
        for address in halves(plant):
            assert current_of(now, address) == lowest_current(now, address)
            contact = plant.contact(address)
            media = plant.media_of(address) if contact is None else {contact.medium}
            told = [one for medium in media if (one := paths[medium].rated_pressure(address)) is not None]
            assert min(told, default=None) == lowest_pressure(now, graphs, address)


WHAT = ("port", "contact")
CONDITIONS = {
    "all": (None, Value(Selection(what=WHAT), "current", limit="rated_current", unmeasured=True)),
    "contacts": (
        Selection(what=("contact",)),
        Value(IT, "current", limit="rated_current", unmeasured=True),
    ),
    "peers": (
        Selection(what=("contact",)),
        Value(Selection(of="peer of it"), "current", limit="rated_current", unmeasured=True),
    ),
    "of shells": (
        Selection(what=("port",)),
        Value(Selection(of="contacts of it"), "current", limit="rated_current", unmeasured=True),
    ),
}
"""Conditions by name, each with the scope of its rule."""


def over(now: Configuration, name: str) -> set[tuple[str | None, str]]:
    """Return for whom a condition is false now, by hand: whom the rule is about, and where too much was measured."""
    found = set()
    for address in halves(now.plant):
        limit, told = lowest_current(now, address), now.values.get((address, "current"))
        if limit is not None and told is not None and float(told.value) > limit.value:
            found.add(address)
    contacts = {one for one in found if split(one)[2]}
    faced = {c: facing(now, c) for c in halves(now.plant) if split(c)[2]}
    return {
        "all": {(None, one) for one in found},
        "contacts": {(one, one) for one in contacts},
        "peers": {(it, peer) for it, peer in faced.items() if peer in contacts},
        "of shells": {(port_of(one), one) for one in contacts},
    }[name]  # type: ignore[return-value]


@pytest.mark.parametrize("seed", range(120))
def test_a_rule_holds_a_current_against_its_contact(seed: int) -> None:
    """After every event a rule finds the currents that are too much for their joint, as it is mated now."""
    r = Random(seed)
    plant = rated(r)
    events = history(r, plant, measured=True)
    rules = tuple(
        Rule(name, "", "", 1, "none", Always(0), condition, scope)
        for name, (scope, condition) in CONDITIONS.items()
    )
    now = Configuration(plant)
    engine = Engine(RuleSet(rules), now.fork(), start=-1)
    wrong = {name: set[tuple[str | None, str]]() for name in CONDITIONS}
    expected = set()
    for number, event in enumerate(events):
        now.apply(event)
        engine.step(event)
        if number + 1 == len(events) or events[number + 1].happened > event.happened:
            for name in CONDITIONS:
                after = over(now, name)
                expected |= {(name, one, event.happened) for one in after - wrong[name]}
                wrong[name] = after
    engine.finish(99)
    found = {(b.rule.id, (b.it, item), b.time) for b, _ in engine.breaches() for item in b.items}
    assert found == expected
