"""Ratings of what is joined, against a slow and obvious computation over networkx, on random plants and histories.

The reference builds the whole network anew after each action from what the definition and the statuses say: a volume's
pressure gets to all of its descendants, so it is bounded by the least rating among them and the valves on their links.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby
from random import Random

import networkx as nx
import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.quantity import Quantity
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths
from cfgtrack.network.rating import Rated, current_of
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import IT, Selection
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.world import World
from tests.happening import happened
from tests.rules.worlds import START, draw_world

PRESSURES = (None, None, 4e5, 1e6, 1e6, 2.5e6)
CURRENTS = (None, 1.0, 5.0, 16.0)
SEEDS = (*range(150), 348)
"""Of 348 the valves alone are rated: no item of the network is."""


def rated(random: Random, plant: Plant) -> Plant:
    """Return a plant with ratings drawn for its ports and volumes; ports first, so that a name says which."""
    parts = {}
    for part in plant.parts.values():
        ports = {
            name: replace(
                port, rated_pressure=random.choice(PRESSURES), rated_current=random.choice(CURRENTS)
            )
            for name, port in part.ports.items()
        }
        nodes = {
            name: replace(node, rated_pressure=random.choice(PRESSURES)) for name, node in part.nodes.items()
        }
        parts[part.id] = replace(part, ports=ports, nodes=nodes)
    return Plant(plant.media, plant.kinds, parts, plant.units, plant.places)


def carries(now: Configuration, port: str) -> bool:
    """Return whether a half or valve lets its medium through."""
    found = now.plant.port(port)
    assert found is not None
    kind = found[1]
    return kind.carries is not None and kind.rank(now.state(port).value) >= kind.rank(kind.carries)


def items_of(plant: Plant, medium: str) -> Iterator[str]:
    """Yield the nodes of a medium, and the ports of it that have a mate."""
    for owner in plant.owners():
        part = plant.part_of(owner)
        yield from (f"{owner}:{name}" for name, node in part.nodes.items() if node.medium == medium)
        kinds = ((name, plant.kinds[port.kind]) for name, port in part.ports.items())
        yield from (f"{owner}:{name}" for name, kind in kinds if kind.medium == medium and kind.joined)


def valves_of(plant: Plant) -> Iterator[str]:
    """Yield the ports of the fluid that have no mate."""
    for owner in plant.owners():
        kinds = ((name, plant.kinds[port.kind]) for name, port in plant.part_of(owner).ports.items())
        yield from (f"{owner}:{name}" for name, kind in kinds if kind.medium == "fluid" and not kind.joined)


def graph_of(now: Configuration, medium: str) -> nx.DiGraph:
    """Return the made links of a medium as the meanings have them, with the valves that bound each item as `bounds`."""
    plant, graph = now.plant, nx.DiGraph()
    for item in items_of(plant, medium):
        graph.add_node(item, bounds=[item])
    for owner in plant.owners():
        for link in plant.part_of(owner).links:
            a, b, gate = f"{owner}:{link.a}", f"{owner}:{link.b}", f"{owner}:{link.gate}"
            if not {a, b} <= graph.nodes.keys():
                continue
            for end in (a, b) if link.gate else ():
                graph.nodes[end]["bounds"].append(gate)
            if not link.gate or carries(now, gate):
                graph.add_edges_from([(a, b)] if link.one_way else [(a, b), (b, a)])
    for item in list(graph):
        mate = now.state(item).other if plant.port(item) else None
        if mate is not None and mate in graph and carries(now, item) and carries(now, mate):
            graph.add_edge(item, mate)
    return graph


def rating_of(plant: Plant, address: str, name: str) -> float | None:
    """Return a rating as the definition has it."""
    owner, _, inside = address.partition(":")
    part = plant.part_of(owner)
    found = part.ports.get(inside) or part.nodes[inside]
    return getattr(found, name, None)


def lowest(now: Configuration, graph: nx.DiGraph, item: str) -> Rated | None:
    """Return the least rated pressure of what an item is joined to; of a valve its own."""
    joined = {item, *nx.descendants(graph, item)} if item in graph else set()
    bounds = {item, *(bound for one in joined for bound in graph.nodes[one]["bounds"])}
    mate = now.state(item).other if now.plant.port(item) else None
    if mate is not None:
        bounds.add(mate)
    found = ((rating_of(now.plant, bound, "rated_pressure"), bound) for bound in bounds)
    return min((Rated(value, bound) for value, bound in found if value is not None), default=None)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_lowest_rating_of_all_that_is_joined_counts(seed):
    """After every action of a history each item has the rating that the slow computation finds: as asked for the state
    of a moment, and as kept up to date for the rules, whatever was contracted.
    """
    drawn = draw_world(seed)
    plant, events = rated(Random(seed), drawn.plant), drawn.events
    now = Configuration(plant)
    touched = None if seed % 2 else {s for event in events for s in event.written}
    world = World(now, media=("fluid",), touched=touched, now=0, trail=Trail())
    network = compile_network(plant, "fluid")
    for event in (None, *events):
        if event is not None:
            world.apply(event)
        graph, paths = graph_of(now, "fluid"), Paths(network, now)
        for item in (*graph, *valves_of(plant)):
            expected = lowest(now, graph, item)
            assert paths.rated_pressure(item) == expected
            assert world.flows["fluid"].rated_pressure(item) == expected


def test_it_is_often_that_of_something_else():
    """The plants that are drawn are such that the lowest rating is often somebody else's, beyond a joint."""
    beyond = 0
    for seed in range(150):
        drawn = draw_world(seed)
        now = Configuration(rated(Random(seed), drawn.plant))
        for event in drawn.events:
            now.apply(event)
        graph = graph_of(now, "fluid")
        found = ((item, lowest(now, graph, item)) for item in graph)
        beyond += sum(told is not None and owner_of(told.of) != owner_of(item) for item, told in found)
    assert beyond > 40


