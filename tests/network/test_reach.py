"""Reach and Digraph against networkx 3.6 on random multigraphs whose arcs come and go."""

from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.network.reach import Digraph, Reach

VERTICES = st.integers(0, 7)
ARCS = st.lists(st.tuples(VERTICES, VERTICES), max_size=20)
TARGETS = st.sets(VERTICES, max_size=3)
CHANGES = st.lists(st.tuples(st.booleans(), st.integers(0, 100), VERTICES, VERTICES), max_size=40)


def truth(arcs, targets):
    """Return by networkx which vertices reach a target."""
    graph = nx.MultiDiGraph(arcs)
    return set(targets).union(*(nx.ancestors(graph, t) for t in targets if t in graph))


@given(ARCS, TARGETS, CHANGES)
def test_reach_is_kept_up_to_date(arcs, targets, changes):
    """After each arc that comes or goes, a Reach holds, and tells as changed, exactly what networkx finds."""
    graph, arcs = Digraph(arcs), list(arcs)
    reach = Reach(graph, targets)
    assert set(reach) == truth(arcs, targets)
    for add, which, *arc in changes:
        before, (a, b) = set(reach), arc if add or not arcs else arcs[which % len(arcs)]
        if add or not arcs:
            arcs.append((a, b))
            gained, lost = (reach.added(a, b) if graph.add(a, b) else []), []
        else:
            arcs.remove((a, b))
            gained, lost = [], (reach.removed(a, b) if graph.remove(a, b) else [])
        assert set(reach) == truth(arcs, targets)
        assert len(gained) == len(set(gained))
        assert (set(gained), set(lost)) == (set(reach) - before, before - set(reach))


@given(ARCS, TARGETS)
def test_ways_are_ways(arcs, targets):
    """The way that is held from a vertex runs over arcs that exist and ends at a target."""
    reach = Reach(Digraph(arcs), targets)
    for vertex in reach:
        way = reach.way(vertex)
        assert way[0] == vertex
        assert way[-1] in targets
        assert set(pairwise(way)) <= set(arcs)


@given(ARCS, TARGETS)
def test_ahead_and_behind(arcs, starts):
    """What lies ahead of some vertices is their descendants by networkx, and what lies behind their ancestors."""
    graph = nx.MultiDiGraph(arcs)
    graph.add_nodes_from(starts)
    assert Digraph(arcs).ahead(starts) == starts.union(*(nx.descendants(graph, s) for s in starts))
    assert Digraph(arcs).behind(starts) == starts.union(*(nx.ancestors(graph, s) for s in starts))


@given(ARCS)
def test_fork_is_independent(arcs):
    """A fork has the same arcs, and keeps them when those of the original go."""
    graph = Digraph(arcs)
    twin = graph.fork()
    for a, b in arcs:
        graph.remove(a, b)
    assert not any(graph.out.values())
    assert {(a, b): n for a, to in twin.out.items() for b, n in to.items()} == {
        x: arcs.count(x) for x in arcs
    }


def test_no_such_arc():
    """An arc that isn't there can't be removed."""
    with pytest.raises(KeyError):
        Digraph().remove(1, 2)
