"""Water networks that nobody here made, shipped with wntr 1.5, loaded as plants and shut off valve by valve.

A joint (junction, tank, reservoir) is a unit with one port a link; a link is a unit with a body, two ports, and a valve
between the body and each port. So wntr's "valve on this link at that node" is a valve of the link's unit.
"""

import random
from collections import defaultdict
from functools import cache

import networkx as nx
import pytest

from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.when.always import Always
from tests.happening import happened

PIPE = Part(
    "pipe",
    ports={
        **{name: Port(name, "fluid-disconnect") for name in ("A", "B")},
        **{name: Port(name, "valve") for name in ("VA", "VB")},
    },
    nodes={"body": Node("body", "fluid")},
    links=(InternalLink("A", "body", "VA"), InternalLink("body", "B", "VB")),
)


@cache
def network(name):
    """Return one of wntr's networks, by its name."""
    import wntr
    from wntr.library import model_library

    return wntr.network.WaterNetworkModel(model_library.get_filepath(name))


class Water:
    """A water network as a plant, with everything joined and every valve open."""

    def __init__(self, name):
        self.model = network(name)
        self.graph = self.model.to_graph().to_undirected()
        self.ends = {link: (x.start_node_name, x.end_node_name) for link, x in self.model.links()}
        shipped_ones = shipped()
        parts, units, mates = {"pipe": PIPE}, {}, []
        joints: dict[str, list[str]] = defaultdict(list)
        for link, ends in self.ends.items():
            units[f"L-{link}"] = Unit(f"L-{link}", "pipe")
            for half, end in zip("AB", ends, strict=True):
                mates.append((f"L-{link}:{half}", f"N-{end}:P{len(joints[end])}"))
                joints[end].append(half)
        tanks = self.model.tank_name_list
        for node in self.model.node_name_list:
            ports = {f"P{i}": Port(f"P{i}", "fluid-disconnect") for i in range(len(joints[node]))}
            water = Node(
                "water",
                "fluid",
                litres=1.0,
                roles=frozenset({"expansion"} if node in tanks else ()),
            )
            links = tuple(InternalLink("water", p) for p in ports)
            parts[f"joint-{node}"] = Part(f"joint-{node}", ports=ports, nodes={"water": water}, links=links)
            units[f"N-{node}"] = Unit(f"N-{node}", f"joint-{node}")
        self.plant = Plant(shipped_ones.media, shipped_ones.kinds, parts, units, {})
        self.now = Configuration(self.plant)
        for pair in mates:
            self.found(pair, "mated")
        for link in self.ends:
            for valve in ("VA", "VB"):
                self.found((f"L-{link}:{valve}",), "open")
        self.network = compile_network(self.plant, "fluid")

    def found(self, subjects, status):
        """Set a state, as found at the start."""
        event = Action("start", "as-found", subjects, 0, status=status, initial=True)
        resolved = happened(self.now, event)
        self.now.apply(resolved)

    def valve(self, link, node):
        """Return the valve of a link at a node."""
        return f"L-{link}:V{'AB'[self.ends[link].index(node)]}"

    def shut(self, valve, time):
        """Return the event that shuts a valve."""
        return Event(f"shut {valve}", "shut", (valve,), time)

    def segments(self):
        """Return the segments now: sets of nodes and link bodies."""
        paths, out = Paths(self.network, self.now), defaultdict(set)
        for node in self.model.node_name_list:
            out[paths.segment(f"N-{node}:water")].add(("node", node))
        for link in self.ends:
            out[paths.segment(f"L-{link}:body")].add(("link", link))
        return {frozenset(s) for s in out.values()}


def their_segments(model, closed):
    """Return wntr's segments for a list of closed valves, (link, node) pairs."""
    import pandas as pd
    from wntr.metrics.topographic import valve_segments

    layer = pd.DataFrame(closed, columns=["link", "node"])
    nodes, links, _ = valve_segments(model.to_graph(), layer.copy())
    out = defaultdict(set)
    for sort, series in (("node", nodes), ("link", links)):
        for name, number in series.items():
            out[number].add((sort, str(name)))
    return {frozenset(s) for s in out.values()}


def valve_layer(model, without):
    """Return wntr's strategic valve layer, seed 7: at each node, valves on all links but `without`."""
    import wntr

    layer = wntr.network.generate_valve_layer(model, "strategic", without, seed=7).drop_duplicates()
    return [(str(link), str(node)) for link, node in layer[["link", "node"]].itertuples(index=False)]


@pytest.mark.parametrize(
    ("name", "without", "valves", "segments"), [("Net1", 1, 15, 13), ("Net3", 2, 60, 39)]
)
def test_segments_valve_by_valve(name, without, valves, segments):
    """Shut one by one in a random order, wntr's own valve layer cuts off the segments that wntr 1.5 finds."""
    water = Water(name)
    layer = valve_layer(water.model, without)
    assert len(layer) == valves
    random.Random(3).shuffle(layer)
    for number, valve in enumerate(layer, 1):
        water.now.apply(water.shut(water.valve(*valve), number))
        assert water.segments() == their_segments(water.model, layer[:number])
    assert len(water.segments()) == segments


def test_segments_of_a_big_one():
    """All 646 valves of ky4's layer shut leave the 457 segments of wntr 1.5."""
    water = Water("ky4")
    layer = valve_layer(water.model, 2)
    for number, valve in enumerate(layer, 1):
        water.now.apply(water.shut(water.valve(*valve), number))
    assert (len(layer), len(water.segments())) == (646, 457)
    assert water.segments() == their_segments(water.model, layer)


