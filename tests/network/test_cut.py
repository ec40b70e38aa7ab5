"""Minimum cuts against brute force on small random graphs, and against networkx 3.6 on larger ones."""

from itertools import combinations

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.network.cut import Net, Tie, minimum_cuts

VERTICES = st.integers(0, 5)
ARCS = st.lists(st.tuples(VERTICES, VERTICES), max_size=5)
SINGLE = st.lists(st.tuples(VERTICES, VERTICES, st.booleans()), max_size=9)
"""Ties of which each has a device of its own."""
SEVERAL = st.lists(st.tuples(VERTICES, VERTICES, st.integers(0, 5), st.booleans()), max_size=10)
"""Ties of which several may have one device."""
ENDS = st.sets(VERTICES, min_size=1, max_size=2)


def joined(net, cut, sources, targets):
    """Return whether any source reaches any target without some devices, by plain search."""
    hops = list(net.arcs)
    for a, b, device, one_way in net.ties:
        if device not in cut:
            hops += [(a, b)] if one_way else [(a, b), (b, a)]
    seen = set(sources)
    for _ in range(net.count):
        seen |= {b for a, b in hops if a in seen}
    return bool(seen & targets)


def all_smallest(net, sources, targets):
    """Return every smallest set of devices that parts them, trying all sets; None where there is none."""
    devices = sorted({tie.device for tie in net.ties})
    for size in range(len(devices) + 1):
        found = {frozenset(c) for c in combinations(devices, size) if not joined(net, c, sources, targets)}
        if found:
            return found
    return None


def held_to_brute_force(net, sources, targets):
    """Compare all cuts with those found by trying everything."""
    found, truth = minimum_cuts(net, sources, targets), all_smallest(net, sources, targets)
    assert found.complete
    if truth is None:
        assert not found.cuts
        assert found.way[0] in sources
        assert found.way[-1] in targets
        assert not set(zip(found.way, found.way[1:], strict=False)) - set(net.arcs)
    else:
        assert found.proved
        assert len(found.cuts) == len(truth)
        assert {frozenset(cut) for cut in found.cuts} == truth


@given(ARCS, SINGLE, ENDS, ENDS)
def test_all_cuts_of_single_links(arcs, ties, sources, targets):
    """Where each device gates one link, the smallest cuts are those that trying every set finds, each once."""
    numbered = tuple(Tie(a, b, i, one_way) for i, (a, b, one_way) in enumerate(ties))
    held_to_brute_force(Net(6, tuple(arcs), numbered), sources, targets)


@given(ARCS, SEVERAL, ENDS, ENDS)
def test_all_cuts_of_shells(arcs, ties, sources, targets):
    """Where a device gates several links, the smallest cuts are those that trying every set of devices finds."""
    held_to_brute_force(Net(6, tuple(arcs), tuple(Tie(*tie) for tie in ties)), sources, targets)


@given(st.integers(0, 1000), st.booleans())
def test_size_equals_networkx(seed, one_way):
    """On random graphs of 60 vertices a smallest cut is as large as networkx says the largest flow is, and cuts."""
    make = nx.gnm_random_graph(60, 150, seed=seed, directed=one_way)
    nx.set_edge_attributes(make, 1, "capacity")
    net = Net(60, (), tuple(Tie(a, b, i, one_way) for i, (a, b) in enumerate(make.edges)))
    found = minimum_cuts(net, {0}, {59}, most=20)
    assert found.at_least == nx.maximum_flow_value(make, 0, 59)
    for cut in found.cuts:
        assert len(cut) == found.at_least
        assert not joined(net, set(cut), {0}, {59})
    assert len(set(found.cuts)) == len(found.cuts)


def test_no_more_than_asked_for():
    """Of more cuts than are asked for so many are told, and that they aren't all."""
    line = Net(5, (), tuple(Tie(i, i + 1, i) for i in range(4)))
    assert minimum_cuts(line, {0}, {4}).cuts == ((3,), (2,), (1,), (0,))
    few = minimum_cuts(line, {0}, {4}, most=2)
    assert (few.cuts, few.complete, few.proved) == (((3,), (2,)), False, True)
    shells = Net(5, (), (*(Tie(i, i + 1, i) for i in range(4)), Tie(0, 4, 0)))
    assert minimum_cuts(shells, {0}, {4}, most=9).cuts == ((0,),)


def test_cut_short():
    """A search that may look for no more ways tells a set that does, and doesn't call it proved."""
    wires = tuple(Tie(0, i, i % 3) for i in range(1, 10)) + tuple(
        Tie(i, 10, 3 + i // 3) for i in range(1, 10)
    )
    whole = minimum_cuts(Net(11, (), wires), {0}, {10})
    assert (whole.cuts, whole.complete) == (((0, 1, 2),), True)
    short = minimum_cuts(Net(11, (), wires), {0}, {10}, effort=4)
    assert not short.complete
    assert not short.proved
    assert not joined(Net(11, (), wires), set(short.cuts[0]), {0}, {10})
