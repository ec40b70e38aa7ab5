"""What may change a condition, and so which instances of a rule an event may have changed.

Whoever says nothing depends on everything: that is slow, and never wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from cfgtrack.model.hold import peer_of
from cfgtrack.model.plant import owner_of, port_of
from cfgtrack.network.flow import Flow
from cfgtrack.network.reach import Reach
from cfgtrack.rules.selection import Bound, Selection, stands_at
from cfgtrack.rules.world import Change, World

WIDE = ("unit of it", "ports of it", "nodes of it", "contacts of it", "place of it")
"""References that lead from one item to others of its owner: a change of one may change the rule for another."""


class Way(NamedTuple):
    """Whether the items of `start` reach what `reach` is about."""

    flow: Flow
    reach: Reach
    start: Bound


class Timer(NamedTuple):
    """So many microseconds `after` one of these actions on an item, time alone may change the condition.

    With a `quantity`: after those of them that measured it.
    """

    actions: tuple[str, ...]
    after: tuple[int, ...]
    quantity: str = ""


@dataclass(frozen=True, slots=True)
class Dependence:
    """What, beside a change of the instance's own item, may change a condition.

    `everything`: any event. `wide`: an event on another item of the same owner. `peers`: one on a mate of the owner.
    `media`: any link of them that begins or ends. `ways`: an item's gaining or losing one. `timers`: time.
    """

    everything: bool = False
    wide: bool = False
    peers: bool = False
    media: frozenset[str] = frozenset()
    ways: tuple[Way, ...] = ()
    timers: tuple[Timer, ...] = ()

    def __or__(self, other: Dependence) -> Dependence:
        """Return what may change either of two."""
        return Dependence(
            everything=self.everything or other.everything,
            wide=self.wide or other.wide,
            peers=self.peers or other.peers,
            media=self.media | other.media,
            ways=self.ways + other.ways,
            timers=self.timers + other.timers,
        )

    def may_change_all(self, change: Change) -> bool:
        """Return whether an event may change the condition of items that it isn't near."""
        return self.everything or any(
            shift.ended or shift.begun
            for medium, shift in change.shifts.items()
            if medium in self.media or any(way.flow.network.medium == medium for way in self.ways)
        )


EVERYTHING = Dependence(everything=True)


def depends_on_items(of: Selection, *timers: Timer) -> Dependence:
    """Return what changes a condition on the state, values and past of the items of a selection."""
    return Dependence(
        everything=of.of in ("", "place of it"),
        wide=of.of in WIDE,
        peers=of.of == "peer of it",
        timers=timers,
    )


class Instances:
    """The items that a rule is about, each judged for itself; a rule without scope has the single instance None."""

    def __init__(
        self, scope: Selection | None, others: tuple[None, ...], depends: Dependence, world: World
    ) -> None:
        self._world = world
        self.is_scoped = scope is not None
        self._at = scope.at if scope is not None else ()
        self._everything, self._peers = depends.everything, depends.peers
        self._wide = depends.wide or bool(self._at)
        self._media = depends.media
        self.items: tuple[str | None, ...] = others if scope is None else scope.candidates(world.plant)
        self.members = frozenset(self.items)
        self._by_vertex: dict[Reach, dict[int, list[str]]] = {}
        if scope is not None and not depends.everything:
            for way in depends.ways:
                self._watch(way)

    def _watch(self, way: Way) -> None:
        table = self._by_vertex.setdefault(way.reach, {})
        for it in self.items:
            assert it is not None
            for item in way.start.items(it):
                for vertex in way.flow.vertices(item):
                    table.setdefault(vertex, []).append(it)

    def has(self, it: str | None) -> bool:
        """Return whether an item is in the scope now: a scope may ask where it stands."""
        return not self._at or it is None or stands_at(self._world.configuration, owner_of(it), self._at)

    def affected(self, change: Change) -> Iterable[str | None]:
        """Return the instances whose condition an event may have changed. Without scope: any event may."""
        if not self.is_scoped or self._everything or (self._media and self._is_shifted(change)):
            return self.items
        out: dict[str | None, None] = dict.fromkeys(it for it in self.near(change) if it in self.members)
        if self._by_vertex:
            for shift in change.shifts.values():
                for moved in (shift.lost, shift.gained):
                    for reach, vertices in moved.items():
                        table = self._by_vertex.get(reach)
                        if table:
                            for vertex in vertices:
                                out.update(dict.fromkeys(table.get(vertex, ())))
        return out

    def near(self, change: Change) -> dict[str, None]:
        """Return the items that an event is about, and those whose condition it may change by being near them.

        They are the same for all rules that look as far around: so they are worked out once for each event.
        """
        around = (self._wide, self._peers)
        found = change.near.get(around)
        if found is None:
            found = {it: None for subject in change.subjects for it in self._near(subject)}
            change.near[around] = found
        return found

    def _is_shifted(self, change: Change) -> bool:
        return any(
            medium in self._media and (shift.ended or shift.begun) for medium, shift in change.shifts.items()
        )

    def _near(self, subject: str) -> Iterator[str]:
        yield subject
        world, owner = self._world, owner_of(subject)
        if owner != subject:
            yield owner
            yield port_of(subject)
            peer = peer_of(world.configuration, subject)
            if peer is not None:
                yield peer
            if world.plant.port(subject):
                yield from world.plant.contacts_of(subject)
                if peer is not None:
                    yield from world.plant.contacts_of(peer)
        if (self._wide or owner == subject) and world.plant.has_owner(owner):
            yield from world.plant.ports_of(owner)
            yield from world.plant.contacts_of(owner)
            yield from world.plant.nodes_of(owner)
            if self._peers and owner == subject:
                mates = (world.configuration.state(p).other for p in world.plant.ports_of(owner))
                yield from (m for m in mates if m is not None)
