"""Cuts and segments of water networks that nobody here made, shipped with wntr 1.5, against networkx 3.6 and wntr.

The plant is that of `test_networks_water`: a valve on each link at each of its ends. Networkx is given a graph of its
own, made from wntr's, in which valves alone have a capacity.
"""

import random
from itertools import combinations

import networkx as nx
import pytest

from cfgtrack.analysis.isolation import cut_off, isolation, segments_of
from tests.outside.test_networks_water import Water, their_segments

SOURCES = ("tank", "reservoir")


def by_networkx(water, shut, targets):
    """Return a graph of wntr's network: pipe bodies and joints, each valve that is open an edge of capacity 1."""
    graph = nx.Graph()
    for link, ends in water.ends.items():
        for end in ends:
            if (link, end) not in shut:
                graph.add_edge(("node", end), ("link", link), capacity=1)
    for node in water.model.tank_name_list:
        graph.add_edge("all ends", ("node", node))
    for node in targets:
        graph.add_edge("all targets", ("node", node))
    return graph


def valves_only(water, shut):
    """Return the plant with some valves shut, and only its valves as devices: its joints are welded."""
    for link, node in shut:
        water.found((water.valve(link, node),), "shut")
    return water


def random_case(name, seed):
    """Return a network with a tenth of its valves shut, those, and up to three of its joints."""
    water, chance = Water(name), random.Random(seed)
    valves = [(link, end) for link, ends in water.ends.items() for end in ends]
    shut = chance.sample(valves, len(valves) // 10)
    joints = chance.sample(water.model.junction_name_list, chance.randint(1, 3))
    return valves_only(water, shut), set(shut), joints


@pytest.mark.parametrize(
    ("name", "seed"), [*((name, seed) for name in ("Net1", "Net3") for seed in range(4)), ("ky4", 1)]
)
def test_a_smallest_isolation_is_as_large_as_networkx_says(name, seed):
    """The fewest devices that isolate joints of a water network from its tanks are as many as networkx's minimum cut.

    A joint of a link isn't fewer than its valve, so what is shut counts for what is parted.
    """
    water, shut, joints = random_case(name, seed)
    graph = by_networkx(water, shut, joints)
    truth, _ = nx.minimum_cut(graph, "all ends", "all targets")
    found = isolation(water.network, water.now, [f"N-{joint}" for joint in joints])
    assert found.fewest == truth
    assert found.proved
    for way in found.ways:
        for one in way.devices:
            water.now.set_state(one.thing, water.now.state(one.thing)._replace(value="shut"))
        if not way.parts:
            cut = {(h.thing[2:-3], water.ends[h.thing[2:-3]]["AB".index(h.thing[-1])]) for h in way.devices}
            apart = by_networkx(water, shut | cut, joints)
            assert "all ends" not in apart or not nx.has_path(apart, "all ends", "all targets")
        for one in way.devices:
            before = "mated" if one.parts else "open"
            water.now.set_state(one.thing, water.now.state(one.thing)._replace(value=before))


def test_all_smallest_isolations_of_a_joint():
    """All pairs of valves that isolate a joint of Net3 are those that networkx finds by trying every pair."""
    water = Water("Net3")
    joint = next(j for j in water.model.junction_name_list if by_networkx_at_least(water, j) == 2)
    valves = [(link, end) for link, ends in water.ends.items() for end in ends]
    graph = by_networkx(water, set(), [joint])
    near = [v for v in valves if _matters(graph, v)]
    truth = set()
    for pair in combinations(near, 2):
        rest = graph.copy()
        rest.remove_edges_from([(("node", end), ("link", link)) for link, end in pair])
        if not nx.has_path(rest, "all ends", "all targets"):
            truth.add(frozenset(pair))
    found = isolation(water.network, water.now, [f"N-{joint}"], most=10_000)
    assert found.complete
    names = [{h.name for h in way.devices} for way in found.ways] + [set(o) for o in found.others]
    shut = {frozenset(some) for some in names if not any(" - " in name for name in some)}
    assert shut == {frozenset(water.valve(*valve) for valve in pair) for pair in truth}


def by_networkx_at_least(water, joint):
    """Return how many valves isolate a joint, by networkx."""
    return nx.minimum_cut_value(by_networkx(water, set(), [joint]), "all ends", "all targets")


def _matters(graph, valve):
    """Return whether a valve is in any pair that isolates: without it one more is enough."""
    link, end = valve
    rest = graph.copy()
    rest.remove_edge(("node", end), ("link", link))
    return nx.minimum_cut_value(rest, "all ends", "all targets") == 1


@pytest.mark.parametrize("name", ["Net1", "Net3", "ky4"])
def test_segments_are_those_of_wntr(name):
    """What is joined as one with a tenth of the valves shut is what wntr's `valve_segments` finds."""
    water, shut, _ = random_case(name, 7)
    theirs = their_segments(water.model, sorted(shut))
    ours = set()
    for segment in segments_of(water.network, water.now).segments:
        told = {("node" if n.startswith("N-") else "link", n[2:].partition(":")[0]) for n in segment.nodes}
        ours.add(frozenset(told))
    assert ours == theirs


def test_what_loses_every_tank():
    """In Net3 shutting a joint's way off cuts off from the tanks what networkx finds apart from them."""
    water = Water("Net3")
    closed = ["20", "40", "50"]
    lost = cut_off({"fluid": water.network}, water.now, [f"L-{link}" for link in closed])
    graph = water.graph.copy()
    graph.remove_edges_from([(a, b, k) for a, b, k in graph.edges(keys=True) if k in closed])
    reached = set().union(*(nx.node_connected_component(graph, t) for t in water.model.tank_name_list))
    truth = {f"N-{node}:water" for node in water.graph if node not in reached}
    told = {one.thing for one in lost[0].lost if not one.left and one.thing.startswith("N-")}
    assert told == truth
    assert len({t for t in truth if t[2:].partition(":")[0] in water.model.junction_name_list}) == 92
