"""What a volume, an interface or a lifter is rated for: the lowest rating of all that is joined counts.

Pressure gets to all that its medium can flow to over made links, so a volume is bounded by the lowest rating of what it
is joined to: halves, volumes, and valves whose link ends there, open or shut. What lies before a check valve isn't
under the pressure behind it. A current flows through one joint, which has the lower rating of its two halves.

A contact has its own rating, else its shell's. What is said of a shell is of what it carries: its pressure is the
lowest of its contacts'; its current its own, else the lowest of its contacts'.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from cfgtrack.model.configuration import View
from cfgtrack.model.hold import mate_of, peer_of
from cfgtrack.model.part import Part
from cfgtrack.model.plant import Plant, port_of
from cfgtrack.network.network import Network
from cfgtrack.network.reach import Digraph


class Rated(NamedTuple):
    """A rating in SI units, and whose it is."""

    value: float
    of: str


class Pressures:
    """The rated pressures of one medium over a graph that others keep up to date.

    `vertex` maps item numbers to the graph's vertices; with `upstream` its arcs lead against the flow.
    """

    def __init__(self, network: Network, vertex: Sequence[int], graph: Digraph, *, upstream: bool) -> None:
        self._graph = graph
        self._upstream = upstream
        self._lowest: dict[int, Rated] = {}
        for rated, items in _rated_items(network):
            for item in items:
                known = self._lowest.get(vertex[item])
                if known is None or rated < known:
                    self._lowest[vertex[item]] = rated

    def lowest(self, address: str, vertices: Iterable[int], view: View) -> Rated | None:
        """Return the lowest rating of what an item, which stands for some vertices, is joined to; None without any.

        A half that is mated has that of its mate too, whether the joint is made or not. A valve by itself, which is no
        item, has its own.
        """
        found = self._ahead(list(vertices)) if self._lowest else []
        return min((*found, *_of_halves(view, address, "rated_pressure")), default=None)

    def _ahead(self, start: list[int]) -> list[Rated]:
        ahead = self._graph.behind(start) if self._upstream else self._graph.ahead(start)
        # The fewer are looked up among the more: most plants rate few things.
        few, many = (ahead, self._lowest) if len(ahead) < len(self._lowest) else (self._lowest, ahead)
        return [self._lowest[v] for v in few if v in many]


def _rated_items(network: Network) -> Iterator[tuple[Rated, tuple[int, ...]]]:
    """Yield every rated pressure of a medium with the items that it bounds: a valve's bounds both sides of it."""
    plant = network.plant
    patterns: dict[str, list[tuple[str, float, tuple[str, ...]]]] = {}
    for owner in network.base:
        part = plant.part_of(owner)
        if part.id not in patterns:
            patterns[part.id] = list(_rated_in(part))
        for name, value, ends in patterns[part.id]:
            yield (
                Rated(value, f"{owner}:{name}"),
                tuple(n for e in ends for n in network.items(f"{owner}:{e}")),
            )


def _rated_in(part: Part) -> Iterator[tuple[str, float, tuple[str, ...]]]:
    for name, port in part.ports.items():
        if port.rated_pressure is not None:
            gated = (end for link in part.links if link.gate == name for end in (link.a, link.b))
            yield name, port.rated_pressure, (name, *gated)
    for name, node in part.nodes.items():
        if node.rated_pressure is not None:
            yield name, node.rated_pressure, (name,)


def pressure_media(plant: Plant) -> tuple[str, ...]:
    """Return the media in which anything has a rated pressure."""
    found: dict[str, None] = {}
    for part in plant.parts.values():
        for node in part.nodes.values():
            if node.rated_pressure is not None:
                found[node.medium] = None
        for port in part.ports.values():
            if port.rated_pressure is not None:
                found.update(dict.fromkeys(port.media(plant.kinds[port.kind].medium)))
    return tuple(found)


def current_of(view: View, address: str) -> Rated | None:
    """Return what current an interface is rated for: the lower of its two halves; None where neither says."""
    return min(_of_halves(view, address, "rated_current"), default=None)


def _of_halves(view: View, address: str, name: str) -> Iterator[Rated]:
    """Yield the ratings of a half and of what it is mated to: of a contact, of the contact that it faces."""
    contact = view.plant.contact(address) is not None
    if not contact and view.plant.port(address) is None:
        return
    shell = mate_of(view, port_of(address)) if contact else None
    # A contact faces all of a port without any.
    mate = shell if shell is not None and not view.plant.contacts_of(shell) else peer_of(view, address)
    for half in (address, mate):
        found = None if half is None else _of_half(view.plant, half, name)
        if found is not None:
            yield found


def _of_half(plant: Plant, half: str, name: str) -> Rated | None:
    contact, shell = plant.contact(half), port_of(half)
    own = getattr(contact, name, None)
    if own is not None:
        return Rated(own, half)
    port = plant.port(shell)
    if port is None:
        return None
    own = getattr(port[0], name)
    if own is not None:
        return Rated(own, shell)
    if contact is not None:
        return None
    inside = ((getattr(one, name, None), f"{half}:{one.name}") for one in port[0].contacts.values())
    return min((Rated(value, of) for value, of in inside if value is not None), default=None)