TANK_RULE = Rule(
    "tank",
    "",
    "",
    1,
    "",
    Always(),
    Path("fluid", Selection(of="it"), Selection(expansion=True)),
    Selection(liquid=True),
)


def lost_tanks(water, links):
    """Return by the rules engine which nodes lose every tank when links are shut one after another."""
    touched = [v for link in links for v in (f"L-{link}:VA",)]
    engine = Engine(RuleSet((TANK_RULE,)), water.now.fork(), start=0, touched=touched)
    for number, valve in enumerate(touched, 1):
        engine.step(water.shut(valve, number))
    engine.finish(len(touched) + 1)
    found = [s for f in engine.findings() for s in f.subjects if f.until is None]
    assert len(found) == len(set(found))
    return {s.removeprefix("N-").removesuffix(":water") for s in found}


def their_lost_tanks(water, links):
    """Return the same by networkx 3.6 on the graph that wntr 1.5 makes of the network."""
    shut = [edge for edge in water.graph.edges(keys=True) if edge[2] in set(links)]
    graph = nx.restricted_view(water.graph, [], shut)
    kept = set().union(*(nx.node_connected_component(graph, t) for t in water.model.tank_name_list))
    return set(graph) - kept


def test_reach_of_tanks():
    """Net3 with link 247 shut: four junctions lose every tank; with 20, 40 and 50 shut: 94 nodes do (wntr 1.5, run)."""
    water = Water("Net3")
    assert lost_tanks(water, ["247"]) == their_lost_tanks(water, ["247"]) == {"215", "217", "219", "225"}
    assert lost_tanks(water, ["20", "40", "50"]) == their_lost_tanks(water, ["20", "40", "50"])
    assert len(lost_tanks(water, ["20", "40", "50"])) == 94


def test_reach_of_tanks_link_by_link():
    """With Net3's links shut one by one in a random order, the rule is broken for exactly the nodes cut off by then."""
    water = Water("Net3")
    links = random.Random(5).sample(sorted(water.ends), 60)
    touched = [f"L-{link}:VA" for link in links]
    engine = Engine(RuleSet((TANK_RULE,)), water.now.fork(), start=0, touched=touched)
    for number, valve in enumerate(touched, 1):
        engine.step(water.shut(valve, number))
        engine.settle()
        found = {s.removeprefix("N-").removesuffix(":water") for f in engine.findings() for s in f.subjects}
        assert found == their_lost_tanks(water, links[:number])


# --- without scope: what is broken already hides nothing --------------------------------------------------------------

ALL_TANKS = Rule(
    "tank", "", "", 1, "", Always(), Path("fluid", Selection(liquid=True), Selection(expansion=True)), None
)


def nodes_of(findings):
    """Return the nodes that findings are about."""
    return {s.removeprefix("N-").removesuffix(":water") for f in findings for s in f.subjects}


def without_bodies(findings):
    """Return the nodes that findings are about, each once: those of a blow are told once."""
    found = [s for f in findings for s in f.subjects]
    assert len(found) == len(set(found))
    return nodes_of(findings)


def singles(water, count, seed):
    """Return links to shut one at a time, the same at every run."""
    links = sorted(water.ends)
    return [random.Random(seed + n).choice(links) for n in range(count)]


@pytest.mark.parametrize("name", ["Net3", "ky4"])
def test_single_shuts_without_scope(name):
    """Of 150 single shuts a network, a rule without scope tells just the nodes that networkx 3.6 finds cut off."""
    water = Water(name)
    links = singles(water, 150, 11)
    touched = [f"L-{link}:VA" for link in links]
    engine = Engine(RuleSet((ALL_TANKS,)), water.now.fork(), start=0, touched=touched)
    cut = 0
    for link, valve in zip(links, touched, strict=True):
        mark = engine.mark()
        engine.step(water.shut(valve, 1))
        engine.settle()
        lost = their_lost_tanks(water, [link])
        assert without_bodies(engine.findings()) == lost
        cut += bool(lost)
        engine.back(mark)
    assert cut > 10


@pytest.mark.parametrize(("name", "orders", "each"), [("Net3", 5, 100), ("ky4", 1, 500)])
def test_cumulative_shuts_without_scope(name, orders, each):
    """Of 500 shuts a network one after another, each is told just the nodes that networkx 3.6 finds cut off by it.

    The rule has no scope, and is broken from the first of them on: none of the later ones is hidden by that.
    """
    water = Water(name)
    told = 0
    for seed in range(orders):
        links = random.Random(seed).sample(sorted(water.ends), each)
        touched = [f"L-{link}:VA" for link in links]
        engine = Engine(RuleSet((ALL_TANKS,)), water.now.fork(), start=0, touched=touched)
        before: set[str] = set()
        for number, valve in enumerate(touched, 1):
            noted = engine.noted
            engine.step(water.shut(valve, number))
            engine.settle()
            lost = their_lost_tanks(water, links[:number])
            new = engine.findings(noted)
            assert without_bodies(new) == lost - before
            assert all(reason.links == (valve,) for f in new for reason in f.reasons)
            assert without_bodies(engine.findings()) == lost
            told += bool(lost - before) and bool(before)
            before = lost
    assert told > 20
