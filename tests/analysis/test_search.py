"""The one best-first search, against Dijkstra's way by networkx on random maps with one-way roads and shut gates."""

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.analysis.search import ALL_TRIED, CUT_SHORT, INTERRUPTED, Limit, search


class Outlook:
    def __init__(self, field, at, cost):
        self.cost, self.arrived, self._field, self._at = cost, at == field.goal, field, at

    def moves(self):
        """Return every road from here."""
        return [(move, 0) for move in self._field.roads.get(self._at, ())]


class Map:
    """A map of roads (from, to, length): the field stands in one town, and remembers how it came there."""

    def __init__(self, roads, goal, share=0.0):
        self.goal, self.trail = goal, [0]
        self.roads: dict[int, list[tuple[int, int, int]]] = {}
        self.graph = nx.MultiDiGraph()
        self.graph.add_nodes_from((0, goal))
        for a, b, length in roads:
            self.roads.setdefault(a, []).append((a, b, length))
            self.graph.add_edge(a, b, length=length)
        left = nx.single_source_dijkstra_path_length(self.graph.reverse(), goal, weight="length")
        self.left = {town: int(share * far) for town, far in left.items()}

    def mark(self):
        """Return the point to come back to."""
        return len(self.trail)

    def back(self, mark):
        """Come back."""
        del self.trail[mark:]

    def go(self, road):
        """Go a road."""
        a, b, length = road
        assert self.trail[-1] == a
        self.trail.append(b)
        return length or None

    def situation(self):
        """Return the town."""
        return self.trail[-1]

    def outlook(self, before, road):
        """Return what is known of how far it is."""
        at = self.trail[-1]
        return Outlook(self, at, self.left[at]) if at in self.left else None


towns = st.integers(0, 9)
roads = st.lists(st.tuples(towns, towns, st.integers(0, 9)), max_size=40)


@given(roads, st.sampled_from([0.0, 0.5, 1.0]))
def test_shortest(several, share):
    """A way costs as little as Dijkstra's, however much the outlook knows; where there is none, that is proved."""
    # A road of length 0 is one that can't be gone.
    open_ones = [one for one in several if one[2]]
    field = Map(open_ones, 9, share)
    for one in several:
        if not one[2]:
            field.roads.setdefault(one[0], []).append(one)
    found = search(field)
    try:
        least = nx.dijkstra_path_length(field.graph, 0, 9, weight="length")
    except nx.NetworkXNoPath:
        assert found.way is None
        # What the outlook says is no way isn't looked into; what is left was tried.
        assert found.ended == ALL_TRIED
        assert found.proved
    else:
        assert found.way is not None
        assert found.proved
        assert found.cost == found.bound == least == sum(length for _, _, length in found.way)
        assert [a for a, _, _ in found.way] == [0, *(b for _, b, _ in found.way)][:-1]
    assert field.trail == [0]


@given(roads, st.integers(0, 6))
def test_cut_short(several, nodes):
    """Cut short, it says what no way undercuts, and proves nothing; the field is back where it stood."""
    field = Map([one for one in several if one[2]], 9)
    found = search(field, limit=Limit(nodes))
    whole = search(field)
    assert field.trail == [0]
    if found.ended == CUT_SHORT:
        assert not found.proved
        assert whole.way is None or found.bound <= whole.cost
    else:
        assert found == whole


@given(roads, st.integers(0, 12), st.integers(2, 5))
def test_greed_says_nothing_of_what_no_way_undercuts(several, nodes, greed):
    """However a greedy search ends, its bound is 0: what it multiplied is no promise. That there is none is proved."""
    field = Map([one for one in several if one[2]], 9, 1.0)
    told = []
    found = search(field, limit=Limit(nodes), greed=greed, tell=lambda _, bound: told.append(bound))
    assert {found.bound, *told} == {0}
    assert found.proved == (found.ended == ALL_TRIED)
    if found.proved:
        assert search(field).way is None


def test_right_outlook_goes_straight():
    """Where the outlook is right nothing off the way is looked into, though everything is as long."""
    grid = [
        (10 * x + y, 10 * (x + dx) + y + dy, 1)
        for x in range(9)
        for y in range(9)
        for dx, dy in ((0, 1), (1, 0))
        if x + dx < 9 and y + dy < 9
    ]
    found = search(Map(grid, 88, 1.0))
    assert (found.cost, found.nodes) == (16, 17)


def test_interrupted():
    """Ctrl-C keeps what is known."""

    def tell(done, bound):
        if done == 3:
            raise KeyboardInterrupt

    found = search(Map([(n, n + 1, 2) for n in range(9)], 9), tell=tell)
    assert (found.ended, found.nodes, found.bound) == (INTERRUPTED, 3, 2)


def test_greed():
    """With greed a way is found sooner, and nothing is proved of it."""
    found = search(Map([(0, 9, 5), (0, 1, 1), (1, 9, 1)], 9), greed=3)
    assert found.way is not None
    assert not found.proved
