"""What might join, or part, items and their ends: held to networkx on small nets of valves, some of them one-way."""

from __future__ import annotations

from itertools import combinations, pairwise
from random import Random

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.breach import words
from cfgtrack.rules.joining import to_join, to_make, to_part
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.ways import Ways
from cfgtrack.rules.world import World
from tests.happening import happened
from tests.rules.worlds import KINDS, MEDIA, START

SEEDS = st.integers(0, 2**32)
GATES = {"fluid": ("valve", "open", "shut"), "power": ("switch", "switch-on", "switch-off")}
"""Of a medium: what gates its links, what makes them carry, and what stops them."""

Gated = dict[str, tuple[str, str, bool]]


class Net:
    """A unit whose nodes N0, N1 ... are joined over gates G0, G1 ..., some of which carry: N0 may reach N1 or not."""

    def __init__(self, seed: int, links: int) -> None:
        r = Random(seed)
        self.medium = r.choice(tuple(GATES))
        self.kind, self.opens, self.shuts = GATES[self.medium]
        nodes = [f"N{i}" for i in range(r.randint(2, 6))]
        ways = [*pairwise(("N0", *nodes[2:], "N1")), *(tuple(r.sample(nodes, 2)) for _ in range(links))]
        turned = ((a, b) if r.random() < 0.7 else (b, a) for a, b in ways)
        self.links: Gated = {f"U:G{i}": (*ends, r.random() < 0.3) for i, ends in enumerate(turned)}
        often = r.choice((0.1, 0.4, 0.8))
        self.carrying = {gate for gate in self.links if r.random() < often}
        self.plant = self._plant(nodes)
        now = Configuration(self.plant)
        now.apply(happened(now, Action("U", "place", ("U",), START, place="RACK")))
        for gate in sorted(self.carrying):
            now.apply(happened(now, Action(gate, self.opens, (gate,), START)))
        touched = r.choice((None, (), r.sample([*self.links], len(self.links) // 2)))
        world = World(now, media=(self.medium,), touched=touched, now=START, trail=Trail())
        end = r.choice((Selection(ids=("U:N1",)), Selection(ids=("U:N1",), at=("RACK",))))
        self.ways = Ways(world, self.medium, Selection(ids=("U:N0",)), end)

    def _plant(self, nodes: list[str]) -> Plant:
        part = Part(
            "p",
            ports={name: Port(name, self.kind) for name in (gate[2:] for gate in self.links)},
            nodes={name: Node(name, self.medium) for name in nodes},
            links=tuple(InternalLink(a, b, gate[2:], one) for gate, (a, b, one) in self.links.items()),
        )
        unit = {"U": Unit("U", "p")}
        return Plant(MEDIA, KINDS, {"p": part}, unit, {"RACK": Place("RACK")})

    def graph(self) -> nx.MultiDiGraph:
        """Return every link as arcs in the direction in which paths are followed, weighed 1 where it doesn't carry."""
        graph = nx.MultiDiGraph()
        graph.add_nodes_from(("N0", "N1"))
        for gate, (a, b, one_way) in self.links.items():
            lacks = int(gate not in self.carrying)
            for c, d in ((a, b),) if one_way else ((a, b), (b, a)):
                pair = (d, c) if self.medium == "power" else (c, d)
                graph.add_edge(*pair, gate=gate, lacks=lacks)
        return graph

    def reaches(self, carrying: set[str]) -> bool:
        """Return whether N0 reaches N1 over some gates alone."""
        edges = self.graph().edges(data="gate")
        graph = nx.DiGraph([(a, b) for a, b, gate in edges if gate in carrying])
        return graph.has_node("N0") and "N1" in nx.descendants(graph, "N0")


@given(SEEDS, st.integers(0, 5))
@settings(max_examples=400)
def test_what_is_lacking(seed, links):
    """All links of the ways that lack fewest are proposed, up to three in a row, and first those that do alone."""
    net = Net(seed, links)
    if net.reaches(net.carrying):
        return
    proposed = list(to_join(net.ways, None, ("U:N0",)))
    gates = list(dict.fromkeys(p.action.subjects[0] for p in proposed))
    assert {p.action.action for p in proposed} <= {net.opens, net.shuts}
    assert net.carrying.isdisjoint(gates)
    assert len(proposed) == len({(p.action.action, p.action.subjects) for p in proposed})
    shut = sorted(set(net.links) - net.carrying)
    enough = (
        [set(some) for some in combinations(shut, n) if net.reaches(net.carrying | set(some))]
        for n in range(1, 4)
    )
    fewest = next((some for some in enough if some), [])
    needed = set[str]().union(*fewest)
    if not fewest:
        assert gates == []
    elif len(fewest[0]) == 1:
        assert set(gates[: len(needed)]) == needed
    assert needed <= set(gates)


@given(SEEDS, st.integers(0, 5))
@settings(max_examples=400)
def test_what_is_in_the_way(seed, links):
    """What carries on a way is proposed to be shut, and nothing else: first what ends every way alone."""
    net = Net(seed, links)
    if not net.reaches(net.carrying):
        return
    proposed = list(to_part(net.ways, None, ("U:N0",)))
    gates = [p.action.subjects[0] for p in proposed]
    assert {p.action.action for p in proposed} <= {net.shuts}
    assert len(gates) == len(set(gates))
    assert set(gates) <= net.carrying
    alone = {gate for gate in net.carrying if not net.reaches(net.carrying - {gate})}
    assert set(gates[: len(alone)]) == alone
    carrying = nx.MultiDiGraph()
    carrying.add_edges_from((a, b) for a, b, gate in net.graph().edges(data="gate") if gate in net.carrying)
    if len(list(nx.all_simple_paths(carrying, "N0", "N1"))) <= 2:
        assert not net.reaches(net.carrying - set(gates))


def joined() -> World:
    """Return two units that are joined by a tube and a plug, both open to each other."""
    box = Part(
        "box",
        ports={
            "F": Port("F", "tube"),
            "P": Port("P", "plug"),
            "V": Port("V", "valve"),
            "B": Port("B", "bolt"),
        },
        nodes={
            "vol": Node("vol", "fluid", litres=1.0),
            "lamp": Node("lamp", "power", roles=frozenset({"load"})),
        },
        links=(InternalLink("vol", "F", "V"), InternalLink("P", "lamp")),
    )
    units = {name: Unit(name, "box") for name in ("U", "W")}
    rack = Place("RACK", holds=True, facings=("up", "down"))
    now = Configuration(Plant(MEDIA, KINDS, {"box": box}, units, {"RACK": rack, "SITE": Place("SITE")}))
    for said in (
        "place U", "place W", "mate U:F W:F", "open U:F", "open W:F", "open U:V", "open W:V", "mate U:P W:P",
    ):  # fmt: skip
        action, *subjects = said.split()
        place = "RACK" if action == "place" else None
        now.apply(
            happened(
                now, Action(said, action, tuple(subjects), START, place=place, facing="up" if place else None)
            )
        )
    return World(now, media=tuple(MEDIA), touched=None, now=START, trail=Trail())


def test_no_connector_is_parted():
    """What parts a way shuts its valves and both halves of its connectors, and never takes one of these apart."""
    world = joined()
    fluid = Ways(world, "fluid", Selection(ids=("U:vol",)), Selection(ids=("W:vol",)))
    said = [words(p.action) for p in to_part(fluid, None, ("U:vol",))]
    assert said == ["shut U:V", "shut U:F", "shut W:F", "shut W:V"]
    power = Ways(world, "power", Selection(ids=("U:lamp",)), Selection(ids=("W:lamp",)))
    assert list(to_part(power, None, ("U:lamp",))) == []
    world.apply(happened(world.configuration, Action("1", "engage", ("U:B", "W:B"), START)))
    for other in ("W", "RACK"):
        hold = Ways(world, "hold", Selection(ids=("U",)), Selection(ids=(other,)))
        assert list(hold.joined(None)) == ["U"]
        assert list(to_part(hold, None, ("U",))) == []


MADE: dict[str, list[str]] = {
    "U on SITE": ["place U at SITE"],
    "U:V": ["open U:V", "shut U:V"],
    "U:B - W:B": [
        f"{action} {which}"
        for which in ("U:B", "W:B", "U:B W:B")
        for action in ("engage", "torque", "release")
    ],
    "U:none": [],
}


@pytest.mark.parametrize("link", MADE)
def test_what_makes_a_link(link):
    """A link is made by placing, by a move of its gate, or by moves of either half and then of both together."""
    assert [words(p.action) for p in to_make(joined(), link)] == MADE[link]


def test_a_place_with_several_ways_round():
    """What stood on a place that asks for an orientation is put back there each way round."""
    proposed = [p.action for p in to_make(joined(), "U on RACK")]
    assert [(a.action, a.subjects, a.place, a.facing) for a in proposed] == [
        ("place", ("U",), "RACK", "up"),
        ("place", ("U",), "RACK", "down"),
    ]
