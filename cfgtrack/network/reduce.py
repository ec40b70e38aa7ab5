"""Reduce first: contract all that a sequence doesn't touch into single vertices, once, in one linear pass.

What is left has a vertex for every end of a link that may still change, and nothing else that matters: its size
depends on the sequence, not on the plant.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cfgtrack.model.configuration import Configuration
from cfgtrack.network.network import Arc, Network, state_links


@dataclass(frozen=True, slots=True)
class Reduced:
    """A contracted network. `vertex` maps each item number to its vertex; `arcs` are the links between vertices

    that could not be contracted because they go one way only; `unmade` those that a single action would make, each
    with a subject that it depends on.
    """

    network: Network
    vertex: list[int]
    count: int
    arcs: tuple[tuple[int, int], ...]
    unmade: tuple[tuple[Arc, str], ...] = ()

    def of(self, address: str) -> int | None:
        """Return the vertex of the item at `address`, or None when it has no place in this medium."""
        item = self.network.item(address)
        return None if item is None else self.vertex[item]


def reduce_network(
    network: Network, configuration: Configuration, touched: Iterable[str] | None = None
) -> Reduced:
    """Contract what none of the `touched` subjects (ports, gates, units) can change; None contracts nothing.

    The made links of the touched subjects are *not* in the result: whoever asks adds them as they come and go.
    """
    if touched is None:
        arcs = tuple(arc for a, b in network.plain for arc in ((a, b), (b, a))) + tuple(network.one_way)
        return Reduced(network, list(range(network.size)), network.size, arcs)
    both, single, unmade = state_links(network, configuration, frozenset(touched))
    vertex, count = _components(network.size, [*network.plain, *both])
    one_way = [*network.one_way, *single]
    arcs = tuple({(vertex[a], vertex[b]) for a, b in one_way if vertex[a] != vertex[b]})
    apart = tuple(gap for gap in unmade if vertex[gap[0].a] != vertex[gap[0].b])
    return Reduced(network, vertex, count, arcs, apart)


def _components(size: int, links: list[tuple[int, int]]) -> tuple[list[int], int]:
    import rustworkx

    graph: rustworkx.PyGraph[None, None] = rustworkx.PyGraph()
    graph.add_nodes_from([None] * size)
    graph.add_edges_from_no_data(links)
    vertex = [0] * size
    components = rustworkx.connected_components(graph)
    for number, members in enumerate(components):
        for item in members:
            vertex[item] = number
    return vertex, len(components)
