"""One medium's made links as they come and go: the reduced network, kept up to date event by event."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import carries, is_made
from cfgtrack.network.network import Arc, Network, gated_arcs, interface_arcs, subject_arcs
from cfgtrack.network.rating import Pressures, Rated
from cfgtrack.network.reach import Digraph, Reach
from cfgtrack.network.reduce import Reduced, reduce_network


class Log(Protocol):
    """Where a flow notes how to step back."""

    def on_back(self, undo: Callable[..., object], *arguments: object) -> None:
        """Have `undo(*arguments)` called on the way back."""
        ...


@dataclass(frozen=True, slots=True)
class Link:
    """A link between two vertices of a flow, by the name that people know it by."""

    name: str
    a: int
    b: int
    one_way: bool = False


@dataclass(slots=True)
class Shift:
    """What one event did to a flow. `lost` and `gained` are vertices by the reach that they left or joined."""

    ended: list[Link] = field(default_factory=list)
    begun: list[Link] = field(default_factory=list)
    lost: dict[Reach, set[int]] = field(default_factory=dict)
    gained: dict[Reach, set[int]] = field(default_factory=dict)

    def lose(self, reach: Reach, vertices: Iterable[int]) -> None:
        """Note that vertices left a reach; those that had joined it in the same event only cancel that."""
        _cancel(vertices, self.gained.setdefault(reach, set()), self.lost.setdefault(reach, set()))

    def gain(self, reach: Reach, vertices: Iterable[int]) -> None:
        """Note that vertices joined a reach; those that had left it in the same event only cancel that."""
        _cancel(vertices, self.lost.setdefault(reach, set()), self.gained.setdefault(reach, set()))


def _cancel(vertices: Iterable[int], against: set[int], into: set[int]) -> None:
    for vertex in vertices:
        if vertex in against:
            against.discard(vertex)
        else:
            into.add(vertex)


class Flow:
    """A medium's links at one instant. `touched` names every subject that may still change; None means all."""

    def __init__(
        self,
        network: Network,
        configuration: Configuration,
        touched: Iterable[str] | None,
        log: Log,
    ) -> None:
        self.network = network
        self._configuration = configuration
        self._log = log
        self._touched = None if touched is None else self._with_mates(touched)
        self.reduced: Reduced = reduce_network(network, configuration, self._touched)
        self._upstream = network.plant.media[network.medium].upstream
        self.graph = Digraph()
        self._reaches: dict[frozenset[int], Reach] = {}
        self._held: dict[str, tuple[Link, ...]] = {}
        self._gaps: dict[str, tuple[Link, ...]] = {}
        self._apart: tuple[Link, ...] | None = None
        self._vertices: dict[str, tuple[int, ...]] = {}
        self._pressures: Pressures | None = None
        gated = any(arc.one_way for arcs in network.gates.values() for arc in arcs)
        self.goes_both_ways = not network.one_way and not gated
        for a, b in self.reduced.arcs:
            self.graph.add(*((b, a) if self._upstream else (a, b)))
        for subject in self._all_touched():
            self._rekey(subject, None)

    def _with_mates(self, touched: Iterable[str]) -> frozenset[str]:
        """Return what may change and the mates it has now: one half may answer for the link of both."""
        named = frozenset(touched)
        mates = (self._configuration.state(s).other for s in named if ":" in s)
        return named | {m for m in mates if m is not None}

    def _all_touched(self) -> Iterable[str]:
        if self._touched is not None:
            return self._touched
        plant = self.network.plant
        mobile = [p.id for p in plant.places.values() if p.mobile]
        return dict.fromkeys([*self.network.gates, *(s for s, _ in self._configuration.touched()), *mobile])

    # --- where things are in it ---

    def vertices(self, address: str) -> tuple[int, ...]:
        """Return the vertices that an item stands for: see `Network.items`. Empty when the medium doesn't know it."""
        known = self._vertices.get(address)
        if known is None:
            vertex = self.reduced.vertex
            known = tuple([vertex[item] for item in self.network.items(address)])
            self._vertices[address] = known
        return known

    def reach(self, targets: frozenset[int]) -> Reach:
        """Return who reaches any of the target vertices; the same object each time, kept up to date."""
        found = self._reaches.get(targets)
        if found is None:
            found = self._reaches[targets] = Reach(self.graph, targets)
        return found

    def rated_pressure(self, address: str) -> Rated | None:
        """Return the lowest rated pressure of all that an item is joined to now: see `network.rating`."""
        if self._pressures is None:
            vertex, upstream = self.reduced.vertex, self._upstream
            self._pressures = Pressures(self.network, vertex, self.graph, upstream=upstream)
        return self._pressures.lowest(address, self.vertices(address), self._configuration)

    # --- as events happen ---

    def update(self, subjects: Iterable[str]) -> Shift:
        """Bring the links up to date after an event that wrote `subjects`; return what that did."""
        shift = Shift()
        for subject in self._affected(subjects):
            self._rekey(subject, shift)
        return shift

    def _affected(self, subjects: Iterable[str]) -> dict[str, None]:
        out: dict[str, None] = {}
        for subject in subjects:
            out[subject] = None
            if ":" in subject:
                mate = self._configuration.state(subject).other
                if mate is not None:
                    out[mate] = None
        return out

    def _rekey(self, subject: str, shift: Shift | None) -> None:
        """Replace the links that `subject` answers for (of a mated pair, the one that sorts first) by today's."""
        self._set_gaps(subject, tuple(self._not_carrying(subject)))
        before = self._held.get(subject, ())
        after = tuple(self._links(subject))
        if before == after:
            return
        if self._touched is not None and subject not in self._touched:
            raise ValueError(f"{subject} was contracted: it is not among what may change")
        self._log.on_back(self._hold, subject, before, None)
        self._hold(subject, after, shift)

    def _hold(self, subject: str, links: tuple[Link, ...], shift: Shift | None) -> None:
        now = self._held.get(subject, ())
        for link in now:
            if link not in links:
                self._turn(link, shift, begins=False)
        for link in links:
            if link not in now:
                self._turn(link, shift, begins=True)
        self._held[subject] = links

    def _links(self, subject: str) -> Iterable[Link]:
        network, configuration = self.network, self._configuration
        if ":" not in subject:
            for arc in subject_arcs(network, configuration, subject):
                yield self.link(arc, self.link_name(subject))
            return
        for arc in gated_arcs(network, configuration, subject):
            yield self.link(arc, subject)
        mate = configuration.state(subject).other
        if mate is not None and subject < mate:
            for arc in interface_arcs(network, configuration, subject):
                yield self.link(arc, self.link_name(subject))

    def link_name(self, subject: str) -> str:
        """Return how people name the link that depends on the state of `subject`."""
        state = self._configuration.state(subject)
        if ":" not in subject:
            return f"{subject} on {state.value}"
        return subject if state.other is None else f"{subject} - {state.other}"

    def link(self, arc: Arc, name: str) -> Link:
        """Return an arc between items as a link between vertices, in the direction in which paths are followed."""
        a, b = self.reduced.vertex[arc.a], self.reduced.vertex[arc.b]
        if arc.one_way and self._upstream:
            a, b = b, a
        return Link(name, a, b, arc.one_way)

    def _turn(self, link: Link, shift: Shift | None, *, begins: bool) -> None:
        """Have a link begin or end, and tell every reach, and the shift, what that did."""
        change = self.graph.add if begins else self.graph.remove
        for a, b in ((link.a, link.b),) if link.one_way else ((link.a, link.b), (link.b, link.a)):
            if a == b or not change(a, b):
                continue
            for reach in self._reaches.values():
                turned = reach.added(a, b) if begins else reach.removed(a, b)
                if turned and shift is not None:
                    (shift.gain if begins else shift.lose)(reach, turned)
        if shift is not None:
            (shift.begun if begins else shift.ended).append(link)

    # --- what could be ---

    def could_be(self) -> Iterable[Link]:
        """Yield the links that one action would make: gates that don't carry, and mated pairs that don't."""
        for links in self._gaps.values():
            yield from links
        if self._apart is None:
            self._apart = tuple(self._unmade(arc, subject) for arc, subject in self.reduced.unmade)
        yield from self._apart

    def _unmade(self, arc: Arc, subject: str) -> Link:
        gated = arc in self.network.gates.get(subject, ())
        return self.link(arc, subject if gated else self.link_name(subject))

    def _set_gaps(self, subject: str, gaps: tuple[Link, ...]) -> None:
        """Note the links that one action on a subject would make."""
        before = self._gaps.get(subject, ())
        if before == gaps:
            return
        self._log.on_back(self._restore_gaps, subject, before)
        self._restore_gaps(subject, gaps)

    def _restore_gaps(self, subject: str, gaps: tuple[Link, ...]) -> None:
        if gaps:
            self._gaps[subject] = gaps
        else:
            self._gaps.pop(subject, None)

    def _not_carrying(self, subject: str) -> Iterator[Link]:
        gated = self.network.gates.get(subject)
        if gated is not None and not carries(self._configuration, subject):
            for arc in gated:
                yield self.link(arc, subject)
        if ":" in subject:
            mate = self._configuration.state(subject).other
            if mate is not None and subject < mate:
                yield from self._gap(subject, mate)

    def _gap(self, port: str, mate: str) -> Iterable[Link]:
        if not is_made(self._configuration, port):
            for arc in self.network.pairs(port, mate):
                yield self.link(arc, f"{port} - {mate}")