@pytest.mark.parametrize("seed", range(150))
def test_a_joint_has_the_lower_current_of_its_halves(seed):
    """A port that is mated is rated for the lower of two currents, else for its own."""
    drawn = draw_world(seed)
    plant = rated(Random(seed), drawn.plant)
    now = Configuration(plant)
    for event in drawn.events:
        now.apply(event)
    for owner in plant.owners():
        for port in plant.ports_of(owner):
            halves = [port, now.state(port).other]
            known = [(rating_of(plant, half, "rated_current"), half) for half in halves if half]
            told = min(((value, half) for value, half in known if value is not None), default=None)
            assert current_of(now, port) == told


FLUID = Selection(media=("fluid",))
CONDITIONS = {
    "all": (None, Value(FLUID, "pressure", limit="rated_pressure", unmeasured=True)),
    "each": (FLUID, Value(IT, "pressure", limit="rated_pressure", unmeasured=True)),
    "known": (None, Value(FLUID, "pressure", limit="rated_pressure")),
    "tubes": (
        Selection(kinds=("tube",)),
        Value(Selection(of="peer of it"), "pressure", limit="rated_pressure", unmeasured=True),
    ),
}


def with_pressures(random: Random, plant: Plant, events: tuple[Event, ...]) -> list[Event]:
    """Return a history in which pressures are measured now and then."""
    now, out = Configuration(plant), list[Event]()
    items = [*items_of(plant, "fluid"), *valves_of(plant)]
    for event in events:
        if items and random.random() < 0.6:
            value = Quantity(random.choice((3e5, 1e6, 2e6)), "Pa", 0.0, "pressure")
            about = (random.choice(items),)
            told = Action(f"p{len(out)}", "measure", about, event.happened, values={"pressure": value})
            out.append(happened(now, told))
        out.append(event)
        now.apply(event)
    return out


def too_much(now: Configuration, name: str) -> set[tuple[str | None, str]]:
    """Return for which instances a condition is false now, by the slow computation: the item of the scope, and which
    item falls short for it.
    """
    graph, found = graph_of(now, "fluid"), set()
    for item in (*graph, *valves_of(now.plant)):
        limit, told = lowest(now, graph, item), now.values.get((item, "pressure"))
        if limit is not None and (name == "known" if told is None else float(told.value) > limit.value):
            found.add(item)
    if name == "tubes":
        # The rule is about the mate of each: another mate that falls short is another instance.
        mates = ((now.state(item).other, item) for item in found if now.plant.port(item))
        return {(mate, item) for mate, item in mates if mate is not None}
    return {(item if name == "each" else None, item) for item in found}


@pytest.mark.parametrize("seed", SEEDS)
def test_rules_find_what_the_slow_computation_finds(seed):
    """What turns false at the end of an instant is broken then, and nothing else; whatever is contracted."""
    drawn = draw_world(seed)
    random = Random(seed)
    plant = rated(random, drawn.plant)
    events = with_pressures(random, plant, drawn.events)
    rules = tuple(
        Rule(name, "", "", 1, "none", Always(0), condition, scope)
        for name, (scope, condition) in CONDITIONS.items()
    )
    now, start = Configuration(plant), START - 1
    touched = (
        None if seed % 2 else {s for e in events for s in e.written if plant.port(s) or plant.can_move(s)}
    )
    engine = Engine(RuleSet(rules), now.fork(), start=start, touched=touched)
    expected: set[tuple[str, tuple[str | None, str], int]] = set()
    false = {name: too_much(now, name) for name in CONDITIONS}
    expected |= {(name, instance, start) for name, instances in false.items() for instance in instances}
    for time, instant in groupby(events, key=lambda event: event.happened):
        for event in instant:
            now.apply(event)
            engine.step(event)
        for name in CONDITIONS:
            after = too_much(now, name)
            expected |= {(name, instance, time) for instance in after - false[name]}
            false[name] = after
    engine.finish(events[-1].happened + 9 if events else START)
    found = {
        (breach.rule.id, (breach.it, item), breach.time)
        for breach, _ in engine.breaches()
        for item in breach.items
    }
    assert found == expected
