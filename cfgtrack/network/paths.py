"""Questions over one medium in one configuration: what is joined to what, what is fed, cut off, open, held.

A *segment* is a set of items joined both ways over made links. Everything here is answered segment by
segment: one pass over the links when `Paths` is made, then at the cost of the one-way links between
segments.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import hangs
from cfgtrack.model.kind import NOTHING
from cfgtrack.model.part import EXPANSION, SOURCE, Node
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.network.network import Network
from cfgtrack.network.rating import Pressures, Rated
from cfgtrack.network.reach import Digraph
from cfgtrack.network.reduce import reduce_network

_HARMLESS = frozenset({"data", "bond"})
"""The media of which an open end hurts nobody."""


class Holding(NamedTuple):
    """What holds a unit or place: one that stays (`held`), ones that move (`bearers`), or neither and it `hangs`."""

    held: bool
    bearers: tuple[str, ...]
    hangs: bool

    @property
    def is_loose(self) -> bool:
        """Whether nothing holds it at all."""
        return not (self.held or self.bearers or self.hangs)


class Paths:
    """One medium's network as it is made in one configuration. Not kept up to date: make a new one."""

    def __init__(self, network: Network, configuration: Configuration) -> None:
        self.network = network
        self.configuration = configuration
        self.plant = network.plant
        medium = self.plant.media.get(network.medium)
        self.upstream = medium is not None and medium.upstream
        self._need = EXPANSION if medium is None else medium.volumes_need
        self._reduced = reduce_network(network, configuration, ())
        arcs = self._reduced.arcs
        self._graph = Digraph(((b, a) for a, b in arcs) if self.upstream else arcs)
        self._nodes: dict[str, tuple[str, ...]] = {}
        self._behind: dict[str, set[int]] = {}
        self._reached: dict[tuple[int, str], tuple[str, ...]] = {}
        self._live: set[int] | None = None
        self._fed: set[int] | None = None
        self._pressures: Pressures | None = None

    # --- what is joined to what

    def segment(self, address: str) -> int | None:
        """Return the number of the segment that an item is in, None when it has no place in this medium."""
        return self._reduced.of(address)

    def segments(self, address: str) -> tuple[int, ...]:
        """Return the segments of all that an address stands for: of a shell those of its contacts."""
        vertex = self._reduced.vertex
        return tuple(dict.fromkeys(vertex[item] for item in self.network.items(address)))

    # --- what is reached

    def nodes(self, sort: str) -> tuple[str, ...]:
        """Return the nodes of this medium of a role, or that are `liquid` or `feeding` (it comes from there)."""
        found = self._nodes.get(sort)
        if found is None:
            found = self._nodes[sort] = tuple(self._enumerate(sort))
        return found

    def _is(self, node: Node, sort: str) -> bool:
        if sort == "liquid":
            return self.plant.is_liquid(node)
        if sort == "feeding":
            return bool(node.roles & {SOURCE, EXPANSION}) or node.litres is not None
        return sort in node.roles

    def _enumerate(self, sort: str) -> Iterator[str]:
        medium = self.network.medium
        names = {
            part.id: [n.name for n in part.nodes.values() if n.medium == medium and self._is(n, sort)]
            for part in self.plant.parts.values()
        }
        for table in (self.plant.units, self.plant.places):
            for owner, thing in table.items():
                for name in names.get(thing.part, ()):
                    yield f"{owner}:{name}"

    def reached(self, address: str, sort: str) -> tuple[str, ...]:
        """Return the nodes of a sort to which a path leads from `address`, in the plant's order.

        A path runs along one-way links, or against them where the medium is followed upstream.
        """
        segment = self.segment(address)
        if segment is None:
            return ()
        key = (segment, sort)
        if key not in self._reached:
            ahead = self._graph.ahead((segment,))
            self._reached[key] = tuple(n for n in self.nodes(sort) if self.segment(n) in ahead)
        return self._reached[key]

    def reaches(self, address: str, sort: str) -> bool:
        """Return whether a path leads from `address` to a node of a sort. One pass serves all addresses."""
        if sort not in self._behind:
            self._behind[sort] = self._graph.behind(self._segments(self.nodes(sort)))
        return self.segment(address) in self._behind[sort]

    def _segments(self, addresses: Iterable[str]) -> list[int]:
        return [s for a in addresses if (s := self.segment(a)) is not None]

    def is_cut_off(self, address: str) -> bool:
        """Return whether the medium at `address` has no path to what its volumes need."""
        if self.segment(address) is None or self._need == NOTHING:
            return False
        return not self.reaches(address, self._need)

    def is_live(self, address: str) -> bool:
        """Return whether the medium can come to `address`: out of a volume, an expansion or a source."""
        if self._live is None:
            start = self._segments(self.nodes("feeding"))
            self._live = self._graph.behind(start) if self.upstream else self._graph.ahead(start)
        return not self._live.isdisjoint(self.segments(address))

    def is_fed(self, address: str) -> bool:
        """Return whether some source feeds the item at `address`. One pass serves all addresses."""
        if self.upstream:
            return self.reaches(address, "source")
        if self._fed is None:
            self._fed = self._graph.ahead(self._segments(self.nodes("source")))
        return self.segment(address) in self._fed

    def fed_by(self, address: str) -> tuple[str, ...]:
        """Return the sources that feed the item at `address`, in the plant's order."""
        if self.upstream:
            return self.reached(address, "source")
        segment = self.segment(address)
        if segment is None:
            return ()
        behind = self._graph.behind((segment,))
        return tuple(n for n in self.nodes("source") if self.segment(n) in behind)

    def rated_pressure(self, address: str) -> Rated | None:
        """Return the lowest rated pressure of all that an item is joined to: see `network.rating`."""
        if self._pressures is None:
            vertex = self._reduced.vertex
            self._pressures = Pressures(self.network, vertex, self._graph, upstream=self.upstream)
        return self._pressures.lowest(address, self.segments(address), self.configuration)

    # --- open ends

    def is_open_end(self, address: str) -> bool:
        """Return whether the port or contact at `address` is apart, not capped, and live.

        Not capped: at the highest status without a mate. A kind that has no such status can't be an open end.
        """
        if self.network.medium == HOLD or not self.network.items(address):
            return False
        port = port_of(address)
        found = self.plant.port(port)
        if found is None or found[1].joined is None:
            return False
        return self.configuration.state(port).value == found[1].parted and self.is_live(address)

    def is_hazardous(self, address: str) -> bool:
        """Return whether it is an open end that may hurt somebody: nobody is hurt by a signal, or by earth."""
        return self.network.medium not in _HARMLESS and self.is_open_end(address)

    # --- hold

    def holding(self, owner: str) -> Holding:
        """Return what holds a unit or place, over this network of hold."""
        held = self.is_held(owner)
        return Holding(held, self.bearers(owner), not held and hangs(self.configuration, owner))

    def is_held(self, owner: str) -> bool:
        """Return whether a unit or place is held, over made hold links, by a place that doesn't move."""
        if "fixed place" not in self._behind:
            fixed = [p.id for p in self.plant.places.values() if not p.mobile]
            self._behind["fixed place"] = self._graph.behind(self._segments(fixed))
        return self.segment(owner) in self._behind["fixed place"]

    def bearers(self, owner: str) -> tuple[str, ...]:
        """Return the persons, arms and other mobile places to which hold links lead from `owner`."""
        segment = self.segment(owner)
        if segment is None:
            return ()
        ahead = self._graph.ahead((segment,))
        mobile = (p.id for p in self.plant.places.values() if p.mobile and p.id != owner)
        return tuple(p for p in mobile if self.segment(p) in ahead)


def loops_of(paths: Paths, address: str) -> tuple[str, ...]:
    """Return the loops of the expansions that an item reaches: the loops it is really in, whatever was
    defined.

    Expansions to which the definition gives no loop count only when there are no others, under their units' ids.
    """
    expansions = paths.reached(address, "expansion")
    defined = dict.fromkeys(loop for e in expansions if (loop := paths.plant.loop_of(e)))
    return tuple(defined or dict.fromkeys(owner_of(e) for e in expansions))
