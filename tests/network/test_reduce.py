"""Reduction, flows and ways against networkx 3.6, on the random plants and histories of tests/rules."""

from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.model.configuration import Configuration
from cfgtrack.network.flow import Flow
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths
from cfgtrack.network.reduce import reduce_network
from cfgtrack.network.trace import trace
from cfgtrack.rules.trail import Trail
from tests.rules.reference import everything, graph_of, links_of, points
from tests.rules.test_engine import written
from tests.rules.worlds import draw_world

SEEDS = st.integers(0, 2**32)
MEDIA = st.sampled_from(["fluid", "power", "hold"])


def at_fork(world):
    """Return the configuration of a world where its two ways part."""
    now = Configuration(world.plant)
    for event in world.events[: world.fork]:
        now.apply(event)
    return now


def all_points(plant, medium):
    """Return every item of a medium."""
    return [a for a in everything(plant) if ":" in a or medium == "hold" if points(plant, medium, a) == [a]]


def all_ways(now, medium):
    """Return by networkx for every item of a medium the items that it reaches, itself included."""
    graph = graph_of(now, medium)
    graph.add_nodes_from(all_points(now.plant, medium))
    return {a: {a} | nx.descendants(graph, a) for a in graph}


@given(SEEDS, MEDIA)
def test_items_have_addresses(seed, medium):
    """Items are exactly the ports and nodes of a medium (and in hold the units and places), and numbers name them."""
    plant = draw_world(seed).plant
    network = compile_network(plant, medium)
    assert sorted(network.address(i) for i in range(network.size)) == sorted(all_points(plant, medium))
    for address in everything(plant):
        item = network.item(address)
        assert (address if item is not None else None) == (
            network.address(item) if item is not None else None
        )


@given(SEEDS, MEDIA)
def test_contracted_is_connected(seed, medium):
    """With nothing left to change, two items are one vertex exactly when links that go both ways join them."""
    world = draw_world(seed)
    now = at_fork(world)
    reduced = reduce_network(compile_network(world.plant, medium), now, ())
    # Two one-way links that face each other join items as well, though the reduction leaves them apart.
    graph = nx.Graph()
    graph.add_nodes_from(all_points(world.plant, medium))
    for owner in (*world.plant.units, *world.plant.places):
        graph.add_edges_from((a, b) for a, b, one_way in links_of(now, owner, medium) if not one_way)
    vertices = [{reduced.of(item) for item in part} for part in nx.connected_components(graph)]
    assert [len(part) for part in vertices] == [1] * len(vertices)
    assert len(set().union(*vertices)) == len(vertices)


@given(SEEDS, MEDIA)
@settings(max_examples=200)
def test_flow_follows_history(seed, medium):
    """Reduced or not, a flow kept up event by event has after each the ways that networkx finds from nothing."""
    world = draw_world(seed)
    tail = world.events[world.fork :]
    for touched in (None, written(world.plant, tail)):
        now = at_fork(world)
        flow = Flow(compile_network(world.plant, medium), now, touched, Trail())
        for event in (None, *tail):
            if event is not None:
                flow.update(e.subject for e in now.apply(event)[0] if not e.aspect)
            for start, reached in all_ways(now, medium).items():
                ahead = flow.graph.ahead(flow.vertices(start))
                found = {a for a in all_points(world.plant, medium) if set(flow.vertices(a)) <= ahead}
                assert found == reached


@given(SEEDS, MEDIA)
def test_paths_answer_at_once(seed, medium):
    """The one-off answers - reached sources, segments, cut-off liquid - are those of networkx."""
    world = draw_world(seed)
    now = at_fork(world)
    paths = Paths(compile_network(world.plant, medium), now)
    ways = all_ways(now, medium)
    for sort, is_so in (
        ("source", lambda n: "source" in n.roles),
        ("expansion", lambda n: "expansion" in n.roles),
        ("load", lambda n: "load" in n.roles),
    ):
        nodes = {a for a in ways if (n := world.plant.node(a)) is not None and is_so(n)}
        for start, reached in ways.items():
            assert set(paths.reached(start, sort)) == reached & nodes
            assert paths.reaches(start, sort) == bool(reached & nodes)


@given(SEEDS, MEDIA)
def test_shortest_way(seed, medium):
    """A traced way is as short as networkx's shortest, each hop is a made link, and there is none where it has none."""
    world = draw_world(seed)
    now = at_fork(world)
    network, graph = compile_network(world.plant, medium), graph_of(now, medium)
    items = all_points(world.plant, medium)
    graph.add_nodes_from(items)
    for start in items[:6]:
        for end in items:
            way = [hop.item for hop in trace(network, now, [start], [end])]
            if nx.has_path(graph, start, end):
                assert (way[0], way[-1], len(way)) == (
                    start,
                    end,
                    nx.shortest_path_length(graph, start, end) + 1,
                )
                assert all(graph.has_edge(a, b) for a, b in pairwise(way))
            else:
                assert way == []


@given(SEEDS, st.sampled_from(["fluid", "power"]))
def test_a_way_of_a_unit(seed, medium):
    """Wherever what a unit stands for has a way, a shortest one is traced, from where it has, over made links."""
    world = draw_world(seed)
    now = at_fork(world)
    network, graph = compile_network(world.plant, medium), graph_of(now, medium)
    graph.add_nodes_from(all_points(world.plant, medium))
    for unit in world.plant.units:
        starts = points(world.plant, medium, unit)
        for end in all_points(world.plant, medium):
            way = [hop.item for hop in trace(network, now, [unit], [end])]
            lengths = [nx.shortest_path_length(graph, s, end) for s in starts if nx.has_path(graph, s, end)]
            assert len(way) == min(lengths, default=-1) + 1
            assert all(graph.has_edge(a, b) for a, b in pairwise(way))
            assert not way or (way[0] in starts and way[-1] == end)


def test_contracted_cannot_change():
    """A flow refuses a change of what it was told would not change."""
    for seed in range(200):
        world = draw_world(seed)
        mates = [e for e in world.events if e.action == "mate" and e.subjects[0].endswith("P1")]
        if mates:
            now = Configuration(world.plant)
            flow = Flow(compile_network(world.plant, "power"), now, (), Trail())
            now.apply(mates[0])
            with pytest.raises(ValueError, match="contracted"):
                flow.update(mates[0].subjects)
            return
    raise AssertionError("no case")
