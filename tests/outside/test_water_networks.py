"""Water networks that nobody here made, brought in by `convert` without hand work: EPANET's, as wntr 1.5 ships them.

The graph that networkx asks is built from wntr's own model: a node for each junction, tank and reservoir, one for each
link between them; pumps, check valves and pressure reducing valves pass one way (EPANET 2.2 User Manual, 3.1), closed
links not at all.
"""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path
from typing import Any

import networkx as nx
import pytest

from cfgtrack.rules.selection import Selection
from tests.outside.incoming import Incoming, reaches

Node = tuple[str, str]
TO_TANKS = reaches("fluid", "*:body", Selection(expansion=True))


@cache
def source_of(name: str) -> tuple[Path, Any]:
    """Return where one of wntr's networks stands, and wntr's model of it."""
    import wntr
    from wntr.library import model_library

    path = Path(model_library.get_filepath(name))
    return path, wntr.network.WaterNetworkModel(str(path))


def graph_of(model: Any) -> nx.DiGraph:
    """Return the graph of a network as it stands at the start."""
    graph = nx.DiGraph()
    graph.add_nodes_from(("node", str(name)) for name in model.node_name_list)
    for name, link in model.links():
        a, b, via = ("node", link.start_node_name), ("node", link.end_node_name), ("link", str(name))
        one_way = link.link_type == "Pump" or getattr(link, "check_valve", False)
        one_way |= getattr(link, "valve_type", "") in ("PRV", "PSV")
        graph.add_edges_from([(a, via), (via, b)])
        if not one_way:
            graph.add_edges_from([(b, via), (via, a)])
        if str(link.initial_status) == "Closed":
            graph.remove_edges_from([(a, via), (via, a)])
    return graph


def lost(graph: nx.DiGraph, tanks: list[Node], parted: tuple[Node, Node] | None = None) -> set[Node]:
    """Return all nodes that reach no tank or reservoir, with one joint of a link to a node parted."""
    kept = (
        graph if parted is None else nx.restricted_view(graph, [], {parted, parted[::-1]} & set(graph.edges))
    )
    reached = set(tanks)
    waiting = list(tanks)
    while waiting:
        new = set(kept.predecessors(waiting.pop())) - reached
        reached |= new
        waiting += new
    return set(graph) - reached


@pytest.mark.parametrize(("name", "most"), [("Net1", 300), ("Net3", 300), ("ky4", 300), ("Net6", 30)])
def test_each_link_parted(name: str, most: int, tmp_path: Path) -> None:
    """With each link parted in turn at one of its ends just those nodes and pipes lose every tank that networkx finds.

    Of the larger networks 300 links (of the largest 30), drawn by a seed.
    """
    path, model = source_of(name)
    plant = Incoming(path, tmp_path)
    graph = graph_of(model)
    tanks = [("node", str(n)) for n in (*model.tank_name_list, *model.reservoir_name_list)]
    ends = [(str(n), half, str(node)) for n, link in model.links()
            for half, node in zip("AB", (link.start_node_name, link.end_node_name), strict=True)]  # fmt: skip
    asked = random.Random(7).sample(ends, min(most, len(ends)))
    of = {f"{unit}:body": key for key, unit in plant.ids.items() if key[0] in ("node", "link")}
    shown = {key for address, key in of.items() if plant.plant.node(address) is not None}
    judge = plant.judge(TO_TANKS, [f"{plant.ids['link', link]}:{half}" for link, half, _ in asked])
    assert {of[a] for a in judge.cut_off(())} == lost(graph, tanks) & shown
    cut = 0
    for link, half, node in asked:
        expected = lost(graph, tanks, (("link", link), ("node", node))) & shown
        found = judge.cut_off(plant.parting(f"{plant.ids['link', link]}:{half}"))
        assert {of[a] for a in found} == expected, (link, half)
        cut += bool(expected - lost(graph, tanks))
    assert cut > 0


def test_what_came_in(tmp_path: Path) -> None:
    """Net3 comes in whole, counted as wntr counts it; its closed pipe is shut, what has no place is named."""
    path, model = source_of("Net3")
    found = Incoming(path, tmp_path)
    told = model.describe(level=0)
    came = {one.what: one.number for one in found.converted.came}
    assert sum(came[n] for n in ("junctions", "tanks", "reservoirs")) == told["Nodes"]
    assert sum(came[n] for n in ("pipes", "pumps")) == told["Links"]
    assert found.now.state(f"{found.ids['link', '330']}:V").value == "shut"
    left = {one.what: one.things for one in found.converted.left_out}
    assert len(left["controls"]) == told["Controls"]
    pipe = model.get_link("20")
    litres = found.plant.part_of(found.ids["link", "20"]).nodes["body"].litres
    assert litres == pytest.approx(3.141592653589793 / 4 * pipe.diameter**2 * pipe.length * 1000, rel=1e-5)
