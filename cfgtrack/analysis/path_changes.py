"""Which events change a path: after which of them anything of interest reaches, or is joined to, other things."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.network.flow import Flow
from cfgtrack.network.network import Network
from cfgtrack.network.reach import Digraph


@dataclass(frozen=True, slots=True)
class PathChange:
    """That an event, by its place in the list, changes a path: the media, and the links that begin and end with it."""

    number: int
    media: tuple[str, ...]
    begun: tuple[str, ...] = ()
    ended: tuple[str, ...] = ()


class _NoWayBack:
    """Where a flow that never steps back notes how to."""

    def on_back(self, undo: Callable[..., object], *arguments: object) -> None:
        """Forget it."""


@dataclass(slots=True)
class _Watch:
    """A medium as it is watched: its links, the vertices of interest, and what these reach."""

    flow: Flow
    vertices: frozenset[int]
    reached: object = field(default=None)

    def is_changed(self) -> bool:
        """Return whether what is reached is another than when this was asked last."""
        before, self.reached = (
            self.reached,
            _reached(self.flow.graph, self.vertices, both=self.flow.goes_both_ways),
        )
        return before != self.reached


def path_changes(
    now: Configuration,
    events: Sequence[Event],
    networks: Mapping[str, Network],
    items: Mapping[str, Collection[str]],
) -> Iterator[PathChange]:
    """Yield the events after which some of the `items` (by medium, their addresses) reach others than before.

    `now` is the configuration before the first event, and is left as it is. Paths are followed as the medium has it.
    """
    ahead = now.fork()
    touched = {e.subject for event in events for e in effects(now.plant, event) if not e.aspect}
    watches = {}
    for medium, wanted in items.items():
        flow = Flow(networks[medium], ahead, _all_mates(ahead, touched), _NoWayBack())
        known = frozenset(v for item in wanted for v in flow.vertices(item))
        watches[medium] = _Watch(flow, known)
        watches[medium].is_changed()
    for number, event in enumerate(events):
        ahead.apply(event)
        written = dict.fromkeys(e.subject for e in effects(now.plant, event) if not e.aspect)
        media, begun, ended = list[str](), list[str](), list[str]()
        for medium, watch in watches.items():
            shift = watch.flow.update(written)
            if (shift.begun or shift.ended) and watch.is_changed():
                media.append(medium)
                begun += [link.name for link in shift.begun]
                ended += [link.name for link in shift.ended]
        if media:
            yield PathChange(number, tuple(media), tuple(dict.fromkeys(begun)), tuple(dict.fromkeys(ended)))


def _all_mates(now: Configuration, touched: Iterable[str]) -> set[str]:
    """Return subjects with the mates that they have now: one half may answer for the link of both."""
    named = set(touched)
    return named | {mate for s in named if ":" in s and (mate := now.state(s).other) is not None}


def _reached(graph: Digraph, vertices: frozenset[int], *, both: bool) -> object:
    """Return what is reached from each vertex, in a form that compares."""
    if not both:
        return {vertex: frozenset(graph.ahead([vertex])) for vertex in vertices}
    left, found = set(vertices), set[frozenset[int]]()
    while left:
        group = frozenset(graph.ahead([next(iter(left))]))
        found.add(group)
        left -= group
    return found
